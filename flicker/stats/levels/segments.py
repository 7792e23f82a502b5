"""Where did the level lie, and from when to when? Levels in; stretches with places and heights, each with an interval.

This describes a movement that was shown before by a test of its own; it is not another test.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri, stdtrit

from flicker.base import check
from flicker.base.arrays import Bools, Floats, Ints
from flicker.base.formats import digits_text
from flicker.base.middle import median
from flicker.base.result import Result
from flicker.stats.levels.change_search import best_cuts

MOST_CELLS = 1900  # an hour for 79 days; the search takes 0.02 s at so many (measured)
READINGS_A_CELL = 3  # a median of fewer does not pass over one bad reading: common practice
FEWEST_CELLS = 3  # of a stretch, so that its level is more than a single cell: common practice
MOST_CHANGES = 16  # more than a page can tell: a choice
# Rise of the residual sum, over the variance of a cell, up to which a place is allowed: fitted by
# tests/studies/study_segments.py on steps of 4 sigma and more in white, AR(1) and 1/f noise.
PLACE_RISE = 8.0
# Middles that lie far apart differ more in 1/f noise than those within a stretch: fitted on the same study.
FAR_APART = 1.3
MEDIAN_COST = 1.2533  # standard error of a median over that of a mean, sqrt(pi / 2): normal theory
FEWEST_BLOCKS = 3  # two would give a t with one degree of freedom: useless


@dataclass(frozen=True, slots=True)
class LevelSegment(Result):
    """One stretch of about constant level.

    ``begin`` to ``end`` with what the readings allow for each; ``level`` with its interval; ``step`` from the usual
    level (``usual`` tells whether the stretch lies there itself).
    """

    begin: float
    begin_low: float
    begin_high: float
    end: float
    end_low: float
    end_high: float
    level: float
    low: float
    high: float
    step: float
    step_low: float
    step_high: float
    usual: bool
    cells: int

    @property
    def reads(self) -> str:
        """One sentence for the owner."""
        return (
            f"at {digits_text(self.level, 3)} ({digits_text(self.low, 3)} to {digits_text(self.high, 3)}) from {digits_text(self.begin, 6)} to {digits_text(self.end, 6)}, "
            f"{self.step:+.3g} from the usual level"
        )


@dataclass(frozen=True, slots=True)
class LevelSegments(Result):
    """Stretches of about constant level in time order: a description, not a test.

    ``line`` is the movement of a straight line over the whole record where that fits better than the stretches (None
    else), ``line_half`` the half width of its interval.
    """

    segments: tuple[LevelSegment, ...]
    line: float | None
    line_half: float | None
    smallest_step: float
    confidence: float
    method: str

    @property
    def away(self) -> tuple[LevelSegment, ...]:
        """Stretches that do not lie at the usual level."""
        return tuple(item for item in self.segments if not item.usual)

    @property
    def reads(self) -> str:
        """One sentence for the owner."""
        if len(self.segments) < 2:
            return f"no two stretches lie {digits_text(self.smallest_step, 3)} apart"
        largest = max(self.segments, key=lambda item: abs(item.step))
        return f"{len(self.segments)} stretches; the farthest from the usual level lies {largest.reads}"


def level_segments(
    levels: ArrayLike,
    times: ArrayLike | None = None,
    *,
    smallest_step: float,
    shortest: float = 0.0,
    breaks: Sequence[float] = (),
    confidence: float = 0.95,
) -> LevelSegments:
    """Describe where a level lay: stretches that differ from their neighbours by ``smallest_step`` or more.

    Parameters
    ----------
    levels : array_like, shape (n,)
        Readings, or medians of cells; NaN (or infinite) where nothing was seen.
    times : array_like, shape (n,), optional
        Times of these, never falling, in any unit; 0, 1, 2 ... when left out.
    smallest_step : float
        Neighbouring stretches differ by at least this, in the unit of ``levels``.
    shortest : float
        Shortest stretch, in the unit of ``times``; at least three cells in any case.
    breaks : sequence of float
        Times at which the record was interrupted (a power-up): no cell reaches across one.
    confidence : float
        Of the intervals of the heights.

    Returns
    -------
    LevelSegments
        With one stretch where no two lie ``smallest_step`` apart, none without readings. A place is given by its time:
        the begin of the first cell at the new level. The usual level is the one at which most cells lie.

    Raises
    ------
    ValueError
        If times fall, shapes differ, or an argument is out of range.

    Notes
    -----
    Medians over a cell that grows with the record (at most 1,900 cells, three readings or more in each), then the exact
    search for 1 to 16 changes by least squares (``ruptures.KernelCPD`` with the linear kernel; Celisse et al. 2018,
    Computational Statistics and Data Analysis 128, 200-220, from memory): as many as leave every step at or beyond
    ``smallest_step``. Places: cells to which a change can be moved at a rise of the residual sum of up to 8 variances,
    the variance being that within stretches, widened for AR(1) memory. Heights: the middle of a stretch, with a normal
    interval for the cells in it that are worth independent ones, or the wider one by how middles of as many cells differ
    elsewhere in the record. Coverage: tests/studies/results/segments.md.
    """
    values = check.number_array("levels", levels)
    places = check.paired("times", times, values.size, each="value of levels")
    check.rising("times", places)
    step = check.positive("smallest_step", smallest_step, what="the smallest step between stretches")
    least = check.positive("shortest", shortest, what="the shortest stretch", zero=True)
    z = float(ndtri(0.5 + 0.5 * check.share("confidence", confidence)))
    seen = np.isfinite(values)
    values, places = values[seen], places[seen]
    method = "medians of cells, exact search by least squares (ruptures KernelCPD, linear kernel); description"
    if values.size == 0:
        return LevelSegments(
            segments=(),
            line=None,
            line_half=None,
            smallest_step=step,
            confidence=confidence,
            method=method,
        )
    begin, end, middle, cell = _cells(places, values, breaks)
    fewest = max(FEWEST_CELLS, int(np.ceil(least / cell))) if cell > 0 else FEWEST_CELLS
    cuts = _cuts(middle, step, fewest)
    edges = [0, *cuts, middle.size]
    parts = list(pairwise(edges))
    heights = np.array([np.median(middle[a:b]) for a, b in parts])
    rest = middle - np.repeat(heights, np.diff(edges))
    spread, memory = _noise(rest, edges)
    level_of_t = 0.5 + 0.5 * confidence
    halves = [
        max(z * spread * np.sqrt(memory / (b - a)) * MEDIAN_COST, _half_by_blocks(rest, parts, b - a, level_of_t))
        for a, b in parts
    ]
    usual_level, usual = _usual(heights, np.diff(edges), step)
    of_usual = sum(b - a for (a, b), here in zip(parts, usual, strict=True) if here)
    half_usual = z * spread * np.sqrt(memory / max(of_usual, 1)) * MEDIAN_COST
    borders = [(begin[0], begin[0], begin[0])]
    for before, cut, after in zip(edges, cuts, edges[2:], strict=False):
        low, high = _place(middle[before:after], cut - before, heights, edges.index(cut), spread, memory)
        # The median of the cell that holds the change has either level: half a cell more on each side.
        borders.append((begin[cut], begin[before + low] - 0.5 * cell, begin[before + high] + 0.5 * cell))
    borders.append((end[-1], end[-1], end[-1]))
    segments = []
    for k, (a, b) in enumerate(parts):
        finish = borders[k + 1]
        # The stretch ends where its last cell ends, which a pause may lie behind.
        stop = float(end[b - 1])
        away = float(heights[k] - usual_level)
        wide = float(np.hypot(halves[k], half_usual)) if not usual[k] else float(halves[k])
        segments.append(
            LevelSegment(
                begin=float(borders[k][0]),
                begin_low=float(borders[k][1]),
                begin_high=float(borders[k][2]),
                end=stop,
                end_low=min(float(finish[1]), stop),
                end_high=max(float(finish[2]), stop),
                level=float(heights[k]),
                low=float(heights[k] - halves[k]),
                high=float(heights[k] + halves[k]),
                step=away,
                step_low=away - wide,
                step_high=away + wide,
                usual=bool(usual[k]),
                cells=b - a,
            )
        )
    return LevelSegments(tuple(segments), *_line(begin, middle, rest, z, step), step, confidence, method)


def _cells(places: Floats, values: Floats, breaks: Sequence[float]) -> tuple[Floats, Floats, Floats, float]:
    """Begin, end and median of each cell, and the width of a cell."""
    steps = np.diff(places)
    usual = float(np.median(steps[steps > 0])) if np.any(steps > 0) else 0.0
    # Pauses hold no cells: width from the time that readings stand for.
    seen = float(np.minimum(steps, 10.0 * usual).sum())
    width = max(READINGS_A_CELL * usual, seen / MOST_CELLS)
    if width <= 0.0:
        return places[:1], places[-1:], np.array([np.median(values)]), 0.0
    part = np.searchsorted(np.sort(np.asarray(breaks, dtype=np.float64)), places, side="right")
    group = np.floor((places - places[0]) / width)
    first = np.flatnonzero(np.concatenate(([True], (np.diff(group) != 0) | (np.diff(part) != 0))))
    order = np.lexsort((values, np.cumsum(np.isin(np.arange(values.size), first))))
    ranked = values[order]
    count = np.diff(np.append(first, values.size))
    middle = 0.5 * (ranked[first + (count - 1) // 2] + ranked[first + count // 2])
    last = np.append(first[1:], values.size) - 1
    full = count >= np.maximum(1.0, 0.5 * width / usual / READINGS_A_CELL)
    begin, end = places[first], places[last] + usual
    return begin[full], end[full], middle[full], width


def _cuts(middle: Floats, step: float, fewest: int) -> list[int]:
    """First cells of the new stretches: as many as leave every step at or beyond ``step``."""
    if float(np.ptp(middle)) < step:
        return []
    found: list[int] = []
    for cuts in best_cuts(middle, MOST_CHANGES, fewest):
        heights = np.array([median(part) for part in np.split(middle, cuts)])
        if np.all(np.abs(np.diff(heights)) >= step):
            found = list(cuts)
    return found


def _noise(rest: Floats, edges: Sequence[int]) -> tuple[float, float]:
    """Spread of cells within stretches, and how many cells of AR(1) memory are worth one."""
    freedom = max(rest.size - (len(edges) - 1), 1)
    variance = float(rest @ rest) / freedom
    if variance <= 0.0:
        return 0.0, 1.0
    inner = np.ones(rest.size, dtype=bool)
    inner[list(edges[:-1])] = False
    lagged = float(rest[1:] @ (rest[:-1] * inner[1:]))
    # Taking the middle off each stretch hides memory: 4 stretches' worth of the usual bias of -1/n is put back.
    rho = lagged / float(rest @ rest) + (1.0 + 3.0 * (len(edges) - 1)) / rest.size
    rho = float(np.clip(rho, 0.0, 0.98))
    return float(np.sqrt(variance)), (1.0 + rho) / (1.0 - rho)


def _half_by_blocks(rest: Floats, parts: Sequence[tuple[int, int]], length: int, share: float) -> float:
    """Half width of the interval of a middle, by how middles of as many cells differ elsewhere: holds in 1/f noise too."""
    middles = []
    for a, b in parts:
        for first in range(a, b - length + 1, length):
            if b - a > length:  # a stretch that is one block has its middle taken off
                middles.append(float(np.median(rest[first : first + length])))
    if len(middles) < FEWEST_BLOCKS:
        return 0.0
    return float(FAR_APART * stdtrit(len(middles) - 1, share) * np.std(middles, ddof=1))


def _line(begin: Floats, middle: Floats, rest: Floats, z: float, step: float) -> tuple[float | None, float | None]:
    """Movement of a straight line with its half width, if it is a step or more and leaves less than the stretches."""
    if middle.size < 2 * FEWEST_CELLS or float(rest @ rest) == 0.0:
        return None, None
    centred = (begin - begin.mean()) / (begin[-1] - begin[0])
    slope = float(centred @ (middle - middle.mean()) / (centred @ centred))
    left = middle - middle.mean() - slope * centred
    stairs = rest - rest.mean()
    if abs(slope) < step or float(left @ left) >= float(stairs @ stairs):
        return None, None
    spread, memory = _noise(left, [0, left.size])
    return slope, z * spread * float(np.sqrt(memory / (centred @ centred)))


def _usual(heights: Floats, cells: Ints, step: float) -> tuple[float, Bools]:
    """The level at which most cells lie, within half a step of it, and which stretches lie there."""
    near = np.abs(heights[:, None] - heights[None, :]) < 0.5 * step
    weight = near @ cells
    chosen = near[int(np.argmax(weight))]
    usual = float(np.average(heights[chosen], weights=cells[chosen]))
    return usual, np.asarray(chosen)


def _place(values: Floats, cut: int, heights: Floats, number: int, spread: float, memory: float) -> tuple[int, int]:
    """Lowest and highest cell, in the two stretches about a change, to which it can be moved."""
    a, b = float(heights[number - 1]), float(heights[number])
    if spread <= 0.0 or a == b:
        return cut, cut
    cost = np.concatenate(([0.0], np.cumsum((values - a) ** 2 - (values - b) ** 2)))
    inside = np.arange(1, values.size)
    allowed = inside[cost[inside] - cost[cut] <= PLACE_RISE * spread**2 * memory]
    return (int(min(allowed[0], cut)), int(max(allowed[-1], cut))) if allowed.size else (cut, cut)
