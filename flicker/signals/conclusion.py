"""What takes the whole run to say of a channel: its excursions, life, side of the relay, power states, cautions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from flicker.base.limits import Limits
from flicker.base.values import Unobserved
from flicker.logs.model import Run
from flicker.logs.spans import holds, spans
from flicker.signals.blocks import ChannelBlocks, RunBlocks
from flicker.signals.connection.disconnection import Lapse
from flicker.signals.connection.movement import ZERO_V
from flicker.signals.connection.reasons import Surety, Told
from flicker.signals.connection.states import state_spans
from flicker.signals.excursions import Excursions, episode_numbers
from flicker.signals.read_again import stretches
from flicker.signals.trace_model import Trace


def finish(draft: Trace, found: Excursions, blocks: RunBlocks, limits: Limits) -> Trace:
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
    opened = np.array([gap.start_s for gap in draft.unobserved if gap.reason == Unobserved.DISCONNECTED])
    if opened.size:
        block_s = float(np.median(blocks.end_s - blocks.begin_s)) + 2.0 * blocks.run.sample_interval_s
        after = np.searchsorted(opened, found.end_s - 1e-9)
        near = opened[np.minimum(after, opened.size - 1)] - found.end_s
        cut |= (after < opened.size) & (near <= 1.5 * block_s)
    found = replace(found, end_s=np.minimum(found.end_s, limit), cut=cut)
    episode = episode_numbers(found.start_s, found.end_s, limits.dead_time_s)
    return replace(draft, excursions=found, episode=episode)


def conclude(
    trace: Trace,
    blocks: RunBlocks,
    index: int,
    lapses: Sequence[Lapse],
    limits: Limits,
    doubts: Sequence[Lapse] = (),
) -> Trace:
    """Add what takes the whole run to say: life, side of the relay, power states, cautions."""
    part = blocks.channels[index]
    end_s = float(blocks.end_s[-1]) + blocks.run.sample_interval_s
    zero_V = max(ZERO_V, 2.0 * trace.resolution_V)
    level = trace.level_V
    moves = bool(np.any(part.low[part.finite > 0] != np.nanmin(part.low))) if np.any(part.finite > 0) else False
    shown = trace.power_up_seen or trace.excursions.count > 0
    shown = shown or (level is not None and abs(level) > max(zero_V, trace.sigma_V) and moves)  # whether it clears is the guard's to say
    opened = spans((lapse.begin_s, lapse.end_s) for lapse in lapses if lapse.reason == Unobserved.DISCONNECTED)
    side = trace.measured_at
    if opened.size:
        side = "speaker side"
    elif side == "unknown" and _stayed(part, blocks, limits):
        side = "amplifier side"
    surge_end = trace.start.end_s if trace.start is not None else 0.0
    return replace(
        trace,
        life="seen" if shown else "not shown",
        measured_at=side,
        disconnected=opened,
        doubted=spans((lapse.begin_s, lapse.end_s) for lapse in doubts),
        states=state_spans(end_s, lapses, surge_end, trace.relay_closed_s, shown or trace.observed.size > 0),
        told=tuple(_told(lapses, doubts, blocks.run)),
        cautions=() if trace.range_note is None else (f"{trace.channel}: {trace.range_note}.",),
    )


def _stayed(part: ChannelBlocks, blocks: RunBlocks, limits: Limits) -> bool:
    """Did an offset stay, of one sign, for longer than a relay takes to open?"""
    with np.errstate(invalid="ignore"):
        beyond = (part.low > limits.protection_V) | (part.high < -limits.protection_V)
    hold_s = limits.trip_delay_s + 2.0
    return any(float(blocks.end_s[b - 1] - blocks.begin_s[a]) >= hold_s for a, b in stretches(beyond, blocks.after_gap))


def _told(lapses: Sequence[Lapse], doubts: Sequence[Lapse], run: Run) -> Iterator[Told]:
    """What of a run must be said: each reason once."""
    for reason in dict.fromkeys(x.reason for x in lapses if not x.sure or x.reason in _ALWAYS):
        mine = [lapse for lapse in lapses if lapse.reason == reason]
        surety = Surety.SURE if all(lapse.sure for lapse in mine) else Surety.LIKELY
        yield Told(reason, surety, tuple((x.begin_s, x.end_s) for x in mine), run.start)
    for reason in dict.fromkeys(x.reason for x in doubts):
        yield Told(reason, Surety.DOUBT, tuple((x.begin_s, x.end_s) for x in doubts if x.reason == reason), run.start)


_ALWAYS = (
    Unobserved.OPEN_LEAD,
    Unobserved.REPEATED,
    Unobserved.STILL,
)  # the user must mend something: told even where it is sure
