"""Waveforms of a glitch. Places, lengths and signed peaks in; deviations added to an array, all glitches at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flicker.base.arrays import Floats

Wave = Callable[[Floats, NDArray[Any], np.random.Generator], Floats]  # place within the glitch, first sample?, draws

_WAVES: Mapping[str, Wave] = {
    "decay": lambda u, first, rng: np.exp(-3.0 * u),
    "swing": lambda u, first, rng: np.where(u < 0.5, 1.0, -0.7),
    "ramp": lambda u, first, rng: np.where(u < 0.8, (u + 0.05) / 0.85, 1.0 - (u - 0.8) / 0.25),
    "crackle": lambda u, first, rng: np.where(first, 1.0, rng.uniform(0.3, 1.0, u.size) * rng.choice([-1.0, 1.0], u.size)),
}
SHAPES = ("rectangular", *_WAVES)


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
    for number, draw in enumerate(_WAVES.values(), start=1):
        mine = kind == number
        if mine.any():
            wave[mine] = draw(u[mine], offset[mine] == 0, rng)
    np.add.at(out, place, wave * peak_V[owner])
