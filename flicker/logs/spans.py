"""Stretches of time as sorted, disjoint half-open intervals: arrays of shape (n, 2), in seconds."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import chain

import numpy as np

from flicker.base.arrays import Bools, Floats


def spans(pairs: Iterable[tuple[float, float]] | Floats) -> Floats:
    """Sort intervals and join those that touch; empty ones are dropped."""
    if not isinstance(pairs, np.ndarray):
        pairs = np.fromiter(chain.from_iterable(pairs), dtype=np.float64).reshape(-1, 2)
    table = pairs[pairs[:, 1] > pairs[:, 0]]
    if table.shape[0] < 2:
        return table
    table = table[np.argsort(table[:, 0], kind="stable")]
    reach = np.maximum.accumulate(table[:, 1])
    first = np.concatenate(([True], table[1:, 0] > reach[:-1]))
    last = np.concatenate((first[1:], [True]))
    return np.column_stack((table[first, 0], reach[last]))


def total(intervals: Floats) -> float:
    """Summed length."""
    return float(np.sum(intervals[:, 1] - intervals[:, 0]))


def without(intervals: Floats, holes: Floats) -> Floats:
    """Cut ``holes`` out of ``intervals`` (both sorted and disjoint)."""
    if holes.shape[0] == 0 or intervals.shape[0] == 0:
        return intervals
    edges = np.unique(np.concatenate((intervals.ravel(), holes.ravel())))
    keep = holds(intervals, edges[:-1]) & ~holds(holes, edges[:-1])
    return spans(np.column_stack((edges[:-1][keep], edges[1:][keep])))


def within(intervals: Floats, low: float, high: float) -> Floats:
    """Keep what lies between ``low`` and ``high``."""
    clipped = np.clip(intervals, low, high)
    return clipped[clipped[:, 1] > clipped[:, 0]]


def holds(intervals: Floats, time_s: Floats) -> Bools:
    """Tell which times lie inside an interval."""
    if intervals.shape[0] == 0:
        return np.zeros(np.shape(time_s), dtype=bool)
    place = np.searchsorted(intervals[:, 0], time_s, side="right") - 1
    return np.asarray((place >= 0) & (time_s < intervals[np.maximum(place, 0), 1]))


def elapsed(intervals: Floats, time_s: Floats) -> Floats:
    """Observed time that has passed at each time: the clock that stands still outside the intervals."""
    before = np.concatenate(([0.0], np.cumsum(intervals[:, 1] - intervals[:, 0])))
    if intervals.shape[0] == 0:
        return np.zeros(np.shape(time_s))
    place = np.searchsorted(intervals[:, 0], time_s, side="right")
    last = np.maximum(place - 1, 0)
    inside = np.clip(time_s - intervals[last, 0], 0.0, intervals[last, 1] - intervals[last, 0])
    return np.asarray(before[last] + np.where(place > 0, inside, 0.0))
