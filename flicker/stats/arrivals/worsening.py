"""Is it getting worse? Tests for a verdict: more often within runs, larger within runs."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from flicker.base import check
from flicker.base.formats import p_said
from flicker.base.result import Result
from flicker.stats.arrivals import arrival_runs as ar
from flicker.stats.arrivals.clusters import Clusters, decluster
from flicker.stats.arrivals.power_law import log_linear_fit, share_of_run
from flicker.stats.arrivals.reversals import count_reversals
from flicker.stats.arrivals.trend_tests import PERMUTATIONS, gap_variation, permuted_laplace, shuffled

LEAST_EPISODES = 5  # below, no permutation of gaps reaches the few per cent that a verdict asks for
WINDOWS_AT_MOST = 12  # equal windows for the dispersion
PERMUTED_SIZES = 120  # beyond, the normal limit of Kendall's S is as good
SLOPE_POINTS = 700  # sizes of one run that enter the slope, evenly picked
FEWEST_PER_WINDOW = 1.5  # expected events per window, else fewer windows
LEAST_FREEDOM = 4  # degrees of freedom below which a dispersion says nothing


@dataclass(frozen=True, slots=True)
class RateTrend(Result):
    """Do episodes come more often as a run goes on? ``p_value`` is the larger of the two component p-values.

    ``z`` is that of the widened Laplace test: positive means more often. ``rate_factor`` is the fitted rate at the
    end over that at the start of the longest run. ``dispersion`` is what the episodes scatter beyond Poisson after
    the trend is taken out (1 or more); ``clusters`` are the episodes left after merging by ``dead_time``.
    """

    z: float
    p_value: float
    p_laplace: float
    p_gaps: float
    z_gaps: float
    dispersion: float
    gap_variation: float
    rate_factor: float
    events: int
    clusters: int
    runs: int
    free_time: float
    dead_time: float
    alternative: str
    seed: int
    method: str

    @property
    def reads(self) -> str:
        """The finding in words."""
        words = ar.trend_words(self.z > 0, self.p_value, self.alternative)
        if self.runs == 1 and self.p_value < 0.05 and self.z > 0:
            return words + " This is one run: heat and wear cannot be told apart; repeat from cold."
        return words


@dataclass(frozen=True, slots=True)
class SizeTrend(Result):
    """Do sizes grow within runs? ``growth`` is the factor over the longest run, from the slope of the logarithms."""

    tau: float
    z: float
    p_value: float
    growth: float
    growth_low: float
    growth_high: float
    count: int
    runs: int
    alternative: str
    confidence: float
    seed: int
    method: str

    @property
    def reads(self) -> str:
        """The finding in words."""
        if self.p_value >= 0.05:
            asked = {"increasing": "larger", "decreasing": "smaller"}.get(self.alternative, "larger or smaller")
            return f"It is not shown that the excursions get {asked} as time goes on ({p_said(self.p_value)})."
        if not math.isfinite(self.growth):
            way = "larger" if self.z > 0 else "smaller"
            return f"The excursions get {way} as time goes on ({p_said(self.p_value)})."
        way, factor = ("larger", self.growth) if self.z > 0 else ("smaller", 1 / self.growth)
        words = f"The excursions get {way} as time goes on, about {factor:.2g} times over the run"
        return f"{words} ({p_said(self.p_value)})."


def _free(clusters: Clusters, ends: ar.Floats, dead_time: float) -> ar.Runs:
    """Clusters on a clock that stands still from each cluster's first event until it could be followed by another."""
    counts = np.bincount(clusters.run, minlength=ends.size)
    busy = np.minimum(clusters.ends + dead_time, ends[clusters.run]) - clusters.starts
    starts = np.concatenate(([0], np.cumsum(counts)[:-1]))
    total = np.concatenate(([0.0], np.cumsum(busy)))
    before = total[:-1] - total[starts[clusters.run]]
    free_ends = ends - np.bincount(clusters.run, busy, minlength=ends.size)
    times = np.maximum(clusters.starts - before, 0.0)
    # a log that ends within the last cluster leaves nothing free after it; rounding must not put it past the end
    free_ends = np.maximum(free_ends, 0.0)
    return ar.Runs(np.minimum(times, free_ends[clusters.run]), clusters.run, free_ends, counts)


def _dispersion(runs: ar.Runs, growth: float) -> float:
    """Variance over mean of counts in windows that would hold equal shares under the fitted trend; at least 1."""
    part = share_of_run(runs, growth)
    chi2, dof = 0.0, -1
    for r in np.flatnonzero(runs.counts >= 2 * FEWEST_PER_WINDOW):
        n = int(runs.counts[r])
        k = min(WINDOWS_AT_MOST, int(n / FEWEST_PER_WINDOW))
        held = np.bincount(np.minimum((part[runs.run == r] * k).astype(int), k - 1), minlength=k)
        chi2 += float(np.sum((held - n / k) ** 2) / (n / k))
        dof += k - 1
    return max(1.0, chi2 / dof) if dof >= LEAST_FREEDOM else 1.0


def rate_trend_test(
    times: ar.Times,
    end: ar.Ends,
    *,
    dead_time: float = 0.0,
    alternative: ar.Alternative = "increasing",
    seed: int = 0,
) -> RateTrend:
    """Do episodes come more often as a run goes on? Holds its size for episodes in bursts; made for a verdict.

    Parameters
    ----------
    times : array_like, or list of array_like
        Sorted event times of one run, or of each run (the trend is that within runs).
    end : float or list of float
        Observed length of each run; with gaps in the log give both in observed time.
    dead_time : float
        Longest gap inside one burst, fixed before looking. Closer events are merged, and the clock stands still from a
        cluster's first event until ``dead_time`` after its last.
    alternative : {"increasing", "decreasing", "two-sided"}
        Default: more often.
    seed : int
        Of the permutations.

    Returns
    -------
    RateTrend
        ``p_value`` is the larger of ``p_laplace`` (Laplace's score over the root of the dispersion that is left once
        a trend is taken out) and ``p_gaps`` (Laplace's score under permutation of the free gaps within runs): both
        are demanded. Below 5 clusters it is 1.

    Raises
    ------
    ValueError
        As in `laplace_test`; for a negative ``dead_time``.

    Notes
    -----
    Each test alone fails in one way: Laplace's by bursts, the permutation by bursts so long that gaps depend on each
    other. The recorded study beside the tests gives the error rates and the power of the two together.
    """
    side = ar.side(alternative)
    runs = ar.pooled(times, end, least=1)
    dead_time = check.positive("dead_time", dead_time, what="a time", zero=True)
    parts = [part for part in np.split(runs.times, np.cumsum(runs.counts)[:-1])]
    clusters = decluster(parts, dead_time=dead_time)
    free = _free(clusters, runs.ends, dead_time)
    n = int(free.times.size)
    usable = free.ends[free.run] > 0
    z = z_gaps = 0.0
    p_laplace = p_gaps = factor = spread = 1.0
    variation = float("nan")
    if n >= LEAST_EPISODES and bool(np.all(usable)):
        raw = float(np.sum(free.times - 0.5 * free.end_of_event) / np.sqrt(np.sum(free.end_of_event**2) / 12.0))
        inside = 0.0 < float(free.times.sum()) < float(free.end_of_event.sum())
        growth = log_linear_fit(np.split(free.times, np.cumsum(free.counts)[:-1]), free.ends).growth if inside else 0.0
        spread = _dispersion(free, growth)
        factor = float(np.exp(np.clip(growth * float(free.ends.max()), -700.0, 700.0)))
        z = raw / math.sqrt(spread)
        p_laplace = ar.normal_p(z, side)
        z_gaps, p_gaps = permuted_laplace(free, ended_by="time", alternative=side, seed=seed)
        variation = gap_variation(free)
    return RateTrend(
        z, max(p_laplace, p_gaps), p_laplace, p_gaps, z_gaps, spread, variation, factor, int(runs.times.size), n,
        int(runs.ends.size), float(free.ends.sum()), dead_time, side, seed,
        "Laplace test widened by dispersion and permutation of gaps, both demanded",
    )  # fmt: skip


def size_trend_test(
    sizes: ArrayLike,
    times: ArrayLike,
    runs: ArrayLike | None = None,
    *,
    dead_time: float = 0.0,
    alternative: ar.Alternative = "increasing",
    confidence: float = 0.95,
    seed: int = 0,
) -> SizeTrend:
    """Do excursions get larger as a run goes on? Ranks only, so a few lucky large ones do not decide.

    Parameters
    ----------
    sizes : array_like
        Size of each excursion (its absolute deviation), above 0 for a growth factor.
    times : array_like
        Time of each since its run's start, same length.
    runs : array_like, optional
        Run of each; None means one run. Only pairs within a run are compared.
    dead_time : float
        Excursions closer than this belong to one burst, which enters by its median: sizes within a burst are alike, and
        a longer burst must not look larger for its length alone.
    alternative : {"increasing", "decreasing", "two-sided"}
        Default: larger.
    confidence : float
        Of the interval of ``growth``.
    seed : int
        Of the permutations.

    Returns
    -------
    SizeTrend
        Kendall's tau within runs, z, permutation p-value, and the growth factor over the longest span of times in a run
        with its interval (Sen's slope of log size, all within-run pairs).

    Raises
    ------
    ValueError
        If lengths differ, values are not finite, sizes are negative, times are negative, or fewer than 3 sizes are
        given.

    Notes
    -----
    Mann (1945), Kendall (1975): S summed over runs. Its p-value comes from 1,999 permutations of the sizes within
    runs up to 120 excursions, beyond from the normal limit with ties.
    """
    side = ar.side(alternative)
    confidence = check.share("confidence", confidence)
    y = check.finite_array("sizes", sizes, least=3)
    t = check.finite_array("times", times, least=3)
    if t.size != y.size:
        raise ValueError(f"times must hold one number per size ({y.size}), got {t.size}")
    if y.min() < 0:
        raise ValueError(f"sizes must be 0 or more (absolute deviations), got {y.min()}")
    if t.min() < 0:
        raise ValueError(f"times must be 0 or more (since the run's start), got {t.min()}")
    label = np.zeros(y.size, dtype=np.int64)
    if runs is not None:
        label = np.unique(np.asarray(runs), return_inverse=True)[1].astype(np.int64)
        if label.shape != y.shape:
            raise ValueError(f"runs must hold one label per size ({y.size}), got {label.size}")
    dead_time = check.positive("dead_time", dead_time, what="a time", zero=True)
    order = np.lexsort((t, label))
    y, t, label = y[order], t[order], label[order]
    if dead_time > 0:
        y, t, label = _by_burst(y, t, label, dead_time)
    parts = np.split(np.arange(y.size), np.flatnonzero(np.diff(label)) + 1)
    s = float(sum(count_reversals(y[part]) - count_reversals(-y[part]) for part in parts))
    pairs = sum(part.size * (part.size - 1) / 2 for part in parts)
    variance = sum(_kendall_variance(y[part]) for part in parts)
    how, z, p = "not enough within any run", 0.0, 1.0
    if variance > 0:
        z = s / math.sqrt(variance)
        if y.size <= PERMUTED_SIZES:
            how = "permutation within runs"
            p = ar.simulated_p(s, _permuted_kendall(y, label, seed), side)
        else:
            how, p = "normal limit with ties", ar.normal_p(z, side)
    growth, low, high = _growth([(y[part], t[part]) for part in parts], confidence)
    return SizeTrend(
        s / pairs if pairs else 0.0, z, p, growth, low, high, int(y.size), len(parts), side, confidence, seed,
        f"Mann-Kendall test of sizes within runs, {how}",
    )  # fmt: skip


def _by_burst(y: ar.Floats, t: ar.Floats, label: ar.Ints, dead_time: float) -> tuple[ar.Floats, ar.Floats, ar.Ints]:
    new = np.ones(y.size, dtype=bool)
    new[1:] = (np.diff(t) > dead_time) | (np.diff(label) > 0)
    first = np.flatnonzero(new)
    middle = np.array([np.median(part) for part in np.split(y, first[1:])])
    return middle, t[first], label[first]


def _kendall_variance(y: ar.Floats) -> float:
    n = y.size
    ties = np.unique(y, return_counts=True)[1].astype(float)
    return float(n * (n - 1) * (2 * n + 5) - np.sum(ties * (ties - 1) * (2 * ties + 5))) / 18.0


def _permuted_kendall(y: ar.Floats, label: ar.Ints, seed: int) -> ar.Floats:
    ranks = np.unique(y, return_inverse=True)[1].astype(float)
    rows = shuffled(ranks, label, PERMUTATIONS, seed).astype(np.int16)
    s = np.zeros(PERMUTATIONS)
    for j in range(y.size - 1):
        stop = int(np.searchsorted(label, label[j], side="right"))
        later, here = rows[:, j + 1 : stop], rows[:, [j]]
        s += np.count_nonzero(later > here, axis=1) - np.count_nonzero(later < here, axis=1)
    return s


def _growth(parts: list[tuple[ar.Floats, ar.Floats]], confidence: float) -> tuple[float, float, float]:
    """Sen's slope of log size within runs as a factor over the longest span of times, with Kendall's interval."""
    slopes, variance, span = [], 0.0, 0.0
    for y, t in parts:
        if y.size > SLOPE_POINTS:
            pick = np.unique(np.linspace(0, y.size - 1, SLOPE_POINTS).astype(int))
            y, t = y[pick], t[pick]
        if y.size < 2 or y.min() <= 0:
            continue
        i, j = np.triu_indices(y.size, 1)
        apart = t[j] > t[i]
        i, j = i[apart], j[apart]
        slopes.append((np.log(y[j]) - np.log(y[i])) / (t[j] - t[i]))
        variance += _kendall_variance(y)
        span = max(span, float(t[-1] - t[0]))
    slope = np.sort(np.concatenate(slopes)) if slopes else np.zeros(0)
    if slope.size == 0:
        return float("nan"), float("nan"), float("nan")
    reach = -float(special.ndtri((1 - confidence) / 2)) * math.sqrt(max(variance, 0.0))
    low_at, high_at = math.floor((slope.size - reach) / 2) - 1, math.ceil((slope.size + reach) / 2)
    low = float(slope[low_at]) if low_at >= 0 else -math.inf
    high = float(slope[high_at]) if high_at < slope.size else math.inf
    middle, low, high = (float(np.exp(min(v * span, 700.0))) for v in (float(np.median(slope)), low, high))
    return middle, low, high if high < math.exp(699.0) else math.inf
