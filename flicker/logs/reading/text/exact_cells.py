"""Reads cells one by one where the fast parse refused: odd signs, units, words of meters, summaries. Cells in, numbers out."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from flicker.base.arrays import Floats
from flicker.logs import arrow_types
from flicker.logs.errors import LogError
from flicker.logs.reading.planning import sampled
from flicker.logs.reading.planning.columns import not_a_number
from flicker.logs.reading.planning.plan import Plan
from flicker.logs.reading.text import sniff
from flicker.logs.reading.words import cells, units

_NUMBER_RE2 = {
    ".": r"^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?$",
    ",": r"^[+-]?(?:\d+,?\d*|,\d+)(?:[eE][+-]?\d+)?$",
    "": r"^[+-]?\d+(?:[eE][+-]?\d+)?$",
}


class ExactParser:
    """Reads the columns of a page as words, and tells what each cell means."""

    def __init__(self, name: str, layout: sniff.Layout, plan: Plan) -> None:
        self.name = name
        self.layout = layout
        self.plan = plan
        self._missing = {word.strip().lower() for word in plan.missing_words}
        self._over = {word.strip().lower() for word in plan.over_words}

    def parse(self, columns: dict[int, Any], table: Any, line_of: Callable[[int], int]) -> tuple[dict[int, Any], int]:
        """Return numbers for the columns of numbers, words for the others, and the number of rows.

        Raises
        ------
        LogError
            If a cell is no number.
        """
        import pyarrow.compute as pc

        numbers = {channel.position for channel in self.plan.channels}
        time = self.plan.time.positions[0] if self.plan.time.kind == "number" else None
        out: dict[int, Any] = {}
        for position, found in columns.items():
            words = pc.utf8_trim_whitespace(found)
            if position == time:
                out[position] = self._numbers(words, position, table, line_of, timed=True)
            elif position in numbers:
                out[position] = self._numbers(words, position, table, line_of)
            else:
                out[position] = words
        return out, int(table.num_rows)

    def _numbers(
        self, words: Any, position: int, table: Any, line_of: Callable[[int], int], *, timed: bool = False
    ) -> Floats:
        import pyarrow as pa
        import pyarrow.compute as pc

        how, column = self.layout.numerals, self.layout.columns[position]
        words = pc.utf8_trim(words, characters='"')
        with_units = column.cell_units and not timed
        bare, volts = _without_units(words) if with_units else (words, None)
        good = arrow_types.truths(pc.match_substring_regex(bare, _NUMBER_RE2[how.decimal if how.sure else ""]))
        if volts is not None:
            good &= volts > 0
        if timed and column.time_cells:
            good[:] = False
        bare = pc.utf8_ltrim(bare, characters="+")
        if how.decimal == ",":
            bare = pc.replace_substring(bare, ",", ".")
        values = np.full(good.size, np.nan)
        values[good] = arrow_types.floats(pc.cast(bare.filter(arrow_types.mask(good)), pa.float64()))
        for unit in () if volts is None else np.unique(volts[good]):
            rows = good & (volts == unit)
            values[rows] = cells.to_volts(values[rows], float(unit))
        rest = np.flatnonzero(~good)
        if rest.size:
            coded = pc.dictionary_encode(words.take(arrow_types.places(rest)))
            codes = arrow_types.whole(coded.indices)
            kinds = coded.dictionary.to_pylist()
            table_of = np.empty(len(kinds))
            for k, word in enumerate(kinds):
                found = self._one(word, with_units, timed and column.time_cells)
                if found is None:
                    row = int(rest[int(np.flatnonzero(codes == k)[0])])
                    raise self._bad(word, row, position, table, line_of)
                table_of[k] = found
            values[rest] = table_of[codes]
        return values

    def _one(self, word: str, with_units: bool, with_seconds: bool) -> float | None:
        how = self.layout.numerals
        if self._missing or self._over:
            known = word.strip('" ').lower()
            if known in self._missing:
                return math.nan
            if known in self._over:
                return math.inf
        if with_seconds:
            seconds = cells.seconds(word, how)
            if seconds is not None:
                return seconds
            return cells.word_value(word)
        found = cells.value(word, how, units_too=with_units)
        if with_units and found and math.isfinite(found) and how.number(word) is not None:
            return None  # a number without a unit among numbers with one
        return found

    def _bad(self, cell: str, row: int, position: int, table: Any, line_of: Callable[[int], int]) -> LogError:
        row_cells = [str(table.column(k)[row]) for k in range(self.layout.width)]
        line = line_of(row)
        title = self.layout.header[position] if position < len(self.layout.header) else f"column {position + 1}"
        unclear = self.layout.numerals.unclear(cell)
        if (
            not unclear
            and sum(sampled.strong(c) for c in row_cells) == 0
            and sum(bool(c.strip()) for c in row_cells) > 1
        ):
            return LogError(
                f"{self.name}, line {line}: the columns change here ({self.layout.delimiter.join(row_cells)[:60]!r});"
                " split the file there."
            )
        return not_a_number(self.name, f"line {line}", title, cell)


def _without_units(words: Any) -> tuple[Any, Floats]:
    """Split cells such as '12.3 mV' into the number's text and volts per unit; 0 where there is no unit of volts."""
    import pyarrow.compute as pc

    fields = arrow_types.single(
        pc.extract_regex(words, r"^(?P<n>[^A-Za-zµμ]*(?:[eE][+-]?\d+)?)\s*(?P<u>[A-Za-zµμ]{1,12}(?: ?DC)?)$")
    )
    coded = pc.dictionary_encode(pc.fill_null(fields.field("u"), ""))
    volts = np.array([units.volts_per(unit) or 0.0 for unit in coded.dictionary.to_pylist()])
    return pc.utf8_trim_whitespace(pc.fill_null(fields.field("n"), "")), volts[arrow_types.whole(coded.indices)]
