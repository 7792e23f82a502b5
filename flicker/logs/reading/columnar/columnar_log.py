"""Reads Parquet and Arrow files by record batches, the columns needed only, from any row."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import IO, Any

import numpy as np

from flicker.base.arrays import Ints
from flicker.base.formats import times_text
from flicker.logs import arrow_types
from flicker.logs.errors import LogError
from flicker.logs.reading import files
from flicker.logs.reading.columnar import tables
from flicker.logs.reading.columnar.converter import Converter
from flicker.logs.reading.columnar.table_columns import column_of_field, holds_words, usable, words_in
from flicker.logs.reading.planning.columns import Heading, Wishes
from flicker.logs.reading.planning.plan import How, make_plan
from flicker.logs.reading.samples import spread, whole
from flicker.logs.reading.samples.entries import Entry, Words
from flicker.logs.reading.samples.long_format import rows_of
from flicker.logs.reading.samples.spool import Spool, SpoolSource
from flicker.logs.reading.words import clock, numerals, units
from flicker.logs.sampling import cadence_of
from flicker.logs.source import Batch, Source

_HEAD_ROWS = 4097
_MAX_COLUMNS = 1024


class ColumnarSource:
    """A Parquet or Arrow file; nothing is kept but where to look."""

    def __init__(
        self,
        file: tables.Watched,
        table: tables.Table,
        convert: Converter,
        notes: Sequence[str],
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
        self.notes = tuple(notes)
        self.rows = table.rows  # None for an Arrow file
        self._file = file
        self._table = table
        self._convert = convert
        head = [batch.time_s for batch in self.batches(0, _HEAD_ROWS, channels=()) if batch.time_s is not None]
        times = np.concatenate(head) if head else np.empty(0)
        self.start = convert.seconds.start
        self.wall_s = convert.seconds.wall_s
        self.cadence_s, self.reach_s = cadence_of(times)

    def batches(
        self, first: int = 0, last: int | None = None, *, time: bool = True, channels: Sequence[int] | None = None
    ) -> Iterator[Batch]:
        """Hand out rows ``first`` to ``last`` (half open)."""
        convert = self._convert
        wanted = tuple(range(len(self.channels))) if channels is None else tuple(channels)
        names = [
            convert.names[place]
            for k in wanted
            for place in (convert.plan.channels[k].position, *convert.plan.channels[k].beside)
        ]
        if time:
            names = [*convert.time_names, *names]
            names += [convert.names[k] for k in (convert.plan.run, convert.plan.key) if k is not None]
        names = list(dict.fromkeys(names)) or [convert.names[convert.plan.channels[0].position]]
        end = self._table.rows if last is None else last
        end = (1 << 62) if end is None else end if self._table.rows is None else min(end, self._table.rows)
        self._file.check()
        for row, batch in tables.guarded(self._table.batches(names, first, end), self.name):
            yield Batch(
                first=row,
                time_s=convert.time(batch, row) if time else None,
                values=tuple(convert.volts(batch, k, row) for k in wanted),
                run=convert.run(batch) if time else None,
            )
        self._file.check()

    def read_entries(
        self, time_of: Callable[[int], float] | None = None, dropped: Ints | None = None, *, told: bool
    ) -> tuple[Entry, ...]:
        """Read the column of marks alone, and the times of the rows that hold something.

        ``dropped`` are rows without a time, which whoever keeps the others leaves out of the count.
        """
        position = self._convert.plan.marks
        if position is None:
            return ()
        words = Words(self.name, told=told)
        title = self._convert.names[position]
        end = (1 << 62) if self._table.rows is None else self._table.rows
        for row, batch in tables.guarded(self._table.batches([title], 0, end), self.name):
            known, gone = np.ones(batch.num_rows, dtype=bool), 0
            if dropped is not None:
                low, high = np.searchsorted(dropped, (row, row + batch.num_rows))
                known[dropped[low:high] - row] = False
                gone = int(low)
            words.take(batch.column(title), known, row - gone)

        def own_time(row: int) -> float:
            batch = next(self.batches(row, row + 1, channels=()))
            assert batch.time_s is not None
            return float(batch.time_s[0])

        notes: list[str] = []
        found = words.finish(time_of or own_time, notes)
        self.notes = (*self.notes, *notes)
        return found

    def fingerprint(self) -> str | None:
        """Return the SHA-256 of the file."""
        return self._file.digest()


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
    rows = sum(batch.num_rows for batch in head)
    whole.check_rows(file.name, rows, few=wishes.few)
    words = {name: words_in(head, name) for name in fit if holds_words(table.schema.field(name).type)}
    how = (
        numerals.told(wishes.decimal) if wishes.decimal is not None else numerals.judge(list(words.values()), file.name)
    )
    columns = [
        column_of_field(table.schema.field(name), k, head, words.get(name), how, wishes) for k, name in enumerate(names)
    ]
    for column in columns:
        column.header = units.tidy(column.header)

    def scan(position: int) -> Iterator[Any]:
        end = (1 << 62) if table.rows is None else table.rows
        for _, batch in tables.guarded(table.batches([names[position]], 0, end), file.name):
            yield arrow_types.texts(batch.column(names[position]))

    meta = {
        key.decode("utf-8", "replace"): value.decode("utf-8", "replace")[:200]
        for key, value in (table.schema.metadata or {}).items()
        if key not in (b"pandas", b"ARROW:schema")
    }
    heading = Heading(meta, tuple(f"{key}: {value}" for key, value in meta.items()))
    plan = make_plan(columns, wishes, file.name, heading, scan)
    convert = Converter(plan, names, file.name, columns, how)
    source = ColumnarSource(file, table, convert, plan.notes)
    first = np.concatenate([b.time_s for b in source.batches(0, _HEAD_ROWS, channels=()) if b.time_s is not None])
    steps = np.diff(first[np.isfinite(first)])
    back, equal = np.count_nonzero(steps < 0), np.count_nonzero(steps == 0)
    if back > 0.5 * steps.size and plan.key is None:
        raise whole.backwards(file.name)
    coarse = plan.time.kind != "none" and equal > spread.COARSE_SHARE * max(steps.size, 1)
    if not any(np.isfinite(v).any() or np.isinf(v).any() for b in source.batches(0, _HEAD_ROWS) for v in b.values):
        readings = (not np.isnan(v).all() for b in source.batches(time=False) for v in b.values)
        if not any(readings):
            raise whole.no_reading(file.name)
    told = wishes.marks_column is not None
    if plan.key is not None or plan.beside or convert.seconds.sequential or coarse or not np.isfinite(first).all():
        return _spooled(file, source, convert, in_memory, marks_told=told, few=wishes.few)
    source.entries = source.read_entries(told=told)
    return source


def _spooled(
    file: tables.Watched, source: ColumnarSource, convert: Converter, in_memory: int, *, marks_told: bool = False, few: bool = False
) -> SpoolSource:
    """Copy a file whose times depend on their neighbours."""
    plan = convert.plan
    convert.seconds.midnight = clock.Midnight()
    more = plan.run is not None or plan.key is not None
    spool = Spool(1 + len(plan.channels) + more, file.name, in_memory=in_memory)
    channels = source.channels
    blank = equal = forward = 0
    last: float | None = None
    dropped: list[Ints] = []
    for batch in source.batches():
        assert batch.time_s is not None
        parts = [batch.time_s, *batch.values, *([] if batch.run is None else [batch.run])]
        known = np.isfinite(batch.time_s)
        if not known.all():
            blank += int((~known).sum())
            dropped.append(batch.first + np.flatnonzero(~known))
            parts = [part[known] for part in parts]
        if parts[0].size:
            steps = np.diff(parts[0], prepend=parts[0][0] if last is None else last)
            equal += int(np.count_nonzero(steps == 0))
            forward += int(np.count_nonzero(steps > 0))
            last = float(parts[0][-1])
        spool.append(parts)
    notes = [*plan.notes, *convert.per_reading.notes()]
    if plan.key is not None and spool.rows:
        spool, made = rows_of(spool, list(convert.codes), file.name, plan.time.interval_s)
        channels, steps = made.names, np.diff(made.time_s)
        notes += made.notes
        forward, equal = int(np.count_nonzero(steps > 0)), int(np.count_nonzero(steps == 0))
    whole.check_rows(file.name, spool.rows, few=few)
    whole.check_times(file.name, spool.rows, blank=blank, back=0, forward=forward, timed=True)
    if blank:
        notes.append(f"Not read, and so not observed: {blank} rows without a time.")
    if convert.seconds.midnight.passed:
        notes.append(f"The clock passes midnight {times_text(convert.seconds.midnight.passed)}; days were added.")
    if equal > spread.COARSE_SHARE * spool.rows:
        notes.append(spread.spread(spool))
    out = np.concatenate(dropped) if dropped else np.empty(0, dtype=np.int64)
    entries = source.read_entries(
        lambda row: float(spool.read(0, min(row, spool.rows - 1), row + 1)[0]), out, told=marks_told
    )
    return SpoolSource(
        file,
        spool,
        channels,
        start=convert.seconds.start,
        notes=notes,
        has_run=plan.run is not None and plan.key is None,
        wall_s=convert.seconds.wall_s,
        roles=plan.roles if plan.key is None else (),
        entries=entries,
        how=source.how,
        unread=blank + convert.per_reading.unread,
    )
