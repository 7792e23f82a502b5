"""Which unit has each channel, and where does the file say so? Two that contradict are asked about; none is guessed.

Evidence: the header, a units row, metadata, cells, a column of units, lines above the header; the caller's word.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from flicker.logs.errors import Question
from flicker.logs.reading.planning.columns import Column, Found, Task
from flicker.logs.reading.words import units, vocabulary

ASK = "say which with unit='V' or unit='mV' (--unit V|mV)"
_NOT_THE_UNIT = frozenset({
    "rail", "supply", "battery", "limit", "threshold", "resolution", "accuracy", "full", "scale", "max", "min",
    "trigger", "level", "noise", "mains", "akku", "alarm", "hysteresis", "model", "calibration",
}) | vocabulary.RANGE  # fmt: skip
_STATES = vocabulary.UNIT | vocabulary.READING | frozenset({
    "all", "data", "channels", "results", "amplitude", "alle", "daten", "kanale", "toutes", "todos", "tutti", "dati",
    "voltages", "spannungen", "tensions", "everything", "columns", "spalten", "outputs", "column", "vertical", "y",
})  # fmt: skip


class Unit(NamedTuple):
    """Unit of a channel: volts per unit, and where it was found; ``column`` is the position of a column of units."""

    volts: float
    found: Found
    column: int | None = None


@dataclass(frozen=True, slots=True)
class Stated:
    """What the lines above the header say: one unit for all readings, and units of single columns by position."""

    all: str = ""
    against: str = ""
    single: Mapping[int, str] = field(default_factory=dict)


def stated_in(heading: Sequence[str], columns: Sequence[Column]) -> Stated:
    """Look for units of the readings in the lines above the header."""
    found: list[str] = []
    single: dict[int, str] = {}
    for line in heading:
        words = set(vocabulary.words_of(line))
        tokens = _unit_tokens(line)
        if not tokens:
            continue
        named = _column_of(line, columns)
        distinct = {units.volts_per(token) for token in tokens}
        if named is not None and len(distinct) == 1:
            single[named.position] = tokens[0]
            continue
        listing = _listing(line, columns)
        if listing:
            single |= {place: unit for place, unit in listing.items() if place not in single}
            continue
        if words & _NOT_THE_UNIT or not (words & _STATES or re.search(r"(?i)\b(?:in|en|are|sind)\s+\S*v", line)):
            continue
        if len(distinct) == 1:
            found.append(tokens[0])
    against = next((unit for unit in found if units.volts_per(unit) != units.volts_per(found[0])), "")
    return Stated(found[0] if found else "", against, single)


def _unit_tokens(line: str) -> list[str]:
    """Units of voltage in a line, apart from those that follow a number."""
    out = []
    for match in re.finditer(r"[^\W\d_]+", line):
        before = line[: match.start()].rstrip(" \t")
        if units.volts_per(match.group()) is None or before[-1:].isdigit():
            continue
        if match.group() in ("v", "V") and re.search(r"(?i)firmware|version|fw|sw", line):
            continue
        out.append(match.group())
    return out


def _column_of(line: str, columns: Sequence[Column]) -> Column | None:
    """The column that a line such as ``CH1 unit: mV`` or ``left = mV`` speaks of."""
    key = re.split(r"[:=;\t,]", line, maxsplit=1)[0].strip().strip('"#% ').lower()
    bare = re.sub(r"(?i)\b(?:units?|einheit|unit\u00e9|unidad|eenheid|of)\b", "", key).strip(" _-()[]")
    if not bare or bare in ("time", "t"):
        return None
    for column in columns:
        if bare in (column.label.name.lower(), column.header.strip().lower()):
            return column
    return None


def _listing(line: str, columns: Sequence[Column]) -> dict[int, str]:
    """Units of all columns in one line: ``Units: s, mV, mV``."""
    tail = re.split(r"[:=]", line, maxsplit=1)
    cells = [cell.strip().strip('"[](){} ') for cell in re.split(r"[,;\t|]", tail[-1])]
    if len(tail) == 1 and len(cells) == len(columns) + 1 and units.kind_of(cells[0]) == "none":
        cells = cells[1:]
    if len(cells) != len(columns) or len(cells) < 2:
        return {}
    if not all(cell == "" or units.kind_of(cell) != "none" for cell in cells):
        return {}
    return {c.position: cell for c, cell in zip(columns, cells, strict=True) if units.volts_per(cell) is not None}


def unit_of(task: Task, stated: Stated, column: Column, unit_column: Column | None) -> Unit | None:
    """Unit that the file states for a column, None where it states none.

    Raises
    ------
    LogError
        If the file contradicts itself.
    """
    label = column.label
    said: list[tuple[str, Found]] = []
    if label.kind == "volts" and label.sure:
        found = column.unit_from if column.unit and units.label(column.header).kind != "volts" else Found.HEADER
        said.append((label.unit, found))
    if label.against:
        said.append((label.against, Found.UNITS_ROW))
    above = stated.single.get(column.position, stated.all)
    if above:
        said.append((above, Found.HEADING))
    kinds = set() if unit_column is None else units_in(unit_column.cells)
    if column.cell_units:  # which needs no column of units beside it
        own = units_in(column.cells)
        if unit_column is not None and kinds and kinds != own:
            raise Question(
                f'{task.name}: the cells of column "{column.header}" carry {names_of(own)} and column "{unit_column.header}" says'
                f" {names_of(kinds)}; if the cells are right, give roles={{'{unit_column.header}': 'ignore'}}"
                f' (--role "{unit_column.header}=ignore").',
                roles={unit_column.header: "ignore"},
            )
        return Unit(1.0, Found.CELLS)
    if unit_column is not None:
        other = next((unit for unit, _ in said if kinds and kinds != {_volts(unit)}), None)
        if other is not None:
            raise Question(
                f'{task.name}: column "{column.header}" says {_name(other)} and column'
                f' "{unit_column.header}" says {names_of(kinds)}; if the'
                f" first is right, give roles={{'{unit_column.header}': 'ignore'}} (--role \"{unit_column.header}=ignore\"),"
                f" else unit={{'{label.name}': '{unit_column.header}'}} (--unit \"{label.name}={unit_column.header}\").",
                roles={unit_column.header: "ignore"},
            )
        return Unit(1.0, Found.UNIT_COLUMN, unit_column.position)
    if label.kind == "volts" and not said:
        said.append((label.unit, Found.HEADER))
    if not said:
        return None
    unit, where = said[0]
    against = next((item for item in said if _volts(item[0]) != _volts(unit)), None)
    if against is not None:
        raise Question(
            f'{task.name}: the unit of column "{column.header}" is {_name(unit)} by the {where} and'
            f" {_name(against[0])} by the {against[1]}; {ASK}.",
            unit="V",
        )
    if label.unit.startswith("MV"):
        task.notes.append(f'"{label.unit}" in column "{column.header}" was read as millivolts.')
    return Unit(_volts(unit), where)


def _volts(unit: str) -> float:
    return units.volts_per(unit) or 1.0


def _name(unit: str) -> str:
    return units.name_of(_volts(unit))


def units_in(cells: Iterable[str]) -> set[float]:
    """Volts per unit of the units of voltage that cells are, end in, or name a channel with."""
    words = {re.sub(r"^[^A-Za-zµμ]*", "", cell.strip('" ')) for cell in cells}
    return {volts for word in words if (volts := units.volts_in(word)) is not None}


def names_of(volts: Iterable[float]) -> str:
    """Units of so many volts, by their names."""
    return ", ".join(units.name_of(each) for each in sorted(volts, key=str))


def parsed(unit: str, name: str) -> float:
    """Volts per unit of a word of the caller.

    Raises
    ------
    LogError
        If it is no unit of voltage.
    """
    volts = units.volts_per(unit)
    if volts is None:
        raise Question(
            f"{name}: the unit {unit!r} is not understood; V, mV, µV and kV are (--unit V|mV|uV|kV).", unit="V"
        )
    return volts
