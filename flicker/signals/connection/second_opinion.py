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

from flicker.base.arrays import Floats
from flicker.base.values import Unobserved
from flicker.signals.blocks import RunBlocks
from flicker.signals.connection.disconnection import HIDES_V, Lapse
from flicker.signals.connection.movement import CELL, FEW, MOST_VISITS, SIDE, View, bends, cells_of, noise_of, view_of
from flicker.signals.order_statistics import scatter

# Stated before the table was fitted by tests/studies/make_state_tables.py, and chosen, not measured: one that changes
# asks for a new table.
MOVES = (0, 2, 6)  # blocks by which the borders may be off
# A relay that tripped, a power-up and one reading held for far longer than ever are evidence of their own: asking about
# the last lost a sleeping meter of eleven and kept no fault (seeds from 6400 and 9100000).
ASKED = (Unobserved.OPEN_LEAD, Unobserved.STILL)
TABLE = Path(__file__).with_name("second_opinion.json")  # made by tests/studies/make_state_tables.py


def second_opinion(
    blocks: RunBlocks, lapses: Sequence[Sequence[Lapse]], starts: Sequence[int], resolutions_V: Sequence[float]
) -> tuple[list[list[Lapse]], list[list[Lapse]]]:
    """Part the lapses that the rules propose for each channel into those left out, and those not sure enough to be.

    What is as good as surely live is in neither.

    ``starts`` are the blocks at which a power-up was found, ``resolutions_V`` the last digit of each channel.
    """
    kept = [[lapse for lapse in part if not lapse.told] for part in lapses]
    doubts = [[lapse for lapse in part if lapse.told] for part in lapses]
    for channel, lapse, rows in proposals(blocks, kept, starts, resolutions_V):
        odds = max(log_odds(row) for row in rows)
        if odds < float(learnt_table()["threshold"]):
            kept[channel].remove(lapse)
            if odds >= float(learnt_table()["doubt"]):  # below it, no more than what any live channel does
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
            or (lapse.reason == Unobserved.SWITCHED_OFF and not any(abs(start - lapse.last) <= FEW for start in starts))
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
    table = learnt_table()
    total = float(table["base"])
    for figure, border, low, high, value in table["trees"]:
        node = 0
        while figure[node] >= 0:
            node = low[node] if row[figure[node]] <= border[node] else high[node]
        total += value[node]
    return total


@cache
def learnt_table() -> dict[str, Any]:
    """Trees and thresholds as `make_state_tables.py` wrote them."""
    with open(TABLE, encoding="utf-8") as file:
        table: dict[str, Any] = json.load(file)
    return table


def figures(view: View, first: int, last: int) -> Floats:
    """Figures of the stretch of blocks ``first`` to ``last`` (half open), as the table names them, but the last."""
    left, right = (max(first - SIDE, 0), first), (last, min(last + SIDE, view.size))
    sides = [slice(a, b) for a, b in (left, right) if b - a >= FEW]
    inside, x = slice(first, last), view.middle[first:last]
    slack = 0.3 * view.resolution_V + 5e-6
    shown = np.clip(x, -0.2, 0.2)
    level, size = float(np.mean(shown)), float(np.std(shown))
    around = x - np.mean(x)
    own = [
        np.log1p(abs(float(np.median(x))) / (size + slack)),
        np.mean(np.abs(x) <= view.zero_V),
        np.mean(view.move[inside] <= 0),
        np.log(np.mean(view.reach(inside) > HIDES_V) + 1e-3),
        np.log(min(last - first, 600)),
        np.log(np.mean(around[1:] * around[:-1] < 0) + 1e-3) if x.size > 8 else 0.0,
    ]
    readings = view.readings(inside)
    near = [part for part in (view.readings(side) for side in sides) if part.size >= 2 * CELL]
    texture = [0.0, 0.0, 0.0]
    if readings.size >= 2 * CELL:
        noise = noise_of(readings, view.resolution_V)
        beside = [noise_of(part, view.resolution_V) for part in near]
        floor = max((_floor(part, view.resolution_V) for part in near), default=0.0)
        texture = [noise, _nearest(noise, beside), floor]
    swing = _swing([readings], slack)
    others = _swing([view.readings(part) for part in (slice(0, first), slice(last, view.size))], slack)
    line = max((_spectrum(part, 4 * CELL)[0] for part in near), default=0.0)
    wide = [swing, swing - others if others else 0.0, line]
    changed = _beside(view, first, last, sides, level, size, slack) if sides else [0.0] * 4
    return np.array([*changed, *own, *texture, *wide, *_shape(readings, view.resolution_V, slack)])


def _swing(parts: Sequence[Floats], slack: float) -> float:
    """Usual scatter of cells, as a logarithm; 0 where there are none."""
    swings = [float(np.std(cell)) for part in parts if part.size >= CELL for cell in cells_of(part)]
    return float(np.log(np.median(swings) + slack)) if swings else 0.0


def _floor(x: Floats, resolution_V: float) -> float:
    """Noise between the lines of the spectrum, in last digits, as a logarithm: hum and slow movement let it be."""
    power = _power(x, 4 * CELL if x.size >= 8 * CELL else CELL)
    # A quarter of white noise's lines lie below 0.29 of its power (exponential law).
    quiet = np.sqrt(np.quantile(np.quantile(power, 0.25, axis=1), 0.25) / -np.log(0.75))
    return float(np.log(quiet + 0.3 * resolution_V + 3e-6) - np.log(resolution_V + 1e-6))


def _beside(
    view: View, first: int, last: int, sides: Sequence[slice], level: float, size: float, slack: float
) -> list[float]:
    """What the level of a stretch is against the side that differs less, and its reach at the softer border."""
    rests = [float(np.median(view.middle[part])) for part in sides]
    near = int(np.argmin([abs(level - rest) for rest in rests]))
    shift, rest = abs(level - rests[near]), min(abs(value) for value in rests)
    spread = scatter(view.middle[sides[near]], rests[near]) + slack
    away = np.abs(view.middle - rests[near])
    contrasts = [
        _contrast(away[first : first + CELL], away[max(first - CELL, 0) : first], slack),
        _contrast(away[max(last - CELL, first) : last], away[last : last + CELL], slack),
    ]
    return [
        np.log(shift / spread + 0.01),
        np.log((shift + slack) / (size + slack)),
        np.log((abs(level) + 0.3 * view.zero_V) / (rest + 0.3 * view.zero_V)),
        min((value for value in contrasts if value), default=0.0),
    ]


def _contrast(inside: Floats, outside: Floats, slack: float) -> float:
    """How much farther from the rest, as a logarithm, on one side of a border than on the other; 0 where none shows."""
    if min(inside.size, outside.size) < 8:
        return 0.0
    return float(np.log((np.mean(inside) + slack) / (np.mean(outside) + slack)))


def _nearest(value: float, beside: Sequence[float]) -> float:
    """Difference to the side that differs less, 0 where the two sides enclose the value or there is none."""
    differences = [value - other for other in beside]
    if len(differences) == 2 and differences[0] * differences[1] < 0:
        return 0.0
    return float(min(differences, key=abs, default=0.0))


def _shape(x: Floats, resolution_V: float, slack: float) -> list[float]:
    """How the readings swing: tails, time in the middle, steadiness, and the share of one line and of white noise."""
    if x.size < 2 * CELL:
        return [0.0] * 7
    size = np.abs(x - np.median(x))
    swings = [float(np.std(cell)) for cell in cells_of(x)]
    line, _ = _spectrum(x, CELL)
    longer, white = _spectrum(x, 4 * CELL)
    return [
        np.log((np.quantile(size, 0.95) + slack) / (np.median(size) + slack)),
        np.mean(size < 0.25 * np.std(x) + 1e-6),
        np.std(swings) / (np.median(swings) + 1e-6),
        bends(x, 4, resolution_V) - bends(x, 1, resolution_V),
        line,
        longer,
        white,
    ]


def _spectrum(x: Floats, size: int) -> tuple[float, float]:
    """Share of the power in one line (hum folded by the cadence), and of white noise, usual in windows of a size."""
    if x.size < 2 * size:
        return 0.0, 0.0
    power = _power(x, size)
    whole = power.sum(axis=1)
    lines = np.apply_along_axis(np.convolve, 1, power, np.ones(3), "same").max(axis=1) / whole
    # The median of white noise's power is 0.69 of its mean (exponential law).
    white = np.median(power, axis=1) / 0.69 * power.shape[1] / whole
    return float(np.median(lines)), float(np.log(np.median(white) + 1e-6))


def _power(x: Floats, size: int) -> Floats:
    """Power of each line, of white noise its variance, in windows of a size, level and slope apart."""
    parts = x[: x.size // size * size].reshape(-1, size)[:: max(x.size // size // CELL, 1)]
    ramp, bell = np.linspace(-1.0, 1.0, size), np.hanning(size)
    parts = parts - parts.mean(axis=1, keepdims=True)
    parts = parts - np.outer(parts @ ramp / (ramp @ ramp), ramp)
    return np.asarray(np.abs(np.fft.rfft(parts * bell, axis=1)[:, 1:]) ** 2 / (bell @ bell) + 1e-18)
