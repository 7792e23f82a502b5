"""Does a reading jump between levels, and how much does it differ from one reading to the next? Readings in, jumps out.

Knows nothing of files or channels. The one sigma for thresholds is taken from reading to reading: jumps, drift and slow
wander do not raise it, so that a channel cannot hide its swings behind its own restlessness.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from flicker.base import check
from flicker.base.arrays import Bools, Floats, Ints

__all__ = ["reading_sigma"]


SCALES = (1, 2, 4, 8)  # readings averaged on each side of a jump
LEAST_V = 0.006
SIGMAS = 7.0
LEAST_JUMPS = 4  # two up and two down
DIGIT_V = (1e-5, 1.5e-3)  # steps of a reading that a digit of 2 LEAST_V / SIGMAS or more cannot make, and
FINE_SHARE = 0.3  # how many of them show a finer one: a tenth of the readings may be no multiples; choices for speed
QUARTER = 0.3186  # lower quartile of the size of a standard normal number


def _step_sigma(size: Floats, resolution: float) -> float:
    """Sigma of differences from the lower quarter of their sizes: half of the readings may take part in jumps."""
    if size.size == 0:
        return max(0.5 * resolution, 1e-9)
    place = int(0.25 * (size.size - 1) + 0.5)
    return max(float(np.partition(size, place)[place]) / QUARTER, 0.5 * resolution, 1e-9)


def reading_sigma(values: ArrayLike, *, resolution: float = 0.0) -> float:
    """Standard deviation of a reading, from the lower quarter of its differences from the one before.

    Parameters
    ----------
    values : array_like, shape (n,)
        Finite readings in order.
    resolution : float
        Last digit of the meter; the sigma of a difference is taken as half of it at least.

    Returns
    -------
    float
        In the unit of the readings.

    Raises
    ------
    ValueError
        If there are fewer than two readings, or one is not finite.

    Notes
    -----
    The lower quartile of the size of a normal number is 0.3186 sigma (any table of the normal law); a difference of two
    readings has sqrt(2) times the sigma of one.
    """
    readings = check.finite_array("values", values, least=2)
    resolution = check.positive("resolution", resolution, zero=True)
    return _step_sigma(np.abs(np.diff(readings)), resolution) / math.sqrt(2.0)


def sizes_by_scale(readings: Floats, resolution: Callable[[], float]) -> list[Floats]:
    """Signed sizes of the `jumps` at each of `SCALES`; the last digit is asked for only where it may decide.

    Differences are not divided by the scale before the end: as a power of two it changes no digit of them.
    """
    sums, twice = _sums(readings)
    rooms = np.empty((2, readings.size))  # in use again and again: new memory costs more than what is done in it
    digit_V: float | None = None
    out = []
    for scale in SCALES:
        out.append(np.empty(0))
        if readings.size < 8 * scale + 40:
            continue
        total = _differences(sums, twice, rooms[0], scale)
        if max(float(total.max()), -float(total.min())) <= scale * LEAST_V:
            continue
        digit_V = _deciding_digit(readings, rooms[1], resolution) if digit_V is None else digit_V
        size = np.abs(total, out=rooms[1, : total.size])
        least = scale * LEAST_V
        quiet = np.count_nonzero(size <= least * QUARTER / SIGMAS) > 0.25 * size.size + 1
        if digit_V or not quiet:
            least = max(SIGMAS * _step_sigma(size, math.sqrt(scale) * digit_V), least)
        past = np.flatnonzero(size > least)
        if past.size:
            up, size = total[past] > 0, size[past]
            first = _firsts(past, up)
            largest = np.maximum.reduceat(size, first)
            out[-1] = np.where(up[first], largest, -largest) / scale
    return out


def _deciding_digit(readings: Floats, room: Floats, resolution: Callable[[], float]) -> float:
    """The last digit, or 0 where it is below 2 LEAST_V / SIGMAS: with a coarser one nearly all steps are none, or as large."""
    step = np.subtract(readings[1:], readings[:-1], out=room[1:])
    np.abs(step, out=step)
    fine = np.count_nonzero((step > DIGIT_V[0]) & (step < DIGIT_V[1])) > FINE_SHARE * step.size
    return 0.0 if fine else resolution()


def _sums(readings: Floats) -> tuple[Floats, Floats]:
    """Sums of all readings up to each place, and twice as much."""
    sums = np.zeros(readings.size + 1)
    np.cumsum(readings, out=sums[1:])
    return sums, 2.0 * sums


def _differences(sums: Floats, twice: Floats, room: Floats, scale: int) -> Floats:
    """Sum of the next readings less that of the last, at each place with ``scale`` of them on both sides."""
    out = np.subtract(sums[2 * scale :], twice[scale:-scale], out=room[: sums.size - 2 * scale])
    out += sums[: -2 * scale]
    return out


def _firsts(past: Ints, up: Bools) -> Ints:
    """Where, in ascending places beyond a threshold, each jump begins: neighbouring places of one sign are one."""
    begins = np.ones(past.size, dtype=bool)
    begins[1:] = (past[1:] - past[:-1] > 1) | (up[1:] != up[:-1])
    return np.flatnonzero(begins)
