"""Logs made of chosen columns: outputs by their roles, differences, and channels as a case file says."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path

from flicker.logs.errors import LogError
from flicker.logs.mapped import ColumnUse, MappedSource, split_by_roles
from flicker.logs.model import Log
from flicker.logs.source import Companion, Source


def by_roles(
    source: Source,
    *,
    run_gap_s: float,
    path: Path | None = None,
    reader: str = "",
    differences: Mapping[str, tuple[str, str]] | None = None,
) -> Log:
    """Make a log of a source: its outputs as channels (or differences of two of them), the rest as companions."""
    outputs, companions = split_by_roles(source, differences)
    return Log(outputs, run_gap_s=run_gap_s, path=path, reader=reader, companions=companions)


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
