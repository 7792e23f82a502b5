"""Columns of time as seconds since the first sample, batch by batch: counts, numbers, and dates with times of day."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from functools import partial
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from flicker.base.arrays import Bools, Floats
from flicker.logs import arrow_types
from flicker.logs.errors import LogError
from flicker.logs.reading.planning.plan import Plan
from flicker.logs.reading.words import clock, odd_cells


class Seconds:
    """Carries the first moment from batch to batch; ``start`` is its date and time, once they are known."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.start: datetime | None = None
        self.midnight = clock.Midnight()
        self._zero: Any = None

    @property
    def sequential(self) -> bool:
        """Whether a time depends on the rows before it: times of day without a date."""
        forms = self.plan.time.forms
        return self.plan.time.kind == "stamp" and len(forms) == 1 and not forms[0].has_date

    @property
    def dated(self) -> bool:
        """Whether a row's time tells its date, so that no two rows share it by chance."""
        return self.plan.time.zero_s is not None or any(form.has_date for form in self.plan.time.forms)

    @property
    def wall_s(self) -> float | None:
        """Seconds from midnight to the first sample on a local clock, None where the time is another."""
        how = self.plan.time
        if how.kind != "stamp" or self._zero is None or any(form.zoned for form in how.forms):
            return None
        return float(self._zero % clock.DAY_US) / 1e6

    def counted(self, first: int, rows: int) -> Floats:
        """Times of rows from ``first`` on that are counted."""
        return np.asarray((first + np.arange(rows)) * self.plan.time.factor, dtype=np.float64)

    def of_numbers(self, raw: NDArray[Any], good: Bools | None = None) -> Floats:
        """Times of rows that tell them as numbers; NaN where there is none (not ``good``; by the numbers if not given)."""
        how = self.plan.time
        if good is None and not odd_cells.all_there(raw):
            good = np.abs(raw) < odd_cells.INFINITE
        if self._zero is None and raw.size and (good is None or good.any()):
            self._zero = raw[0] if good is None else raw[good][0]
            if how.zero_s is not None:
                began = float(self._zero) * how.factor + how.zero_s
                self.start = clock.moment(round(began * 1e6), zoned=how.zoned)
        with np.errstate(over="ignore"):
            since = raw - self._zero if self._zero else raw
        seconds = odd_cells.scaled(since.astype(np.float64, copy=False), how.factor)
        return seconds if good is None or good.all() else np.where(good, seconds, np.nan)

    def of_stamps(self, columns: Sequence[Any], bad: Callable[[int, str, int], LogError]) -> Floats:
        """Times of rows that tell them as dates, times of day or both; NaN where there is none.

        ``bad`` makes the error of a cell that is no time, from the position of its column, the cell and its row.
        """
        how = self.plan.time
        total, good = np.zeros(len(columns[0]), dtype=np.int64), np.ones(len(columns[0]), dtype=bool)
        for column, form, position in zip(columns, how.forms, how.positions, strict=True):
            micros, known = _micros(column, form, partial(bad, position))
            total += self.midnight.unwrap(micros, known) if self.sequential else micros
            good &= known
        if self._zero is None and good.any():
            self._zero = int(total[good][0])
            if self.dated:
                self.start = clock.moment(self._zero, zoned=any(form.zoned for form in how.forms))
            elif self.plan.day_us is not None and self._zero < clock.DAY_US:
                self.start = clock.moment(self.plan.day_us + self._zero, zoned=False)
        seconds = (total - (self._zero or 0)) / 1e6
        return seconds if good.all() else np.where(good, seconds, np.nan)


def _micros(column: Any, form: clock.Form, bad: Callable[[str, int], LogError]) -> tuple[clock.Micros, Bools]:
    """Microseconds of a column of moments, dates, times of day, or words for them, and which rows hold one."""
    cells = arrow_types.decoded(column)
    if pa.types.is_date(cells.type):
        cells = cells.cast(pa.timestamp("ms"))
    if pa.types.is_temporal(cells.type):
        raw = arrow_types.whole(cells.cast(pa.int32()) if pa.types.is_time32(cells.type) else cells)
        per = {"s": 1_000_000, "ms": 1000, "us": 1}.get(cells.type.unit)
        return (raw * per if per else raw // 1000), arrow_types.valid(cells)
    words = arrow_types.bare_words(cells)
    micros, known = clock.parse(words, form)
    for row in np.flatnonzero(~known):
        word = str(words[int(row)])
        if word.lower() not in odd_cells.MISSING:
            raise bad(word, int(row))
    return micros, known
