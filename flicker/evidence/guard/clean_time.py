"""Which hours count: cells of a power-up, those that may have seen no live output, and how they are told."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from flicker.evidence.guard.awake import Cells, not_awake
from flicker.evidence.guard.model import Asleep, Session
from flicker.signals.guard.figures import BEGIN, CELL_S, SWITCHED_ON, ChannelFigures

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def switched_on(session: Session, number: int, place: int) -> bool:
    """Whether a segment begins with a power-up; the first of a unit does."""
    kind = int(session.figures.kind[number])
    return kind == SWITCHED_ON or (kind == BEGIN and (session.power_up or place == 0))


def cells_of(session: Session, own: ChannelFigures, number: int, up: bool) -> Bools:
    """Cells of a segment: after a power-up the first begins behind the surge."""
    in_segment = own.segment == number
    first = own.begin_s < float(session.figures.begin_s[number]) + CELL_S
    chosen: Bools = (in_segment & (own.late if up else ~own.late) & first) | (in_segment & ~first)
    return chosen


def no_clean_time(
    sessions: Sequence[Session], channel: Sequence[int], mine: Sequence[ChannelFigures]
) -> tuple[list[Bools], list[Bools]]:
    """Cells of each session that may have seen no live output, and those of which the lead's rules say so already."""
    asleep = [np.zeros(own.segment.size, dtype=bool) for own in mine]
    out = [np.zeros(own.segment.size, dtype=bool) for own in mine]
    digit_V = min((float(x) for own in mine for x in own.digit_V if x > 0), default=0.0)
    chain: list[tuple[int, Ints]] = []

    def close() -> None:
        if not chain:
            return

        def column(name: str) -> Floats:
            return np.concatenate([getattr(mine[place], name)[index] for place, index in chain])

        width_V = column("high_V") - column("low_V")
        cells = Cells(column("median_V"), width_V, column("step_V"), column("unmoved"), digit_V)
        found = not_awake(cells)
        for place, index in chain:
            asleep[place][index] = found[: index.size]
            found = found[index.size :]
        chain.clear()

    for place, (session, own, number_of) in enumerate(zip(sessions, mine, channel, strict=True)):
        for number in range(session.figures.kind.size):
            up = switched_on(session, number, place)
            if up or own.anew[number] or (number == 0 and session.new_stage):
                close()
            chain.append((place, np.flatnonzero(cells_of(session, own, number, up))))
        if session.doubted:
            asleep[place] |= _mostly_in(own, session.doubted[number_of])
        if session.left_out:
            out[place] |= _mostly_in(own, session.left_out[number_of])
    close()
    return [a & ~b for a, b in zip(asleep, out, strict=True)], out


def _mostly_in(own: ChannelFigures, times_s: Floats) -> Bools:
    """Cells half of which and more lies in some times."""
    inside = np.zeros(own.begin_s.size)
    for begin, end in times_s.tolist():
        inside += np.clip(np.minimum(own.begin_s + CELL_S, end) - np.maximum(own.begin_s, begin), 0.0, None)
    mostly: Bools = inside >= 0.5 * CELL_S
    return mostly


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
