"""One side of a comparison: a channel's episodes on the clock since power-up, and what two sides have in common.

Like is compared with like: an episode three minutes after a cold start is held against the time that both sides spent
three minutes after a cold start. How the rate runs with the time since power-up may be anything. After ``HEAT_S`` a
unit is taken as warm as it gets, and later times are held together; so are logs whose power-up was not seen.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np

from flicker.base.arrays import Bools, Floats, Ints
from flicker.base.limits import Limits
from flicker.base.units import HOUR
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.evidence.record.power_up_counts import HEAT_S
from flicker.logs.spans import elapsed, holds, spans, total, within

COLD_AFTER_S = Limits().cold_after_s  # by the definition of a cold start
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

    def kept(self, episodes: Bools, excursions: Bools) -> Cycle:
        """The same with these episodes and excursions alone."""
        heights = None if self.excursion_V is None else self.excursion_V[excursions]
        return replace(
            self,
            episode_s=self.episode_s[episodes],
            size_V=self.size_V[episodes],
            excursions=self.excursions[excursions],
            excursion_V=heights,
        )


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
    def counted(self) -> list[tuple[int, float]]:
        """Episodes and observed hours of each power-up with observed time."""
        units = [(cycle.episode_s.size, total(cycle.observed) / HOUR) for cycle in self.cycles]
        return [(number, hours) for number, hours in units if hours > 0]

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

    ``shared`` leaves out what several outputs showed at once (False) or takes nothing else (True). ``told`` gives the kind of
    start of a log by its name, where the case says it; else the pause before decides, by the dates of the logs or as the log
    itself shows it. ``own_every_s`` is the interval of the channel, where it has fewer
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
        if first.start is not None and not first.back_s and before_end is not None and (first.start.tzinfo is None) == (before_end[1]):
            start = "cold" if _moment(first.start) - before_end[0] >= COLD_AFTER_S else "warm"
        kinds = _start_kinds(record.numbers[places[0]], everyone)
        if start == "unknown" and len(kinds) == 1:
            (start,) = kinds
        if all(run.source != first.source for run in record.runs[: places[0]]):  # the case tells of a log's first start
            start = (told or {}).get(first.source, start)
        parts, passed = [], 0.0
        for place in places:
            run, trace = record.runs[place], record.traces[place]
            offset = passed
            if run.start is not None and first.start is not None and run.back_s == first.back_s:
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
            found = trace.excursions
            parts.append(
                (
                    trace.observed + offset,
                    record.episodes.start_s[own] + offset,
                    record.episodes.size_V[own],
                    np.column_stack((found.start_s[taken], found.end_s[taken])) + offset,
                    np.abs(found.deviation_V[taken]),
                )
            )
            passed = offset + run.duration_s + run.sample_interval_s
        last = record.runs[places[-1]]
        if last.start is not None:
            before_end = (_moment(last.start) + last.duration_s, last.start.tzinfo is None)
        observed, *columns = zip(*parts, strict=True)
        seconds = spans(tuple(pair) for part in observed for pair in part)
        cycles.append(Cycle(record.numbers[places[0]] in seen, start, seconds, *map(np.concatenate, columns)))
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


def pace(before: Side, after: Side) -> float:
    """How many times as fast the readings follow the output on one side as on the other."""
    fast, slow = sorted(side.sample_interval_s for side in (before, after))
    return slow / max(fast, 1e-12)


@dataclass(frozen=True, slots=True)
class Matched:
    """What of one side has its like on the other.

    ``units`` holds, per power-up, the episodes counted and those to expect were all power-ups of both sides alike, an array
    of shape (power-ups, 2); ``times`` the observed intervals of each that are compared.
    """

    units: Floats
    times: tuple[Floats, ...]

    @property
    def episodes(self) -> int:
        """Episodes counted."""
        return int(self.units[:, 0].sum())

    @property
    def observed_s(self) -> float:
        """Observed seconds that are compared."""
        return float(sum(total(part) for part in self.times))


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
    for begin, end in zip(begins.tolist(), ends.tolist(), strict=True):
        mine = (cycle.episode_s >= begin) & (cycle.episode_s < end)
        part = cycle.kept(mine, (cycle.excursions[:, 0] >= begin) & (cycle.excursions[:, 0] < end))
        parts.append(
            replace(
                part,
                known=True,
                start=cycle.start if begin == 0.0 else "unknown",
                observed=within(cycle.observed, begin, end) - begin,
                episode_s=part.episode_s - begin,
                excursions=part.excursions - begin,
            )
        )
    return parts


def match(before: Side, after: Side) -> tuple[Matched, Matched]:
    """Hold two sides against each other by kind of start and time since power-up.

    Notes
    -----
    Within one kind of start the axis is cut wherever the number of power-ups under observation changes on either side;
    pieces with equal numbers form one stratum (the risk sets of a proportional-rates model, Andersen and Gill 1982,
    Annals of Statistics 10, 1100-1120, from memory).
    """
    sides = (before, after)
    units = [np.zeros((len(side.cycles), 2)) for side in sides]
    times = [[np.empty((0, 2))] * len(side.cycles) for side in sides]
    for kind in ("cold", "warm"):
        early = [
            {k: within(cycle.observed, 0.0, HEAT_S) for k, cycle in enumerate(side.cycles) if _kind(cycle) == kind}
            for side in sides
        ]
        edges = np.unique(np.concatenate([np.empty(0), *(part.ravel() for parts in early for part in parts.values())]))
        if not all(early) or edges.size < 2:
            continue
        at_risk = [_covering(parts.values(), edges) for parts in early]
        both = (at_risk[0] > 0) & (at_risk[1] > 0)
        shared = spans((float(edges[i]), float(edges[i + 1])) for i in np.flatnonzero(both))
        hits = [
            {k: np.histogram(_inside(side.cycles[k].episode_s, part), bins=edges)[0] for k, part in parts.items()}
            for side, parts in zip(sides, early, strict=True)
        ]
        all_hits = sum(count for counts in hits for count in counts.values())
        share = np.where(both, all_hits / np.maximum(at_risk[0] + at_risk[1], 1), 0.0)
        for which, parts in enumerate(early):
            for k, part in parts.items():
                times[which][k] = _cross(part, shared)
                units[which][k] += (hits[which][k][both].sum(), (share * _covering([part], edges)).sum())
    late = [[_late(cycle) for cycle in side.cycles] for side in sides]
    seconds = [sum(total(part) for part in parts) for parts in late]
    if min(seconds) > 0:
        counts = [
            [_inside(cycle.episode_s, part).size for cycle, part in zip(side.cycles, parts, strict=True)]
            for side, parts in zip(sides, late, strict=True)
        ]
        per_s = sum(map(sum, counts)) / sum(seconds)
        for which, parts_late in enumerate(late):
            for k, part in enumerate(parts_late):
                units[which][k] += (counts[which][k], per_s * total(part))
                times[which][k] = spans(tuple(pair) for table in (times[which][k], part) for pair in table)
    was, now = (Matched(counted, tuple(parts)) for counted, parts in zip(units, times, strict=True))
    return was, now


def _kind(cycle: Cycle) -> str:
    if not cycle.known:
        return "late"
    return "warm" if cycle.start == "warm" else "cold"


def _late(cycle: Cycle) -> Floats:
    return within(cycle.observed, HEAT_S if cycle.known else -np.inf, np.inf)


def _inside(moments: Floats, intervals: Floats) -> Floats:
    return moments[holds(intervals, moments)]


def _covering(parts: Iterable[Floats], edges: Floats) -> Ints:
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


def occupied(side: Side, parts: Sequence[Floats], cell_s: float) -> tuple[Ints, Ints]:
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
