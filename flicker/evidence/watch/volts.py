"""Alarms by volts alone while a watch goes on, whatever the statistics say: danger, a relay that would open, cycling."""

from __future__ import annotations

from collections import deque

import numpy as np

from flicker.base.arrays import Bools, Floats
from flicker.base.formats import clock_text
from flicker.base.limits import Limits
from flicker.evidence.guard.limits import OPEN_V
from flicker.evidence.watch.unseen import size_text
from flicker.signals.guard.figures import GRACE_S

SURGE_S = 5.0  # a surge does not stay beyond danger_V for longer; common practice, no source
CYCLE_S = 60.0  # trips closer than this are 'in a row'; the relay closes again after some seconds; chosen, not measured
TRIPS = 3  # in a row, from which the alarm says so: chosen, not measured


class Volts:
    """Follows the size of one channel's readings."""

    def __init__(self, limits: Limits, cadence_s: float) -> None:
        self.limits = limits
        self.cadence_s = cadence_s
        self.tripped = False
        self.trips: deque[float] = deque(maxlen=TRIPS)
        self._since: dict[bool, float | None] = {True: None, False: None}  # beyond danger_V, beyond protection_V
        self._told: tuple[int, float] | None = None  # run and beginning of the danger told last

    def restart(self, *, run: bool) -> None:
        """A gap, or a new run: how long readings stood beyond a limit is counted anew."""
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
        text = f"{size_text(largest)} for {seconds:.0f} s, since {clock_text(begin)}: switch off, no loudspeaker"
        return [("danger", text)]

    def _protection(self, run: int, begin: float, seconds: float, largest: float) -> list[tuple[str, str]]:
        if self.tripped or seconds < self.limits.trip_delay_s:
            return []
        self.tripped = True
        self.trips.append(begin)
        beyond = f"beyond {self.limits.protection_V:g} V: a relay would open; do not connect a loudspeaker"
        out = [("protection", f"{size_text(largest)} at {clock_text(begin)}, {beyond}")]
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
