"""Bayes factor of a step against a trend: was a fall that came with a repair under way before it? Counts of power-ups before and after in, how well a step and a trend explain them out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from flicker.base.arrays import Floats, Ints
from flicker.base.formats import digits_text, share_text
from flicker.base.result import Result
from flicker.stats.laws import scatter as sc
from flicker.stats.power_ups.growth import log_likelihood, rate_growth

# Chance that the rate fell over the power-ups before, from which on a trend is an explanation at all. With it fewer true
# repairs are held back; fitted by tests/studies/study_under_way.py, results/under_way.md.
FALLING = 0.8


@dataclass(frozen=True, slots=True)
class FallUnderWay(Result):
    """How well a step at the repair, and a trend through all power-ups, explain what was counted.

    Attributes
    ----------
    falling : float
        Chance that the rate fell from power-up to power-up before; one half where fewer than two were observed.
    trend_over_step : float
        Likelihood of a trend over all power-ups, over that of a step at the repair (a Bayes factor).
    power_ups : tuple of int
        Power-ups before and after.
    """

    falling: float
    trend_over_step: float
    power_ups: tuple[int, int]
    method: str = "integrated likelihoods over power-ups (negative binomial), step against trend"

    @property
    def likely(self) -> bool:
        """Whether the rate fell before, and a fall that goes on explains the counts better than a step."""
        return self.falling >= FALLING and self.trend_over_step > 1.0

    @property
    def reads(self) -> str:
        """The finding in words."""
        times = digits_text(self.trend_over_step)
        return f"That it fell before has a chance of {share_text(self.falling)}; a trend explains the counts {times} times as well as a step."


def fall_under_way(
    before: Sequence[int] | ArrayLike,
    expected_before: Sequence[float] | ArrayLike,
    after: Sequence[int] | ArrayLike,
    expected_after: Sequence[float] | ArrayLike,
    *,
    scatter: float = sc.SCATTER,
) -> FallUnderWay:
    """Does a fall that was under way explain the counts better than a step between before and after?

    Parameters
    ----------
    before, expected_before, after, expected_after, scatter
        As `rate_comparison` takes them, each side in the order of time.

    Returns
    -------
    FallUnderWay

    Raises
    ------
    ValueError
        If a side has no observed power-up, or an argument is out of range.

    Notes
    -----
    Both explanations have one parameter, with the same prior over the whole range of the power-ups: 0 and 1 for before and
    after, or even steps from the first power-up to the last. So their integrated likelihoods are set against each other
    (Bayes factor: Kass and Raftery 1995, Journal of the American Statistical Association 90, 773-795), the scatter of
    power-ups integrated out as in `rate_comparison`.
    """
    n0, e0 = sc.observed(before, expected_before, what="expected_before", counted="before")
    n1, e1 = sc.observed(after, expected_after, what="expected_after", counted="after")
    scale = sc.checked_scale(scatter)
    power_ups = n0.size, n1.size
    if n0.size < 2 or n0.sum() == 0:  # one power-up shows no trend, and what never came did not fall
        return FallUnderWay(0.5, 1.0, power_ups)
    law = sc.half_normal(scale * (sc.WIDER if n1.size == 1 else 1.0))
    n, e = np.concatenate((n0, n1)), np.concatenate((e0, e1))
    step = np.repeat((0.0, 1.0), power_ups)
    trend = np.linspace(0.0, 1.0, n.size)
    over = math.exp(_evidence(n, e, trend, law) - _evidence(n, e, step, law))
    return FallUnderWay(1.0 - rate_growth(n0, e0, scatter=scale).p_down, over, power_ups)


def _evidence(n: Ints, e: Floats, x: Floats, law: sc.Scatter) -> float:
    """Log of the integrated likelihood, up to what is the same for every ``x`` of range 1."""
    b, like = log_likelihood(n, e, x - x.mean(), law)
    return float(np.logaddexp.reduce(like + law.log_weights, axis=None)) + math.log(float(b[1] - b[0]))
