"""Figures of cells: median, 1 to 99 % range, swings about the median, and what may be a neighbour's crosstalk.

Cells with as many readings are the rows of one table; only those that swing are looked at one by one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flicker.signals.guard.chunk import Chunk
from flicker.signals.guard.figures import APART_S, BEYOND_V, LARGE_V, NEIGHBOUR_S, STEP_V, SWING_V
from flicker.signals.guard.standing import unequal, weigh

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Rows = NDArray[Any]  # with the fields of `CELL` or `SWING`

CROSSTALK_SHARE = 1.0 / 3.0  # of a neighbour's swing, and less, is its crosstalk (a choice of clearance)
FEWEST = 3  # readings that have a middle: by definition
LEAST_STEP_V = 1e-8  # by definition: less is rounding of the number that holds a reading
SAME_SHARE = 0.95  # of two channels' readings are within a digit where both see one output (choice)
FIRST_LOOK = 8  # one reading in so many is compared first: where more than a twentieth of all lie apart among them, the rest changes nothing; a choice
MOVES_WITH = 0.1  # and their correlation is this: two outputs within a digit of each other have noise of their own (choice)
OWN_NOISE = 0.3  # of its spread, at least, is a channel's own where it is read from an output of its own (choice; fresh_far_loggers.py)
STANDS_OFF = 3.0  # times its spread from zero: nearer, a hum that both outputs share looks like a share of the other (choice)
NORMAL_SPREAD = 4.65  # sigmas from 1 to 99 % of normal noise: by definition
MOST_NEIGHBOURS = 60  # a bit each; by definition of the number that holds them

_PLACE = [("segment", "i8"), ("late", "?"), ("cell_s", "f8")]
# A cell, and a swing: readings far from the median, none farther than `APART_S` from the next (see `ChannelFigures`).
CELL = np.dtype(
    [
        *_PLACE,
        *((name, "f8") for name in ("begin_s", "median_V", "low_V", "high_V", "alone_V")),
        *((name, "i8") for name in ("alone_by", "readings", "beyond", "away")),
        *((name, "f8") for name in ("peak_V", "far_V", "step_V", "unmoved", "digit_V", "uneven_s", "beyond_s")),
        ("same_as", "i8"),
    ]
)
SWING = np.dtype([*_PLACE, ("begin_s", "f8"), ("end_s", "f8"), ("V", "f8"), ("large", "?"), ("by", "i8")])


@dataclass(frozen=True, slots=True)
class Span:
    """A time whose readings make a cell: the one at ``cell_s`` of a segment, or what is ``late`` in it."""

    segment: int
    late: bool
    cell_s: float
    begin_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Drawn:
    """Drawn readings of some chunks in a row, all channels; where those of each span begin and end."""

    time_s: Floats
    values: tuple[Floats, ...]
    first: Ints
    last: Ints


Placed = tuple[Chunk, int, int]  # a chunk, groups from and to
_Swung = tuple[Floats, Floats]  # when, and how far from the median


def window(chunks: Sequence[Chunk], begin_s: float, end_s: float) -> list[Placed]:
    """Groups of each chunk from ``begin_s`` to ``end_s`` (half open)."""
    out = []
    for chunk in chunks:
        lo, hi = chunk.time_s.searchsorted([begin_s, end_s]).tolist()
        if lo < hi:
            out.append((chunk, lo, hi))
    return out


def drawn_in(chunks: Sequence[Chunk], channels: int, spans: Sequence[Span]) -> Drawn:
    """Drawn readings of the chunks that hold the spans."""
    begin, end = np.array([(item.begin_s, item.end_s) for item in spans]).T
    held = [
        (chunk, slice(*chunk.drawn_s.searchsorted([begin.min(), end.max()])))
        for chunk in chunks
        if chunk.last_s >= begin.min() and chunk.time_s[0] < end.max()
    ]
    time_s = _joined([chunk.drawn_s[part] for chunk, part in held])
    values = tuple(_joined([chunk.parts[k].drawn_V[part] for chunk, part in held]) for k in range(channels))
    return Drawn(time_s, values, time_s.searchsorted(begin), time_s.searchsorted(end))


def _joined(parts: Sequence[NDArray[np.floating]]) -> Floats:
    found = parts[0] if len(parts) == 1 else np.concatenate([np.empty(0), *parts])
    return found.astype(np.float64, copy=False)


def largest(chunks: Sequence[Chunk], channel: int, begin_s: float, end_s: float, about_V: float = 0.0) -> float:
    """Largest finite distance of a channel's readings from some volts in a time; NaN where there is none."""
    low_V, high_V = extremes(chunks, channel, begin_s, end_s)
    return max(about_V - low_V, high_V - about_V)


def sizes(chunks: Sequence[Chunk], begin_s: float, end_s: float) -> tuple[Floats, Floats]:
    """Times of the groups within a time, and the largest size that any channel reads in each; 0 where none reads."""
    found = window(chunks, begin_s, end_s)
    times = [chunk.time_s[lo:hi] for chunk, lo, hi in found]
    size_V = [np.zeros(hi - lo) for _, lo, hi in found]
    for own, (chunk, lo, hi) in zip(size_V, found, strict=True):
        for part in chunk.parts:
            np.fmax(own, np.fmax(-part.low[lo:hi], part.high[lo:hi]), out=own)
    return np.concatenate([np.empty(0), *times]), np.concatenate([np.empty(0), *size_V])


def extremes(chunks: Sequence[Chunk], channel: int, begin_s: float, end_s: float) -> tuple[float, float]:
    """Least and largest finite reading of a channel in a time; NaN where there is none."""
    found = [
        (float(np.min(low[good])), float(np.max(high[good])))
        for chunk, lo, hi in window(chunks, begin_s, end_s)
        for low, high in [(chunk.parts[channel].low[lo:hi], chunk.parts[channel].high[lo:hi])]
        if (good := np.isfinite(low) & np.isfinite(high)).any()
    ]
    return min((low for low, _ in found), default=np.nan), max((high for _, high in found), default=np.nan)


def first_median(time_s: Floats, value_V: Floats, until_s: float) -> float:
    """Median of the readings before a time, of `FEWEST` at least; NaN where there is none.

    One reading is no middle: a thump of half a second, read every ten seconds, is then all of it.
    """
    known = np.isfinite(value_V)
    early = known & (time_s < until_s)
    good = value_V[early] if np.count_nonzero(early) >= FEWEST else value_V[known][:FEWEST]
    return float(np.median(good)) if good.size else float("nan")


def look(chunks: Sequence[Chunk], spans: Sequence[Span], drawn: Drawn, most_s: float, *, every: bool) -> list[tuple[Rows, Rows]]:
    """Cells of every channel, one for each span (without a reading where it has none), and its swings.

    ``every`` tells that every reading is drawn; one stands for ``most_s`` at most.
    """
    made = [np.zeros(len(spans), dtype=CELL) for _ in drawn.values]
    for name in ("segment", "late", "cell_s", "begin_s"):
        column = [getattr(item, name) for item in spans]
        for cells in made:
            cells[name] = column
    count = drawn.last - drawn.first
    for size in np.unique(count[count > 0]).tolist():
        here = np.flatnonzero(count == size)
        rows = _rows(drawn.first[here], size)
        tables = [column[rows].reshape(here.size, size) for column in drawn.values]
        finite = [np.isfinite(table) for table in tables]
        for cells, table, known in zip(made, tables, finite, strict=True):
            _fill(cells, here, table, known)
        if every and size > 1:
            times = drawn.time_s[rows].reshape(here.size, size)
            for k in np.flatnonzero(unequal(np.diff(times))).tolist():
                for cells, table, known in zip(made, tables, finite, strict=True):
                    weigh(cells[here[k]], times[k][known[k]], table[k][known[k]], most_s)
        _compare(made, here, tables, finite)
    for channel, cells in enumerate(made):
        if not every:
            for k in np.flatnonzero(cells["readings"]).tolist():
                parts = window(chunks, spans[k].begin_s, spans[k].end_s)
                cells["peak_V"][k], cells["far_V"][k], cells["readings"][k] = _reach(
                    parts, channel, cells["median_V"][k]
                )
    return list(zip(made, _swings_of(chunks, spans, drawn, made), strict=True))


def _rows(first: Ints, size: int) -> slice | Ints:
    """Places of some tables' rows of one size: a slice where one row follows the other."""
    if first.size == 1 or bool(np.all(np.diff(first) == size)):
        return slice(int(first[0]), int(first[-1]) + size)
    return (first[:, None] + np.arange(size)).ravel()


def _fill(cells: Rows, here: Ints, table: Floats, finite: Bools) -> None:
    """Figures of the cells ``here``, whose drawn readings are the rows of a table."""
    whole = finite.all(axis=1)
    if whole.all():
        _figures(cells, here, table)
        return
    if whole.any():
        _figures(cells, here[whole], table[whole])
    for k in np.flatnonzero(~whole & finite.any(axis=1)).tolist():
        _figures(cells, here[k : k + 1], table[k : k + 1, finite[k]])


def _figures(cells: Rows, here: Ints, table: Floats) -> None:
    """Figures of cells without a reading missing."""
    size = table.shape[1]
    ranked = np.sort(table, axis=1)  # only the sort, not a partition at several ranks, has vector instructions
    place = int(0.01 * (size - 1) + 0.5)  # counted from either end: turned leads change no figure
    low, high = ranked[:, place], ranked[:, size - 1 - place]
    centre = 0.5 * (ranked[:, (size - 1) // 2] + ranked[:, size // 2])
    least, most = ranked[:, 0], ranked[:, -1]
    found = {
        "median_V": centre,
        "low_V": low,
        "high_V": high,
        "alone_V": high - low,
        "readings": size,
        "peak_V": np.maximum(-least, most),
        "far_V": np.maximum(most - centre, centre - least),
        "unmoved": 1.0,
    }
    if size > 1:
        steps = table[:, 1:] - table[:, :-1]
        np.abs(steps, out=steps)  # in place: of memory let go and asked for again each page is cleared by the system
        moves = steps > LEAST_STEP_V
        moved = np.count_nonzero(moves, axis=1)
        found["unmoved"] = 1.0 - moved / (size - 1)
        found["digit_V"] = np.where(moved > 0, np.where(moves, steps, np.inf).min(axis=1), 0.0)
        found["step_V"] = np.minimum(steps, STEP_V, out=steps).sum(axis=1) / (size - 1)
    for name, values in found.items():
        cells[name][here] = values


def _compare(made: Sequence[Rows], here: Ints, tables: Sequence[Floats], finite: Sequence[Bools]) -> None:
    """Which channels (a bit each) have the readings of another, to a last digit or as a fixed part of them, and move with it."""
    median_V, spread_V, there = (np.stack([cells[name][here] for cells in made]) for name in ("median_V", "alone_V", "readings"))
    first = np.stack([table[:, ::FIRST_LOOK] for table in tables[:MOST_NEIGHBOURS]])
    for channel, cells in enumerate(made):
        count_V = cells["digit_V"][here] * (1.0 + 1e-3)  # rounding of the numbers themselves
        both = (there > 0) & (there[channel] > 0)
        both[channel] = False
        if channel < MOST_NEIGHBOURS:
            some = slice(MOST_NEIGHBOURS)
            _find_parts(cells, channel, here, first, both[some], median_V[some], spread_V[some])
        close = both & (np.abs(median_V - median_V[channel]) <= count_V)
        numbers = np.flatnonzero(close[:MOST_NEIGHBOURS].any(axis=1))
        if not numbers.size:
            continue
        with np.errstate(invalid="ignore"):  # missing readings
            apart = np.abs(first[numbers] - tables[channel][:, ::FIRST_LOOK]) > count_V[:, None]
        few = np.count_nonzero(apart, axis=2) <= (1.0 - SAME_SHARE) * tables[channel].shape[1]
        for number, as_few in zip(numbers.tolist(), few, strict=True):
            near = close[number] & as_few
            near[near] &= (finite[channel][near] == finite[number][near]).all(axis=1)
            if not near.any():
                continue
            with np.errstate(invalid="ignore"):
                apart_V = np.abs(tables[channel][near] - tables[number][near])
                within = np.count_nonzero(apart_V <= count_V[near, None], axis=1)
            same = within >= SAME_SHARE * np.count_nonzero(finite[channel][near], axis=1)
            same[same] &= _move_together(tables[channel][near][same], tables[number][near][same])
            cells["same_as"][here[near]] |= same.astype(np.int64) << number


def _find_parts(
    cells: Rows, channel: int, here: Ints, first: Floats, both: Bools, level_V: Floats, spread_V: Floats
) -> None:
    """Note of which channels this one is a fixed part, level and noise alike: an input that hangs free keeps what was read before it.

    Two outputs have noise of their own, and rests that do not stand to each other as a noise they share does.
    """
    own_V, wide_V, digit_V = level_V[channel], spread_V[channel], cells["digit_V"][here]
    with np.errstate(divide="ignore", invalid="ignore"):  # a level of zero has no part
        part = own_V / level_V
        parts = both & (part > 0.0) & (part < 1.0) & (np.abs(own_V) >= STANDS_OFF * wide_V / NORMAL_SPREAD)
        parts &= (wide_V >= NORMAL_SPREAD * digit_V) & (np.abs(wide_V - part * spread_V) <= OWN_NOISE * wide_V + 2.0 * digit_V)
    for number in np.flatnonzero(parts.any(axis=1)).tolist():
        read = (np.isfinite(first[channel]) & np.isfinite(first[number])).any(axis=1)  # some of both among those drawn
        near = np.flatnonzero(parts[number] & read)
        mine, other = first[channel][near], first[number][near]
        left_V = mine - np.nanmean(mine, axis=1, keepdims=True) / np.nanmean(other, axis=1, keepdims=True) * other
        rounding = digit_V[near] ** 2 / 6.0  # variance of a difference of two rounded readings
        alike = np.nanmean(np.square(left_V), axis=1) <= np.nanvar(mine, axis=1) * OWN_NOISE**2 + rounding
        cells["same_as"][here[near[alike]]] |= np.int64(1) << number


def _move_together(*tables: Floats) -> Bools:
    """Rows of two tables that are correlated; a row that does not move, but for rounding, is with none."""
    off = [np.nan_to_num(rows - np.nanmean(rows, axis=1, keepdims=True)) for rows in tables]
    one, two = (np.where(np.abs(rows) > LEAST_STEP_V, rows, 0.0) for rows in off)
    both = (one * one).sum(axis=1) * (two * two).sum(axis=1)
    together: Bools = (both > 0.0) & ((one * two).sum(axis=1) >= MOVES_WITH * np.sqrt(both))
    return together


def _sections(chunk: Chunk, lo: int, hi: int) -> tuple[slice, slice, slice]:
    """Groups ``lo`` to ``hi`` as the groups before, the whole blocks between, and the groups behind them."""
    size = chunk.per_block
    first, last = -(-lo // size), hi // size
    if first >= last:
        return slice(lo, hi), slice(first, first), slice(hi, hi)
    return slice(lo, first * size), slice(first, last), slice(last * size, hi)


def _reach(parts: Sequence[Placed], channel: int, centre_V: float) -> tuple[float, float, int]:
    """Largest size and largest distance from the middle of all readings of a cell, drawn or not, and their number."""
    low, high, readings = np.inf, -np.inf, 0
    for chunk, lo, hi in parts:
        for part_low, part_high, count in _extremes(chunk, channel, lo, hi):
            low, high, readings = min(low, part_low), max(high, part_high), readings + count
    return max(-low, high), max(high - centre_V, centre_V - low), readings


def _extremes(chunk: Chunk, channel: int, lo: int, hi: int) -> Iterator[tuple[float, float, int]]:
    """Smallest, largest and count of groups ``lo`` to ``hi``: from whole blocks, and the groups at both ends."""
    part = chunk.parts[channel]
    before, blocks, behind = _sections(chunk, lo, hi)
    for here in (before, behind):
        low, high = part.low[here], part.high[here]
        good = np.isfinite(low) & np.isfinite(high)
        if good.any():
            count = int(np.count_nonzero(good)) if part.finite is None else int(part.finite[here].sum())
            yield float(low[good].min()), float(high[good].max()), count
    count = int(part.block_finite[blocks].sum())
    if count:
        yield float(np.fmin.reduce(part.block_low[blocks])), float(np.fmax.reduce(part.block_high[blocks])), count


def _exactly(parts: Sequence[Placed], channel: int, median_V: float) -> tuple[_Swung, int]:
    """Every reading (or group) that swings, and how many are beyond the level; blocks that hold none are passed over."""
    times, sizes, outside = [], [], 0
    for chunk, lo, hi in parts:
        part, size = chunk.parts[channel], chunk.per_block
        before, blocks, behind = _sections(chunk, lo, hi)
        low, high = part.block_low[blocks], part.block_high[blocks]
        far = (high - median_V > SWING_V) | (median_V - low > SWING_V) | (high > BEYOND_V) | (low < -BEYOND_V)
        inside = size * (blocks.start + np.flatnonzero(far))[:, None] + np.arange(size)
        rows = np.concatenate((np.arange(lo, before.stop), inside.ravel(), np.arange(behind.start, hi)))
        low, high = part.low[rows].astype(np.float64), part.high[rows].astype(np.float64)
        known = np.isfinite(low) & np.isfinite(high)
        off = np.where(known, np.maximum(high - median_V, median_V - low), 0.0)
        beyond = known & (np.abs(low) > BEYOND_V) if part.beyond is None else part.beyond[rows]
        outside += int(beyond.sum())
        swings = off > SWING_V
        times.append(chunk.time_s[rows[swings]])
        sizes.append(off[swings])
    return (np.concatenate(times), np.concatenate(sizes)), outside


def _swings_of(chunks: Sequence[Chunk], spans: Sequence[Span], drawn: Drawn, made: Sequence[Rows]) -> list[Rows]:
    """Swings of every channel, and in its cells what they tell: how many readings, and the range without crosstalk."""
    out: list[list[tuple[Any, ...]]] = [[] for _ in made]
    restless = [(cells["far_V"] > SWING_V) | (cells["peak_V"] > BEYOND_V) for cells in made]
    nothing = (np.empty(0), np.empty(0)), 0
    for k in np.flatnonzero(np.logical_or.reduce(restless)).tolist():
        parts = window(chunks, spans[k].begin_s, spans[k].end_s)
        looks = [
            _exactly(parts, channel, float(cells["median_V"][k])) if mine[k] else nothing
            for channel, (cells, mine) in enumerate(zip(made, restless, strict=True))
        ]
        loud = [
            (number, time_s[large], off_V[large])
            for number, ((time_s, off_V), _) in enumerate(looks[:MOST_NEIGHBOURS])
            if (large := off_V > LARGE_V).any()
        ]
        for channel, ((time_s, off_V), beyond) in enumerate(looks):
            cell, far = made[channel][k], off_V > LARGE_V
            cell["beyond"], cell["away"] = beyond, np.count_nonzero(far)
            if not time_s.size:
                continue
            by = _crosstalk(time_s, off_V, channel, loud)
            if cell["alone_V"] > SWING_V and by.any():
                here = slice(drawn.first[k], drawn.last[k])
                value = drawn.values[channel][here]
                good = np.isfinite(value)
                own = _crosstalk(drawn.time_s[here][good], np.abs(value[good] - cell["median_V"]), channel, loud)
                rest = np.sort(value[good][own == 0])
                if rest.size:
                    first, last = (rest[int(share * (rest.size - 1) + 0.5)] for share in (0.01, 0.99))
                    cell["alone_V"], cell["alone_by"] = last - first, np.bitwise_or.reduce(own)
            place = cell["segment"], cell["late"], cell["cell_s"]
            for item in (*_swings(time_s, off_V, by, False), *_swings(time_s[far], off_V[far], by[far], True)):
                out[channel].append((*place, *item))
    return [np.array(rows, dtype=SWING) for rows in out]


def _crosstalk(time_s: Floats, off_V: Floats, channel: int, loud: Sequence[tuple[int, Floats, Floats]]) -> Ints:
    """For each reading, the channels (a bit each) whose swing beside it is so large that it may be their crosstalk.

    ``loud``: numbers of channels, when they swing by more than `LARGE_V`, and by how much.
    """
    by = np.zeros(time_s.size, dtype=np.int64)
    asked = np.flatnonzero(off_V <= LARGE_V)  # a large swing is never a neighbour's
    for number, at, swing_V in loud:
        if number == channel:
            continue
        lo = np.searchsorted(at, time_s[asked] - NEIGHBOUR_S)
        hi = np.searchsorted(at, time_s[asked] + NEIGHBOUR_S, side="right")
        near = lo < hi
        beside = asked[near]
        excused = off_V[beside] <= CROSSTALK_SHARE * _largest_of_each(swing_V, lo[near], hi[near])
        by[beside[excused]] |= np.int64(1) << np.int64(number)
    return by


def _largest_of_each(values: Floats, lo: Ints, hi: Ints) -> Floats:
    """Largest of the values from ``lo`` to ``hi`` (half open), for each pair; such stretches overlap, so as not to walk through each.

    Stretches of 1, 2, 4, ... values have their largest reckoned once; two of them cover any stretch.
    """
    out, power = np.empty(lo.size), np.frexp(hi - lo)[1] - 1
    for step in range(int(power.max(initial=-1)) + 1):
        here = power == step
        out[here] = np.maximum(values[lo[here]], values[hi[here] - (1 << step)])
        values = np.maximum(values[: -1 << step], values[1 << step :])
    return out


def _swings(time_s: Floats, off_V: Floats, by: Ints, large: bool) -> Iterator[tuple[float, float, float, bool, int]]:
    """Readings of one excuse, joined where none is farther than `APART_S` from the next: begin, end and size."""
    while by.size:
        excuse = int(by.min())
        of_it = by == excuse
        mine, size = time_s[of_it], off_V[of_it]
        edge = np.flatnonzero(np.diff(mine) > APART_S)
        first, last = np.concatenate(([0], edge + 1)), np.append(edge, mine.size - 1)
        columns = mine[first], mine[last], np.maximum.reduceat(size, first)
        yield from ((*item, large, excuse) for item in zip(*(column.tolist() for column in columns), strict=True))
        time_s, off_V, by = time_s[~of_it], off_V[~of_it], by[~of_it]
