"""Blanks of one channel alone while a watch goes on: an overload leaves such, so each is told at once and never clean."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from flicker.base.arrays import Bools, Floats
from flicker.base.formats import clock_text, seconds_text, volts_text
from flicker.evidence.guard.limits import BLANK_S, BLANK_STEPS

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

    def restart(self) -> None:
        """A run begins, whose clock begins at 0; a blank may go on."""
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
                text = f"not seen since {clock_text(self._since_s)}{before}: over range? Connect nothing until it is read again"
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


def size_text(volts: float) -> str:
    """A size, where a reading over range has none."""
    return volts_text(volts) if math.isfinite(volts) else "over range"
