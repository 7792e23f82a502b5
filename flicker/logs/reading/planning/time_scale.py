"""Numbers that tell the time: on what scale? By their unit, by their size (a count since 1970, days), by the heading; else asked."""

from __future__ import annotations

import re

import numpy as np

from flicker.base.arrays import Floats
from flicker.logs.errors import Question
from flicker.logs.moments import LARGEST_STEP_S
from flicker.logs.reading.planning.columns import Column, Task, TimeColumns
from flicker.logs.reading.planning.heading_interval import ASK_INTERVAL, interval_of
from flicker.logs.reading.words import units, vocabulary

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
    stated = task.wishes.time_unit or (label.unit if label.kind == "time" else "") or _unit_by_heading(task)
    if stated:
        factor = units.seconds_per(stated)
        if factor is None:
            raise Question(
                f"{task.name}: time_unit {stated!r} is not understood; give one of s, ms, us, ns, min, h, d"
                " (--time-unit).",
                time_unit="s",
            )
        zero = _beginning(values, factor)
        if factor == DAY_S and zero is None:
            zero = _days_since(task, column, values)
        means = f"numbers in units of {factor:g} s" + (", as told" if task.wishes.time_unit else "")
        return TimeColumns("number", at, (), factor, *_zoned(zero), means)
    return _unstated(task, column, values)


def _unstated(task: Task, column: Column, values: Floats) -> TimeColumns:
    """The scale of numbers whose unit nobody states."""
    at, title = (column.position,), column.header
    known = epoch(values)
    usual = usual_step(values)
    if known is not None and usual * known[0] <= LONGEST_STEP_S:  # else a count of microseconds that has grown so large
        factor, zero, words = known
        task.notes.append(f'Column "{title}" was read as {words}.')
        return TimeColumns("number", at, (), factor, *_zoned(zero), words)
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
        if counts_rows(column):
            return TimeColumns("number", at, (), task.interval_s, means="counted, by the interval in the heading")
    if counts_rows(column):
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
    for line in task.heading.lines:
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
    zero = _days_since(task, column, values)
    at = (column.position,)
    if zero is not None:
        words = "days, as a spreadsheet counts dates" if zero == -_SINCE_1970_S["spreadsheet"] else "Julian days"
        task.notes.append(f'Column "{column.header}" was read as {words}.')
        return TimeColumns(
            kind="number",
            positions=at,
            forms=(),
            factor=DAY_S,
            zero_s=zero,
            zoned=zero != -_SINCE_1970_S["spreadsheet"],
            means=words,
        )
    share = values.min() >= 0 and values.max() < 1 and any(abs(usual / size - 1) < 2e-3 for size in _ROUND_S)
    if share and column.words & vocabulary.TIME and not _few_digits(column):
        task.notes.append(f'Column "{column.header}" was read as the time of day, as a share of the day.')
        return TimeColumns("number", at, (), DAY_S, means="share of the day")
    return None


def _days_since(task: Task, column: Column, values: Floats) -> float | None:
    """Where days are counted from, seconds since 1970; None where the numbers are no dates."""
    if column.words & {"mjd"} or {"modified", "julian"} <= column.words:
        return -_SINCE_1970_S["modified Julian"]
    if values.min() > 2_415_000 and values.max() < 2_490_000:
        return -_SINCE_1970_S["Julian"]
    if values.min() >= 36_526 and values.max() < 55_000:  # 2000 to 2050
        return -_SINCE_1970_S["spreadsheet"]
    return None


def usual_step(values: Floats) -> float:
    """The middle one of the steps from one number to another, 0 where all are equal."""
    steps = np.abs(np.diff(values))
    steps = steps[steps > 0]
    return float(np.median(steps)) if steps.size else 0.0


def counts_rows(column: Column) -> bool:
    """Whether a column counts its rows one by one."""
    values = column.known
    steps = np.diff(values)
    return values.size >= 5 and bool(np.all(values == np.round(values))) and bool(np.mean(steps == 1) > 0.98)


def _zoned(zero_s: float | None) -> tuple[float | None, bool]:
    return zero_s, zero_s is not None and zero_s != -_SINCE_1970_S["spreadsheet"]


def _few_digits(column: Column) -> bool:
    """Whether numbers are written so short that no second of a day shows in them."""
    return column.decimals < 5


def _beginning(values: Floats, factor: float) -> float | None:
    """Beginning of a count whose unit is stated, seconds since 1970; None where the numbers are no dates."""
    known = epoch(values)
    return known[1] if known is not None and known[0] == factor else None


def epoch(values: Floats) -> tuple[float, float, str] | None:
    """Seconds per unit, beginning and name of a count whose size tells what it is."""
    if not values.size or values.min() < 3e8:
        return None
    first, last = float(values.min()), float(values.max())
    names = {1.0: "seconds", 1e-3: "milliseconds", 1e-6: "microseconds", 1e-9: "nanoseconds"}
    if first > 6.2e17 and last < 6.6e17:
        return 1e-7, -float(_SINCE_1970_S["0001"]), "units of 100 ns since the year 1"
    for factor, words in names.items():
        if first * factor > 9.4e8 and last * factor < 2.6e9:  # 1999 to 2052; below are days of milliseconds
            return factor, 0.0, f"{words} since 1970"
    if first > 3.0e9 and last < 4.4e9:
        return 1.0, -float(_SINCE_1970_S["1904"]), "seconds since 1904"
    if first > 1.2e17 and last < 1.5e17:
        return 1e-7, -float(_SINCE_1970_S["1601"]), "units of 100 ns since 1601"
    return None
