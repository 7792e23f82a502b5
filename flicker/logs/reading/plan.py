"""Which column is what? Names and sample cells in; the time column, the channels and the run column out."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flicker.logs.model import LogError
from flicker.logs.reading import clock, units
from flicker.logs.reading.beside import companions_among, marks_among, roles_among
from flicker.logs.reading.columns import Channel, Column, Wishes, column_named, listed, not_a_number, words_of

MAX_CHANNELS = 16

_TIME_WORDS = {
    "time", "timestamp", "stamp", "datetime", "date", "clock", "elapsed", "t", "seconds", "sec", "secs", "s",
    "ms", "millis", "zeit", "datum", "uhrzeit", "zeitstempel", "temps", "heure", "tijd", "hora", "fecha",
    "tiempo", "epoch", "unix", "utc", "timems", "times",
}  # fmt: skip
_NOT_CHANNELS = {
    "temperature", "temp", "temps", "ambient", "humidity", "rh", "pressure", "index", "idx", "sample",
    "samples", "no", "nr", "number", "num", "n", "record", "rec", "reading", "scan", "count", "counter", "seq",
    "sequence", "id", "status", "state", "flag", "flags", "mark", "marks", "marker", "comment", "comments",
    "note", "notes", "event", "events", "text", "alarm", "battery", "bat", "freq", "frequency", "current",
    "power", "relay", "range", "line", "row", "lfd", "remark", "unit", "units", "mode", "quality", "error",
    "ok", "unnamed", "lux", "light", "tempc",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class TimeColumns:
    """How time is told: ``kind`` is number (``factor`` seconds per unit), stamp (one or two columns) or none."""

    kind: str
    positions: tuple[int, ...] = ()
    forms: tuple[clock.Form, ...] = ()
    factor: float = 1.0
    epoch: bool = False


@dataclass(frozen=True, slots=True)
class Plan:
    """What to take from a file."""

    time: TimeColumns
    channels: tuple[Channel, ...]
    run: int | None
    notes: tuple[str, ...]
    marks: int | None = None

    @property
    def roles(self) -> tuple[str, ...]:
        """Role of each channel."""
        return tuple(channel.role for channel in self.channels)


def make_plan(columns: list[Column], wishes: Wishes, name: str, preamble: dict[str, str]) -> Plan:
    """Decide what each column is.

    Raises
    ------
    LogError
        If there is no time, no channel, or a unit that neither the file nor the caller tells.
    """
    notes: list[str] = []
    run = next((c.position for c in columns if c.header.strip().lower() in ("run", "run_id", "run no", "run_no")), None)
    if run is not None and wishes.channels and columns[run].header in wishes.channels:
        run = None
    time = _find_time(columns, wishes, name, preamble, notes, run)
    taken = {*time.positions, *(() if run is None else (run,))}
    rest = [column for column in columns if column.position not in taken]
    marks = marks_among(rest, wishes, name, notes)
    roles = roles_among([c for c in rest if c is not marks], wishes, name, notes)
    chosen = _choose([c for c in rest if c is not marks and c.position not in roles], wishes, name, notes)
    channels = _give_units(chosen, wishes, name, preamble, notes)
    beside = [c for c in rest if roles.get(c.position, "ignore") != "ignore"]
    companions = companions_among(beside, roles, channels, wishes, name)
    return Plan(time, (*channels, *companions), run, tuple(notes), None if marks is None else marks.position)


# ---------------------------------------------------------------- time


def _find_time(
    columns: list[Column], wishes: Wishes, name: str, preamble: dict[str, str], notes: list[str], run: int | None
) -> TimeColumns:
    stamps = [c for c in columns if c.form is not None and c.position != run]
    if wishes.time_column is not None:
        column = column_named(columns, wishes.time_column, name, "time_column")
        if column.form is not None:
            return _stamp(column, stamps, wishes, name, notes)
        return _number(column, wishes, name, notes)
    if wishes.sample_interval_s is not None:
        ignored = [c.header for c in columns if c.form is not None or (c.kind == "number" and _timely(c))]
        if ignored:
            notes.append(
                f"Time is counted at {wishes.sample_interval_s:g} s a sample as told; {listed(ignored)} not used."
            )
        positions = tuple(c.position for c in columns if c.header in ignored)
        return TimeColumns("none", positions, factor=wishes.sample_interval_s)
    for column in stamps:
        if column.form is not None and column.form.has_clock:
            return _stamp(column, stamps, wishes, name, notes)
    numbers = [c for c in columns if c.kind == "number" and c.position != run]
    named = [c for c in numbers if _timely(c) and _rising(c.values)]
    if not named:
        named = [c for c in numbers if _timely(c)]
    if named:
        return _number(named[0], wishes, name, notes)
    if stamps:
        raise LogError(
            f'{name}: column "{stamps[0].header}" holds dates without a time of day and no other column tells the time;'
            " give sample_interval_s (--sample-interval)."
        )
    interval = _interval(preamble)
    if interval is not None:
        notes.append(f"Time is counted at {interval:g} s a sample, as the file's heading says.")
        return TimeColumns("none", factor=interval)
    first = columns[0] if columns and columns[0].position != run else None
    if first is not None and first.kind == "number" and len(numbers) > 1 and _rising(first.values):
        unnamed = re.fullmatch(r"column \d+", first.header) is not None
        if unnamed or first.label.kind != "volts":
            steps = np.diff(first.values[np.isfinite(first.values)])
            if np.all(steps == 1) and np.all(steps == np.round(steps)) and unnamed:
                raise LogError(
                    f"{name}: the first column counts samples and no column tells the time;"
                    " give sample_interval_s (--sample-interval), or name the time column."
                )
            notes.append(f'Column "{first.header}" rises steadily and was taken as time.')
            return _number(first, wishes, name, notes)
    raise LogError(
        f"{name}: no column tells the time (columns: {listed([c.header for c in columns[:8]])});"
        " give sample_interval_s (--sample-interval), or name the time column."
    )


def _timely(column: Column) -> bool:
    label = column.label
    if label.kind in ("volts", "other"):
        return False
    return label.kind == "time" or bool(words_of(column.header) & _TIME_WORDS)


def _rising(values: NDArray[np.float64]) -> bool:
    steps = np.diff(values[np.isfinite(values)])
    return steps.size >= 2 and bool(np.mean(steps > 0) > 0.9)


def _stamp(column: Column, stamps: list[Column], wishes: Wishes, name: str, notes: list[str]) -> TimeColumns:
    assert column.form is not None
    pair = [column]
    if not column.form.has_date:
        dates = [c for c in stamps if c.form is not None and c.form.has_date and not c.form.has_clock]
        pair = [*dates[:1], column]
    elif not column.form.has_clock:
        clocks = [c for c in stamps if c.form is not None and not c.form.has_date]
        if not clocks:
            raise LogError(f'{name}: column "{column.header}" holds dates without a time of day.')
        pair = [column, clocks[0]]
    forms = []
    for part in pair:
        assert part.form is not None
        if part.form.name == "hh:mm?":
            raise LogError(
                f'{name}: column "{part.header}" ({part.cells[0].strip()!r}) may be hours and minutes or minutes and'
                " seconds; give sample_interval_s (--sample-interval)."
            )
        forms.append(_ordered(part, wishes, name, notes))
    return TimeColumns("stamp", tuple(c.position for c in pair), tuple(forms))


def _ordered(column: Column, wishes: Wishes, name: str, notes: list[str]) -> clock.Form:
    form = column.form
    assert form is not None
    if not form.two_orders:
        return form
    first = wishes.day_first
    if first is None:
        first = clock.order_evidence([c for c in column.cells if c.strip()], form)
        if first is None:
            raise LogError(
                f'{name}: the dates in column "{column.header}" ({column.cells[0].strip()!r}) may put the day or the'
                " month first; say which with day_first=True or day_first=False (--day-first yes|no)."
            )
        notes.append(f"Dates were read with the {'day' if first else 'month'} first.")
    return clock.Form(form.name, form.zoned, first)


def _number(column: Column, wishes: Wishes, name: str, notes: list[str]) -> TimeColumns:
    if column.kind != "number":
        detail = column.bad or f'"{next((c for c in column.cells if c.strip()), "")}" is not a time'
        raise LogError(f'{name}: column "{column.header}" does not tell the time: {detail}.')
    at = (column.position,)
    stated = wishes.time_unit or (column.label.unit if column.label.kind == "time" else "")
    if not stated and (word := column.header.strip().lower()) in ("s", "ms", "seconds", "sec", "millis", "us", "min"):
        stated = word
    values = column.values[np.isfinite(column.values)]
    epoch = values.size > 0 and bool(values.min() > 1e8)
    if stated:
        factor = units.seconds_per(stated)
        if factor is None:
            raise LogError(f"{name}: time_unit {stated!r} is not understood; give s, ms, us, min or h.")
        return TimeColumns("number", at, factor=factor, epoch=epoch and 1e8 < values[0] * factor < 5e9)
    if epoch:
        for power, unit in ((1.0, "seconds"), (1e-3, "milliseconds"), (1e-6, "microseconds"), (1e-9, "nanoseconds")):
            if 3e8 < values[0] * power < 5e9:
                notes.append(f'Column "{column.header}" was read as {unit} since 1970.')
                return TimeColumns("number", at, factor=power, epoch=True)
    steps = np.abs(np.diff(values))
    steps = steps[steps > 0]
    if not steps.size:
        return TimeColumns("number", at)
    usual = float(np.median(steps))
    if values.min() > 20000 and values.max() < 80000 and usual < 0.02:
        notes.append(f'Column "{column.header}" was read as days (a spreadsheet\'s date number).')
        return TimeColumns("number", at, factor=86400.0)
    if usual >= 20 and np.all(values == np.round(values)):
        if np.unique(steps).size > 1 and float(np.mean(np.abs(steps - usual) <= 0.1 * usual)) > 0.8 and usual % 60:
            notes.append(f'Column "{column.header}" was read as milliseconds: whole numbers with jitter.')
            return TimeColumns("number", at, factor=1e-3)
        raise LogError(
            f'{name}: the unit of column "{column.header}" is not told and its steps of {usual:g} may be seconds or'
            " milliseconds; say which with time_unit (--time-unit s|ms)."
        )
    if usual > 0:
        notes.append(f'Column "{column.header}" was read as seconds.')
    return TimeColumns("number", at)


def _interval(preamble: dict[str, str]) -> float | None:
    for key, text in preamble.items():
        words = words_of(key)
        found = re.search(r"([\d.,]+(?:[eE][+-]?\d+)?)\s*([^\W\d_]+(?:/s)?)?", text)
        if not found or not words & {"interval", "rate", "period", "sampling", "cadence", "frequency"}:
            continue
        try:
            amount = float(found[1].replace(",", "."))
        except ValueError:
            continue
        unit = (found[2] or (units.label(key).unit if units.label(key).kind in ("time", "other") else "")).lower()
        if amount <= 0:
            continue
        if unit in ("hz", "khz", "sps", "sa/s", "s/s"):
            return 1.0 / (amount * (1000.0 if unit == "khz" else 1.0))
        seconds = units.seconds_per(unit) if unit else None
        if seconds is not None and words & {"interval", "period", "cadence", "sampling", "rate"}:
            return amount * seconds
    return None


# ---------------------------------------------------------------- channels


def _choose(columns: list[Column], wishes: Wishes, name: str, notes: list[str]) -> list[Column]:
    if wishes.channels is not None:
        chosen = []
        for wanted in wishes.channels:
            column = column_named(columns, wanted, name, "channels")
            if column.kind != "number":
                raise LogError(not_a_number(column, name))
            if column not in chosen:
                chosen.append(column)
        return chosen
    empty = [c.header for c in columns if c.kind == "empty"]
    left = [c for c in columns if c.kind != "empty"]
    volts = [c for c in left if c.label.kind == "volts"]
    for column in volts:
        if column.kind != "number":
            raise LogError(not_a_number(column, name))
    if not volts:
        left = [c for c in left if c.label.kind not in ("time", "other")]
        likely = [c for c in left if c.kind == "number" and not _counts(c) and not words_of(c.header) & _NOT_CHANNELS]
        for column in likely:
            if column.label.kind == "unknown" and wishes.unit is None:
                raise LogError(
                    f'{name}, column "{column.header}": the unit "{column.label.unit}" is not understood;'
                    ' V, mV, µV and kV are. Say what it is with unit="mV" (--unit), or name the channels.'
                )
        volts = likely
    if not volts:
        words = [c for c in columns if c.kind == "text" and not words_of(c.header) & (_NOT_CHANNELS - {"text"})]
        if words:
            raise LogError(not_a_number(words[0], name))
        if empty:
            raise LogError(f"{name}: {listed(empty)} without a single reading.")
        raise LogError(
            f"{name} holds no column of voltages ({listed([c.header for c in columns[:8]]) or 'time only'})."
        )
    out = [c.header for c in columns if c not in volts and c.kind != "empty"]
    if out:
        notes.append(f"Not taken as {'a channel' if len(out) == 1 else 'channels'}: {listed(out[:8])}.")
    if empty:
        notes.append(f"Without a single reading in the parts looked at: {listed(empty[:8])}.")
    if len(volts) > MAX_CHANNELS:
        raise LogError(
            f"{name} holds {len(volts)} columns of numbers, more than {MAX_CHANNELS} channels;"
            " name those to read with channels (--channels)."
        )
    return volts


def _counts(column: Column) -> bool:
    """Whether a column only counts its rows."""
    values = column.values[np.isfinite(column.values)]
    return values.size >= 5 and bool(np.all(np.diff(values) == 1))


def _give_units(
    chosen: list[Column], wishes: Wishes, name: str, preamble: dict[str, str], notes: list[str]
) -> tuple[Channel, ...]:
    overall: float | None = None
    if wishes.unit is not None:
        overall = units.volts_per(wishes.unit)
        if overall is None:
            raise LogError(f"{name}: the unit {wishes.unit!r} is not understood; V, mV, µV and kV are.")
    unclear = [c for c in chosen if c.label.kind != "volts" and not c.cell_units] if overall is None else []
    inferred: float | None = None
    if unclear:
        stated = next((text for key, text in preamble.items() if words_of(key) & {"unit", "units", "einheit"}), "")
        inferred = units.volts_per(stated) if stated else None
        if inferred is not None:
            notes.append(f"The unit is {units.unit_name(stated)}, as the file's heading says.")
        else:
            told = units.evidence([c.values for c in unclear], max(c.decimals for c in unclear))
            if not told.unit:
                raise LogError(
                    f'{name}: the unit of column "{unclear[0].header}" is not told, and {told.reason};'
                    ' say which with unit="V" or unit="mV" (--unit V|mV).'
                )
            inferred = units.volts_per(told.unit)
            notes.append(f"Unit not stated; taken as {told.unit}: {told.reason}.")
    channels = []
    for column in chosen:
        label = column.label
        if column.cell_units:
            volts = 1.0
        elif overall is not None:
            volts = overall
            if label.kind == "volts" and units.volts_per(label.unit) != overall:
                notes.append(f'Column "{column.header}" was read in {units.unit_name(wishes.unit or "V")}, as told.')
        else:
            own = units.volts_per(label.unit) if label.kind == "volts" else None
            volts = own if own is not None else inferred if inferred is not None else 1.0
            if own is not None and label.unit.startswith("MV"):
                notes.append(f'"{label.unit}" in column "{column.header}" was read as millivolts.')
        channels.append(Channel(column.position, label.name, volts))
    return _distinct(channels, chosen)


def _distinct(channels: list[Channel], columns: list[Column]) -> tuple[Channel, ...]:
    """Give channels that would share a name their whole header, then a number."""
    seen: dict[str, int] = {}
    for channel in channels:
        seen[channel.name] = seen.get(channel.name, 0) + 1
    out: list[Channel] = []
    used: set[str] = set()
    for number, (channel, column) in enumerate(zip(channels, columns, strict=True), start=1):
        title = channel.name or f"ch{number}"
        if re.fullmatch(r"column \d+", title) or units.volts_per(title) is not None:
            title = f"ch{number}"
        elif seen[channel.name] > 1:
            title = column.header.strip()
        base, again = title, 2
        while title in used:
            title, again = f"{base} {again}", again + 1
        used.add(title)
        out.append(Channel(channel.position, title, channel.volts))
    return tuple(out)
