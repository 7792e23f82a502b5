"""The guard's own limits: a file of limits may tighten them, never loosen them.

Every one is a choice, measured on simulated benches (744 sound and 638 unsound channels).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.signals.guard.figures import LARGE_V, SWING_V

# By the rules of clearance: choices, held against sound and unsound channels of simulated benches; through the whole
# program they are measured in tests/studies/results/danger.md.
OPEN_V = 1.0  # an open lead reads up to this before the output relay closes,
OPEN_MEDIAN_V = 0.3  # its middle no more than this
EARLY_PEAKS_V = (0.2, 0.1)  # until each of `STARTS_S`
PEAK_V = 0.2
WARM_S = 1200.0  # from here on movement counts
REST_V = 0.05
BEYOND_SHARE = 0.001
MOVE_V = 0.02
SPREAD_V = 0.015
LEAST_READINGS = 100  # of fewer, 1 % is a single reading: a swing
SHORT_H = 1.0
SEEN_SHARE = 0.75  # of the time between first and last reading
SEEN_EVERY_S = 30.0
JITTER = 1.02  # a logger told to write every 30 s is late by so much at most; common practice, no source
ALIVE_V = 0.002
BLANK_S = 2.0
BLANK_STEPS = 1.5
BLANK_LEVEL = 0.025
RATE_PER_H = 1.0


@dataclass(frozen=True, slots=True)
class GuardLimits(Result):
    """The guard's limits in use: a file of limits may tighten them, never loosen them."""

    open_V: Annotated[float, Doc("Largest reading of an open lead.", ge=0)] = OPEN_V
    peak_V: Annotated[float, Doc("Largest reading.", ge=0)] = PEAK_V
    early_peaks_V: Annotated[tuple[float, float], Doc("Until 30 and until 120 s after a power-up.", ge=0)] = (
        EARLY_PEAKS_V
    )
    rest_V: Annotated[float, Doc("Largest five-minute median, and level that readings may not be beyond.", ge=0)] = (
        REST_V
    )
    beyond_share: Annotated[float, Doc("Share of the time that may be beyond it.", ge=0)] = BEYOND_SHARE
    move_V: Annotated[float, Doc("Range of the medians.", ge=0)] = MOVE_V
    spread_V: Annotated[float, Doc("Range within five minutes.", ge=0)] = SPREAD_V
    large_swing_V: Annotated[float, Doc("No swing may be larger.", ge=0)] = LARGE_V
    swing_V: Annotated[float, Doc("A swing is at least so large.", ge=0)] = SWING_V
    swings: Annotated[int, Doc("So many may be smaller than that.", ge=0)] = 1
    rate_per_h: Annotated[float, Doc("Upper bound of their rate.", ge=0)] = RATE_PER_H
    judged_h: Annotated[float, Doc("Hours needed past minute 20.", ge=0)] = SHORT_H
    seldom_s: Annotated[float, Doc("Longest step between readings.", ge=0)] = SEEN_EVERY_S
    alive_V: Annotated[float, Doc("A level held away from zero shows a live output from here on.", ge=0)] = ALIVE_V
    blank_s: Annotated[float, Doc("A blank so long may hide an overload.", ge=0)] = BLANK_S
    confidence: Annotated[float, Doc("Of the bounds.", ge=0)] = 0.95

    @classmethod
    def of(cls, limits: Limits) -> GuardLimits:
        """The guard's own, tightened where the limits in use are tighter."""
        return cls(
            peak_V=min(PEAK_V, limits.surge_V),
            early_peaks_V=(min(EARLY_PEAKS_V[0], limits.surge_V), min(EARLY_PEAKS_V[1], limits.surge_V)),
            rest_V=min(REST_V, limits.settled_offset_V),
            move_V=min(MOVE_V, limits.drift_V),
            large_swing_V=min(LARGE_V, limits.excursion_V),
            rate_per_h=min(RATE_PER_H, limits.episode_rate_per_h),
            confidence=max(0.95, limits.confidence),
        )
