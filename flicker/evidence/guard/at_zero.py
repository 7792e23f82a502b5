"""What reads as nothing: an output that rests at zero, or a lead that is off, a unit asleep, a relay that never closed?

A level at zero tells nothing by itself. What tells is noise beside the same channel's own: a hand at a trimmer, or at a meter's key
for zero, takes the level and leaves the noise; an input that sees nothing has neither. Where the digit hides the noise, nothing tells.
"""

from __future__ import annotations

import numpy as np

from flicker.base.arrays import Bools, Floats
from flicker.evidence.guard.awake import DIGITS, MOVING, QUIETER, RESOLVED, ZERO_V, Cells, as_noisy
from flicker.evidence.guard.model import ALIVE_V, LEAST_READINGS
from flicker.signals.guard.figures import LARGE_V

# Choices, held on tests/studies/fresh_asleep.py and danger_sound.py (tests/studies/results/fresh_benches.md, 'Small rests').
NOTHING_V = 1e-4  # an input that sees nothing reads at most so much,
HUSH_V = 5e-5  # and steps by so much from reading to reading


def as_before(cells: Cells, beside: Cells) -> bool:
    """Whether cells after a mark are as noisy as those before it: set to zero by hand, and no lead that was left off."""
    return _told(cells, beside) and as_noisy(cells, beside)


def fell_silent(cells: Cells, beside: Cells) -> bool:
    """Whether a power-up, or a time after a mark, reads the meter's zero and less noise than the output beside it has.

    Where the digit hides the noise of either, zero itself is silence for an output that rested farther from it.
    """
    if not cells.level_V.size or not beside.level_V.size:
        return False
    level_V, was_V = (float(np.median(part.level_V)) for part in (cells, beside))
    if abs(level_V) > cells.zero_V:
        return False
    if not _told(cells, beside):
        return abs(level_V) <= 1.01 * cells.digit_V and abs(was_V) >= ALIVE_V and abs(was_V - level_V) > DIGITS * cells.digit_V
    return all(QUIETER * np.median(now) < np.median(then) for now, then in ((cells.step_V, beside.step_V), (cells.width_V, beside.width_V)))


def _told(*parts: Cells) -> bool:
    """Whether the digit lets the noise of all parts be seen, by enough readings."""
    return all(part.level_V.size and int(part.readings.sum()) >= LEAST_READINGS and np.median(part.unmoved) < RESOLVED for part in parts)


def blind(cells: Cells) -> Bools:
    """Cells within one last digit of zero whose noise the digit hides: an output at rest reads so, and one that went to sleep.

    A digit as large as what a sleeping stage reads hides its level as well, whatever still moves.
    """
    hidden = cells.unmoved >= (RESOLVED if cells.digit_V >= ZERO_V * (1.0 - 1e-9) else MOVING)
    return np.asarray(hidden & (np.abs(cells.level_V) <= 1.01 * cells.digit_V))


def rests_beside(cells: Cells, beside_V: Floats) -> Bools:
    """Whether another output rests where it usually does and no dead input: the unit is on, and a start showed that the lead is.

    ``beside_V`` are the levels of the other channels, of shape (cells, channels); NaN where one has none.
    """
    level_V, least_V = np.nan_to_num(beside_V), max(ALIVE_V, DIGITS * cells.digit_V)
    usual_V = np.median(level_V, axis=0) if level_V.size else np.zeros(level_V.shape[1])
    return np.asarray(np.any((np.abs(level_V) >= least_V) & (np.abs(level_V - usual_V) < least_V), axis=1))


def clicked(first_V: Floats, cells: Cells) -> bool:
    """Whether a start is no more than what an output relay lets through that never closes, and the meter's zero follows."""
    if not cells.level_V.size:
        return False
    nothing = np.median(np.abs(cells.level_V)) <= max(NOTHING_V, 1.01 * cells.digit_V) and np.median(cells.step_V) <= HUSH_V
    return bool(nothing and np.nan_to_num(first_V).max() < LARGE_V)
