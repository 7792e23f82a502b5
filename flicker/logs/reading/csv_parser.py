"""Cuts blocks of lines into columns: a fast typed parse, and a slow exact one for blocks that it refuses."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flicker.logs import arrow_types
from flicker.logs.model import LogError
from flicker.logs.read_ahead import side_by_side
from flicker.logs.reading import cells as odd_cells
from flicker.logs.reading import sniff, units
from flicker.logs.reading.plan import Plan

Floats = NDArray[np.float64]

ODD_ROWS = 20  # rows of another shape that are left out with a note, whatever the length;
ODD_SHARE = 0.001  # and this share of a long log,
ODD_MOST = 0.1  # but never more than this share
_NUMBER_RE2 = {
    ".": r"^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?$",
    ",": r"^[+-]?(?:\d+,?\d*|,\d+)(?:[eE][+-]?\d+)?$",
}
_AT_ONCE = 1 << 16  # bytes compared in one step, so that the answers stay in the cache
_ISO = ("ymd clock",)


@dataclass(slots=True)
class Page:
    """Lines of a log, how many they are, and what was left out of them; ``odd_first`` counts lines of the page."""

    block: bytes
    lines: int = 0
    odd: int = 0
    odd_first: tuple[int, str] | None = None
    comments: int = 0
    headers: int = 0
    unclosed: bool = False  # a quotation mark

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
        layout.quoted = layout.quoted or plan.marks is not None  # words may hold the delimiter, in a few rows only
        self.rows = 0
        self._before = layout.lines  # lines before the page at hand
        self._odd = 0
        self._odd_first: tuple[int, str] | None = None
        self._nul = 0
        self._comments = 0
        self._headers = 0
        self._cut = ""
        self._typed = not any(layout.columns[c.position].cell_units for c in plan.channels) and not layout.grouped
        self._names = [f"c{k}" for k in range(layout.width)]
        self._page = Page(b"")

    def cut(self, blocks: Iterable[tuple[bytes, bool]]) -> Iterator[tuple[dict[int, Any], int]]:
        """Parse blocks of lines into columns (by position) and their number of rows; the flag tells the file's end.

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
            self._book(page)
            if found is not None:
                self.rows += found[1]
                yield found
            self._before += page.lines

    def _book(self, page: Page) -> None:
        self._odd += page.odd
        if self._odd_first is None and page.odd_first is not None:
            line, text = page.odd_first
            self._odd_first = (self._before + line, text)
        self._comments += page.comments
        self._headers += page.headers
        if self._odd_limit_passed(final=False):
            raise self._odd_error()

    def _pages(self, blocks: Iterable[tuple[bytes, bool]]) -> Iterator[Page]:
        """Make each block fit for parsing."""
        layout = self.layout
        for raw, last in blocks:
            block = self._end(raw) if last else raw
            if not block:
                continue
            if b"\0" in block:
                block = self._without_nul(block)
            if not block.isascii():
                try:
                    block.decode("utf-8")
                except UnicodeDecodeError:
                    block = block.decode("cp1252", errors="replace").encode()
            if layout.delimiter == " ":
                block = b"\n".join(b" ".join(text.split()) for text in block.split(b"\n"))
            elif b"+" in block and layout.delimiter and not layout.quoted:
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
        cells = sniff.split(final, layout.delimiter, layout.quoted)
        before = rest[:-1][rest[:-1].rfind(b"\n") + 1 :].decode("utf-8", "replace").rstrip("\r")
        cut = len(cells) != layout.width
        if not cut and before and len(layout.header) == layout.width:
            earlier = sniff.split(before, layout.delimiter, layout.quoted)[-1]
            cut = _digits(cells[-1], layout.decimal) < _digits(earlier, layout.decimal)
        if cut and not (len(cells) == 1 and layout.width > 1 and sniff._COMMENT.match(final)):
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

    def _options(self, page: Page) -> Any:
        from pyarrow import csv

        return csv.ParseOptions(
            delimiter=self.layout.delimiter or "\x1f",
            quote_char='"' if self.layout.quoted else False,
            double_quote=self.layout.quoted,
            newlines_in_values=False,
            ignore_empty_lines=True,
            invalid_row_handler=lambda row: self._odd_row(row, page),
        )

    def _wanted(self) -> list[int]:
        run = tuple(place for place in (self.plan.run, self.plan.marks) if place is not None)
        time = self.plan.time.positions if self.plan.time.kind != "none" else ()
        return list(dict.fromkeys((*time, *(channel.position for channel in self.plan.channels), *run)))

    def _parse_typed(self, page: Page) -> tuple[dict[int, Any], int] | None:
        """Parse numbers and stamps as such; None where a cell is neither. Runs in a thread: touches only the page."""
        page.lines = _lines_in(page.block)
        if not self._typed:
            return None
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
        for place in (plan.run, plan.marks):
            if place is not None:
                types[self._names[place]] = pa.string()
        block = page.block
        try:
            table = csv.read_csv(
                pa.py_buffer(block),
                read_options=csv.ReadOptions(  # the block in one piece: half the work of pyarrow's pieces of a MiB
                    column_names=self._names, use_threads=False, block_size=len(block) + 1
                ),
                parse_options=self._options(page),
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
            page.odd = page.comments = page.headers = 0
            page.odd_first = None
            return None
        page.unclosed = self._unclosed(page, table.num_rows)
        return {k: table.column(self._names[k]) for k in self._wanted()}, table.num_rows

    def _unclosed(self, page: Page, rows: int) -> bool:
        """Whether lines went missing within quotation marks."""
        if not self.layout.quoted:
            return False
        lines = sum(1 for line in page.block.split(b"\n") if line.strip(b"\r"))
        return lines != rows + page.odd + page.comments + page.headers

    def _odd_row(self, row: Any, page: Page) -> str:
        text = row.text.strip()
        if sniff._COMMENT.match(text):
            page.comments += 1
        elif text in self.layout.heading:
            page.headers += 1
        else:
            page.odd += 1
            if page.odd_first is None:
                page.odd_first = (page.find(row.text), text)
        return "skip"

    def find(self, text: str) -> int:
        """Return the number of the line, in the block last handed out, that holds a text."""
        return self._before + self._page.find(text)

    def _odd_limit_passed(self, *, final: bool) -> bool:
        rows = max(self.rows, 1)
        allowed = max(ODD_ROWS, ODD_SHARE * rows)
        if final:
            allowed = min(allowed, ODD_MOST * rows)
        return self._odd > allowed

    def _odd_error(self) -> LogError:
        assert self._odd_first is not None
        line, text = self._odd_first
        found = len(sniff.split(text, self.layout.delimiter, self.layout.quoted))
        return LogError(
            f"{self.name}, line {line}: the columns change here ({found} cells instead of {self.layout.width}:"
            f" {text[:40]!r}); split the file there."
        )

    # ------------------------------------------------------------ the slow exact way

    def _parse_exact(self, page: Page) -> tuple[dict[int, Any], int] | None:
        import pyarrow as pa
        import pyarrow.compute as pc
        from pyarrow import csv

        try:
            table = csv.read_csv(
                pa.py_buffer(page.block),
                read_options=csv.ReadOptions(column_names=self._names, use_threads=False),
                parse_options=self._options(page),
                convert_options=csv.ConvertOptions(
                    column_types=dict.fromkeys(self._names, pa.string()), strings_can_be_null=False
                ),
            )
        except pa.ArrowInvalid as error:
            if table_is_empty(error):
                return None
            raise LogError(
                f"{self.name}, near line {self._before + 1}: the rows cannot be cut into cells ({error})."
            ) from None
        page.unclosed = self._unclosed(page, table.num_rows)
        if page.unclosed or table.num_rows == 0:
            return None
        columns = {k: pc.utf8_trim_whitespace(arrow_types.single(table.column(self._names[k]))) for k in self._wanted()}
        drop = self._headers_and_comments(table, page)
        out: dict[int, Any] = {}
        numbers = [channel.position for channel in self.plan.channels]
        if self.plan.time.kind == "number":
            numbers.append(self.plan.time.positions[0])
        for position, column_cells in columns.items():
            if position in numbers:
                out[position] = self._numbers(column_cells, position, drop, table)
            else:
                out[position] = column_cells
        keep = ~drop
        if drop.any():
            mask = arrow_types.mask(keep)
            out = {k: v[keep] if isinstance(v, np.ndarray) else v.filter(mask) for k, v in out.items()}
        return out, int(keep.sum())

    def _headers_and_comments(self, table: Any, page: Page) -> NDArray[np.bool_]:
        """Mark rows that repeat the header or are comments with as many cells as a row."""
        import pyarrow.compute as pc

        first = pc.utf8_trim_whitespace(arrow_types.single(table.column(0)))
        suspects = arrow_types.truths(pc.match_substring_regex(first, r"^[^\d\s.,+-]"))
        drop = np.zeros(suspects.size, dtype=bool)
        for row in np.flatnonzero(suspects)[:10000]:
            cells = [str(table.column(k)[int(row)]).strip() for k in range(self.layout.width)]
            if sniff._COMMENT.match(cells[0]):
                page.comments += 1
                drop[row] = True
            elif self._is_heading(cells):
                page.headers += 1
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
        bare, volts = _without_units(cells) if column.cell_units else (cells, None)
        good = arrow_types.truths(pc.match_substring_regex(bare, _NUMBER_RE2[layout.decimal]))
        if volts is not None:
            good &= volts > 0
        bare = pc.utf8_ltrim(bare, characters="+")
        if layout.decimal == ",":
            bare = pc.replace_substring(bare, ",", ".")
        values = np.full(good.size, np.nan)
        values[good] = arrow_types.floats(pc.cast(bare.filter(arrow_types.mask(good)), pa.float64()))
        for unit in () if volts is None else np.unique(volts[good]):
            rows = good & (volts == unit)
            values[rows] = odd_cells.to_volts(values[rows], float(unit))
        rest = np.flatnonzero(~good & ~drop)
        if rest.size:
            coded = pc.dictionary_encode(cells.take(arrow_types.places(rest)))
            codes = arrow_types.whole(coded.indices)
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
        found = odd_cells.value(word, self.layout.decimal, self.layout.grouped, units=units)
        if (
            units
            and found
            and math.isfinite(found)
            and odd_cells.number(word, self.layout.decimal, self.layout.grouped) is not None
        ):
            return None  # a number without a unit among numbers with one
        return found

    def _bad(self, cell: str, row: int, position: int, table: Any) -> LogError:
        cells = [str(table.column(k)[row]) for k in range(self.layout.width)]
        line = self._line_of(row)
        title = self.layout.header[position] if position < len(self.layout.header) else f"column {position + 1}"
        if sum(sniff._strong(c) for c in cells) == 0 and sum(bool(c.strip()) for c in cells) > 1:
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
        for k, line in enumerate(self._page.block.split(b"\n")):
            text = line.strip(b"\r")
            if not text:
                continue
            if (
                len(sniff.split(text.decode("utf-8", "replace"), self.layout.delimiter, self.layout.quoted))
                == self.layout.width
            ):
                seen += 1
            if seen == row:
                return self._before + k + 1
        return self._before + 1

    def notes(self) -> list[str]:
        """Judge what was left out, and say it.

        Raises
        ------
        LogError
            If it is too much.
        """
        notes = []
        if self._odd and self._odd_limit_passed(final=True):
            raise self._odd_error()
        if self._nul > max(ODD_ROWS, ODD_MOST * self.rows):
            raise LogError(f"{self.name}: {self._nul} lines hold NUL bytes; the file is damaged.")
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
        return notes


def table_is_empty(error: Exception) -> bool:
    """Whether pyarrow found no rows at all."""
    return "Empty CSV" in str(error)


def _without_units(cells: Any) -> tuple[Any, Floats]:
    """Split cells such as '12.3 mV' into the number's text and volts per unit; 0 where there is no unit of volts."""
    import pyarrow.compute as pc

    fields = arrow_types.single(
        pc.extract_regex(cells, r"^(?P<n>[^A-Za-zµμ]*(?:[eE][+-]?\d+)?)\s*(?P<u>[A-Za-zµμ]{1,12}(?: ?DC)?)$")
    )
    coded = pc.dictionary_encode(pc.fill_null(fields.field("u"), ""))
    volts = np.array([units.volts_per(unit) or 0.0 for unit in coded.dictionary.to_pylist()])
    return pc.utf8_trim_whitespace(pc.fill_null(fields.field("n"), "")), volts[arrow_types.whole(coded.indices)]


def _digits(cell: str, decimal: str) -> int:
    return len(cell.strip().rsplit(decimal, 1)[1]) if decimal in cell else 0


def _lines_in(block: bytes) -> int:
    """Number of line ends; numpy counts three times as fast as bytes do, and lets other threads run."""
    codes, found = np.frombuffer(block, np.uint8), 0
    for at in range(0, codes.size, _AT_ONCE):
        found += int(np.count_nonzero(codes[at : at + _AT_ONCE] == 10))
    return found


def _lines(count: int) -> str:
    return "line" if count == 1 else "lines"
