"""Where does a channel wander about zero as an open lead does? A channel's movements in, restless stretches out.

Numbers: common practice, no source, tried by hand on `study_connection.py` (seeds below 5000) and its second generator.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from flicker.signals.connection.contrast import (
    CELL,
    FARTHER,
    all_at_once,
    broader_at_once,
    edge,
    farther_at_once,
    swings,
)
from flicker.signals.connection.movement import SIDE, View, bernoulli, switches, two_clusters
from flicker.signals.order_statistics import running_median

Floats = NDArray[np.float64]

# Where a line names no origin: chosen when the rules were made, not measured one by one; what the rules do together
# and each off in turn is measured in tests/studies/results/lead.md and connection.md.
LOUDER = 1.7
TRIPPED_RATIO = 1.4
TRIPPED_OFTEN = 0.65
TRIP_BLOCKS = 8
LOUD_V = 0.0012  # pick-up weaker than this is not told from noise
LOUD_S = 120.0
CROSSINGS = 8  # of its middle, or one in 25 blocks: fewer are swings
FEWEST_CROSSINGS = 3  # where nothing is as large as an excursion
SWING_V = 0.06
NODE = 8  # cells between two swells of a beat
LOUD_SHARE = 0.6
LULL = 0.25  # of a stretch of pick-up may lie between two swells of it
HELD_SHARE = 0.02
REST = 16  # blocks that a channel stays at its level when it comes back to it
BEATS = (1, 2, 3, 4)  # blocks: aliased hum may hide at one of them
AWAY = 12.0  # log-likelihood of a change of state
AROUND = 900  # blocks
EVER = 1.4
SURGE_BLOCKS = 200
PASSING = 64  # blocks in which pick-up may pass the rest, or this share of the whole
PASSING_SHARE = 0.12
MOST_LEAVES = 6
REST_SHARE = 0.25  # of a stretch at the level beside it; common practice, no source


def pick_up_stretches(view: View, resolution_V: float, protection_V: float) -> list[tuple[int, int, bool]]:
    """Stretches that wander far more than the rest within half a minute, bounded and about zero: pick-up.

    With each comes whether an offset that trips a relay stands at its beginning; less is asked of such a one.
    """
    size = CELL
    swing = swings(view.middle)
    count = swing.size
    if count < 6:
        return []
    some = swing[swing > 0]
    fine = 0.25 * float(np.quantile(some, 0.1)) if some.size else 0.0
    # A count more on both sides: on a coarse digit a swing of two counts is no more than twice one of none.
    loudness = np.log(np.maximum(swing + resolution_V, max(fine, 1e-6)))
    # A surge or a swing fills a cell or two; pick-up lasts.
    wander = running_median(loudness, 3)
    calm, loud, border = two_clusters(wander)
    if loud - calm < np.log(TRIPPED_RATIO) or np.exp(loud) - resolution_V < LOUD_V:
        return []
    evidence = bernoulli(wander > border, 0.9, 0.1)
    calm_V = max(float(np.exp(calm)) - resolution_V, 0.5 * resolution_V)
    out: list[tuple[int, int, bool]] = []
    done: list[tuple[int, int]] = []
    frozen = False
    for a, b in _candidates(switches(evidence, 6.0)):
        if (
            any(a < done_b and done_a < b for done_a, done_b in done)
            or float(np.mean(wander[a:b] > border)) < LOUD_SHARE
        ):
            continue
        first = edge(view, a * size, resolution_V)
        last = edge(view, view.size if b == count else b * size, resolution_V)
        if last - first < size or view.begin_s[last - 1] - view.begin_s[first] < LOUD_S:
            continue
        # Movement from the log's beginning, then one reading held or zero: that is where life ended, or paused.
        # (A surge that falls to a rest near zero moves too, but not as pick-up does.)
        still, at_zero = _beside(view, first, last)
        frozen |= a == 0 and (still or (at_zero and _like_pick_up(view, first, last, resolution_V)))
        if frozen and (still or at_zero):
            continue
        near = slice(max(first - TRIP_BLOCKS, 0), first + TRIP_BLOCKS)
        beyond = np.flatnonzero(view.reach(near) > protection_V)
        tripped = beyond.size > 0 and first > 0
        if tripped:
            first = near.start + int(beyond[-1]) + 1
            if not all_at_once(view, first, last, resolution_V, 1, TRIPPED_RATIO, TRIPPED_OFTEN):
                continue
        elif loud - calm < np.log(LOUDER) or not (
            all_at_once(view, first, last, resolution_V, 1) or broader_at_once(view, first, last, resolution_V)
        ):
            continue
        if not _like_pick_up(view, first, last, resolution_V):
            continue
        if not tripped and not _farther_than_ever(view, first, last):
            continue  # hum that beats swings as far, now and then, without a lead in the air
        if _rests_between(view, first, last, calm_V):
            continue  # swings of a unit that goes back to where it was, not a lead in the air
        out.append((first, last, tripped))
        done.append((a, b))
    return out


def left_its_rest(view: View, resolution_V: float, protection_V: float) -> list[tuple[int, int, bool]]:
    """Stretches about zero, wider than the channel's rest, that leave a rest away from zero at once: an open lead.

    The level tells the borders to the second, however slowly the pick-up wanders. What `pick_up_stretches` returns.
    """
    rest, scatter = _rest(view)
    if abs(rest) - 4.0 * scatter <= view.zero_V:
        return []
    away = np.abs(view.middle - rest) > max(3.0 * scatter, 0.3 * abs(rest)) + 0.5 * resolution_V
    found = _joined(switches(bernoulli(away, 0.8, 0.05), AWAY), PASSING, PASSING_SHARE)
    if len(found) > MOST_LEAVES:
        return []  # a channel that leaves its rest again and again has levels, or swings
    out = []
    for first, last in found:
        near = slice(max(first - TRIP_BLOCKS, 0), first + TRIP_BLOCKS)
        beyond = np.flatnonzero(view.reach(near) > protection_V)
        tripped = beyond.size > 0
        if tripped:
            first = near.start + int(beyond[-1]) + 1
        if last - first < 3 * CELL or view.begin_s[last - 1] - view.begin_s[first] < LOUD_S or first < 3 * CELL:
            continue
        if _beside(view, first, last)[0]:
            continue  # what is left is one reading held: the restless part is the live one
        if float(np.mean(away[first:last])) < 0.7 or not _like_pick_up(view, first, last, resolution_V):
            continue
        if float(np.quantile(np.abs(view.middle[first:last] - rest), 0.95)) < LOUD_V:
            continue
        whole = float(np.mean(away[first:last])) > 0.9 and _farther_than_ever(view, first, last)
        if not (whole or farther_at_once(view, first, last, TRIPPED_RATIO if tripped else FARTHER)):
            continue
        if _rests_between(view, first, last, max(scatter, 0.5 * resolution_V)):
            continue
        out.append((first, last, tripped))
    return out


def _rest(view: View) -> tuple[float, float]:
    """Where a channel lies in its calm half minutes, and its usual distance from there; infinite if nowhere."""
    cells = view.middle[: view.size // CELL * CELL].reshape(-1, CELL)
    if cells.shape[0] < 6:
        return 0.0, np.inf
    loudness = np.log(swings(view.middle) + view.resolution_V + 1e-6)
    calm = cells[loudness <= two_clusters(loudness)[2]]
    centre = np.median(calm, axis=1)
    rest = float(np.median(centre))
    own = calm[np.abs(centre - rest) <= 0.3 * abs(rest)]
    if own.shape[0] < max(5, 0.5 * calm.shape[0]):
        return rest, np.inf
    # Not a median of whole counts: the root mean square of the middle nine tenths, as far as a Gaussian's goes.
    inner = np.sort(np.abs(own - rest).ravel())[: int(0.9 * own.size)]
    return rest, 1.26 * float(np.sqrt(np.mean(inner * inner))) + 0.1 * view.resolution_V


def pick_ups(view: View, resolution_V: float, protection_V: float) -> list[tuple[int, int, bool]]:
    """Stretches that either sign shows; where both do, all of it."""
    every = left_its_rest(view, resolution_V, protection_V)
    every += pick_up_stretches(view, resolution_V, protection_V)
    out: list[tuple[int, int, bool]] = []
    for first, last, tripped in sorted(every):
        if out and first < out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], last), out[-1][2] or tripped)
        else:
            out.append((first, last, tripped))
    return out


def _beside(view: View, first: int, last: int) -> tuple[bool, bool]:
    """Does the reading stand still beside a stretch, and does it stand at zero?"""
    parts = [slice(max(0, first - SIDE), max(first - REST, 0)), slice(last + REST, last + SIDE)]
    moved = np.concatenate([view.move[part] for part in parts]) > 0
    level = np.abs(np.concatenate([view.middle[part] for part in parts]))
    if moved.size == 0:
        return False, False
    return float(np.mean(moved)) < HELD_SHARE, float(np.quantile(level, 0.9)) <= view.zero_V


def _candidates(stretches: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Loud stretches joined across the nodes of a beat; before them, what they are with a longer lull between them."""
    near = _joined(stretches, NODE, 0.0)
    wide = [part for part in _joined(near, 0, LULL) if part not in near]
    return wide + near


def _joined(stretches: list[tuple[int, int]], most: int, share: float) -> list[tuple[int, int]]:
    """Join stretches with no more than ``most``, or that share of the whole, between them."""
    out: list[tuple[int, int]] = []
    for first, last in stretches:
        if out and first - out[-1][1] <= max(most, share * (last - out[-1][0])):
            out[-1] = (out[-1][0], last)
        else:
            out.append((first, last))
    return out


def _farther_than_ever(view: View, first: int, last: int) -> bool:
    """Do readings reach farther in a stretch than in all of the quarter of an hour on each side of it?"""
    early = min(SURGE_BLOCKS, first // 2)
    beside = (slice(max(early, first - AROUND), first), slice(last, last + AROUND))
    low, high = (np.concatenate([value[part] for part in beside]) for value in (view.low, view.high))
    if low.size < CELL:
        return True
    inside = float(np.quantile(view.high[first:last], 0.95) - np.quantile(view.low[first:last], 0.05))
    return inside >= EVER * float(np.quantile(high, 0.95) - np.quantile(low, 0.05))


def _rests_between(view: View, first: int, last: int, calm_V: float) -> bool:
    """Does the channel come back to its level beside the stretch for a good part of it, or hardly cross its middle?"""
    middle = view.middle[first:last]
    beside = np.concatenate((view.middle[max(0, first - SIDE) : first], view.middle[last : last + SIDE]))
    away = middle - np.median(middle)
    # Noise crosses the middle often while a slow wander does once: only crossings from one side to the other count.
    above = away[np.abs(away) > 0.5 * np.median(np.abs(away))] > 0
    wide = float(np.quantile(np.abs(away), 0.95)) > SWING_V
    least = max(CROSSINGS, middle.size / 25) if wide else FEWEST_CROSSINGS
    if int(np.count_nonzero(above[1:] != above[:-1])) < least:
        return True
    if beside.size < SIDE // 4:
        return False
    level = float(np.median(beside))
    if abs(level - float(np.median(middle))) < view.zero_V and np.ptp(middle) < 20.0 * calm_V:
        return False  # rest and pick-up lie about the same level: coming back says nothing
    near = (np.abs(middle - level) <= 1.5 * calm_V)[: middle.size // REST * REST].reshape(-1, REST)
    return bool(np.mean(near.mean(axis=1) >= 0.9) > REST_SHARE)


def _like_pick_up(view: View, first: int, last: int, resolution_V: float) -> bool:
    """Bounded, about zero, and not white: glitches have long tails, a noisier junction has no beat."""
    middle = view.middle[first:last]
    centre = float(np.median(middle))
    size = np.abs(middle - centre)
    usual = float(np.median(size)) + 0.5 * resolution_V  # a median of whole counts is half a count unsure
    spread = float(np.quantile(size, 0.9))
    if np.quantile(size, 0.95) > 4.5 * usual or abs(centre) > spread + view.zero_V:
        return False
    away = np.clip(middle - centre, -4.0 * usual, 4.0 * usual)  # the swing that tripped a relay may stand at the border
    away -= away.mean()
    power = float(np.dot(away, away))
    beat = max(abs(float(np.dot(away[lag:], away[:-lag]))) for lag in BEATS) / power if power > 0 else 0.0
    return beat >= 0.3 or float(np.quantile(size, 0.95)) <= 2.0 * float(np.median(size))
