"""Columns of words as numbers: plain ones at once, odd ones (signs, units, words of meters) each once. Words in, numbers out."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from flicker.base.arrays import Floats
from flicker.logs import arrow_types
from flicker.logs.errors import LogError
from flicker.logs.reading.planning.plan import Plan
from flicker.logs.reading.words import cells, units
from flicker.logs.reading.words.numerals import Numerals

_PLAIN = {  # by decimal sign, as `words.numerals` has them, in the syntax of Arrow
    ".": r"^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?$",
    ",": r"^[+-]?(?:\d+,?\d*|,\d+)(?:[eE][+-]?\d+)?$",
    "": r"^[+-]?\d+(?:[eE][+-]?\d+)?$",
}


class CellNumbers:
    """Reads cells with the numerals of a file; words that the caller told stand for no reading, or one over range."""

    def __init__(self, plan: Plan, numerals: Numerals) -> None:
        self.numerals = numerals
        told = [(word, math.inf) for word in plan.over_words] + [(word, math.nan) for word in plan.missing_words]
        self._told = {word.strip().lower(): value for word, value in told}

    def numbers(
        self, column: Any, bad: Callable[[str, int], LogError], *, units_too: bool = False, seconds: bool = False
    ) -> Floats:
        """Return the numbers of a column of words.

        Parameters
        ----------
        column : Arrow column of strings
            The cells.
        bad : callable
            Makes the error of a cell that is no number, from the cell and its row.
        units_too : bool
            Whether each cell carries a unit of voltage; the numbers are volts then.
        seconds : bool
            Whether each cell carries a unit of time; the numbers are seconds then.
        """
        import pyarrow.compute as pc

        how = self.numerals
        words = pc.utf8_trim(pc.utf8_trim_whitespace(column), characters='"')
        bare, volts = _without_units(words) if units_too else (words, None)
        good = arrow_types.truths(pc.match_substring_regex(bare, _PLAIN[how.decimal if how.sure else ""]))
        if volts is not None:
            good &= volts > 0
        if seconds:
            good[:] = False
        bare = pc.utf8_ltrim(bare, characters="+")
        if how.decimal == ",":
            bare = pc.replace_substring(bare, ",", ".")
        values = np.full(good.size, np.nan)
        values[good] = arrow_types.floats(bare.filter(arrow_types.mask(good)))
        for unit in () if volts is None else np.unique(volts[good]):
            rows = good & (volts == unit)
            values[rows] = cells.to_volts(values[rows], float(unit))
        rest = np.flatnonzero(~good)
        if rest.size:
            kinds, codes = arrow_types.coded(words.take(arrow_types.places(rest)))
            found = [self._one(word, units_too, seconds) for word in kinds]
            if None in found:
                kind = found.index(None)
                raise bad(kinds[kind], int(rest[np.flatnonzero(codes == kind)[0]]))
            values[rest] = np.array(found)[codes]
        return values

    def _one(self, word: str, units_too: bool, seconds: bool) -> float | None:
        known = word.strip('" ').lower()
        if known in self._told:
            return self._told[known]
        if seconds:
            time = cells.seconds(word, self.numerals)
            return cells.word_value(word) if time is None else time
        found = cells.value(word, self.numerals, units_too=units_too)
        if units_too and found and math.isfinite(found) and self.numerals.number(word) is not None:
            return None  # a number without a unit among numbers with one
        return found


def _without_units(words: Any) -> tuple[Any, Floats]:
    """Split cells such as '12.3 mV' into the number's text and volts per unit; 0 where there is no unit of volts."""
    import pyarrow.compute as pc

    fields = arrow_types.single(
        pc.extract_regex(words, r"^(?P<n>[^A-Za-zµμ]*(?:[eE][+-]?\d+)?)\s*(?P<u>[A-Za-zµμ]{1,12}(?: ?DC)?)$")
    )
    kinds, codes = arrow_types.coded(arrow_types.texts(fields.field("u")))
    volts = np.array([units.volts_per(unit) or 0.0 for unit in kinds])
    return pc.utf8_trim_whitespace(arrow_types.texts(fields.field("n"))), volts[codes]
