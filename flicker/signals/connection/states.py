"""Power states of the unit: where in a stretch of the log it was off, starting, muted or on, and each power-up.

Lapses of all channels in, power-ups and states out. A power-up is found in the data: neither a new file nor a pause of
the logger is one. All rules here are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from flicker.base.values import Unobserved
from flicker.signals.blocks import RunBlocks
from flicker.signals.connection.disconnection import MOST, Lapse
from flicker.signals.connection.movement import MOST_VISITS, ZERO_V
from flicker.signals.connection.together import TOGETHER_S, share_off, share_open, silent
from flicker.signals.order_statistics import scatter
from flicker.signals.startup import find_start

Floats = NDArray[np.float64]

# Where a line names no origin: chosen when the rules were made, not measured one by one; what the rules do together
# and each off in turn is measured in tests/studies/results/lead.md and connection.md.
DROPOUT_S = 25.0
DROPOUT_LEAST_S = 2.0


@dataclass(frozen=True, slots=True)
class StateSpan:
    """A stretch in one power state: off, starting, muted, on or unknown; seconds since the run's first sample."""

    begin_s: float
    end_s: float
    state: str


@dataclass(frozen=True, slots=True)
class PowerUp:
    """A power-up at a block of the stretch; ``off_before_s`` is how long the unit was seen off, at least."""

    block: int
    time_s: float
    off_before_s: float


def find_power_ups(
    blocks: RunBlocks, lapses: Sequence[Sequence[Lapse]], *, band_V: float, resolutions_V: Sequence[float]
) -> tuple[list[PowerUp], list[list[Lapse]]]:
    """Find the power-ups of the unit in a stretch, and correct what the channels said by each other.

    Parameters
    ----------
    blocks : RunBlocks
        The stretch, not yet split.
    lapses : sequence of sequence of Lapse
        Of each channel, as `flicker.signals.connection.find_lapses` gives them.
    band_V : float
        A surge smaller than this is none.
    resolutions_V : sequence of float
        Last digit of each channel.

    Returns
    -------
    list of PowerUp, list of list of Lapse
        In time order; lapses per channel, 'off' only where no channel was seen alive meanwhile.
    """
    zero_V = [max(ZERO_V, 2.0 * digit) for digit in resolutions_V]
    told = [[lapse for lapse in part if lapse.told] for part in lapses]
    lapses = [[lapse for lapse in part if not lapse.told] for part in lapses]
    corrected = share_open(lapses, blocks, zero_V)
    lapses = [list(part) for part in corrected]
    borders: list[PowerUp] = []
    gone: list[set[int]] = [set() for _ in lapses]
    for channel, part in enumerate(lapses):
        for number, lapse in enumerate(part):
            if lapse.reason != Unobserved.SWITCHED_OFF:
                continue
            alive = [
                other
                for other in range(len(lapses))
                if other != channel and not silent(blocks.channels[other], lapses[other], lapse)
            ]
            if len(alive) > (len(lapses) - 1) // 2:
                # Another channel was alive, so the unit was not off; this one stood still if it shows that by itself.
                corrected[channel][number] = replace(lapse, reason=Unobserved.STILL, sure=False)
                if not lapse.alone:
                    gone[channel].add(number)
            elif lapse.surge is not None and lapse.last < blocks.row.size:
                borders.append(PowerUp(lapse.last, lapse.end_s, lapse.end_s - lapse.begin_s))
    for short in _dropouts(blocks, lapses, band_V, zero_V):
        borders.append(PowerUp(short.last, short.end_s, short.end_s - short.begin_s))
        for part in corrected:
            part.append(short)
    corrected = [[x for k, x in enumerate(part) if k not in out] for part, out in zip(corrected, gone, strict=True)]
    borders.sort(key=lambda item: item.block)
    out: list[PowerUp] = []
    for item in borders:
        if out and item.time_s - out[-1].time_s <= TOGETHER_S:
            # A channel may stir a block or two before the start; the last to say so is at the start.
            out[-1] = replace(item, off_before_s=max(out[-1].off_before_s, item.off_before_s))
        else:
            out.append(item)
    shared = [share_off(part, corrected, k, blocks, zero_V[k]) for k, part in enumerate(corrected)]
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
    alone = len(blocks.channels) < 2
    if blocks.row.size < 60:
        return []
    zero = np.ones(blocks.row.size, dtype=bool)
    jump = np.ones(blocks.row.size, dtype=bool)
    telling = False
    for part, limit in zip(blocks.channels, zero_V, strict=True):
        with np.errstate(invalid="ignore"):
            zero &= (np.abs(part.low) <= limit) & (np.abs(part.high) <= limit)
            step = np.maximum(np.abs(np.diff(part.low, prepend=np.nan)), np.abs(np.diff(part.high, prepend=np.nan)))
            step = np.fmax(step, part.high - part.low)
            near = step > band_V
        jump &= near | np.roll(near, 1) | np.roll(near, -1)
        good = part.middle[np.isfinite(part.middle)]
        if good.size:
            level = float(np.median(good))
            spread = scatter(good, level)
            telling |= abs(level) - 4.0 * spread > limit
    jump[: int(np.searchsorted(blocks.begin_s, TOGETHER_S))] = False
    for lapse in (lapse for part in lapses for lapse in part):
        jump[max(lapse.first - 3, 0) : lapse.last + 3] = False
    index = np.flatnonzero(jump)
    if index.size == 0 or not zero.any():
        return []
    groups = np.split(index, np.flatnonzero(np.diff(blocks.begin_s[index]) > DROPOUT_S) + 1)
    out = []
    for group in groups[:MOST]:
        first = int(group[0])
        window = np.arange(first, int(np.searchsorted(blocks.begin_s, blocks.begin_s[first] + DROPOUT_S)))
        still = window[zero[window]]
        if still.size < 2 or still[-1] + 8 >= blocks.row.size:
            continue
        rows = np.split(still, np.flatnonzero(np.diff(still) > 1) + 1)
        longest = max(rows, key=len)
        last = int(longest[-1]) + 1
        if blocks.begin_s[last] - blocks.begin_s[longest[0]] < DROPOUT_LEAST_S or last - first > 2 * window.size:
            continue
        if (telling and not alone) or ((telling or not alone) and surges(blocks, last, band_V)):
            out.append(
                Lapse(
                    first,
                    last,
                    float(blocks.begin_s[first]),
                    float(blocks.begin_s[last]),
                    Unobserved.SWITCHED_OFF,
                    bump=True,
                )
            )
    return [] if alone and len(out) > MOST_VISITS else out  # a channel that often comes to zero has a level there


def surges(blocks: RunBlocks, first: int, band_V: float) -> bool:
    """Does some channel start at a block as after a power-up? A step that stays is none."""
    centre = blocks.centre_s
    for part in blocks.channels:
        reach = (centre >= centre[first]) & (centre <= centre[first] + 300.0) & np.isfinite(part.middle)
        if np.count_nonzero(reach) < 20:
            continue
        columns = (centre[reach], part.middle[reach], part.low[reach], part.high[reach])
        start = find_start(*columns, band_V=band_V, sigma_V=0.0, begin_s=float(blocks.begin_s[first]))
        if start is not None:
            return True
    return False


def state_spans(
    end_s: float, lapses: Sequence[Lapse], start_until_s: float, muted_until_s: float | None, life: bool
) -> tuple[StateSpan, ...]:
    """Cut a run into power states; ``start_until_s`` is where the surge is over (0 where none was seen)."""
    marks: list[tuple[float, float, str]] = []
    muted = muted_until_s or 0.0
    if muted > 0:
        marks.append((0.0, muted, "muted"))
    if start_until_s > muted:
        marks.append((muted, start_until_s, "starting"))
    for lapse in lapses:
        marks.append((lapse.begin_s, lapse.end_s, "off" if lapse.reason == Unobserved.SWITCHED_OFF else "unknown"))
    marks.sort()
    out: list[StateSpan] = []
    at = 0.0
    for begin, end, state in marks:
        if begin > at:
            out.append(StateSpan(at, begin, "on" if life else "unknown"))
        if end > max(begin, at):
            out.append(StateSpan(max(begin, at), end, state))
        at = max(at, end)
    if at < end_s:
        out.append(StateSpan(at, end_s, "on" if life else "unknown"))
    return tuple(out)
