"""The second look at exact samples: from the spill buffer where it holds them, else from the log."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from flicker.base.arrays import Bools
from flicker.logs.model import Log, Piece
from flicker.signals.blocks import RunBlocks

NEAR_ROWS = 1 << 16  # what lies closer is read in one go; common practice: a batch of half a megabyte a channel


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
