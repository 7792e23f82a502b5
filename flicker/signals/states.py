"""Power states of the unit: where in a stretch of the log it was off, starting, muted or on, and each power-up.

Lapses of all channels in, power-ups and states out. A power-up is found in the data: neither a new file nor a pause of
the logger is one. All rules here are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from flicker.signals.blocks import ChannelBlocks, RunBlocks
from flicker.signals.connection import Lapse
from flicker.signals.startup import find_start

Floats = NDArray[np.float64]

TOGETHER_S = 10.0  # channels of one unit start within this of each other
MUTED_S = 20.0  # an output relay closes within this after power-up
MOST_DROPOUTS = 64


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
    blocks: RunBlocks, lapses: Sequence[Sequence[Lapse]], *, band_V: float
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

    Returns
    -------
    list of PowerUp, list of list of Lapse
        In time order; lapses per channel, 'off' only where no channel was seen alive meanwhile.
    """
    corrected = [list(part) for part in lapses]
    borders: list[PowerUp] = []
    for channel, part in enumerate(lapses):
        for number, lapse in enumerate(part):
            if lapse.kind != "off":
                continue
            alive = [
                other
                for other in range(len(lapses))
                if other != channel and not _silent(blocks.channels[other], lapses[other], lapse)
            ]
            if len(alive) > (len(lapses) - 1) // 2:
                # Another channel was alive: the unit was not off. Then this one stood still, if it shows that by itself.
                corrected[channel][number] = replace(lapse, kind="still" if lapse.alone else "", sure=False)
            elif lapse.surge is not None and lapse.last < blocks.row.size:
                borders.append(PowerUp(lapse.last, lapse.end_s, lapse.end_s - lapse.begin_s))
    for block, length in _dropouts(blocks, lapses, band_V):
        borders.append(PowerUp(block, float(blocks.begin_s[block]), length))
    corrected = [[lapse for lapse in part if lapse.kind] for part in corrected]
    borders.sort(key=lambda item: item.block)
    out: list[PowerUp] = []
    for item in borders:
        if out and item.time_s - out[-1].time_s <= TOGETHER_S:
            out[-1] = replace(out[-1], off_before_s=max(out[-1].off_before_s, item.off_before_s))
        else:
            out.append(item)
    return out, [_share_off(part, corrected, k) for k, part in enumerate(corrected)]


def _share_off(part: list[Lapse], every: Sequence[Sequence[Lapse]], channel: int) -> list[Lapse]:
    """Call a channel's stillness 'off' where another channel shows that the unit was off."""
    sure = [x for k, other in enumerate(every) if k != channel for x in other if x.kind == "off"]
    out = []
    for lapse in part:
        for other in sure:
            overlap = min(lapse.end_s, other.end_s) - max(lapse.begin_s, other.begin_s)
            if lapse.kind in ("still", "repeats") and overlap > 0.8 * (lapse.end_s - lapse.begin_s):
                lapse = replace(lapse, kind="off")
                break
        out.append(lapse)
    known = [x for x in out if x.kind == "off"]
    for other in sure:  # a channel whose digit never moves says nothing; the unit was off all the same
        if other.surge is not None and not any(
            min(x.end_s, other.end_s) > max(x.begin_s, other.begin_s) for x in [*known, *out]
        ):
            out.append(replace(other, surge=None))
            known.append(other)
    return sorted(out, key=lambda item: item.first)


def _silent(part: ChannelBlocks, lapses: Sequence[Lapse], off: Lapse) -> bool:
    """Was a channel silent during most of a stretch (or is it one whose reading rarely moves)?"""
    covered = sum(
        max(0.0, min(x.end_s, off.end_s) - max(x.begin_s, off.begin_s)) for x in lapses if x.kind != "floating"
    )
    if covered >= 0.5 * (off.end_s - off.begin_s):
        return True
    inside = part.high[off.first : off.last] - part.low[off.first : off.last]
    middle = part.middle[off.first : off.last]
    if not np.isfinite(middle).any():
        return True
    steps = np.abs(np.diff(middle[np.isfinite(middle)]))
    return bool(np.nanmean(inside > 0) < 0.02 and np.mean(steps > 0) < 0.05)


def _dropouts(blocks: RunBlocks, lapses: Sequence[Sequence[Lapse]], band_V: float) -> list[tuple[int, float]]:
    """Short mains dropouts: all channels surge at once, after a moment at zero, each as at its own first start."""
    if len(blocks.channels) < 2 or blocks.row.size < 60:
        return []
    centre = blocks.centre_s
    firsts = []
    jumps: NDArray[np.bool_] | None = None
    for part in blocks.channels:
        good = np.isfinite(part.middle)
        if np.count_nonzero(good) < 60:
            return []
        head = good & (centre <= 600.0)
        start = find_start(
            centre[head], part.middle[head], part.low[head], part.high[head], band_V=band_V, sigma_V=0.0, begin_s=0.0
        )
        if start is None:
            return []
        firsts.append(start)
        size = abs(sum(start.amplitudes_V))
        step = np.abs(np.diff(part.middle, prepend=part.middle[0])) > 0.4 * size
        near = step | np.roll(step, 1) | np.roll(step, -1)
        jumps = near if jumps is None else jumps & near
    assert jumps is not None
    jumps[: int(np.searchsorted(centre, 60.0))] = False
    for part_lapses in lapses:
        for lapse in part_lapses:
            jumps[lapse.first : lapse.last + 2] = False
    index = np.flatnonzero(jumps)
    if index.size == 0:
        return []
    groups = np.split(index, np.flatnonzero(np.diff(index) > 30) + 1)
    if len(groups) > MOST_DROPOUTS:
        return []
    out = []
    for group in groups:
        block = _restart(blocks, group, firsts, band_V)
        if block is not None:
            out.append((block, float(blocks.begin_s[block] - blocks.begin_s[group[0]])))
    return out


def _restart(blocks: RunBlocks, group: NDArray[np.int64], firsts: Sequence[object], band_V: float) -> int | None:
    centre = blocks.centre_s
    best: int | None = None
    for begin in group.tolist():
        alike = True
        for part, first in zip(blocks.channels, firsts, strict=True):
            reach = (centre >= centre[begin]) & (centre <= centre[begin] + 300.0) & np.isfinite(part.middle)
            if np.count_nonzero(reach) < 20:
                return best
            again = find_start(
                centre[reach],
                part.middle[reach],
                part.low[reach],
                part.high[reach],
                band_V=band_V,
                sigma_V=0.0,
                begin_s=float(blocks.begin_s[begin]),
            )
            if again is None:
                alike = False
                break
            size, own = sum(again.amplitudes_V), sum(first.amplitudes_V)  # type: ignore[attr-defined]
            settle, was = max(again.settle_s, 1.0), max(first.settle_s, 1.0)  # type: ignore[attr-defined]
            if size * own <= 0 or not 0.1 < size / own < 2.0 or not 0.1 < settle / was < 3.0:
                alike = False
                break
        if alike:
            best = begin
            break
    return best


def muted_until(part: ChannelBlocks, blocks: RunBlocks, *, band_V: float, zero_V: float) -> float | None:
    """When an output relay closed after a power-up at the run's first sample, or None where none is seen to.

    Before it closes the reading is zero, or it jumps about (an open lead): four jumps or more of alternating sign, from
    the first readings on, and none later. A surge falls one way and does not look like that.
    """
    reach = (blocks.begin_s <= 3.0 * MUTED_S) & np.isfinite(part.middle)
    if np.count_nonzero(reach) < 12:
        return None
    time, value = blocks.begin_s[reach], part.middle[reach]
    early = time <= MUTED_S
    if np.count_nonzero(~early) < 6:
        return None
    rest = float(np.median(np.abs(np.diff(value[~early]))))
    big = max(band_V, 8.0 * rest)
    step = np.diff(value)
    largest = int(np.argmax(np.abs(np.where(early[1:], step, 0.0)))) + 1
    jump = abs(float(step[largest - 1]))
    before = max(float(np.abs(part.low[reach][:largest]).max()), float(np.abs(part.high[reach][:largest]).max()))
    if largest >= 2 and time[largest] >= 1.5 and jump >= big and before <= max(zero_V, 0.3 * jump):
        # Zero or pick-up, then the surge comes all at once and falls from there.
        later = value[largest : largest + max(6, int(np.count_nonzero(early)))]
        falls = abs(float(np.median(later[later.size // 2 :]))) < abs(float(value[largest])) or jump > 4.0 * before
        if falls and before <= max(zero_V, 0.3 * jump):
            return float(time[largest])
    jumps = np.flatnonzero((np.abs(step) >= big) & early[1:])
    if jumps.size < 4 or jumps[0] > 2:
        return None
    signs = np.sign(step[jumps])
    if np.count_nonzero(signs[1:] != signs[:-1]) < 3:
        return None
    return float(time[jumps[-1] + 1])


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
    names = {"off": "off", "muted": "muted"}
    for lapse in lapses:
        marks.append((lapse.begin_s, lapse.end_s, names.get(lapse.kind, "unknown")))
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
