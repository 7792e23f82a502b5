"""By how much does the rate grow with age? Runs of known age in; growth with interval out.

Every episode is set against the runs that also reached its time since power-up, so a rate that rises with heat in each
run alike is no growth. The model: rate = (any function of time since power-up) x exp(growth x age).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from flicker.base import check
from flicker.base.formats import digits_text
from flicker.base.result import Result
from flicker.stats.arrivals.age_windows import dealt_p, shuffled_p
from flicker.stats.laws import event_runs as er
from flicker.stats.rates.dispersion import dispersion_levels, window_counts

LEAST_RUNS = 5  # from here on the runs themselves tell whether they differ by more than Poisson
LEAST_ORDERS = 700  # of the runs' ages: with fewer a permutation is too coarse
WINDOWS = 20  # per age
STEPS = 300  # of the table of roots on either side
FARTHEST = 40.0  # of the exponent over the whole range of ages: a factor of 2e17


@dataclass(frozen=True, slots=True)
class AgeRegression(Result):
    """Growth of the rate with age.

    Attributes
    ----------
    growth, low, high
        Exponent per unit of age with its interval; a factor over an age d is exp(growth d). Infinite where all episodes
        lie in the oldest (or youngest) runs.
    p_value
        Two-sided, of no growth; agrees with the interval.
    dispersion
        Largest variance over mean used (1: as independent episodes).
    events, runs
        Episodes that could be compared, and runs.
    """

    growth: float
    low: float
    high: float
    p_value: float
    dispersion: float
    events: int
    runs: int
    cautions: tuple[str, ...]
    confidence: float
    method: str

    def factor(self, age: float) -> tuple[float, float, float]:
        """Return the factor over an age, with its interval."""
        with np.errstate(over="ignore"):
            values = [float(np.exp(np.float64(b * age))) if age else 1.0 for b in (self.growth, self.low, self.high)]
        return values[0], values[1], values[2]

    @property
    def reads(self) -> str:
        """The growth in words."""
        return f"The rate changes by the factor exp({digits_text(self.growth, 3)} x age), {digits_text(self.low, 3)} to {digits_text(self.high, 3)}."


class _Partial:
    """Partial likelihood of the growth: levels of time since power-up, counts (levels, runs), who was at risk."""

    def __init__(self, runs: er.Runs, age: er.Floats) -> None:
        edges = np.unique(runs.ends)
        level = np.searchsorted(edges, runs.times, side="left")
        self.all_counts = np.zeros((edges.size, age.size))
        np.add.at(self.all_counts, (level, runs.run), 1.0)
        self.all_risk = (runs.ends[None, :] >= edges[:, None]).astype(float)
        self.edges, self.age = edges, age
        # A level tells of growth only where runs of different age were at risk.
        spread = np.array([np.ptp(age[row > 0]) > 0 for row in self.all_risk])
        keep = spread & (self.all_counts.sum(axis=1) > 0)
        self.counts, self.risk = self.all_counts[keep], self.all_risk[keep]
        self.total = self.counts.sum(axis=1)
        self.score_at = float(self.counts.sum(axis=0) @ age) if keep.any() else 0.0

    def _log_weights(self, b: float) -> er.Floats:
        with np.errstate(divide="ignore"):
            return np.where(self.risk > 0, b * self.age[None, :], -np.inf)

    def value(self, b: float) -> float:
        """Log likelihood."""
        return b * self.score_at - float(self.total @ special.logsumexp(self._log_weights(b), axis=1))

    def moments(self, b: float) -> tuple[float, float]:
        """Slope of the log likelihood, and its negative bend."""
        share = special.softmax(self._log_weights(b), axis=1)
        mean = share @ self.age
        bend = float(self.total @ np.maximum(share @ self.age**2 - mean**2, 0.0))
        return self.score_at - float(self.total @ mean), bend

    def best(self, reach: float) -> float:
        """Maximum, or an infinite end where the likelihood rises for ever."""
        tallest = float(self.total @ np.where(self.risk > 0, self.age[None, :], -np.inf).max(axis=1))
        least = float(self.total @ np.where(self.risk > 0, self.age[None, :], np.inf).min(axis=1))
        slack = 1e-9 * max(1.0, abs(self.score_at))
        if self.score_at >= tallest - slack:
            return math.inf
        if self.score_at <= least + slack:
            return -math.inf
        return _cross(lambda b: self.moments(b)[0], -reach, reach)

    def roots(self, b: er.Floats, best: float) -> er.Floats:
        """Signed root of the likelihood ratio at each b, sharpened to the third order; falls as b grows."""
        logs = np.where(self.risk > 0, b[:, None, None] * self.age, -np.inf)
        value = b * self.score_at - np.asarray(special.logsumexp(logs, axis=2)) @ self.total
        if math.isinf(best):
            # The chance of so extreme a sum is the likelihood itself.
            tail = np.clip(np.exp(np.minimum(value - self._limit(), 0.0)), 1e-300, 1.0 - 1e-16)
            side = -np.asarray(special.ndtri(tail))
            return side if best > 0 else -side
        gain = np.maximum(2.0 * (self.value(best) - value), 0.0)
        r = np.copysign(np.sqrt(gain), best - b)
        q = (best - b) * math.sqrt(self.moments(best)[1])
        far = (np.abs(r) > 1e-3) & (q != 0.0)
        ratio = np.where(far, q, 1.0) / np.where(far, r, 1.0)
        return np.asarray(r + np.where(far, np.log(ratio) / np.where(far, r, 1.0), 0.0))

    def _limit(self) -> float:
        """Log likelihood at the infinite end: ties of the extreme age share the episodes evenly."""
        seen = np.where(self.risk > 0, self.age[None, :], np.nan)
        extreme = np.nanmax(seen, axis=1) if self.score_at >= float(self.total @ np.nanmean(seen, axis=1)) else np.nanmin(seen, axis=1)  # fmt: skip
        ties = np.nansum(seen == extreme[:, None], axis=1)
        return -float(self.total @ np.log(ties))

    def shares(self, b: float) -> er.Floats:
        """Share of each level's episodes that each run should have, at growth b; all levels."""
        logs = np.where(self.all_risk > 0, b * self.age[None, :], -np.inf)
        return np.asarray(special.softmax(logs, axis=1))


def _cross(function: Callable[[float], float], low: float, high: float) -> float:
    """Where a falling function passes zero, by bisection."""
    for _ in range(80):
        middle = 0.5 * (low + high)
        if function(middle) > 0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


@dataclass(frozen=True, slots=True)
class Fit:
    """A fitted growth with the likelihood it came from."""

    partial: _Partial
    best: float
    grid: er.Floats
    root: er.Floats
    levels: tuple[tuple[float, float], ...]  # (dispersion, degrees of freedom), infinite for Poisson
    dispersion: float  # the largest that was estimated
    cautions: tuple[str, ...]

    def quantiles(self, chances: er.Floats) -> er.Floats:
        """Growths below which the confidence distribution holds each chance: the widest of the levels."""
        ends = []
        for dispersion, dof in self.levels:
            z = special.ndtri(chances) if math.isinf(dof) else special.stdtrit(dof, chances)
            wanted = math.sqrt(dispersion) * np.asarray(z)
            # -root rises with the growth.
            at = np.interp(wanted, -self.root, self.grid)
            at = np.where(wanted > -self.root[-1], math.inf, np.where(wanted < -self.root[0], -math.inf, at))
            ends.append(at)
        return np.asarray(np.where(chances > 0.5, np.max(ends, axis=0), np.min(ends, axis=0)))

    def interval(self, confidence: float) -> tuple[float, float]:
        """Equal-tailed interval of the growth."""
        low, high = self.quantiles(np.array([0.5 * (1.0 - confidence), 0.5 * (1.0 + confidence)])).tolist()
        # All episodes at one end: no finite growth is too steep.
        return (-math.inf if self.best == -math.inf else low), (math.inf if self.best == math.inf else high)

    def p_value(self) -> float:
        """Two-sided, of no growth."""
        r = abs(float(self.partial.roots(np.zeros(1), self.best)[0]))
        tails = [
            float(special.ndtr(-r / math.sqrt(phi)) if math.isinf(dof) else special.stdtr(dof, -r / math.sqrt(phi)))
            for phi, dof in self.levels
        ]
        return min(1.0, 2.0 * max(tails))


def _ladder(partial: _Partial, best: float, reach: float) -> tuple[er.Floats, er.Floats]:
    """Growths, close together near the best, and the signed root at each, made to fall."""
    centre = 0.0 if math.isinf(best) else best
    bend = partial.moments(centre)[1]
    scale = min(1.0 / math.sqrt(bend) if bend > 0 else reach, reach)
    steps = np.sinh(np.linspace(-1.0, 1.0, 2 * STEPS + 1) * math.asinh(2.0 * reach / scale)) * scale
    grid = np.clip(centre + steps, -reach, reach)
    grid = np.unique(grid)
    return grid, np.minimum.accumulate(partial.roots(grid, best))


def _orders(age: er.Floats) -> float:
    """In how many different orders the ages can stand."""
    _, alike = np.unique(age, return_counts=True)
    return math.exp(min(float(special.gammaln(age.size + 1.0) - np.sum(special.gammaln(alike + 1.0))), 700.0)) + 1e-6


def _widening(dispersion: float, dof: float) -> float:
    """Dispersion that widens a normal 95 % interval as much as this one with its t quantile does."""
    return dispersion if math.isinf(dof) else dispersion * (float(special.stdtrit(dof, 0.975)) / 1.96) ** 2


def _as_wide_as(p_value: float, partial: _Partial, best: float, widest: float) -> float:
    """Dispersion at which no growth has this p-value, up to twice the widest that was estimated."""
    root, z = float(partial.roots(np.zeros(1), best)[0]), float(special.ndtri(0.5 * p_value))
    return min(max(root * root / max(z * z, 1e-12), 1e-6), 2.0 * widest)


def fit_growth(times: er.Times, ends: ArrayLike, ages: ArrayLike) -> tuple[Fit, er.Runs]:
    """Fit the growth with age by the likelihood given the number at risk."""
    runs = er.pooled(er.split(times), ends, least=1, name_of_end="ends")
    age = check.finite_array("ages", ages, least=2)
    if age.size != runs.ends.size:
        raise ValueError(f"ages must hold one number per run ({runs.ends.size}), got {age.size}")
    span = float(np.ptp(age))
    if span == 0:
        raise ValueError(f"ages must differ between runs, got {age[0]} for all")
    partial = _Partial(runs, age)
    reach = FARTHEST / span
    cautions: list[str] = []
    if partial.total.sum() == 0:
        raise ValueError(
            "times must hold an episode at a time since power-up that runs of different age reached, got none"
        )
    best = partial.best(reach)
    levels: list[tuple[float, float]] = [(1.0, math.inf)]
    items = er.split(times)
    sides = []
    for value in np.unique(age):
        mine = np.flatnonzero(age == value)
        sides.append(window_counts([items[k] for k in mine], [float(runs.ends[k]) for k in mine], windows=WINDOWS))
    bursts = dispersion_levels(sides)
    if not bursts:
        cautions.append("too few episodes to tell whether they come in bursts; taken as independent")
    levels.extend(bursts)
    if age.size >= LEAST_RUNS:
        at = min(max(best, -reach), reach)
        mean = partial.all_counts.sum(axis=1) @ partial.shares(at)
        seen = runs.counts.astype(float)
        use = mean > 0
        chi2, dof = float(np.sum((seen[use] - mean[use]) ** 2 / mean[use])), float(age.size - 2)
        levels.append((max(chi2 / dof, 1e-6), dof))
        shuffled = shuffled_p(items, runs.ends, age) if _orders(age) >= LEAST_ORDERS else 0.0
    else:
        cautions.append(f"{age.size} runs are too few to tell whether runs of the same age differ by more than chance")
        shuffled = dealt_p(items, runs.ends, age)
    dispersion = max(phi for phi, _ in levels)
    widest = max(_widening(*level) for level in levels)
    if shuffled > 0.0:
        if age.size >= LEAST_RUNS:
            levels = levels[:1]  # the permutation allows for bursts and for runs that differ by itself
        levels.append((_as_wide_as(shuffled, partial, best, widest), math.inf))
    grid, root = _ladder(partial, best, reach)
    return Fit(
        partial=partial,
        best=best,
        grid=grid,
        root=root,
        levels=tuple(levels),
        dispersion=dispersion,
        cautions=tuple(cautions),
    ), runs


def age_regression(times: er.Times, ends: ArrayLike, ages: ArrayLike, *, confidence: float = 0.95) -> AgeRegression:
    """Fit how the rate grows with age.

    Parameters
    ----------
    times : list of array_like
        Sorted times of episodes in each run since its power-up (a run may be empty). Two runs or more.
    ends : array_like, shape (runs,)
        Observed length of each run.
    ages : array_like, shape (runs,)
        Age of the unit at each run, in any unit: days, hours of use, number of the visit.
    confidence : float
        Of the interval.

    Returns
    -------
    AgeRegression

    Raises
    ------
    ValueError
        For fewer than two runs, ages without any difference, no episode that can be compared, or times outside their
        run.

    Notes
    -----
    Partial likelihood of a proportional rate (Andersen and Gill 1982, Annals of Statistics 10, 1100-1120); with equal
    runs it is the Poisson regression given the total. Interval: signed root of the likelihood ratio with
    Barndorff-Nielsen's correction (1986, Biometrika 73, 307-322); at the ends, where all episodes lie in the oldest or
    youngest runs, exact.

    It is widened for bursts and for runs that differ. Where the ages of the runs have 700 orders or more: by as much as
    makes p that of a permutation of the runs. Else from five runs on: by the dispersion over some 20 windows per age and
    by that of the runs about the fit, each with its t quantile, whichever is widest. Below five: by the windows, and
    never less than a permutation of windows at equal time since power-up asks. Coverage, sizes and power:
    ``tests/studies/results/visits.md``.
    """
    confidence = check.share("confidence", confidence)
    fit, runs = fit_growth(times, ends, ages)
    low, high = fit.interval(confidence)
    return AgeRegression(
        growth=fit.best,
        low=low,
        high=high,
        p_value=fit.p_value(),
        dispersion=fit.dispersion,
        events=int(fit.partial.total.sum()),
        runs=int(runs.ends.size),
        cautions=fit.cautions,
        confidence=confidence,
        method="Poisson regression by risk sets, profile likelihood; widened for bursts and for runs that differ",
    )
