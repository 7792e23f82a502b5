"""What do columns of time tell? Numbers: their scale, by their unit, by their size (a count since 1970, days), by the heading. Words: dates and times of day, and the order of day, month and year. Else it is asked."""

from __future__ import annotations

import re
from typing import NamedTuple

import numpy as np

from flicker.base.arrays import Floats
from flicker.logs import arrow_types
from flicker.logs.errors import Question
from flicker.logs.moments import LARGEST_STEP_S
from flicker.logs.reading.planning.columns import Column, Task, TimeColumns
from flicker.logs.reading.planning.heading import ASK_INTERVAL, interval_of
from flicker.logs.reading.words import clock, units, vocabulary

DAY_S = 86400.0

class Count(NamedTuple):
    """A way to count time whose size alone tells it: all counts lie between two bounds that no other way shares."""

    above: float
    below: float
    factor: float  # seconds per unit
    zero_s: float  # where it begins, seconds since 1970
    words: str
    zoned: bool = True  # begins in universal time

    def holds(self, values: Floats) -> bool:
        """Whether numbers lie between the bounds."""
        return bool(values.size) and self.above < float(values.min()) and float(values.max()) < self.below


# Seconds from 1999 (below are days of milliseconds) to 2052; days from 2000 to 2050, Julian ones from 1900 to 2105
COUNTS = (
    Count(6.2e17, 6.6e17, 1e-7, -62_135_596_800.0, "units of 100 ns since the year 1"),
    Count(9.4e8, 2.6e9, 1.0, 0.0, "seconds since 1970"),
    Count(9.4e11, 2.6e12, 1e-3, 0.0, "milliseconds since 1970"),
    Count(9.4e14, 2.6e15, 1e-6, 0.0, "microseconds since 1970"),
    Count(9.4e17, 2.6e18, 1e-9, 0.0, "nanoseconds since 1970"),
    Count(3.0e9, 4.4e9, 1.0, -2_082_844_800.0, "seconds since 1904"),
    Count(1.2e17, 1.5e17, 1e-7, -11_644_473_600.0, "units of 100 ns since 1601"),
)
MODIFIED_JULIAN = Count(0.0, 1e6, DAY_S, -40_587.0 * DAY_S, "Julian days")  # known by name alone
DAYS = (
    Count(2_415_000, 2_490_000, DAY_S, -2_440_587.5 * DAY_S, "Julian days"),
    Count(36_525.9, 55_000, DAY_S, -25_569.0 * DAY_S, "days, as a spreadsheet counts dates", zoned=False),
)
_ROUND_S = (0.01, 0.02, 0.05, 0.1, 0.2, 0.25, 0.5, 1, 2, 2.5, 5, 10, 15, 20, 30, 60, 120, 300, 600, 900, 1800, 3600)
WRAPS = 1 << 16  # where a counter of 16 bits begins anew: by definition
LONGEST_STEP_S = 3600.0  # between readings of one output, where the scale itself is told by size alone: a choice
_SCALES = (1e-9, 1e-7, 1e-6, 1e-3, 1.0, 60.0, 3600.0, DAY_S)
ASK_UNIT = "say which with time_unit, as in time_unit='ms' (--time-unit s|ms|us|min|h|d)"


def scale_of(task: Task, column: Column) -> TimeColumns:
    """How the time is read from a column of numbers."""
    if column.kind != "number" or not column.values.size:
        word = next((cell.strip() for cell in column.cells if cell.strip()), "")[:40]
        held = f'it holds "{word}"' if word else "it is empty"
        raise Question(
            f'{task.name}: column "{column.header}" does not tell the time ({held});'
            f" name another with time_column (--time-column NAME), or {ASK_INTERVAL}.",
            sample_interval_s=1.0,
        )
    at, label, values = (column.position,), column.label, column.known
    if column.time_cells:
        if task.wishes.time_unit is not None:
            raise Question(
                f'{task.name}: the cells of column "{column.header}" carry their unit of time; leave out time_unit'
                " (--time-unit).",
                time_unit=None,
            )
        return TimeColumns("number", at, means="numbers with their unit", cell_units=True)
    steps = np.diff(values)
    usual = float(np.median(steps % WRAPS)) if steps.size else 0.0
    round_the_end = usual < WRAPS / 2 and np.all(np.abs(steps % WRAPS - usual) < 0.5 * usual)
    if round_the_end and np.any(steps < 0) and values.max() < WRAPS:
        raise Question(
            f'{task.name}: column "{column.header}" begins anew at {WRAPS}, as a counter of 16 bits does, and how often unseen is'
            f" not told; {ASK_INTERVAL}.",
            sample_interval_s=1.0,
        )
    stated = task.wishes.time_unit or (label.unit if label.kind == "time" else "") or _unit_by_heading(task)
    if stated:
        factor = units.seconds_per(stated)
        if factor is None:
            raise Question(
                f"{task.name}: time_unit {stated!r} is not understood; give one of s, ms, us, ns, min, h, d"
                " (--time-unit).",
                time_unit="s",
            )
        means = f"numbers in units of {factor:g} s" + (", as told" if task.wishes.time_unit else "")
        known = epoch(values)
        if known is not None and known.factor == factor:
            return _read_as(column, factor, means, known)
        return _read_as(column, factor, means, _days_since(column) if factor == DAY_S else None)
    return _unstated(task, column, values)


def _unstated(task: Task, column: Column, values: Floats) -> TimeColumns:
    """The scale of numbers whose unit nobody states."""
    at, title = (column.position,), column.header
    known, usual = epoch(values), usual_step(values)
    if known is not None and usual * known.factor <= LONGEST_STEP_S:  # else microseconds that have grown so many
        task.notes.append(f'Column "{title}" was read as {known.words}.')
        return _read_as(column, known.factor, known.words, known)
    days = _days(task, column, values)
    if days is not None:
        return days
    if task.wishes.plain_volts and usual <= LARGEST_STEP_S:
        return TimeColumns("number", at, means="seconds, the rule for arrays in memory")
    if task.interval_s is not None and usual:
        ratio = task.interval_s / usual
        fits = [scale for scale in _SCALES if abs(ratio / scale - 1) < 0.02]
        if fits:
            task.notes.append(
                f'Column "{title}" was read in units of {fits[0]:g} s: its steps are the interval that the heading'
                " tells."
            )
            means = f"numbers in units of {fits[0]:g} s, by the interval in the heading"
            return TimeColumns("number", at, (), fits[0], means=means)
        if column.counts_rows:
            means = "counted, by the interval in the heading"
            return TimeColumns("number", at, factor=task.interval_s, means=means, counted=True)
    if column.counts_rows:
        raise Question(
            f'{task.name}: column "{title}" may count samples or seconds; {ASK_INTERVAL}, or say its unit with'
            " time_unit (--time-unit s|ms).",
            sample_interval_s=1.0,
        )
    step = f" and its steps of {usual:g} may be of any unit" if usual else ""
    raise Question(
        f'{task.name}: the unit of column "{title}" is not told{step}; {ASK_UNIT}, or {ASK_INTERVAL}.',
        time_unit="s",
    )


def _unit_by_heading(task: Task) -> str:
    """Unit of time that a line above the header states."""
    for line in task.heading:
        found = re.search(
            r"(?i)(?:time|zeit|temps|tijd|tempo|tiempo|timestamps?|elapsed)\w*[\s:=,;(\[]+"
            r"(?:units?|einheit|unit\u00e9|unidad|unit\u00e0|eenheid|base)?[\s:=,;]*(?:is|are|in|given in)?[\s:=,;]*"
            r"(ns|us|\u00b5s|ms|s|sec|seconds|milliseconds|microseconds|minutes|min|hours|h|days)\b(?!\s*[\d/])",
            line,
        )
        if found and units.seconds_per(found[1]) is not None and not interval_of(line):
            return found[1]
    return ""


def _days(task: Task, column: Column, values: Floats) -> TimeColumns | None:
    """Dates as a spreadsheet counts them, Julian days, or the time of day as a share of it."""
    usual = usual_step(values) * DAY_S
    even = any(abs(usual / size - 1) < 0.02 for size in _ROUND_S) or (usual >= 1 and not _few_digits(column))
    if not usual or not even or usual > LONGEST_STEP_S:
        return None  # 40000, 40001: seconds of the day as well
    known = _days_since(column)
    if known is not None:
        task.notes.append(f'Column "{column.header}" was read as {known.words}.')
        return _read_as(column, DAY_S, known.words, known)
    share = values.min() >= 0 and values.max() < 1 and any(abs(usual / size - 1) < 2e-3 for size in _ROUND_S)
    if share and column.words & vocabulary.TIME and not _few_digits(column):
        task.notes.append(f'Column "{column.header}" was read as the time of day, as a share of the day.')
        return _read_as(column, DAY_S, "share of the day")
    return None


def _days_since(column: Column) -> Count | None:
    """Since when days are counted, by the name of the column or their size; None where neither tells it."""
    if column.words & {"mjd"} or {"modified", "julian"} <= column.words:
        return MODIFIED_JULIAN
    return next((count for count in DAYS if count.holds(column.known)), None)


def _read_as(column: Column, factor: float, means: str, since: Count | None = None) -> TimeColumns:
    """The time read from numbers of so many seconds each, since a date where that is known."""
    zero, zoned = (None, False) if since is None else (since.zero_s, since.zoned)
    at = (column.position,)
    return TimeColumns("number", at, factor=factor, zero_s=zero, zoned=zoned, means=means)


def usual_step(values: Floats) -> float:
    """The middle one of the steps from one number to another, 0 where all are equal."""
    steps = np.abs(np.diff(values))
    steps = steps[steps > 0]
    return float(np.median(steps)) if steps.size else 0.0


def _few_digits(column: Column) -> bool:
    """Whether numbers are written so short that no second of a day shows in them."""
    return column.decimals < 5


def epoch(values: Floats) -> Count | None:
    """The count since a date that numbers are by their size, None where they are none."""
    return next((count for count in COUNTS if count.holds(values)), None)


def stamps_of(task: Task, column: Column, stamps: list[Column]) -> TimeColumns:
    """How the time is read from a column of stamps, and from the one that belongs to it."""
    assert column.form is not None
    pair = [column]
    if not column.form.has_date:
        dates = [c for c in stamps if c.form is not None and c.form.has_date and not c.form.has_clock]
        pair = [*dates[:1], column]
    elif not column.form.has_clock:
        clocks = [c for c in stamps if c.form is not None and not c.form.has_date]
        if not clocks:
            raise Question(
                f'{task.name}: column "{column.header}" holds dates without a time of day; {ASK_INTERVAL}.',
                sample_interval_s=1.0,
            )
        pair = [column, clocks[0]]
    forms = []
    for part in pair:
        assert part.form is not None
        if part.form.name == "hh:mm?":
            forms.append(_hours(task, part, dated=len(pair) > 1))
        else:
            forms.append(_ordered(task, part, pair[1] if len(pair) > 1 and part is pair[0] else None))
        forms[-1] = _with_fractions(task, part, forms[-1])
    east_s = max((clock.zone_of(part.cells, form) for part, form in zip(pair, forms, strict=True)), key=abs)
    if east_s:
        task.notes.append(f"The stamps carry a zone, {east_s / 3600:+g} h; times are shown in universal time.")
    dated = any(form.has_date for form in forms)
    means = "dates and times of day" if dated else "times of day without a date"
    beside = next((c for c in task.columns if _milliseconds(c, pair[-1])), None)
    if beside is not None:
        pair, forms = [*pair, beside], [*forms, clock.Form("ms")]
    return TimeColumns("stamp", tuple(c.position for c in pair), tuple(forms), means=means)


def _with_fractions(task: Task, column: Column, form: clock.Form) -> clock.Form:
    """The form, with milliseconds without noughts before them (.7 and .57 after .007) where fractions would go back in time."""
    cells = [cell.strip() for cell in column.cells]
    digits = {len(found[1]) for cell in cells if (found := re.search(r":\d\d:\d\d[.,:](\d+)", cell))}
    if len(digits) < 2 or max(digits) > 3:
        return form
    words, other = arrow_types.words(cells), form._replace(unpadded=True)
    back, others = (int(np.count_nonzero(np.diff(clock.parse(words, each)[0]) < 0)) for each in (form, other))
    if not back > others:
        return form
    task.notes.append(f'Fractions of seconds in column "{column.header}" were read as milliseconds without noughts before them.')
    return other


def _milliseconds(column: Column, clocks: Column) -> bool:
    """Whether numbers are the milliseconds of stamps of whole seconds, in a column of their own."""
    called = "ms" in (column.header.strip().lower(), column.label.unit.lower()) or column.words & {"millis", "msec"}
    if column.kind != "number" or not called or column.label.kind == "volts" or not column.known.size:
        return False
    values = column.known
    part = np.all((values == np.round(values)) & (values >= 0) & (values < 1000))
    return bool(part and np.ptp(values)) and not any(re.search(r"\d:\d\d:\d\d[.,:]0*[1-9]", cell) for cell in clocks.cells)


def _hours(task: Task, part: Column, *, dated: bool) -> clock.Form:
    """Times such as 10:05: hours and minutes only where something says so."""
    if dated or part.words & {"uhrzeit", "heure", "hora", "clock", "ora"}:
        return clock.Form("clock")
    raise Question(
        f'{task.name}: column "{part.header}" ({part.cells[0].strip()!r}) may be hours and minutes or minutes and'
        f" seconds; {ASK_INTERVAL}.",
        sample_interval_s=1.0,
    )


def _ordered(task: Task, column: Column, times: Column | None = None) -> clock.Form:
    """The form of a column with the order of day, month and year."""
    form = column.form
    assert form is not None
    if not form.two_orders:
        return form
    told = task.wishes.order
    if told is not None:
        return clock.Form(form.name, form.zoned, told)
    written = _order_in(f"{column.header} {column.unit}") or _order_in(" ".join(task.heading))
    if written is not None:
        task.notes.append(f"Dates were read in the order that the file states ({written}).")
        return clock.Form(form.name, form.zoned, written)
    cells = [c for c in column.cells if c.strip()]
    short = clock.short_year(cells, form)
    order, differ = _order_of(task, column, form, short, times)
    if order is None:
        options = (
            "date_order='ymd', 'dmy' or 'mdy' (--date-order ymd|dmy|mdy)"
            if short
            else "day_first=True or day_first=False (--day-first yes|no)"
        )
        what = "day, month and year in several orders" if short else "the day or the month first"
        raise Question(
            f'{task.name}: the dates in column "{column.header}" ({cells[0].strip()!r}) may put {what}; say which'
            f" with {options}.",
            **({"date_order": "dmy"} if short else {"day_first": True}),
        )
    words = {"dmy": "the day first", "mdy": "the month first", "ymd": "the year first"}
    if differ:
        task.notes.append(f"Dates were read with {words[order]}.")
    return clock.Form(form.name, form.zoned, order)


def _order_of(task: Task, column: Column, form: clock.Form, short: bool, times: Column | None) -> tuple[str | None, bool]:
    """The order that all cells allow, in step with the times of day where those stand in a column of their own.

    False beside it where the dates are the same in every order, as 03/03/2031 is.
    """
    evidence = clock.OrderEvidence(form, short_year=short)
    if task.scan is None:
        evidence.take(arrow_types.words(list(column.cells)))
    elif times is None:
        for chunk in task.scan(column.position):
            evidence.take(chunk)
    else:
        of_day = clock.Form("clock") if times.form is None or times.form.name == "hh:mm?" else times.form
        for chunk, clocks in zip(task.scan(column.position), task.scan(times.position), strict=False):
            evidence.take(chunk, clocks, of_day)
    order = evidence.order(whole=task.scan is not None)
    if order is not None:
        return order, evidence.differ
    return ("dmy" if clock.dotted_dates(column.cells) else _order_by_heading(task, column, form, short)), True


def _order_by_heading(task: Task, column: Column, form: clock.Form, short: bool) -> str | None:
    """A date above the header that can be read in one way only, and is that of the first row in one order only."""
    days = {day for line in task.heading for day in clock.sure_days(line)}
    first = next((c for c in column.cells if c.strip()), "")
    orders = ("dmy", "mdy", "ymd") if short else ("dmy", "mdy")
    found = [order for order in orders if clock.day_of(first, clock.Form(form.name, form.zoned, order)) in days]
    return found[0] if len(found) == 1 else None


def _order_in(text: str) -> str | None:
    """Order of the parts of a date as a form such as dd/mm/yyyy states it."""
    found = set()
    for match in re.finditer(r"(?i)\b([ydmtj]{1,4})[./ -]([ydmtj]{1,4})[./ -]([ydmtj]{1,4})", text):
        letters = "".join({"t": "d", "j": "y"}.get(part[0].lower(), part[0].lower()) for part in match.groups())
        if sorted(letters) == ["d", "m", "y"]:
            found.add(letters)
    return found.pop() if len(found) == 1 and found <= {"dmy", "mdy", "ymd"} else None
