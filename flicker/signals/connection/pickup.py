"""Where does a channel wander about zero as an open lead does? A channel's movements in, restless stretches out.

Numbers: common practice, no source, tried by hand on `study_connection.py` (seeds below 5000) and its second generator.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from flicker.signals.connection.contrast import (
    CELL,
    FARTHER,
    LOUD_V,
    UNLIKE,
    all_at_once,
    edge,
    farther_at_once,
    swings,
)
from flicker.signals.connection.movement import (
    FEW,
    LASTING_S,
    MOST_VISITS,
    SIDE,
    SWITCH,
    WINDOW,
    View,
    bernoulli,
    switches,
    two_clusters,
)
from flicker.signals.connection.stillness import ALIVE_SHARE
from flicker.signals.order_statistics import running_median

Floats = NDArray[np.float64]

# Where a line names no origin: chosen when the rules were made, not measured one by one; what the rules do together
# and each off in turn is measured in tests/studies/results/lead.md and connection.md.
TRIP_BLOCKS = 8
CROSSINGS = 3  # of its middle: fewer are swings
PASSING_SHARE = 0.12  # of a stretch in which pick-up may pass the rest
NODE = 8  # cells between two swells of a beat
LOUD_SHARE = 0.6
BEATS = (1, 2, 3, 4)  # blocks: aliased hum may hide at one of them


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
    if loud - calm < np.log(UNLIKE) or np.exp(loud) - resolution_V < LOUD_V:
        return []
    evidence = bernoulli(wander > border, 0.9, 0.1)
    out: list[tuple[int, int, bool]] = []
    frozen = False
    for a, b in _joined(switches(evidence, 6.0), NODE):
        if float(np.mean(wander[a:b] > border)) < LOUD_SHARE:
            continue
        first = edge(view, a * size, resolution_V)
        last = edge(view, view.size if b == count else b * size, resolution_V)
        if last - first < size or view.begin_s[last - 1] - view.begin_s[first] < LASTING_S:
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
            if not all_at_once(view, first, last, resolution_V, UNLIKE):
                continue
        elif not all_at_once(view, first, last, resolution_V):
            continue
        if not _like_pick_up(view, first, last, resolution_V):
            continue
        if _swings(view, first, last):
            continue  # swings of a unit that goes back to where it was, not a lead in the air
        out.append((first, last, tripped))
    return out


def left_its_rest(view: View, resolution_V: float, protection_V: float) -> list[tuple[int, int, bool]]:
    """Stretches about zero, wider than the channel's rest, that leave a rest away from zero at once: an open lead.

    The level tells the borders to the second, however slowly the pick-up wanders. What `pick_up_stretches` returns.
    """
    rest, scatter = _rest(view)
    if abs(rest) - 4.0 * scatter <= view.zero_V:
        return []
    away = np.abs(view.middle - rest) > max(3.0 * scatter, 0.3 * abs(rest)) + 0.5 * resolution_V
    found = _joined(switches(bernoulli(away, 0.8, 0.05), SWITCH), WINDOW, PASSING_SHARE)
    if len(found) > MOST_VISITS:
        return []  # a channel that leaves its rest again and again has levels, or swings
    out = []
    for first, last in found:
        near = slice(max(first - TRIP_BLOCKS, 0), first + TRIP_BLOCKS)
        beyond = np.flatnonzero(view.reach(near) > protection_V)
        tripped = beyond.size > 0
        if tripped:
            first = near.start + int(beyond[-1]) + 1
        if last - first < 3 * CELL or view.begin_s[last - 1] - view.begin_s[first] < LASTING_S or first < 3 * CELL:
            continue
        if _beside(view, first, last)[0]:
            continue  # what is left is one reading held: the restless part is the live one
        if float(np.mean(away[first:last])) < 0.7 or not _like_pick_up(view, first, last, resolution_V):
            continue
        if float(np.quantile(np.abs(view.middle[first:last] - rest), 0.95)) < LOUD_V:
            continue
        whole = float(np.mean(away[first:last])) > 0.9
        if not (whole or farther_at_once(view, first, last, UNLIKE if tripped else FARTHER)):
            continue
        if _swings(view, first, last):
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
    parts = [slice(max(0, first - SIDE), max(first - FEW, 0)), slice(last + FEW, last + SIDE)]
    moved = np.concatenate([view.move[part] for part in parts]) > 0
    level = np.abs(np.concatenate([view.middle[part] for part in parts]))
    if moved.size == 0:
        return False, False
    return float(np.mean(moved)) < ALIVE_SHARE, float(np.quantile(level, 0.9)) <= view.zero_V


def _joined(stretches: list[tuple[int, int]], most: int, share: float = 0.0) -> list[tuple[int, int]]:
    """Join stretches with no more than ``most`` between them."""
    out: list[tuple[int, int]] = []
    for first, last in stretches:
        if out and first - out[-1][1] <= max(most, share * (last - out[-1][0])):
            out[-1] = (out[-1][0], last)
        else:
            out.append((first, last))
    return out


def _swings(view: View, first: int, last: int) -> bool:
    """Does the channel hardly cross its middle? Then it swings, and no lead hangs in the air."""
    middle = view.middle[first:last]
    away = middle - np.median(middle)
    # Noise crosses the middle often while a slow wander does once: only crossings from one side to the other count.
    above = away[np.abs(away) > 0.5 * np.median(np.abs(away))] > 0
    return int(np.count_nonzero(above[1:] != above[:-1])) < CROSSINGS


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
