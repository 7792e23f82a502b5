"""May two sides be compared at all? Conditions and meters that the case tells, of the logs on either side."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from flicker.case.model import Case, Meter
from flicker.evidence.record.channel_record import ChannelRecord

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
