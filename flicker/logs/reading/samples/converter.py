"""Turns columns as a file holds them into seconds and volts, as the plan says; of text and of tables alike."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np
import pyarrow as pa

from flicker.base.arrays import Floats
from flicker.logs import arrow_types
from flicker.logs.errors import LogError
from flicker.logs.reading.planning.columns import Column
from flicker.logs.reading.planning.plan import Plan
from flicker.logs.reading.samples.per_reading import PerReading
from flicker.logs.reading.samples.seconds import Seconds
from flicker.logs.reading.words import odd_cells, units
from flicker.logs.reading.words.numerals import Numerals

Refusal = Callable[[int, str, int], LogError]  # what to say of a cell: the position of its column, the cell, its row


_PLAIN = {  # by decimal sign, as `words.numerals` has them, in the syntax of Arrow
    ".": r"^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?$",
    ",": r"^[+-]?(?:\d+,?\d*|,\d+)(?:[eE][+-]?\d+)?$",
    "": r"^[+-]?\d+(?:[eE][+-]?\d+)?$",
}


class Rows(NamedTuple):
    """So many rows of a file from ``first`` on: their columns by position, and what to say of a cell that cannot be read."""

    rows: int
    column: Callable[[int], Any]
    no_number: Refusal
    no_time: Refusal
    first: int = 0


class Converter:
    """Turns rows into seconds and volts; ``codes`` numbers the channels or runs that a column names."""

    def __init__(self, plan: Plan, name: str, columns: Sequence[Column], numerals: Numerals) -> None:
        self.plan = plan
        self.columns = columns
        self.numerals = numerals
        self.per_reading = PerReading(name, [column.header for column in columns])
        self.seconds = Seconds(plan)
        self.codes: dict[str, int] = {}
        told = [(word, math.inf) for word in plan.over_words] + [(word, math.nan) for word in plan.missing_words]
        self._told = {word.strip().lower(): value for word, value in told}

    def time(self, rows: Rows, first: int) -> Floats:
        """Return seconds since the first sample, shape (rows,), NaN where there is none; ``first`` counts the first row."""
        how = self.plan.time
        if how.kind == "none":
            return self.seconds.counted(first, rows.rows)
        if how.kind == "stamp":
            return self.seconds.of_stamps([rows.column(place) for place in how.positions], rows.no_time)
        column = arrow_types.decoded(rows.column(how.positions[0]))
        if pa.types.is_duration(column.type) or pa.types.is_signed_integer(column.type):  # whole numbers stay whole
            return self.seconds.of_numbers(arrow_types.whole(column), arrow_types.valid(column))
        return self.seconds.of_numbers(self._numbers(rows, how.positions[0], seconds=how.cell_units))

    def volts(self, rows: Rows, number: int) -> Floats:
        """Return a channel in volts, shape (rows,)."""
        channel = self.plan.channels[number]
        raw = self._numbers(rows, channel.position, units_too=self.columns[channel.position].cell_units)
        if channel.beside or channel.zero:
            return self.per_reading.volts(raw, channel, rows.column)
        return odd_cells.to_volts(raw, channel.volts)

    def _numbers(self, rows: Rows, position: int, *, units_too: bool = False, seconds: bool = False) -> Floats:
        """Return the numbers of a column, shape (rows,).

        Of words plain numbers are read at once, odd ones (signs, units, words of meters) each once.

        Parameters
        ----------
        units_too : bool
            Whether each cell carries a unit of voltage; the numbers are volts then.
        seconds : bool
            Whether each cell carries a unit of time; the numbers are seconds then.
        """
        column = arrow_types.decoded(rows.column(position))
        if not arrow_types.is_text(column.type):
            return arrow_types.floats(column)
        import pyarrow.compute as pc

        how = self.numerals
        words = pc.utf8_trim(pc.utf8_trim_whitespace(arrow_types.texts(column)), characters='"')
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
            these = good & (volts == unit)
            values[these] = odd_cells.to_volts(values[these], float(unit))
        rest = np.flatnonzero(~good)
        if rest.size:
            kinds, codes = arrow_types.coded(words.take(arrow_types.places(rest)))
            found = [self._one(word, units_too, seconds) for word in kinds]
            if None in found:
                kind = found.index(None)
                raise rows.no_number(position, kinds[kind], int(rest[np.flatnonzero(codes == kind)[0]]))
            values[rest] = np.array(found)[codes]
        return values

    def _one(self, word: str, units_too: bool, seconds: bool) -> float | None:
        known = word.strip('" ').lower()
        if known in self._told:
            return self._told[known]
        if seconds:
            time = odd_cells.seconds(word, self.numerals)
            return odd_cells.word_value(word) if time is None else time
        found = odd_cells.value(word, self.numerals, units_too=units_too)
        if units_too and found and math.isfinite(found) and self.numerals.number(word) is not None:
            return None  # a number without a unit among numbers with one
        return found

    def run(self, rows: Rows) -> Floats | None:
        """Return numbers for the channels that the rows name, or for their runs; None where no column names either."""
        place = self.plan.run if self.plan.key is None else self.plan.key
        if place is None:
            return None
        cells = arrow_types.decoded(rows.column(place))
        if self.plan.key is None and not arrow_types.is_text(cells.type):
            return np.nan_to_num(arrow_types.floats(cells), nan=-1.0)
        kinds, codes = arrow_types.coded(arrow_types.bare_words(cells))
        return np.array([self.codes.setdefault(word, len(self.codes)) for word in kinds], dtype=np.float64)[codes]


def _without_units(words: Any) -> tuple[Any, Floats]:
    """Split cells such as '12.3 mV' into the number's text and volts per unit; 0 where there is no unit of volts."""
    import pyarrow.compute as pc

    fields = arrow_types.single(
        pc.extract_regex(words, r"^(?P<n>[^A-Za-zµμ]*(?:[eE][+-]?\d+)?)\s*(?P<u>[A-Za-zµμ]{1,12}(?: ?DC)?)$")
    )
    kinds, codes = arrow_types.coded(arrow_types.texts(fields.field("u")))
    volts = np.array([units.volts_per(unit) or 0.0 for unit in kinds])
    return pc.utf8_trim_whitespace(arrow_types.texts(fields.field("n"))), volts[codes]
