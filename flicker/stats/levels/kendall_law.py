"""The exact null law of Kendall's S: all orders of the values equally likely, ties on either side allowed."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from functools import lru_cache

import numpy as np

from flicker.base.arrays import Floats, Ints

MOST_VALUES = 60  # beyond it the normal law of S is as good
MOST_STEPS = 100_000  # of the count where both sides are tied; some 0.3 s
PERMUTATIONS = 4999  # where that is not enough


def exact_tails(s: int, ties: Ints, other_ties: Ints) -> tuple[float, float] | None:
    """Chances of S or less, and of S or more.

    Parameters
    ----------
    s : int
        Kendall's S.
    ties, other_ties : array of int
        How often each different value occurs, in rising order of the values, on either side.

    Returns
    -------
    (float, float) or None
        None where it would take too long.
    """
    one, two = (tuple(int(t) for t in side) for side in (ties, other_ties))
    if sum(one) > MOST_VALUES:
        return None
    if max(one) == 1 or max(two) == 1:
        law = _one_side_tied(tuple(sorted(two if max(one) == 1 else one)))
    elif _steps(one, two) <= MOST_STEPS:
        law = _both_tied(one, two)
    else:
        return None
    total = sum(law.values())
    return sum(w for v, w in law.items() if v <= s) / total, sum(w for v, w in law.items() if v >= s) / total


def permuted_tails(s: int, values: Floats, times: Floats, seed: int) -> tuple[float, float]:
    """The same two chances from random orders of the values, the order seen counted among them."""
    ranks = np.unique(values, return_inverse=True)[1].astype(np.int16)
    rows = np.random.default_rng(seed).permuted(np.tile(ranks, (PERMUTATIONS, 1)), axis=1)
    drawn = np.zeros(PERMUTATIONS, dtype=np.int64)
    for j in range(values.size - 1):
        later = rows[:, j + 1 :][:, times[j + 1 :] > times[j]]
        drawn += np.count_nonzero(later > rows[:, [j]], axis=1) - np.count_nonzero(later < rows[:, [j]], axis=1)
    m = PERMUTATIONS + 1
    return (1 + int(np.count_nonzero(drawn <= s))) / m, (1 + int(np.count_nonzero(drawn >= s))) / m


@lru_cache(maxsize=64)
def _one_side_tied(ties: tuple[int, ...]) -> Counter[int]:
    """Orders of a multiset by S: its inversions are counted by the q-multinomial coefficient (MacMahon 1915)."""
    law, n = np.array([1], dtype=object), 0
    for size in ties:
        for k in range(1, size + 1):  # times (1 - q^(n + k)), over (1 - q^k): whole numbers throughout
            n += 1
            longer = np.concatenate((law, np.zeros(n, dtype=object)))
            longer[n:] -= law
            for start in range(k):
                longer[start::k] = np.cumsum(longer[start::k])
            law = longer[: law.size + n - k]
    pairs = (sum(ties) ** 2 - sum(t * t for t in ties)) // 2
    return Counter({pairs - 2 * d: int(w) for d, w in enumerate(law)})


def _steps(one: tuple[int, ...], two: tuple[int, ...]) -> int:
    return math.prod(t + 1 for t in one) * max(math.comb(len(one) + u - 1, u) for u in two)


@lru_cache(maxsize=64)
def _both_tied(values: tuple[int, ...], times: tuple[int, ...]) -> Counter[int]:
    """Fill each time with values, counting the ways; what is left over lies later and makes the pairs."""
    laws = {values: Counter({0: 1})}
    for size in times:
        nxt: dict[tuple[int, ...], Counter[int]] = {}
        for left, law in laws.items():
            for taken in itertools.product(*(range(min(size, t) + 1) for t in left)):
                if sum(taken) != size:
                    continue
                rest = tuple(t - c for t, c in zip(left, taken, strict=True))
                ways = math.prod(math.comb(t, c) for t, c in zip(left, taken, strict=True))
                above = [sum(rest[i + 1 :]) - sum(rest[:i]) for i in range(len(rest))]
                gain = sum(c * a for c, a in zip(taken, above, strict=True))
                into = nxt.setdefault(rest, Counter())
                for s, w in law.items():
                    into[s + gain] += w * ways
        laws = nxt
    return laws[(0,) * len(values)]
