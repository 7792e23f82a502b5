"""Was the whole unit switched off and on within a stretch? Raw readings in, cuts out.

Off: every channel within 0.3 mV of zero for a minute, then a jump beyond 20 mV within five seconds. What lies in the 40 s
before goes with it only up to 0.3 V, so that no end of life passes as switching off. Choices, measured on simulated
benches.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flicker.signals.guard._runs import true_runs

Floats = NDArray[np.float64]

ZERO_V = 3e-4 + 1e-9  # of readings with a last digit of 0.1 mV, three are within it
OFF_S = 60.0
BEFORE_S = 40.0
BUMP_V = 0.3
START_V = 0.02
SOON_S = 5.0


@dataclass(frozen=True, slots=True)
class Off:
    """A time off: from its first reading to the first after it."""

    begin_s: float
    end_s: float


class OffWatch:
    """Follows the largest size of all channels, reading by reading, and tells where the unit was off and came back."""

    def __init__(self) -> None:
        self.quiet_from: float | None = None  # begin of the quiet stretch that lasts,
        self._last_s = -np.inf  # and its last reading so far
        self._waiting: Off | None = None  # a quiet stretch that was long enough: does a jump follow?

    @property
    def holds_s(self) -> float | None:
        """From where on readings may yet turn out to be before, or in, a time off; None where nothing speaks for one."""
        begin = self._waiting.begin_s if self._waiting is not None else self.quiet_from
        return None if begin is None else begin - BEFORE_S

    def feed(self, time_s: Floats, values: Sequence[NDArray[np.floating]], quiet: bool) -> list[Off]:
        """Take the next readings; ``quiet`` is False where none of them can be within `ZERO_V` in every channel."""
        if not quiet and self.quiet_from is None and self._waiting is None:
            return []
        size = np.zeros(time_s.size)
        for column in values:
            np.fmax(size, np.abs(column), out=size)
        out: list[Off] = []
        self._decide(time_s, size, out)
        still = size <= ZERO_V
        if self.quiet_from is not None and not still[0]:
            self._ended(float(time_s[0]), time_s, size, out)
        first, last = true_runs(still)
        begin_s, end_s = time_s[first], time_s[last - 1]
        if self.quiet_from is not None:
            begin_s[0] = self.quiet_from
        long = (end_s - begin_s >= OFF_S) | (last == time_s.size)
        for begin, end, after in zip(begin_s[long], end_s[long], last[long], strict=True):
            self.quiet_from, self._last_s = float(begin), float(end)
            if after < time_s.size:
                self._ended(float(time_s[after]), time_s, size, out)
        if still[0] and first.size and not long[0]:
            self.quiet_from = None
        return out

    def _ended(self, end_s: float, time_s: Floats, size: Floats, out: list[Off]) -> None:
        assert self.quiet_from is not None
        if self._last_s - self.quiet_from >= OFF_S:
            self._waiting = Off(self.quiet_from, end_s)
            self._decide(time_s, size, out)
        self.quiet_from = None

    def _decide(self, time_s: Floats, size: Floats, out: list[Off]) -> None:
        item = self._waiting
        if item is None:
            return
        a, b = np.searchsorted(time_s, [item.end_s, item.end_s + SOON_S])
        if a < b and float(size[a:b].max()) >= START_V:
            out.append(item)
            self._waiting = None
        elif b < time_s.size:
            self._waiting = None
