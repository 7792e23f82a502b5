"""Rows of documents that no result class holds, with the meaning of each key."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, TypedDict

from flicker.base.result import Doc
from flicker.base.values import Unobserved

if TYPE_CHECKING:
    from flicker.signals.coincidence import ChannelCoincidence


class LevelChangeRow(TypedDict):
    """One change of level."""

    run: Annotated[int, Doc("Number of the run, from 0.", ge=0)]
    time_s: Annotated[float, Doc("Place of the change, seconds since the run's first sample.")]
    low_s: Annotated[float, Doc("Begin of the interval of the place, seconds.", open=True)]
    high_s: Annotated[float, Doc("End of the interval of the place, seconds.", open=True)]
    step_V: Annotated[float, Doc("Size of the step in volts, with sign.")]
    step_low_V: Annotated[float, Doc("Lower end of its simultaneous interval, volts.", open=True)]
    step_high_V: Annotated[float, Doc("Upper end, volts.", open=True)]
    p_value: Annotated[float, Doc("p-value of the change.", ge=0, le=1, null=True)]


class OtherThreshold(TypedDict):
    """One threshold."""

    trip_V: Annotated[float, Doc("Threshold, volts.", gt=0)]
    trips: Annotated[int, Doc("Times it would have opened.", ge=0)]
    disconnected_s: Annotated[float, Doc("Seconds open.", ge=0)]
    exposed_s: Annotated[float, Doc("Seconds above it while closed.", ge=0)]
    exposed_volt_s: Annotated[float, Doc("Volts times seconds while closed.", ge=0, open=True)]
    exposed_energy_J: Annotated[float, Doc("Joules while closed.", ge=0, open=True)]


class FirstTrip(TypedDict):
    """When the assumed relay would first have opened in the first run of a power-up."""

    watched_s: Annotated[float, Doc("Seconds logged in that run.", ge=0)]
    trip_s: Annotated[float | None, Doc("Seconds from its begin to the first trip; null where there was none.", ge=0)]


class Thresholds(TypedDict):
    """Thresholds used."""

    enter_V: Annotated[float, Doc("Volts from the baseline at which an excursion begins.", ge=0, open=True)]
    leave_V: Annotated[float, Doc("Volts from the baseline below which it ends.", ge=0, open=True)]


class Coincidence(TypedDict):
    """Pairs of channels."""

    pairs: Annotated[
        list[ChannelCoincidence],
        Doc("Each two channels that share their runs; empty where no channel showed an episode."),
    ]
    reads: Annotated[str, Doc("In words, for the owner of the unit.")]


class Unseen(TypedDict):
    """A stretch of one channel in which no excursion could have been seen."""

    run: Annotated[int, Doc("Number of the run, from 0.", ge=0)]
    start_s: Annotated[float, Doc("Begin, seconds since the run's first sample.")]
    end_s: Annotated[float, Doc("End, seconds since the run's first sample.")]
    reason: Annotated[Unobserved, Doc("Why nothing was observed.")]
    channel: Annotated[str | None, Doc("Channel concerned; null for all.")]


class PowerUpPlan(TypedDict):
    """The plan in cold starts."""

    power_ups: Annotated[int, Doc("Cold starts planned.", ge=0)]
    power_ups_if_share_known: Annotated[int, Doc("Cold starts if the share were known for certain.", ge=0)]
    hits: Annotated[int, Doc("Cold starts that showed the fault so far.", ge=0)]
    trials: Annotated[int, Doc("Cold starts tried so far.", ge=0)]
    cool_down_h: Annotated[float, Doc("Hours off before a cold start.", ge=0)]
    bench_h: Annotated[float, Doc("Hours on the bench, cooling included.", ge=0)]
    equal_hours: Annotated[float, Doc("Hours of plain soak that promise the same.", ge=0, open=True)]
    better_than_hours: Annotated[bool, Doc("Whether cold starts take less time.")]
    reads: Annotated[str, Doc("In words, for the owner of the unit.")]


class CyclePlan(TypedDict):
    """The plan in power cycles."""

    cycles: Annotated[int, Doc("Power cycles planned.", ge=0)]
    run_length: Annotated[float, Doc("Hours of each.", ge=0)]
    exposure: Annotated[float, Doc("Observed hours in all.", ge=0)]
    bench_time: Annotated[float, Doc("Hours on the bench, cooling included.", ge=0)]
    chance: Annotated[float, Doc("Chance to see the fault at least once.", ge=0, le=1)]
    one_long_run: Annotated[float, Doc("Hours that one run without switching off would take.", ge=0, open=True)]
    confidence: Annotated[float, Doc("Confidence of the intervals, a share between 0 and 1.", gt=0)]
    cool_down: Annotated[float, Doc("Hours off between.", ge=0)]
    method: Annotated[str, Doc("The method by which the figures were found.")]
    reads: Annotated[str, Doc("In words, for the owner of the unit.")]
    counts: Annotated[list[int], Doc("Episodes by time since power-up.")]
    hours: Annotated[list[float], Doc("Observed hours by time since power-up.")]
    edges_h: Annotated[list[float], Doc("Borders of these bins, hours since power-up.")]


class SoakRow(TypedDict):
    """Hours for one confidence."""

    confidence: Annotated[float, Doc("Confidence of the intervals, a share between 0 and 1.", gt=0)]
    hours: Annotated[float, Doc("Observed hours.", ge=0, open=True)]


class AllowedRow(TypedDict):
    """Hours for one number of episodes allowed."""

    allowed: Annotated[float, Doc("Episodes that the soak may show.", ge=0)]
    max_rate_per_h: Annotated[float, Doc("Rate excluded, episodes per hour.", gt=0)]
    hours: Annotated[float, Doc("Observed hours.", ge=0, open=True)]


class OfflineVerdict(TypedDict):
    """The judgement of the whole log, made at the end."""

    channel: Annotated[str, Doc("Name.")]
    verdict: Annotated[
        str,
        Doc(
            "How the channel behaves, strongest word that is shown.",
            values=("steady", "one-off", "noisy", "drifting", "degrading", "inconclusive"),
        ),
    ]
    tail: Annotated[str, Doc("What the word rests on.")]
    fitness: Annotated[
        str,
        Doc(
            "Whether a loudspeaker may hang on the channel; decided by volts before any statistics.",
            values=("do not connect", "not yet shown", "within limits for the time observed"),
        ),
    ]
    episodes: Annotated[int, Doc("Episodes.", ge=0)]
    observed_h: Annotated[float, Doc("Observed hours.", ge=0)]
    reads: Annotated[str, Doc("In words, for the owner of the unit.")]
