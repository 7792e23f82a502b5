"""Orders in which the bursts of a log might have come, for tests of trend that must not take bursts for a trend."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flicker.base.arrays import Bools, Floats, Ints
from flicker.stats.arrivals.clusters import cluster_gap, intervals_theta
from flicker.stats.laws import event_runs as er

SHOWN = 0.75  # bursts per event; from here down clustering is taken to show


@dataclass(frozen=True, slots=True)
class Bursts:
    """Bursts by the intervals estimator: first event, length and run of each; the burst of each event."""

    first: Ints
    length: Floats
    run: Ints
    sizes: Ints
    of_event: Ints


def burst_levels(runs: er.Runs, clock: er.Runs | None = None) -> list[Bursts]:
    """Bursts by the intervals estimator; where they show, also stretches of about three bursts.

    Bursts that overlap reach farther than the estimator sees; the longer stretches keep what they have in common.
    ``clock``: the same events on another clock, whose gaps tell the bursts.
    """
    gaps, later = (clock or runs).gaps(), runs.place() > 0
    inner = np.sort(gaps[later])
    if inner.size < 2:
        return [_parted(runs, gaps, later, 0.0)]
    count, limit = cluster_gap(inner, intervals_theta(inner, grid=False))
    levels = [_parted(runs, gaps, later, limit)]
    if count <= SHOWN * (inner.size + 1):
        levels.append(_parted(runs, gaps, later, float(inner[inner.size - max(1, -(-count // 3) - 1)])))
    return levels


def _parted(runs: er.Runs, gaps: Floats, later: Bools, limit: float) -> Bursts:
    begins = ~later | (gaps > limit)
    first = np.flatnonzero(begins)
    sizes = np.diff(np.append(first, runs.times.size))
    length = runs.times[first + sizes - 1] - runs.times[first]
    return Bursts(first, length, runs.run[first], sizes, np.cumsum(begins) - 1)


def burst_variation(runs: er.Runs, bursts: Bursts) -> float:
    """What bursts put on the spread of a count, as the variation of gaps does: 1 for Poisson arrivals.

    Events of a burst less those expected in its cycle (the gap before it and its length), squared, per event.
    """
    rate = runs.counts / runs.ends
    cycle = runs.gaps()[bursts.first] + bursts.length
    over = bursts.sizes - rate[bursts.run] * cycle
    return float(np.sqrt(np.sum(over**2) / runs.times.size))


def burst_orders(runs: er.Runs, bursts: Bursts, *, ended_by: str, rows: int, seed: int) -> Floats:
    """Event times, shape (rows, n), when bursts change places within their run, and so do the gaps between them.

    A burst keeps its inner gaps. For a run that stopped at a set time the rest after its last event is one of the gaps.
    """
    gaps, count = runs.gaps()[bursts.first], bursts.first.size
    between, of_run = gaps, bursts.run
    place = np.arange(count)
    if ended_by == "time":
        rest = runs.ends.copy()
        seen = np.flatnonzero(runs.counts > 0)
        rest[seen] -= runs.times[np.cumsum(runs.counts)[seen] - 1]
        order = np.argsort(np.concatenate((bursts.run, np.arange(rest.size))), kind="stable")
        between = np.concatenate((gaps, rest))[order]
        of_run = np.concatenate((bursts.run, np.arange(rest.size)))[order]
        place = place + bursts.run  # every run before has left its rest
    # the draws follow from the seed and the number of events, as those of the permuted gaps do
    rng = np.random.default_rng([seed, runs.times.size, count])
    moved = np.argsort(rng.random((rows, count)) + bursts.run, axis=1)
    apart = between[np.argsort(rng.random((rows, between.size)) + of_run, axis=1)]
    length = bursts.length[moved]
    start = _before(apart, of_run)[:, place] + apart[:, place] + _before(length, bursts.run)
    own = np.empty_like(start)
    np.put_along_axis(own, moved, start, axis=1)
    out: Floats = own[:, bursts.of_event] + (runs.times - runs.times[bursts.first][bursts.of_event])
    return out


def _before(values: Floats, group: Ints) -> Floats:
    """Sums of what stands before each place in its group, along rows."""
    sums = np.cumsum(values, axis=1) - values
    first = np.searchsorted(group, group)
    out: Floats = sums - sums[:, first]
    return out
