"""Quasi-Poisson regression: growth from power-up to power-up that holds however much they differ by themselves: a second test beside the engine."""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from flicker.base.arrays import Floats, Ints
from flicker.base.formats import p_said
from flicker.base.result import Result
from flicker.stats.laws import scatter as sc


@dataclass(frozen=True, slots=True)
class FreeScatterTest(Result):
    """One-sided p-values of growth that hold at any scatter; 1 where too few power-ups tell it."""

    p_up: float
    p_down: float
    statistic: float
    dof: int
    method: str

    @property
    def reads(self) -> str:
        """The finding in words."""
        if self.dof < 1:
            return "Fewer than three power-ups do not tell how much they differ."
        return f"No guess at how much power-ups differ: more in later ones with {p_said(self.p_up)}, fewer with {p_said(self.p_down)}."


def growth_however_much(
    counts: Sequence[int] | ArrayLike, expected: Sequence[float] | ArrayLike, order: ArrayLike | None = None
) -> FreeScatterTest:
    """Does the rate grow, however much power-ups differ by themselves? Weak, but it assumes no scatter beforehand.

    Parameters
    ----------
    counts, expected, order : array, shape (power-ups,)
        As in `rate_growth`; 0 and 1 as the order compare before and after.

    Returns
    -------
    FreeScatterTest

    Raises
    ------
    ValueError
        If an argument does not fit.

    Notes
    -----
    Quasi-Poisson regression with Pearson's dispersion, never below 1 (McCullagh and Nelder 1989, Generalized Linear
    Models, section 6.2), by statsmodels, and Student's t with power-ups - 2 degrees of freedom. Where it has no finite
    estimate (nothing on one side), least squares of sqrt(count / expected) instead, with the same t.
    """
    n, e, x = sc.in_order(counts, expected, order)
    dof = n.size - 2
    if dof < 1 or float(np.ptp(x)) == 0 or n.sum() == 0:
        return FreeScatterTest(1.0, 1.0, math.nan, 0, "too few power-ups")
    x = sc.scaled(x)
    t, method = _quasi_poisson(n, e, x), "quasi-Poisson regression, t"
    if not math.isfinite(t):
        t, method = _root_counts(n, e, x), "t of the roots of count over expected"
    return FreeScatterTest(float(special.stdtr(dof, -t)), float(special.stdtr(dof, t)), t, int(dof), method)


def _quasi_poisson(n: Ints, e: Floats, x: Floats) -> float:
    """Student's t of the growth; NaN where the regression has no finite estimate."""
    ends = [n[x == value].sum() for value in np.unique(x)]
    if sum(total > 0 for total in ends) < 2 or ends[0] == 0 or ends[-1] == 0:
        return math.nan  # the estimate runs away, and its standard error with it
    import statsmodels.api as sm

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = sm.GLM(n, sm.add_constant(x), family=sm.families.Poisson(), offset=np.log(e)).fit(scale="X2")
    return float(fit.tvalues[1]) * min(1.0, math.sqrt(float(fit.scale)))  # counts scatter at least as chance does


def _root_counts(n: Ints, e: Floats, x: Floats) -> float:
    """Student's t of the growth of the roots of count over expected."""
    y = np.sqrt(n / e)
    width = float(x @ x)
    slope = float(x @ y / width)
    rest = y - y.mean() - slope * x
    error = math.sqrt(float(rest @ rest) / (n.size - 2) / width)
    return slope / error if error > 0 else math.copysign(math.inf, slope) if slope else 0.0
