"""Lines that are no rows of readings: comments, headings again, summaries, rows with another number of cells.

A row that should hold readings and cannot be read keeps its place in time: its time, where it shows one, and no reading.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from dataclasses import dataclass, field
from enum import StrEnum

from flicker.logs.errors import LogError, Question
from flicker.logs.reading.planning import heading, sampled
from flicker.logs.reading.planning.plan import Plan
from flicker.logs.reading.text import header, sniff
from flicker.logs.reading.words import clock, odd_cells, units, vocabulary
from flicker.logs.reading.words.numerals import unquoted

NOT_READ = "\x1anot read\x1a"  # stands for a line that cannot be read
_SIGNS = re.compile(r"^[ \t]*(?:#|%|//|!|')+[ \t]*")  # of a comment


class Left(StrEnum):
    """What became of a line that is no row of readings as it stands."""

    UNREAD = "unread"
    MERGED = "merged"
    NOTED = "noted"
    COMMENT = "comment"
    HEADING = "heading"
    SUMMARY = "summary"


_SAID = {  # of so many lines, in this order
    Left.UNREAD: "Not read, and so not observed: {n} {lines} with another number of cells, the first in line {line} ({text!r}).",
    Left.MERGED: "Thousands separators without quotes: {n} {lines} put together.",
    Left.NOTED: "Words behind the last column were passed over in {n} {lines}.",
    Left.COMMENT: "Left out: {n} comment {lines} among the readings.",
    Left.HEADING: "The heading is repeated among the readings ({n} {lines}): the logger was restarted.",
    Left.SUMMARY: "Left out: {n} {lines} of a summary.",
}


@dataclass(slots=True)
class Tally:
    """How many lines were left out or not read, and the first that was not read with its line."""

    count: Counter[Left] = field(default_factory=Counter)
    first: tuple[int, str] = (0, "")
    mended: bool = False

    def add(self, other: Tally, before: int) -> None:
        """Add what a page held; ``before`` lines stand before it."""
        if not self.count[Left.UNREAD] and other.count[Left.UNREAD]:
            self.first = (before + other.first[0], other.first[1])
        self.count.update(other.count)

    def notes(self) -> list[str]:
        """Say what was left out."""
        line, text = self.first
        return [
            words.format(n=self.count[left], lines=lines(self.count[left]), line=line, text=text[:30])
            for left, words in _SAID.items()
            if self.count[left]
        ]


class Mender:
    """Makes each line of a page a row of the layout's width, or blank where it holds no readings."""

    def __init__(self, name: str, layout: sniff.Layout, plan: Plan) -> None:
        self.name = name
        self.layout = layout
        self.plan = plan
        self._time = plan.time.read
        self._header = [title.strip().strip('"') for title in layout.header]

    def cells_of(self, line: str) -> list[str]:
        """Cut a line into cells."""
        if not self.layout.delimiter:
            return re.split(r"[;\t|]", line.strip())  # a note behind the only column
        return header.split(line, self.layout.delimiter, '"' in line)

    def left_out(self, line: str, cells: list[str]) -> Left | None:
        """Say why a line holds no readings, None where it should hold some."""
        text = line.strip()
        if header.COMMENT.match(text) and not sampled.strong(cells[0]):
            return None if self._retold(text) else Left.COMMENT
        if len(cells) != self.layout.width and not any(sign.isalnum() for sign in text):
            return Left.COMMENT  # a rule of dashes
        if text in self.layout.heading or [c.strip().strip('"') for c in cells][: len(self._header)] == self._header:
            return Left.HEADING
        if not any(ch.isdigit() for ch in text) and sampled.units_row(cells):
            return None if self._retold(text) else Left.HEADING
        place = self._time[-1] if self._time else 0
        lead = [cells[k] for k in {0, place} if k < len(cells)]
        if self.plan.key is not None and self._time:
            lead = [cells[place]] if place < len(cells) else []
        opening = self.layout.columns[0]
        known = opening.kind == "text" and cells[0].strip().strip('"') in opening.cells
        if sampled.is_summary(cells[0]) and not known and opening.position != self.plan.key:
            return Left.SUMMARY
        if any(sampled.is_summary(cell) for cell in lead) and not any(
            sampled.strong(cells[k]) for k in self._time if k < len(cells)
        ):
            return Left.SUMMARY
        if len(cells) != self.layout.width and (sampled.is_summary(cells[0]) or sampled.is_count(cells[0])):
            return Left.SUMMARY
        return None

    def mended(self, block: bytes, tally: Tally) -> bytes:
        """Return a page whose lines are all rows, or blank.

        Raises
        ------
        LogError
            If a row has a cell too many that may be a thousands group, in more ways than one.
        """
        tally.mended = True
        width = self.layout.width
        out = []
        raws = block.split(b"\n")
        for number, raw in enumerate(raws, start=1):
            line = raw.rstrip(b"\r").decode("utf-8", "replace")
            if not line.strip():
                out.append(b"")
                continue
            broken = line.count('"') % 2 == 1  # a quotation mark that nothing closes
            cells = [""] * (width + 1) if line == NOT_READ or broken else self.cells_of(line)
            if broken:
                line = line.replace('"', "")
            first = cells[0].strip().strip('"')
            fits = len(cells) == width
            begins = first[0].isdigit() or first[0] in "+-." if first else any(map(sampled.strong, cells))
            if fits and begins and self._timed(cells):
                out.append(raw)
                continue
            left = None if line == NOT_READ else self.left_out(line, cells)
            if left is None and len(cells) == 1 < width and self._heads(raws[number:]) and not self._retold(line.strip()):
                left = Left.COMMENT
            if left is not None:
                tally.count[left] += 1
                out.append(b"")
            elif fits:
                out.append(raw)
            elif line == NOT_READ:
                out.append(self._row([]))
            elif not broken and self._retold(line.strip()):
                raise LogError(
                    f"{self.name}: below {line.strip()[:60]!r} the readings have another unit, interval or beginning, or other"
                    " columns; split the file there."
                )
            else:
                out.append(self._row_of(cells, line, number, tally))
        return b"\n".join(out)

    def _heads(self, below: list[bytes]) -> bool:
        """Whether the heading stands again below a title."""
        line = text_of(next(filter(bytes.strip, below[:5]), b""))
        return bool(line.strip()) and self.left_out(line, self.cells_of(line)) is Left.HEADING

    def _is_time(self, cell: str, position: int) -> bool:
        """Whether a cell tells the time as those of its column do."""
        forms = dict(zip(self.plan.time.positions, self.plan.time.forms, strict=False))
        return clock.matches(cell, forms[position]) if position in forms else sampled.is_time(cell)

    def _timed(self, cells: list[str]) -> bool:
        """Whether the cells of the time hold digits."""
        return all(any(ch.isdigit() for ch in cells[k]) for k in self._time)

    def _row_of(self, cells: list[str], line: str, number: int, tally: Tally) -> bytes:
        """What becomes of a row with another number of cells: put together, cut behind the last column, or its time alone."""
        commas = self.layout.commas
        if commas is None and self.layout.delimiter == "," and len(cells) > self.layout.width:
            from flicker.logs.reading.text.grouped_rows import Commas

            commas = Commas(self.layout.width)
        if commas is not None:
            ways = commas.ways(cells)
            if len(ways) == 1:
                tally.count[Left.MERGED] += not commas.decimal
                return self._row(ways[0])
            if len(ways) > 1 and not commas.sure_only:
                raise Question(
                    f"{self.name}: {line[:60]!r} has {len(cells)} cells instead of {self.layout.width}, and where commas part"
                    " thousands is not clear; write the log without thousands separators, or have such rows left out as not"
                    " observed with thousands='sure' (--thousands sure).",
                    thousands="sure",
                )
        if len(cells) > self.layout.width and self._words_behind(cells):
            tally.count[Left.NOTED] += 1
            return self._row(cells[: self.layout.width])
        if not tally.count[Left.UNREAD]:
            tally.first = (number, line.strip())
        tally.count[Left.UNREAD] += 1
        return self._timed_alone(cells, line, apart=commas is None or not (commas.keep_apart or commas.sure_only))

    def without_readings(self, line: str) -> bytes:
        """A row that keeps its place in time, and no reading."""
        return self._timed_alone(self.cells_of(line), line)

    def _timed_alone(self, cells: list[str], line: str, *, apart: bool = True) -> bytes:
        # thousands that were told to be none may have cut the time in two as well (not ``apart``)
        times = [k for k in self._time if apart and k < len(cells) and self._is_time(cells[k], k)]
        return self._row([cells[k] if k in times else "" for k in range(self.layout.width)])

    def unreadable(self, cells: list[str]) -> list[int]:
        """Positions of the channels whose cells are no numbers and no words of a meter."""
        known = {word.strip().lower() for word in (*self.plan.missing_words, *self.plan.over_words)}
        return [
            channel.position
            for channel in self.plan.channels
            if unquoted(cells[channel.position]).lower() not in known
            and odd_cells.value(
                cells[channel.position].strip(),
                self.layout.numerals,
                units_too=self.layout.columns[channel.position].cell_units,
            )
            is None
        ]

    def placed(self, cells: list[str]) -> bool:
        """Whether the cells of the time are such as those of the rows before, or empty."""
        stamps = self.plan.time.kind == "stamp"
        bare = {k: unquoted(cells[k]) for k in self._time if k < len(cells)}
        return len(bare) == len(self._time) and all(
            cell.lower() in odd_cells.MISSING or (self._is_time(cell, k) if stamps else sampled.strong(cell))
            for k, cell in bare.items()
        )

    def without(self, cells: list[str], positions: list[int]) -> bytes:
        """A row with these cells empty."""
        return self._row(["" if k in positions else cell for k, cell in enumerate(cells)])

    def _retold(self, text: str) -> bool:
        """Whether a line without readings says that those below it are of another unit or time, or in other columns.

        A comment that names the columns, a row of units, or a line such as ``Unit: V`` or, where time is counted by what
        the heading tells, ``Interval: 2 s`` or ``Start: 10:15``.
        """
        if text in self.layout.heading or self.plan.key is not None:
            return False
        if self.plan.time.counted:
            moment = heading.start_in([_SIGNS.sub("", text)], None)[0]
            if heading.interval_of(text) not in (None, self.plan.time.factor) or moment not in (None, self.plan.start):
                return True
        volts = {c.position: c.volts for c in self.plan.channels if c.role == "output" and not c.beside}
        bare = _SIGNS.sub("", text)
        cells = [unquoted(cell) for cell in self.cells_of(bare)]
        told = header.unit_told(bare)
        if told is not None:
            return all(told != known for known in volts.values())
        if sampled.units_row(cells):
            found = [(k, units.volts_per(cell)) for k, cell in enumerate(cells)]
            if len(cells) == self.layout.width:
                return any(unit is not None and volts.get(k, unit) != unit for k, unit in found)
            return any(unit is not None and unit not in volts.values() for _, unit in found)
        if len(cells) != self.layout.width or bare == text:
            return False
        labels = {k: units.label(cells[k]) for k in volts}
        if not any(label.kind == "volts" for label in labels.values()):
            return False
        same = all(
            cells[k] == self._header[k]
            or (label.name == units.label(self._header[k]).name and units.volts_per(label.unit) == volts[k])
            for k, label in labels.items()
        )
        return not same and all(label.kind == "volts" or cells[k] == self._header[k] for k, label in labels.items())

    def another_heading(self, line: str) -> bool:
        """Whether a line names other columns or units than the heading: words where time and readings stand."""
        if self._retold(line.strip()):
            return True
        cells = self.cells_of(line)
        if len(cells) == 1:
            cells = re.split(r"[;,\t|]", line)  # the separator may change too
        filled = [word for cell in cells if (word := unquoted(cell))]
        if len(filled) > len(self._header) and filled[: len(self._header)] == self._header:
            return True  # with further columns
        if not filled or self.left_out(line, cells) is not None or 2 * sum(map(sampled.strong, filled)) > len(filled):
            return False
        if any(self._is_time(cells[k], k) for k in self._time if k < len(cells)):
            return False
        if len(filled) < 2 <= self.layout.width or any(odd_cells.word_value(cell) is not None for cell in filled):
            return False
        if len(cells) == self.layout.width and len(filled) == len(cells) and not any(map(sampled.strong, filled)):
            return True  # words in every column: names in a language that is not known
        named = vocabulary.TIME | vocabulary.OUTPUT | vocabulary.READING
        return any(units.label(cell).kind == "volts" or named & set(vocabulary.words_of(cell)) for cell in filled)

    def _words_behind(self, cells: list[str]) -> bool:
        """Whether a row is whole, and only words follow its last cell."""
        width = self.layout.width
        behind = [cell.strip() for cell in cells[width:]]
        numbers = [channel.position for channel in self.plan.channels]
        whole = all(sampled.looks_numeric(cells[k]) for k in numbers) and all(
            self._is_time(cells[k], k) for k in self._time
        )
        return whole and not any(any(ch.isdigit() for ch in cell) for cell in behind)

    def _row(self, cells: list[str]) -> bytes:
        """Cells as a line of the layout."""
        row = cells or [""] * self.layout.width
        delimiter = self.layout.delimiter or "\x1f"
        if self.layout.delimiter == " ":
            row = [cell or "NaN" for cell in row]
        if not any(row):
            row = ["NaN", *row[1:]]  # a line without anything would be no row
        if not any('"' in cell or delimiter in cell for cell in row):
            return delimiter.join(row).encode()
        text = io.StringIO()
        csv.writer(text, delimiter=delimiter, lineterminator="").writerow(row)
        return text.getvalue().encode()


def lines(count: int) -> str:
    """'line' or 'lines'."""
    return "line" if count == 1 else "lines"


def text_of(line: bytes) -> str:
    """A line without its end."""
    return line.decode("utf-8", "replace").rstrip("\r\n")


def is_row(mender: Mender, line: bytes) -> bool:
    """Whether a line has the shape of a row, or is one that is left out."""
    if b"\0" in line:
        return False
    tally = Tally()
    try:
        mender.mended(line, tally)
    except LogError:
        return False
    return not tally.count[Left.UNREAD]


def likely_rows(mender: Mender, block: bytes) -> bool:
    """Whether all lines are likely rows of the layout's width."""
    layout = mender.layout
    if b"\0" in block or b'"' in block or layout.delimiter in ("", " ") or layout.commas is not None:
        return b"\0" not in block and all(is_row(mender, line) for line in block.splitlines(keepends=True))
    return block.count(layout.delimiter.encode()) == (layout.width - 1) * block.count(b"\n")


def heading_in(mender: Mender, block: bytes) -> int | None:
    """Where lines begin that end in another heading than the one read by; None where there are none."""
    begin, at = -1, 0
    for line in block.splitlines(keepends=True):
        lead = line.lstrip(b' \t"')[:1]
        if not lead or lead.isdigit() or lead in b"+-.\0":
            begin = -1
        else:
            begin = at if begin < 0 else begin
            if mender.another_heading(text_of(line)):
                return begin
        at += len(line)
    return None


def can_be_read(mender: Mender, line: bytes) -> bool:
    """Whether a line can be read, with or without some of its cells."""
    if not is_row(mender, line):
        return False
    text = text_of(line)
    cells = mender.cells_of(text)
    if not text.strip() or mender.left_out(text, cells) is not None:
        return True
    return mender.placed(cells) and _bad_cells(mender, cells) is not None


def with_blanks(mender: Mender, line: bytes) -> tuple[bytes, dict[str, str]] | None:
    """A row without the cells that are no numbers, and those cells by channel; None where nothing is left of it."""
    cells = mender.cells_of(text_of(line))
    bad = _bad_cells(mender, cells)
    if not bad or not mender.placed(cells):
        return None
    found = {
        channel.name: cells[channel.position].strip() for channel in mender.plan.channels if channel.position in bad
    }
    return mender.without(cells, bad) + b"\n", found


def _bad_cells(mender: Mender, cells: list[str]) -> list[int] | None:
    """Cells of channels that are no numbers; None where no channel has a number and one of the cells may be one."""
    if len(cells) != mender.layout.width:
        return []
    bad = mender.unreadable(cells)
    words = not any(any(sign.isdigit() for sign in cells[k]) for k in bad)
    return bad if words or len(bad) < len(mender.plan.channels) else None
