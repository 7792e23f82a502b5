"""Are two rates the same? Exact conditional (binomial) test and limits, and a ratio that widens by what the windows show."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from numpy.typing import ArrayLike
from scipy import special

from flicker.base import check
from flicker.base.formats import digits_text, p_said, share_text
from flicker.base.result import Interval
from flicker.stats.laws import count_tails
from flicker.stats.rates.dispersion import checked_windows, dispersion_levels

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
        p_value=count_tails.p_value(lower, upper, alternative),
        null_ratio=null_ratio,
        confidence=confidence,
        method=f"conditional binomial, {method}",
    )


def error_tail(confidence: float, alternative: str) -> float:
    """Error of one tail of the interval."""
    return 0.5 * (1.0 - confidence) if alternative == "two-sided" else 1.0 - confidence


def tails_at(hits: float, misses: float, odds: float) -> tuple[float, float]:
    """Lower and upper tail of the binomial split at these odds."""
    p, q = odds / (1.0 + odds), 1.0 / (1.0 + odds)
    return count_tails.binomial_at_least(misses, hits, q), count_tails.binomial_at_least(hits, misses, p)


def _point(count: float, exposure: float, base_count: float, base_exposure: float) -> float:
    if base_count == 0:
        return math.nan if count == 0 else math.inf
    return (count / base_count) * (base_exposure / exposure)


@dataclass(frozen=True, slots=True)
class DispersedRatio(RateRatio):
    """One rate over another, its interval widened by how much the windows of a side differ."""

    dispersion: float
    dof: float
    poisson_p_value: float
    cautions: tuple[str, ...]

    @property
    def reads(self) -> str:
        """One sentence for the owner of the unit."""
        reads = ratio_reads(self.ratio, self.low, self.high, self.p_value, self.confidence)
        return "; ".join((reads, *self.cautions))


def rate_ratio_dispersed(
    counts: Sequence[int] | ArrayLike,
    exposures: Sequence[float] | ArrayLike,
    base_counts: Sequence[int] | ArrayLike,
    base_exposures: Sequence[float] | ArrayLike,
    *,
    null_ratio: float = 1.0,
    confidence: float = 0.95,
    alternative: Alternative = "two-sided",
) -> DispersedRatio:
    """Ratio of two rates that keeps its error when events come in bursts or runs differ.

    Parameters
    ----------
    counts, exposures : array, shape (windows,)
        Events and observed time per window of one side: some 20 equal windows within its runs (see `window_counts`).
    base_counts, base_exposures : array, shape (base windows,)
        The other side.
    null_ratio, confidence, alternative
        As in `rate_ratio`.

    Returns
    -------
    DispersedRatio
        ``.ratio .low .high .p_value``, with the ``dispersion`` used (1 = as a Poisson process) and ``cautions`` where
        it could not be estimated; never narrower than the exact Poisson interval.

    Notes
    -----
    Quasi-Poisson: variance = dispersion x mean, estimated within the sides (Pearson; McCullagh and Nelder 1989, chapter
    9) over the windows and over pairs of neighbours, over fours too where pairs vary clearly more; the widest counts.
    The exact conditional limits are taken at counts divided by the dispersion; the error of its estimate is met by a t
    reference: a tail chance p becomes T(normal quantile of p). So it works with no event on a side, and equals
    `rate_ratio` where nothing shows more spread than Poisson. Sizes:
    ``tests/studies/results/ratio_bursts.md``.
    """
    x, ex = checked_windows("counts", counts, "exposures", exposures)
    y, ey = checked_windows("base_counts", base_counts, "base_exposures", base_exposures)
    n, t, base_n, base_t = int(x.sum()), float(ex.sum()), int(y.sum()), float(ey.sum())
    exact = rate_ratio(n, t, base_n, base_t, null_ratio=null_ratio, confidence=confidence, alternative=alternative)

    levels = dispersion_levels([(x, ex), (y, ey)])
    cautions: list[str] = []
    low, high, p_value = exact.low, exact.high, exact.p_value
    if not levels:
        cautions.append("too few events to tell whether they come in bursts; taken as independent")
    if len(levels) > 2:
        cautions.append("neighbouring windows go together, so bursts may last longer than the windows allow for")
    if levels and min(n, base_n) == 0 and n + base_n < 10:
        cautions.append("fewer than 10 events, all on one side: bursts may hide in so few")
    for dispersion, dof in levels:
        tail = float(special.ndtr(special.stdtrit(dof, error_tail(confidence, alternative))))
        scale = base_t / t
        a, b = n / dispersion, base_n / dispersion
        lower, upper = (float(special.stdtr(dof, float(special.ndtri(p)))) for p in tails_at(a, b, null_ratio / scale))
        if alternative != "less":
            low = min(low, scale * count_tails.odds_low(a, b, tail))
        if alternative != "greater":
            high = max(high, scale * count_tails.odds_high(a, b, tail))
        p_value = max(p_value, count_tails.p_value(lower, upper, alternative))
    return DispersedRatio(
        count=n,
        exposure=t,
        base_count=base_n,
        base_exposure=base_t,
        ratio=exact.ratio,
        low=low,
        high=high,
        p_value=p_value,
        dispersion=max([1.0, *(level[0] for level in levels)]),
        dof=levels[0][1] if levels else 0.0,
        poisson_p_value=exact.p_value,
        null_ratio=exact.null_ratio,
        confidence=confidence,
        cautions=tuple(cautions),
        method="conditional binomial at counts over dispersion, t reference",
    )
