"""Gathers the guard's figures of a stretch while its rows are read, once. No result depends on how they are batched.

Cells of five minutes restart where the unit was switched on within the stretch, and at a mark that begins a new
setting. Rows are held until nothing that follows can change which cell they belong to.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flicker.base.runs import true_runs
from flicker.logs.model import Piece
from flicker.logs.spans import holds
from flicker.signals.guard import cells as cells_of
from flicker.signals.guard.blank import BlankWatch
from flicker.signals.guard.cells import CELL, SWING, Drawn, Rows, Span
from flicker.signals.guard.chunk import Chunk, Plan, chunk_of
from flicker.signals.guard.figures import (
    BEGIN,
    CAME_BACK,
    CELL_S,
    GRACE_S,
    HEAD,
    MARK,
    MEDIAN_S,
    STARTS_S,
    SWITCHED_ON,
    WOKEN,
    ChannelFigures,
    StretchFigures,
)
from flicker.signals.guard.off import BEFORE_S, BUMP_V, SOON_S, TAIL_V, Off, OffWatch
from flicker.signals.guard.standing import MOST_S
from flicker.signals.jump_counts import JumpWatch

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

TRIP_V = 0.75  # opens a protection relay, by the rule of clearance;
STOOD_S = 10.0  # what stood so long was not ended by one: longer than any waits; chosen, not measured
AT_ONCE = 64  # cells looked at in one step; a choice: bounds memory


@dataclass(frozen=True, slots=True)
class Left:
    """What the hands take out of a channel: times not to look at, shape (n, 2), and where it begins anew."""

    out: Floats = field(default_factory=lambda: np.empty((0, 2)))
    anew_s: tuple[float, ...] = ()


@dataclass(slots=True)
class _Segment:
    begin_s: float
    kind: int
    end_s: float = math.nan
    anew: list[bool] = field(default_factory=list)
    head: list[list[float]] = field(default_factory=list)


@dataclass(slots=True)
class _Open:
    """A cell whose rows are all there but may yet be cut off by a switching-off; ``number`` of its segment."""

    number: int
    begin_s: float
    end_s: float


class Gatherer:
    """Figures of the guard of one stretch, for all its channels.

    Parameters
    ----------
    channels : int
        How many there are.
    cadence_s : float
        The usual step of the log.
    left : sequence of Left
        Of each channel, on the stretch's clock.
    count_jumps : bool
        Whether jumps between levels are counted beside.
    """

    def __init__(self, channels: int, cadence_s: float, left: Sequence[Left], *, count_jumps: bool = True) -> None:
        self.channels = channels
        self.plan = Plan.of(cadence_s)
        self.left = list(left)
        self._cadence_s = cadence_s
        self._marks = sorted({t for item in left for t in item.anew_s if t > 0.0})
        self._chunks: list[Chunk] = []
        self._segments: list[_Segment] = []
        self._done: list[Span] = []
        self._cells: list[list[Rows]] = [[] for _ in range(channels)]
        self._swings: list[list[Rows]] = [[] for _ in range(channels)]
        self._open: list[_Open] = []
        self._next_s = 0.0  # begin of the cell that fills
        self._off = OffWatch()
        # Of several channels those that were at zero from the first reading on: another unit, not switched on yet.
        self._not_yet = {k: OffWatch() for k in range(channels)} if channels > 1 else {}
        self._started: list[list[list[float]]] = [[] for _ in range(channels)]
        self._blanks = BlankWatch(channels)
        self._jumps = JumpWatch(channels)
        self._counting = count_jumps
        self._over = [0] * channels
        self._over_open = [False] * channels
        self._first_s = self._end_s = -math.inf

    @property
    def cells(self) -> int:
        """Cells that are done."""
        return len(self._done)

    # ------------------------------------------------------------ feeding

    def feed(self, piece: Piece, size: int, reduced: Sequence[dict[str, NDArray[Any]]]) -> None:
        """Take whole blocks of ``size`` rows with what they were reduced to."""
        if piece.time_s.size == 0:
            return
        if not self._segments:
            self._first_s = begin_s = float(piece.time_s[0])
            self._begin(begin_s, BEGIN, [any(t <= begin_s for t in item.anew_s) for item in self.left])
        out = [holds(item.out, piece.time_s) if item.out.size else None for item in self.left]
        self._look_for_blanks(piece, size, reduced, out)
        self._chunks.append(chunk_of(piece, size, reduced, self.plan, out))
        self._end_s = float(piece.time_s[-1])
        for item in self._off.feed(piece.time_s, piece.values, self._may_be_off(piece, reduced)):
            self._cut(item)
        for channel in tuple(self._not_yet):
            self._look_for_start(channel, piece)
        self._advance(final=False)

    def _look_for_start(self, channel: int, piece: Piece) -> None:
        """Follow a channel that has been at zero since the first reading: when does it start, and how large is its start?"""
        watch = self._not_yet[channel]
        for item in watch.feed(piece.time_s, [piece.values[channel]], quiet=True):
            shared = any(part.kind in CAME_BACK and abs(part.begin_s - item.end_s) <= SOON_S for part in self._segments)
            if item.begin_s == self._first_s and not shared and not item.short:
                edges = [item.end_s + s for s in (0.0, GRACE_S, *STARTS_S)]
                sizes = [cells_of.largest(self._chunks, channel, a, b) for a, b in pairwise(edges)]
                self._started[channel] = [[item.end_s, *sizes]]
        if watch.since_s != self._first_s:
            del self._not_yet[channel]

    def _may_be_off(self, piece: Piece, reduced: Sequence[dict[str, NDArray[Any]]]) -> bool:
        """Can a stretch within `TAIL_V` in every channel lie here, or begin with the last row?"""
        if all(not abs(float(column[-1])) > TAIL_V for column in piece.values):
            return True
        quiet = np.ones(reduced[0]["low"].size, dtype=bool)
        with np.errstate(invalid="ignore"):
            for block in reduced:
                quiet &= ~((block["low"] < -TAIL_V) | (block["high"] > TAIL_V) | (block["over_low"] > 0))
                quiet &= block["over_high"] == 0
        return bool(quiet.any())

    def _look_for_blanks(
        self, piece: Piece, size: int, reduced: Sequence[dict[str, NDArray[Any]]], out: Sequence[Bools | None]
    ) -> None:
        gone = any(bool(np.any(block["finite"] < size)) for block in reduced)
        if not gone:
            self._blanks.rest()
            self._over_open = [False] * self.channels
            return
        self._blanks.feed(piece.values, out)
        for k, values in enumerate(piece.values):
            over = np.isinf(values)
            left_out = out[k]
            if left_out is not None:
                over &= ~left_out
            first, last = true_runs(over)
            self._over[k] += first.size - int(self._over_open[k] and first.size > 0 and first[0] == 0)
            self._over_open[k] = bool(last.size and last[-1] == values.size)

    # ------------------------------------------------------------ cells

    def _begin(self, begin_s: float, kind: int, anew: Sequence[bool] | None = None) -> None:
        if self._segments:
            self._segments[-1].end_s = min(self._segments[-1].end_s, begin_s)
        self._segments.append(
            _Segment(
                begin_s,
                kind,
                math.inf,
                list(anew or [False] * self.channels),
                [[math.nan] * HEAD for _ in range(self.channels)],
            )
        )
        self._next_s = begin_s

    def _mark_after(self, begin_s: float) -> float:
        return next((t for t in self._marks if t > begin_s), math.inf)

    def _advance(self, *, final: bool) -> None:
        """Close every cell that nothing can change any more."""
        self._fill(self._end_s, final=final)
        since_s = self._off.since_s
        hold = math.inf if final else (self._end_s if since_s is None else since_s) - BEFORE_S
        hold = min([hold, *(watch.still_s[1] for watch in self._not_yet.values())])
        still_s, until_s = self._off.still_s
        ready: list[_Open] = []
        left: list[_Open] = []
        for item in self._open:
            done = final or item.end_s <= hold or (item.begin_s >= still_s and item.end_s <= until_s)
            (ready if done else left).append(item)
        fresh_s = self._chunks[-1].time_s[0] if self._chunks else 0.0  # cells within one chunk need no copy of it
        early = sum(item.begin_s < fresh_s for item in ready)
        for some in (ready[:early], ready[early:]):
            for at in range(0, len(some), AT_ONCE):
                self._close(some[at : at + AT_ONCE])
        self._open = left
        needed = min((item.begin_s for item in left), default=self._next_s)
        self._chunks = [chunk for chunk in self._chunks if chunk.last_s >= needed]

    def _fill(self, now_s: float, *, final: bool = False) -> None:
        """Lay out the cells that end by now; with ``final`` the one that has begun as well."""
        while True:
            begin = self._next_s
            mark = self._mark_after(begin)
            end = min(begin_of_next(self._segments[-1].begin_s, begin), mark)
            if end > now_s and not (final and begin <= now_s):
                break
            self._open.append(_Open(len(self._segments) - 1, begin, end))
            if end == mark:
                self._begin(end, MARK, [end in item.anew_s for item in self.left])
            else:
                self._next_s = end

    def _close(self, items: Sequence[_Open]) -> None:
        """Take the figures of cells that nothing can change any more."""
        spans = []
        for item in items:
            segment = self._segments[item.number]
            spans.append(Span(item.number, False, item.begin_s, item.begin_s, item.end_s))
            if item.begin_s == segment.begin_s and segment.kind != MARK:
                spans.append(Span(item.number, True, item.begin_s, item.begin_s + STARTS_S[1], item.end_s))
        if not spans:
            return
        drawn = cells_of.drawn_in(self._chunks, self.channels, spans)
        found = cells_of.look(self._chunks, spans, drawn, max(self._cadence_s, MOST_S), every=self.plan.stride == 1)
        for k, span in enumerate(spans):
            if span.late:
                self._head(span, [cells[k] for cells, _ in found], drawn, k - 1)
            elif self._counting and any(cells["peak_V"][k] > TAIL_V for cells, _ in found):
                self._count_jumps(span, drawn, k)
        self._done.extend(spans)
        for channel, (cells, swings) in enumerate(found):
            self._cells[channel].append(cells[cells["readings"] > 0])
            self._swings[channel].append(swings)

    def _head(self, late: Span, cells: Sequence[Any], drawn: Drawn, number: int) -> None:
        """The first seconds of a segment, whose first cell is span ``number``; ``cells`` come after them."""
        first, last = drawn.first[number], drawn.last[number]
        edges = [late.cell_s + s for s in (0.0, GRACE_S, *STARTS_S)]
        for k, (after, values) in enumerate(zip(cells, drawn.values, strict=True)):
            self._segments[late.segment].head[k] = [
                cells_of.first_median(drawn.time_s[first:last], values[first:last], edges[0] + MEDIAN_S),
                *(
                    cells_of.largest(self._chunks, k, a, min(b, late.end_s), about_V)
                    for about_V in (0.0, after["median_V"] if after["readings"] else math.nan)
                    for a, b in pairwise(edges)
                ),
                *cells_of.extremes(self._chunks, k, edges[0], min(edges[1], late.end_s)),
            ]

    def _count_jumps(self, span: Span, drawn: Drawn, number: int) -> None:
        """Hand the readings of a cell on; a unit that is off has no levels, nor have an open lead or a soft start."""
        segment, first, last = self._segments[span.segment], drawn.first[number], drawn.last[number]
        if span.begin_s == segment.begin_s:
            self._jumps.border()
            if segment.kind != MARK:
                first = min(drawn.time_s.searchsorted(span.begin_s + STARTS_S[0]), last)
        if first < last:  # a whole cell at once: how it came must not show
            self._jumps.add(drawn.time_s[first:last], [values[first:last] for values in drawn.values])

    def _cut(self, off: Off) -> None:
        """Drop a time in which the unit was off, and a small bump before it."""
        time_s, size_V = cells_of.sizes(self._chunks, off.begin_s - BEFORE_S, off.begin_s)
        until = off.begin_s
        if off.short:
            after = int(np.flatnonzero(size_V >= TRIP_V).max(initial=-1)) + 1  # what follows is the tail of a supply
            stood_s = time_s[int(np.flatnonzero(size_V[:after] < TRIP_V).max(initial=-1)) + 1 : after]
            if not stood_s.size or stood_s[-1] - stood_s[0] < STOOD_S:
                return
            until = float(time_s[after]) if after < time_s.size else until
        elif off.surge and size_V.max(initial=0.0) <= BUMP_V:
            until -= BEFORE_S
        self._fill(off.begin_s)
        until = self._drop_after(until)
        kind = SWITCHED_ON if off.surge else WOKEN
        self._begin(off.end_s, kind, [any(until < t <= off.end_s for t in item.anew_s) for item in self.left])

    def _drop_after(self, until: float) -> float:
        """Forget what was read from a time on, though nothing before the last segment; returns the time."""
        waiting = [*self._open, _Open(len(self._segments) - 1, self._next_s, math.inf)]
        while len(self._segments) > 1 and self._segments[-1].begin_s > until and self._segments[-1].kind == MARK:
            self._segments.pop()
        last = len(self._segments) - 1
        until = max(until, self._segments[last].begin_s)
        self._done = [item for item in self._done if item.cell_s < until and item.segment <= last]
        for kept in (*self._cells, *self._swings):
            kept[:] = [rows[(rows["cell_s"] < until) & (rows["segment"] <= last)] for rows in kept]
        self._close(
            [
                _Open(item.number, item.begin_s, min(item.end_s, until))
                for item in waiting
                if item.number <= last and item.begin_s < until
            ]
        )
        self._open = []
        self._segments[last].end_s = until
        return until

    # ------------------------------------------------------------ result

    def finish(self) -> StretchFigures:
        """The figures, after all rows were fed."""
        rest_s = self._off.at_rest_s
        if rest_s is not None and any(item.kind in CAME_BACK for item in self._segments):
            self._fill(rest_s)
            self._drop_after(rest_s)  # off again, as it was before: no hours of a live output
        elif self._segments:
            self._advance(final=True)
        if self._segments:
            self._segments[-1].end_s = min(self._segments[-1].end_s, self._end_s)
        return StretchFigures(
            begin_s=np.array([item.begin_s for item in self._segments], dtype=np.float64),
            end_s=np.array([item.end_s for item in self._segments], dtype=np.float64),
            kind=np.array([item.kind for item in self._segments], dtype=np.int64),
            channels=tuple(self._channel(k) for k in range(self.channels)),
        )

    def _channel(self, channel: int) -> ChannelFigures:
        cells, swings = _in_order(self._cells[channel], CELL), _in_order(self._swings[channel], SWING)
        counts, sizes = self._jumps.finish(channel)
        return ChannelFigures(
            **{name: cells[name].copy() for name in CELL.names or () if name != "cell_s"},
            **{f"swing_{name}": swings[name].copy() for name in SWING.names or () if name != "cell_s"},
            head=np.array([item.head[channel] for item in self._segments], dtype=np.float64).reshape(-1, HEAD),
            anew=np.array([item.anew[channel] for item in self._segments], dtype=bool),
            blank_rows=self._blanks.table(channel),
            started=np.array(self._started[channel], dtype=np.float64).reshape(-1, 4),
            over=np.array([self._over[channel]], dtype=np.int64),
            jumps=counts,
            jump_V=sizes,
        )


def begin_of_next(segment_s: float, begin_s: float) -> float:
    """Where the cell after the one that begins at ``begin_s`` begins, on the grid of its segment."""
    return segment_s + CELL_S * (round((begin_s - segment_s) / CELL_S) + 1)


def _in_order(parts: Sequence[Rows], kind: np.dtype[Any]) -> Rows:
    """Cells or swings by segment and time, late ones after their whole cell."""
    rows = np.empty(sum(part.size for part in parts), kind)  # numpy compares the fields of all that it concatenates
    at = 0
    for part in parts:
        rows[at : at + part.size] = part
        at += part.size
    return rows[np.lexsort((rows["cell_s"], rows["segment"]))]
