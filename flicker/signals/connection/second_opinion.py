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
from flicker.signals.connection.movement import FEW, MOST_VISITS, SIDE, View, divergence, view_of
from flicker.signals.order_statistics import scatter

Floats = NDArray[np.float64]

# Stated before the table was fitted by tests/studies/make_state_tables.py, and chosen, not measured: one that changes
# asks for a new table.
BORDER = 24  # blocks on each side of a border
SPECTRUM = 4096  # readings in the middle of a stretch
MOVES = (0, 2, 6)  # blocks by which the borders may be off
AT_START = 12  # blocks between the end of an off stretch and the power-up that ends it
# A relay that tripped, a power-up and one reading held for far longer than ever are evidence of their own: asking about
# the last lost a sleeping meter of eleven and kept no fault (seeds from 6400 and 9100000).
ASKED = (Unobserved.OPEN_LEAD, Unobserved.STILL)
TABLE = Path(__file__).with_name("second_opinion.json")  # made by tests/studies/make_state_tables.py


def second_opinion(
    blocks: RunBlocks, lapses: Sequence[Sequence[Lapse]], starts: Sequence[int], resolutions_V: Sequence[float]
) -> tuple[list[list[Lapse]], list[list[Lapse]]]:
    """Part the lapses that the rules propose for each channel into those left out, and those not sure enough to be.

    ``starts`` are the blocks at which a power-up was found, ``resolutions_V`` the last digit of each channel.
    """
    kept = [[lapse for lapse in part if not lapse.told] for part in lapses]
    doubts = [[lapse for lapse in part if lapse.told] for part in lapses]
    for channel, lapse, rows in proposals(blocks, kept, starts, resolutions_V):
        if max(log_odds(row) for row in rows) < float(_table()["threshold"]):
            kept[channel].remove(lapse)
            doubts[channel].append(lapse)
    for part, unsure in zip(kept, doubts, strict=True):
        again = [lapse for lapse in (*part, *unsure) if lapse.reason in ASKED]
        if len(again) > MOST_VISITS:  # a lead that fell off is clipped on by somebody; what comes and goes is the fault
            unsure += [lapse for lapse in part if lapse in again]
            part[:] = [lapse for lapse in part if lapse not in again]
    return kept, [sorted(part, key=lambda lapse: lapse.first) for part in doubts]


def proposals(
    blocks: RunBlocks, lapses: Sequence[Sequence[Lapse]], starts: Sequence[int], resolutions_V: Sequence[float]
) -> Iterator[tuple[int, Lapse, list[Floats]]]:
    """The lapses that are asked about, with channel and figures, one row for each way to move the borders inwards."""
    asked = [
        (channel, lapse)
        for channel, part in enumerate(lapses)
        for lapse in part
        if not lapse.told
        and (
            lapse.reason in ASKED
            or (
                lapse.reason == Unobserved.SWITCHED_OFF
                and not any(abs(start - lapse.last) <= AT_START for start in starts)
            )
        )
    ]
    views = {k: view_of(blocks, blocks.channels[k], resolutions_V[k]) for k in dict(asked)}
    for channel, lapse in asked:
        view = views[channel]
        first, last = np.searchsorted(view.place, [lapse.first, lapse.last]).tolist()
        rows = [
            np.append(figures(view, first + move, last - move), lapse.reason == Unobserved.OPEN_LEAD)
            for move in MOVES
            if last - first - 2 * move >= 8 or move == 0
        ]
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


def figures(view: View, first: int, last: int) -> Floats:
    """Figures of the stretch of blocks ``first`` to ``last`` (half open), as the table names them, but the last."""
    inside = slice(first, last)
    left, right = (max(first - SIDE, 0), first), (last, min(last + SIDE, view.size))
    sides = [slice(a, b) for a, b in (left, right) if b - a >= FEW]
    x, zero = view.middle[inside], view.zero_V
    slack = 0.3 * view.resolution_V + 5e-6
    shown = np.clip(x, -0.2, 0.2)
    level, size = float(np.mean(shown)), float(np.std(shown))
    beside = _beside(view, first, last, sides, level, size, slack) if sides else np.zeros(7)
    unmoved = float(np.mean(view.move[inside] <= 0))
    repeat = 0.0
    if unmoved > 0.5:
        elsewhere = max(_longest(view.move[: max(first - 2, 0)]), _longest(view.move[last + 2 :]))
        repeat = np.log((_longest(view.move[inside]) + 1) / (elsewhere + 1))
    around = x - np.mean(x)
    own = np.array(
        [
            np.log1p(abs(float(np.median(x))) / (size + slack)),
            np.mean(np.abs(x) <= zero),
            unmoved,
            repeat,
            _step(view, first, zero) if first > 0 else 0.0,
            np.log(np.mean(view.reach(inside) > HIDES_V) + 1e-3),
            _usual(view, first, last),
            np.log(min(last - first, 600)),
            np.log(np.mean(around[1:] * around[:-1] < 0) + 1e-3) if x.size > 8 else 0.0,
        ]
    )
    readings = view.readings(inside)
    noise = [_noise(view, part) for part in (inside, *sides)]
    return np.concatenate((beside, own, _against(noise, view), _spectrum(readings[np.isfinite(readings)], slack)))


def _beside(
    view: View, first: int, last: int, sides: Sequence[slice], level: float, size: float, slack: float
) -> Floats:
    """What a stretch is against the side that differs less."""
    inside = slice(first, last)
    rests = [float(np.median(view.middle[part])) for part in sides]
    spreads = [scatter(view.middle[part], rest) + slack for part, rest in zip(sides, rests, strict=True)]
    near = int(np.argmin([abs(level - rest) for rest in rests]))
    shift, rest = abs(level - rests[near]), min(abs(value) for value in rests)
    seen = float(np.mean(view.move[inside] > 0))
    rate = min(max(min(float(np.mean(view.move[part] > 0)) for part in sides), 0.003), 0.98)
    away = np.abs(view.middle - rests[near])
    contrasts = [
        _contrast(away[first : first + BORDER], away[max(first - BORDER, 0) : first], slack),
        _contrast(away[max(last - BORDER, first) : last], away[last : last + BORDER], slack),
    ]
    return np.array(
        [
            np.log(shift / spreads[near] + 0.01),
            np.log((shift + slack) / (size + slack)),
            np.log((abs(level) + 0.3 * view.zero_V) / (rest + 0.3 * view.zero_V)),
            _nearest(np.log(size + slack), [np.log(spread) for spread in spreads]),
            _nearest(_quick(view, inside), [_quick(view, part) for part in sides]),
            np.log1p((last - first) * divergence(seen, rate)),
            min((value for value in contrasts if value), default=0.0),
        ]
    )


def _contrast(inside: Floats, outside: Floats, slack: float) -> float:
    """How much farther from the rest, as a logarithm, on one side of a border than on the other; 0 where none shows."""
    if min(inside.size, outside.size) < 8:
        return 0.0
    return float(np.log((np.mean(inside) + slack) / (np.mean(outside) + slack)))


def _noise(view: View, part: slice) -> float:
    """Noise from reading to reading, as a logarithm: what is added slowly to a channel lets it be."""
    x = view.readings(part)
    with np.errstate(invalid="ignore"):  # over range on both sides
        bends = np.abs(x[2:] - 2.0 * x[1:-1] + x[:-2])
    bends = np.sort(bends[np.isfinite(bends)])
    if bends.size <= 8:
        return np.nan
    return float(np.log(np.mean(bends[: int(0.8 * bends.size)]) / 2.4 + 0.5 * view.resolution_V + 5e-6))


def _against(noise: Sequence[float], view: View) -> Floats:
    """Noise of the stretch; against the side that differs less; and beside, in last digits."""
    own, beside = noise[0], [value for value in noise[1:] if np.isfinite(value)]
    if not np.isfinite(own):
        return np.zeros(3)
    if not beside:
        return np.array([own, 0.0, 0.0])
    return np.array([own, _nearest(own, beside), max(beside) - np.log(view.resolution_V + 1e-6)])


def _spectrum(x: Floats, slack: float) -> Floats:
    """Share of the power in one line (hum folded by the cadence), share of white noise, and how far the tails reach."""
    if x.size < 32:
        return np.zeros(3)
    x = x[max(x.size - SPECTRUM, 0) // 2 :][:SPECTRUM]
    x = np.clip(x, *np.quantile(x, [0.01, 0.99]))
    x = x - x.mean()
    size = np.abs(x)
    tail = np.log((np.quantile(size, 0.95) + slack) / (np.median(size) + slack))
    power = np.abs(np.fft.rfft(x * np.hanning(x.size)))[1:] ** 2
    if not power.any():
        return np.array([0.0, 0.0, tail])
    top = int(np.argmax(power))
    line = float(power[max(top - 2, 0) : top + 3].sum() / power.sum())
    # The median of white noise's power is 0.69 of its mean (exponential law).
    return np.array([line, np.log(np.median(power) / 0.69 / power.mean() + 1e-6), tail])


def _nearest(value: float, beside: Sequence[float]) -> float:
    """Difference to the side that differs less, 0 where the two sides enclose the value."""
    differences = [value - other for other in beside]
    if len(differences) == 2 and differences[0] * differences[1] < 0:
        return 0.0
    return float(min(differences, key=abs))


def _quick(view: View, part: slice) -> float:
    """Usual movement from block to block, as a logarithm."""
    return float(np.mean(np.log(view.move[part] + 0.5 * view.resolution_V + 5e-6)))


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
    count = view.size // FEW
    cells = np.log(view.move[: count * FEW] + 0.5 * view.resolution_V + 5e-6).reshape(count, FEW).mean(axis=1)
    rest = np.concatenate((cells[: first // FEW], cells[-(-last // FEW) :]))
    return float(np.mean(rest <= _quick(view, slice(first, last)) + 0.25)) if rest.size else 0.0
