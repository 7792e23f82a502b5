"""Did the lead look at a live output? Cells of one power-up in; those that cannot count towards a clearance out.

An hour counts only where something shows that the output was watched: the level or the noise of the time before. A stage
that sleeps, a lead in the air, a clip on the chassis, an alternating range read near zero and quiet, like a very good
output. What breaks with the time before (or after), at once and for longer, towards zero or towards less noise, is no
clean time until it is as before again, or a power-up follows. It is still searched for volts.

And did it from the first reading on? A log that shows no live output has one of a few other explanations, each with a look of
its own: pick-up of a lead in the air is bounded, about zero or a bias of some millivolts; an alternating range or a meter's
zero lies up to some millivolts away and moves by little of it; a logger that hangs does not move. Hours count only where none
of them explains what was read: the first seconds or minutes stand out from all that follows, as a start and its settling do,
or a level is held away from zero farther than these explanations reach. A sign tells nothing: leads are turned.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from flicker.base.arrays import Bools, Floats, Ints
from flicker.base.runs import true_runs
from flicker.evidence.guard.model import ALIVE_V, LEAST_READINGS, REST_V
from flicker.signals.guard.figures import HOUR_CELLS, ChannelFigures

# Choices, held on tests/studies/fresh_states.py and the sound logs of fresh_dangers.py and danger_sound.py (seeds 701 and
# 702, 667 sound channels), recorded in tests/studies/results/danger.md.
ZERO_V = 1e-3  # what a sleeping stage, a chassis or a dead input reads at most, by size
RANGE_V = 5e-3  # an alternating range or a slow input reads at most
FELL = 0.75  # a level (`ALIVE_V`) that falls at once to so much of it is seen through flux or oxide, or is another output: 2 of 18 channels behind
# flux then have three clean hours (14 without it), 0 of 251 sound ones fewer (`fresh_live.py` and others, danger.md)
MOVED_V = 5e-4  # a level that changes by less has not left
DIGITS = 1.9  # nor has one by fewer last digits
SMOOTH = 1.5  # times the step before: a level that settles moves by less
QUIETER = 1.7  # times less from reading to reading, and in width
RESOLVED = 0.45  # of the readings may repeat the one before: of a coarser digit, noise tells nothing
COARSER = 10.0  # times, and no more than `ZERO_V`: the digit of another range,
ZERO_DIGITS = 3.5  # whose zero is off by up to three last digits (common practice of hand meters, no source), and rounded
# An hour of cells beside a state tells whether it sees the same output,
AS_NOISY = 0.05  # by as much noise from reading to reading, to this share (and what few readings leave open: hum behind flux may bring it to 0.9),
AS_WIDE = 0.25  # and within a cell, which flux widens: its share of the volts wanders;
SEES = 0.6  # or by so much of the volts and of the noise at least: a dummy load leaves two thirds, a sleeping stage half
MIXED = 2.0  # times wider than before: a border lies in the cell, and it is no measure of what follows
SCALED = 30.0  # times less noise, at any level: another unit or range (units differ by a thousand, by definition; the root of it),
MOVING = 0.8  # where a fifth of the readings move at least
NEAR = 3  # cells by which the time before is measured


@dataclass(frozen=True, slots=True)
class Cells:
    """Figures of a channel's cells of one power-up, in time order, arrays of shape (cells,).

    ``level_V`` medians, ``width_V`` 1 to 99 % ranges, ``far_V`` largest distances from the median, ``step_V`` mean steps
    from reading to reading, ``unmoved`` shares of ``readings`` that repeat the one before, ``own_digit_V`` smallest steps
    (a cell that does not move has that of the next one that does); ``digit_V`` the last digit of the channel.
    """

    level_V: Floats
    width_V: Floats
    far_V: Floats
    step_V: Floats
    unmoved: Floats
    readings: Ints
    own_digit_V: Floats
    digit_V: float

    @classmethod
    def of(cls, figures: Sequence[ChannelFigures], chosen: Sequence[Bools | Ints], digit_V: float) -> Cells:
        """The chosen cells of each stretch, one after another."""
        level, low, high, far, step, unmoved, readings, digit = (
            np.concatenate([getattr(own, name)[index] for own, index in zip(figures, chosen, strict=True)])
            for name in ("median_V", "low_V", "high_V", "far_V", "step_V", "unmoved", "readings", "digit_V")
        )
        return cls(
            level_V=level,
            width_V=high - low,
            far_V=far,
            step_V=step,
            unmoved=unmoved,
            readings=readings,
            own_digit_V=next_known(digit, digit > 0),
            digit_V=digit_V,
        )

    @property
    def zero_V(self) -> float:
        """As far from zero as the meter's zero reads."""
        return max(ZERO_V, 1.01 * self.digit_V)

    def where(self, kept: Bools | Ints) -> Cells:
        """Those cells alone."""
        columns: dict[str, Any] = {item.name: getattr(self, item.name)[kept] for item in fields(self)[:-1]}
        return replace(self, **columns)


def not_awake(cells: Cells, others_V: Callable[[], Floats] | None = None) -> Bools:
    """Cells in which nothing shows that the lead saw a live output, though something did before or after.

    ``others_V`` gives the levels of other channels at the same time, shape (cells, channels), NaN where there are none.
    A fault's volts are no measure of what a live output reads: of a rest that jumps to 58 V the hours before were not asleep.
    """
    sound = np.abs(cells.level_V) <= REST_V
    judged = cells.where(sound)
    found = lasting(_broken(judged, forward=True) | _broken(judged, forward=False))
    if found.any():
        beside_V = others_V()[sound] if others_V else np.empty((found.size, 0))
        found &= ~_no_dead_input(judged, beside_V, found)
    out = np.zeros(cells.level_V.size, dtype=bool)
    out[sound] = found
    return out


def _no_dead_input(cells: Cells, others_V: Floats, broken: Bools) -> Bools:
    """Cells that broke with the time beside them, and read as no dead input would: the same output at another level.

    Each state is judged as a whole beside the hour of awake cells that is nearest to where it begins.
    """
    out = np.zeros(broken.size, dtype=bool)
    awake = np.flatnonzero(~broken)
    for part in _states(cells, broken) if awake.size >= NEAR else ():
        beside = awake[np.argsort(np.abs(awake - part[0]), kind="stable")[:HOUR_CELLS]]
        out[part] = _moved_together(cells, others_V, part, beside) or _live(cells.where(part), cells.where(beside))
    return out


def _states(cells: Cells, broken: Bools) -> Iterator[Ints]:
    """Cells that broke, those of one level together: a state that comes and goes is one."""
    left = np.flatnonzero(broken)
    while left.size:
        near = np.abs(cells.level_V[left] - cells.level_V[left[0]]) <= max(MOVED_V, DIGITS * cells.digit_V)
        yield left[near]
        left = left[~near]


def _moved_together(cells: Cells, others_V: Floats, part: Ints, beside: Ints) -> bool:
    """Whether another channel moved by as much: a voltage was added to both outputs, and their difference stands as before.

    Of leads that see nothing none is left: they read the meter's zero, each from its own level. One pair of leads may be turned.
    A common lead in the air adds as much to all, and pick-up with it: a state that is wider than before tells nothing.
    """
    width_V, usual_V = (float(np.quantile(cells.width_V[where], 0.25)) for where in (part, beside))
    if width_V > (1.0 + AS_WIDE) * usual_V + 1.01 * cells.digit_V:
        return False
    moved_V = abs(float(np.median(cells.level_V[part]) - np.median(cells.level_V[beside])))
    for other_V in (*others_V.T, *-others_V.T):
        apart_V = cells.level_V - other_V
        was_V, is_V = (float(np.median(apart_V[where])) for where in (beside, part))
        if min(abs(was_V), abs(is_V)) >= ALIVE_V:
            near_V = min(max(MOVED_V, DIGITS * cells.digit_V), (1.0 - FELL) * min(moved_V, abs(was_V)))
            if abs(is_V - was_V) <= near_V:
                return True
    return False


def _live(state: Cells, beside: Cells) -> bool:
    """Whether a state away from zero has noise of the output's own circuit, which no dead input has.

    As much as beside it, where a voltage was added; a share as large as that of the level, and no small one, where a load was
    clipped on; or whatever noise on the other side of zero, farther than dead inputs lie, for a share of the level has its sign.
    At zero noise tells nothing: it may be the meter's own. Nor does it where the digit hides it.
    """
    state, beside = (part.where(part.width_V <= np.median(part.width_V)) for part in (state, beside))  # no border in them
    level_V, was_V = (float(np.median(part.level_V)) for part in (state, beside))
    repeats = max(float(np.median(part.unmoved)) for part in (state, beside))
    if int(state.readings.sum()) < LEAST_READINGS or repeats >= RESOLVED or min(abs(level_V), abs(was_V)) < ALIVE_V:
        return False
    left = level_V / was_V
    if as_noisy(state, beside, 1.0) or (left >= SEES and as_noisy(state, beside, left)):
        return True
    return left < 0.0 and bool(np.median(away(_of_usual_width(state), bounded=_bounded(state))))


def as_noisy(state: Cells, beside: Cells, share: float = 1.0) -> bool:
    """Whether a state is as noisy as the output beside it, times a share, and no wider."""
    unsure = 1.0 / np.sqrt(int(state.readings.sum()))  # a mean step of white noise has a standard deviation of 0.9 of this, by simulation
    noise = float(np.median(state.step_V) / np.median(beside.step_V)) / share
    wide_V = share * float(np.median(beside.width_V)) * (1.0 + AS_WIDE + unsure) + state.digit_V
    return bool(abs(noise - 1.0) <= AS_NOISY + unsure and np.median(state.width_V) <= wide_V * (1.0 + 1e-9))


def next_known(values: Floats, known: Bools) -> Floats:
    """Values, those unknown as the next known one, at the end as the last; all as they are where none is known."""
    places = np.flatnonzero(known)
    if places.size == 0:
        return values
    after = np.minimum(np.searchsorted(places, np.arange(values.size)), places.size - 1)
    return np.asarray(values[places[after]])


def lasting(chosen: Bools) -> Bools:
    """Those with a neighbour of their kind: a single cell is no state."""
    padded = np.concatenate(([False], chosen, [False]))
    return chosen & (padded[:-2] | padded[2:])


def _broken(cells: Cells, *, forward: bool) -> Bools:
    """Cells that break with those before them (``forward``) or after them."""
    size = cells.level_V.size
    out = np.zeros(size, dtype=bool)
    level, width, step, unmoved, digit = (
        column.tolist() for column in (cells.level_V, cells.width_V, cells.step_V, cells.unmoved, cells.own_digit_V)
    )
    zero_V = cells.zero_V
    least_V = max(MOVED_V, DIGITS * cells.digit_V)
    known: list[int] = []  # the last cells that were as those before them
    asleep_V: float | None = None  # where the level fell to, while it has not come back
    passed = -2  # the last cell that was passed over
    along = 1 if forward else -1
    calm = _calm(cells, along)
    for k in range(size)[::along]:
        if calm[k] and asleep_V is None and known == list(range(k - NEAR * along, k, along)):
            known = [*known[1:], k]
            continue
        if not known:
            known.append(k)
            continue
        last = known[-1]
        usual_width, usual_step, repeats, usual_digit = (
            _middle([column[i] for i in known]) for column in (width, step, unmoved, digit)
        )
        before = abs(level[last] - level[known[-2]]) if len(known) > 1 else width[last]
        zero = abs(level[k]) <= zero_V
        # Another range of the meter has a zero of its own, and noise is compared only where both resolve it.
        fine, coarse = sorted((usual_digit, digit[k]))
        other = 0.0 < COARSER * fine <= 1.01 * coarse and coarse <= 1.01 * zero_V  # of numbers that were rounded
        agrees = other and abs(level[k] - level[last]) <= ZERO_DIGITS * coarse and abs(level[k]) >= ALIVE_V
        told = repeats < RESOLVED and not (other and unmoved[k] >= RESOLVED)
        quiet = told and QUIETER * step[k] < usual_step and QUIETER * width[k] < usual_width
        scaled = max(repeats, unmoved[k]) < MOVING and SCALED * step[k] < usual_step and SCALED * width[k] < usual_width
        moved = abs(level[k] - level[last]) > max(least_V, SMOOTH * before, usual_width)
        fell = not agrees and abs(level[last]) >= ALIVE_V and abs(level[k]) <= FELL * abs(level[last])
        if forward:
            broke = moved and abs(level[k]) <= abs(level[last]) and (zero or fell)
            broke = broke or (quiet and (zero or moved))
        else:
            broke = zero and ((moved and abs(level[k]) <= abs(level[last])) or quiet)
            broke = broke or (moved and fell)
        if not (broke or agrees) and asleep_V is not None:  # neither where it was nor as it was
            near = abs(level[k] - level[last]) <= max((1.0 - FELL) * abs(level[last]), least_V)
            as_noisy = ((usual_width, width[k]), (usual_step, step[k]))
            alike = told and all(usual < QUIETER * now and now < QUIETER * usual for usual, now in as_noisy)
            broke = not (near or alike) or abs(level[k] - level[last]) > abs(level[k] - asleep_V)
        broke = broke or scaled
        if broke:
            out[k] = True
            asleep_V = level[k] if moved else asleep_V
        elif width[k] <= MIXED * usual_width + 2.0 * cells.digit_V or len(known) < NEAR or passed == k - along:
            known = [*known[-NEAR + 1 :], k]
            asleep_V = None
        else:
            passed = k
    return out


def _calm(cells: Cells, along: int) -> list[bool]:
    """Cells that neither left the `NEAR` before them nor are quieter or wider, whatever else is asked of them: most are."""
    level, width, step = (column[::along] for column in (cells.level_V, cells.width_V, cells.step_V))
    out = np.zeros(level.size, dtype=bool)
    if level.size > NEAR:
        wide, rough = (np.median(sliding_window_view(column[:-1], NEAR), axis=1) for column in (width, step))
        steps = np.abs(np.diff(level))
        least_V = np.maximum(SMOOTH * steps[NEAR - 2 : -1], max(MOVED_V, DIGITS * cells.digit_V))
        quieter = (QUIETER * step[NEAR:] < rough) & (QUIETER * width[NEAR:] < wide)
        wider = width[NEAR:] > MIXED * wide + 2.0 * cells.digit_V
        out[NEAR:] = ~(quieter | wider | (steps[NEAR - 1 :] > np.maximum(least_V, wide)))
    calm: list[bool] = out[::along].tolist()
    return calm


def _middle(values: list[float]) -> float:
    """Median of a few numbers; numpy's takes ten times as long for so few."""
    values = sorted(values)
    half = len(values) // 2
    return values[half] if len(values) % 2 else 0.5 * (values[half - 1] + values[half])


# Choices; measured on `fresh_states.py`, `fresh_live.py`, `danger_sound.py` (tests/studies/results/danger.md, 'Signs of life').
START_TIMES = (2.0, 3.0, 3.0)  # of its usual reach within five minutes: until 8, 30 and 120 s after the first reading
START_V = 1e-3  # a start moves by at least so much,
HELD_DIGITS = 3.0  # and by so many last digits; a held level is at least so many
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
    least = np.maximum(np.array(START_TIMES) * usual, max(START_V, HELD_DIGITS * digit_V))
    return bool(np.any(np.nan_to_num(first_V) >= least * (1.0 - 1e-9)))


def hanging(unmoved: Floats, readings: Ints, usual: float) -> Bools:
    """Cells in which a logger repeats its last value: one reading throughout, where the channel usually moves.

    ``usual`` is the middle share of repeats of the cells that move. A coarse digit holds still by itself for a while.
    """
    still: Bools = (unmoved >= 1.0) & ((readings - 1) * np.log(max(usual, REPEATS)) < np.log(BY_CHANCE))
    if usual >= RESOLVED:
        for first, last in zip(*true_runs(still), strict=True):
            if last - first < HOUR_CELLS:
                still[first:last] = False
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
    return bool(first >= max(START_V, HELD_DIGITS * digit_V, SETTLES * moves) and moves / 2 < second < first - moves / 2)


def away(cells: Cells, *, zero_seen: bool = False, bounded: bool = False) -> Bools:
    """Cells that lie farther from zero than a lead in the air, a chassis, a meter's zero or a wrong range lies.

    ``zero_seen`` tells whether the channel read the meter's zero at other times; ``bounded``: what it moves is bounded as
    pick-up is.
    """
    size = np.abs(cells.level_V)
    quiet = cells.width_V - 2.0 * cells.digit_V < RESTLESS * size
    explained = np.where(quiet, not zero_seen, bounded)
    least_V = np.where(explained, RANGE_V, np.where(quiet, QUIET_V, ALIVE_V))
    return np.asarray(size >= np.maximum(least_V, HELD_DIGITS * cells.digit_V))


def _of_usual_width(cells: Cells) -> Cells:
    """Cells that are all as wide as the middle one."""
    return replace(cells, width_V=np.full(cells.width_V.shape, np.median(cells.width_V)))


def _bounded(cells: Cells) -> bool:
    """Whether what the level moves by is bounded, as pick-up is."""
    width_V, far_V, readings = (float(np.median(x)) for x in (cells.width_V, cells.far_V, cells.readings))
    return readings >= LEAST_READINGS and 2.0 * (far_V + cells.digit_V) < BOUNDED * width_V


def level_held(cells: Cells, *, zero_seen: bool = False) -> bool:
    """Whether nearly all cells hold one level away from zero; a logger that repeats its last value holds it for ever."""
    if not np.any(cells.unmoved < 1.0):
        return False
    middle = float(np.median(cells.level_V))
    kept = away(_of_usual_width(cells), zero_seen=zero_seen, bounded=_bounded(cells))
    kept &= cells.level_V * np.sign(middle) >= HELD_LEVEL * abs(middle)
    return bool(np.count_nonzero(kept) >= HELD_SHARE * cells.level_V.size)
