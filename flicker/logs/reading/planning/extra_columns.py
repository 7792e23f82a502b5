"""Columns that are no outputs: what their words and cells say they are. Columns in, kinds out."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from flicker.logs.reading.planning.columns import Column, Kind
from flicker.logs.reading.words import units, vocabulary
from flicker.logs.reading.words.numerals import PLAIN

_COUNTED = frozenset({"counts", "count", "lsb", "adc", "raw", "codes", "bit", "bits", "dec"})
_TURNS = 200  # words looked at, before rows may be missing: a choice
_UNIT_CELL = re.compile(r"[A-Za-zµμΩ°%~ +]{1,8}")
_MODE_CELL = re.compile(
    r"(?i)(?:[nuµm]?v?[\s_-]*(?:ac|dc|ac\s?\+\s?dc)[\s_-]*[nuµm]?v?|volts?[\s_](?:ac|dc)|(?:ac|dc)[\s_](?:volt|voltage|mv|v)s?)"
)
_SIGNS = {"+": 1.0, "-": -1.0, "\u2212": -1.0, "\u2013": -1.0, "pos": 1.0, "neg": -1.0, "positive": 1.0, "negative": -1.0, "": 1.0,
          "nan": 1.0, "p": 1.0, "n": -1.0, "plus": 1.0, "minus": -1.0}  # fmt: skip


def sign_of(cell: str) -> float | None:
    """Return +1 or -1 for a cell of a sign column, None where it is no sign."""
    word = cell.strip().strip('"').strip().lower()
    if PLAIN.fullmatch(word) and abs(float(word)) == 1.0:
        return float(word)
    return _SIGNS.get(word)


def mode_of(cell: str) -> str:
    """Return 'dc', 'ac' or '' for a cell that names a measuring mode."""
    word = cell.strip().strip('"').strip()
    if not _MODE_CELL.fullmatch(word) and not re.search(r"(?i)(?:^|[\s_~])(?:ac|dc)(?:$|[\s_])", word) and word != "~":
        return "ac" if word.lower() in ("acv", "vac", "acmv", "mvac") else "dc" if units.volts_per(word) else ""
    return "ac" if re.search(r"(?i)ac", word) or "~" in word else "dc"


def kind_of(column: Column) -> Kind | None:
    """Tell what a column is by its words and cells; None where it may be an output."""
    if column.kind == "text":
        filled = [cell for raw in column.cells if (cell := raw.strip().strip('"').strip())]
        return _of_words(column.words, filled) if filled else None
    if column.kind != "number":
        return None
    words, label, names = column.words, column.label, column.name_words
    unit, volts, reading = label.unit.lower(), label.kind == "volts", words & vocabulary.READING
    of_output = words & {"left", "right", "output"}
    peak = names & {"pk", "peak"} and volts and len(names) > 2  # of an output
    rules: tuple[tuple[Kind | None, object], ...] = (  # the first that holds decides
        (Kind.AC, units.is_ac(label.unit) or units.is_ac(column.header)),
        (Kind.RANGE, words & vocabulary.RANGE and not words & {"left", "right"}),
        (Kind.BATTERY, words & vocabulary.BATTERY),
        (Kind.TEMPERATURE, not volts and _warm(words, label)),
        (Kind.MAINS, words & vocabulary.MAINS),
        (Kind.RAIL, words & vocabulary.RAIL or re.fullmatch(r"(?i)[bv][+-](?:\W.*)?", column.header.strip())),
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
    return _in_turn([cell.strip().strip('"') for cell in column.cells if cell.strip()][:_TURNS])


def _in_turn(items: Sequence[str | float]) -> bool:
    kinds = list(dict.fromkeys(items))
    if not 2 <= len(kinds) <= 16 or len(items) < 3 * len(kinds):
        return False
    return all(item == kinds[k % len(kinds)] for k, item in enumerate(items))


def steps_by_one(column: Column) -> bool:
    """Whether whole numbers stand still or go up by one, as a count of rounds does."""
    steps = np.diff(column.known)
    return steps.size >= 4 and bool(np.all((steps == 0) | (steps == 1))) and float(steps.sum()) >= 3
