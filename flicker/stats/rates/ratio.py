"""Exact conditional (binomial) test and limits of a rate ratio: are two rates the same?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from flicker.base import check
from flicker.base.formats import digits_text, p_said, share_text
from flicker.base.result import Interval
from flicker.stats.laws import count_tails

Alternative = Literal["two-sided", "less", "greater"]
ALTERNATIVES = ("two-sided", "less", "greater")


def ratio_reads(ratio: float, low: float, high: float, p_value: float, confidence: float) -> str:
    """The ratio in words."""
    if low == 0.0 and math.isinf(high):
        return "nothing seen on either side: the two rates cannot be compared"
    if math.isinf(high):
        body = f"at least {digits_text(low, 3)} times the rate of the other side"
    elif low == 0.0:
        body = f"at most {digits_text(high, 3)} times the rate of the other side"
    else:
        body = f"{digits_text(ratio, 3)} times the rate of the other side, between {digits_text(low, 3)} and {digits_text(high, 3)}"
    return f"{body} ({share_text(confidence)} confidence, {p_said(p_value)})"


@dataclass(frozen=True, slots=True)
class RateRatio(Interval):
    """One rate over another, with an interval."""

    count: int
    exposure: float
    base_count: int
    base_exposure: float
    ratio: float
    p_value: float
    null_ratio: float
    alternative: str

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
        count=count,
        exposure=exposure,
        base_count=base_count,
        base_exposure=base_exposure,
        ratio=_point(count, exposure, base_count, base_exposure),
        low=low,
        high=high,
        p_value=p_value_of(lower, upper, alternative),
        null_ratio=null_ratio,
        confidence=confidence,
        alternative=alternative,
        method=f"conditional binomial, {method}",
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
