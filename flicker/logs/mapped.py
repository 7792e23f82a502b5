"""Columns of a log as the case file names them: which are outputs, with what factor, polarity and zero; differences."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from flicker.logs.model import Batch, Log, LogError, Source

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ColumnUse:
    """How one channel is made: ``gain`` times (``column`` less ``minus``, where given) less ``zero_V``."""

    channel: str
    column: str
    gain: float = 1.0
    zero_V: float = 0.0
    minus: str | None = None


class MappedSource:
    """A source seen through column uses. Order of reading, times and rows stay as they are."""

    def __init__(
        self, inner: Source, uses: Sequence[ColumnUse], notes: Sequence[str] = (), start: datetime | None = None
    ) -> None:
        self.inner = inner
        self.uses = tuple(uses)
        self.name = inner.name
        self.channels = tuple(use.channel for use in uses)
        self.start: datetime | None = start or inner.start
        self.notes = (*inner.notes, *notes)
        self.cadence_s = inner.cadence_s
        self.rows = inner.rows
        self.reach_s = getattr(inner, "reach_s", None)
        self.wall_s = getattr(inner, "wall_s", None)
        self._place = {name: k for k, name in enumerate(inner.channels)}

    def batches(
        self, first: int = 0, last: int | None = None, *, time: bool = True, channels: Sequence[int] | None = None
    ) -> Iterator[Batch]:
        """Hand out rows ``first`` to ``last`` (half open), columns combined."""
        chosen = self.uses if channels is None else [self.uses[k] for k in channels]
        names = [name for use in chosen for name in (use.column, use.minus) if name is not None]
        wanted = sorted({self._place[name] for name in names})
        for batch in self.inner.batches(first, last, time=time, channels=wanted):
            values = dict(zip(wanted, batch.values, strict=True))
            yield Batch(
                first=batch.first,
                time_s=batch.time_s,
                values=tuple(self._make(use, values) for use in chosen),
                run=batch.run,
            )

    def _make(self, use: ColumnUse, values: dict[int, Floats]) -> Floats:
        value = values[self._place[use.column]]
        with np.errstate(invalid="ignore"):
            if use.minus is not None:
                value = value - values[self._place[use.minus]]
            return np.asarray(value * use.gain - use.zero_V)

    def fingerprint(self) -> str | None:
        """Identify the file, not the use made of it."""
        return self.inner.fingerprint()


def with_columns(
    log: Log, uses: Sequence[ColumnUse], notes: Sequence[str] = (), *, start: datetime | None = None
) -> Log:
    """Return the log with its channels made as told; ``start`` dates a log whose file tells no date.

    Raises
    ------
    LogError
        If a column named is not in the log, or nothing is left.
    """
    for use in uses:
        for name in (use.column, use.minus):
            if name is not None and name not in log.channels:
                raise LogError(
                    f"{log.source.name}: no column {name!r}; the columns are {', '.join(map(repr, log.channels))}. "
                    "Correct the case file."
                )
    if not uses:
        raise LogError(f"{log.source.name}: the case file leaves no column with the role 'output'.")
    return Log(MappedSource(log.source, uses, notes, start), run_gap_s=log.run_gap_s, path=log.path, reader=log.reader)
