"""One unit over visits: logs grouped by date or stage, and what is told of each visit, each channel at it, and over all of them."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Any, TypeVar

from flicker.base.limits import Limits
from flicker.base.result import Doc, Result, plain
from flicker.case.case_file import Case, CaseError
from flicker.evidence.assessment import Assessment
from flicker.evidence.document.frames import VisitsTables
from flicker.evidence.document.head import ByChannel, head
from flicker.evidence.located.rate_changed import RateChanged
from flicker.evidence.outlook.protection import TripForecast
from flicker.evidence.visits.ahead import ConcernReached
from flicker.evidence.visits.growth import RateWorsening, SizeWorsening
from flicker.evidence.visits.levels import LevelForecast, QuantityTrend
from flicker.logs.model import Log
from flicker.stats.arrivals import AgeForecast

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


@dataclass(frozen=True, slots=True)
class ChannelVisit(Result):
    """One channel at one visit: rate with exact interval, settled level, noise, surge."""

    visit: Annotated[int, Doc("Number of the visit.", ge=0)]
    verdict: Annotated[
        str,
        Doc(
            "Verdict of this visit alone.",
            values=("steady", "one-off", "noisy", "drifting", "degrading", "inconclusive"),
        ),
    ]
    fitness: Annotated[
        str,
        Doc(
            "Whether a loudspeaker may hang on it.",
            values=("do not connect", "not yet shown", "within limits for the time observed"),
        ),
    ]
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

    unit: str | None
    visits: tuple[Visit, ...]
    channels: tuple[ChannelVisits, ...]
    hours_per_year: float
    limits: Limits
    cautions: tuple[str, ...]
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
    from flicker.case.reading import overruled
    from flicker.logs.reading import read_log

    visits, stages = [], []
    for group in groups:
        dates = [log.date for log in group if log.date is not None]
        date = min(dates, key=day_of) if len(dates) == len(group) else None
        visits.append(
            (
                date,
                [case.use(read_log(log.path, **overruled(case.reading(log.path), reading)), log.date) for log in group],
            )
        )
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
