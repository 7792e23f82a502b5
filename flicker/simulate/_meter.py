"""Reads a drawn channel through the meter: noise-free trace in; volts as displayed, and the truth about them, out."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flicker.base.arrays import Bools, Floats
from flicker.simulate._truth import ChannelTruth, LevelChange, PowerUp, RangeSegment, Stretch

SETTLED_AFTER_S = 120.0  # the start of a run, for `ChannelTruth.fitness_V`
_RANGES_V = np.array([0.05, 0.5, 5.0])  # an invented meter: the last digit is a five-thousandth of the range
_DIGITS_V = np.array([0.00001, 0.0001, 0.001, 0.01])


@dataclass(frozen=True, slots=True)
class Meter:
    """The meter and its logger."""

    step_s: float
    resolution_V: float
    full_scale_V: float
    jittery: bool


@dataclass(slots=True)
class Trace:
    """One channel in one run while it is being drawn; places are sample numbers, half open."""

    level: Floats
    noise: Floats
    settled_V: float
    glitch: Floats | None = None
    starts: list[Floats] = field(default_factory=list)
    ends: list[Floats] = field(default_factory=list)
    peaks: list[Floats] = field(default_factory=list)
    overrides: list[tuple[int, int, Floats]] = field(default_factory=list)
    holds: list[tuple[int, int]] = field(default_factory=list)
    stretches: list[Stretch] = field(default_factory=list)
    changes: list[LevelChange] = field(default_factory=list)
    power_ups: list[PowerUp] = field(default_factory=list)
    ranges: list[tuple[int, int, float]] = field(default_factory=list)
    auto_range: bool = False
    verdict: str | None = "steady"

    def finest_V(self, meter: Meter) -> float:
        """Return the smallest last digit in use."""
        if self.auto_range:
            return float(_DIGITS_V[0])
        return min((item[2] for item in self.ranges), default=meter.resolution_V)


def read(time_s: Floats, trace: Trace, name: str, bad: bool, meter: Meter) -> tuple[Floats, ChannelTruth]:
    """Return the volts displayed, shape (n,), and the truth about the channel."""
    n = trace.level.size
    glitch = np.zeros(n) if trace.glitch is None else trace.glitch
    seen = np.ones(n, dtype=bool)
    for first, last in [*((first, last) for first, last, _ in trace.overrides), *trace.holds]:
        seen[first:last] = False
        glitch[first:last] = 0.0
    clean = trace.level + glitch
    volts = clean + trace.noise
    for first, last, shown in trace.overrides:
        volts[first:last] = shown
    segments = _auto_range(volts) if trace.auto_range else trace.ranges or [(0, n, meter.resolution_V)]
    _round(volts, segments)
    if trace.auto_range:
        for before, after in itertools.pairwise(segments):
            if after[2] > before[2]:
                volts[after[0]] = np.copysign(np.inf, volts[after[0]])
    for first, last in trace.holds:
        volts[first:last] = volts[max(first - 1, 0)]
    over = np.abs(volts) > meter.full_scale_V
    if over.any():
        volts[over] = np.copysign(np.inf, volts[over])
    volts += 0.0  # no negative zero
    return frozen(volts), ChannelTruth(
        channel=name,
        bad=bad,
        verdict=trace.verdict,
        settled_V=trace.settled_V,
        level_V=frozen(trace.level),
        glitch_V=frozen(glitch),
        seen=frozen(seen),
        **_glitches(time_s, trace, glitch, seen, meter),
        power_ups=tuple(trace.power_ups),
        stretches=tuple(sorted(trace.stretches, key=lambda item: item.start_s)),
        changes=tuple(trace.changes),
        ranges=tuple(
            RangeSegment(float(time_s[first]), float(time_s[last - 1]) + meter.step_s, resolution)
            for first, last, resolution in segments
            if last > first
        ),
        fitness_V=_worst(time_s, clean, trace, seen),
    )


def _round(volts: Floats, segments: list[tuple[int, int, float]]) -> None:
    """Round each stretch to the last digit of its range, in place."""
    for first, last, resolution in segments:
        if resolution > 0:
            part = volts[first:last]
            np.divide(part, resolution, out=part)
            np.round(part, out=part)
            np.multiply(part, resolution, out=part)


def _auto_range(volts: Floats) -> list[tuple[int, int, float]]:
    """Cut a trace into stretches measured on one range each."""
    which = np.searchsorted(_RANGES_V, np.abs(volts))
    borders = np.concatenate(([0], np.flatnonzero(np.diff(which)) + 1, [volts.size]))
    digits = _DIGITS_V[which[borders[:-1]]]
    return list(zip(borders[:-1].tolist(), borders[1:].tolist(), digits.tolist(), strict=True))


def _glitches(time_s: Floats, trace: Trace, glitch: Floats, seen: Bools, meter: Meter) -> dict[str, NDArray[Any]]:
    """Return the columns of `ChannelTruth` that tell of each glitch, in time order."""
    none = [np.empty(0)]
    start, end, asked = (np.concatenate(part or none) for part in (trace.starts, trace.ends, trace.peaks))
    order = np.argsort(start, kind="stable")
    start, end, asked = start[order], end[order], asked[order]
    first, last = np.searchsorted(time_s, start - 1e-9), np.searchsorted(time_s, end - 1e-9)
    shown = np.concatenate(([0], np.cumsum(seen)))
    caught = shown[last] - shown[first]
    # What a grid without gaps would catch; fewer means that a gap, a hidden stretch or the log's end took some.
    due = np.ceil((end - 1e-9) / meter.step_s) - np.ceil((start - 1e-9) / meter.step_s)
    borders = np.stack((first, last), axis=1).ravel()
    padded = np.concatenate((glitch, [0.0, 0.0]))
    high, low = (
        np.where(caught > 0, extreme.reduceat(padded, borders)[::2] if borders.size else 0.0, 0.0)
        for extreme in (np.maximum, np.minimum)
    )
    return {
        "start_s": frozen(start),
        "end_s": frozen(end),
        "peak_V": frozen(np.where(high >= -low, high, low)),
        "asked_V": frozen(asked),
        "samples": frozen(caught.astype(np.intp)),
        "cut": frozen(caught < due - (1 if meter.jittery else 0)),
    }


def _worst(time_s: Floats, clean: Floats, trace: Trace, seen: Bools) -> float:
    """Largest absolute voltage of a connected output; of the start of a run only the glitches count."""
    counts = seen.copy()
    for item in trace.power_ups:
        counts[np.searchsorted(time_s, item.time_s) : np.searchsorted(time_s, item.time_s + SETTLED_AFTER_S)] = False
    if trace.glitch is not None:
        counts |= (trace.glitch != 0.0) & seen
    return float(np.abs(clean[counts]).max()) if counts.any() else 0.0


def frozen(array: NDArray[Any]) -> NDArray[Any]:
    """Return the array, made read-only."""
    array.flags.writeable = False
    return array
