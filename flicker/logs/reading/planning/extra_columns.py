"""Columns that are no outputs: what their words and cells say they are. Columns in, kinds out."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from flicker.logs.reading.planning.columns import Column, Kind
from flicker.logs.reading.words import units, vocabulary
from flicker.logs.reading.words.numerals import PLAIN

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
    words, label = column.words, column.label
    filled = [cell.strip().strip('"').strip() for cell in column.cells if cell.strip().strip('"').strip()]
    if column.kind == "text" and filled:
        return _of_words(words, filled)
    if column.kind != "number":
        return None
    if units.is_ac(label.unit) or units.is_ac(column.header):
        return Kind.AC
    if words & vocabulary.RANGE and not words & {"left", "right"}:
        return Kind.RANGE
    if words & vocabulary.BATTERY:
        return Kind.BATTERY
    if label.kind != "volts":
        warm = words & vocabulary.WARM_SURE or (
            words & vocabulary.WARM and label.unit.lower().lstrip("°") in ("c", "f", "k", "degc", "degf", "celsius")
        )
        if warm and (label.kind == "other" or not words & vocabulary.READING):
            return Kind.TEMPERATURE
        if label.unit.startswith("°") or (
            label.kind == "other" and label.unit.lower() in ("degc", "celsius", "kelvin")
        ):
            return Kind.TEMPERATURE
        if words & {"room", "raum"} and label.kind == "none" and not words & {"left", "right", "output"}:
            return Kind.TEMPERATURE
    if words & vocabulary.MAINS:
        return Kind.MAINS
    if words & vocabulary.RAIL or re.fullmatch(r"(?i)[bv][+-](?:\W.*)?", column.header.strip()):
        return Kind.RAIL
    names = column.name_words
    if names & vocabulary.STATISTICS and not (names & {"pk", "peak"} and label.kind == "volts" and len(names) > 2):
        return Kind.STATISTIC
    if label.kind == "volts" or column.cell_units:
        return None
    if label.kind == "other":
        counted = label.unit.lower() in ("counts", "count", "lsb", "adc", "raw", "codes", "bit", "bits", "dec")
        return Kind.COUNTS if counted else Kind.ELSE
    if words & vocabulary.COUNTS:
        return Kind.COUNTS
    if words & vocabulary.SIGN:
        return Kind.SIGN
    if words & vocabulary.MODE:
        return Kind.MODE
    if words & vocabulary.CHANNEL and not re.search(r"\d", column.header) and few_names(column):
        return Kind.CHANNEL
    reading = words & vocabulary.READING
    if words & vocabulary.STATE and not reading and not words & {"left", "right", "output"}:
        return Kind.STATE
    if counts(column) or (not (words - vocabulary.COUNTERS) and steps_by_one(column)):
        return Kind.COUNTER
    counter = words & vocabulary.COUNTERS and not (words & (vocabulary.OUTPUT | vocabulary.READING))
    if counter or (words and words <= {"reading", "no", "nr", "number", "num"} and len(words) > 1):
        return Kind.COUNTER
    if words & vocabulary.ELSE and not reading and not words & {"left", "right", "output", "offset"}:
        return Kind.ELSE
    return None


def _of_words(words: set[str], filled: list[str]) -> Kind | None:
    cells = set(filled)
    if all(sign_of(cell) is not None for cell in cells) and (
        words & vocabulary.SIGN or cells <= {"+", "-", "\u2212", "\u2013"}
    ):
        return Kind.SIGN
    voltages = [cell for cell in cells if units.volts_per(cell) is not None]
    if words & vocabulary.MODE and voltages and all(units.volts_per(cell) == 1.0 for cell in voltages):
        return Kind.MODE  # DCV is a function; the unit of the readings may be another
    if words & vocabulary.RANGE:
        return Kind.RANGE
    if voltages and all(_UNIT_CELL.fullmatch(cell) for cell in cells):
        known = [c for c in filled if units.volts_per(c) is not None or units.kind_of(c) == "other" or units.is_ac(c)]
        if len(known) >= 0.8 * len(filled):
            return Kind.UNIT
    modes = [mode_of(cell) for cell in cells]
    if all(modes) and len(cells) <= 8:
        return Kind.MODE
    if words & vocabulary.MODE and any(modes):
        return Kind.MODE
    if words & vocabulary.RANGE:
        return Kind.RANGE
    if words & vocabulary.CHANNEL and 1 <= len(cells) <= 64:
        return Kind.CHANNEL
    return None


def few_names(column: Column) -> bool:
    """Whether numbers may be those of channels: small, whole, and few."""
    kinds = np.unique(column.known)
    few = 1 <= kinds.size <= min(64, 0.5 * column.known.size)
    return bool(few and np.all((kinds == np.round(kinds)) & (kinds >= 0) & (kinds <= 255)))


def cycles(column: Column) -> bool:
    """Whether numbers go round in the same order, as those of channels read in turn do."""
    values = column.known.tolist()
    return len(values) >= 8 and few_names(column) and not counts(column) and _in_turn(values)


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


def counts(column: Column) -> bool:
    """Whether a column only counts its rows."""
    steps = np.diff(column.known)
    return steps.size >= 4 and bool(np.all(steps == 1))
