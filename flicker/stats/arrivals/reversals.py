"""Reverse arrangements test (Kendall): do the gaps between events grow or shrink, judged by pairs?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flicker.base import check
from flicker.base.result import Result
from flicker.stats.arrivals import arrival_runs as ar
from flicker.stats.arrivals.trend_tests import PERMUTATIONS, shuffled


@dataclass(frozen=True, slots=True)
class ReverseArrangements(Result):
    """Reverse arrangements of the gaps: pairs of which the later gap is longer. Positive ``z`` means gaps grow."""

    reversals: int
    pairs: int
    z: float
    p_value: float
    count: int
    runs: int
    alternative: str
    method: str

    @property
    def reads(self) -> str:
        """The finding in words."""
        return ar.trend_words(self.z < 0, self.p_value, self.alternative)


def reverse_arrangements_test(
    times: ar.Times, *, alternative: ar.Alternative = "two-sided", seed: int = 0
) -> ReverseArrangements:
    """Reverse arrangements: in how many pairs of gaps is the later gap the longer one?

    Parameters
    ----------
    times : array_like, or list of array_like
        Sorted event times of one run, or of each run.
    alternative : {"two-sided", "increasing", "decreasing"}
        "increasing" means events come more often, which is *few* reversals. "greater" and "less" speak of z.
    seed : int
        Used where gaps are tied and the exact count has to be simulated.

    Returns
    -------
    ReverseArrangements
        ``z`` without continuity correction, positive when gaps grow (improvement).

    Raises
    ------
    ValueError
        For unsorted times or fewer than two events in every run.

    Notes
    -----
    NIST/SEMATECH e-Handbook 8.2.3.4. Exact under any renewal process: the law of the number of inversions for up to 60
    gaps without ties, 1,999 permutations where gaps are tied, else the normal limit.
    """
    check.one_of("alternative", alternative, ar.ALTERNATIVES)
    asked = {"greater": "decreasing", "less": "increasing"}.get(alternative, alternative)
    items = ar.split(times)
    last = [float(np.max(np.asarray(a, dtype=float), initial=0.0)) or 1.0 for a in items]
    runs = ar.pooled(times, last, least=2)
    gaps, n = runs.gaps(), runs.counts.astype(float)
    pairs = int(np.sum(n * (n - 1) / 2))
    if pairs == 0:
        raise ValueError("times must hold 2 or more times in some run, got at most 1 in each")
    reversals = sum(count_reversals(g) for g in np.split(gaps, np.cumsum(runs.counts)[:-1]))
    variance = float(np.sum(n * (n - 1) * (2 * n + 5) / 72.0))
    z = (reversals - pairs / 2.0) / float(np.sqrt(variance))
    tied = any(np.unique(g).size < g.size for g in np.split(gaps, np.cumsum(runs.counts)[:-1]))
    if gaps.size > 60:
        how, p = "normal limit", ar.normal_p(-z, asked)
    elif tied:
        rows = shuffled(gaps, runs.run, PERMUTATIONS, seed)
        simulated = np.zeros(PERMUTATIONS)
        for j in range(gaps.size):
            same = runs.run[j + 1 :] == runs.run[j]
            simulated += np.count_nonzero((rows[:, j + 1 :] > rows[:, [j]]) & same, axis=1)
        how, p = "permutation", ar.simulated_p(-float(reversals), -simulated, asked)
    else:
        law = np.ones(1)
        for size in runs.counts:
            for k in range(2, int(size) + 1):
                law = np.convolve(law, np.full(k, 1.0 / k))
        few, many = float(law[: reversals + 1].sum()), float(law[reversals:].sum())
        how, p = "exact", min(1.0, ar.tail_p(many, few, asked))
    return ReverseArrangements(
        int(reversals), pairs, z, p, int(runs.times.size), int(runs.ends.size), asked, f"reverse arrangements, {how}"
    )


def count_reversals(gaps: ar.Floats) -> int:
    """Pairs of which the later value is the larger."""
    if gaps.size < 2:
        return 0
    if gaps.size <= 2000:
        return int(np.count_nonzero(np.triu(gaps[None, :] > gaps[:, None], 1)))
    from scipy.stats import kendalltau

    ties = np.unique(gaps, return_counts=True)[1].astype(float)
    total = gaps.size * (gaps.size - 1) / 2.0
    untied = total - float(np.sum(ties * (ties - 1) / 2.0))
    difference = float(kendalltau(np.arange(gaps.size), gaps).statistic) * np.sqrt(total * untied)
    return round(float(untied + difference) / 2.0)
