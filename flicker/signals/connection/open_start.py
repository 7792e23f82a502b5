"""Was the output relay still open when a run began? Single readings of the first minute in, when it closed out.

A lead behind an open relay reads anything up to a volt, or nothing at all; then the relay closes, the surge comes at
once and falls, and from there on the channel shows its own small noise. Each border within the first ten seconds is
compared with none by its profile likelihood. A border must then look like one: a swing of the channel itself, or a
surge that takes its time to rise, is none.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.middle import median
from flicker.logs.model import Log
from flicker.signals.blocks import RunBlocks
from flicker.signals.connection.movement import MUCH, NATS, SUPPLY_S, TOGETHER_S
from flicker.signals.read_again import rows_again
from flicker.signals.spill_buffer import FIRST_S

TAIL_S = 2 * TOGETHER_S  # after this the surge is nearly over: the channel's own noise; chosen, not measured
PER_SECOND = 10  # readings a second that are enough for a border; common practice, no source
TAUS_S = np.array([1.5, 3.0, 5.0, 8.0, 13.0, 20.0, 40.0])  # falls of a surge, a factor of about 1.6 apart
ROUNDS = 2  # of reweighting: with four, 168 starts came out alike; chosen
MOST_CUTS = 30  # largest steps first: bounds the work, not the result; a choice
FLOOR_V = 3e-5  # noise of a meter's own input; common practice, no source


def first_readings(log: Log, blocks: RunBlocks) -> list[tuple[Floats, Floats]]:
    """Readings of the first minute of a run: seconds on its clock and volts, for each channel, at full rate."""
    many = int(np.searchsorted(blocks.begin_s, FIRST_S, side="right"))
    first, last = int(blocks.row[0]), int(blocks.row[many - 1] + blocks.rows[many - 1])
    until_s = float(blocks.end_s[many - 1])
    kept = [int(np.searchsorted(part.sample_s, until_s, side="right")) for part in blocks.channels]
    if all(count == last - first for count in kept):  # the subsample is every reading
        return [(p.sample_s[:count], p.sample_V[:count]) for p, count in zip(blocks.channels, kept, strict=True)]
    pieces = list(rows_again(log, blocks, first, last))
    time = np.concatenate([piece.time_s for piece in pieces]) - blocks.offset_s
    return [
        (time, np.concatenate([piece.values[k] for piece in pieces]).astype(np.float64))
        for k in range(len(blocks.channels))
    ]


def relay_closed_at(
    time_s: Floats, volts: Floats, *, resolution_V: float, zero_V: float, step_V: float
) -> float | None:
    """When the output relay closed, seconds on the clock of the readings; None where no opening shows.

    Parameters
    ----------
    time_s, volts : array, shape (readings,)
        Single readings of the first minute after a power-up at ``time_s`` 0, evenly spaced; NaN where there is none.
    resolution_V : float
        Last digit of the meter.
    zero_V : float
        What reads as zero.
    step_V : float
        A step smaller than this is no surge.

    Notes
    -----
    Before the border: readings about zero with a scale and a lag-one correlation of their own. After it: a level, one
    falling exponential and heavy-tailed noise of the size that the channel shows later. Method: profile likelihood.
    """
    known = np.isfinite(volts) & (time_s <= FIRST_S)
    t, x = time_s[known], volts[known]
    if t.size > PER_SECOND * FIRST_S:
        stride = int(np.ceil(t.size / (PER_SECOND * FIRST_S)))
        t, x = t[::stride], x[::stride]
    if t.size < 24 or np.count_nonzero(t > TAIL_S) < 9:
        return None
    closed = _after_zero(t, x, zero_V, step_V)
    return _after_volts(t, x, 0.5 * resolution_V + FLOOR_V) if closed is None else closed


def _after_zero(t: Floats, x: Floats, zero_V: float, step_V: float) -> float | None:
    """Zero for seconds, then the surge: a relay that showed nothing before it closed."""
    zero = np.abs(x) <= zero_V
    at = int(np.argmin(zero))
    if at < 2 or not 1.5 <= t[at] <= TOGETHER_S:
        return None
    later = x[at : max(int(np.searchsorted(t, t[at] + SUPPLY_S)), at + 3)]
    if float(np.max(np.abs(later - x[at - 1]))) < step_V:
        return None
    # An output that rests at zero itself, and then swings, mostly stays there for as long again.
    tail = np.concatenate(([0], np.cumsum(zero[t > TAIL_S])))
    return float(t[at]) if tail.size > 2 * at and np.mean(tail[at:] - tail[:-at] == at) < 0.5 else None


def _after_volts(t: Floats, x: Floats, floor_V: float) -> float | None:
    """Restless volts about zero, then the surge."""
    base = _fall(t, x)
    own = _own_noise(base[t > TAIL_S], floor_V)
    none = best = _surge(t, x, own)
    where = 0
    step = np.abs(np.diff(x))
    cuts = np.arange(2, min(int(np.searchsorted(t, TOGETHER_S)), t.size - 14))
    for at in np.sort(cuts[np.argsort(-step[cuts - 1], kind="stable")[:MOST_CUTS]]).tolist():
        head = _restless(x[:at], floor_V)
        if head.scale < MUCH * own.scale:
            continue
        cost = head.cost + _surge(t[at:], x[at:], own)
        if cost < best:
            best, where = cost, at
    if where == 0 or none - best < NATS or not _like_a_lead(t, x, where, own):
        return None
    return float(t[where])


def _surge(t: Floats, x: Floats, own: _Noise) -> float:
    """Cost of a surge from the first reading on, with the channel's own noise; it may take its time to rise."""
    top = _top(t, x, own)
    cost = _cost(_fall(t[top:], x[top:]), own)
    if top:  # anywhere on the way up, but in order
        cost += top * float(np.log(abs(x[top] - x[0]) + own.scale)) - math.lgamma(top + 1)
    return cost


def _top(t: Floats, x: Floats, own: _Noise) -> int:
    """Where a surge that rises all the way within the time of a supply is highest."""
    early = int(np.searchsorted(t, t[0] + SUPPLY_S))
    top = int(np.argmax(np.abs(x[:early] - median(x[t > TAIL_S])))) if early else 0
    way = np.diff(x[: top + 1])
    return top if np.all(way >= -2.0 * own.scale) or np.all(way <= 2.0 * own.scale) else 0


class _Noise(NamedTuple):
    """First-order autoregression: correlation from reading to reading, and scale of what each brings anew."""

    phi: float
    scale: float
    cost: float = 0.0


def _own_noise(residual: Floats, floor_V: float) -> _Noise:
    """Noise of the channel once the surge is nearly over, robust against swings."""
    usual = _trimmed(np.abs(residual)) + floor_V
    phi = _correlation(np.clip(residual, -4.0 * usual, 4.0 * usual))
    return _Noise(phi, 1.25 * _trimmed(np.abs(residual[1:] - phi * residual[:-1])) + floor_V)


def _correlation(x: Floats) -> float:
    power = float(np.dot(x[:-1], x[:-1]))
    return min(max(float(np.dot(x[1:], x[:-1])) / power, -0.98), 0.98) if power > 0 else 0.0


def _restless(head: Floats, floor_V: float) -> _Noise:
    """Readings about zero as noise of their own, its cost with that of its two numbers."""
    phi = _correlation(head) if head.size > 4 else 0.0
    left = np.concatenate((head[:1] * np.sqrt(1.0 - phi * phi), head[1:] - phi * head[:-1]))
    scale = float(np.sqrt(np.mean(left * left))) + floor_V
    return _Noise(phi, scale, head.size * (np.log(scale) + 0.5) + (3.0 if phi == 0.0 else 4.5))


def _cost(residual: Floats, own: _Noise) -> float:
    """Student-like cost: a swing costs little more than its own readings."""
    fresh = np.concatenate((residual[:1] * np.sqrt(1.0 - own.phi**2), residual[1:] - own.phi * residual[:-1]))
    return float(np.sum(np.log(own.scale) + 2.0 * np.log1p((fresh / own.scale) ** 2 / 3.0)))


def _like_a_lead(t: Floats, x: Floats, where: int, own: _Noise) -> bool:
    """Is what ends at a border an open lead: to and fro before it, and far calmer once the surge falls?"""
    head, way = x[:where], np.diff(x[: where + 1])
    if np.all(way >= -own.scale) or np.all(way <= own.scale):
        return False  # a surge that takes its time to rise, or the fall of a swing
    if where >= 5 and float(np.mean((head[1:-1] - head[:-2]) * (head[1:-1] - head[2:]) > 0)) < 0.3:
        return False  # a swing turns seldom
    if float(np.median(np.abs(head))) < 0.2 * float(np.sqrt(np.mean(head * head))):
        return False  # calm most of the time: a swing
    top = where + _top(t[where:], x[where:], own)
    soon = np.abs(_fall(t[top:], x[top:])[: max(int(np.searchsorted(t[top:], t[top] + 5.0)), 4)])
    return _trimmed(soon) < 0.25 * float(np.mean(np.abs(head[-max(where // 3, 1) :])))


def _trimmed(size: Floats) -> float:
    """Mean without the largest twentieth."""
    return float(np.mean(np.sort(size)[: int(0.95 * size.size) + 1]))


def _fall(t: Floats, x: Floats) -> Floats:
    """Residuals of a level and one falling exponential, by least absolute deviations over a grid of time constants."""
    since = t - t[0]
    weight = 1.0 / (since + 2.0)  # early readings are few: the fall itself must count
    basis = np.exp(-since[None, :] / TAUS_S[:, None])
    current = np.broadcast_to(weight, basis.shape)
    for _ in range(ROUNDS):
        s0 = current.sum(axis=1)
        s1 = (current * basis).sum(axis=1)
        s2 = (current * basis * basis).sum(axis=1) * (1.0 + 1e-9)
        y0, y1 = current @ x, (current * basis) @ x
        det = s0 * s2 - s1 * s1
        level, size = (y0 * s2 - y1 * s1) / det, (s0 * y1 - s1 * y0) / det
        residual = x - level[:, None] - size[:, None] * basis
        current = weight / np.maximum(np.abs(residual), 1e-4)
    return np.asarray(residual[int(np.argmin(np.abs(residual) @ weight))])
