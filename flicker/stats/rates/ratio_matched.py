"""Are two rates the same, like compared with like? Strata that may differ freely, widened by what the windows show."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from flicker.base import check
from flicker.base.result import Result
from flicker.stats.rates import count_tails
from flicker.stats.rates.dispersion import checked_windows, dispersion_levels
from flicker.stats.rates.ratio import tails_at

Windows = tuple[NDArray[np.int64], NDArray[np.float64]]
FAR = 1e9  # ratios and multiples of exposure beyond this are taken as unbounded


@dataclass(frozen=True, slots=True)
class MatchedRatio(Result):
    """One rate over another within strata; two-sided limits and p, and both one-sided p-values.

    ``least_p_less`` is the smallest p that this number of events could have given (all of them before). ``odds`` are
    those of an event falling on the first side if nothing changed; ``levels`` the dispersions tried, with their degrees
    of freedom.
    """

    count: int
    base_count: int
    ratio: float
    low: float
    high: float
    p_value: float
    p_less: float
    p_greater: float
    least_p_less: float
    dispersion: float
    odds: float
    levels: tuple[tuple[float, float], ...]
    confidence: float
    cautions: tuple[str, ...]
    method: str

    def needed_multiple(self, error: float) -> float | None:
        """How many times the exposure of the first side shows a fall, if no further event comes.

        1 where it is shown already; None where no exposure would show it.
        """

        def excess(multiple: float) -> float:
            return error - _tails(self.levels, self.count, self.base_count, self.odds * multiple)[0]

        if self.count + self.base_count == 0 or self.base_count == 0:
            return None
        if excess(1.0) >= 0.0:
            return 1.0
        return None if excess(FAR) < 0.0 else count_tails.solve(excess, 1.0, FAR)


def rate_ratio_matched(
    counts: Sequence[int] | ArrayLike,
    exposures: Sequence[float] | ArrayLike,
    base_counts: Sequence[int] | ArrayLike,
    base_exposures: Sequence[float] | ArrayLike,
    windows: Sequence[Windows] = (),
    *,
    confidence: float = 0.95,
) -> MatchedRatio:
    """Ratio of two rates common to strata, never narrower than Poisson, wider where events come in bursts.

    Parameters
    ----------
    counts, exposures, base_counts, base_exposures : array, shape (strata,)
        Per stratum (a stretch of time since power-up, a kind of start). A stratum that one side never saw, with
        exposure 0, says nothing.
    windows : sequence of (counts, exposures)
        Equal windows within each side (and phase), from which the dispersion is estimated.
    confidence : float
        Of the two-sided interval.

    Returns
    -------
    MatchedRatio

    Notes
    -----
    Given the total of each stratum, an event falls on the first side with the chance p = r e / (r e + e0). The sum over
    strata is taken as binomial with the mean of these chances: by Jensen its variance is never below the true one, so
    the test errs on the safe side, and is exact where exposures are in one proportion throughout. Dispersion and the t
    reference as in `rates.rate_ratio_dispersed`.
    """
    x, y = check.whole_array("counts", counts), check.whole_array("base_counts", base_counts)
    ex, ey = check.finite_array("exposures", exposures), check.finite_array("base_exposures", base_exposures)
    if len({x.size, y.size, ex.size, ey.size}) != 1:
        raise ValueError(f"base_counts and both exposures must have one entry per stratum ({x.size})")
    confidence = check.share("confidence", confidence)
    use = (ex > 0) & (ey > 0) & (x + y > 0)
    n, one, two = (x + y)[use].astype(np.float64), ex[use], ey[use]
    hits, misses = int(x[use].sum()), int(y[use].sum())
    method = "conditional binomial within strata, at counts over dispersion, t reference"
    if hits + misses == 0:
        return MatchedRatio(
            0, 0, math.nan, 0.0, math.inf, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, ((1.0, math.inf),), confidence, (), method
        )
    levels = [(1.0, math.inf)]
    found = dispersion_levels([checked_windows("windows", c, "windows", e) for c, e in windows])
    levels += found
    cautions = []
    if not found:
        cautions.append("too few events to tell whether they come in bursts; taken as independent")
    elif min(hits, misses) == 0 and hits + misses < 10:
        cautions.append("fewer than 10 events, all on one side: bursts may hide in so few")
    if len(found) > 2:
        cautions.append("neighbouring windows go together, so bursts may last longer than the windows allow for")

    def odds(ratio: float) -> float:
        share = float(np.sum(n * ratio * one / (ratio * one + two)) / n.sum())
        return share / (1.0 - share) if share < 1.0 else FAR

    def tails(ratio: float) -> tuple[float, float]:
        return _tails(levels, hits, misses, odds(ratio))

    tail = 0.5 * (1.0 - confidence)
    low = 0.0 if hits == 0 else _root(lambda r: tails(r)[1] - tail)
    high = math.inf if misses == 0 else _root(lambda r: tail - tails(r)[0])
    if hits == 0:
        ratio = 0.0
    elif misses == 0:
        ratio = math.inf
    else:
        ratio = _root(lambda r: odds(r) - hits / misses)
    less, greater = tails(1.0)
    return MatchedRatio(
        hits,
        misses,
        ratio,
        low,
        high,
        min(1.0, 2.0 * min(less, greater)),
        less,
        greater,
        _tails(levels, 0, hits + misses, odds(1.0))[0],
        max(phi for phi, _ in levels),
        odds(1.0),
        tuple(levels),
        confidence,
        tuple(cautions),
        method,
    )


def _tails(levels: Sequence[tuple[float, float]], hits: float, misses: float, odds: float) -> tuple[float, float]:
    """Largest lower and upper tail over the levels of dispersion."""
    lower = upper = 0.0
    for phi, dof in levels:
        one, two = tails_at(hits / phi, misses / phi, odds)
        if math.isfinite(dof):
            one, two = (float(special.stdtr(dof, float(special.ndtri(p)))) for p in (one, two))
        lower, upper = max(lower, one), max(upper, two)
    return lower, upper


def _root(function: Callable[[float], float]) -> float:
    """Root of an increasing function of a ratio; the bracket grows from 1."""
    low = high = 1.0
    while function(low) > 0.0:
        high, low = low, low / 4.0
        if low < 1e-30:
            return 0.0
    while function(high) < 0.0:
        low, high = high, high * 4.0
        if high > 1e30:
            return math.inf
    return count_tails.solve(function, low, high)
