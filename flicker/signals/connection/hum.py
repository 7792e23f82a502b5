"""Hum too fast for the middles of blocks: an open lead whose readings swing within each second. Stretches out.

Sampled hum folds to any frequency up to half the sampling rate. Slow, it shows in the middles (`pickup`); fast, the
middle of a block averages it away and only the block's extremes show it. Hum is bounded: its readings stay within one
and a half times their usual size, where those of noise reach three times.
Numbers: common practice, no source, tried by hand on `study_connection.py` (seeds below 5000) and its second generator.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from flicker.signals.connection.movement import SIDE, View, bernoulli, surge_at, switches, two_clusters
from flicker.signals.order_statistics import running_median

Floats = NDArray[np.float64]

# Where a line names no origin: chosen when the rules were made, not measured one by one; what the rules do together
# and each off in turn is measured in tests/studies/results/lead.md and connection.md.
SMOOTH = 9  # blocks
LOUDER = 2.5  # times the swing within a second beside the stretch
LOUD_V = 0.0024
LOUD_S = 120.0
BESIDE = 20  # blocks on each side of a border that must differ
BOUNDED = 2.0  # 95 % point over median of the size of readings: 1.4 for a sine, 2.9 for Gaussian noise
FEWEST = 40  # readings
SAME_SHARE = 0.1  # of a rest away from zero: hum that rides on it is the unit's own
SURE = 12.0  # log-likelihood of a change of state


def fast_hum(view: View, sample_s: Floats, sample_V: Floats, band_V: float) -> list[tuple[int, int]]:
    """Find stretches of fast pick-up: blocks ``first`` to ``last`` (half open) of the view.

    ``sample_s`` and ``sample_V`` are single readings of the channel, evenly spaced, as `ChannelBlocks` keeps them.
    """
    half = 0.5 * (view.high - view.low)
    if view.size < 4 * BESIDE or float(np.quantile(half, 0.98)) < LOUD_V:
        return []
    loudness = np.log(running_median(half, SMOOTH) + view.resolution_V + 1e-6)
    calm, loud, border = two_clusters(loudness)
    if loud - calm < np.log(LOUDER) or np.exp(loud) < LOUD_V:
        return []
    above = loudness > border
    out = []
    for first, last in switches(bernoulli(above, 0.95, 0.05), SURE):
        if view.begin_s[last - 1] - view.begin_s[first] < LOUD_S or float(np.mean(above[first:last])) < 0.9:
            continue
        if not _abrupt(half, first, last) or not _bounded(view, first, last, sample_s, sample_V):
            continue
        centre = float(np.median(view.middle[first:last]))
        if abs(centre) > float(np.quantile(half[first:last], 0.9)) + view.zero_V:
            continue
        if _rides(view, first, last, centre) or _begins_with_a_surge(view, first, band_V):
            continue
        out.append((first, last))
    return out


def _abrupt(half: Floats, first: int, last: int) -> bool:
    """Does the swing change at once, wherever the log shows a border?"""
    shown = False
    for inner, outer in (
        (half[first : first + BESIDE], half[max(first - BESIDE, 0) : first]),
        (half[max(last - BESIDE, 0) : last], half[last : last + BESIDE]),
    ):
        if outer.size < BESIDE // 2:
            continue
        shown = True
        if float(np.median(inner)) < LOUDER * float(np.median(outer)):
            return False
    return shown


def _bounded(view: View, first: int, last: int, sample_s: Floats, sample_V: Floats) -> bool:
    inside = slice(*np.searchsorted(sample_s, [view.begin_s[first], view.end_s[last - 1]]))
    values, times = sample_V[inside], sample_s[inside]
    known = np.isfinite(values)
    if np.count_nonzero(known) < FEWEST:
        return False
    centre = running_median(view.middle[first:last], 2 * SMOOTH + 1)
    away = np.abs(values[known] - np.interp(times[known], view.begin_s[first:last], centre))
    return float(np.quantile(away, 0.95)) <= BOUNDED * float(np.median(away)) + view.resolution_V


def _rides(view: View, first: int, last: int, centre: float) -> bool:
    """Does the hum ride on the rest that the channel has beside it?"""
    parts = [view.middle[max(0, first - SIDE) : first], view.middle[last : last + SIDE]]
    rests = [float(np.median(part)) for part in parts if part.size >= BESIDE]
    return any(
        abs(rest) > 3.0 * view.zero_V and abs(centre - rest) < SAME_SHARE * abs(rest) + view.resolution_V
        for rest in rests
    )


def _begins_with_a_surge(view: View, first: int, band_V: float) -> bool:
    before = view.middle[max(0, first - SMOOTH) : first]
    if before.size == 0 or float(np.abs(before).max()) > view.zero_V:
        return False
    return surge_at(view, first, band_V) is not None
