"""Columns that are no outputs: which holds marks, which have a role; columns and wishes in, companions out."""

from __future__ import annotations

import numpy as np

from flicker.logs.errors import LogError, Question
from flicker.logs.reading.planning.columns import Channel, Column, Kind, Task, column_named, not_numbers
from flicker.logs.reading.planning.extra_columns import mode_of
from flicker.logs.reading.words import units
from flicker.logs.roles import holds_marks

_KNOWN = {Kind.TEMPERATURE: "temperature", Kind.RAIL: "rail", Kind.MAINS: "mains"}


def marks_among(task: Task, columns: list[Column]) -> Column | None:
    """The column of marks: the one named, else one of words that is called so."""
    wanted = task.wishes.marks_column
    if wanted is not None:
        try:
            column = column_named(columns, wanted, task.name, "marks_column")
        except LogError:
            if task.wishes.may_lack:
                return None
            raise
        if column.kind == "number":
            raise Question(
                f'{task.name}: the column "{column.header}" holds numbers, not marks; name another with marks_column'
                " (--marks-column NAME), or leave it out.",
                marks_column=None,
            )
        task.notes.append(f'Column "{column.header}" was read as marks, as told.')
        return column
    named = {wanted for wanted, _ in task.wishes.roles} | set(task.wishes.channels or ())
    found = next((c for c in columns if holds_marks(c) and c.header not in named), None)
    if found is not None:
        task.notes.append(f'Column "{found.header}" was read as marks.')
    return found


def roles_among(task: Task, columns: list[Column]) -> dict[int, str]:
    """Role of each column that is no output, by position: as told, and rails and temperatures by their header."""
    found: dict[int, str] = {}
    told: set[int] = set()
    for wanted, role in task.wishes.roles:
        try:
            column = column_named(columns, wanted, task.name, "roles")
        except LogError:
            if task.wishes.may_lack:
                continue
            raise
        told.add(column.position)
        if role == "output":
            continue
        if role != "ignore" and column.kind != "number":
            raise not_numbers(column, task.name)
        found[column.position] = role
        what = "left out" if role == "ignore" else f"{role}; it gets no verdict"
        if task.kinds.get(column.position) is Kind.MODE and any(mode_of(cell) == "ac" for cell in column.cells):
            what += "; it says AC, and in alternating voltage DC offset does not show"
        task.notes.append(f'Column "{column.header}", as told: {what}.')
    if task.wishes.channels is None:
        for column in columns:
            role = _KNOWN.get(task.kinds.get(column.position, Kind.ELSE), "")
            if not role or column.position in told or not np.isfinite(column.values).any():
                continue
            if role != "temperature" and column.label.kind != "volts" and not column.cell_units:
                continue  # no unit, no use: named among the columns that were not taken
            found[column.position] = role
            task.notes.append(
                f'Column "{column.header}" was read as {"the" if role == "mains" else "a"} {role}; it gets no verdict.'
            )
    return found


def companions_among(
    task: Task, columns: list[Column], roles: dict[int, str], outputs: tuple[Channel, ...]
) -> list[Channel]:
    """Columns with a role as channels of their own, with volts (degrees) per unit."""
    used = {channel.name for channel in outputs}
    out: list[Channel] = []
    for column in columns:
        label, role = column.label, roles[column.position]
        single = next((unit for wanted, unit in task.wishes.units if wanted in (column.header, label.name)), "")
        unit = (
            (single if units.volts_per(single) is not None else "")
            or (label.unit if label.kind == "volts" else "")
            or task.wishes.unit
            or units.evidence([column.values], column.decimals).unit
            or ("V" if task.wishes.plain_volts else "")
        )
        if role == "temperature" or column.cell_units:
            unit = "V"  # of degrees, and of cells that are volts already
        if not unit:
            raise Question(
                f'{task.name}: the unit of column "{column.header}" ({role}) is not told; say it with'
                f" unit={{'{label.name}': 'V'}} (--unit \"{label.name}=V\").",
                unit={label.name: "V"},
            )
        factor = units.volts_per(unit) or 1.0
        title = label.name or column.header
        if title in used:
            title = column.header.strip()
        while title in used:
            title += " 2"
        used.add(title)
        out.append(Channel(column.position, title, factor, role))
    return out
