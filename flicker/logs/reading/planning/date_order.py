"""Dates and times of day in words: which columns hold them, and in which order stand day, month and year? Asked where open."""

from __future__ import annotations

import re

from flicker.logs import arrow_types
from flicker.logs.errors import Question
from flicker.logs.reading.planning.columns import Column, Task, TimeColumns
from flicker.logs.reading.planning.heading import ASK_INTERVAL
from flicker.logs.reading.words import clock


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
    dated = any(form.has_date for form in forms)
    means = "dates and times of day" if dated else "times of day without a date"
    return TimeColumns("stamp", tuple(c.position for c in pair), tuple(forms), means=means)


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
    order = _order_of(task, column, form, short, times)
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
    task.notes.append(f"Dates were read with {words[order]}.")
    return clock.Form(form.name, form.zoned, order)


def _order_of(task: Task, column: Column, form: clock.Form, short: bool, times: Column | None) -> str | None:
    """The order that all cells allow, in step with the times of day where those stand in a column of their own."""
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
        return order
    if clock.dotted_dates(column.cells):
        return "dmy"
    return _order_by_heading(task, column, form, short)


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
