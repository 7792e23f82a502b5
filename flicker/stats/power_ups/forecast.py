"""Predictive law of counts that grow: what the next power-up or visit will bring if the growth goes on, and when a rate of concern is reached."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, partial

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from flicker.base import check
from flicker.base.arrays import Floats
from flicker.base.formats import digits_text
from flicker.base.result import Interval, Result
from flicker.stats.laws import scatter as sc
from flicker.stats.power_ups.growth import GROWTH_SD, growth_grid, observed_in_order

FEW = (1e-6, 1e-8)  # of the whole weight: points above decide most comparisons alone; a choice for speed
NEGLIGIBLE = 1e-12  # weight of a node that is passed over; 20,000 of them are 2e-8 of the law: a choice of speed
REACHED = 0.5  # share of the law from which 'already reached' is said; the middle


@dataclass(frozen=True, slots=True)
class GrowthForecast(Result):
    """Episodes of a further unit (a power-up, a visit) if the growth goes on.

    ``expected`` with ``expected_low`` and ``expected_high`` is its mean; ``low`` to ``high`` holds the count itself.
    """

    at: float
    expected: float
    expected_low: float
    expected_high: float
    low: int
    high: int
    confidence: float
    method: str

    @property
    def reads(self) -> str:
        """The forecast in words."""
        return f"{digits_text(self.expected, 3)} episodes expected if the growth goes on, {self.low} to {self.high} likely."


@dataclass(frozen=True, slots=True)
class ReachForecast(Interval):
    """Place of the order at which the mean reaches a given size: middle and limits; infinite where it never does.

    ``now`` is how likely the mean at the last place is beyond it already.
    """

    at: float
    now: float

    @property
    def reads(self) -> str:
        """The forecast in words."""
        if self.now >= REACHED:
            return "It is reached already."
        if math.isinf(self.low):
            return "It is not reached if this goes on."
        return f"Reached at {digits_text(self.at, 3)} if this goes on, not before {digits_text(self.low, 3)}."


def growth_forecast(
    counts: Sequence[int] | ArrayLike,
    expected: Sequence[float] | ArrayLike,
    order: ArrayLike | None = None,
    *,
    at: float,
    planned: float,
    scatter: float = sc.SCATTER,
    confidence: float = 0.95,
) -> GrowthForecast:
    """How many episodes will a further unit bring, if the growth goes on?

    Parameters
    ----------
    counts, expected, order
        As in `rate_growth`; one episode at least.
    at : float
        Its place in the order.
    planned : float
        What would be expected of it were all alike, as ``expected`` (that of the last, for one like the last).
    scatter : float
        Scale of the prior of how units differ, widened 1.4 times up to three of them.
    confidence : float
        Of both ranges.

    Raises
    ------
    ValueError
        If fewer than two units were observed, none showed an episode, or an argument is out of range.

    Notes
    -----
    Predictive law of the model of `rate_growth`: level, growth and scatter drawn from their law given the counts, the
    count then negative binomial. It carries the line on beyond what was seen, and knows no repair.
    """
    law = _law(counts, expected, order, scatter, confidence)
    at = check.finite("at", at)
    planned = check.positive("planned", planned, what="what is expected of the unit")
    log_mean = law.log_level + law.growth * law.scaled(at) + math.log(planned)
    mean = np.exp(np.minimum(log_mean, 700.0))
    tail = 0.5 * (1.0 - confidence)
    middle, lowest, highest = (
        math.exp(min(q, 700.0)) for q in _quantiles(log_mean, law.weights, (0.5, tail, 1.0 - tail))
    )

    kept = law.weights > NEGLIGIBLE
    weights, shape, means = law.weights[kept], np.broadcast_to(law.shape, kept.shape)[kept], mean[kept]
    heaviest = np.argsort(-weights)
    weights, shape, means = weights[heaviest], shape[heaviest], means[heaviest]
    parts = [int(np.count_nonzero(weights > least)) for least in (*FEW, NEGLIGIBLE)]

    @cache  # both ends of the range begin alike
    def chance(k: float, part: int) -> float:
        # a negative binomial count is at most k with chance I_{shape/(shape + mean)}(shape, k + 1)
        return float(weights[:part] @ special.betainc(shape[:part], k + 1.0, shape[:part] / (shape[:part] + means[:part])))

    def below(k: float, share: float) -> float:
        """Chance of at most ``k`` episodes, as exactly as the comparison with ``share`` needs."""
        for part in parts:  # the heaviest points decide, unless the others can make the difference
            told = chance(k, part)
            if told >= share or told + float(weights[part:].sum()) < share:
                break
        return told

    low, high = (sc.first_count(partial(below, share=share), share) for share in (tail, 1.0 - tail))
    return GrowthForecast(
        at=at, expected=middle, expected_low=lowest, expected_high=highest, low=low, high=high,
        confidence=confidence, method="predictive law over units that grow (negative binomial)",
    )  # fmt: skip


def growth_reaches(
    counts: Sequence[int] | ArrayLike,
    expected: Sequence[float] | ArrayLike,
    order: ArrayLike | None = None,
    *,
    mean: float,
    planned: float,
    scatter: float = sc.SCATTER,
    confidence: float = 0.95,
) -> ReachForecast:
    """At which place of the order will a unit show so many episodes in the mean, if the growth goes on?

    Parameters
    ----------
    counts, expected, order, planned, scatter, confidence
        As in `growth_forecast`.
    mean : float
        Mean count that is asked for, above 0: the rate of concern times the length of the unit.

    Raises
    ------
    ValueError
        As `growth_forecast`.
    """
    law = _law(counts, expected, order, scatter, confidence)
    wanted = math.log(check.positive("mean", mean, what="the mean count that is asked for"))
    start = law.log_level + math.log(check.positive("planned", planned, what="what is expected of the unit"))
    last = start + law.growth * law.scaled(law.last)
    now = float(law.weights[np.broadcast_to(last >= wanted, law.weights.shape)].sum())
    # what has passed it counts as reached at the last place, what does not grow as never
    with np.errstate(divide="ignore", invalid="ignore"):
        place = np.where(law.growth > 0, (wanted - start) / law.growth, np.inf)
    place = np.where(last >= wanted, law.scaled(law.last), place)
    tail = 0.5 * (1.0 - confidence)
    at, low, high = (law.order_of(q) for q in _quantiles(place, law.weights, (0.5, tail, 1.0 - tail)))
    return ReachForecast(
        at=at,
        low=low,
        high=high,
        now=now,
        confidence=confidence,
        method="law of level and growth over units (negative binomial)",
    )


@dataclass(frozen=True, slots=True)
class _Law:
    """Joint law of growth, scatter and level on a grid, arrays that broadcast to (growths, scatters, levels)."""

    growth: Floats
    shape: Floats
    log_level: Floats
    weights: Floats
    first: float
    span: float

    @property
    def last(self) -> float:
        return self.first + self.span

    def scaled(self, place: float) -> float:
        """Place of the order on the scale of the growth: 0 at the first, 1 at the last."""
        return (place - self.first) / self.span

    def order_of(self, scaled: float) -> float:
        return self.first + self.span * scaled


def _law(
    counts: Sequence[int] | ArrayLike,
    expected: Sequence[float] | ArrayLike,
    order: ArrayLike | None,
    scatter: float,
    confidence: float,
) -> _Law:
    """The joint law of growth, scatter and level, given the counts."""
    check.share("confidence", confidence)
    n, e, x = observed_in_order(counts, expected, order)
    if n.sum() == 0:
        raise ValueError("counts must hold one episode or more to predict from, got none")
    scaled = (x - x.min()) / float(np.ptp(x))  # from 0 at the first
    scale = sc.checked_scale(scatter)
    law = sc.half_normal(scale * sc.WIDER if n.size <= 3 else scale)
    b = growth_grid(n, scaled - scaled.mean(), float(law.values[0]))
    if b.size * law.values.size * sc.NODES.size * n.size > 40 * sc.MOST_AT_ONCE:
        b = b[:: math.ceil(b.size / 57)]
    level, like = sc.at_levels(n, np.exp(b[:, None] * scaled) * e, law.squares)
    log_weights = like - 0.5 * (b / GROWTH_SD)[:, None, None] ** 2 + law.log_weights[None, :, None]
    return _Law(
        growth=b[:, None, None], shape=1.0 / law.squares[None, :, None], log_level=level, weights=sc.normalised(log_weights), first=float(x.min()),
        span=float(np.ptp(x)),
    )  # fmt: skip


def _quantiles(values: Floats, weights: Floats, shares: Sequence[float]) -> list[float]:
    """Quantiles of a weighted law on scattered points."""
    flat = np.broadcast_to(values, weights.shape).ravel()
    rank = np.argsort(flat, kind="stable")
    below = np.cumsum(weights.ravel()[rank])
    return [float(flat[rank[min(int(np.searchsorted(below, q)), flat.size - 1)]]) for q in shares]
