"""Where does a channel wander about zero as an open lead does? A channel's movements in, restless stretches out.

Sampled hum folds to any frequency up to half the sampling rate: slow, it shows in the middles of blocks, fast, within them.
"""

from __future__ import annotations

import numpy as np

from flicker.base.arrays import Bools, Floats
from flicker.base.middle import row_medians
from flicker.signals.connection.movement import (
    ALIVE_SHARE,
    CELL,
    FEW,
    LASTING_S,
    NATS,
    PICK_UP_V,
    REACH,
    SAME,
    SIDE,
    View,
    bernoulli,
    change_place,
    switches,
    two_clusters,
)
from flicker.signals.order_statistics import row_quantiles, running_median

# Common practice, no source: chosen by hand on study_connection.py, not measured one by one; what the rules do together
# and each off in turn is measured in tests/studies/results/lead.md and connection.md.
NODE = 8  # cells between two swells of a beat
BEATS = (1, 2)  # blocks: aliased hum may hide at one of them


def pick_ups(view: View, protection_V: float) -> list[tuple[int, int]]:
    """Stretches that swing far more than what is beside them, bounded and about zero: pick-up of an open lead.

    Hum wanders through all frequencies while a lead is off, so a half minute is loud where its blocks or their insides swing.
    """
    if view.size < 6 * CELL:
        return []
    slow, fast = (_louder(view, inside=inside) for inside in (False, True))
    out: list[tuple[int, int]] = []
    for a, b in _joined(switches(bernoulli(slow | fast, 0.99, 0.01), NATS), NODE):
        first = _edge(view, a * CELL)
        last = _edge(view, view.size if b == slow.size else b * CELL)
        near = slice(max(first - FEW, 0), first + FEW)
        beyond = np.flatnonzero(view.reach(near) > protection_V)
        first = near.start + int(beyond[-1]) + 1 if beyond.size and first else first
        lasts = last - first >= CELL and view.begin_s[last - 1] - view.begin_s[first] >= LASTING_S
        readings = (view.middle[first:last], view.readings(slice(first, last)))
        # Where nothing moves beside it, the restless part is the live one.
        if lasts and not _still_beside(view, first, last) and any(_like_pick_up(view, x) for x in readings):
            out.append((first, last))
    return out


def _louder(view: View, *, inside: bool) -> Bools:
    """Which half minutes swing far more than the others, from block to block or ``inside`` blocks?"""
    size = view.size // CELL * CELL
    if inside:
        swing = row_medians((view.high - view.low)[:size].reshape(-1, CELL))
    else:
        low, high = row_quantiles(view.middle[:size].reshape(-1, CELL), (0.1, 0.9))
        swing = high - low
    # A surge or a swing fills a cell or two; pick-up lasts. Two counts are no more than twice none.
    wander = running_median(np.log(swing + view.resolution_V + 1e-6), 3)
    faint = np.log(PICK_UP_V + view.resolution_V)  # not told from noise, or from a swing of one count of 1 mV
    calm, loud, border = two_clusters(wander)
    return wander > (border if loud - calm >= SAME and loud >= faint else np.inf)


def _edge(view: View, place: int) -> int:
    """Move the border of a stretch to the block where level, spread or movement change."""
    if place == 0 or place >= view.size:
        return min(place, view.size)
    lo, hi = max(0, place - REACH), min(view.size, place + REACH)
    return lo + change_place(view.middle[lo:hi], view.move[lo:hi], view.resolution_V)


def _still_beside(view: View, first: int, last: int) -> bool:
    """Does the reading stand still beside a stretch?"""
    parts = [slice(max(0, first - SIDE), max(first - FEW, 0)), slice(last + FEW, last + SIDE)]
    moved = np.concatenate([view.move[part] for part in parts]) > 0
    return moved.size > 0 and float(np.mean(moved)) < ALIVE_SHARE


def _joined(stretches: list[tuple[int, int]], most: int) -> list[tuple[int, int]]:
    """Join stretches with no more than ``most`` between them."""
    out: list[tuple[int, int]] = []
    for first, last in stretches:
        if out and first - out[-1][1] <= most:
            out[-1] = (out[-1][0], last)
        else:
            out.append((first, last))
    return out


def _like_pick_up(view: View, middle: Floats) -> bool:
    """Bounded, about zero and not white: glitches have long tails, a noisier junction has no beat."""
    middle = middle[np.isfinite(middle)]
    if middle.size < CELL:
        return False
    centre = float(np.median(middle))
    size = np.abs(middle - centre)
    usual = float(np.median(size)) + 0.5 * view.resolution_V  # a median of whole counts is half a count unsure
    spread, most = (float(value) for value in np.quantile(size, (0.9, 0.95)))
    if most > 4.5 * usual or abs(centre) > spread + view.zero_V:
        return False
    away = np.clip(middle - centre, -4.0 * usual, 4.0 * usual)  # the swing that tripped a relay may stand at the border
    away -= away.mean()
    power = float(np.dot(away, away))
    beat = max(abs(float(np.dot(away[lag:], away[:-lag]))) for lag in BEATS) / power if power > 0 else 0.0
    return beat >= 0.3 or most <= 2.0 * float(np.median(size))
