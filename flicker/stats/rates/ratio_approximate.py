"""Score test, E-test, least likely outcomes: other tests of a rate ratio, for published figures; go by `rate_ratio`."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import special

from flicker.base import check
from flicker.base.formats import p_said
from flicker.base.result import Result
from flicker.stats.rates import count_tails
from flicker.stats.rates.ratio import ALTERNATIVES, Alternative

METHODS = ("score", "e-test", "e-test-wald", "least-likely", "least-likely-mid-p")
MOST_CELLS = 4_000_000  # pairs of counts summed by the E-test


@dataclass(frozen=True, slots=True)
class RatioTest(Result):
    """A test statistic of a rate ratio and its approximate p-value."""

    ratio: float
    statistic: float
    p_value: float
    null_ratio: float
    alternative: str
    method: str

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        if self.p_value >= 0.05:
            return f"a ratio other than {self.null_ratio:.3g} is not shown ({p_said(self.p_value)}, approximate)"
        way = "above" if self.statistic > 0 else "below"
        return f"the ratio of the rates lies {way} {self.null_ratio:.3g} ({p_said(self.p_value)}, approximate)"


def rate_ratio_test(
    count: int,
    exposure: float,
    base_count: int,
    base_exposure: float,
    *,
    method: Literal["score", "e-test", "e-test-wald", "least-likely", "least-likely-mid-p"],
    null_ratio: float = 1.0,
    alternative: Alternative = "two-sided",
) -> RatioTest:
    """Test a ratio of two Poisson rates as other programs and papers do: score test, E-test, least likely outcomes.

    Not for a verdict: score, E-test and mid-p do not keep their level for certain, and no interval agrees with the
    least likely outcomes. Use `rate_ratio`, whose level is exact and whose interval agrees with its p-value.

    Parameters
    ----------
    count, exposure, base_count, base_exposure, null_ratio, alternative
        As in `rate_ratio`.
    method : {"score", "e-test", "e-test-wald", "least-likely", "least-likely-mid-p"}
        ``score``: normal limit of the score statistic. ``e-test``: the law of that statistic summed over both Poisson
        laws at the rates fitted under the null ratio; ``e-test-wald``: the same for the Wald statistic. Two-sided p of
        both is the chance of a larger absolute value. ``least-likely`` (two-sided only): given the total, the chance
        of all outcomes no more likely than the one seen, exact; with mid-p half of the outcome's own chance is taken
        off.

    Returns
    -------
    RatioTest
        ``.statistic .p_value``; with no event on either side the statistic is 0 and p is 1.

    Raises
    ------
    ValueError
        Names the argument that is out of range; also if the E-test would have to sum over millions of pairs (beyond
        some 10,000 events).

    Notes
    -----
    Null: the rate is ``null_ratio`` times the base rate. Assumes events that come singly and independently.
    The least likely outcomes: R's ``poisson.test`` documentation; it can reject beside an interval that holds the null ratio.
    Score and its E-test: Gu, Ng, Tang and Schucany (2008), Biometrical Journal 50, 283-298. E-test of the Wald
    statistic: Krishnamoorthy and Thomson (2004), Journal of Statistical Planning and Inference 119, 23-35. Exact sums at a nominal 5 %, two-sided, base
    means 0.5 to 100 and exposures 1:1, 1:20 and 20:1 (``tests/studies/results/calibration_ratio.md``): score up to 6.6 %, both
    E-tests up to 5.0 %; other cells may pass that, since nothing bounds them.
    """
    count = check.whole("count", count)
    exposure = check.positive("exposure", exposure, what="observed time")
    base_count = check.whole("base_count", base_count)
    base_exposure = check.positive("base_exposure", base_exposure, what="observed time")
    null_ratio = check.positive("null_ratio", null_ratio, what="a ratio")
    check.one_of("method", method, METHODS)
    check.one_of("alternative", alternative, ALTERNATIVES if method in METHODS[:3] else ALTERNATIVES[:1])
    odds = null_ratio * exposure / base_exposure  # expected count over expected base count under the null
    total = count + base_count
    ratio = count / base_count / exposure * base_exposure if base_count else math.inf if count else math.nan
    wald = method == "e-test-wald"
    spread = count + odds**2 * base_count if wald else odds * total
    statistic = (count - odds * base_count) / math.sqrt(spread) if total else 0.0
    if method == "score":
        lower, upper = float(special.ndtr(statistic)), float(special.ndtr(-statistic))
        both = count_tails.two_sided(lower, upper)
        name = "score test, normal limit"
    elif method.startswith("least-likely"):
        lower = upper = both = _least_likely(count, total, odds, mid=method.endswith("mid-p"))
        name = "conditional binomial, outcomes no more likely than the one seen"
    else:
        lower, upper, both = _e_tails(statistic, odds, total, wald=wald)
        name = f"E-test of the {'Wald' if wald else 'score'} statistic"
    p_value = {"two-sided": both, "less": lower, "greater": upper}[alternative] if total else 1.0
    return RatioTest(ratio, statistic, p_value, null_ratio, alternative, name)


def _least_likely(count: int, total: int, odds: float, *, mid: bool) -> float:
    k = np.arange(total + 1, dtype=np.float64)
    log_chance = -special.betaln(k + 1.0, total - k + 1.0) - math.log(total + 1.0) + k * math.log(odds)
    chance = np.exp(log_chance - total * math.log1p(odds))
    rare = chance <= chance[count] * (1.0 + 1e-7)  # equally likely outcomes count in spite of rounding
    return min(1.0, float(chance[rare].sum()) - (0.5 * float(chance[count]) if mid else 0.0))


def _e_tails(statistic: float, odds: float, total: int, *, wald: bool) -> tuple[float, float, float]:
    """Chances of a statistic as low, as high, and as far from 0, at the rates fitted under the null ratio."""
    base = total / (1.0 + odds)
    x, px = _law(odds * base)
    y, py = _law(base)
    if x.size * y.size > MOST_CELLS:
        raise ValueError(f"count and base_count must be small for the E-test (use 'score'), got {total} together")
    spread = x[:, None] + odds**2 * y[None, :] if wald else odds * (x[:, None] + y[None, :])
    value = (x[:, None] - odds * y[None, :]) / np.sqrt(np.where(spread > 0, spread, 1.0))
    weight = px[:, None] * py[None, :]
    slack = 1e-9 * max(1.0, abs(statistic))  # equal statistics must count as equal in spite of rounding
    lower, upper = weight[value <= statistic + slack].sum(), weight[value >= statistic - slack].sum()
    both = weight[np.abs(value) >= abs(statistic) - slack].sum()
    return min(1.0, float(lower)), min(1.0, float(upper)), min(1.0, float(both))


def _law(mean: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Counts around a Poisson mean, and their chances; what lies outside has less than 1e-15."""
    reach = 9.0 * math.sqrt(mean) + 25.0
    k = np.arange(max(0, math.floor(mean - reach)), math.ceil(mean + reach) + 1, dtype=np.float64)
    return k, np.exp(special.xlogy(k, mean) - mean - special.gammaln(k + 1.0))
