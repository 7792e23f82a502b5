"""Rows of documents that no result class holds, and keys that several classes hold, with the meaning of each."""

from __future__ import annotations

from typing import Annotated, TypedDict

from flicker.base.result import Doc
from flicker.base.values import Fitness, Unobserved, VerdictWord

WORD = Doc("How the channel behaves, strongest word that is shown.", values=tuple(VerdictWord))
FITNESS = Doc("Whether a loudspeaker may hang on the channel; decided by volts before any statistics.", values=tuple(Fitness))


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


class Unseen(TypedDict):
    """A stretch of one channel in which no excursion could have been seen."""

    run: Annotated[int, Doc("Number of the run, from 0.", ge=0)]
    start_s: Annotated[float, Doc("Begin, seconds since the run's first sample.")]
    end_s: Annotated[float, Doc("End, seconds since the run's first sample.")]
    reason: Annotated[Unobserved, Doc("Why nothing was observed.")]
    channel: Annotated[str | None, Doc("Channel concerned; null for all.")]
