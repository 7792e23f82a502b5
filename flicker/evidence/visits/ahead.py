"""What lies ahead after visits: the next one, and a year of use."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from flicker.base.formats import hours_text, share_text
from flicker.base.limits import Limits
from flicker.evidence.outlook.bench import finite_peaks
from flicker.evidence.outlook.protection import TELLS, TripForecast, trip_forecast
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.evidence.visits.growth import FEWEST, SATURATED, WORSE, RateWorsening, SizeWorsening
from flicker.stats.arrivals import AgeForecast, age_forecast

TOO_WIDE = 100.0  # times the most episodes of a visit: beyond, the prior of the growth speaks and no forecast is told; a choice


def next_visit(
    times: list[Any],
    ends: list[float],
    run_ages: list[float],
    ages: Sequence[float],
    rate: RateWorsening,
    limits: Limits,
) -> tuple[AgeForecast | None, str]:
    """Episodes at the next visit, if it is like the last and what was seen goes on."""
    if rate.overall is None or rate.episodes < FEWEST or SATURATED in rate.cautions:
        return None, ""
    step = (max(ages) - min(ages)) / (len(ages) - 1)
    last = [end for end, age in zip(ends, run_ages, strict=True) if age == max(run_ages)]
    found = age_forecast(
        times, ends, run_ages, at=max(ages) + step, planned_ends=last, confidence=limits.confidence,
        scatter=limits.power_up_scatter,
    )  # fmt: skip
    same = hours_text(sum(last) / 3600.0)
    most = max(sum(len(t) for t, age in zip(times, run_ages, strict=True) if age == one) for one in set(run_ages))
    if found.high > TOO_WIDE * max(most, 1):
        return (
            found,
            f"The next visit cannot be forecast from {rate.episodes} episodes: up to {found.high:.0f} would fit.",
        )
    basis = f"That reaches beyond the {len(ages)} visits seen; nothing but another visit can confirm it."
    few = "between none" if found.low == 0 else f"between {found.low:.0f}"
    return (
        found,
        f"At a next visit like the last ({same}), {few} and {found.high:.0f} episodes are to be expected. {basis}",
    )


def year_ahead(
    records: Sequence[ChannelRecord], rate: RateWorsening, size: SizeWorsening, limits: Limits, hours: float
) -> tuple[TripForecast | None, str]:
    """Chance of a trip within a year of use."""
    growing = WORSE in {rate.answer, size.answer}
    used = [record for record in (records[-1:] if growing else records) if record.observed_s > 0]
    observed_h = sum(record.observed_s for record in used) / 3600.0
    if not used or observed_h <= 0:
        return None, ""
    peaks = np.concatenate([finite_peaks(record, limits) for record in used])
    if peaks.size == 0:
        return None, ""  # nothing but the hours would speak
    threshold = min(max(limits.excursion_V, *(t.enter_V for r in used for t in r.traces)), limits.protection_V)
    found = trip_forecast(
        peaks, observed_h, trip_V=limits.protection_V, threshold_V=threshold, hours=hours, confidence=limits.confidence
    )
    far = hours / observed_h
    words = f"A year of use ({hours:.0f} h) is {far:.0f} times what was observed" if far >= 2 else "A year of use"
    if found.high - found.low > TELLS:
        first = "Whether the protection trips within a year cannot be told from so few hours"
    elif found.bound == "upper" and found.trips_seen == 0:
        first = f"No trip was seen; the chance of one within a year is at most {share_text(found.high)}"
    elif found.low > 0.99:
        first = "A trip of the protection within a year is all but certain"
    else:
        chance = f"about {share_text(found.chance)}, " if math.isfinite(found.chance) else ""
        first = f"The chance of a trip within a year is {chance}between {share_text(found.low)} and {share_text(found.high)}"
    tail = (
        "it counts on the last visit as it was; as it gets worse, the true chance is higher."
        if growing
        else "it holds only if the unit goes on as it was."
    )
    return found, f"{first}. {words}: {tail}"
