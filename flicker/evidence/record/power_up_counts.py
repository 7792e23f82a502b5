"""What each power-up of a channel counted, and what to expect of it were all alike: the input of every claim over them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from flicker.base.arrays import Bools, Floats, Ints
from flicker.base.units import HOUR
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.signals.guard.figures import APART_S
from flicker.stats.power_ups import expected_counts

# Share of occupied windows from which a counter saturates: a 10 s dead time counts 900 per hour as 74, 1,800 as 12
# (by definition of a paralysable counter); the share still rises.
OCCUPIED_LEADS = 0.10
HEAT_S = 2.0 * HOUR  # common practice, no source: two hours on, a unit is as warm as it gets


class PowerUpCounts(NamedTuple):
    """Counts of the power-ups with observed time, in order; arrays of shape (power-ups,).

    ``episodes`` and ``observed_s`` are all there is; ``counts`` and ``expected`` what can be compared (times since
    power-up that two or more reached). Where the counter saturates, ``counts`` are occupied windows at their rate.
    """

    episodes: Ints
    observed_s: Floats
    counts: Ints
    expected: Floats
    by_share: bool

    @property
    def power_ups(self) -> int:
        """Power-ups with observed time."""
        return int(self.observed_s.size)


def counts_of(record: ChannelRecord, after: Bools | None = None) -> PowerUpCounts:
    """Count a channel's own episodes by power-up; with ``after`` at the times since power-up that both sides reached."""
    times, ends = record.per_cycle()
    kept = [(np.sort(np.minimum(t, e)), e) for t, e in zip(times, ends, strict=True) if e > 0]
    episodes = np.array([t.size for t, _ in kept], dtype=np.int64)
    observed = np.array([e for _, e in kept], dtype=np.float64)
    if not kept:
        return PowerUpCounts(episodes, observed, episodes, observed, False)
    windows = saturated([record])
    if windows is not None:
        held = expected_counts(windows.begins, windows.ends, both=after)
        counts = np.rint(held.counts * windows.rise).astype(np.int64)
        return PowerUpCounts(episodes, observed, counts, held.expected, True)
    held = expected_counts([t for t, _ in kept], [e for _, e in kept], both=after)
    return PowerUpCounts(episodes, observed, held.counts, held.expected, False)


class OccupiedWindows(NamedTuple):
    """Occupied windows of power-ups whose counter saturates: begins, observed seconds, and counts per window."""

    begins: tuple[Floats, ...]
    ends: tuple[float, ...]
    rise: Floats


def saturated(records: Sequence[ChannelRecord]) -> OccupiedWindows | None:
    """Occupied windows of all power-ups of these records in order, where the counter saturates; else None.

    ``rise``: what a window of each power-up counts, so that counts run with the rate (`rate_counts`).
    """
    begins: list[Floats] = []
    ends: list[float] = []
    cells: list[int] = []
    for record in records:
        cell_s = record.dead_time_s or APART_S
        marks, number = _occupied(record, cell_s)
        begins += marks
        cells += number.tolist()
        ends += (number * cell_s).tolist()
    full = np.array([part.size for part in begins], dtype=np.int64)
    if not cells or min(cells) == 0 or full.sum() <= OCCUPIED_LEADS * sum(cells):
        return None
    rise = rate_counts(full, np.array(cells, dtype=np.int64)) / np.maximum(full, 1)
    return OccupiedWindows(tuple(begins), tuple(ends), rise)


def rate_counts(occupied: Ints, cells: Ints) -> Ints:
    """Occupied cells as counts whose mean rises with the rate: -log(1 - share) of a cell, half a cell always left free."""
    share = np.minimum(occupied / np.maximum(cells, 1), 1.0 - 0.5 / np.maximum(cells, 1))
    return np.rint(-np.log1p(-share) * cells).astype(np.int64)


def _occupied(record: ChannelRecord, cell_s: float) -> tuple[list[Floats], Ints]:
    """Begins of the occupied cells on each power-up's observed clock, and how many cells it has."""
    begins, cells = [], []
    for places in record.power_ups:
        marks, spent = [], 0.0
        for trace in (record.traces[place] for place in places):
            first, last = (trace.observed_clock(at) for at in (trace.excursions.start_s, trace.excursions.end_s))
            marks.append(spent + np.column_stack((first, last))[last > first])
            spent += trace.observed_s
        if spent <= 0:
            continue
        number = int(spent / cell_s)
        step = np.zeros(number + 1, dtype=np.int64)
        if number:
            pair = np.concatenate(marks)
            np.add.at(step, np.minimum((pair[:, 0] / cell_s).astype(np.int64), number), 1)
            np.add.at(step, np.minimum((pair[:, 1] / cell_s).astype(np.int64) + 1, number), -1)
        begins.append(np.flatnonzero(np.cumsum(step)[:-1] > 0).astype(np.float64) * cell_s)
        cells.append(number)
    return begins, np.array(cells, dtype=np.int64)
