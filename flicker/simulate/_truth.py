"""What is true of a simulated bench: frozen records that tests, calibration and planning compare a verdict with."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flicker.base.arrays import Bools, Floats
from flicker.base.result import Result, plain
from flicker.base.runs import true_runs

Ints = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Excursion(Result):
    """One glitch as it was put in.

    ``start_s`` and ``end_s`` bound the waveform (seconds since the run's first sample); ``peak_V`` is the largest
    signed deviation among the samples that caught it, ``asked_V`` the one its waveform aims at. ``samples`` counts
    the samples that caught it (0: it fell between two samples, or was hidden), ``cut`` says that a part was hidden.
    """

    start_s: float
    end_s: float
    peak_V: float
    asked_V: float
    samples: int
    cut: bool


@dataclass(frozen=True, slots=True)
class PowerUp(Result):
    """A power-up: the output starts ``surge_V`` away from its settled level and falls back with ``tau_s``."""

    time_s: float
    surge_V: float
    tau_s: float
    settled_V: float
    start: str  # cold, warm


@dataclass(frozen=True, slots=True)
class Stretch(Result):
    """A stretch in which the meter did not see a connected, powered output.

    ``state`` is one of off, starting, muted, disconnected, floating, shorted, repeats, no samples.
    """

    start_s: float
    end_s: float
    state: str


@dataclass(frozen=True, slots=True)
class LevelChange(Result):
    """A step of the settled level."""

    time_s: float
    step_V: float


@dataclass(frozen=True, slots=True)
class RangeSegment(Result):
    """A stretch measured on one range of the meter."""

    start_s: float
    end_s: float
    resolution_V: float


@dataclass(frozen=True, slots=True)
class Mark(Result):
    """A mark of the person at the bench; ``channel`` is None for all, ``until_s`` None for a moment."""

    run: int
    time_s: float
    kind: str
    text: str
    channel: str | None = None
    until_s: float | None = None
    answered: bool | None = None  # of a stimulus: did the unit react?


@dataclass(frozen=True, slots=True)
class ChannelTruth:
    """Truth about one channel in one run.

    ``level_V`` (shape (n,)) is the noise-free baseline with the power-up in it, ``glitch_V`` (shape (n,)) the
    noise-free deviation that the glitches add to it, as far as the meter could see it; ``seen`` (shape (n,)) is False
    where ``stretches`` hide the output. ``verdict`` is the word that
    the definitions give when enough time was observed (None: left open), ``fitness_V`` the largest absolute noise-free
    voltage of a connected output outside the first two minutes after a power-up.
    """

    channel: str
    bad: bool
    verdict: str | None
    settled_V: float
    level_V: Floats
    glitch_V: Floats
    seen: Bools
    start_s: Floats
    end_s: Floats
    peak_V: Floats
    asked_V: Floats
    samples: Ints
    cut: Bools
    power_ups: tuple[PowerUp, ...]
    stretches: tuple[Stretch, ...]
    changes: tuple[LevelChange, ...]
    ranges: tuple[RangeSegment, ...]
    fitness_V: float

    @property
    def excursions(self) -> tuple[Excursion, ...]:
        """The glitches as records, in time order (the arrays hold the same)."""
        columns = (self.start_s, self.end_s, self.peak_V, self.asked_V, self.samples, self.cut)
        return tuple(Excursion(*row) for row in zip(*(column.tolist() for column in columns), strict=True))

    def beyond(self, enter_V: float, leave_V: float | None = None) -> tuple[Ints, Ints]:
        """Return first and last (half open) sample numbers of each stretch that a two-threshold rule must find.

        A stretch begins at the first sample whose absolute deviation passes ``enter_V`` and ends at the first that is
        at or under ``leave_V`` (half of ``enter_V`` by default); noise-free, so a detector may differ by its noise.
        """
        leave = 0.5 * enter_V if leave_V is None else leave_V
        size = np.abs(self.glitch_V)
        first, last = true_runs(size > leave)
        passed = np.concatenate(([0], np.cumsum(size > enter_V)))
        keep = passed[last] > passed[first]
        first, last = first[keep], last[keep]
        begin = np.searchsorted(passed, passed[first], side="right") - 1
        return begin.astype(np.intp), last.astype(np.intp)

    def to_dict(self) -> dict[str, Any]:
        """Return the truth as plain values, without the sample arrays."""
        return {
            "channel": self.channel,
            "bad": self.bad,
            "verdict": self.verdict,
            "settled_V": self.settled_V,
            "fitness_V": self.fitness_V,
            "excursions": plain(self.excursions),
            "power_ups": plain(self.power_ups),
            "stretches": plain(self.stretches),
            "changes": plain(self.changes),
            "ranges": plain(self.ranges),
        }


@dataclass(frozen=True, slots=True)
class RunTruth:
    """Truth about one run: its time axis, its channels, and when the protection relay was open."""

    start: datetime
    time_s: Floats
    sample_interval_s: float
    channels: Mapping[str, ChannelTruth]
    relay_side: str  # amplifier side, speaker side, no relay
    relay_open_s: tuple[tuple[float, float], ...]

    def __getitem__(self, channel: str) -> ChannelTruth:
        return self.channels[channel]

    @property
    def gaps_s(self) -> tuple[tuple[float, float], ...]:
        """Pauses of the logger: from one interval after the last sample before each to the first sample after it."""
        wide = np.flatnonzero(np.diff(self.time_s) > 1.95 * self.sample_interval_s)  # jitter reaches 1.9
        return tuple((float(self.time_s[k]) + self.sample_interval_s, float(self.time_s[k + 1])) for k in wide)

    def to_dict(self) -> dict[str, Any]:
        """Return the truth as plain values, without the sample arrays."""
        return {
            "start": self.start.isoformat(),
            "samples": int(self.time_s.size),
            "sample_interval_s": self.sample_interval_s,
            "gaps_s": [list(pair) for pair in self.gaps_s],
            "relay_side": self.relay_side,
            "relay_open_s": [list(pair) for pair in self.relay_open_s],
            "channels": [self.channels[name].to_dict() for name in self.channels],
        }


@dataclass(frozen=True, slots=True)
class BenchTruth:
    """Truth about a simulated bench: the kind, the seed, every option as used, the runs, the marks."""

    kind: str
    family: str
    seed: int
    options: Mapping[str, Any]
    runs: tuple[RunTruth, ...]
    marks: tuple[Mark, ...]

    def excursions(self, channel: str) -> list[tuple[int, Excursion]]:
        """Return (run, excursion) of one channel over all runs, in time order."""
        return [(number, item) for number, run in enumerate(self.runs) for item in run[channel].excursions]

    def to_dict(self) -> dict[str, Any]:
        """Return the truth as plain values, without the sample arrays."""
        return {
            "schema": "flicker/truth/1",
            "kind": self.kind,
            "family": self.family,
            "seed": self.seed,
            "options": plain(dict(self.options)),
            "runs": [run.to_dict() for run in self.runs],
            "marks": plain(self.marks),
        }
