"""Do two channels read the same to the last digit? Two leads on one output, or one column written twice: one was not seen."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flicker.signals.guard.figures import ChannelFigures

# Choices; measured on `fresh_bench_traps.py`, `danger_sound.py` and `fresh_live.py` (tests/studies/results/fresh_benches.md).
COUNTS = 5.0  # digits that the middle range of a cell is wide at least: noise of less agrees by chance
LEAST_CELLS = 12  # an hour of cells
SHARE = 0.95  # of the cells agree


def same_as_another(mine: Sequence[ChannelFigures], digit_V: float) -> bool:
    """Whether another channel keeps within one last digit of this one, reading by reading, for nearly the whole log."""
    wide_V = np.concatenate([own.high_V - own.low_V for own in mine])
    if digit_V <= 0 or wide_V.size < LEAST_CELLS or float(np.median(wide_V)) < COUNTS * digit_V:
        return False
    same_as = np.concatenate([own.same_as for own in mine])
    together = [int(np.count_nonzero(same_as & (1 << place))) for place in range(int(same_as.max()).bit_length())]
    return max(together, default=0) >= SHARE * wide_V.size
