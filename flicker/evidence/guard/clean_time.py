"""Which hours count: cells of a power-up, those that may have seen no live output or no value of their own, and how they are told.

Two channels that read the same to the last digit are two leads on one output, or one column written twice: one of them was not
seen. A logger that writes each second what a meter renews every few minutes has seen one reading in minutes: a run of equal
readings, far longer than noise and digit allow, is one reading. Noise of less than a digit repeats for minutes too, and is a
sound reading all the same. What tells the two apart is by how much the value steps when it does: there by one count, here by
the noise, which is several counts wide.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from flicker.base.arrays import Bools, Floats, Ints
from flicker.evidence.guard.added import unknown_from
from flicker.evidence.guard.at_zero import as_before, blind, clicked, fell_silent, rests_beside
from flicker.evidence.guard.awake import (
    DIGITS,
    MOVED_V,
    QUIETER,
    Cells,
    away,
    hanging,
    lasting,
    level_held,
    next_known,
    not_awake,
    settles,
    start_shown,
)
from flicker.evidence.guard.model import ALIVE_V, JITTER, REST_V, SEEN_EVERY_S, SEEN_SHARE, SPREAD_V, Asleep, Session
from flicker.signals.guard.chunk import MOST_DRAWN
from flicker.signals.guard.figures import BEGIN, CAME_BACK, CELL_S, HOUR_CELLS, WOKEN, ChannelFigures

# Choices; measured on `fresh_bench_traps.py`, `danger_sound.py` and `fresh_live.py` (tests/studies/results/fresh_benches.md).
SHARE = 0.8  # of the cells agree: by chance one in three does where a cell holds thirty readings, fewer where it holds more


def same_as_another(mine: Sequence[ChannelFigures], digit_V: float) -> bool:
    """Whether another channel keeps within one last digit of this one and moves with it, for nearly the whole log."""
    same_as = np.concatenate([own.same_as for own in mine])
    if digit_V <= 0 or same_as.size < HOUR_CELLS:
        return False
    together = [int(np.count_nonzero(same_as & (1 << place))) for place in range(int(same_as.max()).bit_length())]
    return max(together, default=0) >= SHARE * same_as.size


# Choices, between what rounded normal noise gives by simulation: where two of three readings or more repeat the one before (a sigma of 0.3 digits or
# less), a step is 1.01 counts in the mean; where the mean step is 1.5 counts (sigma 0.95 digits), 28 of 100 repeat.
COUNTS = 1.5
REPEATS_EACH = 3.0  # rows to a step, and more: by chance no step of several counts comes so seldom


def seldom_renewed(
    mine: Sequence[ChannelFigures], steps_s: Sequence[float], counted: Sequence[Bools]
) -> tuple[float, list[Bools]]:
    """Seconds from one value to the next where it is renewed too seldom (0: it is not), and the cells in which it is.

    ``steps_s`` from row to row of each stretch; ``counted`` the cells that are looked at. The seconds are told where
    such cells take more of the time than may go unseen (`SEEN_SHARE`).
    """
    cells = [_cells(own, step_s) for own, step_s in zip(mine, steps_s, strict=True)]
    counts = [_counts(own) for own in mine]
    every = np.concatenate([found[own.unmoved < 1.0] for found, own in zip(counts, mine, strict=True)])
    none = [np.zeros(own.unmoved.size, dtype=bool) for own in mine]
    if every.size == 0 or float(np.median(every)) < COUNTS:
        return 0.0, none
    seldom: list[Bools] = [
        seen & (wide >= COUNTS) & (_around(lasts_s) > _around(moves) * max(JITTER * SEEN_EVERY_S, REPEATS_EACH * step_s))
        for (lasts_s, moves), wide, step_s, seen in zip(cells, counts, steps_s, counted, strict=True)
    ]
    whole_s, rare_s, moves = (
        sum(float(cell[column][chosen].sum()) for cell, chosen in zip(cells, which, strict=True))
        for column, which in ((0, counted), (0, seldom), (1, seldom))
    )
    every_s = rare_s / max(moves, 1.0)
    return every_s if rare_s > (1.0 - SEEN_SHARE) * whole_s else 0.0, seldom


def _counts(own: ChannelFigures) -> Floats:
    """How many last digits the value steps by, cell by cell; where it does not move, as after.

    The digit is the finest of an hour before and after: a meter may go to another range.
    """
    digit_V = np.where(own.digit_V > 0, own.digit_V, np.inf)
    near = np.pad(digit_V, HOUR_CELLS, constant_values=np.inf)
    finest = np.lib.stride_tricks.sliding_window_view(near, 2 * HOUR_CELLS + 1).min(axis=1) if digit_V.size else digit_V
    moves = own.unmoved < 1.0
    return next_known(own.step_V / np.where(moves, 1.0 - own.unmoved, 1.0) / finest, moves)


def _around(figure: Floats) -> Floats:
    """Sums over each cell and its neighbours: a cell of a few readings repeats by chance."""
    padded = np.concatenate(([0.0], figure, [0.0]))
    return np.asarray(padded[:-2] + padded[1:-1] + padded[2:])


def _cells(own: ChannelFigures, step_s: float) -> tuple[Floats, Floats]:
    """Seconds of each cell, and how often its value moved, by the readings drawn."""
    drawn_s = max(step_s, CELL_S / MOST_DRAWN)
    lasts_s = np.maximum(np.minimum(own.readings * step_s, CELL_S) - drawn_s, 0.0)
    return lasts_s, (1.0 - own.unmoved) * lasts_s / drawn_s


def switched_on(session: Session, number: int, place: int) -> bool:
    """Whether a segment begins with a power-up; the first of a unit does."""
    kind = int(session.figures.kind[number])
    return kind in CAME_BACK or (kind == BEGIN and (session.power_up or place == 0))


def cells_of(session: Session, own: ChannelFigures, number: int, up: bool) -> Bools:
    """Cells of a segment: after a power-up the first begins behind the surge."""
    in_segment = own.segment == number
    first = own.begin_s < float(session.figures.begin_s[number]) + CELL_S
    return np.asarray((in_segment & (own.late if up else ~own.late) & first) | (in_segment & ~first))


def started_s(session: Session, own: ChannelFigures) -> float:
    """When a channel was switched on that had been at zero since the first reading, while others were on; else minus infinity.

    Its noise begins with it: an output that rested at zero, and jumps, was live before.
    """
    if not session.power_up or not own.started.size or not np.isfinite(own.started).all():
        return -np.inf
    at_s = float(own.started[0, 0])
    before, after = own.begin_s + CELL_S <= at_s, own.begin_s >= at_s
    if not before.any() or not after.any():
        return -np.inf
    louder = float(np.median(own.step_V[after])) > QUIETER * float(np.median(own.step_V[before]))
    return at_s if louder else -np.inf


class CleanTime(NamedTuple):
    """Of each session: cells that may have seen no live output (``asleep``), those of which the lead's rules say so
    already (``out``), and of each segment whether its power-up shows a live output at all (``alive``). ``digit_V`` is the
    last digit as the readings show it, 0 where nothing moves; ``renewed_s`` tells
    how far apart new values are where nearly the whole log repeats them; shorter stretches of that kind are ``asleep``.
    """

    asleep: list[Bools]
    out: list[Bools]
    alive: list[Bools]
    digit_V: float
    renewed_s: float = 0.0


def clean_time(sessions: Sequence[Session], channel: Sequence[int], mine: Sequence[ChannelFigures]) -> CleanTime:
    """Which cells of a channel may count, power-up by power-up."""
    asleep = [np.zeros(own.segment.size, dtype=bool) for own in mine]
    out = [np.zeros(own.segment.size, dtype=bool) for own in mine]
    alive = [np.zeros(session.figures.kind.size, dtype=bool) for session in sessions]
    steps_V = np.concatenate([own.digit_V for own in mine])
    steps_V = steps_V[steps_V > 0]
    digit_V = float(steps_V.min()) if steps_V.size else 0.0
    moving = np.concatenate([own.unmoved[own.unmoved < 1.0] for own in mine])
    usual = float(np.median(moving)) if moving.size else 0.0
    doubted = [np.zeros(own.segment.size, dtype=bool) for own in mine]
    power_ups: list[list[_Part]] = []
    for place, (session, own, number_of) in enumerate(zip(sessions, mine, channel, strict=True)):
        for number in range(session.figures.kind.size):
            up = switched_on(session, number, place)
            anew = bool(own.anew[number]) or (number == 0 and session.new_stage)
            if up:
                power_ups.append([])
            power_ups[-1].append(_Part(place, number, anew, np.flatnonzero(cells_of(session, own, number, up))))
        asleep[place] |= hanging(own.unmoved, own.readings, usual) | (own.begin_s < started_s(session, own))
        figures = session.figures
        for begin_s, end_s in unknown_from(figures.channels, figures.begin_s, float(figures.end_s[-1])):
            asleep[place] |= (own.begin_s >= begin_s) & (own.begin_s < end_s) & _narrow(own)
        if session.doubted:  # a doubt takes no hours in which the level itself speaks of a live output, and hides no swings
            lasts = lasting(away(Cells.of([own], [own.readings > 0], digit_V)))
            doubted[place] = _mostly_in(own, session.doubted[number_of]) & ~lasts & _narrow(own)
        if session.left_out:
            out[place] |= _mostly_in(own, session.left_out[number_of])
    looked_at = [~(a | b | c) for a, b, c in zip(asleep, out, doubted, strict=True)]
    renewed_s, seldom = seldom_renewed(mine, [item.step_s for item in sessions], looked_at)
    if not renewed_s:
        asleep = [a | b for a, b in zip(asleep, seldom, strict=True)]
    silent: list[list[_Part]] = []
    rests_V: list[float] = []  # of power-ups that show a live output
    settings: list[list[_Setting]] = []  # of the same
    stage = 0
    for parts in power_ups:
        begins = [k for k, part in enumerate(parts) if part.anew and k]
        first_V = mine[parts[0].place].head[parts[0].number, 4:7]
        shown = start_shown(first_V, _column(parts, mine, "far_V"), digit_V)
        steady = any(np.isfinite(started_s(sessions[place], mine[place])) for place in {part.place for part in parts})
        own_settings: list[_Setting] = []
        for first, last in pairwise([0, *begins, len(parts)]):
            chain = parts[first:last]
            stage += chain[0].anew
            cells = Cells.of([mine[part.place] for part in chain], [part.index for part in chain], digit_V)
            # A hand at a trimmer takes a while: the cell in which it began is no measure of what follows.
            own_level = np.arange(cells.level_V.size) >= min(first, 1)
            found = np.zeros(own_level.size, dtype=bool)
            found[own_level] = not_awake(cells.where(own_level), partial(_levels_beside, sessions, mine, chain, own_level))
            off = found & (np.abs(cells.level_V) <= cells.zero_V)  # the meter's zero, in this channel itself
            kept = ~found & ~_joined(chain, asleep) & ~_joined(chain, out)
            unsure = _joined(chain, doubted)
            if own_settings and as_before(cells.where(kept), own_settings[-1].cells):  # set by hand
                unsure[:] = False
            elif own_settings and fell_silent(cells.where(kept), own_settings[-1].cells):
                unsure[:] = True
            kept &= ~unsure
            _mark(chain, asleep, mine, found | unsure)
            woken = sessions[chain[0].place].figures.kind[chain[0].number] == WOKEN
            live = cells.where(kept)
            steady |= level_held(live, zero_seen=bool(off.any() or woken))
            steady |= first == 0 and bool(kept[:2].all()) and settles(live.level_V, digit_V)
            own_settings.append(_Setting(stage=stage, parts=chain, cells=live))
        chosen = ~(_joined(parts, asleep) | _joined(parts, out))
        counted = Cells.of([mine[part.place] for part in parts], [part.index for part in parts], digit_V).where(chosen)
        shown = steady or (shown and not clicked(first_V, counted))
        hidden = blind(counted)
        if shown and hidden.any():
            hidden &= ~rests_beside(counted, _levels_beside(sessions, mine, parts, chosen, resting=True))
        if not shown or 2 * np.count_nonzero(hidden) > counted.level_V.size:
            silent.append(parts)
            continue
        settings.append(own_settings)
        rests_V.append(_rest_V(parts, mine))
        for part in parts:
            alive[part.place][part.number] = True
    for item in _silent_again(settings):
        _mark(item.parts, asleep, mine, np.ones(sum(part.index.size for part in item.parts), dtype=bool))
    least_V = max(MOVED_V, DIGITS * digit_V)
    for parts in silent if rests_V else []:  # else it is told of the whole log, and not of its hours
        rest_V = _rest_V(parts, mine)
        known = abs(rest_V) >= ALIVE_V and any(abs(rest_V - known_V) <= least_V for known_V in rests_V)
        for part in parts:
            alive[part.place][part.number] |= known
            asleep[part.place][part.index] |= (not known) & (np.abs(mine[part.place].median_V[part.index]) <= REST_V)
    return CleanTime([a & ~b for a, b in zip(asleep, out, strict=True)], out, alive, digit_V, renewed_s)


@dataclass(frozen=True, slots=True)
class _Part:
    """A segment of a power-up: its session, its number, whether it begins anew, and its cells."""

    place: int
    number: int
    anew: bool
    index: Ints


@dataclass(frozen=True, slots=True)
class _Setting:
    """What counts of a power-up from one mark to the next; those of one ``stage`` have the same between them and the marks."""

    stage: int
    parts: list[_Part]
    cells: Cells


def _silent_again(power_ups: Sequence[Sequence[_Setting]]) -> Iterator[_Setting]:
    """Settings whose start was seen, and that read the meter's zero where another power-up reads an output."""
    for number, own in enumerate(power_ups):
        others = [item for place, part in enumerate(power_ups) if place != number for item in part]
        yield from (item for item in own if any(x.stage == item.stage and fell_silent(item.cells, x.cells) for x in others))


def _joined(parts: Sequence[_Part], chosen: Sequence[Bools]) -> Bools:
    """Which cells of some segments are among those chosen of each session."""
    return np.concatenate([chosen[part.place][part.index] for part in parts])


def _mark(parts: Sequence[_Part], asleep: Sequence[Bools], mine: Sequence[ChannelFigures], found: Bools) -> None:
    """Take these cells of some segments for asleep, but those that are too wide to be left out of sight."""
    for part, slept in zip(parts, np.split(found, np.cumsum([part.index.size for part in parts])[:-1]), strict=True):
        asleep[part.place][part.index] |= slept & _narrow(mine[part.place])[part.index]


def _rest_V(parts: Sequence[_Part], mine: Sequence[ChannelFigures]) -> float:
    """Where a power-up rests: a start that nothing shows, and the level of another that showed one, is of the same output."""
    level_V = _column(parts, mine, "median_V")
    return float(np.median(level_V)) if level_V.size else 0.0


def _column(parts: Sequence[_Part], mine: Sequence[ChannelFigures], name: str) -> Floats:
    return np.concatenate([getattr(mine[part.place], name)[part.index] for part in parts])


def _levels_beside(
    sessions: Sequence[Session], mine: Sequence[ChannelFigures], parts: Sequence[_Part], chosen: Bools, *, resting: bool = False
) -> Floats:
    """Levels of the other channels in the chosen cells of some segments, shape (cells, channels); NaN where one has none.

    ``resting`` takes those alone that lie farther from zero than they swing: no hum of a lead in the air.
    """
    most = max(len(sessions[part.place].figures.channels) for part in parts)
    found = []
    for part in parts:
        own, levels_V = mine[part.place], np.full((part.index.size, most), np.nan)
        cells = own.begin_s[part.index] + 0.5 * own.late[part.index]
        for number, other in enumerate(sessions[part.place].figures.channels):
            if other is not own:
                _, here, there = np.intersect1d(cells, other.begin_s + 0.5 * other.late, return_indices=True)
                level_V, wide_V = other.median_V[there], other.high_V[there] - other.low_V[there]
                levels_V[here, number] = np.where((np.abs(level_V) > wide_V) | (not resting), level_V, np.nan)
        found.append(levels_V)
    return np.concatenate(found)[chosen]


def _narrow(own: ChannelFigures) -> Bools:
    """Cells within the guard's limit of spread: what is wider is a reason to refuse, and not left out of sight."""
    return np.asarray(own.high_V - own.low_V <= SPREAD_V)


def _mostly_in(own: ChannelFigures, times_s: Floats) -> Bools:
    """Cells half of which and more lies in some times."""
    inside = np.zeros(own.begin_s.size)
    for begin, end in times_s.tolist():
        inside += np.clip(np.minimum(own.begin_s + CELL_S, end) - np.maximum(own.begin_s, begin), 0.0, None)
    return np.asarray(inside >= 0.5 * CELL_S)


def times_told(sessions: Sequence[Session], mine: Sequence[ChannelFigures], asleep: Sequence[Bools]) -> tuple[Asleep, ...]:
    """Stretches of cells that do not count, in time order."""
    rows: list[Asleep] = []
    for session, own, found in zip(sessions, mine, asleep, strict=True):
        index = np.flatnonzero(found)
        index = index[np.argsort(own.begin_s[index], kind="stable")]
        for part in np.split(index, np.flatnonzero(np.diff(own.begin_s[index]) > 1.5 * CELL_S) + 1):
            if part.size == 0:
                continue
            begin, end = float(own.begin_s[part[0]]), float(own.begin_s[part[-1]]) + CELL_S
            level, width = np.median(own.median_V[part]), np.median(own.high_V[part] - own.low_V[part])
            end = min(end, float(session.figures.end_s[-1]) + session.step_s)
            if end - begin < CELL_S:
                continue  # an end of what the lead's rules tell already
            rows.append(Asleep(session.run, begin, end, float(level), float(width)))
    return tuple(rows)
