"""Reads a text log block by block: lines cut into columns become seconds and volts, kept in a spool."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import pyarrow as pa

from flicker.logs import arrow_types
from flicker.logs.read_ahead import ahead
from flicker.logs.reading import files
from flicker.logs.reading.planning.columns import Wishes
from flicker.logs.reading.planning.plan import How, Plan, make_plan
from flicker.logs.reading.samples.converter import Converter
from flicker.logs.reading.samples.kept_rows import KeptRows
from flicker.logs.reading.samples.spool import Spool, SpoolSource
from flicker.logs.reading.text import sniff
from flicker.logs.reading.text.csv_parser import Cutter, table_of


class TextReader:
    """Cuts blocks of lines as a layout says (`cutter`), and keeps their rows as samples (`rows`)."""

    def __init__(self, name: str, layout: sniff.Layout, plan: Plan, spool: Spool, *, marks_told: bool = False, growing: bool = False) -> None:
        self.cutter = Cutter(name, layout, plan)
        convert = Converter(plan, name, layout.columns, layout.numerals)
        self.rows = KeptRows(name, convert, spool, marks_told=marks_told, growing=growing)

    def take(self, blocks: Iterable[tuple[bytes, bool]]) -> None:
        """Parse blocks of lines; the flag says that the file ends behind them."""
        for cut in self.cutter.cut(blocks):
            self.rows.take(cut)


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
    expected = 0 if packed else int(file.size * lines_per_byte)
    spool = Spool(plan.width, file.name, in_memory=in_memory, expected_rows=expected)
    reader = TextReader(file.name, layout, plan, spool, marks_told=wishes.marks_column is not None)
    reader.take(ahead(lines.blocks(layout.begin)))
    how = How(
        form="text",
        separator=layout.delimiter,
        decimal=layout.numerals.decimal,
        header=layout.has_header,
        columns=tuple(layout.columns),
        plan=plan,
    )
    source = reader.rows.source(
        file, how, few=wishes.few, before=layout.notes, left_out=reader.cutter.notes(), unread=reader.cutter.unread
    )
    if file.check(may_grow=True) and not packed:
        source.notes += ("The file was still growing; it was read up to the length it had at first.",)
    if lines.encoding != "utf-8":
        source.notes += (f"The text is {lines.encoding.upper()}.",)
    return source


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
