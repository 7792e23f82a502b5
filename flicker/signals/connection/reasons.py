"""Why a stretch does not count as observed, in words: the one place where sentences are made of the reasons.

Leaving time out is a claim against the user, so it is told with its reason, its times and what to do: once for each channel
and reason, however many evenings it came in.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from enum import StrEnum
from typing import NamedTuple

from flicker.base.formats import clock_text, count_text, hours_text, times_text
from flicker.base.values import Unobserved

# What it looks like, and what to do.
_ADVICE = {
    Unobserved.SWITCHED_OFF: ("unit switched off", "nothing to do if that was meant"),
    Unobserved.DISCONNECTED: (
        "output relay open, or the lead off",
        "find what opened the relay, or clip the lead on again",
    ),
    Unobserved.OPEN_LEAD: ("lead open", "clip it on again; if it was on, the output itself became restless"),
    Unobserved.REPEATED: ("one reading repeated", "check that the meter was awake and the logger running"),
    Unobserved.STILL: ("no signs of life", "check leads, clips and the meter's range"),
}



class Surety(StrEnum):
    """How sure it is that a stretch showed no live output; a doubt is kept as observed."""

    SURE = ""
    LIKELY = "most likely "
    DOUBT = "perhaps "


class Told(NamedTuple):
    """Stretches of one run for one reason: ``spans_s`` in seconds of the run, which begins at ``start`` where the log tells."""

    reason: Unobserved
    surety: Surety
    spans_s: tuple[tuple[float, float], ...]
    start: datetime | None


def sentences(channel: str, told: Iterable[Told]) -> list[str]:
    """What the stretches of a channel were, over all its runs, in time order."""
    groups: dict[tuple[Unobserved, Surety], list[Told]] = {}
    for row in told:
        groups.setdefault((row.reason, row.surety), []).append(row)
    return [_sentence(channel, reason, surety, rows) for (reason, surety), rows in groups.items()]


def _sentence(channel: str, reason: Unobserved, surety: Surety, rows: Sequence[Told]) -> str:
    what, advice = _ADVICE[reason]
    said = f"{channel}: {surety}{what} {_when(rows)}"
    if surety != Surety.DOUBT:
        return f"{said}: {advice}; that time does not count."
    return (
        f"{said}. This is not sure, so the time is searched like any other, but clears nothing; if it was so, mark it as touched."
    )


def _when(rows: Sequence[Told]) -> str:
    first, last = rows[0], rows[-1]
    begin, end = first.spans_s[0]
    said = f"from {_moment(begin, first.start)} to {_moment(end, first.start)}"
    spans_s = [span for row in rows for span in row.spans_s]
    if len(spans_s) == 1:
        return said
    if len(rows) > 1:  # a time of day alone does not say of which evening
        said = f"in {count_text(len(rows), 'run')}, first {_day(first)}{said}"
    again = times_text(len(spans_s) - 1)
    until = f", last {_day(last)}".rstrip() if len(rows) > 1 and last.start is not None else ""
    return f"{said} and {again} more{until}, {hours_text(sum(b - a for a, b in spans_s) / 3600.0)} in all"


def _day(row: Told) -> str:
    return "" if row.start is None else f"on {row.start:%Y-%m-%d} "


def _moment(seconds: float, start: datetime | None) -> str:
    return clock_text(seconds) if start is None else (start + timedelta(seconds=seconds)).strftime("%H:%M")
