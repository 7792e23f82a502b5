"""Times of rows: between neighbours where a row has none, spread where stamps are coarse; and which rows a logger wrote twice."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np

from flicker.base.arrays import Bools, Floats
from flicker.logs.reading.samples.spool import Spool

REACH = 1024  # rows looked back for the first of a copy: a choice; a logger's buffer holds some hundred
COARSE_SHARE = 0.3  # of equal neighbours, from which on the stamps count as coarse
FEW_BACK = 3  # steps back that show which way the rows go,
DISORDER = 0.02  # and how many, of these, may go forward all the same: choices
PAUSE = 10.0  # steps that a pause between packets is at least,
PACKETS, PACKET_ROWS = 3, 3  # and so many packets of so many rows at least: choices
MAKERS_YEARS = (1900, 1904, 1970, 1980, 2000)  # in which clocks begin that nobody has set; common practice, no source
YEAR_S = 365 * 86400.0
HEAD_ROWS = 4097  # in which a habit shows: a choice
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


def newest_first(time: Floats) -> bool:
    """Whether the rows of a table's beginning go back in time, one as all."""
    steps = np.diff(time[np.isfinite(time)])
    back = int(np.count_nonzero(steps < 0))
    return back >= FEW_BACK and int(np.count_nonzero(steps > 0)) <= DISORDER * back


def from_row(spool: Spool, name: str, begin: int, way: int) -> Spool:
    """A spool that begins at a row and goes on (``way`` 1) or back (-1) from there, round the end; its times count from there."""
    spans = [*spool.starts(begin, spool.rows), *spool.starts(0, begin)] if way > 0 else [*spool.starts(0, spool.rows)][::-1]
    out, zero_s = Spool(spool.columns, name), time_at(spool, begin)
    for lo, hi in spans:
        time, *others = (spool.read(k, lo, hi)[::way] for k in range(spool.columns))
        out.append([way * (time - zero_s), *others])
    return out


def time_at(spool: Spool, row: int) -> float:
    """Time of one row."""
    return float(spool.read(0, row, row + 1)[0])


def ring(spool: Spool) -> int | None:
    """The row of the oldest reading in a ring buffer, whose end leads on to its beginning; None where it is none."""
    backs = _far(spool, back=True)
    usual = float(np.median(np.abs(np.diff(spool.read(0, 0, HEAD_ROWS)))))
    seam = time_at(spool, 0) - time_at(spool, spool.rows - 1)
    return backs[0] if len(backs) == 1 and 0 < seam <= 3 * usual else None


def clock_set(spool: Spool, start: datetime) -> tuple[int, float] | None:
    """The row at which a clock that had begun at a date of its maker's was set, and by how much; None where it was not."""
    leaps = _far(spool, back=False) if start.year in MAKERS_YEARS else []
    if len(leaps) != 1:
        return None
    usual = float(np.median(np.diff(spool.read(0, 0, HEAD_ROWS))))
    return leaps[0], time_at(spool, leaps[0]) - time_at(spool, leaps[0] - 1) - usual


def _far(spool: Spool, *, back: bool) -> list[int]:
    """Rows at which time steps back, or forward by more than a year."""
    found: list[int] = []
    for lo, hi in spool.starts(1, spool.rows):
        steps = np.diff(spool.read(0, lo - 1, hi))
        found += (lo + np.flatnonzero(steps < 0 if back else steps > YEAR_S)).tolist()
    return found


def packets(time: Floats) -> tuple[str, ...]:
    """What to note where rows come in packets of as many each, with far longer pauses between: they may bear the stamp of their arrival."""
    time = time[np.isfinite(time)]
    steps = np.diff(time)
    within = float(np.median(steps)) if steps.size else 0.0
    pauses = np.flatnonzero(steps > PAUSE * within)
    sizes = np.diff(pauses)
    if sizes.size < PACKETS or not within > 0:
        return ()
    rows, apart = int(np.median(sizes)), float(steps[pauses].sum())
    if rows < PACKET_ROWS or np.mean(sizes == rows) < 1 - COARSE_SHARE or apart < 0.5 * (time[-1] - time[0]):
        return ()
    usual = float(np.median(np.diff(time[pauses]))) / rows
    return (
        f"Rows come in packets of {rows} with pauses between: stamps of their arrival? If the meter reads evenly, give the seconds"
        f" from reading to reading, here about {usual:.3g}, with sample_interval_s (--sample-interval S); as it stands the pauses"
        " are not observed.",
    )


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
    first, zero = 0, 0.0
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
        early = np.zeros(time.size)
        if first == 0:  # only the first group may have begun before the log did
            early[: sizes[0]] = max(usual - float(sizes[0]), 0.0)
        moved = time + step * (place + early) / length
        zero = float(moved[0]) if first == 0 else zero
        spool.write(0, first, moved - zero)
        first = last
    return f"About {usual:g} samples share each time stamp; they were spread evenly over {step:g} s."
