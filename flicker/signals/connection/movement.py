"""How the readings of a channel move from block to block, and where a state of movement begins and ends."""

from __future__ import annotations

from math import comb
from typing import NamedTuple

import numpy as np

from flicker.base.arrays import Bools, Floats, Ints
from flicker.base.middle import median
from flicker.base.runs import true_runs
from flicker.signals.blocks import ChannelBlocks, RunBlocks
from flicker.signals.order_statistics import scatter
from flicker.signals.startup import FIT_S, Start, find_start

# Common practice, no source: chosen by hand on study_connection.py, not measured one by one; what the rules do together
# and each off in turn is measured in tests/studies/results/lead.md and connection.md.
ZERO_V = 0.001  # 'zero' is within this or two counts
PICK_UP_V = 1.5e-3  # about zero, more than this may as well be a floating lead
SIDE = 300  # blocks beside a stretch that tell how the channel moved there
NATS = 12.0  # log-likelihood of a change of state: by chance once in 20 logs of 10,000 blocks, by definition
WINDOW = 64  # blocks in which a channel that is alive moves
# Pick-up swings, or noise shows, in a cell; movement shows in a few; a border or a surge may reach over two windows.
CELL, FEW, REACH = WINDOW // 2, WINDOW // 4, 2 * WINDOW
MOST_VISITS = 3  # a lead is clipped on again by somebody: what comes and goes more often is the channel's own
TOGETHER_S = (
    10.0  # one switching shows within this: a relay after what tripped it or after power-up, channels of one unit
)
SHORTEST_S = 2 * TOGETHER_S  # what is shorter is told by its borders alone
LASTING_S = 6 * SHORTEST_S  # what is shorter tells nothing of how a channel moves
ALIVE_SHARE = 0.03  # of blocks that move: fewer are no life
UNLIKE = 1.4  # least ratio of swings, or of noise, that are not the same: dead inputs have a tenth of an output's
SAME = float(np.log(UNLIKE))
MUCH = 3.0  # times as still, as restless or as long as the channel itself is no chance
SUPPLY_S = 2.0  # a supply comes up, and its servo, within this, and falls no faster


class View(NamedTuple):
    """Readable blocks of a channel: positions in the run, middles, and how far readings moved from block to block.

    ``sample_s`` and ``sample_V`` are single readings, evenly spaced, as `ChannelBlocks` keeps them.
    """

    place: Ints
    begin_s: Floats
    end_s: Floats
    low: Floats
    high: Floats
    middle: Floats
    move: Floats
    zero_V: float
    resolution_V: float
    step_s: float
    sample_s: Floats
    sample_V: Floats

    @property
    def size(self) -> int:
        """Number of readable blocks."""
        return int(self.place.size)

    def reach(self, part: slice = slice(None)) -> Floats:
        """How far from zero each block reads at most."""
        return np.maximum(np.abs(self.low[part]), np.abs(self.high[part]))

    def readings(self, part: slice) -> Floats:
        """Single readings within blocks, those that were none apart."""
        ends_s = [self.begin_s[part.start], self.end_s[part.stop - 1]] if part.stop > part.start else [0.0, 0.0]
        x = self.sample_V[slice(*np.searchsorted(self.sample_s, ends_s))]
        return x[np.isfinite(x)]


def view_of(blocks: RunBlocks, part: ChannelBlocks, resolution_V: float, chosen: Bools | None = None) -> View:
    """Gather the readable ones of the chosen blocks of a channel."""
    place = np.flatnonzero(part.finite > 0 if chosen is None else (part.finite > 0) & chosen)
    low, high = part.low[place], part.high[place]
    move = np.zeros(place.size)
    if place.size > 1:
        move[1:] = np.maximum(high[1:], high[:-1]) - np.minimum(low[1:], low[:-1])
        move[0] = move[1]
        border = blocks.after_gap[place] | (np.diff(place, prepend=place[0] - 1) > 1)
        move[border] = (high - low)[border]
    return View(
        place=place.astype(np.int64),
        begin_s=blocks.begin_s[place],
        end_s=blocks.end_s[place],
        low=low,
        high=high,
        middle=part.middle[place],
        move=move,
        zero_V=max(ZERO_V, 2.0 * resolution_V),
        resolution_V=resolution_V,
        step_s=blocks.run.sample_interval_s,
        sample_s=part.sample_s,
        sample_V=part.sample_V,
    )


def runs(flag: Bools) -> list[tuple[int, int]]:
    """Half-open index ranges in which a flag holds."""
    first, last = true_runs(flag)
    return list(zip(first.tolist(), last.tolist(), strict=True))


def two_clusters(values: Floats) -> tuple[float, float, float]:
    """Best split of values into two groups by least squares: the two medians and the border between them."""
    ranked = np.sort(values)
    n = ranked.size
    left = np.cumsum(ranked)[:-1]
    count = np.arange(1, n)
    right = ranked.sum() - left
    gain = left * left / count + right * right / (n - count)
    at = int(np.argmax(gain)) + 1
    return float(np.median(ranked[:at])), float(np.median(ranked[at:])), float(0.5 * (ranked[at - 1] + ranked[at]))


def change_place(middle: Floats, move: Floats, resolution_V: float) -> int:
    """Block at which level, spread and movement change most: two Gaussian stretches against one, by likelihood."""
    size = middle.size
    least = 5
    if size < 2 * least + 2:
        return size // 2
    gain = np.zeros(size - 2 * least + 1)
    count = np.arange(least, size - least + 1)
    centre = float(np.median(middle))
    spread = float(np.quantile(np.abs(middle - centre), 0.8)) + resolution_V
    floor = max(0.3 * resolution_V, 1e-3 * spread, 1e-9)
    level = np.clip(middle, centre - 5.0 * spread, centre + 5.0 * spread)  # a glitch at the border is no spread
    for value, slack in ((level, floor), (np.log(move + 0.5 * resolution_V + floor), 0.15)):
        shifted = value - value.mean()
        total = np.cumsum(shifted)
        square = np.cumsum(shifted * shifted)
        left, right = total[count - 1], total[-1] - total[count - 1]
        near = (square[count - 1] - left * left / count) / count
        far = (square[-1] - square[count - 1] - right * right / (size - count)) / (size - count)
        cost = count * np.log(np.maximum(near, 0.0) + slack**2)
        gain -= cost + (size - count) * np.log(np.maximum(far, 0.0) + slack**2)
    return int(count[int(np.argmax(gain))])


def switches(evidence: Floats, penalty: float) -> list[tuple[int, int]]:
    """Half-open index ranges in which a state holds, from the log-likelihood for it at each index.

    The state begins after a minimum of the running sum that is later exceeded by ``penalty``, and ends after a maximum
    from which the sum later falls by as much (cumulative sums with a threshold, Page 1954, from memory).
    """
    out: list[tuple[int, int]] = []
    sums = np.cumsum(evidence)
    if not np.any(sums - np.minimum(np.minimum.accumulate(sums), 0.0) >= penalty):
        return out  # most often; the walk below would find the same
    total, extreme, mark, inside, begin = 0.0, 0.0, 0, False, 0
    for index, value in enumerate(evidence.tolist()):
        total += value
        if not inside:
            if total <= extreme:
                extreme, mark = total, index + 1
            elif total - extreme >= penalty:
                inside, begin, extreme, mark = True, mark, total, index + 1
        elif total >= extreme:
            extreme, mark = total, index + 1
        elif extreme - total >= penalty:
            out.append((begin, mark))
            inside, extreme, mark = False, total, index + 1
    if inside:
        out.append((begin, mark))
    return out


def bernoulli(flag: Bools, inside: float, outside: float) -> Floats:
    """Log-likelihood, at each index, of one share of flags against another."""
    return np.asarray(np.where(flag, np.log(inside / outside), np.log((1.0 - inside) / (1.0 - outside))))


def divergence(seen: float, expected: float) -> float:
    """Log-likelihood per reading for a share below the expected one (Kullback-Leibler, two outcomes)."""
    if seen >= expected:
        return 0.0
    part = seen * np.log(seen / expected) if seen > 0 else 0.0
    return float(part + (1.0 - seen) * np.log((1.0 - seen) / (1.0 - expected)))


def cells_of(x: Floats) -> list[Floats]:
    """Some equal parts of readings."""
    return np.array_split(x, min(FEW, max(x.size // CELL, 1)))


def bends(x: Floats, order: int, resolution_V: float) -> float:
    """Noise from reading to reading, as a logarithm, by differences of an order that lets slower movement be."""
    usual = median(np.abs(np.diff(x, order))) / 0.6745  # of a Gaussian scatter
    return float(np.log(usual / np.sqrt(comb(2 * order, order)) + 0.3 * resolution_V + 3e-6))


def noise_of(x: Floats, resolution_V: float) -> float:
    """Noise of the quieter cells: what is added to a live channel, a wave or swings, lets it be."""
    if x.size < 2 * CELL:
        return np.nan
    return float(np.quantile([bends(cell, 4, resolution_V) for cell in cells_of(x)], 0.2))


def goes_on(view: View, first: int, last: int) -> bool:
    """Is the noise of a stretch the noise that the channel had right before it, and wider than the digit?"""
    before = slice(max(first - SIDE, 0), first) if first > FEW else slice(last, min(last + SIDE, view.size))
    inside, beside = (noise_of(view.readings(part), view.resolution_V) for part in (slice(first, last), before))
    return abs(inside - beside) < SAME and beside > np.log(view.resolution_V + 1e-6)


def fell(view: View, first: int, protection_V: float) -> bool:
    """Was there an offset that trips a relay just before?"""
    since = min(int(np.searchsorted(view.begin_s, view.begin_s[first] - TOGETHER_S)), first - 1)
    return bool(np.any(view.reach(slice(max(since, first - 4, 0), first)) > protection_V))


def rests_away(value: Floats, zero_V: float) -> bool:
    """Do readings rest away from zero, so that a fall to it would show?"""
    level = median(value)
    return abs(level) - 4.0 * scatter(value, level) > zero_V


def surge_at(view: View, first: int, band_V: float) -> Start | None:
    """The power-up that begins at a block, or None."""
    last = int(np.searchsorted(view.begin_s, view.begin_s[first] + FIT_S)) if first < view.size else first
    if last - first < 8:
        return None
    part = slice(first, last)
    middle = view.middle[part]
    tail = middle[middle.size // 2 :]
    sigma = float(np.median(np.abs(np.diff(tail)))) if tail.size > 3 else 0.0
    centre = 0.5 * (view.begin_s[part] + view.end_s[part])
    return find_start(
        centre,
        middle,
        view.low[part],
        view.high[part],
        band_V=band_V,
        sigma_V=sigma,
        begin_s=float(view.begin_s[first]),
    )
