"""Reads a text log block by block into a spool: a fast typed parse, and a slow exact one for blocks that it refuses."""

from __future__ import annotations

import math
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flicker.logs import _arrow, _cells, _clock, _files, _sniff, _spread
from flicker.logs._plan import Plan, Wishes, make_plan
from flicker.logs._spool import Spool, SpoolSource
from flicker.logs.model import LogError

Floats = NDArray[np.float64]

ODD_ROWS = 20  # rows of another shape that are left out with a note, whatever the length;
ODD_SHARE = 0.001  # and this share of a long log,
ODD_MOST = 0.1  # but never more than this share
_NUMBER_RE2 = {
    ".": r"^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?$",
    ",": r"^[+-]?(?:\d+,?\d*|,\d+)(?:[eE][+-]?\d+)?$",
}
_ISO = ("ymd clock",)
_FAR_S = 60.0  # a stamp is far off from here on


def read_text(
    file: _files.LogFile, stream: _files.Readable, wishes: Wishes, *, packed: bool, in_memory: int
) -> SpoolSource:
    """Parse a text log once and keep its samples.

    Raises
    ------
    LogError
        If it is no log, or cannot be read in one sure way.
    """
    lines = _files.Lines(stream, file.name)
    tail = b"" if packed or lines.complete else _files.tail_of(file, lines.encoding)
    layout = _sniff.sniff(lines.head, tail, lines.complete, wishes, file.name)
    plan = make_plan(layout.columns, wishes, file.name, layout.preamble)
    reader = _Reader(file.name, layout, plan, in_memory)
    for block, last in lines.blocks(layout.begin):
        reader.take(block, last)
    notes = reader.finish()
    file.check(may_grow=True)
    if not packed and file.grown:
        notes.append("The file was still growing; it was read up to the length it had at first.")
    if lines.encoding != "utf-8":
        notes.append(f"The text is {lines.encoding.upper()}.")
    return SpoolSource(
        file,
        reader.spool,
        [channel.name for channel in plan.channels],
        start=reader.start,
        notes=[*layout.notes, *plan.notes, *notes],
        has_run=plan.run is not None,
        wall_s=reader.wall_s,
    )


class _Reader:
    """Holds what must be carried from block to block."""

    def __init__(self, name: str, layout: _sniff.Layout, plan: Plan, in_memory: int) -> None:
        self.name = name
        self.layout = layout
        self.plan = plan
        self.spool = Spool(1 + len(plan.channels) + (plan.run is not None), name, in_memory=in_memory)
        self.start: datetime | None = None
        self._line = layout.lines  # lines before the block at hand
        self._odd = 0
        self._odd_first: tuple[int, str] | None = None
        self._nul = 0
        self._comments = 0
        self._headers = 0
        self._cut = ""
        self._blank_times = 0
        self._mended_stamps = 0
        self._zero: int | float | None = None
        self._midnight = _clock.Midnight()
        self._readings = [0] * len(plan.channels)
        self._last: float | None = None
        self._steps = [0, 0, 0]  # backward, equal, forward
        self._run_codes: dict[str, int] = {}
        self._typed = not any(layout.columns[c.position].cell_units for c in plan.channels) and not layout.grouped
        self._names = [f"c{k}" for k in range(layout.width)]

    # ------------------------------------------------------------ a block

    def take(self, block: bytes, last: bool) -> None:
        """Parse lines; ``last`` says that the file ends behind them."""
        if last:
            block = self._end(block)
        if not block:
            return
        count = block.count(b"\n")
        layout = self.layout
        if b"\0" in block:
            block = self._without_nul(block)
        if not block.isascii():
            try:
                block.decode("utf-8")
            except UnicodeDecodeError:
                block = block.decode("cp1252", errors="replace").encode()
        if layout.delimiter == " ":
            block = b"\n".join(b" ".join(line.split()) for line in block.split(b"\n"))
        elif b"+" in block and layout.delimiter and not layout.quoted:
            mark = layout.delimiter.encode()
            block = block.replace(mark + b"+", mark)
        table = self._parse_typed(block) if self._typed else None
        if table is None:
            table = self._parse_exact(block)
        if table is not None:
            self._keep(*table)
        self._line += count

    def _end(self, block: bytes) -> bytes:
        """Take a last line without its end for what it is: whole, or cut off."""
        stripped = block.rstrip(b"\0 \t\r")
        if not stripped or stripped.endswith(b"\n"):
            return stripped
        at = stripped.rfind(b"\n") + 1
        final, rest = stripped[at:].decode("utf-8", "replace"), stripped[:at]
        layout = self.layout
        cells = _sniff.split(final, layout.delimiter, layout.quoted)
        before = rest[:-1][rest[:-1].rfind(b"\n") + 1 :].decode("utf-8", "replace").rstrip("\r")
        cut = len(cells) != layout.width
        if not cut and before and len(layout.header) == layout.width:
            earlier = _sniff.split(before, layout.delimiter, layout.quoted)[-1]
            cut = _digits(cells[-1], layout.decimal) < _digits(earlier, layout.decimal)
        if cut and not (len(cells) == 1 and layout.width > 1 and _sniff._COMMENT.match(final)):
            self._cut = final[:40]
            return rest
        return stripped + b"\n"

    def _without_nul(self, block: bytes) -> bytes:
        kept = []
        for line in block.split(b"\n"):
            if b"\0" not in line:
                kept.append(line)
            else:
                kept.append(b"")  # keeps the count of lines
                self._nul += 1
        return b"\n".join(kept)

    def _options(self, quoted: bool) -> Any:
        from pyarrow import csv

        return csv.ParseOptions(
            delimiter=self.layout.delimiter or "\x1f",
            quote_char='"' if quoted else False,
            double_quote=quoted,
            newlines_in_values=False,
            ignore_empty_lines=True,
            invalid_row_handler=self._odd_row,
        )

    def _wanted(self) -> list[int]:
        run = () if self.plan.run is None else (self.plan.run,)
        time = self.plan.time.positions if self.plan.time.kind != "none" else ()
        return list(dict.fromkeys((*time, *(channel.position for channel in self.plan.channels), *run)))

    def _parse_typed(self, block: bytes) -> tuple[dict[int, Any], int] | None:
        import pyarrow as pa
        from pyarrow import csv

        plan = self.plan
        types: dict[str, Any] = {}
        for channel in plan.channels:
            types[self._names[channel.position]] = pa.float64()
        if plan.time.kind == "number":
            types[self._names[plan.time.positions[0]]] = pa.float64()
        elif plan.time.kind == "stamp":
            for position, form in zip(plan.time.positions, plan.time.forms, strict=True):
                fast = form.name in _ISO and len(plan.time.forms) == 1
                types[self._names[position]] = (
                    pa.timestamp("us", "UTC" if form.zoned else None) if fast else pa.string()
                )
        if plan.run is not None:
            types[self._names[plan.run]] = pa.string()
        before = (self._odd, self._odd_first, self._comments, self._headers)
        self._block = block
        try:
            table = csv.read_csv(
                pa.py_buffer(block),
                read_options=csv.ReadOptions(column_names=self._names, use_threads=len(block) > 1 << 20),
                parse_options=self._options(self.layout.quoted),
                convert_options=csv.ConvertOptions(
                    column_types=types,
                    include_columns=[self._names[k] for k in self._wanted()],
                    null_values=["", "NaN", "nan", "NAN", "N/A", "NA", "null", "None", "--"],
                    strings_can_be_null=False,
                    quoted_strings_can_be_null=True,
                    decimal_point=self.layout.decimal,
                ),
            )
        except pa.ArrowInvalid:
            self._odd, self._odd_first, self._comments, self._headers = before
            return None
        self._check_quotes(block, table.num_rows, before)
        if self._odd_limit_passed(final=False):
            raise self._odd_error()
        return {k: table.column(self._names[k]) for k in self._wanted()}, table.num_rows

    def _check_quotes(self, block: bytes, rows: int, before: tuple[Any, ...]) -> None:
        if not self.layout.quoted:
            return
        skipped = (self._odd - before[0]) + (self._comments - before[2]) + (self._headers - before[3])
        lines = sum(1 for line in block.split(b"\n") if line.strip(b"\r"))
        if lines != rows + skipped:
            end = self._line + block.count(b"\n")
            raise LogError(
                f"{self.name}: a quotation mark is not closed between lines {self._line + 1} and {end}; mend it."
            )

    def _odd_row(self, row: Any) -> str:
        text = row.text.strip()
        if _sniff._COMMENT.match(text):
            self._comments += 1
        elif text in self.layout.heading:
            self._headers += 1
        else:
            self._odd += 1
            if self._odd_first is None:
                self._odd_first = (self._find(row.text), text)
        return "skip"

    def _find(self, text: str) -> int:
        at = self._block.find(text.encode())
        return self._line + 1 + (self._block.count(b"\n", 0, at) if at >= 0 else 0)

    def _odd_limit_passed(self, *, final: bool) -> bool:
        rows = max(self.spool.rows, 1)
        allowed = max(ODD_ROWS, ODD_SHARE * rows)
        if final:
            allowed = min(allowed, ODD_MOST * rows)
        return self._odd > allowed

    def _odd_error(self) -> LogError:
        assert self._odd_first is not None
        line, text = self._odd_first
        found = len(_sniff.split(text, self.layout.delimiter, self.layout.quoted))
        return LogError(
            f"{self.name}, line {line}: the columns change here ({found} cells instead of {self.layout.width}:"
            f" {text[:40]!r}); split the file there."
        )

    # ------------------------------------------------------------ the slow exact way

    def _parse_exact(self, block: bytes) -> tuple[dict[int, Any], int] | None:
        import pyarrow as pa
        import pyarrow.compute as pc
        from pyarrow import csv

        before = (self._odd, self._odd_first, self._comments, self._headers)
        self._block = block
        try:
            table = csv.read_csv(
                pa.py_buffer(block),
                read_options=csv.ReadOptions(column_names=self._names, use_threads=False),
                parse_options=self._options(self.layout.quoted),
                convert_options=csv.ConvertOptions(
                    column_types=dict.fromkeys(self._names, pa.string()), strings_can_be_null=False
                ),
            )
        except pa.ArrowInvalid as error:
            if table_is_empty(error):
                return None
            raise LogError(
                f"{self.name}, near line {self._line + 1}: the rows cannot be cut into cells ({error})."
            ) from None
        self._check_quotes(block, table.num_rows, before)
        if self._odd_limit_passed(final=False):
            raise self._odd_error()
        if table.num_rows == 0:
            return None
        columns = {k: pc.utf8_trim_whitespace(_arrow.single(table.column(self._names[k]))) for k in self._wanted()}
        drop = self._headers_and_comments(table)
        out: dict[int, Any] = {}
        numbers = [channel.position for channel in self.plan.channels]
        if self.plan.time.kind == "number":
            numbers.append(self.plan.time.positions[0])
        for position, cells in columns.items():
            if position in numbers:
                out[position] = self._numbers(cells, position, drop, table)
            else:
                out[position] = cells
        keep = ~drop
        if drop.any():
            mask = _arrow.mask(keep)
            out = {k: v[keep] if isinstance(v, np.ndarray) else v.filter(mask) for k, v in out.items()}
        return out, int(keep.sum())

    def _headers_and_comments(self, table: Any) -> NDArray[np.bool_]:
        """Mark rows that repeat the header or are comments with as many cells as a row."""
        import pyarrow.compute as pc

        first = pc.utf8_trim_whitespace(_arrow.single(table.column(0)))
        suspects = _arrow.truths(pc.match_substring_regex(first, r"^[^\d\s.,+-]"))
        drop = np.zeros(suspects.size, dtype=bool)
        for row in np.flatnonzero(suspects)[:10000]:
            cells = [str(table.column(k)[int(row)]).strip() for k in range(self.layout.width)]
            if _sniff._COMMENT.match(cells[0]):
                self._comments += 1
                drop[row] = True
            elif self._is_heading(cells):
                self._headers += 1
                drop[row] = True
        return drop

    def _is_heading(self, cells: list[str]) -> bool:
        header = [cell.strip().strip('"') for cell in self.layout.header]
        bare = [cell.strip('"') for cell in cells]
        return bare[: len(header)] == header or self.layout.delimiter.join(cells).strip() in self.layout.heading

    def _numbers(self, cells: Any, position: int, drop: NDArray[np.bool_], table: Any) -> Floats:
        import pyarrow as pa
        import pyarrow.compute as pc

        layout = self.layout
        column = layout.columns[position]
        cells = pc.utf8_trim(cells, characters='"')
        good = _arrow.truths(pc.match_substring_regex(cells, _NUMBER_RE2[layout.decimal]))
        if column.cell_units:
            good[:] = False
        bare = pc.utf8_ltrim(cells, characters="+")
        if layout.decimal == ",":
            bare = pc.replace_substring(bare, ",", ".")
        values = np.full(good.size, np.nan)
        values[good] = _arrow.floats(pc.cast(bare.filter(_arrow.mask(good)), pa.float64()))
        rest = np.flatnonzero(~good & ~drop)
        if rest.size:
            coded = pc.dictionary_encode(cells.take(_arrow.places(rest)))
            codes = _arrow.whole(coded.indices)
            words = coded.dictionary.to_pylist()
            table_of = np.empty(len(words))
            for k, word in enumerate(words):
                found = self._one(word, column.cell_units)
                if found is None:
                    row = int(rest[int(np.flatnonzero(codes == k)[0])])
                    raise self._bad(word, row, position, table)
                table_of[k] = found
            values[rest] = table_of[codes]
        return values

    def _one(self, word: str, units: bool) -> float | None:
        found = _cells.value(word, self.layout.decimal, self.layout.grouped, units=units)
        if (
            units
            and found
            and math.isfinite(found)
            and _cells.number(word, self.layout.decimal, self.layout.grouped) is not None
        ):
            return None  # a number without a unit among numbers with one
        return found

    def _bad(self, cell: str, row: int, position: int, table: Any) -> LogError:
        cells = [str(table.column(k)[row]) for k in range(self.layout.width)]
        line = self._line_of(row)
        title = self.layout.header[position] if position < len(self.layout.header) else f"column {position + 1}"
        if sum(_sniff._strong(c) for c in cells) == 0 and sum(bool(c.strip()) for c in cells) > 1:
            return LogError(
                f"{self.name}, line {line}: the columns change here ({self.layout.delimiter.join(cells)[:60]!r});"
                " split the file there."
            )
        return LogError(
            f'{self.name}, line {line}, column "{title}": "{cell[:40]}" is not a number.'
            " Fix the line, or leave the column out with channels (--channels)."
        )

    def _line_of(self, row: int) -> int:
        """Number of the line of a row of the block at hand, counting what was skipped."""
        seen = -1
        for k, line in enumerate(self._block.split(b"\n")):
            text = line.strip(b"\r")
            if not text:
                continue
            if (
                len(_sniff.split(text.decode("utf-8", "replace"), self.layout.delimiter, self.layout.quoted))
                == self.layout.width
            ):
                seen += 1
            if seen == row:
                return self._line + k + 1
        return self._line + 1

    # ------------------------------------------------------------ samples

    def _keep(self, columns: dict[int, Any], rows: int) -> None:
        if rows == 0:
            return
        time = self._time(columns, rows)
        parts = [time]
        for k, channel in enumerate(self.plan.channels):
            values = _cells.to_volts(_floats(columns[channel.position]), channel.volts)
            if not self._readings[k]:
                self._readings[k] = int(values.size - np.count_nonzero(np.isnan(values)))
            parts.append(values)
        if self.plan.run is not None:
            parts.append(self._runs(columns[self.plan.run]))
        known = np.isfinite(time)
        if not known.all():
            self._blank_times += int((~known).sum())
            parts = [part[known] for part in parts]
            time = parts[0]
        if time.size:
            steps = np.diff(time, prepend=time[0] if self._last is None else self._last)
            back = equal = 0
            if not float(steps.min()) > 0 or float(steps.max()) > _FAR_S:
                time = parts[0] = self._mended(time, steps)
                steps = np.diff(time, prepend=time[0] if self._last is None else self._last)
                back, equal = int(np.count_nonzero(steps < 0)), int(np.count_nonzero(steps == 0))
            for k, n in enumerate((back, equal, steps.size - back - equal)):
                self._steps[k] += n
            self._last = float(time[-1])
        self.spool.append(parts)

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
            return np.asarray((self.spool.rows + np.arange(rows)) * how.factor, dtype=np.float64)
        if how.kind == "number":
            raw = _floats(columns[how.positions[0]])
            raw = np.where(np.isfinite(raw), raw, np.nan)
            if self._zero is None and np.isfinite(raw).any():
                self._zero = float(raw[np.isfinite(raw)][0])
                if how.epoch:
                    self.start = _clock.moment(round(self._zero * how.factor * 1e6), zoned=True)
            zero = 0.0 if self._zero is None else self._zero
            with np.errstate(over="ignore"):
                return _cells.to_volts(raw - zero, how.factor)
        micros, good = self._stamps(columns, rows)
        if self._zero is None and good.any():
            self._zero = int(micros[good][0])
            if any(form.has_date for form in how.forms):
                self.start = _clock.moment(self._zero, zoned=any(form.zoned for form in how.forms))
        return np.where(good, (micros - int(self._zero or 0)) / 1e6, np.nan)

    def _stamps(self, columns: dict[int, Any], rows: int) -> tuple[_clock.Micros, NDArray[np.bool_]]:
        import pyarrow as pa
        import pyarrow.compute as pc

        total = np.zeros(rows, dtype=np.int64)
        good = np.ones(rows, dtype=bool)
        for position, form in zip(self.plan.time.positions, self.plan.time.forms, strict=True):
            cells = _arrow.single(columns[position])
            if pa.types.is_timestamp(cells.type):
                filled = _arrow.valid(cells)
                micros = _arrow.whole(cells)
            else:
                cells = pc.utf8_trim(pc.utf8_trim_whitespace(cells), characters='"')
                micros, filled = _clock.parse(cells, form)
                for row in np.flatnonzero(~filled):
                    cell = str(cells[int(row)])
                    if cell.lower() not in _cells.MISSING:
                        raise self._bad_time(cell, position)
            if not form.has_date and len(self.plan.time.forms) == 1:
                micros = self._midnight.unwrap(micros, filled)
            total += micros
            good &= filled
        return total, good

    def _bad_time(self, cell: str, position: int) -> LogError:
        line = self._find(cell)
        title = self.layout.header[position]
        return LogError(
            f'{self.name}, line {line}, column "{title}": "{cell[:40]}" is not a time as the rows before have'
            " it. Fix the line."
        )

    def _runs(self, cells: Any) -> Floats:
        import pyarrow.compute as pc

        coded = pc.dictionary_encode(pc.utf8_trim_whitespace(_arrow.single(cells)))
        codes = [self._run_codes.setdefault(word, len(self._run_codes)) for word in coded.dictionary.to_pylist()]
        return np.array(codes, dtype=np.float64)[_arrow.whole(coded.indices)]

    @property
    def wall_s(self) -> float | None:
        """Seconds from midnight to the first sample on a local clock, None where the time is another."""
        how = self.plan.time
        if how.kind != "stamp" or self._zero is None or any(form.zoned for form in how.forms):
            return None
        return float(self._zero % _clock.DAY_US) / 1e6

    # ------------------------------------------------------------ the end

    def finish(self) -> list[str]:
        """Judge the whole, and return notes."""
        name, rows, notes = self.name, self.spool.rows, []
        if self._odd and self._odd_limit_passed(final=True):
            raise self._odd_error()
        if rows == 0:
            raise LogError(f"{name} holds a header and no readings.")
        if rows < 10:
            raise LogError(f"{name}: {rows} samples are too few to judge; 10 or more are needed.")
        if self._nul > max(ODD_ROWS, ODD_MOST * rows):
            raise LogError(f"{name}: {self._nul} lines hold NUL bytes; the file is damaged.")
        if self._blank_times > max(ODD_ROWS, ODD_SHARE * rows):
            raise LogError(f"{name}: {self._blank_times} rows have no time.")
        if not any(self._readings):
            raise LogError(f"{name}: no channel holds a single reading (all blank or NaN).")
        back, equal, forward = self._steps
        if back > forward and back > 0.5 * rows:
            raise LogError(f"{name}: time goes backwards throughout; if the newest row comes first, reverse the rows.")
        if self.plan.time.kind != "none" and forward == 0:
            raise LogError(
                f"{name}: all time stamps are equal; give sample_interval_s (--sample-interval) to count time by"
                " samples."
            )
        silent = [c.name for c, n in zip(self.plan.channels, self._readings, strict=True) if n == 0]
        if silent:
            notes.append("Without a single reading: " + ", ".join(f'"{n}"' for n in silent) + ".")
        if self._odd:
            assert self._odd_first is not None
            line, text = self._odd_first
            notes.append(
                f"Left out: {self._odd} {_lines(self._odd)} with another number of cells, the first in line"
                f" {line} ({text[:30]!r})."
            )
        if self._nul:
            notes.append(f"Left out: {self._nul} {_lines(self._nul)} with NUL bytes.")
        if self._comments:
            notes.append(f"Left out: {self._comments} comment {_lines(self._comments)} among the readings.")
        if self._headers:
            notes.append(
                f"The heading is repeated among the readings ({self._headers} {_lines(self._headers)}):"
                " the logger was restarted."
            )
        if self._cut:
            notes.append(f"The last line is cut off and was left out ({self._cut[:30]!r}).")
        if self._blank_times:
            notes.append(f"Left out: {self._blank_times} rows without a time.")
        if self._mended_stamps:
            notes.append(f"Single time stamps far off from their neighbours: {self._mended_stamps}; set between them.")
        if self._midnight.passed:
            notes.append(f"The clock passes midnight ({self._midnight.passed} x); days were added.")
        if equal > _spread.COARSE_SHARE * rows and self.plan.time.kind != "none":
            notes.append(_spread.spread(self.spool))
        return notes


def table_is_empty(error: Exception) -> bool:
    """Whether pyarrow found no rows at all."""
    return "Empty CSV" in str(error)


def _floats(column: Any) -> Floats:
    return column if isinstance(column, np.ndarray) else _arrow.floats(column)


def _digits(cell: str, decimal: str) -> int:
    return len(cell.strip().rsplit(decimal, 1)[1]) if decimal in cell else 0


def _lines(count: int) -> str:
    return "line" if count == 1 else "lines"
