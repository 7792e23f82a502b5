"""Laplace's score when the gaps between events change places, singly or as whole bursts: trend tests without Poisson arrivals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from flicker.base import check
from flicker.base.arrays import Bools, Floats, Ints
from flicker.stats.arrivals.clusters import cluster_gap, intervals_theta
from flicker.stats.laws import count_tails
from flicker.stats.laws import event_runs as er

PERMUTATIONS = 1999  # p-values in steps of 1/2000
SIMULATED_AT_MOST = 2_000_000  # numbers drawn by one permutation test; beyond it the normal limit is exact enough
SHOWN = 0.75  # bursts per event; from here down clustering is taken to show


def laplace_z(runs: er.Runs) -> float:
    """Laplace's z of the runs, pooled."""
    ends = runs.end_of_event
    return float(np.sum(runs.times - 0.5 * ends) / np.sqrt(np.sum(ends**2) / 12.0))


def gap_variation(runs: er.Runs) -> float:
    """Coefficient of variation of the gaps, each run scaled by its own mean gap (n - 1 in each run)."""
    gaps = runs.gaps()
    mean = np.bincount(runs.run, gaps, minlength=runs.ends.size) / np.maximum(runs.counts, 1)
    many = (runs.counts > 1) & (mean > 0)
    free = int(np.sum(runs.counts[many] - 1))
    if free == 0:
        return float("nan")
    pick = many[runs.run]
    return float(np.sqrt(np.sum((gaps[pick] / mean[runs.run[pick]] - 1.0) ** 2) / free))


def shuffled(values: Floats, group: Ints, times: int, seed: int) -> Floats:
    """Rows of ``values`` permuted within groups, shape (times, n).

    The draws follow from the seed and from the order of the values: one log always gets the same answer, and yet no
    single set of permutations, with its own luck, serves all logs.
    """
    seed = check.whole("seed", seed, what="a seed")
    top = float(np.max(np.abs(values), initial=0.0)) or 1.0
    order = np.argsort(np.round(values / top, 9), kind="stable")  # rounded, so that the unit of time does not matter
    rng = np.random.default_rng([seed, *order.tolist()])
    keys = rng.random((times, values.size))
    keys += group  # the whole part keeps each group in its place (groups are contiguous and ascending)
    return np.asarray(values[np.argsort(keys, axis=1)])


def with_rest(runs: er.Runs, gaps: Floats, of_run: Ints) -> tuple[Floats, Ints]:
    """Spacings of all runs, the rest after the last event of each included, and the run of each."""
    rest = runs.ends.copy()
    last = np.cumsum(runs.counts)[runs.counts > 0] - 1
    rest[runs.counts > 0] -= runs.times[last]
    run = np.concatenate((of_run, np.arange(rest.size)))
    order = np.argsort(run, kind="stable")
    return np.concatenate((gaps, rest))[order], run[order]


def spacings(runs: er.Runs, ended_by: str) -> tuple[Floats, Ints, Ints]:
    """Gaps that may change places, the run of each, and how many each run has; of a run ended by time the rest is one."""
    if ended_by == "event":
        return runs.gaps(), runs.run, runs.counts
    return *with_rest(runs, runs.gaps(), runs.run), runs.counts + 1


def permuted_laplace(runs: er.Runs, *, ended_by: str, alternative: str, seed: int) -> tuple[float, float]:
    """Permutation z and p-value of the sum of arrival times when gaps change places within their run.

    The sum of times is a weighted sum of the gaps, so its permutation mean and variance are known exactly.
    """
    gaps, run, sizes = spacings(runs, ended_by)
    starts = np.concatenate(([0], np.cumsum(sizes)[:-1]))
    weight = (sizes[run] - 1.0) - (np.arange(gaps.size) - starts[run])  # how many later events a gap delays
    score = float(np.dot(weight, gaps))
    n_run = runs.ends.size
    mean_gap = np.bincount(run, gaps, minlength=n_run) / np.maximum(sizes, 1)
    mean_weight = (sizes - 1.0) / 2.0
    gap_ss = np.bincount(run, (gaps - mean_gap[run]) ** 2, minlength=n_run)
    weight_ss = np.bincount(run, (weight - mean_weight[run]) ** 2, minlength=n_run)
    expected = float(np.sum(sizes * mean_weight * mean_gap))
    sd = float(np.sqrt(np.sum(gap_ss * weight_ss / np.maximum(sizes - 1, 1))))
    if sd <= 1e-12 * max(score, 1e-300):
        return 0.0, 1.0
    z = (score - expected) / sd
    if gaps.size * PERMUTATIONS > SIMULATED_AT_MOST:
        return z, count_tails.normal_p(z, alternative)
    sums = shuffled(gaps, run, PERMUTATIONS, seed) @ weight
    return z, er.simulated_p(score, sums, alternative)


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
        return [parted(runs, gaps, later, 0.0)]
    count, limit = cluster_gap(inner, intervals_theta(inner, grid=False))
    levels = [parted(runs, gaps, later, limit)]
    if count <= SHOWN * (inner.size + 1):
        levels.append(parted(runs, gaps, later, float(inner[inner.size - max(1, -(-count // 3) - 1)])))
    return levels


def parted(runs: er.Runs, gaps: Floats, later: Bools, limit: float) -> Bursts:
    """Bursts of events that follow the one before them (``later`` in their run) by at most ``limit``."""
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
    moved, start = _moved(runs, bursts, ended_by=ended_by, rows=rows, seed=seed)
    own = np.empty_like(start)
    np.put_along_axis(own, moved, start, axis=1)
    return np.asarray(own[:, bursts.of_event] + (runs.times - runs.times[bursts.first][bursts.of_event]))


def _moved(runs: er.Runs, bursts: Bursts, *, ended_by: str, rows: int, seed: int) -> tuple[Ints, Floats]:
    """Which burst comes in each place, and when it begins, shape (rows, bursts)."""
    gaps, count = runs.gaps()[bursts.first], bursts.first.size
    between, of_run = gaps, bursts.run
    place = np.arange(count)
    if ended_by == "time":
        between, of_run = with_rest(runs, gaps, bursts.run)
        place = place + bursts.run  # every run before has left its rest
    # the draws follow from the seed and the number of events, as those of the permuted gaps do
    rng = np.random.default_rng([seed, runs.times.size, count])
    moved = np.argsort(rng.random((rows, count)) + bursts.run, axis=1)
    apart = between[np.argsort(rng.random((rows, between.size)) + of_run, axis=1)]
    return moved, (_before(apart, of_run) + apart)[:, place] + _before(bursts.length[moved], bursts.run)


def _before(values: Floats, group: Ints) -> Floats:
    """Sums of what stands before each place in its group, along rows."""
    sums = np.cumsum(values, axis=1)
    sums -= values
    if group[-1] > group[0]:
        sums -= sums[:, np.searchsorted(group, group)]
    return sums


def permuted_bursts(runs: er.Runs, levels: Sequence[Bursts], *, ended_by: str, alternative: str, seed: int) -> float:
    """p-value of the sum of arrival times when bursts change places within their run, the largest of the levels."""
    laplace, out = laplace_z(runs.telling(ended_by)), 0.0
    for bursts in levels:
        inner = float((runs.times - runs.times[bursts.first][bursts.of_event]).sum())  # no order changes it
        if runs.times.size * PERMUTATIONS > SIMULATED_AT_MOST:
            spread = burst_variation(runs, bursts)
            p = count_tails.normal_p(laplace / spread, alternative) if spread > 0 else 1.0
        else:
            moved, start = _moved(runs, bursts, ended_by=ended_by, rows=PERMUTATIONS, seed=seed)
            sums = (start * bursts.sizes[moved]).sum(axis=1) + inner
            p = er.simulated_p(float(runs.times.sum()), sums, alternative)
        out = max(out, p)
    return out
