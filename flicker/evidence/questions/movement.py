"""Does the level move, as read? Minute medians of each power-up, weighed against noise of unknown colour.

Nothing is subtracted: the room, the temperature and settling explain movement elsewhere, they do not take it away here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from flicker.base.arrays import Floats
from flicker.evidence.guard.model import WARM_S
from flicker.evidence.record.starts import power_ups_begin
from flicker.signals.order_statistics import ranked_in_groups
from flicker.signals.trace import RunTraces
from flicker.stats.moving import Movement, moved_in_noise

MINUTE_S = 60.0  # by the rule of clearance: minute medians
MOST_LEVELS = 20_000  # a choice: bounds memory


class RawMovement(NamedTuple):
    """Movement of one channel by the power-up in which it is largest, and how large it may be in any."""

    largest: Movement | None
    most_V: float | None
    tested: int


def minute_levels(runs: Sequence[RunTraces], channel: str) -> list[tuple[Floats, Floats]]:
    """Seconds since the power-up and medians of minutes, from minute 20 on, of each power-up of a channel."""
    out: list[tuple[list[Floats], list[Floats]]] = []
    clock_s = 0.0
    for run, begins in zip(runs, power_ups_begin(runs), strict=True):
        if begins or not out:
            out.append(([], []))
            clock_s = 0.0
        place = next((k for k, trace in enumerate(run.traces) if trace.channel == channel), None)
        if place is not None:
            time, level = _medians(run.blocks.centre_s, run.blocks.channels[place].middle)
            late = time + clock_s >= WARM_S
            breaks = np.asarray(run.traces[place].hands.breaks_s, dtype=np.float64)
            setting = np.searchsorted(breaks, time, side="right")
            for number in range(breaks.size + 1):  # across a mark that begins a new setting nothing is claimed
                if number:
                    out.append(([], []))
                chosen = late & (setting == number)
                out[-1][0].append(time[chosen] + clock_s)
                out[-1][1].append(level[chosen])
        clock_s += run.run.duration_s + run.run.sample_interval_s
    return [(np.concatenate(times), np.concatenate(levels)) for times, levels in out if times]


def _medians(time_s: Floats, value_V: Floats) -> tuple[Floats, Floats]:
    good = np.isfinite(value_V)
    time, value = time_s[good], value_V[good]
    if time.size == 0:
        return time, value
    minute = np.floor(time / MINUTE_S).astype(np.int64)
    first = np.flatnonzero(np.diff(minute, prepend=minute[0] - 1))
    count = np.diff(np.append(first, minute.size))
    middle = np.asarray((minute[first] + 0.5) * MINUTE_S, dtype=np.float64)
    return middle, ranked_in_groups(minute, value, first, count)[first + count // 2]


def raw_movement(parts: Sequence[tuple[Floats, Floats]], limit_V: float) -> RawMovement:
    """Weigh every power-up; one that is too short says nothing."""
    found = []
    for time, level in parts:
        if time.size > MOST_LEVELS:  # a month: levels of several minutes serve as well
            keep = -(-time.size // MOST_LEVELS)
            time, level = time[keep // 2 :: keep], level[keep // 2 :: keep]
        item = moved_in_noise(level, time, limit=limit_V)
        if item.beyond and float(np.ptp(level)) <= limit_V:  # a line through a step is longer than all that was read
            item = replace(item, beyond=False)
        if np.isfinite(item.moved):
            found.append(item)
    if not found:
        return RawMovement(None, None, 0)
    largest = max(found, key=lambda item: (item.beyond, item.low, abs(item.moved)))
    return RawMovement(largest, max(item.high for item in found), len(found))
