"""What the guard's judge takes and gives: its own limits and stretches in; reasons, figures and times that do not count out.

A file of limits may tighten the guard's own, never loosen them. Every one is a choice, measured on simulated benches (744 sound
and 638 unsound channels).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Annotated

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.formats import seconds_text, volts_text
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.evidence.guard.hidden import Hidden
from flicker.signals.guard.blank import OWN
from flicker.signals.guard.figures import BEYOND_V, BY_PLAN, LARGE_V, SWING_V, ChannelFigures, StretchFigures

# By the rules of clearance: choices, held against sound and unsound channels of simulated benches; through the whole
# program they are measured in tests/studies/results/danger.md.
OPEN_V = 1.0  # an open lead reads up to this before the output relay closes,
OPEN_MEDIAN_V = 0.3  # its middle no more than this
ALIKE_STARTS = 3  # so many whose first seconds are of one sign and one size are no lead, which hangs differently each time,
ALIKE_SHARE = 0.75  # and this share of those taken for one:
ONE_SIGN = 0.3  # at most this part of them on the other side of zero,
ALIKE = 1.3  # the largest at most so many times the least; chosen, held against open leads of all benches (danger.md, starts alike)
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


class Reason(StrEnum):
    """Why a channel may not be cleared."""

    OPEN = "open"
    PEAK = "peak"
    OVER = "over"
    REST = "rest"
    BEYOND = "beyond"
    MOVE = "move"
    SPREAD = "spread"
    SWINGS = "swings"
    RATE = "rate"
    BLANK = "blank"
    SHORT = "short"
    GAPS = "gaps"
    SELDOM = "seldom"
    DEAD = "dead"
    SAME = "same"
    UNIT = "unit"
    SIGN = "sign"
    FALLS = "falls"
    HELD = "held"
    AVERAGED = "averaged"
    UNDATED = "undated"


def rows_apart(own: ChannelFigures) -> int:
    """How many rows lie from reading to reading of a channel, where nearly all of its readings are single and equally far apart.

    A scanner reads one channel a row, or a slow meter was joined to a fast one: what is empty by plan hides no overload, which
    would take a reading with it, and the channel is judged at its own interval.
    """
    blanks = own.blank_rows[own.blank_rows[:, 0] == OWN]
    readings = int(own.readings[~own.late].sum())
    if readings < LEAST_READINGS or not blanks.size:
        return 1
    _, rows, times = blanks[np.argmax(blanks[:, 2])].tolist()
    return int(rows) + 1 if times >= BY_PLAN * readings else 1


@dataclass(frozen=True, slots=True)
class Session:
    """A stretch of a log as the guard's judge needs it.

    ``power_up`` tells whether it begins with one (False: it continues the stretch before). ``undated`` is True where
    nothing tells when it was logged and it does not show a start. ``new_stage`` begins another setting. ``run`` is the
    number of its first run. ``doubted`` and ``left_out`` hold for each channel the times, shape
    (n, 2), of which the lead's rules say that perhaps, or surely, no live output was seen: they give no clean hours.
    ``pace_changes``: when the usual interval becomes another, and which. ``again_s``: how long before the end of the
    stretch before it begins, where both hold the same time; ``pause_s``: how long after it, without a row between. ``hidden``: how often the reading
    of each channel was gone or held for seconds.
    ``apart``: one row in so many holds a reading of each
    channel, reckoned once; ``rows_apart``: of the channel judged, and the intervals are those of its readings.
    """

    figures: StretchFigures
    step_s: float
    power_up: bool
    undated: bool = False
    new_stage: bool = False
    run: int = 0
    doubted: tuple[Floats, ...] = ()
    left_out: tuple[Floats, ...] = ()
    pace_changes: tuple[tuple[float, float], ...] = ()
    again_s: float = 0.0
    pause_s: float = 0.0
    hidden: tuple[Hidden, ...] = ()
    apart: tuple[int, ...] = ()
    rows_apart: int = 1

    def __post_init__(self) -> None:
        """Look once how far apart the readings of each channel lie; a copy keeps it."""
        if not self.apart:
            object.__setattr__(self, "apart", tuple(map(rows_apart, self.figures.channels)))

    def of_channel(self, channel: int) -> Session:
        """As it is for a channel, which may have a reading in one row of so many."""
        apart = self.apart[channel]
        changes = tuple((begin_s, apart * pace_s) for begin_s, pace_s in self.pace_changes)
        return replace(self, step_s=apart * self.step_s, pace_changes=changes, rows_apart=apart)

    @property
    def longest_step_s(self) -> float:
        """The longest interval that was the usual one."""
        return max((pace for _, pace in self.pace_changes), default=self.step_s)

    def step_at(self, time_s: Floats, at_most_s: float) -> Floats:
        """The usual interval of the log around some times; where it is too long to count, that of the whole stretch."""
        if not self.pace_changes:
            return np.full(time_s.shape, self.step_s)
        begin_s, pace_s = np.array(self.pace_changes).T
        found = pace_s[np.maximum(np.searchsorted(begin_s, time_s, side="right") - 1, 0)]
        return np.where(found <= at_most_s, found, self.step_s)


@dataclass(frozen=True, slots=True)
class Asleep(Result):
    """A time in which nothing shows that the lead saw a live output."""

    run: Annotated[int, Doc("Number of the run, from 0.", ge=0)]
    begin_s: Annotated[float, Doc("Begin, seconds since the run's first sample, to five minutes.")]
    end_s: Annotated[float, Doc("End.")]
    level_V: Annotated[float, Doc("Middle reading of that time.")]
    width_V: Annotated[float, Doc("Range within five minutes, 1 to 99 %, in the middle of that time.", ge=0)]


@dataclass(frozen=True, slots=True)
class Figures(Result):
    """What the guard measured of a channel, as read, over all that is judged."""

    observed_h: Annotated[float, Doc("Hours with readings, without the first two minutes of a power-up.", ge=0)] = 0.0
    asleep_h: Annotated[
        float, Doc("Hours among them in which nothing shows that the lead saw a live output: they do not count.", ge=0)
    ] = 0.0
    judged_h: Annotated[float, Doc("Hours past minute 20 of a power-up, in whole cells of five minutes.", ge=0)] = 0.0
    largest_V: Annotated[float, Doc("Largest size of a five-minute median.", ge=0)] = 0.0
    last_V: Annotated[float | None, Doc("Last five-minute median.")] = None
    moved_V: Annotated[
        float, Doc("Range of the five-minute medians from minute 20 on, all power-ups together.", ge=0)
    ] = 0.0
    moved_within_V: Annotated[float, Doc("The largest range within one power-up.", ge=0)] = 0.0
    lowest_V: Annotated[float | None, Doc("Lowest of them.")] = None
    highest_V: Annotated[float | None, Doc("Highest of them.")] = None
    peak_V: Annotated[float, Doc("Largest size of a reading after the first seconds of a power-up.", ge=0)] = 0.0
    open_peak_V: Annotated[float, Doc("Largest size in the first seconds, taken for an open lead.", ge=0)] = 0.0
    alike_starts: Annotated[
        int, Doc("Starts whose first seconds, larger than a surge may be, are alike: volts, and no open lead.", ge=0)
    ] = 0
    spread_V: Annotated[float, Doc("Largest 1 to 99 % range within five minutes.", ge=0)] = 0.0
    swings: Annotated[int, Doc("Swings of 15 mV or more from the five-minute median, ten seconds apart.", ge=0)] = 0
    large_swings: Annotated[int, Doc("Those beyond 40 mV.", ge=0)] = 0
    largest_swing_V: Annotated[float, Doc("Size of the largest.", ge=0)] = 0.0
    upper_per_h: Annotated[float, Doc("Upper bound of their rate.", ge=0, open=True)] = math.inf
    beyond_s: Annotated[float, Doc("Seconds with a reading beyond 50 mV.", ge=0)] = 0.0
    over_range: Annotated[int, Doc("Stretches over range.", ge=0)] = 0
    blanks: Annotated[int, Doc("Stretches of two seconds and more without a reading in this channel alone.", ge=0)] = 0
    shared_blanks: Annotated[
        int, Doc("Stretches of two seconds and more of written rows without a reading in any channel.", ge=0)
    ] = 0
    short_blanks: Annotated[int, Doc("Shorter ones of its own.", ge=0)] = 0
    others_short_blanks: Annotated[int, Doc("Short ones of the other channels.", ge=0)] = 0
    clean_h_needed: Annotated[
        float, Doc("Clean hours that the rate of concern asks for if every long blank hides a swing.", ge=0)
    ] = 3.0
    worst_case_h: Annotated[
        float,
        Doc("Clean hours if each blank of its own, short ones too, and each long shared one hides a swing.", ge=0),
    ] = 3.0
    digit_V: Annotated[float, Doc("Last digit, as the smallest step shows it; 0 where nothing moves.", ge=0)] = 0.0
    seldom_s: Annotated[float, Doc("Longest usual step between readings.", ge=0)] = 0.0
    renewed_s: Annotated[
        float, Doc("Seconds from one value to the next where rows repeat a value that is renewed seldom; else 0.", ge=0)
    ] = 0.0
    unseen_s: Annotated[float, Doc("Seconds without a reading.", ge=0)] = 0.0
    falls: Annotated[int, Doc("Times it fell from its rest to zero and came back in steps.", ge=0)] = 0
    held: Annotated[int, Doc("Times it repeated one reading while another channel moved.", ge=0)] = 0
    longest_hidden_s: Annotated[float, Doc("The longest of these stretches.", ge=0)] = 0.0
    power_ups: Annotated[int, Doc("Power-ups judged.", ge=0)] = 0


@dataclass(frozen=True, slots=True)
class Guard(Result):
    """Reasons against a clearance (none: silent), the figures behind them, and the limits in use."""

    reasons: Annotated[
        tuple[Reason, ...], Doc("Why the channel may not be cleared; empty where nothing speaks against it.")
    ] = ()
    figures: Annotated[Figures, Doc("")] = field(default_factory=Figures)
    limits: Annotated[GuardLimits, Doc("")] = field(default_factory=GuardLimits)
    asleep: Annotated[
        tuple[Asleep, ...], Doc("Times that do not count, as the lead may have seen no live output.")
    ] = ()

    @property
    def silent(self) -> bool:
        """Whether nothing speaks against a clearance."""
        return not self.reasons

    @property
    def reads(self) -> str:
        """The figures in one sentence, in volts as read."""
        found = self.figures
        if found.observed_h <= 0:
            return "As read: nothing that could be judged."
        last = f", last at {volts_text(found.last_V)}" if found.last_V is not None else ""
        swings = "no swing" if not found.swings else f"{found.swings} swing{'' if found.swings == 1 else 's'}"
        beyond = f"{seconds_text(found.beyond_s)} beyond" if found.beyond_s > 0 else "never beyond"
        since = "after the first two minutes " if found.power_ups else ""  # a peak may lie before: these counts begin later
        blanks = found.blanks + found.short_blanks
        own = f"; {blanks} blank{'' if blanks == 1 else 's'} in this channel alone" if blanks else ""
        moved = "nothing after minute 20 could be judged, so how far it moves is not known"
        if found.judged_h > 0:
            moved = f"from minute 20 on moved {volts_text(found.moved_V)}, {volts_text(found.spread_V)} of spread within five minutes"
        return (
            f"As read: rests within {volts_text(found.largest_V)} of zero{last}; {moved}; peak "
            f"{volts_text(found.peak_V)} from zero after the first seconds; {since}{swings} of "
            f"{volts_text(self.limits.swing_V)} or more, {beyond} {volts_text(BEYOND_V)}{own}."
        )
