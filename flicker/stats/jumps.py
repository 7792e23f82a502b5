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
PART = 64  # readings whose range is looked at first: at least twice the largest scale; a choice for speed
FEW = 0.25  # of all places: then differences are looked at one by one; a choice for speed
AT_ONCE = 4096  # differences counted at once; a choice for speed
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
    """Signed sizes of the `jumps` at each of `SCALES`; the last digit is asked for, once, only where it may decide.

    Differences are not divided by the scale before the end: as a power of two it changes no digit of them.
    """
    out = [np.empty(0) for _ in SCALES]
    places = _may_jump(readings)
    if not places.size:
        return out
    few = places.size < FEW * readings.size
    sums = np.zeros(readings.size + 1)  # of all readings up to each place
    np.cumsum(readings, out=sums[1:])
    rooms = np.empty((2, 0 if few else readings.size))  # in use again and again: new memory costs more than what is done in it
    digit_V: float | None = None
    for number, scale in enumerate(SCALES):
        if readings.size < 8 * scale + 40:
            continue
        if few:
            here = places[: places.searchsorted(sums.size - 2 * scale)]
            total = sums[here + 2 * scale] - 2.0 * sums[here + scale] + sums[here]
            size = np.abs(total)
        else:
            total = _differences(sums, rooms[0], scale)
            size = np.abs(total, out=rooms[1, : total.size])
        least = scale * LEAST_V
        past = np.flatnonzero(size > least)
        if not past.size:
            continue
        digit_V = _deciding_digit(readings, resolution) if digit_V is None else digit_V
        if digit_V or not (few and _quiet(sums, scale, float(size[past].min()))):
            every = np.abs(_differences(sums, np.empty(readings.size), scale)) if few else size
            past = np.flatnonzero(size > max(SIGMAS * _step_sigma(every, math.sqrt(scale) * digit_V), least))
        if past.size:
            up, size = total[past] > 0, size[past]
            first = _firsts(here[past] if few else past, up)
            largest = np.maximum.reduceat(size, first)
            out[number] = np.where(up[first], largest, -largest) / scale
    return out


def _may_jump(readings: Floats) -> Ints:
    """Places at which a jump of any scale may begin, by the range of the readings around."""
    first = np.arange(0, readings.size, PART)
    low, high = np.minimum.reduceat(readings, first), np.maximum.reduceat(readings, first)
    low[:-1], high[:-1] = np.minimum(low[:-1], low[1:]), np.maximum(high[:-1], high[1:])
    hot = first[high - low > 0.999 * LEAST_V]  # sums are rounded
    return np.asarray((hot[:, None] + np.arange(PART)).ravel())


def _quiet(sums: Floats, scale: int, smallest: float) -> bool:
    """Whether `SIGMAS` are less than the smallest difference that may be a jump: then it is one, and the larger are.

    So it is where a quarter of all differences are small enough, which most often some of them show.
    """
    least = smallest * QUARTER / SIGMAS * (1.0 - 1e-9)
    count = sums.size - 2 * scale
    missing = int(0.25 * (count - 1) + 0.5) + 1
    step = missing
    for at in range(0, count, step):
        size = _differences(sums[at : at + step + 2 * scale], np.empty(step), scale)
        missing -= int(np.count_nonzero(np.abs(size, out=size) <= least))
        if missing <= 0:
            return True
    return False


def _deciding_digit(readings: Floats, resolution: Callable[[], float]) -> float:
    """The last digit, or 0 where it is below 2 LEAST_V / SIGMAS: with a coarser one nearly all steps are none, or as large."""
    missing = FINE_SHARE * (readings.size - 1)
    for at in range(0, readings.size - 1, AT_ONCE):
        step = np.abs(np.diff(readings[at : at + AT_ONCE + 1]))
        missing -= np.count_nonzero((step > DIGIT_V[0]) & (step < DIGIT_V[1]))
        if missing < 0:
            return 0.0
    return resolution()


def _differences(sums: Floats, room: Floats, scale: int) -> Floats:
    """Sum of the next readings less that of the last, at each place with ``scale`` of them on both sides."""
    out = np.multiply(sums[scale:-scale], -2.0, out=room[: sums.size - 2 * scale])
    out += sums[2 * scale :]
    out += sums[: -2 * scale]
    return out


def _firsts(past: Ints, up: Bools) -> Ints:
    """Where, in ascending places beyond a threshold, each jump begins: neighbouring places of one sign are one."""
    begins = np.ones(past.size, dtype=bool)
    begins[1:] = (past[1:] - past[:-1] > 1) | (up[1:] != up[:-1])
    return np.flatnonzero(begins)
