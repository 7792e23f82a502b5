"""Readings that one channel alone lacks, or all at once in rows that were written: an overload leaves such blanks.

Rows in, counts by length out.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from flicker.base.runs import true_runs

ANY = -1  # by definition: no channel in particular
ALL = -2  # by definition: rows that were written without a reading in any channel
OWN = -3  # by definition: both kinds of rows


class BlankWatch:
    """Counts, per channel, stretches of rows without a reading while any other channel, or a given one, has one (`ANY`).

    Stretches in which all channels lack theirs at once are counted beside (`ALL`): the logger wrote its rows. A channel by itself has no other to compare with: all its blanks count.
    """

    def __init__(self, channels: int) -> None:
        self.channels = channels
        kinds = (ANY, OWN, ALL) if channels > 1 else (ANY, OWN)
        others = [(c, m) for c in range(channels) for m in range(channels) if c != m] if channels > 2 else []
        self._pairs = [*((c, kind) for c in range(channels) for kind in kinds), *others]
        self._open = dict.fromkeys(self._pairs, 0)
        self._counts: dict[tuple[int, int], Counter[int]] = {pair: Counter() for pair in self._pairs}

    def feed(self, values: Sequence[NDArray[np.floating]], out: Sequence[NDArray[np.bool_] | None]) -> None:
        """Take the next rows, which hold a missing reading somewhere; rows in ``out`` of a channel are not asked of it."""
        missing = [np.isnan(column) for column in values]
        known = [np.isfinite(column) for column in values]
        any_known = np.logical_or.reduce(known)
        for channel, other in self._pairs:
            mine, left_out = missing[channel], out[channel]
            if left_out is not None:
                mine = mine & ~left_out
            if other == ALL:
                mine = mine & ~any_known
            elif other >= 0:
                mine = mine & known[other]
            elif other == ANY and self.channels > 1:
                mine = mine & any_known
            self._follow((channel, other), mine)

    def rest(self) -> None:
        """Rows follow in which nothing is missing."""
        for pair, rows in self._open.items():
            if rows:
                self._counts[pair][rows] += 1
                self._open[pair] = 0

    def _follow(self, pair: tuple[int, int], mine: NDArray[np.bool_]) -> None:
        first, last = true_runs(mine)
        carried, self._open[pair] = self._open[pair], 0
        counts = self._counts[pair]
        if carried and not (first.size and first[0] == 0):
            counts[carried] += 1
            carried = 0
        rows = last - first
        if carried:
            rows[0] += carried
        if first.size and last[-1] == mine.size:
            self._open[pair] = int(rows[-1])
            rows = rows[:-1]
        counts.update(rows.tolist())

    def table(self, channel: int) -> NDArray[np.int64]:
        """Rows (other channel, `ANY`, `ALL` or `OWN`; length in rows; how often) of a channel."""
        self.rest()
        rows = [
            (other, length, times)
            for (mine, other), counts in self._counts.items()
            if mine == channel
            for length, times in sorted(counts.items())
        ]
        return np.array(rows, dtype=np.int64).reshape(-1, 3)
