"""The guard's judgement of one channel over all stretches of a unit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from flicker.base.arrays import Bools, Floats
from flicker.base.limits import Limits
from flicker.base.units import HOUR
from flicker.evidence.guard.clean_time import cells_of, clean_time, same_as_another, started_s, switched_on, times_told
from flicker.evidence.guard.hidden import Hidden
from flicker.evidence.guard.model import (
    ALIKE,
    ALIKE_SHARE,
    ALIKE_STARTS,
    BLANK_LEVEL,
    BLANK_S,
    BLANK_STEPS,
    JITTER,
    LEAST_READINGS,
    ONE_SIGN,
    OPEN_MEDIAN_V,
    SEEN_SHARE,
    WARM_S,
    Asleep,
    Figures,
    Guard,
    GuardLimits,
    Reason,
    Session,
)
from flicker.evidence.guard.rescaled import unit_changed
from flicker.signals.guard.blank import ALL, ANY, OWN
from flicker.signals.guard.cells import MOST_NEIGHBOURS
from flicker.signals.guard.figures import (
    APART_S,
    CELL_S,
    LARGE_V,
    RESTLESS,
    STARTS_S,
    SWING_V,
    ChannelFigures,
    StretchFigures,
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
    leads: list[tuple[float, float]] = field(default_factory=list)  # least and largest reading of starts taken for one
    early: bool = False  # a reading too large for its time after a power-up
    spread_V: float = 0.0
    swings: int = 0
    large: int = 0
    largest_swing_V: float = 0.0
    beyond_s: float = 0.0
    span_s: float = 0.0
    power_ups: int = 0
    alive: bool = False  # something shows that the lead saw a live output
    digit_V: float = 0.0
    renewed_s: float = 0.0
    same: bool = False  # another channel reads the same
    hidden: Hidden = field(default_factory=Hidden)  # readings that were gone or held for seconds
    rescaled: bool = False  # level and noise changed as a unit does
    averaged: bool = False  # averages, or one extreme alone


def judge_guard(
    sessions: Sequence[Session],
    channel: Sequence[int],
    limits: Limits,
    *,
    speaker_side: bool = True,
    averaged: bool = False,
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
    averaged : bool
        Whether its readings are averages whose extremes were logged, too, or one extreme without the other.
    """
    used = GuardLimits.of(limits)
    mine = [item.figures.channels[k] for item, k in zip(sessions, channel, strict=True)]
    sessions = [item.of_channel(k) for item, k in zip(sessions, channel, strict=True)]
    allowed = [_calm(item.figures) for item in sessions]
    counts = clean_time(sessions, channel, mine)
    total = _Sum()
    since = 0  # the session in which the last setting begins
    power_up_s = 0.0  # when the power-up was that goes on, on the clock of the session
    for place, (session, own) in enumerate(zip(sessions, mine, strict=True)):
        power_up_s += session.again_s
        logged = _Logged(session, own, allowed[place], counts.asleep[place], counts.out[place])
        for number in range(session.figures.kind.size):
            begin_s = float(session.figures.begin_s[number])
            up = switched_on(session, number, place)
            if up:
                power_up_s = begin_s
            if begin_s <= started_s(session, own) < float(session.figures.end_s[number]):
                power_up_s = started_s(session, own)
            if own.anew[number] or (number == 0 and session.new_stage):
                _anew(total)
                since = place
            total.alive |= bool(counts.alive[place][number])
            _segment(total, logged, number, begin_s - power_up_s, up, used, speaker_side)
        power_up_s -= float(session.figures.end_s[-1]) + session.step_s if session.figures.end_s.size else 0.0
    total.averaged, total.digit_V = averaged, counts.digit_V
    total.renewed_s, total.same = counts.renewed_s, same_as_another(mine, counts.digit_V)
    total.rescaled = unit_changed(mine)
    total.hidden = sum((item.hidden[k] for item, k in zip(sessions[since:], channel[since:], strict=True) if item.hidden), Hidden())
    return _conclude(total, sessions, mine, since, used, times_told(sessions[since:], mine[since:], counts.asleep[since:]))


def _calm(figures: StretchFigures) -> int:
    """Channels (a bit each) that swing rarely enough to excuse what looks like their crosstalk; of very many only the first."""
    out = 0
    for number, item in enumerate(figures.channels[:MOST_NEIGHBOURS]):
        readings = int(item.readings[~item.late].sum())
        if readings and int(item.away[~item.late].sum()) <= RESTLESS * readings:
            out |= 1 << number
    return out


def _anew(total: _Sum) -> None:
    """Another setting begins: what is judged starts again, what was too large before stays told."""
    kept = (total.peak_V, total.open_peak_V, total.early, total.leads)
    total.__init__()  # type: ignore[misc]
    total.peak_V, total.open_peak_V, total.early, total.leads = kept


class _Logged(NamedTuple):
    """One channel in one session: its figures, neighbours (a bit each) that excuse crosstalk, cells asleep and cells left out."""

    session: Session
    own: ChannelFigures
    allowed: int
    asleep: Bools
    out: Bools


def _segment(
    total: _Sum, logged: _Logged, number: int, since_s: float, up: bool, used: GuardLimits, speaker_side: bool
) -> None:
    """Add a stretch between two switchings, which begins ``since_s`` after its power-up."""
    session, own, allowed, _, _ = logged
    begin_s = float(session.figures.begin_s[number])
    chosen = cells_of(session, own, number, up)
    if up:
        total.power_ups += int(chosen.any())  # a log that begins at zero begins before its first
        total.own_low_V, total.own_high_V = math.inf, -math.inf
        median, head = float(own.head[number, 0]), np.nan_to_num(own.head[number, 1:4])
        grace = speaker_side and (math.isnan(median) or abs(median) <= OPEN_MEDIAN_V)
        if grace:
            total.open_peak_V = max(total.open_peak_V, float(head[0]))
            if head[0] > used.early_peaks_V[0]:
                total.leads.append((float(own.head[number, 7]), float(own.head[number, 8])))
            head = np.concatenate(([0.0], head[1:]))
        total.peak_V = max(total.peak_V, float(head.max()))
        total.early |= _too_large(head, used)
    on_s = started_s(session, own)
    if math.isfinite(on_s):
        total.early |= _too_large(own.started[0, 1:], used)
    if not chosen.any():
        return
    step = session.step_at(own.begin_s[chosen], JITTER * used.seldom_s)
    readings = own.readings[chosen]
    total.peak_V = max(total.peak_V, float(own.peak_V[chosen].max()))
    uneven = own.uneven_s[chosen] > 0.0
    lasts_s = np.minimum(np.where(uneven, own.uneven_s[chosen], readings * step), CELL_S)
    asleep, clean = logged.asleep[chosen], ~(logged.asleep | logged.out)[chosen]
    total.seen_s += float(lasts_s.sum())
    total.asleep_s += float(lasts_s[asleep].sum())
    total.observed_s += float(lasts_s[clean].sum())
    total.span_s += float(session.figures.end_s[number]) + session.step_s - begin_s - (STARTS_S[1] if up else 0.0)
    total.beyond_s += float(np.where(uneven, own.beyond_s[chosen], own.beyond[chosen] * step).sum())
    median_V = own.median_V[chosen]
    full = lasts_s >= CELL_S / 3
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
        # Waking is a start, and so may be what follows a pause as long as a unit takes to warm up.
        cell_s = own.begin_s[chosen]
        pause_s = np.diff(cell_s, prepend=cell_s[0]) - CELL_S
        pause_s[0] = 0.0 if up or number else session.pause_s
        anew_s = np.maximum(np.where(asleep, cell_s + CELL_S, -np.inf), np.where(pause_s >= WARM_S, cell_s, -np.inf))
        awake = cell_s - np.maximum.accumulate(anew_s) >= WARM_S
        total.judged_s += CELL_S * int(np.count_nonzero(warm & clean & awake))
        # A cell of few rows has no level of its own; far from all levels it is a swing, which its own rows do not show.
        few = ~full & (own.begin_s[chosen] - begin_s + since_s >= WARM_S) & (own.far_V[chosen] <= SWING_V)
        off_V = np.maximum(median_V - median_V[warm].max(), median_V[warm].min() - median_V)[few]
        total.swings += int(np.count_nonzero(off_V > SWING_V))
        total.large += int(np.count_nonzero(off_V > LARGE_V))
        total.largest_swing_V = max(total.largest_swing_V, float(off_V[off_V > SWING_V].max(initial=0.0)))
        whole = own.high_V[chosen] - own.low_V[chosen]
        alone = np.where((own.alone_by[chosen] & ~np.int64(allowed)) == 0, own.alone_V[chosen], whole)
        total.spread_V = max(total.spread_V, float(np.where(readings < LEAST_READINGS, 0.0, alone)[warm].max()))
    swings = own.swing_segment == number
    beside_first = own.swing_begin_s < begin_s + CELL_S
    swings &= np.where(beside_first, own.swing_late == up, True)
    swings &= (own.swing_by & np.int64(allowed)) == 0
    swings &= own.swing_end_s > on_s + STARTS_S[1]
    total.swings += _joined(own, swings & ~own.swing_large)
    total.large += _joined(own, swings & own.swing_large)
    if swings.any():
        largest = float(own.swing_V[swings].max())
        total.largest_swing_V = max(total.largest_swing_V, largest)
        if used.large_swing_V < LARGE_V and largest > used.large_swing_V:
            total.large = max(total.large, 1)


def _too_large(peaks_V: Floats, used: GuardLimits) -> bool:
    """Whether a start is too large for its time: until 8, 30 and 120 s after it."""
    return bool(max(peaks_V[:2]) > used.early_peaks_V[0] or peaks_V[2] > used.early_peaks_V[1])


def _alike(leads: Sequence[tuple[float, float]]) -> int:
    """How many starts read volts of one sign and one size in their first seconds; 0 where too few do to tell them from leads."""
    low_V, high_V = np.array(leads).reshape(-1, 2).T
    size_V = np.where(high_V > -low_V, high_V, low_V)
    other_V = np.where(high_V > -low_V, -low_V, high_V)
    size_V = np.sort(size_V[other_V <= ONE_SIGN * np.abs(size_V)])
    most = [int(np.count_nonzero((size_V / least >= 1.0) & (size_V / least <= ALIKE))) for least in size_V.tolist()]
    return max((count for count in most if count >= max(ALIKE_STARTS, ALIKE_SHARE * len(leads))), default=0)


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
        channels = session.figures.channels
        row_s, usual_s = session.longest_step_s / session.rows_apart, session.step_s / session.rows_apart
        others = max(others, len(channels) - 1)
        me = next(k for k, item in enumerate(channels) if item is own)
        a, b = _by_length(own, ANY if session.rows_apart == 1 else OWN, row_s, usual_s, session.rows_apart)
        long, short = long + a, short + b
        together += _by_length(own, ALL, row_s, usual_s)[0]
        for k, (item, apart) in enumerate(zip(channels, session.apart, strict=True)):
            if k != me:
                beside = OWN if apart > 1 else me if len(channels) > 2 else ANY
                theirs += _by_length(item, beside, row_s, usual_s, apart)[1]
    return long, together, short, theirs, others


def _by_length(own: ChannelFigures, other: int, row_s: float, usual_s: float, apart: int = 1) -> tuple[int, int]:
    """Long and short blanks, of readings that a channel should have, one in so many rows."""
    if not own.blank_rows.size:
        return 0, 0
    mine = own.blank_rows[own.blank_rows[:, 0] == other]
    lost = -(-(mine[:, 1] + 1) // apart) - 1
    long = lost * apart * row_s >= max(BLANK_S, BLANK_STEPS * apart * usual_s)
    return int(mine[long & (lost > 0), 2].sum()), int(mine[~long & (lost > 0), 2].sum())


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
    hidden = total.hidden
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
        alike_starts=_alike(total.leads),
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
        digit_V=total.digit_V,
        seldom_s=seldom,
        renewed_s=total.renewed_s,
        unseen_s=unseen,
        falls=hidden.falls + hidden.blinks,
        held=hidden.held,
        longest_hidden_s=hidden.longest_s,
        power_ups=total.power_ups,
    )
    holds = {
        Reason.OPEN: total.open_peak_V > used.open_V or figures.alike_starts > 0,
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
        Reason.SELDOM: max(seldom, total.renewed_s) > JITTER * used.seldom_s,
        Reason.DEAD: not total.alive and total.seen_s > 0,
        Reason.SAME: total.same,
        Reason.UNIT: total.rescaled,
        Reason.SIGN: hidden.zeros > used.swings and not hidden.below,
        Reason.FALLS: hidden.falls + hidden.blinks >= hidden.strays
        and (hidden.falls > used.swings or hidden.blinks > max(used.swings, used.rate_per_h * total.seen_s / HOUR)),
        Reason.HELD: hidden.held > used.swings,
        Reason.AVERAGED: total.averaged,
        Reason.UNDATED: any(item.undated for item in sessions),
    }
    return Guard(tuple(reason for reason, on in holds.items() if on), figures, used, asleep)
