"""What a watch remembers of each channel: its blanks, its alarms by volts alone, its counts and bursts, and the guard beside it.

An overload leaves a blank of one channel alone, so each is told at once and never clean; volts alarm whatever the statistics
say; 'clean enough' is not said of a channel against which raw volts speak.
"""

from __future__ import annotations

import copy
import itertools
import math
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TypeAlias

import numpy as np

from flicker.base.arrays import Bools, Floats
from flicker.base.formats import clock_text, seconds_text, volts_text
from flicker.base.limits import Limits
from flicker.evidence.guard import Guard, Reason, Session, judge_guard
from flicker.evidence.guard.model import BLANK_S, BLANK_STEPS, OPEN_V
from flicker.evidence.located.moves import MONTHS
from flicker.evidence.questions.movement import MINUTE_S
from flicker.evidence.watch.minute import Minute
from flicker.evidence.watch.watching import GO_ON
from flicker.logs.model import Piece
from flicker.signals.guard.figures import GRACE_S, HOUR_CELLS
from flicker.signals.guard.gather import Gatherer, Left
from flicker.signals.live import LiveChannel, LiveEpisode
from flicker.signals.reduction import reduce_blocks
from flicker.stats.rates.dispersion import pearson_dispersion
from flicker.stats.sequential import RateDecision

Starts: TypeAlias = dict[int, datetime | None]  # moment at which each run begins, where the log has dates
FIRST_ROWS = 10  # without a reading, from which it is told of before anything of its readings is known: a choice


@dataclass(frozen=True, slots=True)
class Told:
    """What is to be told of a blank: that it has begun (an alarm), or that it is over."""

    begun: bool
    time_s: float
    text: str


class Unseen:
    """Follows the blanks of one channel: rows in which it has no reading while another one has.

    One is told where it covers two readings and two seconds, or where the reading before it was away from rest: it may be a
    swing that passed the range. Where channels are read in turn, more than what each turn leaves out is asked for.
    """

    def __init__(self, cadence_s: float) -> None:
        self.cadence_s = cadence_s
        self.told = False
        self.start: datetime | None = None  # of the run
        self.total_s = 0.0  # in blanks that were told and are over
        self._since_s: float | None = None
        self._end_s = 0.0
        self._rows = 0
        self._before_V = math.nan
        self._every = FIRST_ROWS // 2 - 1  # blank rows before each single reading; what is allowed until one is known
        self._after_reading = False

    @property
    def unseen_s(self) -> float:
        """Seconds in blanks that were told."""
        return self.total_s + (max(0.0, self._end_s - (self._since_s or 0.0)) if self.told else 0.0)

    def restart(self, start: datetime | None = None) -> None:
        """A run begins, whose clock begins at 0, at ``start`` where the log has dates; a blank may go on."""
        self.start = start
        self.total_s = self.unseen_s
        self._end_s = 0.0
        if self._since_s is not None:
            self._since_s = 0.0

    def feed(
        self, time_s: Floats, values: Floats, some: Bools, rest_V: float, away_V: float
    ) -> Iterator[Told]:
        """Take rows; ``some`` marks those that hold a reading of any channel, ``away_V`` how far from rest is away."""
        known = ~np.isnan(values)
        if known.all() and self._since_s is None:
            self._seen(time_s.size, float(values[-1]))
            return
        rows = np.flatnonzero(some)
        turns = np.flatnonzero(np.diff(known[rows])) + 1
        for lo, hi in itertools.pairwise((0, *turns.tolist(), rows.size)):
            if lo == hi:
                continue
            first, last = int(rows[lo]), int(rows[hi - 1])
            if known[first]:
                if self.told:
                    yield self._over(float(time_s[first]))
                self._seen(hi - lo, float(values[last]))
                continue
            if self._since_s is None:
                self._since_s, self._rows, self._after_reading = float(time_s[first]), 0, False
            self._rows += hi - lo
            self._end_s = float(time_s[last]) + self.cadence_s
            if not self.told and (self._several() or abs(self._before_V - rest_V) > away_V):
                self.told = True
                before = "" if math.isnan(self._before_V) else f" ({size_text(abs(self._before_V))} just before)"
                text = f"not seen since {moment(self.start, self._since_s)}{before}: over range? Connect nothing until it is read again"
                yield Told(True, float(time_s[last]), text)

    def _several(self) -> bool:
        lasts = self._end_s - (self._since_s or 0.0) >= max(BLANK_S, BLANK_STEPS * self.cadence_s)
        return lasts and self._rows >= 2 * self._every + 2

    def _over(self, now_s: float) -> Told:
        since = self._since_s or 0.0
        self.total_s += now_s - since
        self.told = False
        return Told(False, now_s, f"read again; not seen for {seconds_text(now_s - since)}, of which nothing is known")

    def _seen(self, rows: int, last_V: float) -> None:
        if rows > 1 or self._after_reading:
            self._every = 0
        elif self._since_s is not None:
            self._every = self._rows
        self._since_s, self._rows = None, 0
        self._before_V, self._after_reading = last_V, True


def moment(start: datetime | None, seconds: float) -> str:
    """A moment of a run in the log's own clock, to the second; counted from the run's begin where the log has no dates."""
    if start is None:
        return clock_text(seconds)
    at = start + timedelta(seconds=round(seconds))
    return f"{at.day} {MONTHS[at.month - 1]} {at:%H:%M:%S}"


def size_text(volts: float) -> str:
    """A size, where a reading over range has none."""
    return volts_text(volts) if math.isfinite(volts) else "over range"


SURGE_S = 5.0  # a surge does not stay beyond danger_V for longer; common practice, no source
CYCLE_S = 60.0  # trips closer than this are 'in a row'; the relay closes again after some seconds; chosen, not measured
TRIPS = 3  # in a row, from which the alarm says so: chosen, not measured


class Volts:
    """Follows the size of one channel's readings."""

    def __init__(self, limits: Limits, cadence_s: float) -> None:
        self.limits = limits
        self.cadence_s = cadence_s
        self.start: datetime | None = None  # of the run
        self.tripped = False
        self.trips: deque[float] = deque(maxlen=TRIPS)
        self._since: dict[bool, float | None] = {True: None, False: None}  # beyond danger_V, beyond protection_V
        self._told: tuple[int, float] | None = None  # run and beginning of the danger told last

    def restart(self, *, run: bool, start: datetime | None = None) -> None:
        """A gap, or a new run that begins at ``start``: how long readings stood beyond a limit is counted anew."""
        self.start = start if run else self.start
        self._since = {True: None, False: None}
        self.tripped = self.tripped and not run

    def feed(self, run: int, time_s: Floats, values: Floats, settled: bool) -> list[tuple[str, str]]:
        """Take readings; returns the kind and the words of each alarm.

        An open lead may read up to a volt until the output relay closes. Nothing else silences the alarm: no new run, no
        clock set back, no state. A missing reading changes nothing either way.
        """
        limits, size = self.limits, np.abs(values)
        known = ~np.isnan(size)
        if not known.any():
            return []
        if self._since[True] is None is self._since[False] and not (size > min(limits.danger_V, limits.protection_V)).any():
            self.tripped = False
            return []
        starts = (time_s < GRACE_S) & (not settled)  # a run that goes on with the level before it is no start
        least = np.where(starts, max(limits.protection_V, OPEN_V), limits.protection_V)
        out: list[tuple[str, str]] = []
        for danger, level in ((True, np.full(size.size, limits.danger_V)), (False, least)):
            before = self._since[danger]
            flag = held(size, level, known, before is not None)
            if not flag.any():
                self.tripped = self.tripped and danger
                self._since[danger] = None
                continue
            # Walk over the changes only: where the reading passes the limit, and where it comes back.
            change = np.flatnonzero(np.diff(np.concatenate(([before is not None], flag)).astype(np.int8)))
            places = [*change.tolist(), time_s.size]
            for k, place in enumerate(places):
                begin = self._since[danger]
                if begin is not None:
                    stands = float(time_s[place] if place < time_s.size else time_s[-1] + self.cadence_s) - begin
                    first = places[k - 1] if k else 0
                    largest = float(np.nanmax(size[first : max(place, first + 1)]))
                    out.extend((self._danger if danger else self._protection)(run, begin, stands, largest))
                if place < time_s.size:
                    self._since[danger] = float(time_s[place]) if begin is None else None
                    self.tripped = self.tripped and (begin is None or danger)
        return out

    def _danger(self, run: int, begin: float, seconds: float, largest: float) -> list[tuple[str, str]]:
        key = (run, round(begin, 6))  # a run may begin at the same second as another
        if seconds <= SURGE_S or key == self._told:
            return []
        self._told = key
        text = f"{size_text(largest)} for {seconds:.0f} s, since {moment(self.start, begin)}: switch off, no loudspeaker"
        return [("danger", text)]

    def _protection(self, run: int, begin: float, seconds: float, largest: float) -> list[tuple[str, str]]:
        if self.tripped or seconds < self.limits.trip_delay_s:
            return []
        self.tripped = True
        self.trips.append(begin)
        beyond = f"beyond {self.limits.protection_V:g} V: a relay would open; do not connect a loudspeaker"
        out = [("protection", f"{size_text(largest)} at {moment(self.start, begin)}, {beyond}")]
        if len(self.trips) == TRIPS and self.trips[-1] - self.trips[0] <= CYCLE_S * (TRIPS - 1):
            out.append(("protection cycling", "three trips in a row: a relay would click on and off"))
            self.trips.clear()
        return out


def held(size: Floats, level: Floats, known: Bools, before: bool) -> Bools:
    """Which readings are beyond a level; a missing one stands for the one before it."""
    with np.errstate(invalid="ignore"):
        flag = size > level
    if known.all():
        return flag
    place = np.maximum.accumulate(np.where(known, np.arange(1, size.size + 1), 0))
    return np.concatenate(([before], flag))[place]


# Reasons that more of the same watch takes away, or that a watch cannot have.
NOT_ASKED = frozenset({Reason.RATE, Reason.SHORT, Reason.UNDATED, Reason.GAPS, Reason.SELDOM})
LASTING = frozenset({Reason.PEAK, Reason.OVER, Reason.REST, Reason.MOVE, Reason.SPREAD, Reason.SWINGS, Reason.OPEN})


class LiveGuard:
    """Gathers the guard's figures of every run of a watch; `judge` may be asked at any time."""

    def __init__(self, channels: int, cadence_s: float, limits: Limits) -> None:
        self.channels, self.cadence_s, self.limits = channels, cadence_s, limits
        self._runs: list[Gatherer] = []
        self._fresh = Minute()
        self._rows = 0
        self._settled: dict[int, Guard] = {}  # channels that nothing later can clear: memory stays flat
        self._asked = 0

    def begin(self) -> None:
        """A run begins: where nothing shows a power-up it goes on with the one before."""
        self._gather()
        self._asked = 0
        if len(self._settled) == self.channels:
            return
        self._runs.append(Gatherer(self.channels, self.cadence_s, [Left()] * self.channels, count_jumps=False))
        self._rows = 0

    def feed(self, time_s: Floats, columns: Sequence[Floats]) -> None:
        """Take the next readings of the run."""
        if len(self._settled) == self.channels:
            return
        if not self._runs:
            self.begin()
        if self._fresh.add(time_s, columns):
            self._gather()

    def _gather(self) -> None:
        """Hand on what is held: how rows are batched changes no figure."""
        time_s, columns = self._fresh.take()
        if not time_s.size:
            return
        piece = Piece(len(self._runs) - 1, self._rows, time_s, tuple(columns), False)
        self._rows += int(time_s.size)
        self._runs[-1].feed(piece, 1, [reduce_blocks(column.reshape(-1, 1)) for column in columns])
        if self._runs[-1].cells >= self._asked + HOUR_CELLS:
            self._asked = self._runs[-1].cells
            for channel in range(self.channels):
                found = self._settled.get(channel) or self._judged(channel)
                if set(found.reasons) & LASTING:
                    self._settled[channel] = found
            if len(self._settled) == self.channels:
                self._runs.clear()

    def judge(self, channel: int) -> Guard:
        """The guard's answer on a channel so far."""
        self._gather()
        return self._judged(channel)

    def _judged(self, channel: int) -> Guard:
        figures = [copy.deepcopy(item).finish() for item in self._runs]
        sessions = [Session(item, self.cadence_s, k == 0) for k, item in enumerate(figures) if item.begin_s.size]
        return judge_guard(sessions, [channel] * len(sessions), self.limits)

    def against(self, channel: int) -> Guard | None:
        """The guard where it speaks against 'clean enough', with the reasons that a watch can have; else None."""
        found = self._settled.get(channel) or self.judge(channel)
        reasons = tuple(item for item in found.reasons if item not in NOT_ASKED)
        return replace(found, reasons=reasons) if reasons else None


BINS = 40  # of the counts over time, at first a minute each, then wider: a choice
FEWEST = 5  # episodes before bursts can be told from single ones; chosen, not measured


class Bursts:
    """Counts in bins of observed time that grow with the watch: the dispersion so far, in flat memory."""

    def __init__(self) -> None:
        self.width_s = MINUTE_S
        self.counts = np.zeros(BINS, dtype=np.int64)
        self.largest = 1.0

    def add(self, clock_s: float) -> None:
        """Count an episode at this observed time."""
        while clock_s >= self.width_s * BINS:
            self.counts = np.concatenate((self.counts.reshape(-1, 2).sum(axis=1), np.zeros(BINS // 2, dtype=np.int64)))
            self.width_s *= 2.0
        self.counts[int(clock_s / self.width_s)] += 1

    def dispersion(self, observed_s: float) -> float:
        """Largest dispersion so far, at least 1: evidence that was once doubted is not made stronger by waiting."""
        seen = min(BINS, max(1, math.ceil(observed_s / self.width_s)))
        if self.counts.sum() >= FEWEST and seen >= 4:
            self.largest = max(self.largest, pearson_dispersion([(self.counts[:seen], np.full(seen, self.width_s))])[0])
        return self.largest


class Followed:
    """One channel with its counts, its decision and its alarms."""

    def __init__(self, name: str, live: LiveChannel, rule: RateDecision) -> None:
        self.name = name
        self.live = live
        self.rule = rule
        self.count = 0
        self.common = 0
        self.filled = False
        self.decision = GO_ON
        self.decided_at_h: float | None = None
        self.tested_count, self.tested_h = 0, 0.0  # episodes and hours before the test that goes on,
        self.clean_tests = 0  # and how many tests before it said 'clean enough'
        self.largest_V: float | None = None
        self.bursts = Bursts()
        self.recent: deque[LiveEpisode] = deque(maxlen=64)
        self.alarms = 0
        self.volts = Volts(live.limits, live.cadence_s)
        self.told: set[str] = set()
        self.asked_s: float | None = None  # when the guard was last asked about 'clean enough'
        self.asked_run = -1
        self.unseen = Unseen(live.cadence_s)
