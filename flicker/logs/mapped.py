"""Columns of a log as the case file names them: which are outputs, with what factor, polarity and zero; differences."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from flicker.logs.model import Batch, Companion, Log, LogError, Source
from flicker.logs.reading.units import label

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ColumnUse:
    """How one channel is made: ``gain`` times (``column`` less ``minus``, where given) less ``zero_V``."""

    channel: str
    column: str
    gain: float = 1.0
    zero_V: float = 0.0
    minus: str | None = None

    def make(self, column: Floats, minus: Floats | None = None) -> Floats:
        """The channel's volts from those of its columns."""
        with np.errstate(invalid="ignore"):
            value = column if minus is None else column - minus
            return np.asarray(value * self.gain - self.zero_V)


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
        self.entries = getattr(inner, "entries", ())
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
        return use.make(values[self._place[use.column]], None if use.minus is None else values[self._place[use.minus]])

    def fingerprint(self) -> str | None:
        """Identify the file, not the use made of it."""
        return self.inner.fingerprint()


def by_roles(
    source: Source,
    *,
    run_gap_s: float,
    path: Path | None = None,
    reader: str = "",
    differences: Mapping[str, tuple[str, str]] | None = None,
) -> Log:
    """Make a log of a source: its outputs as channels (or differences of two of them), the rest as companions.

    Raises
    ------
    LogError
        If a difference is of a column that is no output, or has the name of another channel.
    """
    roles = getattr(source, "roles", ()) or ("output",) * len(source.channels)
    outputs = [name for name, role in zip(source.channels, roles, strict=True) if role == "output"]
    companions = [
        Companion(name, role, MappedSource(source, [ColumnUse(name, name)]))
        for name, role in zip(source.channels, roles, strict=True)
        if role not in ("output", "ignore")
    ]
    uses = [ColumnUse(name, name) for name in outputs]
    notes = []
    legs: set[str] = set()
    for title, pair in (differences or {}).items():
        if isinstance(pair, str) or len(pair) != 2 or pair[0] == pair[1]:
            raise LogError(f"the difference {title!r} needs two different columns, got {pair!r}.")
        found = []
        for wanted in pair:
            near = next((name for name in outputs if name == wanted or name.casefold() == wanted.casefold()), None)
            near = near or next((name for name in outputs if label(wanted).name == name), None)
            if near is None:
                raise LogError(
                    f"{source.name} has no output {wanted!r} for the difference {title!r}; it has {', '.join(outputs)}."
                )
            found.append(near)
        legs.update(found)
        uses.append(ColumnUse(title, found[0], minus=found[1]))
        notes.append(f'Channel "{title}" is "{found[0]}" less "{found[1]}".')
    uses = [use for use in uses if use.minus is not None or use.channel not in legs]
    if len({use.channel for use in uses}) < len(uses):
        raise LogError(
            f"{source.name}: a difference needs a name of its own; {next(iter(differences or {}))!r} is taken."
        )
    if not uses:
        raise LogError(f"{source.name}: the roles leave no column that is an output.")
    if not legs and not companions and len(outputs) == len(source.channels):
        return Log(source, run_gap_s=run_gap_s, path=path, reader=reader)
    mapped = MappedSource(source, uses, notes)
    return Log(mapped, run_gap_s=run_gap_s, path=path, reader=reader, companions=companions)


def has_difference(log: Log) -> bool:
    """Whether a channel of the log is the difference of two columns."""
    return any(use.minus is not None for use in getattr(log.source, "uses", ()))


def companion_of(log: Log, column: str, name: str, role: str, gain: float = 1.0, zero_V: float = 0.0) -> Companion:
    """A column of the log (an output or a companion) as a companion with a name and a role."""
    source = next((item.source for item in log.companions if item.name == column), log.source)
    return Companion(name, role, MappedSource(source, [ColumnUse(name, column, gain, zero_V)]))


def with_columns(
    log: Log,
    uses: Sequence[ColumnUse],
    notes: Sequence[str] = (),
    *,
    start: datetime | None = None,
    companions: Sequence[Companion] | None = None,
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
    return Log(
        MappedSource(log.source, uses, notes, start),
        run_gap_s=log.run_gap_s,
        path=log.path,
        reader=log.reader,
        companions=log.companions if companions is None else companions,
    )
