"""Where does a channel wander about zero as an open lead does? A channel's movements in, restless stretches out."""

from __future__ import annotations

import numpy as np

from flicker.signals._movement import SIDE, View, bernoulli, surge_at, switches, two_clusters
from flicker.signals.baseline import running_median

LOUD_CELL = 32  # blocks in which pick-up has time to swing
CALM_BEFORE = 16
LOUDER = 2.0
LOUD_V = 0.0012  # pick-up weaker than this is not told from noise
LOUD_S = 120.0
CROSSINGS = 8  # of its middle, or one in 25 blocks: fewer are swings
REST_SHARE = 0.25  # of a stretch at the level beside it; common practice, no source


def pick_up_stretches(view: View, resolution_V: float, band_V: float) -> list[tuple[int, int]]:
    """Stretches that wander far more than the rest within half a minute, bounded and about zero: pick-up."""
    size = LOUD_CELL
    count = view.size // size
    if count < 6:
        return []
    cells = view.middle[: count * size].reshape(count, size)
    swing = np.quantile(cells, 0.9, axis=1) - np.quantile(cells, 0.1, axis=1)
    some = swing[swing > 0]
    fine = 0.25 * float(np.quantile(some, 0.1)) if some.size else 0.0
    floor = max(0.5 * resolution_V if resolution_V > 0 else fine, 1e-6)
    # A surge or a swing fills a cell or two; pick-up lasts.
    wander = running_median(np.log(np.maximum(swing, floor)), 3)
    calm, loud, border = two_clusters(wander)
    if loud - calm < np.log(LOUDER) or np.exp(loud) < LOUD_V:
        return []
    evidence = bernoulli(wander > border, 0.9, 0.1)
    out = []
    for a, b in switches(evidence, 6.0):
        first, last = _edges(view, a * size, b * size, float(np.exp(calm)), float(np.exp(loud)))
        if last - first < size or view.begin_s[last - 1] - view.begin_s[first] < LOUD_S:
            continue
        if float(np.mean(wander[a:b] > border)) < 0.85 or not _like_pick_up(view, first, last, resolution_V):
            continue
        if _rests_between(view, first, last, float(np.exp(calm))):
            continue  # swings of a unit that goes back to where it was, not a lead in the air
        if _powered_up(view, first, last, band_V):
            continue  # it is the unit, and the calm part is the one that was off
        out.append((first, last))
    return out


def _edges(view: View, first: int, last: int, calm_V: float, loud_V: float) -> tuple[int, int]:
    """Move the borders of a loud stretch to the blocks where the spread changes."""
    reach = LOUD_CELL + LOUD_CELL // 2
    centre = float(np.median(view.middle[first:last]))
    edges = []
    for place, rising in ((first, True), (last, False)):
        lo, hi = max(0, place - reach), min(view.size, place + reach)
        if rising and place == 0:
            edges.append(0)
            continue
        outside = view.middle[max(0, lo - SIDE) : lo] if rising else view.middle[hi : hi + SIDE]
        if outside.size < SIDE // 4:  # the log ends: it comes back to where it was, if it does
            outside = view.middle[max(0, first - LOUD_CELL - SIDE) : max(0, first - LOUD_CELL)]
        level = float(np.median(outside)) if outside.size else centre
        calm, loud = max(calm_V / 2.56, 1e-6), max(loud_V / 2.56, 2e-6)
        part = view.middle[lo:hi]
        own = np.minimum(0.5 * ((part - level) / calm) ** 2, 12.0) + np.log(calm)
        other = np.minimum(0.5 * ((part - centre) / loud) ** 2, 12.0) + np.log(loud)
        score = np.concatenate(([0.0], np.cumsum(other - own)))
        best = int(np.argmax(score)) if rising else int(np.argmin(score))
        edges.append(lo + best)
    return edges[0], max(edges[1], edges[0])


def _powered_up(view: View, first: int, last: int, band_V: float) -> bool:
    """Does a stretch begin out of zero with a surge that stands out of what follows?"""
    before = view.middle[max(0, first - CALM_BEFORE) : first]
    if before.size == 0 or float(np.abs(before).max()) > view.zero_V:
        return False
    start = surge_at(view, first, band_V)
    return start is not None and abs(sum(start.amplitudes_V)) > 2.0 * float(
        np.ptp(view.middle[(first + last) // 2 : last])
    )


def _rests_between(view: View, first: int, last: int, calm_V: float) -> bool:
    """Does the channel come back to its level beside the stretch for a good part of it, or hardly cross its middle?"""
    middle = view.middle[first:last]
    beside = np.concatenate((view.middle[max(0, first - SIDE) : first], view.middle[last : last + SIDE]))
    above = middle > np.median(middle)
    if int(np.count_nonzero(above[1:] != above[:-1])) < max(CROSSINGS, middle.size / 25):
        return True
    if beside.size < SIDE // 4:
        return False
    level = float(np.median(beside))
    if abs(level - float(np.median(middle))) < view.zero_V and np.ptp(middle) < 20.0 * calm_V:
        return False  # rest and pick-up lie about the same level: coming back says nothing
    return float(np.mean(np.abs(middle - level) <= 1.5 * calm_V)) > REST_SHARE


def _like_pick_up(view: View, first: int, last: int, resolution_V: float) -> bool:
    """Bounded, about zero, and not white: glitches have long tails, a noisier junction has no beat."""
    middle = view.middle[first:last]
    centre = float(np.median(middle))
    size = np.abs(middle - centre)
    usual = float(np.median(size)) + 0.5 * resolution_V  # a median of whole counts is half a count unsure
    spread = float(np.quantile(size, 0.9))
    if np.quantile(size, 0.95) > 3.6 * usual or abs(centre) > 0.8 * spread + view.zero_V:
        return False
    away = middle - middle.mean()
    power = float(np.dot(away, away))
    beat = float(np.dot(away[1:], away[:-1])) / power if power > 0 else 0.0
    return abs(beat) >= 0.3 or float(np.quantile(size, 0.95)) <= 2.0 * float(np.median(size))
