"""How many episodes has a power-up shown by each time since switch-on, and how do they add up from one to the next?

Heat bends the first curve, wear the second, scatter widens both. A picture and its figures: it asks and tests nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.formats import digits_text, hours_text
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.stats import power_ups

if TYPE_CHECKING:
    from flicker.stats.power_ups import CountByAge, MeanCumulative

POINTS = 100  # of the curve in a document: a choice
FEWEST_POWER_UPS = 2  # one has no mean; by definition


@dataclass(frozen=True, slots=True)
class MeanCount(Result):
    """Mean number of episodes of a power-up against time since switch-on, and the count from one to the next."""

    power_ups: Annotated[int, Doc("Power-ups with observed time.", ge=2)]
    hours: Annotated[tuple[float, ...], Doc("Observed hours since switch-on, rising; steps of the curve, at most 100.")]
    mean: Annotated[tuple[float, ...], Doc("Mean number of episodes of a power-up up to then.")]
    low: Annotated[tuple[float, ...], Doc("Lower limit of that mean over power-ups that differ, pointwise.")]
    high: Annotated[tuple[float, ...], Doc("Upper limit.")]
    half_by_h: Annotated[float, Doc("Hours since switch-on by which half of the mean had come.", ge=0)]
    count: Annotated[tuple[int, ...], Doc("Episodes so far after each power-up in order, from 0; times that others reached.")]
    expected: Annotated[tuple[float, ...], Doc("The same were no power-up ageing.")]
    count_low: Annotated[tuple[float, ...], Doc("Lower limit of the count were none ageing, pointwise.")]
    count_high: Annotated[tuple[float, ...], Doc("Upper limit.")]
    reads: Annotated[str, Doc("In words; described, not tested.")]


def power_up_times(record: ChannelRecord) -> tuple[list[Floats], list[float]]:
    """Own episodes on the observed clock of each power-up with observed time, in hours, and its observed length."""
    times, ends = record.per_cycle()
    kept = [(np.sort(np.minimum(t, e)) / 3600.0, e / 3600.0) for t, e in zip(times, ends, strict=True) if e > 0]
    return [t for t, _ in kept], [e for _, e in kept]


def curve_of(times: Sequence[Floats], ends: Sequence[float], limits: Limits) -> MeanCumulative:
    """Mean cumulative function of power-ups."""
    return power_ups.mean_cumulative(list(times), list(ends), scatter=limits.power_up_scatter, confidence=limits.confidence)


def ageing_of(times: Sequence[Floats], ends: Sequence[float], limits: Limits) -> CountByAge:
    """Count from power-up to power-up, set against the others at equal time since switch-on."""
    held = power_ups.expected_counts(list(times), list(ends))
    return power_ups.count_by_age(held.counts, held.expected, scatter=limits.power_up_scatter, confidence=limits.confidence)


def mean_count_of(record: ChannelRecord, limits: Limits) -> MeanCount | None:
    """Curve and count of a channel; None below two power-ups or without an episode."""
    times, ends = power_up_times(record)
    if len(ends) < FEWEST_POWER_UPS or not any(part.size for part in times):
        return None
    curve = curve_of(times, ends, limits)
    age = ageing_of(times, ends, limits)
    keep = np.unique(np.linspace(0, curve.time.size - 1, min(curve.time.size, POINTS)).astype(int))
    half = float(curve.time[np.argmax(curve.mean >= 0.5 * curve.mean[-1])])
    said = (
        f"Within {hours_text(float(curve.time[-1]))} of switching on a power-up shows {digits_text(curve.mean[-1])} episodes on "
        f"average ({digits_text(curve.low[-1])} to {digits_text(curve.high[-1])}, judged by {len(ends)} power-ups), half of them "
        f"within {hours_text(half)}."
    )
    if len(ends) > 2:
        half = len(ends) // 2
        said += (
            f" Of the {age.count[-1]} episodes that can be compared, {age.count[half]} came in the first "
            f"{'power-up' if half == 1 else f'{half} power-ups'} of {len(ends)}; {digits_text(age.low[half])} to "
            f"{digits_text(age.high[half])} would be usual if nothing aged."
        )
    return MeanCount(
        power_ups=len(ends),
        hours=_told(curve.time[keep]),
        mean=_told(curve.mean[keep]),
        low=_told(curve.low[keep]),
        high=_told(curve.high[keep]),
        half_by_h=half,
        count=tuple(int(n) for n in age.count),
        expected=_told(age.expected),
        count_low=_told(age.low),
        count_high=_told(age.high),
        reads=f"{said} This only describes what was seen.",
    )


def _told(values: Floats) -> tuple[float, ...]:
    return tuple(float(f"{value:.6g}") for value in values)
