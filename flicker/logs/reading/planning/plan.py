"""Which column is what? Names and sample cells in; the time column, the channels, their units and the rest out."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple

from flicker.logs.errors import Question
from flicker.logs.reading.planning import choice, sampled
from flicker.logs.reading.planning.beside import companions_among, marks_among, roles_among, with_modes, with_signs
from flicker.logs.reading.planning.channel_units import channels_of
from flicker.logs.reading.planning.columns import Channel, Column, Kind, Scan, Task, TimeColumns, Wishes, listed
from flicker.logs.reading.planning.heading import interval_in, start_in
from flicker.logs.reading.planning.time_columns import check_other_clocks, find_time


class Plan(NamedTuple):
    """What to take from a file.

    ``key`` is the position of the column that names the channel of each row, where every reading has a row of its own;
    ``kinds`` says what the columns are that are neither time nor channel, by position.
    """

    time: TimeColumns
    channels: tuple[Channel, ...]
    run: int | None
    notes: tuple[str, ...]
    marks: int | None = None
    key: int | None = None
    kinds: tuple[tuple[int, str], ...] = ()
    missing_words: tuple[str, ...] = ()
    over_words: tuple[str, ...] = ()
    start: datetime | None = None  # of the first sample, where lines above the header tell it and no column does
    day_us: int | None = None  # the date alone, microseconds since 1970
    averaged: tuple[str, ...] = ()  # channels that are averages whose extremes the file holds, or one extreme alone

    @property
    def roles(self) -> tuple[str, ...]:
        """Role of each channel."""
        return tuple(channel.role for channel in self.channels)

    @property
    def read(self) -> tuple[int, ...]:
        """Positions of all columns that are read."""
        others = (k for k in (self.run, self.key, self.marks) if k is not None)
        return (*self.time.read, *(channel.position for channel in self.channels), *self.beside, *others)

    @property
    def width(self) -> int:
        """How many numbers are kept of each row: its time, the channels, and the run or channel that it names."""
        return 1 + len(self.channels) + (self.run is not None or self.key is not None)

    @property
    def beside(self) -> tuple[int, ...]:
        """Positions of the columns that tell unit, sign or kind of each reading."""
        return tuple(dict.fromkeys(place for channel in self.channels for place in channel.beside))


class How(NamedTuple):
    """How a file was read: its form, what parts cells, the decimal sign, its columns and the plan."""

    form: str
    separator: str
    decimal: str
    header: bool
    columns: tuple[Column, ...]
    plan: Plan


def make_plan(columns: list[Column], wishes: Wishes, name: str, heading: Sequence[str], scan: Scan | None = None) -> Plan:
    """Decide what each column is.

    Parameters
    ----------
    columns : list of Column
        As found in the parts looked at.
    wishes : Wishes
        What the caller said.
    name : str
        Of the file, for sentences.
    heading : sequence of str
        The lines above the header.
    scan : callable, optional
        Hands out all cells of a column, where the parts looked at do not settle a question.

    Raises
    ------
    LogError
        If there is no time, no channel, or a unit that neither the file nor the caller tells.
    """
    task = Task(name, columns, wishes, heading, scan=scan, interval_s=interval_in(heading))
    run = next((c.position for c in columns if c.header.strip().lower() in ("run", "run_id", "run no", "run_no")), None)
    if run is not None and wishes.channels and columns[run].header in wishes.channels:
        run = None
    time = find_time(task, run)
    check_other_clocks(task, time)
    taken = {*time.positions, *(() if run is None else (run,))}
    rest = [column for column in columns if column.position not in taken]
    marks = marks_among(task, rest)
    free = [c for c in rest if c is not marks]
    task.kinds = {c.position: kind for c in free if (kind := sampled.kind_of(c)) is not None}
    choice.leave_counts(task, free)
    choice.promote_averages(task, free)
    roles = roles_among(task, free)
    free = [c for c in free if c.position not in roles]
    key = choice.key_among(task, free)
    if key is not None:
        free = [c for c in free if c is not key]
    else:
        timed = len(time.read) == 1
        choice.ask_sources(task, free, next(c for c in columns if c.position in time.read) if timed else None)
    units, signs, modes = (
        [c for c in free if task.kinds.get(c.position) is k] for k in (Kind.UNIT, Kind.SIGN, Kind.MODE)
    )
    chosen = choice.channels_among(task, free)
    if key is not None and len(chosen) != 1:
        raise Question(
            f'{name}: column "{key.header}" names the channel of each row, and {listed([c.header for c in chosen])} may'
            " hold its readings; name one with channels (--channels NAME).",
            channels=[c.header for c in chosen[:1]],
        )
    channels = channels_of(task, chosen, units, key)
    channels = with_signs(task, channels, chosen, signs)
    channels = with_modes(task, channels, chosen, modes)
    _tell(task, free, chosen, channels)
    beside = [c for c in rest if roles.get(c.position, "ignore") != "ignore"]
    companions = companions_among(task, beside, roles, channels)
    start, day_us = start_in(heading, wishes.order)
    return Plan(
        time=time,
        channels=(*channels, *companions),
        run=run,
        notes=tuple(task.notes),
        marks=None if marks is None else marks.position,
        key=None if key is None else key.position,
        kinds=tuple((place, str(kind)) for place, kind in task.kinds.items()),
        missing_words=wishes.missing_words,
        over_words=wishes.over_words,
        start=start,
        day_us=day_us,
        averaged=tuple(channel.name for channel, column in zip(channels, chosen, strict=False) if column in task.averages),
    )


def _tell(task: Task, free: list[Column], chosen: list[Column], channels: tuple[Channel, ...]) -> None:
    """Name the columns that were not taken, and what they are."""
    used = {place for channel in channels for place in channel.beside}
    out = [c for c in free if c not in chosen and c.kind != "empty" and c.position not in used]
    if out:
        said = []
        for column in out[:8]:
            kind = task.kinds.get(column.position)
            said.append(f'"{column.header[:60]}"' + (f" ({kind})" if kind is not None else ""))
        task.notes.append(f"Not taken as {'a channel' if len(out) == 1 else 'channels'}: {', '.join(said)}.")
    empty = [c.header for c in free if c.kind == "empty"]
    if empty and task.wishes.channels is None:
        task.notes.append(f"Without a single reading in the parts looked at: {listed(empty[:8])}.")
