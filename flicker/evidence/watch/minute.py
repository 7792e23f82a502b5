"""Readings held until a minute of them is there: what follows them reading by reading is faster on many at once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flicker.base.arrays import Floats
from flicker.evidence.questions.movement import MINUTE_S


class Minute:
    """Readings of all channels that were not handed on yet."""

    def __init__(self) -> None:
        self._times: list[Floats] = []
        self._columns: list[Sequence[Floats]] = []

    def add(self, time_s: Floats, columns: Sequence[Floats]) -> bool:
        """Hold readings, shape (n,) with n of one at least; tells whether a minute is full."""
        self._times.append(time_s)
        self._columns.append(columns)
        return bool(time_s[-1] - self._times[0][0] >= MINUTE_S)

    def take(self) -> tuple[Floats, list[Floats]]:
        """Hand over all that is held, maybe nothing, and forget it."""
        times, columns = self._times, self._columns
        self._times, self._columns = [], []
        if not times:
            return np.empty(0), []
        return np.concatenate(times), [np.concatenate(parts) for parts in zip(*columns, strict=True)]
