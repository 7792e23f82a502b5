"""Figures of one cell: median, 1 to 99 % range, swings about the median, and what may be a neighbour's crosstalk."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flicker.signals.guard.chunk import Chunk
from flicker.signals.guard.figures import APART_S, BEYOND_V, LARGE_V, STEP_V, SWING_V

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CROSSTALK_S = 2.0  # a neighbour's swing is so near (a choice of clearance),
CROSSTALK_SHARE = 1.0 / 3.0  # and so much larger (choices, measured on simulated benches)
FEWEST = 3  # readings that have a middle: by definition
LEAST_STEP_V = 1e-8  # by definition: less is rounding of the number that holds a reading
SAME_SHARE = 0.95  # of two channels' readings are within a digit where both see one output (choice)
MOST_NEIGHBOURS = 60  # a bit each; by definition of the number that holds them


@dataclass(frozen=True, slots=True)
class Swing:
    """Readings far from the median, none farther than `APART_S` from the next."""

    begin_s: float
    end_s: float
    size_V: float
    large: bool
    by: int


@dataclass(frozen=True, slots=True)
class Cell:
    """Figures of one channel in one cell."""

    begin_s: float
    median_V: float
    low_V: float
    high_V: float
    alone_V: float
    alone_by: int
    readings: int
    beyond: int
    away: int
    peak_V: float
    far_V: float
    step_V: float
    unmoved: float
    digit_V: float
    same_as: int
    swings: tuple[Swing, ...]


@dataclass(slots=True)
class _Look:
    """One channel of a cell while its neighbours are looked at; groups that swing, in time order."""

    drawn_s: Floats
    drawn_V: Floats
    low_V: float
    median_V: float
    high_V: float
    readings: int
    beyond: int
    peak_V: float
    far_V: float
    swing_s: Floats
    off_V: Floats


Placed = tuple[Chunk, int, int, int, int]  # a chunk, groups from and to, drawn readings from and to


def window(chunks: Sequence[Chunk], begin_s: float, end_s: float) -> list[Placed]:
    """Groups and drawn readings of each chunk from ``begin_s`` to ``end_s`` (half open)."""
    out = []
    for chunk in chunks:
        lo, hi = np.searchsorted(chunk.time_s, [begin_s, end_s])
        if lo < hi:
            a, b = np.searchsorted(chunk.drawn_s, [begin_s, end_s])
            out.append((chunk, int(lo), int(hi), int(a), int(b)))
    return out


def largest(chunks: Sequence[Chunk], channel: int, begin_s: float, end_s: float, about_V: float = 0.0) -> float:
    """Largest finite distance of a channel's readings from some volts in a time; NaN where there is none."""
    found = [
        max(about_V - float(np.min(low[good])), float(np.max(high[good])) - about_V)
        for chunk, lo, hi, _, _ in window(chunks, begin_s, end_s)
        for low, high in [(chunk.parts[channel].low[lo:hi], chunk.parts[channel].high[lo:hi])]
        if (good := np.isfinite(low) & np.isfinite(high)).any()
    ]
    return max(found, default=float("nan"))


def first_median(chunks: Sequence[Chunk], channel: int, begin_s: float, length_s: float, end_s: float) -> float:
    """Median of a channel's drawn readings in the first seconds, of `FEWEST` at least; NaN where there is none.

    One reading is no middle: a thump of half a second, read every ten seconds, is then all of it.
    """
    parts = window(chunks, begin_s, end_s)
    values = [chunk.parts[channel].drawn_V[a:b] for chunk, _, _, a, b in parts]
    times = [chunk.drawn_s[a:b] for chunk, _, _, a, b in parts]
    if not values:
        return float("nan")
    value, time = np.concatenate(values).astype(np.float64), np.concatenate(times)
    known = np.isfinite(value)
    early = known & (time < begin_s + length_s)
    good = value[early] if np.count_nonzero(early) >= FEWEST else value[known][:FEWEST]
    return float(np.median(good)) if good.size else float("nan")


def look(parts: Sequence[Placed], channels: int, begin_s: float) -> list[Cell | None]:
    """Figures of every channel in a cell, of which these are the readings; None for a channel without one in it."""
    drawn_s = np.concatenate([chunk.drawn_s[a:b] for chunk, _, _, a, b in parts]) if parts else np.empty(0)
    looks = [_look(parts, drawn_s, k) for k in range(channels)]
    return [None if item is None else _cell(begin_s, k, item, looks) for k, item in enumerate(looks)]


def _look(parts: Sequence[Placed], drawn_s: Floats, channel: int) -> _Look | None:
    if drawn_s.size == 0:
        return None
    drawn = np.concatenate([chunk.parts[channel].drawn_V[a:b] for chunk, _, _, a, b in parts]).astype(np.float64)
    good = np.isfinite(drawn)
    if not good.all():
        drawn, drawn_s = drawn[good], drawn_s[good]
    if drawn.size == 0:
        return None
    low, high, readings = np.inf, -np.inf, 0
    for chunk, lo, hi, _, _ in parts:
        for part_low, part_high, count in _extremes(chunk, channel, lo, hi):
            low, high, readings = min(low, part_low), max(high, part_high), readings + count
    first, centre, last = _at(drawn, (0.01, 0.5, 0.99)).tolist()
    nothing = np.empty(0)
    out = _Look(
        drawn_s=drawn_s,
        drawn_V=drawn,
        low_V=first,
        median_V=centre,
        high_V=last,
        readings=readings,
        beyond=0,
        peak_V=max(-low, high),
        far_V=max(high - centre, centre - low),
        swing_s=nothing,
        off_V=nothing,
    )
    if out.far_V > SWING_V or out.peak_V > BEYOND_V:
        _exactly(out, parts, channel)
    return out


def _at(values: Floats, quantiles: tuple[float, ...]) -> Floats:
    """Order statistics nearest to the quantiles."""
    places = [int(quantile * (values.size - 1) + 0.5) for quantile in quantiles]
    found: Floats = np.partition(values, places)[places]
    return found


def _sections(chunk: Chunk, lo: int, hi: int) -> tuple[list[tuple[int, int]], int, int]:
    """Groups ``lo`` to ``hi`` as the groups at both ends, and the whole blocks between them, from and to."""
    first, last = -(-lo // chunk.per_block), hi // chunk.per_block
    if first >= last:
        return [(lo, hi)], first, first
    edges = (lo, first * chunk.per_block), (last * chunk.per_block, hi)
    return [(a, b) for a, b in edges if a < b], first, last


def _extremes(chunk: Chunk, channel: int, lo: int, hi: int) -> Iterator[tuple[float, float, int]]:
    """Smallest, largest and count of groups ``lo`` to ``hi``: from whole blocks, and the groups at both ends."""
    part = chunk.parts[channel]
    edges, first, last = _sections(chunk, lo, hi)
    for a, b in edges:
        low, high = part.low[a:b], part.high[a:b]
        good = np.isfinite(low) & np.isfinite(high)
        if good.any():
            count = int(np.count_nonzero(good)) if part.finite is None else int(part.finite[a:b].sum())
            yield float(low[good].min()), float(high[good].max()), count
    if first < last:
        count = int(part.block_finite[first:last].sum())
        if count:
            low, high = part.block_low[first:last], part.block_high[first:last]
            yield float(np.fmin.reduce(low)), float(np.fmax.reduce(high)), count


def _exactly(item: _Look, parts: Sequence[Placed], channel: int) -> None:
    """Every reading (or group) that swings, and how many are beyond the level; blocks that hold none are passed over."""
    times, sizes = [], []
    for chunk, lo, hi, _, _ in parts:
        part, size = chunk.parts[channel], chunk.per_block
        edges, first, last = _sections(chunk, lo, hi)
        low, high = part.block_low[first:last], part.block_high[first:last]
        far = (high - item.median_V > SWING_V) | (item.median_V - low > SWING_V) | (high > BEYOND_V) | (low < -BEYOND_V)
        chosen = np.zeros(hi - lo, dtype=bool)
        chosen[first * size - lo : last * size - lo] = np.repeat(far, size)
        for a, b in edges:
            chosen[a - lo : b - lo] = True
        rows = lo + np.flatnonzero(chosen)
        low, high = part.low[rows].astype(np.float64), part.high[rows].astype(np.float64)
        known = np.isfinite(low) & np.isfinite(high)
        off = np.where(known, np.maximum(high - item.median_V, item.median_V - low), 0.0)
        beyond = known & (np.abs(low) > BEYOND_V) if part.beyond is None else part.beyond[rows]
        item.beyond += int(beyond.sum())
        swings = off > SWING_V
        times.append(chunk.time_s[rows[swings]])
        sizes.append(off[swings])
    item.swing_s, item.off_V = np.concatenate(times), np.concatenate(sizes)


def _cell(begin_s: float, channel: int, item: _Look, looks: Sequence[_Look | None]) -> Cell:
    low, centre, high = item.low_V, item.median_V, item.high_V
    alone, alone_by, far = high - low, 0, item.off_V > LARGE_V
    swings: list[Swing] = []
    if item.swing_s.size:
        by = _crosstalk(item.swing_s, item.off_V, channel, looks)
        if alone > SWING_V and by.any():
            own = _crosstalk(item.drawn_s, np.abs(item.drawn_V - centre), channel, looks)
            rest = item.drawn_V[own == 0]
            if rest.size:
                first, last = _at(rest, (0.01, 0.99))
                alone, alone_by = last - first, int(np.bitwise_or.reduce(own))
        swings.extend(_swings(item.swing_s, item.off_V, by, False))
        swings.extend(_swings(item.swing_s[far], item.off_V[far], by[far], True))
    steps = np.abs(item.drawn_V[1:] - item.drawn_V[:-1])
    moves = steps[steps > LEAST_STEP_V]
    digit = float(moves.min()) if moves.size else 0.0
    return Cell(
        begin_s=begin_s,
        median_V=centre,
        low_V=low,
        high_V=high,
        alone_V=float(alone),
        alone_by=alone_by,
        readings=item.readings,
        beyond=item.beyond,
        away=int(np.count_nonzero(far)),
        peak_V=item.peak_V,
        far_V=item.far_V,
        step_V=float(np.minimum(steps, STEP_V).sum() / steps.size) if steps.size else 0.0,
        unmoved=1.0 - moves.size / steps.size if steps.size else 1.0,
        digit_V=digit,
        same_as=_same_as(channel, digit, looks),
        swings=tuple(swings),
    )


def _crosstalk(time_s: Floats, off_V: Floats, channel: int, looks: Sequence[_Look | None]) -> Ints:
    """For each reading, the channels (a bit each) whose swing beside it is so large that it may be their crosstalk."""
    by = np.zeros(time_s.size, dtype=np.int64)
    for number, other in enumerate(looks[:MOST_NEIGHBOURS]):
        if other is None or number == channel:
            continue
        large = other.off_V > LARGE_V
        if not large.any():
            continue
        at, size = other.swing_s[large], np.append(other.off_V[large], 0.0)
        lo = np.searchsorted(at, time_s - CROSSTALK_S)
        hi = np.searchsorted(at, time_s + CROSSTALK_S, side="right")
        most = np.maximum.reduceat(size, np.column_stack((lo, hi)).ravel())[::2]
        excused = (lo < hi) & (off_V <= LARGE_V) & (off_V <= CROSSTALK_SHARE * most)
        by[excused] |= np.int64(1) << np.int64(number)
    return by


def _same_as(channel: int, digit_V: float, looks: Sequence[_Look | None]) -> int:
    """Channels (a bit each) whose readings are those of this one, to a last digit."""
    own, count_V = looks[channel], digit_V * (1.0 + 1e-3)  # rounding of the numbers themselves
    out = 0
    for number, other in enumerate(looks[:MOST_NEIGHBOURS]):
        if own is None or other is None or number == channel or abs(own.median_V - other.median_V) > count_V:
            continue
        if np.array_equal(own.drawn_s, other.drawn_s):
            apart_V = np.abs(own.drawn_V - other.drawn_V)
            out |= int(np.count_nonzero(apart_V <= count_V) >= SAME_SHARE * apart_V.size) << number
    return out


def _swings(time_s: Floats, off_V: Floats, by: Ints, large: bool) -> Iterator[Swing]:
    """Readings of one excuse, joined where none is farther than `APART_S` from the next."""
    for excuse in np.unique(by).tolist():
        mine, size = time_s[by == excuse], off_V[by == excuse]
        edge = np.flatnonzero(np.diff(mine) > APART_S) + 1
        for first, last in zip([0, *edge.tolist()], [*edge.tolist(), mine.size], strict=True):
            yield Swing(float(mine[first]), float(mine[last - 1]), float(size[first:last].max()), large, int(excuse))
