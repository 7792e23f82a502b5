"""One unit over visits: logs grouped by date or stage, what is told of each visit and each channel, and what lies ahead.

Ahead: the rate of concern, told no farther ahead than was watched, the next visit, and a year of use.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Any, TypeVar

import numpy as np

from flicker.base.formats import hours_text, share_text
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result, plain
from flicker.case.case_file import Case, CaseError
from flicker.evidence.assessment import Assessment
from flicker.evidence.document.frames import VisitsTables
from flicker.evidence.document.head import ByChannel, head
from flicker.evidence.document.rows import FITNESS, WORD
from flicker.evidence.located.rate_changed import RateChanged
from flicker.evidence.outlook.bench import finite_peaks
from flicker.evidence.outlook.protection import TELLS, TripForecast, trip_forecast
from flicker.evidence.questions.worsening import FEWEST
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.evidence.visits.growth import SATURATED, WORSE, PowerUps, RateWorsening, SizeWorsening
from flicker.evidence.visits.levels import FEWEST_VISITS, LevelForecast, QuantityTrend
from flicker.logs.model import Log
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
    way: PowerUps, ages: Sequence[float], rate: RateWorsening, dated: bool, limits: Limits
) -> ConcernReached | None:
    """When the rate of concern is reached if the growth goes on; None where no growth is shown."""
    if rate.answer != WORSE or SATURATED in rate.cautions or len(set(way.ages)) < FEWEST_VISITS:
        return None
    held = expected_counts(way.times, way.ends)
    units, place = np.unique(way.ages, return_inverse=True)
    counts, expected = np.bincount(place, held.counts).astype(np.int64), np.bincount(place, held.expected)
    last_h = sum(way.last) / 3600.0
    concern = limits.episode_rate_per_h
    told = growth_reaches(
        counts, expected, units, mean=concern * last_h, planned=float(expected[-1]), scatter=limits.power_up_scatter,
        confidence=limits.confidence,
    )  # fmt: skip
    last, until = max(ages), 2.0 * max(ages) - min(ages)
    reached = told.now >= 0.5
    age, low, high = (None if reached or value > until else float(value) for value in (told.at, told.low, told.high))

    def ahead(value: float) -> str:
        return f"{value - last:.0f} days after the last visit" if dated else f"visit {value + 1:.0f}"

    what, bound = f"rate of concern, {concern:g} per hour,", "no farther ahead is told than was watched"
    if reached:
        reads = f"The {what} is reached already."
    elif low is None:
        reads = f"The {what} is not reached before {ahead(until)}; {bound}."
    else:
        first = f"{ahead(low)} at the earliest" if low > last else "it may be there now"
        middle = f"about {ahead(age)}" if age is not None else f"later than {ahead(until)}"
        latest = f", {ahead(high)} at the latest" if high is not None else f"; {bound}"
        reads = f"If the growth goes on, the {what} is reached {middle}: {first}{latest}."
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
    way: PowerUps, ages: Sequence[float], rate: RateWorsening, limits: Limits
) -> tuple[AgeForecast | None, str]:
    """Episodes at the next visit, if it is like the last and what was seen goes on."""
    if rate.overall is None or rate.episodes < FEWEST or SATURATED in rate.cautions:
        return None, ""
    step = (max(ages) - min(ages)) / (len(ages) - 1)
    found = age_forecast(
        way.times, way.ends, way.ages, at=max(ages) + step, planned_ends=way.last, confidence=limits.confidence,
        scatter=limits.power_up_scatter,
    )  # fmt: skip
    same = hours_text(sum(way.last) / 3600.0)
    most = max(sum(len(t) for t, age in zip(way.times, way.ages, strict=True) if age == one) for one in set(way.ages))
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
        return found, f"Whether the protection trips within a year cannot be told from so few hours{f': {words[:1].lower()}{words[1:]}' if far >= 2 else ''}."
    if found.bound == "upper" and found.trips_seen == 0:
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


When = dt.date | dt.datetime | None


@dataclass(frozen=True, slots=True)
class Visit(Result):
    """One visit: its first date, how many days after the first visit, its stage names, and what was logged."""

    number: Annotated[int, Doc("Number, from 0.", ge=0)]
    date: Annotated[When, Doc("First date, ISO 8601; null where none is recorded.", null=True)]
    day: Annotated[float | None, Doc("Days since the first visit; null without dates.", ge=0)]
    stages: Annotated[tuple[str, ...], Doc("Stages of the case that it holds.")]
    runs: Annotated[int, Doc("Runs logged.", ge=0)]
    power_ups: Annotated[int, Doc("Power-ups covered.", ge=0)]

    @property
    def age(self) -> float:
        """Days since the first visit; without dates the number of the visit."""
        return float(self.number if self.day is None else self.day)


@dataclass(frozen=True, slots=True)
class ChannelVisit(Result):
    """One channel at one visit: rate with exact interval, settled level, noise, surge."""

    visit: Annotated[int, Doc("Number of the visit.", ge=0)]
    verdict: Annotated[str, Doc("Verdict of this visit alone.", values=WORD.values)]
    fitness: Annotated[str, FITNESS]
    episodes: Annotated[int, Doc("Episodes.", ge=0)]
    observed_s: Annotated[float, Doc("Observed seconds.", ge=0)]
    per_hour: Annotated[float | None, Doc("Rate per hour.", ge=0)]
    low_per_hour: Annotated[float | None, Doc("Lower limit, exact.", ge=0)]
    high_per_hour: Annotated[float | None, Doc("Upper limit, exact; one-sided where none was seen.", ge=0, open=True)]
    level_V: Annotated[float | None, Doc("Settled level, volts.")]
    sigma_V: Annotated[float | None, Doc("Noise at rest, volts.", ge=0)]
    surge_V: Annotated[float | None, Doc("Largest surge at power-up, volts with sign.")]
    against: Annotated[
        tuple[str, ...], Doc("What stands against a clearance, in volts, the weightiest first; empty where nothing does.")
    ] = ()


@dataclass(frozen=True, slots=True)
class ChannelVisits(Result):
    """One channel over all visits."""

    channel: Annotated[str, Doc("Name of the channel.")]
    reads: Annotated[str, Doc("Two or three sentences for the owner.")]
    visits: Annotated[tuple[ChannelVisit, ...], Doc("One entry per visit that has the channel.", least=1)]
    rate: Annotated[RateWorsening, Doc("")]
    size: Annotated[SizeWorsening, Doc("")]
    levels: Annotated[tuple[QuantityTrend, ...], Doc("Settled level, noise and surge; empty with one visit.")]
    forecast: Annotated[AgeForecast | None, Doc("The next visit; null where nothing can be said.")]
    forecast_reads: Annotated[str, Doc("The forecast and its limits in words.")]
    concern: Annotated[
        ConcernReached | None, Doc("When the rate of concern is reached; null where no growth of the rate is shown.")
    ]
    year: Annotated[TripForecast | None, Doc("Chance of a trip within a year of use; null without an episode.")]
    year_reads: Annotated[str, Doc("That chance and its limits in words.")]
    level_forecast: Annotated[LevelForecast | None, Doc("Settled level at the next visit; null below three visits.")]
    since: Annotated[
        RateChanged | None,
        Doc("Since which visit the rate has been another; null below three visits or five episodes."),
    ]
    level_reads: Annotated[str, Doc("That forecast and its limits in words.")]


@dataclass(frozen=True, slots=True)
class Visits(ByChannel[ChannelVisits], VisitsTables, Result):
    """One unit over visits; ``to_dict`` follows the schema 'flicker/visits/2'."""

    unit: Annotated[str | None, Doc("Name of the unit, from the case.")]
    visits: Annotated[tuple[Visit, ...], Doc("Visits in time order.", least=1)]
    channels: Annotated[tuple[ChannelVisits, ...], Doc("One entry per channel.", least=1)]
    hours_per_year: Annotated[float, Doc("Hours of use in a year, assumed or from the case.", ge=0)]
    limits: Annotated[Limits, Doc("")]
    cautions: Annotated[tuple[str, ...], Doc("What to be careful about, in sentences.")]
    assessments: tuple[Assessment, ...] = field(repr=False)
    seed: int = 0

    def to_dict(self) -> dict[str, Any]:
        """Return the document of the schema 'flicker/visits/2'."""
        return {
            **head(
                "flicker/visits/2",
                self.seed,
                "Holm over {rate, size} of all channels; one-sided, 'better' at half the error",
            ),
            "unit": self.unit,
            "limits": plain(self.limits),
            "visits": plain(self.visits),
            "channels": [item.to_dict() for item in self.channels],
            "hours_per_year": self.hours_per_year,
            "reads": self.reads,
            "cautions": list(self.cautions),
        }


Item = TypeVar("Item")

APART_DAYS = 14.0  # logs closer than this belong to one visit; common practice, no source
MIDDAY = 12  # of a date without a clock; a choice


def visits_of_case(
    case: Case, *, by: str = "date", apart_days: float = APART_DAYS, **reading: Any
) -> tuple[list[tuple[When, list[Log]]], list[list[str]]]:
    """Group the logs of a case into visits, by date (logs closer than ``apart_days`` are one visit) or by stage.

    Returns
    -------
    visits, stages
        As `over_visits` takes them.

    Raises
    ------
    CaseError
        If the case lists no log, or is to be grouped by date and some log has none.
    """
    if by not in {"date", "stage"}:
        raise ValueError(f"by must be 'date' or 'stage', got {by!r}")
    if not case.logs:
        raise CaseError(f"{case.path}: the case lists no log; add [[logs]] with a file.")
    groups: list[list[Any]] = []
    if by == "stage":
        groups = [[log for log in case.logs if log.stage == stage] for stage in case.stages]
    else:
        bare = [log.file for log in case.logs if log.date is None]
        if bare:
            raise CaseError(f"{case.path}: the log {bare[0]!r} has no date; add one, or group by stage.")
        groups = _by_date(case.logs, lambda log: log.date, apart_days)
    visits, stages = [], []
    for group in groups:
        dates = [log.date for log in group if log.date is not None]
        date = min(dates, key=day_of) if len(dates) == len(group) else None
        visits.append((date, [case.read(log.path, date=log.date, **reading) for log in group]))
        stages.append(list(dict.fromkeys(log.stage for log in group)))
    return visits, stages


def visits_of_logs(logs: Sequence[Log], *, apart_days: float = APART_DAYS) -> list[tuple[When, list[Log]]]:
    """Group logs that carry their own dates into visits: those closer than ``apart_days`` are one.

    Raises
    ------
    ValueError
        If a log does not say when it was recorded.
    """
    for log in logs:
        if log.runs[0].start is None:
            name = log.path or "a log"
            raise ValueError(
                f"say when {name} was recorded: --visit DATE LOG, once for each visit (--visit 2031-03-09 {name}), or "
                "give a case with --case."
            )
    groups = _by_date(logs, lambda log: log.runs[0].start, apart_days)
    return [(group[0].runs[0].start, group) for group in groups]


def _by_date(items: Sequence[Item], date: Callable[[Item], When], apart_days: float) -> list[list[Item]]:
    """Groups in the order of their dates; what lies closer to the one before than ``apart_days`` joins it."""
    groups: list[list[Item]] = []
    last = -math.inf
    for item in sorted(items, key=lambda item: day_of(date(item))):
        day = day_of(date(item))
        if day - last > apart_days or not groups:
            groups.append([])
        groups[-1].append(item)
        last = day
    return groups


def day_of(date: When) -> float:
    """Days on a common scale; a date without a clock counts as midday."""
    if date is None:
        return math.nan
    moment = date if isinstance(date, dt.datetime) else dt.datetime(date.year, date.month, date.day, MIDDAY)
    return (moment.replace(tzinfo=None) - dt.datetime(2000, 1, 1)).total_seconds() / 86_400.0
