"""Waveforms of a glitch. Places, lengths and signed peaks in; deviations added to an array, all glitches at once."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from flicker.base.arrays import Floats

SHAPES = ("rectangular", "decay", "swing", "ramp", "crackle")


def waveform(
    out: Floats,
    time_s: Floats,
    start_s: Floats,
    length_s: Floats,
    peak_V: Floats,
    shape: NDArray[Any],
    first: NDArray[Any],
    last: NDArray[Any],
    rng: np.random.Generator,
) -> None:
    """Add glitches to ``out`` (shape (n,)), in place.

    With u = 0..1 through the glitch: rectangular 1; decay exp(-3 u); swing 1 in the first half, -0.7 in the second;
    ramp u/0.8, then back; crackle a value of either sign between 0.3 and 1 at each sample, full at the first.
    Glitch k covers samples ``first[k]`` to ``last[k]`` (half open).
    """
    count = last - first
    total = int(count.sum())
    if total == 0:
        return
    owner = np.repeat(np.arange(count.size), count)
    offset = np.arange(total) - np.repeat(np.cumsum(count) - count, count)
    place = first[owner] + offset
    u = (time_s[place] - start_s[owner]) / length_s[owner]
    wave = np.ones(total)
    kind = shape[owner]
    for number, name in enumerate(SHAPES[1:], start=1):
        mine = kind == number
        if not mine.any():
            continue
        v = u[mine]
        if name == "decay":
            wave[mine] = np.exp(-3.0 * v)
        elif name == "swing":
            wave[mine] = np.where(v < 0.5, 1.0, -0.7)
        elif name == "ramp":
            wave[mine] = np.where(v < 0.8, (v + 0.05) / 0.85, 1.0 - (v - 0.8) / 0.25)
        else:
            jumps = rng.uniform(0.3, 1.0, v.size) * rng.choice([-1.0, 1.0], v.size)
            jumps[offset[mine] == 0] = 1.0
            wave[mine] = jumps
    np.add.at(out, place, wave * peak_V[owner])
