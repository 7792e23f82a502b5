"""How does a channel end? Volts, then nothing to the end of the log: a unit that died. Runs in, one event out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from flicker.base.formats import clock_text, hours_text, volts_text
from flicker.base.result import Result
from flicker.evidence.guard import ALIVE_V
from flicker.evidence.outlook.forecast import SPAN_S, TimeToThreshold, time_to_threshold
from flicker.signals.blocks import RunBlocks
from flicker.signals.guard.figures import GRACE_S
from flicker.signals.trace import RunTraces

Floats = NDArray[np.float64]

FAILED_V = 2.0  # beyond it, then nothing: the unit failed (choice)
NOTHING_S = 5.0  # of nothing at least; chosen, not measured
APART_S = 10.0  # volts with pauses up to here are one event; as the dead time; a choice
FALL_S = 300.0  # a reservoir that drains through a load of some ohms is empty by then; chosen, not measured
FALL_AGAIN = 1.05  # a fall does not rise, but for its last digits; chosen, not measured


@dataclass(frozen=True, slots=True)
class Failed(Result):
    """The last volts of a channel and how long they stood; ``end_s`` to the end of the log without any."""

    run: int
    begin_s: float
    lasted_s: float
    largest_V: float
    then_s: float
    at: datetime | None

    @property
    def reads(self) -> str:
        """One event, in volts."""
        when = f"{self.at:%H:%M}" if self.at is not None else f"{clock_text(self.begin_s)} of run {self.run + 1}"
        largest = "over range" if not np.isfinite(self.largest_V) else volts_text(self.largest_V)
        lasted = hours_text(max(self.lasted_s, 1.0) / 3600.0)
        return f"failed at {when}: {largest} for {lasted}, then nothing"


def _sizes(blocks: RunBlocks, channel: int) -> Floats:
    """Largest size in each block: infinite over range, NaN without a reading."""
    part = blocks.channels[channel]
    size = np.fmax(np.abs(part.low), np.abs(part.high))
    return np.where((part.over_low > 0) | (part.over_high > 0), np.inf, size)


def _falls(size: Floats) -> bool:
    """Whether sizes do not rise again: what is left of a supply drains, and no swing comes back."""
    known = size[np.isfinite(size)]
    return bool(np.all(known[1:] <= FALL_AGAIN * known[:-1]))


def failed(runs: Sequence[RunTraces], channel: str) -> Failed | None:
    """The event in which a channel failed; None where it lives to the end of its log."""
    mine = [(run, k) for run in runs for k, trace in enumerate(run.traces) if trace.channel == channel]
    then_s = 0.0
    for run, place in reversed(mine):
        size = _sizes(run.blocks, place)
        begin, end = run.blocks.begin_s, run.blocks.end_s
        with np.errstate(invalid="ignore"):
            live = np.flatnonzero(size > ALIVE_V)
            loud = np.flatnonzero(size > FAILED_V)
        step = run.run.sample_interval_s
        if live.size == 0:
            then_s += float(end[-1]) + step - float(begin[0])
            continue
        if loud.size == 0:
            return None
        last = int(loud[-1])
        fell = float(begin[live[-1]]) - float(end[last])
        least_s = FALL_S if _falls(size[last : live[-1] + 1]) else APART_S
        then_s += float(end[-1]) - float(end[live[-1]])
        if fell > least_s or then_s < NOTHING_S or begin[last] < GRACE_S:
            return None
        first = last
        for k in loud[::-1]:
            if begin[first] - end[k] > APART_S:
                break
            first = int(k)
        at = None if run.run.start is None else run.run.start + timedelta(seconds=float(begin[first]))
        return Failed(
            run=run.number,
            begin_s=float(begin[first]),
            lasted_s=float(end[last]) + step - float(begin[first]),
            largest_V=float(size[first : last + 1].max()),
            then_s=then_s,
            at=at,
        )
    return None


def approach(runs: Sequence[RunTraces], channel: str, threshold_V: float) -> TimeToThreshold | None:
    """When the level at the end of the last run reaches a threshold."""
    for run in reversed(runs):
        for place, trace in enumerate(run.traces):
            if trace.channel == channel:
                time, level = run.blocks.centre_s, run.blocks.channels[place].middle
                late = time > time[-1] - SPAN_S - 1.0
                return time_to_threshold(time[late], level[late], threshold_V=threshold_V)
    return None
