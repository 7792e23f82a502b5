"""Rows just read, kept until their cell is complete; of fast logs only extremes of short groups and drawn readings.

One drawn reading per equal stretch of rows, its place in the stretch a hash of the stretch's number: a fixed stride would
alias hum, and means would hide it. The row number is the log's own, so that batches do not show.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flicker.logs.model import Piece
from flicker.signals.guard.figures import BEYOND_V, CELL_S

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Readings = NDArray[np.floating]

# readings of a cell whose order statistics are taken; by the rule of clearance (a fixed stride aliases hum)
MOST_DRAWN = 10_000
MOST_HELD = 1 << 19  # rows of a cell held as they are; a choice: bounds memory
GROUPS = 10  # in a block, where rows are not held; chosen, not measured


@dataclass(frozen=True, slots=True)
class Plan:
    """How rows are kept: one of ``stride`` is drawn (1: all), extremes of ``groups`` in a block (0: rows themselves)."""

    stride: int
    held: bool

    @classmethod
    def of(cls, cadence_s: float) -> Plan:
        """Plan for a log with this step."""
        rows = CELL_S / cadence_s if cadence_s > 0 else 1.0
        return cls(max(1, math.ceil(rows / MOST_DRAWN)), rows <= MOST_HELD)


def drawn_rows(first: int, last: int, stride: int) -> Ints:
    """Rows drawn from ``first`` to ``last`` (half open)."""
    number = np.arange(first // stride, -(-last // stride), dtype=np.uint64)
    mixed = (number + np.uint64(1)) * np.uint64(0x9E3779B97F4A7C15)  # splitmix64 (Steele, Lea and Flood 2014)
    mixed = (mixed ^ (mixed >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    mixed ^= mixed >> np.uint64(31)
    row = (number * np.uint64(stride) + mixed % np.uint64(stride)).astype(np.int64)
    return row[(row >= first) & (row < last)]


@dataclass(slots=True)
class Part:
    """One channel of a chunk. ``low`` and ``high`` per group (or per reading), ``block_low`` and so on per block."""

    low: Readings
    high: Readings
    finite: Ints | None
    beyond: Ints | None
    drawn_V: Readings
    block_low: Floats
    block_high: Floats
    block_finite: Ints


@dataclass(slots=True)
class Chunk:
    """Whole blocks in a row. ``time_s`` per group (or reading); ``per_block`` of them make a block."""

    time_s: Floats
    per_block: int
    drawn_s: Floats
    parts: tuple[Part, ...]

    @property
    def last_s(self) -> float:
        """Time of the last group."""
        return float(self.time_s[-1])


def chunk_of(
    piece: Piece,
    size: int,
    reduced: Sequence[dict[str, NDArray[Any]]],
    plan: Plan,
    leave_out: Sequence[NDArray[np.bool_] | None],
) -> Chunk:
    """Make a chunk of whole blocks of ``size`` rows; rows in ``leave_out`` of a channel are as if they were missing."""
    last = piece.first + piece.time_s.size
    rows = None if plan.stride == 1 else drawn_rows(piece.first, last, plan.stride) - piece.first
    per_block = size if plan.held else GROUPS if size % GROUPS == 0 else 1
    parts = []
    for values, block, out in zip(piece.values, reduced, leave_out, strict=True):
        low, high, finite = block["low"], block["high"], block["finite"]
        if out is not None:
            values = np.where(out, np.nan, values)
            low, high, finite = _extremes(values.reshape(-1, size))
        group: tuple[Readings, Readings, Ints | None, Ints | None] = values, values, None, None
        if not plan.held:
            grid = values.reshape(-1, size // per_block)
            with np.errstate(invalid="ignore"):
                beyond = np.count_nonzero(np.isfinite(grid) & (np.abs(grid) > BEYOND_V), axis=1)
            group = *_extremes(grid), beyond
        drawn = values if rows is None else values.take(rows)
        parts.append(Part(*group, drawn, low, high, finite))
    time_s = piece.time_s if plan.held else piece.time_s[:: size // per_block]
    return Chunk(time_s, per_block, piece.time_s if rows is None else piece.time_s.take(rows), tuple(parts))


def _extremes(grid: Readings) -> tuple[Floats, Floats, Ints]:
    """Smallest and largest finite reading of each row, and how many are finite."""
    low, high = grid.min(axis=1).astype(np.float64), grid.max(axis=1).astype(np.float64)
    finite = np.full(low.size, grid.shape[1], dtype=np.int64)
    for bad in np.flatnonzero(~(np.isfinite(low) & np.isfinite(high))):
        good = grid[bad][np.isfinite(grid[bad])]
        finite[bad] = good.size
        low[bad], high[bad] = (good.min(), good.max()) if good.size else (np.nan, np.nan)
    return low, high, finite
