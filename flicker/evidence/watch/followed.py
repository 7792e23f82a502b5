"""What a watch remembers of one channel: its counts, its bursts, its decision and its alarms."""

from __future__ import annotations

import math
from collections import deque

import numpy as np

from flicker.evidence.watch.unseen import Unseen
from flicker.evidence.watch.volts import Volts
from flicker.evidence.watch.watching import GO_ON
from flicker.signals.live import LiveChannel, LiveEpisode
from flicker.stats.rates.dispersion import pearson_dispersion
from flicker.stats.sequential import RateDecision

BINS = 40  # of the counts over time, at first a minute each, then wider: a choice
BIN_S = 60.0  # as there
FEWEST = 5  # episodes before bursts can be told from single ones; chosen, not measured


class Bursts:
    """Counts in bins of observed time that grow with the watch: the dispersion so far, in flat memory."""

    def __init__(self) -> None:
        self.width_s = BIN_S
        self.counts = np.zeros(BINS, dtype=np.int64)
        self.largest = 1.0

    def add(self, clock_s: float) -> None:
        """Count an episode at this observed time."""
        while clock_s >= self.width_s * BINS:
            self.counts = np.concatenate((self.counts.reshape(-1, 2).sum(axis=1), np.zeros(BINS // 2, dtype=np.int64)))
            self.width_s *= 2.0
        self.counts[int(clock_s / self.width_s)] += 1

    def dispersion(self, observed_s: float) -> float:
        """Largest dispersion so far, at least 1: evidence that was once doubted is not made stronger by waiting."""
        seen = min(BINS, max(1, math.ceil(observed_s / self.width_s)))
        if self.counts.sum() >= FEWEST and seen >= 4:
            self.largest = max(self.largest, pearson_dispersion([(self.counts[:seen], np.full(seen, self.width_s))])[0])
        return self.largest


class Followed:
    """One channel with its counts, its decision and its alarms."""

    def __init__(self, name: str, live: LiveChannel, rule: RateDecision) -> None:
        self.name = name
        self.live = live
        self.rule = rule
        self.count = 0
        self.common = 0
        self.filled = False
        self.decision = GO_ON
        self.decided_at_h: float | None = None
        self.largest_V: float | None = None
        self.bursts = Bursts()
        self.recent: deque[LiveEpisode] = deque(maxlen=64)
        self.alarms = 0
        self.volts = Volts(live.limits, live.cadence_s)
        self.told: set[str] = set()
        self.asked_s: float | None = None  # when the guard was last asked about 'clean enough'
        self.asked_run = -1
        self.unseen = Unseen(live.cadence_s)
