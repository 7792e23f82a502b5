"""Columns of a log as the case file names them: which are outputs, with what factor, polarity and zero; differences."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import NamedTuple

import numpy as np

from flicker.base.arrays import Floats
from flicker.logs.errors import LogError
from flicker.logs.reading.words.units import label
from flicker.logs.source import Batch, Companion, Source


class ColumnUse(NamedTuple):
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
        self.unread: int = getattr(inner, "unread", 0)
        averaged = getattr(inner, "averaged", ())
        self.averaged = tuple(use.channel for use in uses if use.column in averaged or use.minus in averaged)
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


def split_by_roles(
    source: Source, differences: Mapping[str, tuple[str, str]] | None = None
) -> tuple[Source, list[Companion]]:
    """Split a source into its outputs (or differences of two of them) and the columns that are no outputs.

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
        raise LogError(
            f"{source.name}: the roles leave no column that is an output; give one the role output, or none."
        )
    if not legs and not companions and len(outputs) == len(source.channels):
        return source, []
    return MappedSource(source, uses, notes), companions
