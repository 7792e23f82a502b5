"""Was the meter looking at a live output? Blocks of one channel in; stretches in which it was not, with reasons, out.

An open relay, a fallen lead, a sleeping meter and a unit that is off all look like a very good amplifier. What gives
them away is the channel's own past: a last digit that moved and no longer does, noise that was there and is gone (or
is suddenly far more), a fall to zero, and what happens at the borders. Where the channel's own digit hardly moves, an
absence of movement proves nothing, and nothing is taken out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flicker.base.arrays import Bools
from flicker.base.values import Unobserved
from flicker.logs.spans import holds, spans
from flicker.signals.blocks import RunBlocks
from flicker.signals.connection.movement import (
    LASTING_S,
    MOST_VISITS,
    SHORTEST_S,
    SIDE,
    WINDOW,
    View,
    fell,
    goes_on,
    rests_away,
    runs,
    surge_at,
    view_of,
)
from flicker.signals.connection.pickup import pick_ups
from flicker.signals.connection.stillness import (
    LASTING,
    about_zero,
    dropped,
    far_longer,
    held_reading,
    quiet_stretches,
    textures_of,
)
from flicker.signals.order_statistics import scatter
from flicker.signals.ranges import Ranges
from flicker.signals.startup import Start

# Common practice, no source: chosen by hand on study_connection.py, not measured one by one; what the rules do together
# and each off in turn is measured in tests/studies/results/lead.md and connection.md.
MOST = WINDOW  # openings, or dropouts, of a log that are looked at: bounds the work
HIDES_V = 0.04  # what is called a short opening must hide no excursion


@dataclass(frozen=True, slots=True)
class Lapse:
    """A stretch in which a channel did not show a live output: blocks ``first`` to ``last`` (half open).

    ``reason`` is why; ``begin_s``/``end_s`` seconds on the clock of the blocks; ``surge`` the fitted power-up that ended it,
    if one did; ``sure`` is False where another reading of the same facts is possible; ``alone`` is False where the channel
    by itself does not show it, so that the other channels must say the same; ``told`` is True where it is told as a doubt
    and never left out.
    """

    first: int
    last: int
    begin_s: float
    end_s: float
    reason: Unobserved
    surge: Start | None = None
    sure: bool = True
    alone: bool = True
    told: bool = False


def find_lapses(blocks: RunBlocks, channel: int, *, ranges: Ranges, protection_V: float, band_V: float) -> list[Lapse]:
    """Find the stretches of a channel, in time order, in which it did not show a live output.

    ``blocks`` are not yet split at power-ups. Movements are compared within one resolution of ``ranges`` only; an offset
    beyond ``protection_V`` may have opened a relay, and a surge or bump smaller than ``band_V`` is none.
    """
    part = blocks.channels[channel]
    out: list[Lapse] = []
    for digit in sorted({span.resolution_V for span in ranges.spans}):
        own = spans((span.begin_s, span.end_s) for span in ranges.spans if span.resolution_V == digit)
        chosen = holds(own, blocks.centre_s) if len(ranges.spans) > 1 else None
        out += _lapses(view_of(blocks, part, digit, chosen), protection_V, band_V)
    return sorted(out, key=lambda item: item.first)


def _lapses(view: View, protection_V: float, band_V: float) -> list[Lapse]:
    if view.size < 4:
        return []
    found: list[Lapse] = []
    taken = np.zeros(view.size, dtype=bool)
    for first, last in pick_ups(view, protection_V):
        trip = fell(view, first, protection_V)
        found.append(_lapse(view, first, last, Unobserved.DISCONNECTED if trip else Unobserved.OPEN_LEAD, sure=trip))
        taken[first:last] = True
    quiet, own_V = quiet_stretches(view, textures_of(view), taken)
    for first, last, lived in quiet:
        plain = own_V > 3.0 * view.resolution_V or far_longer(view, first, last, taken)
        lapse = _judge(view, (first, last), protection_V, band_V, still=True, lived=lived, plain=plain)
        if lapse is not None:
            found.append(lapse)
            taken[first:last] |= not lapse.told
    at_zero = _at_zero(view, taken)
    visits = sum(
        view.begin_s[last - 1] - view.begin_s[first] >= SHORTEST_S and not fell(view, first, protection_V)
        for first, last in at_zero
    )
    for first, last in at_zero:
        # A channel that comes to zero again and again has a level there.
        often = visits > MOST_VISITS
        lapse = _judge(view, (first, last), protection_V, band_V, still=False, lived=not often, plain=False)
        if lapse is not None:
            found.append(lapse)
            taken[first:last] |= not lapse.told
    for first, last in _short_openings(view, taken, protection_V):
        found.append(_lapse(view, first, last, Unobserved.DISCONNECTED))
        taken[first:last] = True
    return found


def _lapse(view: View, first: int, last: int, reason: Unobserved, **more: object) -> Lapse:
    return Lapse(
        first=int(view.place[first]),
        last=int(view.place[last - 1]) + 1,
        begin_s=float(view.begin_s[first]),
        end_s=float(view.begin_s[last]) if last < view.size else float(view.end_s[-1]) + view.step_s,
        reason=reason,
        **more,  # type: ignore[arg-type]
    )


def _at_zero(view: View, taken: Bools) -> list[tuple[int, int]]:
    """Stretches at zero of a channel that rests elsewhere."""
    zeroish = (np.abs(view.low) <= view.zero_V) & (np.abs(view.high) <= view.zero_V)
    away = ~zeroish & ~taken
    if np.count_nonzero(zeroish & ~taken) < 2 or np.count_nonzero(away) < max(20, 0.02 * view.size):
        return []
    if not rests_away(view.middle[away], view.zero_V):
        return []
    return [part for part in runs(zeroish & ~taken) if part[1] - part[0] >= 2]


def _short_openings(view: View, taken: Bools, protection_V: float) -> list[tuple[int, int]]:
    """Relay openings of seconds with a floating lead: an offset ends at once, and what follows is small and restless.

    A swing that ends by itself either is back at its level at once or falls towards it.
    """
    out = []
    for _, begin in runs(view.reach() > protection_V)[:MOST]:
        until = int(np.searchsorted(view.begin_s, view.begin_s[begin - 1] + LASTING_S))
        rest = slice(max(0, begin - 1 - SIDE // 2), max(begin - 2, 0))
        if until - begin < LASTING or rest.stop - rest.start < 20 or taken[begin : begin + LASTING].any():
            continue
        level = float(np.median(view.middle[rest]))
        usual, away = (np.maximum(view.high[x] - level, level - view.low[x]) for x in (rest, slice(begin, until)))
        odd = np.flatnonzero(away > 1.5 * np.quantile(usual, 0.8) + view.resolution_V + 1e-5)
        if odd.size == 0 or odd[0] > 1:
            continue
        pauses = np.flatnonzero(np.diff(odd) > LASTING)
        odd = odd[: int(pauses[0]) + 1] if pauses.size else odd
        run, third = away[: odd[-1] + 1], max(int(odd[-1] + 1) // 3, 1)
        part = slice(begin, begin + run.size)
        if odd.size < max(LASTING, 0.6 * run.size) or part.stop >= until or view.reach(part).max() > HIDES_V:
            continue
        if float(run[-third:].mean()) >= 0.4 * float(run[:third].mean()):
            out.append((part.start, part.stop))
    return out


def _lead_in(view: View, first: int, level_V: float, band_V: float) -> tuple[int, bool]:
    """First block of the bump, or of the fall, that leads into a stretch, and whether it is a bump."""
    lo = int(np.searchsorted(view.begin_s, view.begin_s[first] - LASTING_S))
    before = view.middle[max(0, lo - SIDE) : max(lo, 1)]
    if before.size < 5:
        before = view.middle[: max(first, 1)]
    level = float(np.median(before))
    spread = 6.0 * scatter(before, level)
    reach = max(0.5 * band_V, spread)
    # A step from one level to the other is no bump: it must go beyond both.
    top, bottom = max(level, level_V) + reach, min(level, level_V) - reach
    hits = np.flatnonzero((view.high[lo:first] > top) | (view.low[lo:first] < bottom))
    if hits.size and first - lo - int(hits[-1]) <= max(4, 0.5 * (first - lo)):
        # Bumps swing through the old level on their way: short returns to it do not end them.
        pauses = np.flatnonzero(np.diff(hits) > 4)
        return lo + int(hits[pauses[-1] + 1 if pauses.size else 0]), True
    near = np.flatnonzero(np.abs(view.middle[lo:first] - level) <= spread + 0.3 * view.zero_V)
    return (lo + int(near[-1]) + 1 if near.size else first), False


def _judge(
    view: View, stretch: tuple[int, int], protection_V: float, band_V: float, *, still: bool, lived: bool, plain: bool
) -> Lapse | None:
    """Say what a quiet stretch of blocks (or, with ``still`` False, one at zero that is no quieter) was."""
    first, last = stretch
    level = float(np.median(view.middle[first:last]))
    zero = abs(level) <= view.zero_V
    same = goes_on(view, first, last)
    swings = view.reach(slice(first, last))[2:-2].max(initial=0.0) > HIDES_V  # volts are judged
    told = same or swings or not about_zero(view, first, last)
    held = held_reading(view, first, last) is not None
    length = float(view.begin_s[last - 1] - view.begin_s[first])
    before = view.middle[max(0, first - SIDE) : first]
    rested = float(np.median(before)) if before.size else 0.0
    if zero and (still or lived) and fell(view, first, protection_V) and (plain or abs(rested) > view.zero_V):
        return _lapse(view, first, last, Unobserved.DISCONNECTED)
    if not still and length < SHORTEST_S:
        return None
    surge = surge_at(view, last, band_V) if zero and last < view.size else None
    begin, bump = _lead_in(view, first, level, band_V) if zero else (first, False)
    if zero and surge is not None and (still or bump):
        return _lapse(view, begin, last, Unobserved.SWITCHED_OFF, surge=surge, alone=plain, told=same)
    if not still:
        # Zero out of a rest elsewhere with another noise than before, which a step of the output does not bring.
        if lived and length >= LASTING_S and zero and dropped(view, first, last):
            return _lapse(view, begin, last, Unobserved.STILL, sure=False, told=same)
        return None
    if zero and bump:
        return _lapse(view, begin, last, Unobserved.SWITCHED_OFF, sure=False, alone=plain, told=told)
    if not plain:
        return None
    if not lived:
        # Never alive before: what came later may be the odd part, unless the level left zero when it came.
        later = view.middle[last : last + SIDE]
        if not zero or later.size < 20 or not rests_away(later, view.zero_V):
            return None
        return _lapse(view, begin, last, Unobserved.STILL, sure=False, told=told)
    if held:
        return _lapse(view, first, last, Unobserved.REPEATED, told=swings)
    # Away from zero it may be a range that shows less, or a fault that heals: told, not left out.
    return _lapse(view, begin, last, Unobserved.STILL, sure=False, told=told)
