"""Where a channel rests, over minutes: levels of equal cells, joined over the runs of one power-up.

The levels are medians of five-minute cells of observed time, the surge and a warm-up exponential taken off. What all
channels share, and what returns with the day, is the room's.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from flicker.base.arrays import Bools, Floats
from flicker.base.limits import Limits
from flicker.base.middle import median
from flicker.base.units import DAY, HOUR
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.logs.model import Run
from flicker.logs.spans import elapsed, holds, spans
from flicker.signals.guard.figures import CELL_S
from flicker.signals.order_statistics import group_quantiles
from flicker.signals.residuals import local_residual
from flicker.signals.trace import Trace
from flicker.stats.noise import noise_sigma

if TYPE_CHECKING:
    from flicker.evidence.questions.warmth import Series, Warmth

SETTLED_REST = 0.15  # of the movement's sum of squares that a warm-up may leave unexplained; chosen, not measured


class Levels(NamedTuple):
    """Robust levels of equal cells of one power-up: ``time_s`` is each cell's start, ``level_V`` its median.

    ``room_V`` is the part that a temperature, the other channels or the time of day explain, ``settling_V`` the warm-up
    exponential; both are taken off ``level_V``. ``warmth`` says what of it follows a temperature column.
    """

    time_s: Floats
    level_V: Floats
    room_V: Floats
    settling_V: Floats
    sigma_V: float
    resolution_V: float
    samples_per_cell: int
    warmth: Warmth | None = None
    together: bool = False  # another channel moves in the same measure


def cell_levels(trace: Trace) -> tuple[Floats, Floats]:
    """Start and median of each cell that was observed for at least a third of its width."""
    base = trace.baseline
    if base is None:
        return np.empty(0), np.empty(0)
    keep = holds(trace.observed, base.cell_s) & calm_cells(trace)
    time, value = base.cell_s[keep], base.cell_V[keep]
    if time.size == 0:
        return time, value
    spacing = float(np.median(np.diff(base.cell_s))) if base.cell_s.size > 1 else CELL_S
    width = max(CELL_S, 3.0 * spacing)
    group = np.floor(time / width).astype(np.int64)
    numbers, (middle,) = group_quantiles(group, value, (0.5,))
    count = np.bincount((group - group[0]).astype(np.int64))[numbers - group[0]]
    full = count >= max(1.0, width / spacing / 3.0)
    return numbers[full] * width, middle[full]


def calm_cells(trace: Trace) -> Bools:
    """Cells of the baseline that hold the resting level: those of which excursions fill less than a quarter."""
    base = trace.baseline
    assert base is not None
    if trace.excursions.count == 0:
        return np.ones(base.cell_s.size, dtype=bool)
    half = 0.5 * (float(np.median(np.diff(base.cell_s))) if base.cell_s.size > 1 else 1.0)
    away = spans(np.column_stack((trace.excursions.start_s, trace.excursions.end_s)))
    filled = elapsed(away, base.cell_s + half) - elapsed(away, base.cell_s - half)
    return np.asarray(filled < 0.5 * half)


def settling(time_s: Floats, level_V: Floats) -> Floats:
    """Warm-up exponential of a run's levels, or zeros.

    Taken only where it explains nearly all of the movement, twice as well as a line and as one step: a drift must not
    pass as warm-up. Time constants from a cell to an hour, at most a fifth of the run.
    """
    none = np.zeros_like(level_V)
    if time_s.size < 8:
        return none
    since = time_s - time_s[0]
    longest = min(float(since[-1]) / 5.0, HOUR)
    if longest < 0.5 * CELL_S:
        return none
    centred = level_V - level_V.mean()
    total = float(centred @ centred)
    if total == 0.0:
        return none
    line = np.polyfit(since, level_V, 1)
    others = float(np.sum((level_V - np.polyval(line, since)) ** 2))
    left = np.arange(1, level_V.size)
    gain = np.cumsum(centred)[:-1] ** 2 * (1.0 / left + 1.0 / (level_V.size - left))
    others = min(others, total - float(gain.max()))
    best, curve = np.inf, none
    for tau in np.geomspace(0.5 * CELL_S, longest, 12):
        shape = np.exp(-since / tau)
        design = np.column_stack((np.ones_like(shape), shape))
        coefficients, *_ = np.linalg.lstsq(design, level_V, rcond=None)
        loss = float(np.sum((level_V - design @ coefficients) ** 2))
        if loss < best:
            best, curve = loss, coefficients[1] * shape
    return curve if best < SETTLED_REST * total and best < 0.5 * others else none


class _PowerUp(NamedTuple):
    """One power-up of a channel: its runs, where each begins on the joined clock, and the levels of its cells."""

    runs: tuple[Run, ...]
    numbers: tuple[int, ...]
    traces: tuple[Trace, ...]
    begins_s: tuple[float, ...]
    time_s: Floats
    level_V: Floats
    about_V: Floats  # less their median


def levels_of(
    records: Sequence[ChannelRecord],
    temperatures: Sequence[Series] = (),
    log_of_run: Mapping[int, int] | None = None,
    limits: Limits | None = None,
) -> list[list[Levels]]:
    """Levels of each power-up, channel by channel, with the share of the room (and of other channels) taken off.

    ``temperatures`` are on the clocks of their logs; ``log_of_run`` tells which log a run is of.
    """
    limits = limits or Limits()
    joined = [{record.cycle[runs[0]]: _power_up(record, runs) for runs in record.power_ups} for record in records]
    out = []
    for mine in joined:
        beside = [other for other in joined if other is not mine]
        out.append(
            [
                _levels(up, [o[cycle] for o in beside if cycle in o], temperatures, log_of_run or {}, limits)
                for cycle, up in mine.items()
                if up.time_s.size
            ]
        )
    return out


def _levels(
    up: _PowerUp,
    others: Sequence[_PowerUp],
    temperatures: Sequence[Series],
    log_of_run: Mapping[int, int],
    limits: Limits,
) -> Levels:
    time = up.time_s
    level = up.level_V - _marked_steps(up)
    curve = settling(time, level)
    warm = None
    if temperatures and float(np.ptp(level - curve)) > 0.25 * limits.drift_V:
        from flicker.evidence.questions.warmth import warmth  # late: few logs have a temperature

        warm = warmth(level - curve, _log_clocks(up, log_of_run), temperatures, limits.confidence)
    follows = np.zeros_like(level) if warm is None else warm[0]
    shared, together = _room(time, level - curve - follows, others)
    room = follows + shared
    interval = float(np.median([run.sample_interval_s for run in up.runs]))
    return Levels(
        time_s=time,
        level_V=level - curve - room,
        room_V=room,
        settling_V=curve,
        sigma_V=float(np.median([_cell_sigma(trace) for trace in up.traces])),
        resolution_V=max(trace.resolution_V for trace in up.traces),
        samples_per_cell=max(1, round(CELL_S / interval)) if interval > 0 else 1,
        warmth=None if warm is None else warm[1],
        together=together,
    )


def _log_clocks(up: _PowerUp, log_of_run: Mapping[int, int]) -> list[tuple[int, Floats]]:
    """Middles of the cells of a power-up on the clock of the log they are of, run by run."""
    out = []
    for shift, end, run, number in zip(up.begins_s, (*up.begins_s[1:], np.inf), up.runs, up.numbers, strict=True):
        mine = up.time_s[(up.time_s >= shift) & (up.time_s < end)]
        if mine.size:
            out.append((log_of_run.get(number, 0), mine - shift + 0.5 * CELL_S + run.offset_s))
    return out


def _marked_steps(up: _PowerUp) -> Floats:
    """Steps at marks that something was adjusted, as a staircase: no claim reaches across them."""
    time, level = up.time_s, up.level_V
    stairs = np.zeros_like(level)
    if len(up.runs) > 1:  # a power-up logged in several files: its clock is joined, the marks' is not
        return stairs
    for at in sorted(up.traces[0].hands.breaks_s):
        # The cell that holds the mark has either level; compare the half hours before and after it.
        before = level[(time + CELL_S <= at) & (time + CELL_S > at - 1800.0)]
        after = level[(time >= at) & (time < at + 1800.0)]
        if before.size and after.size:
            low, high = float(np.median(before)), float(np.median(after))
            beyond = (time >= at) | ((time + CELL_S > at) & (np.abs(level - high) < np.abs(level - low)))
            stairs[beyond] += high - low
    return stairs


def _cell_sigma(trace: Trace) -> float:
    """Robust sigma of the samples about the level of their own cell, which slow movement does not raise."""
    residual = local_residual(trace, CELL_S, calm=True)
    return max(noise_sigma(residual, resolution=0.0), trace.resolution_V / 5.0) if residual.size else trace.sigma_V


def _power_up(record: ChannelRecord, places: Sequence[int]) -> _PowerUp:
    runs = tuple(record.runs[i] for i in places)
    traces = tuple(record.traces[i] for i in places)
    begins, times, levels = _begins(runs), [], []
    for shift, trace in zip(begins, traces, strict=True):
        time, level = cell_levels(trace)
        times.append(time + shift)
        levels.append(level)
    time, level = np.concatenate(times), np.concatenate(levels)
    keep = np.concatenate(([True], np.diff(time) > 0)) if time.size else np.empty(0, dtype=bool)
    return _PowerUp(
        runs=runs,
        numbers=tuple(record.numbers[i] for i in places),
        traces=traces,
        begins_s=begins,
        time_s=time[keep],
        level_V=level[keep],
        about_V=level[keep] - (median(level[keep]) if keep.any() else 0.0),
    )


def _begins(runs: Sequence[Run]) -> tuple[float, ...]:
    """Where each run of a power-up begins on its joined clock, in whole cells."""
    out: list[float] = []
    offset, origin = 0.0, None
    for run in runs:
        if run.start is not None and origin is not None:
            offset = max(offset, (run.start - origin).total_seconds())
        if origin is None:
            origin = run.start
        out.append(float(np.ceil(offset / CELL_S) * CELL_S) if offset else 0.0)
        offset = out[-1] + run.duration_s
    return tuple(out)


def _room(time: Floats, level: Floats, others: Sequence[_PowerUp]) -> tuple[Floats, bool]:
    """The part of the movement that another channel shares in the same measure, or that follows the time of day.

    And whether there is such a channel.
    """
    room, together = np.zeros_like(level), False
    if time.size < 12:
        return room, together
    about = level - median(level)
    for other in others:
        time_o, level_o = other.time_s, other.level_V
        mine, theirs = about, other.about_V
        if not np.array_equal(time, time_o):
            both, here, there = np.intersect1d(np.round(time), np.round(time_o), return_indices=True)
            if both.size < 12:
                continue
            mine, theirs = level[here] - median(level[here]), level_o[there] - median(level_o[there])
        spread = float(theirs @ theirs)
        if spread == 0.0 or float(mine @ mine) == 0.0:
            continue
        slope = float(mine @ theirs) / spread
        correlation = float(mine @ theirs) / (np.sqrt(spread) * np.sqrt(float(mine @ mine)))  # the product may be too small for a number
        if correlation > 0.9 and 0.4 < slope < 2.5:
            room, together = np.interp(time, time_o, slope * other.about_V), True
            break
    if time[-1] - time[0] >= 1.5 * DAY:
        rest = level - room
        angle = 2.0 * np.pi * time / DAY
        design = np.column_stack(
            (np.ones_like(time), np.cos(angle), np.sin(angle), np.cos(2 * angle), np.sin(2 * angle))
        )
        coefficients, *_ = np.linalg.lstsq(design, rest, rcond=None)
        daily = design[:, 1:] @ coefficients[1:]
        centred = rest - rest.mean()
        left = rest - design @ coefficients
        if float(left @ left) < 0.5 * float(centred @ centred):
            room = room + daily
    return room, together
