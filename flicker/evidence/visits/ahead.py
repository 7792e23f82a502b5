"""What lies ahead after visits: the rate of concern, told no farther ahead than was watched, the next visit, and a year of use."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from flicker.base.formats import hours_text, share_text
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.evidence.outlook.bench import finite_peaks
from flicker.evidence.outlook.protection import TELLS, TripForecast, trip_forecast
from flicker.evidence.questions.worsening import FEWEST
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.evidence.visits.growth import SATURATED, WORSE, RateWorsening, SizeWorsening
from flicker.evidence.visits.levels import FEWEST_VISITS
from flicker.stats.arrivals import AgeForecast, age_forecast
from flicker.stats.power_ups import expected_counts, growth_reaches


@dataclass(frozen=True, slots=True)
class ConcernReached(Result):
    """When a growing rate reaches the rate of concern, told no farther ahead than was watched."""

    per_hour: Annotated[float, Doc("Rate of concern, per hour.", gt=0)]
    reached: Annotated[bool, Doc("Whether the fitted rate at the last visit is at it or beyond.")]
    age: Annotated[
        float | None,
        Doc("Age at which it is reached, the middle: days since the first visit (numbers of visits without dates); null "
            "where that lies farther ahead than was watched, or it is reached already."),
    ]  # fmt: skip
    low_age: Annotated[float | None, Doc("Earliest age; null where it lies farther ahead, or is reached already.")]
    high_age: Annotated[float | None, Doc("Latest age; null where that lies farther ahead, or is reached already.")]
    watched_age: Annotated[float, Doc("How far ahead is told: as far beyond the last visit as the visits reach.")]
    confidence: Annotated[float, Doc("Confidence of the limits, a share.")]
    method: Annotated[str, Doc("Method in words.")]
    reads: Annotated[str, Doc("In words.")]


def concern_reached(
    times: list[Any],
    ends: list[float],
    run_ages: list[float],
    ages: Sequence[float],
    rate: RateWorsening,
    dated: bool,
    limits: Limits,
) -> ConcernReached | None:
    """When the rate of concern is reached if the growth goes on; None where no growth is shown."""
    if rate.answer != WORSE or SATURATED in rate.cautions or len(set(run_ages)) < FEWEST_VISITS:
        return None
    held = expected_counts(times, ends)
    units, place = np.unique(run_ages, return_inverse=True)
    counts, expected = np.bincount(place, held.counts).astype(np.int64), np.bincount(place, held.expected)
    last_h = sum(end for end, age in zip(ends, run_ages, strict=True) if age == units[-1]) / 3600.0
    concern = limits.episode_rate_per_h
    told = growth_reaches(
        counts, expected, units, mean=concern * last_h, planned=float(expected[-1]), scatter=limits.power_up_scatter,
        confidence=limits.confidence,
    )  # fmt: skip
    until = 2.0 * max(ages) - min(ages)
    reached = told.now >= 0.5
    age, low, high = (None if reached or value > until else float(value) for value in (told.at, told.low, told.high))
    what = f"{concern:g} per hour"
    if reached:
        reads = f"The rate of concern, {what}, is reached already."
    else:
        last = max(ages)

        def ahead(value: float) -> str:
            after = value - last
            return f"{after:.0f} days after the last visit" if dated else f"visit {value + 1:.0f}"

        bound = "no farther ahead is told than was watched"
        if low is None:
            reads = f"The rate of concern, {what}, is not reached before {ahead(until)}; {bound}."
        else:
            first = f"{ahead(low)} at the earliest" if low > last else "it may be there now"
            middle = f"about {ahead(age)}" if age is not None else f"later than {ahead(until)}"
            latest = f", {ahead(high)} at the latest" if high is not None else f"; {bound}"
            reads = f"If the growth goes on, the rate of concern, {what}, is reached {middle}: {first}{latest}."
    return ConcernReached(
        per_hour=concern,
        reached=reached,
        age=age,
        low_age=low,
        high_age=high,
        watched_age=float(until),
        confidence=limits.confidence,
        method=told.method,
        reads=reads,
    )


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
