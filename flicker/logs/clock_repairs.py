"""A log's clock set right: which rows were shifted and which were levelled. Raw times in, repaired times out, at any time again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flicker.base.arrays import Floats, Ints

NAMES = ("shift_row", "shift_s", "level_row", "level_s")


@dataclass(slots=True)
class Repairs:
    """From each of ``shift_rows`` on, the seconds of ``shifts`` are added; ``levelled`` rows have times of their own."""

    shift_rows: list[int] = field(default_factory=lambda: [0])
    shifts: list[float] = field(default_factory=lambda: [0.0])
    levelled: list[tuple[Ints, Floats]] = field(default_factory=list)

    def repair(self, raw_s: Floats, first: int) -> Floats:
        """Return repaired times (source clock) of rows that begin at ``first``."""
        last = first + raw_s.size
        lo = int(np.searchsorted(self.shift_rows, first, side="right")) - 1
        hi = int(np.searchsorted(self.shift_rows, last, side="left"))
        if hi - lo == 1:
            time = raw_s + self.shifts[lo] if self.shifts[lo] else raw_s
        else:
            place = np.searchsorted(self.shift_rows[lo:hi], np.arange(first, last), side="right") - 1
            time = raw_s + np.array(self.shifts[lo:hi])[place]
        for rows, values in self.levelled:
            if rows[0] < last and rows[-1] >= first:
                inside = (rows >= first) & (rows < last)
                time = time.copy()
                time[rows[inside] - first] = values[inside]
        return time

    def arrays(self) -> dict[str, NDArray[Any]]:
        """All of it as arrays, named in ``NAMES``."""
        rows = np.concatenate([np.empty(0, dtype=np.int64), *(rows for rows, _ in self.levelled)])
        times = np.concatenate([np.empty(0), *(times for _, times in self.levelled)])
        order = np.argsort(rows, kind="stable")
        return {
            "shift_row": np.array(self.shift_rows, dtype=np.int64),
            "shift_s": np.array(self.shifts),
            "level_row": rows[order],
            "level_s": times[order],
        }

    @classmethod
    def of(cls, arrays: Mapping[str, NDArray[Any]]) -> Repairs:
        """Those whose ``arrays`` these are."""
        levelled = [(arrays["level_row"], arrays["level_s"])] if arrays["level_row"].size else []
        return cls(arrays["shift_row"].tolist(), arrays["shift_s"].tolist(), levelled)
