"""Does a channel read volts of one sign only? Exact zeros, again and again, where it rests well above, and never a reading below.

A converter without volts below zero reads a swing of -0.3 V as a swing to 0.000, by a few millivolts: its size is not known.
A logger that writes 0.000 where it has no reading hides as much. What all channels show at once is the logger's alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from flicker.base.arrays import Bools, Floats
from flicker.logs.spans import holds
from flicker.signals.blocks import RunBlocks
from flicker.signals.guard.figures import APART_S

FAR = 5.0  # times the reach of the noise below its mean, and last digits: by chance no reading is at zero; a choice
LONGEST_S = 300.0  # longer stretches are a unit that is off, or a lead, and are judged as such; a choice


class Zeros(NamedTuple):
    """Of one channel in a stretch of a log: ``times`` it went to exactly zero, and whether a reading lies ``below``."""

    times: int
    below: bool


def zeros_of(runs: Sequence[tuple[RunBlocks, Floats]]) -> tuple[Zeros, ...]:
    """Count, for each channel, how often it went from a rest well above zero to exactly zero and back, but for times off."""
    of_runs = [_of_run(run, off) for run, off in runs]
    return tuple(Zeros(sum(item.times for item in own), any(item.below for item in own)) for own in zip(*of_runs, strict=True))


def _of_run(run: RunBlocks, off: Floats) -> list[Zeros]:
    loggers = _all_zero(run) | holds(off, run.begin_s)
    out = []
    for own in run.channels:
        seen = own.finite > 0
        zero = seen & (own.low == 0.0) & ~loggers
        times = 0
        if zero.any() and float(np.median(own.middle[seen])) >= FAR * _reach(own.mean[seen], own.low[seen], own.sample_V):
            times = _short(run.begin_s[zero], run.end_s[zero])
        out.append(Zeros(times, bool(np.any(own.low[seen] < 0.0))))
    return out


def _all_zero(run: RunBlocks) -> Bools:
    """Blocks in which every channel, of several, reads exactly zero once."""
    if len(run.channels) < 2:
        return np.zeros(run.row.size, dtype=bool)
    every: Bools = np.logical_and.reduce([item.low == 0.0 for item in run.channels])
    return every


def _reach(mean_V: Floats, low_V: Floats, sample_V: Floats) -> float:
    """How far readings lie below the mean within a block, or one last digit, whichever is more."""
    steps = np.abs(np.diff(sample_V))
    steps = steps[steps > 0]
    return max(float(np.median(mean_V - low_V)), float(steps.min()) if steps.size else 0.0)


def _short(begin_s: Floats, end_s: Floats) -> int:
    """Stretches, no longer than `LONGEST_S`."""
    first = np.flatnonzero(np.concatenate(([True], begin_s[1:] - end_s[:-1] > APART_S)))
    last = np.append(first[1:], begin_s.size) - 1
    return int(np.count_nonzero(end_s[last] - begin_s[first] <= LONGEST_S))
