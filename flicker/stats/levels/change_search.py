"""Search of level changes in a series of block means whose noise may be autocorrelated or 1/f, and their exact places.

The best places for each number of changes are proposed by least squares; the statistic here decides whether noise alone
would do as well. The values around a change tell its place, with an interval.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from flicker.base.arrays import Floats, Ints
from flicker.stats.levels import change_tables as tables
from flicker.stats.levels.table_tails import tail_chance, tail_value


@dataclass(frozen=True, slots=True)
class Critical:
    """Critical values for one kind of noise."""

    weights: Mapping[int, tuple[float, ...]]
    joint: Mapping[int, tuple[float, ...]]
    single: Mapping[int, tuple[float, ...]]


SLOW = Critical(tables.WEIGHTS, tables.JOINT, tables.SINGLE)  # 1/f and milder
WHITE = Critical(tables.WEIGHTS_WHITE, tables.JOINT_WHITE, tables.SINGLE_WHITE)

FEWEST = 10  # blocks; below that the table has no row
MOST = 50
SHORTEST = 2


def row(blocks: int) -> int:
    """Return the table row for a number of blocks: the next smaller, whose critical values are the larger ones."""
    return max(key for key in SLOW.weights if key <= blocks)


def residual_scale(values: Floats, cuts: tuple[int, ...]) -> tuple[float, float]:
    """Return what the cuts leave of the sum of squares, and the long-run scale of that (AR(1))."""
    starts = np.array([0, *cuts])
    sizes = np.diff(np.append(starts, values.size))
    rest = values - np.repeat(np.add.reduceat(values, starts) / sizes, sizes)
    power = float(rest @ rest)
    if power <= 0.0:
        return 0.0, 0.0
    rho = float(np.clip(rest[1:] @ rest[:-1] / power, 0.0, 0.95))
    return power, float(np.sqrt(power / (values.size - len(cuts) - 1) * (1 + rho) / (1 - rho)))


def statistic(values: Floats, cuts: tuple[int, ...], floor: float) -> float:
    """T_K: root mean gain per change over the long-run scale of what is left, which is never below ``floor``."""
    power, scale = residual_scale(values, cuts)
    centred = values - values.mean()
    gain = float(centred @ centred) - power
    scale = max(scale, floor)
    return float(np.sqrt(max(gain, 0.0) / len(cuts)) / scale) if scale > 0 else (np.inf if gain > 0 else 0.0)


def best_single(values: Floats) -> int:
    """Return the first block of the new level, for one change by least squares."""
    n = values.size
    left = np.arange(1, n)
    gain = np.cumsum(values - values.mean())[:-1] ** 2 * (1 / left + 1 / (n - left))
    return int(np.argmax(gain[SHORTEST - 1 : n - SHORTEST])) + SHORTEST


def screen(values: Floats, floor: float, critical: Critical) -> bool:
    """Say cheaply whether a change is possible at all: as far off as half of 1/f logs are, in whole or in part."""
    key = row(values.size)
    if statistic(values, (best_single(values),), floor) > critical.single[key][0]:
        return True
    steps = np.abs(np.diff(values))
    noise = max(1.0484 * float(np.median(steps)), floor)  # 1.4826 / sqrt 2
    running = np.concatenate([[0.0], np.cumsum(values)])
    for wide in (2, 4, 8):
        if 2 * wide > values.size:
            break
        means = (running[wide:] - running[:-wide]) / wide
        jump = float(np.abs(means[wide:] - means[:-wide]).max())
        if jump * np.sqrt(wide / 2) > 4.5 * noise:
            return True
    return False


def decide(values: Floats, alpha: float, floor: float, critical: Critical) -> tuple[tuple[int, ...], float]:
    """Return the cuts of the smallest model that noise does not explain, and its p-value; no cuts where noise does."""
    values = values - values.mean()
    if not screen(values, floor, critical):
        return (), 1.0
    key = row(values.size)
    bound = tail_value(critical.joint[key], alpha)
    weights = critical.weights[key]
    best = 0.0
    found: tuple[int, ...] = ()
    for cuts, weight in zip(best_cuts(values, len(weights), SHORTEST), weights, strict=False):
        ratio = statistic(values, cuts, floor) / weight
        if ratio >= bound and not found:
            found = cuts
        best = max(best, ratio)
    return found, tail_chance(critical.joint[key], best, 8.0)


def local_statistics(values: Floats, cuts: tuple[int, ...], floor: float) -> Floats:
    """|step| of each cut over its error, with the long-run scale of all that is left."""
    scale = max(residual_scale(values, cuts)[1], floor)
    edges = [0, *cuts, values.size]
    out = np.empty(len(cuts))
    for j in range(len(cuts)):
        before, after = values[edges[j] : edges[j + 1]], values[edges[j + 1] : edges[j + 2]]
        gain = abs(after.mean() - before.mean()) / np.sqrt(1 / before.size + 1 / after.size)
        out[j] = gain / scale if scale > 0 else (np.inf if gain > 0 else 0.0)
    return out


def drop_weak(values: Floats, cuts: tuple[int, ...], alpha: float, floor: float, critical: Critical) -> tuple[int, ...]:
    """Take away cuts that only served the others, weakest first; the strongest stays."""
    bound = tail_value(critical.single[row(values.size)], alpha)
    while len(cuts) > 1:
        sizes = local_statistics(values, cuts, floor)
        weakest = int(np.argmin(sizes))
        if sizes[weakest] >= bound:
            break
        cuts = cuts[:weakest] + cuts[weakest + 1 :]
    return cuts


def blocks_of(y: Floats, blocks: int) -> tuple[Floats, Ints]:
    """Return robust means of equal stretches (the middle half of four or more values) and their first indices."""
    n = y.size
    starts = (np.arange(blocks + 1, dtype=np.int64) * n) // blocks
    sizes = np.diff(starts)
    short = int(sizes.min())
    if short < 4:
        return np.add.reduceat(y, starts[:-1]) / sizes, starts[:-1]
    # stretches differ by one value at most: the odd one is left out of the mean
    table = np.sort(y[starts[:-1, None] + np.arange(short)[None, :]], axis=1)
    return table[:, short // 4 : short - short // 4].mean(axis=1), starts[:-1]


def best_cuts(values: Floats, most: int, shortest: int) -> list[tuple[int, ...]]:
    """Cut a series so that the squared distances to the means of the parts are least, once for each number of cuts.

    Parameters
    ----------
    values : array, shape (n,)
        A short series: memory and time go with its square.
    most : int
        Largest number of cuts; fewer where the series is too short.
    shortest : int
        Fewest values in a part, 1 or more.

    Returns
    -------
    list of tuple of int
        For 1, 2, ... cuts the first indices of the new parts.

    Notes
    -----
    Dynamic programming (Bellman 1961, from memory) by ruptures: KernelCPD with the linear kernel (Truong, Oudre and
    Vayatis 2020, Signal Processing 167, 107299). Imported here, as that takes most of a second: only a log in which a
    change of level is possible at all needs it.
    """
    from ruptures import KernelCPD

    count = min(most, values.size // shortest - 1)
    if count < 1:
        return []
    search = KernelCPD(kernel="linear", min_size=shortest).fit((values - values.mean())[:, None])
    search.predict(n_bkps=count)  # finds the best places for each smaller number on the way
    return [tuple(int(at) for at in search.predict(n_bkps=k)[:-1]) for k in range(1, count + 1)]


_NEAR_BLOCKS = 3.0  # how far from the proposed place to look, in fiftieths of the stretch
_DEVIANCE = 8.0  # see study_changepoints: coverage of places


def locate(values: Floats, cut: int) -> tuple[int, int, int]:
    """Return the first index of the new level and the lowest and highest that the values allow.

    Least squares between two known levels: the running sum of distances to the midpoint has its minimum at the
    change, and twice the step times its excess over the minimum, over the long-run variance, is the deviance of every
    other place.
    """
    n = values.size
    reach = max(2, int(np.ceil(_NEAR_BLOCKS * n / 50)))
    near = 4 * reach
    first, last = max(1, cut - reach), min(n - 1, cut + reach)
    left = values[max(0, min(first, cut - 1) - near) : max(first, 1)]
    right = values[min(last, n - 1) : min(n, last + near)]
    a, b = float(np.median(left)), float(np.median(right))
    if a == b:
        return cut, first, last
    part = values[first:last]
    rest = np.concatenate([left - a, right - b])
    variance = float(np.mean(rest**2))
    limit = abs(b - a) / 2 + 3 * np.sqrt(variance)
    towards = np.clip((part - (a + b) / 2) * np.sign(b - a), -limit, limit)
    running = np.concatenate([[0.0], np.cumsum(towards)])
    best = int(np.argmin(running))
    if variance <= 1e-12 * (b - a) ** 2:  # no noise to speak of: the place is sure
        return first + best, first + best, first + best
    rho = float(np.clip(rest[1:] @ rest[:-1] / (rest @ rest), 0.0, 0.98))
    deviance = 2 * abs(b - a) * (running - running[best]) / (variance * (1 + rho) / (1 - rho))
    allowed = np.flatnonzero(deviance <= _DEVIANCE)
    return first + best, first + int(allowed[0]), first + int(allowed[-1])


def abruptness(values: Floats, cut: int) -> float:
    """Return how far the jump at ``cut`` stands out from jumps elsewhere in the stretch, over the best of several
    widths.

    The jump of a width is the mean of that many values after a place less the mean of as many before it; it is taken
    over its root mean square at all places whose windows do not reach over ``cut``. Noise of any colour, a random
    walk and a slope included, has no place that stands out; a step has. 0 where the stretch is too short to compare.
    """
    n = values.size
    running = np.concatenate([[0.0], np.cumsum(values - values[0])])
    best = 0.0
    for wide in _widths(n):
        if cut < wide or cut + wide > n:
            break
        means = (running[wide:] - running[:-wide]) / wide
        jumps = means[wide:] - means[:-wide]
        elsewhere = np.concatenate([jumps[: max(cut - 2 * wide + 1, 0)], jumps[cut:]])
        if elsewhere.size < 4 * wide:
            break
        usual = float(np.sqrt(np.mean(elsewhere**2)))
        jump = abs(float(jumps[cut - wide]))
        best = max(best, jump / usual if usual > 0 else (np.inf if jump > 0 else 0.0))
    return best


def _widths(n: int) -> list[int]:
    """Widths to compare, each half as wide again as the one before, up to a sixth of the stretch."""
    growing = itertools.takewhile(lambda wide: wide <= max(1, n / 6), (1.5**k for k in itertools.count()))
    return sorted({int(wide) for wide in growing})
