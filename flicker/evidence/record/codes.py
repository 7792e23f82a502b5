"""Numbers that a logger writes in place of a reading, such as -999.9: blocks in, a caution out; the readings stay what they are."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.formats import times_text
from flicker.signals.trace import RunTraces, of_channel

FEWEST = 5  # times that it stands: a choice; one clipped swing, or two, is no code
APART = 3.0  # times as far from zero as any other reading of the channel: a choice
ALONE = 0.5  # share of its blocks that follow another reading; a latched output stays where it is: a choice


class Code(NamedTuple):
    """A value that stands so many times, in volts."""

    value_V: float
    times: int


def codes_of(runs: Sequence[RunTraces], channels: Sequence[str]) -> dict[str, Code]:
    """The value of each channel that may be a code, of those that show one.

    It is an extreme of the channel, the same to the last digit again and again, in single rows, and nothing else comes
    near it. Swings differ from each other; those that all end at a rail within one reading look alike, so it is only asked.
    """
    found = {channel: _code(*extremes(runs, channel)) for channel in channels}
    return {channel: code for channel, code in found.items() if code is not None}


def codes_told(codes: Mapping[str, Code]) -> Iterator[str]:
    """A caution about each value."""
    for value_V in dict.fromkeys(code.value_V for code in codes.values()):
        names = [name for name, code in codes.items() if code.value_V == value_V]
        yield (
            f"{' and '.join(names)}: the value {value_V:.10g} V stands {times_text(max(codes[name].times for name in names))}, "
            "always the same, in single rows, and nothing else comes near it: a logger's code? If its manual says so, "
            f"--missing-word {value_V:.10g} (the number as the file writes it: {1e3 * value_V:.10g} if it holds mV) takes it for "
            "no reading, --over-word for one over range. Until then it counts as volts."
        )


def extremes(runs: Sequence[RunTraces], channel: str) -> tuple[Floats, Floats]:
    """Least and largest reading of each block that holds any."""
    blocks = [run.blocks.channels[place] for run, place in of_channel(runs, channel)]
    low = np.concatenate([np.empty(0), *(part.low[part.finite > 0] for part in blocks)])
    high = np.concatenate([np.empty(0), *(part.high[part.finite > 0] for part in blocks)])
    return low, high


def _code(low: Floats, high: Floats) -> Code | None:
    if low.size == 0:
        return None
    value_V = float(low.min()) if -low.min() > high.max() else float(high.max())
    there = (low == value_V) | (high == value_V)
    times = int(np.count_nonzero(there))
    begins = int(np.count_nonzero(there[1:] & ~there[:-1]) + there[0])
    if begins < max(FEWEST, ALONE * times):
        return None
    others = np.concatenate((low[low != value_V], high[high != value_V]))
    if others.size == 0 or APART * float(np.abs(others).max()) >= abs(value_V):
        return None
    return Code(value_V, times)
