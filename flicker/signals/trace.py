"""One channel through one run: power states, start, baseline, noise, thresholds, observed time, excursions.

Composes the rooms of this folder. Log in, frozen `Trace` objects out; knows nothing of verdicts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from flicker.logs.model import Gap, Log, LogError, Run
from flicker.logs.spans import elapsed, holds, spans, total, within, without
from flicker.signals._movement import ZERO_V
from flicker.signals.baseline import Baseline, fit_between
from flicker.signals.blocks import ChannelBlocks, RunBlocks, reduce_log, split_blocks
from flicker.signals.cache import BlockCache
from flicker.signals.connection import Lapse, find_lapses
from flicker.signals.excursions import Excursions, Scanner, episode_numbers, scan_run, stretches
from flicker.signals.hands import NOTHING, Hands
from flicker.signals.levels import TwoLevels, find_two_levels
from flicker.signals.ranges import COUNTS, Ranges, find_ranges
from flicker.signals.settings import Settings
from flicker.signals.startup import Start, find_start
from flicker.signals.stash import Stash
from flicker.signals.states import PowerUp, StateSpan, find_power_ups, muted_until, state_spans
from flicker.stats.noise import noise_sigma, resolution_of

Floats = NDArray[np.float64]

LEAVE_SHARE = 0.75  # of the entering threshold: wide enough that noise does not chatter, narrow enough to time the end
SIGMAS = 6.0
STASH_SHARE = 0.65  # of the release threshold: relays that trip earlier are tried too
LIFE_V = 1e-4  # noise above this is no shorted lead or sleeping meter; common practice, no source
PICK_UP_V = 1.5e-3  # about zero, more than this may as well be a floating lead; common practice, no source


@dataclass(frozen=True, slots=True)
class Trace:
    """One channel in one run; times in seconds since the run's first sample.

    ``observed`` are the intervals in which an excursion could have been seen, shape (n, 2); ``unobserved`` says why the
    rest was not. ``episode`` numbers the episode of each excursion within the run. ``settled_s``/``settled_V`` are
    cells of some ten seconds with the surge removed, ``residual_V`` a subsample of the signal less its baseline.
    ``power_up_seen`` tells whether the run begins with a power-up; ``start_kind`` is cold, warm or unknown, by
    ``off_before_s`` (None where the log does not show it). ``states`` cut the run into off, starting, muted, on and
    unknown. ``life`` is 'seen' where the readings show a live output, else 'not shown'. ``measured_at`` is a guess:
    'speaker side' where a relay was seen to open or close, 'amplifier side' (or there is no relay) where an offset
    stayed that a relay would have cut, else 'unknown'. ``disconnected`` holds the openings seen, shape (n, 2).
    ``cautions`` are sentences about what a detector could not be sure of. ``hands`` are the marks on the run's clock;
    ``trial_observed`` is the observed time with the windows after a stimulus, ``tried`` the excursions in both.
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
    start_kind: str
    off_before_s: float | None
    states: tuple[StateSpan, ...]
    life: str
    measured_at: str
    disconnected: Floats
    two_levels: TwoLevels | None
    ranges: Ranges
    range_note: str | None
    cautions: tuple[str, ...]
    hands: Hands = NOTHING
    trial_observed: Floats | None = None
    tried: Excursions | None = None

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
        largest = np.flatnonzero(size == np.repeat(np.maximum.reduceat(size, first), last - first))
        best = largest[np.searchsorted(largest, first)]
        end = np.maximum.reduceat(self.excursions.end_s, first)
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


def trace_log(
    log: Log,
    settings: Settings,
    *,
    first_run: int = 0,
    hands: Mapping[str, Hands] | None = None,
    cache: BlockCache | None = None,
    alive: bool = True,
) -> list[RunTraces]:
    """Take a log to pieces: runs, and per channel baseline, noise, observed time and excursions.

    A run begins with a stretch of the log and at each power-up found in the data. ``hands`` holds the marks of each
    channel on the log's clock. ``cache`` keeps the blocks of the log's file, or has them already.
    ``alive`` is False for shorted leads, which show no sign of life and are observed all the same.

    Raises
    ------
    LogError
        If the log holds no finite reading at all.
    """
    stash = Stash(0.5 * settings.excursion_V, STASH_SHARE * settings.release_V, settings.reconnect_s + 1.0)
    kept = None if cache is None else cache.load(log, stash)
    reduced = reduce_log(log, stash) if kept is None else kept
    if not any(np.any(channel.finite > 0) for blocks in reduced for channel in blocks.channels):
        raise LogError(
            f"{log.source.name}: no reading is a number; nothing can be judged. Check the meter's range and leads."
        )
    if cache is not None and kept is None:
        cache.save(log, reduced, stash)
    out: list[RunTraces] = []
    for stretch in reduced:
        for blocks, lapses, power_up in _runs(stretch, settings, alive):
            out.append(_trace_run(log, first_run + len(out), blocks, lapses, power_up, settings, hands or {}))
    return out


_Pieces = list[tuple[RunBlocks, list[list[Lapse]], PowerUp | None]]


def _runs(stretch: RunBlocks, settings: Settings, alive: bool) -> _Pieces:
    """Split a stretch at its power-ups; a head in which the unit was off is no run of its own."""
    if not alive:
        return [(stretch, [[] for _ in stretch.channels], None)]
    digits = [resolution_of(part.sample_V[np.isfinite(part.sample_V)]) for part in stretch.channels]
    every = [
        find_lapses(
            stretch,
            k,
            ranges=_ranges(stretch, k, digit, ()),
            protection_V=settings.protection_V,
            band_V=settings.settle_band_V,
        )
        for k, digit in enumerate(digits)
    ]
    power_ups, lapses = find_power_ups(stretch, every, band_V=settings.settle_band_V, resolutions_V=digits)
    pieces = split_blocks(stretch, [item.block for item in power_ups])
    out: _Pieces = []
    for number, blocks in enumerate(pieces):
        first = power_ups[number - 1].block if number else 0
        own = [[_shifted(lapse, first, blocks) for lapse in part if _touches(lapse, first, blocks)] for part in lapses]
        whole = blocks.row.size
        if number == 0 and power_ups and all(any(x.first <= 2 and x.last >= whole for x in part) for part in own):
            note = f"the log begins {blocks.run.duration_s:.0f} s before the unit was switched on"
            pieces[1] = replace(pieces[1], run=replace(pieces[1].run, notes=(*blocks.run.notes, note)))
            continue
        out.append((blocks, own, power_ups[number - 1] if number else None))
    return out


def _touches(lapse: Lapse, first: int, blocks: RunBlocks) -> bool:
    return lapse.first < first + blocks.row.size and lapse.last > first


def _shifted(lapse: Lapse, first: int, blocks: RunBlocks) -> Lapse:
    end_s = float(blocks.end_s[-1]) + blocks.run.sample_interval_s
    a, b = max(lapse.first - first, 0), min(lapse.last - first, blocks.row.size)
    return replace(
        lapse,
        first=a,
        last=b,
        begin_s=float(blocks.begin_s[a]),
        end_s=float(blocks.begin_s[b]) if b < blocks.row.size else end_s,
    )


def _trace_run(
    log: Log,
    number: int,
    blocks: RunBlocks,
    lapses: Sequence[Sequence[Lapse]],
    power_up: PowerUp | None,
    settings: Settings,
    hands: Mapping[str, Hands],
) -> RunTraces:
    length_s = blocks.run.duration_s + blocks.run.sample_interval_s
    mine = [hands.get(name, NOTHING).on_clock(blocks.run.offset_s, length_s) for name in log.channels]
    drafts = [
        _draft(name, number, blocks, k, lapses[k], power_up, settings, mine[k]) for k, name in enumerate(log.channels)
    ]
    scanners = [
        None
        if draft.baseline is None
        else Scanner(
            draft.baseline.at,
            draft.enter_V,
            draft.leave_V,
            blocks.run.sample_interval_s,
            recover_s=settings.recover_s,
            upper_V=draft.ranges.upper_V,
            changes_s=draft.ranges.changes_s,
        )
        for draft in drafts
    ]
    found = scan_run(log, blocks, scanners)
    traces = tuple(
        _conclude(_finish(draft, part, blocks, settings), blocks, k, lapses[k], settings)
        for k, (draft, part) in enumerate(zip(drafts, found, strict=True))
    )
    return RunTraces(blocks.run, number, blocks, traces)


def _draft(
    channel: str,
    number: int,
    blocks: RunBlocks,
    index: int,
    lapses: Sequence[Lapse],
    power_up: PowerUp | None,
    settings: Settings,
    hands: Hands,
) -> Trace:
    part = blocks.channels[index]
    run = blocks.run
    step = run.sample_interval_s
    covered = spans(_covered(blocks, step))
    readable = part.finite > 0
    dumb = spans(np.column_stack((blocks.begin_s[~readable], blocks.end_s[~readable] + step)))
    over_range = np.concatenate(([0], np.cumsum(part.over_high + part.over_low > 0)))
    inside = (np.searchsorted(blocks.begin_s, dumb[:, 0]), np.searchsorted(blocks.begin_s, dumb[:, 1] - 0.5 * step))
    hides = over_range[inside[1]] > over_range[inside[0]]
    reasons = [Gap(lapse.begin_s, lapse.end_s, lapse.reason, channel) for lapse in lapses]
    reasons.extend(Gap(float(a), float(b), "touched, by the marks", channel) for a, b in hands.touched)
    for (begin, end), over in zip(dumb.tolist(), hides.tolist(), strict=True):
        # A short stretch over range is part of an excursion and was seen; a long one hides what happens.
        if not over or end - begin > settings.long_episode_s:
            reasons.append(Gap(begin, end, "over range" if over else "no reading", channel))
    resolution = resolution_of(part.sample_V[np.isfinite(part.sample_V)])
    ranges = _ranges(blocks, index, resolution, lapses)
    usual = settings.excursion_V
    if any(COUNTS * span.resolution_V <= usual for span in ranges.spans):
        reasons.extend(
            Gap(span.begin_s, span.end_s, "this range cannot tell", channel)
            for span in ranges.spans
            if COUNTS * span.resolution_V > usual
        )
    muted = None
    if not any(lapse.first == 0 for lapse in lapses):
        muted = muted_until(part, blocks, band_V=settings.settle_band_V, zero_V=max(ZERO_V, 2.0 * resolution))
        if muted is not None:
            reasons.append(Gap(0.0, muted, "muted", channel))
    observed = without(covered, spans((gap.start_s, gap.end_s) for gap in reasons))
    blank = _Blank(channel, number, resolution, ranges, power_up, settings)
    centre = blocks.centre_s
    usable = readable & holds(observed, centre)
    if np.count_nonzero(usable) < 3:
        return blank.trace(tuple(reasons))
    time, middle = centre[usable], part.middle[usable]
    rough = noise_sigma(np.diff(middle)) / np.sqrt(2.0) if middle.size > 3 else 0.0
    start = None
    if not any(lapse.first == 0 for lapse in lapses):
        start = find_start(
            time,
            middle,
            part.low[usable],
            part.high[usable],
            band_V=settings.settle_band_V,
            sigma_V=rough,
            begin_s=muted or 0.0,
        )
    if start is not None:
        surge = Gap(start.begin_s, start.end_s, "power-up surge", channel)
        reasons.append(surge)
        observed = without(observed, spans([(surge.start_s, surge.end_s)]))
        after = time >= start.end_s
    else:
        after = np.ones(time.size, dtype=bool)
    if np.count_nonzero(after) < 3:
        return blank.trace(tuple(reasons))
    baseline = fit_between(
        time[after],
        middle[after],
        breaks_s=hands.breaks_s,
        start=start,
        excursion_V=settings.excursion_V,
        long_episode_s=settings.long_episode_s,
        follow_s=settings.baseline_follow_s,
    )
    seen = holds(observed, part.sample_s) & np.isfinite(part.sample_V)
    residual_s = part.sample_s[seen]
    residual = part.sample_V[seen] - baseline.at(residual_s)
    # The readings carry the steps of the last digit, the residual no longer does: sigma from readings where they are
    # coarse; noise is taken on the finest range alone.
    finest = _on_finest(ranges, residual_s)
    digit = min((span.resolution_V for span in ranges.spans), default=resolution)
    sigma = _sigma(part.sample_V[seen][finest], residual[finest], digit)
    coarsest = max((s.resolution_V for s in ranges.spans if COUNTS * s.resolution_V <= usual), default=resolution)
    enter = max(usual, _sigmas(run.samples) * sigma, COUNTS * coarsest)
    begun = start is not None or power_up is not None
    fitted = middle[after] if start is None else middle[after] - start.curve(time[after])
    reasons.extend(Gap(float(a), float(b), "after a stimulus, by the marks", channel) for a, b in hands.windows)
    return replace(
        blank.trace(tuple(reasons)),
        hands=hands,
        trial_observed=observed,
        start=start,
        baseline=baseline,
        sigma_V=sigma,
        enter_V=enter,
        leave_V=LEAVE_SHARE * enter,
        observed=without(observed, hands.windows),
        warm_up_until_s=settings.warm_up_s if begun else 0.0,
        residual_s=residual_s,
        residual_V=residual,
        power_up_seen=begun,
        measured_at="speaker side" if muted is not None else "unknown",
        two_levels=find_two_levels(time[after], fitted, most_V=enter, resolution_V=coarsest),
    )


def _ranges(blocks: RunBlocks, index: int, resolution: float, lapses: Sequence[Lapse]) -> Ranges:
    part = blocks.channels[index]
    end_s = float(blocks.end_s[-1]) + blocks.run.sample_interval_s
    out = spans((lapse.begin_s, lapse.end_s) for lapse in lapses)
    good = np.isfinite(part.sample_V) & ~holds(out, part.sample_s)
    extremes = np.concatenate((part.low, part.high))
    return find_ranges(part.sample_s[good], part.sample_V[good], extremes[np.isfinite(extremes)], resolution, end_s)


def _on_finest(ranges: Ranges, time_s: Floats) -> NDArray[np.bool_]:
    if len(ranges.spans) < 2:
        return np.ones(time_s.size, dtype=bool)
    digit = min(span.resolution_V for span in ranges.spans)
    chosen = holds(spans((s.begin_s, s.end_s) for s in ranges.spans if s.resolution_V == digit), time_s)
    return chosen if np.count_nonzero(chosen) >= 200 else np.ones(time_s.size, dtype=bool)


def _sigmas(samples: int) -> float:
    """Sigmas that white noise passes once in a thousand logs of this many samples, and never fewer than six."""
    from scipy.special import ndtri

    return max(SIGMAS, 0.5 - float(ndtri(0.0005 / max(samples, 1))))


def _sigma(readings: Floats, residual: Floats, resolution: float) -> float:
    if residual.size == 0:
        return 0.0
    fine = noise_sigma(residual, resolution=0.0)
    if resolution > 0.0 and fine < 2.0 * resolution:
        # Coarse last digit: the middle of the sigmas of stretches short enough for the baseline not to move.
        parts = np.array_split(readings, max(1, min(24, readings.size // 200)))
        return float(np.median([noise_sigma(part, resolution=resolution) for part in parts if part.size]))
    return fine


def _covered(blocks: RunBlocks, step: float) -> Floats:
    first = np.flatnonzero(blocks.after_gap)
    last = np.concatenate((first[1:], [blocks.after_gap.size])) - 1
    return np.column_stack((blocks.begin_s[first], blocks.end_s[last] + step))


def _no_excursions() -> Excursions:
    flags = np.empty(0, dtype=bool)
    return Excursions(np.empty(0), np.empty(0), np.empty(0), np.empty(0), flags, flags)


@dataclass(frozen=True, slots=True)
class _Blank:
    """What is known of a channel before its readings are looked at."""

    channel: str
    number: int
    resolution: float
    ranges: Ranges
    power_up: PowerUp | None
    settings: Settings

    def trace(self, reasons: tuple[Gap, ...]) -> Trace:
        """A trace in which nothing was observed."""
        before = None if self.power_up is None else self.power_up.off_before_s
        kind = "unknown" if before is None else "cold" if before >= self.settings.cold_after_s else "warm"
        return Trace(
            channel=self.channel,
            run=self.number,
            start=None,
            baseline=None,
            sigma_V=0.0,
            resolution_V=self.resolution,
            enter_V=self.settings.excursion_V,
            leave_V=LEAVE_SHARE * self.settings.excursion_V,
            observed=np.empty((0, 2)),
            unobserved=tuple(sorted(reasons, key=lambda gap: gap.start_s)),
            warm_up_until_s=0.0,
            excursions=_no_excursions(),
            episode=np.empty(0, dtype=np.int64),
            residual_s=np.empty(0),
            residual_V=np.empty(0),
            power_up_seen=self.power_up is not None,
            start_kind=kind,
            off_before_s=before,
            states=(),
            life="not shown",
            measured_at="unknown",
            disconnected=np.empty((0, 2)),
            two_levels=None,
            ranges=self.ranges,
            range_note=self.ranges.cannot_tell(self.settings.excursion_V),
            cautions=(),
        )


def _finish(draft: Trace, found: Excursions, blocks: RunBlocks, settings: Settings) -> Trace:
    """Keep the excursions that begin in observed time; where observed time ends inside one, it is cut there."""
    if found.count == 0:
        return draft
    if draft.hands.windows.size and draft.trial_observed is not None:
        draft = replace(draft, tried=found.select(holds(draft.trial_observed, found.start_s)))
    found = found.select(holds(draft.observed, found.start_s))
    if found.count == 0:
        return draft
    place = np.searchsorted(draft.observed[:, 0], found.start_s, side="right") - 1
    limit = draft.observed[place, 1]
    cut = found.cut | (found.end_s > limit + 1e-9)
    # A relay opens within a block: what ends so close before is cut by it.
    opened = np.array([gap.start_s for gap in draft.unobserved if gap.reason == "disconnected"])
    if opened.size:
        block_s = float(np.median(blocks.end_s - blocks.begin_s)) + 2.0 * blocks.run.sample_interval_s
        after = np.searchsorted(opened, found.end_s - 1e-9)
        near = opened[np.minimum(after, opened.size - 1)] - found.end_s
        cut |= (after < opened.size) & (near <= 1.5 * block_s)
    found = replace(found, end_s=np.minimum(found.end_s, limit), cut=cut)
    episode = episode_numbers(found.start_s, found.end_s, settings.dead_time_s)
    return replace(draft, excursions=found, episode=episode)


def _conclude(trace: Trace, blocks: RunBlocks, index: int, lapses: Sequence[Lapse], settings: Settings) -> Trace:
    """Add what takes the whole run to say: life, side of the relay, power states, cautions."""
    part = blocks.channels[index]
    end_s = float(blocks.end_s[-1]) + blocks.run.sample_interval_s
    zero_V = max(ZERO_V, 2.0 * trace.resolution_V)
    level = trace.level_V
    moves = bool(np.any(part.low[part.finite > 0] != np.nanmin(part.low))) if np.any(part.finite > 0) else False
    shown = trace.power_up_seen or trace.excursions.count > 0
    shown = shown or (level is not None and abs(level) > max(zero_V, 0.5 * trace.sigma_V) and moves)
    # Without any of these, noise above a meter's own floor and below pick-up is the sign of life that is left.
    life = "seen" if shown or (moves and LIFE_V <= trace.sigma_V <= PICK_UP_V) else "not shown"
    opened = spans((lapse.begin_s, lapse.end_s) for lapse in lapses if lapse.kind == "disconnected")
    side = trace.measured_at
    if opened.size:
        side = "speaker side"
    elif side == "unknown" and _stayed(part, blocks, settings):
        side = "amplifier side"
    surge_end = trace.start.end_s if trace.start is not None else 0.0
    muted = next((gap.end_s for gap in trace.unobserved if gap.reason == "muted"), None)
    return replace(
        trace,
        life=life,
        measured_at=side,
        disconnected=opened,
        states=state_spans(end_s, lapses, surge_end, muted, shown or trace.observed.size > 0),
        cautions=tuple(_cautions(trace, lapses, life)),
    )


def _stayed(part: ChannelBlocks, blocks: RunBlocks, settings: Settings) -> bool:
    """Did an offset stay, of one sign, for longer than a relay takes to open?"""
    with np.errstate(invalid="ignore"):
        beyond = (part.low > settings.protection_V) | (part.high < -settings.protection_V)
    hold_s = settings.trip_delay_s + 2.0
    return any(float(blocks.end_s[b - 1] - blocks.begin_s[a]) >= hold_s for a, b in stretches(beyond, blocks.after_gap))


_ADVICE = {
    "off": "reads like a unit that is switched off",
    "disconnected": "reads like an open output relay or a lead that came off",
    "floating": "reads like an open lead that picks up hum; if the lead was on, it is the output that became restless",
    "repeats": "repeats one reading; check that the meter was awake and the logger running",
    "still": "stands at zero with less noise than before; check leads and clips",
    "muted": "is muted",
}


def _cautions(trace: Trace, lapses: Sequence[Lapse], life: str) -> list[str]:
    out = []
    for kind in dict.fromkeys(lapse.kind for lapse in lapses if not lapse.sure or lapse.kind in _ALWAYS):
        mine = [lapse for lapse in lapses if lapse.kind == kind]
        seconds = sum(lapse.end_s - lapse.begin_s for lapse in mine)
        out.append(
            f"{trace.channel}: {_clock(seconds)} from {_clock(mine[0].begin_s)} on {_ADVICE[kind]}; "
            "that time does not count as observed."
        )
    if trace.range_note is not None:
        out.append(f"{trace.channel}: {trace.range_note}.")
    if life == "not shown":
        out.append(
            f"{trace.channel}: nothing shows that a live output was being measured; switch the unit off and on once "
            "while logging (no loudspeaker connected), so that the log shows its start."
        )
    return out


_ALWAYS = ("floating", "repeats", "still")


def _clock(seconds: float) -> str:
    if seconds < 120:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.1f} h"


def phase_spans(trace: Trace, phase: str) -> Floats:
    """Observed intervals of a phase: 'warm-up' after a seen power-up, 'settled' for the rest."""
    if phase == "warm-up":
        return within(trace.observed, 0.0, trace.warm_up_until_s)
    return within(trace.observed, trace.warm_up_until_s, np.inf)
