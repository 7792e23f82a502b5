"""How is this text laid out? The first MiB and the last lines in; delimiter, decimal sign, header and columns out."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from flicker.logs.model import LogError
from flicker.logs.reading import cells as odd_cells
from flicker.logs.reading import clock
from flicker.logs.reading import units as unit_names
from flicker.logs.reading.columns import Column, Wishes

MAX_COLUMNS = 1024
_HEAD_LINES = 4000  # lines looked at
_DELIMITERS = ("\t", ";", ",", "|", " ", "")
_COMMENT = re.compile(r"^\s*(?:#|%|//|!|')")
_KEY_VALUE = re.compile(r"^\W*(?P<key>[^:=,;\t]{1,60}?)\s*[:=,;\t]\s*(?P<value>.*?)[\s,;]*$")
_TEXTUAL = re.compile(r"[^\W\d_]{2,}|^[^\W\d_]$")
_DATA_CELL = re.compile(r"[-+\d.,:eETZ/\sµμ°A-Za-z'\u2212]*")


@dataclass(slots=True)
class Layout:
    """How the lines of a text log are to be cut; ``begin`` is the byte at which data begin, after ``lines`` lines."""

    delimiter: str
    decimal: str
    grouped: bool
    quoted: bool
    width: int
    begin: int
    lines: int
    header: list[str]
    header_line: str
    extra: int  # empty cells behind the last column of each row
    preamble: dict[str, str]
    heading: frozenset[str]
    columns: list[Column] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


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
    text = _decode(head, notes)
    lines = text.split("\n", _HEAD_LINES)[:_HEAD_LINES]
    if lines and (not lines[-1].strip() or (not whole and len(lines) < _HEAD_LINES)):
        lines = lines[:-1]
    lines = [line.rstrip("\r") for line in lines]
    if len(max(lines, default="", key=len)) > 1 << 18:
        cells = max(max(lines, key=len).count(d) for d in "\t;,|")
        what = f"{cells + 1} cells" if cells > MAX_COLUMNS else f"{len(max(lines, key=len))} characters"
        raise LogError(f"{name}: a line has {what}; a log has at most {MAX_COLUMNS} columns.")
    filled = [k for k, line in enumerate(lines) if line.strip("\0 \t\r,;") and not _COMMENT.match(line)]
    if not filled:
        raise LogError(f"{name} holds no lines of readings.")
    body = _body(lines, filled)
    sample = [lines[k] for k in body if "\0" not in lines[k]] or [lines[body[-1]]]
    quoted = sum('"' in line for line in sample) > 0.5 * len(sample)
    delimiter, width = _delimiter(sample, quoted, name)
    if width > MAX_COLUMNS:
        raise LogError(f"{name} has {width} columns; a log has at most {MAX_COLUMNS}.")
    cut = [split(line, delimiter, quoted) for line in sample]
    rows = [cells for cells in cut if len(cells) == width]
    decimal, grouped = _decimal(rows, delimiter, wishes, name, notes)
    first = _first_row(lines, filled, rows, delimiter, quoted, width, decimal)
    if first is None:
        raise LogError(_no_rows(lines, filled, name))
    header, header_line, units, at = _header(lines, filled, first, delimiter, quoted, width, decimal, name)
    extra = 0
    if header and len(header) < width:
        extra = width - len(header)
        if any(any(cell.strip() for cell in row[len(header) :]) for row in rows):
            raise LogError(
                f"{name}, line {first + 1}: the header names {len(header)} columns, but this row has {width} cells;"
                " name every column"
                + (" (or give decimal=',' if commas are decimal signs)." if delimiter == "," else ".")
            )
    if header and len(header) > width and not any(cell.strip() for cell in header[width:]):
        header = header[:width]
    if header and len(header) > width:
        raise LogError(
            f"{name}, line {first + 1}: the header names {len(header)} columns, but this row has {width} cells."
        )
    if not header:
        header = [f"column {k + 1}" for k in range(width)]
        notes.append("The file has no header; columns were told by their content.")
    header = [unit_names.tidy(title) for title in header]
    heading = frozenset(line.strip() for line in lines[:first] if line.strip())
    layout = Layout(
        delimiter=delimiter,
        decimal=decimal,
        grouped=grouped,
        quoted=quoted,
        width=width,
        begin=_offset(head, first),
        lines=first,
        header=header,
        header_line=header_line,
        extra=extra,
        preamble=_preamble(lines[: at if at is not None else first]),
        heading=heading,
        notes=notes,
    )
    if decimal == ",":
        notes.append("Commas were read as decimal signs.")
    head_rows = _rows(lines[first:], first, layout)
    tail_rows = [] if whole else _rows(_decode(tail, []).split("\n")[:-1], None, layout)[-200:]
    layout.columns = [
        _column(title, k, head_rows, tail_rows, layout, units[k] if k < len(units) else "")
        for k, title in enumerate(header)
    ]
    return layout


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


def looks_numeric(cell: str) -> bool:
    """Whether a cell can be part of a row of readings: a number, a time, a blank or a meter's word."""
    cell = cell.strip().strip('"').strip()
    if len(cell) > odd_cells.LONGEST:
        return False
    if odd_cells.PLAIN.fullmatch(cell) or odd_cells.COMMA.fullmatch(cell):
        return True
    if odd_cells.GROUPED_POINT.fullmatch(cell) or odd_cells.GROUPED_COMMA.fullmatch(cell):
        return True
    if odd_cells.word_value(cell) is not None:
        return True
    found = odd_cells.WITH_UNIT.fullmatch(cell)
    if found and unit_names.volts_per(found["u"]) is not None:
        return True
    return (":" in cell and clock.form_of([cell]) is not None) or (
        cell.count(",") < 2 and bool(re.match(r"\d{1,4}[-/.]\d", cell))
    )


def _strong(cell: str) -> bool:
    cell = cell.strip().strip('"').strip()
    return bool(cell) and any(ch.isdigit() for ch in cell) and looks_numeric(cell)


def _delimiter(sample: Sequence[str], quoted: bool, name: str) -> tuple[str, int]:
    best: tuple[float, str, int] = (0.0, "", 1)
    few = sample[:60]
    for rank, delimiter in enumerate(_DELIMITERS):
        if delimiter and delimiter not in "".join(few):
            continue
        rows = [split(line.strip("\r") if delimiter != " " else line.strip(), delimiter, quoted) for line in few]
        width, count = Counter(map(len, rows)).most_common(1)[0]
        if width < 2 and delimiter:
            continue
        if width > MAX_COLUMNS:
            return delimiter, width
        cells = [cell for row in rows if len(row) == width for cell in row]
        good = sum(map(_strong, cells)) / max(sum(bool(cell.strip()) for cell in cells), 0.5 * len(cells))
        if delimiter in (",",) and good:
            padded = sum(
                bool(re.fullmatch(r"0\d+|\d+", c.strip())) and c.strip()[:1] == "0" and len(c.strip()) > 1
                for c in cells
            )
            if padded > 0.15 * len(cells) and not quoted:  # '0,012' cut at its decimal comma
                good *= 0.3
        score = (count / len(rows)) * good - 0.001 * rank
        if delimiter == "":
            score -= 0.3
        if score > best[0]:
            best = (score, delimiter, width)
    if best[0] <= 0.02 and best[1:] == ("", 1):
        raise LogError(_no_rows(list(sample), list(range(len(sample))), name))
    return best[1], best[2]


def _no_rows(lines: Sequence[str], filled: Sequence[int], name: str) -> str:
    seen = next((lines[k].strip() for k in filled), "")[:40]
    if len(filled) == 1 and re.search(r"[,;\t]", lines[filled[0]]):
        return f"{name} holds a header and no readings."
    return f"{name} is text, but no log: no line of readings was found (it begins {seen!r})."


def _decimal(rows: list[list[str]], delimiter: str, wishes: Wishes, name: str, notes: list[str]) -> tuple[str, bool]:
    if wishes.decimal is not None:
        if wishes.decimal not in (".", ","):
            raise LogError(f"decimal must be '.' or ',', got {wishes.decimal!r}.")
        groups = odd_cells.GROUPED_COMMA if wishes.decimal == "," else odd_cells.GROUPED_POINT
        plain = odd_cells.COMMA if wishes.decimal == "," else odd_cells.PLAIN
        bare_cells = [cell.strip().strip('"') for row in rows for cell in row]
        return wishes.decimal, any(groups.fullmatch(c) and not plain.fullmatch(c) for c in bare_cells)
    commas = points = grouped_point = grouped_comma = unclear = spaced = short = 0
    for row in rows:
        for cell in row:
            bare = cell.strip().strip('"').strip()
            if len(bare) > odd_cells.LONGEST:
                continue
            found = odd_cells.WITH_UNIT.fullmatch(bare)
            bare = found["n"].strip() if found else bare
            if re.fullmatch(r"[+-]?\d{1,3}(?:,\d{3})+\.\d+|[+-]?\d{1,3}(?:,\d{3}){2,}", bare):
                grouped_point += 1
            elif re.fullmatch(r"[+-]?\d{1,3}(?:\.\d{3})+,\d+|[+-]?\d{1,3}(?:\.\d{3}){2,}", bare):
                grouped_comma += 1
            elif re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", bare):
                unclear += 1
            elif "," in bare and odd_cells.COMMA.fullmatch(bare):
                commas += 1
            elif "." in bare and odd_cells.PLAIN.fullmatch(bare):
                points += 1
            elif re.fullmatch(r"[+-]?\d{1,3}(?:[ '\u00a0\u202f]\d{3})+(?:[.,]\d*)?", bare):
                spaced += 1
            elif re.fullmatch(r"[+-]?\d{1,3}", bare):
                short += 1
    if grouped_point or (points and unclear and not commas):
        return ".", True
    if grouped_comma or commas:
        return ",", bool(grouped_comma or spaced)
    if unclear:
        raise LogError(
            f"{name}: numbers such as 1,234 may hold a decimal comma or a thousands comma; say which with decimal=','"
            " or decimal='.' (--decimal)."
        )
    return ".", bool(spaced)


def _is_row(cells: list[str], numeric: list[bool]) -> bool:
    if len(cells) != len(numeric):
        return False
    asked = [cell for cell, is_number in zip(cells, numeric, strict=True) if is_number]
    return bool(asked) and all(map(looks_numeric, asked)) and any(map(_strong, asked))


def _first_row(
    lines: list[str],
    filled: list[int],
    rows: list[list[str]],
    delimiter: str,
    quoted: bool,
    width: int,
    decimal: str,
) -> int | None:
    few = rows[:60]
    numeric = [
        sum(_strong(row[k]) for row in few) >= 0.5 * max(1, sum(bool(row[k].strip()) for row in few))
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
        if len(cells) == width and sum(map(_strong, cells)) * 2 >= width and place + 1 < len(filled):
            return k
    return None


def _header(
    lines: list[str],
    filled: list[int],
    first: int,
    delimiter: str,
    quoted: bool,
    width: int,
    decimal: str,
    name: str,
) -> tuple[list[str], str, list[str], int | None]:
    units: list[str] = []
    for k in range(first - 1, max(-1, first - 6), -1):
        line = lines[k]
        if not line.strip():
            continue
        bare = re.sub(r"^\s*(?:#|%|//|!)+\s*", "", line)
        cells = [cell.strip() for cell in split(bare, delimiter, quoted or '"' in bare)]
        if abs(len(cells) - width) > 1 and not (len(cells) > 1 and not _COMMENT.match(line)):
            continue
        if not units and len(cells) == width and all(_is_unit(cell) for cell in cells) and any(cells) and k > 0:
            units = [cell.strip("[](){} ") for cell in cells]
            continue
        if len(cells) == 1 and width > 1:
            continue
        if width == 1 and (_KEY_VALUE.match(bare) and re.search(r"[:=]", bare)):
            continue
        if sum(map(_strong, cells)) > 0.5 * len(cells):
            continue
        if sum(bool(cell) for cell in cells) < 0.5 * min(width, len(cells)):
            continue
        if abs(len(cells) - width) > 1 and len(cells) == 2:
            continue  # a key and its value
        if _COMMENT.match(line) and len(cells) != width:
            continue
        return cells, line.strip(), units, k
    return [], "", units, None


def _is_unit(cell: str) -> bool:
    bare = cell.strip("[](){} ")
    return bare == "" or unit_names._kind(bare) in ("volts", "time", "other")


def _preamble(lines: Sequence[str]) -> dict[str, str]:
    found: dict[str, str] = {}
    for line in lines[:500]:
        bare = re.sub(r"^\s*(?:#|%|//|!)+\s*", "", line.strip().strip('"'))
        if len(bare) < 200 and (match := _KEY_VALUE.match(bare)):
            found.setdefault(match["key"].strip().strip('"'), match["value"].strip().strip('"'))
    return found


def _rows(lines: Sequence[str], first: int | None, layout: Layout) -> list[tuple[int | None, list[str]]]:
    rows = []
    for k, line in enumerate(lines):
        if not line.strip() or _COMMENT.match(line) or "\0" in line or line.strip() in layout.heading:
            continue
        cells = split(line.rstrip("\r"), layout.delimiter, layout.quoted)
        if len(cells) == layout.width:
            rows.append((None if first is None else first + k + 1, cells))
        if len(rows) >= 800:
            break
    return rows


def _column(
    title: str,
    position: int,
    head: list[tuple[int | None, list[str]]],
    tail: list[tuple[int | None, list[str]]],
    layout: Layout,
    unit: str,
) -> Column:
    cells = [(line, row[position].strip()) for line, row in (*head, *tail)]
    head_cells = [row[position].strip() for _, row in head]
    filled = [(line, cell) for line, cell in cells if cell.lower() not in odd_cells.MISSING]
    if not filled:
        return Column(title, position, "empty", head_cells[:5], unit=unit)
    numbers = words = with_unit = 0
    bad: tuple[int | None, str] | None = None
    decimals = 0
    known: dict[str, float] = {}
    for line, cell in filled:
        if (bare := odd_cells.number(cell, layout.decimal, layout.grouped)) is not None:
            known[cell] = odd_cells.scpi(bare)
            numbers += 1
            if "e" not in cell.lower() and layout.decimal in cell:
                decimals = max(decimals, len(cell.strip('"').rsplit(layout.decimal, 1)[1]))
            elif "e" in cell.lower():
                decimals = max(decimals, _clip(cell))
        elif (found := odd_cells.value(cell, layout.decimal, layout.grouped, units=True)) is not None:
            known[cell] = found
            if odd_cells.word_value(cell) is None:
                with_unit += 1
            else:
                words += 1
        elif bad is None:
            bad = (line, cell)
    told = ""
    if bad is not None:
        place = f"line {bad[0]}, " if bad[0] is not None else ""
        told = (
            f'{place}column "{title}": "{bad[1][:40]}" is not a number. Fix the line, or leave the column out with'
            " channels (--channels)."
        )
    good = numbers + with_unit + words
    if numbers + with_unit >= 0.5 * (len(filled) - words) and good >= 0.5 * len(filled):
        values = [known.get(cell, np.nan) for cell in head_cells]
        if numbers + with_unit == 0 and words:
            decimals = 0
        return Column(
            title,
            position,
            "number",
            [c for _, c in cells],
            np.array(values),
            decimals,
            None,
            unit,
            with_unit > 0,
            told,
        )
    texts = [cell.strip('"') for _, cell in cells]
    form = clock.form_of([c for c in texts if c][:300] + [c for c in texts if c][-100:])
    if form is not None:
        return Column(title, position, "stamp", texts, form=form, unit=unit)
    return Column(title, position, "text", texts[:400], unit=unit, bad=told)


def _clip(cell: str) -> int:
    try:
        mantissa, exponent = re.split("[eE]", cell.replace(",", "."))
        digits = len(mantissa.rsplit(".", 1)[1]) if "." in mantissa else 0
        return max(0, min(9, digits - int(exponent)))
    except (ValueError, IndexError):
        return 0
