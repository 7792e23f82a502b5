"""When was the meter looking? Raw time stamps in; repaired time, stretches and gaps out.

Rules, all of them looking back only, so that no result depends on how the rows arrive:

- A step longer than ``reach_s`` (three usual steps, more where the logger's rhythm is uneven) is a gap, one longer than
  the run gap a new stretch.
- Eight steps in a row of about one length, at least half as long again (or as short) as the usual step, are a new usual
  step; gaps seen on the way there are taken back.
- A jump back that samples go on from at their pace once an hour, half a day, a day or a counter's span is added: the
  clock turned, nothing was lost. A jump forward by an hour is a turned clock only on a whole hour of the night,
  in local time.
- Small steps back are levelled; a clock set back by up to a minute is taken along; further back, a new stretch begins.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flicker.base.arrays import Floats, Ints
from flicker.base.formats import digits_text
from flicker.logs.clock_repairs import Repairs
from flicker.logs.stretches import Cut, Stretch

RUN_GAP_S = 600.0  # a pause longer than this begins a new run (contract of the command line)
_PART = 0.05  # of the time, from which a pace counts as one of the log: a choice
_STREAK = 8  # steps of one length that make a new usual step
_APART = 1.5  # how far a step differs from the usual one to count as another length
_LEVEL_STEPS = 5.0  # steps back by up to so many usual steps are stamps out of order
_SET_BACK_S = 60.0  # a clock corrected by up to this is taken along
_TURNS = (
    (3600.0, "by an hour (daylight saving)"),
    (86400.0, "by a day (a clock past midnight)"),
    (43200.0, "by half a day (a clock past noon or midnight)"),
    (2.0**32 / 1e6, "to the start of its counter (32 bits of microseconds)"),
    (2.0**32 / 1e3, "to the start of its counter (32 bits of milliseconds)"),
)
_TILE = 1 << 16  # rows whose steps are looked at in one go: they stay in the cache; a choice for speed
_NIGHT_H = 4  # clocks are changed between midnight and four; common practice, no source


class Timekeeper:
    """Follows the time column batch by batch; the result does not depend on how the batches are cut.

    Parameters
    ----------
    cadence_s : float
        The usual step at the start.
    run_gap_s : float
        A longer pause begins a new stretch.
    reach_s : float, optional
        The longest step that is no gap; three usual steps by default.
    wall_s : float, optional
        Seconds from midnight to the first sample on a local clock, where the stamps are those of one.
    """

    def __init__(
        self,
        cadence_s: float,
        run_gap_s: float = RUN_GAP_S,
        *,
        reach_s: float | None = None,
        wall_s: float | None = None,
    ) -> None:
        self.cadence_s = cadence_s
        self.run_gap_s = run_gap_s
        self.reach_s = 3.0 * cadence_s if reach_s is None else reach_s
        self.wall_s = wall_s
        self.backward = 0
        self._stretches: list[Stretch] = []
        self.rows = 0  # fed so far
        self._raw = 0.0  # last raw stamp,
        self._time = 0.0  # and the last repaired one
        self._first_raw = 0.0
        self._run: Any = None
        self._recent = np.empty(0)  # the last steps, repaired
        self.clock = Repairs()
        self._shifts = self.clock.shifts  # the same list
        self._top = -np.inf  # latest repaired time when a stamp last came too early
        self._back_s = 0.0  # by which clocks went back at the beginning of a run, all together
        self._untimed: list[int] = []

    # ------------------------------------------------------------ feeding

    def feed(self, raw_s: Floats, run: NDArray[Any] | None = None) -> Iterator[Cut]:
        """Take the next rows and hand back the cuts."""
        if raw_s.size == 0:
            return
        if run is None and self._stretches and self._time == self._raw + self._shifts[-1] and self._even(raw_s):
            yield self._undisturbed(raw_s)
            return
        bad = np.flatnonzero(~np.isfinite(raw_s))
        raw_s = self._filled(raw_s, bad)
        begins = not self._stretches
        if begins:
            self._first_raw = self._raw = float(raw_s[0])
            self._time = self._raw
        step = np.diff(raw_s, prepend=self._raw)
        turned = self._run_turns(run, begins)
        borders: dict[int, bool] = {}  # place in the batch: whether a gap (True) or a new stretch (False) is before it
        if begins:
            self._begin(0, step, raw_s, borders)
        shift_before = len(self._shifts)
        base_shift = self._shifts[-1]
        self._walk(step, raw_s, turned, borders)
        time = raw_s + base_shift
        for k in range(shift_before, len(self._shifts)):
            lo = self.clock.shift_rows[k] - self.rows
            time[lo:] = raw_s[lo:] + self._shifts[k]
        time = self._level(time)
        if bad.size:
            self._untimed += (self.rows + bad).tolist()
            self.clock.levelled.append((self.rows + bad, time[bad]))
        yield from self._cuts(time, borders)
        self._raw, self._time = float(raw_s[-1]), float(time[-1])
        self._recent = np.concatenate((self._recent, step))[-(_STREAK - 1) :]
        self.rows += raw_s.size

    def _even(self, raw_s: Floats) -> bool:
        """Do all rows follow at the usual pace? False also where a stamp is missing."""
        least, most = self.cadence_s / _APART, min(self.cadence_s * _APART, self.reach_s)
        if not least < raw_s[0] - self._raw <= most:
            return False
        step = np.empty(min(_TILE, raw_s.size))
        with np.errstate(invalid="ignore"):
            for at in range(0, raw_s.size - 1, _TILE):
                later = raw_s[at + 1 : at + 1 + _TILE]
                part = np.subtract(later, raw_s[at : at + later.size], out=step[: later.size])
                if not (np.minimum.reduce(part) > least and np.maximum.reduce(part) <= most):
                    return False
        return True

    def _undisturbed(self, raw_s: Floats) -> Cut:
        """Take rows that all follow at the usual pace."""
        stretch, shift, size = self._stretches[-1], self._shifts[-1], raw_s.size
        time = raw_s + shift if shift else raw_s
        stretch.paces[self.cadence_s] = stretch.paces.get(self.cadence_s, 0) + size
        stretch.last = self.rows + size
        stretch.duration_s = float(time[-1]) - stretch.offset_s
        step = np.diff(raw_s[-_STREAK:], prepend=self._raw if size < _STREAK else [])
        self._raw, self._time = float(raw_s[-1]), float(time[-1])
        self._recent = np.concatenate((self._recent, step))[-(_STREAK - 1) :]
        self.rows += size
        since = time - stretch.offset_s if stretch.offset_s else time
        return Cut(
            run=len(self._stretches) - 1, lo=0, hi=size, time_s=since, after_gap=False, offset_s=stretch.offset_s
        )

    def _filled(self, raw_s: Floats, bad: Ints) -> Floats:
        """Give stamps that are missing the one before."""
        if not bad.size:
            return raw_s
        known = np.flatnonzero(np.isfinite(raw_s))
        lead = self._raw if self._stretches else float(raw_s[known[0]]) if known.size else 0.0
        place = np.maximum.accumulate(np.where(np.isfinite(raw_s), np.arange(1, raw_s.size + 1), 0))
        return np.concatenate(([lead], raw_s))[place]

    def _run_turns(self, run: NDArray[Any] | None, begins: bool) -> Ints:
        """Rows at which the run column's value changes."""
        if run is None:
            return np.empty(0, dtype=np.int64)
        turns = np.flatnonzero(run[1:] != run[:-1]) + 1
        if not begins and run[0] != self._run:
            turns = np.concatenate(([0], turns))
        self._run = run[-1]
        return turns

    def _walk(self, step: Floats, raw_s: Floats, turned: Ints, borders: dict[int, bool]) -> None:
        """Look at the rows at which something happens, in order; again from where the usual step changes."""
        place = 0
        while place < step.size:
            ahead = step[place:]
            usual = self.cadence_s
            events = turned[turned >= place]
            low, high = float(ahead.min()), float(ahead.max())
            if low <= usual / _APART or high > min(usual * _APART, self.reach_s):
                odd = np.flatnonzero((ahead < 0) | (ahead > self.reach_s)) + place
                events = np.union1d(np.union1d(events, odd), self._streaks(step, place))
            begun, self_paced = place, self.cadence_s
            turns = set(turned.tolist())
            for event in events.tolist():
                self._handle(event, step, raw_s, event in turns, borders)
                if self.cadence_s != self_paced:
                    place = event + 1
                    break
            else:
                place = step.size
            self._stretch_paces(begun, place, self_paced, step, borders)

    def _streaks(self, step: Floats, place: int) -> Ints:
        """Rows, from ``place`` on, that end eight steps longer, or eight shorter, than the usual one."""
        lead = np.concatenate((self._recent, step[:place]))[-(_STREAK - 1) :]
        steps = np.concatenate((lead, step[place:]))
        found = np.zeros(steps.size, dtype=bool)
        for flags in (steps > _APART * self.cadence_s, (steps > 0) & (steps < self.cadence_s / _APART)):
            count = np.cumsum(np.concatenate(([0], flags)))
            found[_STREAK - 1 :] |= (count[_STREAK:] - count[:-_STREAK]) == _STREAK
        return np.flatnonzero(found[lead.size :]) + place

    def _stretch_paces(self, lo: int, hi: int, pace: float, step: Floats, borders: dict[int, bool]) -> None:
        """Count, per stretch, the rows at a pace, uneven steps and equal stamps."""
        opened = [k for k, gap in borders.items() if not gap and lo < k < hi]
        edges = [lo, *opened, hi]
        number = len(self._stretches) - 1 - len(opened)
        for a, b in pairwise(edges):
            stretch = self._stretches[number]
            part = step[a:b]
            stretch.paces[pace] = stretch.paces.get(pace, 0) + b - a
            if part.size and (part.min() <= pace / _APART or part.max() > pace * _APART):
                stretch.equal += int(np.count_nonzero(part == 0))
                uneven = ((part > _APART * pace) & (part <= self.reach_s)) | ((part > 0) & (part < pace / _APART))
                stretch.uneven += int(np.count_nonzero(uneven))
            number += 1

    def _handle(self, at: int, step: Floats, raw_s: Floats, turned: bool, borders: dict[int, bool]) -> None:
        """Judge one row at which something happens: a new run, a step back, a gap, a new pace."""
        size = float(step[at])
        row = self.rows + at
        if at in borders:
            return
        if turned:
            if size < 0 or raw_s[at] + self._shifts[-1] < self._top:
                self._back_s += self._go_on(row, float(raw_s[at]), size)
            self._begin(at, step, raw_s, borders)
            return
        if size < 0:
            self._back(at, size, step, raw_s, borders)
            return
        if size > self.reach_s:
            now = float(raw_s[at]) + self._shifts[-1]
            size = min(size, now - self._top)  # after a stamp too early, from where the others had come to
        if size > self.reach_s:
            if self._spring(size, raw_s[at] - size):
                self._shift(row, -3600.0)
                step[at] = size - 3600.0
                self._tell(
                    raw_s[at], "The clock jumps forward by an hour (daylight saving) at {at}; no gap was made of it."
                )
            elif size > max(self.run_gap_s, self.reach_s):
                self._begin(at, step, raw_s, borders)
                return
            else:
                stretch = self._stretches[-1]
                now -= stretch.offset_s
                stretch.gaps.append((now - size + self.cadence_s, now))
                stretch.gap_rows.append(row)
                borders[at] = True
        self._pace(at, step, raw_s)

    def _pace(self, at: int, step: Floats, raw_s: Floats) -> None:
        """Take on a new usual step where the last eight agree on one."""
        last = np.concatenate((self._recent, step[: at + 1]))[-_STREAK:]
        if last.size < _STREAK or not (
            np.all(last > _APART * self.cadence_s) or (np.all(last > 0) and np.all(last < self.cadence_s / _APART))
        ):
            return
        new = float(f"{np.median(last):.6g}")
        if np.any(last > _APART * new) or np.any(last < new / _APART):
            return
        stretch = self._stretches[-1]
        begun_s = max(float(raw_s[at]) + self._shifts[-1] - float(last.sum()) - stretch.offset_s, 0.0)
        if not stretch.pace_changes:
            stretch.pace_changes.append((0.0, self.cadence_s))
        stretch.pace_changes.append((begun_s, new))
        since = self.rows + at - _STREAK
        while stretch.gap_rows and stretch.gap_rows[-1] > since:
            stretch.gap_rows.pop()
            stretch.gaps.pop()
        self._tell(
            raw_s[at],
            f"The sampling interval changes from {digits_text(self.cadence_s, 4)} to {digits_text(new, 4)} s at {{at}}.",
        )
        self.cadence_s, self.reach_s = new, 3.0 * new

    def _back(self, at: int, size: float, step: Floats, raw_s: Floats, borders: dict[int, bool]) -> None:
        """Judge a step back: stamps out of order, a clock that turned or was set, or a run that begins anew."""
        row = self.rows + at
        self.backward += 1
        self._top = max(self._top, float(raw_s[at]) - size + self._shifts[-1])
        if -size <= _LEVEL_STEPS * self.cadence_s:
            stretch = self._stretches[-1]
            stretch.early += 1
            stretch.early_by_s = max(stretch.early_by_s, -size)
            return
        restarted = self.wall_s is None and raw_s[at] <= self._first_raw + self.reach_s
        for jump, words in _TURNS:
            if jump in (3600.0, 43200.0, 86400.0) and restarted:
                continue  # seconds that begin anew after just an hour or a day
            if 0 <= size + jump <= self.reach_s:
                self._shift(row, jump)
                step[at] = size + jump
                self._tell(
                    raw_s[at], f"The clock jumps back {words} at {{at}}; samples go on at their pace, all were kept."
                )
                return
        moved_s = self._go_on(row, float(raw_s[at]), size)
        if -size > _SET_BACK_S or restarted:
            self._back_s += moved_s
            self._begin(at, step, raw_s, borders)
            self._stretches[-1].back_from_s = float(raw_s[at]) - size
            return
        step[at] = self.cadence_s
        self._tell(
            raw_s[at],
            f"The clock is set back by {digits_text(-size, 4)} s at {{at}}; samples were kept one interval apart.",
        )

    def _spring(self, size: float, before: float) -> bool:
        """Whether a step forward is a clock put forward: an hour and one usual step, on a whole hour of the night."""
        if self.wall_s is None or abs(size - 3600.0 - self.cadence_s) > 0.5 * self.cadence_s:
            return False
        wall = (self.wall_s + before) % 86400.0
        return wall < _NIGHT_H * 3600.0 and -wall % 3600.0 <= self.reach_s

    def _go_on(self, row: int, raw: float, size: float) -> float:
        """Let time go on one usual step after the latest so far; the seconds by which the stamps are moved for it."""
        now = raw + self._shifts[-1]
        moved_s = max(self._top, now - size) + self.cadence_s - now
        self._shift(row, moved_s)
        return moved_s

    def _shift(self, row: int, by: float) -> None:
        self.clock.shift_rows.append(row)
        self._shifts.append(self._shifts[-1] + by)

    def _begin(self, at: int, step: Floats, raw_s: Floats, borders: dict[int, bool]) -> None:
        """Begin a new stretch at a row."""
        row = self.rows + at
        self._stretches.append(Stretch(row, row, float(raw_s[at]) + self._shifts[-1], self._back_s))
        borders[at] = False
        step[at] = self.cadence_s

    def _tell(self, raw: float, words: str) -> None:
        stretch = self._stretches[-1]
        seconds = float(raw) + self._shifts[-1] - stretch.offset_s
        stretch.told.append(words.format(at=f"{digits_text(seconds, 6)} s"))

    def _level(self, time: Floats) -> Floats:
        """Make times never fall; rows moved are remembered for `repair`."""
        if time[0] >= self._time and (time.size < 2 or bool((time[1:] >= time[:-1]).all())):
            return time
        top = np.maximum.accumulate(np.maximum(time, self._time))
        moved = np.flatnonzero(top > time)
        self.clock.levelled.append((self.rows + moved, top[moved]))
        return top

    def _cuts(self, time: Floats, borders: dict[int, bool]) -> Iterator[Cut]:
        """Hand out the rows between borders, with times since the start of their run."""
        opened = sum(not gap for gap in borders.values())
        number = len(self._stretches) - 1 - opened
        edges = sorted({0, *borders})
        for lo, hi in zip(edges, [*edges[1:], time.size], strict=True):
            after_gap = borders.get(lo, False)
            if lo in borders and not after_gap:
                number += 1
                self._stretches[number].offset_s = float(time[lo])
            stretch = self._stretches[number]
            stretch.last = self.rows + hi
            stretch.duration_s = float(time[hi - 1]) - stretch.offset_s
            yield Cut(
                run=number,
                lo=lo,
                hi=hi,
                time_s=time[lo:hi] - stretch.offset_s,
                after_gap=after_gap,
                offset_s=stretch.offset_s,
            )

    # ------------------------------------------------------------ afterwards

    def stretches(self) -> list[Stretch]:
        """Return the runs found so far."""
        for stretch in self._stretches:
            if stretch.paces:
                stretch.sample_interval_s = max(stretch.paces, key=lambda pace: stretch.paces[pace])
                whole = sum(pace * rows for pace, rows in stretch.paces.items())
                stretch.paces_s = [pace for pace, rows in stretch.paces.items() if pace * rows >= _PART * whole]
            untimed = sum(stretch.first <= row < stretch.last for row in self._untimed)
            stretch.notes = stretch.in_words(untimed)
        return self._stretches


def cadence_of(time_s: Floats) -> tuple[float, float]:
    """Return the usual step of the head of a log, and the longest step that is no gap.

    The second is three usual steps, or one and a half of the step that 95 of 100 stay below, where the logger's
    own rhythm is uneven.
    """
    steps = np.diff(time_s[np.isfinite(time_s)])
    steps = steps[steps > 0]
    if not steps.size:
        return 1.0, 3.0
    usual = float(np.median(steps))
    even = steps[np.abs(steps - usual) <= 0.5 * usual]
    usual = float(f"{even.mean():.9g}") if even.size else usual  # steps of 0.1 s are not 0.1 in binary
    return usual, max(3.0 * usual, 1.5 * float(np.quantile(steps, 0.95)) if steps.size >= 40 else 0.0)
