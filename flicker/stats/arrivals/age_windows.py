"""Could the order of the runs be chance? Windows at equal time since power-up, dealt anew among the runs.

For few runs, where their own spread cannot be estimated. Bursts stay whole inside their window, and a rate that changes
with time since power-up cancels, so the answer holds for both.
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import ArrayLike

from flicker.stats.arrivals.trend_tests import PERMUTATIONS
from flicker.stats.laws import event_runs as er

WINDOWS = 10  # of the longest run: wide enough that few bursts are cut by a border
DEALS = 1_999
SEED = 20_310_303
EXACT_RUNS = 7  # 5,040 orders are counted out, beyond they are drawn


def dealt_p(times: er.Times, ends: ArrayLike, ages: ArrayLike, *, seed: int = SEED) -> float:
    """Two-sided mid-p of the sum of ages over episodes when each window's counts are dealt anew among its runs.

    Parameters
    ----------
    times, ends, ages
        As `age_regression` takes them.
    seed : int
        Of the 1,999 deals.

    Returns
    -------
    float
        1 where no window holds an episode and runs of different age.

    Notes
    -----
    Restricted permutation: without growth the counts of one window are exchangeable between the runs that reached it,
    whatever the dispersion, as long as bursts are short against a window.
    """
    items = er.split(times)
    age, end = np.asarray(ages, dtype=np.float64), np.asarray(ends, dtype=np.float64)
    rng = np.random.default_rng(seed)
    longest, begin = float(end.max()), 0.0
    seen, dealt = 0.0, np.zeros(DEALS)
    for edge in np.unique(end).tolist():
        bins = max(1, round(WINDOWS * (edge - begin) / longest))
        at_risk = np.flatnonzero(end >= edge)
        counts = np.array([np.histogram(items[k], bins=bins, range=(begin, edge))[0] for k in at_risk])
        counts = counts[:, counts.sum(axis=0) > 0]
        begin = edge
        centred = age[at_risk] - age[at_risk].mean()
        if counts.shape[1] == 0 or not centred.any():
            continue
        seen += float(centred @ counts.sum(axis=1))
        order = np.argsort(rng.random((DEALS, *counts.shape)), axis=1)
        dealt += np.take_along_axis(np.broadcast_to(counts, order.shape), order, axis=1).sum(axis=2) @ centred
    slack = 1e-9 * max(1.0, abs(seen))
    tied = 1.0 + np.count_nonzero(np.abs(dealt - seen) <= slack)  # the deal that was seen is one of them
    above, below = (float(np.count_nonzero(side > slack)) for side in (dealt - seen, seen - dealt))
    return min(1.0, 2.0 * (min(above, below) + 0.5 * tied) / (DEALS + 1.0))


def shuffled_p(times: er.Times, ends: ArrayLike, ages: ArrayLike, *, seed: int = SEED) -> float:
    """Two-sided p of the growth's score when whole runs change places; for runs that differ, of which there are many."""
    runs = er.pooled(times, ends, least=1)
    age = np.asarray(ages, dtype=np.float64)
    return _permuted_age(_risk_sets(runs), (age - age.mean()) / float(np.ptp(age)), "two-sided", seed)


def _risk_sets(runs: er.Runs) -> tuple[er.Floats, er.Floats]:
    """Events by level of exposure: counts (levels, runs), and who is at risk (levels, runs).

    A level is the stretch of time since power-up between two neighbouring run ends; the same runs are at risk all
    through it, so only its counts matter.
    """
    edges = np.unique(runs.ends)
    level = np.searchsorted(edges, runs.times, side="left")
    counts = np.zeros((edges.size, runs.ends.size))
    np.add.at(counts, (level, runs.run), 1.0)
    risk = (runs.ends[None, :] >= edges[:, None]).astype(float)
    keep = (counts.sum(axis=1) > 0) & (risk.sum(axis=1) > 1)
    return counts[keep], risk[keep]


def _score(held: tuple[er.Floats, er.Floats], ages: er.Floats) -> tuple[er.Floats, er.Floats]:
    """Score and its Poisson variance for each row of ``ages``, shape (rows, runs)."""
    counts, risk = held
    total, width = counts.sum(axis=1), risk.sum(axis=1)
    mean = ages @ risk.T / width
    square = ages**2 @ risk.T / width
    return ages @ counts.sum(axis=0) - mean @ total, np.maximum(square - mean**2, 0.0) @ total


def _permuted_age(held: tuple[er.Floats, er.Floats], age: er.Floats, side: str, seed: int) -> float:
    """P-value of the score over its Poisson spread under all orders of the runs (or drawn ones)."""
    if held[0].size == 0:
        return 1.0
    m = age.size
    exact = m <= EXACT_RUNS
    if exact:
        orders = np.array(list(itertools.permutations(range(m))))
    else:
        orders = np.argsort(np.random.default_rng(seed).random((PERMUTATIONS, m)), axis=1)
    ages = np.vstack((age[None, :], age[orders]))
    u, v = _score(held, ages)
    value = np.where(v > 0, u / np.sqrt(np.where(v > 0, v, 1.0)), 0.0)
    observed, others = float(value[0]), value[1:]
    if not exact:
        return er.simulated_p(observed, others, side)
    slack = 1e-9 * max(1.0, abs(observed))
    upper, lower = float(np.mean(others >= observed - slack)), float(np.mean(others <= observed + slack))
    return er.tail_p(lower, upper, side)
