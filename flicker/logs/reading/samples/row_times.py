"""Times of rows: between neighbours where a row has none, spread where stamps are coarse; and which rows a logger wrote twice."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flicker.base.arrays import Bools, Floats
from flicker.logs.reading.samples.spool import Spool

REACH = 1024  # rows looked back for the first of a copy: a choice; a logger's buffer holds some hundred
COARSE_SHARE = 0.3  # of equal neighbours, from which on the stamps count as coarse
_WINDOW = 1 << 20


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


def spread(spool: Spool) -> str:
    """Rewrite the time column (0) of a spool; returns the note that says so."""
    head = spool.read(0, 0, min(spool.rows, _WINDOW))
    starts = np.flatnonzero(np.diff(head, prepend=head[0] - 1.0) != 0)
    sizes = np.diff(starts)
    steps = np.diff(head[starts])
    forward = steps[steps > 0]
    step = float(np.median(forward)) if forward.size else 1.0
    usual = float(np.median(sizes[1:] if sizes.size > 2 else sizes)) if sizes.size else float(head.size)
    first = 0
    while first < spool.rows:
        last = min(first + _WINDOW, spool.rows)
        time = spool.read(0, first, last)
        starts = np.flatnonzero(np.diff(time, prepend=time[0] - 1.0) != 0)
        if last < spool.rows and starts.size > 1:  # the last group may go on
            last = first + int(starts[-1])
            time, starts = time[: starts[-1]], starts[:-1]
        sizes = np.diff(starts, append=time.size)
        place = np.arange(time.size) - np.repeat(starts, sizes)
        length = np.repeat(np.maximum(sizes, usual), sizes)
        early = np.repeat(np.maximum(usual - sizes, 0.0), sizes) if first == 0 else np.zeros(time.size)
        if first == 0:
            early[sizes[0] :] = 0.0  # only the first group may have begun before the log did
        spool.write(0, first, time + step * (place + early) / length)
        first = last
    zero = float(spool.read(0, 0, 1)[0])
    if zero:
        for lo, hi in list(spool.starts(0, spool.rows)):
            spool.write(0, lo, spool.read(0, lo, hi) - zero)
    return f"About {usual:g} samples share each time stamp; they were spread evenly over {step:g} s."
