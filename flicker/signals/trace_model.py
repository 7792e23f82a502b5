"""One channel through one run, as the stages after this folder see it: frozen `Trace` and `RunTraces`."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from flicker.base.arrays import Floats, Ints
from flicker.base.middle import median
from flicker.logs.model import Gap, Run
from flicker.logs.spans import elapsed, total
from flicker.signals.baseline import Baseline
from flicker.signals.blocks import RunBlocks
from flicker.signals.connection.reasons import Told
from flicker.signals.connection.states import StateSpan
from flicker.signals.excursions import Excursions
from flicker.signals.mark_windows import NOTHING, Hands
from flicker.signals.ranges import Ranges
from flicker.signals.startup import Start


@dataclass(frozen=True, slots=True)
class Trace:
    """One channel in one run; times in seconds since the run's first sample.

    ``observed`` are the intervals in which an excursion could have been seen, shape (n, 2); ``unobserved`` says why the
    rest was not. ``episode`` numbers the episode of each excursion within the run. ``settled_s``/``settled_V`` are
    cells of some ten seconds with the surge removed, ``residual_V`` a subsample of the signal less its baseline.
    ``power_up_seen`` tells whether the run begins with a power-up; ``start_kind`` is cold, warm or unknown, by
    ``off_before_s`` (None where the log does not show it). ``states`` cut the run into off, starting, muted, on and
    unknown. ``life`` is 'seen' where the readings show a live output, else 'not shown'. ``measured_at`` is a guess:
    'speaker side' where a relay was seen to open or close, 'amplifier side' (or there is no relay) where an offset
    stayed that a relay would have cut, else 'unknown'.
    ``relay_closed_s`` is when an output relay closed that was open as the run began, None where none was seen to.
    ``disconnected`` holds the openings seen, shape (n, 2); ``doubted`` the stretches that may show no live output and
    are kept as observed because that is not sure: their hours show no fault, and clear nothing.
    ``told`` is what must be said of both and of time left out, ``cautions`` are sentences about the rest. ``hands`` are the marks on the run's clock;
    ``trial_observed`` is the observed time with the windows after a stimulus, ``tried`` the excursions in both.
    """

    channel: str
    run: int
    start: Start | None
    baseline: Baseline | None
    sigma_V: float
    resolution_V: float
    enter_V: float
    leave_V: float
    observed: Floats
    unobserved: tuple[Gap, ...]
    warm_up_until_s: float
    excursions: Excursions
    episode: Ints
    residual_s: Floats
    residual_V: Floats
    power_up_seen: bool
    start_kind: str
    off_before_s: float | None
    states: tuple[StateSpan, ...]
    life: str
    measured_at: str
    relay_closed_s: float | None
    disconnected: Floats
    ranges: Ranges
    range_note: str | None
    cautions: tuple[str, ...]
    told: tuple[Told, ...] = ()
    doubted: Floats = field(default_factory=lambda: np.empty((0, 2)))
    hands: Hands = NOTHING
    trial_observed: Floats | None = None
    tried: Excursions | None = None

    @property
    def observed_s(self) -> float:
        """Seconds in which an excursion could have been seen."""
        return total(self.observed)

    @property
    def level_V(self) -> float | None:
        """Settled level: the middle of the baseline over observed time."""
        if self.baseline is None:
            return None
        return median(self.baseline.knot_V)

    def episode_table(self) -> tuple[Floats, Floats, Floats]:
        """Start, end and largest deviation (signed) of each episode."""
        if self.episode.size == 0:
            return np.empty(0), np.empty(0), np.empty(0)
        first = np.flatnonzero(np.concatenate(([True], np.diff(self.episode) > 0)))
        last = np.concatenate((first[1:], [self.episode.size]))
        size = np.abs(self.excursions.deviation_V)
        largest = np.flatnonzero(size == np.repeat(np.maximum.reduceat(size, first), last - first))
        best = largest[np.searchsorted(largest, first)]
        end = np.maximum.reduceat(self.excursions.end_s, first)
        return self.excursions.start_s[first], end, self.excursions.deviation_V[best]

    def observed_clock(self, time_s: Floats) -> Floats:
        """Observed seconds that had passed at each time."""
        return elapsed(self.observed, time_s)


@dataclass(frozen=True, slots=True)
class RunTraces:
    """All channels of one run, with the blocks they came from."""

    run: Run
    number: int
    blocks: RunBlocks
    traces: tuple[Trace, ...]


def of_channel(runs: Iterable[RunTraces], channel: str) -> list[tuple[RunTraces, int]]:
    """Runs that logged a channel, in order, each with the channel's place among its traces and the channels of its blocks."""
    return [(run, place) for run in runs for place, trace in enumerate(run.traces) if trace.channel == channel]
