"""Excursions and episodes: two thresholds open and close an excursion, a dead time joins excursions to episodes.

State is carried across the borders of batches, so the result is the same as from one piece. An excursion begins at the
first reading beyond the entering threshold and ends at the first one back at or within the leaving threshold (voltage
events after IEC 61000-4-30; equality counts as the end). A reading over range counts as beyond any threshold.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from flicker.base.arrays import Bools, Floats, Ints

MICROSECOND = 1e-6  # a choice: rounding of clock times must not decide
NEAR_S = 1.0  # what reaches two leads at once does so within a second, or two samples; common practice, no source


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

    def select(self, keep: Bools) -> Excursions:
        """Return those marked in ``keep``."""
        if keep.all():
            return self
        return Excursions(*(getattr(self, name)[keep] for name in _FIELDS))

    def with_one(self, row: Sequence[float]) -> Excursions:
        """Return these and one more after them, its values in the order of the fields."""
        columns = (getattr(self, name) for name in _FIELDS)
        return Excursions(*(np.append(old, value).astype(old.dtype) for old, value in zip(columns, row, strict=True)))


def near_s(sample_interval_s: float) -> float:
    """How far apart two leads may log one event: two samples, and a second at least."""
    return max(NEAR_S, 2.0 * sample_interval_s)


_FIELDS = ("start_s", "end_s", "peak_V", "deviation_V", "cut", "over_range")


_START, _END, _DEVIATION, _PEAK, _CUT, _OVER, _SIDE = range(7)
_COLUMNS = 7  # by definition: the fields of a row


class _Samples(NamedTuple):
    """Samples in order, how far each is from the baseline, and which of them are on their way back from over range."""

    time_s: Floats
    values: Floats
    away: Floats
    unsure: Bools | None


class Scanner:
    """State machine of one channel, fed with stretches of samples in order.

    A reading within ``recover_s`` after one over range, after one that first passes ``upper_V`` (where the meter
    changes to a coarser range) or after a time in ``changes_s`` extends an excursion but gives no peak. How the samples
    are cut into pieces never shows in the result.
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
        self._open: Floats | None = None  # a row of the table, see _START and its kin
        self._last_s: float | None = None
        self._done: list[Floats] = []

    @property
    def opened(self) -> tuple[float, ...] | None:
        """Start, end so far, deviation, peak, cut and over range of the excursion that lasts, or None."""
        return None if self._open is None else tuple(self._known(self._open[None, :])[0, :_SIDE].tolist())

    @property
    def found(self) -> bool:
        """Whether an excursion has ended since `take` was last called."""
        return bool(self._done)

    def take(self) -> list[tuple[float, ...]]:
        """Hand over the excursions that have ended, as `opened` describes them, and forget them."""
        rows = [tuple(row) for table in self._done for row in self._known(table)[:, :_SIDE].tolist()]
        self._done.clear()
        return rows

    def feed(self, time_s: Floats, values: Floats, *, begins: bool) -> None:
        """Take the next samples; ``begins`` where they follow a gap or the start of the run."""
        fresh = np.zeros(int(begins), dtype=np.int64)
        self.feed_parts(time_s, values, fresh, np.full(fresh.size, np.nan), np.ones(fresh.size, dtype=bool))

    def feed_parts(self, time_s: Floats, values: Floats, fresh: Ints, back_s: Floats, at_gap: Bools) -> None:
        """Take the next samples where calm ones are left out between parts.

        Parameters
        ----------
        time_s, values : array, shape (n,)
            Samples in order.
        fresh : array of int, shape (parts,)
            Ascending places at which samples do not follow the one before them.
        back_s : array, shape (parts,)
            For each, when the first of the samples left out before it came, which lay within the leaving threshold; NaN
            where the samples before it ended at a gap.
        at_gap : array of bool, shape (parts,)
            Whether a gap, or the start of the run, is right before the part: an excursion from there on is cut.
        """
        if time_s.size == 0:
            return
        if fresh.size and fresh[0] == 0:
            self.close(cut=bool(np.isnan(back_s[0])), back_s=float(back_s[0]))
        with np.errstate(invalid="ignore"):
            away = values - self.baseline(time_s)
            size = np.abs(away)
            place = np.flatnonzero(~(size <= self.leave_V))  # beyond, between the thresholds, or missing
            beyond = size[place] > self.enter_V
        samples = _Samples(time_s, values, away, self._unsure(time_s, values, fresh))
        carried = self._open is not None and place.size > 0 and int(place[0]) == 0
        if self._open is not None and not carried:
            self._open[_END] = time_s[0]
            self._finish()
        if beyond.any() or carried:
            self._runs(samples, place, beyond, fresh, back_s, at_gap)
        self._last_s = float(time_s[-1])

    def _runs(
        self, samples: _Samples, place: Ints, beyond: Bools, fresh: Ints, back_s: Floats, at_gap: Bools
    ) -> None:
        """Find the excursions in samples of which those at ``place`` do not close one."""
        time_s, away = samples.time_s, samples.away
        n = time_s.size
        is_fresh = np.zeros(n + 1, dtype=bool)
        is_fresh[fresh] = True
        begins = np.flatnonzero(np.concatenate(([True], (np.diff(place) > 1) | is_fresh[place[1:]])))
        ends = np.append(begins[1:], place.size)
        opens = np.minimum.reduceat(np.where(beyond, np.arange(place.size), place.size), begins)
        if self._open is not None:
            opens[0] = 0
        keep = opens < ends
        opens, ends = opens[keep], ends[keep]
        start, stop = place[opens], place[ends - 1] + 1
        table = np.zeros((start.size, _COLUMNS))
        table[:, _START] = time_s[start]
        table[:, _CUT] = np.isin(start, fresh[at_gap])
        self._gather(table, samples, start, stop)
        table[:, _SIDE] = np.sign(away[start])
        if self._open is not None:
            table[0] = self._joined(self._open, table[0])
            self._open = None
        inside = stop < n
        table[inside, _END] = time_s[stop[inside]]
        broken = np.flatnonzero(inside & is_fresh[stop])
        if broken.size:
            back = back_s[np.searchsorted(fresh, stop[broken])]
            gap = np.isnan(back)
            table[broken, _END] = np.where(gap, time_s[stop[broken] - 1] + self.cadence_s, back)
            table[broken[gap], _CUT] = 1.0
        if not inside[-1]:
            self._open = table[-1].copy()
            table = table[:-1]
        if table.shape[0]:
            self._done.append(table)

    def _gather(self, table: Floats, samples: _Samples, start: Ints, stop: Ints) -> None:
        """Fill in deviation, peak and over range of the excursions found; NaN without a sure reading."""
        away, unsure = samples.away, samples.unsure
        length = stop - start
        offset = np.concatenate(([0], np.cumsum(length)[:-1]))
        place = np.repeat(start - offset, length) + np.arange(int(length.sum()))
        part = away[place]
        sure = np.isfinite(part)
        over = np.isinf(part)
        if unsure is not None:
            sure &= ~unsure[place]
            over |= unsure[place]
        score = np.where(sure, np.abs(part), -1.0)
        top = np.maximum.reduceat(score, offset)
        best = np.flatnonzero(score == np.repeat(top, length))
        best = place[best[np.searchsorted(best, offset)]]
        known = top >= 0
        table[:, _DEVIATION] = np.where(known, away[best], np.nan)
        table[:, _PEAK] = np.where(known, samples.values[best], np.nan)
        table[:, _OVER] = np.logical_or.reduceat(over, offset)

    @staticmethod
    def _joined(before: Floats, after: Floats) -> Floats:
        """One excursion of which the last samples seen give ``after``."""
        row = before.copy()
        if not abs(before[_DEVIATION]) >= abs(after[_DEVIATION]) and not np.isnan(after[_DEVIATION]):
            row[_DEVIATION], row[_PEAK] = after[_DEVIATION], after[_PEAK]
        row[_OVER] = max(before[_OVER], after[_OVER])
        return row

    def _unsure(self, time_s: Floats, values: Floats, fresh: Ints) -> Bools | None:
        """Mark the readings that give no peak (None: no reading); what upset the meter is remembered."""
        if self.recover_s <= 0:
            return None
        if np.isfinite(self.upper_V):
            with np.errstate(invalid="ignore"):
                above = np.abs(values) > self.upper_V
            before = np.concatenate(([self._above], above[:-1]))
            before[fresh] = False
            self._above = bool(above[-1])
            upset = np.flatnonzero(np.isinf(values) | (above & ~before))
        else:
            upset = np.flatnonzero(np.isinf(values))
        if not upset.size and not self.changes_s.size and time_s[0] - self._upset_s >= self.recover_s:
            return None
        moments = np.concatenate(([self._upset_s], time_s[upset]))
        self._upset_s = float(moments[-1])
        last = moments[np.searchsorted(upset, np.arange(time_s.size), side="right")]
        if self.changes_s.size:
            place = np.searchsorted(self.changes_s, time_s, side="right") - 1
            last = np.maximum(last, np.where(place >= 0, self.changes_s[np.maximum(place, 0)], -np.inf))
        return np.asarray(time_s - last < self.recover_s)

    def close(self, *, cut: bool, back_s: float = np.nan) -> None:
        """End an open excursion at ``back_s``, or at the last sample seen (a gap or the end of the log follows)."""
        if self._open is not None and self._last_s is not None:
            self._open[_END] = self._last_s + self.cadence_s if np.isnan(back_s) else back_s
            self._open[_CUT] = max(self._open[_CUT], float(cut))
            self._finish()

    def _finish(self) -> None:
        assert self._open is not None
        self._done.append(self._open[None, :])
        self._open = None

    def _known(self, table: Floats) -> Floats:
        """Where no sure reading passes the threshold, that it was passed, and on which side, is all that is known."""
        low = np.flatnonzero(~(np.abs(table[:, _DEVIATION]) >= self.enter_V))
        if not low.size:
            return table
        table = table.copy()
        table[low, _DEVIATION] = table[low, _SIDE] * self.enter_V
        lost = low[np.isnan(table[low, _PEAK])]
        table[lost, _PEAK] = table[lost, _DEVIATION]
        return table

    def result(self) -> Excursions:
        """Hand over what was found, once."""
        tables = [self._known(table) for table in self._done] or [np.empty((0, _COLUMNS))]
        self._done = []
        start, end, deviation, peak, cut, over = (
            np.concatenate([table[:, column] for table in tables]) for column in range(_SIDE)
        )
        return Excursions(
            start_s=start, end_s=end, peak_V=peak, deviation_V=deviation, cut=cut > 0, over_range=over > 0
        )


def episode_numbers(start_s: Floats, end_s: Floats, dead_time_s: float) -> Ints:
    """Number of the episode of each excursion: a new one after a pause longer than the dead time.

    A pause that only rounding of the clock makes longer is not: times keep microseconds.
    """
    if start_s.size == 0:
        return np.empty(0, dtype=np.int64)
    pause = start_s[1:] - np.maximum.accumulate(end_s)[:-1]
    return np.concatenate(([0], np.cumsum(pause > dead_time_s + MICROSECOND))).astype(np.int64)
