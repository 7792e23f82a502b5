"""Is what was read a value of its own? Two channels that read the same, and a value that is renewed seldom.

Two leads on one output, or one column written twice: one of them was not seen. A logger that writes each second what a meter
renews every few minutes has seen one reading in minutes: a run of equal readings, far longer than noise and digit allow, is
one reading. Noise of less than a digit repeats for minutes too, and is a sound reading all the same. What tells the two apart
is by how much the value steps when it does: there by one count, here by the noise, which is several counts wide.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flicker.base.arrays import Bools, Floats
from flicker.evidence.guard.awake import next_known
from flicker.evidence.guard.limits import JITTER, SEEN_EVERY_S, SEEN_SHARE
from flicker.signals.guard.chunk import MOST_DRAWN
from flicker.signals.guard.figures import CELL_S, HOUR_CELLS, ChannelFigures

# Choices; measured on `fresh_bench_traps.py`, `danger_sound.py` and `fresh_live.py` (tests/studies/results/fresh_benches.md).
SHARE = 0.8  # of the cells agree: by chance one in three does where a cell holds thirty readings, fewer where it holds more


def same_as_another(mine: Sequence[ChannelFigures], digit_V: float) -> bool:
    """Whether another channel keeps within one last digit of this one and moves with it, for nearly the whole log."""
    same_as = np.concatenate([own.same_as for own in mine])
    if digit_V <= 0 or same_as.size < HOUR_CELLS:
        return False
    together = [int(np.count_nonzero(same_as & (1 << place))) for place in range(int(same_as.max()).bit_length())]
    return max(together, default=0) >= SHARE * same_as.size


# Choices, between what rounded normal noise gives by simulation: where two of three readings or more repeat the one before (a sigma of 0.3 digits or
# less), a step is 1.01 counts in the mean; where the mean step is 1.5 counts (sigma 0.95 digits), 28 of 100 repeat.
COUNTS = 1.5
REPEATS_EACH = 3.0  # rows to a step, and more: by chance no step of several counts comes so seldom


def seldom_renewed(
    mine: Sequence[ChannelFigures], steps_s: Sequence[float], counted: Sequence[Bools]
) -> tuple[float, list[Bools]]:
    """Seconds from one value to the next where it is renewed too seldom (0: it is not), and the cells in which it is.

    ``steps_s`` from row to row of each stretch; ``counted`` the cells that are looked at. The seconds are told where
    such cells take more of the time than may go unseen (`SEEN_SHARE`).
    """
    cells = [_cells(own, step_s) for own, step_s in zip(mine, steps_s, strict=True)]
    counts = [_counts(own) for own in mine]
    every = np.concatenate([found[own.unmoved < 1.0] for found, own in zip(counts, mine, strict=True)])
    none = [np.zeros(own.unmoved.size, dtype=bool) for own in mine]
    if every.size == 0 or float(np.median(every)) < COUNTS:
        return 0.0, none
    seldom: list[Bools] = [
        seen & (wide >= COUNTS) & (_around(lasts_s) > _around(moves) * max(JITTER * SEEN_EVERY_S, REPEATS_EACH * step_s))
        for (lasts_s, moves), wide, step_s, seen in zip(cells, counts, steps_s, counted, strict=True)
    ]
    whole_s, rare_s, moves = (
        sum(float(cell[column][chosen].sum()) for cell, chosen in zip(cells, which, strict=True))
        for column, which in ((0, counted), (0, seldom), (1, seldom))
    )
    every_s = rare_s / max(moves, 1.0)
    return every_s if rare_s > (1.0 - SEEN_SHARE) * whole_s else 0.0, seldom


def _counts(own: ChannelFigures) -> Floats:
    """How many last digits the value steps by, cell by cell; where it does not move, as after.

    The digit is the finest of an hour before and after: a meter may go to another range.
    """
    digit_V = np.where(own.digit_V > 0, own.digit_V, np.inf)
    near = np.pad(digit_V, HOUR_CELLS, constant_values=np.inf)
    finest = np.lib.stride_tricks.sliding_window_view(near, 2 * HOUR_CELLS + 1).min(axis=1) if digit_V.size else digit_V
    moves = own.unmoved < 1.0
    return next_known(own.step_V / np.where(moves, 1.0 - own.unmoved, 1.0) / finest, moves)


def _around(figure: Floats) -> Floats:
    """Sums over each cell and its neighbours: a cell of a few readings repeats by chance."""
    padded = np.concatenate(([0.0], figure, [0.0]))
    sums: Floats = padded[:-2] + padded[1:-1] + padded[2:]
    return sums


def _cells(own: ChannelFigures, step_s: float) -> tuple[Floats, Floats]:
    """Seconds of each cell, and how often its value moved, by the readings drawn."""
    drawn_s = max(step_s, CELL_S / MOST_DRAWN)
    lasts_s = np.maximum(np.minimum(own.readings * step_s, CELL_S) - drawn_s, 0.0)
    return lasts_s, (1.0 - own.unmoved) * lasts_s / drawn_s
