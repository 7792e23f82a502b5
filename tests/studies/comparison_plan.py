"""Power of a before/after comparison of two Poisson counts, beside the best that any test could do."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import special

from flicker.base import check
from flicker.base.formats import digits_text, share_text
from flicker.base.result import Result


@dataclass(frozen=True, slots=True)
class ComparisonPower(Result):
    """Chance that a planned comparison shows a change, beside the best any test could do."""

    power: float
    best_power: float
    size: float
    base_rate: float
    base_exposure: float
    exposure: float
    true_ratio: float
    null_ratio: float
    error: float
    alternative: str
    method: str

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        return (
            f"a change to {digits_text(self.true_ratio, 3)} times the rate would be shown with a chance of {share_text(self.power)} "
            f"({digits_text(self.base_exposure, 3)} before, {digits_text(self.exposure, 3)} after)"
        )


def comparison_power(
    base_rate: float,
    base_exposure: float,
    exposure: float,
    *,
    true_ratio: float,
    null_ratio: float = 1.0,
    error: float = 0.05,
    alternative: Literal["less", "greater"] = "less",
    method: Literal["exact", "mid-p"] = "exact",
) -> ComparisonPower:
    """Chance that `rates.rate_ratio` shows a change, by exact sums.

    Parameters
    ----------
    base_rate : float
        Rate before, above 0, per unit of exposure.
    base_exposure, exposure : float
        Observed time before and after.
    true_ratio : float
        Rate after over rate before, 0 or more (0 is a cure).
    null_ratio : float
        Ratio to be excluded.
    error : float
        One-sided chance of a false 'changed'.
    alternative : {"less", "greater"}
        Improvement, or worsening.
    method : {"exact", "mid-p"}
        Test used.

    Returns
    -------
    ComparisonPower
        ``.power``; ``.best_power`` is that of the conditional uniformly most powerful unbiased (randomised) test;
        ``.size`` the chance of a false 'changed' at the null ratio with the same base rate.
    """
    rate = check.positive("base_rate", base_rate, what="a rate")
    t0 = check.positive("base_exposure", base_exposure, what="observed time")
    t1 = check.positive("exposure", exposure, what="observed time")
    ratio = check.positive("true_ratio", true_ratio, what="a ratio", zero=True)
    null = check.positive("null_ratio", null_ratio, what="a ratio")
    error = check.share("error", error)
    check.one_of("alternative", alternative, ("less", "greater"))
    check.one_of("method", method, ("exact", "mid-p"))
    odds = null * t1 / t0
    power, best = _power(rate * t0, rate * t1 * ratio, odds, error, alternative, method)
    size, _ = _power(rate * t0, rate * t1 * null, odds, error, alternative, method)
    return ComparisonPower(
        power=power,
        best_power=best,
        size=size,
        base_rate=rate,
        base_exposure=t0,
        exposure=t1,
        true_ratio=ratio,
        null_ratio=null,
        error=error,
        alternative=alternative,
        method=f"conditional binomial, {method}, exact sums",
    )


def _power(base: float, mean: float, odds: float, error: float, alternative: str, method: str) -> tuple[float, float]:
    """Power of the conditional test and of its randomised form at two Poisson means."""
    total = base + mean
    spread = 9.0 * math.sqrt(total) + 30.0
    n = np.arange(max(0, math.floor(total - spread)), math.ceil(total + spread) + 1)
    weight = np.exp(n * math.log(total) - total - special.gammaln(n + 1.0))
    p_null, p_true = odds / (1.0 + odds), mean / total
    if alternative == "greater":
        p_null, p_true = 1.0 - p_null, 1.0 - p_true
    # the randomised test rejects all below the first x whose lower tail passes the error, and a share at it
    edge = _edge(n, p_null, error)
    below = _cdf(edge - 1, n, p_null)
    at = _cdf(edge, n, p_null) - below
    extra = np.where(at > 0, (error - below) / np.where(at > 0, at, 1.0), 0.0)
    true_below = _cdf(edge - 1, n, p_true)
    true_at = _cdf(edge, n, p_true) - true_below
    best = true_below + np.clip(extra, 0.0, 1.0) * true_at
    # the exact test rejects below the edge only, mid-p also at it where half its chance fits
    reached = true_below if method == "exact" else true_below + np.where(below + 0.5 * at <= error, true_at, 0.0)
    return float(np.sum(weight * reached)), float(np.sum(weight * best))


def _cdf(x: NDArray[np.int64], n: NDArray[np.int64], p: float) -> NDArray[np.float64]:
    out = np.where(x < 0, 0.0, 1.0)
    inside = (x >= 0) & (x < n)
    out[inside] = special.betaincc(x[inside] + 1.0, (n - x)[inside], p) if p > 0 else 1.0
    return out


def _edge(n: NDArray[np.int64], p: float, error: float) -> NDArray[np.int64]:
    """First x whose lower tail exceeds ``error``."""
    low, high = np.full(n.shape, -1), n.copy()
    while np.any(high - low > 1):
        middle = (low + high) // 2
        beyond = _cdf(middle, n, p) > error
        open_ = high - low > 1
        high = np.where(open_ & beyond, middle, high)
        low = np.where(open_ & ~beyond, middle, low)
    return high
