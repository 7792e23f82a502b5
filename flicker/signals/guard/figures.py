"""What the guard keeps of a stretch of a log: segments, cells of five minutes, swings, blanks. Frozen arrays.

Nothing is subtracted here and nothing is explained: volts as read. The judge is `flicker.evidence.guard`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Choices, measured on simulated benches (the guard's page of rules).
CELL_S = 300.0
HOUR_CELLS = 12  # an hour of cells tells what is usual of a channel, and what lasts; by definition of an hour
SWING_V = 0.015  # from the cell's median: a swing,
LARGE_V = 0.040  # and a large one
BEYOND_V = 0.050
APART_S = 10.0  # readings farther apart than this belong to two swings
NEIGHBOUR_S = 2.0  # a neighbour's swing so near may be all there is of one's own (crosstalk, jumps)
RESTLESS = 0.03  # a neighbour that swings for more of its readings excuses nothing
BY_PLAN = 0.9  # of a channel's readings lie equally far apart where the rows between are empty by plan
GRACE_S = 8.0  # an output relay closes within
MEDIAN_S = 4.0  # of which the first half tells an open lead from volts that are there from the start
STEP_V = 0.005  # a swing is no noise: larger steps count as this
STARTS_S = (30.0, 120.0)  # the surge may last so long; cells begin after the second

HEAD = 9  # figures of the first seconds of a segment, by definition (`ChannelFigures.head`)

RULES = 71  # number of the rules for a clearance; raised with every change, so that no answer kept by older ones is used

BEGIN, SWITCHED_ON, MARK, WOKEN = 0, 1, 2, 3  # what begins a segment, by definition; the last without a surge,
CAME_BACK = (SWITCHED_ON, WOKEN)  # of a unit that was off


@dataclass(frozen=True, slots=True)
class ChannelFigures:
    """One channel through one stretch.

    Cells, arrays of shape (cells,): ``segment``; ``late`` is True for a first cell taken from `STARTS_S` on, to be used
    in place of the whole one after a power-up; ``begin_s``; ``median_V``, ``low_V`` and ``high_V`` (1 and 99 %) of
    its readings; ``alone_V`` the 1 to 99 % range without what may be crosstalk, of the channels in ``alone_by`` (a bit
    each); counts of ``readings``, of those ``beyond`` `BEYOND_V`, and ``away`` (farther than `LARGE_V` from the
    median); ``peak_V`` the largest size, ``far_V`` the largest distance from the median.

    Swings, arrays of shape (swings,): ``swing_segment``, ``swing_late``, ``swing_begin_s``, ``swing_end_s``,
    ``swing_V`` the largest distance from the median; those beyond `LARGE_V` a second time, marked ``swing_large``; and ``swing_by``, the channels whose crosstalk it may be (a bit each; 0: its own).

    Life of each cell: ``step_V`` the mean step from reading to reading (each at most `STEP_V`), ``unmoved`` the share of
    readings that repeat the one before, ``digit_V`` the smallest step. Where rows of a cell are not equally far apart: its
    seconds ``uneven_s`` (else 0), those with a reading beyond `BEYOND_V` ``beyond_s``; median and range are by time there.
    ``same_as`` the channels (a bit each) that keep within one such step of it, reading by reading, or whose readings it
    shows a fixed part of.

    ``head`` of shape (segments, 9): signed median of the first `MEDIAN_S` (three readings at least), then the largest size up to `GRACE_S`, to the
    first and to the second of `STARTS_S`, and the largest distances from the median of what follows in these times, last least and largest reading up to `GRACE_S`; NaN where nothing was read. ``anew`` of shape (segments,): what came before was
    another setting. ``started`` of shape (1 or 0, 4): when a channel started that had been at zero alone since the first reading, and its largest
    sizes until 8 s and until each of `STARTS_S` later. ``blank_rows`` of shape (n, 3): the channel that had a reading meanwhile (-1: any, -2: none
    had, -3: whatever the others had), the length in rows, how often. ``over`` counts stretches over range. Beside the guard's own: ``jumps`` between levels, up and down, of shape
    (scales, 2), and their middle size ``jump_V`` of shape (scales,), by `flicker.stats.jumps.SCALES`.
    """

    segment: Ints
    late: Bools
    begin_s: Floats
    median_V: Floats
    low_V: Floats
    high_V: Floats
    alone_V: Floats
    alone_by: Ints
    readings: Ints
    beyond: Ints
    away: Ints
    peak_V: Floats
    far_V: Floats
    step_V: Floats
    unmoved: Floats
    digit_V: Floats
    uneven_s: Floats
    beyond_s: Floats
    same_as: Ints
    swing_segment: Ints
    swing_late: Bools
    swing_begin_s: Floats
    swing_end_s: Floats
    swing_V: Floats
    swing_large: Bools
    swing_by: Ints
    head: Floats
    anew: Bools
    started: Floats
    blank_rows: Ints
    over: Ints
    jumps: Ints
    jump_V: Floats

    def arrays(self) -> Iterator[tuple[str, NDArray[Any]]]:
        """All arrays by name."""
        for item in fields(self):
            yield item.name, getattr(self, item.name)


class StretchFigures(NamedTuple):
    """All channels of one stretch; segments of shape (segments,): when they begin and end, and what begins them."""

    begin_s: Floats
    end_s: Floats
    kind: Ints
    channels: tuple[ChannelFigures, ...]


CHANNEL_ARRAYS = tuple(item.name for item in fields(ChannelFigures))
