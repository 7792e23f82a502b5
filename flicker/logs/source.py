"""Where samples come from: what a source hands out, columns that are no outputs, and samples in memory.

Values are volts; NaN is a missing reading, +/-inf a reading over range with its sign.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from flicker.base.arrays import Floats
from flicker.logs.sampling import cadence_of


class Batch(NamedTuple):
    """Consecutive rows of a source.

    ``first`` is the number of the first row in the source; ``time_s`` has shape (rows,), seconds since the source's
    first sample as read (None where not asked for); ``values`` holds one array of volts, shape (rows,), per channel
    asked for; ``run`` holds the run column's values where the file has one.
    """

    first: int
    time_s: Floats | None
    values: tuple[Floats, ...]
    run: NDArray[Any] | None = None


class Source(Protocol):
    """Samples of one file, readable again from the start or from any row."""

    name: str
    channels: tuple[str, ...]
    start: datetime | None
    notes: tuple[str, ...]
    cadence_s: float
    rows: int | None

    def batches(
        self, first: int = 0, last: int | None = None, *, time: bool = True, channels: Sequence[int] | None = None
    ) -> Iterator[Batch]:
        """Hand out rows ``first`` to ``last`` (half open) in order; ``channels`` are positions, all by default."""
        ...

    def fingerprint(self) -> str | None:
        """Return what identifies the content (SHA-256 in hex), or None for samples in memory."""
        ...


class Companion(NamedTuple):
    """A column that is no output: its name, its role, and a source that holds it alone, on the log's own clock."""

    name: str
    role: str
    source: Source


class ArraySource:
    """Samples in memory. ``batch_rows`` only serves tests: no result depends on it."""

    def __init__(
        self,
        name: str,
        time_s: Floats,
        channels: Mapping[str, Floats],
        start: datetime | None = None,
        *,
        run: NDArray[Any] | None = None,
        batch_rows: int = 1 << 20,
    ) -> None:
        self.name = name
        self.channels = tuple(channels)
        self.roles: tuple[str, ...] = ()
        self.start = start
        self.notes: tuple[str, ...] = ()
        self.rows: int | None = time_s.size
        self.batch_rows = batch_rows
        known = time_s[np.isfinite(time_s)]
        self._time = time_s - (known[0] if known.size else 0.0)
        self._values = tuple(channels.values())
        self._run = run
        self.cadence_s, self.reach_s = cadence_of(self._time[:4097])

    def batches(
        self, first: int = 0, last: int | None = None, *, time: bool = True, channels: Sequence[int] | None = None
    ) -> Iterator[Batch]:
        """Hand out rows ``first`` to ``last`` (half open)."""
        end = self._time.size if last is None else min(last, self._time.size)
        wanted = range(len(self._values)) if channels is None else channels
        for lo in range(first, end, self.batch_rows):
            hi = min(lo + self.batch_rows, end)
            yield Batch(
                first=lo,
                time_s=self._time[lo:hi] if time else None,
                values=tuple(self._values[k][lo:hi] for k in wanted),
                run=None if self._run is None else self._run[lo:hi],
            )

    def fingerprint(self) -> str | None:
        """Samples in memory have none."""
        return None
