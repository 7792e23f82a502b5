"""Channels with their units: what each column states, what the caller says, what the readings show; else asked."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np

from flicker.logs.errors import LogError, Question
from flicker.logs.reading.planning import unit_evidence
from flicker.logs.reading.planning.beside import paired
from flicker.logs.reading.planning.columns import Channel, Column, Found, Task, column_named, listed
from flicker.logs.reading.words import units, vocabulary

_FACTOR = re.compile(r"(?i)[(\[]\s?\d+(?:[.,]\d+)?\s?[nu\u00b5\u03bcmk]?v\s?[)\]]|^\d+[.,]\d+\s?[nu\u00b5\u03bcmk]?v$|[x\u00d7*\u00b7]\s?10|/\s?10|\b1\s?:\s?\d|\b10+\s?:\s?1\b|/\s?div\b|10\s?\^|\b1e[+-]?\d")

_NUMBER = r"[+-]?\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?"
_TOLD_ABOVE = re.compile(  # a key, and nothing behind it but numbers (one for each channel, say), times, and ratios
    rf"(?P<key>[^:=;,\t]*?[^\W\d][^:=;,\t]*?)(?P<sign>[\s:=;,\t])\s*[;,\t]*"
    rf"(?P<told>(?:(?:[x\u00d7*]\s?)?{_NUMBER}(?:\s?[:/]\s?{_NUMBER})?\s?x?[\s;,\t]*)+)"
)
_RATIO = re.compile(rf"({_NUMBER})(?:\s?[:/]\s?({_NUMBER}))?")


def channels_of(
    task: Task, chosen: list[Column], unit_columns: list[Column], key: Column | None
) -> tuple[Channel, ...]:
    """Channels of the chosen columns, each with its unit and where that was found."""
    wishes, name, notes = task.wishes, task.name, task.notes
    told = unit_evidence.parsed(wishes.unit, name) if wishes.unit is not None else None
    single = _told_units(task)
    stated = unit_evidence.stated_in(task.heading, task.columns)
    if stated.against and told is None and not single:
        raise Question(
            f"{name}: the lines above the header give readings in {stated.all} and in {stated.against};"
            f" {unit_evidence.ASK}.",
            unit="V",
        )
    if told is None and not wishes.plain_volts:
        _refuse_factors(task, [c for c in chosen if c.position not in single], chosen)
        if not single and wishes.volts_per_count is None:
            _refuse_factor_above(task, chosen[0])
            _refuse_factor_beside(task)
    named = set() if key is None else unit_evidence.units_in(key.cells)
    pairs = paired(task, unit_columns, chosen, "units") if unit_columns else {}
    found: dict[int, unit_evidence.Unit] = {}
    overruled: list[Column] = []
    for column in chosen:
        at = column.position
        if wishes.volts_per_count is not None and column.label.kind != "volts" and not column.cell_units:
            found[at] = unit_evidence.Unit(wishes.volts_per_count, Found.OPTION)
            continue
        if at in single:
            found[at] = single[at]
            continue
        unit_column = pairs.get(at)
        try:
            own = unit_evidence.unit_of(task, stated, column, unit_column)
        except LogError:
            if told is None or column.cell_units:
                raise
            own = None
        if own is not None:
            found[at] = own
            if told is None and key is not None and own.found is not Found.CELLS:
                _refuse_named(task, column, unit_column, own, key)
            if told is not None and own.found in (Found.CELLS, Found.UNIT_COLUMN):
                _refuse_against(task, column, unit_column, told)
            elif told is not None and own.volts != told:
                overruled.append(column)
        elif key is not None and named:
            found[at] = unit_evidence.Unit(1.0, Found.CELLS, key.position)
            if told is not None:
                _refuse_against(task, column, key, told)
        elif told is not None:
            found[at] = unit_evidence.Unit(told, Found.OPTION)
    if told is not None and 0 < len(overruled) == len(chosen):
        _refuse_other(task, [c for c in overruled if not _FACTOR.search(c.header)], found, told)
        for column in overruled:
            notes.append(f'Column "{column.header}" was read in {units.name_of(told)}, as told.')
            found[column.position] = unit_evidence.Unit(told, Found.OPTION)
    elif overruled:
        notes.append(
            f"The unit given holds where the file tells none; {listed([c.header for c in overruled])} kept its own."
        )
    unclear = [c for c in chosen if c.position not in found]
    if unclear:
        _infer(task, unclear, chosen, found)
    above = next((unit for unit in found.values() if unit.found is Found.HEADING), None)
    if above is not None:
        notes.append(f"The unit is {units.name_of(above.volts)}, as the file's heading says.")
    channels = []
    for column in chosen:
        unit = found[column.position]
        zero = wishes.zero_count if unit.found is Found.OPTION and wishes.volts_per_count is not None else 0.0
        channels.append(
            Channel(
                column.position,
                column.label.name,
                unit.volts,
                zero=zero,
                unit=units.name_of(unit.volts),
                found=unit.found,
                unit_column=unit.column,
            )
        )
    return _distinct(channels, chosen, notes)


def _refuse_factors(task: Task, open_: list[Column], chosen: list[Column]) -> None:
    """Ask where a name holds a factor or a ratio: the numbers may hold it, or not."""
    named = [c for c in open_ if _FACTOR.search(c.header)]
    if not named:
        return
    title = named[0].header
    all_of = len(named) == len(chosen)
    ask = unit_evidence.ASK if all_of else f"say it with unit={{'{title}': 'mV'}} (--unit \"{title}=V|mV\")"
    raise Question(
        f'{task.name}: column "{title}" names a factor or a ratio, and whether its numbers hold it is not told; of the'
        f" unit of the numbers as they stand, {ask}.",
        unit="V" if all_of else {title: "V"},
    )


def _refuse_factor_above(task: Task, column: Column) -> None:
    """Ask where a line above the header tells a factor other than 1, or a zero other than 0: the numbers may hold it, or not."""
    for line in task.heading:
        what = _told_above(line)
        if what:
            title = column.label.name
            raise Question(
                f'{task.name}: the line "{line.strip()[:60]}" above the header names {what}, and whether the numbers hold it is'
                f" not told; say the unit of the numbers as they stand with unit={{'{title}': 'mV'}} (--unit \"{title}=V|mV\"),"
                " and where they do not hold it, note it as factor or zero_V of the channel in a case file as well.",
                unit={title: "V"},
            )


def _told_above(line: str) -> str:
    """What a line such as ``Gain: 0.1`` or ``Zero offset;2;2`` names, empty where it changes no reading."""
    found = _TOLD_ABOVE.fullmatch(line.strip())
    words = set(vocabulary.words_of(found["key"])) if found else set()
    if found is None or words & (vocabulary.NO_FACTOR | vocabulary.WARM):
        return ""
    if found["sign"] == " " and not re.search(r"[x\u00d7*:/]", found["told"]):
        return ""  # a title that ends in a number
    pairs = [(a, b or "1") for a, b in _RATIO.findall(found["told"])]
    values = {float(a.replace(",", ".")) / (float(b.replace(",", ".")) or 1.0) for a, b in pairs}
    # Words beside it may make another thing of an offset, but for an output, a unit (mV is m and v here) and add_offset.
    if words & vocabulary.ZERO and words <= vocabulary.ZERO | vocabulary.OUTPUT | {"m", "add"} and values - {0.0}:
        return "an offset"
    times = words & vocabulary.FACTOR or (words & vocabulary.READING and re.match(r"[x\u00d7*]", found["told"]))
    ones = values == {1.0} or found["told"].strip() == "1,1"  # of two channels, divided by a comma
    return "a factor" if times and not ones else ""


def _refuse_factor_beside(task: Task) -> None:
    """Ask where a column beside the readings holds factors other than 1."""
    told = {wanted for wanted, _ in task.wishes.roles}
    for column in task.columns:
        factors = column.kind == "number" and column.words & vocabulary.FACTOR and column.label.kind == "none"
        if factors and np.any(column.known != 1.0) and column.header.strip() not in told:
            raise Question(
                f'{task.name}: column "{column.header}" holds factors, and whether the readings hold them is not told; if they'
                f' do, leave it out with roles (--role "{column.header}=ignore"), else multiply the readings first.',
                roles={column.header: "ignore"},
            )


def _told_units(task: Task) -> dict[int, unit_evidence.Unit]:
    """Units of single columns as the caller told them; a unit may be the name of a column of units."""
    out: dict[int, unit_evidence.Unit] = {}
    for wanted, word in task.wishes.units:
        column = column_named(task.columns, wanted, task.name, "unit")
        if units.volts_per(word) is not None:
            out[column.position] = unit_evidence.Unit(unit_evidence.parsed(word, task.name), Found.OPTION)
        else:
            at = column_named(task.columns, word, task.name, "unit").position
            out[column.position] = unit_evidence.Unit(1.0, Found.UNIT_COLUMN, at)
        if column.cell_units:
            raise Question(
                f'{task.name}: the cells of column "{column.header}" carry their own unit; leave out unit (--unit).',
                unit=None,
            )
    return out


def _refuse_named(task: Task, column: Column, unit_column: Column | None, own: unit_evidence.Unit, key: Column) -> None:
    """Ask where the names of the channels hold another unit than the file states for their readings."""
    stated = {own.volts} if unit_column is None else unit_evidence.units_in(unit_column.cells)
    labels = [label for label in map(units.label, key.cells) if label.kind == "volts" and label.sure]
    named = {units.volts_per(label.unit) or 1.0 for label in labels}
    if named - stated:
        title = column.label.name
        raise Question(
            f'{task.name}: the readings in column "{column.header}" are in {unit_evidence.names_of(stated)} by the {own.found},'
            f' and the names in column "{key.header}" say {unit_evidence.names_of(named)}; say which with'
            f" unit={{'{title}': 'mV'}} (--unit \"{title}=V|mV\").",
            unit={title: "V"},
        )


def _refuse_against(task: Task, column: Column, unit_column: Column | None, told: float) -> None:
    """Refuse a unit given for readings that carry another."""
    others = sorted(unit_evidence.units_in((unit_column or column).cells) - {told})
    if others:
        other = units.name_of(others[0])
        where = f'column "{unit_column.header}" says' if unit_column is not None else "the cells say"
        raise Question(
            f'{task.name}: the unit given for column "{column.header}" is {units.name_of(told)}, and {where} {other}; each'
            " reading has its own unit, so leave out unit (--unit).",
            unit=None,
        )


def _refuse_other(task: Task, stated: list[Column], found: dict[int, unit_evidence.Unit], told: float) -> None:
    """Refuse a unit given for all readings where the file states another for each; of one column it overrules."""
    if stated:
        title, own = stated[0].header.strip(), units.name_of(found[stated[0].position].volts)
        given = units.name_of(told)
        raise Question(
            f'{task.name}: the unit given is {given}, and of column "{title}" the file says {own}; leave out unit'
            f" (--unit), or if the file is wrong say so of each column with unit={{'{title}': '{given}'}}"
            f' (--unit "{title}={given}").',
            unit=None,
        )


def _infer(task: Task, unclear: list[Column], chosen: list[Column], found: dict[int, unit_evidence.Unit]) -> None:
    """Take columns without a unit for volts where the readings allow nothing else; else ask."""
    name, notes = task.name, task.notes
    for column in unclear:
        if column.label.kind == "unknown" and task.wishes.unit is None:
            lost = " (a sign lost before V was most likely µ)" if column.label.unit[:1] in ("?", "\ufffd") else ""
            raise Question(
                f'{name}, column "{column.header}": the unit "{column.label.unit}" is not understood;'
                f" V, mV, µV and kV are{lost}. Say what it is with unit='mV' (--unit V|mV|uV), or name the channels with"
                " channels (--channels NAME).",
                unit="V",
            )
    if task.wishes.plain_volts:
        for column in unclear:
            found[column.position] = unit_evidence.Unit(1.0, Found.DEFAULT)
        return
    unit, reason = units.evidence([c.values for c in unclear], max(c.decimals for c in unclear))
    if not unit:
        ask = unit_evidence.ASK
        if len(unclear) < len(chosen):
            title = unclear[0].label.name
            ask = f"say which with unit={{'{title}': 'mV'}} (--unit \"{title}=mV\")"
        counts = all(c.decimals == 0 for c in unclear) and len(unclear) == len(chosen)
        scale = ", or the scale of a converter's counts with volts_per_count (--volts-per-count V)" if counts else ""
        raise Question(
            f'{name}: the unit of column "{unclear[0].header}" is not told, and {reason}; {ask}{scale}.',
            unit="V" if len(unclear) == len(chosen) else {unclear[0].label.name: "V"},
        )
    notes.append(f"Unit not stated; taken as {unit}: {reason}.")
    for column in unclear:
        found[column.position] = unit_evidence.Unit(units.volts_per(unit) or 1.0, Found.INFERRED)


def _distinct(channels: list[Channel], columns: list[Column], notes: list[str]) -> tuple[Channel, ...]:
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
        if title != base:
            notes.append(f'Column {column.position + 1} is called "{base}" as one before it; here it is "{title}".')
        used.add(title)
        out.append(replace(channel, name=title))
    return tuple(out)
