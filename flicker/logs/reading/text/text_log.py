"""Reads a text log block by block: columns of words and numbers become seconds and volts, kept in a spool."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np
import pyarrow as pa

from flicker.base.arrays import Bools, Floats
from flicker.base.formats import times_text
from flicker.logs import arrow_types
from flicker.logs.errors import LogError
from flicker.logs.read_ahead import ahead
from flicker.logs.reading import files
from flicker.logs.reading.planning.columns import Wishes
from flicker.logs.reading.planning.plan import How, Plan, make_plan
from flicker.logs.reading.samples import row_times, spread, whole
from flicker.logs.reading.samples.entries import Entry, Words
from flicker.logs.reading.samples.long_format import rows_of
from flicker.logs.reading.samples.per_reading import PerReading
from flicker.logs.reading.samples.seconds import Seconds
from flicker.logs.reading.samples.spool import Spool, SpoolSource
from flicker.logs.reading.text import sniff
from flicker.logs.reading.text.csv_parser import Cutter, table_of
from flicker.logs.reading.text.odd_rows import Mender
from flicker.logs.reading.words import cells as odd_cells

_FAR_S = 60.0  # a stamp is far off from here on


def read_text(
    file: files.LogFile, stream: files.Readable, wishes: Wishes, *, packed: bool, in_memory: int
) -> SpoolSource:
    """Parse a text log once and keep its samples.

    Raises
    ------
    LogError
        If it is no log, or cannot be read in one sure way.
    """
    lines = files.Lines(stream, file.name)
    tail = b"" if packed or lines.complete else files.tail_of(file, lines.encoding)
    layout = sniff.sniff(lines.head, tail, lines.complete, wishes, file.name)

    def scan(position: int) -> Iterator[Any]:
        return _all_cells(file, layout, position)

    plan = make_plan(layout.columns, wishes, file.name, layout.preamble, scan)
    lines_per_byte = lines.head.count(b"\n") / max(len(lines.head), 1)
    rows = 0 if packed else int(file.size * lines_per_byte)
    reader = TextReader(file.name, layout, plan, in_memory, rows, marks_told=wishes.marks_column is not None)
    reader.take(ahead(lines.blocks(layout.begin)))
    notes = reader.finish(few=wishes.few)
    entries = reader.entries(notes)
    file.check(may_grow=True)
    if not packed and file.grown:
        notes.append("The file was still growing; it was read up to the length it had at first.")
    if lines.encoding != "utf-8":
        notes.append(f"The text is {lines.encoding.upper()}.")
    return SpoolSource(
        file,
        reader.spool,
        reader.channels,
        start=reader.seconds.start,
        notes=[*layout.notes, *plan.notes, *notes],
        has_run=plan.run is not None and plan.key is None,
        wall_s=reader.seconds.wall_s,
        roles=plan.roles if plan.key is None else (),
        entries=entries,
        unread=reader.unread,
        how=How(
            form="text",
            separator=layout.delimiter,
            decimal=layout.numerals.decimal,
            header=layout.has_header,
            columns=tuple(layout.columns),
            plan=plan,
        ),
    )


def _all_cells(file: files.LogFile, layout: sniff.Layout, position: int) -> Iterator[Any]:
    """Hand out all cells of a column as words, block by block; rows of another shape are passed over."""
    import pyarrow.compute as pc

    with file.open() as handle:
        lines = files.Lines(files.contents(file, handle)[1], file.name)
        for block, _ in lines.blocks(layout.begin):
            if not block.strip():
                continue
            if not block.isascii():
                block = block.decode("utf-8", "replace").encode()
            if layout.delimiter == " ":
                block = b"\n".join(b" ".join(text.split()) for text in block.split(b"\n"))
            if layout.commas is not None:
                rows = (layout.commas.merge(line.split(",")) for line in block.decode("utf-8", "replace").splitlines())
                yield arrow_types.words([row[position].strip() for row in rows if row is not None])
                continue
            try:
                table = table_of(block, layout, {position: pa.string()}, lambda row: "skip")
            except pa.ArrowInvalid:
                continue  # what is wrong here is told when the readings are read
            yield pc.utf8_trim_whitespace(arrow_types.single(table.column(0)))


class TextReader:
    """Holds what must be carried from block to block; `take` the blocks, then `finish`."""

    def __init__(
        self,
        name: str,
        layout: sniff.Layout,
        plan: Plan,
        in_memory: int,
        expected_rows: int = 0,
        *,
        marks_told: bool = False,
    ) -> None:
        self.name = name
        self.layout = layout
        self.plan = plan
        self.channels = tuple(channel.name for channel in plan.channels)
        self.blanked = 0  # rows without a time of their own that got one between their neighbours
        width = 1 + len(plan.channels) + (plan.run is not None or plan.key is not None)
        self.spool = Spool(width, name, in_memory=in_memory, expected_rows=expected_rows)
        self.seconds = Seconds(plan)
        self._cutter = Cutter(name, layout, plan)
        self._blank_times = 0
        self._mended_stamps = 0
        self._copied = 0
        self._before: list[Floats] = [np.empty(0)] * width  # the last rows, where the clock tells the date
        self._readings = [0] * len(plan.channels)
        self._last: float | None = None
        self._steps = [0, 0, 0]  # backward, equal, forward
        self._run_codes: dict[str, int] = {}
        self._per_reading = PerReading(name, layout.header)
        self._words = Words(name, told=marks_told)

    def take(self, blocks: Iterable[tuple[bytes, bool]]) -> None:
        """Parse blocks of lines; the flag says that the file ends behind them."""
        for columns, rows in self._cutter.cut(blocks):
            self._keep(columns, rows)

    def _keep(self, columns: dict[int, Any], rows: int) -> None:
        if rows == 0:
            return
        time = self._time(columns, rows)
        parts = [time]
        for k, channel in enumerate(self.plan.channels):
            raw = _floats(columns[channel.position])
            if channel.beside or channel.zero:
                values = self._per_reading.volts(raw, channel, columns.__getitem__)
            else:
                values = odd_cells.to_volts(raw, channel.volts)
            if not self._readings[k]:
                self._readings[k] = int(values.size - np.count_nonzero(np.isnan(values)))
            parts.append(values)
        if self.plan.key is not None:
            parts.append(self._runs(columns[self.plan.key]))
        elif self.plan.run is not None:
            parts.append(self._runs(columns[self.plan.run]))
        steps, kept = self._steps_of(time), np.ones(rows, dtype=bool)
        if self._last is None or not float(steps.min()) > 0 or not float(steps.max()) <= _FAR_S:
            parts, kept = self._with_good_times(parts, steps)
        else:
            self._steps[2] += steps.size
        if self.plan.marks is not None:
            self._words.take(columns[self.plan.marks], kept, self.spool.rows)
        if parts[0].size:
            self._last = float(parts[0][-1])
            if self.seconds.dated:
                self._before = [
                    np.concatenate((old, new[-row_times.REACH :]))[-row_times.REACH :]
                    for old, new in zip(self._before, parts, strict=True)
                ]
        self.spool.append(parts)

    def _with_good_times(self, parts: list[Floats], steps: Floats) -> tuple[list[Floats], Bools]:
        """Leave out rows without a time, mend single stamps, and count which way the clock goes; also which rows are kept."""
        time = parts[0]
        known = np.isfinite(time)
        if not known.all():
            filled, between = row_times.between(time, known, self._last)
            self.blanked += int(between.sum())
            self._blank_times += int((~known & ~between).sum())
            known |= between
            parts = [part[known] for part in (filled, *parts[1:])]
            time = parts[0]
            if time.size == 0:
                return parts, known
            steps = self._steps_of(time)
        kept = known
        if self.seconds.dated and float(steps.min()) < 0 and (again := row_times.copies(self._before, parts)).any():
            self._copied += int(again.sum())
            parts = [part[~again] for part in parts]
            kept = known.copy()
            kept[known] = ~again
            time = parts[0]
            if time.size == 0:
                return parts, kept
            steps = self._steps_of(time)
        mended = self._mended(time, steps)
        if mended is not time:
            parts[0], steps = mended, self._steps_of(mended)
        back, equal = int(np.count_nonzero(steps < 0)), int(np.count_nonzero(steps == 0))
        for k, n in enumerate((back, equal, steps.size - back - equal)):
            self._steps[k] += n
        return parts, kept

    def _steps_of(self, time: Floats) -> Floats:
        """Step to each stamp from the one before it."""
        steps = np.empty_like(time)
        steps[0] = 0.0 if self._last is None else time[0] - self._last
        with np.errstate(invalid="ignore"):  # between two stamps that are no numbers
            np.subtract(time[1:], time[:-1], out=steps[1:])
        return steps

    @property
    def mender(self) -> Mender:
        """What tells lines that are no rows of readings."""
        return self._cutter.mender

    @property
    def copied(self) -> int:
        """Rows that were written twice, and read once."""
        return self._copied

    @property
    def unread(self) -> int:
        """Rows that could not be read."""
        return self._cutter.unread + self._blank_times + self._per_reading.unread

    def entries(self, notes: list[str]) -> tuple[Entry, ...]:
        """What the column of marks holds, with the times of its rows."""
        return self._words.finish(lambda row: float(self.spool.read(0, row, row + 1)[0]), notes)

    def _mended(self, time: Floats, steps: Floats) -> Floats:
        """Put single stamps that are far off, between two that follow each other, where they belong."""
        if steps.size < 4 or self.plan.time.kind == "none":
            return time
        usual = float(np.median(np.abs(steps)))
        before = time - steps
        far = np.abs(steps[:-1]) > max(_FAR_S, 10 * usual)
        across = time[1:] - before[:-1]
        bad = np.flatnonzero(far & (across >= 0) & (across <= 10 * usual))
        bad = bad[np.diff(bad, prepend=-2) > 1]
        if not bad.size:
            return time
        self._mended_stamps += int(bad.size)
        time = time.copy()
        time[bad] = (before[bad] + time[bad + 1]) / 2
        return time

    def _time(self, columns: dict[int, Any], rows: int) -> Floats:
        how = self.plan.time
        if how.kind == "none":
            return self.seconds.counted(self.spool.rows, rows)
        found = [columns[position] for position in how.positions]
        if how.kind == "number":
            return self.seconds.of_numbers(_floats(found[0]))
        return self.seconds.of_stamps(found, self._bad_time)

    def _bad_time(self, position: int, cell: str, row: int) -> LogError:
        line = self._cutter.find(cell)
        title = self.layout.header[position]
        return LogError(
            f'{self.name}, line {line}, column "{title}": "{cell[:40]}" is not a time as the rows before have'
            " it. Fix the line."
        )

    def _runs(self, cells: Any) -> Floats:
        kinds, codes = arrow_types.coded(arrow_types.bare_words(cells))
        known = self._run_codes
        return np.array([known.setdefault(word, len(known)) for word in kinds], dtype=np.float64)[codes]

    def _pivot(self) -> list[str]:
        """Make one row of each time where every reading has a row of its own."""
        self.spool, made = rows_of(self.spool, list(self._run_codes), self.name, self.plan.time.interval_s)
        self.channels = made.names
        steps = np.diff(made.time_s)
        back, equal = int(np.count_nonzero(steps < 0)), int(np.count_nonzero(steps == 0))
        self._steps = [back, equal, steps.size - back - equal]
        return list(made.notes)

    def finish(self, *, few: bool = False) -> list[str]:
        """Judge the whole, and return notes; ``few`` rows will do."""
        left_out = [*self._cutter.notes(), *self._per_reading.notes()]
        notes: list[str] = []
        if self.plan.key is not None and self.spool.rows:
            notes += self._pivot()
        name, rows = self.name, self.spool.rows
        if self.seconds.start is None and self.plan.start is not None:
            self.seconds.start = self.plan.start
            notes.append("The log begins when the file's heading says.")
        back, equal, forward = self._steps
        whole.check_rows(name, rows, few=few)
        if not any(self._readings):
            raise whole.no_reading(name)
        timed = self.plan.time.kind != "none"
        whole.check_times(name, rows, blank=self._blank_times, back=back, forward=forward, timed=timed)
        silent = [c.name for c, n in zip(self.plan.channels, self._readings, strict=True) if n == 0]
        if silent:
            notes.append("Without a single reading: " + ", ".join(f'"{n}"' for n in silent) + ".")
        notes += left_out
        for n, words in (
            (self.blanked, "{n} {rows} without a time; set between the neighbours."),
            (self._blank_times, "Not read, and so not observed: {n} {rows} without a time."),
            (self._copied, "Read once: {n} {rows} written twice, the same to the letter."),
            (self._mended_stamps, "Single time stamps far off from their neighbours: {n}; set between them."),
        ):
            if n:
                notes.append(words.format(n=n, rows="row" if n == 1 else "rows"))
        if self.seconds.midnight.passed:
            notes.append(f"The clock passes midnight {times_text(self.seconds.midnight.passed)}; days were added.")
        if equal > spread.COARSE_SHARE * rows and timed:
            notes.append(spread.spread(self.spool))
        return notes


def _floats(column: Any) -> Floats:
    return column if isinstance(column, np.ndarray) else arrow_types.floats(column)
