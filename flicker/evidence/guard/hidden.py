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
from flicker.evidence.guard.falls import LEAST_S, LONGEST_S, digits, falls_of, lasted, stretches
from flicker.logs.spans import holds
from flicker.signals.blocks import ChannelBlocks, RunBlocks
from flicker.signals.guard.off import ZERO_V

if TYPE_CHECKING:
    from flicker.signals.trace import RunTraces

FAR = 5.0  # sigma of the noise, and last digits: by chance no reading is at zero; a choice
TWENTIETH = 1.645  # sigma below which a twentieth of normal readings lie (any table of the normal law); by definition
BY_CHANCE = 0.01  # of a channel that repeats readings so long by chance, where each may be the one before; a choice
ORDINARY = 8  # repeats in a row, at most, and so many such rows, tell how readily a repeat goes on by itself; a choice
COARSE = 0.3  # of the readings repeat the one before: the digit is too coarse to tell; a choice
FEWEST = 4  # repeats, however rare they are; a choice


class Hidden(NamedTuple):
    """Of one channel in a stretch of a log.

    ``zeros``: how often it went to exactly zero, and whether a reading lies ``below``. ``falls``: how often it fell from its
    rest to nothing and came back, and ``blinks``: how often all channels did for a moment; ``held``: how often it repeated a
    reading while another channel moved; ``longest_s`` of them. ``strays``: how often it went as far and ended elsewhere.
    """

    zeros: int = 0
    below: bool = False
    falls: int = 0
    blinks: int = 0
    held: int = 0
    strays: int = 0
    longest_s: float = 0.0

    def __add__(self, other: Hidden) -> Hidden:  # type: ignore[override]
        """Of two stretches together."""
        return Hidden(
            zeros=self.zeros + other.zeros, below=self.below or other.below, falls=self.falls + other.falls,
            blinks=self.blinks + other.blinks, held=self.held + other.held, strays=self.strays + other.strays,
            longest_s=max(self.longest_s, other.longest_s),
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
    fallen = falls_of(run, counted)
    out = []
    for place, own in enumerate(run.channels):
        seen = own.finite > 0
        zero = seen & (own.low == 0.0) & ~loggers & ~fallen[place].looked
        zeros = 0
        level_V = float(np.median(own.middle[seen])) if zero.any() else 0.0
        if level_V > 0.0 and level_V >= FAR * _reach(own.low[seen], level_V, _digit(own.sample_V)):
            first, last = stretches(run, zero)
            zeros = int(np.count_nonzero(run.end_s[last] - run.begin_s[first] <= LONGEST_S))
        falls, blinks = (lasted(run, blocks) for blocks in (fallen[place].fell, fallen[place].blinked))
        held = _held(run, own, repeats[place] & ~marked[place], [item for k, item in enumerate(repeats) if k != place])
        longest_s = max(float(item.max(initial=0.0)) for item in (falls, blinks, held))
        below = bool(np.any(own.low[seen] < 0.0))
        gone = {"falls": falls.size, "blinks": blinks.size, "held": held.size, "strays": fallen[place].strays}
        out.append(Hidden(zeros=zeros, below=below, longest_s=longest_s, **gone))
    return out


def _all_zero(run: RunBlocks) -> Bools:
    """Blocks in which every channel, of several, reads zero once, as near as a meter does: a relay, or the logger."""
    if len(run.channels) < 2:
        return np.zeros(run.row.size, dtype=bool)
    none_V = [np.maximum(ZERO_V, digits(run, item)) for item in run.channels]
    return np.asarray(np.all([(item.low <= none) & (item.high >= -none) for item, none in zip(run.channels, none_V, strict=True)], axis=0))


def _reach(low_V: Floats, level_V: float, digit_V: float) -> float:
    """Sigma of the lowest readings below a level, from their lowest twentieth (swings are fewer); a last digit at least."""
    return max((level_V - float(np.quantile(low_V, 0.05))) / TWENTIETH, digit_V)


def _digit(sample_V: Floats) -> float:
    """The least step between readings drawn, 0 where they do not move."""
    steps = np.abs(np.diff(sample_V[np.isfinite(sample_V)]))
    steps = steps[steps > 0]
    return float(steps.min()) if steps.size else 0.0


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
