"""Excursions and episodes: two thresholds open and close an excursion, a dead time joins excursions to episodes.

Exact samples are looked at only in blocks that can hold an excursion; the state is carried across block and batch
borders, so the result is the same as from one piece. An excursion begins at the first reading beyond the entering
threshold and ends at the first one back at or within the leaving threshold (voltage events after IEC 61000-4-30;
equality counts as the end). A reading over range counts as beyond any threshold.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flicker.logs.model import Log
from flicker.signals.blocks import RunBlocks

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Excursions:
    """Excursions of one channel in one run, as arrays of shape (excursions,).

    ``start_s`` to ``end_s`` in seconds since the run's first sample; ``peak_V`` the reading farthest from the baseline,
    ``deviation_V`` its signed distance from the baseline; ``cut`` where a gap or the end of the log cuts it;
    ``over_range`` where a reading was beyond the meter's range, or came so soon after that or after a change of range
    that it gives no peak: the peak is 'at least'.
    """

    start_s: Floats
    end_s: Floats
    peak_V: Floats
    deviation_V: Floats
    cut: Bools
    over_range: Bools

    @property
    def count(self) -> int:
        """Number of excursions."""
        return int(self.start_s.size)

    @property
    def duration_s(self) -> Floats:
        """Length of each."""
        return self.end_s - self.start_s

    @property
    def at_least(self) -> Bools:
        """Where size (and, if cut, length) is a lower limit."""
        return self.cut | self.over_range

    def select(self, keep: Bools) -> Excursions:
        """Return those marked in ``keep``."""
        return Excursions(*(getattr(self, name)[keep] for name in _FIELDS))


_FIELDS = ("start_s", "end_s", "peak_V", "deviation_V", "cut", "over_range")


class Scanner:
    """State machine of one channel, fed with stretches of samples in order.

    A reading within ``recover_s`` after one over range, after one that first passes ``upper_V`` (where the meter
    changes to a coarser range) or after a time in ``changes_s`` extends an excursion but gives no peak.
    """

    def __init__(
        self,
        baseline: Callable[[Floats], Floats],
        enter_V: float,
        leave_V: float,
        cadence_s: float,
        *,
        recover_s: float = 0.0,
        upper_V: float = np.inf,
        changes_s: Sequence[float] = (),
    ) -> None:
        self.baseline, self.enter_V, self.leave_V, self.cadence_s = baseline, enter_V, leave_V, cadence_s
        self.recover_s, self.upper_V = recover_s, upper_V
        self.changes_s = np.asarray(changes_s, dtype=np.float64)
        self._upset_s = -np.inf  # when the meter last changed range or was over it
        self._above = False
        self._open: list[float] | None = None  # start, end so far, deviation, peak, cut, over range
        self._last_s: float | None = None
        self._rows: list[tuple[float, ...]] = []

    def feed(self, time_s: Floats, values: Floats, *, begins: bool) -> None:
        """Take the next samples; ``begins`` where they follow a gap or the start of the run."""
        if begins:
            self.close(cut=True)
            self._last_s = None
        if time_s.size == 0:
            return
        with np.errstate(invalid="ignore"):
            away = values - self.baseline(time_s)
            size = np.abs(away)
            beyond = size > self.enter_V
            # 1 opens, 0 closes, -1 leaves the state as it is (between the thresholds, or missing).
            mark = np.where(beyond, 1, np.where(size <= self.leave_V, 0, -1)).astype(np.int8)
        unsure = self._unsure(time_s, values)
        if self._open is None and not beyond.any():
            self._last_s = float(time_s[-1])
            return
        known = np.flatnonzero(mark >= 0)
        state = np.zeros(mark.size, dtype=bool)
        place = np.searchsorted(known, np.arange(mark.size), side="right") - 1
        has = place >= 0
        state[has] = mark[known[place[has]]] == 1
        state[~has] = self._open is not None
        change = np.flatnonzero(np.diff(np.concatenate(([self._open is not None], state)).astype(np.int8)))
        at = 0
        for index in [*change.tolist(), mark.size]:
            if self._open is not None and (index > at):
                self._extend(away, values, unsure, at, index)
            if index == mark.size:
                break
            if state[index]:
                missing_before = index == 0 and begins
                self._open = [float(time_s[index]), 0.0, 0.0, np.nan, float(missing_before), 0.0]
            elif self._open is not None:
                self._open[1] = float(time_s[index])
                self._finish()
            at = index
        self._last_s = float(time_s[-1])

    def _unsure(self, time_s: Floats, values: Floats) -> Bools:
        """Mark the readings that give no peak; what upset the meter is remembered for the next samples."""
        if self.recover_s <= 0:
            return np.zeros(values.size, dtype=bool)
        with np.errstate(invalid="ignore"):
            above = np.abs(values) > self.upper_V
        upset = np.isinf(values) | (above & ~np.concatenate(([self._above], above[:-1])))
        moment = np.maximum.accumulate(np.where(upset, time_s, self._upset_s))
        if self.changes_s.size:
            place = np.searchsorted(self.changes_s, time_s, side="right") - 1
            moment = np.maximum(moment, np.where(place >= 0, self.changes_s[np.maximum(place, 0)], -np.inf))
        self._above = bool(above[-1])
        self._upset_s = float(moment[-1])
        return np.asarray(time_s - moment < self.recover_s)

    def _extend(self, away: Floats, values: Floats, unsure: Bools, lo: int, hi: int) -> None:
        assert self._open is not None
        part = away[lo:hi]
        finite = np.isfinite(part) & ~unsure[lo:hi]
        if np.isinf(part).any() or unsure[lo:hi].any():
            self._open[5] = 1.0
        if finite.any():
            best = lo + int(np.argmax(np.where(finite, np.abs(part), -1.0)))
            if abs(float(away[best])) > abs(self._open[2]):
                self._open[2], self._open[3] = float(away[best]), float(values[best])
            elif np.isnan(self._open[3]):
                self._open[3] = float(values[best])
        if self._open[5] and abs(self._open[2]) < self.enter_V:
            # No reading to trust passed the threshold: that it was passed is all that is known, and on which side.
            beyond = part[np.abs(part) > self.enter_V]
            if beyond.size:
                self._open[2] = float(np.sign(beyond[0])) * self.enter_V

    def close(self, *, cut: bool) -> None:
        """End an open excursion at the last sample seen (a gap or the end of the log follows)."""
        if self._open is not None and self._last_s is not None:
            self._open[1] = self._last_s + self.cadence_s
            self._open[4] = float(cut)
            self._finish()

    def _finish(self) -> None:
        assert self._open is not None
        self._rows.append(tuple(self._open))
        self._open = None

    def result(self) -> Excursions:
        """Return what was found."""
        table = np.array(self._rows, dtype=np.float64).reshape(-1, 6)
        peak = table[:, 3].copy()
        lost = np.isnan(peak)
        if lost.any():  # over range throughout: the threshold is all that is known
            peak[lost] = table[lost, 2]
        return Excursions(
            table[:, 0].copy(), table[:, 1].copy(), peak, table[:, 2].copy(), table[:, 4] > 0, table[:, 5] > 0
        )


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
    hot = np.zeros(blocks.row.size, dtype=bool)
    for channel, scanner in enumerate(scanners):
        if scanner is not None:
            hot |= hot_blocks(blocks, channel, scanner.baseline, scanner.leave_V)
    active = [channel for channel, scanner in enumerate(scanners) if scanner is not None]
    for lo, hi in stretches(hot, blocks.after_gap):
        begins_here = bool(blocks.after_gap[lo])
        first, last = int(blocks.row[lo]), int(blocks.row[hi - 1] + blocks.rows[hi - 1])
        begins = True
        for piece in log.rows(blocks.stretch, first, last, channels=active):
            time_s = piece.time_s - blocks.offset_s
            for channel, values in zip(active, piece.values, strict=True):
                scanner = scanners[channel]
                assert scanner is not None
                # After a cold block the state is closed, so a new stretch begins closed without being cut.
                if begins and not begins_here:
                    scanner.close(cut=False)
                scanner.feed(time_s, values, begins=begins and begins_here)
            begins = False
        ends_at_gap = hi == blocks.row.size or bool(blocks.after_gap[hi])
        for channel in active:
            scanner = scanners[channel]
            assert scanner is not None
            if ends_at_gap:
                scanner.close(cut=True)
            elif scanner._open is not None:
                # The next block is cold: its first reading closes the excursion.
                scanner._last_s = float(blocks.begin_s[hi]) - scanner.cadence_s
                scanner.close(cut=False)
    volts, flags = np.empty(0), np.empty(0, dtype=bool)
    empty = Excursions(volts, volts, volts, volts, flags, flags)
    return [scanner.result() if scanner is not None else empty for scanner in scanners]


def stretches(flag: Bools, border: Bools) -> list[tuple[int, int]]:
    """Half-open index ranges of consecutive True flags, cut where ``border`` is True."""
    index = np.flatnonzero(flag)
    if index.size == 0:
        return []
    breaks = np.flatnonzero((np.diff(index) > 1) | border[index[1:]]) + 1
    first = np.concatenate(([0], breaks))
    last = np.concatenate((breaks, [index.size])) - 1
    return [(int(index[a]), int(index[b]) + 1) for a, b in zip(first, last, strict=True)]


def episode_numbers(start_s: Floats, end_s: Floats, dead_time_s: float) -> NDArray[np.int64]:
    """Number of the episode of each excursion: a new one after a pause longer than the dead time."""
    if start_s.size == 0:
        return np.empty(0, dtype=np.int64)
    pause = start_s[1:] - np.maximum.accumulate(end_s)[:-1]
    return np.concatenate(([0], np.cumsum(pause > dead_time_s))).astype(np.int64)
