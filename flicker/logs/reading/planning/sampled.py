"""What kind of column is this? Sample cells in, a `Column` out, and by words and cells what it is that is no output; which rows hold no readings at all."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from flicker.logs.reading.planning.columns import Column, Kind
from flicker.logs.reading.words import clock, odd_cells, units, vocabulary
from flicker.logs.reading.words.numerals import (
    COMMA,
    GROUPED_COMMA,
    GROUPED_POINT,
    PLAIN,
    Numerals,
    bare_number,
    unquoted,
)

_SIGNS = {"+", "-", "\u2212", "\u2013", ""}
_DATE_LIKE = re.compile(
    r"\d{1,4}([-/.])\d{1,2}\1\d{1,4}(?:[T ,]+\d{1,2}[:.h]\d[\d:.,]*(?: ?[APap]\.?[Mm]\.?)?(?:Z|[+-][\d:]{2,5})?)?"
)
_DATE_FORM = re.compile(r"(?i)[ydmhsjt]{1,4}(?:[ ./:T_-]+[ydmhsjt]{1,4}){1,6}(?:[.,](?:0+|f+|s+|ms))?")


@lru_cache(maxsize=1 << 13)  # a choice for speed: the same cells are asked about to find delimiter, first row and columns
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
    return any(map(str.isdigit, cell)) and looks_numeric(cell)


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
    word = unquoted(cell)
    if not word or word[0].isdigit() or strong(word) or odd_cells.word_value(word) is not None:
        return False
    return bool(set(vocabulary.words_of(word)) & vocabulary.SUMMARY)


def is_count(cell: str) -> bool:
    """Whether a cell says how many rows there are: 1202 records."""
    word = unquoted(cell)
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
    decimals, bad_cell = 0, ""
    known: dict[str, float] = {}
    told: Counter[str] = Counter()  # cells, by what they tell
    for cell, times in Counter(cell for _, cell in filled).items():
        bare = numerals.number(cell)
        if bare is None and numerals.unclear(cell):
            bare = float((bare_number(cell) or "0").replace(",", "."))
        if bare is not None:
            known[cell], tells = odd_cells.scpi(bare), "number"
            decimals = max(decimals, _digits(cell, numerals.decimal))
        elif (found := odd_cells.value(cell, numerals, units_too=True)) is not None:
            known[cell], tells = found, "volts" if odd_cells.word_value(cell) is None else "word"
        elif (found := odd_cells.seconds(cell, numerals)) is not None:
            known[cell], tells = found, "seconds"
        elif cell.strip('" ').lower() in known_words:
            tells = "word"
        else:
            bad_cell, tells = bad_cell or cell, "nothing"
        told[tells] += times
    bad_line = next((line for line, cell in filled if cell == bad_cell), None)
    numbers = told["number"] + told["volts"] + told["seconds"]
    if numbers >= told["nothing"] and numbers + told["word"] >= 0.5 * len(filled):
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
            cell_units=told["volts"] > 0,
            time_cells=told["seconds"] > 0,
            bad=bad_cell,
            bad_line=bad_line,
        )
    texts = [cell.strip('"').strip() for _, cell in cells]
    rows = [text for text in texts if text and not is_summary(text)]
    form = clock.form_of(rows[:300] + rows[-100:])
    if form is not None:
        return Column(title, position, "stamp", texts, form=form, unit=unit)
    return Column(title, position, "text", texts[:2000], unit=unit, bad=bad_cell, bad_line=bad_line)


def _digits(cell: str, decimal: str) -> int:
    """Digits after the decimal sign that a cell shows, exponents counted in."""
    mantissa, _, exponent = (bare_number(cell) or "").lower().partition("e")
    tail = _TAIL.match(mantissa.rpartition(decimal)[2]) if decimal in mantissa else None
    digits = tail.end() if tail else 0
    return max(0, min(9, digits - int(exponent))) if exponent else digits


_TAIL = re.compile(r"\d*")
_COUNTED = frozenset({"counts", "count", "lsb", "adc", "raw", "codes", "bit", "bits", "dec"})
_TURNS = 200  # words looked at, before rows may be missing: a choice
_UNIT_CELL = re.compile(r"[A-Za-zµμΩ°%~ +]{1,8}")
_MODE_CELL = re.compile(
    r"(?i)(?:[nuµm]?v?[\s_-]*(?:ac|dc|ac\s?\+\s?dc)[\s_-]*[nuµm]?v?|volts?[\s_](?:ac|dc)|(?:ac|dc)[\s_](?:volt|voltage|mv|v)s?)"
)
_SIGN_WORDS = {"+": 1.0, "-": -1.0, "\u2212": -1.0, "\u2013": -1.0, "pos": 1.0, "neg": -1.0, "positive": 1.0, "negative": -1.0, "": 1.0,
          "nan": 1.0, "p": 1.0, "n": -1.0, "plus": 1.0, "minus": -1.0}  # fmt: skip


def sign_of(cell: str) -> float | None:
    """Return +1 or -1 for a cell of a sign column, None where it is no sign."""
    word = unquoted(cell).lower()
    if PLAIN.fullmatch(word) and abs(float(word)) == 1.0:
        return float(word)
    return _SIGN_WORDS.get(word)


def mode_of(cell: str) -> str:
    """Return 'dc', 'ac' or '' for a cell that names a measuring mode."""
    word = unquoted(cell)
    if not _MODE_CELL.fullmatch(word) and not re.search(r"(?i)(?:^|[\s_~])(?:ac|dc)(?:$|[\s_])", word) and word != "~":
        return "ac" if word.lower() in ("acv", "vac", "acmv", "mvac") else "dc" if units.volts_per(word) else ""
    return "ac" if re.search(r"(?i)ac", word) or "~" in word else "dc"


def kind_of(column: Column) -> Kind | None:
    """Tell what a column is by its words and cells; None where it may be an output."""
    if column.kind == "text":
        filled = [cell for raw in column.cells if (cell := unquoted(raw))]
        return _of_words(column.words, filled) if filled else None
    if column.kind != "number":
        return None
    words, label, names = column.words, column.label, column.name_words
    unit, volts, reading = label.unit.lower(), label.kind == "volts", words & vocabulary.READING
    of_output = words & {"left", "right", "output"}
    peak = names & {"pk", "peak"} and volts and len(names) > 2  # of an output
    rules: tuple[tuple[Kind | None, object], ...] = (  # the first that holds decides
        (Kind.AC, units.is_ac(label.unit) or units.is_ac(column.header)),
        (Kind.RANGE, words & vocabulary.RANGE and not (volts and of_output)),
        (Kind.STATE, words & vocabulary.LIMIT),
        (Kind.BATTERY, words & vocabulary.BATTERY),
        (Kind.TEMPERATURE, not volts and _warm(words, label)),
        (Kind.MAINS, words & vocabulary.MAINS),
        (Kind.RAIL, words & vocabulary.RAIL or re.fullmatch(r"(?i)[bv][+-](?:\W.*)?", column.header.strip())),
        (Kind.AC, "ac" in words),
        (Kind.STATISTIC, names & vocabulary.STATISTICS and not peak),
        (None, volts or column.cell_units),
        (Kind.COUNTS, label.kind == "other" and unit in _COUNTED),
        (Kind.ELSE, label.kind == "other"),
        (Kind.COUNTS, words & vocabulary.COUNTS),
        (Kind.SIGN, words & vocabulary.SIGN),
        (Kind.MODE, words & vocabulary.MODE),
        (Kind.CHANNEL, words & vocabulary.CHANNEL and not re.search(r"\d", column.header) and few_names(column)),
        (Kind.STATE, words & vocabulary.STATE and not reading and not of_output),
        (Kind.COUNTER, column.counts_rows or (words <= vocabulary.COUNTERS and steps_by_one(column))),
        (Kind.COUNTER, words & vocabulary.COUNTERS and not words & (vocabulary.OUTPUT | vocabulary.READING)),
        (Kind.COUNTER, len(words) > 1 and words <= {"reading", "no", "nr", "number", "num"}),
        (Kind.ELSE, words & vocabulary.ELSE and not reading and not of_output and "offset" not in words),
    )
    return next((kind for kind, holds in rules if holds), None)


def _warm(words: set[str], label: units.Label) -> bool:
    """Whether words, or the unit, are those of a temperature."""
    unit = label.unit.lower()
    degrees = unit.lstrip("°") in ("c", "f", "k", "degc", "degf", "celsius")
    called = words & vocabulary.WARM_SURE or (words & vocabulary.WARM and degrees)
    return bool(
        (called and (label.kind == "other" or not words & vocabulary.READING))
        or label.unit.startswith("°")
        or (label.kind == "other" and unit in ("degc", "celsius", "kelvin"))
        or (words & {"room", "raum"} and label.kind == "none" and not words & {"left", "right", "output"})
    )


def _of_words(words: set[str], filled: list[str]) -> Kind | None:
    """What a column of words is, by its name and the cells that are not empty."""
    cells = set(filled)
    signs = all(sign_of(cell) is not None for cell in cells)
    voltages = [volts for cell in cells if (volts := units.volts_per(cell)) is not None]
    known = sum(units.kind_of(cell) in ("volts", "other") for cell in filled)
    modes = [mode_of(cell) for cell in cells]
    rules: tuple[tuple[Kind, object], ...] = (
        (Kind.SIGN, signs and (words & vocabulary.SIGN or cells <= {"+", "-", "\u2212", "\u2013"})),
        # DCV is a function; the unit of the readings may be another
        (Kind.MODE, words & vocabulary.MODE and set(voltages) == {1.0}),
        (Kind.RANGE, words & vocabulary.RANGE),
        (Kind.UNIT, voltages and all(map(_UNIT_CELL.fullmatch, cells)) and known >= 0.8 * len(filled)),
        (Kind.MODE, all(modes) and len(cells) <= 8),
        (Kind.MODE, words & vocabulary.MODE and any(modes)),
        (Kind.CHANNEL, words & vocabulary.CHANNEL and len(cells) <= 64),
    )
    return next((kind for kind, holds in rules if holds), None)


def few_names(column: Column) -> bool:
    """Whether numbers may be those of channels: small, whole, and few."""
    kinds = np.unique(column.known)
    few = 1 <= kinds.size <= min(64, 0.5 * column.known.size)
    return bool(few and np.all((kinds == np.round(kinds)) & (kinds >= 0) & (kinds <= 255)))


def cycles(column: Column) -> bool:
    """Whether numbers go round in the same order, as those of channels read in turn do."""
    values = column.known.tolist()
    return len(values) >= 8 and few_names(column) and not column.counts_rows and _in_turn(values)


def woven(column: Column) -> bool:
    """Whether words name channels in turn: few, each many times, in a steady order."""
    words = [cell.strip().strip('"') for cell in column.cells if cell.strip()][:_TURNS]
    return all(word[:1].isalpha() for word in words) and _in_turn(words)


def _in_turn(items: Sequence[str | float]) -> bool:
    """Whether few different items follow each other round and round."""
    kinds = list(dict.fromkeys(items))
    if not 2 <= len(kinds) <= 16 or len(items) < 3 * len(kinds):
        return False
    return all(item == kinds[k % len(kinds)] for k, item in enumerate(items))


def steps_by_one(column: Column) -> bool:
    """Whether whole numbers stand still or go up by one, as a count of rounds does."""
    steps = np.diff(column.known)
    return steps.size >= 4 and bool(np.all((steps == 0) | (steps == 1))) and float(steps.sum()) >= 3
