"""How is this text laid out? The first MiB and the last lines in; delimiter, decimal sign, header and columns out."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from flicker.logs.errors import LogError
from flicker.logs.reading.planning import sampled
from flicker.logs.reading.planning.columns import Column, Heading, Wishes
from flicker.logs.reading.planning.sampled import strong
from flicker.logs.reading.text import grouped_rows
from flicker.logs.reading.words import numerals, units, vocabulary
from flicker.logs.reading.words.numerals import LONGEST, Numerals

MAX_COLUMNS = 1024
_HEAD_LINES = 4000  # lines looked at
BLANK_ROWS = 0.3  # fewer empty lines than this among single numbers are missing readings; common practice, no source
_DELIMITERS = ("\t", ";", ",", "|", " ", "")
_COMMENT = re.compile(r"^\s*(?:#(?!N/?A|NUM|DIV|VALUE|NV|REF)|%|//|!|')")
_DIGITS = re.compile(r"\s*[+-]?\d+(?:[eE][+-]?\d+)?\s*")
_KEY = re.compile(r"^[^:=,;\t]{2,60}[:=]\s*\S")
_KEY_VALUE = re.compile(r"^\W*(?P<key>[^:=,;\t]{1,60}?)\s*[:=,;\t]\s*(?P<value>.*?)[\s,;]*$")


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
    header_line: str
    extra: int  # empty cells behind the last column of each row
    preamble: Heading
    heading: frozenset[str]
    has_header: bool = True
    columns: list[Column] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    blank_rows: bool = False  # an empty line is a row without a reading
    commas: grouped_rows.Commas | None = None  # how rows with more cells than columns are put together


def split(line: str, delimiter: str, quoted: bool) -> list[str]:
    """Cut a line into cells."""
    if delimiter == "":
        return [line.strip()]
    if delimiter == " ":
        line = " ".join(line.split())
    if quoted and '"' in line:
        try:
            return next(csv.reader([line], delimiter=delimiter))
        except (csv.Error, StopIteration):
            return line.split(delimiter)
    return line.split(delimiter)


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
    filled = [k for k, line in enumerate(lines) if line.strip("\0 \t\r,;") and not _COMMENT.match(line)]
    if not filled:
        raise LogError(f"{name} holds no lines of readings.")
    body = _body(lines, filled)
    sample = [lines[k] for k in body if "\0" not in lines[k]] or [lines[body[-1]]]
    quoted = any('"' in line for line in lines)
    begun = next((k for k in body if _mostly_digits(lines[k])), body[0])
    above = [line for line in lines[:begun] if any(ch.isalpha() for ch in line)]
    delimiter, width = _delimiter(sample, quoted, wishes, name, above[-1] if above else "")
    if width > MAX_COLUMNS:
        raise LogError(f"{name} has {width} columns; a log has at most {MAX_COLUMNS}.")
    cut = [split(line, delimiter, quoted) for line in sample]
    rows = [cells for cells in cut if len(cells) == width]
    first = _first_row(lines, filled, rows, delimiter, quoted, width)
    if first is None:
        raise LogError(_no_rows(lines, filled, name))
    header, header_line, unit_cells, at = _header(lines, filled, first, delimiter, quoted, width)
    commas = None
    if delimiter == "," and ((header and len(header) < width) or any(len(c) > width for c in cut)):
        filled_rows = [cells for cells in cut if any(map(strong, cells))]
        commas = grouped_rows.judge(filled_rows, len(header) or width, wishes, name)
    if commas is not None and header and len(header) < width:
        width = len(header)
        merged = [commas.merge(cells) for cells in cut]
        rows = [cells for cells in merged if cells is not None and len(cells) == width]
        header, header_line, unit_cells, at = _header(lines, filled, first, delimiter, quoted, width)
    header = _fitting(header, rows, width, delimiter, first, name)
    extra = max(0, width - len(header)) if header else 0
    body_cells = [row for row in rows if row[0][:1].isdigit() or not sampled.units_row(row)]
    if commas is not None and commas.decimal:
        how = Numerals(".")  # the commas were replaced where the rows were put together
    elif wishes.decimal is not None:
        how = numerals.told(wishes.decimal)
    else:
        columns = [[row[k] for row in body_cells] for k in range(width)]
        how = numerals.judge(columns, name, points_likely=delimiter in (",", " ", ""))
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
        header_line=header_line,
        extra=extra,
        preamble=_preamble(lines[: at if at is not None else first]),
        heading=frozenset(line.strip() for line in lines[:first] if line.strip()),
        has_header=has_header,
        notes=notes,
        commas=commas,
        blank_rows=width == 1 and _blank_share(lines[first:]) < BLANK_ROWS,
    )
    if how.decimal == ",":
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


def _blank_share(lines: Sequence[str]) -> float:
    body = lines[: max(1, len(lines) - 3)]
    return sum(not line.strip() for line in body) / max(1, len(body))


def _lines(head: bytes, whole: bool, name: str, notes: list[str]) -> list[str]:
    text = _decode(head, notes)
    lines = text.split("\n", _HEAD_LINES)[:_HEAD_LINES]
    if lines and (not lines[-1].strip() or (not whole and len(lines) < _HEAD_LINES)):
        lines = lines[:-1]
    lines = [line.rstrip("\r") for line in lines]
    if len(max(lines, default="", key=len)) > 1 << 18:
        cells = max(max(lines, key=len).count(d) for d in "\t;,|")
        what = f"{cells + 1} cells" if cells > MAX_COLUMNS else f"{len(max(lines, key=len))} characters"
        raise LogError(f"{name}: a line has {what}; a log has at most {MAX_COLUMNS} columns.")
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
    try:
        return raw[: raw.rfind(b"\n") + 1 or None].decode("utf-8") + raw[raw.rfind(b"\n") + 1 :].decode(
            "utf-8", "replace"
        )
    except UnicodeDecodeError:
        notes.append("The text is not UTF-8; its words were read as Windows-1252.")
        return raw.decode("cp1252", errors="replace")


def _offset(head: bytes, lines: int) -> int:
    at = 0
    for _ in range(lines):
        at = head.index(b"\n", at) + 1
    return at


def _delimiter(sample: Sequence[str], quoted: bool, wishes: Wishes, name: str, title: str = "") -> tuple[str, int]:
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
        if delimiter in (",",) and good:
            padded = sum(
                bool(re.fullmatch(r"0\d+|\d+", c.strip())) and c.strip()[:1] == "0" and len(c.strip()) > 1
                for c in cells
            )
            if padded > 0.15 * len(cells) and not quoted and "," not in title:  # '0,012' cut at its decimal comma
                good *= 0.3
        if delimiter and good:
            columns = list(zip(*[row for row in rows if len(row) == width], strict=True))
            if any(sum(map(strong, column)) > 0.9 * len(column) for column in columns):
                good = max(good, 0.5 + 0.3 * good)  # words beside columns that are numbers throughout
        score = (count / len(rows)) * good - 0.001 * rank
        if delimiter == "":
            score -= 0.3
        if score > best[0]:
            best = (score, delimiter, width)
    if best[0] <= 0.02 and best[1:] == ("", 1):
        raise LogError(_no_rows(list(sample), list(range(len(sample))), name))
    return best[1], best[2]


def _in_most(mark: str, lines: Sequence[str]) -> bool:
    return sum(mark in line for line in lines) >= 0.9 * len(lines)


def _no_rows(lines: Sequence[str], filled: Sequence[int], name: str) -> str:
    seen = next((lines[k].strip() for k in filled), "")[:40]
    if len(filled) == 1 and re.search(r"[,;\t]", lines[filled[0]]):
        return f"{name} holds a header and no readings."
    return f"{name} is text, but no log: no line of readings was found (it begins {seen!r})."


def _is_row(cells: list[str], numeric: list[bool]) -> bool:
    if len(cells) != len(numeric):
        return False
    asked = [cell for cell, is_number in zip(cells, numeric, strict=True) if is_number]
    return bool(asked) and all(map(sampled.looks_numeric, asked)) and any(map(strong, asked))


def _first_row(
    lines: list[str], filled: list[int], rows: list[list[str]], delimiter: str, quoted: bool, width: int
) -> int | None:
    few = rows[:60]
    numeric = [
        sum(strong(row[k]) for row in few) >= 0.5 * max(1, sum(bool(row[k].strip()) for row in few))
        and any(row[k].strip() for row in few)
        for k in range(width)
    ]
    for place, k in enumerate(filled):
        if not _is_row(split(lines[k], delimiter, quoted), numeric):
            continue
        after = [split(lines[j], delimiter, quoted) for j in filled[place + 1 : place + 4]]
        if sum(len(cells) == width for cells in after) * 2 >= len(after):
            return k
    # a first row that holds words where numbers are asked for: the row after the header all the same
    for place, k in enumerate(filled):
        cells = split(lines[k], delimiter, quoted)
        if len(cells) == width and sum(map(strong, cells)) * 2 >= width and place + 1 < len(filled):
            return k
    return None


def _header(
    lines: list[str], filled: list[int], first: int, delimiter: str, quoted: bool, width: int
) -> tuple[list[str], str, list[str], int | None]:
    unit_cells: list[str] = []
    for k in range(first - 1, max(-1, first - 6), -1):
        line = lines[k]
        if not line.strip():
            continue
        bare = re.sub(r"^\s*(?:#|%|//|!)+\s*", "", line)
        cells = [cell.strip().strip('"').strip() for cell in split(bare, delimiter, quoted or '"' in bare)]
        if len(cells) != width and bare != line:  # a column may be called #, and its unit be %
            as_it_is = [cell.strip().strip('"').strip() for cell in split(line.strip(), delimiter, '"' in line)]
            cells = as_it_is if len(as_it_is) == width else cells
        if abs(len(cells) - width) > 1 and not (len(cells) > 1 and not _COMMENT.match(line)):
            continue
        if (
            not unit_cells
            and len(cells) == width
            and sampled.units_row(cells)
            and _named_above(lines, k, delimiter, width)
        ):
            unit_cells = [cell.strip("[](){} ") for cell in cells]
            continue
        if (len(cells) == 1 and width > 1) or (delimiter == " " and len(cells) != width):
            continue
        if width == 1 and (_KEY_VALUE.match(bare) and re.search(r"[:=]", bare)):
            continue
        if sum(map(strong, cells)) > 0.5 * len(cells) or _tells_a_number(cells) or _tells_the_unit(cells):
            continue
        if sum(bool(cell) for cell in cells) < 0.5 * min(width, len(cells)):
            continue
        if (abs(len(cells) - width) > 1 and len(cells) == 2 and units.label(cells[1]).kind != "volts") or (
            len(cells) != width and _KEY.match(bare)
        ):
            continue  # a key and its value
        if _COMMENT.match(line) and len(cells) != width:
            continue
        return cells, line.strip(), unit_cells, k
    return [], "", unit_cells, None


def _tells_a_number(cells: list[str]) -> bool:
    """Whether a line such as ``Increment,0.5,s`` tells a number; channels may be called 1 and 2."""
    numbers = [cell for cell in cells if numerals.PLAIN.fullmatch(cell) or numerals.COMMA.fullmatch(cell)]
    return bool(numbers) and not all(cell.isdigit() for cell in cells[1:])


def _tells_the_unit(cells: list[str]) -> bool:
    """Whether a line such as ``Unit;mV`` tells the unit of all readings."""
    words = set(vocabulary.words_of(cells[0]))
    filled = [cell for cell in cells[1:] if cell]
    return bool(words) and words <= vocabulary.UNIT and len(filled) == 1 and units.volts_per(filled[0]) is not None


def _named_above(lines: list[str], k: int, delimiter: str, width: int) -> bool:
    """Whether a row of names stands above a row that may hold units, so that ``s,mV,mV`` alone is a header."""
    for line in reversed(lines[max(0, k - 3) : k]):
        if not line.strip():
            continue
        bare = re.sub(r"^[ ]*(?:#|%|//|!)+[ ]*", "", line)
        return len(split(bare.strip() if delimiter == " " else bare, delimiter, '"' in line)) == width
    return False


def _fitting(header: list[str], rows: list[list[str]], width: int, delimiter: str, first: int, name: str) -> list[str]:
    """A header that names every column; empty names behind the last column are left away."""
    if header and len(header) < width and any(any(cell.strip() for cell in row[len(header) :]) for row in rows):
        hint = (
            " (or give decimal=',' (--decimal ,) if commas are decimal signs)."
            if delimiter == ","
            else "; or give the separator with separator=';' (--separator ;)."
        )
        raise LogError(
            f"{name}, line {first + 1}: the header names {len(header)} columns, but this row has {width} cells;"
            f" name every column{hint}"
        )
    if header and len(header) > width and not any(cell.strip() for cell in header[width:]):
        header = header[:width]
    if header and len(header) > width:
        raise LogError(
            f"{name}, line {first + 1}: the header names {len(header)} columns, but this row has {width} cells; give the"
            " separator with separator=';' (--separator ;), or name as many columns as a row has cells."
        )
    return header


def _preamble(lines: Sequence[str]) -> Heading:
    found: dict[str, str] = {}
    kept = []
    for line in lines[:500]:
        bare = re.sub(r"^\s*(?:#|%|//|!)+\s*", "", line.strip().strip('"'))
        if bare and len(bare) < 300:
            kept.append(bare.replace('"', ""))
        if len(bare) < 200 and (match := _KEY_VALUE.match(bare)):
            found.setdefault(match["key"].strip().strip('"'), match["value"].strip().strip('"'))
    return Heading(found, tuple(kept))


def _rows(lines: Sequence[str], first: int | None, layout: Layout) -> list[tuple[int | None, list[str]]]:
    rows: list[tuple[int | None, list[str]]] = []
    for k, line in enumerate(lines):
        if not line.strip() or _COMMENT.match(line) or "\0" in line or line.strip() in layout.heading:
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
