"""Where do the readings of a channel move far less than they did? A channel's movements in, quiet stretches out.

A reading that drifts to the middle of a coarse digit stops moving too; only a stop all at once is a sign.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flicker.base.arrays import Bools, Floats
from flicker.base.middle import row_medians
from flicker.signals.connection.movement import (
    ALIVE_SHARE,
    FEW,
    LASTING_S,
    MUCH,
    NATS,
    REACH,
    SHORTEST_S,
    SIDE,
    WINDOW,
    View,
    bernoulli,
    divergence,
    rests_away,
    runs,
    switches,
    two_clusters,
)

# Common practice, no source: chosen by hand on study_connection.py, not measured one by one; what the rules do together
# and each off in turn is measured in tests/studies/results/lead.md and connection.md.
LASTING = 4  # cells in a row that show how a channel moves when it is alive


def textures_of(view: View) -> Floats:
    """Logarithm of the usual movement in each cell; a glitch is not texture."""
    count = view.size // FEW
    if count == 0:
        return np.empty(0)
    resolution_V = view.resolution_V
    cells = view.move[: count * FEW].reshape(count, FEW)
    mean = row_medians(cells)
    if np.quantile(mean, 0.9) <= 3.0 * resolution_V:
        # A coarse digit: how often it moves, not how far.
        mean = np.minimum(cells, 2.0 * resolution_V).mean(axis=1)
    floor = resolution_V / 32.0 if resolution_V > 0 else 1e-3 * float(np.median(mean))
    return np.asarray(np.log(np.maximum(mean, max(floor, 1e-9))))


def quiet_stretches(view: View, textures: Floats, taken: Bools) -> tuple[list[tuple[int, int, bool]], float]:
    """Stretches in which readings move far less than the channel does elsewhere, and whether they once did before.

    Also the channel's own texture in volts.
    """
    count = textures.size * FEW
    free = ~taken[:count].reshape(-1, FEW).any(axis=1)
    if np.count_nonzero(free) < 6:
        return [], 0.0
    low, own, border = two_clusters(textures[free])
    if own - low < np.log(MUCH):
        return [], 0.0
    alive = np.zeros(free.size, dtype=bool)
    for a, b in runs(free & (textures > border)):
        alive[a:b] = b - a >= LASTING  # a glitch is no liveliness
    if np.count_nonzero(alive) < max(LASTING, ALIVE_SHARE * np.count_nonzero(free)):
        return [], 0.0  # the fall of a surge or of a servo's spike is no life of its own
    own = float(np.median(textures[alive]))
    moved = view.move > 0.35 * np.exp(own)
    share = float(np.mean(moved[:count].reshape(-1, FEW)[alive]))
    share = min(max(share, 0.02), 0.98)
    evidence = np.where(taken, -4.0, bernoulli(moved, max(0.15 * share, 0.003), share))
    out = []
    for first, last in switches(evidence, NATS):
        while first < last and view.move[first] > 0.35 * np.exp(own):
            first += 1  # the step into the stretch belongs to what was before
        first, last = _core(view, first, last)
        if last - first >= 8 and view.begin_s[last - 1] - view.begin_s[first] >= SHORTEST_S:
            out.append((first, last))
    judged = []
    for first, last in out:
        before, after = _stopped(view, first, last, out, moved)
        if before or after:
            judged.append((first, last, before))
    return judged, float(np.exp(own))


def about_zero(view: View, first: int, last: int) -> bool:
    """Does a stretch lie at zero, all but a tenth of it?"""
    inside = view.middle[first:last]
    return bool(abs(np.median(inside)) <= view.zero_V and np.quantile(np.abs(inside), 0.9) <= 1.5 * view.zero_V)


def _core(view: View, first: int, last: int) -> tuple[int, int]:
    """Where a stretch is one long repeat with odd readings at its ends, cut it back to the repeat."""
    value = np.median(view.middle[first:last]) if first < last else 0.0
    same = runs((view.low[first:last] == value) & (view.high[first:last] == value))
    a, b = max(same, key=lambda part: part[1] - part[0], default=(0, 0))
    return (first, last) if b - a < 0.9 * (last - first) else (first + a, first + b)


def _stopped(
    view: View, first: int, last: int, all_quiet: Sequence[tuple[int, int]], moved: Bools
) -> tuple[bool, bool]:
    """Did movement stop at the stretch's beginning, and begin at its end, all at once?

    A reading that drifts to the middle of a coarse digit stops moving too, but slowly; that is no sign of death.
    """
    other = np.zeros(view.size, dtype=bool)
    for a, b in all_quiet:
        other[a:b] = True
    value = held_reading(view, first, last)
    inside = float(np.mean(moved[first + 1 : last])) if last - first > 1 else 0.0
    out = []
    early = min(REACH, first // 2)
    before, after = (
        np.arange(max(early, first - SIDE), max(first - 3, 0)),
        np.arange(last + 3, min(view.size, last + SIDE)),
    )
    for side, near in ((before[~other[before]], slice(-100, None)), (after[~other[after]], slice(0, 100))):
        if side.size < 20:
            out.append(False)
            continue
        at = np.zeros(side.size, dtype=bool)
        if value is not None:
            at = (view.low[side] == value) & (view.high[side] == value)
            top, bottom = float(view.high[side[near]].max()), float(view.low[side[near]].min())
            slack = 0.3 * (top - bottom) + 0.5 * view.zero_V
            away = value > top + slack or value < bottom - slack
            if away and abs(value) > view.zero_V:
                out.append(False)  # a step to another reading: a level, not a stopped meter
                continue
        if np.count_nonzero(at[:-1]) >= 5:
            left = int(np.count_nonzero(at[:-1] & (view.move[side[1:]] > 0)))
            rate = _at_least(left, int(np.count_nonzero(at[:-1])))
            if np.count_nonzero(view.move[side[near]] > 0) < 3:
                rate = 0.0
        else:
            rate = _at_least(int(np.count_nonzero(moved[side])), side.size)
        out.append((last - first) * divergence(inside, rate) >= NATS)
    return out[0], out[1]


def held_reading(view: View, first: int, last: int) -> float | None:
    """The reading that a stretch repeats throughout, or None; a block at each end may belong to its neighbour."""
    value = float(np.median(view.middle[first:last]))
    same = (view.low[first:last] == value) & (view.high[first:last] == value)
    return value if np.count_nonzero(same) >= max(0.98 * (last - first), last - first - 2) else None


def far_longer(view: View, first: int, last: int, taken: Bools) -> bool:
    """On a coarse digit: is this one reading throughout, for far longer than the channel repeats itself elsewhere?

    Measured by the channel's own most silent minutes, before and after: a reading that rests at the middle of a count,
    or moved only while a surge fell, has silent minutes of its own; a slow one comes to rest by and by.
    """
    if first < REACH or view.begin_s[last - 1] - view.begin_s[first] < LASTING_S:
        return False
    if held_reading(view, first, last) is None:
        if not dropped(view, first, last):
            return False
    elif last - first < MUCH * _longest_repeat(view, first, last, taken):
        return False
    stirs = np.concatenate(
        (_stirs(view, slice(first % WINDOW, first), taken), _stirs(view, slice(last + 1, view.size), taken))
    )
    if stirs.size < 2 * LASTING:
        return False
    # One window may lie in the fall of the surge, or in a lapse that was not found.
    lowest = float(np.sort(stirs)[1 if stirs.size > 2 * LASTING + 1 else 0])
    inside = float(np.mean(view.move[first + 1 : last] > 0)) if last - first > 1 else 0.0
    return (last - first) * divergence(inside, min(lowest / WINDOW, 0.98)) >= NATS


def _longest_repeat(view: View, first: int, last: int, taken: Bools) -> int:
    """Longest row of blocks without a movement elsewhere."""
    moves = (view.move > 0) | taken
    moves[first : last + 1] = True
    place = np.flatnonzero(np.concatenate(([True], moves, [True])))
    repeats = np.diff(place) - 1
    earlier = repeats[place[:-1] < first]
    usual = np.sort(repeats)[-3:]  # another true lapse or two must not hide this one
    return max(int(earlier.max(initial=0)), int(usual[0]) if usual.size == 3 else 0, 1)


def dropped(view: View, first: int, last: int) -> bool:
    """Does a stretch lie at zero, while the channel rested elsewhere right before it?"""
    before = view.middle[max(0, first - 60) : max(first - 2, 0)]
    if before.size < 20 or not about_zero(view, first, last):
        return False
    fall = abs(float(np.median(before))) - abs(float(np.median(view.middle[first:last])))
    return rests_away(before, view.zero_V) and fall > view.zero_V


def _stirs(view: View, part: slice, taken: Bools) -> Floats:
    """Movements to and fro in each window: what a falling or rising reading has to move is no sign of life."""
    move, level, out = (
        array[part][: max(part.stop - part.start, 0) // WINDOW * WINDOW].reshape(-1, WINDOW)
        for array in (view.move, view.middle, taken)
    )
    way = np.abs(level[:, -1] - level[:, 0]) / view.resolution_V if view.resolution_V > 0 else 0.0
    return np.asarray(np.maximum(np.count_nonzero(move > 0, axis=1) - way, 0.0)[~out.any(axis=1)])


def _at_least(hits: int, trials: int) -> float:
    """Lower limit of a share, two standard errors and a half count down."""
    if trials == 0:
        return 0.0
    return float(min(max((hits - 2.0 * np.sqrt(hits * (1.0 - min(hits / trials, 1.0))) - 0.5) / trials, 0.0), 0.98))
