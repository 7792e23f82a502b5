"""One definition of a power-up for the whole program, and the first seconds after it.

A run begins with a power-up where its beginning shows one (a surge, an open lead, zero before), six hours and more lie
before it, or a mark 'power' or the case (conditions 'start') says so; all else continues the run before: neither a new
file nor a pause of the logger is a power-up.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from flicker.base.arrays import Bools, Floats
from flicker.base.values import Unobserved
from flicker.evidence.guard import Guard, Session
from flicker.evidence.guard.awake import start_shown
from flicker.evidence.guard.hidden import hidden_of
from flicker.evidence.guard.model import EARLY_PEAKS_V, OPEN_MEDIAN_V, OPEN_V
from flicker.logs.model import Gap, Log
from flicker.logs.spans import holds, spans, total, without
from flicker.signals.baseline import RESTS_S
from flicker.signals.connection.reasons import Surety, Told
from flicker.signals.excursions import episode_numbers
from flicker.signals.guard.figures import CELL_S, GRACE_S, MARK, STARTS_S, ChannelFigures
from flicker.signals.trace import ALONG_S, RunTraces, Trace

if TYPE_CHECKING:
    from flicker.case.model import Case
    from flicker.evidence.record.overlaps import Covered

BEHIND_RELAY = ("speaker side", "unknown")


def pause_s(before: RunTraces, run: RunTraces) -> float | None:
    """Seconds from the end of one run to the beginning of the next; None where nothing tells."""
    first, second = before.run, run.run
    if run.blocks.stretch > 0:  # of the same log
        return second.pause_after(first)
    if first.start is None or second.start is None or first.back_s or second.back_s:
        return None
    if (first.start.tzinfo is None) != (second.start.tzinfo is None):
        return None
    return (second.start - first.start).total_seconds() - first.duration_s


def goes_on(runs: Sequence[RunTraces], log: Log) -> bool:
    """Whether a log begins within a minute of the end of the last run of its channels: then it continues it, whatever it looks like.

    A log of other channels of the same hours, by a logger of their own, continues nothing.
    """
    names = set(log.channels)
    last = next((item.run for item in reversed(runs) if names.intersection(trace.channel for trace in item.traces)), None)
    start = log.source.start
    if last is None or start is None or last.start is None or last.back_s:
        return False
    if (start.tzinfo is None) != (last.start.tzinfo is None):
        return False
    return (start - last.start).total_seconds() - last.duration_s < ALONG_S


def power_ups_begin(runs: Sequence[RunTraces]) -> list[bool]:
    """Tell of each run whether it begins with a power-up; the first does."""
    out: list[bool] = []
    for place, run in enumerate(runs):
        if place == 0:
            out.append(True)
            continue
        before = runs[place - 1]
        if run.blocks.guard is not None and run.blocks.guard is before.blocks.guard:
            out.append(True)  # the stretch was cut here because a power-up was found
            continue
        if any(trace.hands.switched_on_near(0.0) for trace in run.traces):
            out.append(True)
            continue
        shown = any(trace.power_up_seen for trace in run.traces) or _all_stand_out(run)
        pause = pause_s(before, run)
        if pause is None:
            out.append(shown)
        else:
            out.append(pause >= ALONG_S and (shown or pause > RESTS_S))
    return out


def sessions_of(runs: Sequence[RunTraces], case: Case | None = None) -> list[tuple[RunTraces, Session]]:
    """Stretches with the guard's figures, in order, each with its first run; another stage of the case begins anew."""
    out: list[tuple[RunTraces, Session]] = []
    begins = power_ups_begin(runs)
    cut: dict[int, list[RunTraces]] = {}  # the runs that were cut out of each stretch
    for run in runs:
        cut.setdefault(id(run.blocks.guard), []).append(run)
    for place, (run, up) in enumerate(zip(runs, begins, strict=True)):
        figures = run.blocks.guard
        same = cut[id(figures)]
        if figures is None or run is not same[0]:
            continue
        pause = pause_s(runs[place - 1], run) if place else 0.0
        undated = not up and pause is None and run.blocks.stretch == 0
        new_stage = bool(out) and stage_of(case, out[-1][0]) != stage_of(case, run)
        session = Session(
            figures=figures,
            step_s=run.run.sample_interval_s,
            power_up=up,
            undated=undated,
            new_stage=new_stage,
            run=run.number,
            doubted=_times(same, lambda trace: trace.doubted),
            left_out=_times(same, _left_out),
            pace_changes=run.run.pace_changes,
            again_s=max(-(pause or 0.0), 0.0),
            pause_s=math.inf if pause is None else max(pause, 0.0),
            hidden=hidden_of([(item, _between(item)) for item in same]),
        )
        out.append((run, session))
    return out


LEFT_OUT = (Unobserved.DISCONNECTED, Unobserved.OPEN_LEAD, Unobserved.REPEATED, Unobserved.STILL, Unobserved.TWICE)


def _left_out(trace: Trace) -> Floats:
    return spans((gap.start_s, gap.end_s) for gap in trace.unobserved if gap.reason in LEFT_OUT)


def _times(runs: Sequence[RunTraces], of: Callable[[Trace], Floats]) -> tuple[Floats, ...]:
    """Times of each channel on the clock of the stretch, of all runs that were cut out of it."""
    return tuple(
        np.concatenate([of(run.traces[place]) + run.blocks.offset_s for run in runs])
        for place in range(len(runs[0].traces))
    )


def stage_of(case: Case | None, run: RunTraces) -> str | None:
    """Stage in which the case has the log of a run."""
    log = None if case is None else case.log_named(run.run.source)
    return None if log is None else log.stage


def grace_s(run: RunTraces, channel: int, begins: bool, side: str = "unknown") -> float:
    """Seconds of a run whose readings are taken for an open lead: none unless it begins with a power-up.

    Only where the leads may sit behind the output relay, and the middle of the first seconds is small: volts that are
    there from the start are the output's.
    """
    found = _begun(run) if begins and side in BEHIND_RELAY else None
    if found is None:
        return 0.0
    number, after_s = found
    median = float(run.blocks.guard.channels[channel].head[number, 0])  # type: ignore[union-attr]
    return after_s + GRACE_S if math.isnan(median) or abs(median) <= OPEN_MEDIAN_V else 0.0


def _begun(run: RunTraces) -> tuple[int, float] | None:
    """The guard's segment that begins with a run, and when it does on the run's clock."""
    figures, begins_s = run.blocks.guard, run.blocks.begin_s
    block_s = float(begins_s[1] - begins_s[0]) if begins_s.size > 1 else math.inf  # a run begins with a block, its start lies within
    for number, kind in enumerate([] if figures is None else figures.kind.tolist()):
        after_s = float(figures.begin_s[number]) - run.blocks.offset_s  # type: ignore[union-attr]
        if kind != MARK and abs(after_s) < block_s:
            return number, after_s
    return None


def without_first_seconds(run: RunTraces, begins: bool, graces_s: Sequence[float], dead_time_s: float) -> RunTraces:
    """Take what an open lead reads before the output relay closes, and a start's own ticks, from excursions and time.

    Of the grace of a channel only swings within what an open lead reads. What lasts beyond it is the surge, which was not
    fitted behind such a lead; so are the ticks of a soft start, where a power-up shows: both until half a minute after it,
    and within the volts of a surge.
    """
    run = _without_late_starts(run, dead_time_s)
    found = _begun(run) if begins else None
    if found is None:
        return run
    shown = any(trace.power_up_seen for trace in run.traces) or _stands_out(run, found[0])
    return replace(
        run,
        traces=tuple(
            _calm_start(trace, until, _surge_s(run, k, *found), dead_time_s, ticks=shown) if until or shown else trace
            for k, (trace, until) in enumerate(zip(run.traces, graces_s, strict=True))
        ),
    )


def _stands_out(run: RunTraces, number: int) -> bool:
    """Whether the first eight seconds of a power-up stand out from what follows in some channel, or 30 s in all of several."""
    channels = () if run.blocks.guard is None else run.blocks.guard.channels
    early = any(_shown(own, number, [True, False, False]) for own in channels)
    return early or (len(channels) > 1 and _all_stand_out(run))


def _all_stand_out(run: RunTraces) -> bool:
    """Whether the first half minute of a run stands out from what follows in every channel: a surge too short to be fitted."""
    found = _begun(run)
    if found is None:
        return False
    channels = run.blocks.guard.channels  # type: ignore[union-attr]
    return all(_shown(own, found[0], [True, len(channels) > 1, False]) for own in channels)


def _shown(own: ChannelFigures, number: int, seconds: list[bool]) -> bool:
    """Whether some of the first 8, 30 and 120 s of a segment stand out from what follows."""
    head_V = np.where(seconds, own.head[number, 4:7], np.nan)
    return start_shown(head_V, own.far_V[own.segment == number], float(own.digit_V.max(initial=0.0)))


def _surge_s(run: RunTraces, channel: int, number: int, after_s: float) -> float:
    """Until when a surge excuses what began in the grace."""
    early_V = float(run.blocks.guard.channels[channel].head[number, 2])  # type: ignore[union-attr]
    return after_s + STARTS_S[0] if early_V <= EARLY_PEAKS_V[0] else 0.0


def _without_late_starts(run: RunTraces, dead_time_s: float) -> RunTraces:
    """Take the ticks of a start from a channel that was switched on after the others."""
    figures, traces = run.blocks.guard, list(run.traces)
    for place, own in enumerate(() if figures is None else figures.channels):
        for after_s in (own.started[:, 0] - run.blocks.offset_s).tolist():
            found = traces[place].excursions
            ticks = (found.start_s > after_s - run.run.sample_interval_s) & (found.end_s <= after_s + STARTS_S[0])
            ticks &= (np.abs(found.peak_V) <= EARLY_PEAKS_V[0]) & ~found.over_range
            if ticks.any():
                gap = Gap(after_s, after_s + STARTS_S[0], Unobserved.SURGE, traces[place].channel)
                traces[place] = _calm(traces[place], ticks, [gap], dead_time_s)
    return replace(run, traces=tuple(traces))


def _calm(trace: Trace, ticks: Bools, gaps: Sequence[Gap], dead_time_s: float) -> Trace:
    """A trace without some excursions, and without the times in which they lie."""
    kept = trace.excursions.select(~ticks)
    return replace(
        trace,
        excursions=kept,
        episode=episode_numbers(kept.start_s, kept.end_s, dead_time_s),
        observed=without(trace.observed, spans((gap.start_s, gap.end_s) for gap in gaps)),
        unobserved=tuple(sorted((*trace.unobserved, *gaps), key=lambda item: item.start_s)),
    )


def _calm_start(trace: Trace, until_s: float, surge_s: float, dead_time_s: float, *, ticks: bool) -> Trace:
    found = trace.excursions
    lead = (found.start_s < until_s) & (found.end_s <= max(until_s, surge_s)) & (np.abs(found.peak_V) <= OPEN_V)
    if ticks:
        lead |= (found.end_s <= surge_s) & (np.abs(found.peak_V) <= EARLY_PEAKS_V[0])
    lead &= ~found.over_range
    if not lead.any():
        return trace
    over_s = max(until_s, float(found.end_s[lead].max()))
    gaps = [Gap(0.0, until_s, Unobserved.MUTED, trace.channel)] if until_s else []
    gaps += [Gap(until_s, over_s, Unobserved.SURGE, trace.channel)] if over_s > until_s else []
    return _calm(trace, lead, gaps, dead_time_s)


def without_times(run: RunTraces, counted: Sequence[Covered], dead_time_s: float) -> RunTraces:
    """Take what other logs have counted already, of each channel, out of a run."""
    return replace(
        run,
        traces=tuple(
            _without(trace, item, dead_time_s) if len(item.times) else trace
            for trace, item in zip(run.traces, counted, strict=True)
        ),
    )


def _without(trace: Trace, counted: Covered, dead_time_s: float) -> Trace:
    kept = trace.excursions.select(~counted.told(trace.channel, trace.excursions, dead_time_s))
    tried, trial, times = trace.tried, trace.trial_observed, counted.times
    gaps = [Gap(begin, end, Unobserved.TWICE, trace.channel) for begin, end in times.tolist()]
    return replace(
        trace,
        excursions=kept,
        episode=episode_numbers(kept.start_s, kept.end_s, dead_time_s),
        observed=without(trace.observed, times),
        doubted=without(trace.doubted, times),
        trial_observed=None if trial is None else without(trial, times),
        tried=None if tried is None else tried.select(~holds(times, tried.start_s)),
        unobserved=tuple(sorted((*trace.unobserved, *gaps), key=lambda item: item.start_s)),
    )


def asleep_times(
    runs: Sequence[RunTraces], sessions: Sequence[tuple[RunTraces, Session]], guard: Guard
) -> dict[int, Floats]:
    """Times of each run, by its number, in which the lead may have seen no live output."""
    first_of = {id(run.blocks.guard): run.number for run, _ in sessions}
    out = {}
    for run in runs:
        mine = [item for item in guard.asleep if item.run == first_of.get(id(run.blocks.guard))]
        if mine:
            out[run.number] = spans((item.begin_s, item.end_s) for item in mine) - run.blocks.offset_s
    return out


def still_open(traces: Mapping[int, Trace], slept: Mapping[int, Floats]) -> Iterator[Told]:
    """What the lead's rules tell of a channel, by run; a doubt that nothing moved only as far as its hours do not count (``slept``)."""
    for number, trace in traces.items():
        holes = slept.get(number, np.empty((0, 2)))
        for told in trace.told:
            if told.surety == Surety.DOUBT and told.reason == Unobserved.STILL:
                spans_s = tuple(x for x in told.spans_s if total(without(np.array([x]), holes)) <= 0.5 * (x[1] - x[0]))
                told = told._replace(spans_s=spans_s)
            if told.spans_s:
                yield told


def times_slept(runs: Sequence[RunTraces], channel: str, guard: Guard) -> int:
    """How often a channel fell asleep, was switched off or lost its lead for two cells of the guard and more."""
    gaps = [
        gap
        for run in runs
        for trace in run.traces
        if trace.channel == channel
        for gap in trace.unobserved
        if gap.reason in LEFT_OUT and gap.end_s - gap.start_s >= 2.0 * CELL_S
    ]
    return len(guard.asleep) + len(gaps)


def off_times(runs: Sequence[RunTraces]) -> dict[int, Floats]:
    """Times of each run, by its number, in which the guard saw the unit off: between its stretches, or after the last."""
    out = {}
    for run in runs:
        if run.blocks.guard is not None:
            between = _between(run)
            out[run.number] = between[between[:, 1] - between[:, 0] >= CELL_S]  # less is a step between readings
    return out


def _between(run: RunTraces) -> Floats:
    """Times between the stretches that the guard looked at, or after the last, on the clock of a run."""
    figures = run.blocks.guard
    if figures is None:
        return np.empty((0, 2))
    return spans(zip(figures.end_s, np.append(figures.begin_s[1:], np.inf), strict=True)) - run.blocks.offset_s


def side_of(case: Case | None, channel: str) -> str:
    """Where the case says that a channel was measured."""
    told = [] if case is None else [item.measured_at for item in case.channels if item.name == channel]
    return told[0] if told else "unknown"


def sessions_with(
    sessions: Sequence[tuple[RunTraces, Session]], channel: str
) -> tuple[list[Session], list[int]]:
    """The stretches in which a channel was logged, and its place among the channels of each."""
    mine = [
        (session, place)
        for run, session in sessions
        for place, trace in enumerate(run.traces)
        if trace.channel == channel
    ]
    return [session for session, _ in mine], [place for _, place in mine]
