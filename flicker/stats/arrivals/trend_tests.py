"""Laplace, MIL-HDBK-189, Lewis-Robinson and Anderson-Darling tests: do events come more often as time goes on?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from flicker.base import check
from flicker.base.arrays import Floats
from flicker.base.formats import p_said
from flicker.base.result import Tested
from flicker.stats.arrivals.permutations import (
    PERMUTATIONS,
    SIMULATED_AT_MOST,
    burst_levels,
    burst_orders,
    burst_variation,
    gap_variation,
    laplace_z,
    permuted_bursts,
    permuted_laplace,
    shuffled,
    spacings,
)
from flicker.stats.laws import count_tails
from flicker.stats.laws import event_runs as er


@dataclass(frozen=True, slots=True)
class TrendTest(er.OverRuns):
    """A trend test whose positive ``z`` means that events come more often."""

    z: float

    @property
    def reads(self) -> str:
        """The finding in words."""
        return er.trend_words(self.z > 0, self.shown, self.p_value, self.alternative)


@dataclass(frozen=True, slots=True)
class RenewalTrendTest(TrendTest):
    """A trend test that allows any spread of the gaps; ``gap_variation`` is their coefficient of variation."""

    p_gaps: float
    p_bursts: float
    p_normal: float
    gap_variation: float
    seed: int


@dataclass(frozen=True, slots=True)
class PowerLawTest(er.OverRuns):
    """MIL-HDBK-189 trend test; a small ``chi2`` means that events come more often, a large one less often."""

    chi2: float
    dof: int

    @property
    def reads(self) -> str:
        """The finding in words."""
        return er.trend_words(self.chi2 < self.dof, self.shown, self.p_value, self.alternative)


@dataclass(frozen=True, slots=True)
class AndersonDarlingTrend(Tested):
    """Anderson-Darling type test against any trend, monotone or not."""

    statistic: float
    p_gaps: float
    p_bursts: float
    p_poisson: float
    count: int
    runs: int
    seed: int

    @property
    def reads(self) -> str:
        """The finding in words."""
        if self.shown:
            return f"The episodes do not come evenly over the observed time ({p_said(self.p_value)})."
        return f"It is not shown that the episodes come unevenly over the observed time ({p_said(self.p_value)})."


def laplace_test(
    times: er.Times,
    end: er.Ends = None,
    *,
    ended_by: er.EndedBy = "time",
    alternative: er.Alternative = "two-sided",
    confidence: float = 0.95,
) -> TrendTest:
    """Laplace's test: is the mean arrival time later than the middle of the run?

    Parameters
    ----------
    times : array_like, or list of array_like
        Sorted event times of one run, or of each run, from the run's start, in any one unit of time.
    end : float or list of float
        Observed length of each run. Where parts of a run were not observed, give both `times` and `end` in observed
        time (the gaps taken out beforehand): the test is then one of the rate per observed time.
    ended_by : {"time", "event"}
        Whether a run stopped at a set time or at its last event (``end`` may then be None).
    alternative : {"two-sided", "increasing", "decreasing"}
        "greater" and "less" (positive or negative z) are accepted for "increasing" and "decreasing".
    confidence : float
        From which `reads` claims anything.

    Returns
    -------
    TrendTest
        ``z`` is positive when events come more often with time.

    Raises
    ------
    ValueError
        For unsorted times, times outside the run, no usable event, an ``end`` not above 0 or an unknown option.

    Notes
    -----
    Cox and Lewis (1966), chapter 3; several runs are pooled by adding the scores (each run keeps a rate of its own).
    It is the score test against a log-linear rate, and assumes Poisson arrivals: for arrivals in bursts it rejects far
    too often, so use `rate_trend_test` for a verdict.
    """
    confidence = check.share("confidence", confidence)
    alternative_ = er.side(alternative)
    runs = er.pooled(times, end, ended_by=ended_by, least=1)
    used = runs.telling(ended_by)
    z = laplace_z(used)
    return TrendTest(
        z=z, p_value=count_tails.normal_p(z, alternative_), count=int(runs.times.size), runs=int(runs.ends.size), alternative=alternative_,
        method=f"Laplace test, {ended_by}-terminated, Poisson arrivals", confidence=confidence,
    )  # fmt: skip


def power_law_test(
    times: er.Times,
    end: er.Ends = None,
    *,
    ended_by: er.EndedBy = "time",
    alternative: er.Alternative = "two-sided",
    confidence: float = 0.95,
) -> PowerLawTest:
    """MIL-HDBK-189 test: chi-square of 2 sum ln(end / time), exact under Poisson arrivals.

    Parameters
    ----------
    times, end, ended_by, alternative, confidence
        As in `laplace_test`; times must lie above 0.

    Returns
    -------
    PowerLawTest
        ``dof`` is 2n for a run that stopped at a set time, 2(n - 1) for one that stopped at an event; a *small*
        ``chi2`` means that events come more often.

    Raises
    ------
    ValueError
        As in `laplace_test`, and for a time of 0.

    Notes
    -----
    MIL-HDBK-189 (1981); uniformly most powerful unbiased against a power-law rate. Runs are pooled by adding.
    """
    confidence = check.share("confidence", confidence)
    alternative_ = er.side(alternative)
    runs = er.pooled(times, end, ended_by=ended_by, least=1, above_zero=True)
    used = runs.telling(ended_by)
    chi2 = 2.0 * float(np.sum(np.log(used.end_of_event / used.times)))
    dof = 2 * int(used.times.size)
    lower, upper = float(special.chdtr(dof, chi2)), float(special.chdtrc(dof, chi2))
    return PowerLawTest(
        chi2=chi2, dof=dof, p_value=count_tails.p_value(upper, lower, alternative_), count=int(runs.times.size), runs=int(runs.ends.size), alternative=alternative_,
        method=f"MIL-HDBK-189 chi-square test, {ended_by}-terminated", confidence=confidence,
    )  # fmt: skip


def lewis_robinson_test(
    times: er.Times,
    end: er.Ends = None,
    *,
    ended_by: er.EndedBy = "time",
    alternative: er.Alternative = "two-sided",
    seed: int = 0,
    confidence: float = 0.95,
) -> RenewalTrendTest:
    """Lewis-Robinson test: Laplace's z over the variation of the gaps, with a p-value from permutations.

    Parameters
    ----------
    times, end, ended_by, alternative, confidence
        As in `laplace_test`.
    seed : int
        Of the permutations (fixed, so that a log always gets the same p-value).

    Returns
    -------
    RenewalTrendTest
        ``p_value`` is the larger of ``p_gaps`` (single gaps change places: exact for any renewal process) and
        ``p_bursts`` (whole bursts change places, parted by the intervals estimator, and where bursts show also
        stretches of about three of them); ``p_normal`` comes from z,
        published because it is the textbook's: it is too small for few events (10 % instead of 5 % at five events).

    Raises
    ------
    ValueError
        As in `laplace_test`; two events in one run are needed.

    Notes
    -----
    Lewis and Robinson (1974). Bursts that overlap, or whose number of events varies little, do not make a renewal
    process: single gaps alone then reject up to 8 % where a burst lasts a third of the time between bursts, and 14 %
    at twice that. With bursts moved as well, trend-free bursts of mean 2 to 10 that last up to a third of that time
    are rejected in 0.4 to 3.8 % (10 to 200 events); at 0.6 of it in 4 to 6.3 %, 8.4 % with three bursts of ten in all:
    a few bursts as long as the pauses between them cannot be told from a trend
    (``tests/studies/results/calibration_clusters.md``).
    For a run that stopped at a set time the rest after the last event takes part. Beyond some 1,000 events both p-values
    come from the normal limit.
    """
    confidence = check.share("confidence", confidence)
    alternative_ = er.side(alternative)
    runs = er.pooled(times, end, ended_by=ended_by, least=2)
    if int(runs.counts.max()) < 2:
        raise ValueError("times must hold 2 or more times in some run, got at most 1 in each")
    used = runs.telling(ended_by)
    cv = gap_variation(runs)
    laplace = laplace_z(used)
    z = laplace / cv if cv > 0 else 0.0
    _, p_gaps = permuted_laplace(runs, ended_by=ended_by, alternative=alternative_, seed=seed)
    levels = burst_levels(runs)
    p_bursts = permuted_bursts(runs, levels, ended_by=ended_by, alternative=alternative_, seed=seed)
    return RenewalTrendTest(
        z=z, p_value=max(p_gaps, p_bursts), p_gaps=p_gaps, p_bursts=p_bursts, p_normal=count_tails.normal_p(z, alternative_), gap_variation=cv, count=int(runs.times.size),
        runs=int(runs.ends.size), alternative=alternative_, seed=seed,
        method=f"Lewis-Robinson test, {ended_by}-terminated, p-value by permutation of gaps and of bursts",
        confidence=confidence,
    )  # fmt: skip


def anderson_darling_trend_test(
    times: er.Times,
    end: er.Ends = None,
    *,
    ended_by: er.EndedBy = "time",
    seed: int = 0,
    confidence: float = 0.95,
) -> AndersonDarlingTrend:
    """Anderson-Darling type test against a trend of any shape, calibrated by permuting gaps and bursts.

    Parameters
    ----------
    times, end, ended_by, confidence
        As in `laplace_test`.
    seed : int
        Of the permutations.

    Returns
    -------
    AndersonDarlingTrend
        ``statistic`` is A-squared of the scaled arrival times; ``p_value`` is the larger of ``p_gaps`` and
        ``p_bursts``, as in `lewis_robinson_test`; ``p_poisson`` holds only for Poisson arrivals (bursts make it reject
        in most trend-free logs).

    Raises
    ------
    ValueError
        As in `laplace_test`; three events over all runs are needed.

    Notes
    -----
    Kvaloy and Lindqvist (1998), Reliability Engineering and System Safety 60, 13-28, for the statistic. The published
    renewal forms miss their size at the counts of a bench log, so the p-value is that of permutations. Trend-free bursts
    that last up to a third of the time between bursts are rejected in 0.5 to 5.4 %; at 0.6 of it in 6 to 11 %, where
    `lewis_robinson_test` holds better (``tests/studies/results/calibration_clusters.md``). Beyond some 1,000 events it
    is the limiting law of the statistic over the squared variation of the gaps (their 2003 paper), or over that of
    bursts.
    """
    confidence = check.share("confidence", confidence)
    runs = er.pooled(times, end, ended_by=ended_by, least=3)
    used = runs.telling(ended_by, least=2)
    statistic = float(anderson_darling(np.sort(used.times / used.end_of_event)))
    p_poisson = anderson_darling_limit(statistic)
    gaps, run, sizes = spacings(runs, ended_by)
    levels = burst_levels(runs)
    if gaps.size * PERMUTATIONS > SIMULATED_AT_MOST:
        spreads = (gap_variation(runs), *(burst_variation(runs, bursts) for bursts in levels))
        p_gaps, *of_levels = (anderson_darling_limit(statistic / v**2) if v > 0 else 1.0 for v in spreads)
    else:
        shuffled_gaps = shuffled(gaps, run, PERMUTATIONS, seed)
        starts = np.concatenate(([0], np.cumsum(sizes)[:-1]))
        sums = np.cumsum(shuffled_gaps, axis=1)
        before = np.concatenate((np.zeros((PERMUTATIONS, 1)), sums), axis=1)[:, starts]
        inner = np.arange(gaps.size) - starts[run] < sizes[run] - 1
        u = ((sums - before[:, run]) / runs.ends[run])[:, inner]
        p_gaps = er.simulated_p(statistic, anderson_darling(np.sort(u, axis=1)), "increasing")
        of_levels = []
        for bursts in levels:
            u = burst_orders(runs, bursts, ended_by=ended_by, rows=PERMUTATIONS, seed=seed) / runs.end_of_event
            # a run that ended by an event has one at its very end in every order, which says nothing
            u = np.sort(u, axis=1)[:, : used.times.size]
            of_levels.append(er.simulated_p(statistic, anderson_darling(u), "increasing"))
    p_bursts = max(of_levels)
    return AndersonDarlingTrend(
        statistic=statistic, p_value=max(p_gaps, p_bursts), p_gaps=p_gaps, p_bursts=p_bursts, p_poisson=p_poisson, count=int(runs.times.size),
        runs=int(runs.ends.size), seed=seed,
        method=f"Anderson-Darling trend test, {ended_by}-terminated, p-value by permutation of gaps and of bursts",
        confidence=confidence,
    )  # fmt: skip


def anderson_darling(u: Floats) -> Floats:
    """A-squared against the uniform law, along the last axis of sorted ``u``."""
    n = u.shape[-1]
    u = np.clip(u, 1e-15, 1.0 - 1e-15)  # a time at the very border of its run
    odd = 2.0 * np.arange(1, n + 1) - 1.0
    return np.asarray(-n - np.sum(odd * (np.log(u) + np.log1p(-u[..., ::-1])), axis=-1) / n)


def anderson_darling_limit(a2: float) -> float:
    """Upper tail of the limiting Anderson-Darling law: Anderson and Darling (1952), series."""
    if a2 <= 0.02:
        return 1.0
    j = np.arange(0, 12)
    sign = special.binom(-0.5, j)
    lead = (4 * j + 1.0) ** 2 * np.pi**2 / (8.0 * a2)
    x, dx = np.linspace(0.0, 9.0, 451, retstep=True)  # each integrand is smooth and falls as exp(-x^2)
    w = x[None, :] / np.sqrt(lead)[:, None]
    inner = np.exp(a2 / (8.0 * (w**2 + 1.0)) - x[None, :] ** 2)
    integral = (inner.sum(axis=1) - 0.5 * (inner[:, 0] + inner[:, -1])) * dx / np.sqrt(lead)
    cdf = np.sqrt(2.0 * np.pi) / a2 * np.sum(sign * (4 * j + 1.0) * np.exp(-lead) * integral)
    return float(min(max(1.0 - cdf, 0.0), 1.0))
