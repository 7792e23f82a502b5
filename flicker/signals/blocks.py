"""One pass over the samples turns them into blocks. Everything slow-moving is computed from blocks alone.

A block covers about one second. It keeps the minimum and maximum (so no excursion is lost), the mean, a robust middle
(the median of up to ten sub-means), and how many readings were finite or over range. Blocks lie on a grid of row
numbers that restarts at each run and after each gap, so batches of the source never show.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flicker.base.arrays import Bools, Floats, Ints
from flicker.logs.model import ArraySource, Gap, Log, Piece, Run
from flicker.logs.spans import spans
from flicker.signals.guard.figures import StretchFigures
from flicker.signals.guard.gather import Gatherer, Left
from flicker.signals.mark_windows import Hands
from flicker.signals.reduction import SUB_MEANS, reduce_blocks
from flicker.signals.spill_buffer import Stash
from flicker.stats.noise import resolution_of

BLOCK_S = 1.0  # a choice: the grid on which everything but excursions is judged
MOST_BLOCKS = 1 << 18  # per run and channel: memory stays flat however long the log is; a choice
MOST_SUBSAMPLES = 1 << 16  # a choice: bounds memory


@dataclass(frozen=True)
class ChannelBlocks:
    """Blocks of one channel in one run; each array has shape (blocks,). All-missing blocks hold NaN.

    ``low``, ``high``, ``mean`` and ``middle`` are volts over finite readings; ``finite`` counts those; ``over_low`` and
    ``over_high`` count readings over range, by sign. ``sample_s`` and ``sample_V`` are an evenly spaced subsample.
    """

    low: Floats
    high: Floats
    mean: Floats
    middle: Floats
    finite: Ints
    over_low: Ints
    over_high: Ints
    sample_s: Floats
    sample_V: Floats

    @cached_property
    def digit_V(self) -> float:
        """Step of the last digit that the subsample shows, 0.0 for none."""
        return resolution_of(self.sample_V[np.isfinite(self.sample_V)])


@dataclass(frozen=True, slots=True)
class RunBlocks:
    """Blocks of one run: ``row`` is the first row, ``rows`` their number, ``begin_s``/``end_s`` first and last sample.

    ``after_gap`` is True for blocks that follow a gap (and for the first). ``stretch`` is the run's number in the log
    and ``offset_s`` where this run's clock begins in it: a power-up found in the data splits a stretch. ``stash`` holds
    samples of striking blocks, to be looked at again; ``guard`` the guard's figures of the whole stretch.
    """

    run: Run
    stretch: int
    offset_s: float
    row: Ints
    rows: Ints
    begin_s: Floats
    end_s: Floats
    after_gap: Bools
    channels: tuple[ChannelBlocks, ...]
    stash: Stash | None = field(default=None, repr=False, compare=False)
    guard: StretchFigures | None = field(default=None, repr=False, compare=False)

    @property
    def centre_s(self) -> Floats:
        """Middle of each block in time."""
        return 0.5 * (self.begin_s + self.end_s)


def block_rows(cadence_s: float, rows: int | None) -> int:
    """Rows in a block: about one second, more where the log would otherwise have more than 2**18 blocks."""
    size = max(1, round(BLOCK_S / cadence_s)) if cadence_s > 0 else 1
    if rows is not None:
        size = max(size, math.ceil(rows / MOST_BLOCKS))
    return size if size < SUB_MEANS else SUB_MEANS * math.ceil(size / SUB_MEANS)


def subsample_stride(rows: int | None) -> int:
    """A stride with no small factors, so that the subsample does not lock on to hum."""
    stride = 1 if rows is None else max(1, math.ceil(rows / MOST_SUBSAMPLES))
    while stride > 3 and any(stride % factor == 0 for factor in (2, 3, 5, 7)):
        stride += 1
    return stride


class _Columns:
    """Arrays that grow, with room for ``room`` numbers each at first: pieces and whole would fill the memory together."""

    def __init__(self, kinds: Mapping[str, type], room: int) -> None:
        self._arrays: dict[str, NDArray[Any]] = {name: np.empty(room, kind) for name, kind in kinds.items()}
        self._sizes = dict.fromkeys(kinds, 0)

    def add(self, **values: NDArray[np.generic]) -> None:
        for name, value in values.items():
            first, last, array = self._sizes[name], self._sizes[name] + value.size, self._arrays[name]
            if last > array.size:
                self._arrays[name] = np.empty(2 * last, array.dtype)
                self._arrays[name][:first] = array[:first]
            self._arrays[name][first:last] = value
            self._sizes[name] = last

    def whole(self) -> dict[str, NDArray[Any]]:
        return {name: self._arrays[name][:size] for name, size in self._sizes.items()}


ROOM = 256  # blocks, beyond those expected, that a run has room for at first; a choice for speed

_SHARED = {"row": np.int64, "rows": np.int64, "begin_s": np.float64, "end_s": np.float64, "after_gap": np.bool_}
_OWN = dict.fromkeys(("low", "high", "mean", "middle"), np.float64) | dict.fromkeys(
    ("finite", "over_low", "over_high"), np.int64
)


class _RunBuilder:
    """Blocks of one run in the making; carries the rows of an unfinished block."""

    def __init__(self, channels: int, guard: Gatherer, stash: Stash | None, *, size: int, stride: int, rows: int) -> None:
        self.size, self.stride, self.stash, self.guard = size, stride, stash, guard
        self.shared = _Columns(_SHARED, rows // size + ROOM)
        self.own = [_Columns(_OWN, rows // size + ROOM) for _ in range(channels)]
        named = dict.fromkeys(("time_s", *map(str, range(channels))), np.float64)
        self.samples = _Columns(named, rows // stride + ROOM)
        self.rest: Piece | None = None
        self.gap = True

    def feed(self, piece: Piece) -> None:
        if piece.after_gap:
            self.flush()
            self.gap = True
        start = (-piece.first) % self.stride
        if start < piece.time_s.size:
            taken = {str(k): values[start :: self.stride] for k, values in enumerate(piece.values)}
            self.samples.add(time_s=piece.time_s[start :: self.stride], **taken)
        if self.rest is not None:
            need = self.size - self.rest.time_s.size
            piece, later = _join(self.rest, piece, need)
            if piece.time_s.size < self.size:
                self.rest = piece
                return
            self._reduce(piece, self.size)
            self.rest = None
            piece = later
        whole = piece.time_s.size - piece.time_s.size % self.size
        if whole:
            self._reduce(_part(piece, 0, whole), self.size)
        if whole < piece.time_s.size:
            self.rest = _part(piece, whole, piece.time_s.size, copy=True)

    def flush(self) -> None:
        if self.rest is not None and self.rest.time_s.size:
            self._reduce(self.rest, self.rest.time_s.size)
        self.rest = None

    def _reduce(self, piece: Piece, size: int) -> None:
        time = piece.time_s.reshape(-1, size)
        count = time.shape[0]
        after_gap = np.zeros(count, dtype=bool)
        after_gap[0] = self.gap
        self.gap = False
        self.shared.add(
            row=piece.first + size * np.arange(count, dtype=np.int64),
            rows=np.full(count, size, dtype=np.int64),
            begin_s=time[:, 0],
            end_s=time[:, -1],
            after_gap=after_gap,
        )
        reduced = [reduce_blocks(values.reshape(-1, size)) for values in piece.values]
        for column, part in zip(self.own, reduced, strict=True):
            column.add(**part)
        if self.stash is not None:
            self.stash.look(piece, size, reduced)
        self.guard.feed(piece, size, reduced)


def _part(piece: Piece, lo: int, hi: int, *, copy: bool = False) -> Piece:
    time = piece.time_s[lo:hi]
    values = tuple(column[lo:hi] for column in piece.values)
    if copy:
        time, values = time.copy(), tuple(column.copy() for column in values)
    return Piece(piece.run, piece.first + lo, time, values, piece.after_gap)


def _join(rest: Piece, piece: Piece, need: int) -> tuple[Piece, Piece]:
    head = _part(piece, 0, need)
    joined = Piece(
        rest.run,
        rest.first,
        np.concatenate((rest.time_s, head.time_s)),
        tuple(np.concatenate(pair) for pair in zip(rest.values, head.values, strict=True)),
        rest.after_gap,
    )
    return joined, _part(piece, min(need, piece.time_s.size), piece.time_s.size)


def reduce_log(log: Log, stash: Stash | None = None, hands: Mapping[str, Hands] | None = None) -> list[RunBlocks]:
    """Walk once through a log and return the blocks of each of its runs; ``stash`` takes striking samples.

    ``hands``, the marks of each channel on the log's clock, leave the guard's figures, and nothing else, out of account.
    """
    channels = len(log.channels)
    if isinstance(log.source, ArraySource):
        stash = None  # they are at hand anyway
    size = block_rows(log.source.cadence_s, log.source.rows)
    stride = subsample_stride(log.source.rows)
    builders: list[_RunBuilder] = []
    ended_s = -np.inf
    for piece in log.sweep():
        while len(builders) <= piece.run:
            if builders:
                builders[-1].flush()
            left = [_left(hands, name, piece.offset_s, ended_s) for name in log.channels]
            guard = Gatherer(channels, log.source.cadence_s, left)
            rows = 0 if builders else log.source.rows or 0  # most logs are one run
            builders.append(_RunBuilder(channels, guard, stash, size=size, stride=stride, rows=rows))
            if stash is not None:
                stash.begin()
        builders[piece.run].feed(piece)
        ended_s = piece.offset_s + float(piece.time_s[-1]) if piece.time_s.size else ended_s
    if builders:
        builders[-1].flush()
    return [_finish(builder, run, k) for k, (builder, run) in enumerate(zip(builders, log.runs, strict=True))]


def _left(hands: Mapping[str, Hands] | None, channel: str, offset_s: float, ended_s: float) -> Left:
    """What the marks take out of a channel's input to the guard, on the clock of a stretch; ``ended_s``: of the one before."""
    mine = (hands or {}).get(channel)
    if mine is None:
        return Left()
    out = spans(np.concatenate((mine.touched, mine.windows)))
    return Left(out - offset_s, tuple(t - offset_s for t in mine.breaks_s if t > ended_s))


def _finish(builder: _RunBuilder, run: Run, stretch: int) -> RunBlocks:
    samples = builder.samples.whole()
    sample_s = samples.pop("time_s")
    pairs = zip(builder.own, samples.values(), strict=True)
    return RunBlocks(
        run=run,
        stretch=stretch,
        offset_s=0.0,
        **builder.shared.whole(),
        channels=tuple(ChannelBlocks(**own.whole(), sample_s=sample_s, sample_V=volts) for own, volts in pairs),
        stash=builder.stash,
        guard=builder.guard.finish(),
    )


def split_blocks(blocks: RunBlocks, borders: Sequence[int]) -> list[RunBlocks]:
    """Cut a run's blocks into runs of their own at power-ups found in the data.

    Parameters
    ----------
    blocks : RunBlocks
        Blocks of a stretch.
    borders : sequence of int
        Blocks at which a new run begins, ascending, each above 0 and below the number of blocks.

    Returns
    -------
    list of RunBlocks
        One more than there are borders; the clock of each begins at its first sample.
    """
    edges = [0, *borders, blocks.row.size]
    if len(edges) == 2:
        return [blocks]
    return [_cut_out(blocks, a, b) for a, b in itertools.pairwise(edges)]


def _cut_out(blocks: RunBlocks, a: int, b: int) -> RunBlocks:
    run = blocks.run
    begin, end = float(blocks.begin_s[a]), float(blocks.end_s[b - 1])
    after_gap = blocks.after_gap[a:b].copy()
    after_gap[0] = True
    channels = []
    for part in blocks.channels:
        inside = (part.sample_s >= begin) & (part.sample_s <= end)
        own = {name: getattr(part, name)[a:b] for name in _OWN}
        channels.append(ChannelBlocks(**own, sample_s=part.sample_s[inside] - begin, sample_V=part.sample_V[inside]))
    part_run = replace(
        run,
        start=None if run.start is None else run.start + timedelta(seconds=begin),
        first=int(blocks.row[a]),
        last=int(blocks.row[b - 1] + blocks.rows[b - 1]),
        offset_s=run.offset_s + begin,
        duration_s=end - begin,
        gaps=tuple(
            Gap(gap.start_s - begin, gap.end_s - begin, gap.reason, gap.channel)
            for gap in run.gaps
            if gap.start_s >= begin and gap.end_s <= end
        ),
        notes=run.notes if a == 0 else (),
    )
    return RunBlocks(
        run=part_run,
        stretch=blocks.stretch,
        offset_s=blocks.offset_s + begin,
        row=blocks.row[a:b],
        rows=blocks.rows[a:b],
        begin_s=blocks.begin_s[a:b] - begin,
        end_s=blocks.end_s[a:b] - begin,
        after_gap=after_gap,
        channels=tuple(channels),
        stash=blocks.stash,
        guard=blocks.guard,
    )
