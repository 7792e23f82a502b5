"""The guard's judgement: figures of raw readings in, reasons against 'within limits' and 'steady' out.

It can only take a clearance away, never give one, and shares no code with what explains: no baseline, no states, nothing
subtracted. Every limit below is a choice, measured on simulated benches (744 sound and 638 unsound channels).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from flicker.base.described import Doc
from flicker.base.formats import seconds_text, volts_text
from flicker.base.limits import Limits
from flicker.base.result import Result
from flicker.base.units import HOUR
from flicker.evidence.guard_awake import Cells, not_awake
from flicker.signals.guard.blank import ALL, ANY
from flicker.signals.guard.figures import (
    APART_S,
    BEGIN,
    BEYOND_V,
    CELL_S,
    LARGE_V,
    STARTS_S,
    SWING_V,
    SWITCHED_ON,
    ChannelFigures,
    StretchFigures,
)

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

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
RESTLESS = 0.03  # a neighbour that swings for more of the time excuses nothing


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
    UNDATED = "undated"


@dataclass(frozen=True, slots=True)
class Session:
    """A stretch of a log as the guard's judge needs it.

    ``power_up`` tells whether it begins with one (False: it continues the stretch before). ``undated`` is True where
    nothing tells when it was logged and it does not show a start. ``new_stage`` begins another setting. ``run`` is the
    number of its first run. ``doubted`` and ``left_out`` hold for each channel the times, shape
    (n, 2), of which the lead's rules say that perhaps, or surely, no live output was seen: they give no clean hours.
    """

    figures: StretchFigures
    step_s: float
    power_up: bool
    undated: bool = False
    new_stage: bool = False
    run: int = 0
    doubted: tuple[Floats, ...] = ()
    left_out: tuple[Floats, ...] = ()


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
    seldom_s: Annotated[float, Doc("Longest usual step between readings.", ge=0)] = 0.0
    unseen_s: Annotated[float, Doc("Seconds without a reading.", ge=0)] = 0.0
    power_ups: Annotated[int, Doc("Power-ups judged.", ge=0)] = 0


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
    alive_V: Annotated[float, Doc("A channel must read more than this at some time.", ge=0)] = ALIVE_V
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
        blanks = found.blanks + found.short_blanks
        own = f"; {blanks} blank{'' if blanks == 1 else 's'} in this channel alone" if blanks else ""
        return (
            f"As read: rests within {volts_text(found.largest_V)} of zero{last}; moved {volts_text(found.moved_V)} from "
            f"minute 20 on; peak {volts_text(found.peak_V)} from zero after the first seconds; {volts_text(found.spread_V)} of "
            f"spread within five minutes; {swings} of {volts_text(self.limits.swing_V)} or more; {beyond} "
            f"{volts_text(BEYOND_V)}{own}."
        )


@dataclass(slots=True)
class _Sum:
    """Sums over the segments judged."""

    observed_s: float = 0.0
    seen_s: float = 0.0
    asleep_s: float = 0.0
    judged_s: float = 0.0
    largest_V: float = 0.0
    last_V: float | None = None
    low_V: float = math.inf
    high_V: float = -math.inf
    within_V: float = 0.0  # largest range within one power-up,
    own_low_V: float = math.inf  # of the one that goes on
    own_high_V: float = -math.inf
    peak_V: float = 0.0
    open_peak_V: float = 0.0
    early: bool = False  # a reading too large for its time after a power-up
    spread_V: float = 0.0
    swings: int = 0
    large: int = 0
    largest_swing_V: float = 0.0
    beyond_s: float = 0.0
    span_s: float = 0.0
    power_ups: int = 0


def judge_guard(
    sessions: Sequence[Session], channel: Sequence[int], limits: Limits, *, speaker_side: bool = True
) -> Guard:
    """Judge one channel over all stretches of a unit, in time order.

    Parameters
    ----------
    sessions : sequence of Session
        Those in which the channel was logged.
    channel : sequence of int
        Its place among the channels of each session.
    limits : Limits
        May tighten the guard's own limits.
    speaker_side : bool
        Whether the leads may sit behind the output relay; False: no lead is open at the start.
    """
    used = GuardLimits.of(limits)
    mine = [item.figures.channels[k] for item, k in zip(sessions, channel, strict=True)]
    allowed = [_calm(item.figures) for item in sessions]
    asleep, out = _no_clean_time(sessions, channel, mine)
    total = _Sum()
    since = 0  # the session in which the last setting begins
    power_up_s = 0.0  # when the power-up was that goes on, on the clock of the session
    for place, (session, own) in enumerate(zip(sessions, mine, strict=True)):
        for number in range(session.figures.kind.size):
            begin_s = float(session.figures.begin_s[number])
            up = _switched_on(session, number, place)
            if up:
                power_up_s = begin_s
            if own.anew[number] or (number == 0 and session.new_stage):
                _anew(total)
                since = place
            lost = asleep[place], out[place]
            _segment(total, session, own, number, begin_s - power_up_s, up, allowed[place], lost, used, speaker_side)
        power_up_s -= float(session.figures.end_s[-1]) + session.step_s if session.figures.end_s.size else 0.0
    return _conclude(total, sessions, mine, since, used, _told(sessions[since:], mine[since:], asleep[since:]))


def _switched_on(session: Session, number: int, place: int) -> bool:
    kind = int(session.figures.kind[number])
    return kind == SWITCHED_ON or (kind == BEGIN and (session.power_up or place == 0))


def _cells_of(session: Session, own: ChannelFigures, number: int, up: bool) -> Bools:
    """Cells of a segment: after a power-up the first begins behind the surge."""
    in_segment = own.segment == number
    first = own.begin_s < float(session.figures.begin_s[number]) + CELL_S
    chosen: Bools = (in_segment & (own.late if up else ~own.late) & first) | (in_segment & ~first)
    return chosen


def _no_clean_time(
    sessions: Sequence[Session], channel: Sequence[int], mine: Sequence[ChannelFigures]
) -> tuple[list[Bools], list[Bools]]:
    """Cells of each session that may have seen no live output, and those of which the lead's rules say so already."""
    asleep = [np.zeros(own.segment.size, dtype=bool) for own in mine]
    out = [np.zeros(own.segment.size, dtype=bool) for own in mine]
    digit_V = min((float(x) for own in mine for x in own.digit_V if x > 0), default=0.0)
    chain: list[tuple[int, Ints]] = []

    def close() -> None:
        if not chain:
            return

        def column(name: str) -> Floats:
            return np.concatenate([getattr(mine[place], name)[index] for place, index in chain])

        width_V = column("high_V") - column("low_V")
        cells = Cells(column("median_V"), width_V, column("step_V"), column("unmoved"), digit_V)
        found = not_awake(cells)
        for place, index in chain:
            asleep[place][index] = found[: index.size]
            found = found[index.size :]
        chain.clear()

    for place, (session, own, number_of) in enumerate(zip(sessions, mine, channel, strict=True)):
        for number in range(session.figures.kind.size):
            up = _switched_on(session, number, place)
            if up or own.anew[number] or (number == 0 and session.new_stage):
                close()
            chain.append((place, np.flatnonzero(_cells_of(session, own, number, up))))
        if session.doubted:
            asleep[place] |= _mostly_in(own, session.doubted[number_of])
        if session.left_out:
            out[place] |= _mostly_in(own, session.left_out[number_of])
    close()
    return [a & ~b for a, b in zip(asleep, out, strict=True)], out


def _mostly_in(own: ChannelFigures, times_s: Floats) -> Bools:
    """Cells half of which and more lies in some times."""
    inside = np.zeros(own.begin_s.size)
    for begin, end in times_s.tolist():
        inside += np.clip(np.minimum(own.begin_s + CELL_S, end) - np.maximum(own.begin_s, begin), 0.0, None)
    mostly: Bools = inside >= 0.5 * CELL_S
    return mostly


def _told(sessions: Sequence[Session], mine: Sequence[ChannelFigures], asleep: Sequence[Bools]) -> tuple[Asleep, ...]:
    """Stretches of cells that do not count, in time order."""
    rows: list[Asleep] = []
    for session, own, found in zip(sessions, mine, asleep, strict=True):
        index = np.flatnonzero(found)
        index = index[np.argsort(own.begin_s[index], kind="stable")]
        for part in np.split(index, np.flatnonzero(np.diff(own.begin_s[index]) > 1.5 * CELL_S) + 1):
            if part.size == 0:
                continue
            begin, end = float(own.begin_s[part[0]]), float(own.begin_s[part[-1]]) + CELL_S
            level, width = np.median(own.median_V[part]), np.median(own.high_V[part] - own.low_V[part])
            end = min(end, float(session.figures.end_s[-1]) + session.step_s)
            if end - begin < CELL_S:
                continue  # an end of what the lead's rules tell already
            rows.append(Asleep(session.run, begin, end, float(level), float(width)))
    return tuple(rows)


def _calm(figures: StretchFigures) -> int:
    """Channels (a bit each) that swing rarely enough to excuse what looks like their crosstalk."""
    out = 0
    for number, item in enumerate(figures.channels):
        readings = int(item.readings[~item.late].sum())
        if readings and int(item.away[~item.late].sum()) <= RESTLESS * readings:
            out |= 1 << number
    return out


def _anew(total: _Sum) -> None:
    """Another setting begins: what is judged starts again, what was too large before stays told."""
    kept = (total.peak_V, total.open_peak_V, total.early)
    total.__init__()  # type: ignore[misc]
    total.peak_V, total.open_peak_V, total.early = kept


def _segment(
    total: _Sum,
    session: Session,
    own: ChannelFigures,
    number: int,
    since_s: float,
    up: bool,
    allowed: int,
    lost: tuple[Bools, Bools],
    used: GuardLimits,
    speaker_side: bool,
) -> None:
    begin_s = float(session.figures.begin_s[number])
    chosen = _cells_of(session, own, number, up)
    if up:
        total.power_ups += 1
        total.own_low_V, total.own_high_V = math.inf, -math.inf
        median, head = float(own.head[number, 0]), np.nan_to_num(own.head[number, 1:])
        grace = speaker_side and (math.isnan(median) or abs(median) <= OPEN_MEDIAN_V)
        if grace:
            total.open_peak_V = max(total.open_peak_V, float(head[0]))
            head = np.concatenate(([0.0], head[1:]))
        total.peak_V = max(total.peak_V, float(head.max()))
        total.early |= bool(max(head[0], head[1]) > used.early_peaks_V[0] or head[2] > used.early_peaks_V[1])
    if not chosen.any():
        return
    step = session.step_s
    readings = own.readings[chosen]
    total.peak_V = max(total.peak_V, float(own.peak_V[chosen].max()))
    lasts_s = np.minimum(readings * step, CELL_S)
    asleep, clean = lost[0][chosen], ~(lost[0] | lost[1])[chosen]
    total.seen_s += float(lasts_s.sum())
    total.asleep_s += float(lasts_s[asleep].sum())
    total.observed_s += float(lasts_s[clean].sum())
    total.span_s += float(session.figures.end_s[number]) + step - begin_s - (STARTS_S[1] if up else 0.0)
    total.beyond_s += float(own.beyond[chosen].sum()) * step
    median_V = own.median_V[chosen]
    full = readings * step >= CELL_S / 3
    if full.any():
        total.largest_V = max(total.largest_V, float(np.abs(median_V[full]).max()))
        total.last_V = float(median_V[full][-1])
    warm = full & (own.begin_s[chosen] - begin_s + since_s >= WARM_S)
    if warm.any():
        total.low_V = min(total.low_V, float(median_V[warm].min()))
        total.high_V = max(total.high_V, float(median_V[warm].max()))
        total.own_low_V = min(total.own_low_V, float(median_V[warm].min()))
        total.own_high_V = max(total.own_high_V, float(median_V[warm].max()))
        total.within_V = max(total.within_V, total.own_high_V - total.own_low_V)
        total.judged_s += CELL_S * int(np.count_nonzero(warm & clean))
        whole = own.high_V[chosen] - own.low_V[chosen]
        alone = np.where((own.alone_by[chosen] & ~np.int64(allowed)) == 0, own.alone_V[chosen], whole)
        total.spread_V = max(total.spread_V, float(np.where(readings < LEAST_READINGS, 0.0, alone)[warm].max()))
    swings = own.swing_segment == number
    beside_first = own.swing_begin_s < begin_s + CELL_S
    swings &= np.where(beside_first, own.swing_late == up, True)
    swings &= (own.swing_by & np.int64(allowed)) == 0
    total.swings += _joined(own, swings & ~own.swing_large)
    total.large += _joined(own, swings & own.swing_large)
    if swings.any():
        largest = float(own.swing_V[swings].max())
        total.largest_swing_V = max(total.largest_swing_V, largest)
        if used.large_swing_V < LARGE_V and largest > used.large_swing_V:
            total.large = max(total.large, 1)


def _joined(own: ChannelFigures, chosen: Bools) -> int:
    """How many swings are farther apart than `APART_S`; those cut by the border of a cell are one."""
    begin, end = own.swing_begin_s[chosen], own.swing_end_s[chosen]
    if begin.size == 0:
        return 0
    order = np.argsort(begin, kind="stable")
    begin, end = begin[order], np.maximum.accumulate(end[order])
    return 1 + int(np.count_nonzero(begin[1:] - end[:-1] > APART_S))


def _blanks(sessions: Sequence[Session], mine: Sequence[ChannelFigures]) -> tuple[int, int, int, int, int]:
    """Long blanks of its own, long ones of all channels at once, short ones, the others' short ones, most others."""
    long = together = short = theirs = others = 0
    for session, own in zip(sessions, mine, strict=True):
        least = max(BLANK_S, BLANK_STEPS * session.step_s)
        channels = session.figures.channels
        others = max(others, len(channels) - 1)
        me = next(k for k, item in enumerate(channels) if item is own)
        a, b = _by_length(own.blank_rows, ANY, session.step_s, least)
        long, short = long + a, short + b
        together += _by_length(own.blank_rows, ALL, session.step_s, least)[0]
        for k, item in enumerate(channels):
            if k != me:
                theirs += _by_length(item.blank_rows, me if len(channels) > 2 else ANY, session.step_s, least)[1]
    return long, together, short, theirs, others


def _by_length(rows: Ints, other: int, step_s: float, least_s: float) -> tuple[int, int]:
    mine = rows[rows[:, 0] == other]
    long = mine[:, 1] * step_s >= least_s
    return int(mine[long, 2].sum()), int(mine[~long, 2].sum())


def _conclude(
    total: _Sum,
    sessions: Sequence[Session],
    mine: Sequence[ChannelFigures],
    since: int,
    used: GuardLimits,
    asleep: tuple[Asleep, ...],
) -> Guard:
    """Reasons and figures: of blanks, cadence and dates from the session on in which the last setting begins."""
    from scipy.special import bdtrc, gammaincinv

    over = int(sum(int(item.over[0]) for item in mine))
    sessions, mine = sessions[since:], mine[since:]
    long, together, short, theirs, others = _blanks(sessions, mine)
    hours = total.observed_s / HOUR
    seldom = max((item.step_s for item in sessions), default=0.0)

    def upper(count: int) -> float:
        """Upper bound of a Poisson mean."""
        return float(gammaincinv(count + 1, used.confidence))

    rate = upper(total.swings) / hours if hours > 0 else math.inf
    allowed = total.swings if total.swings <= used.swings else 0
    by_chance = True
    if short and others:
        by_chance = float(bdtrc(short - 1, short + theirs, 1.0 / (1 + others))) > BLANK_LEVEL
    moved = max(total.high_V - total.low_V, 0.0) if math.isfinite(total.low_V) else 0.0
    unseen = max(total.span_s - total.seen_s, 0.0)
    figures = Figures(
        observed_h=hours,
        asleep_h=total.asleep_s / HOUR,
        judged_h=total.judged_s / HOUR,
        largest_V=total.largest_V,
        last_V=total.last_V,
        moved_V=moved,
        moved_within_V=total.within_V,
        lowest_V=total.low_V if math.isfinite(total.low_V) else None,
        highest_V=total.high_V if math.isfinite(total.high_V) else None,
        peak_V=total.peak_V,
        open_peak_V=total.open_peak_V,
        spread_V=total.spread_V,
        swings=total.swings,
        large_swings=total.large,
        largest_swing_V=total.largest_swing_V,
        upper_per_h=rate,
        beyond_s=total.beyond_s,
        over_range=over,
        blanks=long,
        short_blanks=short,
        others_short_blanks=theirs,
        shared_blanks=together,
        clean_h_needed=upper(total.swings + long + together) / used.rate_per_h,
        worst_case_h=upper(allowed + long + together + short) / used.rate_per_h,
        seldom_s=seldom,
        unseen_s=unseen,
        power_ups=total.power_ups,
    )
    holds = {
        Reason.OPEN: total.open_peak_V > used.open_V,
        Reason.PEAK: total.peak_V > used.peak_V or total.early,
        Reason.OVER: over > 0,
        Reason.REST: total.largest_V > used.rest_V,
        Reason.BEYOND: total.beyond_s > used.beyond_share * total.seen_s,
        Reason.MOVE: moved > used.move_V,
        Reason.SPREAD: total.spread_V > used.spread_V,
        Reason.SWINGS: total.large > 0 or total.swings > used.swings,
        Reason.RATE: rate > used.rate_per_h,
        Reason.BLANK: long + together > 0 or (short > 0 and (not others or not by_chance)),
        Reason.SHORT: total.judged_s < used.judged_h * HOUR,
        Reason.GAPS: unseen > (1.0 - SEEN_SHARE) * total.span_s,
        Reason.SELDOM: seldom > JITTER * used.seldom_s,
        Reason.DEAD: max(total.peak_V, total.open_peak_V) < used.alive_V,
        Reason.UNDATED: any(item.undated for item in sessions),
    }
    return Guard(tuple(reason for reason, on in holds.items() if on), figures, used, asleep)
