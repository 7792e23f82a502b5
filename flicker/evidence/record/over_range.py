"""What swings over range are at least: the meter read up to the largest finite reading of the same channel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from flicker.base.arrays import Bools
from flicker.signals.blocks import RunBlocks
from flicker.signals.trace import RunTraces, Trace


def at_least_the_range(runs: Sequence[RunTraces]) -> list[RunTraces]:
    """Runs whose swings over range are at least as large as the largest reading of that channel where it went over range.

    Without it a swing of which no reading is known counts as one that just passes the threshold: the largest as the
    smallest. The meter is taken to have been left on its range.
    """
    range_V: dict[str, float] = {}
    for run in runs:
        for trace, part in zip(run.traces, run.blocks.channels, strict=True):
            if np.any(part.over_low + part.over_high > 0):
                most_V = float(np.fmax.reduce(np.fmax(part.high, -part.low), initial=0.0))
                range_V[trace.channel] = max(most_V, range_V.get(trace.channel, 0.0))
    return [
        replace(
            run,
            traces=tuple(
                _at_least(trace, _over(run.blocks, place, trace), range_V[trace.channel]) if trace.channel in range_V else trace
                for place, trace in enumerate(run.traces)
            ),
        )
        for run in runs
    ]


def _over(blocks: RunBlocks, place: int, trace: Trace) -> Bools:
    """Which excursions of a trace hold a reading over range, and no mere change of range."""
    part, found = blocks.channels[place], trace.excursions
    before = np.concatenate(([0], np.cumsum(part.over_low + part.over_high > 0)))
    first, last = blocks.end_s.searchsorted(found.start_s), blocks.begin_s.searchsorted(found.end_s, side="right")
    return found.over_range & (before[last] > before[first])


def _at_least(trace: Trace, over: Bools, range_V: float) -> Trace:
    found = trace.excursions
    short = over & ~(np.abs(found.peak_V) >= range_V)
    if not short.any():
        return trace
    peak_V = np.where(short, np.copysign(range_V, found.deviation_V), found.peak_V)
    from_rest_V = peak_V - (trace.level_V or 0.0)
    larger = short & (np.abs(from_rest_V) > np.abs(found.deviation_V))
    return replace(
        trace,
        excursions=replace(
            found,
            peak_V=np.where(larger, peak_V, found.peak_V),
            deviation_V=np.where(larger, from_rest_V, found.deviation_V),
        ),
    )
