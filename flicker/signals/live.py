"""One channel as it happens: start, baseline, noise, observed time, excursions and episodes, from the past alone.

Samples in, closed episodes and observed seconds out. Nothing booked is ever revised: an episode is booked once the dead
time has passed after it (or once it has lasted too long to be one), and observed time once the last digit has moved
again, so that a sleeping meter earns none. The baseline is the middle of past cells and stands still during an
excursion. Memory does not grow.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.limits import Limits
from flicker.base.middle import median
from flicker.signals.draft import LEAVE_SHARE, SIGMAS
from flicker.signals.excursions import MICROSECOND, Scanner
from flicker.signals.order_statistics import scatter
from flicker.signals.ranges import COUNTS

CELL_S = 10.0  # as in the baseline of a whole log, a choice
FEWEST = 8  # samples in a cell; chosen, not measured
CELLS = 60  # past cells whose middle is the baseline; chosen, not measured
SETTLED_CELLS = 3  # that agree within the settling band: chosen, not measured
REPEATS = 10.0  # times its own longest repeat that a reading may stand still; chosen, not measured
REPEAT_S = 60.0  # and never fewer seconds than this; chosen, not measured
REPEAT_SAMPLES = 50  # and never fewer readings: chosen, not measured
FIRST = 3  # readings of a run that must be as those before, for it to go on with their level: chosen, not measured
MOVES = 20  # times a digit must have moved before its standing still says anything; chosen, not measured


@dataclass(frozen=True, slots=True)
class LiveEpisode:
    """One booked episode; ``at_h`` observed seconds of the channel when it began, ``long`` where it did not end."""

    run: int
    start_s: float
    end_s: float
    deviation_V: float
    peak_V: float
    excursions: int
    clock_s: float
    long: bool
    over_range: bool = False  # the deviation is then 'at least'


def _flat(level: float) -> Callable[[Floats], Floats]:
    def baseline(time_s: Floats) -> Floats:
        return np.full(np.shape(time_s), level)

    return baseline


class LiveChannel:
    """Follows one channel; feed it stretches of samples without a gap inside.

    Attributes
    ----------
    observed_s : float
        Seconds booked as observed.
    level_V, sigma_V, enter_V : float
        Baseline, robust sigma and entering threshold of the moment.
    settled : bool
        Whether the start of the run is over.
    alive : bool
        False while the reading stands still for far longer than this channel's own readings ever did.
    in_excursion_s : float
        Seconds spent in closed excursions.
    """

    def __init__(self, limits: Limits, *, cadence_s: float) -> None:
        self.limits = limits
        self.cadence_s = cadence_s
        self.observed_s = 0.0
        self.in_excursion_s = 0.0
        self.level_V = math.nan
        self.sigma_V = 0.0
        self.resolution_V = 0.0
        self.enter_V = limits.excursion_V
        self.settled = False
        self.alive = True
        self.run = -1
        self.last_V = math.nan
        self.last_s = 0.0
        self._cells: deque[float] = deque(maxlen=CELLS)
        self._spreads: deque[float] = deque(maxlen=CELLS)
        self._early: deque[float] = deque(maxlen=SETTLED_CELLS)
        self._scanner = Scanner(_flat(0.0), self.enter_V, LEAVE_SHARE * self.enter_V, cadence_s)
        self._cell: list[Floats] = []
        self._cell_begin = 0.0
        self._cell_hot = False
        self._pending_s = 0.0
        self._still = 0
        self._longest_still = 0
        self._still_value = math.nan
        self._episode: list[tuple[float, ...]] = []
        self._episode_begin_clock = 0.0
        self._long_booked = False
        self._away: deque[float] = deque(maxlen=2 * CELLS)
        self._joined = 0
        self._moves = 0
        self._goes_on = False
        self._first: list[float] | None = None  # readings of a run that may go on with the level before it

    @property
    def in_excursion(self) -> bool:
        """Whether the last reading lay beyond the threshold."""
        return self._scanner.opened is not None

    @property
    def pending(self) -> bool:
        """Whether an excursion or episode is open that is not booked yet."""
        return self.in_excursion or bool(self._episode)

    def begin_run(self, run: int, *, goes_on: bool = False) -> list[LiveEpisode]:
        """Start a run: what is open is booked, the start is awaited.

        Where the first readings are as those before, and no pause was seen (``goes_on``) or the level is not that of a unit
        switched off, it was not: the run keeps its level, and there is no start in which a swing could pass unseen.
        """
        out = self._cut()
        self.run = run
        self._first = [] if self.settled or self._first is not None else None
        self._goes_on = goes_on
        self.settled = False
        self._early.clear()
        self._cell = []
        self._pending_s = 0.0
        self._still, self._still_value = 0, math.nan
        self.last_s = 0.0
        return out

    def gap(self) -> list[LiveEpisode]:
        """Tell that samples are missing before the next: an open excursion ends here, pending time is not booked."""
        self._pending_s = 0.0
        self._cell = []
        self._scanner.close(cut=True)
        return self._collect(self.last_s)

    def finish(self) -> list[LiveEpisode]:
        """End of the watch: book what is open."""
        return self._cut()

    def _cut(self) -> list[LiveEpisode]:
        self._scanner.close(cut=True)
        return self._collect(self.last_s + self.limits.dead_time_s + 1.0)

    def feed(self, time_s: Floats, values: Floats) -> list[LiveEpisode]:
        """Take samples that follow each other without a gap; returns the episodes that are now final."""
        if self._first is None:
            return self._fed(time_s, values)
        places = np.flatnonzero(~np.isnan(values))[: FIRST - len(self._first)]
        self._first.extend(values[places].tolist())
        if len(self._first) < FIRST:
            return self._fed(time_s, values)
        near = max(SIGMAS * self.sigma_V, COUNTS * self.resolution_V)
        begun = int(places[-1]) + 1
        out = self._fed(time_s[:begun], values[:begun])
        as_before = max(abs(value - self.level_V) for value in self._first) <= near
        self.settled |= as_before and (self._goes_on or abs(self.level_V) > 2.0 * near)
        self._first = None
        return [*out, *self._fed(time_s[begun:], values[begun:])]

    def _fed(self, time_s: Floats, values: Floats) -> list[LiveEpisode]:
        out: list[LiveEpisode] = []
        at = 0
        while at < time_s.size:
            if not self._cell:
                self._cell_begin = float(time_s[at])
            border = self._cell_begin + max(CELL_S, FEWEST * self.cadence_s) - 1e-9
            stop = max(int(np.searchsorted(time_s, border)), at + 1)
            part_s, part = time_s[at:stop], values[at:stop]
            out.extend(self._take(part_s, part))
            if stop < time_s.size or float(time_s[-1]) + self.cadence_s >= border:
                out.extend(self._end_cell())
            at = stop
        return out

    # ------------------------------------------------------------ samples

    def _take(self, time_s: Floats, values: Floats) -> list[LiveEpisode]:
        self._cell.append(values)
        self._book_time(values)
        out: list[LiveEpisode] = []
        if self.settled:
            self._scanner.feed(time_s, values, begins=False)
            self._cell_hot |= self.in_excursion or self._scanner.found
            self.last_s = float(time_s[-1])
            out = self._collect(self.last_s)
        self.last_s = float(time_s[-1])
        known = values[np.isfinite(values)]
        if known.size:
            self.last_V = float(known[-1])
        return out

    def _book_time(self, values: Floats) -> None:
        """Book observed time up to the last sample whose digit moved; the rest waits."""
        previous = np.concatenate(([self._still_value], values[:-1]))
        finite = ~np.isnan(values)
        moved = finite & (values != previous)
        step = self.cadence_s if self.settled else 0.0
        places = np.flatnonzero(moved)
        if places.size:
            self._moves += int(places.size)
            # Longest stretch without movement that ended here.
            runs = np.diff(np.concatenate(([-1 - self._still], places)))
            self._longest_still = max(self._longest_still, int(runs.max()) - 1 if self.alive else 0)
            self._still = values.size - 1 - int(places[-1])
            last = int(places[-1])
            if self.alive:
                self.observed_s += self._pending_s + step * float(np.count_nonzero(finite[: last + 1]))
            self._pending_s = step * float(np.count_nonzero(finite[last + 1 :]))
            self.alive = True
        else:
            self._still += int(np.count_nonzero(finite))
            self._pending_s += step * float(np.count_nonzero(finite))
        if finite.any():
            self._still_value = float(values[finite][-1])
        allowed = max(REPEATS * self._longest_still, REPEAT_S / self.cadence_s, REPEAT_SAMPLES)
        if self.alive and self._still > allowed and self._moves >= MOVES:
            self.alive = False
        if not self.alive:
            self._pending_s = 0.0

    # ------------------------------------------------------------ cells

    def _end_cell(self) -> list[LiveEpisode]:
        values = np.concatenate(self._cell)
        self._cell = []
        hot, self._cell_hot = self._cell_hot, False
        known = values[np.isfinite(values)]
        if known.size < max(2, FEWEST // 2):
            return []
        self._learn_digit(known)
        middle = median(known)
        if not self.settled:
            return self._settle(middle, known)
        if hot or self.in_excursion:
            return self._away_long(middle)
        self._away.clear()
        self._cells.append(middle)
        self._spreads.append(scatter(known, middle))
        self._refresh()
        return []

    def _settle(self, middle: float, known: Floats) -> list[LiveEpisode]:
        """The start is over when three cells agree within the settling band, or after the limit for a start.

        A level at which a relay would open is no rest to swing from: the alarm tells of it, and the start goes on.
        """
        self._early.append(middle)
        self._spreads.append(scatter(known, middle))
        if abs(middle) > self.limits.protection_V:
            return []
        agree = len(self._early) == SETTLED_CELLS and max(self._early) - min(self._early) <= self.limits.settle_band_V
        if agree or self.last_s >= self.limits.warm_up_s:
            self.settled = True
            self._cells.clear()
            self._cells.extend(self._early)
            self._refresh()
        return []

    def _away_long(self, middle: float) -> list[LiveEpisode]:
        """Away for longer than the baseline waits, and calm there: that is where the channel rests now."""
        self._away.append(middle)
        if len(self._away) * max(CELL_S, FEWEST * self.cadence_s) < self.limits.baseline_follow_s / 2.0:
            return []
        recent = list(self._away)[-20:]
        if max(recent) - min(recent) > self.limits.settle_band_V:
            return []
        self._scanner.close(cut=False)
        self._cells.clear()
        self._cells.extend(recent[-SETTLED_CELLS:])
        self._away.clear()
        self._refresh()
        return self._collect(self.last_s)

    def _refresh(self) -> None:
        self.level_V = median(np.fromiter(self._cells, dtype=np.float64))
        self.sigma_V = median(np.fromiter(self._spreads, dtype=np.float64))
        self.enter_V = max(self.limits.excursion_V, SIGMAS * self.sigma_V, COUNTS * self.resolution_V)
        if not self.in_excursion:
            self._scanner.baseline = _flat(self.level_V)
            self._scanner.enter_V, self._scanner.leave_V = self.enter_V, LEAVE_SHARE * self.enter_V

    def _learn_digit(self, known: Floats) -> None:
        steps = np.abs(np.diff(known))
        steps = steps[steps > 1e-9]
        if steps.size:
            smallest = float(f"{steps.min():.3g}")
            self.resolution_V = smallest if self.resolution_V == 0.0 else min(self.resolution_V, smallest)

    # ------------------------------------------------------------ episodes

    def _collect(self, now_s: float) -> list[LiveEpisode]:
        """Gather closed excursions into episodes; book those that no later excursion can join."""
        out: list[LiveEpisode] = []
        dead, longest = self.limits.dead_time_s + MICROSECOND, self.limits.long_episode_s
        for row in self._scanner.take():
            self.in_excursion_s += row[1] - row[0]
            if self._episode and row[0] - self._episode[-1][1] > dead:
                out.extend(self._book())
            if not self._episode:
                self._episode_begin_clock = max(self.observed_s + self._pending_s - (now_s - row[0]), 0.0)
            self._episode.append(row)
            if len(self._episode) > 2:  # a chattering channel must not fill the memory
                first, last = self._episode[0], self._episode[-1]
                largest = max(self._episode, key=lambda item: abs(item[2]))
                merged = (first[0], first[1], largest[2], largest[3], first[4], max(first[5], last[5]))
                self._joined += 1
                self._episode = [merged, last]
        opened = self._scanner.opened
        if opened is not None and self._episode and opened[0] - self._episode[-1][1] > dead:
            out.extend(self._book())
        begin = self._episode[0][0] if self._episode else opened[0] if opened is not None else None
        lasts = opened is not None or bool(self._episode and now_s - self._episode[-1][1] <= dead)
        if begin is not None and not self._long_booked and lasts and now_s - begin > longest:
            size = max([*self._episode, *([opened] if opened is not None else [])], key=lambda item: abs(item[2]))
            peak = size[3] if not math.isnan(size[3]) else size[2]
            clock = max(self.observed_s + self._pending_s - (now_s - begin), 0.0)
            out.append(
                LiveEpisode(
                    run=self.run,
                    start_s=begin,
                    end_s=now_s,
                    deviation_V=size[2],
                    peak_V=peak,
                    excursions=len(self._episode) + 1,
                    clock_s=clock,
                    long=True,
                    over_range=bool(size[5]),
                )
            )
            self._long_booked = True
        if self._episode and opened is None and now_s - self._episode[-1][1] > dead:
            out.extend(self._book())
        return out

    def _book(self) -> list[LiveEpisode]:
        rows, self._episode = self._episode, []
        joined, self._joined = self._joined, 0
        if self._long_booked:
            self._long_booked = False
            return []
        largest = max(rows, key=lambda item: abs(item[2]))
        peak = largest[3] if not math.isnan(largest[3]) else largest[2]
        return [
            LiveEpisode(
                run=self.run,
                start_s=rows[0][0],
                end_s=rows[-1][1],
                deviation_V=largest[2],
                peak_V=peak,
                excursions=len(rows) + joined,
                clock_s=self._episode_begin_clock,
                long=rows[-1][1] - rows[0][0] > self.limits.long_episode_s,
                over_range=any(row[5] for row in rows),
            )
        ]
