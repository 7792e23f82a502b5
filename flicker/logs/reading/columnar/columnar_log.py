"""Reads Parquet and Arrow files by record batches, the columns needed only, from any row."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from typing import IO, Any

import numpy as np

from flicker.logs import arrow_types
from flicker.logs.errors import LogError
from flicker.logs.read_ahead import ahead
from flicker.logs.reading import files
from flicker.logs.reading.columnar import tables
from flicker.logs.reading.columnar.tables import column_of_field, plain_type, told_of_field, usable, words_in
from flicker.logs.reading.planning.columns import Wishes
from flicker.logs.reading.planning.plan import How, make_plan
from flicker.logs.reading.samples import row_times, whole
from flicker.logs.reading.samples.converter import Converter, Rows
from flicker.logs.reading.samples.entries import Entry, Words
from flicker.logs.reading.samples.kept_rows import KeptRows
from flicker.logs.reading.samples.spool import Spool
from flicker.logs.reading.words import clock, numerals, units
from flicker.logs.sampling import cadence_of
from flicker.logs.source import Batch, Source

_HEAD_ROWS = 4097
_MAX_COLUMNS = 1024
_ALL = 1 << 62  # rows, where a table does not tell how many it has


class ColumnarSource:
    """A Parquet or Arrow file; nothing is kept but where to look."""

    def __init__(
        self,
        file: tables.Watched,
        table: tables.Table,
        names: Sequence[str],
        convert: Converter,
    ) -> None:
        self.name = file.name
        self.channels = tuple(channel.name for channel in convert.plan.channels)
        self.roles = convert.plan.roles
        self.entries: tuple[Entry, ...] = ()
        self.how = How(
            form=table.form,
            separator="",
            decimal=convert.numerals.decimal,
            header=True,
            columns=tuple(convert.columns),
            plan=convert.plan,
        )
        self.averaged = convert.plan.averaged
        self.notes = convert.plan.notes
        self.rows = table.rows  # None for an Arrow file
        self._file = file
        self._table = table
        self._names = names
        self._convert = convert
        head = [batch.time_s for batch in self.batches(0, _HEAD_ROWS, channels=()) if batch.time_s is not None]
        self.head_s = np.concatenate(head)
        self.start = convert.seconds.start
        self.wall_s = convert.seconds.wall_s
        self.cadence_s, self.reach_s = cadence_of(self.head_s)

    def batches(
        self, first: int = 0, last: int | None = None, *, time: bool = True, channels: Sequence[int] | None = None
    ) -> Iterator[Batch]:
        """Hand out rows ``first`` to ``last`` (half open)."""
        convert, plan = self._convert, self._convert.plan
        wanted = tuple(range(len(self.channels))) if channels is None else tuple(channels)
        places = [place for k in wanted for place in (plan.channels[k].position, *plan.channels[k].beside)]
        if time:
            places = [*plan.time.read, *places, *(k for k in (plan.run, plan.key) if k is not None)]
        self._file.check()
        for rows in self.rows_of(places or [plan.channels[0].position], first, last):
            yield Batch(
                first=rows.first,
                time_s=convert.time(rows, rows.first) if time else None,
                values=tuple(convert.volts(rows, k) for k in wanted),
                run=convert.run(rows) if time else None,
            )
        self._file.check()

    def in_order(self) -> bool:
        """Whether all rows have times of their own that never go back: where not, each has to be judged beside its neighbours.

        A leap by a year, as of a clock that is set, is no such time, nor are stamps that many rows share.
        """
        if self._convert.plan.time.kind == "none":
            return True
        rows = equal = 0
        last = self.head_s[0]
        for batch in self.batches(channels=()):
            assert batch.time_s is not None
            steps = np.diff(batch.time_s, prepend=last)
            least = float(steps.min())
            if not (least >= 0 and steps.max() <= row_times.YEAR_S):  # where a time is missing, neither holds
                return False
            rows += steps.size
            equal += int(np.count_nonzero(steps == 0)) if least == 0 else 0
            last = batch.time_s[-1]
        return equal <= row_times.COARSE_SHARE * rows

    def rows_of(self, places: Sequence[int], first: int = 0, last: int | None = None) -> Iterator[Rows]:
        """Hand out rows ``first`` to ``last`` of the columns at some positions, as they stand in the table.

        A walk to the end reads ahead. Only what leaves the interpreter to other threads is done there: a thread that
        reckons on small arrays slows the one that waits for it.
        """
        names = list(dict.fromkeys(self._names[place] for place in places))
        end = min(_ALL if limit is None else limit for limit in (last, self._table.rows))
        stream = tables.guarded(self._table.batches(names, first, end), self.name)
        for row, batch in ahead(stream) if last is None else stream:
            yield Rows(
                rows=batch.num_rows,
                column=partial(self._column, batch),
                place=partial(_place, row),
                first=row,
            )

    def _column(self, batch: Any, position: int) -> Any:
        return batch.column(self._names[position])

    def read_entries(self, *, told: bool) -> None:
        """Read the column of marks alone, and the times of the rows that hold something."""
        marks = self._convert.plan.marks
        if marks is None:
            return
        words = Words(self.name, told=told)
        for rows in self.rows_of([marks]):
            words.take(rows.column(marks), np.ones(rows.rows, dtype=bool), rows.first)

        def time_of(row: int) -> float:
            batch = next(self.batches(row, row + 1, channels=()))
            assert batch.time_s is not None
            return float(batch.time_s[0])

        notes: list[str] = []
        self.entries = words.finish(time_of, notes)
        self.notes = (*self.notes, *notes)

    def fingerprint(self) -> str | None:
        """Return the SHA-256 of the file."""
        return self._file.digest()


def _place(first: int, row: int) -> str:
    """A row in words, so many rows behind the ``first``."""
    return f"row {first + row + 1}"


def open_columnar(file: files.LogFile, inner: IO[bytes] | None, kind: str, wishes: Wishes, *, in_memory: int) -> Source:
    """Open a Parquet or Arrow file.

    Raises
    ------
    LogError
        If it is damaged, or holds no log.
    """
    return read_table(file, tables.open_table(file, inner, kind), wishes, in_memory=in_memory)


def read_table(file: tables.Watched, table: tables.Table, wishes: Wishes, *, in_memory: int) -> Source:
    """Read a table of columns.

    Raises
    ------
    LogError
        If it holds no log.
    """
    names = list(table.schema.names)
    if len(names) > _MAX_COLUMNS:
        raise LogError(
            f"{file.name} has {len(names)} columns; a log has at most {_MAX_COLUMNS}; write those that matter."
        )
    if len(set(names)) < len(names):
        double = next(name for name in names if names.count(name) > 1)
        raise LogError(f'{file.name} has two columns named "{double}"; rename one.')
    fit = [name for name in names if usable(table.schema.field(name).type)]
    if not fit:
        raise LogError(f"{file.name} holds no column of numbers; export the readings as numbers.")
    head = [batch for _, batch in tables.guarded(table.batches(fit, 0, _HEAD_ROWS), file.name)]
    whole.check_rows(file.name, sum(batch.num_rows for batch in head), few=wishes.few)
    words = {name: words_in(head, name) for name in fit if arrow_types.is_text(plain_type(table.schema.field(name).type))}
    how = numerals.judge(list(words.values()), file.name, wishes.decimal)
    columns = [
        column_of_field(table.schema.field(name), k, head, words.get(name), how, wishes) for k, name in enumerate(names)
    ]
    for column in columns:
        column.header = units.tidy(column.header)

    def scan(position: int) -> Iterator[Any]:
        end = _ALL if table.rows is None else table.rows
        for _, batch in tables.guarded(table.batches([names[position]], 0, end), file.name):
            yield arrow_types.texts(batch.column(names[position]))

    heading = [
        f"{key.decode('utf-8', 'replace')}: {value.decode('utf-8', 'replace')[:200]}"
        for key, value in (table.schema.metadata or {}).items()
        if key not in (b"pandas", b"ARROW:schema")
    ]
    heading += [line for name in fit for line in told_of_field(table.schema.field(name))]
    plan = make_plan(columns, wishes, file.name, heading, scan)
    convert = Converter(plan, file.name, columns, how)
    source = ColumnarSource(file, table, names, convert)
    told = wishes.marks_column is not None
    if plan.key is None and not plan.beside and not convert.seconds.sequential and source.in_order():
        if not any(not np.isnan(v).all() for b in source.batches(time=False) for v in b.values):
            raise whole.no_reading(file.name)
        source.read_entries(told=told)
        source.notes += row_times.packets(source.head_s)
        return source
    # times that depend on their neighbours, or readings on other columns: all rows are kept
    convert.seconds.midnight = clock.Midnight()
    spool = Spool(plan.width, file.name, in_memory=in_memory, expected_rows=table.rows or 0)
    kept = KeptRows(file.name, convert, spool, marks_told=told)
    for rows in source.rows_of(plan.read):
        kept.take(rows)
    return kept.source(file, source.how, few=wishes.few, before=[], left_out=[])
