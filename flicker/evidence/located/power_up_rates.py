"""The rate of each power-up with its interval, the growth or step fitted through them, and the scatter a claim allows.

Figures of a picture: they ask and test nothing, and repeat the fits by which growth and change were judged.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from flicker.base.arrays import Floats, Ints
from flicker.base.limits import Limits
from flicker.evidence.findings import YES, Finding
from flicker.evidence.questions.worsening import FEWEST, FEWEST_POWER_UPS
from flicker.evidence.record.power_up_counts import PowerUpCounts
from flicker.stats.laws.scatter import count_range
from flicker.stats.power_ups import rate_growth
from flicker.stats.rates import rate_interval


@dataclass(frozen=True, slots=True)
class PowerUpRates:
    """Power-ups (or visits) in order; arrays of shape (power-ups,), rates per hour of observed time.

    ``fitted`` is the growth or step; ``least`` to ``most`` is where a rate lies while they differ by ``scatter`` about
    it. Both are None where nothing can be fitted. ``shown`` tells whether growth or change is shown: ``scatter`` is then
    the largest up to which it is, else the middle of what the counts leave.
    """

    counts: Ints
    hours: Floats
    low: Floats
    high: Floats
    fitted: Floats | None
    least: Floats | None
    most: Floats | None
    scatter: float
    shown: bool

    @property
    def rate(self) -> Floats:
        """Episodes per observed hour."""
        return self.counts / self.hours


def growth_rates(counts: PowerUpCounts, limits: Limits, finding: Finding | None) -> PowerUpRates:
    """Power-ups of one log in order, with the growth over them from three on."""
    hours = counts.observed_s / 3600.0
    fit = None
    enough = counts.power_ups >= FEWEST_POWER_UPS and counts.episodes.sum() >= FEWEST and not counts.by_share
    if enough and np.count_nonzero(counts.expected > 0) >= FEWEST_POWER_UPS and counts.counts.sum():
        level = 0.5 * (1.0 - limits.confidence)
        if finding is not None and finding.p_value and finding.p_adjusted:
            level = min(0.5, (1.0 - limits.confidence) * finding.p_value / finding.p_adjusted)
        fit = rate_growth(
            counts.counts, counts.expected, scatter=limits.power_up_scatter, level=level, confidence=limits.confidence
        )
    if fit is None:
        return grown(counts.episodes, hours, np.arange(hours.size, dtype=np.float64), None, math.nan, False, limits)
    shown = finding is not None and finding.answer == YES
    scatter = fit.holds_up if shown and fit.holds_up is not None else fit.cv
    return grown(counts.episodes, hours, np.arange(hours.size, dtype=np.float64), fit.factor, scatter, shown, limits)


def grown(
    counts: Ints,
    hours: Floats,
    ages: Floats,
    factor: float | None,
    scatter: float,
    shown: bool,
    limits: Limits,
) -> PowerUpRates:
    """Rates with a growth by ``factor`` from first to last, at the level that gives as many episodes as were seen."""
    if factor is None or not 0.0 < factor < math.inf:
        return _of(counts, hours, None, math.nan, False, limits)
    shape = factor ** ((ages - ages[0]) / float(np.ptp(ages)))
    fitted = shape * float(counts.sum()) / float((hours * shape).sum())
    return _of(counts, hours, fitted, scatter, shown, limits)


def stepped_rates(
    counts: PowerUpCounts, borders: Sequence[int], rates: Sequence[float], limits: Limits
) -> PowerUpRates:
    """Power-ups in order with the rates between changes that are shown."""
    fitted = np.repeat(np.asarray(rates, dtype=np.float64), np.diff([0, *borders, counts.power_ups]))
    return _of(counts.episodes, counts.observed_s / 3600.0, fitted, math.nan, True, limits)


def step_rates(
    before: PowerUpCounts, after: PowerUpCounts, scatter: float, held: float | None, shown: bool, limits: Limits
) -> PowerUpRates:
    """Power-ups before and after, each side at its own rate; ``held``: scatter up to which the change is shown."""
    counts = np.concatenate((before.episodes, after.episodes))
    hours = np.concatenate((before.observed_s, after.observed_s)) / 3600.0
    sides = [float(side.episodes.sum() / side.observed_s.sum() * 3600.0) for side in (before, after)]
    fitted = np.repeat(sides, (before.power_ups, after.power_ups))
    return _of(counts, hours, fitted, held if shown and held is not None else scatter, shown, limits)


def _of(
    counts: Ints, hours: Floats, fitted: Floats | None, scatter: float, shown: bool, limits: Limits
) -> PowerUpRates:
    ends = [
        rate_interval(int(n), h, confidence=limits.confidence, sided="two-sided" if n else "upper")
        for n, h in zip(counts, hours, strict=True)
    ]
    least = most = None
    if fitted is not None and math.isfinite(scatter):
        least, most = (end / hours for end in count_range(fitted * hours, scatter, limits.confidence))
    return PowerUpRates(
        counts=counts,
        hours=hours,
        low=np.array([e.low for e in ends]),
        high=np.array([e.high for e in ends]),
        fitted=fitted,
        least=least,
        most=most,
        scatter=scatter,
        shown=shown,
    )
