"""The state of a channel at rest: settled offset, noise, power-up, protection. Traces in, findings out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.formats import digits_text, millivolts_text, seconds_text, times_text, volts_text
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.evidence.findings import NO, NOT_SHOWN, YES, Finding
from flicker.evidence.guard import Guard, Reason
from flicker.evidence.questions.registry import question
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.signals.guard.figures import GRACE_S
from flicker.signals.residuals import local_residual
from flicker.stats.noise import noise_sigma

# noise is what moves within a minute; what is slower is movement of the level; a choice (DEVELOPERS.md, decisions)
NOISE_WINDOW_S = 60.0
NOISE_BLOCKS = 12  # stretches that tell how the noise itself varies: chosen, not measured


@dataclass(frozen=True, slots=True)
class PowerUp(Result):
    """One power-up of one channel; ``surge_V`` as measured, ``abnormal`` against the limits.

    ``start`` is 'cold', 'warm' or 'unknown' by ``off_before_s``, the seconds seen off before it (None: not seen).
    """

    run: Annotated[int, Doc("Number of the run, from 0.", ge=0)]
    surge_V: Annotated[float, Doc("Largest reading of the surge, volts as measured.", open=True)]
    settle_s: Annotated[float, Doc("Seconds from power-up until settled.", ge=0, open=True)]
    settled_V: Annotated[float, Doc("Level after settling, volts.", null=True)]
    abnormal: Annotated[bool, Doc("Whether surge or settling is beyond its limit.")]
    start: Annotated[
        str, Doc("Kind of start, by the time seen off before it.", values=("cold", "warm", "limited mains", "unknown"))
    ] = "unknown"
    off_before_s: Annotated[float | None, Doc("Seconds seen off before it, null where none were seen.")] = None


def power_ups(record: ChannelRecord, limits: Limits) -> tuple[PowerUp, ...]:
    """Every power-up that the log shows."""
    out = []
    for number, trace in zip(record.numbers, record.traces, strict=True):
        start = trace.start
        if start is None:
            continue
        abnormal = abs(start.surge_V) > limits.surge_V or start.settle_s > limits.settle_s
        out.append(
            PowerUp(
                run=number, surge_V=start.surge_V, settle_s=start.settle_s, settled_V=start.level_V, abnormal=abnormal,
                start=trace.start_kind, off_before_s=trace.off_before_s,
            )
        )  # fmt: skip
    return tuple(out)


@question(
    "power-up",
    asks="Is the start abnormal?",
    place=100,
    meaning="Was the surge, or the time it took to settle, beyond its limit?",
    chart="power_ups",
)
def power_up(
    found: tuple[PowerUp, ...], limits: Limits, guard: Guard | None = None, *, side_told: bool = False
) -> Finding:
    """Is a power-up beyond its limits? What the guard takes for an open lead in the first seconds is no surge, and none is called normal."""
    method = "surge and settling fitted by falling exponentials"
    left_out = forgiven(found, limits, guard, side_told=side_told)
    if not found:
        nothing = "The log begins in mid-operation: no power-up to judge."
        return Finding("power-up", NOT_SHOWN, method, f"{nothing} {left_out}".rstrip())
    bad = [item for item in found if item.abnormal and not _open_lead(item, limits, guard)]
    judged = bad or [item for item in found if not item.abnormal]
    worst = max(judged, key=lambda item: abs(item.surge_V), default=None)
    largest = (
        f"the largest surge {millivolts_text(worst.surge_V)}, gone in {seconds_text(worst.settle_s)}" if worst else ""
    )
    if bad:
        bounds = f"{millivolts_text(limits.surge_V)}, {seconds_text(limits.settle_s)}"
        text = f"{len(bad)} of {len(found)} power-ups beyond the limits ({bounds}); {largest}. {left_out}".rstrip()
    elif worst is None:
        text = left_out
    else:
        number = f"{len(judged)} power-up{'s' if len(judged) > 1 else ''}"
        peak = guard is not None and Reason.PEAK in guard.reasons  # more than the surges fitted here
        ending = f". {left_out}" if left_out else "." if peak else ": normal."
        text = f"{number} within the limits; {largest}{ending}"
    return Finding(
        "power-up",
        YES if bad else NOT_SHOWN if left_out else NO,
        method,
        text,
        effect=worst.surge_V if worst else None,
        unit="V",
        limit=limits.surge_V,
        holds=bool(bad),
    )


def _open_lead(item: PowerUp, limits: Limits, guard: Guard | None) -> bool:
    if guard is None or item.settle_s > limits.settle_s or Reason.PEAK in guard.reasons or guard.figures.alike_starts:
        return False
    return abs(item.surge_V) <= guard.figures.open_peak_V + 1e-9


def forgiven(found: Sequence[PowerUp], limits: Limits, guard: Guard | None, *, side_told: bool) -> str:
    """What the guard took for an open lead though it is beyond the limit of a surge, in volts; empty where it took nothing so.

    ``side_told`` says that the user told where the leads sit.
    """
    if guard is None or Reason.PEAK in guard.reasons or guard.figures.open_peak_V <= limits.surge_V:
        return ""
    ask = "" if side_told else ": say where the leads sit ('measured_at' in the case file)"
    volts, first = volts_text(guard.figures.open_peak_V), f"the first {GRACE_S:g} s of"
    if guard.figures.alike_starts:
        return f"Up to {volts} in {first} {guard.figures.alike_starts} starts, alike as no open lead is{ask}."
    starts = sum(item.abnormal and _open_lead(item, limits, guard) for item in found)
    return f"Up to {volts} in {first} {f'{starts} starts' if starts > 1 else 'a start'} was taken for an open lead, and not judged{ask}."


def settled_level(record: ChannelRecord) -> float | None:
    """Settled level over all runs, weighted by observed time; None where nothing was observed."""
    levels = [(t.level_V, t.observed_s) for t in record.traces if t.level_V is not None and t.observed_s > 0]
    if not levels:
        return None
    value = np.array([v for v, _ in levels], dtype=np.float64)
    weight = np.array([w for _, w in levels])
    return float(np.sum(value * weight) / np.sum(weight))


@question(
    "settled offset",
    asks="Does it rest too far from zero?",
    place=60,
    meaning="Does the channel rest too far from zero?",
    chart="settled",
)
def settled_offset(
    record: ChannelRecord, limits: Limits, stands_V: float | None = None, guard: Guard | None = None
) -> Finding:
    """Does the channel settle too far from zero? The level's interval must lie beyond the limit.

    'No' asks that five minutes of raw readings never rested beyond it either (clearance, section 2).

    ``stands_V`` is where the channel stands at the end of its log, beyond the protection's threshold: then nothing else counts.
    """
    method = "middle of the settled level, its spread over time, and the last digit"
    if stands_V is not None:
        return Finding(
            "settled offset",
            YES,
            "level at which the log ends",
            f"The log ends at {volts_text(abs(stands_V))}.",
            effect=stands_V,
            unit="V",
            limit=limits.settled_offset_V,
            holds=True,
        )
    level = settled_level(record)
    if level is None:
        return Finding(
            "settled offset",
            NOT_SHOWN,
            method,
            "Nothing was observed at rest.",
            unit="V",
            limit=limits.settled_offset_V,
        )
    # The spread of the level itself is what matters here: is it beyond the limit most of the time?
    ends = np.concatenate(
        [np.quantile(trace.baseline.knot_V, (0.25, 0.75)) for trace in record.traces if trace.baseline is not None]
    )
    slack = max(trace.resolution_V for trace in record.traces)
    low, high = float(ends.min()) - slack, float(ends.max()) + slack
    nearest = 0.0 if low < 0 < high else min(abs(low), abs(high))
    farthest = max(abs(low), abs(high))
    rested = guard is not None and Reason.REST in guard.reasons
    yes, no = nearest > limits.settled_offset_V, farthest <= limits.settled_offset_V and not rested
    text = f"The channel rests at {millivolts_text(level)} ({'beyond' if yes else 'within' if no else 'about at'} the limit of {millivolts_text(limits.settled_offset_V)})."
    if guard is not None and rested and not yes:
        text = f"The channel rests at {millivolts_text(guard.figures.last_V)} now; it rested at up to {millivolts_text(guard.figures.largest_V)}, and the limit is {millivolts_text(limits.settled_offset_V)}."
    return Finding(
        "settled offset",
        YES if yes else NO if no else NOT_SHOWN,
        method,
        text,
        effect=level,
        low=low,
        high=high,
        unit="V",
        limit=limits.settled_offset_V,
        holds=yes,
    )


def noise_stretches(record: ChannelRecord) -> tuple[Floats, Floats, float] | None:
    """Readings at rest less their level, the robust sigma of each of twelve stretches, and the least sigma that a digit lets tell.

    None with too few readings.
    """
    residual = np.concatenate([np.empty(0), *(local_residual(trace, NOISE_WINDOW_S) for trace in record.traces)])
    if residual.size < 8 * NOISE_BLOCKS:
        return None
    # Below two last digits the readings, not the noise, decide: a sigma there is the digit's own.
    floor = max(max(trace.resolution_V for trace in record.traces) / 5.0, 1e-12)
    parts = [noise_sigma(part, resolution=0.0) for part in np.array_split(residual, NOISE_BLOCKS)]
    return residual, np.maximum(parts, floor), floor


@question(
    "noise",
    asks="Is it restless while at rest?",
    place=90,
    meaning="Is the noise at rest above 3 mV?",
)
def noise(record: ChannelRecord, limits: Limits) -> Finding:
    """Is the noise floor above its limit? t interval of the logarithm of sigma over stretches (batch means)."""
    from scipy.special import stdtr, stdtrit

    method = f"robust sigma within a minute, {NOISE_BLOCKS} stretches compared"
    found = noise_stretches(record)
    if found is None:
        return Finding(
            "noise", NOT_SHOWN, method, "Too few readings to judge the noise.", unit="V", limit=limits.noise_V
        )
    residual, parts, floor = found
    step = max(trace.resolution_V for trace in record.traces)
    sigma = max(noise_sigma(residual, resolution=0.0), floor)
    if step > 0.0:
        sigma = float(np.sqrt(max(sigma**2 - step**2 / 12.0, floor**2)))
        parts = np.sqrt(np.maximum(parts**2 - step**2 / 12.0, floor**2))
    error = float(np.log(parts).std(ddof=1)) / np.sqrt(NOISE_BLOCKS)
    error = max(error, 1.0 / np.sqrt(2.0 * residual.size))
    centre = float(np.log(parts).mean())
    half = float(stdtrit(NOISE_BLOCKS - 1, 0.5 + limits.confidence / 2.0)) * error
    t = (centre - np.log(limits.noise_V)) / error
    p_value = float(stdtr(NOISE_BLOCKS - 1, -t))
    low, high = sigma * float(np.exp(-half)), sigma * float(np.exp(half))
    holds = sigma > limits.noise_V and sigma > floor  # at the floor it is the digit's, which may hide noise but is none
    text = f"The noise at rest is {millivolts_text(sigma)} (robust sigma), {'above' if holds else 'within'} the limit of {millivolts_text(limits.noise_V)}."
    return Finding(
        "noise",
        NO if high <= limits.noise_V else NOT_SHOWN,
        method,
        text,
        statistic=float(t),
        p_value=p_value,
        sided="one",
        effect=sigma,
        low=low,
        high=high,
        unit="V",
        limit=limits.noise_V,
        holds=holds,
    )


@question(
    "protection",
    asks="Would a protection relay have tripped?",
    place=110,
    chart="thresholds",
)
def protection(trips: int, peak_V: float | None, seconds: float, limits: Limits) -> Finding:
    """Would the protection have acted? Counted, not estimated."""
    method = f"relay at {limits.protection_V:g} V after {limits.trip_delay_s:g} s: assumed, not measured on this unit"
    if trips == 0:
        return Finding(
            "protection",
            NO,
            method,
            "No stretch that would trip the protection was seen.",
            effect=0.0,
            unit="trips",
            limit=1.0,
        )
    peak = f"{digits_text(abs(peak_V), 3)} V" if peak_V is not None else "beyond the meter's range"
    return Finding(
        "protection",
        YES,
        method,
        f"The protection would have tripped {times_text(trips)}; up to {peak}, {seconds_text(seconds)} above the threshold.",
        effect=float(trips),
        unit="trips",
        limit=1.0,
        holds=True,
    )
