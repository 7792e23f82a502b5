"""Cuts blocks of lines into columns: a fast typed parse, and a slow exact one for blocks that it refuses."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyarrow as pa
from pyarrow import csv

from flicker.logs.errors import LogError
from flicker.logs.read_ahead import side_by_side
from flicker.logs.reading.planning import sampled
from flicker.logs.reading.planning.plan import Plan
from flicker.logs.reading.samples.converter import Rows
from flicker.logs.reading.samples.whole import ODD_ROWS, ODD_SHARE
from flicker.logs.reading.text import header, odd_rows, sniff
from flicker.logs.reading.text.odd_rows import Left

ODD_MOST = 0.1  # rows of another shape are never more than this share
_BELOW = 40  # lines of a summary at most
_AT_ONCE = 1 << 16  # bytes compared in one step, so that the answers stay in the cache
_BLANK = re.compile(rb"(?m)^(?=\r?\n)")
_MISSING = ("", "NaN", "nan", "NAN", "N/A", "NA", "null", "None", "--")  # of which `words.odd_cells` knows more


def table_of(block: bytes, layout: sniff.Layout, types: Mapping[int, Any], strange: Callable[[Any], str]) -> Any:
    """Cut lines into the columns at the positions of ``types``; ``strange`` is asked what to do with a row of another shape.

    Raises
    ------
    pyarrow.ArrowInvalid
        If a cell is not of the type of its column, or there is no row.
    """
    names, quoted = [f"c{k}" for k in range(layout.width)], b'"' in block
    return csv.read_csv(
        pa.py_buffer(block),
        read_options=csv.ReadOptions(  # the block in one piece: half the work of pyarrow's pieces of a MiB
            column_names=names, use_threads=False, block_size=len(block) + 1
        ),
        parse_options=csv.ParseOptions(
            delimiter=layout.delimiter or "\x1f",
            quote_char='"' if quoted else False,
            double_quote=quoted,
            newlines_in_values=False,
            ignore_empty_lines=True,
            invalid_row_handler=strange,
        ),
        convert_options=csv.ConvertOptions(
            column_types={names[k]: kind for k, kind in types.items()},
            include_columns=[names[k] for k in types],
            null_values=_MISSING,
            strings_can_be_null=False,
            quoted_strings_can_be_null=True,
            decimal_point=layout.numerals.decimal,
        ),
    )


@dataclass(slots=True)
class Page:
    """Lines of a log, how many they are, and what was left out of them."""

    block: bytes
    lines: int = 0
    tally: odd_rows.Tally = field(default_factory=odd_rows.Tally)
    strange: int = 0  # rows of another shape that the parser met
    unclosed: bool = False  # a quotation mark


class Cutter:
    """Follows a text log block by block; counts lines, and what it leaves out."""

    def __init__(self, name: str, layout: sniff.Layout, plan: Plan) -> None:
        self.name = name
        self.layout = layout
        self.plan = plan
        self.rows = 0
        self.tally = odd_rows.Tally()
        self._before = layout.lines  # lines before the page at hand
        self._nul = self._blank = 0  # lines
        self._cut = ""
        used = [layout.columns[channel.position] for channel in plan.channels]
        self._typed = not any(column.cell_units for column in used) and not plan.time.cell_units
        self._types = self._types_wanted()
        self._page = Page(b"")
        self.mender = odd_rows.Mender(name, layout, plan)

    def cut(self, blocks: Iterable[tuple[bytes, bool]]) -> Iterator[Rows]:
        """Parse blocks of lines into columns; the flag tells the file's end.

        The fast parse of some blocks goes on side by side; what it finds is taken in the blocks' order.
        """
        for page, table in side_by_side(self._parse_typed, self._pages(blocks)):
            self._page = page
            found = self._parse_exact(page) if table is None else table
            if page.unclosed:
                first, last = self._before + 1, self._before + page.lines
                raise LogError(
                    f"{self.name}: a quotation mark is not closed between lines {first} and {last}; mend it."
                )
            self.tally.add(page.tally, self._before)
            if found is not None:
                self.rows += found.num_rows
            self._check_odd(max(ODD_ROWS, ODD_SHARE * self.rows))
            if found is not None:
                columns = {int(name[1:]): column for name, column in zip(found.column_names, found.columns, strict=True)}
                yield Rows(found.num_rows, columns.__getitem__, self._place, refusal=self._changed)
            self._before += page.lines

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
                block, blank = _BLANK.subn(b"NaN", block)
                self._blank += blank
            if layout.delimiter == " ":
                block = b"\n".join(b" ".join(text.split()) for text in block.split(b"\n"))
            elif b"+" in block and layout.delimiter and b'"' not in block:
                mark = layout.delimiter.encode()
                block = block.replace(mark + b"+", mark)
            yield Page(block)

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
                    self.tally.count[left] += 1
                kept = kept[:at].rstrip(b"\r\n")
        return kept + b"\n" if kept else b""

    def _without_nul(self, block: bytes) -> bytes:
        """Blank lines with NUL bytes: their rows are not read, which the next parse notices."""
        lines = block.split(b"\n")
        self._nul += sum(b"\0" in line for line in lines)
        return b"\n".join(odd_rows.NOT_READ.encode() if b"\0" in line else line for line in lines)  # as many lines

    def _types_wanted(self) -> dict[int, Any]:
        """Types of the columns to read, by position."""
        plan = self.plan
        types = {k: pa.string() for k in (*plan.beside, plan.run, plan.marks, plan.key) if k is not None}
        numbers = [channel.position for channel in plan.channels]
        if plan.time.kind == "number":
            numbers.append(plan.time.positions[0])
        # Where no cell looked at shows the decimal sign, one that shows it later must not pass unseen.
        types |= dict.fromkeys(numbers, pa.float64() if self.layout.numerals.sure else pa.int64())
        if plan.time.kind == "stamp":
            for position, form in zip(plan.time.positions, plan.time.forms, strict=True):
                fast = form.name == "ymd clock" and len(plan.time.forms) == 1 and not form.unpadded
                types[position] = pa.timestamp("us", "UTC" if form.zoned else None) if fast else pa.string()
        return types

    def _table(self, page: Page, types: Mapping[int, Any]) -> Any:
        """Cut a page into columns of these types; rows of another shape are skipped and counted."""

        def strange(row: Any) -> str:
            page.strange += 1
            return "skip"

        page.strange = 0
        return table_of(page.block, self.layout, types, strange)

    def _parse_typed(self, page: Page) -> Any:
        """Parse numbers and stamps as such; None where a cell is neither. Runs in a thread: touches only the page."""
        page.lines = _lines_in(page.block)
        if not self._typed:
            return None
        table = self._typed_table(page)
        if table is not None and page.strange:
            page.block = self.mender.mended(page.block, page.tally)
            table = self._typed_table(page)
        if table is None or self._words_for_times(table):
            return None
        unclosed = self._unclosed(page, table.num_rows)
        if unclosed and not page.tally.mended:
            return None
        page.unclosed = unclosed
        return table

    def _typed_table(self, page: Page) -> Any:
        """Cut a page into typed columns; None where a cell is not of its type."""
        try:
            return self._table(page, self._types)
        except pa.ArrowInvalid:
            page.strange = 0
            return None

    def _words_for_times(self, table: Any) -> bool:
        """Whether a stamp that is read as words holds no digit: a summary at the end, which the exact parse knows."""
        if self.plan.time.kind != "stamp":
            return False
        import pyarrow.compute as pc  # late: a log of seconds does without it

        for position in self.plan.time.positions:
            cells = table.column(f"c{position}")
            if pa.types.is_string(cells.type) and not pc.all(pc.match_substring_regex(cells, r"^\W*\d")).as_py():
                return True
        return False

    def _unclosed(self, page: Page, rows: int) -> bool:
        """Whether lines went missing within quotation marks."""
        if b'"' not in page.block:
            return False
        lines = sum(1 for line in page.block.split(b"\n") if line.strip(b"\r"))
        return lines != rows + page.strange

    # ------------------------------------------------------------ the slow exact way

    def _parse_exact(self, page: Page) -> Any:
        """Cut all columns as words; None where there is no row."""
        if not page.tally.mended:
            page.block = self.mender.mended(page.block, page.tally)
        try:
            table = self._table(page, dict.fromkeys(range(self.layout.width), pa.string()))
        except pa.ArrowInvalid as error:
            if "Empty CSV" in str(error):
                return None
            raise LogError(
                f"{self.name}, near line {self._before + 1}: the rows cannot be cut into cells ({error}); mend that line."
            ) from None
        page.unclosed = self._unclosed(page, table.num_rows)
        return None if page.unclosed or table.num_rows == 0 else table

    def _place(self, row: int) -> str:
        """A row of the block last handed out, in words."""
        return f"line {self._line_of(row)}"

    def _changed(self, row: int) -> LogError | None:
        """What to say of a row of that block that holds several words and neither numbers nor times, None of others."""
        line = self._line_of(row)
        text = self._page.block.split(b"\n")[line - self._before - 1].decode("utf-8", "replace").rstrip("\r")
        cells = self.mender.cells_of(text)
        if any(map(sampled.strong, cells)) or sum(bool(cell.strip()) for cell in cells) < 2:
            return None
        return LogError(f"{self.name}, line {line}: the columns change here ({text[:60]!r}); split the file there.")

    def _line_of(self, row: int) -> int:
        """Number of the line of a row of the block at hand; the block holds one line for each row and blank ones."""
        filled = (k for k, line in enumerate(self._page.block.split(b"\n"), start=1) if line.strip(b"\r"))
        return self._before + next(itertools.islice(filled, row, None))

    # ------------------------------------------------------------ what was left out

    def _check_odd(self, most: float) -> None:
        """Refuse more rows of another shape than ``most``."""
        if self.tally.count[Left.UNREAD] <= most:
            return
        line, text = self.tally.first
        found = len(self.mender.cells_of(text))
        raise LogError(
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
        self._check_odd(min(max(ODD_ROWS, ODD_SHARE * self.rows), ODD_MOST * max(self.rows, 1)))
        if self._nul > max(ODD_ROWS, ODD_MOST * self.rows):
            raise LogError(f"{self.name}: {self._nul} lines hold NUL bytes; the file is damaged, copy it again.")
        notes = tally.notes()
        if self._nul:
            notes.append(f"Not read, and so not observed: {self._nul} {odd_rows.lines(self._nul)} with NUL bytes.")
        if self._blank:
            notes.append(
                f"Not read, and so not observed: {self._blank} empty {odd_rows.lines(self._blank)}, each taken for a row without"
                " a reading."
            )
        if self._cut:
            notes.append(f"The last line is cut off and was left out ({self._cut[:30]!r}).")
        return notes

    @property
    def unread(self) -> int:
        """Rows that could not be read."""
        return self.tally.count[Left.UNREAD] + self._nul


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


def _digits(cell: str, decimal: str) -> int:
    return len(cell.strip().rsplit(decimal, 1)[1]) if decimal in cell else 0


def _lines_in(block: bytes) -> int:
    """Number of line ends; numpy counts three times as fast as bytes do, and lets other threads run."""
    codes, found = np.frombuffer(block, np.uint8), 0
    for at in range(0, codes.size, _AT_ONCE):
        found += int(np.count_nonzero(codes[at : at + _AT_ONCE] == 10))
    return found
