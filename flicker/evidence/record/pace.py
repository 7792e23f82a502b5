"""Do the readings come, and follow the output, at one pace? If not, glitches as short as the slower one are seen unequally."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.middle import median
from flicker.evidence.guard.awake import DIGITS
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.signals.blocks import BLOCK_S
from flicker.signals.trace import RunTraces

# sample intervals further apart than this factor see different shares of short glitches; chosen, not measured
PACE = 1.5
# part of the glitches that must be shorter than an interval for that to matter to a growth, which must be 1.5-fold besides; a
# third more and the pace alone feigns one in 10 logs of 100 (`constants.md`)
SHORT = 0.25
OTHER_PACE = (
    "The readings come at more than one pace, or follow the output more slowly in one part, and the slower one misses glitches this "
    "short: how often they come, and how large they are, cannot be told from one part to the next. Log at one pace, with one filter."
)
LAGS = (1, 2, 4, 8, 16, 32, 64)  # blocks, of a second or one reading: a meter's filter, not the warmth of a unit; a choice
FOLLOWED = 0.7  # part of the largest difference from block to block: of white noise every lag has all of it; a choice
OTHER_FILTER = 4.0  # times as slow: the lags are powers of two, and noise itself may change by an octave; a choice


def follow_s(traces: Sequence[RunTraces]) -> float:
    """Seconds in which the quickest channel follows its output, by its noise at rest; 0: not known.

    Noise differs as much from one reading to the next as from one minute to the next, unless a filter or an average holds
    it back. What a part of the unit does to noise is in its own channel; what the meter does is in all.
    """
    quickest = []
    for channel in {trace.channel for run in traces for trace in run.traces}:
        steps: dict[int, list[Floats]] = {lag: [] for lag in LAGS}
        digit_V = block_s = 0.0
        for run in traces:
            for trace, blocks in zip(run.traces, run.blocks.channels, strict=False):  # other columns follow the outputs
                if trace.channel == channel and blocks.mean.size > LAGS[-1]:
                    digit_V = max(digit_V, trace.resolution_V)
                    block_s = max(block_s, median(np.diff(run.blocks.begin_s)))
                    for lag, found in steps.items():
                        step_V = np.abs(blocks.mean[lag:] - blocks.mean[:-lag])
                        found.append(step_V[np.isfinite(step_V)])
        typical_V = [median(np.concatenate(found)) if sum(part.size for part in found) else 0.0 for found in steps.values()]
        if max(typical_V) > DIGITS * digit_V:
            lag = next(lag for lag, step in zip(LAGS, typical_V, strict=True) if step >= FOLLOWED * max(typical_V))
            quickest.append(lag * block_s)
    return min(quickest, default=0.0)


def slower_s(follow: Sequence[float]) -> list[float]:
    """Seconds in which each of some logs follows the output, where they differ that much; 0 elsewhere."""
    return list(follow) if max(follow) >= OTHER_FILTER * max(min(follow), BLOCK_S) else [0.0] * len(follow)


def seen_share(spans_s: Sequence[Floats], interval_s: float) -> float:
    """Share of these swings that last an interval at least: readings so far apart see them, and may see no others."""
    lasted_s = np.concatenate([np.empty(0), *spans_s])
    return float(np.mean(lasted_s >= interval_s)) if lasted_s.size else 1.0


def missed(spans_s: Sequence[Floats], interval_s: float) -> bool:
    """Whether a quarter of these swings or more are shorter than an interval: readings so far apart miss such, closer ones do not."""
    return seen_share(spans_s, interval_s) <= 1.0 - SHORT


def feigned(record: ChannelRecord) -> bool:
    """Whether readings closer together in one run, or part of a run, than in another could feign a change of rate or size."""
    paces = [run.paces_s for run, trace in zip(record.runs, record.traces, strict=True) if trace.observed_s > 0]
    if not paces:
        return False
    fastest, slowest = min(pair[0] for pair in paces), max(pair[1] for pair in paces)
    return slowest > PACE * fastest and missed([trace.excursions.duration_s for trace in record.traces], slowest)
