"""Does a stretch differ from what lies beside it all at once? Swing of a channel in cells of half a minute.

What a lead, a relay or a switch does begins between one second and the next; ripple, slow noise and the rounding of a
coarse digit swell and fade.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from flicker.base.middle import row_medians
from flicker.signals.connection.movement import CELL, REACH, View, change_place
from flicker.signals.order_statistics import row_quantiles

Floats = NDArray[np.float64]

# Common practice, no source: chosen by hand on study_connection.py, not measured one by one; what the rules do together
# and each off in turn is measured in tests/studies/results/lead.md and connection.md.
BESIDE = 5  # cells on each side of a border that must differ
RATIO = 1.8  # of how far the channel swings
UNLIKE = 1.4  # where another sign stands beside it


def swings(value: Floats) -> Floats:
    """Swing of the middle eight tenths of each cell."""
    size = value.size // CELL * CELL
    if size == 0:
        return np.empty(0)
    low, high = row_quantiles(value[:size].reshape(-1, CELL), (0.1, 0.9))
    return high - low


def loudness(view: View, part: slice = slice(None), *, fast: bool = False) -> Floats:
    """Logarithm of the swing in each cell, or ``fast`` within its blocks; two counts are no more than twice none."""
    if fast:
        size = view.high[part].size // CELL * CELL
        swing = row_medians((view.high[part] - view.low[part])[:size].reshape(-1, CELL))
    else:
        swing = swings(view.middle[part])
    return np.asarray(np.log(swing + view.resolution_V + 1e-6))


def all_at_once(view: View, first: int, last: int, ratio: float = RATIO, *, fast: bool = False) -> bool:
    """Does the channel reach farther right within each border of a stretch than right beside it, if the log shows one?"""
    shown, span = False, BESIDE * CELL
    for place, way in ((first, 1), (last, -1)):
        if min(place, view.size - place) < 3 * CELL:
            continue
        shown = True
        before, after = (
            _reach(view, part, fast) for part in (slice(max(place - span, 0), place), slice(place, place + span))
        )
        if (after < ratio * before) if way > 0 else (before < ratio * after):
            return False
    return shown


def _reach(view: View, part: slice, fast: bool) -> float:
    """How far the channel swings in a stretch."""
    low, high = (view.low, view.high) if fast else (view.middle, view.middle)
    return float(np.quantile(high[part], 0.95) - np.quantile(low[part], 0.05)) + 0.5 * view.resolution_V


def edge(view: View, place: int) -> int:
    """Move the border of a stretch to the block where level, spread or movement change."""
    if place == 0 or place >= view.size:
        return min(place, view.size)
    lo, hi = max(0, place - REACH), min(view.size, place + REACH)
    return lo + change_place(view.middle[lo:hi], view.move[lo:hi], view.resolution_V)
