"""Cuts blocks of lines into columns: a fast typed parse, and a slow exact one for blocks that it refuses."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from flicker.logs import arrow_types
from flicker.logs.errors import LogError
from flicker.logs.read_ahead import side_by_side
from flicker.logs.reading.planning.plan import Plan
from flicker.logs.reading.samples.whole import ODD_ROWS, ODD_SHARE
from flicker.logs.reading.text import header, odd_rows, sniff
from flicker.logs.reading.text.exact_cells import ExactParser

ODD_MOST = 0.1  # rows of another shape are never more than this share
_BELOW = 40  # lines of a summary at most
_AT_ONCE = 1 << 16  # bytes compared in one step, so that the answers stay in the cache
_ISO = ("ymd clock",)
_BLANK = re.compile(rb"\n(?=\r?\n)")


@dataclass(slots=True)
class Page:
    """Lines of a log, how many they are, and what was left out of them."""

    block: bytes
    quoted: bool = False  # whether a quotation mark stands in it
    lines: int = 0
    tally: odd_rows.Tally = field(default_factory=odd_rows.Tally)
    strange: int = 0  # rows of another shape that the parser met
    unclosed: bool = False  # a quotation mark
    fault: LogError | None = None

    def find(self, text: str) -> int:
        """Return the number of the line, from 1 within the page, that holds a text."""
        at = self.block.find(text.encode())
        return 1 + (self.block.count(b"\n", 0, at) if at >= 0 else 0)


class Cutter:
    """Follows a text log block by block; counts lines, and what it leaves out."""

    def __init__(self, name: str, layout: sniff.Layout, plan: Plan) -> None:
        self.name = name
        self.layout = layout
        self.plan = plan
        self.rows = 0
        self.tally = odd_rows.Tally()
        self._before = layout.lines  # lines before the page at hand
        self._nul = 0
        self._cut = ""
        used = [layout.columns[channel.position] for channel in plan.channels]
        self._typed = not any(column.cell_units for column in used) and not plan.time.cell_units
        self._names = [f"c{k}" for k in range(layout.width)]
        self._page = Page(b"")
        self.mender = odd_rows.Mender(name, layout, plan)
        self._exact = ExactParser(name, layout, plan)

    def cut(self, blocks: Iterable[tuple[bytes, bool]]) -> Iterator[tuple[dict[int, Any], int]]:
        """Parse blocks of lines into columns (by position) and their number of rows; the flag tells the file's end.

        The fast parse of some blocks goes on side by side; what it finds is taken in the blocks' order.
        """
        for page, table in side_by_side(self._parse_typed, self._pages(blocks)):
            self._page = page
            self._raise(page)
            found = self._parse_exact(page) if table is None else table
            self._raise(page)
            self.tally.add(page.tally, self._before)
            if found is not None:
                self.rows += found[1]
            if self._odd_limit_passed(final=False):
                raise self._odd_error()
            if found is not None:
                yield found
            self._before += page.lines

    def _raise(self, page: Page) -> None:
        if page.fault is not None:
            raise page.fault
        if page.unclosed:
            first, last = self._before + 1, self._before + page.lines
            raise LogError(f"{self.name}: a quotation mark is not closed between lines {first} and {last}; mend it.")

    def _pages(self, blocks: Iterable[tuple[bytes, bool]]) -> Iterator[Page]:
        """Make each block fit for parsing."""
        layout = self.layout
        for raw, last in _last_known(blocks):
            block = self._without_summary(self._end(raw)) if last else raw
            if not block:
                continue
            if b"\0" in block:
                block = self._without_nul(block)
            if not block.isascii():
                try:
                    block.decode("utf-8")
                except UnicodeDecodeError:
                    block = block.decode("cp1252", errors="replace").encode()
            if layout.blank_rows:
                block = _BLANK.sub(b"\nNaN", block)
            if layout.delimiter == " ":
                block = b"\n".join(b" ".join(text.split()) for text in block.split(b"\n"))
            elif b"+" in block and layout.delimiter and b'"' not in block:
                mark = layout.delimiter.encode()
                block = block.replace(mark + b"+", mark)
            yield Page(block, quoted=b'"' in block)

    def _end(self, block: bytes) -> bytes:
        """Take a last line without its end for what it is: whole, or cut off."""
        stripped = block.rstrip(b"\0 \t\r")
        if not stripped or stripped.endswith(b"\n"):
            return stripped
        at = stripped.rfind(b"\n") + 1
        final, rest = stripped[at:].decode("utf-8", "replace"), stripped[:at]
        layout = self.layout
        cells = self.mender.cells_of(final)
        before = rest[:-1][rest[:-1].rfind(b"\n") + 1 :].decode("utf-8", "replace").rstrip("\r")
        cut = len(cells) != layout.width and self.mender.left_out(final, cells) is None
        if len(cells) == layout.width and before and len(layout.header) == layout.width:
            earlier = self.mender.cells_of(before)[-1]
            decimal = layout.numerals.decimal
            cut = _digits(cells[-1], decimal) < _digits(earlier, decimal)
        if cut and not (len(cells) == 1 and layout.width > 1 and header.COMMENT.match(final)):
            self._cut = final[:40]
            return rest
        return stripped + b"\n"

    def _without_summary(self, block: bytes) -> bytes:
        """Leave out what stands below the readings: averages, counts, the end."""
        kept = block.rstrip(b"\r\n")
        if self.plan.key is None and kept:
            for _ in range(_BELOW):
                at = kept.rfind(b"\n") + 1
                line = kept[at:].rstrip(b"\r").decode("utf-8", "replace")
                left = self.mender.left_out(line, self.mender.cells_of(line)) if line.strip() else None
                if left is None and line.strip():
                    break
                if left is not None:
                    self.tally.count(left)
                kept = kept[:at].rstrip(b"\r\n")
        return kept + b"\n" if kept else b""

    def _without_nul(self, block: bytes) -> bytes:
        """Blank lines with NUL bytes: their rows are not read, which the next parse notices."""
        kept = []
        for line in block.split(b"\n"):
            if b"\0" not in line:
                kept.append(line)
            else:
                kept.append(odd_rows.NOT_READ.encode())  # keeps the count of lines
                self._nul += 1
        return b"\n".join(kept)

    def _options(self, page: Page) -> Any:
        from pyarrow import csv

        quoted = page.quoted

        def strange(row: Any) -> str:
            page.strange += 1
            return "skip"

        return csv.ParseOptions(
            delimiter=self.layout.delimiter or "\x1f",
            quote_char='"' if quoted else False,
            double_quote=quoted,
            newlines_in_values=False,
            ignore_empty_lines=True,
            invalid_row_handler=strange,
        )

    def _wanted(self) -> list[int]:
        plan = self.plan
        more = tuple(place for place in (plan.run, plan.marks, plan.key) if place is not None)
        time = plan.time.positions if plan.time.kind != "none" else ()
        return list(dict.fromkeys((*time, *(channel.position for channel in plan.channels), *plan.beside, *more)))

    def _types(self) -> dict[str, Any]:
        import pyarrow as pa

        plan, sure = self.plan, self.layout.numerals.sure
        types: dict[str, Any] = {}
        for position in (*plan.beside, plan.run, plan.marks, plan.key):
            if position is not None:
                types[self._names[position]] = pa.string()
        numbers = [channel.position for channel in plan.channels]
        if plan.time.kind == "number":
            numbers.append(plan.time.positions[0])
        for position in numbers:
            # Where no cell looked at shows the decimal sign, one that shows it later must not pass unseen.
            types[self._names[position]] = pa.float64() if sure else pa.int64()
        if plan.time.kind == "stamp":
            for position, form in zip(plan.time.positions, plan.time.forms, strict=True):
                fast = form.name in _ISO and len(plan.time.forms) == 1
                types[self._names[position]] = (
                    pa.timestamp("us", "UTC" if form.zoned else None) if fast else pa.string()
                )
        return types

    def _parse_typed(self, page: Page) -> tuple[dict[int, Any], int] | None:
        """Parse numbers and stamps as such; None where a cell is neither. Runs in a thread: touches only the page."""
        page.lines = _lines_in(page.block)
        if not self._typed:
            return None
        table = self._typed_table(page)
        if table is not None and page.strange:
            try:
                page.block = self.mender.mended(page.block, page.tally)
                page.quoted = b'"' in page.block
            except LogError as fault:
                page.fault = fault
                return None
            page.strange = 0
            table = self._typed_table(page)
        if table is not None and not page.tally.mended and self._unclosed(page, table.num_rows):
            return None
        if table is None or self._words_for_times(table):
            return None
        page.unclosed = self._unclosed(page, table.num_rows)
        return {k: table.column(self._names[k]) for k in self._wanted()}, table.num_rows

    def _typed_table(self, page: Page) -> Any:
        import pyarrow as pa
        from pyarrow import csv

        block = page.block
        try:
            return csv.read_csv(
                pa.py_buffer(block),
                read_options=csv.ReadOptions(  # the block in one piece: half the work of pyarrow's pieces of a MiB
                    column_names=self._names, use_threads=False, block_size=len(block) + 1
                ),
                parse_options=self._options(page),
                convert_options=csv.ConvertOptions(
                    column_types=self._types(),
                    include_columns=[self._names[k] for k in self._wanted()],
                    null_values=["", "NaN", "nan", "NAN", "N/A", "NA", "null", "None", "--"],
                    strings_can_be_null=False,
                    quoted_strings_can_be_null=True,
                    decimal_point=self.layout.numerals.decimal,
                ),
            )
        except pa.ArrowInvalid:
            page.strange = 0
            return None

    def _words_for_times(self, table: Any) -> bool:
        """Whether a stamp that is read as words holds no digit: a summary at the end, which the exact parse knows."""
        if self.plan.time.kind != "stamp":
            return False
        import pyarrow as pa
        import pyarrow.compute as pc  # late: a log of seconds does without it

        for position in self.plan.time.positions:
            cells = table.column(self._names[position])
            if pa.types.is_string(cells.type) and not pc.all(pc.match_substring_regex(cells, r"^\W*\d")).as_py():
                return True
        return False

    def _unclosed(self, page: Page, rows: int) -> bool:
        """Whether lines went missing within quotation marks."""
        if not page.quoted:
            return False
        lines = sum(1 for line in page.block.split(b"\n") if line.strip(b"\r"))
        return lines != rows + page.strange

    def find(self, text: str) -> int:
        """Return the number of the line, in the block last handed out, that holds a text."""
        return self._before + self._page.find(text)

    # ------------------------------------------------------------ the slow exact way

    def _parse_exact(self, page: Page) -> tuple[dict[int, Any], int] | None:
        import pyarrow as pa
        from pyarrow import csv

        if not page.tally.mended:
            page.block = self.mender.mended(page.block, page.tally)
            page.quoted = b'"' in page.block
        page.strange = 0
        try:
            table = csv.read_csv(
                pa.py_buffer(page.block),
                read_options=csv.ReadOptions(
                    column_names=self._names, use_threads=False, block_size=len(page.block) + 1
                ),
                parse_options=self._options(page),
                convert_options=csv.ConvertOptions(
                    column_types=dict.fromkeys(self._names, pa.string()), strings_can_be_null=False
                ),
            )
        except pa.ArrowInvalid as error:
            if table_is_empty(error):
                return None
            raise LogError(
                f"{self.name}, near line {self._before + 1}: the rows cannot be cut into cells ({error}); mend that line."
            ) from None
        page.unclosed = self._unclosed(page, table.num_rows)
        if page.unclosed or table.num_rows == 0:
            return None
        columns = {k: arrow_types.single(table.column(self._names[k])) for k in self._wanted()}
        return self._exact.parse(columns, table, self._line_of)

    def _line_of(self, row: int) -> int:
        """Number of the line of a row of the block at hand; the block holds one line for each row and blank ones."""
        seen = -1
        for k, line in enumerate(self._page.block.split(b"\n")):
            seen += bool(line.strip(b"\r"))
            if seen == row:
                return self._before + k + 1
        return self._before + 1

    # ------------------------------------------------------------ what was left out

    def _odd_limit_passed(self, *, final: bool) -> bool:
        rows = max(self.rows, 1)
        allowed = max(ODD_ROWS, ODD_SHARE * rows)
        if final:
            allowed = min(allowed, ODD_MOST * rows)
        return self.tally.unread > allowed

    def _odd_error(self) -> LogError:
        line, text = self.tally.first or (0, "")
        found = len(self.mender.cells_of(text))
        return LogError(
            f"{self.name}, line {line}: the columns change here ({found} cells instead of {self.layout.width}:"
            f" {text[:40]!r}); split the file there."
        )

    def notes(self) -> list[str]:
        """Judge what was left out, and say it.

        Raises
        ------
        LogError
            If it is too much.
        """
        tally = self.tally
        if tally.unread and self._odd_limit_passed(final=True):
            raise self._odd_error()
        if self._nul > max(ODD_ROWS, ODD_MOST * self.rows):
            raise LogError(f"{self.name}: {self._nul} lines hold NUL bytes; the file is damaged, copy it again.")
        notes = tally.notes()
        if self._nul:
            notes.append(f"Not read, and so not observed: {self._nul} {odd_rows.lines(self._nul)} with NUL bytes.")
        if self._cut:
            notes.append(f"The last line is cut off and was left out ({self._cut[:30]!r}).")
        return notes

    @property
    def unread(self) -> int:
        """Rows that could not be read."""
        return self.tally.unread + self._nul


def _last_known(blocks: Iterable[tuple[bytes, bool]]) -> Iterator[tuple[bytes, bool]]:
    """Hand out blocks one later, so that the last one with readings is known as the last."""
    waiting: tuple[bytes, bool] | None = None
    for block, last in blocks:
        if waiting is not None:
            if last and not block.strip(b"\0 \t\r\n"):
                waiting = (waiting[0], True)
                continue
            yield waiting
        waiting = (block, last)
    if waiting is not None:
        yield waiting


def table_is_empty(error: Exception) -> bool:
    """Whether pyarrow found no rows at all."""
    return "Empty CSV" in str(error)


def _digits(cell: str, decimal: str) -> int:
    return len(cell.strip().rsplit(decimal, 1)[1]) if decimal in cell else 0


def _lines_in(block: bytes) -> int:
    """Number of line ends; numpy counts three times as fast as bytes do, and lets other threads run."""
    codes, found = np.frombuffer(block, np.uint8), 0
    for at in range(0, codes.size, _AT_ONCE):
        found += int(np.count_nonzero(codes[at : at + _AT_ONCE] == 10))
    return found
