"""Did the lead see a live output at all, from the first reading on? One power-up of one channel in, yes or no out.

A log that shows no live output has one of a few other explanations, each with a look of its own: pick-up of a lead in the
air is bounded, about zero or a bias of some millivolts; an alternating range or a meter's zero lies up to some millivolts away
and moves by little of it; a logger that hangs does not move. Hours count only where none of them explains what was read: the
first seconds or minutes stand out from all that follows, as a start and its settling do, or a level is held away from zero
farther than these explanations reach. A sign tells nothing: leads are turned.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from flicker.base.arrays import Bools, Floats, Ints
from flicker.evidence.guard.awake import RANGE_V, RESOLVED, Cells
from flicker.evidence.guard.limits import ALIVE_V, LEAST_READINGS
from flicker.signals.guard.figures import HOUR_CELLS

# Choices; measured on `fresh_states.py`, `fresh_live.py`, `danger_sound.py` (tests/studies/results/danger.md, 'Signs of life').
START_TIMES = (2.0, 3.0, 3.0)  # of its usual reach within five minutes: until 8, 30 and 120 s after the first reading
START_V = 1e-3  # a start moves by at least so much,
DIGITS = 3.0  # and by so many last digits; a held level is at least so many
SETTLES = 3.0  # times farther off than it moves later, and
SETTLING_CELLS = 2 * HOUR_CELLS  # two hours of cells tell how far that is
HELD_SHARE = 0.9  # of the cells keep the sign and
HELD_LEVEL = 0.5  # this much of the level
REPEATS = 0.2  # of the readings at least repeat the one before by chance, where few tell how many do
BY_CHANCE = 1e-6  # that a cell of a live output does not move
RESTLESS = 0.3  # of the level: an alternating range moves by less of what it reads
QUIET_V = 2.5e-3  # a quiet level, of a channel that read the meter's zero as well, is an output's from here on
BOUNDED = 1.2  # pick-up reaches so much farther than its 1 to 99 % range at most: a sine 1.0, normal noise 1.3 and more


def start_shown(first_V: Floats, far_V: Floats, digit_V: float) -> bool:
    """Whether the first seconds stand out from all that follows, as a surge, a thump or a relay's closing does.

    ``first_V`` largest distances from the level in the times of `START_TIMES`, ``far_V`` those of the cells that follow.
    """
    if far_V.size == 0:
        return False
    usual = float(np.median(far_V[:HOUR_CELLS]))
    least = np.maximum(np.array(START_TIMES) * usual, max(START_V, DIGITS * digit_V))
    return bool(np.any(np.nan_to_num(first_V) >= least * (1.0 - 1e-9)))


def hanging(unmoved: Floats, readings: Ints, usual: float) -> Bools:
    """Cells in which a logger repeats its last value: one reading throughout, where the channel usually moves.

    ``usual`` is the middle share of repeats of the cells that move. A coarse digit holds still by itself for a while.
    """
    still: Bools = (unmoved >= 1.0) & ((readings - 1) * np.log(max(usual, REPEATS)) < np.log(BY_CHANCE))
    if usual >= RESOLVED:
        padded = np.flatnonzero(np.diff(np.concatenate(([False], still, [False])).astype(np.int8)))
        short = [slice(a, b) for a, b in padded.reshape(-1, 2) if b - a < HOUR_CELLS]
        for part in short:
            still[part] = False
    return still


def settles(level_V: Floats, digit_V: float) -> bool:
    """Whether the level of the first cells creeps to where it stays, far beyond what it moves there: a unit that warms up.

    The second cell lies between the first and the rest: one cell that stands apart is a lead that was moved.
    """
    if level_V.size < SETTLING_CELLS:
        return False
    rest = level_V[level_V.size // 2 :]
    end = float(np.median(rest))
    low, high = np.quantile(rest, (0.05, 0.95)).tolist()
    moves = max(high - low, digit_V)
    first, second = (np.sign(level_V[0] - end) * (level_V[:2] - end)).tolist()
    return bool(first >= max(START_V, DIGITS * digit_V, SETTLES * moves) and moves / 2 < second < first - moves / 2)


def away(cells: Cells, *, zero_seen: bool = False, bounded: bool = False) -> Bools:
    """Cells that lie farther from zero than a lead in the air, a chassis, a meter's zero or a wrong range lies.

    ``zero_seen`` tells whether the channel read the meter's zero at other times; ``bounded``: what it moves is bounded as
    pick-up is.
    """
    size = np.abs(cells.level_V)
    quiet = cells.width_V - 2.0 * cells.digit_V < RESTLESS * size
    explained = np.where(quiet, not zero_seen, bounded)
    least_V = np.where(explained, RANGE_V, np.where(quiet, QUIET_V, ALIVE_V))
    far: Bools = size >= np.maximum(least_V, DIGITS * cells.digit_V)
    return far


def level_held(cells: Cells, *, zero_seen: bool = False) -> bool:
    """Whether nearly all cells hold one level away from zero; a logger that repeats its last value holds it for ever."""
    if not np.any(cells.unmoved < 1.0):
        return False
    middle = float(np.median(cells.level_V))
    width_V, far_V, readings = (float(np.median(x)) for x in (cells.width_V, cells.far_V, cells.readings))
    bounded = readings >= LEAST_READINGS and 2.0 * (far_V + cells.digit_V) < BOUNDED * width_V
    usual = replace(cells, width_V=np.full(cells.width_V.shape, width_V))
    kept = away(usual, zero_seen=zero_seen, bounded=bounded)
    kept &= cells.level_V * np.sign(middle) >= HELD_LEVEL * abs(middle)
    return bool(np.count_nonzero(kept) >= HELD_SHARE * cells.level_V.size)
