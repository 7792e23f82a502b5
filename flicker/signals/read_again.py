"""The second look at exact samples, from the spill buffer where it holds them, else from the log; and what it is for:

the excursions of a run, looked for only in blocks that can hold one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np

from flicker.base.arrays import Bools, Floats, Ints
from flicker.logs.model import Log, Piece
from flicker.signals.blocks import RunBlocks
from flicker.signals.excursions import Excursions, Scanner

NEAR_ROWS = 1 << 16  # what lies closer is read in one go; common practice: a batch of half a megabyte a channel
FEED_ROWS = 1 << 16  # handed to a scanner at once; a choice: speed against memory


def rows_again(log: Log, blocks: RunBlocks, first: int, last: int) -> Iterator[Piece]:
    """Rows ``first`` to ``last`` (half open, source numbering) of a run once more, from the stash where it has them."""
    kept = None if blocks.stash is None else blocks.stash.rows(blocks.stretch, first, last)
    return log.rows(blocks.stretch, first, last) if kept is None else iter(kept)


def read_blocks(log: Log, blocks: RunBlocks, wanted: Bools, channels: Sequence[int]) -> Iterator[Piece]:
    """Read the wanted blocks once more, in order; rows between them may come along, times are those of the stretch."""
    index = np.flatnonzero(wanted)
    if index.size == 0:
        return
    first, last = blocks.row[index], blocks.row[index] + blocks.rows[index]
    touch = np.concatenate(([True], first[1:] > last[:-1]))
    begin, end = first[touch].tolist(), last[np.append(touch[1:], True)].tolist()
    at = 0
    while at < len(begin):
        kept = None if blocks.stash is None else blocks.stash.rows(blocks.stretch, begin[at], end[at], channels)
        stop = at + 1
        if kept is not None:
            yield from kept
        else:
            while stop < len(begin) and begin[stop] - end[stop - 1] <= NEAR_ROWS:
                stop += 1
            yield from log.rows(blocks.stretch, begin[at], end[stop - 1], channels=channels)
        at = stop


def hot_blocks(blocks: RunBlocks, channel: int, baseline: Callable[[Floats], Floats], leave_V: float) -> Bools:
    """Blocks of a channel that hold a reading beyond the leaving threshold (never misses one)."""
    part = blocks.channels[channel]
    first, last = baseline(blocks.begin_s), baseline(blocks.end_s)
    with np.errstate(invalid="ignore"):
        hot = (part.high > np.minimum(first, last) + leave_V) | (part.low < np.maximum(first, last) - leave_V)
    return hot | (part.over_low > 0) | (part.over_high > 0)


def scan_run(log: Log, blocks: RunBlocks, scanners: Sequence[Scanner | None]) -> list[Excursions]:
    """Scan one run for all channels: only blocks that are hot in some channel are read again.

    ``scanners`` holds one per channel, None for a channel that is not scanned (nothing observed).
    """
    parts = [None if scanner is None else _Parts(blocks, channel, scanner) for channel, scanner in enumerate(scanners)]
    active = [(channel, part) for channel, part in enumerate(parts) if part is not None and part.hot.any()]
    hot = np.array([part.hot for _, part in active], dtype=bool).reshape(len(active), blocks.row.size)
    for piece in read_blocks(log, blocks, np.asarray(hot.any(axis=0)), [channel for channel, _ in active]):
        first, last = blocks.row.searchsorted((piece.first, piece.first + piece.time_s.size - 1), "right").tolist()
        for place in np.flatnonzero(hot[:, first - 1 : last].any(axis=1)).tolist():
            active[place][1].take(piece.first, piece.time_s, piece.values[place], blocks.offset_s)
    volts, flags = np.empty(0), np.empty(0, dtype=bool)
    empty = Excursions(start_s=volts, end_s=volts, peak_V=volts, deviation_V=volts, cut=flags, over_range=flags)
    return [empty if part is None else part.finish(blocks.offset_s) for part in parts]


class _Parts:
    """The hot blocks of one channel, and what follows each stretch of them."""

    def __init__(self, blocks: RunBlocks, channel: int, scanner: Scanner) -> None:
        self.scanner = scanner
        counts = blocks.channels[channel]
        hot = hot_blocks(blocks, channel, scanner.baseline, scanner.leave_V)
        # A block without any reading is a gap of its own; one with some missing does not tell where an excursion ends,
        # so it is looked at too where one may last into it.
        mute = (counts.finite == 0) & ~hot
        whole = counts.finite == blocks.rows
        border = blocks.after_gap | np.concatenate(([True], mute[:-1]))
        self.hot = _carried(hot, whole | mute, border)
        spans = stretches(self.hot, border)
        first = np.array([a for a, _ in spans], dtype=np.int64)
        last = np.array([b for _, b in spans], dtype=np.int64)
        self.row = blocks.row[first]
        self.end = blocks.row[last - 1] + blocks.rows[last - 1] if first.size else first
        # What comes after each stretch: a gap (NaN), or a whole calm block, whose first reading closes an excursion.
        after = np.full(first.size, np.nan)
        inside = last < blocks.row.size
        follows = last[inside]
        after[inside] = np.where(blocks.after_gap[follows] | mute[follows], np.nan, blocks.begin_s[follows])
        self.after_s = after
        self.at_gap = border[first]
        self._time_s: list[Floats] = []  # samples that wait until they are worth a call
        self._volts: list[Floats] = []
        self._fresh: list[Ints] = []
        self._numbers: list[Ints] = []
        self._rows = 0

    def take(self, first: int, time_s: Floats, values: Floats, offset_s: float) -> None:
        """Take rows from ``first`` on: those of the channel's own stretches go to the scanner."""
        last = first + values.size
        lo = int(np.searchsorted(self.end, first, side="right"))
        hi = int(np.searchsorted(self.row, last, side="left"))
        if lo >= hi:
            return
        begin, end = np.maximum(self.row[lo:hi], first), np.minimum(self.end[lo:hi], last)
        new = self.row[lo:hi] >= first
        place = (begin - first).tolist(), (end - first).tolist()
        for a, b in zip(*place, strict=True):
            self._time_s.append(time_s[a:b])
            self._volts.append(values[a:b])
        fresh = self._rows + np.concatenate(([0], np.cumsum(end - begin)))
        self._fresh.append(fresh[:-1][new])
        self._numbers.append(np.arange(lo, hi)[new])
        self._rows = int(fresh[-1])
        if self._rows >= FEED_ROWS:
            self._feed(offset_s)
            return
        for waiting in (self._time_s, self._volts):  # what waits must not hold on to the batch it comes from
            waiting[-begin.size :] = [part.copy() for part in waiting[-begin.size :]]

    def _feed(self, offset_s: float) -> None:
        if not self._rows:
            return
        time, volts = np.concatenate(self._time_s), np.concatenate(self._volts)
        fresh, number = np.concatenate(self._fresh), np.concatenate(self._numbers)
        back = np.where(number > 0, self.after_s[np.maximum(number - 1, 0)], np.nan)
        self.scanner.feed_parts(time - offset_s if offset_s else time, volts, fresh, back, self.at_gap[number])
        for kept in (self._time_s, self._volts, self._fresh, self._numbers):
            kept.clear()
        self._rows = 0

    def finish(self, offset_s: float) -> Excursions:
        """End what is open, and return what was found."""
        self._feed(offset_s)
        if self.after_s.size:
            self.scanner.close(cut=bool(np.isnan(self.after_s[-1])), back_s=float(self.after_s[-1]))
        return self.scanner.result()


def _carried(hot: Bools, ends: Bools, border: Bools) -> Bools:
    """Extend stretches of hot blocks up to the first block that ``ends`` them, never over a border."""
    state = np.where(hot, 1, np.where(ends | border, 0, -1))
    last = np.maximum.accumulate(np.where(state >= 0, np.arange(hot.size), 0))
    return np.asarray(state[last] == 1)


def stretches(flag: Bools, border: Bools) -> list[tuple[int, int]]:
    """Half-open index ranges of consecutive True flags, cut where ``border`` is True."""
    index = np.flatnonzero(flag)
    if index.size == 0:
        return []
    breaks = np.flatnonzero((np.diff(index) > 1) | border[index[1:]]) + 1
    first = np.concatenate(([0], breaks))
    last = np.concatenate((breaks, [index.size])) - 1
    return [(int(index[a]), int(index[b]) + 1) for a, b in zip(first, last, strict=True)]
