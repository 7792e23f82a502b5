"""Search of level changes in a series of block means whose noise may be autocorrelated or 1/f.

The best places for each number of changes are proposed by least squares; the statistic here decides whether noise alone
would do as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from flicker.base.arrays import Floats, Ints
from flicker.stats.levels import change_tables as tables
from flicker.stats.levels.best_cuts import best_cuts
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
