"""Where do the readings begin, and what do the lines above them name? Lines in, header, units row and heading out."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence

from flicker.logs.errors import LogError
from flicker.logs.reading.planning import sampled
from flicker.logs.reading.planning.sampled import strong
from flicker.logs.reading.words import clock, numerals, odd_cells, units, vocabulary
from flicker.logs.reading.words.numerals import bare_number, unquoted

COMMENT = re.compile(r"^\s*(?:#(?!N/?A|NUM|DIV|VALUE|NV|REF)|%|//|!|')")
_KEY = re.compile(r"^[^:=,;\t]{2,60}[:=]\s*\S")
_KEY_VALUE = re.compile(r"^\W*(?P<key>[^:=,;|\t]{1,60}?)\s*[:=,;|\t]\s*(?P<value>.*?)[\s,;|]*$")


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


def _is_row(cells: list[str], numeric: list[bool]) -> bool:
    """Whether cells are a row of readings: as many as columns, and numbers where those below have numbers."""
    if len(cells) != len(numeric):
        return False
    asked = [cell for cell, is_number in zip(cells, numeric, strict=True) if is_number]
    return bool(asked) and all(map(sampled.looks_numeric, asked)) and any(map(strong, asked))


def first_row(
    lines: list[str], filled: list[int], rows: list[list[str]], delimiter: str, quoted: bool, width: int
) -> int | None:
    """Place of the first line of readings among ``lines``; None where there is none."""
    few = rows[:60]
    numeric = [
        sum(strong(row[k]) for row in few) >= 0.5 * max(1, sum(bool(row[k].strip()) for row in few))
        and any(row[k].strip() for row in few)
        for k in range(width)
    ]
    for place, k in enumerate(filled):
        cells = split(lines[k], delimiter, quoted)
        if not _is_row(cells, numeric):
            continue
        after = [split(lines[j], delimiter, quoted) for j in filled[place + 1 : place + 4]]
        if sum(len(cells) == width for cells in after) * 2 >= len(after):
            while place and _goes_before(split(lines[filled[place - 1]], delimiter, quoted), cells, after, numeric):
                place, after, cells = place - 1, [cells], split(lines[filled[place - 1]], delimiter, quoted)
            return filled[place]
    # a first row that holds words where numbers are asked for: the row after the header all the same
    for place, k in enumerate(filled):
        cells = split(lines[k], delimiter, quoted)
        if len(cells) == width and sum(map(strong, cells)) * 2 >= width and place + 1 < len(filled):
            return k
    return None


def _goes_before(cells: list[str], first: list[str], after: list[list[str]], numeric: list[bool]) -> bool:
    """Whether a line above the first row is a row too, with a word where a reading stands below.

    It is one where its first column of numbers or times leads on to those below, or where all that it holds are words of
    meters.
    """
    if len(cells) != len(numeric) or not any(numeric) or not after or len(after[0]) != len(numeric):
        return False
    bare = [unquoted(cell) for cell in cells]
    if all(odd_cells.word_value(cell) is not None and any(map(str.isalnum, cell)) for cell in bare):
        return True
    lead = numeric.index(True)
    found = [bare[lead], *(unquoted(row[lead]) for row in (first, after[0]))]
    if (form := clock.form_of(found[1:])) is not None:
        return clock.matches(found[0], form)
    points = [bare_number(cell) for cell in found]
    known = [point.replace(",", ".") for point in points if point is not None]
    if len(known) < 3 or not all(numerals.PLAIN.fullmatch(point) for point in known):
        return False
    before, step = (float(known[k + 1]) - float(known[k]) for k in range(2))
    return step != 0 and abs(before - step) <= 0.5 * abs(step)


def header_above(
    lines: list[str], first: int, delimiter: str, quoted: bool, width: int
) -> tuple[list[str], list[str], int | None]:
    """Names of the columns, the cells of a units row, and the place of the names; empty where none stand there."""
    unit_cells: list[str] = []
    for k in range(first - 1, max(-1, first - 6), -1):
        line = lines[k]
        if not any(sign.isalnum() for sign in line):
            continue  # nothing, or a rule of dashes
        bare = re.sub(r"^\s*(?:#|%|//|!)+\s*", "", line)
        cells = [unquoted(cell) for cell in split(bare, delimiter, quoted or '"' in bare)]
        if delimiter == " " and len(cells) != width:  # columns of fixed width, with blanks in their names
            apart = re.split(r"\s{2,}", bare.strip())
            if len(apart) == width - 1 and clock.form_of([" ".join(lines[first].split()[:2])]) is not None:
                apart.insert(1, "clock")  # a date and a time of day under one name
            cells = apart if len(apart) == width else cells
        if len(cells) != width and bare != line:  # a column may be called #, and its unit be %
            as_it_is = [unquoted(cell) for cell in split(line.strip(), delimiter, '"' in line)]
            cells = as_it_is if len(as_it_is) == width else cells
        if abs(len(cells) - width) > 1 and not (len(cells) > 1 and not COMMENT.match(line)):
            continue
        if (
            not unit_cells
            and len(cells) == width
            and sampled.units_row(cells)
            and _named_above(lines, k, delimiter, width)
        ):
            unit_cells = [cell.strip("[](){} ") for cell in cells]
            continue
        if not _may_be_names(cells, line, bare, delimiter, width):
            continue
        return _grouped(cells, lines[:k], delimiter), unit_cells, k
    return [], unit_cells, None


def _may_be_names(cells: list[str], line: str, bare: str, delimiter: str, width: int) -> bool:
    """Whether the cells of a line (``bare`` without the sign of a comment) may name columns."""
    fits = len(cells) == width
    return not any((
        len(cells) == 1 and width > 1,
        delimiter == " " and not fits,
        width == 1 and _KEY_VALUE.match(bare) and re.search(r"[:=]", bare),
        sum(map(strong, cells)) > 0.5 * len(cells),
        _tells_a_number(cells) or unit_told(bare) is not None,
        sum(bool(cell) for cell in cells) < 0.5 * min(width, len(cells)),
        # a key and its value
        abs(len(cells) - width) > 1 and len(cells) == 2 and units.label(cells[1]).kind != "volts",
        not fits and _KEY.match(bare),
        not fits and COMMENT.match(line),
    ))  # fmt: skip


def _grouped(cells: list[str], above: list[str], delimiter: str) -> list[str]:
    """Names of columns with the name that a line above says over several of them: left over mean, min and max."""
    if not above or len(cells) < 2 or delimiter in ("", " ") or not _same_below(cells[1:]):
        return cells
    over = [unquoted(cell) for cell in split(above[-1], delimiter, '"' in above[-1])]
    if len(over) != len(cells) or not any(over[1:]) or over[0] or any(map(strong, over)) or sampled.units_row(over):
        return cells
    last = ""
    for k, title in enumerate(over):
        last = title or last
        over[k] = last
    return [f"{title} {cell}".strip() for title, cell in zip(over, cells, strict=True)]


def _same_below(cells: list[str]) -> bool:
    """Whether names of quantities stand there: a name twice, or one of averages."""
    return len(set(cells)) < len(cells) or any(set(vocabulary.words_of(cell)) & vocabulary.STATISTICS for cell in cells)


def _tells_a_number(cells: list[str]) -> bool:
    """Whether a line such as ``Increment,0.5,s`` tells a number; channels may be called 1 and 2."""
    numbers = [cell for cell in cells if numerals.PLAIN.fullmatch(cell) or numerals.COMMA.fullmatch(cell)]
    return bool(numbers) and not all(cell.isdigit() for cell in cells[1:])


def unit_told(line: str) -> float | None:
    """Volts per unit of the readings where a line such as ``Unit: mV`` or ``Unit;mV`` tells them, None for other lines."""
    match = _KEY_VALUE.match(line)
    if match is None:
        return None
    words = set(vocabulary.words_of(match["key"]))
    value = match["value"].strip().strip('"')
    return units.volts_per(value) if words & vocabulary.UNIT and value else None


def _named_above(lines: list[str], k: int, delimiter: str, width: int) -> bool:
    """Whether a row of names stands above a row that may hold units, so that ``s,mV,mV`` alone is a header."""
    for line in reversed(lines[max(0, k - 3) : k]):
        if not any(sign.isalnum() for sign in line):
            continue
        bare = re.sub(r"^[ ]*(?:#|%|//|!)+[ ]*", "", line)
        return len(split(bare.strip() if delimiter == " " else bare, delimiter, '"' in line)) == width
    return False


def fitting(header: list[str], rows: list[list[str]], width: int, delimiter: str, first: int, name: str) -> list[str]:
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


def preamble(lines: Sequence[str]) -> tuple[str, ...]:
    """The lines above the header without signs of comments and quotation marks; long ones say nothing."""
    bare = (re.sub(r"^\s*(?:#|%|//|!)+\s*", "", line.strip().strip('"')) for line in lines[:500])
    return tuple(line.replace('"', "") for line in bare if line and len(line) < 300)
