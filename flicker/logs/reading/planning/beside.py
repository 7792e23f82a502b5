"""Columns beside the outputs: marks, those with a role, and those that tell unit, sign or mode of each reading.

Columns and wishes in, companions and channels out.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from flicker.logs.errors import Question
from flicker.logs.reading.planning.columns import (
    Channel,
    Column,
    Kind,
    Task,
    column_named,
    find_column,
    listed,
    not_numbers,
)
from flicker.logs.reading.planning.sampled import mode_of
from flicker.logs.reading.words import units, vocabulary
from flicker.logs.roles import holds_marks

_KNOWN = {Kind.TEMPERATURE: "temperature", Kind.RAIL: "rail", Kind.MAINS: "mains"}


def marks_among(task: Task, columns: list[Column]) -> Column | None:
    """The column of marks: the one named, else one of words that is called so."""
    wanted = task.wishes.marks_column
    if wanted is not None:
        if task.wishes.may_lack and find_column(columns, wanted) is None:
            return None
        column = column_named(columns, wanted, task.name, "marks_column")
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
        if task.wishes.may_lack and find_column(columns, wanted) is None:
            continue
        column = column_named(columns, wanted, task.name, "roles")
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
            or units.evidence([column.values], column.decimals)[0]
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


def paired(task: Task, aids: list[Column], chosen: list[Column], what: str) -> dict[int, Column]:
    """Which column of units (or signs) belongs to which channel, by position of the channel."""
    titled = [c for c in aids if c.words & vocabulary.UNIT] if what == "units" else aids
    aids = titled or aids
    if len(aids) == 1:
        own = [c for c in chosen if c.label.kind != "volts" and not c.cell_units] or chosen
        return dict.fromkeys((c.position for c in own), aids[0])
    named: dict[int, Column] = {}
    for aid in aids:
        near = [c for c in chosen if (c.name_words - vocabulary.READING) and c.name_words <= aid.words]
        if len(near) == 1:
            named[near[0].position] = aid
    if len(named) == len(aids):
        return named
    if len(aids) == len(chosen):
        return {c.position: aid for c, aid in zip(chosen, aids, strict=True)}
    raise Question(
        f"{task.name}: columns {listed([c.header for c in aids])} hold {what}, and to which channel they belong is not"
        f' told; leave out those that are not to be used with roles (--role "{aids[0].header}=ignore").',
        roles={aids[0].header: "ignore"},
    )


def with_signs(
    task: Task, channels: tuple[Channel, ...], chosen: list[Column], signs: list[Column]
) -> tuple[Channel, ...]:
    """Give each channel the column of its signs."""
    if not signs:
        return channels
    if len(signs) == 1 and len(channels) > 1:
        raise Question(
            f'{task.name}: column "{signs[0].header}" holds signs, and to which channel they belong is not told; name the'
            f" channel with channels (--channels NAME), or leave the signs out with roles"
            f' (--role "{signs[0].header}=ignore").',
            roles={signs[0].header: "ignore"},
        )
    pairs = paired(task, signs, chosen, "signs")
    out = []
    for channel, column in zip(channels, chosen, strict=True):
        sign = pairs.get(column.position)
        if sign is not None and sign.kind == "number" and not set(np.unique(sign.known)) <= {1.0, -1.0}:
            raise Question(
                f'{task.name}: column "{sign.header}" is called a sign and holds other numbers than 1 and -1; leave it'
                f' out with roles (--role "{sign.header}=ignore").',
                roles={sign.header: "ignore"},
            )
        if sign is None or np.any(column.values < 0):
            if sign is not None:
                task.notes.append(f'Column "{sign.header}" was not applied: the readings carry their own sign.')
            out.append(channel)
            continue
        task.notes.append(f'The sign of "{column.header}" is that of column "{sign.header}".')
        out.append(replace(channel, sign_column=sign.position))
    return tuple(out)


def with_modes(
    task: Task, channels: tuple[Channel, ...], chosen: list[Column], modes: list[Column]
) -> tuple[Channel, ...]:
    """Give each channel the column that says AC or DC."""
    telling = [c for c in modes if c.kind == "text" and any(mode_of(cell) for cell in c.cells)]
    if not telling:
        return channels
    for mode in telling:
        filled = [mode_of(cell) for cell in mode.cells if cell.strip('" ')]
        if filled and all(kind == "ac" for kind in filled) and (len(telling) == 1 or len(channels) == 1):
            raise Question(
                f'{task.name}: column "{mode.header}" says that the meter measured alternating voltage ({mode.cells[0].strip()!r}),'
                " in which DC offset does not show; log the DC range, or read the numbers all the same with roles"
                f' (--role "{mode.header}=ignore").',
                roles={mode.header: "ignore"},
            )
    pairs = (
        paired(task, telling, chosen, "modes")
        if len(telling) in (1, len(chosen))
        else dict.fromkeys((c.position for c in chosen), telling[0])
    )
    return tuple(
        replace(channel, mode_column=pairs[channel.position].position) if channel.position in pairs else channel
        for channel in channels
    )
