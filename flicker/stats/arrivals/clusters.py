"""Lilliefors test of exponential gaps, extremal index (Ferro-Segers), declustering: singly or in bursts?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from flicker.base import check
from flicker.base.arrays import Floats, Ints
from flicker.base.formats import digits_text, p_said
from flicker.base.result import Result, Tested
from flicker.stats.laws import event_runs as er

SIMULATIONS = 9999  # p-values in steps of 1/10,000
LIMIT_SIZE = 300  # from here on the null law of the statistic used below no longer moves with n


@dataclass(frozen=True, slots=True)
class GapTest(Tested):
    """Do gaps follow the exponential law of single, independent events? ``gap_variation`` is 1 there on average."""

    statistic: float
    mean_gap: float
    gap_variation: float
    count: int
    seed: int

    @property
    def reads(self) -> str:
        """The finding in words."""
        if not self.shown:
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
        words = f"About {digits_text(1 / self.theta)} events in a burst on average"
        return words + ("." if self.count >= 20 else " (too few events to decide anything by).")


@dataclass(frozen=True, slots=True)
class Clusters(Result):
    """Events joined into clusters; one row per cluster. ``gap`` is the longest gap that was joined over."""

    starts: Floats
    ends: Floats
    sizes: Ints
    run: Ints
    gap: float
    method: str

    @property
    def count(self) -> int:
        """Number of clusters."""
        return int(self.starts.size)

    @property
    def reads(self) -> str:
        """The grouping in words."""
        return f"{int(self.sizes.sum())} events in {self.count} clusters; gaps up to {digits_text(self.gap, 3)} were joined."


def exponential_gaps_test(
    gaps: ArrayLike, *, dead_time: float = 0.0, seed: int = 0, confidence: float = 0.95
) -> GapTest:
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
    confidence : float
        From which `reads` claims anything.

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
    confidence = check.share("confidence", confidence)
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
        statistic=statistic, p_value=er.simulated_p(seen, null, "increasing"), mean_gap=mean, gap_variation=float(x.std(ddof=1) / mean), count=int(n), seed=seed,
        method="Lilliefors test of exponential gaps, simulated null law", confidence=confidence,
    )  # fmt: skip


def _as_of_limit_size(distance: float, n: int) -> float:
    """Distance that LIMIT_SIZE gaps would show: Stephens' modified statistic has one law for all n."""
    scale, scale_limit = (np.sqrt(k) + 0.26 + 0.5 / np.sqrt(k) for k in (n, LIMIT_SIZE))
    return float((distance - 0.2 / n) * scale / scale_limit + 0.2 / LIMIT_SIZE)


def _exponential_distance(sorted_scaled: Floats) -> Floats:
    """Largest distance of each row from the exponential law of mean 1."""
    n = sorted_scaled.shape[1]
    law = -np.expm1(-sorted_scaled)
    above, below = np.arange(1, n + 1) / n - law, law - np.arange(n) / n
    return np.asarray(np.maximum(above.max(axis=1), below.max(axis=1)))


@lru_cache(maxsize=64)
def _exponential_null(n: int, seed: int) -> Floats:
    draws = np.random.default_rng(seed).standard_exponential((SIMULATIONS, n))
    draws.sort(axis=1)
    return np.sort(_exponential_distance(draws / draws.mean(axis=1, keepdims=True)))


def intervals_theta(gaps: Floats, *, grid: bool) -> float:
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


def cluster_gap(gaps: Floats, theta: float) -> tuple[int, float]:
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


def decluster(times: er.Times, *, dead_time: float) -> Clusters:
    """Join events into clusters.

    Parameters
    ----------
    times : array_like, or list of array_like
        Sorted event times of one run, or of each run.
    dead_time : float
        Longest gap inside one cluster (runs declustering); a rate's claim needs one fixed beforehand.

    Returns
    -------
    Clusters
        Starts, ends (last event), sizes and run of each cluster.

    Raises
    ------
    ValueError
        For unsorted times or a negative ``dead_time``.
    """
    items = er.split(times)
    last = [float(np.max(np.asarray(a, dtype=float), initial=0.0)) or 1.0 for a in items]
    runs = er.pooled(times, last, least=1)
    limit = check.positive("dead_time", dead_time, what="a time", zero=True)
    rounding = 4.0 * np.finfo(float).eps * float(runs.times.max(initial=0.0))  # equal gaps must be treated alike
    first = np.flatnonzero((runs.place() == 0) | (runs.gaps() > limit + rounding))
    sizes = np.diff(np.append(first, runs.times.size))
    return Clusters(
        starts=runs.times[first], ends=runs.times[first + sizes - 1], sizes=sizes, run=runs.run[first], gap=limit,
        method="runs declustering with a fixed dead time",
    )  # fmt: skip
