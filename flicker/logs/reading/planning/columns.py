"""What is known of the columns of a file, and what its reader was asked for."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, NamedTuple

import numpy as np

from flicker.base.arrays import Floats
from flicker.logs.errors import LogError, Question
from flicker.logs.reading.words import clock, numerals, odd_cells, units, vocabulary

Scan = Callable[[int], Iterable[Any]]  # all cells of a column, as Arrow columns of strings


class Found(StrEnum):
    """Where a unit was found."""

    HEADER = "header"
    UNITS_ROW = "units row"
    HEADING = "lines above the header"
    CELLS = "cells"
    UNIT_COLUMN = "column of units"
    METADATA = "metadata of the column"
    OPTION = "option"
    INFERRED = "inferred from the readings"
    DEFAULT = "default of arrays in memory"


class Kind(StrEnum):
    """What a column is that is neither time nor output."""

    RAIL = "rail"
    MAINS = "mains"
    TEMPERATURE = "temperature"
    BATTERY = "battery"
    STATISTIC = "average, minimum or maximum"
    SIGN = "sign"
    RANGE = "range"
    MODE = "mode"
    STATE = "status or words"
    COUNTER = "counter"
    COUNTS = "counts of a converter"
    UNIT = "unit of each reading"
    CHANNEL = "channel of each reading"
    AC = "alternating voltage"
    ELSE = "another quantity"


@dataclass(slots=True)
class Column:
    """A column as found: ``kind`` is number, stamp, text or empty; sample ``values`` of numbers, ``cells`` of text."""

    header: str
    position: int
    kind: str
    cells: Sequence[str] = ()
    values: Floats = field(default_factory=lambda: np.empty(0))
    decimals: int = 0
    form: clock.Form | None = None
    unit: str = ""  # stated beside the header (unit row, metadata)
    unit_from: Found = Found.UNITS_ROW
    cell_units: bool = False  # cells such as 12.3 mV
    time_cells: bool = False  # cells such as 0.5 s
    bad: str = ""  # the first cell that is no number,
    bad_line: int | None = None  # and its line

    @property
    def label(self) -> units.Label:
        """Name and unit of the column."""
        found = units.label(self.header)
        if not self.unit or not units.tidy(self.unit):
            return found
        if self.unit.strip() == "-" and set(vocabulary.words_of(found.name)) & vocabulary.TIME:
            return found  # none, for dates have none
        kind = units.kind_of(self.unit)
        if found.kind == "volts" and found.sure and kind == "volts":
            against = found.against or (self.unit if units.volts_per(self.unit) != units.volts_per(found.unit) else "")
            return units.Label(found.name, found.unit, "volts", True, against)
        if found.kind == "volts" and found.sure:
            return found
        name = found.name if found.kind in ("time", "other", "unknown") else self.header.strip()
        return units.Label(name, self.unit, "unknown" if kind == "none" else kind)

    @property
    def known(self) -> Floats:
        """Sample values that are finite."""
        return self.values[np.isfinite(self.values)]

    @property
    def words(self) -> set[str]:
        """Words of the header, in lower case."""
        return set(vocabulary.words_of(self.header))

    @property
    def name_words(self) -> set[str]:
        """Words of the header without its unit."""
        return set(vocabulary.words_of(self.label.name))

    @property
    def counts_rows(self) -> bool:
        """Whether the column counts its rows one by one."""
        values = self.known
        whole = values.size >= 5 and bool(np.all(values == np.round(values)))
        return whole and bool(np.mean(np.diff(values) == 1) > 0.98)

    @property
    def unnamed(self) -> bool:
        """Whether the file gives the column no name."""
        return re.fullmatch(r"column \d+|unnamed: ?\d+|", self.header.strip().lower()) is not None


@dataclass(frozen=True, slots=True)
class Channel:
    """A column to read: its position, cleaned name, volts (degrees) per unit, and its role. Outputs come first.

    ``zero`` is the reading at 0 V; ``unit_column``, ``sign_column`` and ``mode_column`` are positions of columns that
    tell unit, sign and kind of each reading.
    """

    position: int
    name: str
    volts: float
    role: str = "output"
    zero: float = 0.0
    unit: str = "V"
    found: Found = Found.HEADER
    unit_column: int | None = None
    sign_column: int | None = None
    mode_column: int | None = None

    @property
    def beside(self) -> tuple[int, ...]:
        """Positions of the columns that tell something of each reading."""
        return tuple(k for k in (self.unit_column, self.sign_column, self.mode_column) if k is not None)


class TimeColumns(NamedTuple):
    """How time is told: ``kind`` is number (``factor`` seconds per unit), stamp (one or two columns) or none.

    ``zero_s`` is where a count begins, seconds since 1970 (None where it tells no date); ``zoned`` whether that is
    universal time; ``means`` says the scale in words.
    """

    kind: str
    positions: tuple[int, ...] = ()
    forms: tuple[clock.Form, ...] = ()
    factor: float = 1.0
    zero_s: float | None = None
    zoned: bool = False
    means: str = ""
    cell_units: bool = False  # cells such as 0.5 s
    counted: bool = False  # at the interval that the lines above the header tell

    @property
    def read(self) -> tuple[int, ...]:
        """Positions of the columns that tell the time; none where it is counted."""
        return self.positions if self.kind != "none" else ()

    @property
    def interval_s(self) -> float | None:
        """Seconds from sample to sample where they are counted, None where a column tells the time."""
        return self.factor if self.kind == "none" else None


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the caller of `read_log` said about the file; None where the file is to tell."""

    channels: tuple[str, ...] | None = None
    unit: str | None = None
    units: tuple[tuple[str, str], ...] = ()  # of single columns
    sample_interval_s: float | None = None
    time_column: str | None = None
    time_unit: str | None = None
    day_first: bool | None = None
    date_order: str | None = None
    decimal: str | None = None
    thousands: str | None = None
    separator: str | None = None
    channel_column: str | None = None
    volts_per_count: float | None = None
    zero_count: float = 0.0
    missing_words: tuple[str, ...] = ()
    over_words: tuple[str, ...] = ()
    full_scale_V: float | None = None
    roles: tuple[tuple[str, str], ...] = ()
    marks_column: str | None = None
    may_lack: bool = False  # columns named by roles and marks_column
    legs: tuple[str, ...] = field(default=(), repr=False)  # columns of which a channel is the difference
    few: bool = field(default=False, repr=False)  # fewer than ten samples will do: others are read beside them
    plain_volts: bool = False  # arrays in memory: volts and seconds where nothing is said

    @property
    def order(self) -> str | None:
        """Order of day, month and year, where it was told."""
        if self.date_order is not None:
            return self.date_order
        return None if self.day_first is None else "dmy" if self.day_first else "mdy"


@dataclass(slots=True)
class Task:
    """A file while it is planned: what is known of it, what the caller said, and the notes that are to be told.

    ``kinds`` says what the columns are that may be no outputs, by position; those that are read all the same lose it.
    ``heading`` are the lines above the header, and ``interval_s`` the time from sample to sample that they tell. ``scan`` hands out all cells of
    a column, where the parts looked at do not settle a question. ``averages`` are read though the file holds their extremes, or are one extreme alone.
    """

    name: str
    columns: list[Column]
    wishes: Wishes
    heading: Sequence[str]
    scan: Scan | None = None
    interval_s: float | None = None
    notes: list[str] = field(default_factory=list)
    kinds: dict[int, Kind] = field(default_factory=dict)
    averages: list[Column] = field(default_factory=list)


def find_column(columns: Sequence[Column], wanted: str) -> Column | None:
    """The column of a name, with or without its unit; None where there is none."""
    asked = wanted.strip()

    def bare(title: str) -> str:
        return title.strip(" .:_").lower()

    ways = (
        [asked == "" and c.unnamed for c in columns],
        [c.header.strip() == asked for c in columns],
        [c.label.name == asked for c in columns],
        [bare(asked) in (bare(c.label.name), bare(c.header)) for c in columns],
    )
    return next((columns[fits.index(True)] for fits in ways if any(fits)), None)


def column_named(columns: Sequence[Column], wanted: str, name: str, argument: str) -> Column:
    """The column of a name, with or without its unit.

    Raises
    ------
    LogError
        If there is none.
    """
    found = find_column(columns, wanted)
    if found is not None:
        return found
    option = "--role" if argument == "roles" else f"--{argument.replace('_', '-')}"
    raise LogError(
        f'{name} has no column "{wanted}" ({argument}); it has {listed([c.header for c in columns[:12]])}; name one of them'
        f" with {argument} ({option})."
    )


def not_numbers(column: Column, name: str) -> LogError:
    """What to say of a column that holds words where numbers are wanted, or numbers that are written in a way of their own."""
    word = column.bad or next((c.strip() for c in column.cells if c.strip()), "")
    filled = [cell for cell in column.cells if cell.strip()]
    two_signs = numerals.only_with(word) or numerals.doubtful(word)
    if not filled or (sum(any(map(str.isdigit, cell)) for cell in filled) > 0.5 * len(filled) and not two_signs):
        held = f'cells such as "{word[:40]}" are not read as numbers' if word else "it holds no numbers"
        return LogError(
            f'{name}, column "{column.header}": {held}; write plain ones, such as 0.0048, or leave the column out with channels'
            " (--channels NAME)."
        )
    return not_a_number(name, "" if column.bad_line is None else f"line {column.bad_line}", column.header, word)


def not_a_number(
    name: str, place: str, title: str, cell: str, how: numerals.Numerals | None = None
) -> LogError:
    """What to say of a cell that is no number, may be two, or is one with a unit among others without (``how`` numbers are written)."""
    where = f"{place}, " if place else ""
    found = odd_cells.WITH_UNIT.fullmatch(cell.strip().strip('"'))
    with_unit = found is not None and units.volts_per(found["u"]) is not None
    digits = found["n"] if found is not None and with_unit else cell
    if how is not None and how.number(digits) is not None:
        return LogError(
            f'{name}, {where}column "{title}": "{cell[:40]}" carries {"a" if with_unit else "no"} unit, unlike other cells of the'
            " column; write it in every cell or in none, or leave the column out with channels (--channels NAME)."
        )
    sign = numerals.only_with(digits)
    if sign or numerals.doubtful(digits):
        return Question(
            f'{name}, {where}column "{title}": "{cell[:40]}" may hold a decimal sign or a thousands separator; {numerals.ASK}.',
            decimal=sign or ".",
        )
    word = numerals.unquoted(cell)[:40].replace("'", "")
    return Question(
        f'{name}, {where}column "{title}": "{cell[:40]}" is not a number. Say what it means with missing_words=(\'{word}\',) or'
        f' over_words=(\'{word}\',) (--missing-word "{word}" or --over-word "{word}"), or leave the column out with channels'
        " (--channels NAME).",
        missing_words=[word],
    )


def listed(names: Sequence[str]) -> str:
    """Names in quotation marks, divided by commas."""
    return ", ".join(f'"{n[:60]}"' for n in names)
