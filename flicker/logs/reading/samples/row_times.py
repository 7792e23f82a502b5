"""Rows without a time of their own, and rows that a logger wrote twice. Times and readings in; times, or which rows are copies, out."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flicker.base.arrays import Bools, Floats

REACH = 1024  # rows looked back for the first of a copy: a choice; a logger's buffer holds some hundred


def copies(before: Sequence[Floats], parts: Sequence[Floats]) -> Bools:
    """Which rows of ``parts`` stand a second time there, each run of them up to where the clock steps back.

    Parameters
    ----------
    before : sequence of array, shape (m,)
        The last rows already read, time first.
    parts : sequence of array, shape (n,)
        New rows, time first.

    Returns
    -------
    array of bool, shape (n,)
    """
    known = before[0].size
    columns = [np.concatenate(pair) for pair in zip(before, parts, strict=True)]
    time, out = columns[0], np.zeros(columns[0].size, dtype=bool)
    for at in (np.flatnonzero(np.diff(time) < 0) + 1).tolist():
        first = np.flatnonzero(time[max(0, at - REACH) : at] == time[at])
        if at < known or not first.size:
            continue
        begin = int(first[0]) + max(0, at - REACH)
        size = at - begin
        if all(np.array_equal(c[begin:at], c[at : at + size], equal_nan=True) for c in columns):
            out[at : at + size] = True
    return out[known:]


def between(time: Floats, known: Bools, last: float | None) -> tuple[Floats, Bools]:
    """Give rows without a time one between those around them; returns the times and which rows got one."""
    places = np.flatnonzero(known)
    filled, between = time.copy(), np.zeros(time.size, dtype=bool)
    if not places.size:
        return filled, between
    missing = np.flatnonzero(~known)
    inside = missing[missing < places[-1]]
    if last is None:
        inside = inside[inside > places[0]]
        filled[inside] = np.interp(inside, places, time[places])
    else:
        filled[inside] = np.interp(inside, [-1, *places], [last, *time[places]])
    between[inside] = True
    return filled, between
