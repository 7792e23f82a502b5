"""How is this text laid out? The first MiB and the last lines in; delimiter, decimal sign, header and columns out."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from flicker.logs.errors import LogError
from flicker.logs.reading.planning import sampled
from flicker.logs.reading.planning.columns import Column, Wishes
from flicker.logs.reading.planning.sampled import strong
from flicker.logs.reading.samples.whole import empty
from flicker.logs.reading.text.header import COMMENT, first_row, fitting, header_above, preamble, split
from flicker.logs.reading.words import numerals, odd_cells, units
from flicker.logs.reading.words.numerals import LONGEST, Numerals

if TYPE_CHECKING:
    from flicker.logs.reading.text.grouped_rows import Commas

MAX_COLUMNS = 1024
_HEAD_LINES = 4000  # lines looked at
NAMED = 0.2  # a choice: more than cells of words beside the numbers can cost, less than rows that do not fit
UNDIVIDED = 0.3  # what a line without any delimiter must be better by: a choice
NAMED_ROWS = 0.9  # of the rows must fall into as many cells as the names; a choice
BLANK_ROWS = 0.3  # fewer empty lines than this among single numbers are missing readings; common practice, no source
_DELIMITERS = ("\t", ";", ",", "|", " ", "")
_JSON = re.compile(rb"\s*[\[{]\s*[\[{\x22]")
_PADDED = re.compile(r"\s*0\d+\s*")
_DIGITS = re.compile(r"\s*[+-]?\d+(?:[eE][+-]?\d+)?\s*(?:[A-Za-zµμ]{1,12}(?: ?DC)?\s*)?")  # the unit may stand behind


@dataclass(slots=True)
class Layout:
    """How the lines of a text log are to be cut; ``begin`` is the byte at which data begin, after ``lines`` lines."""

    delimiter: str
    numerals: Numerals
    quoted: bool
    width: int
    begin: int
    lines: int
    header: list[str]
    extra: int  # empty cells behind the last column of each row
    preamble: tuple[str, ...]
    heading: frozenset[str]
    has_header: bool = True
    columns: list[Column] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    blank_rows: bool = False  # an empty line is a row without a reading
    commas: Commas | None = None  # how rows with more cells than columns are put together


def sniff(head: bytes, tail: bytes, whole: bool, wishes: Wishes, name: str) -> Layout:
    """Find the layout of a text log.

    Parameters
    ----------
    head : bytes
        The first MiB in UTF-8 (a last line cut off is ignored unless ``whole``).
    tail : bytes
        Whole lines from the end of the file, may be empty.
    whole : bool
        Whether ``head`` is the whole file.

    Raises
    ------
    LogError
        If this is no log, or if it can be read in more than one way.
    """
    notes: list[str] = []
    lines = _lines(head, whole, name, notes)
    filled = [k for k, line in enumerate(lines) if line.strip("\0 \t\r,;") and not COMMENT.match(line)]
    if not filled:
        raise LogError(f"{name} holds no lines of readings; export the readings as CSV.")
    if _JSON.match(head[:200]):
        raise LogError(f"{name} holds objects in braces (JSON); write time and readings in columns, as CSV.")
    body = _body(lines, filled)
    sample = [lines[k] for k in body if "\0" not in lines[k]] or [lines[body[-1]]]
    quoted = any('"' in line for line in lines)
    begun = next((k for k in body if _mostly_digits(lines[k])), body[0])
    above = [line for line in lines[:begun] if any(ch.isalpha() for ch in line)]
    delimiter, width = _delimiter(sample, quoted, wishes, name, above[-1] if above else "")
    if width > MAX_COLUMNS:
        raise LogError(f"{name} has {width} columns; a log has at most {MAX_COLUMNS}; write those that matter.")
    cut = [split(line, delimiter, quoted) for line in sample]
    rows = [cells for cells in cut if len(cells) == width]
    first = first_row(lines, filled, rows, delimiter, quoted, width)
    if first is None:
        raise _no_rows(lines, filled, name)
    header, unit_cells, at = header_above(lines, first, delimiter, quoted, width)
    commas = None
    apart = 0
    if delimiter == "," and not header:
        from flicker.logs.reading.text.grouped_rows import cells_apart  # late: most columns have names

        apart = cells_apart([row for row in rows if any(map(strong, row))], wishes, name)
        width -= apart
    too_long = (header and len(header) < width) or any(len(c) > width for c in cut)
    if delimiter == "," and (too_long or wishes.thousands is not None):
        from flicker.logs.reading.text.grouped_rows import judge  # late: most rows fit their header

        filled_rows = [cells for cells in cut if any(map(strong, cells))]
        commas = judge(filled_rows, len(header) or width, wishes, name)
    if commas is not None and (apart or (header and len(header) < width)):
        width = len(header) or width
        merged = [commas.merge(cells) for cells in cut]
        rows = [cells for cells in merged if cells is not None and len(cells) == width]
        header, unit_cells, at = header_above(lines, first, delimiter, quoted, width)
    header = fitting(header, rows, width, delimiter, first, name)
    extra = max(0, width - len(header)) if header else 0
    body_cells = [row for row in rows if row[0][:1].isdigit() or not sampled.units_row(row)]
    if commas is not None and commas.decimal:
        how = Numerals(".")  # the commas were replaced where the rows were put together
    else:
        columns = [[row[k] for row in body_cells] for k in range(width)]
        how = numerals.judge(columns, name, wishes.decimal, points_likely=delimiter in (",", " ", ""))
    has_header = bool(header)
    if not header:
        header = [f"column {k + 1}" for k in range(width)]
        notes.append("The file has no header; columns were told by their content.")
    header = [units.tidy(title) or f"column {k + 1}" for k, title in enumerate(header)]
    layout = Layout(
        delimiter=delimiter,
        numerals=how,
        quoted=any('"' in line for line in sample),
        width=width,
        begin=_offset(head, first),
        lines=first,
        header=header,
        extra=extra,
        preamble=preamble(lines[: at if at is not None else first]),
        heading=frozenset(line.strip() for line in lines[:first] if line.strip()),
        has_header=has_header,
        notes=notes,
        commas=commas,
        blank_rows=width == 1 and _blank_share(lines[first:]) < BLANK_ROWS and not _words_for_none(rows),
    )
    if how.decimal == "," or (commas is not None and commas.decimal):
        notes.append("Commas were read as decimal signs.")
    head_rows = _rows(lines[first:], first, layout)
    tail_rows = [] if whole else _rows(_decode(tail, []).split("\n")[:-1], None, layout)[-200:]
    words = (*wishes.missing_words, *wishes.over_words)
    layout.columns = [
        sampled.column_of(
            title,
            k,
            [(line, row[k]) for line, row in head_rows],
            [(line, row[k]) for line, row in tail_rows],
            how,
            unit_cells[k] if k < len(unit_cells) else "",
            words,
        )
        for k, title in enumerate(header)
    ]
    return layout


def _words_for_none(rows: Sequence[Sequence[str]]) -> bool:
    """Whether the file writes a word where a reading is missing, so that an empty line is none."""
    return any(cell.strip('" ') and cell.strip('" ').lower() in odd_cells.MISSING for row in rows for cell in row)


def _blank_share(lines: Sequence[str]) -> float:
    body = lines[: max(1, len(lines) - 3)]
    return sum(not line.strip() for line in body) / max(1, len(body))


def _lines(head: bytes, whole: bool, name: str, notes: list[str]) -> list[str]:
    """The first lines of a file, none cut off."""
    text = _decode(head, notes)
    lines = text.split("\n", _HEAD_LINES)[:_HEAD_LINES]
    if lines and (not lines[-1].strip() or (not whole and len(lines) < _HEAD_LINES)):
        lines = lines[:-1]
    lines = [line.rstrip("\r") for line in lines]
    if len(max(lines, default="", key=len)) > 1 << 18:
        cells = max(max(lines, key=len).count(d) for d in "\t;,|")
        what = f"{cells + 1} cells" if cells > MAX_COLUMNS else f"{len(max(lines, key=len))} characters"
        raise LogError(f"{name}: a line has {what}; a log has at most {MAX_COLUMNS} columns; write those that matter.")
    return lines


def _body(lines: list[str], filled: list[int]) -> list[int]:
    """Lines that are surely among the readings: from the first five in a row that are mostly digits."""
    rich: list[bool] = []
    for place in range(len(filled)):
        while len(rich) < min(place + 5, len(filled)):
            rich.append(_mostly_digits(lines[filled[len(rich)]]))
        if sum(rich[place:]) >= min(4, len(filled) - place):
            return filled[place : place + 400]
    return filled[-max(1, (len(filled) * 2) // 3) :][:400]


def _mostly_digits(line: str) -> bool:
    solid = re.sub(r"[\s,;|]", "", line)
    return sum(ch.isdigit() for ch in solid) > 0.3 * len(solid)


def _decode(raw: bytes, notes: list[str]) -> str:
    """Bytes as text: UTF-8, or Windows-1252 where they are none; a note says so."""
    try:
        return raw[: raw.rfind(b"\n") + 1 or None].decode("utf-8") + raw[raw.rfind(b"\n") + 1 :].decode(
            "utf-8", "replace"
        )
    except UnicodeDecodeError:
        notes.append("The text is not UTF-8; its words were read as Windows-1252.")
        return raw.decode("cp1252", errors="replace")


def _offset(head: bytes, lines: int) -> int:
    """The byte at which a line begins."""
    at = 0
    for _ in range(lines):
        at = head.index(b"\n", at) + 1
    return at


def _delimiter(sample: Sequence[str], quoted: bool, wishes: Wishes, name: str, title: str = "") -> tuple[str, int]:
    """What parts the cells, and into how many: each candidate is weighed by how many rows it cuts alike and how many cells are then numbers or times."""
    best: tuple[float, str, int] = (0.0, "", 1)
    few = [line for line in sample[:60] if any(ch.isdigit() for ch in line)] or sample[:60]
    told = wishes.separator
    if told is not None:
        told = told if told.strip(" ") else " "
        told = {"tab": "\t", "\\t": "\t", "space": " ", "none": ""}.get(told, told)
        if told not in _DELIMITERS:
            raise LogError(f"separator must be one of ; , tab | space, got {wishes.separator!r} (--separator).")
    for rank, delimiter in enumerate(_DELIMITERS if told is None else (told,)):
        if delimiter and delimiter not in "".join(few):
            continue
        if delimiter == " " and told is None and any(_in_most(d, few) for d in "\t;|"):
            continue
        if not delimiter and best[0] >= 1.0 - UNDIVIDED:
            continue  # no line as a whole can do better
        rows = [split(line.strip("\r") if delimiter != " " else line.strip(), delimiter, quoted) for line in few]
        width, count = Counter(map(len, rows)).most_common(1)[0]
        if width < 2 and delimiter:
            continue
        if width > MAX_COLUMNS:
            return delimiter, width
        cells = [cell for row in rows if len(row) == width for cell in row]
        good = sum(map(strong, cells)) / max(sum(bool(cell.strip()) for cell in cells), 0.5 * len(cells))
        if delimiter == " " and _in_most(",", few) and any("," in c and not strong(c) for c in cells):
            continue
        if delimiter == "," and width == 2 and title and "," not in title and all(map(_DIGITS.fullmatch, cells)):
            continue  # one column of numbers with decimal commas, under a header of one name
        padded = sum(_PADDED.fullmatch(cell) is not None for cell in cells)
        if delimiter == "," and padded > 0.15 * len(cells) and not quoted and "," not in title:
            good *= 0.3  # '0,012' cut at its decimal comma
        if delimiter and good:
            columns = list(zip(*[row for row in rows if len(row) == width], strict=True))
            if any(sum(map(strong, column)) > 0.9 * len(column) for column in columns):
                good = max(good, 0.5 + 0.3 * good)  # words beside columns that are numbers throughout
        score = (count / len(rows)) * good - 0.001 * rank
        if title and count >= NAMED_ROWS * len(rows) and len(split(title.strip(), delimiter, quoted)) == width > 1:
            score += NAMED  # the names above fall into as many cells: what else stands in the numbers is their decimal sign
        if delimiter == "":
            score -= UNDIVIDED
        if score > best[0]:
            best = (score, delimiter, width)
    if best[0] <= 0.02 and best[1:] == ("", 1):
        raise _no_rows(list(sample), list(range(len(sample))), name)
    return best[1], best[2]


def _in_most(mark: str, lines: Sequence[str]) -> bool:
    return sum(mark in line for line in lines) >= 0.9 * len(lines)


def _no_rows(lines: Sequence[str], filled: Sequence[int], name: str) -> LogError:
    """What to say of a file without a line of readings."""
    seen = next((lines[k].strip() for k in filled), "")[:40]
    if len(filled) == 1 and re.search(r"[,;\t]", lines[filled[0]]):
        return empty(name)
    return LogError(
        f"{name} is text, but no log: no line of readings was found (it begins {seen!r}); export the readings as CSV."
    )


def _rows(lines: Sequence[str], first: int | None, layout: Layout) -> list[tuple[int | None, list[str]]]:
    """Cells of the rows of readings among some lines, with their line numbers where those are known."""
    rows: list[tuple[int | None, list[str]]] = []
    for k, line in enumerate(lines):
        if not line.strip() or COMMENT.match(line) or "\0" in line or line.strip() in layout.heading:
            continue
        cells = split(line.rstrip("\r"), layout.delimiter, layout.quoted or '"' in line)
        if len(cells) != layout.width and layout.commas is not None:
            cells = layout.commas.merge(cells) or cells
        if len(cells) != layout.width:
            continue
        begins = cells[0][:1]
        if not begins.isdigit() and (sampled.units_row(cells) or any(map(sampled.is_summary, cells[:2]))):
            continue
        if any(len(cell) > 10 * LONGEST for cell in cells):
            cells = [cell[: 10 * LONGEST] for cell in cells]
        rows.append((None if first is None else first + k + 1, cells))
        if len(rows) >= 800:
            break
    return rows
