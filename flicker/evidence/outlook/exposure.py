"""What would have reached the loudspeaker: outcomes of the assumed relay, and of others, summed over the runs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from flicker.base.described import Doc
from flicker.base.limits import Limits
from flicker.base.result import Result
from flicker.evidence.document.rows import OtherThreshold
from flicker.evidence.outlook.bench import next_hours
from flicker.evidence.outlook.protection import ThresholdTable, TripForecast, threshold_table
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.signals.relay import RelayRecord, add_up

Relays = dict[tuple[int, str], Sequence[RelayRecord]]  # by run and channel: the relay assumed, then other thresholds


@dataclass(frozen=True, slots=True)
class RelayResult(Result):
    """What the assumed protection relay would have done, and what would have reached the loudspeaker.

    ``exposed_s``, ``exposed_volt_s`` and ``exposed_energy_J`` (into ``load_ohm``) count the time above the threshold
    with the relay still closed; ``what_if`` holds the same at other thresholds, ``forecast`` the chance of a trip in
    the hours to come (None where no peak came near the threshold).
    """

    trips: Annotated[int, Doc("Times the assumed relay opened, power-up surge included.", ge=0)]
    disconnected_s: Annotated[float, Doc("Seconds it was open.", ge=0)]
    seconds_above_threshold: Annotated[float, Doc("Seconds beyond protection_V.", ge=0)]
    longest_exposure_s: Annotated[
        float, Doc("Longest time a loudspeaker would have seen more than protection_V, seconds.", ge=0)
    ]
    peak_V: Annotated[float | None, Doc("Largest reading, volts with sign.", open=True)]
    source: Annotated[
        str,
        Doc(
            "'simulated': an assumed relay over an amplifier-side log; 'seen': read from a speaker-side log.",
            values=("simulated", "seen"),
        ),
    ]
    exposed_s: Annotated[
        float, Doc("Seconds above the threshold with the relay still closed: what a loudspeaker would have got.", ge=0)
    ] = 0.0
    exposed_volt_s: Annotated[float, Doc("Volts times seconds in that time.", ge=0)] = 0.0
    exposed_energy_J: Annotated[float, Doc("Joules into load_ohm in that time.", ge=0)] = 0.0
    exposed_peak_V: Annotated[float, Doc("Largest reading in that time, volts with sign.", open=True)] = 0.0
    load_ohm: Annotated[float, Doc("Load assumed, ohms.", gt=0)] = 8.0
    at_least: Annotated[bool, Doc("True where readings over range make these lower limits.")] = False
    what_if: Annotated[tuple[OtherThreshold, ...], Doc("The same at other thresholds.")] = ()
    what_if_reads: Annotated[str, Doc("These in words.")] = ""
    forecast: Annotated[
        TripForecast | None, Doc("Chance of a trip in the hours to come; null where no peak came near the threshold.")
    ] = None
    reads: Annotated[str, Doc("In words, for the owner of the unit.")] = ""


def exposure(record: ChannelRecord, relays: Relays, limits: Limits) -> tuple[RelayResult, int]:
    """Sum over runs, with the trips: readings of an open lead in the first seconds never reached the relay."""
    parts = [
        (relays[number, record.channel], trace)
        for number, trace in zip(record.numbers, record.traces, strict=True)
        if (number, record.channel) in relays
    ]
    if not parts:
        return RelayResult(
            trips=0,
            disconnected_s=0.0,
            seconds_above_threshold=0.0,
            longest_exposure_s=0.0,
            peak_V=None,
            source="simulated",
        ), 0
    whole = add_up([outcome[0] for outcome, _ in parts])
    others: ThresholdTable | None = None
    if len(parts[0][0]) > 1:
        others = threshold_table(list(zip(*(outcome for outcome, _ in parts), strict=True)), used_V=whole.relay.trip_V)
    rows = () if others is None else tuple(row for row in others.rows if row.relay != whole.relay)
    return (
        RelayResult(
            trips=whole.trips,
            disconnected_s=whole.disconnected_s,
            seconds_above_threshold=whole.seconds_above_threshold,
            longest_exposure_s=whole.longest_exposure_s,
            peak_V=whole.peak_V if math.isfinite(whole.peak_V) else None,
            source="seen" if any(trace.disconnected.size for _, trace in parts) else "simulated",
            exposed_s=whole.exposed_s,
            exposed_volt_s=whole.exposed_volt_s,
            exposed_energy_J=whole.exposed_energy_J,
            exposed_peak_V=whole.exposed_peak_V,
            load_ohm=whole.relay.load_ohm,
            at_least=whole.at_least,
            what_if=tuple(
                {
                    "trip_V": row.relay.trip_V,
                    "trips": row.trips,
                    "disconnected_s": row.disconnected_s,
                    "exposed_s": row.exposed_s,
                    "exposed_volt_s": row.exposed_volt_s,
                    "exposed_energy_J": row.exposed_energy_J,
                }
                for row in rows
            ),
            what_if_reads="" if others is None or not any(row.trips for row in others.rows) else f"{others.outcomes}.",
            forecast=next_hours(record, limits),
            reads=whole.reads,
        ),
        whole.trips,
    )
