"""The law of hits when intervals are turned around a span as a whole, every turn alike."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from flicker.base.arrays import Bools, Floats, Ints

MOST_PAIRS = 2_000_000
RANDOM_TURNS = 9_999


@dataclass(frozen=True, slots=True)
class ShiftLaw:
    """Numbers of hits and the share of turns that give them."""

    hits: Ints
    share: Floats
    floor: float

    @property
    def mean(self) -> float:
        """Mean number of hits over all turns."""
        return float(np.sum(self.hits * self.share))

    def at_least(self, hits: int) -> float:
        """Share of turns with ``hits`` or more."""
        return self._tail(self.hits >= hits)

    def at_most(self, hits: int) -> float:
        """Share of turns with ``hits`` or fewer."""
        return self._tail(self.hits <= hits)

    def _tail(self, which: Bools) -> float:
        return float(min(1.0, self.floor + (1.0 - self.floor) * self.share[which].sum()))


def shift_law(
    times: Floats,
    starts: Floats,
    stops: Floats,
    length: float,
    *,
    seed: int,
    closed: bool = False,
) -> ShiftLaw:
    """Law of the number of ``times`` in disjoint intervals when all intervals turn by one uniform amount.

    Exact up to 2e6 pairs, by sorting the turns at which a time enters or leaves an interval; beyond, 9,999 random
    turns.
    """
    if times.size == 0 or starts.size == 0:
        return ShiftLaw(np.zeros(1, dtype=np.int64), np.ones(1), 0.0)
    if times.size * starts.size > MOST_PAIRS:
        turns = np.random.default_rng(seed).uniform(0.0, length, RANDOM_TURNS)
        side: Literal["left", "right"] = "right" if closed else "left"
        hits = np.empty(RANDOM_TURNS, dtype=np.int64)
        for i, turn in enumerate(turns.tolist()):
            x = np.mod(times - turn, length)
            x.sort()
            hits[i] = np.sum(np.searchsorted(x, stops, side) - np.searchsorted(x, starts, "left"))
        return ShiftLaw(hits, np.full(RANDOM_TURNS, 1.0 / RANDOM_TURNS), 1.0 / (RANDOM_TURNS + 1))
    # time x lies in a turned interval [s + u, e + u] for turns u from x - e to x - s
    enter = np.mod(times[:, None] - stops[None, :], length).ravel()
    leave = np.mod(times[:, None] - starts[None, :], length).ravel()
    whole = (stops - starts)[None, :] >= length
    full = np.broadcast_to(whole, (times.size, starts.size)).ravel()
    base = int(full.sum()) + int(np.sum((enter > leave) & ~full))
    where = np.concatenate((enter[~full], leave[~full]))
    step = np.concatenate((np.ones((~full).sum(), dtype=np.int64), -np.ones((~full).sum(), dtype=np.int64)))
    order = np.argsort(where, kind="stable")
    edges = np.concatenate(([0.0], where[order], [length]))
    hits = base + np.concatenate(([0], np.cumsum(step[order])))
    return ShiftLaw(hits, np.diff(edges) / length, 0.0)
