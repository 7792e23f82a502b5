"""What the bench asks beyond a verdict: speaker and relay, the next hours, warm-up, the meter's eye, a control run.

Puts the rooms beside it (`protection`, `warmup`, `control`, `signals.relay`) to the records of an
assessment. Each answer says nothing where there is nothing to say. Outcomes of the assumed relay, and of others, are
summed over the runs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.formats import digits_text, share_text, volts_text
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.evidence.outlook.protection import TripForecast, by_threshold, outcomes_text, trip_forecast
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.signals.relay.records import LOAD_OHM, Relay, RelayRecord, add_up
from flicker.stats.rates import rate_interval

if TYPE_CHECKING:
    from flicker.case.case_file import Meter
    from flicker.evidence.document.rows import FirstTrip, OtherThreshold
    from flicker.evidence.located.warmup import WarmupRate
    from flicker.evidence.questions.control import ControlAnswer

WHAT_IF_V = (0.5, 1.0, 1.5)  # other thresholds to look at; common practice, no source
NEXT_H = 10.0  # hours for which a trip is forecast: a choice
GLITCH_S = 0.1  # a short crackle; common practice, no source
MOSTLY = 0.5  # share of swings that lasted a single reading; a choice
ADVISED = 0.95  # chance to see it that the advice aims at: common practice, no source
METHOD = "positions of the glitch against the readings"
HEIGHT_FACTOR = 2.0  # the glitch asked for is so many times the entering threshold; chosen, not measured
CONTROL_KINDS = {"shorted": "shorted leads", "sound": "known good unit"}


def peaks_of(record: ChannelRecord) -> Floats:
    """Reading farthest from zero of each episode, absolute volts, shape (episodes,); over range counts as infinite."""
    parts = [np.empty(0)]
    for trace in record.traces:
        if trace.episode.size:
            first = np.flatnonzero(np.concatenate(([True], np.diff(trace.episode) > 0)))
            parts.append(np.maximum.reduceat(np.abs(trace.excursions.peak_V), first))
    return np.concatenate(parts)


def finite_peaks(record: ChannelRecord, limits: Limits) -> Floats:
    """Peaks of episodes, those over range taken as twice the trip threshold at least: they would have tripped."""
    peaks = peaks_of(record)
    known = peaks[np.isfinite(peaks)]
    most = max(float(known.max()) if known.size else 0.0, 2.0 * limits.protection_V)
    return np.where(np.isfinite(peaks), peaks, most)


def relays_to_try(relay: Relay) -> list[Relay]:
    """The relay assumed, and the same at other thresholds."""
    return [relay, *(relay.at(volts) for volts in WHAT_IF_V if volts != relay.trip_V)]


def next_hours(record: ChannelRecord, limits: Limits) -> TripForecast | None:
    """Chance of a trip in the next hours; None where no peak comes near the threshold."""
    peaks = finite_peaks(record, limits)
    hours = record.observed_s / 3600.0
    if hours <= 0 or peaks.size == 0 or not bool(np.any(peaks > 0.5 * limits.protection_V)):
        return None
    enter = max((trace.enter_V for trace in record.traces), default=limits.excursion_V)
    return trip_forecast(
        peaks,
        hours,
        trip_V=limits.protection_V,
        threshold_V=min(enter, limits.protection_V),
        hours=NEXT_H,
        confidence=limits.confidence,
    )


def warm_up_of(record: ChannelRecord, limits: Limits) -> WarmupRate | None:
    """Rate by time since power-up; None below two power-ups or without an episode."""
    if record.episodes.common.all():
        return None
    begun = [place for place, trace in enumerate(record.traces) if trace.power_up_seen and trace.observed_s > 0]
    begin_s = [record.episodes.start_s[record.own(place)] for place in begun]
    if len(begun) < 2 or not any(part.size for part in begin_s):
        return None
    from flicker.evidence.located.warmup import WarmupRun, warmup_rate  # late: one power-up needs none

    runs = [WarmupRun(part, record.traces[place].observed) for place, part in zip(begun, begin_s, strict=True)]
    return warmup_rate(runs, dead_time_s=record.dead_time_s, confidence=limits.confidence)


@dataclass(frozen=True, slots=True)
class Visibility(Result):
    """What this sampling shows of a short glitch.

    ``seen`` is the chance that a glitch of ``glitch_s`` and ``height_V`` shows; ``advised_interval_s`` the longest
    interval that shows ``advised_share`` of them (None where the integration hides them). ``true_per_h`` is what the
    episodes seen mean per hour if all were such glitches, with limits; None without an episode, or where none shows.
    """

    glitch_s: Annotated[float, Doc("Length of the glitch asked for, seconds.", gt=0)]
    height_V: Annotated[float, Doc("Its height, volts.", gt=0)]
    sample_interval_s: Annotated[float, Doc("Seconds between readings.", gt=0)]
    integration_s: Annotated[float | None, Doc("Seconds that each reading averages; null where not told.", ge=0)]
    seen: Annotated[float, Doc("Chance that such a glitch shows.", ge=0, le=1)]
    advised_share: Annotated[float, Doc("Chance that the advice aims at.", ge=0, le=1)]
    advised_interval_s: Annotated[
        float | None, Doc("Longest interval that shows such a share; null where the integration hides them.", gt=0)
    ]
    method: Annotated[str, Doc("The method by which the figures were found.")]
    reads: Annotated[str, Doc("In words, for the owner of the unit.")]
    true_per_h: Annotated[
        float | None,
        Doc("Rate if all episodes seen were such glitches, corrected for those unseen; null without an episode.", ge=0),
    ] = None
    true_low_per_h: Annotated[float | None, Doc("Its lower limit.", ge=0)] = None
    true_high_per_h: Annotated[float | None, Doc("Its upper limit.", ge=0)] = None


def visibility_of(
    record: ChannelRecord, meter: Meter | None, limits: Limits, renewed_s: float = 0.0
) -> Visibility | None:
    """Say what the coarsest sampling of the runs shows of a short glitch; None where nothing was observed.

    ``renewed_s`` is how far apart new values are where rows repeat one that is renewed seldom.
    """
    seen = [(run, trace) for run, trace in zip(record.runs, record.traces, strict=True) if trace.observed_s > 0]
    if not seen:
        return None
    run, trace = max(seen, key=lambda pair: pair[0].sample_interval_s)
    every_s = max(run.sample_interval_s, renewed_s)
    count = record.own_episodes
    length = np.concatenate([part.excursions.end_s - part.excursions.start_s for _, part in seen])
    brief = length.size > 0 and float(np.mean(length <= 1.5 * every_s)) >= MOSTLY
    told = visibility(every_s, trace.enter_V, trace.resolution_V, meter)
    if every_s > run.sample_interval_s:  # such a swing fills the rows that repeat it
        return told
    return with_true_rate(told, count, record.observed_s, brief=brief, confidence=limits.confidence)


def visibility(
    sample_interval_s: float, threshold_V: float, resolution_V: float, meter: Meter | None = None
) -> Visibility:
    """Say what the sampling (and the meter's integration, where the case records it) shows of a short glitch."""
    told = None if meter is None else meter.integration_s
    integration = min(told or 0.0, sample_interval_s)
    height = HEIGHT_FACTOR * threshold_V
    # a rectangle fills the share r of an integration A at L + A - 2 r A of its positions (`stats.soak.detectable_share`)
    needed = _shown_V(threshold_V, resolution_V) / height
    shows = max(GLITCH_S + integration - 2.0 * needed * integration, 0.0)
    possible = needed <= 1.0 and needed * integration <= GLITCH_S
    seen = min(1.0, shows / sample_interval_s) if possible else 0.0
    wanted = shows / ADVISED if possible and shows / ADVISED >= integration else math.nan
    what = f"a glitch of {GLITCH_S:g} s and {volts_text(height)} is seen with a chance of {share_text(seen)} at this sampling"
    if seen >= ADVISED:
        text = f"{what[0].upper()}{what[1:]}."
    elif math.isnan(wanted):
        text = f"{what[0].upper()}{what[1:]}; the meter averages over {integration:g} s and hides shorter ones."
    else:
        text = f"{what[0].upper()}{what[1:]}; sample at least every {digits_text(wanted)} s to see {share_text(ADVISED)} of such."
    if told is None and seen < ADVISED:
        text += " (Instant readings are assumed: the meter's integration time is not recorded.)"
    return Visibility(
        glitch_s=GLITCH_S, height_V=height, sample_interval_s=sample_interval_s, integration_s=told, seen=seen,
        advised_share=ADVISED, advised_interval_s=wanted, method=METHOD, reads=text,
    )  # fmt: skip


def with_true_rate(
    told: Visibility, count: int, observed_s: float, *, brief: bool = False, confidence: float = 0.95
) -> Visibility:
    """Correct ``count`` episodes in ``observed_s`` for those that passed unseen.

    ``brief`` says that most lasted a single reading, so that the correction is worth a sentence.
    """
    seen, text = told.seen, told.reads
    if count <= 0 or observed_s <= 0 or seen <= 0:
        return told
    # glitches seen are a thinned Poisson process, so exact limits divide by the share
    found = rate_interval(count, observed_s / 3600.0, confidence=confidence)
    rate, low, high = found.rate / seen, found.low / seen, found.high / seen
    if brief and seen < ADVISED:
        text += (
            f" Most swings seen lasted a single reading: if all are so short, there are {digits_text(rate, 3)} per hour in "
            f"truth, between {digits_text(low, 3)} and {digits_text(high, 3)}."
        )
    return replace(told, reads=text, true_per_h=rate, true_low_per_h=low, true_high_per_h=high)


def _shown_V(threshold_V: float, resolution_V: float) -> float:
    """Lowest mean over a reading that is shown above a threshold (from a baseline that sits on a digit)."""
    if resolution_V <= 1e-12 * threshold_V:  # no last digit that matters
        return threshold_V
    return (math.floor(threshold_V / resolution_V + 1e-9) + 0.5) * resolution_V


def control_of(
    record: ChannelRecord, control: Sequence[ChannelRecord], limits: Limits, *, kind: str = "shorted"
) -> ControlAnswer | None:
    """Set a channel against a control run: its own column there, else the only one; None where nothing was observed.

    Raises
    ------
    ValueError
        If ``kind`` is unknown, or the control has several columns and none of this name.
    """
    if kind not in CONTROL_KINDS:
        raise ValueError(f"kind must be one of {', '.join(map(repr, CONTROL_KINDS))}, got {kind!r}")
    same = [item for item in control if item.channel == record.channel]
    if not same and len(control) > 1:
        names = ", ".join(item.channel for item in control)
        raise ValueError(f"the control log has no column {record.channel!r}; it has {names}")
    other = same[0] if same else control[0]
    from flicker.evidence.questions.control import against_control, by_run

    # those of all channels at once included: a meter makes such
    mine, theirs = (by_run(item, np.ones(item.episodes.count, dtype=bool)) for item in (record, other))
    if not mine[1] or not theirs[1]:
        return None
    return against_control(
        *mine,
        *theirs,
        limits,
        control=CONTROL_KINDS[kind],
    )


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
    load_ohm: Annotated[float, Doc("Load assumed, ohms.", gt=0)] = LOAD_OHM
    at_least: Annotated[bool, Doc("True where readings over range make these lower limits.")] = False
    what_if: Annotated[tuple[OtherThreshold, ...], Doc("The same at other thresholds.")] = ()
    what_if_reads: Annotated[str, Doc("These in words.")] = ""
    forecast: Annotated[
        TripForecast | None, Doc("Chance of a trip in the hours to come; null where no peak came near the threshold.")
    ] = None
    reads: Annotated[str, Doc("In words, for the owner of the unit.")] = ""
    power_ups: Annotated[tuple[FirstTrip, ...], Doc("Each power-up by its first run.")] = ()


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
    tried = by_threshold(zip(*(outcome for outcome, _ in parts), strict=True))
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
                for row in tried
                if row.relay != whole.relay
            ),
            what_if_reads=f"{outcomes_text(tried)}." if len(tried) > 1 and any(row.trips for row in tried) else "",
            forecast=next_hours(record, limits),
            reads=whole.reads,
            power_ups=tuple(
                {"watched_s": record.runs[first].duration_s, "trip_s": min(relays[key][0].trip_s, default=None)}
                for first, *_ in record.power_ups
                if (key := (record.numbers[first], record.channel)) in relays
            ),
        ),
        whole.trips,
    )
