"""From blocks to what a screen can show: least and largest value of each stretch, so that no swing is lost.

At most `MOST_ROWS` rows leave this room, however long the log is. Half of them cover the log evenly; the other half go
to the places of interest, so that a close-up finds more than a bar there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from flicker.base.arrays import Floats, Ints
from flicker.logs.model import Log
from flicker.signals.blocks import RunBlocks

MOST_ROWS = 4000


@dataclass(frozen=True, slots=True)
class Envelope:
    """Rows of one channel in one run, arrays of shape (rows,): time in seconds since the run's first sample, volts.

    ``piece`` numbers the stretches between gaps: a line must not run across one. Rows without a reading hold NaN.
    """

    time_s: Floats
    low_V: Floats
    high_V: Floats
    piece: Ints


def envelope(blocks: RunBlocks, channel: int, *, rows: int = MOST_ROWS, focus: Floats | None = None) -> Envelope:
    """Least and largest reading over at most ``rows`` stretches of a run.

    Parameters
    ----------
    blocks : RunBlocks
        Blocks of the run.
    channel : int
        Position of the channel.
    rows : int
        Most rows handed out, 2 to 4,000.
    focus : array, shape (n, 2), optional
        Intervals in seconds that get half of the rows.

    Returns
    -------
    Envelope

    Raises
    ------
    ValueError
        If ``rows`` is outside 2 to 4,000.
    """
    if not 2 <= rows <= MOST_ROWS:
        raise ValueError(f"rows must lie between 2 and {MOST_ROWS}, got {rows}")
    part = blocks.channels[channel]
    if part.sample_s.size == blocks.run.samples <= rows:  # short enough for every reading
        first = np.searchsorted(part.sample_s, blocks.begin_s[blocks.after_gap], side="left")
        piece = np.zeros(part.sample_s.size, dtype=np.int64)
        piece[first[first < piece.size]] += 1
        value = np.where(np.isfinite(part.sample_V), part.sample_V, np.nan)
        return Envelope(part.sample_s, value, value, np.cumsum(piece) - 1)
    edges = _edges(blocks, rows, focus)
    last = np.concatenate((edges[1:], [blocks.row.size])) - 1
    return Envelope(
        0.5 * (blocks.begin_s[edges] + blocks.end_s[last]),
        np.fmin.reduceat(part.low, edges),
        np.fmax.reduceat(part.high, edges),
        np.cumsum(blocks.after_gap)[edges] - 1,
    )


def _edges(blocks: RunBlocks, rows: int, focus: Floats | None) -> Ints:
    """Indices of the blocks at which a stretch begins, in order, the first 0."""
    count = blocks.row.size
    borders = np.flatnonzero(blocks.after_gap)
    most = max(rows // 4, 1)
    borders = borders[:: math.ceil(borders.size / most)]
    near = np.zeros(count, dtype=bool)
    for begin, end in np.empty((0, 2)) if focus is None else focus:
        lo, hi = np.searchsorted(blocks.end_s, begin), np.searchsorted(blocks.begin_s, end, side="right")
        near[lo:hi] = True
    close = np.flatnonzero(near)
    room = rows - borders.size
    even = room // 2 if close.size else room
    if close.size:
        ends = np.flatnonzero(np.diff(near.astype(np.int8)) == -1) + 1
        close = close[:: math.ceil(close.size / max(room - even - ends.size, 1))]
        close = np.concatenate((close, ends))
    coarse = np.arange(0, count, math.ceil(count / max(even, 1)))
    edges = np.unique(np.concatenate(([0], borders, close, coarse)))
    if edges.size > rows:
        edges = edges[:: math.ceil(edges.size / rows)]
    return edges


def window(
    blocks: RunBlocks, channel: int, begin_s: float, end_s: float, *, log: Log | None = None, rows: int = 300
) -> Envelope:
    """Readings of a channel from ``begin_s`` to ``end_s``, as exact as what is at hand allows.

    The log itself is read where given; else the readings kept beside the blocks, if those are all; else the blocks'
    extremes.
    """
    part = blocks.channels[channel]
    lo = int(np.searchsorted(blocks.end_s, begin_s))
    hi = int(np.searchsorted(blocks.begin_s, end_s, side="right"))
    if log is not None and hi > lo:
        pieces = list(
            log.rows(blocks.stretch, int(blocks.row[lo]), int(blocks.row[hi - 1] + blocks.rows[hi - 1]), [channel])
        )
        time = np.concatenate([piece.time_s - blocks.offset_s for piece in pieces])
        value = np.concatenate([piece.values[0] for piece in pieces]).astype(np.float64)
    elif part.sample_s.size == blocks.run.samples:
        time, value = part.sample_s, part.sample_V
    else:
        time = np.repeat(blocks.centre_s[lo:hi], 2)
        value = np.column_stack((part.low[lo:hi], part.high[lo:hi])).ravel()
    inside = (time >= begin_s) & (time <= end_s) & np.isfinite(value)
    time, value = time[inside], value[inside]
    if time.size <= rows:
        return Envelope(time, value, value, np.zeros(time.size, dtype=np.int64))
    edges = np.arange(0, time.size, math.ceil(time.size / rows))
    return Envelope(
        time[edges],
        np.minimum.reduceat(value, edges),
        np.maximum.reduceat(value, edges),
        np.zeros(edges.size, np.int64),
    )


def logs_of_runs(all_blocks: Sequence[RunBlocks], logs: Sequence[Log] | None) -> Iterator[Log | None]:
    """Find the log that each run came from, by the name of its source; same names are taken in order."""
    waiting = list(logs or ())
    current: Log | None = None
    before: RunBlocks | None = None
    for blocks in all_blocks:
        name = blocks.run.source
        follows = (
            current is not None
            and before is not None
            and current.source.name == name == before.run.source
            and (blocks.stretch, blocks.run.first) > (before.stretch, before.run.first)
        )
        if not follows:
            current = next((log for log in waiting if log.source.name == name), None)
            if current is not None:
                waiting.remove(current)
        before = blocks
        yield current
