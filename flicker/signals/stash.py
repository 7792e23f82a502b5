"""Samples of striking blocks, kept while a log is read the first time, so that the second look need not read it again.

A stash only saves work: what it does not hold is read from the log, and no result depends on what it holds. Where it
would grow beyond `MOST_BYTES` it is given up, since the log must then be read a second time anyway.
"""

from __future__ import annotations

import bisect
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from flicker.logs.model import Log, Piece

if TYPE_CHECKING:
    from flicker.signals.blocks import RunBlocks

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

MOST_BYTES = 64 << 20
MIDDLES = 64  # blocks whose middle says where the level is
TAIL_BLOCKS = 6  # after the last that a relay must see
NEAR_ROWS = 1 << 16  # what lies closer is read in one go


class Stash:
    """Rows of a source, in order; each entry holds consecutive rows: first row, seconds, volts per channel."""

    def __init__(self, swing_V: float, release_V: float, tail_s: float) -> None:
        self.swing_V, self.release_V, self.tail_s = swing_V, release_V, tail_s
        self.first: list[int] = []
        self.time_s: list[Floats] = []
        self.values: list[tuple[Floats, ...]] = []
        self._bytes = 0
        self._middles: list[Floats] = []
        self._until_s = -np.inf  # a relay may still be open until then

    def begin(self) -> None:
        """Another stretch of the log follows, with a clock of its own."""
        self._until_s = -np.inf

    def look(self, piece: Piece, size: int, reduced: Sequence[dict[str, NDArray[Any]]]) -> None:
        """Keep the rows of those of the blocks just made that stand out; ``size`` rows make a block."""
        if self._bytes > MOST_BYTES:
            self.clear()
            return
        count = piece.time_s.size // size
        keep = np.zeros(count, dtype=bool)
        loud = np.zeros(count, dtype=bool)
        self._middles = self._middles or [np.empty(0)] * len(reduced)
        for number, block in enumerate(reduced):
            low, high = block["low"], block["high"]
            over = (block["over_low"] > 0) | (block["over_high"] > 0)
            near = np.concatenate((self._middles[number], block["middle"]))[-max(MIDDLES, count) :]
            self._middles[number] = near[-MIDDLES:]
            with np.errstate(invalid="ignore"):
                known = near[~np.isnan(near)]
                level = float(np.median(known)) if known.size else 0.0
                keep |= over | (high > level + self.swing_V) | (low < level - self.swing_V)
                loud |= over | (high > self.release_V) | (low < -self.release_V)
        begin_s, end_s = piece.time_s[::size], piece.time_s[size - 1 :: size]
        if loud.any() or begin_s[0] <= self._until_s:
            tail_s = self.tail_s + TAIL_BLOCKS * float(end_s[0] - begin_s[0])
            until = np.maximum.accumulate(np.where(loud, end_s + tail_s, self._until_s))
            keep |= loud | (begin_s <= until)
            keep[1:] |= loud[:-1]
            self._until_s = float(until[-1])
        if not keep.any():
            return
        edge = np.flatnonzero(np.diff(np.concatenate(([False], keep, [False])).astype(np.int8)))
        for lo, hi in zip((edge[::2] * size).tolist(), (edge[1::2] * size).tolist(), strict=True):
            self.add(piece.first + lo, piece.time_s[lo:hi].copy(), tuple(part[lo:hi].copy() for part in piece.values))

    def add(self, first: int, time_s: Floats, values: tuple[Floats, ...]) -> None:
        """Keep rows, which come after all that are kept already."""
        self.first.append(first)
        self.time_s.append(time_s)
        self.values.append(values)
        self._bytes += time_s.nbytes + sum(part.nbytes for part in values)

    def clear(self) -> None:
        """Let go of everything: the second look is over."""
        for kept in (self.first, self.time_s, self.values):
            kept.clear()

    def rows(self, run: int, first: int, last: int, channels: Sequence[int] | None = None) -> list[Piece] | None:
        """Rows ``first`` to ``last`` (half open) in pieces, or None if not all of them are kept."""
        place = bisect.bisect_right(self.first, first) - 1
        out = []
        while first < last:
            if not 0 <= place < len(self.first):
                return None
            begin, time, values = self.first[place], self.time_s[place], self.values[place]
            if not begin <= first < begin + time.size:
                return None
            lo, hi = first - begin, min(last - begin, time.size)
            chosen = values if channels is None else [values[k] for k in channels]
            out.append(Piece(run, first, time[lo:hi], tuple(part[lo:hi] for part in chosen), False))
            first = begin + hi
            place += 1
        return out


def rows_again(
    log: Log, blocks: RunBlocks, first: int, last: int, channels: Sequence[int] | None = None
) -> Iterator[Piece]:
    """Rows ``first`` to ``last`` (half open, source numbering) of a run once more, from the stash where it has them."""
    kept = None if blocks.stash is None else blocks.stash.rows(blocks.stretch, first, last, channels)
    return log.rows(blocks.stretch, first, last, channels=channels) if kept is None else iter(kept)


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
