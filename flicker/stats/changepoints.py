"""When did the level, the noise or the event rate change? Values or event times in; places and p-values out.

A change is named by the first value of the new stretch.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

import flicker.stats.levels.change_search as search
from flicker.base import check
from flicker.base.arrays import Floats, Ints
from flicker.base.formats import digits_text
from flicker.base.result import Result
from flicker.stats.arrivals.rate_changes import RateChange, RateChanges, rate_changes
from flicker.stats.arrivals.rate_since import RateSince, rate_since, rate_since_unit
from flicker.stats.arrivals.rate_steps import RateSteps, dispersed_limits, rate_steps, rate_steps_unit
from flicker.stats.levels.change_search import abruptness, locate
from flicker.stats.levels.change_tables import ABRUPT
from flicker.stats.levels.digits import resolution_of
from flicker.stats.levels.segments import LevelSegment, LevelSegments, level_segments
from flicker.stats.levels.table_tails import tail_chance, tail_value

__all__ = [
    "LevelChange",
    "LevelChanges",
    "LevelSegment",
    "LevelSegments",
    "RateChange",
    "RateChanges",
    "RateSince",
    "RateSteps",
    "VarianceChange",
    "VarianceChanges",
    "dispersed_limits",
    "level_changes",
    "level_segments",
    "rate_changes",
    "rate_since",
    "rate_since_unit",
    "rate_steps",
    "rate_steps_unit",
    "variance_changes",
]

_LOG_SHARE = 0.7  # of the nominal level: measured rejection is then at or under it

_MOST = 20  # changes that are looked for: a choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Change(Result):
    """Base of one change: its place with an interval, by number of the value and by time."""

    index: int
    index_low: int
    index_high: int
    at: float
    low: float
    high: float
    p_value: float


@dataclass(frozen=True, slots=True)
class LevelChange(Change):
    """One change of level, with the size of the step."""

    step: float
    step_low: float
    step_high: float

    @property
    def reads(self) -> str:
        """One sentence for the owner."""
        way = "rises" if self.step > 0 else "falls"
        return (
            f"the level {way} by {digits_text(abs(self.step), 3)} ({digits_text(self.step_low, 3)} to {digits_text(self.step_high, 3)}) at {digits_text(self.at, 6)}, "
            f"between {digits_text(self.low, 6)} and {digits_text(self.high, 6)}"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes(Result):
    """Base of all changes found: where stretches begin, and how sure it is that there is any change."""

    starts: Ints
    p_value: float
    confidence: float
    method: str

    def _told(self, what: str, largest: LevelChange | VarianceChange) -> str:
        count = self.starts.size - 1
        return f"{count} change{'s' if count > 1 else ''} of {what}, the largest: {largest.reads}"


@dataclass(frozen=True, slots=True)
class LevelChanges(Changes):
    """Stretches of constant level."""

    changes: tuple[LevelChange, ...]
    levels: Floats

    @property
    def reads(self) -> str:
        """One sentence for the owner."""
        if not self.changes:
            return "no change of level beyond what noise explains"
        return self._told("level", max(self.changes, key=lambda c: abs(c.step)))


@dataclass(frozen=True, slots=True)
class VarianceChange(Change):
    """One change of the noise: the noise after over the noise before."""

    ratio: float
    ratio_low: float
    ratio_high: float

    @property
    def reads(self) -> str:
        """One sentence for the owner."""
        place = f"{digits_text(self.at, 6)}, between {digits_text(self.low, 6)} and {digits_text(self.high, 6)}"
        return f"the noise becomes {digits_text(self.ratio, 3)} times as large at {place}"


@dataclass(frozen=True, slots=True)
class VarianceChanges(Changes):
    """Stretches of constant noise."""

    changes: tuple[VarianceChange, ...]

    @property
    def reads(self) -> str:
        """One sentence for the owner."""
        if not self.changes:
            return "no change of the noise is shown"
        return self._told("noise", max(self.changes, key=lambda c: abs(np.log(c.ratio))))


def level_changes(
    y: ArrayLike,
    x: ArrayLike | None = None,
    *,
    confidence: float = 0.95,
    resolution: float | None = None,
) -> LevelChanges:
    """Find changes of level that autocorrelated or 1/f noise does not explain.

    Parameters
    ----------
    y : array_like, shape (n,)
        Values in time order. Fewer than ten show nothing.
    x : array_like, shape (n,), optional
        Times, never falling; 0, 1, 2 ... when left out. They name places only: the noise model goes by order.
    confidence : float
        1 - confidence bounds the chance of any false change in a log without change (0.95 to 0.999 in the table).
    resolution : float, optional
        Step of the last digit (0 for none); sought when left out. Changes of less than one step are never shown.

    Returns
    -------
    LevelChanges
        Each change has ``index`` (first value of the new level), ``at`` (its time), ``low`` and ``high`` around the
        place, ``step`` with an interval that holds for all places searched, and ``p_value``. ``levels`` are those of
        the stretches.

    Raises
    ------
    ValueError
        If times fall, the arrays differ in length or are not finite, or an argument is out of range.

    Notes
    -----
    Fifty robust block means. For K = 1 to 8 changes the best places by least squares, then
    T_K = sqrt(gain in sum of squares / K) / scale, the scale being that of an AR(1) fitted to what the K changes
    leave, so that ups and downs do not inflate it. The largest T_K over its own 5 % point is compared with its
    distribution under noise ~ 1 / f ** 1.1 (tests/studies/make_change_tables.py); the smallest K that passes is
    taken, cuts that fall below the one-change value are dropped, and each stretch is searched again with its share of
    the error. Max-type test of several numbers of changes after Bai and Perron (1998), Econometrica 66, 47-78.

    Lastly each change must stand out as a jump among the jumps elsewhere in its two stretches
    (`levels.change_search.abruptness`): a slope, a random walk or AR(1) noise of any memory has no such place, so they are
    not reported as changes; ask `robust_slope` and `movement_test` for them. Places come from the single values by
    least squares between the levels before and after.
    """
    values, times, alpha, step = _checked(y, x, confidence, resolution)
    found, p_value = _stepwise(values, alpha, step, search.SLOW, refine=True)
    found = _abrupt_only(values, found, alpha)
    cuts = sorted(found)
    edges = [0, *cuts, values.size]
    changes = []
    for j, cut in enumerate(cuts):
        first, last = edges[j], edges[j + 2]
        low, high = (first + k for k in locate(values[first:last], cut - first)[1:])
        low, high = min(low, cut), max(high, cut)
        size, half = _step_size(values[first:last], cut - first, alpha, step, values.size, search.SLOW)
        changes.append(
            LevelChange(
                index=cut,
                index_low=low,
                index_high=high,
                at=float(times[cut]),
                low=float(times[max(low - 1, 0)]),
                high=float(times[high]),
                step=size,
                step_low=size - half,
                step_high=size + half,
                p_value=found[cut],
            )
        )
    starts = np.array([0, *(c.index for c in changes)], dtype=np.int64)
    levels = np.array([_middle(part, values.size) for part in np.split(values, starts[1:])])
    return LevelChanges(
        changes=tuple(changes),
        starts=starts,
        levels=levels,
        p_value=p_value,
        confidence=1 - alpha,
        method="largest gain of 1 to 8 changes, critical values for 1/f noise",
    )


def variance_changes(
    y: ArrayLike,
    x: ArrayLike | None = None,
    *,
    confidence: float = 0.95,
    resolution: float | None = None,
) -> VarianceChanges:
    """Find changes of the size of the noise.

    Parameters
    ----------
    y : array_like, shape (n,)
        Values in time order, at least 80 (fewer show nothing); the level may move slowly.
    x : array_like, shape (n,), optional
        Times, never falling; 0, 1, 2 ... when left out.
    confidence : float
        1 - confidence bounds the chance of any false change.
    resolution : float, optional
        Step of the last digit (0 for none); sought when left out. A change hidden below it cannot be seen.

    Raises
    ------
    ValueError
        As `level_changes`.

    Notes
    -----
    The logarithm of each block's mean absolute second difference (blind to level and slope), searched as
    `level_changes` searches levels. Each ratio's interval holds for all places searched; a place is known to a block.
    Logarithms are skewed, so the test is made at 0.7 of the nominal level (study_changepoints).
    """
    values, times, alpha, step = _checked(y, x, confidence, resolution)
    method = "levels of the logarithm of block noise, critical values for white noise"
    n = values.size
    second = np.abs(values[2:] - 2 * values[1:-1] + values[:-2]) if n > 2 else np.zeros(0)
    blocks = min(search.MOST, second.size // 8)
    if blocks < search.FEWEST or not second.any():
        return VarianceChanges((), starts=np.zeros(1, np.int64), p_value=1.0, confidence=1 - alpha, method=method)
    starts = (np.arange(blocks + 1, dtype=np.int64) * second.size) // blocks
    raw = np.add.reduceat(second, starts[:-1]) / np.diff(starts)
    floor = max(0.8 * step, 1e-6 * float(raw.max()))  # a level near a border alone makes 0.75 steps
    logs = np.log(np.hypot(raw, floor))
    found, p_value = _stepwise(logs, _LOG_SHARE * alpha, 0.0, search.WHITE)
    cuts = sorted(found)
    edges = [0, *cuts, blocks]
    changes = []
    for j, cut in enumerate(cuts):
        size, half = _step_size(logs[edges[j] : edges[j + 2]], cut - edges[j], alpha, 0.0, blocks, search.WHITE)
        index = int(starts[cut]) + 1  # second differences are centred one value later
        low, high = (edges[j] + k for k in locate(logs[edges[j] : edges[j + 2]], cut - edges[j])[1:])
        low = int(starts[max(min(low, cut) - 1, 0)]) + 1
        high = min(int(starts[min(max(high, cut) + 1, blocks)]) + 1, n - 1)
        changes.append(
            VarianceChange(
                index=index,
                index_low=low,
                index_high=high,
                at=float(times[index]),
                low=float(times[low]),
                high=float(times[high]),
                ratio=float(np.exp(size)),
                ratio_low=float(np.exp(size - half)),
                ratio_high=float(np.exp(size + half)),
                p_value=found[cut],
            )
        )
    at = np.array([0, *(c.index for c in changes)], dtype=np.int64)
    return VarianceChanges(changes=tuple(changes), starts=at, p_value=p_value, confidence=1 - alpha, method=method)


def _checked(
    y: ArrayLike, x: ArrayLike | None, confidence: float, resolution: float | None
) -> tuple[Floats, Floats, float, float]:
    """Values, their times, the error allowed and the step of the last digit."""
    values, times = check.series(y, x)
    check.rising("x", times)
    step = resolution_of(values) if resolution is None else check.positive("resolution", resolution, zero=True)
    return values, times, 1 - check.share("confidence", confidence), step


def _stepwise(
    values: Floats, alpha: float, step: float, critical: search.Critical, *, refine: bool = False
) -> tuple[dict[int, float], float]:
    """Return the first indices of new levels with their p-values, and the p-value of any change in the whole."""
    found: dict[int, float] = {}
    whole = 1.0
    waiting = [(0, values.size, alpha)]
    while waiting and len(found) < _MOST:
        first, last, share = waiting.pop(0)
        part = values[first:last]
        if part.size < search.FEWEST or np.ptp(part) == 0:
            continue
        count = min(search.MOST, part.size)
        means, starts = search.blocks_of(part, count)
        floor = step / np.sqrt(12 * part.size / count)
        cuts, chance = search.decide(means, share, floor, critical)
        if part.size == values.size:
            whole = chance
        if not cuts:
            continue
        cuts = search.drop_weak(means, cuts, share, floor, critical)[: _MOST - len(found)]
        sizes = search.local_statistics(means, cuts, floor)
        table = critical.single[search.row(means.size)]
        places = [int(starts[cut]) for cut in cuts]
        if refine:  # before going on: a block that holds both levels would look like a change of its own
            for j, cut in enumerate(places):
                left = places[j - 1] if j else 0
                right = places[j + 1] if j + 1 < len(places) else part.size
                places[j] = left + locate(part[left:right], cut - left)[0]
        for place, size in zip(places, sizes, strict=True):
            single = tail_chance(table, float(size), 8.0)
            found[first + place] = max(chance, single) if len(places) > 1 else chance
        inner = [first, *(first + place for place in places), last]
        waiting += [(a, b, share / len(inner)) for a, b in pairwise(inner)]
    return found, whole


def _abrupt_only(values: Floats, found: dict[int, float], alpha: float) -> dict[int, float]:
    """Keep the changes that stand out as jumps, with the larger of both p-values; a slope or a wander has none."""
    kept = dict(found)
    sizes = np.array(list(ABRUPT), dtype=np.float64)

    @functools.cache  # only the neighbours of a change that goes are looked at again
    def chance_of(first: int, cut: int, last: int) -> float:
        row = ABRUPT[int(sizes[int(np.argmin(np.abs(np.log(sizes / (last - first)))))])]
        return tail_chance(row, abruptness(values[first:last], cut - first), 6.0)

    while kept:
        cuts = sorted(kept)
        edges = [0, *cuts, values.size]
        chances = [chance_of(edges[j], cut, edges[j + 2]) for j, cut in enumerate(cuts)]
        worst = int(np.argmax(chances))
        if chances[worst] <= alpha:
            return {cut: max(found[cut], chance) for cut, chance in zip(cuts, chances, strict=True)}
        del kept[cuts[worst]]
    return kept


def _step_size(
    values: Floats, cut: int, alpha: float, step: float, whole: int, critical: search.Critical
) -> tuple[float, float]:
    """Return the step between the two stretches and the half width of its interval."""
    before, after = values[:cut], values[cut:]
    size = _middle(after, whole) - _middle(before, whole)
    count = min(search.MOST, values.size)
    if count < search.FEWEST:
        return size, float("inf")
    means, starts = search.blocks_of(values, count)
    block = int(np.clip(np.searchsorted(starts, cut), 1, count - 1))
    scale = max(search.residual_scale(means, (block,))[1], step / np.sqrt(12 * values.size / count))
    bound = tail_value(critical.single[search.row(count)], alpha)
    return size, float(bound * scale * np.sqrt(1 / block + 1 / (count - block)))


def _middle(values: Floats, whole: int) -> float:
    """Mean of the middle half, as in the blocks; of all values where a block holds fewer than four."""
    quarter = values.size // 4 if whole >= 4 * search.MOST else 0
    return float(np.sort(values)[quarter : values.size - quarter].mean())
