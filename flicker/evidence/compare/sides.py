"""One side of a comparison: a channel's episodes on the clock since power-up, and what two sides have in common.

Like is compared with like: an episode three minutes after a cold start is held against the time that both sides spent
three minutes after a cold start. How the rate runs with the time since power-up may be anything. After ``HEAT_S`` a
unit is taken as warm as it gets, and later times are held together; so are logs whose power-up was not seen.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from flicker.evidence.record.channel_record import ChannelRecord
from flicker.evidence.record.power_up_counts import HEAT_S
from flicker.logs.spans import elapsed, holds, spans, total, within

Floats = NDArray[np.float64]

COLD_AFTER_S = 3600.0  # common practice, no source: off for an hour is a cold start
MOST_CELLS = 200_000  # a choice: bounds memory


@dataclass(frozen=True, slots=True)
class Cycle:
    """One power-up of one channel; all times in seconds since the power-up (since the log's begin where not ``known``).

    ``observed`` has shape (n, 2), ``episode_s`` and ``size_V`` shape (episodes,), ``excursions`` shape (m, 2),
    ``excursion_V`` their sizes, shape (m,), where known. ``start`` is 'cold', 'warm' or 'unknown'.
    """

    known: bool
    start: str
    observed: Floats
    episode_s: Floats
    size_V: Floats
    excursions: Floats
    excursion_V: Floats | None = None


@dataclass(frozen=True, slots=True)
class Side:
    """One channel on one side of a comparison; ``enter_V`` is its entering threshold.

    ``sample_interval_s`` is the time within which a reading follows the output: the interval, or longer by a filter.
    """

    channel: str
    cycles: tuple[Cycle, ...]
    enter_V: float
    sample_interval_s: float

    @property
    def observed_s(self) -> float:
        """Observed seconds."""
        return float(sum(total(cycle.observed) for cycle in self.cycles))

    @property
    def episodes(self) -> int:
        """Own episodes."""
        return int(sum(cycle.episode_s.size for cycle in self.cycles))

    @property
    def cold_starts(self) -> int:
        """Power-ups seen, but for those known to be warm."""
        return sum(cycle.known and cycle.start != "warm" for cycle in self.cycles)

    def starts_with_episode(self, within_s: float) -> int:
        """Cold starts that showed an episode within so many seconds."""
        return sum(
            cycle.known and cycle.start != "warm" and bool(np.any(cycle.episode_s < within_s)) for cycle in self.cycles
        )


def side_of(
    record: ChannelRecord,
    everyone: Sequence[ChannelRecord],
    told: Mapping[str, str] | None = None,
    shared: bool | None = None,
    own_every_s: float = 0.0,
) -> Side:
    """Put a channel's record on the clock since power-up; a power-up that any channel shows is one of all.

    ``shared`` leaves out what several outputs showed at once (False) or takes nothing else (True). ``told`` gives the kind of start of a log by its name, where the case says it; else the pause before decides, by the
    dates of the logs or as the log itself shows it. ``own_every_s`` is the interval of the channel, where it has fewer
    readings than the log has rows.
    """
    seen = {
        number
        for other in everyone
        for number, trace in zip(other.numbers, other.traces, strict=True)
        if trace.power_up_seen
    }
    cycles = []
    before_end = None
    for places in record.power_ups:
        first = record.runs[places[0]]
        start = "unknown"
        if first.start is not None and before_end is not None and (first.start.tzinfo is None) == (before_end[1]):
            start = "cold" if _moment(first.start) - before_end[0] >= COLD_AFTER_S else "warm"
        kinds = _start_kinds(record.numbers[places[0]], everyone)
        if start == "unknown" and len(kinds) == 1:
            (start,) = kinds
        if all(run.source != first.source for run in record.runs[: places[0]]):  # the case tells of a log's first start
            start = (told or {}).get(first.source, start)
        observed, times, sizes, excursions, heights = [], [], [], [], []
        passed = 0.0
        for place in places:
            run, trace = record.runs[place], record.traces[place]
            offset = passed
            if run.start is not None and first.start is not None:
                offset = (run.start - first.start).total_seconds()
            own = record.own(place)
            taken = np.ones(trace.excursions.count, dtype=bool)
            if shared is not None:
                part = (record.episodes.run == place) & (record.episodes.shared == shared)
                taken = holds(
                    np.column_stack((record.episodes.start_s[part], np.nextafter(record.episodes.end_s[part], np.inf))),
                    trace.excursions.start_s,
                )
                own &= part
            observed.append(trace.observed + offset)
            times.append(record.episodes.start_s[own] + offset)
            sizes.append(record.episodes.size_V[own])
            found = trace.excursions
            excursions.append(np.column_stack((found.start_s[taken], found.end_s[taken])) + offset)
            heights.append(np.abs(found.deviation_V[taken]))
            passed = offset + run.duration_s + run.sample_interval_s
        last = record.runs[places[-1]]
        if last.start is not None:
            before_end = (_moment(last.start) + last.duration_s, last.start.tzinfo is None)
        cycles.append(
            Cycle(
                known=record.numbers[places[0]] in seen,
                start=start,
                observed=spans(tuple(pair) for part in observed for pair in part),
                episode_s=np.concatenate(times),
                size_V=np.concatenate(sizes),
                excursions=np.concatenate(excursions).reshape(-1, 2),
                excursion_V=np.concatenate(heights),
            )
        )
    every_s = float(np.median([run.sample_interval_s for run in record.runs])) if record.runs else 0.0
    return Side(
        record.channel,
        tuple(cycles),
        max((trace.enter_V for trace in record.traces), default=0.0),
        own_every_s if own_every_s > record.reading_every_s else every_s,
    )


def _moment(when: datetime) -> float:
    """Seconds on one scale; a clock without a zone is never shifted by the one of this machine."""
    return when.timestamp() if when.tzinfo is not None else when.replace(tzinfo=UTC).timestamp()


def _start_kinds(number: int, everyone: Sequence[ChannelRecord]) -> set[str]:
    """Kinds of start that the log itself shows for a run, over all channels."""
    return {
        trace.start_kind
        for record in everyone
        for mine, trace in zip(record.numbers, record.traces, strict=True)
        if mine == number and trace.start_kind in {"cold", "warm"}
    }


@dataclass(frozen=True, slots=True)
class Strata:
    """Counts and observed seconds of two sides, like with like.

    ``after_units`` and ``before_units`` hold, per power-up, the episodes counted and those to expect were all power-ups
    of both sides alike, arrays of shape (power-ups, 2).
    """

    after_counts: NDArray[np.int64]
    after_s: Floats
    before_counts: NDArray[np.int64]
    before_s: Floats
    after_units: Floats
    before_units: Floats
    matched_after: tuple[Floats, ...]
    matched_before: tuple[Floats, ...]

    @property
    def matched_after_s(self) -> float:
        """Observed seconds of the after side that have their like before."""
        return float(sum(total(part) for part in self.matched_after))

    @property
    def matched_before_s(self) -> float:
        """Observed seconds of the before side that have their like after."""
        return float(sum(total(part) for part in self.matched_before))


def as_begun(side: Side) -> Side:
    """The same side, were each log without a switch-on begun at one, and one in each pause that lets a unit cool.

    A fault that comes after hours is not gone in shorter logs. The side itself comes back where nothing is in doubt.
    """
    cycles = [part for cycle in side.cycles for part in _begun(cycle)]
    if len(cycles) == len(side.cycles) and all(cycle.known for cycle in side.cycles):
        return side
    return replace(side, cycles=tuple(cycles))


def _begun(cycle: Cycle) -> list[Cycle]:
    """The parts of a power-up between pauses of ``COLD_AFTER_S`` and more, each on a clock of its own."""
    pauses = np.flatnonzero(cycle.observed[1:, 0] - cycle.observed[:-1, 1] >= COLD_AFTER_S)
    begins = np.concatenate(([0.0], cycle.observed[pauses + 1, 0]))
    ends = np.concatenate((begins[1:], [np.inf]))
    parts = []
    for begin, end in zip(begins, ends, strict=True):
        mine = (cycle.episode_s >= begin) & (cycle.episode_s < end)
        seen = (cycle.excursions[:, 0] >= begin) & (cycle.excursions[:, 0] < end)
        parts.append(
            Cycle(
                known=True,
                start=cycle.start if begin == 0.0 else "unknown",
                observed=within(cycle.observed, float(begin), float(end)) - begin,
                episode_s=cycle.episode_s[mine] - begin,
                size_V=cycle.size_V[mine],
                excursions=cycle.excursions[seen] - begin,
                excursion_V=None if cycle.excursion_V is None else cycle.excursion_V[seen],
            )
        )
    return parts


def match(before: Side, after: Side) -> Strata:
    """Hold two sides against each other by kind of start and time since power-up.

    Notes
    -----
    Within one kind of start the axis is cut wherever the number of power-ups under observation changes on either side;
    pieces with equal numbers form one stratum (the risk sets of a proportional-rates model, Andersen and Gill 1982,
    Annals of Statistics 10, 1100-1120, from memory).
    """
    matched = ([np.empty((0, 2))] * len(after.cycles), [np.empty((0, 2))] * len(before.cycles))
    rows: dict[tuple[str, int, int], list[float]] = {}
    units = (np.zeros((len(after.cycles), 2)), np.zeros((len(before.cycles), 2)))
    for kind in ("cold", "warm"):
        here = tuple([k for k, cycle in enumerate(side.cycles) if _kind(cycle) == kind] for side in (after, before))
        if not here[0] or not here[1]:
            continue
        early = tuple(
            [within(side.cycles[k].observed, 0.0, HEAT_S) for k in places]
            for side, places in zip((after, before), here, strict=True)
        )
        edges = np.unique(np.concatenate([part.ravel() for parts in early for part in parts] or [np.empty(0)]))
        if edges.size < 2:
            continue
        at_risk = tuple(_covering(parts, edges) for parts in early)
        both = (at_risk[0] > 0) & (at_risk[1] > 0)
        shared = spans((float(edges[i]), float(edges[i + 1])) for i in np.flatnonzero(both))
        times = tuple(
            np.concatenate(
                [_inside(side.cycles[k].episode_s, early_part) for k, early_part in zip(places, parts, strict=True)]
            )
            for side, places, parts in zip((after, before), here, early, strict=True)
        )
        hits = tuple(np.histogram(moments, bins=edges)[0] for moments in times)
        width = np.diff(edges)
        for i in np.flatnonzero(both):
            key = (kind, int(at_risk[0][i]), int(at_risk[1][i]))
            row = rows.setdefault(key, [0.0, 0.0, 0.0, 0.0])
            row[0] += hits[0][i]
            row[1] += at_risk[0][i] * width[i]
            row[2] += hits[1][i]
            row[3] += at_risk[1][i] * width[i]
        total_hits, total_risk = hits[0] + hits[1], at_risk[0] + at_risk[1]
        share = np.where(both, total_hits / np.maximum(total_risk, 1), 0.0)
        for which, side in enumerate((after, before)):
            for k, part in zip(here[which], early[which], strict=True):
                matched[which][k] = _cross(part, shared)
                mine = np.histogram(_inside(side.cycles[k].episode_s, part), bins=edges)[0]
                units[which][k] += (mine[both].sum(), (share * _covering([part], edges)).sum())
    late = tuple([_late(cycle) for cycle in side.cycles] for side in (after, before))
    seconds = tuple(sum(total(part) for part in parts) for parts in late)
    if seconds[0] > 0 and seconds[1] > 0:
        counts = tuple(
            sum(_inside(cycle.episode_s, part).size for cycle, part in zip(side.cycles, parts, strict=True))
            for side, parts in zip((after, before), late, strict=True)
        )
        rows["late", 0, 0] = [counts[0], seconds[0], counts[1], seconds[1]]
        per_s = sum(counts) / sum(seconds)
        for which, side in enumerate((after, before)):
            for k, part in enumerate(late[which]):
                units[which][k] += (_inside(side.cycles[k].episode_s, part).size, per_s * total(part))
    else:
        late = tuple([np.empty((0, 2))] * len(parts) for parts in late)
    full: tuple[list[Floats], list[Floats]] = ([], [])
    for which, side in enumerate((after, before)):
        for k in range(len(side.cycles)):
            full[which].append(spans(tuple(pair) for part in (matched[which][k], late[which][k]) for pair in part))
    table = np.array(list(rows.values()), dtype=np.float64).reshape(-1, 4)
    return Strata(
        after_counts=table[:, 0].astype(np.int64),
        after_s=table[:, 1],
        before_counts=table[:, 2].astype(np.int64),
        before_s=table[:, 3],
        after_units=units[0],
        before_units=units[1],
        matched_after=tuple(full[0]),
        matched_before=tuple(full[1]),
    )


def _kind(cycle: Cycle) -> str:
    if not cycle.known:
        return "late"
    return "warm" if cycle.start == "warm" else "cold"


def _late(cycle: Cycle) -> Floats:
    return within(cycle.observed, HEAT_S if cycle.known else -np.inf, np.inf)


def _inside(moments: Floats, intervals: Floats) -> Floats:
    return moments[holds(intervals, moments)]


def _covering(parts: Sequence[Floats], edges: Floats) -> NDArray[np.int64]:
    """How many of the parts are under observation in each piece between two edges."""
    step = np.zeros(edges.size, dtype=np.int64)
    for part in parts:
        np.add.at(step, np.searchsorted(edges, part[:, 0]), 1)
        np.add.at(step, np.searchsorted(edges, part[:, 1]), -1)
    return np.cumsum(step)[:-1]


def _cross(one: Floats, two: Floats) -> Floats:
    """Intersection of two lists of intervals."""
    out: list[tuple[float, float]] = []
    for begin, end in two:
        out.extend((float(a), float(b)) for a, b in within(one, float(begin), float(end)))
    return spans(out)


def occupied(side: Side, parts: Sequence[Floats], cell_s: float) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Cells of ``cell_s`` observed seconds that hold a part of an excursion, of each power-up.

    Returns
    -------
    hits, cells : array, shape (power-ups,)
    """
    spent = sum(total(part) for part in parts)
    cell_s = max(cell_s, spent / MOST_CELLS)
    hits, cells = np.zeros(len(parts), dtype=np.int64), np.zeros(len(parts), dtype=np.int64)
    for k, (cycle, part) in enumerate(zip(side.cycles, parts, strict=True)):
        number = int(total(part) / cell_s)
        if number == 0:
            continue
        flag = np.zeros(number + 1, dtype=np.int64)
        if cycle.excursions.size:
            first = np.minimum((elapsed(part, cycle.excursions[:, 0]) / cell_s).astype(np.int64), number)
            last = np.minimum((elapsed(part, cycle.excursions[:, 1]) / cell_s).astype(np.int64), number - 1)
            # An excursion outside the part has no length on its clock.
            real = (elapsed(part, cycle.excursions[:, 1]) > elapsed(part, cycle.excursions[:, 0])) & (first <= last)
            np.add.at(flag, first[real], 1)
            np.add.at(flag, last[real] + 1, -1)
        hits[k], cells[k] = int(np.count_nonzero(np.cumsum(flag)[:-1] > 0)), number
    return hits, cells
