"""How a log would be read, shown before it is believed: a file in, the reading plan out."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from flicker.logs.errors import LogError, Question
from flicker.logs.reading import files
from flicker.logs.reading.planning.columns import Column, Found, Wishes
from flicker.logs.reading.planning.plan import Plan
from flicker.logs.reading.questions import answered, settling
from flicker.logs.reading.text import sniff
from flicker.logs.reading.words import units
from flicker.logs.source import Source

ROWS_SHOWN = 3


@dataclass(frozen=True, slots=True)
class ColumnPlan:
    """One column: its header, its role, its unit (empty where it has none) and where that was found."""

    header: str
    role: str
    unit: str = ""
    found: Found | None = None
    name: str = ""

    @property
    def reads(self) -> str:
        """The column in words."""
        unit = f", {self.unit} ({self.found})" if self.unit and self.found else f", {self.unit}" if self.unit else ""
        name = f" {self.name}" if self.name and self.name not in self.header else ""
        return f'"{self.header}" {self.role}{name}{unit}'

    def to_dict(self) -> dict[str, Any]:
        """Return plain values."""
        return {
            "header": self.header,
            "role": self.role,
            "unit": self.unit or None,
            "found": self.found and str(self.found),
            "name": self.name or None,
        }


@dataclass(frozen=True, slots=True)
class Row:
    """One row as read: seconds since the first, volts by channel."""

    time_s: float
    volts: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class ReadingPlan:
    """How a file is read.

    Attributes
    ----------
    file : str
        Its name.
    form : str
        Text, Parquet, Arrow, or a recording.
    separator, decimal : str
        What parts cells, and the decimal sign; empty where the form has none.
    header : bool
        Whether a line names the columns.
    columns : tuple of ColumnPlan
        In the order of the file.
    time : str
        How time is told, in words.
    scale_s : float or None
        Seconds per unit of a time column of numbers.
    first, last : datetime or float or None
        First and last moment; seconds where the file tells no date.
    rows : int or None
        Rows read.
    missing : str
        All that the file does not tell and how to say it; empty where nothing is missing.
    settle : str
        The options of the command line that settle it in one go; empty where no option does.
    shown : tuple of Row
        The first rows as read.
    notes : tuple of str
        What was assumed.
    """

    file: str
    form: str
    separator: str = ""
    decimal: str = ""
    header: bool = True
    columns: tuple[ColumnPlan, ...] = ()
    time: str = ""
    scale_s: float | None = None
    first: datetime | float | None = None
    last: datetime | float | None = None
    rows: int | None = None
    missing: str = ""
    settle: str = ""
    shown: tuple[Row, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def channels(self) -> tuple[str, ...]:
        """Names of the channels, as read."""
        return tuple(column.name for column in self.columns if column.role == "output")

    @property
    def lines(self) -> tuple[str, ...]:
        """The plan in five lines, the rows as read behind them."""
        named = {"\t": "tab", " ": "spaces", "": "none"}
        layout = self.form
        if self.form == "text":
            header = "a header" if self.header else "no header"
            layout = f"separator {named.get(self.separator, self.separator)}, decimal {self.decimal}, {header}"
        columns = "; ".join(column.reads for column in self.columns) or "not told"
        time = self.time or "not told"
        if self.rows is not None:
            time += f"; {_moment(self.first)} to {_moment(self.last)}, {self.rows} rows"
        return (
            f"layout   {layout}",
            f"columns  {columns}",
            f"time     {time}",
            f"missing  {self.missing or 'nothing'}",
            "rows     " + (" | ".join(self._row(row) for row in self.shown) or "none"),
        )

    def _row(self, row: Row) -> str:
        """One row in words: its moment, and the volts of each channel."""
        if isinstance(self.first, datetime):
            when = _moment(self.first + timedelta(seconds=row.time_s))
        else:
            when = f"{row.time_s:g} s"
        return ", ".join(
            [when, *(f"{name} {volts:g} V" for name, volts in zip(self.channels, row.volts, strict=False))]
        )

    @property
    def reads(self) -> str:
        """Whether the log can be read, in a sentence."""
        if self.missing:
            return f"{self.file} cannot be read yet: {self.missing}"
        return f"{self.file}: {self.rows} rows of {', '.join(self.channels)}, from {_moment(self.first)} to {_moment(self.last)}."

    def to_dict(self) -> dict[str, Any]:
        """Return plain values."""
        return {
            "file": self.file,
            "form": self.form,
            "separator": self.separator or None,
            "decimal": self.decimal or None,
            "header": self.header,
            "columns": [column.to_dict() for column in self.columns],
            "time": {
                "form": self.time or None,
                "scale_s": self.scale_s,
                "first": _plain(self.first),
                "last": _plain(self.last),
            },
            "channels_read": list(self.channels),
            "rows": self.rows,
            "missing": self.missing or None,
            "settle": self.settle or None,
            "shown": [{"time_s": row.time_s, "volts": [_finite(v) for v in row.volts]} for row in self.shown],
            "notes": list(self.notes),
        }


def _moment(moment: datetime | float | None) -> str:
    if isinstance(moment, datetime):
        return moment.isoformat(sep=" ", timespec="milliseconds" if moment.microsecond else "seconds")
    return "not told" if moment is None else f"{moment:g} s"


def _plain(moment: datetime | float | None) -> str | float | None:
    return moment.isoformat() if isinstance(moment, datetime) else moment


def _finite(value: float) -> float | str | None:
    return None if np.isnan(value) else value if np.isfinite(value) else "over range" if value > 0 else "under range"


def look(path: str | os.PathLike[str], **options: Any) -> ReadingPlan:
    """Show how a log is read, and what is missing for reading it.

    Parameters
    ----------
    path : str or path
        The file.
    **options
        As `flicker.read_log` takes them.

    Returns
    -------
    ReadingPlan
        With ``missing`` empty where the log can be read.

    Raises
    ------
    LogError
        If the file cannot be opened, or is no log at all.
    """
    from flicker.logs.reading.reader import open_source, wishes_of

    wishes = wishes_of(**options)
    try:
        return _of_source(open_source(path, wishes))
    except LogError as problem:
        sentence = str(problem)
        options = problem.options if isinstance(problem, Question) else {}
        settle = settling([options]) if options else ""
    file = files.LogFile(path)
    sentence = sentence.removeprefix(f"{file.name}: ").removeprefix(f"{file.name}, ")
    if options.keys() == {"roles"}:  # what a column is changes nothing of times and other columns: they are shown
        try:
            plan = _of_source(open_source(path, answered(wishes, options)))
        except LogError:
            pass  # more is asked: only what the file shows by itself can be told
        else:
            columns = tuple(replace(item, role="to be told") if item.header in options["roles"] else item for item in plan.columns)
            return replace(plan, columns=columns, missing=sentence, settle=settle, notes=())
    with file.open() as handle:
        form = "not text"
        try:
            lines = files.Lines(files.contents(file, handle)[1], file.name)
            form = "text"
            layout = sniff.sniff(lines.head, b"", lines.complete, wishes, file.name)
        except LogError:
            if form == "text" and sentence.startswith((f"{file.name} is ", f"{file.name} holds ")):
                raise LogError(sentence) from None
            return ReadingPlan(file.name, form, missing=sentence, settle=settle)
    columns = tuple(_unplanned(column) for column in layout.columns)
    return ReadingPlan(
        file=file.name,
        form="text",
        separator=layout.delimiter,
        decimal=layout.numerals.decimal if layout.numerals.sure else "not shown",
        header=layout.has_header,
        columns=columns,
        missing=sentence,
        settle=settle,
        notes=tuple(layout.notes),
    )


def _unplanned(column: Column) -> ColumnPlan:
    """A column of a file that cannot be read yet: what its header and cells say."""
    label = column.label
    role = {"stamp": "dates or times", "text": "words", "empty": "empty"}.get(column.kind, "numbers")
    found = None
    if label.unit:
        found = Found.HEADER if units.label(column.header).unit else column.unit_from
    elif column.cell_units:
        found = Found.CELLS
    return ColumnPlan(column.header, role, label.unit or ("in the cells" if column.cell_units else ""), found)


def planned(columns: Sequence[Column], plan: Plan) -> tuple[ColumnPlan, ...]:
    """What the plan makes of each column."""
    channels = {channel.position: channel for channel in plan.channels}
    roles: dict[int | None, str] = {place: f"{kind}, not read" for place, kind in plan.kinds}
    for channel in plan.channels:
        roles[channel.unit_column] = "unit of each reading"
        roles[channel.sign_column] = "sign of each reading"
        roles[channel.mode_column] = "mode of each reading"
    roles |= {plan.key: "channel of each reading", plan.marks: "marks", plan.run: "run"}
    roles |= dict.fromkeys(plan.time.read, "time")
    out = []
    for column in columns:
        if column.position not in channels:
            role = roles.get(column.position, "empty" if column.kind == "empty" else "not read")
            out.append(ColumnPlan(column.header, role))
            continue
        channel = channels[column.position]
        unit = "of each reading" if channel.found in (Found.UNIT_COLUMN, Found.CELLS) else channel.unit
        unit = "" if channel.role == "temperature" else unit
        out.append(ColumnPlan(column.header, channel.role, unit, channel.found if unit else None, channel.name))
    return tuple(out)


def _of_source(source: Source) -> ReadingPlan:
    """The plan by which a source was read, with its first rows."""
    rows, last = 0, 0.0
    shown: list[Row] = []
    roles = getattr(source, "roles", ()) or ("output",) * len(source.channels)
    for batch in source.batches(channels=[k for k, role in enumerate(roles) if role == "output"]):
        assert batch.time_s is not None
        for k in range(min(ROWS_SHOWN - len(shown), batch.time_s.size)):
            shown.append(Row(float(batch.time_s[k]), tuple(float(column[k]) for column in batch.values)))
        rows += batch.time_s.size
        last = float(batch.time_s[-1]) if batch.time_s.size else last
    start = source.start
    plan = ReadingPlan(
        file=source.name,
        form="a recording",
        columns=tuple(ColumnPlan(name, "output", "V", Found.OPTION, name) for name in source.channels),
        time="counted at the recording's rate",
        first=0.0 if start is None else start,
        last=last if start is None else start + timedelta(seconds=last),
        rows=rows,
        shown=tuple(shown),
        notes=source.notes,
    )
    how = getattr(source, "how", None)
    if how is None:
        return plan
    columns, time = planned(how.columns, how.plan), how.plan.time
    if how.plan.key is not None:  # one column holds the readings of all channels
        value = columns[how.plan.channels[0].position]
        kept = tuple(column for column in columns if column.role != "output")
        columns = (*kept, *(replace(value, name=name) for name in source.channels))
    titles = " and ".join(how.columns[k].header for k in time.read)
    return replace(
        plan,
        form=how.form,
        separator=how.separator,
        decimal=how.decimal,
        header=how.header,
        columns=columns,
        time=(f"{titles}: " if titles else "") + (time.means or "counted"),
        scale_s=time.factor if time.kind != "stamp" else None,
    )


__all__ = ["ColumnPlan", "ReadingPlan", "Row", "Wishes", "look"]
