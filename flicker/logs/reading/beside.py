"""Columns that are no outputs: which holds marks, which have a role; columns and wishes in, companions out."""

from __future__ import annotations

import numpy as np

from flicker.logs.model import LogError
from flicker.logs.reading import units
from flicker.logs.reading.columns import Channel, Column, Wishes, column_named, not_a_number
from flicker.logs.roles import holds_marks, is_temperature


def marks_among(columns: list[Column], wishes: Wishes, name: str, notes: list[str]) -> Column | None:
    """The column of marks: the one named, else one of words that is called so."""
    wanted = wishes.marks_column
    if wanted is not None:
        try:
            column = column_named(columns, wanted, name, "marks_column")
        except LogError:
            if wishes.may_lack:
                return None
            raise
        if column.kind == "number":
            raise LogError(f'{name}: the column "{column.header}" holds numbers, not marks.')
        notes.append(f'Column "{column.header}" was read as marks, as told.')
        return column
    named = {wanted for wanted, _ in wishes.roles} | set(wishes.channels or ())
    found = next((c for c in columns if holds_marks(c) and c.header not in named), None)
    if found is not None:
        notes.append(f'Column "{found.header}" was read as marks.')
    return found


def roles_among(columns: list[Column], wishes: Wishes, name: str, notes: list[str]) -> dict[int, str]:
    """Role of each column that is no output, by position: as told, and temperatures by their header."""
    found: dict[int, str] = {}
    told: set[int] = set()
    for wanted, role in wishes.roles:
        try:
            column = column_named(columns, wanted, name, "roles")
        except LogError:
            if wishes.may_lack:
                continue
            raise
        told.add(column.position)
        if role == "output":
            continue
        if role != "ignore" and column.kind != "number":
            raise LogError(not_a_number(column, name))
        found[column.position] = role
        what = "left out" if role == "ignore" else f"{role}; it gets no verdict"
        notes.append(f'Column "{column.header}", as told: {what}.')
    if wishes.channels is None:
        for column in columns:
            if column.position not in told and is_temperature(column) and np.isfinite(column.values).any():
                found[column.position] = "temperature"
                notes.append(f'Column "{column.header}" was read as a temperature; it gets no verdict.')
    return found


def companions_among(
    columns: list[Column], roles: dict[int, str], outputs: tuple[Channel, ...], wishes: Wishes, name: str
) -> list[Channel]:
    """Columns beside the outputs that are read with them."""
    used = {channel.name for channel in outputs}
    out: list[Channel] = []
    for column in columns:
        label, role = column.label, roles[column.position]
        if role == "temperature" or column.cell_units:
            factor = 1.0
        elif label.kind == "volts":
            factor = units.volts_per(label.unit) or 1.0
        else:
            unit = wishes.unit or units.evidence([column.values], column.decimals).unit
            if not unit:
                raise LogError(
                    f'{name}: the unit of column "{column.header}" ({role}) is not told; write it in the header, as in'
                    f' "{column.header}_V".'
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
