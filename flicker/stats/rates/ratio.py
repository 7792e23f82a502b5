"""Exact conditional (binomial) test and limits of a rate ratio, also over strata: are two rates the same?"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from flicker.base import check
from flicker.base.formats import p_said
from flicker.base.result import Result
from flicker.stats.rates import count_tails

Alternative = Literal["two-sided", "less", "greater"]
ALTERNATIVES = ("two-sided", "less", "greater")


def ratio_reads(ratio: float, low: float, high: float, p_value: float, confidence: float) -> str:
    """The ratio in words."""
    if low == 0.0 and math.isinf(high):
        return "nothing seen on either side: the two rates cannot be compared"
    if math.isinf(high):
        body = f"at least {low:.3g} times the rate of the other side"
    elif low == 0.0:
        body = f"at most {high:.3g} times the rate of the other side"
    else:
        body = f"{ratio:.3g} times the rate of the other side, between {low:.3g} and {high:.3g}"
    return f"{body} ({confidence:.0%} confidence, {p_said(p_value)})"


@dataclass(frozen=True, slots=True)
class RateRatio(Result):
    """One rate over another, with an interval."""

    count: int
    exposure: float
    base_count: int
    base_exposure: float
    ratio: float
    low: float
    high: float
    p_value: float
    null_ratio: float
    confidence: float
    alternative: str
    method: str

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        return ratio_reads(self.ratio, self.low, self.high, self.p_value, self.confidence)


def rate_ratio(
    count: int,
    exposure: float,
    base_count: int,
    base_exposure: float,
    *,
    null_ratio: float = 1.0,
    confidence: float = 0.95,
    alternative: Alternative = "two-sided",
    method: Literal["exact", "mid-p"] = "exact",
) -> RateRatio:
    """Ratio of two Poisson rates, exact given the total.

    Parameters
    ----------
    count, base_count : int
        Events on either side, 0 or more.
    exposure, base_exposure : float
        Observed time of either side, above 0, in one unit.
    null_ratio : float
        Ratio that the p-value tests, above 0 (0.5 with ``alternative="less"`` tests 'more than halved').
    confidence : float
        Between 0 and 1.
    alternative : {"two-sided", "less", "greater"}
        With ``less`` the interval is (0, high], with ``greater`` [low, inf), each at the full confidence.
    method : {"exact", "mid-p"}
        mid-p is shorter and more powerful, but its size can exceed the nominal one (up to 7.7 % for 5 %).

    Returns
    -------
    RateRatio
        ``.ratio .low .high .p_value``. With no event on one side one end is unbounded; with none on either side the
        interval is (0, inf), the ratio is NaN and p is 1.

    Raises
    ------
    ValueError
        Names the argument that is out of range.

    Notes
    -----
    Given the total, the count is binomial (Przyborowski and Wilenski 1940, Biometrika 31, 313-323); the interval
    inverts the two one-sided tests (Clopper and Pearson 1934), and the two-sided p is twice the smaller tail, so that
    p and interval always agree. Assumes events that come singly and independently at a constant rate on each side;
    where they come in bursts use `rate_ratio_dispersed`.
    """
    count = check.whole("count", count)
    exposure = check.positive("exposure", exposure, what="observed time")
    base_count = check.whole("base_count", base_count)
    base_exposure = check.positive("base_exposure", base_exposure, what="observed time")
    null_ratio = check.positive("null_ratio", null_ratio, what="a ratio")
    confidence = check.share("confidence", confidence)
    check.one_of("alternative", alternative, ALTERNATIVES)
    check.one_of("method", method, ("exact", "mid-p"))

    scale = base_exposure / exposure
    tail = error_tail(confidence, alternative)
    low_of, high_of = (
        (count_tails.odds_low, count_tails.odds_high)
        if method == "exact"
        else (count_tails.odds_mid_low, count_tails.odds_mid_high)
    )
    low = 0.0 if alternative == "less" else scale * low_of(count, base_count, tail)
    high = math.inf if alternative == "greater" else scale * high_of(count, base_count, tail)

    odds = null_ratio / scale
    lower, upper = tails_at(count, base_count, odds)
    if method == "mid-p":
        strict_lower, strict_upper = 1.0 - upper, 1.0 - lower
        lower, upper = 0.5 * (lower + strict_lower), 0.5 * (upper + strict_upper)
    return RateRatio(
        count,
        exposure,
        base_count,
        base_exposure,
        _point(count, exposure, base_count, base_exposure),
        low,
        high,
        p_value_of(lower, upper, alternative),
        null_ratio,
        confidence,
        alternative,
        f"conditional binomial, {method}",
    )


def error_tail(confidence: float, alternative: str) -> float:
    """Error of one tail of the interval."""
    return 0.5 * (1.0 - confidence) if alternative == "two-sided" else 1.0 - confidence


def p_value_of(lower: float, upper: float, alternative: str) -> float:
    """p-value of the alternative asked for, from the two tails."""
    return {"two-sided": count_tails.two_sided(lower, upper), "less": lower, "greater": upper}[alternative]


def tails_at(hits: float, misses: float, odds: float) -> tuple[float, float]:
    """Lower and upper tail of the binomial split at these odds."""
    p, q = odds / (1.0 + odds), 1.0 / (1.0 + odds)
    return count_tails.binomial_at_least(misses, hits, q), count_tails.binomial_at_least(hits, misses, p)


def _point(count: float, exposure: float, base_count: float, base_exposure: float) -> float:
    if base_count == 0:
        return math.nan if count == 0 else math.inf
    return (count / base_count) * (base_exposure / exposure)


@dataclass(frozen=True, slots=True)
class StratifiedRatio(Result):
    """One ratio common to several strata, with an interval."""

    strata: int
    informative_strata: int
    count: int
    base_count: int
    ratio: float
    low: float
    high: float
    p_value: float
    heterogeneity_p: float
    null_ratio: float
    confidence: float
    alternative: str
    method: str

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        return ratio_reads(self.ratio, self.low, self.high, self.p_value, self.confidence)


def rate_ratio_stratified(
    counts: Sequence[int] | ArrayLike,
    exposures: Sequence[float] | ArrayLike,
    base_counts: Sequence[int] | ArrayLike,
    base_exposures: Sequence[float] | ArrayLike,
    *,
    null_ratio: float = 1.0,
    confidence: float = 0.95,
    alternative: Alternative = "two-sided",
) -> StratifiedRatio:
    """Ratio of rates common to several strata (bins of time since power-up, kinds of start), like compared with like.

    Parameters
    ----------
    counts, exposures, base_counts, base_exposures : array, shape (strata,)
        One entry per stratum; an exposure may be 0 where that side was never observed (the stratum then says nothing).
    null_ratio, confidence, alternative
        As in `rate_ratio`.

    Returns
    -------
    StratifiedRatio
        ``.ratio`` is the conditional maximum-likelihood estimate; ``heterogeneity_p`` asks whether the strata share
        one ratio (chi-square, approximate).

    Notes
    -----
    Given the total of each stratum the sum of the counts is a sum of independent binomials; its exact distribution is
    convolved and both tails are inverted (the Poisson form of Gart 1970, Biometrika 57, 471-475). The rates of the
    strata may differ freely.
    """
    x, ex = _stratum_arrays("counts", counts, "exposures", exposures)
    y, ey = _stratum_arrays("base_counts", base_counts, "base_exposures", base_exposures)
    if x.size != y.size:
        raise ValueError(f"base_counts must have one entry per stratum ({x.size}), got {y.size}")
    null_ratio = check.positive("null_ratio", null_ratio, what="a ratio")
    confidence = check.share("confidence", confidence)
    check.one_of("alternative", alternative, ALTERNATIVES)

    use = (ex > 0) & (ey > 0) & (x + y > 0)
    odds = ex[use] / ey[use]
    n = (x + y)[use]
    hits, total = int(x[use].sum()), int(n.sum())
    tail = error_tail(confidence, alternative)

    def at_least(ratio: float) -> float:
        return _sum_at_least(hits, n, ratio * odds)

    def at_most(ratio: float) -> float:
        return _sum_at_least(total - hits, n, 1.0 / (ratio * odds))

    lower, upper = (at_most(null_ratio), at_least(null_ratio)) if total else (1.0, 1.0)
    low = 0.0 if alternative == "less" or hits == 0 else _invert(lambda r: at_least(r) - tail)
    high = math.inf if alternative == "greater" or hits == total else _invert(lambda r: tail - at_most(r))
    if hits == 0:
        ratio = math.nan if total == 0 else 0.0
    elif hits == total:
        ratio = math.inf
    else:
        ratio = _invert(lambda r: float(np.sum(n * r * odds / (1.0 + r * odds))) - hits)
    spread = 1.0
    if 0 < hits < total and n.size > 1:
        p = ratio * odds / (1.0 + ratio * odds)
        chi2 = float(np.sum((x[use] - n * p) ** 2 / (n * p * (1.0 - p))))
        spread = float(special.chdtrc(n.size - 1, chi2))
    return StratifiedRatio(
        int(x.size),
        int(n.size),
        hits,
        total - hits,
        ratio,
        low,
        high,
        p_value_of(lower, upper, alternative),
        spread,
        null_ratio,
        confidence,
        alternative,
        "sum of conditional binomials, exact",
    )


def _stratum_arrays(
    count_name: str, counts: ArrayLike, exposure_name: str, exposures: ArrayLike
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    x = check.whole_array(count_name, counts)
    e = check.finite_array(exposure_name, exposures)
    if e.size != x.size:
        raise ValueError(f"{exposure_name} must have one entry per stratum ({x.size}), got {e.size}")
    if np.any(e < 0):
        raise ValueError(f"{exposure_name} must be 0 or more, got {float(e.min())!r}")
    bad = np.flatnonzero((e == 0) & (x > 0))
    if bad.size:
        raise ValueError(f"{count_name} must be 0 where {exposure_name} is 0, got {int(x[bad[0]])} at index {bad[0]}")
    return x, e


def _sum_at_least(hits: int, trials: NDArray[np.int64], odds: NDArray[np.float64]) -> float:
    """Chance that independent binomials sum to ``hits`` or more."""
    if hits <= 0:
        return 1.0
    pmf, start = np.ones(1), 0
    for n, o in zip(trials.tolist(), odds.tolist(), strict=True):
        p = o / (1.0 + o)
        # beyond 40 standard deviations (and 40 counts for the rare tail) nothing is left that a double could hold
        reach = 40.0 * math.sqrt(n * p * (1.0 - p)) + 40.0
        first, last = max(0, math.floor(n * p - reach)), min(n, math.ceil(n * p + reach))
        k = np.arange(first, last + 1)
        log_pmf = (
            special.gammaln(n + 1.0)
            - special.gammaln(k + 1.0)
            - special.gammaln(n - k + 1.0)
            + k * math.log(o)
            - n * math.log1p(o)
        )
        pmf = np.convolve(pmf, np.exp(log_pmf))
        start += first
    return float(min(1.0, pmf[max(0, hits - start) :].sum()))


def _invert(function: Callable[[float], float]) -> float:
    """Root of an increasing function of a ratio; the bracket grows from 1."""
    low = high = 1.0
    while function(low) > 0 and low > 1e-200:
        low *= 0.1
    while function(high) < 0 and high < 1e200:
        high *= 10.0
    return count_tails.solve(function, low, high)
