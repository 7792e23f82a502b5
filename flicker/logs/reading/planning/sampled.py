"""What kind of column is this? Sample cells in, a `Column` out; and which rows hold no readings at all."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from flicker.logs.reading.planning.columns import Column
from flicker.logs.reading.words import clock, odd_cells, units, vocabulary
from flicker.logs.reading.words.numerals import COMMA, GROUPED_COMMA, GROUPED_POINT, PLAIN, Numerals, bare_number

_SIGNS = {"+", "-", "\u2212", "\u2013", ""}
_DATE_LIKE = re.compile(
    r"\d{1,4}([-/.])\d{1,2}\1\d{1,4}(?:[T ,]+\d{1,2}[:.h]\d[\d:.,]*(?: ?[APap]\.?[Mm]\.?)?(?:Z|[+-][\d:]{2,5})?)?"
)
_DATE_FORM = re.compile(r"(?i)[ydmhsjt]{1,4}(?:[ ./:T_-]+[ydmhsjt]{1,4}){1,6}(?:[.,](?:0+|f+|s+|ms))?")


def looks_numeric(cell: str) -> bool:
    """Whether a cell can be part of a row of readings: a number, a time, a blank or a meter's word."""
    bare = bare_number(cell)
    if bare is None or any(mark in bare for mark in "\t;|"):
        return False
    if PLAIN.fullmatch(bare) or COMMA.fullmatch(bare) or GROUPED_POINT.fullmatch(bare) or GROUPED_COMMA.fullmatch(bare):
        return True
    if odd_cells.word_value(bare) is not None:
        return True
    found = odd_cells.WITH_UNIT.fullmatch(bare)
    if found and (units.volts_per(found["u"]) is not None or units.seconds_per(found["u"]) is not None):
        return looks_numeric(found["n"])
    return clock.form_of([bare]) is not None or _DATE_LIKE.fullmatch(bare) is not None


def strong(cell: str) -> bool:
    """Whether a cell holds digits and can be part of a row of readings."""
    return any(ch.isdigit() for ch in cell) and looks_numeric(cell)


def is_time(cell: str) -> bool:
    """Whether a cell holds a number or a time and nothing else."""
    bare = bare_number(cell)
    if not bare:
        return False
    return bool(PLAIN.fullmatch(bare) or COMMA.fullmatch(bare)) or clock.form_of([bare]) is not None


def is_unit(cell: str) -> bool:
    """Whether a cell may stand in a row of units."""
    bare = cell.strip().strip('"').strip("[](){} ")
    return bare in ("", "-") or units.kind_of(bare) != "none" or _DATE_FORM.fullmatch(bare) is not None


def units_row(cells: Sequence[str]) -> bool:
    """Whether a row holds units: one of voltage at least, and hardly anything else."""
    filled = [cell.strip().strip('"').strip("[](){} ") for cell in cells if cell.strip().strip('"').strip("[](){} -")]
    if not filled or any(strong(cell) for cell in filled):
        return False
    good = sum(is_unit(cell) for cell in filled)
    return good == len(filled) or (any(units.volts_per(cell) for cell in filled) and good >= 0.6 * len(filled))


def is_summary(cell: str) -> bool:
    """Whether a cell that should hold a time or a number holds a word of a summary, such as Average."""
    word = cell.strip().strip('"').strip()
    if not word or word[0].isdigit() or strong(word) or odd_cells.word_value(word) is not None:
        return False
    return bool(set(vocabulary.words_of(word)) & vocabulary.SUMMARY)


def is_count(cell: str) -> bool:
    """Whether a cell says how many rows there are: 1202 records."""
    word = cell.strip().strip('"').strip()
    return re.match(r"\W*\d+\s+[^\W\d_]{3,}", word) is not None and bool(
        set(vocabulary.words_of(word)) & vocabulary.SUMMARY
    )


def column_of(
    title: str,
    position: int,
    head: Sequence[tuple[int | None, str]],
    tail: Sequence[tuple[int | None, str]],
    numerals: Numerals,
    unit: str = "",
    words: Sequence[str] = (),
) -> Column:
    """Make a column of sample cells with their lines; ``words`` are those that the caller says stand for no number."""
    cells = [(line, cell.strip()) for line, cell in (*head, *tail)]
    head_cells = [cell.strip() for _, cell in head]
    known_words = {word.strip().lower() for word in words}
    filled = [(line, cell) for line, cell in cells if cell.strip('" ').lower() not in odd_cells.MISSING]
    if set(vocabulary.words_of(title)) & vocabulary.SIGN and {cell.strip('" ') for _, cell in cells} <= _SIGNS:
        return Column(title, position, "text", [cell for _, cell in cells], unit=unit)
    if not filled:
        return Column(title, position, "empty", head_cells[:5], unit=unit)
    numbers = meter_words = with_unit = with_time = decimals = 0
    bad: tuple[int | None, str] | None = None
    known: dict[str, float] = {}
    for line, cell in filled:
        bare = numerals.number(cell)
        if bare is None and numerals.unclear(cell):
            bare = float((bare_number(cell) or "0").replace(",", "."))
        if bare is not None:
            known[cell] = odd_cells.scpi(bare)
            numbers += 1
            decimals = max(decimals, _digits(cell, numerals.decimal))
        elif (found := odd_cells.value(cell, numerals, units_too=True)) is not None:
            known[cell] = found
            if odd_cells.word_value(cell) is None:
                with_unit += 1
            else:
                meter_words += 1
        elif (found := odd_cells.seconds(cell, numerals)) is not None:
            known[cell] = found
            with_time += 1
        elif cell.strip('" ').lower() in known_words:
            meter_words += 1
        elif bad is None:
            bad = (line, cell)
    bad_line, bad_cell = bad or (None, "")
    good = numbers + with_unit + with_time + meter_words
    if (
        numbers + with_unit + with_time >= 0.5 * (len(filled) - meter_words)
        and good >= 0.5 * len(filled)
        and (numbers + with_unit + with_time or meter_words)
    ):
        values = np.array([known.get(cell, np.nan) for cell in head_cells])
        return Column(
            header=title,
            position=position,
            kind="number",
            cells=[cell for _, cell in cells],
            values=values,
            decimals=decimals,
            form=None,
            unit=unit,
            cell_units=with_unit > 0,
            time_cells=with_time > 0,
            bad=bad_cell,
            bad_line=bad_line,
        )
    texts = [cell.strip('"').strip() for _, cell in cells]
    form = clock.form_of(
        [c for c in texts if c and not is_summary(c)][:300] + [c for c in texts if c and not is_summary(c)][-100:]
    )
    if form is not None:
        return Column(title, position, "stamp", texts, form=form, unit=unit)
    return Column(title, position, "text", texts[:2000], unit=unit, bad=bad_cell, bad_line=bad_line)


def _digits(cell: str, decimal: str) -> int:
    """Digits after the decimal sign that a cell shows, exponents counted in."""
    bare = cell.strip('" ')
    found = re.search(r"[eE]([+-]?\d{1,3})", bare)
    mantissa = bare[: found.start()] if found else bare
    tail = re.match(r"\d*", mantissa.rsplit(decimal, 1)[1]) if decimal in mantissa else None
    digits = len(tail.group()) if tail else 0
    return digits if found is None else max(0, min(9, digits - int(found[1])))
