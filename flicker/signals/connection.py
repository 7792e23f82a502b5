"""Was the meter looking at a live output? Blocks of one channel in; stretches in which it was not, with reasons, out.

An open relay, a fallen lead, a sleeping meter and a unit that is off all look like a very good amplifier. What gives
them away is the channel's own past: a last digit that moved and no longer does, noise that was there and is gone (or
is suddenly far more), a fall to zero, and what happens at the borders. Where the channel's own digit hardly moves, an
absence of movement proves nothing, and nothing is taken out. All rules here are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flicker.signals.blocks import ChannelBlocks, RunBlocks
from flicker.signals.startup import Start, find_start

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

CELL = 16  # blocks whose movements are averaged
LASTING = 4  # cells in a row that show how a channel moves when it is alive
LOUD_CELL = 32  # blocks in which pick-up has time to swing
SIDE = 300  # blocks beside a stretch that tell how the channel moved there
NATS = 15.0  # log-likelihood that movement stopped, against the channel's own movement beside the stretch
SWITCH = 12.0  # log-likelihood that a change of state must bring
QUIETER = 2.5  # texture ratio at which a look is taken
LOUDER = 2.0
LOUD_V = 0.0012  # pick-up weaker than this is not told from noise
SHORTEST_S = 20.0
COARSE_S = 120.0  # on a coarse digit shorter repeats say nothing, nor do they with less history than this
COARSE_BLOCKS = 120
FAR_LONGER = 3.0  # times the channel's own longest repeat
LOUD_S = 60.0
ZERO_V = 0.001  # 'zero' is within this or two counts
SURGE_LOOK_S = 600.0
FELL_WITHIN_S = 12.0  # a relay opens at most so long after the offset that tripped it was last seen
BUMP_S = 90.0

REASONS = {
    "off": "switched off",
    "disconnected": "disconnected",
    "floating": "floating pick-up: lead or clip off",
    "repeats": "no signs of life: the same reading repeated",
    "still": "no signs of life",
    "muted": "muted",
}


@dataclass(frozen=True, slots=True)
class Lapse:
    """A stretch in which a channel did not show a live output: blocks ``first`` to ``last`` (half open).

    ``kind`` is one of off, disconnected, floating, repeats, still, muted; ``begin_s``/``end_s`` seconds on the clock of
    the blocks; ``surge`` the fitted power-up that ended it, if one did; ``bump`` whether a switch-off bump began it;
    ``sure`` is False where another reading of the same facts is possible.
    """

    first: int
    last: int
    begin_s: float
    end_s: float
    kind: str
    surge: Start | None = None
    bump: bool = False
    sure: bool = True
    alone: bool = True

    @property
    def reason(self) -> str:
        """Reason in plain words."""
        return REASONS[self.kind]


@dataclass(frozen=True, slots=True)
class _View:
    """Readable blocks of a channel: positions in the run, middles, and how far readings moved from block to block."""

    place: Ints
    begin_s: Floats
    end_s: Floats
    low: Floats
    high: Floats
    middle: Floats
    move: Floats
    zero_V: float
    step_s: float

    @property
    def size(self) -> int:
        return int(self.place.size)


def find_lapses(
    blocks: RunBlocks,
    channel: int,
    *,
    resolution_V: float,
    protection_V: float,
    band_V: float,
) -> list[Lapse]:
    """Find the stretches in which a channel did not show a live output.

    Parameters
    ----------
    blocks : RunBlocks
        Blocks of a stretch of the log, not yet split at power-ups.
    channel : int
        Position of the channel.
    resolution_V : float
        Last digit of the channel (0 where none is found).
    protection_V : float
        An offset beyond this may have opened a relay.
    band_V : float
        A surge or bump smaller than this is none.

    Returns
    -------
    list of Lapse
        In time order, disjoint.

    Notes
    -----
    A stretch counts as quiet when the movements from block to block are at least 15 nats (log-likelihood) rarer than
    in the five minutes beside it; exact repeats are compared with how often that very reading was left before.
    """
    view = _view(blocks, blocks.channels[channel], resolution_V)
    if view.size < 4:
        return []
    found: list[Lapse] = []
    taken = np.zeros(view.size, dtype=bool)
    textures = _textures(view, resolution_V)
    if textures.size >= 6:
        for first, last in _loud(view, resolution_V, band_V):
            fell = _fell(view, first, protection_V)
            found.append(_lapse(view, first, last, "disconnected" if fell else "floating", sure=fell))
            taken[first:last] = True
        quiet, own_V = _quiet(view, textures, taken)
    else:
        quiet, own_V = [], 0.0
    for first, last, lived in quiet:
        plain = own_V > 3.0 * resolution_V or _far_longer(view, first, last, taken)
        lapse = _judge(view, first, last, protection_V, band_V, still=True, lived=lived, plain=plain)
        if lapse is not None:
            found.append(lapse)
            taken[first:last] = True
    for first, last in _at_zero(view, taken):
        lapse = _judge(view, first, last, protection_V, band_V, still=False, lived=True, plain=False)
        if lapse is not None:
            found.append(lapse)
            taken[first:last] = True
    found.sort(key=lambda item: item.first)
    return found


def _view(blocks: RunBlocks, part: ChannelBlocks, resolution_V: float) -> _View:
    place = np.flatnonzero(part.finite > 0)
    low, high = part.low[place], part.high[place]
    move = np.zeros(place.size)
    if place.size > 1:
        move[1:] = np.maximum(high[1:], high[:-1]) - np.minimum(low[1:], low[:-1])
        move[0] = move[1]
        border = blocks.after_gap[place]
        move[border] = (high - low)[border]
    return _View(
        place=place.astype(np.int64),
        begin_s=blocks.begin_s[place],
        end_s=blocks.end_s[place],
        low=low,
        high=high,
        middle=part.middle[place],
        move=move,
        zero_V=max(ZERO_V, 2.0 * resolution_V),
        step_s=blocks.run.sample_interval_s,
    )


def _lapse(view: _View, first: int, last: int, kind: str, **more: object) -> Lapse:
    return Lapse(
        first=int(view.place[first]),
        last=int(view.place[last - 1]) + 1,
        begin_s=float(view.begin_s[first]),
        end_s=float(view.begin_s[last]) if last < view.size else float(view.end_s[-1]) + view.step_s,
        kind=kind,
        **more,  # type: ignore[arg-type]
    )


def _textures(view: _View, resolution_V: float) -> Floats:
    """Logarithm of the mean movement in each cell, the two largest movements left out (a glitch is not texture)."""
    count = view.size // CELL
    if count == 0:
        return np.empty(0)
    cells = np.sort(view.move[: count * CELL].reshape(count, CELL), axis=1)
    mean = cells[:, : CELL - 2].mean(axis=1)
    floor = resolution_V / 32.0 if resolution_V > 0 else 1e-3 * float(np.median(mean))
    return np.asarray(np.log(np.maximum(mean, max(floor, 1e-9))))


def _two_clusters(values: Floats) -> tuple[float, float, float]:
    """Best split of values into two groups by least squares: the two medians and the border between them."""
    ranked = np.sort(values)
    n = ranked.size
    left = np.cumsum(ranked)[:-1]
    count = np.arange(1, n)
    right = ranked.sum() - left
    gain = left * left / count + right * right / (n - count)
    at = int(np.argmax(gain)) + 1
    return float(np.median(ranked[:at])), float(np.median(ranked[at:])), float(0.5 * (ranked[at - 1] + ranked[at]))


def switches(evidence: Floats, penalty: float) -> list[tuple[int, int]]:
    """Half-open index ranges in which a state holds, from the log-likelihood for it at each index.

    The state begins after a minimum of the running sum that is later exceeded by ``penalty``, and ends after a maximum
    from which the sum later falls by as much (cumulative sums with a threshold, Page 1954, from memory).
    """
    out = []
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


def _loud(view: _View, resolution_V: float, band_V: float) -> list[tuple[int, int]]:
    """Stretches that wander far more than the rest within half a minute, bounded and about zero: pick-up."""
    size = LOUD_CELL
    count = view.size // size
    if count < 6:
        return []
    cells = view.middle[: count * size].reshape(count, size)
    swing = np.quantile(cells, 0.9, axis=1) - np.quantile(cells, 0.1, axis=1)
    some = swing[swing > 0]
    floor = max(0.5 * resolution_V, 0.5 * float(np.quantile(some, 0.1)) if some.size else 0.0, 1e-6)
    wander = np.log(np.maximum(swing, floor))
    calm, loud, border = _two_clusters(wander)
    if loud - calm < np.log(LOUDER) or np.exp(loud) < LOUD_V:
        return []
    evidence = _bernoulli(wander > border, 0.9, 0.1)
    out = []
    for a, b in switches(evidence, 6.0):
        end = view.size if b == count else b * size
        first, last = _edges(view, a * size, end, float(np.exp(calm)), float(np.exp(loud)))
        if last - first < size or view.begin_s[last - 1] - view.begin_s[first] < LOUD_S:
            continue
        if float(np.mean(wander[a:b] > border)) < 0.85 or not _like_pick_up(view, first, last):
            continue
        if _surge(view, first, band_V) is not None:
            continue  # it begins with a power-up: it is the unit, and the calm part is the one that was off
        out.append((first, last))
    return out


def _edges(view: _View, first: int, last: int, calm_V: float, loud_V: float) -> tuple[int, int]:
    """Move the borders of a loud stretch to the blocks where the spread changes."""
    reach = LOUD_CELL + CELL
    centre = float(np.median(view.middle[first:last]))
    edges = []
    for place, rising in ((first, True), (last, False)):
        lo, hi = max(0, place - reach), min(view.size, place + reach)
        if (rising and place == 0) or (not rising and place >= view.size):
            edges.append(place)
            continue
        outside = view.middle[max(0, lo - SIDE) : lo] if rising else view.middle[hi : hi + SIDE]
        level = float(np.median(outside)) if outside.size else centre
        calm, loud = max(calm_V / 2.56, 1e-6), max(loud_V / 2.56, 2e-6)
        part = view.middle[lo:hi]
        own = np.minimum(0.5 * ((part - level) / calm) ** 2, 12.0) + np.log(calm)
        other = np.minimum(0.5 * ((part - centre) / loud) ** 2, 12.0) + np.log(loud)
        score = np.concatenate(([0.0], np.cumsum(other - own)))
        best = int(np.argmax(score)) if rising else int(np.argmin(score))
        edges.append(lo + best)
    return edges[0], max(edges[1], edges[0])


def _like_pick_up(view: _View, first: int, last: int) -> bool:
    """Bounded, about zero, and not white: glitches have long tails, a noisier junction has no beat."""
    middle = view.middle[first:last]
    centre = float(np.median(middle))
    size = np.abs(middle - centre)
    spread = float(np.quantile(size, 0.9))
    if np.quantile(size, 0.95) > 3.6 * np.median(size) or abs(centre) > 0.5 * spread + view.zero_V:
        return False
    away = middle - middle.mean()
    power = float(np.dot(away, away))
    beat = float(np.dot(away[1:], away[:-1])) / power if power > 0 else 0.0
    return abs(beat) >= 0.3 or float(np.quantile(size, 0.95)) <= 2.0 * float(np.median(size))


def _bernoulli(flag: Bools, inside: float, outside: float) -> Floats:
    return np.where(flag, np.log(inside / outside), np.log((1.0 - inside) / (1.0 - outside)))


def _quiet(view: _View, textures: Floats, taken: Bools) -> tuple[list[tuple[int, int, bool]], float]:
    """Stretches in which readings move far less than the channel does elsewhere, and whether they once did before.

    Also the channel's own texture in volts.
    """
    count = textures.size * CELL
    free = ~taken[:count].reshape(-1, CELL).any(axis=1)
    if np.count_nonzero(free) < 6:
        return [], 0.0
    low, own, border = _two_clusters(textures[free])
    if own - low < np.log(QUIETER):
        return [], 0.0
    alive = _lasting(free & (textures > border), LASTING)  # a glitch is no liveliness
    if np.count_nonzero(alive) < LASTING:
        return [], 0.0
    own = float(np.median(textures[alive]))
    moved = view.move > 0.35 * np.exp(own)
    share = float(np.mean(moved[:count].reshape(-1, CELL)[alive]))
    share = min(max(share, 0.02), 0.98)
    evidence = np.where(taken, -4.0, _bernoulli(moved, max(0.15 * share, 0.003), share))
    out = []
    for first, last in switches(evidence, SWITCH):
        while first < last and view.move[first] > 0.35 * np.exp(own):
            first += 1  # the step into the stretch belongs to what was before
        first, last = _core(view, first, last)
        if last - first >= 8 and view.begin_s[last - 1] - view.begin_s[first] >= SHORTEST_S:
            out.append((first, last))
    judged = []
    for first, last in out:
        before, after = _stopped(view, first, last, out, moved)
        if before or after:
            judged.append((first, last, before))
    return judged, float(np.exp(own))


def _core(view: _View, first: int, last: int) -> tuple[int, int]:
    """Where a stretch is one long repeat with odd readings at its ends, cut it back to the repeat."""
    if last - first < 3:
        return first, last
    value = np.median(view.middle[first:last])
    same = (view.low[first:last] == value) & (view.high[first:last] == value)
    edge = np.flatnonzero(np.diff(np.concatenate(([False], same, [False])).astype(np.int8)))
    if edge.size == 0:
        return first, last
    length = edge[1::2] - edge[::2]
    best = int(np.argmax(length))
    if length[best] < 0.9 * (last - first):
        return first, last
    return first + int(edge[2 * best]), first + int(edge[2 * best + 1])


def _lasting(flag: Bools, least: int) -> Bools:
    """Keep flags that stand in rows of at least ``least``."""
    out = np.zeros(flag.size, dtype=bool)
    edge = np.flatnonzero(np.diff(np.concatenate(([False], flag, [False])).astype(np.int8)))
    for a, b in zip(edge[::2].tolist(), edge[1::2].tolist(), strict=True):
        if b - a >= least:
            out[a:b] = True
    return out


def _stopped(
    view: _View, first: int, last: int, all_quiet: Sequence[tuple[int, int]], moved: Bools
) -> tuple[bool, bool]:
    """Did movement stop at the stretch's beginning, and begin at its end, all at once?

    A reading that drifts to the middle of a coarse digit stops moving too, but slowly; that is no sign of death.
    """
    other = np.zeros(view.size, dtype=bool)
    for a, b in all_quiet:
        other[a:b] = True
    value = _held(view, first, last)
    inside = float(np.mean(moved[first + 1 : last])) if last - first > 1 else 0.0
    out = []
    before, after = np.arange(max(0, first - SIDE), max(first - 3, 0)), np.arange(last + 3, min(view.size, last + SIDE))
    for side, near in ((before[~other[before]], slice(-100, None)), (after[~other[after]], slice(0, 100))):
        if side.size < 20:
            out.append(False)
            continue
        at = np.zeros(side.size, dtype=bool)
        if value is not None:
            at = (view.low[side] == value) & (view.high[side] == value)
            top, bottom = float(view.high[side[near]].max()), float(view.low[side[near]].min())
            slack = 0.3 * (top - bottom) + 0.5 * view.zero_V
            away = value > top + slack or value < bottom - slack
            if away and abs(value) > view.zero_V:
                out.append(False)  # a step to another reading: a level, not a stopped meter
                continue
        if np.count_nonzero(at[:-1]) >= 5:
            left = int(np.count_nonzero(at[:-1] & (view.move[side[1:]] > 0)))
            rate = _at_least(left, int(np.count_nonzero(at[:-1])))
            if np.count_nonzero(view.move[side[near]] > 0) < 3:
                rate = 0.0
        else:
            rate = _at_least(int(np.count_nonzero(moved[side])), side.size)
        out.append((last - first) * _divergence(inside, rate) >= NATS)
    return out[0], out[1]


def _held(view: _View, first: int, last: int) -> float | None:
    """The reading that a stretch repeats throughout, or None; a block at each end may belong to its neighbour."""
    value = float(np.median(view.middle[first:last]))
    same = (view.low[first:last] == value) & (view.high[first:last] == value)
    return value if np.count_nonzero(same) >= max(0.98 * (last - first), last - first - 2) else None


def _far_longer(view: _View, first: int, last: int, taken: Bools) -> bool:
    """On a coarse digit: is this one reading throughout, for far longer than the channel repeats itself elsewhere?"""
    if _held(view, first, last) is None or first < COARSE_BLOCKS:
        return False
    if view.begin_s[last - 1] - view.begin_s[first] < COARSE_S:
        return False
    moves = (view.move > 0) | taken
    moves[first : last + 1] = True
    place = np.flatnonzero(np.concatenate(([True], moves, [True])))
    repeats = np.diff(place) - 1
    earlier = repeats[place[:-1] < first]
    usual = np.sort(repeats)[-3:]  # another true lapse or two must not hide this one
    longest = max(int(earlier.max(initial=0)), int(usual[0]) if usual.size == 3 else 0)
    return last - first >= FAR_LONGER * max(longest, 1)


def _at_least(hits: int, trials: int) -> float:
    """Lower limit of a share, two standard errors and a half count down."""
    if trials == 0:
        return 0.0
    return float(min(max((hits - 2.0 * np.sqrt(hits * (1.0 - min(hits / trials, 1.0))) - 0.5) / trials, 0.0), 0.98))


def _divergence(seen: float, expected: float) -> float:
    """Log-likelihood per reading for a share below the expected one (Kullback-Leibler, two outcomes)."""
    if seen >= expected:
        return 0.0
    part = seen * np.log(seen / expected) if seen > 0 else 0.0
    return float(part + (1.0 - seen) * np.log((1.0 - seen) / (1.0 - expected)))


def _at_zero(view: _View, taken: Bools) -> list[tuple[int, int]]:
    """Stretches at zero of a channel that rests elsewhere."""
    zeroish = (np.abs(view.low) <= view.zero_V) & (np.abs(view.high) <= view.zero_V)
    away = ~zeroish & ~taken
    if np.count_nonzero(zeroish & ~taken) < 2 or np.count_nonzero(away) < max(20, 0.02 * view.size):
        return []
    own = view.middle[away]
    level = float(np.median(own))
    scatter = 1.4826 * float(np.median(np.abs(own - level)))
    if abs(level) - 4.0 * scatter <= view.zero_V:
        return []
    index = np.flatnonzero(zeroish & ~taken)
    breaks = np.flatnonzero(np.diff(index) > 1) + 1
    return [(int(part[0]), int(part[-1]) + 1) for part in np.split(index, breaks) if part.size >= 2]


def _fell(view: _View, first: int, protection_V: float) -> bool:
    """Was there an offset that trips a relay just before?"""
    since = view.begin_s[first] - FELL_WITHIN_S
    lo = int(np.searchsorted(view.begin_s, since))
    near = slice(max(lo, first - 4), first)
    return bool(np.any(np.maximum(np.abs(view.low[near]), np.abs(view.high[near])) > protection_V))


def _surge(view: _View, first: int, band_V: float) -> Start | None:
    """The power-up that begins at a block, or None."""
    last = int(np.searchsorted(view.begin_s, view.begin_s[min(first, view.size - 1)] + SURGE_LOOK_S))
    if last - first < 8:
        return None
    part = slice(first, last)
    middle = view.middle[part]
    tail = middle[middle.size // 2 :]
    scatter = float(np.median(np.abs(np.diff(tail)))) if tail.size > 3 else 0.0
    centre = 0.5 * (view.begin_s[part] + view.end_s[part])
    return find_start(
        centre,
        middle,
        view.low[part],
        view.high[part],
        band_V=band_V,
        sigma_V=scatter,
        begin_s=float(view.begin_s[first]),
    )


def _bump_begin(view: _View, first: int, level_V: float, band_V: float) -> int:
    """First block of a bump that leads into a stretch without a return to the level before; ``first`` if none."""
    lo = int(np.searchsorted(view.begin_s, view.begin_s[first] - BUMP_S))
    before = view.middle[max(0, lo - SIDE) : max(lo, 1)]
    if before.size < 5:
        before = view.middle[: max(first, 1)]
    level = float(np.median(before))
    scatter = 1.4826 * float(np.median(np.abs(before - level)))
    reach = max(0.5 * band_V, 6.0 * scatter)
    # A step from one level to the other is no bump: it must go beyond both.
    top, bottom = max(level, level_V) + reach, min(level, level_V) - reach
    away = (view.high[lo:first] > top) | (view.low[lo:first] < bottom)
    hits = np.flatnonzero(away)
    if hits.size == 0 or first - lo - int(hits[-1]) > max(4, 0.5 * (first - lo)):
        return first
    # Bumps swing through the old level on their way: short returns to it do not end them.
    begin = int(hits[-1])
    for index in hits[::-1].tolist():
        if begin - index > 4:
            break
        begin = index
    return lo + begin


def _judge(
    view: _View,
    first: int,
    last: int,
    protection_V: float,
    band_V: float,
    *,
    still: bool,
    lived: bool,
    plain: bool,
) -> Lapse | None:
    """Say what a quiet stretch (or, with ``still`` False, one at zero that is no quieter) was."""
    level = float(np.median(view.middle[first:last]))
    zero = abs(level) <= view.zero_V
    held = _held(view, first, last) is not None
    length = float(view.begin_s[last - 1] - view.begin_s[first])
    if zero and _fell(view, first, protection_V):
        return _lapse(view, first, last, "disconnected")
    if not still and length < SHORTEST_S:
        return None
    surge = _surge(view, last, band_V) if zero and last < view.size else None
    begin = _bump_begin(view, first, level, band_V) if zero else first
    bump = begin < first
    if zero and surge is not None and (still or bump):
        return _lapse(view, begin, last, "off", surge=surge, bump=bump, alone=plain)
    if not still:
        return None
    if zero and bump:
        return _lapse(view, begin, last, "off", bump=True, sure=False, alone=plain)
    if not plain:
        return None
    if not lived:
        # Never alive before: what came later may be the odd part, unless the level left zero when it came.
        later = view.middle[last : last + SIDE]
        spread = 1.4826 * float(np.median(np.abs(later - np.median(later)))) if later.size else 0.0
        if not zero or later.size < 20 or abs(float(np.median(later))) - 4.0 * spread <= view.zero_V:
            return None
        return _lapse(view, first, last, "still", sure=False)
    if held:
        return _lapse(view, first, last, "repeats")
    if zero:
        return _lapse(view, first, last, "still", sure=False)
    return None
