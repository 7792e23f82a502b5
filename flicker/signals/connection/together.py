"""What the channels of one unit say of each other: one supply and, most often, one relay for all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from flicker.base.values import Unobserved
from flicker.signals.blocks import ChannelBlocks, RunBlocks
from flicker.signals.connection.disconnection import Lapse
from flicker.signals.connection.movement import SHORTEST_S


def overlap(one: Lapse, other: Lapse) -> float:
    """Seconds that two stretches have in common."""
    return max(0.0, min(one.end_s, other.end_s) - max(one.begin_s, other.begin_s))


def share(
    every: Sequence[Sequence[Lapse]], reason: Unobserved, blocks: RunBlocks, zero_V: Sequence[float]
) -> list[list[Lapse]]:
    """Say of all channels what one shows of the supply ('switched off') or the relay ('disconnected'), if they agree.

    What begins or ends otherwise in the other channel does so at once with the first: one supply, one relay.
    """
    out = [list(part) for part in every]
    off = reason == Unobserved.SWITCHED_OFF
    for channel, part in enumerate(every):
        for one in part:
            length = one.end_s - one.begin_s
            if one.reason != reason or (length < SHORTEST_S and not off):
                continue
            for other in (k for k in range(len(out)) if k != channel):
                own = [x for x in out[other] if overlap(x, one) > 0.5 * (x.end_s - x.begin_s)]
                if off:  # pick-up and a relay speak for a live unit
                    own = [x for x in own if x.reason not in (Unobserved.OPEN_LEAD, Unobserved.DISCONNECTED)]
                if any(x.reason == reason and (not off or x.begin_s <= one.begin_s) for x in own):
                    continue
                agrees = sum(overlap(x, one) for x in own) > 0.5 * length
                if not agrees and off:  # a channel whose digit never moves says nothing
                    agrees = _at_zero(blocks, other, one, zero_V[other]) if own else one.surge is not None
                if agrees:
                    out[other] = sorted(
                        [x for x in out[other] if x not in own] + [replace(one, surge=None)], key=_first
                    )
    return out


def _first(lapse: Lapse) -> int:
    return lapse.first


def _at_zero(blocks: RunBlocks, channel: int, off: Lapse, zero_V: float) -> bool:
    """Does a channel stand at zero while another one shows that the unit was off, its bump apart?"""
    inside = blocks.channels[channel].middle[max(off.first, 0) : off.last]
    inside = inside[np.isfinite(inside)]
    return inside.size > 0 and float(np.mean(np.abs(inside) <= zero_V)) > 0.5


def silent(part: ChannelBlocks, lapses: Sequence[Lapse], off: Lapse) -> bool:
    """Was a channel silent during most of a stretch (or is it one whose reading rarely moves)?"""
    covered = sum(overlap(x, off) for x in lapses if x.reason != Unobserved.OPEN_LEAD)
    if covered >= 0.5 * (off.end_s - off.begin_s):
        return True
    inside = part.high[off.first : off.last] - part.low[off.first : off.last]
    middle = part.middle[off.first : off.last]
    if not np.isfinite(middle).any():
        return True
    steps = np.abs(np.diff(middle[np.isfinite(middle)]))
    return bool(np.nanmean(inside > 0) < 0.02 and np.mean(steps > 0) < 0.05)
