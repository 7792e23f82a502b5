"""What is told of one unit over visits: each visit, each channel at it, and each channel over all of them."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import Annotated, Any

from flicker.base.described import Doc
from flicker.base.limits import Limits
from flicker.base.result import Result, plain
from flicker.evidence.assessment import Assessment
from flicker.evidence.document.frames import VisitsTables
from flicker.evidence.document.head import ByChannel, head
from flicker.evidence.located.rate_changed import RateChanged
from flicker.evidence.outlook.protection import TripForecast
from flicker.evidence.visits.ahead import ConcernReached
from flicker.evidence.visits.growth import RateWorsening, SizeWorsening
from flicker.evidence.visits.levels import LevelForecast, QuantityTrend
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
