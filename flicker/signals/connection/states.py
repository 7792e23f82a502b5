"""Power states of the unit: where in a stretch of the log it was off, starting, muted or on, and each power-up.

Lapses of all channels in, power-ups and states out. A power-up is found in the data: neither a new file nor a pause of
the logger is one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from flicker.base.values import Unobserved
from flicker.signals.blocks import RunBlocks
from flicker.signals.connection.disconnection import MOST, Lapse
from flicker.signals.connection.movement import (
    MOST_VISITS,
    SHORTEST_S,
    SUPPLY_S,
    TOGETHER_S,
    ZERO_V,
    rests_away,
    runs,
    surge_at,
    view_of,
)
from flicker.signals.connection.together import overlap, share, silent
from flicker.signals.startup import FIT_S


class StateSpan(NamedTuple):
    """A stretch in one power state: off, starting, muted, on or unknown; seconds since the run's first sample."""

    begin_s: float
    end_s: float
    state: str


@dataclass(frozen=True, slots=True)
class SwitchOn:
    """A power-up at a block of the stretch; ``off_before_s`` is how long the unit was seen off, at least."""

    block: int
    time_s: float
    off_before_s: float


def find_power_ups(
    blocks: RunBlocks, lapses: Sequence[Sequence[Lapse]], *, band_V: float, resolutions_V: Sequence[float]
) -> tuple[list[SwitchOn], list[list[Lapse]]]:
    """Find the power-ups of the unit in a stretch, in time order, and correct what the channels said by each other.

    ``lapses`` are those of each channel, as `find_lapses` gives them; a surge smaller than ``band_V`` is none. A channel
    is 'off' only where most others were not seen alive meanwhile.
    """
    zero_V = [max(ZERO_V, 2.0 * digit) for digit in resolutions_V]
    told = [[lapse for lapse in part if lapse.told] for part in lapses]
    proposed = [[lapse for lapse in part if not lapse.told] for part in lapses]
    lapses = share(proposed, Unobserved.DISCONNECTED, blocks, zero_V)
    borders: list[SwitchOn] = []
    agreed: list[list[Lapse]] = [[] for _ in lapses]
    # Glitches of a channel that hardly moves about zero look like bumps and surges: one that does move, or two, must show it.
    shown = [(k, x) for k, part in enumerate(lapses) for x in part if x.reason == Unobserved.SWITCHED_OFF]
    for channel, part in enumerate(lapses):
        for lapse in part:
            off, others = lapse.reason == Unobserved.SWITCHED_OFF, (k for k in range(len(lapses)) if k != channel)
            if off and not (lapse.alone or any(overlap(lapse, x) > 0.0 and k != channel for k, x in shown)):
                continue
            alive = [k for k in others if off and not silent(blocks.channels[k], lapses[k], lapse)]
            if len(alive) <= (len(lapses) - 1) // 2:
                agreed[channel].append(lapse)
                if off and lapse.surge is not None and lapse.last < blocks.row.size:
                    borders.append(SwitchOn(lapse.last, lapse.end_s, lapse.end_s - lapse.begin_s))
            elif lapse.alone:
                # Another channel was alive, so the unit was not off; this one stood still if it shows that by itself.
                agreed[channel].append(replace(lapse, reason=Unobserved.STILL, sure=False))
    for short in _dropouts(blocks, lapses, band_V, zero_V):
        borders.append(SwitchOn(short.last, short.end_s, short.end_s - short.begin_s))
        for part in agreed:
            part.append(short)
    borders.sort(key=lambda item: item.block)
    out: list[SwitchOn] = []
    for item in borders:
        if out and item.time_s - out[-1].time_s <= TOGETHER_S:
            # A channel may stir a block or two before the start; the last to say so is at the start.
            out[-1] = replace(item, off_before_s=max(out[-1].off_before_s, item.off_before_s))
        else:
            out.append(item)
    shared = share(agreed, Unobserved.SWITCHED_OFF, blocks, zero_V)
    for part, more in zip(shared, told, strict=True):
        part += [x for x in more if not any(x.first < own.last and own.first < x.last for own in part)]
    return out, shared


def _dropouts(
    blocks: RunBlocks, lapses: Sequence[Sequence[Lapse]], band_V: float, zero_V: Sequence[float]
) -> list[Lapse]:
    """Short mains dropouts: all channels jump at once, stand at zero for some seconds, and start again.

    Only where a second channel says the same, and where a channel that rests away from zero, or a surge, tells; a
    single channel must show both.
    """
    alone, telling = len(blocks.channels) < 2, False
    zero, jump = np.ones((2, blocks.row.size), dtype=bool)
    for part, limit in zip(blocks.channels, zero_V, strict=True):
        with np.errstate(invalid="ignore"):
            zero &= (np.abs(part.low) <= limit) & (np.abs(part.high) <= limit)
            step = np.fmax(np.abs(np.diff(part.low, prepend=np.nan)), np.abs(np.diff(part.high, prepend=np.nan)))
            near = np.fmax(step, part.high - part.low) > band_V
        jump &= near | np.roll(near, 1) | np.roll(near, -1)
        good = part.middle[np.isfinite(part.middle)]
        telling |= good.size > 0 and rests_away(good, limit)
    jump[: int(np.searchsorted(blocks.begin_s, TOGETHER_S))] = False
    for lapse in (lapse for part in lapses for lapse in part):
        jump[max(lapse.first - 3, 0) : lapse.last + 3] = False
    out: list[Lapse] = []
    index = np.flatnonzero(jump if telling or not alone else [])
    for first in index[np.diff(blocks.begin_s[index], prepend=-np.inf) > SHORTEST_S][:MOST].tolist():
        until = int(np.searchsorted(blocks.begin_s, blocks.begin_s[first] + SHORTEST_S))
        a, b = max(runs(zero[first:until]), key=lambda part: part[1] - part[0], default=(0, 0))
        last = first + b
        if last + 8 >= zero.size or blocks.begin_s[last] - blocks.begin_s[first + a] < SUPPLY_S:
            continue
        if (telling and not alone) or surges(blocks, last, band_V):
            ends_s = float(blocks.begin_s[first]), float(blocks.begin_s[last])
            out.append(Lapse(first, last, *ends_s, Unobserved.SWITCHED_OFF))
    return [] if alone and len(out) > MOST_VISITS else out  # a channel that often comes to zero has a level there


def surges(blocks: RunBlocks, first: int, band_V: float) -> bool:
    """Does some channel start at a block as after a power-up? A step that stays is none."""
    soon = np.arange(blocks.row.size) >= first
    soon &= blocks.begin_s <= blocks.begin_s[first] + 0.5 * FIT_S
    views = (view_of(blocks, part, 0.0, soon) for part in blocks.channels)
    return any(surge_at(view, 0, band_V) is not None for view in views)


def state_spans(
    end_s: float, lapses: Sequence[Lapse], start_until_s: float, muted_until_s: float | None, life: bool
) -> tuple[StateSpan, ...]:
    """Cut a run into power states; ``start_until_s`` is where the surge is over (0 where none was seen)."""
    muted, rest = muted_until_s or 0.0, "on" if life else "unknown"
    marks = [(0.0, muted, "muted"), (muted, start_until_s, "starting")]
    marks += [(x.begin_s, x.end_s, "off" if x.reason == Unobserved.SWITCHED_OFF else "unknown") for x in lapses]
    out: list[StateSpan] = []
    at = 0.0
    for begin, end, state in (*sorted(marks), (end_s, end_s, rest)):
        both = (at, begin, rest), (max(begin, at), end, state)
        out += [StateSpan(a, b, what) for a, b, what in both if b > a]
        at = max(at, end)
    return tuple(out)
