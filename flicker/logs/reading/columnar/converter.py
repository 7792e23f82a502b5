"""Turns record batches into seconds and volts, as the plan says; words in cells as text logs have them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from flicker.base.arrays import Floats
from flicker.logs import arrow_types
from flicker.logs.errors import LogError
from flicker.logs.reading.columnar.table_columns import exact
from flicker.logs.reading.planning.columns import Column, not_a_number
from flicker.logs.reading.planning.plan import Plan
from flicker.logs.reading.samples.cell_numbers import CellNumbers
from flicker.logs.reading.samples.per_reading import PerReading
from flicker.logs.reading.samples.seconds import Seconds
from flicker.logs.reading.words import cells as odd_cells
from flicker.logs.reading.words.numerals import Numerals


class Converter:
    """Turns record batches into seconds and volts."""

    def __init__(self, plan: Plan, names: Sequence[str], name: str, columns: Sequence[Column], how: Numerals) -> None:
        self.plan = plan
        self.names = names
        self.name = name
        self.columns = columns
        self.numerals = how
        self.per_reading = PerReading(name, list(names))
        self.seconds = Seconds(plan)
        self.codes: dict[str, int] = {}
        self._cells = CellNumbers(plan, how)

    @property
    def time_names(self) -> list[str]:
        """Columns needed to tell the time."""
        return [self.names[k] for k in self.plan.time.positions] if self.plan.time.kind != "none" else []

    def time(self, batch: Any, first: int) -> Floats:
        """Return seconds since the first sample, shape (rows,); NaN where there is none."""
        how = self.plan.time
        if how.kind == "none":
            return self.seconds.counted(first, batch.num_rows)
        columns = [batch.column(name) for name in self.time_names]
        if how.kind == "number":
            cells = arrow_types.decoded(columns[0])
            if arrow_types.is_text(cells.type):
                return self.seconds.of_numbers(self._numbers(cells, how.positions[0], first, seconds=how.cell_units))
            return self.seconds.of_numbers(*exact(cells))

        def bad(position: int, word: str, row: int) -> LogError:
            return LogError(
                f'{self.name}, row {first + row + 1}: "{word[:40]}" is not a time as the rows before have it. Correct the cell.'
            )

        return self.seconds.of_stamps(columns, bad)

    def volts(self, batch: Any, number: int, first: int) -> Floats:
        """Return a channel in volts."""
        channel = self.plan.channels[number]
        units_too = self.columns[channel.position].cell_units
        raw = self._numbers(batch.column(self.names[channel.position]), channel.position, first, units_too=units_too)
        if channel.beside or channel.zero:
            return self.per_reading.volts(raw, channel, lambda k: batch.column(self.names[k]))
        return odd_cells.to_volts(raw, channel.volts)

    def _numbers(
        self, column: Any, position: int, first: int, *, units_too: bool = False, seconds: bool = False
    ) -> Floats:
        cells = arrow_types.decoded(column)
        if not arrow_types.is_text(cells.type):
            return arrow_types.floats(cells)

        def bad(word: str, row: int) -> LogError:
            return not_a_number(self.name, f"row {first + row + 1}", self.names[position], word, self.numerals)

        return self._cells.numbers(arrow_types.texts(cells), bad, units_too=units_too, seconds=seconds)

    def run(self, batch: Any) -> Floats | None:
        """Return numbers for the channels that the rows name, or for their runs; None where no column names either."""
        place = self.plan.run if self.plan.key is None else self.plan.key
        if place is None:
            return None
        cells = arrow_types.decoded(batch.column(self.names[place]))
        if self.plan.key is None and not arrow_types.is_text(cells.type):
            return np.nan_to_num(arrow_types.floats(cells), nan=-1.0)
        kinds, codes = arrow_types.coded(arrow_types.bare_words(cells))
        return np.array([self.codes.setdefault(word, len(self.codes)) for word in kinds], dtype=np.float64)[codes]
