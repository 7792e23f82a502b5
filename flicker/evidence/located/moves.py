"""Where and when did the level lie elsewhere? A description, for channels whose movement was shown before.

It asks nothing and tests nothing: the question is `drift`, the guard's reason is 'move'.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, TypedDict

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.formats import clock_text, millivolts_text, moved_text
from flicker.base.limits import Limits
from flicker.base.result import Doc
from flicker.evidence.guard.model import WARM_S
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.logs.model import Run
from flicker.logs.spans import holds

if TYPE_CHECKING:
    from flicker.stats.levels.segments import LevelSegment

SHORTEST_S = 600.0  # a stretch holds two five-minute levels at least: common practice
TOLD = 4  # a page tells the largest so many: a choice
MONTHS = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
]


class MoveShape(StrEnum):
    """What a row describes."""

    AWAY = "away"
    LINE = "line"


class MoveRow(TypedDict):
    """A stretch at another level than the usual one, or a movement that is as even as a line."""

    run: Annotated[int, Doc("Number of the run in which it begins, from 0.", ge=0)]
    from_s: Annotated[float, Doc("Begin, seconds since that run's first sample.")]
    from_low_s: Annotated[float, Doc("Earliest begin that the readings allow, on the same clock.")]
    from_high_s: Annotated[float, Doc("Latest begin.")]
    to_run: Annotated[int, Doc("Number of the run in which it ends.", ge=0)]
    to_s: Annotated[float, Doc("End, seconds since that run's first sample.")]
    to_low_s: Annotated[float, Doc("Earliest end, on the same clock.")]
    to_high_s: Annotated[float, Doc("Latest end.")]
    step_V: Annotated[float, Doc("Level less the usual level, volts; of a line, end less begin.")]
    step_low_V: Annotated[float, Doc("Lower end of its interval, volts.")]
    step_high_V: Annotated[float, Doc("Upper end, volts.")]
    shape: Annotated[MoveShape, Doc("'away': a stretch at another level; 'line': an even movement.")]
    reads: Annotated[str, Doc("In words, in the log's own clock where it tells one.")]


def moves_of(record: ChannelRecord, limits: Limits) -> tuple[MoveRow, ...]:
    """Describe where the level of a channel lay and from when to when.

    Medians over a cell that grows with the record, so a month at a reading every ten minutes is told in hours and an
    evening in minutes. What lies before a mark that something was adjusted is left out: another setting.
    """
    from flicker.stats.changepoints import level_segments

    time, level, begins = _joined(record)
    if level.size < 6:
        return ()
    found = level_segments(level, time, smallest_step=limits.drift_V, shortest=SHORTEST_S, breaks=begins[1:].tolist())
    if not found.segments:
        return ()
    first, last = found.segments[0], found.segments[-1]
    if found.line is not None and found.line_half is not None:
        step = (found.line, found.line - found.line_half, found.line + found.line_half)
        return (_row(record, begins, (first, last), step, MoveShape.LINE, (False, False)),)
    return tuple(
        _row(
            record,
            begins,
            (item, item),
            (item.step, item.step_low, item.step_high),
            MoveShape.AWAY,
            (item is first, item is last),
        )
        for item in found.away
    )


def moves_text(rows: Sequence[MoveRow]) -> str:
    """One sentence of all rows, largest first chosen, in time order."""
    if not rows:
        return ""
    chosen = sorted(rows, key=lambda row: -abs(row["step_V"]))[:TOLD]
    said = "; ".join(row["reads"] for row in rows if any(row is item for item in chosen))
    more = len(rows) - len(chosen)
    return f"{said}{f'; and {more} more, smaller' if more else ''}. This only describes what was seen."


def _joined(record: ChannelRecord) -> tuple[Floats, Floats, Floats]:
    """Observed cells of all runs on one clock, in seconds since the first run's first sample, and where each run begins."""
    times: list[Floats] = []
    levels: list[Floats] = []
    begins: list[float] = []
    clock, origin = 0.0, None
    for run, trace in zip(record.runs, record.traces, strict=True):
        if run.start is not None and origin is not None and (run.start.tzinfo is None) == (origin.tzinfo is None):
            clock = max(clock, (run.start - origin).total_seconds())
        elif run.start is not None and origin is None:
            origin = run.start - dt.timedelta(seconds=clock)
        begins.append(clock)
        base = trace.baseline
        if trace.hands.breaks_s:
            times, levels = [], []
        if base is not None:
            keep = holds(trace.observed, base.cell_s)  # long swings too: the level lay there
            keep &= base.cell_s >= max(trace.hands.breaks_s, default=-np.inf)
            late = keep & (base.cell_s >= WARM_S)
            if trace.power_up_seen and np.count_nonzero(late) > 0.5 * np.count_nonzero(keep):
                keep = late
            times.append(base.cell_s[keep] + clock)
            levels.append(base.cell_V[keep])
        clock += run.duration_s + run.sample_interval_s
    if not times:
        return np.empty(0), np.empty(0), np.array(begins)
    return np.concatenate(times), np.concatenate(levels), np.array(begins)


def _row(
    record: ChannelRecord,
    begins: Floats,
    ends: tuple[LevelSegment, LevelSegment],
    step: tuple[float, float, float],
    shape: MoveShape,
    open_: tuple[bool, bool],
) -> MoveRow:
    """Describe what begins as the first of two stretches does, and ends as the second."""
    opened, closed = ends
    first = int(np.searchsorted(begins, opened.begin, "right")) - 1
    last = max(int(np.searchsorted(begins, closed.end, "left")) - 1, first)
    start, stop = (float(begins[k]) for k in (first, last))
    row = MoveRow(
        run=record.numbers[first],
        from_s=opened.begin - start,
        from_low_s=opened.begin_low - start,
        from_high_s=opened.begin_high - start,
        to_run=record.numbers[last],
        to_s=closed.end - stop,
        to_low_s=closed.end_low - stop,
        to_high_s=closed.end_high - stop,
        step_V=step[0],
        step_low_V=step[1],
        step_high_V=step[2],
        shape=shape,
        reads="",
    )
    row["reads"] = _reads(row, record.runs[first], record.runs[last], len(record.runs) > 1, open_)
    return row


def _reads(row: MoveRow, first: Run, last: Run, several: bool, open_: tuple[bool, bool]) -> str:
    away = row["shape"] == MoveShape.AWAY
    begin = moment_text(first, row["from_s"], row["run"], several)
    end = moment_text(last, row["to_s"], row["to_run"], several)
    days = [
        (run.start + dt.timedelta(seconds=at)).date()
        for run, at in ((first, row["from_s"]), (last, row["to_s"]))
        if run.start is not None
    ]
    if len(days) == 2 and days[0] == days[1]:
        end = end.rpartition(" ")[2]
    when = f"from {begin} on" if away and open_[1] else f"until {end}" if away and open_[0] else f"from {begin} to {end}"
    low, high = sorted((abs(row["step_low_V"]), abs(row["step_high_V"])))
    ends = [millivolts_text(value) for value in (0.0 if row["step_low_V"] < 0.0 < row["step_high_V"] else low, high)]
    between = ends[0] if ends[0] == ends[1] else f"between {ends[0]} and {ends[1]}"
    how = f"{between} {'below' if row['step_V'] < 0 else 'above'} the rest" if away else f"evenly, {between} in all"
    return f"{moved_text(row['step_V'])} {when}, {how}"


def moment_text(run: Run, since_s: float, number: int, several: bool) -> str:
    """A moment in the log's own clock, to the minute; else counted from the start of the run."""
    if run.start is None:
        return clock_text(max(since_s, 0.0)) + (f" of run {number + 1}" if several else "")
    at = run.start + dt.timedelta(seconds=since_s + 30.0)
    return f"{at.day} {MONTHS[at.month - 1]} {at:%H:%M}"
