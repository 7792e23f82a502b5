"""Which columns tell the time, and on what scale? Told by the file or by the caller; where neither does, it is asked."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flicker.logs import arrow_types
from flicker.logs.errors import LogError
from flicker.logs.moments import LARGEST_STEP_S
from flicker.logs.reading.planning.columns import Column, Heading, Wishes, column_named, listed, not_a_number
from flicker.logs.reading.planning.extra_columns import Kind, kind_of
from flicker.logs.reading.planning.heading_interval import interval_in, interval_of
from flicker.logs.reading.words import clock, units, vocabulary

Floats = NDArray[np.float64]
Scan = Callable[[int], Iterable[Any]]  # all cells of a column, as Arrow columns of strings

DAY_S = 86400.0
_SINCE_1970_S = {  # seconds from the beginning of other ways to count to 1970-01-01
    "1904": 2_082_844_800,
    "1601": 11_644_473_600,
    "0001": 62_135_596_800,
    "spreadsheet": 25_569 * 86400,
    "Julian": 2_440_587.5 * 86400,
    "modified Julian": 40_587 * 86400,
}
_ROUND_S = (0.01, 0.02, 0.05, 0.1, 0.2, 0.25, 0.5, 1, 2, 2.5, 5, 10, 15, 20, 30, 60, 120, 300, 600, 900, 1800, 3600)
_SCALES = (1e-9, 1e-7, 1e-6, 1e-3, 1.0, 60.0, 3600.0, DAY_S)
ASK_UNIT = "say which with time_unit, as in time_unit='ms' (--time-unit s|ms|us|min|h|d)"
ASK_INTERVAL = "give the seconds between samples with sample_interval_s (--sample-interval S)"
ASK_COLUMN = "or name the time column with time_column (--time-column NAME)"


@dataclass(frozen=True, slots=True)
class TimeColumns:
    """How time is told: ``kind`` is number (``factor`` seconds per unit), stamp (one or two columns) or none.

    ``zero_s`` is where a count begins, seconds since 1970 (None where it tells no date); ``zoned`` whether that is
    universal time; ``means`` says the scale in words.
    """

    kind: str
    positions: tuple[int, ...] = ()
    forms: tuple[clock.Form, ...] = ()
    factor: float = 1.0
    zero_s: float | None = None
    zoned: bool = False
    means: str = ""
    cell_units: bool = False  # cells such as 0.5 s


def find_time(
    columns: list[Column],
    wishes: Wishes,
    name: str,
    heading: Heading,
    notes: list[str],
    run: int | None,
    scan: Scan | None = None,
) -> TimeColumns:
    """Decide how time is told.

    Raises
    ------
    LogError
        If neither the file nor the caller tells it.
    """
    finder = _Finder(columns, wishes, name, heading, notes, scan)
    return finder.find(run)


class _Finder:
    def __init__(
        self,
        columns: list[Column],
        wishes: Wishes,
        name: str,
        heading: Heading,
        notes: list[str],
        scan: Scan | None,
    ) -> None:
        self.columns = columns
        self.wishes = wishes
        self.name = name
        self.heading = heading
        self.notes = notes
        self.scan = scan
        self.interval = interval_in(heading)

    def find(self, run: int | None) -> TimeColumns:
        columns, wishes, name = self.columns, self.wishes, self.name
        for column in columns:
            _compact(column)
        stamps = [c for c in columns if c.form is not None and c.position != run]
        if wishes.time_column is not None:
            column = column_named(columns, wishes.time_column, name, "time_column")
            if wishes.sample_interval_s is None:
                return self.stamp(column, stamps) if column.form is not None else self.number(column)
        if wishes.sample_interval_s is not None:
            return self.counted(run)
        for column in stamps:
            if column.form is not None and column.form.has_clock:
                return self.stamp(column, stamps)
        numbers = [c for c in columns if c.kind == "number" and c.position != run and c.label.kind != "volts"]
        timely = [c for c in numbers if _timely(c) and c.label.kind != "other"]
        rising = [c for c in timely if _rising(c.values)] or timely
        scaled = [c for c in rising if c.label.kind == "time" or c.time_cells]
        told = [c for c in rising if not _counts_rows(c) or _epoch(c.values[np.isfinite(c.values)]) is not None]
        for group in (scaled, told):
            if group:
                return self.number(group[0])
        counter = next((c for c in rising), None)
        if stamps and counter is None:
            raise LogError(
                f'{name}: column "{stamps[0].header}" holds dates without a time of day and no other column tells the'
                f" time; {ASK_INTERVAL}."
            )
        several = sum(c.kind == "number" for c in columns) > 1
        unnamed = [c for c in numbers if (c.unnamed or c.position == 0) and _rising(c.values)]
        first = next(iter(unnamed), None) if several else None
        if self.interval is not None:
            if first is not None and first.unnamed:
                return self.number(first)
            return self.by_heading(columns, counter, run)
        if counter is not None:
            return self.number(counter)
        if first is not None and not wishes.plain_volts:
            if _counts_rows(first) and wishes.time_unit is None:
                raise LogError(
                    f'{name}: column "{first.header}" counts samples and no column tells the time; {ASK_INTERVAL}.'
                )
            return self.number(first)
        raise LogError(
            f"{name}: no column tells the time (columns: {listed([c.header for c in columns[:8]])}); {ASK_INTERVAL},"
            f" {ASK_COLUMN}."
        )

    # ------------------------------------------------------------ counted

    def counted(self, run: int | None) -> TimeColumns:
        interval = self.wishes.sample_interval_s
        assert interval is not None
        named = self.wishes.time_column
        at = None if named is None else column_named(self.columns, named, self.name, "time_column").position
        ignored = [
            c
            for c in self.columns
            if c.position != run
            and (
                c.position == at
                or c.form is not None
                or (c.kind == "number" and c.label.kind != "volts" and (_timely(c) or _row_number(c) or _even(c)))
            )
        ]
        text = f"Time is counted at {interval:g} s a sample as told"
        if ignored:
            text += f"; {listed([c.header for c in ignored])} not used"
        self.notes.append(text + ".")
        return TimeColumns("none", tuple(c.position for c in ignored), factor=interval, means="counted, as told")

    def by_heading(self, columns: list[Column], counter: Column | None, run: int | None) -> TimeColumns:
        """Count time at the interval that the heading tells; a column that counts samples gives the place."""
        interval = self.interval
        assert interval is not None
        self.notes.append(f"Time is counted at {interval:g} s a sample, as the file's heading says.")
        means = f"counted at {interval:g} s a sample, from the heading"
        likely = counter or next(
            (
                c
                for c in columns
                if c.position != run and c.kind == "number" and c.label.kind != "volts" and _row_number(c)
            ),
            None,
        )
        if likely is not None and _counts_rows(likely):
            return TimeColumns("number", (likely.position,), factor=interval, means=means)
        if likely is not None and counter is not None:
            return self.number(likely)
        return TimeColumns("none", factor=interval, means=means)

    # ------------------------------------------------------------ stamps

    def stamp(self, column: Column, stamps: list[Column]) -> TimeColumns:
        assert column.form is not None
        pair = [column]
        if not column.form.has_date:
            dates = [c for c in stamps if c.form is not None and c.form.has_date and not c.form.has_clock]
            pair = [*dates[:1], column]
        elif not column.form.has_clock:
            clocks = [c for c in stamps if c.form is not None and not c.form.has_date]
            if not clocks:
                raise LogError(
                    f'{self.name}: column "{column.header}" holds dates without a time of day; {ASK_INTERVAL}.'
                )
            pair = [column, clocks[0]]
        forms = []
        for part in pair:
            assert part.form is not None
            if part.form.name == "hh:mm?":
                forms.append(self.hours(part, dated=len(pair) > 1))
            else:
                forms.append(self.ordered(part, pair[1] if len(pair) > 1 and part is pair[0] else None))
        dated = any(form.has_date for form in forms)
        means = "dates and times of day" if dated else "times of day without a date"
        return TimeColumns("stamp", tuple(c.position for c in pair), tuple(forms), means=means)

    def hours(self, part: Column, *, dated: bool) -> clock.Form:
        if dated or part.words & {"uhrzeit", "heure", "hora", "clock", "ora"}:
            return clock.Form("clock")
        raise LogError(
            f'{self.name}: column "{part.header}" ({part.cells[0].strip()!r}) may be hours and minutes or minutes and'
            f" seconds; {ASK_INTERVAL}."
        )

    def ordered(self, column: Column, times: Column | None = None) -> clock.Form:
        form = column.form
        assert form is not None
        if not form.two_orders:
            return form
        told = self.wishes.order
        if told is not None:
            return clock.Form(form.name, form.zoned, told)
        written = _order_in(f"{column.header} {column.unit}") or _order_in(" ".join(self.heading.lines))
        if written is not None:
            self.notes.append(f"Dates were read in the order that the file states ({written}).")
            return clock.Form(form.name, form.zoned, written)
        cells = [c for c in column.cells if c.strip()]
        short = clock.short_year(cells, form)
        order = self.order_of(column, form, short, times)
        if order is None:
            options = (
                "date_order='ymd', 'dmy' or 'mdy' (--date-order ymd|dmy|mdy)"
                if short
                else "day_first=True or day_first=False (--day-first yes|no)"
            )
            what = "day, month and year in several orders" if short else "the day or the month first"
            raise LogError(
                f'{self.name}: the dates in column "{column.header}" ({cells[0].strip()!r}) may put {what}; say which'
                f" with {options}."
            )
        words = {"dmy": "the day first", "mdy": "the month first", "ymd": "the year first"}
        self.notes.append(f"Dates were read with {words[order]}.")
        return clock.Form(form.name, form.zoned, order)

    def order_of(self, column: Column, form: clock.Form, short: bool, times: Column | None) -> str | None:
        evidence = clock.OrderEvidence(form, short_year=short)
        if self.scan is None:
            evidence.take(arrow_types.words(list(column.cells)))
        elif times is None:
            for chunk in self.scan(column.position):
                evidence.take(chunk)
        else:
            of_day = clock.Form("clock") if times.form is None or times.form.name == "hh:mm?" else times.form
            for chunk, clocks in zip(self.scan(column.position), self.scan(times.position), strict=False):
                evidence.take(chunk, clocks, of_day)
        order = evidence.order(whole=self.scan is not None)
        if order is not None:
            return order
        if clock.dotted_dates(column.cells):
            return "dmy"
        return self.order_by_heading(column, form, short)

    def order_by_heading(self, column: Column, form: clock.Form, short: bool) -> str | None:
        """A date above the header that can be read in one way only, and is that of the first row in one order only."""
        days = {day for line in self.heading.lines for day in clock.sure_days(line)}
        first = next((c for c in column.cells if c.strip()), "")
        found = []
        for order in ("dmy", "mdy", "ymd") if short else ("dmy", "mdy"):
            micros, good = clock.parse(arrow_types.words([first]), clock.Form(form.name, form.zoned, order))
            moment = clock.moment(int(micros[0]), zoned=False) if good[0] else None
            if moment is not None and moment.date().isoformat() in days:
                found.append(order)
        return found[0] if len(found) == 1 else None

    # ------------------------------------------------------------ numbers

    def number(self, column: Column) -> TimeColumns:
        if column.kind != "number" or not column.values.size:
            detail = not_a_number(column, self.name) if column.kind != "number" else "it is empty"
            raise LogError(f'{self.name}: column "{column.header}" does not tell the time: {detail}')
        at, label, values = (column.position,), column.label, column.values[np.isfinite(column.values)]
        if column.time_cells:
            if self.wishes.time_unit is not None:
                raise LogError(
                    f'{self.name}: the cells of column "{column.header}" carry their unit of time; leave out time_unit'
                    " (--time-unit)."
                )
            return TimeColumns("number", at, means="numbers with their unit", cell_units=True)
        stated = self.wishes.time_unit or (label.unit if label.kind == "time" else "") or self.unit_by_heading()
        if stated:
            factor = units.seconds_per(stated)
            if factor is None:
                raise LogError(
                    f"{self.name}: time_unit {stated!r} is not understood; give one of s, ms, us, ns, min, h, d"
                    " (--time-unit)."
                )
            zero = _beginning(values, factor)
            if factor == DAY_S and zero is None:
                zero = self.days_since(column, values)
            means = f"numbers of {factor:g} s each" + (", as told" if self.wishes.time_unit else "")
            return TimeColumns("number", at, (), factor, *_zoned(zero), means)
        return self.unstated(column, values)

    def unstated(self, column: Column, values: Floats) -> TimeColumns:
        at, title = (column.position,), column.header
        known = _epoch(values)
        if known is not None:
            factor, zero, words = known
            self.notes.append(f'Column "{title}" was read as {words}.')
            return TimeColumns("number", at, (), factor, *_zoned(zero), words)
        days = self.days(column, values)
        if days is not None:
            return days
        steps = np.abs(np.diff(values))
        steps = steps[steps > 0]
        usual = float(np.median(steps)) if steps.size else 0.0
        if self.wishes.plain_volts and usual <= LARGEST_STEP_S:
            return TimeColumns("number", at, means="seconds, the rule for arrays in memory")
        if self.interval is not None and usual:
            ratio = self.interval / usual
            fits = [scale for scale in _SCALES if abs(ratio / scale - 1) < 0.02]
            if fits:
                self.notes.append(
                    f'Column "{title}" was read in units of {fits[0]:g} s: its steps are the interval that the heading'
                    " tells."
                )
                means = f"numbers of {fits[0]:g} s each, by the interval in the heading"
                return TimeColumns("number", at, (), fits[0], means=means)
            if _counts_rows(column):
                return TimeColumns("number", at, (), self.interval, means="counted, by the interval in the heading")
        if _counts_rows(column):
            raise LogError(
                f'{self.name}: column "{title}" may count samples or seconds; {ASK_INTERVAL}, or say its unit with'
                " time_unit (--time-unit s|ms)."
            )
        step = f" and its steps of {usual:g} may be of any unit" if usual else ""
        raise LogError(f'{self.name}: the unit of column "{title}" is not told{step}; {ASK_UNIT}, or {ASK_INTERVAL}.')

    def unit_by_heading(self) -> str:
        """Unit of time that a line above the header states."""
        for line in self.heading.lines:
            found = re.search(
                r"(?i)(?:time|zeit|temps|tijd|tempo|tiempo|timestamps?|elapsed)\w*[\s:=,;(\[]+"
                r"(?:units?|einheit|unit\u00e9|unidad|unit\u00e0|eenheid|base)?[\s:=,;]*(?:is|are|in|given in)?[\s:=,;]*"
                r"(ns|us|\u00b5s|ms|s|sec|seconds|milliseconds|microseconds|minutes|min|hours|h|days)\b(?!\s*[\d/])",
                line,
            )
            if found and units.seconds_per(found[1]) is not None and not interval_of(line):
                return found[1]
        return ""

    def days(self, column: Column, values: Floats) -> TimeColumns | None:
        """Dates as a spreadsheet counts them, Julian days, or the time of day as a share of it."""
        steps = np.diff(values)
        usual = float(np.median(steps[steps > 0])) * DAY_S if np.any(steps > 0) else 0.0
        even = any(abs(usual / size - 1) < 0.02 for size in _ROUND_S) or usual >= 1
        if not usual or not even or usual > 2 * DAY_S:
            return None
        zero = self.days_since(column, values)
        at = (column.position,)
        if zero is not None:
            words = "days, as a spreadsheet counts dates" if zero == -_SINCE_1970_S["spreadsheet"] else "Julian days"
            self.notes.append(f'Column "{column.header}" was read as {words}.')
            return TimeColumns("number", at, (), DAY_S, zero, zero != -_SINCE_1970_S["spreadsheet"], words)
        share = values.min() >= 0 and values.max() < 1 and any(abs(usual / size - 1) < 2e-3 for size in _ROUND_S)
        if share and column.words & vocabulary.TIME and not _few_digits(column):
            self.notes.append(f'Column "{column.header}" was read as the time of day, as a share of the day.')
            return TimeColumns("number", at, (), DAY_S, means="share of the day")
        return None

    def days_since(self, column: Column, values: Floats) -> float | None:
        """Where days are counted from, seconds since 1970; None where the numbers are no dates."""
        if column.words & {"mjd"} or {"modified", "julian"} <= column.words:
            return -_SINCE_1970_S["modified Julian"]
        if values.min() > 2_415_000 and values.max() < 2_490_000:
            return -_SINCE_1970_S["Julian"]
        if values.min() >= 36_526 and values.max() < 55_000:  # 2000 to 2050
            return -_SINCE_1970_S["spreadsheet"]
        return None


def _order_in(text: str) -> str | None:
    """Order of the parts of a date as a form such as dd/mm/yyyy states it."""
    found = set()
    for match in re.finditer(r"(?i)\b([ydmtj]{1,4})[./ -]([ydmtj]{1,4})[./ -]([ydmtj]{1,4})", text):
        letters = "".join({"t": "d", "j": "y"}.get(part[0].lower(), part[0].lower()) for part in match.groups())
        if sorted(letters) == ["d", "m", "y"]:
            found.add(letters)
    return found.pop() if len(found) == 1 and found <= {"dmy", "mdy", "ymd"} else None


def _zoned(zero_s: float | None) -> tuple[float | None, bool]:
    return zero_s, zero_s is not None and zero_s != -_SINCE_1970_S["spreadsheet"]


def _few_digits(column: Column) -> bool:
    """Whether numbers below one are written so short that they are no shares of a day."""
    return 0 < column.decimals < 5


def _compact(column: Column) -> None:
    """Turn numbers such as 20260304101500 into stamps."""
    known = column.values[np.isfinite(column.values)]
    if column.kind == "number" and column.cells and known.size and float(known.min()) > 1.9e13:
        form = clock.form_of(list(column.cells[:200]))
        if form is not None and form.name == "compact compact":
            column.kind, column.form = "stamp", form


def _beginning(values: Floats, factor: float) -> float | None:
    """Beginning of a count whose unit is stated, seconds since 1970; None where the numbers are no dates."""
    known = _epoch(values)
    return known[1] if known is not None and known[0] == factor else None


def _epoch(values: Floats) -> tuple[float, float, str] | None:
    """Seconds per unit, beginning and name of a count whose size tells what it is."""
    if not values.size or values.min() < 3e8:
        return None
    first, last = float(values.min()), float(values.max())
    names = {1.0: "seconds", 1e-3: "milliseconds", 1e-6: "microseconds", 1e-9: "nanoseconds"}
    if first > 6.2e17 and last < 6.6e17:
        return 1e-7, -float(_SINCE_1970_S["0001"]), "units of 100 ns since the year 1"
    for factor, words in names.items():
        if first * factor > 3e8 and last * factor < 2.6e9:  # 1979 to 2052
            return factor, 0.0, f"{words} since 1970"
    if first > 3.0e9 and last < 4.4e9:
        return 1.0, -float(_SINCE_1970_S["1904"]), "seconds since 1904"
    if first > 1.2e17 and last < 1.5e17:
        return 1e-7, -float(_SINCE_1970_S["1601"]), "units of 100 ns since 1601"
    return None


def _timely(column: Column) -> bool:
    label = column.label
    if label.kind in ("volts", "other"):
        return column.time_cells
    if kind_of(column) in (Kind.TEMPERATURE, Kind.BATTERY, Kind.RAIL, Kind.MAINS, Kind.AC):
        return False
    if label.kind == "time" or column.time_cells:
        return True
    words = column.words
    if words & (vocabulary.COUNTERS - vocabulary.TIME - {"i", "k", "n"}) and not words & vocabulary.TIME:
        return False
    lead = words & vocabulary.TIME
    if column.header.strip() in ("S", "X"):
        return False  # names of outputs
    return bool(lead) and not (words & vocabulary.OUTPUT and lead <= {"x", "s", "t"})


def _rising(values: Floats) -> bool:
    steps = np.diff(values[np.isfinite(values)])
    return steps.size >= 2 and bool(np.mean(steps > 0) > 0.9)


def _counts_rows(column: Column) -> bool:
    """Whether a column counts its rows one by one."""
    values = column.values[np.isfinite(column.values)]
    steps = np.diff(values)
    return values.size >= 5 and bool(np.all(values == np.round(values))) and bool(np.mean(steps == 1) > 0.98)


def _even(column: Column) -> bool:
    """Whether a column without a name goes up in even steps, as a count or a time does and no output."""
    values = column.values[np.isfinite(column.values)]
    steps = np.diff(values)
    if not column.unnamed or steps.size < 5 or not float(np.median(steps)) > 0:
        return False
    return bool(np.mean(np.abs(steps / np.median(steps) - 1) < 0.05) > 0.95)


def _row_number(column: Column) -> bool:
    words = column.words
    return _counts_rows(column) and (column.unnamed or bool(words & vocabulary.COUNTERS) or not words)
