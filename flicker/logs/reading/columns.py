"""What is known of the columns of a file, and what its reader was asked for."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from flicker.logs.errors import LogError
from flicker.logs.reading import clock, units


@dataclass(slots=True)
class Column:
    """A column as found: ``kind`` is number, stamp, text or empty; sample ``values`` of numbers, ``cells`` of text."""

    header: str
    position: int
    kind: str
    cells: Sequence[str] = ()
    values: NDArray[np.float64] = field(default_factory=lambda: np.empty(0))
    decimals: int = 0
    form: clock.Form | None = None
    unit: str = ""  # stated beside the header (unit row, metadata), or found in the cells
    cell_units: bool = False
    bad: str = ""  # the first cell that is no number, with its line, where most are numbers

    @property
    def label(self) -> units.Label:
        """Name and unit of the column."""
        found = units.label(self.header)
        if self.unit and found.kind != "volts":
            kind = units._kind(self.unit)
            name = found.name if found.kind != "none" else self.header.strip()
            return units.Label(name, self.unit, "unknown" if kind == "none" else kind)
        return found


@dataclass(frozen=True, slots=True)
class Channel:
    """A column to read: its position, cleaned name, volts (degrees) per unit, and its role. Outputs come first."""

    position: int
    name: str
    volts: float
    role: str = "output"


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the caller of `read_log` said about the file; None where the file is to tell."""

    channels: tuple[str, ...] | None = None
    unit: str | None = None
    sample_interval_s: float | None = None
    time_column: str | None = None
    time_unit: str | None = None
    day_first: bool | None = None
    decimal: str | None = None
    full_scale_V: float | None = None
    roles: tuple[tuple[str, str], ...] = ()
    marks_column: str | None = None
    may_lack: bool = False  # columns named by roles and marks_column


def words_of(header: str) -> set[str]:
    """Split a header into its words, in lower case."""
    text = re.sub(r"([a-z])([A-Z])", r"\1 \2", header)
    return set(re.findall(r"[^\W\d_]+", text.lower()))


def column_named(columns: list[Column], wanted: str, name: str, argument: str) -> Column:
    """The column that an argument names, with or without its unit; an error lists what there is."""
    asked = wanted.strip()
    ways = (
        [c.header.strip() == asked for c in columns],
        [c.label.name == asked for c in columns],
        [asked.lower() in (c.label.name.lower(), c.header.strip().lower()) for c in columns],
    )
    for fits in ways:
        if any(fits):
            return columns[fits.index(True)]
    raise LogError(f'{name} has no column "{wanted}" ({argument}); it has {listed([c.header for c in columns[:12]])}.')


def not_a_number(column: Column, name: str) -> str:
    """Say which cell is no number, and where it stands."""
    place = column.bad
    if not place:
        cell = next((c.strip() for c in column.cells if c.strip()), "")
        return f'{name}, column "{column.header}": "{cell[:40]}" is not a number.'
    return f"{name}, {place}"


def listed(names: Sequence[str]) -> str:
    """Names in quotes, divided by commas."""
    return ", ".join(f'"{n[:60]}"' for n in names)
