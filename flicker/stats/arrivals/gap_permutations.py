"""Laplace's score when the gaps between events change places, singly or as whole bursts: trend tests without Poisson arrivals."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flicker.base import check
from flicker.base.arrays import Floats, Ints
from flicker.stats.arrivals.burst_permutations import Bursts, burst_orders, burst_variation
from flicker.stats.laws import event_runs as er

PERMUTATIONS = 1999  # p-values in steps of 1/2000
SIMULATED_AT_MOST = 2_000_000  # numbers drawn by one permutation test; beyond it the normal limit is exact enough


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
    out: Floats = values[np.argsort(keys, axis=1)]
    return out


def with_rest(runs: er.Runs) -> tuple[Floats, Ints]:
    """All spacings of all runs, the rest after the last event included, and the run of each."""
    gaps, rest = runs.gaps(), runs.ends.copy()
    last = np.cumsum(runs.counts)[runs.counts > 0] - 1
    rest[runs.counts > 0] -= runs.times[last]
    run = np.concatenate((runs.run, np.arange(runs.ends.size)))
    order = np.argsort(run, kind="stable")
    return np.concatenate((gaps, rest))[order], run[order]


def permuted_laplace(runs: er.Runs, *, ended_by: str, alternative: str, seed: int) -> tuple[float, float]:
    """Permutation z and p-value of the sum of arrival times when gaps change places within their run.

    The sum of times is a weighted sum of the gaps, so its permutation mean and variance are known exactly.
    """
    if ended_by == "time":
        gaps, run = with_rest(runs)
        sizes = runs.counts + 1
    else:
        gaps, run, sizes = runs.gaps(), runs.run, runs.counts
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
        return z, er.normal_p(z, alternative)
    sums = shuffled(gaps, run, PERMUTATIONS, seed) @ weight
    return z, er.simulated_p(score, sums, alternative)


def permuted_bursts(runs: er.Runs, levels: Sequence[Bursts], *, ended_by: str, alternative: str, seed: int) -> float:
    """p-value of the sum of arrival times when bursts change places within their run, the largest of the levels."""
    laplace, out = laplace_z(runs if ended_by == "time" else runs.without_last()), 0.0
    for bursts in levels:
        if runs.times.size * PERMUTATIONS > SIMULATED_AT_MOST:
            spread = burst_variation(runs, bursts)
            p = er.normal_p(laplace / spread, alternative) if spread > 0 else 1.0
        else:
            orders = burst_orders(runs, bursts, ended_by=ended_by, rows=PERMUTATIONS, seed=seed)
            p = er.simulated_p(float(runs.times.sum()), orders.sum(axis=1), alternative)
        out = max(out, p)
    return out
