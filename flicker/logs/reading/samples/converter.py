"""Turns columns as a file holds them into seconds and volts, as the plan says; of text and of tables alike."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import Any, Protocol

import numpy as np
import pyarrow as pa

from flicker.base.arrays import Floats
from flicker.logs import arrow_types
from flicker.logs.errors import LogError
from flicker.logs.reading.planning.columns import Column
from flicker.logs.reading.planning.plan import Plan
from flicker.logs.reading.samples.cell_numbers import CellNumbers
from flicker.logs.reading.samples.per_reading import PerReading
from flicker.logs.reading.samples.seconds import Seconds
from flicker.logs.reading.words import cells as odd_cells
from flicker.logs.reading.words.numerals import Numerals

Refusal = Callable[[int, str, int], LogError]  # what to say of a cell: the position of its column, the cell, its row


class Rows(Protocol):
    """Some rows of a file, and what to say of a cell in them that cannot be read."""

    @property
    def rows(self) -> int:
        """How many they are."""
        ...

    @property
    def no_number(self) -> Refusal:
        """Makes the error of a cell that is no number."""
        ...

    @property
    def no_time(self) -> Refusal:
        """Makes the error of a cell that is no time."""
        ...

    def column(self, position: int) -> Any:
        """Return a column of the file: numbers, times or words."""
        ...


class Converter:
    """Turns rows into seconds and volts; ``codes`` numbers the channels or runs that a column names."""

    def __init__(self, plan: Plan, name: str, columns: Sequence[Column], numerals: Numerals) -> None:
        self.plan = plan
        self.columns = columns
        self.numerals = numerals
        self.per_reading = PerReading(name, [column.header for column in columns])
        self.seconds = Seconds(plan)
        self.codes: dict[str, int] = {}
        self._cells = CellNumbers(plan, numerals)

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

    def _numbers(self, rows: Rows, position: int, **how: bool) -> Floats:
        cells = arrow_types.decoded(rows.column(position))
        if not arrow_types.is_text(cells.type):
            return arrow_types.floats(cells)
        return self._cells.numbers(arrow_types.texts(cells), partial(rows.no_number, position), **how)

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
