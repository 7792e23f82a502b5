"""When was the meter looking? Raw time stamps in; repaired time, stretches and gaps out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

RUN_GAP_S = 600.0  # a pause longer than this begins a new run (contract of the command line)


@dataclass(frozen=True, slots=True)
class Cut:
    """Rows ``lo`` to ``hi`` (half open) of the batch just fed: one run, no gap inside; times since the run's start."""

    run: int
    lo: int
    hi: int
    time_s: Floats
    after_gap: bool


@dataclass(slots=True)
class Stretch:
    """A run as the time column shows it; ``gaps`` in seconds since its first sample."""

    first: int
    last: int
    offset_s: float
    duration_s: float = 0.0
    sample_interval_s: float = 1.0
    gaps: list[tuple[float, float]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


class Timekeeper:
    """Follows the time column batch by batch; the result does not depend on how the batches are cut."""

    def __init__(self, cadence_s: float, run_gap_s: float = RUN_GAP_S) -> None:
        self.cadence_s = cadence_s
        self.run_gap_s = run_gap_s
        self._stretches: list[Stretch] = []
        self._last: float | None = None
        self._row = 0

    def feed(self, raw_s: Floats, run: NDArray[Any] | None = None) -> Iterator[Cut]:
        """Take the next rows and hand back the cuts."""
        if raw_s.size == 0:
            return
        previous = np.concatenate(([raw_s[0] if self._last is None else self._last], raw_s[:-1]))
        step = raw_s - previous
        breaks = np.flatnonzero(step > 3.0 * self.cadence_s)
        borders = [0, *[int(b) for b in breaks if b > 0], raw_s.size]
        for lo, hi in zip(borders[:-1], borders[1:], strict=True):
            after_gap = bool(step[lo] > 3.0 * self.cadence_s)
            if not self._stretches or step[lo] > self.run_gap_s:
                self._stretches.append(Stretch(self._row + lo, self._row + lo, float(raw_s[lo])))
                after_gap = False
            stretch = self._stretches[-1]
            stretch.sample_interval_s = self.cadence_s
            if after_gap:
                begin = float(previous[lo]) - stretch.offset_s + self.cadence_s
                stretch.gaps.append((begin, float(raw_s[lo]) - stretch.offset_s))
            stretch.last = self._row + hi
            stretch.duration_s = float(raw_s[hi - 1]) - stretch.offset_s
            yield Cut(len(self._stretches) - 1, lo, hi, raw_s[lo:hi] - stretch.offset_s, after_gap)
        self._last = float(raw_s[-1])
        self._row += raw_s.size

    def repair(self, raw_s: Floats, first: int) -> Floats:
        """Return repaired times (source clock) of rows that begin at ``first``; after all rows were fed."""
        return raw_s

    def stretches(self) -> list[Stretch]:
        """Return the runs found so far."""
        return self._stretches
