"""Turns record batches into seconds and volts, as the plan says; words in cells as text logs have them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flicker.base.arrays import Bools, Floats
from flicker.logs import arrow_types
from flicker.logs.errors import LogError
from flicker.logs.reading.columnar import tables
from flicker.logs.reading.columnar.table_columns import decoded, exact
from flicker.logs.reading.planning.columns import Column, not_a_number
from flicker.logs.reading.planning.plan import Plan
from flicker.logs.reading.samples.per_reading import PerReading
from flicker.logs.reading.words import cells as odd_cells
from flicker.logs.reading.words import clock
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
        self.codes: dict[str, int] = {}
        self._missing = {word.strip().lower() for word in plan.missing_words}
        self._over = {word.strip().lower() for word in plan.over_words}
        self.zero: Any = None
        self.start: datetime | None = None
        self.midnight = clock.Midnight()

    @property
    def wall_s(self) -> float | None:
        """Seconds from midnight to the first sample on a local clock, None where the time is another."""
        return self.plan.time.wall_s(self.zero)

    @property
    def sequential(self) -> bool:
        """Whether a time depends on the rows before it."""
        forms = self.plan.time.forms
        return self.plan.time.kind == "stamp" and len(forms) == 1 and not forms[0].has_date

    @property
    def time_names(self) -> list[str]:
        """Columns needed to tell the time."""
        return [self.names[k] for k in self.plan.time.positions] if self.plan.time.kind != "none" else []

    def time(self, batch: Any, first: int) -> Floats:
        """Return seconds since the first sample, shape (rows,); NaN where there is none."""
        how = self.plan.time
        if how.kind == "none":
            return (first + np.arange(batch.num_rows)) * how.factor
        if how.kind == "number":
            position = how.positions[0]
            cells = decoded(batch.column(self.names[position]))
            if tables.is_text(cells.type):
                raw = self._numbers(cells, position, first, seconds=how.cell_units)
                good = np.isfinite(raw)
                raw = raw if good.all() else np.where(good, raw, 0.0)
            else:
                raw, good = exact(cells)
            if self.zero is None and good.any():
                self.zero = raw[good][0]
                if how.zero_s is not None:
                    began = float(self.zero) * how.factor + how.zero_s
                    self.start = clock.moment(round(began * 1e6), zoned=how.zoned)
            whole = bool(good.all())
            since = raw - (self.zero if self.zero is not None else raw.dtype.type(0))
            since = since if whole else np.where(good, since, 0)
            seconds = odd_cells.to_volts(since.astype(np.float64, copy=False), how.factor)
            return seconds if whole else np.where(good, seconds, np.nan)
        total = np.zeros(batch.num_rows, dtype=np.int64)
        good = np.ones(batch.num_rows, dtype=bool)
        for position, form in zip(how.positions, how.forms, strict=True):
            micros, filled = self._micros(batch.column(self.names[position]), form, first)
            total += self.midnight.unwrap(micros, filled) if self.sequential else micros
            good &= filled
        if self.zero is None and good.any():
            self.zero = int(total[good][0])
            if any(form.has_date for form in how.forms):
                self.start = clock.moment(self.zero, zoned=any(form.zoned for form in how.forms))
        return np.where(good, (total - int(self.zero or 0)) / 1e6, np.nan)

    def _micros(self, cells: Any, form: clock.Form, first: int) -> tuple[clock.Micros, Bools]:
        import pyarrow as pa
        import pyarrow.compute as pc

        cells = decoded(cells)
        good = arrow_types.valid(cells)
        if pa.types.is_timestamp(cells.type) or pa.types.is_date(cells.type) or pa.types.is_time(cells.type):
            if pa.types.is_date(cells.type):
                cells = cells.cast(pa.timestamp("ms"))
            whole = cells.cast(pa.int32() if pa.types.is_time32(cells.type) else pa.int64()).cast(pa.int64())
            raw = arrow_types.whole(whole)
            unit = {"s": 1_000_000, "ms": 1000, "us": 1}.get(cells.type.unit)
            return (raw * unit if unit else raw // 1000), good
        micros, filled = clock.parse(pc.utf8_trim_whitespace(pc.fill_null(cells.cast(pa.string()), "")), form)
        bad = np.flatnonzero(good & ~filled)
        for row in bad:
            word = str(cells[int(row)])
            if word.strip().lower() not in odd_cells.MISSING:
                raise LogError(
                    f'{self.name}, row {first + int(row) + 1}: "{word[:40]}" is not a time as the rows before have it. Correct the cell.'
                )
        return micros, filled

    def volts(self, batch: Any, number: int, first: int) -> Floats:
        """Return a channel in volts."""
        channel = self.plan.channels[number]
        column = self.columns[channel.position]
        with_units = column.cell_units and channel.unit_column is None
        raw = self._numbers(batch.column(self.names[channel.position]), channel.position, first, with_units=with_units)
        if channel.beside or channel.zero:
            return self.per_reading.volts(raw, channel, lambda k: decoded(batch.column(self.names[k])))
        return odd_cells.to_volts(raw, channel.volts)

    def _numbers(
        self, cells: Any, position: int, first: int, *, with_units: bool = False, seconds: bool = False
    ) -> Floats:
        import pyarrow as pa

        cells = decoded(cells)
        if not tables.is_text(cells.type):
            return arrow_types.floats(cells)
        coded = cells.cast(pa.string()).dictionary_encode()
        values = []
        for number, word in enumerate(coded.dictionary.to_pylist()):
            value = self._one(word, with_units, seconds)
            if value is None:
                row = first + int(np.flatnonzero(arrow_types.whole(coded.indices) == number)[0]) + 1
                raise not_a_number(self.name, f"row {row}", self.names[position], word)
            values.append(value)
        codes = arrow_types.whole(coded.indices.fill_null(len(values)))
        return np.array([*values, math.nan])[codes]

    def _one(self, word: str, with_units: bool, seconds: bool) -> float | None:
        known = word.strip('" ').lower()
        if known in self._missing:
            return math.nan
        if known in self._over:
            return math.inf
        if seconds:
            found = odd_cells.seconds(word, self.numerals)
            return odd_cells.word_value(word) if found is None else found
        found = odd_cells.value(word, self.numerals, units_too=with_units)
        if with_units and found and math.isfinite(found) and self.numerals.number(word) is not None:
            return None  # a number without a unit among numbers with one
        return found

    def keys(self, batch: Any) -> Floats:
        """Return numbers for the names of the channels of the rows."""
        assert self.plan.key is not None
        import pyarrow as pa

        cells = decoded(batch.column(self.names[self.plan.key]))
        coded = cells.cast(pa.string()).fill_null("").dictionary_encode()
        codes = [self.codes.setdefault(word.strip(), len(self.codes)) for word in coded.dictionary.to_pylist()]
        return np.array(codes, dtype=np.float64)[arrow_types.whole(coded.indices)]

    def runs(self, batch: Any) -> NDArray[Any] | None:
        """Return the run column as it stands."""
        if self.plan.run is None:
            return None
        cells = decoded(batch.column(self.names[self.plan.run]))
        if tables.is_text(cells.type):
            return np.array(["" if word is None else str(word) for word in cells.to_pylist()], dtype=object)
        return np.nan_to_num(arrow_types.floats(cells), nan=-1.0)
