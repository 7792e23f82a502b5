"""Is what the meter sees cut off from the output now and then? Blocks of a channel in; falls from its rest to nothing, and back, out.

An output relay that opens, or a contact, leaves nothing to be measured: the reading goes to the meter's zero, or to pick-up about it,
from wherever it was, and comes back to where it was. Noise, wander and swings end anywhere; a cut-off output always at zero.
So what goes most of the way to zero is counted in two sorts: what ends at zero, and what ends short of it or beyond. Only
where the first are as many as the second, and the rest lies far enough from zero for its own noise not to reach it, are
they falls. Near zero, but not at it, a cut-off output has other noise than a live one: less, or hum.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from flicker.base.arrays import Bools, Floats, Ints
from flicker.base.runs import true_runs
from flicker.signals.blocks import ChannelBlocks, RunBlocks
from flicker.signals.guard.figures import APART_S
from flicker.signals.guard.off import ZERO_V

LONGEST_S = 300.0  # longer stretches of all channels are a unit that is off, or a lead, and are judged as such; a choice
LEAST_S = 2.0  # as long as a blank that may hide an overload, clearance 7; relays that open for less may change a mode
REST_S = 1800.0  # so long a time tells where a channel rests; a choice
FELL = 3.5  # sigma, or last digits, of a rest from zero: two blocks at zero by chance come in one log of thousands; a choice
LEFT = 0.3  # of the rest, at most, is left by a relay that opened: the zero of a meter, or pick-up; a choice
FAR_UP = 1.7  # times its rest: as far on the other side as what is left of it by a relay that opened, by definition
HALF_WAY = 0.5  # of its own rest at least is read of a channel that is not cut off as well; a choice
TWICE = 2.0  # times as far from zero as a meter reads it at most: what comes so near is asked where it ends; a choice
QUIET = 8  # blocks, of all falls together, tell how noisy it is there; a choice
UNLIKE = 1.7  # times as noisy, or less, is another circuit; a choice, as an hour's cells are compared (`awake.QUIETER`)
AROUND = 32  # blocks on either side that tell the rest and its noise; a choice
HALF = 0.6745  # median size of a standard normal number, by definition
RESTLESS = 0.25  # of the blocks go so near to zero: the rest does not stand out of the noise; a choice
# equal intervals, of moments known to a block: three at random are so in one log of a thousand, where each is EVEN blocks long and
# more; choices
FEWEST = 3
EVEN = 30.0  # a choice
AT_ONCE = 4096  # falls looked at, at most; a choice for speed


class Falls(NamedTuple):
    """Of one channel: blocks in which it was cut off (``fell``), alone or for long; in which all channels were, for a moment
    (``blinked``); and in which the meter looked at its own zero, by the clock (``looked``). ``strays``: how often it
    came near zero and ended elsewhere, or went as far to the other side, as noise does.
    """

    fell: Bools
    blinked: Bools
    looked: Bools
    strays: int = 0


def falls_of(run: RunBlocks, counted: Sequence[Bools]) -> list[Falls]:
    """Falls of every channel of a run, in blocks that are ``counted``. Where one falls, it is enough that another is at zero."""
    rest_V = [_rests(run, own, blocks) for own, blocks in zip(run.channels, counted, strict=True)]
    none_V = [np.maximum(ZERO_V, _own_digits(digits(run, own), rests)) for own, rests in zip(run.channels, rest_V, strict=True)]
    zero = [
        blocks & (np.maximum(np.abs(own.low), np.abs(own.high)) <= nothing)
        for own, blocks, nothing in zip(run.channels, counted, none_V, strict=True)
    ]
    live = [
        blocks & (np.where(rests > 0.0, own.low, -own.high) > np.maximum(HALF_WAY * np.abs(rests), nothing))
        for own, blocks, rests, nothing in zip(run.channels, counted, rest_V, none_V, strict=True)
    ]
    found = []
    for place, (own, blocks, rests, nothing) in enumerate(zip(run.channels, counted, rest_V, none_V, strict=True)):
        beside = np.logical_or.reduce([item for k, item in enumerate(live) if k != place] or [np.zeros(blocks.size, dtype=bool)])
        found.append(_falls(run, own, blocks, rests, nothing, beside))
    fell, blinked = (np.logical_or.reduce([getattr(item, name) for item in found]) for name in ("fell", "blinked"))
    return [Falls(own.fell | (fell & there), own.blinked | (blinked & there), own.looked, own.strays) for own, there in zip(found, zero, strict=True)]


def lasted(run: RunBlocks, blocks: Bools) -> Floats:
    """Seconds of each stretch of some blocks; those no farther apart than swings of one kind are one."""
    place = np.flatnonzero(blocks)
    if not place.size:
        return np.empty(0)
    first, last = stretches(run, blocks)
    return np.asarray(run.end_s[last] - run.begin_s[first])


def stretches(run: RunBlocks, blocks: Bools) -> tuple[Ints, Ints]:
    """First and last of the blocks that lie no farther apart than swings of one kind do."""
    place = np.flatnonzero(blocks)
    parts = np.flatnonzero(run.begin_s[place[1:]] - run.end_s[place[:-1]] > APART_S)
    return place[np.concatenate(([0], parts + 1))], place[np.append(parts, place.size - 1)]


def digits(run: RunBlocks, own: ChannelBlocks) -> Floats:
    """The least step between neighbouring blocks in five minutes, for each block: with the range, the digit may change."""
    steps = np.abs(np.diff(own.mean, prepend=np.nan))
    steps = np.where(steps > 0, steps, np.inf)
    begins, sizes = _cells(run, LONGEST_S)
    least = np.minimum.reduceat(steps, begins)
    return np.repeat(np.where(np.isfinite(least), least, 0.0), sizes)


def _own_digits(digit_V: Floats, rest_V: Floats) -> Floats:
    """Digits; where nothing moves but from the rest to zero, that step is none, and the finest of the run is."""
    known = digit_V[digit_V > 0.0]
    finest_V = float(known.min()) if known.size else 0.0
    return np.where(digit_V > HALF_WAY * np.abs(rest_V), np.minimum(digit_V, finest_V), digit_V)


def _cells(run: RunBlocks, span_s: float) -> tuple[Ints, Ints]:
    """First block, and number of blocks, of each such stretch of time."""
    cell = np.floor(run.begin_s / span_s)
    begins = np.flatnonzero(np.diff(cell, prepend=-1.0))
    return begins, np.diff(np.append(begins, cell.size))


def _rests(run: RunBlocks, own: ChannelBlocks, counted: Bools) -> Floats:
    """Where the channel rests around each block."""
    begins, sizes = _cells(run, REST_S)
    rests = [
        float(np.median(own.mean[b : b + n][counted[b : b + n]])) if counted[b : b + n].any() else 0.0
        for b, n in zip(begins.tolist(), sizes.tolist(), strict=True)
    ]
    return np.repeat(rests, sizes)


def _falls(run: RunBlocks, own: ChannelBlocks, counted: Bools, rest_V: Floats, none_V: Floats, beside: Bools) -> Falls:
    """Falls of one channel from where it rests; ``beside`` tells where another channel is live."""
    fell, blinked, looked = (np.zeros(counted.size, dtype=bool) for _ in range(3))
    out = Falls(fell, blinked, looked)
    if not counted.any():
        return out
    sign = np.sign(rest_V)
    near_V, far_V = np.where(sign > 0, own.low, -own.high), np.where(sign > 0, own.high, -own.low)
    past = counted & (near_V <= np.maximum(LEFT * np.abs(rest_V), TWICE * none_V)) & (sign != 0.0)
    first, last = _visible(own, past, counted, sign, none_V)
    if not first.size:
        return out
    at_zero, near = (np.zeros(first.size, dtype=bool) for _ in range(2))
    inner_V: list[Floats] = []
    size_V, sigma_V = _around(own, first, last)
    for k, (a, z) in enumerate(zip(first.tolist(), last.tolist(), strict=True)):
        stays_V, deepest_V = LEFT * abs(size_V[k]), float(near_V[a : z + 1].min())
        down = far_V[a : z + 1] <= stays_V
        sudden = z - a < 2 or bool(down[:2].any() or down[-2:].any())  # at one end at least: a cable discharges slowly
        if not (sudden and (down[1:-1].all() or (z - a >= QUIET and 2 * np.count_nonzero(down) > down.size))):
            continue
        at_zero[k] = abs(deepest_V) <= none_V[a : z + 1].max()
        near[k] = not at_zero[k] and z - a >= 2 and deepest_V >= -stays_V
        if near[k]:
            inner_V.append(own.mean[a + 1 : z])
    if near.any() and _unlike(np.concatenate(inner_V), float(np.median(sigma_V[near]))):
        at_zero |= near
    out = out._replace(strays=int(np.count_nonzero(~at_zero)) + _as_far_up(own, counted & (far_V >= FAR_UP * np.abs(rest_V)), far_V))
    if np.count_nonzero(at_zero) < out.strays:
        return out
    first, last = first[at_zero], last[at_zero]
    lasts_s = np.maximum(run.begin_s[last] - run.end_s[first], 0.0)  # at least: a block at a border may hold readings of both
    moment = lasts_s <= LEAST_S * (1.0 + 1e-9)
    clock = (last - first < 2) & moment
    clock[clock] = _by_the_clock(run.begin_s[first[clock]], float(np.median(np.diff(run.begin_s))))
    for k, (a, z) in enumerate(zip(first.tolist(), last.tolist(), strict=True)):
        alone = bool(beside[a : z + 1].all())
        if alone or lasts_s[k] <= LONGEST_S:
            (looked if clock[k] else fell if alone or not moment[k] else blinked)[a : z + 1] = True
    return out


def _as_far_up(own: ChannelBlocks, up: Bools, far_V: Floats) -> int:
    """How often a channel went as far to the other side of its rest as zero lies, and came back: noise does both alike."""
    first, end = true_runs(up)
    first, last = first[:AT_ONCE], end[:AT_ONCE] - 1
    if not first.size:
        return 0
    rest_V, _ = _around(own, first, last)
    return int(np.count_nonzero(np.maximum(far_V[first], far_V[last]) >= FAR_UP * np.abs(rest_V)))


def _by_the_clock(time_s: Floats, block_s: float) -> bool:
    """Whether some moments come at equal intervals, or multiples of one, to a block: a meter that looks at its zero, and no relay."""
    between_s = np.diff(time_s)
    if between_s.size < FEWEST:
        return False
    turn_s = float(np.median(between_s))
    return bool(turn_s > EVEN * block_s and np.all(np.abs(between_s - turn_s * np.rint(between_s / turn_s)) <= 1.5 * block_s))


def _visible(own: ChannelBlocks, past: Bools, counted: Bools, sign: Floats, none_V: Floats) -> tuple[Ints, Ints]:
    """First and last block of each stretch near zero, of a rest so far from it that neither noise nor digit reaches it."""
    first, end = true_runs(past)
    last = end - 1
    inside = (first >= 1) & (last + 1 < past.size)
    first, last = first[inside][:AT_ONCE], last[inside][:AT_ONCE]
    if not first.size or np.count_nonzero(past) > RESTLESS * np.count_nonzero(counted):
        return first[:0], last[:0]
    inside = counted[first - 1] & counted[last + 1]
    first, last = first[inside], last[inside]
    rest_V, sigma_V = _around(own, first, last)
    size_V, nothing_V = rest_V * sign[first], none_V[first]
    coarse_V = np.where(nothing_V > ZERO_V, nothing_V, 0.0)
    visible = (1.0 - LEFT) * size_V >= FELL * np.maximum(sigma_V, coarse_V)
    visible &= size_V - nothing_V >= FELL * sigma_V
    return first[visible], last[visible]


def _unlike(inner_V: Floats, usual_V: float) -> bool:
    """Whether it is quieter or louder there than where the channel rests."""
    spread_V = float(np.median(np.abs(inner_V - np.median(inner_V)))) / HALF
    return inner_V.size >= QUIET and (UNLIKE * spread_V < usual_V or spread_V > UNLIKE * usual_V)


def _around(own: ChannelBlocks, first: Ints, last: Ints) -> tuple[Floats, Floats]:
    """Middle of the blocks before and after each stretch, but for its borders, and their sigma."""
    reach = np.arange(2, AROUND + 2)
    around = np.concatenate((first[:, None] - reach, last[:, None] + reach), axis=1)
    beside = own.mean[np.clip(around, 0, own.mean.size - 1)]
    beside[~np.isfinite(beside).any(axis=1)] = 0.0  # nothing was read there: no rest that a fall could leave
    rest_V = np.nanmedian(beside, axis=1)
    return rest_V, np.nanmedian(np.abs(beside - rest_V[:, None]), axis=1) / HALF
