"""Does a stretch differ from what lies beside it all at once? Swing of a channel in cells of half a minute.

What a lead, a relay or a switch does begins between one second and the next; ripple, slow noise and the rounding of a
coarse digit swell and fade.
Numbers: common practice, no source, tried by hand on `study_connection.py` (seeds below 5000) and its second generator.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from flicker.signals.connection.movement import View, change_place
from flicker.signals.order_statistics import row_quantiles

Floats = NDArray[np.float64]

# Where a line names no origin: chosen when the rules were made, not measured one by one; what the rules do together
# and each off in turn is measured in tests/studies/results/lead.md and connection.md.
CELL = 32  # blocks in which pick-up has time to swing
BESIDE = 5  # cells on each side of a border that must differ
RATIO = 1.8  # of the swing, within half a minute or within a second
UNLIKE = 1.4  # where another sign stands beside it
LOUD_V = 0.0012  # pick-up weaker than this is not told from noise
FARTHER = 2.0  # ratio of the reach where another sign stands beside it
OFTEN = 0.65  # share of pairs of cells
REACH = 128  # blocks within which a border is looked for


def swings(middle: Floats) -> Floats:
    """Swing of the middle eight tenths of each cell."""
    cells = middle[: middle.size // CELL * CELL].reshape(-1, CELL)
    if cells.size == 0:
        return np.empty(0)
    low, high = row_quantiles(cells, (0.1, 0.9))
    return high - low


def all_at_once(view: View, first: int, last: int, resolution_V: float, ratio: float = RATIO) -> bool:
    """Is a stretch louder right beside each of its borders, wherever the log shows one?"""
    shown = False
    for place, side in ((first, 1), (last, -1)):
        outer = _loudness(view, place, -side, resolution_V)
        inner = _loudness(view, place, side, resolution_V)[: max((last - first) // CELL, 1)]
        if outer.size < 3 or inner.size < 3:
            continue
        shown = True
        if float(np.median(inner)) - float(np.median(outer)) < np.log(ratio):
            return False
        if reach(view, place, side) < UNLIKE * reach(view, place, -side):
            return False  # hum whose beat went from slow to fast swings no farther
        if float(np.mean(inner[:, None] - outer[None, :] > np.log(1.1))) < OFTEN:
            return False
    return shown


def farther_at_once(view: View, first: int, last: int, ratio: float = FARTHER) -> bool:
    """Does the channel reach farther at once at each border the log shows?"""
    shown = False
    for place, side in ((first, 1), (last, -1)):
        if min(place, view.size - place) < 3 * CELL:
            continue
        shown = True
        if reach(view, place, side) < ratio * reach(view, place, -side):
            return False
    return shown


def reach(view: View, place: int, side: int) -> float:
    """How far the channel swings in all the cells on one side of a block."""
    span = BESIDE * CELL
    part = view.middle[place : place + span] if side > 0 else view.middle[max(place - span, 0) : place]
    return float(np.quantile(part, 0.95) - np.quantile(part, 0.05)) + 0.5 * view.resolution_V


def _loudness(view: View, place: int, side: int, resolution_V: float) -> Floats:
    """Logarithm of the swing in the cells after (``side`` 1) or before (-1) a block."""
    span = BESIDE * CELL
    part = view.middle[place : place + span] if side > 0 else view.middle[max(place - span, 0) : place][::-1]
    return np.asarray(np.log(swings(part) + 0.5 * resolution_V + 1e-6))


def edge(view: View, place: int, resolution_V: float) -> int:
    """Move the border of a stretch to the block where level, spread or movement change."""
    if place == 0 or place >= view.size:
        return min(place, view.size)
    lo, hi = max(0, place - REACH), min(view.size, place + REACH)
    return lo + change_place(view.middle[lo:hi], view.move[lo:hi], resolution_V)
