"""Which columns tell the time? Told by the file or by the caller; where neither does, it is asked."""

from __future__ import annotations

import numpy as np

from flicker.base.arrays import Floats
from flicker.logs import arrow_types
from flicker.logs.errors import Question
from flicker.logs.reading.planning.columns import Column, Kind, Task, TimeColumns, column_named, listed
from flicker.logs.reading.planning.heading import ASK_INTERVAL
from flicker.logs.reading.planning.sampled import kind_of
from flicker.logs.reading.planning.time_scale import epoch, scale_of, stamps_of, usual_step
from flicker.logs.reading.words import clock, vocabulary

ASK_COLUMN = "or name the time column with time_column (--time-column NAME)"


def find_time(task: Task, run: int | None) -> TimeColumns:
    """Decide how time is told; ``run`` is the position of a column that numbers the runs.

    Raises
    ------
    LogError
        If neither the file nor the caller tells it.
    """
    columns, wishes, name = task.columns, task.wishes, task.name
    for column in columns:
        _compact(column)
    _compact_pair(columns)
    stamps = [c for c in columns if c.form is not None and c.position != run]
    if wishes.time_column is None and wishes.sample_interval_s is None and (parts := _parts(columns)):
        forms = tuple(clock.Form(name) for name in parts)
        for column, form in zip(parts.values(), forms, strict=True):
            column.kind, column.form = "stamp", form
        return TimeColumns("stamp", tuple(c.position for c in parts.values()), forms, means="dates and times of day, in parts")
    if wishes.time_column is not None:
        column = column_named(columns, wishes.time_column, name, "time_column")
        if wishes.sample_interval_s is None:
            return stamps_of(task, column, stamps) if column.form is not None else scale_of(task, column)
    if wishes.sample_interval_s is not None:
        return _counted(task, run, wishes.sample_interval_s)
    for column in stamps:
        if column.form is not None and column.form.has_clock:
            return stamps_of(task, column, stamps)
    numbers = [c for c in columns if c.kind == "number" and c.position != run and c.label.kind != "volts"]
    timely = [c for c in numbers if _timely(c) and c.label.kind != "other"]
    rising = [c for c in timely if _rising(c.values)] or timely
    likely = [c for c in rising if c.label.kind == "time" or c.time_cells] or [c for c in rising if not _counts(c)]
    if likely:
        return scale_of(task, likely[0])
    counter = next(iter(rising), None)
    if stamps and counter is None:
        raise Question(
            f'{name}: column "{stamps[0].header}" holds dates without a time of day and no other column tells the'
            f" time; {ASK_INTERVAL}.",
            sample_interval_s=1.0,
        )
    several = sum(c.kind == "number" for c in columns) > 1
    unnamed = [c for c in numbers if ((c.unnamed or c.position == 0) and _rising(c.values)) or _even(c)]
    first = next(iter(unnamed), None) if several else None
    if task.interval_s is not None:
        if first is not None and first.unnamed:
            return scale_of(task, first)
        return _by_heading(task, counter, run, task.interval_s)
    if counter is not None:
        return scale_of(task, counter)
    if first is not None and not wishes.plain_volts:
        if _counts(first) and wishes.time_unit is None:
            raise Question(
                f'{name}: column "{first.header}" counts samples and no column tells the time; {ASK_INTERVAL}.',
                sample_interval_s=1.0,
            )
        return scale_of(task, first)
    raise Question(
        f"{name}: no column tells the time (columns: {listed([c.header for c in columns[:8]])}); {ASK_INTERVAL},"
        f" {ASK_COLUMN}.",
        sample_interval_s=1.0,
    )


def check_other_clocks(task: Task, time: TimeColumns) -> None:
    """Ask where another column tells the time as well, and goes at a pace of its own: where two meters were joined.

    Raises
    ------
    Question
        With both names, and the role that leaves the other one out.
    """
    if time.kind == "none" or task.wishes.time_column is not None:
        return
    first = next(c for c in task.columns if c.position == time.positions[-1])
    told = {wanted for wanted, _ in task.wishes.roles}
    for column in task.columns:
        if column.position in time.positions or column.header.strip() in told:
            continue
        if time.kind == "stamp":
            alike = column.form == first.form
        else:
            alike = column.kind == "number" and _timely(column) and column.label.unit == first.label.unit
        if not alike:
            continue
        own, other = _moments(first), _moments(column)
        both = np.isfinite(own) & np.isfinite(other)
        own, other = own[both], other[both]
        if not _rising(other):
            continue
        apart = other - own
        if np.abs(apart - np.median(apart)).max() <= 2 * max(usual_step(own), usual_step(other)):
            continue
        raise Question(
            f'{task.name}: columns "{first.header}" and "{column.header}" both tell the time and go at a pace of their own, as'
            " where two meters were joined; write one log for each, or leave the second time out with roles"
            f' (--role "{column.header}=ignore").',
            roles={column.header: "ignore"},
        )


def _moments(column: Column) -> Floats:
    """Sample times of a column, in units of its own."""
    if column.form is None:
        return column.values
    micros, good = clock.parse(arrow_types.words([cell.strip() for cell in column.cells]), column.form)
    return np.where(good, micros, np.nan)


def _counted(task: Task, run: int | None, interval: float) -> TimeColumns:
    """Time counted at the interval that the caller tells; columns that tell a time are then not used."""
    named = task.wishes.time_column
    at = None if named is None else column_named(task.columns, named, task.name, "time_column").position
    ignored = [
        c
        for c in task.columns
        if c.position != run
        and (
            c.position == at
            or c.form is not None
            or (c.kind == "number" and c.label.kind != "volts" and (_timely(c) or _row_number(c) or _even(c)))
        )
    ]
    text = f"Time is counted at {interval:g} s a sample as told"
    if ignored:
        text += f"; {listed([c.header for c in ignored])} not used"
    task.notes.append(text + ".")
    return TimeColumns("none", tuple(c.position for c in ignored), factor=interval, means="counted, as told")


def _by_heading(task: Task, counter: Column | None, run: int | None, interval: float) -> TimeColumns:
    """Count time at the interval that the heading tells; a column that counts samples gives the place."""
    task.notes.append(f"Time is counted at {interval:g} s a sample, as the file's heading says.")
    means = f"counted at {interval:g} s a sample, from the heading"
    likely = counter or next(
        (
            c
            for c in task.columns
            if c.position != run and c.kind == "number" and c.label.kind != "volts" and _row_number(c)
        ),
        None,
    )
    if likely is not None and likely.counts_rows:
        return TimeColumns("number", (likely.position,), factor=interval, means=means, counted=True)
    if likely is not None and counter is not None:
        return scale_of(task, likely)
    return TimeColumns("none", factor=interval, means=means, counted=True)


def _compact(column: Column) -> None:
    """Turn numbers such as 20260304101500 into stamps."""
    known = column.known
    if column.kind == "number" and column.cells and known.size and float(known.min()) > 1.9e13:
        form = clock.form_of(list(column.cells[:200]))
        if form is not None and form.name == "compact compact":
            column.kind, column.form = "stamp", form


def _compact_pair(columns: list[Column]) -> None:
    """Turn two columns of numbers such as 20260304 and 101500 into stamps: neither alone is one."""
    numbers = [c for c in columns if c.kind == "number" and c.words & vocabulary.TIME]
    dates = [c for c in numbers if _written(c, "compact")]
    clocks = [c for c in numbers if c not in dates and _written(c, "hhmmss clock")]
    if len(dates) == len(clocks) == 1:
        for column, name in ((dates[0], "compact"), (clocks[0], "hhmmss clock")):
            column.kind, column.form = "stamp", clock.Form(name)


def _parts(columns: list[Column]) -> dict[str, Column]:
    """Columns that hold the parts of a moment, by what they hold, largest first; empty where one is missing."""
    called = {name: part for part, names in vocabulary.PARTS.items() for name in names}
    named = {vocabulary.plain(c.header.strip().lower()): c for c in columns if c.kind == "number"}
    found = {called[name]: column for name, column in named.items() if name in called}
    days = ("ordinal day",) if "ordinal day" in found else ("month", "day")
    wanted = ("year", *days, "hour", "minute", "second")
    return {part: found[part] for part in wanted} if found.keys() >= set(wanted) else {}


def _written(column: Column, name: str) -> bool:
    filled = [cell for cell in column.cells[:200] if cell.strip('" ')]
    return bool(filled) and all(clock.matches(cell, clock.Form(name)) for cell in filled)


def _timely(column: Column) -> bool:
    """Whether name, unit or cells say that a column of numbers tells the time."""
    label = column.label
    if label.kind in ("volts", "other"):
        return column.time_cells
    if column.words & vocabulary.STEPS and not _rising(column.values):
        return False  # seconds since the row before
    if kind_of(column) in (Kind.TEMPERATURE, Kind.BATTERY, Kind.RAIL, Kind.MAINS, Kind.AC):
        return False
    if label.kind == "time" or column.time_cells:
        return True
    words = column.words
    if words & (vocabulary.COUNTERS - vocabulary.TIME - {"i", "k", "n"}) and not words & vocabulary.TIME:
        return False
    lead = words & vocabulary.TIME
    if column.header.strip() in ("S", "X"):
        return False  # names of outputs
    return bool(lead) and not (words & vocabulary.OUTPUT and lead <= {"x", "s", "t"})


def _rising(values: Floats) -> bool:
    steps = np.diff(values[np.isfinite(values)])
    return steps.size >= 2 and bool(np.mean(steps > 0) > 0.9)


def _counts(column: Column) -> bool:
    """Whether a column counts its rows, and not the seconds since a date."""
    return column.counts_rows and epoch(column.known) is None


def _even(column: Column) -> bool:
    """Whether a column without a name goes up in even steps, each time once or several, as no output does."""
    values = column.known
    steps = np.diff(values)
    rises = steps[steps > 0]
    if not column.unnamed or rises.size < 5 or np.any(steps < 0):
        return False
    return bool(np.mean(np.abs(rises / np.median(rises) - 1) < 0.05) > 0.95)


def _row_number(column: Column) -> bool:
    words = column.words
    return column.counts_rows and (column.unnamed or bool(words & vocabulary.COUNTERS) or not words)
