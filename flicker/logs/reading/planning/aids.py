"""Columns that tell unit, sign or mode of each reading: to which channel they belong. Columns in, channels out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from flicker.logs.errors import Question
from flicker.logs.reading.planning import extra_columns
from flicker.logs.reading.planning.columns import Channel, Column, Task, listed
from flicker.logs.reading.words import vocabulary


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
    telling = [c for c in modes if c.kind == "text" and any(extra_columns.mode_of(cell) for cell in c.cells)]
    if not telling:
        return channels
    for mode in telling:
        filled = [extra_columns.mode_of(cell) for cell in mode.cells if cell.strip('" ')]
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
