"""What a reading may hide for seconds: exact zeros of a meter without a sign, an output that falls to zero, a reading that is held.

A converter without volts below zero reads a swing of -0.3 V as a swing to 0.000. An output relay that opens, or a contact, leaves
nothing to be measured. An overload, or a logger that fills its blanks, repeats the reading before. In none of them are the
volts known. What all channels show at once to the last digit is the logger's alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from flicker.base.arrays import Bools, Floats, Ints
from flicker.base.runs import true_runs
from flicker.logs.spans import holds
from flicker.signals.blocks import ChannelBlocks, RunBlocks
from flicker.signals.guard.figures import APART_S
from flicker.signals.guard.off import ZERO_V

if TYPE_CHECKING:
    from flicker.signals.trace import RunTraces

FAR = 5.0  # sigma of the noise, and last digits: by chance no reading is at zero; a choice
TWENTIETH = 1.645  # sigma below which a twentieth of normal readings lie (any table of the normal law); by definition
LONGEST_S = 300.0  # longer stretches are a unit that is off, or a lead, and are judged as such; a choice
LEAST_S = 2.0  # as long as a blank that may hide an overload, clearance 7; a relay that opens for less changes a mode
FELL = 3.5  # sigma, or last digits, of a rest from zero: two blocks at zero by chance come in one log of thousands; a choice
LEFT = 0.3  # of the rest, at most, is left by a relay that opened: the zero of a meter; a choice
QUIET = 8  # blocks that stay within a sigma: of normal readings one stretch in ten thousand does; a choice
AROUND = 32  # blocks on either side that tell the rest and its noise; a choice
HALF = 0.6745  # median size of a standard normal number, by definition
AT_ONCE = 4096  # falls looked at, at most; a choice for speed
BY_CHANCE = 0.01  # of a channel that repeats readings so long by chance, where each may be the one before; a choice
ORDINARY = 8  # repeats in a row, at most, and so many such rows, tell how readily a repeat goes on by itself; a choice
COARSE = 0.3  # of the readings repeat the one before: the digit is too coarse to tell; a choice
FEWEST = 4  # repeats, however rare they are; a choice


class Hidden(NamedTuple):
    """Of one channel in a stretch of a log.

    ``zeros``: how often it went to exactly zero, and whether a reading lies ``below``. ``falls``: how often it fell from its
    rest to nothing and came back; ``held``: how often it repeated a reading while another channel moved; ``longest_s`` of both.
    """

    zeros: int = 0
    below: bool = False
    falls: int = 0
    held: int = 0
    longest_s: float = 0.0

    def __add__(self, other: Hidden) -> Hidden:  # type: ignore[override]
        """Of two stretches together."""
        return Hidden(
            self.zeros + other.zeros, self.below or other.below, self.falls + other.falls, self.held + other.held,
            max(self.longest_s, other.longest_s),
        )  # fmt: skip


def hidden_of(runs: Sequence[tuple[RunTraces, Floats]]) -> tuple[Hidden, ...]:
    """Count, for each channel, how often its reading was gone for seconds, or the same for seconds, but for times off."""
    of_runs = [_of_run(run, off) for run, off in runs]
    return tuple(sum(own, Hidden()) for own in zip(*of_runs, strict=True))


def _of_run(traces: RunTraces, off: Floats) -> list[Hidden]:
    run = traces.blocks
    away = holds(off, run.begin_s)
    loggers = _all_zero(run) | away
    repeats = [_repeats(run, own) for own in run.channels]
    marked = [away | holds(item.hands.touched, run.centre_s) | holds(item.hands.windows, run.centre_s) for item in traces.traces]
    counted = [(own.finite > 0) & ~out for own, out in zip(run.channels, marked, strict=True)]
    fell = [_falls(run, own, blocks) for own, blocks in zip(run.channels, counted, strict=True)]
    cut = np.logical_or.reduce([blocks for blocks, _ in fell])
    out = []
    for place, own in enumerate(run.channels):
        seen = own.finite > 0
        zero = seen & (own.low == 0.0) & ~loggers
        zeros = 0
        level_V = float(np.median(own.middle[seen])) if zero.any() else 0.0
        if level_V > 0.0 and level_V >= FAR * _reach(own.low[seen], level_V, _digit(own.sample_V)):
            first, last = _stretches(run, zero)
            zeros = int(np.count_nonzero(run.end_s[last] - run.begin_s[first] <= LONGEST_S))
        falls = _lasted(run, fell[place][0] | (cut & fell[place][1]))
        held = _held(run, own, repeats[place] & ~marked[place], [item for k, item in enumerate(repeats) if k != place])
        longest_s = float(max(falls.max(initial=0.0), held.max(initial=0.0)))
        out.append(Hidden(zeros, bool(np.any(own.low[seen] < 0.0)), falls.size, held.size, longest_s))
    return out


def _all_zero(run: RunBlocks) -> Bools:
    """Blocks in which every channel, of several, reads exactly zero once."""
    if len(run.channels) < 2:
        return np.zeros(run.row.size, dtype=bool)
    return np.asarray(np.all([item.low == 0.0 for item in run.channels], axis=0))


def _reach(low_V: Floats, level_V: float, digit_V: float) -> float:
    """Sigma of the lowest readings below a level, from their lowest twentieth (swings are fewer); a last digit at least."""
    return max((level_V - float(np.quantile(low_V, 0.05))) / TWENTIETH, digit_V)


def _digit(sample_V: Floats) -> float:
    """The least step between readings drawn, 0 where they do not move."""
    steps = np.abs(np.diff(sample_V[np.isfinite(sample_V)]))
    steps = steps[steps > 0]
    return float(steps.min()) if steps.size else 0.0


def _digits(run: RunBlocks, own: ChannelBlocks) -> Floats:
    """The least step between neighbouring blocks in five minutes, for each block: with the range, the digit may change."""
    steps = np.abs(np.diff(own.mean, prepend=np.nan))
    steps = np.where(steps > 0, steps, np.inf)
    cell = np.floor(run.begin_s / LONGEST_S)
    begins = np.flatnonzero(np.diff(cell, prepend=-1.0))
    least = np.minimum.reduceat(steps, begins)
    known = np.where(np.isfinite(least), least, 0.0)
    return np.repeat(known, np.diff(np.append(begins, cell.size)))


def _stretches(run: RunBlocks, blocks: Bools) -> tuple[Ints, Ints]:
    """First and last of the blocks that lie no farther apart than swings of one kind do."""
    place = np.flatnonzero(blocks)
    parts = np.flatnonzero(run.begin_s[place[1:]] - run.end_s[place[:-1]] > APART_S)
    return place[np.concatenate(([0], parts + 1))], place[np.append(parts, place.size - 1)]


def _lasted(run: RunBlocks, blocks: Bools) -> Floats:
    """Seconds of each stretch of some blocks."""
    first, end = true_runs(blocks)
    return np.asarray(run.end_s[end - 1] - run.begin_s[first])


def _falls(run: RunBlocks, own: ChannelBlocks, counted: Bools) -> tuple[Bools, Bools]:
    """Blocks to which a channel fell from its rest and came back, each in a step, and all its blocks at zero.

    The rest lies many sigma of what stands around from where it fell to, and at least half of it is gone, and back, within two
    blocks: no noise and no wander does both. It fell to zero for two blocks and more; or near it, as a meter's own zero is, for
    so many and so quiet that they are not the channel's own noise. Where another channel falls, it is enough that this one is at zero.
    """
    digit_V = _digits(run, own)
    none_V = np.maximum(ZERO_V, digit_V)
    size_V = np.maximum(np.abs(own.low), np.abs(own.high))
    zero = counted & (size_V <= none_V)
    fell = np.zeros(zero.size, dtype=bool)
    usual_V = abs(float(np.median(own.mean[counted]))) if counted.any() else 0.0
    first, end = true_runs(counted & (size_V <= np.maximum(none_V, LEFT * usual_V)))
    last = end - 1
    # The block at each border may hold readings of both: the one beyond it tells.
    inside = (last > first) & (first >= 2) & (last + 2 < zero.size)
    first, last = first[inside][:AT_ONCE], last[inside][:AT_ONCE]
    if not first.size:
        return fell, zero
    reach = np.arange(2, AROUND + 2)
    around = np.concatenate((first[:, None] - reach, last[:, None] + reach), axis=1)
    beside = own.mean[np.clip(around, 0, zero.size - 1)]
    rest_V = np.nanmedian(beside, axis=1)
    sigma_V = np.maximum(np.nanmedian(np.abs(beside - rest_V[:, None]), axis=1) / HALF, digit_V[first])
    before, after = (np.where(counted[at], own.mean[at], 0.0) * np.sign(rest_V) for at in (first - 2, last + 2))
    lasted = run.end_s[last] - run.begin_s[first]
    whole = (np.minimum(before, after) >= 0.5 * np.abs(rest_V)) & (lasted >= LEAST_S)
    whole &= run.begin_s[last + 2] - run.end_s[first - 2] <= LONGEST_S
    for begin, end, rest, sigma in zip(first[whole], last[whole], np.abs(rest_V[whole]), sigma_V[whole], strict=True):
        part = slice(begin, end + 1)
        at_zero = bool(zero[part].all())
        quiet = end - begin >= QUIET and float(own.high[part].max() - own.low[part].min()) <= sigma
        down_V = float(none_V[begin]) if at_zero else LEFT * rest
        if (at_zero or quiet) and rest - down_V >= FELL * sigma and float(size_V[part].max()) <= down_V:
            fell[part] = True
    return fell, zero


def _repeats(run: RunBlocks, own: ChannelBlocks) -> Bools:
    """Blocks in which every reading is the one before the block, to the last digit."""
    one = (own.finite > 0) & (own.low == own.high)
    out = np.zeros(one.size, dtype=bool)
    out[1:] = one[1:] & one[:-1] & (own.low[1:] == own.low[:-1]) & ~run.after_gap[1:]
    return out


def _held(run: RunBlocks, own: ChannelBlocks, repeats: Bools, others: Sequence[Bools]) -> Floats:
    """Seconds of each stretch in which a channel repeats a reading for longer than its last digit explains, and not all channels do.

    Were each reading the one before with the chance with which repeats begin (twice that: neighbours are alike), stand around
    the stretch, or go on where they are short, the most of them, a stretch so long would come in one channel of a hundred.
    """
    first, end = true_runs(repeats)
    if not first.size:
        return np.empty(0)
    # How often a repeat begins around each stretch: a range, and with it the digit, may change within a log.
    low, high = np.searchsorted(run.begin_s, [run.begin_s[first] - LONGEST_S, run.begin_s[end - 1] + LONGEST_S])
    mine = end - first
    around = np.maximum(high - low - mine, 1)
    begun = (np.searchsorted(first, high) - np.searchsorted(first, low)) / around
    share = (_counted(repeats, low, high) - mine) / around
    few = mine[mine <= ORDINARY]
    goes_on = float(np.mean(few > 1)) if few.size > ORDINARY else 0.0
    chance = np.clip(np.maximum.reduce(np.broadcast_arrays(2.0 * begun, share, goes_on)), 1e-9, 1.0 - 1e-9)
    enough = np.maximum(np.log(repeats.size / BY_CHANCE) / -np.log(chance), FEWEST)
    lasted = run.end_s[end - 1] - run.begin_s[first - 1]
    long = (chance < COARSE) & (mine >= enough) & (lasted >= LEAST_S) & (lasted <= LONGEST_S) & (np.abs(own.low[first]) > ZERO_V)
    if others:
        long &= _counted(np.logical_and.reduce(others), first, end) < mine
    tens = own.low[first[long]] / max(10.0 * _digit(own.sample_V), 1e-12)
    if np.all(np.abs(tens - np.round(tens)) < 0.01):  # all end in zero: a higher range
        return np.empty(0)
    return np.asarray(lasted[long])


def _counted(blocks: Bools, first: Ints, end: Ints) -> Ints:
    """How many of the blocks from ``first`` on, before ``end``."""
    before = np.concatenate(([0], np.cumsum(blocks)))
    return np.asarray(before[end] - before[first])
