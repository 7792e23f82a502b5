"""Is the unit worse from run to run? Runs compared with each other at equal time since power-up."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from flicker.base import check
from flicker.base.formats import p_said
from flicker.base.result import Tested
from flicker.stats.arrivals import arrival_runs as ar
from flicker.stats.arrivals.power_law import log_linear_fit, share_of_run
from flicker.stats.arrivals.trend_tests import PERMUTATIONS

SIMULATIONS = 4999  # of Poisson runs
LEAST_RUNS_TO_PERMUTE = 5  # five runs have 120 orders, four only 24
WINDOWS_AT_MOST, FEWEST_PER_WINDOW, LEAST_FREEDOM = 12, 1.5, 4  # of the dispersion within runs
EXACT_RUNS = 7  # 5,040 orders are counted out, beyond they are drawn


@dataclass(frozen=True, slots=True)
class AgeTrend(Tested):
    """Do later runs show more episodes than earlier ones, at the same time since power-up?

    ``statistic`` is positive when later runs show more. ``rate_factor`` per step of ``order`` is the fitted ratio.
    ``dispersion`` is what windows within the runs scatter beyond Poisson (1 or more, NaN where it cannot be told).
    """

    statistic: float
    p_value: float
    p_poisson: float
    dispersion: float
    rate_factor: float
    count: int
    runs: int
    permuted: bool
    caution: str
    alternative: str
    seed: int
    method: str
    confidence: float = 0.95

    @property
    def reads(self) -> str:
        """The finding in words."""
        if not self.shown:
            words = f"It is not shown that later runs bring more or fewer episodes ({p_said(self.p_value)})."
        else:
            way = "more" if self.statistic > 0 else "fewer"
            words = f"Later runs bring {way} episodes ({p_said(self.p_value)})."
        return f"{words} {self.caution}" if self.caution else words


def age_trend(
    times: ar.Times,
    ends: ArrayLike,
    *,
    order: ArrayLike | None = None,
    alternative: ar.Alternative = "two-sided",
    seed: int = 0,
    confidence: float = 0.95,
) -> AgeTrend:
    """Compare runs with each other at equal time since power-up: do later runs bring more episodes?

    Parameters
    ----------
    times : list of array_like
        Sorted event times of each run since its power-up (a run may be empty). Two runs or more.
    ends : array_like
        Observed length of each run.
    order : array_like, optional
        Age of the unit at each run (date, operating hours); None takes the runs in the order given.
    alternative : {"two-sided", "increasing", "decreasing"}
        "increasing": later runs bring more.
    seed : int
        Of permutations and simulations.
    confidence : float
        From which `reads` claims anything.

    Returns
    -------
    AgeTrend
        From five runs on ``p_value`` comes from permuting the runs' order, since runs may differ by more than Poisson
        (and it is never below ``p_poisson``, which also holds when run lengths follow a trend). With fewer runs it is
        ``p_poisson``, made larger where episodes come in bursts (t of the score over the root of ``dispersion``), and
        ``caution`` says what is assumed: how far runs of a sound unit differ cannot be told from so few.

    Raises
    ------
    ValueError
        For fewer than two runs, no event, times outside their run, or an ``order`` without any difference.

    Notes
    -----
    Score test of a proportional rate with the time since power-up left free (Andersen and Gill 1982, Annals of
    Statistics 10, 1100-1120): each episode is set against the runs that
    also reached its time since power-up. So a rate that rises with heat in each run alike does not count as age.
    """
    side = ar.side(alternative)
    confidence = check.share("confidence", confidence)
    items = ar.split(times)
    if len(items) < 2:
        raise ValueError(f"times must be a list of 2 or more runs, got {len(items)}")
    runs = ar.pooled(times, ends, least=1, name_of_end="ends")
    m = runs.ends.size
    age = np.arange(m, dtype=float)
    if order is not None:
        age = check.finite_array("order", order, least=2)
        if age.size != m:
            raise ValueError(f"order must hold one number per run ({m}), got {age.size}")
        if float(np.ptp(age)) == 0:
            raise ValueError(f"order must differ between runs, got {age[0]} for all")
    seed = check.whole("seed", seed, what="a seed")
    age = (age - age.mean()) / float(np.ptp(age))
    held = _risk_sets(runs)
    statistic, p_poisson = _poisson_age(held, age, side, seed)
    factor = _age_factor(held, age, 1.0 / (m - 1))
    spread, freedom = _spread_within(runs)
    caution, permuted, p = "", m >= LEAST_RUNS_TO_PERMUTE, p_poisson
    how = "Poisson, simulated"
    if permuted:
        p = max(p, _permuted_age(held, age, side, seed))
        how = "permutation of runs"
    elif math.isnan(spread):
        caution = (
            f"With {m} runs this assumes that runs of a sound unit differ by chance (Poisson) only, and too few episodes "
            "were seen to tell whether they come in bursts."
        )
    else:
        caution = f"With {m} runs this assumes that runs of a sound unit differ by no more than windows within them."
        if spread > 1.0:
            t = statistic / math.sqrt(spread)
            lower, upper = float(special.stdtr(freedom, t)), float(special.stdtr(freedom, -t))
            p = max(p, ar.tail_p(lower, upper, side))
            how = "t, widened by the dispersion within runs"
    return AgeTrend(
        statistic=statistic, p_value=p, p_poisson=p_poisson, dispersion=spread, rate_factor=factor, count=int(runs.times.size), runs=m, permuted=permuted, caution=caution, alternative=side, seed=seed,
        method=f"score test by risk sets, {how}", confidence=confidence,
    )  # fmt: skip


def _spread_within(runs: ar.Runs) -> tuple[float, float]:
    """Dispersion of counts in windows that would hold equal shares of a run under a common log-linear rise with heat.

    Also its degrees of freedom; NaN and 0 where they are too few. Each run keeps its own rate, so age puts nothing on
    it. A burst cut by the border of two windows shows in their pair, so the larger of both counts.
    """
    inside = 0.0 < float(runs.times.sum()) < float(runs.end_of_event.sum())
    parts = np.split(runs.times, np.cumsum(runs.counts)[:-1])
    growth = log_linear_fit(parts, runs.ends).growth if runs.times.size >= 3 and inside else 0.0
    share = share_of_run(runs, growth)
    found = (math.nan, 0.0)
    for width in (1, 2):
        chi2, freedom = 0.0, -1.0
        for r in np.flatnonzero(runs.counts >= 2 * FEWEST_PER_WINDOW):
            n = int(runs.counts[r])
            k = min(WINDOWS_AT_MOST, int(n / FEWEST_PER_WINDOW)) // width
            if k < 2:
                continue
            held = np.bincount(np.minimum((share[runs.run == r] * k).astype(int), k - 1), minlength=k)
            chi2 += float(np.sum((held - n / k) ** 2) / (n / k))
            freedom += k - 1
        if freedom >= LEAST_FREEDOM and not max(1.0, chi2 / freedom) <= found[0]:
            found = (max(1.0, chi2 / freedom), freedom)
    return found


def _risk_sets(runs: ar.Runs) -> tuple[ar.Floats, ar.Floats]:
    """Events by level of exposure: counts (levels, runs), and who is at risk (levels, runs).

    A level is the stretch of time since power-up between two neighbouring run ends; the same runs are at risk all
    through it, so only its counts matter.
    """
    edges = np.unique(runs.ends)
    level = np.searchsorted(edges, runs.times, side="left")
    counts = np.zeros((edges.size, runs.ends.size))
    np.add.at(counts, (level, runs.run), 1.0)
    risk = (runs.ends[None, :] >= edges[:, None]).astype(float)
    keep = (counts.sum(axis=1) > 0) & (risk.sum(axis=1) > 1)
    return counts[keep], risk[keep]


def _score(held: tuple[ar.Floats, ar.Floats], ages: ar.Floats) -> tuple[ar.Floats, ar.Floats]:
    """Score and its Poisson variance for each row of ``ages``, shape (rows, runs)."""
    counts, risk = held
    total, width = counts.sum(axis=1), risk.sum(axis=1)
    mean = ages @ risk.T / width
    square = ages**2 @ risk.T / width
    return ages @ counts.sum(axis=0) - mean @ total, np.maximum(square - mean**2, 0.0) @ total


def _poisson_age(held: tuple[ar.Floats, ar.Floats], age: ar.Floats, side: str, seed: int) -> tuple[float, float]:
    counts, risk = held
    if counts.size == 0:
        return 0.0, 1.0
    u, v = _score(held, age[None, :])
    if v[0] <= 0:
        return 0.0, 1.0
    rng = np.random.default_rng(seed)
    drawn = np.zeros((SIMULATIONS, age.size))
    for row, at_risk in zip(counts, risk, strict=True):
        drawn += rng.multinomial(int(row.sum()), at_risk / at_risk.sum(), size=SIMULATIONS)
    expected = float(u[0] - counts.sum(axis=0) @ age)  # minus the sum of risk-set means
    return float(u[0] / np.sqrt(v[0])), ar.simulated_p(float(u[0]), drawn @ age + expected, side)


def _permuted_age(held: tuple[ar.Floats, ar.Floats], age: ar.Floats, side: str, seed: int) -> float:
    """P-value of the score over its Poisson spread under all orders of the runs (or drawn ones)."""
    if held[0].size == 0:
        return 1.0
    m = age.size
    exact = m <= EXACT_RUNS
    if exact:
        orders = np.array(list(itertools.permutations(range(m))))
    else:
        orders = np.argsort(np.random.default_rng(seed).random((PERMUTATIONS, m)), axis=1)
    ages = np.vstack((age[None, :], age[orders]))
    u, v = _score(held, ages)
    value = np.where(v > 0, u / np.sqrt(np.where(v > 0, v, 1.0)), 0.0)
    observed, others = float(value[0]), value[1:]
    if not exact:
        return ar.simulated_p(observed, others, side)
    slack = 1e-9 * max(1.0, abs(observed))
    upper, lower = float(np.mean(others >= observed - slack)), float(np.mean(others <= observed + slack))
    return ar.tail_p(lower, upper, side)


def _age_factor(held: tuple[ar.Floats, ar.Floats], age: ar.Floats, step: float) -> float:
    """Fitted ratio of rates per mean step of the order: Newton's method on the partial likelihood."""
    counts, risk = held
    if counts.size == 0:
        return 1.0
    total, b = counts.sum(axis=1), 0.0
    for _ in range(50):
        weight = risk * np.exp(np.clip(b * age, -50.0, 50.0))
        weight /= weight.sum(axis=1, keepdims=True)
        mean = weight @ age
        slope = float(counts.sum(axis=0) @ age - total @ mean)
        bend = float(total @ np.maximum(weight @ age**2 - mean**2, 0.0))
        if bend <= 1e-12:
            break
        move = float(np.clip(slope / bend, -2.0, 2.0))
        b = float(np.clip(b + move, -40.0, 40.0))
        if abs(move) < 1e-10:
            break
    return float(np.exp(b * step))
