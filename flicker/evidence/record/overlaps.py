"""For one channel a second is observed once: runs with the same readings, logs that hold the beginning of another, or cover the same time.

Nothing is read again unless two logs begin with the same readings; all else is told by clocks, blocks, and a digest of each run,
into which names, clocks and files do not enter: a copy under another name is a copy.
"""

from __future__ import annotations

import hashlib
import heapq
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any, NamedTuple

import numpy as np

from flicker.base.arrays import Bools, Floats
from flicker.logs.model import Log
from flicker.logs.source import Source
from flicker.logs.spans import holds, spans
from flicker.signals.excursions import Excursions
from flicker.signals.trace import RunTraces

HEAD_ROWS = 256  # readings that two logs must have in common before more of them are compared; a choice
HEAD_BLOCKS = 60  # and blocks, some seconds each; a choice
AS_LARGE = 0.9  # two meters read one swing as alike as that; chosen, not measured: it counts, what raw volts forbid stays
SEAM_S, SEAM_SHARE = 60.0, 0.05  # of a run: less is a seam between files whose stamps meet; a choice


def bits(values: Floats) -> bytes:
    """Readings as bytes, with one bit pattern for every NaN and for both zeros."""
    return (np.where(np.isnan(values), np.nan, values).astype(np.float64) + 0.0).tobytes()


def readings_digest(run: RunTraces, blocks: int | None = None) -> bytes | None:
    """Digest of a run's readings, channel by channel in their order; None where the run says too little to tell.

    A run without channels, of fewer than two blocks, or with a channel that never moves looks like many others. With
    ``blocks`` only so many are taken, from its beginning; a shorter run has no such head.
    """
    if not run.traces:
        return None
    digest = hashlib.blake2b(digest_size=16)
    for part in run.blocks.channels:
        mean, high, low = part.mean[:blocks], part.high[:blocks], part.low[:blocks]
        if mean.size < (blocks or 2) or not np.fmax.reduce(high) > np.fmin.reduce(low):
            return None
        digest.update(mean.size.to_bytes(8, "little"))
        for values in (mean, high):
            digest.update(bits(values))
    return digest.digest()


def same_readings(runs: Sequence[RunTraces]) -> list[tuple[int, ...]]:
    """Groups of two or more runs with the same readings, as places in ``runs``, in order."""
    places: dict[bytes, list[int]] = {}
    if len(runs) < 2:
        return []
    for place, run in enumerate(runs):
        digest = readings_digest(run)
        if digest is not None:
            places.setdefault(digest, []).append(place)
    return [tuple(group) for group in places.values() if len(group) > 1]


def beginnings(logs: Sequence[Log]) -> dict[int, int]:
    """Places of logs that are just the beginning of another one, row by row and to the last digit, with the place of that.

    Only logs with one start (or with none) are looked at, and only those with the same head are read to the end of the
    shorter. Equal logs are none of them: `readings_digest` tells copies.
    """
    told: dict[Any, list[int]] = {}
    for place, log in enumerate(logs):
        told.setdefault((log.source.start, log.channels), []).append(place)
    heads: dict[Any, list[int]] = {}
    for key, places in told.items():
        for place in places if len(places) > 1 else ():
            head = next(iter(logs[place].source.batches(0, HEAD_ROWS)), None)
            if head is not None and head.time_s is not None and any(_moves(column) for column in head.values):
                heads.setdefault((key, *(bits(x) for x in (head.time_s, *head.values))), []).append(place)
    out: dict[int, int] = {}
    for places in heads.values():
        longest = places[0]
        for place in places[1:]:
            shorter = _shorter(logs[longest].source, logs[place].source)
            if shorter == 0:
                out[longest] = place
                longest = place
            elif shorter == 1:
                out[place] = longest
    for place, other in out.items():  # of several, all are told of the longest
        while other in out:
            other = out[other]
        out[place] = other
    return out


def content(source: Source) -> bytes:
    """A digest of all readings, which tells logs of one start apart whatever their names."""
    digest = hashlib.blake2b(digest_size=16)
    for rows in _columns(source):
        digest.update(bits(rows))
    return digest.digest()


def _moves(column: Floats) -> bool:
    known = column[np.isfinite(column)]
    return bool(known.size and known.min() < known.max())


def _columns(source: Source) -> Iterator[Floats]:
    for batch in source.batches():
        assert batch.time_s is not None
        if batch.time_s.size:
            yield np.vstack((batch.time_s, *batch.values))


def _shorter(one: Source, two: Source) -> int | None:
    """Which of two is the beginning of the other: 0 or 1; None where neither is, or both are."""
    streams = _columns(one), _columns(two)
    first, second = (next(stream, None) for stream in streams)
    while first is not None and second is not None:
        rows = min(first.shape[1], second.shape[1])
        if not np.array_equal(first[:, :rows], second[:, :rows], equal_nan=True):
            return None
        first = first[:, rows:] if first.shape[1] > rows else next(streams[0], None)
        second = second[:, rows:] if second.shape[1] > rows else next(streams[1], None)
    if first is None and second is None:
        return None
    return 0 if first is None else 1


def _clock_s(moment: datetime) -> float:
    """Seconds of a clock, from any fixed moment; clocks with and without a zone cannot be compared."""
    return (moment - datetime(2000, 1, 1, tzinfo=moment.tzinfo)).total_seconds()


def _dated(runs: Sequence[RunTraces], aware: bool) -> list[tuple[float, float, int]]:
    """Begin, end and place of the runs that tell one, in time order; a clock that went back tells none."""
    out = []
    for place, run in enumerate(runs):
        start = run.run.start
        if start is not None and not run.run.back_s and (start.tzinfo is not None) == aware:
            begin = _clock_s(start)
            out.append((begin, begin + run.run.duration_s, place))
    return sorted(out)


def overlapping(runs: Sequence[RunTraces]) -> Iterator[tuple[RunTraces, RunTraces, float]]:
    """Pairs of runs that cover the same time by their clocks, and for how many seconds."""
    for aware in (False, True):
        open_ones: list[tuple[float, int]] = []  # end and place of runs that have not ended when the next begins
        for begin, end, place in _dated(runs, aware):
            while open_ones and open_ones[0][0] <= begin:
                heapq.heappop(open_ones)
            for other_end, other in sorted(open_ones, key=lambda item: item[1]):
                yield runs[other], runs[place], min(end, other_end) - begin
            heapq.heappush(open_ones, (end, place))


class Covered(NamedTuple):
    """What other logs hold of a channel of a run, on the run's clock.

    ``times`` were observed there, shape (n, 2); in ``copied`` with the same readings, by the ``copies``. ``others`` have
    readings of their own (when each begins, and which): no second is observed twice, but no volts of either are lost.
    """

    times: Floats
    copied: Floats
    copies: list[RunTraces]
    others: list[tuple[float, RunTraces]]

    def told(self, channel: str, found: Excursions, dead_time_s: float) -> Bools:
        """Which excursions of the channel are counted there: copies, and those within one that is as large and as long."""
        out = holds(self.copied, found.start_s)
        for begin_s, run in self.others:
            (theirs,) = (trace.excursions for trace in run.traces if trace.channel == channel)
            first = theirs.end_s.searchsorted(found.end_s - begin_s - dead_time_s)
            for k, place in enumerate(first.tolist()):
                out[k] |= (
                    place < theirs.count
                    and theirs.start_s[place] + begin_s - dead_time_s <= found.start_s[k]
                    and _size_V(theirs)[place] >= AS_LARGE * _size_V(found)[k]
                )
        return out


def _size_V(found: Excursions) -> Floats:
    return np.where(found.over_range, np.inf, np.abs(found.deviation_V))


class Counted:
    """Which times of each channel were counted already, on the absolute clock."""

    def __init__(self) -> None:
        self._taken: dict[tuple[bool, str], list[tuple[float, float, RunTraces]]] = {}
        self._latest: dict[tuple[bool, str], float] = {}

    def covered(self, run: RunTraces, before: Counted | None = None) -> list[Covered]:
        """What others hold of each channel of a run.

        What was counted ``before``, in other judgements, holds a time only with the same readings: by the day of a visit
        two logs are apart, whatever their clocks say.
        """
        out, same = [], {}
        for key, begin, end in self._channels(run):
            found = self._holding(key, begin, end)
            earlier = [] if before is None else before._holding(key, begin, end)
            for *_, other in (*found, *earlier):
                if id(other) not in same:
                    same[id(other)] = same_while_both(other, run)
            found += [item for item in earlier if same[id(item[2])]]
            alike = [item for item in found if same[id(item[2])]]
            times, copied = (
                spans((max(a - begin, 0.0), min(b, end) - begin) for a, b, _ in items) for items in (found, alike)
            )
            others = [(a - begin, other) for a, _, other in found if not same[id(other)]]
            out.append(Covered(times, copied, [item[2] for item in alike], others))
        return out or [Covered(np.empty((0, 2)), np.empty((0, 2)), [], []) for _ in run.traces]

    def _holding(self, key: tuple[bool, str], begin: float, end: float) -> list[tuple[float, float, RunTraces]]:
        if begin >= self._latest.get(key, -np.inf):  # it follows all others, as logs mostly do
            return []
        seam_s = min(SEAM_S, SEAM_SHARE * (end - begin))
        return [item for item in self._taken[key] if min(item[1], end) - max(item[0], begin) > seam_s]

    def add(self, run: RunTraces) -> None:
        """Count a run."""
        for key, begin, end in self._channels(run):
            self._taken.setdefault(key, []).append((begin, end, run))
            self._latest[key] = max(end, self._latest.get(key, -np.inf))

    def _channels(self, run: RunTraces) -> Iterator[tuple[tuple[bool, str], float, float]]:
        start = run.run.start
        if start is not None and not run.run.back_s:
            begin = _clock_s(start)
            end = begin + run.run.duration_s + run.run.sample_interval_s  # the last reading stands for one interval
            for trace in run.traces:
                yield (start.tzinfo is not None, trace.channel), begin, end


def same_while_both(one: RunTraces, two: RunTraces) -> bool:
    """Whether two runs on one clock can hold the same readings while both last, by the blocks of a shared channel.

    Blocks do not begin at the same rows in both. Each block of one that lies within the other's time must lie within the
    volts of those that it touches there: with the same readings it always does, with others hardly for long.
    """
    if one.run.start is None or two.run.start is None:
        return False
    lag = _clock_s(two.run.start) - _clock_s(one.run.start)
    names = [trace.channel for trace in one.traces]
    shared = [(names.index(trace.channel), k) for k, trace in enumerate(two.traces) if trace.channel in names]
    first, second = one.blocks, two.blocks
    slack = max(one.run.sample_interval_s, two.run.sample_interval_s)
    inside = (second.begin_s + lag >= first.begin_s[0]) & (second.end_s + lag <= first.end_s[-1])
    lo = np.searchsorted(first.end_s, second.begin_s[inside] + lag - slack)
    hi = np.searchsorted(first.begin_s, second.end_s[inside] + lag + slack, side="right")
    if not shared or not lo.size or not np.all(hi > lo):
        return False
    edges = np.column_stack((lo, hi)).ravel()
    for a, b in shared:
        high = np.append(np.where(np.isnan(first.channels[a].high), -np.inf, first.channels[a].high), -np.inf)
        low = np.append(np.where(np.isnan(first.channels[a].low), np.inf, first.channels[a].low), np.inf)
        mine = second.channels[b]
        known = ~np.isnan(mine.high[inside])
        above = mine.high[inside] > np.maximum.reduceat(high, edges)[::2]
        below = mine.low[inside] < np.minimum.reduceat(low, edges)[::2]
        if np.any((above | below) & known):
            return False
    return True


def began_alike(one: Sequence[RunTraces], two: Sequence[RunTraces]) -> Iterator[tuple[RunTraces, RunTraces]]:
    """Pairs of runs of two sides that begin with the same readings."""
    heads = {head: run for run in one if (head := readings_digest(run, HEAD_BLOCKS)) is not None}
    for run in two:
        head = readings_digest(run, HEAD_BLOCKS)
        if head is not None and head in heads:
            yield heads[head], run
