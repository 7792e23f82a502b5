"""Did the unit of the readings change within a log? A level and its noise that become a thousandth, or a thousand times, at once.

A logger that begins anew may write volts under a heading that says millivolts. What follows reads like a quiet output near
zero, whatever the output does: a rest at 10 V reads 10 mV. A stage that sleeps, or a lead in the air, makes level and noise
smaller as well, but hardly both of them by the thousand that lies between units.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flicker.base.arrays import Bools, Floats
from flicker.evidence.guard.awake import MOVING
from flicker.signals.guard.figures import ChannelFigures

STEP = 3.0  # powers of ten from unit to unit, by definition
LEVEL_OFF = 0.08  # of a power of ten, some 20 %: a level at rest moves by less within a quarter of an hour; a choice
NOISE_OFF = 0.2  # noise by a factor of 1.6, where a coarse digit hides a part of it; a choice
BORDER = 3  # cells from one of two cells before to one of two after, by definition: the one between them holds the change


def unit_changed(mine: Sequence[ChannelFigures]) -> bool:
    """Whether in some stretch of a channel two cells and the next two but one differ by units in level and in noise."""
    return any(_changed(own) for own in mine)


def _changed(own: ChannelFigures) -> bool:
    order = np.argsort(own.begin_s, kind="stable")
    size = order.size
    if size < BORDER + 2:
        return False
    level, noise, unmoved = own.median_V[order], own.step_V[order], own.unmoved[order]
    apart = np.zeros(size - BORDER - 1, dtype=bool)
    for way in (1.0, -1.0):
        found = np.ones(apart.size, dtype=bool)
        for first in (0, 1):
            for second in (BORDER, BORDER + 1):
                pair = slice(first, first + apart.size), slice(second, second + apart.size)
                found &= _by_units(level, pair, way, LEVEL_OFF) & _by_units(noise, pair, way, NOISE_OFF)
                found &= np.maximum(unmoved[pair[0]], unmoved[pair[1]]) < MOVING
        apart |= found
    return bool(apart.any())


def _by_units(values: Floats, pair: tuple[slice, slice], way: float, off: float) -> Bools:
    """Whether the second of each pair is so many times the first as one unit is of another, larger or smaller."""
    with np.errstate(divide="ignore", invalid="ignore"):
        tens = np.nan_to_num(way * np.log10(values[pair[1]] / values[pair[0]]), posinf=0.0, neginf=0.0)
    units = np.rint(tens / STEP)
    return np.asarray((units >= 1.0) & (np.abs(tens - STEP * units) <= off))
