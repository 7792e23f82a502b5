"""Was the whole unit switched off and on within a stretch? Raw readings in, cuts out.

Off: every channel within 0.3 mV of zero for a minute, then a jump beyond 20 mV within five seconds, or noise that the zero
had not, and two minutes later no longer at zero: a servo holds a sound output there as well, and its swings are no power-ups.
What lies in the 40 s before goes with it only up to 0.3 V, so that no end of life passes as switching off. Choices, measured
on simulated benches.

A shorter time at zero is no switching off, whoever blinks, mains or relay: of a protection relay that trips on volts between
two readings the log shows no more than that, and a swing it stays. Where the log shows what was switched off for, volts that
stood in some channel longer than any relay waits, ten seconds at zero are enough: nothing is hidden by it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from flicker.base.runs import true_runs
from flicker.signals.guard.figures import STARTS_S

Floats = NDArray[np.float64]

# A unit switched off within a file, by the rule of clearance: all channels at zero for a minute, a bump before it up
# to 0.3 V, then a jump over 20 mV (its figures: 12 of 12 sound units kept); all else here chosen, not measured.
ZERO_V = 3e-4 + 1e-9  # of readings with a last digit of 0.1 mV, three are within it
TAIL_V = 2.0 * ZERO_V  # a meter's own noise of 0.1 mV passes the first now and then, never this
TAIL_SHARE = 0.02  # so many readings may lie between the two, or be missing
OFF_S = 60.0
AFTER_VOLTS_S = 10.0  # at zero, after volts that stood though a relay would have opened; chosen, not measured
BEFORE_S = 40.0
BUMP_V = 0.3
START_V = 0.02
SOON_S = 5.0
LIVELIER = 3.0  # a live output moves so many times as much from reading to reading as the meter at zero; chosen
AFTER_S = (STARTS_S[1], STARTS_S[1] + OFF_S)  # the surge is over: is it at zero again?


class Off(NamedTuple):
    """A time off: from its first reading to the first after it; ``short`` where it is one only after volts that stood.

    ``surge``: it ends by a jump, as against a level and noise that come without one.
    """

    begin_s: float
    end_s: float
    short: bool = False
    surge: bool = True


@dataclass(slots=True)
class _Waiting:
    """A quiet stretch that was long enough: does a jump follow, and is the unit away from zero when it is over?"""

    off: Off
    step_V: float  # from reading to reading while it was off
    jump_V: float = 0.0
    readings: int = 0
    at_zero: int = 0
    moved_V: float = 0.0  # from reading to reading, all of them, once the surge is over

    @property
    def decided(self) -> Off | None:
        """The time off, where a live output followed that did not stay at zero."""
        surge = self.jump_V >= START_V
        lively = self.moved_V > LIVELIER * self.step_V * self.readings
        return self.off._replace(surge=surge) if 2 * self.at_zero < self.readings and (surge or lively) else None


class OffWatch:
    """Follows the largest size of all channels, reading by reading, and tells where the unit was off and came back."""

    def __init__(self) -> None:
        self._quiet_from: float | None = None  # begin of the quiet stretch that lasts,
        self._last_s = -np.inf  # its last reading so far,
        self._rows = self._odd = 0  # its readings, and those beyond `ZERO_V` or missing,
        self._moved_V = 0.0  # and how far they moved from one to the next
        self._before_V = np.nan  # size of the reading before those that are fed
        self._waiting: list[_Waiting] = []

    @property
    def since_s(self) -> float | None:
        """When the first time began that may yet turn out to be off; None where nothing speaks for one."""
        begins = [item.off.begin_s for item in self._waiting]
        if self._quiet_from is not None:
            begins.append(self._quiet_from)
        return min(begins, default=None)

    @property
    def still_s(self) -> tuple[float, float]:
        """Every channel was at zero between these times: cells within are whole, whatever is decided."""
        first = self._waiting[0].off if self._waiting else None
        if first is not None:
            return first.begin_s, first.end_s
        return (np.inf if self._quiet_from is None else self._quiet_from), np.inf

    @property
    def at_rest_s(self) -> float | None:
        """Since when every channel has been at zero, if it is so now, and for long."""
        return self._quiet_from if self._long() else None

    def feed(self, time_s: Floats, values: Sequence[NDArray[np.floating]], quiet: bool) -> list[Off]:
        """Take the next readings; ``quiet`` is False where none of them can be within `TAIL_V` in every channel."""
        if not quiet and self._quiet_from is None and not self._waiting:
            self._before_V = np.nan
            return []
        size = np.zeros(time_s.size)
        known = np.zeros(time_s.size, dtype=bool)
        for column in values:
            np.fmax(size, np.abs(column), out=size)
            known |= ~np.isnan(column)
        odd = (size > ZERO_V) | ~known
        still = size <= TAIL_V
        near = np.minimum(size, START_V)  # noise, whatever swings are in it
        moves = np.abs(np.diff(near, prepend=self._before_V))
        self._before_V = float(near[-1])
        out = self._decide(time_s, size, odd, moves)
        if self._quiet_from is not None and not still[0]:
            self._ended(float(time_s[0]), time_s, size, odd, moves, out)
        for first, last in zip(*(edge.tolist() for edge in true_runs(still)), strict=True):
            begins = first > 0 or self._quiet_from is None
            if begins or self._rows == self._odd:  # all that was quiet so far is the tail of a supply that falls
                fresh = ~odd[first:last]
                first += int(np.argmax(fresh)) if fresh.any() else 0
                begins = begins or bool(fresh.any())
            if begins:
                self._quiet_from, self._rows, self._odd, self._moved_V = float(time_s[first]), 0, 0, 0.0
                moves[first] = 0.0  # from what was before the zero
            self._last_s = float(time_s[last - 1])
            self._moved_V += float(moves[first:last].sum())
            self._rows += last - first
            self._odd += int(np.count_nonzero(odd[first:last]))
            if last < time_s.size:
                self._ended(float(time_s[last]), time_s, size, odd, moves, out)
        return out

    def _long(self) -> bool:
        if self._quiet_from is None or self._odd > TAIL_SHARE * self._rows:
            return False
        return bool(self._last_s - self._quiet_from >= OFF_S)

    def _ended(
        self, end_s: float, time_s: Floats, size: Floats, odd: NDArray[np.bool_], moves: Floats, out: list[Off]
    ) -> None:
        assert self._quiet_from is not None
        if self._last_s - self._quiet_from >= AFTER_VOLTS_S:
            waiting = self._waiting
            off = Off(self._quiet_from, end_s, short=not self._long())
            self._waiting = [_Waiting(off, self._moved_V / max(self._rows - 1, 1))]
            out.extend(self._decide(time_s, size, odd, moves))
            self._waiting = waiting + self._waiting
        self._quiet_from = None

    def _decide(self, time_s: Floats, size: Floats, odd: NDArray[np.bool_], moves: Floats) -> list[Off]:
        """Follow what waits for its decision; those that are shown to be times off."""
        out, left = [], []
        for item in self._waiting:
            end_s = item.off.end_s
            a, soon, begin, end = np.searchsorted(time_s, [end_s, *(end_s + s for s in (SOON_S, *AFTER_S))])
            item.jump_V = max(item.jump_V, float(size[a:soon].max(initial=0.0)))
            item.readings += int(end - begin)
            item.at_zero += int(np.count_nonzero(~odd[begin:end]))
            item.moved_V += float(moves[begin:end].sum())
            if end == time_s.size:
                left.append(item)
            elif (off := item.decided) is not None:
                out.append(off)
        self._waiting = left
        return out
