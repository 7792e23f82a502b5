"""Was one voltage added to all outputs at once, and did it stay? Levels of all channels in; from when on their volts are not known out.

Where the common lead of several channels comes off, each still reads its own volts, and one voltage more that is the same in all:
whatever the open end floats at. A meter that takes means shows no pick-up with it. A meter whose zero is set anew reads just so, and
nothing in the log tells the two apart, unless it comes back, as a lead that fell off does not. What the outputs differ by is still seen;
what they have in common is not. So the time after it is no clean time, until a power-up or a mark.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from flicker.base.arrays import Floats
from flicker.evidence.guard.awake import DIGITS, MOVED_V, NEAR
from flicker.signals.guard.figures import CELL_S, ChannelFigures

STANDS_OUT = 6.0  # of what the levels move by else from one quarter of an hour to the next; a choice
AS_MUCH = 3.0  # the same, of what the channels' steps may differ by, and a last digit; a choice
UNLIKE = 0.25  # of the voltage, what they may differ by at most, and move by just before and after; a choice
STAYS = 0.9  # of the cells that follow keep half of it at least; a choice
LIKE_SIGMA = 1.4826  # sigma of normal numbers for a median size of 1, by definition


def added_from_s(channels: Sequence[ChannelFigures], begin_s: float, end_s: float) -> float:
    """When all channels began to read one voltage more, between two times, for good; infinity where they did not."""
    if len(channels) < 2:
        return np.inf
    inside = [~own.late & (own.begin_s >= begin_s) & (own.begin_s < end_s) for own in channels]
    cell_s = channels[0].begin_s[inside[0]]
    for own, which in zip(channels[1:], inside[1:], strict=True):
        cell_s = np.intersect1d(cell_s, own.begin_s[which])
    if cell_s.size < 2 * NEAR + 1:
        return np.inf
    level_V, digit_V = (np.empty((cell_s.size, len(channels))) for _ in range(2))
    for k, (own, which) in enumerate(zip(channels, inside, strict=True)):
        places = np.flatnonzero(which)[np.searchsorted(own.begin_s[which], cell_s)]
        level_V[:, k] = own.median_V[places]
        known = own.digit_V[which][own.digit_V[which] > 0]
        digit_V[:, k] = known.min() if known.size else 0.0
    return _found(cell_s, level_V, digit_V[0])


def _found(cell_s: Floats, level_V: Floats, digit_V: Floats) -> float:
    """When, of levels of shape (cells, channels): one step in all, large and sudden, to where they were not before, and for good."""
    windows_V = sliding_window_view(level_V, NEAR, axis=0)
    near_V, moved_V = np.median(windows_V, axis=2), np.ptp(windows_V.mean(axis=1), axis=1)
    step_V = near_V[NEAR + 1 :] - near_V[: -NEAR - 1]  # the cell between the two holds the border
    shared_V = np.mean(step_V, axis=1)
    usual_V, own_V = (LIKE_SIGMA * np.median(np.abs(part), axis=0) for part in (shared_V, step_V))
    apart_V = np.abs(step_V - shared_V[:, None]) - digit_V
    alike = np.all(apart_V <= np.minimum(AS_MUCH * own_V, UNLIKE * np.abs(shared_V)[:, None]), axis=1)
    rounded_V = DIGITS * float(digit_V.max()) / np.sqrt(digit_V.size)  # channels are rounded each for itself
    least_V = max(MOVED_V, rounded_V, STANDS_OUT * float(usual_V))
    at_once = np.maximum(moved_V[NEAR + 1 :], moved_V[: -NEAR - 1]) <= UNLIKE * np.abs(shared_V)  # and no settling
    for k in np.flatnonzero(alike & at_once & (np.abs(shared_V) >= least_V)).tolist():
        added = np.mean(level_V - near_V[k], axis=1) / shared_V[k] >= 0.5
        before, after = added[:k], added[k + NEAR + 1 :]
        stays, returns = np.count_nonzero(after) >= STAYS * after.size, np.count_nonzero(before) >= NEAR
        if stays and not returns:
            best = k + int(np.argmax(np.abs(shared_V[k : k + NEAR])))
            return float(cell_s[best + NEAR])
    return np.inf


def unknown_from(channels: Sequence[ChannelFigures], borders_s: Floats, end_s: float) -> list[tuple[float, float]]:
    """Times in which a voltage was added to all channels: ``borders_s`` where a power-up or another setting begins."""
    edges = [*borders_s.tolist(), end_s + CELL_S]
    found = [(added_from_s(channels, a, z), z) for a, z in pairwise(edges)]
    return [item for item in found if np.isfinite(item[0])]
