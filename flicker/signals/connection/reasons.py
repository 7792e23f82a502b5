"""Why a stretch does not count as observed, in words: the one place where sentences are made of the reasons.

Leaving time out is a claim against the user, so each stretch is told with its reason, its times and what to do.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from flicker.base.formats import clock_text, hours_text
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


def left_out(
    channel: str, reason: Unobserved, spans_s: list[tuple[float, float]], start: datetime | None, *, sure: bool = True
) -> str:
    """Sentence about stretches that do not count, in seconds of the run; ``sure`` where nothing else can explain them."""
    what, advice = _ADVICE[reason]
    return f"{channel}: {'' if sure else 'most likely '}{what} {_when(spans_s, start)}: {advice}; that time does not count."


def doubted(channel: str, reason: Unobserved, spans_s: list[tuple[float, float]], start: datetime | None) -> str:
    """Sentence about stretches that may be no live output, and are kept because that is not sure."""
    what, _ = _ADVICE[reason]
    return (
        f"{channel}: perhaps {what} {_when(spans_s, start)}. This is not sure, so the time is searched like any other, but "
        "clears nothing; if it was so, mark it as touched."
    )


def _when(spans_s: list[tuple[float, float]], start: datetime | None) -> str:
    begin, end = spans_s[0]
    first = f"from {_moment(begin, start)} to {_moment(end, start)}"
    if len(spans_s) == 1:
        return first
    return f"{first} and {len(spans_s) - 1} times more, {hours_text(sum(b - a for a, b in spans_s) / 3600.0)} in all"


def _moment(seconds: float, start: datetime | None) -> str:
    return clock_text(seconds) if start is None else (start + timedelta(seconds=seconds)).strftime("%H:%M")
