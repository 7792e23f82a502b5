"""May two sides be compared at all? Conditions and meters that the case tells, those that the logs show themselves (the meter's
gain, a temperature beside), the hours of the clock, and how the logs begin.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from flicker.base.formats import digits_text
from flicker.base.units import HOUR
from flicker.case.model import Case, Meter
from flicker.evidence.questions.warmth import Series
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.evidence.record.gain import gain_between

# What must be alike, with other names that a case may use for it.
CONDITIONS: dict[str, tuple[str, ...]] = {
    "load": ("load",),
    "source": ("source", "signal", "input"),
    "lid": ("lid", "cover"),
    "side": ("side", "measured_at"),
    "meter": ("meter",),
    "interval": ("interval", "sample_interval"),
    "integration": ("integration", "integration_time"),
    "range": ("range",),
    "resolution": ("resolution",),
}
SWAPPED = "not comparable: it rests where another channel rested, and that one where it did"
# Faults of warmth come and go within some degrees: sides are unlike where their middles lie so far apart and the readings
# between these quantiles do not meet. Common practice, no source; what it holds back and what it leaves: tests/studies/results/alike.md.
OTHER_WARMTH_K, WARMTH_SPREAD = 5.0, (0.05, 0.95)
SAMPLING = (
    ("integration_s", "an integration of {:g} s"),
    ("range_V", "a range of {:g} V"),
    ("resolution_V", "a last digit of {:g} V"),
)


def sources_of(records: Iterable[ChannelRecord]) -> tuple[str, ...]:
    """Names of the logs that records come from."""
    return tuple(dict.fromkeys(run.source for record in records for run in record.runs))


def unlike(case: Case | None, names: tuple[str, str], logs: tuple[Sequence[str], Sequence[str]]) -> tuple[str, ...]:
    """Say where two sides were logged under different conditions.

    Parameters
    ----------
    case : Case or None
        What is known of the logs; nothing without.
    names : (str, str)
        Names of the two sides.
    logs : (sequence of str, sequence of str)
        Names of the log files of each side.

    Returns
    -------
    tuple of str
        One sentence a condition, each beginning with 'not comparable: '. A condition that one side does not tell is
        no reason.
    """
    if case is None:
        return ()
    out = []
    for key, words in CONDITIONS.items():
        one, two = (_told(case, side, words) for side in logs)
        if one and two and one.keys() != two.keys():
            said = (_said(one), _said(two))
            out.append(f"not comparable: {names[0]} was logged with {key} {said[0]}, {names[1]} with {key} {said[1]}")
    return (*out, *_meters(case, names, logs))


def _meters(case: Case, names: tuple[str, str], logs: tuple[Sequence[str], Sequence[str]]) -> list[str]:
    """Say where the logs name different meters, and in what these differ."""
    one, two = ({log.meter for log in map(case.log_named, side) if log is not None} for side in logs)
    if not one or not two or one == two:
        return []
    said = [" or ".join(sorted(name or case.meter.name or "the usual one" for name in side)) for side in (one, two)]
    out = [f"not comparable: {names[0]} was logged with the meter {said[0]}, {names[1]} with {said[1]}"]
    return out + _sampling(names, [[case.meter_of(log) for log in side] for side in logs])


def unlike_in_logs(
    names: tuple[str, str],
    pairs: Sequence[tuple[ChannelRecord, ChannelRecord]],
    temperatures: tuple[Sequence[Series], Sequence[Series]],
) -> list[str]:
    """Say what else changed from one side to the other, by the logs themselves: the gain of all channels, a temperature."""
    out = []
    gain = gain_between(pairs)
    if gain is not None:
        out.append(
            f"not comparable: rests and noise of every channel are {digits_text(gain)} times as large {names[1]} as {names[0]}; look at "
            "the gain of the logger, a probe at ten to one, the unit"
        )
    one, two = map(_warmth, temperatures)
    for name in (name for name in one if name in two):
        low, high = sorted((one[name], two[name]))
        if high[0] - low[0] >= OTHER_WARMTH_K and high[1] > low[2]:
            said = [f"{digits_text(side[name][0])} degrees" for side in (one, two)]
            out.append(
                f"not comparable: {name} was at {said[0]} {names[0]} and at {said[1]} {names[1]}, and warmth by itself makes a fault "
                "come and go; log again at the temperature of before"
            )
    return out


def _warmth(temperatures: Sequence[Series]) -> dict[str, list[float]]:
    """Middle of each temperature, and the quantiles between which it spread."""
    names = dict.fromkeys(series.name for series in temperatures)
    values = {name: np.concatenate([series.value for series in temperatures if series.name == name]) for name in names}
    return {name: np.quantile(seen, (0.5, *WARMTH_SPREAD)).tolist() for name, seen in values.items()}


def _told(case: Case, logs: Sequence[str], words: tuple[str, ...]) -> dict[str, str]:
    """Values of a condition over the logs of a side: as compared, and as written."""
    return {
        " ".join(value.lower().split()): value
        for log in map(case.log_named, logs)
        if log is not None
        for name, value in log.conditions
        if name.lower() in words
    }


def _said(values: dict[str, str]) -> str:
    return " or ".join(values[key] for key in sorted(values))


def _sampling(names: tuple[str, str], meters: Sequence[Sequence[Meter]]) -> list[str]:
    out = []
    for key, words in SAMPLING:
        one, two = ({getattr(meter, key) for meter in side} - {None} for side in meters)
        if one and two and one != two:
            said = [" or ".join(words.format(value) for value in sorted(side)) for side in (one, two)]
            out.append(f"not comparable: {names[0]} was read with {said[0]}, {names[1]} with {said[1]}")
    return out


def starts_told(case: Case | None) -> dict[str, str]:
    """Kind of start (cold or warm) of each log whose conditions tell it."""
    if case is None:
        return {}
    return {Path(log.file).name: log.start for log in case.logs if log.start is not None}


def unlike_hours(
    names: tuple[str, str], records: tuple[Sequence[ChannelRecord], Sequence[ChannelRecord]], rated: bool
) -> list[str]:
    """Say where the sides were logged at other hours of the day, or do not show how they begin.

    Parameters
    ----------
    names : (str, str)
        Names of the two sides.
    records : (sequence of ChannelRecord, sequence of ChannelRecord)
        Their channels.
    rated : bool
        Whether a change of the rate is claimed, which both could feign.
    """
    blind = [
        name
        for name, side in zip(names, records, strict=True)
        if not any(trace.power_up_seen for record in side for trace in record.traces)
    ]
    out = [f"No power-up was seen {name}: the log there begins in mid-operation." for name in blind]
    if blind and rated:
        out.append(
            "A fault of the first minutes, or one that comes with the heat, could look like this change: log both sides from "
            "switch-on, after an equal pause."
        )
    clocks = [_day_hours(side) for side in records]
    if rated and all(clock.any() for clock in clocks) and not (clocks[0] & clocks[1]).any():
        said = [f"{name} between {_clock_text(clock)}" for name, clock in zip(names, clocks, strict=True)]
        out.append(
            f"Logged {said[0]}, {said[1]}: a fault that keeps to certain hours (mains, room, use) could look like this "
            "change. Log again at the hours of before."
        )
    return out


def _day_hours(records: Sequence[ChannelRecord]) -> NDArray[np.bool_]:
    """Hours of the day in which something was logged, shape (24,); empty where a run has no clock."""
    out = np.zeros(24, dtype=bool)
    for run in records[0].runs if records else ():
        if run.start is None:
            return np.zeros(24, dtype=bool)
        begin = run.start.hour + run.start.minute / 60.0
        out[np.arange(int(begin), min(int(begin + run.duration_s / HOUR), int(begin) + 23) + 1) % 24] = True
    return out


def _clock_text(hours: NDArray[np.bool_]) -> str:
    """The hours from the end of the longest pause on, as '18 and 23 o'clock'."""
    at = np.flatnonzero(hours)
    pauses = np.diff(at, append=at[0] + 24)
    last = int(np.argmax(pauses))
    return f"{at[(last + 1) % at.size]} and {(at[last] + 1) % 24 or 24} o'clock"
