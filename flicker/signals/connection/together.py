"""What the channels of one unit say of each other: one supply and, most often, one relay for all.

All rules here are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from flicker.base.values import Unobserved
from flicker.signals.blocks import ChannelBlocks, RunBlocks
from flicker.signals.connection.contrast import UNLIKE, swings
from flicker.signals.connection.disconnection import Lapse
from flicker.signals.connection.movement import LASTING_S, SHORTEST_S
from flicker.signals.order_statistics import scatter

# Where a line names no origin: chosen when the rules were made, not measured one by one; what the rules do together
# and each off in turn is measured in tests/studies/results/lead.md and connection.md.
TOGETHER_S = 10.0  # channels of one unit start, stop and lose their relay within this of each other


def _overlap(one: Lapse, other: Lapse) -> float:
    return max(0.0, min(one.end_s, other.end_s) - max(one.begin_s, other.begin_s))


def share_open(every: Sequence[Sequence[Lapse]], blocks: RunBlocks, zero_V: Sequence[float]) -> list[list[Lapse]]:
    """Say of all channels that the relay was open where one shows what tripped it and the others changed with it."""
    out = [list(part) for part in every]
    for channel, part in enumerate(every):
        for opened in part:
            if opened.reason != Unobserved.DISCONNECTED or opened.end_s - opened.begin_s < SHORTEST_S:
                continue
            for other in range(len(every)):
                if other == channel:
                    continue
                own = [x for x in out[other] if _overlap(x, opened) > 0.5 * (x.end_s - x.begin_s)]
                if any(x.reason == Unobserved.DISCONNECTED for x in own):
                    continue
                covered = sum(_overlap(x, opened) for x in own)
                length = opened.end_s - opened.begin_s
                if covered > 0.8 * length and sum(x.end_s - x.begin_s for x in own) < 1.2 * length:
                    named = [replace(opened, surge=None)]  # one relay: what tripped it tells when
                elif covered > 0.8 * length:
                    named = [replace(x, reason=Unobserved.DISCONNECTED, surge=None, sure=True, alone=True) for x in own]
                elif _changed(blocks, other, opened, zero_V[other]):
                    named = [opened]
                else:
                    continue
                out[other] = sorted([x for x in out[other] if x not in own] + named, key=lambda item: item.first)
    return out


def _changed(blocks: RunBlocks, channel: int, opened: Lapse, zero_V: float) -> bool:
    """Does a channel read otherwise while another channel's relay is open than in the minutes before?"""
    middle = blocks.channels[channel].middle
    before = middle[max(0, opened.first - 160) : opened.first]
    inside = middle[opened.first : min(opened.first + 160, opened.last)]
    before, inside = before[np.isfinite(before)], inside[np.isfinite(inside)]
    if before.size < 16 or inside.size < 16:
        return False
    if abs(float(np.median(inside) - np.median(before))) > 4.0 * scatter(before) + 0.5 * zero_V:
        return True
    if min(before.size, inside.size) < 96:
        return False
    ratio = np.log(np.median(swings(inside)) + 0.25 * zero_V) - np.log(np.median(swings(before)) + 0.25 * zero_V)
    return bool(abs(ratio) > np.log(UNLIKE))


def _at_zero(blocks: RunBlocks, channel: int, off: Lapse, zero_V: float) -> bool:
    """Does a channel stand at zero while another one shows that the unit was off, its bump apart?"""
    inside = blocks.channels[channel].middle[off.first : off.last]
    inside = inside[np.isfinite(inside)]
    return inside.size > 0 and float(np.mean(np.abs(inside) <= zero_V)) > 0.8


def share_off(
    part: list[Lapse], every: Sequence[Sequence[Lapse]], channel: int, blocks: RunBlocks, zero_V: float
) -> list[Lapse]:
    """Call a channel's stillness 'off' where another channel shows that the unit was off."""
    sure = [x for k, other in enumerate(every) if k != channel for x in other if x.reason == Unobserved.SWITCHED_OFF]
    out = []
    for other in sure:  # pieces of a stretch at zero are one stretch where another channel shows it whole
        own = [
            x
            for x in part
            if x.reason in (Unobserved.SWITCHED_OFF, Unobserved.STILL, Unobserved.REPEATED)
            and _overlap(x, other) > 0.5 * (x.end_s - x.begin_s)
        ]
        covered = sum(_overlap(x, other) for x in own)
        length = other.end_s - other.begin_s
        if own and covered < 0.95 * length and _at_zero(blocks, channel, other, zero_V):
            part = [x for x in part if x not in own] + [replace(other, surge=None)]
    for lapse in sorted(part, key=lambda item: item.first):
        for other in sure:
            if lapse.reason in (Unobserved.STILL, Unobserved.REPEATED) and _overlap(lapse, other) > 0.8 * (
                lapse.end_s - lapse.begin_s
            ):
                lapse = replace(lapse, reason=Unobserved.SWITCHED_OFF)
                break
        if lapse.reason == Unobserved.SWITCHED_OFF:  # one supply: what falls more slowly was switched off no later
            for other in sure:
                if other.begin_s < lapse.begin_s < min(other.end_s, other.begin_s + LASTING_S):
                    lapse = replace(lapse, first=other.first, begin_s=other.begin_s)
        out.append(lapse)
    for other in sure:  # a channel whose digit never moves says nothing; the unit was off all the same
        if other.surge is not None and not any(_overlap(x, other) > 0.0 for x in out):
            out.append(replace(other, surge=None))
    return sorted(out, key=lambda item: item.first)


def silent(part: ChannelBlocks, lapses: Sequence[Lapse], off: Lapse) -> bool:
    """Was a channel silent during most of a stretch (or is it one whose reading rarely moves)?"""
    covered = sum(_overlap(x, off) for x in lapses if x.reason != Unobserved.OPEN_LEAD)
    if covered >= 0.5 * (off.end_s - off.begin_s):
        return True
    inside = part.high[off.first : off.last] - part.low[off.first : off.last]
    middle = part.middle[off.first : off.last]
    if not np.isfinite(middle).any():
        return True
    steps = np.abs(np.diff(middle[np.isfinite(middle)]))
    return bool(np.nanmean(inside > 0) < 0.02 and np.mean(steps > 0) < 0.05)
