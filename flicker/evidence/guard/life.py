"""Did the lead see a live output at all, from the first reading on? One power-up of one channel in, yes or no out.

A lead in the air or on the chassis from the first reading to the last, or a meter left on an alternating range, breaks with
nothing: it reads like a good output. So hours count only where something shows life: a start of its own in the first
seconds, or a level held away from zero by more than such a lead holds.
"""

from __future__ import annotations

import numpy as np

from flicker.base.arrays import Bools, Floats, Ints
from flicker.evidence.guard.awake import RANGE_V, RESOLVED
from flicker.evidence.guard.limits import ALIVE_V

# Choices; measured on `fresh_states.py`, `fresh_live.py`, `danger_sound.py` (tests/studies/results/danger.md, 'Signs of life').
START_TIMES = (2.0, 3.0, 3.0)  # of its usual reach within five minutes: until 8, 30 and 120 s after the first reading
START_V = 1e-3  # a start moves by at least so much,
DIGITS = 3.0  # and by so many last digits; a held level is at least so many
USUAL_CELLS = 12  # an hour of cells tells what is usual
HELD_SHARE = 0.9  # of the cells keep the sign and
HELD_LEVEL = 0.5  # this much of the level
HANGS_CELLS = 12  # an hour of one reading
REPEATS = 0.2  # of the readings at least repeat the one before by chance, where few tell how many do
BY_CHANCE = 1e-6  # that a cell of a live output does not move
RESTLESS = 0.3  # of the level: an alternating range moves by less of what it reads


def start_shown(first_V: Floats, far_V: Floats, digit_V: float) -> bool:
    """Whether the first seconds stand out from all that follows, as a surge, a thump or a relay's closing does.

    ``first_V`` largest distances from the level in the times of `START_TIMES`, ``far_V`` those of the cells that follow.
    """
    if far_V.size == 0:
        return False
    usual = float(np.median(far_V[:USUAL_CELLS]))
    least = np.maximum(np.array(START_TIMES) * usual, max(START_V, DIGITS * digit_V))
    return bool(np.any(np.nan_to_num(first_V) >= least * (1.0 - 1e-9)))


def hanging(unmoved: Floats, readings: Ints, usual: float) -> Bools:
    """Cells in which a logger repeats its last value: one reading throughout, where the channel usually moves.

    ``usual`` is the middle share of repeats of the cells that move. A coarse digit holds still by itself for a while.
    """
    still: Bools = (unmoved >= 1.0) & ((readings - 1) * np.log(max(usual, REPEATS)) < np.log(BY_CHANCE))
    if usual >= RESOLVED:
        padded = np.flatnonzero(np.diff(np.concatenate(([False], still, [False])).astype(np.int8)))
        short = [slice(a, b) for a, b in padded.reshape(-1, 2) if b - a < HANGS_CELLS]
        for part in short:
            still[part] = False
    return still


def away(level_V: Floats, width_V: Floats, digit_V: float) -> Bools:
    """Cells that lie farther from zero than a lead in the air, a chassis, a meter's zero or a wrong range lies.

    ``level_V`` medians, ``width_V`` 1 to 99 % ranges: an alternating range moves by little of what it reads.
    """
    size = np.abs(level_V)
    least_V = np.where(width_V - 2.0 * digit_V >= RESTLESS * size, ALIVE_V, RANGE_V)
    far: Bools = size >= np.maximum(least_V, DIGITS * digit_V)
    return far


def level_held(level_V: Floats, width_V: Floats, unmoved: Floats, digit_V: float) -> bool:
    """Whether nearly all cells hold one level away from zero; ``unmoved`` are the shares of readings that repeat the one
    before, for a logger that repeats its last value holds it for ever.
    """
    if not np.any(unmoved < 1.0):
        return False
    middle = float(np.median(level_V))
    usual_V = np.full_like(level_V, np.median(width_V))
    kept = away(level_V, usual_V, digit_V) & (level_V * np.sign(middle) >= HELD_LEVEL * abs(middle))
    return bool(np.count_nonzero(kept) >= HELD_SHARE * level_V.size)
