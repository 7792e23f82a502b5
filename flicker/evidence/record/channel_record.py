"""All runs of one channel side by side: episodes on the clock of observed time, power-ups kept apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np

from flicker.base.arrays import Bools, Floats, Ints
from flicker.evidence.record.starts import power_ups_begin
from flicker.logs.model import Run
from flicker.logs.spans import spans, without
from flicker.signals.excursions import Excursions, episode_numbers, near_s
from flicker.signals.guard.figures import CELL_S
from flicker.signals.trace import RunTraces, Trace

# Start, end and largest deviation of each episode, of each channel of each run.
Tables: TypeAlias = dict[tuple[int, str], tuple[Floats, Floats, Floats]]

EVER = np.array([[-np.inf, np.inf]])  # all of a run
SHORT_S = 30.0  # longer is no event of the room; chosen, not measured
AS_LARGE = 0.5  # a swing half as large elsewhere is shared, a smaller one its crosstalk: a choice


@dataclass(frozen=True, slots=True)
class Episodes:
    """Episodes of one channel over all runs, arrays of shape (episodes,).

    ``run`` is the place of the run in the record; ``start_s`` and ``end_s`` run time; ``clock_s`` the observed seconds
    of that run that had passed at the start; ``size_V`` the largest deviation, without sign; ``common`` marks those
    that every channel showed at once and no more often than a room does; ``shared`` those that another output showed
    at once, at half the size or more: they are evidence about what the outputs share, whatever its rate.
    """

    run: Ints
    start_s: Floats
    end_s: Floats
    clock_s: Floats
    size_V: Floats
    common: Bools
    shared: Bools

    @property
    def count(self) -> int:
        """Number of episodes."""
        return int(self.run.size)


@dataclass(frozen=True, slots=True)
class ChannelRecord:
    """One channel over all runs of a unit, in time order.

    ``cycle`` gives for each run the number of its power-up: a run that begins in mid-operation and follows another
    continues that one's clock (a logger's pause restarts nothing).
    """

    channel: str
    runs: tuple[Run, ...]
    numbers: tuple[int, ...]
    traces: tuple[Trace, ...]
    cycle: tuple[int, ...]
    episodes: Episodes
    dead_time_s: float

    @property
    def observed_s(self) -> float:
        """Observed seconds over all runs."""
        return float(sum(trace.observed_s for trace in self.traces))

    @property
    def reading_every_s(self) -> float:
        """Longest usual step between readings, over its runs."""
        return max((run.sample_interval_s for run in self.runs), default=0.0)

    @property
    def in_excursion_s(self) -> float:
        """Seconds spent beyond the threshold."""
        return float(sum(trace.excursions.duration_s.sum() for trace in self.traces))

    @property
    def cycles(self) -> int:
        """Power-ups covered by the record."""
        return len(set(self.cycle))

    @property
    def power_ups(self) -> list[list[int]]:
        """Places of the runs of each power-up, in order."""
        places: dict[int, list[int]] = {}
        for place, cycle in enumerate(self.cycle):
            places.setdefault(cycle, []).append(place)
        return [places[cycle] for cycle in sorted(places)]

    @property
    def own_episodes(self) -> int:
        """Number of episodes but for those of all channels at once."""
        return int(np.count_nonzero(~self.episodes.common))

    def own(self, place: int) -> Bools:
        """Marks the episodes of a run, but for those of all channels at once."""
        return np.asarray((self.episodes.run == place) & ~self.episodes.common)

    def own_sizes(self, places: Sequence[int]) -> tuple[Floats, Floats, float]:
        """Sizes of own episodes in some runs, when each came on the observed clock of these runs, and where that clock ends."""
        sizes, times, end = [], [], 0.0
        for place in places:
            mine = self.own(place) & (self.episodes.size_V > 0)
            sizes.append(self.episodes.size_V[mine])
            times.append(end + self.episodes.clock_s[mine])
            end += self.traces[place].observed_s
        return np.concatenate(sizes), np.concatenate(times), end

    def clusters_at(self, dead_time_s: float) -> int:
        """Number of own episodes if excursions closer than ``dead_time_s`` counted as one."""
        places = [self.own(place) for place in range(len(self.traces))]
        starts, ends = self.episodes.start_s, self.episodes.end_s
        return sum(int(np.unique(episode_numbers(starts[own], ends[own], dead_time_s)).size) for own in places)

    @property
    def longest_episode_s(self) -> float:
        """Length of the longest episode."""
        if self.episodes.count == 0:
            return 0.0
        return float((self.episodes.end_s - self.episodes.start_s).max())

    def without(self, times: Mapping[int, Floats]) -> ChannelRecord:
        """The same without some times of its runs as observed ones.

        Where an excursion begins in such a time, all of it stays: what was seen there is told and counts. One in the first
        or last cell of it is where it ends: a unit that is switched on or off.
        """
        traces = list(self.traces)
        clock_s = self.episodes.clock_s.copy()
        for place, (number, trace) in enumerate(zip(self.numbers, self.traces, strict=True)):
            gone = [kept for one in times.get(number, ()) if (kept := _quiet(one, trace.excursions)) is not None]
            if gone:
                traces[place] = replace(trace, observed=without(trace.observed, spans(gone)))
                mine = self.episodes.run == place
                clock_s[mine] = traces[place].observed_clock(self.episodes.start_s[mine])
        return replace(self, traces=tuple(traces), episodes=replace(self.episodes, clock_s=clock_s))

    def per_cycle(self, *, shared: bool = True, each_run: bool = False) -> tuple[list[Floats], list[float]]:
        """Own episodes' times on the observed clock of each power-up, and that clock's end; without those shared if so wished.

        With ``each_run`` every run is taken to begin with a power-up, whether it shows one or not.
        """
        times, ends = [], []
        for places in [[place] for place in range(len(self.runs))] if each_run else self.power_ups:
            parts, end = [], 0.0
            for place in places:
                chosen = self.own(place) if shared else self.own(place) & ~self.episodes.shared
                parts.append(end + self.episodes.clock_s[chosen])
                end += self.traces[place].observed_s
            times.append(np.concatenate(parts))
            ends.append(end)
        return times, ends


def _quiet(span_s: Floats, found: Excursions) -> tuple[float, float] | None:
    """The part of a time between excursions in its first and last cell; None where there are others."""
    begin, end = span_s.tolist()
    last = (found.start_s >= end - CELL_S) & (found.start_s < end)
    first = (found.start_s >= begin) & (found.start_s < begin + CELL_S) & ~last
    begin, end = float(found.end_s[first].max(initial=begin)), float(found.start_s[last].min(initial=end))
    return None if end <= begin or np.any((found.start_s > begin) & (found.start_s < end)) else (begin, end)


def records(all_runs: Sequence[RunTraces], *, dead_time_s: float) -> list[ChannelRecord]:
    """Gather the traces of each channel, in the order in which the channels first appear."""
    names = list(dict.fromkeys(trace.channel for run in all_runs for trace in run.traces))
    tables = {(run.number, trace.channel): trace.episode_table() for run in all_runs for trace in run.traces}
    alike = _alike(all_runs, tables)
    cycles = _cycles(all_runs)
    out = []
    for name in names:
        chosen = [
            (run, cycles[k], trace) for k, run in enumerate(all_runs) for trace in run.traces if trace.channel == name
        ]
        traces = tuple(trace for _, _, trace in chosen)
        as_large = _as_large(name, [run for run, _, _ in chosen], alike, tables)
        parts = []
        for place, (run, _, trace) in enumerate(chosen):
            start, end, deviation = tables[run.number, name]
            found = alike.get((run.number, name), {})
            nowhere = np.zeros(start.size, dtype=bool)
            together = [at >= 0 for at in found.values()]
            everywhere = (end - start <= SHORT_S) & np.logical_and.reduce(together) if found else nowhere
            parts.append(
                (
                    np.full(start.size, place, dtype=np.int64),
                    start,
                    end,
                    trace.observed_clock(start),
                    np.abs(deviation),
                    everywhere,
                    np.logical_or.reduce([nowhere, *(at >= 0 for other, at in found.items() if other in as_large)]),
                )
            )
        columns = [np.concatenate(column) for column in zip(*parts, strict=True)]
        out.append(
            ChannelRecord(
                channel=name,
                runs=tuple(run.run for run, _, _ in chosen),
                numbers=tuple(run.number for run, _, _ in chosen),
                traces=traces,
                cycle=tuple(cycle for _, cycle, _ in chosen),
                episodes=Episodes(*columns),
                dead_time_s=dead_time_s,
            )
        )
    return out


def _cycles(all_runs: Sequence[RunTraces]) -> list[int]:
    """Number the power-ups: a run that begins with none continues the one before."""
    out: list[int] = []
    for begins in power_ups_begin(all_runs):
        out.append(out[-1] + int(begins) if out else 0)
    return out


def _alike(all_runs: Sequence[RunTraces], tables: Tables) -> dict[tuple[int, str], dict[str, Ints]]:
    """For each channel of a run and each other one, the place of the other's episode that begins and ends with each; else -1."""
    out: dict[tuple[int, str], dict[str, Ints]] = {}
    for run in all_runs:
        seen = {trace.channel: tables[run.number, trace.channel] for trace in run.traces if trace.observed_s > 0}
        near = near_s(run.run.sample_interval_s)
        for name, (start, end, _) in seen.items():
            out[run.number, name] = {}
            for other, (begins, ends, _) in seen.items():
                if other == name:
                    continue
                found = np.full(start.size, -1, dtype=np.int64)
                first, last = begins.searchsorted((start - 2.0 * near, start + 2.0 * near))
                if (first < last).any():
                    place = np.clip(np.searchsorted(begins, start), 1, begins.size) - 1
                    for at in (place, np.minimum(place + 1, begins.size - 1)):
                        hit = (np.abs(begins[at] - start) <= near) & (np.abs(ends[at] - end) <= max(near, 2.0))
                        found[hit] = at[hit]
                out[run.number, name][other] = found
    return out


def _as_large(
    name: str, runs: Sequence[RunTraces], alike: dict[tuple[int, str], dict[str, Ints]], tables: Tables
) -> frozenset[str]:
    """Other channels whose swings at the same moments are at least half as large, in the middle: not mere crosstalk of these."""
    ratios: dict[str, list[Floats]] = {}
    for run in runs:
        mine = np.abs(tables[run.number, name][2])
        for other, at in alike.get((run.number, name), {}).items():
            if (at >= 0).any():
                ratios.setdefault(other, []).append(np.abs(tables[run.number, other][2][at[at >= 0]]) / np.maximum(mine[at >= 0], 1e-12))
    return frozenset(other for other, part in ratios.items() if float(np.median(np.concatenate(part))) >= AS_LARGE)
