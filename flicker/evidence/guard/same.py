"""Do two channels read the same to the last digit? Two leads on one output, or one column written twice: one was not seen."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flicker.signals.guard.figures import ChannelFigures

# Choices; measured on `fresh_bench_traps.py`, `danger_sound.py` and `fresh_live.py` (tests/studies/results/fresh_benches.md).
LEAST_CELLS = 12  # an hour of cells
SHARE = 0.8  # of the cells agree: by chance one in three does where a cell holds thirty readings, fewer where it holds more


def same_as_another(mine: Sequence[ChannelFigures], digit_V: float) -> bool:
    """Whether another channel keeps within one last digit of this one and moves with it, for nearly the whole log."""
    same_as = np.concatenate([own.same_as for own in mine])
    if digit_V <= 0 or same_as.size < LEAST_CELLS:
        return False
    together = [int(np.count_nonzero(same_as & (1 << place))) for place in range(int(same_as.max()).bit_length())]
    return max(together, default=0) >= SHARE * same_as.size
