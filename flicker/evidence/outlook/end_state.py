"""How does a channel end? Volts and then nothing: a unit that died. Volts to the end: it stands there. One event each.

And the extrapolated trip: when does a level that moves reach the relay's threshold?
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TypeAlias

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.formats import brief_text, clock_text, lasting_text, volts_text
from flicker.base.middle import median
from flicker.base.result import Result
from flicker.base.values import Unobserved
from flicker.evidence.guard.model import ALIVE_V
from flicker.signals.blocks import RunBlocks
from flicker.signals.excursions import episode_numbers
from flicker.signals.guard.figures import APART_S, GRACE_S
from flicker.signals.trace import RunTraces, Trace, of_channel

SPAN_S = 600.0  # by the rule of clearance: a line through the last ten minutes
CELL_S = 30.0  # by the rule of clearance: half-minute medians
FEWEST = 5  # half-minutes; chosen, not measured
EARLY = 0.8  # fitted on linear, square, cube, runaway and saturating shapes: held in 957 of 957 of them
LEAST_V = 1e-3  # the level counts as this at least, for its logarithm; chosen, not measured
MOST_LAG = 0.95  # of neighbours, beyond which the width would have no end: chosen, not measured
FAR_S = 48 * 3600.0  # ten minutes of a slope carry no figure beyond this (choice)


@dataclass(frozen=True, slots=True)
class TimeToThreshold(Result):
    """Seconds until a level reaches a threshold.

    ``earliest_s`` if it grows in proportion to itself, as a runaway does; ``line_s`` along the straight line, which a
    runaway outruns by up to 2.5 times; ``latest_s`` if the slope halves. Infinite where the slope's own error leaves it
    open. ``approaches`` says that the slope, less two standard errors, points to the threshold.
    """

    earliest_s: float
    line_s: float
    latest_s: float
    level_V: float
    threshold_V: float
    approaches: bool
    method: str = "line through half-minute medians, error widened for their lag-1 correlation"

    @property
    def reads(self) -> str:
        """Both bounds; the line alone is never told."""
        if self.line_s > FAR_S:
            return f"may reach {volts_text(self.threshold_V)} in {brief_text(max(self.earliest_s, 0.0))} at the earliest, at this slope"
        earliest = brief_text(max(self.earliest_s, 0.0))
        bounds = f"{earliest} to {brief_text(self.latest_s)}" if self.latest_s <= FAR_S else f"{earliest} at the earliest"
        return f"reaches {volts_text(self.threshold_V)} in about {brief_text(self.line_s)} at this slope ({bounds})"


def time_to_threshold(time: Floats, level: Floats, *, threshold_V: float = 0.75) -> TimeToThreshold | None:
    """Extend the movement of the last minutes to a threshold.

    Parameters
    ----------
    time, level : array, shape (n,)
        Seconds, rising, and volts; NaN is missing. Only the last ten minutes count.
    threshold_V : float
        Without sign.

    Returns
    -------
    TimeToThreshold or None
        None with fewer than five half-minutes.

    Notes
    -----
    With level a and slope s at the end, and s less or more two standard errors: earliest 0.8 (a / s) ln(threshold / a),
    latest 2 (threshold - a) / s.
    """
    known = np.isfinite(level) & np.isfinite(time)
    time, level = time[known], level[known]
    if time.size < FEWEST:
        return None
    now = float(time[-1])
    late = time > now - SPAN_S
    since, value = time[late] - now, level[late]
    value = np.sign(np.median(value)) * value
    cell = np.floor((since + SPAN_S) / CELL_S).astype(np.int64)
    edge = np.flatnonzero(np.diff(cell, prepend=cell[0] - 1))
    parts = list(zip(np.split(since, edge[1:]), np.split(value, edge[1:]), strict=True))
    if len(parts) < FEWEST:
        return None
    x = np.array([float(a.mean()) for a, _ in parts])
    y = np.array([median(b) for _, b in parts])
    centred = x - x.mean()
    slope = float(centred @ y / (centred @ centred))
    end = float(y.mean() - slope * x.mean())
    left = y - end - slope * x
    lag = 0.0
    if left.std() > 0:
        lag = min(max(0.0, float(np.corrcoef(left[1:], left[:-1])[0, 1])), MOST_LAG)
    error = float(left.std(ddof=2) / np.sqrt(centred @ centred) * np.sqrt((1 + lag) / (1 - lag)))
    fast, slow = slope + 2 * error, slope - 2 * error
    a = max(end, LEAST_V)
    ahead = max(threshold_V - end, 0.0)
    return TimeToThreshold(
        earliest_s=max(EARLY * a / fast * math.log(threshold_V / a), 0.0) if fast > 0 else math.inf,
        line_s=ahead / slope if slope > 0 else math.inf,
        latest_s=2 * ahead / slow if slow > 0 else math.inf,
        level_V=end,
        threshold_V=threshold_V,
        approaches=slow > 0,
    )


FAILED_V = 2.0  # beyond it, then nothing: the unit failed (choice)
NOTHING_S = 5.0  # of nothing at least; chosen, not measured
FALL_S = 300.0  # a reservoir that drains through a load of some ohms is empty by then; chosen, not measured
STANDS_S = 60.0  # a level that lasts so long stands; shorter it is a swing that the log's end cuts; a choice
MOVES_SHARE = 0.1  # the last minute farther from the middle: it moves rather than stands; a choice, of words only
FALL_AGAIN = 1.05  # a fall does not rise, but for its last digits; chosen, not measured


@dataclass(frozen=True, slots=True)
class Failed(Result):
    """The last volts of a channel and how long they stood; ``end_s`` to the end of the log without any."""

    run: int
    begin_s: float
    lasted_s: float
    largest_V: float
    at: datetime | None

    @property
    def reads(self) -> str:
        """One event, in volts."""
        largest = "over range" if not np.isfinite(self.largest_V) else volts_text(self.largest_V)
        lasted = lasting_text(max(self.lasted_s, 1.0))
        return f"failed at {_moment(self.at, self.begin_s, self.run)}: {largest} for {lasted}, then nothing"


@dataclass(frozen=True, slots=True)
class Stands(Result):
    """Volts at which a channel stands to the end of its log, since ``begin_s`` of that run, ``lasted_s`` long.

    ``level_V`` is its middle, ``last_V`` that of the last minute, ``rest_V`` where it lay in the minute before; None where it stood there from the first reading on.
    """

    run: int
    begin_s: float
    lasted_s: float
    level_V: float
    last_V: float
    rest_V: float | None
    at: datetime | None

    @property
    def reads(self) -> str:
        """Since when, in volts."""
        last = volts_text(abs(self.last_V)) if np.isfinite(self.last_V) else "over range"
        moves = not abs(self.last_V - self.level_V) <= MOVES_SHARE * abs(self.level_V)
        since = "from the first reading on" if self.rest_V is None else f"since {_moment(self.at, self.begin_s, self.run)}"
        what = f"is far from zero {since}, {last} at last" if moves else f"stands at {last} {since}"
        return f"{what}, {lasting_text(self.lasted_s)} to the end of the log"


End: TypeAlias = Failed | Stands


def _moment(at: datetime | None, begin_s: float, run: int) -> str:
    return f"{at:%H:%M}" if at is not None else f"{clock_text(begin_s)} of run {run + 1}"


def _sizes(blocks: RunBlocks, channel: int) -> Floats:
    """Largest size in each block: infinite over range, NaN without a reading."""
    part = blocks.channels[channel]
    size = np.fmax(np.abs(part.low), np.abs(part.high))
    return np.where((part.over_low > 0) | (part.over_high > 0), np.inf, size)


def _falls(size: Floats) -> bool:
    """Whether sizes do not rise again: what is left of a supply drains, and no swing comes back."""
    known = size[np.isfinite(size)]
    return bool(np.all(known[1:] <= FALL_AGAIN * known[:-1]))


def failed(runs: Sequence[RunTraces], channel: str) -> Failed | None:
    """The event in which a channel failed; None where it lives to the end of its log."""
    then_s = 0.0
    for run, place in reversed(of_channel(runs, channel)):
        size = _sizes(run.blocks, place)
        begin, end = run.blocks.begin_s, run.blocks.end_s
        with np.errstate(invalid="ignore"):
            live = np.flatnonzero(size > ALIVE_V)
            loud = np.flatnonzero(size > FAILED_V)
        step = run.run.sample_interval_s
        if live.size == 0:
            then_s += float(end[-1]) + step - float(begin[0])
            continue
        if loud.size == 0:
            return None
        last = int(loud[-1])
        fell = float(begin[live[-1]]) - float(end[last])
        least_s = FALL_S if _falls(size[last : live[-1] + 1]) else APART_S
        then_s += float(end[-1]) - float(end[live[-1]])
        if fell > least_s or then_s < NOTHING_S or begin[last] < GRACE_S:
            return None
        first = last
        for k in loud[::-1]:
            if begin[first] - end[k] > APART_S:
                break
            first = int(k)
        at = None if run.run.start is None else run.run.start + timedelta(seconds=float(begin[first]))
        return Failed(
            run=run.number,
            begin_s=float(begin[first]),
            lasted_s=float(end[last]) + step - float(begin[first]),
            largest_V=float(size[first : last + 1].max()),
            at=at,
        )
    return None


def stands(runs: Sequence[RunTraces], channel: str, threshold_V: float) -> Stands | None:
    """The volts at which a channel stands to the end of its last run; None where it ends below the threshold."""
    mine = of_channel(runs, channel)
    return _stand(*mine[-1], threshold_V) if mine else None


def stood(runs: Sequence[RunTraces], channel: str, threshold_V: float) -> list[Stands]:
    """The volts at which a channel stood to the end of a run, until the unit was switched off."""
    out = []
    for run, place in of_channel(runs[:-1], channel):
        off = [gap for gap in run.traces[place].unobserved if gap.reason == Unobserved.SWITCHED_OFF]
        if off and off[-1].end_s >= float(run.blocks.begin_s[-1]):
            found = _stand(run, place, threshold_V, until_s=off[-1].start_s)
            out += [] if found is None else [found]
    return out


def _stand(run: RunTraces, place: int, threshold_V: float, until_s: float = np.inf) -> Stands | None:
    """The volts at which a channel stands from some moment of a run to its end, or until another."""
    part = run.blocks.channels[place]
    over = (part.over_low > 0) | (part.over_high > 0)
    level = np.where(over & ~np.isfinite(part.middle), np.inf, part.middle)
    known = np.flatnonzero(~np.isnan(level) & (run.blocks.begin_s < until_s))
    below = known[np.abs(level[known]) < threshold_V]
    beyond = known[known > below[-1]] if below.size else known
    if beyond.size == 0:
        return None
    begin = float(run.blocks.begin_s[beyond[0]])
    before = below[run.blocks.end_s[below] >= begin - STANDS_S] if below.size else below
    lasted = float(run.blocks.end_s[beyond[-1]]) + run.run.sample_interval_s - begin
    if lasted < STANDS_S:
        return None
    return Stands(
        run=run.number,
        begin_s=begin,
        lasted_s=lasted,
        level_V=float(np.median(level[beyond])),
        last_V=float(np.median(level[beyond[run.blocks.begin_s[beyond] >= run.blocks.end_s[beyond[-1]] - STANDS_S]])),
        rest_V=float(np.median(level[before if before.size else below[-1:]])) if below.size else None,
        at=None if run.run.start is None else run.run.start + timedelta(seconds=begin),
    )


def as_one_event(runs: Sequence[RunTraces], channel: str, end: End, dead_time_s: float) -> list[RunTraces]:
    """The runs with the end of a channel as one excursion, however often its volts came and went meanwhile."""
    return [
        run
        if run.number != end.run
        else replace(
            run,
            traces=tuple(_joined(trace, end, dead_time_s) if trace.channel == channel else trace for trace in run.traces),
        )
        for run in runs
    ]


def _joined(trace: Trace, end: End, dead_time_s: float) -> Trace:
    """All excursions from the end's begin on as the largest of them, over the whole of it."""
    found = trace.excursions
    event = found.end_s > end.begin_s
    first, last = end.begin_s, end.begin_s + end.lasted_s
    if event.any():
        rows = np.flatnonzero(event)
        largest = rows[int(np.argmax(np.abs(found.deviation_V[rows])))]
        first, last = min(first, float(found.start_s[rows].min())), max(last, float(found.end_s[rows].max()))
        peak, deviation, over = found.peak_V[largest], found.deviation_V[largest], bool(found.over_range[rows].any())
    else:
        peak, deviation, over = np.nan, 0.0, False
    if isinstance(end, Stands):
        slowly = end.rest_V is None or abs(end.rest_V) > 0.5 * abs(end.level_V)
        if end.rest_V is None or (slowly and not event.any()):
            return trace  # there from the first reading on, or on a way of its own: a level, and no excursion from one
        # the baseline may have gone along with a level that stands: the distance is that from where it lay before
        step = end.level_V - end.rest_V
        along = abs(step) > abs(deviation) or abs(peak) < 0.5 * abs(end.level_V)
        peak, deviation = (end.level_V, step) if along else (peak, deviation)
    elif not event.any():
        return trace
    one = (first, last, peak, deviation, True, over or not np.isfinite(peak))
    kept = found.select(~event)
    joined = kept.with_one(one)
    return replace(trace, excursions=joined, episode=episode_numbers(joined.start_s, joined.end_s, dead_time_s))


def approach(runs: Sequence[RunTraces], channel: str, threshold_V: float) -> TimeToThreshold | None:
    """When the level at the end of the last run reaches a threshold."""
    mine = of_channel(runs, channel)
    if not mine:
        return None
    run, place = mine[-1]
    time, level = run.blocks.centre_s, run.blocks.channels[place].middle
    late = time > time[-1] - SPAN_S - 1.0
    return time_to_threshold(time[late], level[late], threshold_V=threshold_V)
