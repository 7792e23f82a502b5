"""What can be said of a channel in a run before its excursions are known: observed time, start, baseline, thresholds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from flicker.base.arrays import Bools, Floats
from flicker.base.limits import Limits
from flicker.base.middle import median
from flicker.base.values import Unobserved
from flicker.logs.model import Gap
from flicker.logs.spans import holds, spans, without
from flicker.signals.baseline import fit_between
from flicker.signals.blocks import ChannelBlocks, RunBlocks
from flicker.signals.connection.disconnection import Lapse
from flicker.signals.connection.movement import ZERO_V
from flicker.signals.connection.open_start import relay_closed_at
from flicker.signals.connection.states import SwitchOn
from flicker.signals.excursions import Excursions
from flicker.signals.guard.figures import BY_PLAN
from flicker.signals.mark_windows import Hands
from flicker.signals.ranges import COUNTS, Ranges, find_ranges
from flicker.signals.startup import find_start
from flicker.signals.trace_model import Trace
from flicker.stats.jumps import reading_sigma
from flicker.stats.noise import noise_sigma

# of the entering threshold: wide enough that noise does not chatter, narrow enough to time the end; chosen
# (DEVELOPERS.md, decisions)
LEAVE_SHARE = 0.75
FEWEST = 100  # readings that tell by which plan the rows between are empty; a choice
SIGMAS = 6.0  # common practice, no source: Gaussian noise passes six sigma once in 5e8 readings


class RunPiece(NamedTuple):
    """A run before its channels are traced, with the stretches of each channel that show no live output, or may show none.

    ``power_up`` begins it; one that ``goes_on`` continues the run before and has no start.
    """

    blocks: RunBlocks
    lapses: Sequence[Sequence[Lapse]]
    doubts: Sequence[Sequence[Lapse]]
    power_up: SwitchOn | None
    number: int = 0
    goes_on: bool = False


def draft_trace(
    piece: RunPiece, index: int, channel: str, first: tuple[Floats, Floats], hands: Hands, limits: Limits, digit_V: float | None
) -> Trace:
    """One channel of a run before its excursions are known."""
    blocks, lapses, power_up = piece.blocks, piece.lapses[index], piece.power_up
    part = blocks.channels[index]
    run = blocks.run
    resolution = part.digit_V
    if digit_V is not None:  # a shorted lead may show nothing but zero, and then only its events have digits
        resolution = min(resolution, digit_V)
    ranges = ranges_of(blocks, index, resolution, lapses)
    usual = limits.excursion_V
    reasons = [Gap(lapse.begin_s, lapse.end_s, lapse.reason, channel) for lapse in lapses]
    reasons.extend(Gap(float(a), float(b), Unobserved.TOUCHED, channel) for a, b in hands.touched)
    reasons.extend(_unread(blocks, part, channel, limits.long_episode_s))
    reasons.extend(_too_coarse(ranges, channel, usual))
    muted = None
    begins = not piece.goes_on and not any(lapse.first == 0 for lapse in lapses)
    if begins:
        zero = max(ZERO_V, 2.0 * resolution)
        muted = relay_closed_at(*first, resolution_V=resolution, zero_V=zero, step_V=limits.settle_band_V)
        if muted is not None:
            reasons.append(Gap(0.0, muted, Unobserved.MUTED, channel))
    covered = spans(_covered(blocks, run.sample_interval_s))
    observed = without(covered, spans((gap.start_s, gap.end_s) for gap in reasons))
    blank = _Blank(
        channel=channel, number=piece.number, resolution=resolution, ranges=ranges, power_up=power_up, limits=limits
    )
    centre = blocks.centre_s
    usable = (part.finite > 0) & holds(observed, centre)
    if np.count_nonzero(usable) < 3:
        return blank.trace(tuple(reasons))
    time, middle = centre[usable], part.middle[usable]
    rough = noise_sigma(np.diff(middle)) / np.sqrt(2.0) if middle.size > 3 else 0.0
    start = None
    if begins:
        start = find_start(
            time,
            middle,
            part.low[usable],
            part.high[usable],
            band_V=limits.settle_band_V,
            sigma_V=rough,
            begin_s=muted or 0.0,
        )
    if start is not None:
        surge = Gap(start.begin_s, start.end_s, Unobserved.SURGE, channel)
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
        excursion_V=limits.excursion_V,
        long_episode_s=limits.long_episode_s,
        follow_s=limits.baseline_follow_s,
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
    # From reading to reading: jumps, drift and wander do not raise the threshold, so that none of them hides a swing.
    chosen = part.sample_V[seen][finest]
    step_sigma = reading_sigma(chosen, resolution=digit) if chosen.size > 1 else 0.0
    enter = max(usual, _sigmas(run.samples) * step_sigma, COUNTS * coarsest)
    begun = any(item is not None for item in (start, power_up, muted))
    reasons.extend(Gap(float(a), float(b), Unobserved.STIMULUS, channel) for a, b in hands.windows)
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
        warm_up_until_s=limits.warm_up_s if begun else 0.0,
        residual_s=residual_s,
        residual_V=residual,
        power_up_seen=begun,
        measured_at="speaker side" if muted is not None else "unknown",
        relay_closed_s=muted,
    )


def _unread(blocks: RunBlocks, part: ChannelBlocks, channel: str, long_s: float) -> list[Gap]:
    """Stretches of blocks without a finite reading.

    A short stretch over range is part of an excursion and was seen; a long one hides what happens.
    """
    mute, step = part.finite == 0, blocks.run.sample_interval_s
    dumb = spans(np.column_stack((blocks.begin_s[mute], blocks.end_s[mute] + step)))
    lasts_s, single = dumb[:, 1] - dumb[:, 0], int(np.count_nonzero(~mute))
    usual_s = median(lasts_s) if lasts_s.size >= FEWEST else 0.0
    if np.count_nonzero(np.abs(lasts_s - usual_s) < 0.5 * step) >= BY_PLAN * max(single, FEWEST):
        dumb = dumb[lasts_s > usual_s + 0.5 * step]  # a reading every so many rows: so often does the channel say something
    over_range = np.concatenate(([0], np.cumsum(part.over_high + part.over_low > 0)))
    first = np.searchsorted(blocks.begin_s, dumb[:, 0])
    last = np.searchsorted(blocks.begin_s, dumb[:, 1] - 0.5 * step)
    hides = over_range[last] > over_range[first]
    return [
        Gap(begin, end, Unobserved.OVER_RANGE if over else Unobserved.NO_READING, channel)
        for (begin, end), over in zip(dumb.tolist(), hides.tolist(), strict=True)
        if not over or end - begin > long_s
    ]


def _too_coarse(ranges: Ranges, channel: str, usual_V: float) -> list[Gap]:
    """Stretches on ranges whose last digit hides an excursion, where another range of the run shows it."""
    coarse = [span for span in ranges.spans if COUNTS * span.resolution_V > usual_V]
    if len(coarse) == len(ranges.spans):
        return []
    return [Gap(span.begin_s, span.end_s, Unobserved.COARSE_RANGE, channel) for span in coarse]


def ranges_of(blocks: RunBlocks, index: int, resolution: float, lapses: Sequence[Lapse]) -> Ranges:
    """Ranges of the meter over the run, by the last digit."""
    part = blocks.channels[index]
    end_s = float(blocks.end_s[-1]) + blocks.run.sample_interval_s
    out = spans((lapse.begin_s, lapse.end_s) for lapse in lapses)
    good = np.isfinite(part.sample_V) & ~holds(out, part.sample_s)
    return find_ranges(part.sample_s[good], part.sample_V[good], (part.low, part.high), resolution, end_s)


def _on_finest(ranges: Ranges, time_s: Floats) -> Bools:
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
    return Excursions(
        start_s=np.empty(0), end_s=np.empty(0), peak_V=np.empty(0), deviation_V=np.empty(0), cut=flags, over_range=flags
    )


class _Blank(NamedTuple):
    """What is known of a channel before its readings are looked at."""

    channel: str
    number: int
    resolution: float
    ranges: Ranges
    power_up: SwitchOn | None
    limits: Limits

    def trace(self, reasons: tuple[Gap, ...]) -> Trace:
        """A trace in which nothing was observed."""
        before = None if self.power_up is None else self.power_up.off_before_s
        kind = "unknown" if before is None else "cold" if before >= self.limits.cold_after_s else "warm"
        return Trace(
            channel=self.channel,
            run=self.number,
            start=None,
            baseline=None,
            sigma_V=0.0,
            resolution_V=self.resolution,
            enter_V=self.limits.excursion_V,
            leave_V=LEAVE_SHARE * self.limits.excursion_V,
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
            relay_closed_s=None,
            disconnected=np.empty((0, 2)),
            ranges=self.ranges,
            range_note=self.ranges.cannot_tell(self.limits.excursion_V),
            cautions=(),
        )
