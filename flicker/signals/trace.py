"""One channel through one run: start, baseline, noise, thresholds, observed time, excursions.

Composes the rooms of this folder. Log in, frozen `Trace` objects out; knows nothing of verdicts.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from flicker.logs.model import Gap, Log, LogError, Run
from flicker.logs.spans import elapsed, holds, spans, total, within, without
from flicker.signals.baseline import Baseline, fit_baseline
from flicker.signals.blocks import RunBlocks, reduce_log
from flicker.signals.excursions import Excursions, Scanner, episode_numbers, scan_run
from flicker.signals.settings import Settings
from flicker.signals.startup import Start, find_start
from flicker.stats.noise import noise_sigma, resolution_of

Floats = NDArray[np.float64]

LEAVE_SHARE = 0.75  # of the entering threshold: wide enough that noise does not chatter, narrow enough to time the end
COUNTS = 4.0  # the entering threshold is never below four steps of the last digit
SIGMAS = 6.0


@dataclass(frozen=True, slots=True)
class Trace:
    """One channel in one run; times in seconds since the run's first sample.

    ``observed`` are the intervals in which an excursion could have been seen, shape (n, 2); ``unobserved`` says why the
    rest was not. ``episode`` numbers the episode of each excursion within the run. ``settled_s``/``settled_V`` are
    cells of some ten seconds with the surge removed, ``residual_V`` a subsample of the signal less its baseline.
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
    episode: NDArray[np.int64]
    residual_s: Floats
    residual_V: Floats
    power_up_seen: bool

    @property
    def observed_s(self) -> float:
        """Seconds in which an excursion could have been seen."""
        return total(self.observed)

    @property
    def level_V(self) -> float | None:
        """Settled level: the middle of the baseline over observed time."""
        if self.baseline is None:
            return None
        return float(np.median(self.baseline.knot_V))

    def episode_table(self) -> tuple[Floats, Floats, Floats]:
        """Start, end and largest deviation (signed) of each episode."""
        if self.episode.size == 0:
            return np.empty(0), np.empty(0), np.empty(0)
        first = np.flatnonzero(np.concatenate(([True], np.diff(self.episode) > 0)))
        last = np.concatenate((first[1:], [self.episode.size]))
        size = np.abs(self.excursions.deviation_V)
        best = np.array([a + int(np.argmax(size[a:b])) for a, b in zip(first, last, strict=True)])
        end = np.array([self.excursions.end_s[a:b].max() for a, b in zip(first, last, strict=True)])
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


def trace_log(log: Log, settings: Settings, *, first_run: int = 0) -> list[RunTraces]:
    """Take a log to pieces: runs, and per channel baseline, noise, observed time and excursions.

    Raises
    ------
    LogError
        If the log holds no finite reading at all.
    """
    out = []
    reduced = reduce_log(log)
    if not any(np.any(channel.finite > 0) for blocks in reduced for channel in blocks.channels):
        raise LogError(
            f"{log.source.name}: no reading is a number; nothing can be judged. Check the meter's range and leads."
        )
    for offset, blocks in enumerate(reduced):
        number = first_run + offset
        drafts = [_draft(log.channels[k], number, blocks, k, settings) for k in range(len(log.channels))]
        scanners = [
            None
            if draft.baseline is None
            else Scanner(draft.baseline.at, draft.enter_V, draft.leave_V, blocks.run.sample_interval_s)
            for draft in drafts
        ]
        found = scan_run(log, blocks, scanners)
        traces = tuple(_finish(draft, part, settings) for draft, part in zip(drafts, found, strict=True))
        out.append(RunTraces(blocks.run, number, blocks, traces))
    return out


def _draft(channel: str, number: int, blocks: RunBlocks, index: int, settings: Settings) -> Trace:
    part = blocks.channels[index]
    run = blocks.run
    step = run.sample_interval_s
    covered = spans(_covered(blocks, step))
    readable = part.finite > 0
    dumb = spans(
        (float(b), float(e) + step) for b, e in zip(blocks.begin_s[~readable], blocks.end_s[~readable], strict=True)
    )
    reasons = []
    for begin, end in dumb:
        inside = (blocks.begin_s >= begin) & (blocks.end_s <= end)
        over = bool(np.any(part.over_high[inside] + part.over_low[inside] > 0))
        # A short stretch over range is part of an excursion and was seen; a long one hides what happens.
        if not over or end - begin > settings.long_episode_s:
            reasons.append(Gap(float(begin), float(end), "over range" if over else "no reading", channel))
    hidden = spans((gap.start_s, gap.end_s) for gap in reasons)
    observed = without(covered, hidden)
    resolution = resolution_of(part.sample_V[np.isfinite(part.sample_V)])
    centre = blocks.centre_s
    usable = readable & holds(observed, centre)
    if np.count_nonzero(usable) < 3:
        return _blank(channel, number, resolution, tuple(reasons), settings)
    time, middle = centre[usable], part.middle[usable]
    rough = noise_sigma(np.diff(middle)) / np.sqrt(2.0) if middle.size > 3 else 0.0
    start = find_start(
        time, middle, part.low[usable], part.high[usable], band_V=settings.settle_band_V, sigma_V=rough, begin_s=0.0
    )
    if start is not None:
        surge = Gap(start.begin_s, start.end_s, "power-up surge", channel)
        reasons.append(surge)
        observed = without(observed, spans([(surge.start_s, surge.end_s)]))
        after = time >= start.end_s
    else:
        after = np.ones(time.size, dtype=bool)
    if np.count_nonzero(after) < 3:
        return _blank(channel, number, resolution, tuple(reasons), settings)
    baseline = fit_baseline(
        time[after],
        middle[after],
        start=start,
        excursion_V=settings.excursion_V,
        long_episode_s=settings.long_episode_s,
        follow_s=settings.baseline_follow_s,
    )
    seen = holds(observed, part.sample_s) & np.isfinite(part.sample_V)
    residual_s = part.sample_s[seen]
    residual = part.sample_V[seen] - baseline.at(residual_s)
    # The readings carry the steps of the last digit, the residual no longer does: sigma from readings where they are coarse.
    sigma = _sigma(part.sample_V[seen], residual, resolution)
    enter = max(settings.excursion_V, _sigmas(run.samples) * sigma, COUNTS * resolution)
    return Trace(
        channel=channel,
        run=number,
        start=start,
        baseline=baseline,
        sigma_V=sigma,
        resolution_V=resolution,
        enter_V=enter,
        leave_V=LEAVE_SHARE * enter,
        observed=observed,
        unobserved=tuple(reasons),
        warm_up_until_s=settings.warm_up_s if start is not None else 0.0,
        excursions=_no_excursions(),
        episode=np.empty(0, dtype=np.int64),
        residual_s=residual_s,
        residual_V=residual,
        power_up_seen=start is not None,
    )


def _sigmas(samples: int) -> float:
    """Sigmas that white noise passes once in a thousand logs of this many samples, and never fewer than six."""
    from scipy.special import ndtri

    return max(SIGMAS, 0.5 - float(ndtri(0.0005 / max(samples, 1))))


def _sigma(readings: Floats, residual: Floats, resolution: float) -> float:
    if residual.size == 0:
        return 0.0
    fine = noise_sigma(residual, resolution=0.0)
    if resolution > 0.0 and fine < 2.0 * resolution:
        # Coarse last digit: take sigma over stretches short enough for the baseline not to move, and the middle of those.
        parts = np.array_split(readings, max(1, min(24, readings.size // 200)))
        return float(np.median([noise_sigma(part, resolution=resolution) for part in parts if part.size]))
    return fine


def _covered(blocks: RunBlocks, step: float) -> list[tuple[float, float]]:
    first = np.flatnonzero(blocks.after_gap)
    last = np.concatenate((first[1:], [blocks.after_gap.size])) - 1
    return [(float(blocks.begin_s[a]), float(blocks.end_s[b]) + step) for a, b in zip(first, last, strict=True)]


def _no_excursions() -> Excursions:
    flags = np.empty(0, dtype=bool)
    return Excursions(np.empty(0), np.empty(0), np.empty(0), np.empty(0), flags, flags)


def _blank(channel: str, number: int, resolution: float, reasons: tuple[Gap, ...], settings: Settings) -> Trace:
    return Trace(
        channel=channel,
        run=number,
        start=None,
        baseline=None,
        sigma_V=0.0,
        resolution_V=resolution,
        enter_V=settings.excursion_V,
        leave_V=LEAVE_SHARE * settings.excursion_V,
        observed=np.empty((0, 2)),
        unobserved=reasons,
        warm_up_until_s=0.0,
        excursions=_no_excursions(),
        episode=np.empty(0, dtype=np.int64),
        residual_s=np.empty(0),
        residual_V=np.empty(0),
        power_up_seen=False,
    )


def _finish(draft: Trace, found: Excursions, settings: Settings) -> Trace:
    """Keep the excursions that begin in observed time; where observed time ends inside one, it is cut there."""
    if found.count == 0:
        return draft
    middle = np.minimum(found.start_s, found.end_s)
    keep = holds(draft.observed, middle)
    found = found.select(keep)
    if found.count == 0:
        return draft
    place = np.searchsorted(draft.observed[:, 0], found.start_s, side="right") - 1
    limit = draft.observed[place, 1]
    cut = found.cut | (found.end_s > limit + 1e-9)
    found = replace(found, end_s=np.minimum(found.end_s, limit), cut=cut)
    episode = episode_numbers(found.start_s, found.end_s, settings.dead_time_s)
    return replace(draft, excursions=found, episode=episode)


def phase_spans(trace: Trace, phase: str) -> Floats:
    """Observed intervals of a phase: 'warm-up' after a seen power-up, 'settled' for the rest."""
    if phase == "warm-up":
        return within(trace.observed, 0.0, trace.warm_up_until_s)
    return within(trace.observed, trace.warm_up_until_s, np.inf)
