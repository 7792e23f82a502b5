"""Does a stretch differ from what lies beside it all at once? Swing of a channel in cells of half a minute.

What a lead, a relay or a switch does begins between one second and the next; ripple, slow noise and the rounding of a
coarse digit swell and fade.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from flicker.signals._movement import View, change_place

Floats = NDArray[np.float64]

CELL = 32  # blocks in which pick-up has time to swing
BESIDE = 5  # cells on each side of a border that must differ
RATIO = 1.8
OFTEN = 0.78  # share of pairs of cells
REACH = 128  # blocks within which a border is looked for


def swings(middle: Floats) -> Floats:
    """Swing of the middle eight tenths of each cell."""
    cells = middle[: middle.size // CELL * CELL].reshape(-1, CELL)
    if cells.size == 0:
        return np.empty(0)
    return np.asarray(np.quantile(cells, 0.9, axis=1) - np.quantile(cells, 0.1, axis=1))


def all_at_once(view: View, first: int, last: int, resolution_V: float, sign: int) -> bool:
    """Is a stretch louder (``sign`` 1) or quieter (-1) right beside each of its borders, wherever the log shows one?"""
    shown = False
    for place, side in ((first, 1), (last, -1)):
        outer = _loudness(view, place, -side, resolution_V)
        inner = _loudness(view, place, side, resolution_V)[: max((last - first) // CELL, 1)]
        if outer.size < 3 or inner.size < 3:
            continue
        shown = True
        if sign * (float(np.median(inner)) - float(np.median(outer))) < np.log(RATIO):
            return False
        if float(np.mean(sign * (inner[:, None] - outer[None, :]) > np.log(1.1))) < OFTEN:
            return False
    return shown


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
