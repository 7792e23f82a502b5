"""Turns columns as a file holds them into seconds and volts, as the plan says; of text and of tables alike: counts, numbers, dates with times of day; columns that tell unit, sign or kind of each reading."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta
from functools import partial
from typing import Any, NamedTuple

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from flicker.base.arrays import Bools, Floats, Ints
from flicker.logs import arrow_types
from flicker.logs.errors import LogError, Question
from flicker.logs.reading.planning import sampled
from flicker.logs.reading.planning.columns import Channel, Column, not_a_number
from flicker.logs.reading.planning.plan import Plan
from flicker.logs.reading.words import clock, odd_cells, units
from flicker.logs.reading.words.numerals import Numerals, only_with


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
        return self.plan.time.kind == "stamp" and not any(form.has_date for form in self.plan.time.forms)

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

    def begin_earlier(self, by_s: float) -> None:
        """Let the log begin so many seconds before the first row that was seen."""
        if self.start is not None:
            self.start -= timedelta(seconds=by_s)
        if self.plan.time.kind == "stamp":
            self._zero -= round(by_s * 1e6)

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
        forms = how.forms
        if forms[0].name == "year":
            columns, forms = [_joined(columns)], (clock.Form("ymd clock" if len(columns) == 6 else "ordinal clock"),)
        total, good = np.zeros(len(columns[0]), dtype=np.int64), np.ones(len(columns[0]), dtype=bool)
        for column, form, position in zip(columns, forms, how.positions, strict=False):
            micros, known = _micros(column, form, partial(bad, position))
            total += micros
            good &= known
        if self.sequential:
            total = self.midnight.unwrap(total, good)
        if self._zero is None and good.any():
            self._zero = int(total[good][0])
            if self.dated:
                self.start = clock.moment(self._zero, zoned=any(form.zoned for form in how.forms))
            elif self.plan.day_us is not None and self._zero < clock.DAY_US:
                self.start = clock.moment(self.plan.day_us + self._zero, zoned=False)
        seconds = (total - (self._zero or 0)) / 1e6
        return seconds if good.all() else np.where(good, seconds, np.nan)


def _joined(parts: Sequence[Any]) -> Any:
    """The parts of moments, from the year down, as one word each; an empty one where a part is missing."""
    import pyarrow.compute as pc

    *days, hours, minutes, seconds = (arrow_types.bare_words(part) for part in parts)
    days[-1] = pc.utf8_lpad(days[-1], 3, "0") if len(days) == 2 else days[-1]
    seconds = pc.replace_substring_regex(seconds, r"^(\d)(\D|$)", r"0\1\2")
    date, time = ((*days, "-"), (hours, pc.utf8_lpad(minutes, 2, "0"), seconds, ":"))
    return pc.binary_join_element_wise(pc.binary_join_element_wise(*date), pc.binary_join_element_wise(*time), " ")


def _micros(column: Any, form: clock.Form, bad: Callable[[str, int], LogError]) -> tuple[Ints, Bools]:
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


_LARGEST_SINGLE = float(np.finfo(np.float32).max)  # IEEE 754
_PLAIN = {  # by decimal sign, as `words.numerals` has them, in the syntax of Arrow
    ".": r"^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?$",
    ",": r"^[+-]?(?:\d+,?\d*|,\d+)(?:[eE][+-]?\d+)?$",
    "": r"^[+-]?\d+(?:[eE][+-]?\d+)?$",
}


class Rows(NamedTuple):
    """So many rows of a file from ``first`` on: their columns by position, and in words where a row stands.

    ``refusal`` says what is wrong with a row whose cell cannot be read, None where it is the cell alone.
    """

    rows: int
    column: Callable[[int], Any]
    place: Callable[[int], str]
    first: int = 0
    refusal: Callable[[int], LogError | None] = lambda row: None


class Converter:
    """Turns rows into seconds and volts; ``codes`` numbers the channels or runs that a column names."""

    def __init__(self, plan: Plan, name: str, columns: Sequence[Column], numerals: Numerals) -> None:
        self.plan = plan
        self.name = name
        self.columns = columns
        self.numerals = numerals
        self.per_reading = PerReading(name, [column.header for column in columns])
        self.seconds = Seconds(plan)
        self.codes: dict[str, int] = {}
        told = [(word, math.inf) for word in plan.over_words] + [(word, math.nan) for word in plan.missing_words]
        self._told = {word.strip().lower(): value for word, value in told}
        numbers = [(_number_told(word, numerals), value) for word, value in told]
        self._told_numbers = {number: value for number, value in numbers if number is not None}

    def time(self, rows: Rows, first: int) -> Floats:
        """Return seconds since the first sample, shape (rows,), NaN where there is none; ``first`` counts the first row."""
        how = self.plan.time
        if how.kind == "none":
            return self.seconds.counted(first, rows.rows)
        if how.kind == "stamp":
            return self.seconds.of_stamps([rows.column(place) for place in how.positions], partial(self._no_time, rows))
        column = arrow_types.decoded(rows.column(how.positions[0]))
        if pa.types.is_duration(column.type) or pa.types.is_signed_integer(column.type):  # whole numbers stay whole
            return self.seconds.of_numbers(arrow_types.whole(column), arrow_types.valid(column))
        return self.seconds.of_numbers(self._numbers(rows, how.positions[0], seconds=how.cell_units))

    def volts(self, rows: Rows, number: int) -> Floats:
        """Return a channel in volts, shape (rows,)."""
        channel = self.plan.channels[number]
        raw = self._numbers(rows, channel.position, units_too=self.columns[channel.position].cell_units, readings=True)
        if channel.beside or channel.zero:
            return self.per_reading.volts(raw, channel, rows.column)
        return odd_cells.to_volts(raw, channel.volts)

    def _numbers(
        self, rows: Rows, position: int, *, units_too: bool = False, seconds: bool = False, readings: bool = False
    ) -> Floats:
        """Return the numbers of a column, shape (rows,).

        Of words plain numbers are read at once, odd ones (signs, units, words of meters) each once.

        Parameters
        ----------
        units_too : bool
            Whether each cell carries a unit of voltage; the numbers are volts then.
        seconds : bool
            Whether each cell carries a unit of time; the numbers are seconds then.
        readings : bool
            Whether a number may stand for no reading, or for one over range, where the caller said so.
        """
        column = arrow_types.decoded(rows.column(position))
        told = self._told_numbers if readings else {}
        if not arrow_types.is_text(column.type):
            return _without_codes(arrow_types.floats(column), told)
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
        values[good] = _without_codes(arrow_types.floats(bare.filter(arrow_types.mask(good))), told)
        for unit in () if volts is None else np.unique(volts[good]):
            these = good & (volts == unit)
            values[these] = odd_cells.to_volts(values[these], float(unit))
        rest = np.flatnonzero(~good)
        if rest.size:
            kinds, codes = arrow_types.coded(words.take(arrow_types.places(rest)))
            found = [self._one(word, units_too, seconds, told) for word in kinds]
            if None in found:
                kind = found.index(None)
                raise self._no_number(rows, position, kinds[kind], int(rest[np.flatnonzero(codes == kind)[0]]))
            values[rest] = np.array(found)[codes]
        return values

    def _no_number(self, rows: Rows, position: int, cell: str, row: int) -> LogError:
        """What to say of a cell that is no number."""
        changed = None if self.numerals.unclear(cell) else rows.refusal(row)
        return changed or not_a_number(self.name, rows.place(row), self.columns[position].header, cell, self.numerals)

    def _no_time(self, rows: Rows, position: int, cell: str, row: int) -> LogError:
        """What to say of a cell that is no time."""
        return rows.refusal(row) or LogError(
            f'{self.name}, {rows.place(row)}, column "{self.columns[position].header}": "{cell[:40]}" is not a time as the rows'
            " before have it. Correct the cell."
        )

    def _one(self, word: str, units_too: bool, seconds: bool, codes: Mapping[float, float]) -> float | None:
        """What one odd word of a column says, None where it says nothing."""
        known = word.strip('" ').lower()
        if known in self._told:
            return self._told[known]
        number = self.numerals.number(word)
        if number is not None and number in codes:
            return codes[number]
        if seconds:
            time = odd_cells.seconds(word, self.numerals)
            return odd_cells.word_value(word) if time is None else time
        found = odd_cells.value(word, self.numerals, units_too=units_too)
        if units_too and found and math.isfinite(found) and number is not None:
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


def _number_told(word: str, numerals: Numerals) -> float | None:
    """The number that a word is which the caller named, with the file's decimal sign or else with its own."""
    return Numerals(only_with(word) or numerals.decimal).number(word)


def _without_codes(numbers: Floats, codes: Mapping[float, float]) -> Floats:
    """Numbers as the file writes them; those that stand in place of a reading (-999.9) replaced by what they mean."""
    for code, value in codes.items():
        alike = numbers == code
        if abs(code) <= _LARGEST_SINGLE:
            alike |= numbers == float(np.float32(code))  # a table may hold single precision
        if alike.any():
            numbers = np.where(alike, value, numbers)
    return numbers


def _without_units(words: Any) -> tuple[Any, Floats]:
    """Split cells such as '12.3 mV' into the number's text and volts per unit; 0 where there is no unit of volts."""
    import pyarrow.compute as pc

    fields = arrow_types.single(
        pc.extract_regex(words, r"^(?P<n>[^A-Za-zµμ]*(?:[eE][+-]?\d+)?)\s*(?P<u>[A-Za-zµμ]{1,12}(?: ?DC)?)$")
    )
    kinds, codes = arrow_types.coded(arrow_types.texts(fields.field("u")))
    volts = np.array([units.volts_per(unit) or 0.0 for unit in kinds])
    return pc.utf8_trim_whitespace(arrow_types.texts(fields.field("n"))), volts[codes]


class PerReading:
    """Turns readings into volts; counts those that are none of direct voltage, which become missing."""

    def __init__(self, name: str, titles: list[str]) -> None:
        self.name = name
        self.titles = titles
        self.other: Counter[str] = Counter()
        self.alternating = 0
        self.readings = 0
        self._units_at = 0  # position of the column of units

    def volts(self, raw: Floats, channel: Channel, column: Callable[[int], Any]) -> Floats:
        """Return a batch of a channel in volts; ``column`` hands out the words (or numbers) at a position."""
        if channel.zero:
            raw = raw - channel.zero
        if channel.unit_column is None:
            values = odd_cells.to_volts(raw, channel.volts)
        else:
            self._units_at = channel.unit_column
            values = self._in_own_units(raw, column(channel.unit_column))
        if channel.sign_column is not None:
            values = values * self._signs(column(channel.sign_column), channel.sign_column)
        if channel.mode_column is not None:
            ac = self._alternating(column(channel.mode_column))
            if ac.any():
                self.alternating += int(np.count_nonzero(ac & ~np.isnan(values)))
                values = np.where(ac, np.nan, values)
        return values

    def _in_own_units(self, raw: Floats, words: Any) -> Floats:
        """Readings in the unit that stands beside each; those in no unit of volts are counted, and missing."""
        kinds, codes = arrow_types.coded(arrow_types.bare_words(words))
        factors = [units.volts_in(kind) for kind in kinds]
        values = np.full(raw.size, np.nan)
        for k, (kind, factor) in enumerate(zip(kinds, factors, strict=True)):
            rows = codes == k
            if factor is None:
                readings = int(np.count_nonzero(np.isfinite(raw[rows])))
                values[rows & np.isinf(raw)] = raw[rows & np.isinf(raw)]
                if readings:
                    self.other[kind] += readings
            else:
                values[rows] = odd_cells.to_volts(raw[rows], factor)
        self.readings += values.size
        return values

    def _signs(self, words: Any, position: int) -> Floats:
        """The sign that stands beside each reading."""
        kinds, codes = arrow_types.coded(arrow_types.bare_words(words))
        signs = [sampled.sign_of(kind) for kind in kinds]
        if None in signs:
            kind, title = kinds[signs.index(None)], self.titles[position]
            raise Question(
                f'{self.name}: column "{title}" holds {kind[:20]!r} where a sign should stand; leave it out with roles'
                f' (--role "{title}=ignore").',
                roles={title: "ignore"},
            )
        return np.array(signs, dtype=np.float64)[codes]

    def _alternating(self, words: Any) -> Bools:
        kinds, codes = arrow_types.coded(arrow_types.bare_words(words))
        return np.asarray(np.array([sampled.mode_of(kind) == "ac" for kind in kinds])[codes])

    @property
    def unread(self) -> int:
        """Readings that were no direct voltage."""
        return self.alternating + sum(self.other.values())

    def notes(self) -> list[str]:
        """Say which readings were no direct voltage.

        Raises
        ------
        LogError
            If hardly any was.
        """
        out = []
        for kind, count in self.other.most_common():
            if count > 0.5 * self.readings:
                title = self.titles[self._units_at]
                raise Question(
                    f"{self.name}: {count} of {self.readings} readings are in {kind.strip() or 'no unit'!r}, which is no unit of"
                    f' direct voltage; leave out the column of units with roles (--role "{title}=ignore") and say the unit with unit'
                    " (--unit V|mV).",
                    roles={title: "ignore"},
                    unit="V",
                )
            out.append(f"Not read, and so not observed: {count} readings in {kind.strip() or 'no unit'!r}.")
        if self.alternating:
            out.append(f"Not read, and so not observed: {self.alternating} readings of alternating voltage.")
        return out
