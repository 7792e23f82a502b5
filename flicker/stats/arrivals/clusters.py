"""Lilliefors test of exponential gaps, extremal index (Ferro-Segers), declustering, densest window: singly or in bursts?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from flicker.base import check
from flicker.base.formats import p_said
from flicker.base.result import Result
from flicker.stats.arrivals import arrival_runs as ar
from flicker.stats.arrivals.power_law import LIMIT_SIZE, SIMULATIONS


@dataclass(frozen=True, slots=True)
class GapTest(Result):
    """Do gaps follow the exponential law of single, independent events? ``gap_variation`` is 1 there on average."""

    statistic: float
    p_value: float
    mean_gap: float
    gap_variation: float
    count: int
    dead_time: float
    seed: int
    method: str

    @property
    def reads(self) -> str:
        """The finding in words."""
        if self.p_value >= 0.05:
            return f"The gaps fit episodes that come singly and at random ({p_said(self.p_value)})."
        how = "in bursts" if self.gap_variation > 1 else "more evenly than chance"
        return f"The episodes come {how} ({p_said(self.p_value)})."


@dataclass(frozen=True, slots=True)
class ExtremalIndex(Result):
    """``theta`` is the share of events that begin a cluster: 1 for single events, 1/3 for bursts of three."""

    theta: float
    count: int
    clusters: int
    cluster_gap: float
    method: str

    @property
    def reads(self) -> str:
        """The estimate in words."""
        words = f"About {1 / self.theta:.2g} events in a burst on average"
        return words + ("." if self.count >= 20 else " (too few events to decide anything by).")


@dataclass(frozen=True, slots=True)
class Clusters(Result):
    """Events joined into clusters; one row per cluster. ``gap`` is the longest gap that was joined over."""

    starts: ar.Floats
    ends: ar.Floats
    sizes: ar.Ints
    run: ar.Ints
    member_of: ar.Ints
    gap: float
    theta: float
    method: str

    @property
    def count(self) -> int:
        """Number of clusters."""
        return int(self.starts.size)

    @property
    def reads(self) -> str:
        """The grouping in words."""
        return f"{int(self.sizes.sum())} events in {self.count} clusters; gaps up to {self.gap:.3g} were joined."


@dataclass(frozen=True, slots=True)
class DensestWindow(Result):
    """The window that holds most events, and the chance of one as dense anywhere under an even rate."""

    most: int
    start: float
    run: int
    width: float
    p_value: float
    count: int
    seed: int
    method: str

    @property
    def reads(self) -> str:
        """The finding in words."""
        chance = "denser than chance explains" if self.p_value < 0.05 else "no denser than chance may bring"
        where = f"{self.most} of {self.count} events fall into one window of {self.width:.3g}"
        return f"{where}: {chance} ({p_said(self.p_value)})."


def exponential_gaps_test(gaps: ArrayLike, *, dead_time: float = 0.0, seed: int = 0) -> GapTest:
    """Lilliefors' test: Kolmogorov distance from the exponential law with the mean fitted.

    Parameters
    ----------
    gaps : array_like
        Complete gaps between events, at least 3, in any unit of time.
    dead_time : float
        Shortest gap that could be counted (events closer were merged); it is taken off every gap. Without this, merged
        Poisson events are rejected in most logs.
    seed : int
        Of the simulated null law.

    Returns
    -------
    GapTest
        Two-sided in nature: bursts and clockwork both make the distance large; ``gap_variation`` says which.

    Raises
    ------
    ValueError
        For fewer than 3 gaps, a gap shorter than ``dead_time``, or gaps that are all 0 after it is taken off.

    Notes
    -----
    Lilliefors (1969), Journal of the American Statistical Association 64, 387-389. P-value from 9,999 simulations of
    the same number of gaps (beyond 300 gaps: of 300, scaled by Stephens' (1974) modification).
    """
    x = check.finite_array("gaps", gaps, least=3)
    dead_time = check.positive("dead_time", dead_time, what="a time", zero=True)
    if float(x.min()) < dead_time * (1 - 1e-9):
        raise ValueError(f"gaps must be {dead_time:g} (dead_time) or longer, got {x.min()}")
    x = np.sort(np.maximum(x - dead_time, 0.0))
    mean = float(x.mean())
    if mean == 0:
        raise ValueError("gaps must not all be 0 after dead_time is taken off, got no spread")
    n = x.size
    statistic = float(_exponential_distance(x[None, :] / mean)[0])
    null = _exponential_null(min(n, LIMIT_SIZE), check.whole("seed", seed, what="a seed"))
    seen = statistic if n <= LIMIT_SIZE else _as_of_limit_size(statistic, n)
    return GapTest(
        statistic, ar.simulated_p(seen, null, "increasing"), mean, float(x.std(ddof=1) / mean), int(n), dead_time, seed,
        "Lilliefors test of exponential gaps, simulated null law",
    )  # fmt: skip


def _as_of_limit_size(distance: float, n: int) -> float:
    """Distance that LIMIT_SIZE gaps would show: Stephens' modified statistic has one law for all n."""
    scale, scale_limit = (np.sqrt(k) + 0.26 + 0.5 / np.sqrt(k) for k in (n, LIMIT_SIZE))
    return float((distance - 0.2 / n) * scale / scale_limit + 0.2 / LIMIT_SIZE)


def _exponential_distance(sorted_scaled: ar.Floats) -> ar.Floats:
    n = sorted_scaled.shape[1]
    law = -np.expm1(-sorted_scaled)
    above, below = np.arange(1, n + 1) / n - law, law - np.arange(n) / n
    out: ar.Floats = np.maximum(above.max(axis=1), below.max(axis=1))
    return out


@lru_cache(maxsize=64)
def _exponential_null(n: int, seed: int) -> ar.Floats:
    draws = np.random.default_rng(seed).standard_exponential((SIMULATIONS, n))
    draws.sort(axis=1)
    return np.sort(_exponential_distance(draws / draws.mean(axis=1, keepdims=True)))


def intervals_theta(gaps: ar.Floats, *, grid: bool) -> float:
    """Intervals estimator; on a grid the gaps are whole numbers of samples and lose one or two of them."""
    n, longest = gaps.size, float(gaps.max())
    if longest <= 0:
        return 1.0 / (n + 1)
    if grid and longest > 2:
        over = float(np.sum((gaps - 1) * (gaps - 2)))
        theta = 2.0 * float(np.sum(gaps - 1)) ** 2 / (n * over)
    else:
        theta = 2.0 * float(np.sum(gaps)) ** 2 / (n * float(np.sum(gaps**2)))
    return min(1.0, theta)


def extremal_index(
    values_or_times: ArrayLike, threshold: float | None = None, *, step: float | None = None
) -> ExtremalIndex:
    """Intervals estimator of the extremal index.

    Parameters
    ----------
    values_or_times : array_like
        A series of evenly spaced values if ``threshold`` is given; else the sorted times of the events.
    threshold : float, optional
        Values above it are the events.
    step : float, optional
        Spacing of the grid on which event times lie (1 for day numbers); None for continuous times.

    Returns
    -------
    ExtremalIndex
        ``theta``; ``clusters`` it implies; ``cluster_gap``: longest gap inside a cluster by the same rule.

    Raises
    ------
    ValueError
        For fewer than 3 events, unsorted times, or a ``step`` not above 0.

    Notes
    -----
    Ferro and Segers (2003), Journal of the Royal Statistical Society B 65, 545-556. It sees gaps only: four swings 15 s
    apart that fill a log and four glitches in 12 s of a long clean log look alike to it.
    """
    series = check.finite_array("values_or_times", values_or_times, least=3)
    if threshold is not None:
        level = float(check.finite_array("threshold", [threshold])[0])
        times, grid = np.flatnonzero(series > level).astype(float), True
    else:
        times, grid = series, step is not None
        if np.any(np.diff(times) < 0):
            raise ValueError("values_or_times must be sorted times when no threshold is given, got times that go back")
        if step is not None:
            times = np.round(times / check.positive("step", step, what="a grid step"))
    if times.size < 3:
        raise ValueError(f"values_or_times must hold 3 or more events, got {times.size}")
    gaps = np.diff(times)
    theta = intervals_theta(gaps, grid=grid)
    clusters, limit = cluster_gap(gaps, theta)
    unit = step if threshold is None and step is not None else 1.0
    return ExtremalIndex(theta, int(times.size), clusters, limit * unit, "intervals estimator (Ferro and Segers 2003)")


def cluster_gap(gaps: ar.Floats, theta: float) -> tuple[int, float]:
    """Number of clusters and the longest gap inside one: the theta * n longest gaps part clusters."""
    n = gaps.size + 1
    clusters = min(int(np.floor(theta * gaps.size)) + 1, n)
    ordered = np.sort(gaps)
    inside = n - clusters
    if inside <= 0:
        return n, 0.0
    limit = float(ordered[inside - 1])
    while inside < gaps.size and ordered[inside] == limit:  # equal gaps all part or all join: here they join
        inside += 1
    return n - inside, limit


def decluster(times: ar.Times, *, dead_time: float | None = None) -> Clusters:
    """Join events into clusters.

    Parameters
    ----------
    times : array_like, or list of array_like
        Sorted event times of one run, or of each run.
    dead_time : float, optional
        Longest gap inside one cluster (runs declustering). None takes it from the gaps by the intervals estimator,
        which describes; a rate's claim needs a dead time fixed beforehand.

    Returns
    -------
    Clusters
        Starts, ends (last event), sizes and run of each cluster; ``member_of`` gives the cluster of each event.

    Raises
    ------
    ValueError
        For unsorted times, a negative ``dead_time``, or fewer than 3 events where the gaps have to tell.

    Notes
    -----
    Runs declustering: a gap longer than ``dead_time`` begins a cluster. Intervals declustering: Ferro and Segers
    (2003).
    """
    items = ar.split(times)
    last = [float(np.max(np.asarray(a, dtype=float), initial=0.0)) or 1.0 for a in items]
    runs = ar.pooled(times, last, least=1)
    later = runs.place() > 0
    gaps = runs.gaps()
    if dead_time is None:
        inner = gaps[later]
        if inner.size < 2:
            raise ValueError("times must hold 3 or more events when dead_time is None, got fewer (give dead_time)")
        theta = intervals_theta(inner, grid=False)
        _, limit = cluster_gap(inner, theta)
        how = "intervals declustering (Ferro and Segers 2003)"
    else:
        limit = check.positive("dead_time", dead_time, what="a time", zero=True)
        how = "runs declustering with a fixed dead time"
    rounding = 4.0 * np.finfo(float).eps * float(runs.times.max(initial=0.0))  # equal gaps must be treated alike
    begins = ~later | (gaps > limit + rounding)
    first = np.flatnonzero(begins)
    sizes = np.diff(np.append(first, runs.times.size))
    return Clusters(
        runs.times[first], runs.times[first + sizes - 1], sizes, runs.run[first], np.cumsum(begins) - 1, limit,
        float(first.size / runs.times.size), how,
    )  # fmt: skip


def densest_window(times: ar.Times, end: ar.Ends, *, width: float, seed: int = 0) -> DensestWindow:
    """Scan statistic: the most events in any window of a given width.

    Parameters
    ----------
    times, end
        As in `laplace_test`; each run keeps its count, and windows do not reach from run to run.
    width : float
        Of the window, fixed before looking, at most the longest run.
    seed : int
        Of the simulations.

    Returns
    -------
    DensestWindow
        ``most`` events, from ``start`` on in run ``run`` (counted from 0), and the p-value.

    Raises
    ------
    ValueError
        As in `laplace_test`; for a ``width`` not above 0 or beyond the longest run.

    Notes
    -----
    Naus (1965), Journal of the American Statistical Association 60, 532-538. For one run the p-value is exact if the
    window holds more than half of the events; otherwise 1,999 simulations given the counts; beyond some 1,000 events
    the formula of Wallenstein and Neff (1987, Statistics in Medicine 6, 197-207), good below p = 0.1.
    """
    runs = ar.pooled(times, end, least=1)
    width = check.positive("width", width, what="a window")
    seed = check.whole("seed", seed, what="a seed")
    if width > runs.ends.max():
        raise ValueError(f"width must be at most the longest run ({runs.ends.max()}), got {width}")
    n = int(runs.times.size)
    shift = np.cumsum(np.concatenate(([0.0], runs.ends[:-1] + 2 * width)))  # runs laid out farther apart than a window
    line = runs.times + shift[runs.run]
    held = np.searchsorted(line, line + width, side="right") - np.arange(n)
    at = int(np.argmax(held))
    most = int(held[at])
    single, part = runs.ends.size == 1, width / float(runs.ends[0])
    if most <= 1:
        p, how = 1.0, "certain"
    elif single and most > n / 2 and part <= 0.5:
        p, how = _window_formula(most, n, part), "exact (Naus 1965)"
    elif n * 1999 > 4_000_000:
        parts = np.minimum(width / runs.ends, 1.0)
        enough = runs.counts >= most
        pairs = zip(runs.counts[enough], parts[enough], strict=True)
        tails = [_window_formula(most, int(c), float(w)) for c, w in pairs]
        p, how = min(1.0, float(np.sum(tails))), "Wallenstein and Neff (1987)"
    else:
        p, how = _window_simulation(runs, shift, width, most, seed), "simulation given the counts"
    return DensestWindow(most, float(runs.times[at]), int(runs.run[at]), width, p, n, seed, f"scan statistic, {how}")


def _window_formula(most: int, n: int, part: float) -> float:
    if part >= 1:
        return 1.0
    log_b = special.gammaln(n + 1) - special.gammaln(most + 1) - special.gammaln(n - most + 1)
    point = float(np.exp(log_b + most * np.log(part) + (n - most) * np.log1p(-part)))
    upper = float(special.bdtrc(most - 1, n, part))
    return float(min(1.0, max(0.0, (most / part - n - 1) * point + 2 * upper)))


def _window_simulation(runs: ar.Runs, shift: ar.Floats, width: float, most: int, seed: int) -> float:
    rng = np.random.default_rng(seed)
    n, rows = runs.times.size, 1999
    place = rng.random((rows, n)) * runs.end_of_event
    line = np.sort(place + shift[runs.run], axis=1)
    hits = np.any(line[:, most - 1 :] - line[:, : n - most + 1] <= width, axis=1)  # any `most` events within a window
    return float((1 + np.count_nonzero(hits)) / (rows + 1))
