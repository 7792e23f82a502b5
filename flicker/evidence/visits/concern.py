"""When a growing rate reaches the rate of concern, told no farther ahead than was watched. Arrival times in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from flicker.base.described import Doc
from flicker.base.limits import Limits
from flicker.base.result import Result
from flicker.evidence.visits.growth import SATURATED, WORSE, RateWorsening
from flicker.stats.power_ups import expected_counts, growth_reaches

FEWEST_VISITS = 3  # two show no growth that goes on; a choice


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
