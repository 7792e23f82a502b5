"""Is it getting worse? The test for a verdict: more often within runs (permuted gaps and permuted bursts); power-law (Crow, Weibull process) and log-linear models of arrivals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from flicker.base import check
from flicker.base.arrays import Floats
from flicker.base.result import Result, Tested
from flicker.base.roots import root
from flicker.stats.arrivals.clusters import Clusters, decluster
from flicker.stats.arrivals.permutations import burst_levels, gap_variation, permuted_bursts, permuted_laplace
from flicker.stats.laws import event_runs as er


@dataclass(frozen=True, slots=True)
class PowerLawFit(Result):
    """Events expected up to time t are ``scale * t**beta``; beta above 1 means that they come more often."""

    beta: float
    beta_low: float
    beta_high: float
    beta_unbiased: float
    scale: float
    count: int
    runs: int
    confidence: float
    method: str

    @property
    def reads(self) -> str:
        """The fit in words."""
        way = "more and more often" if self.beta_low > 1 else "less and less often" if self.beta_high < 1 else None
        spread = f"exponent {self.beta:.2f}, between {self.beta_low:.2f} and {self.beta_high:.2f}"
        return f"Episodes come {way} ({spread})." if way else f"A steady rate fits ({spread}; 1 is steady)."


def power_law_fit(
    times: er.Times, end: er.Ends = None, *, ended_by: er.EndedBy = "time", confidence: float = 0.95
) -> PowerLawFit:
    """Fit a power-law rate (Weibull process) by maximum likelihood.

    Parameters
    ----------
    times, end, ended_by
        As in `laplace_test`, times above 0. Several runs share ``beta`` and ``scale``.
    confidence : float
        Of the intervals.

    Returns
    -------
    PowerLawFit
        ``beta`` (maximum likelihood), ``beta_unbiased``, exact interval of beta, ``scale`` (events expected in the
        first unit of time of a run).

    Raises
    ------
    ValueError
        As in `laplace_test`; 3 events are needed beyond those that end a run.

    Notes
    -----
    Crow (1974); MIL-HDBK-189. With M usable events, 2 M beta / beta_hat has a chi-square law with 2 M degrees of
    freedom, which gives the exact interval. The unbiased exponent is (M - 1) / S, S the sum of ln(end / time), with M
    = n for time-terminated and M = n - 1 for event-terminated runs.
    """
    confidence = check.share("confidence", confidence)
    runs = er.pooled(times, end, ended_by=ended_by, least=3, above_zero=True)
    used = runs.telling(ended_by, least=2)
    m, n = int(used.times.size), int(runs.times.size)
    total = float(np.sum(np.log(used.end_of_event / used.times)))
    if total <= 0:
        raise ValueError("times must not all lie at the run's end, got no spread")
    beta, tail = n / total, (1.0 - confidence) / 2.0
    low, high = (float(special.chdtri(2 * m, q)) / (2 * total) for q in (1.0 - tail, tail))
    return PowerLawFit(
        beta=beta, beta_low=low, beta_high=high, beta_unbiased=(m - 1) / total, scale=n / float(np.sum(runs.ends**beta)),
        count=n, runs=int(runs.ends.size), confidence=confidence, method=f"power-law fit by maximum likelihood, {ended_by}-terminated",
    )  # fmt: skip


def log_linear_growth(runs: er.Runs) -> float:
    """Growth of the rate per unit of time, when it is exp(growth * time) times each run's own level.

    Cox and Lewis (1966), chapter 3: the score conditional on the counts, which removes the levels. There must be
    times between the borders of their runs.
    """
    span = float(runs.ends.max())
    ends, counts, total = runs.ends / span, runs.counts.astype(float), float(np.sum(runs.times)) / span

    def score(growth: float) -> float:
        return total - float(np.sum(counts * ends * _mean_place(growth * ends)))

    edge = 2.0
    while score(-edge) * score(edge) > 0:
        edge *= 2.0
    return root(score, -edge, edge) / span


def _mean_place(x: Floats) -> Floats:
    """Mean of a time between 0 and 1 whose density grows as exp(x * time), safe near x = 0 and far from it."""
    small = np.abs(x) < 1e-4
    safe = np.where(small, 1.0, x)
    return np.where(small, 0.5 + x / 12, 1.0 / -np.expm1(-safe) - 1.0 / safe)


def share_of_run(runs: er.Runs, growth: float) -> Floats:
    """Share of each run's events expected before each event, when the rate grows as exp(growth * time)."""
    ends = runs.end_of_event
    if abs(growth) * float(runs.ends.max()) < 1e-6:
        return runs.times / ends
    if growth > 0:
        return np.asarray((np.exp(growth * (runs.times - ends)) - np.exp(-growth * ends)) / -np.expm1(-growth * ends))
    return np.asarray(np.expm1(growth * runs.times) / np.expm1(growth * ends))


LEAST_EPISODES = 5  # below, no permutation of gaps reaches the few per cent that a verdict asks for
WINDOWS_AT_MOST = 12  # equal windows for the dispersion
FEWEST_PER_WINDOW = 1.5  # expected events per window, else fewer windows
LEAST_FREEDOM = 4  # degrees of freedom below which a dispersion says nothing


@dataclass(frozen=True, slots=True)
class RateTrend(Tested):
    """Do episodes come more often as a run goes on? ``p_value`` is the larger of the two component p-values.

    ``z`` is Laplace's under permutation of the gaps: positive means more often. ``rate_factor`` is the fitted rate at
    the end over that at the start of the longest run. ``dispersion`` is what the episodes scatter beyond Poisson after
    the trend is taken out (1 or more); ``clusters`` are the episodes left after merging by ``dead_time``.
    """

    z: float
    p_gaps: float
    p_bursts: float
    dispersion: float
    gap_variation: float
    rate_factor: float
    clusters: int
    runs: int
    alternative: str
    seed: int

    @property
    def reads(self) -> str:
        """The finding in words."""
        words = er.trend_words(self.z > 0, self.shown, self.p_value, self.alternative)
        if self.runs == 1 and self.shown and self.z > 0:
            return words + " This is one run: heat and wear cannot be told apart; repeat from cold."
        return words


def _free(clusters: Clusters, ends: Floats, dead_time: float) -> er.Runs:
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
    return er.Runs(np.minimum(times, free_ends[clusters.run]), clusters.run, free_ends, counts)


def _dispersion(runs: er.Runs, growth: float) -> float:
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
    times: er.Times,
    end: er.Ends,
    *,
    dead_time: float = 0.0,
    alternative: er.Alternative = "increasing",
    seed: int = 0,
    confidence: float = 0.95,
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
    confidence : float
        From which `reads` claims anything.

    Returns
    -------
    RateTrend
        ``p_value`` is the larger of ``p_gaps`` (Laplace's score when the free gaps change places within runs) and
        ``p_bursts`` (when whole bursts do, parted by the intervals estimator on a clock without the fitted trend): both
        are demanded. Below 5 clusters it is 1.

    Raises
    ------
    ValueError
        As in `laplace_test`; for a negative ``dead_time``.

    Notes
    -----
    Permuted gaps hold for any independent gaps; gaps in bursts longer than the dead time depend on each other, and
    there whole bursts change places. Bursts are told on the clock without the trend, else a trend looks like one long
    burst and loses its power. Error and power: ``tests/studies/results/growth_within.md``.
    """
    side = er.side(alternative)
    confidence = check.share("confidence", confidence)
    runs = er.pooled(times, end, least=1)
    dead_time = check.positive("dead_time", dead_time, what="a time", zero=True)
    clusters = decluster(np.split(runs.times, np.cumsum(runs.counts)[:-1]), dead_time=dead_time)
    free = _free(clusters, runs.ends, dead_time)
    n = int(free.times.size)
    z, growth = 0.0, 0.0
    p_gaps = p_bursts = factor = spread = 1.0
    variation = float("nan")
    if n >= LEAST_EPISODES and bool(np.all(free.end_of_event > 0)):
        if 0.0 < float(free.times.sum()) < float(free.end_of_event.sum()):
            growth = log_linear_growth(free)
        spread = _dispersion(free, growth)
        factor = float(np.exp(np.clip(growth * float(free.ends.max()), -700.0, 700.0)))
        z, p_gaps = permuted_laplace(free, ended_by="time", alternative=side, seed=seed)
        level = er.Runs(share_of_run(free, growth) * free.end_of_event, free.run, free.ends, free.counts)
        p_bursts = permuted_bursts(free, burst_levels(free, level), ended_by="time", alternative=side, seed=seed)
        variation = gap_variation(free)
    return RateTrend(
        z=z, p_value=max(p_gaps, p_bursts), p_gaps=p_gaps, p_bursts=p_bursts, dispersion=spread, gap_variation=variation, rate_factor=factor, clusters=n,
        runs=int(runs.ends.size), alternative=side, seed=seed,
        method="Laplace's score by permutation of gaps and of bursts, both demanded",
        confidence=confidence,
    )  # fmt: skip
