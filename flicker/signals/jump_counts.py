"""Jumps between levels, counted while a log is read: readings in by cells, counts and sizes by scale out.

Windows of readings, each with its own sigma. Readings within two seconds of another channel's swing are left out: its
crosstalk jumps too. No result depends on how the rows are batched, since cells do not.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray

from flicker.base.arrays import Bools, Floats, Ints
from flicker.base.middle import median
from flicker.signals.guard.figures import NEIGHBOUR_S, RESTLESS
from flicker.stats.jumps import LEAST_V, SCALES, sizes_by_scale
from flicker.stats.noise import resolution_of

WINDOW = 1 << 14  # readings judged together; fewer only at the end of a stretch; a choice
MOST_SIZES = 2000  # kept of a scale: their middle is all that is told; a choice
NEIGHBOUR_V = 0.030  # by the rule of clearance on jumps beside a neighbour's swing, a choice
FARTHER_S = 3.0  # not looked at beyond; a choice for speed


class JumpWatch:
    """Counts jumps of all channels of a stretch."""

    def __init__(self, channels: int) -> None:
        self.channels = channels
        self._time: list[Floats] = []
        self._values: list[list[NDArray[np.floating]]] = [[] for _ in range(channels)]
        self._held = 0
        self._counts = np.zeros((channels, len(SCALES), 2), dtype=np.int64)
        self._sizes: list[list[list[float]]] = [[[] for _ in SCALES] for _ in range(channels)]

    def add(self, time_s: Floats, values: Sequence[NDArray[np.floating]]) -> None:
        """Take the readings of a cell, in order, to keep; what is not finite is missing."""
        self._time.append(time_s)
        for mine, column in zip(self._values, values, strict=True):
            mine.append(column)
        self._held += time_s.size
        if self._held >= WINDOW:
            self._look()

    def border(self) -> None:
        """What follows has no level in common with what came: a power-up, or another setting."""
        self._look()

    def _look(self) -> None:
        if not self._held:
            return
        time = np.concatenate(self._time)
        values = [np.concatenate(column).astype(np.float64, copy=False) for column in self._values]
        self._time, self._values, self._held = [], [[] for _ in range(self.channels)], 0
        finite = [np.isfinite(column) for column in values]
        known = [column if good.all() else column[good] for column, good in zip(values, finite, strict=True)]
        wide = [float(np.ptp(column)) if column.size else 0.0 for column in known]
        loud = [np.empty(0) for _ in values]
        for channel, column in enumerate(values):
            if self.channels > 1 and wide[channel] > NEIGHBOUR_V:
                far = finite[channel] & (np.abs(column - median(known[channel])) > NEIGHBOUR_V)
                if np.count_nonzero(far) <= RESTLESS * far.size:
                    loud[channel] = time[far]
        for channel, column in enumerate(values):
            if wide[channel] < LEAST_V:
                continue
            beside = [at for other, at in enumerate(loud) if other != channel and at.size]
            readings = column[_apart(time, finite[channel], np.concatenate(beside))] if beside else known[channel]
            if readings.size < 48 or float(np.ptp(readings)) < LEAST_V:
                continue
            for place, sizes in enumerate(sizes_by_scale(readings, partial(resolution_of, readings))):
                if sizes.size:
                    ups = int(np.count_nonzero(sizes > 0))
                    self._counts[channel, place] += (ups, sizes.size - ups)
                    room = MOST_SIZES - len(self._sizes[channel][place])
                    self._sizes[channel][place].extend(np.abs(sizes[:room]).tolist())

    def finish(self, channel: int) -> tuple[Ints, Floats]:
        """Jumps up and down, shape (scales, 2), and their middle size, shape (scales,), 0 where there is none."""
        self._look()
        middle = [float(median(np.array(sizes))) if sizes else 0.0 for sizes in self._sizes[channel]]
        return self._counts[channel], np.array(middle)


def _apart(time_s: Floats, keep: Bools, at_s: Floats) -> Bools:
    """Readings of those to keep that are not near any of some moments."""
    keep, at = keep.copy(), np.sort(at_s)
    new = np.flatnonzero(np.diff(at) > 2.0 * FARTHER_S) + 1
    begins = time_s.searchsorted(at[np.append(0, new)] - FARTHER_S)
    ends = time_s.searchsorted(at[np.append(new, at.size) - 1] + FARTHER_S)
    length = ends - begins
    near = np.repeat(ends - np.cumsum(length), length) + np.arange(length.sum())
    lower, upper = time_s[near] - NEIGHBOUR_S, time_s[near] + NEIGHBOUR_S
    keep[near] &= at.searchsorted(upper, side="right") <= at.searchsorted(lower)
    return keep
