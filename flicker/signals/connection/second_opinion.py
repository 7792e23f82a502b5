"""A second opinion on each stretch that a rule would leave out: figures of the stretch in, log-odds out.

Leaving time out is a claim against the user, and needs evidence of its own. The rules look at borders and movement;
this looks at the whole stretch against what the channel does beside it and elsewhere, and at the other channels.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flicker.base.values import Unobserved
from flicker.signals.blocks import RunBlocks
from flicker.signals.connection.disconnection import HIDES_V, Lapse
from flicker.signals.connection.movement import SIDE, View, divergence, view_of
from flicker.signals.order_statistics import scatter

Floats = NDArray[np.float64]

# Stated before the table was fitted by tests/studies/make_state_tables.py, and chosen, not measured: one that changes
# asks for a new table.
LAG = 8  # blocks: readings some seconds apart
BATCHES = 10  # means of which tell how sure the mean of a stretch is
FEWEST = 16  # blocks beside a stretch that tell how the channel is there
TRIP_V = 0.6  # most relays have tripped by then
TRIP_BLOCKS = 6
CELL = 16
MOVES = (0, 2, 6)  # blocks by which the borders may be off
AT_START = 12  # blocks between the end of an off stretch and the power-up that ends it
# A relay that tripped, a power-up and one reading held for far longer than ever are evidence of their own: asking about
# the last lost a sleeping meter of eleven and kept no fault (seeds from 6400 and 9100000).
ASKED = (Unobserved.OPEN_LEAD, Unobserved.STILL)
TABLE = Path(__file__).with_name("second_opinion.json")  # made by tests/studies/make_state_tables.py

FIGURES = (
    "sureness of the shift",
    "shift in own scatters",
    "shift in swings of the stretch",
    "level beside",
    "level inside over beside",
    "movement within a block",
    "movement some seconds apart",
    "swing of the stretch",
    "share at zero",
    "share unmoved",
    "silence",
    "repeat against the longest elsewhere",
    "step at the begin",
    "step at the end",
    "trip before",
    "share with volts",
    "as quiet elsewhere",
    "length",
    "to the end",
    "noise from reading to reading",
    "that noise beside, in last digits",
    "contrast at the begin",
    "contrast at the end",
    "beat",
    "crossings",
    "others: movement some seconds apart",
    "others: step",
    "others: at zero",
    "restless",
)


def second_opinion(
    blocks: RunBlocks, lapses: Sequence[Sequence[Lapse]], starts: Sequence[int], resolutions_V: Sequence[float]
) -> tuple[list[list[Lapse]], list[list[Lapse]]]:
    """Part the lapses of each channel into those that are left out, and those that are not sure enough to be.

    Parameters
    ----------
    blocks : RunBlocks
        The stretch of the log.
    lapses : sequence of sequence of Lapse
        Of each channel, as the rules propose them.
    starts : sequence of int
        Blocks at which a power-up was found.
    resolutions_V : sequence of float
        Last digit of each channel.
    """
    kept: list[list[Lapse]] = [list(part) for part in lapses]
    doubts: list[list[Lapse]] = [[] for _ in lapses]
    for channel, lapse, rows in proposals(blocks, lapses, starts, resolutions_V):
        if max(log_odds(row) for row in rows) < float(_table()["threshold"]):
            kept[channel].remove(lapse)
            doubts[channel].append(lapse)
    return kept, doubts


def proposals(
    blocks: RunBlocks, lapses: Sequence[Sequence[Lapse]], starts: Sequence[int], resolutions_V: Sequence[float]
) -> Iterator[tuple[int, Lapse, list[Floats]]]:
    """The lapses that are asked about, with channel and figures, one row for each way to move the borders inwards."""
    asked = [
        (channel, lapse)
        for channel, part in enumerate(lapses)
        for lapse in part
        if lapse.reason in ASKED
        or (
            lapse.reason == Unobserved.SWITCHED_OFF and not any(abs(start - lapse.last) <= AT_START for start in starts)
        )
    ]
    if not asked:
        return
    every = np.ones(blocks.row.size, dtype=bool)
    views = [view_of(blocks, part, digit, every) for part, digit in zip(blocks.channels, resolutions_V, strict=True)]
    for channel, lapse in asked:
        place = [np.searchsorted(view.place, [lapse.first, lapse.last]).tolist() for view in views]
        others = [(views[k], *place[k]) for k in range(len(views)) if k != channel and place[k][1] - place[k][0] >= 4]
        first, last = place[channel]
        part = blocks.channels[channel]
        rows = []
        for move in MOVES:
            if last - first - 2 * move >= 8 or move == 0:
                row = figures(views[channel], first + move, last - move, others, (part.sample_s, part.sample_V))
                rows.append(np.append(row, float(lapse.reason == Unobserved.OPEN_LEAD)))
        yield channel, lapse, rows


def log_odds(row: Floats) -> float:
    """Log-odds that a stretch shows no live output, by boosted trees; positive speaks for leaving it out."""
    table = _table()
    total = float(table["base"])
    for figure, border, low, high, value in table["trees"]:
        node = 0
        while figure[node] >= 0:
            node = low[node] if row[figure[node]] <= border[node] else high[node]
        total += value[node]
    return total


@cache
def _table() -> dict[str, Any]:
    with open(TABLE, encoding="utf-8") as file:
        table: dict[str, Any] = json.load(file)
    return table


def figures(
    view: View,
    first: int,
    last: int,
    others: Sequence[tuple[View, int, int]] = (),
    samples: tuple[Floats, Floats] | None = None,
) -> Floats:
    """Figures of the stretch of blocks ``first`` to ``last`` (half open), in the order of `FIGURES`."""
    own = _figures(view, first, last)
    if samples is not None:
        own[19:21] = _noise(view, first, last, *samples)
    beside = [_figures(*other)[[6, 12, 8]] for other in others]
    shared = np.mean(beside, axis=0) if beside else np.array([0.0, 0.0, 0.5])
    return np.concatenate((own, shared))


def _figures(view: View, first: int, last: int) -> Floats:
    inside = slice(first, last)
    left, right = slice(max(first - SIDE, 0), first), slice(last, min(last + SIDE, view.size))
    sides = [part for part in (left, right) if part.stop - part.start >= FEWEST]
    x, digit, zero = view.middle[inside], view.resolution_V, view.zero_V
    slack = 0.3 * digit + 5e-6
    out = np.zeros(len(FIGURES) - 4)
    level, size = float(np.mean(np.clip(x, -0.2, 0.2))), float(np.std(np.clip(x, -0.2, 0.2)))
    if sides:
        # Each figure against the side that differs less.
        rests = [float(np.median(view.middle[part])) for part in sides]
        spreads = [scatter(view.middle[part], rest) + slack for part, rest in zip(sides, rests, strict=True)]
        errors = [_error(view.middle[part]) for part in sides]
        near = int(np.argmin([abs(level - rest) for rest in rests]))
        shift = abs(level - rests[near])
        out[0] = np.log((shift + 1e-7) / (float(np.hypot(_error(x), errors[near])) + slack / 3))
        out[1] = np.log(shift / spreads[near] + 0.01)
        out[2] = np.log((shift + slack) / (size + slack))
        rest = min(abs(value) for value in rests)
        out[3] = np.log1p(rest / zero)
        out[4] = np.log((abs(level) + 0.3 * zero) / (rest + 0.3 * zero))
        out[5] = _nearest(_quick(view, inside), [_quick(view, part) for part in sides])
        out[6] = _nearest(_slow(view, inside), [_slow(view, part) for part in sides])
        out[7] = _nearest(np.log(size + slack), [np.log(spread) for spread in spreads])
        seen = float(np.mean(view.move[inside] > 0))
        rate = min(max(min(float(np.mean(view.move[part] > 0)) for part in sides), 0.003), 0.98)
        out[10] = np.log1p((last - first) * divergence(seen, rate))
    out[8] = np.mean(np.abs(x) <= zero)
    out[9] = np.mean(view.move[inside] <= 0)
    if out[9] > 0.5:
        elsewhere = max(_longest(view.move[: max(first - 2, 0)]), _longest(view.move[last + 2 :]))
        out[11] = np.log((_longest(view.move[inside]) + 1) / (elsewhere + 1))
    out[12] = _step(view, first, zero) if first > 0 else 0.0
    out[13] = _step(view, last, zero) if last < view.size else 0.0
    out[14] = float(np.any(view.reach(slice(max(first - TRIP_BLOCKS, 0), min(first + 2, last))) > TRIP_V))
    out[15] = np.log(np.mean(view.reach(inside) > HIDES_V) + 1e-3)
    out[16] = _usual(view, first, last)
    out[17] = np.log(min(last - first, 600))
    out[18] = float(last > view.size - 3)
    if sides:
        away = np.abs(view.middle - rests[near])
        out[21] = _contrast(away[first : first + 24], away[max(first - 24, 0) : first], slack)
        out[22] = _contrast(away[max(last - 24, first) : last], away[last : last + 24], slack)
    around = x - level
    power = float(np.dot(around, around)) + x.size * slack * slack
    out[23] = (
        max(abs(float(np.dot(around[lag:], around[:-lag]))) for lag in (1, 2, 3, 4)) / power if x.size > 8 else 0.0
    )
    out[24] = np.log(np.mean(around[1:] * around[:-1] < 0) + 1e-3) if x.size > 8 else 0.0
    return out


def _contrast(inside: Floats, outside: Floats, slack: float) -> float:
    """How much farther from the rest, as a logarithm, on one side of a border than on the other; 0 where none shows."""
    if min(inside.size, outside.size) < 8:
        return 0.0
    return float(np.log((np.mean(inside) + slack) / (np.mean(outside) + slack)))


def _noise(view: View, first: int, last: int, time_s: Floats, volts: Floats) -> tuple[float, float]:
    """Noise from reading to reading, against the side that differs less: what is added to a channel lets it be."""
    bends = np.abs(volts[2:] - 2.0 * volts[1:-1] + volts[:-2])
    slack = 0.5 * view.resolution_V + 5e-6

    def usual(a: int, b: int) -> float:
        lo, hi = np.searchsorted(time_s, [view.begin_s[a], view.end_s[b - 1]])
        part = bends[lo : max(hi - 2, lo)]
        part = part[np.isfinite(part)]
        return (
            float(np.log(np.mean(np.sort(part)[: max(int(0.8 * part.size), 1)]) + slack)) if part.size > 8 else np.nan
        )

    sides = [(max(first - SIDE, 0), first), (last, min(last + SIDE, view.size))]
    beside = [usual(a, b) for a, b in sides if b - a >= FEWEST]
    beside = [value for value in beside if np.isfinite(value)]
    own = usual(first, last)
    if not beside or not np.isfinite(own):
        return 0.0, 0.0
    return _nearest(own, beside), max(beside) - float(np.log(view.resolution_V + 1e-6))


def _error(x: Floats) -> float:
    """Standard error of a mean, from means of a tenth each: slow movement makes it larger."""
    if x.size < 2 * BATCHES:
        return float(np.std(x)) / max(float(np.sqrt(x.size / 4)), 1.0)
    batches = x[: x.size // BATCHES * BATCHES].reshape(BATCHES, -1).mean(axis=1)
    return float(np.std(batches, ddof=1)) / float(np.sqrt(BATCHES))


def _nearest(value: float, beside: Sequence[float]) -> float:
    """Difference to the side that differs less, 0 where the two sides enclose the value."""
    differences = [value - other for other in beside]
    if len(differences) == 2 and differences[0] * differences[1] < 0:
        return 0.0
    return float(min(differences, key=abs))


def _quick(view: View, part: slice) -> float:
    """Usual movement from block to block, as a logarithm."""
    return float(np.mean(np.log(view.move[part] + 0.5 * view.resolution_V + 5e-6)))


def _slow(view: View, part: slice) -> float:
    """Usual movement over some seconds, as a logarithm."""
    x = view.middle[part]
    if x.size <= LAG:
        return float(np.log(0.5 * view.resolution_V + 5e-6))
    return float(np.mean(np.log(np.abs(x[LAG:] - x[:-LAG]) + 0.5 * view.resolution_V + 5e-6)))


def _longest(move: Floats) -> int:
    """Longest row of blocks without a movement."""
    place = np.flatnonzero(np.concatenate(([True], move > 0, [True])))
    return int(np.max(np.diff(place))) - 1


def _step(view: View, place: int, zero: float) -> float:
    """Step of the level at a border in steps that the channel shows beside it."""
    before, after = view.middle[max(place - 6, 0) : place], view.middle[place : place + 6]
    if min(before.size, after.size) < 3:
        return 0.0
    step = abs(float(np.median(after)) - float(np.median(before)))
    return float(np.log((step + 0.1 * zero) / (0.5 * (scatter(before) + scatter(after)) + 0.1 * zero)))


def _usual(view: View, first: int, last: int) -> float:
    """Share of the rest of the channel that is at least as quiet as the stretch."""
    count = view.size // CELL
    cells = np.log(view.move[: count * CELL] + 0.5 * view.resolution_V + 5e-6).reshape(count, CELL).mean(axis=1)
    rest = np.concatenate((cells[: first // CELL], cells[-(-last // CELL) :]))
    return float(np.mean(rest <= _quick(view, slice(first, last)) + 0.25)) if rest.size else 0.0
