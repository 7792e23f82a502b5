"""Where the channel rests: a baseline that follows slow wander and settled levels, not excursions, jumps or bursts.

Block times and middles in, a frozen `Baseline` out. Blocks are gathered into cells of some ten seconds (median); a
running median over up to half an hour passes over anything shorter than a quarter of an hour; where it jumps, a level
must be calm and last longer than an excursion may, or it is bridged. With a level that comes back, the reference is the
one nearest zero, not the one most often visited.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from flicker.base.arrays import Bools, Floats
from flicker.signals.order_statistics import group_quantiles, running_median
from flicker.signals.startup import Start

CELL_S = 10.0  # levels every ten seconds, 200 in a short log: chosen, not measured
MOST_CELLS = 40_000  # a choice: bounds memory
# A slow logger shows a swing as one reading or two: a level is at least so many cells, and the running median passes over
# as many. Common practice, no source.
LEVEL_CELLS = 3
# A level held for so long is where the channel rests, whether or not it comes back: a day away in a log of months is
# movement, an hour away in an evening a swing. A pause of six hours and more between files makes a power-up of its own, by the
# rule of clearance.
RESTS_S = 6 * 3600.0
CALM_SHARE = 0.6  # share of cells near the level that makes a stretch a level; chosen, not measured


class Level(NamedTuple):
    """A stretch at one level, seconds since the run's first sample; ``reference``: the baseline is there."""

    begin_s: float
    end_s: float
    level_V: float
    reference: bool


class Baseline(NamedTuple):
    """Piecewise linear baseline: volts ``knot_V`` at ``knot_s`` (ascending), plus the fitted surge of the start.

    ``cell_s`` and ``cell_V`` are the robust cell medians that it was made of, surge removed, with no baseline taken
    off; ``levels`` the stretches between jumps.
    """

    knot_s: Floats
    knot_V: Floats
    start: Start | None
    cell_s: Floats
    cell_V: Floats
    levels: tuple[Level, ...]

    def at(self, time_s: Floats) -> Floats:
        """Baseline in volts at the given times, seconds since the run's first sample."""
        slow = np.interp(time_s, self.knot_s, self.knot_V)
        return slow if self.start is None else slow + self.start.curve(np.asarray(time_s, dtype=np.float64))


def fit_baseline(
    time_s: Floats,
    middle_V: Floats,
    *,
    start: Start | None,
    excursion_V: float,
    long_episode_s: float,
    follow_s: float,
) -> Baseline:
    """Fit the baseline of one channel in one run.

    Parameters
    ----------
    time_s, middle_V : array, shape (blocks,)
        Centre and robust middle of the observed blocks, ascending, finite.
    start : Start or None
        The fitted surge, taken off first.
    excursion_V : float
        Entering threshold that excursions will have at least.
    long_episode_s : float
        Longer than this a calm stretch is a level; of a slow logger, three readings at least.
    follow_s : float
        The baseline does not follow moves faster than this.

    Raises
    ------
    ValueError
        If there are no blocks.
    """
    if time_s.size == 0:
        raise ValueError("time_s must hold at least one observed block, got none")
    value = middle_V if start is None else middle_V - start.curve(time_s)
    duration = float(time_s[-1] - time_s[0])
    width_s = max(min(CELL_S, duration / 200.0), duration / MOST_CELLS, 1e-6)
    group = np.floor((time_s - time_s[0]) / width_s).astype(np.int64)
    numbers, (low, cell, high) = group_quantiles(group, value, (0.2, 0.5, 0.8))
    cell_s = time_s[0] + (numbers + 0.5) * width_s
    if time_s.size == cell_s.size:  # one block a cell: keep its own time
        cell_s = time_s.astype(np.float64)
    calm = high - low <= excursion_V
    spacing = float(np.median(np.diff(cell_s))) if cell_s.size > 1 else width_s
    long_episode_s = max(long_episode_s, LEVEL_CELLS * spacing)
    window_s = float(np.clip(duration / 3.0, 2.0 * long_episode_s, max(follow_s, 2.0 * long_episode_s)))
    wanted = max(3, round(window_s / spacing))
    if np.count_nonzero(calm) >= max(3, 0.5 * calm.size):
        smooth = np.interp(cell_s, cell_s[calm], running_median(cell[calm], wanted))
    else:
        smooth = np.full(cell_s.size, level_nearest_zero(value, excursion_V))
    knots_s, knots_V, levels = _levels(_Cells(cell_s, cell, smooth, calm), time_s, value, excursion_V, long_episode_s)
    return Baseline(knot_s=knots_s, knot_V=knots_V, start=start, cell_s=cell_s, cell_V=cell, levels=levels)


def fit_between(
    time_s: Floats,
    middle_V: Floats,
    *,
    breaks_s: Sequence[float],
    start: Start | None,
    excursion_V: float,
    long_episode_s: float,
    follow_s: float,
) -> Baseline:
    """Fit a baseline of its own between each two breaks (marks that something was adjusted); see `fit_baseline`."""
    edges = [-np.inf, *breaks_s, np.inf]
    parts = []
    for low, high in pairwise(edges):
        inside = (time_s >= low) & (time_s < high)
        if inside.any():
            parts.append(
                fit_baseline(
                    time_s[inside],
                    middle_V[inside],
                    start=start,
                    excursion_V=excursion_V,
                    long_episode_s=long_episode_s,
                    follow_s=follow_s,
                )
            )
    if len(parts) == 1:
        return parts[0]
    knots_s, knots_V = [], []
    for number, part in enumerate(parts):
        # Each part keeps its end values up to the break, so that the step stands where the mark does.
        begin = np.array([breaks_s[number - 1]] if number else [])
        end = np.array([np.nextafter(breaks_s[number], -np.inf)] if number + 1 < len(parts) else [])
        knots_s.append(np.concatenate((begin, part.knot_s, end)))
        knots_V.append(
            np.concatenate((part.knot_V[: begin.size], part.knot_V, part.knot_V[part.knot_V.size - end.size :]))
        )
    return Baseline(
        knot_s=np.concatenate(knots_s),
        knot_V=np.concatenate(knots_V),
        start=start,
        cell_s=np.concatenate([part.cell_s for part in parts]),
        cell_V=np.concatenate([part.cell_V for part in parts]),
        levels=tuple(level for part in parts for level in part.levels),
    )


FAIR_SHARE = 0.15  # of the readings; common practice, no source


def level_nearest_zero(value: Floats, width_V: float) -> float:
    """Of the levels that hold a fair share of the readings, the one nearest zero."""
    middle = float(np.median(value))
    step = 0.5 * width_V
    number = np.floor(value / step)
    bins, count = np.unique(number, return_counts=True)
    mass = count.astype(np.float64)
    for offset in (-1, 1):
        place = np.searchsorted(bins, bins + offset)
        place = np.minimum(place, bins.size - 1)
        mass += np.where(bins[place] == bins + offset, count[place], 0)
    heavy = bins[mass >= FAIR_SHARE * value.size]
    if heavy.size == 0:
        return middle
    centre = (heavy + 0.5) * step
    best = float(centre[np.argmin(np.abs(centre))])
    near = value[np.abs(value - best) <= 1.5 * step]
    return float(np.median(near)) if near.size else middle


class _Cells(NamedTuple):
    """Cells of some ten seconds: their time, middle, running median, and whether they are calm."""

    time_s: Floats
    middle: Floats
    smooth: Floats
    calm: Bools


def _levels(
    cells: _Cells, time_s: Floats, value: Floats, excursion_V: float, long_episode_s: float
) -> tuple[Floats, Floats, tuple[Level, ...]]:
    """Knots of the baseline, and the levels at which the blocks ``value`` rested."""
    cell_s, cell, smooth, calm = cells
    jump = 0.5 * excursion_V
    borders = np.flatnonzero(np.abs(np.diff(smooth)) > jump) + 1
    edges = [0, *borders.tolist(), cell_s.size]
    parts = list(pairwise(edges))
    half = 0.5 * (float(np.median(np.diff(cell_s))) if cell_s.size > 1 else 1.0)
    if len(parts) == 1:
        whole = Level(float(cell_s[0]) - half, float(cell_s[-1]) + half, float(np.median(smooth)), True)
        return cell_s, smooth, (whole,)
    level = np.array([np.median(smooth[a:b]) for a, b in parts])
    lasts = np.array([cell_s[b - 1] - cell_s[a] + 2 * half for a, b in parts])
    near = np.abs(cell - smooth) <= 0.75 * excursion_V
    steady = np.array([np.mean(near[a:b] & calm[a:b]) >= CALM_SHARE for a, b in parts])
    stays = steady & (lasts >= long_episode_s)
    if not stays.any():
        constant = level_nearest_zero(value, excursion_V)
        return (
            cell_s,
            np.full(cell_s.size, constant),
            (Level(float(cell_s[0]) - half, float(cell_s[-1]) + half, constant, True),),
        )
    kept = np.flatnonzero(stays)
    same = np.abs(level[kept, None] - level[None, kept]) < jump
    # A level that is left and comes back makes the channel one that switches; the reference is then nearest zero.
    returns = any(
        same[i, j] and not same[i, i + 1 : j].all() for i in range(kept.size) for j in range(i + 2, kept.size)
    )
    reference = stays.copy()
    if returns:
        nearest = kept[np.argmin(np.abs(level[kept]))]
        reference &= (np.abs(level - level[nearest]) < jump) | (lasts >= RESTS_S)
    inside = np.zeros(cell_s.size, dtype=bool)
    for (a, b), use in zip(parts, reference, strict=True):
        inside[a:b] = use
    knots_s: list[Floats] = []
    knots_V: list[Floats] = []
    last: int | None = None
    for k in np.flatnonzero(reference):
        a, b = parts[k]
        if last is not None:
            before, after = float(smooth[parts[last][1] - 1]), float(smooth[a])
            if abs(after - before) > jump:
                place = _split(
                    time_s, value, cell_s[parts[last][1] - 1] - 4 * half, cell_s[a] + 4 * half, before, after
                )
                knots_s.append(np.array([place - 1e-6, place + 1e-6]))
                knots_V.append(np.array([before, after]))
        knots_s.append(cell_s[a:b])
        knots_V.append(smooth[a:b])
        last = int(k)
    all_s, all_V = np.concatenate(knots_s), np.concatenate(knots_V)
    order = np.argsort(all_s, kind="stable")
    levels = tuple(
        Level(float(cell_s[a]) - half, float(cell_s[b - 1]) + half, float(level[k]), bool(reference[k]))
        for k, (a, b) in enumerate(parts)
        if stays[k]
    )
    return all_s[order], all_V[order], levels


def _split(time_s: Floats, value: Floats, low_s: float, high_s: float, before: float, after: float) -> float:
    """Place of a step between two known levels: where the sum of absolute deviations is least."""
    lo, hi = np.searchsorted(time_s, (low_s, high_s))
    if hi - lo < 2:
        return 0.5 * (low_s + high_s)
    part = value[lo:hi]
    cost = np.cumsum(np.abs(part - before) - np.abs(part - after))
    best = int(np.argmin(cost[:-1]))
    return float(0.5 * (time_s[lo + best] + time_s[lo + best + 1]))
