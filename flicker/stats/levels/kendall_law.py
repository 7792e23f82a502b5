"""Pairs of points without listing them: the exact null law of Kendall's S (all orders of the values equally likely, ties on either side allowed), order changes, and the pairwise slope of a given rank."""

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


_FEW = 200  # so few pairs between two slopes are listed one by one
LISTED = 2000  # up to here all slopes fit comfortably in memory (16 MB)


def discordant_pairs(values: Floats) -> int:
    """Return the number of pairs i < j with values[i] > values[j], in n log n steps."""
    ranks = np.unique(values, return_inverse=True)[1].astype(np.int64)
    # Radix split from the highest bit: within equal higher bits, every one that stands before a zero is a change.
    total = 0
    top = int(ranks.max()).bit_length()
    for bit in range(top - 1, -1, -1):
        ones = (ranks >> bit) & 1
        seen = np.cumsum(ones)
        group = ranks >> (bit + 1)
        starts = np.flatnonzero(np.concatenate([[True], group[1:] != group[:-1]]))
        before = (seen - ones)[starts]
        sizes = np.diff(np.append(starts, ranks.size))
        zero = ones == 0
        total += int((seen - np.repeat(before, sizes))[zero].sum())
        ranks = ranks[np.argsort(ranks >> bit, kind="stable")]
    return total


def slopes_at_ranks(values: Floats, times: Floats, ranks: tuple[int | None, ...]) -> tuple[float, ...]:
    """Return the pairwise slopes of the given ranks (0 the lowest; None the median)."""
    order = np.lexsort((values, times))
    y, x = values[order], times[order]
    return _listed(y, x, ranks) if y.size <= LISTED else _searched(y, x, ranks)


def _listed(y: Floats, x: Floats, asked: tuple[int | None, ...]) -> tuple[float, ...]:
    """Slopes of given ranks among all slopes, listed."""
    first, second = np.triu_indices(y.size, 1)
    run = x[second] - x[first]
    apart = run > 0
    slopes = np.sort((y[second] - y[first])[apart] / run[apart])
    return tuple(float(np.median(slopes)) if rank is None else float(slopes[rank]) for rank in asked)


def _searched(y: Floats, x: Floats, asked: tuple[int | None, ...]) -> tuple[float, ...]:
    """Slopes of given ranks without a list: by counting how many pairs have a smaller slope."""
    n = y.size
    ties = np.unique(x, return_counts=True)[1].astype(np.int64)
    pairs = n * (n - 1) // 2 - int((ties * (ties - 1) // 2).sum())
    rng = np.random.default_rng(0)  # only to guess where to look; the answer does not depend on it
    i, j = rng.integers(0, n, (2, 400_000))
    run = x[j] - x[i]
    sample = np.sort((y[j] - y[i])[run != 0] / run[run != 0])

    def below(slope: float) -> int:
        """Pairs whose slope is less than ``slope``: order changes of y - slope x (equal times never count)."""
        rest = y - slope * x
        inside = np.lexsort((rest, x)) if ties.size < n else None
        return discordant_pairs(rest if inside is None else rest[inside])

    def at(rank: int) -> float:
        """The slope of one rank."""
        share = (rank + 0.5) / pairs
        width = 5 * np.sqrt(share * (1 - share) / sample.size) + 2 / sample.size
        low = float(sample[max(int((share - width) * sample.size), 0)])
        high = float(sample[min(int((share + width) * sample.size), sample.size - 1)])
        guess = float(sample[min(int(share * sample.size), sample.size - 1)])
        size = max(abs(low), abs(high), 1e-300)
        near = 1e-12 * size
        if below(guess - near) <= rank < below(guess + near):  # many equal slopes, as a coarse last digit makes them
            return guess
        gap = max(high - low, near)
        count_low, count_high = below(low), below(high)
        while count_low > rank:
            low, gap = low - gap, 2 * gap
            count_low = below(low)
        while count_high <= rank:
            high, gap = high + gap, 2 * gap
            count_high = below(high)
        tries = 2  # equal slopes at a border make the list and the count disagree
        for turn in range(60):  # the slope of the rank is the largest with at most ``rank`` pairs below
            if tries and count_high - count_low <= _FEW:
                tries -= 1
                slopes = np.sort(_slopes_between(y, x, low, high))
                if slopes.size == count_high - count_low:
                    return float(slopes[rank - count_low])
            if high - low <= near:
                break
            step = (rank + 0.5 - count_low) / (count_high - count_low) if turn % 3 else 0.5
            middle = low + min(max(step, 0.01), 0.99) * (high - low)
            count = below(middle)
            if count <= rank:
                low, count_low = middle, count
            else:
                high, count_high = middle, count
        return (low + high) / 2

    def median() -> float:
        return at(pairs // 2) if pairs % 2 else (at(pairs // 2 - 1) + at(pairs // 2)) / 2

    return tuple(median() if rank is None else at(rank) for rank in asked)


def _slopes_between(y: Floats, x: Floats, low: float, high: float) -> Floats:
    """List the slopes from ``low`` to ``high``: pairs whose order differs between y - low x and y - high x."""
    order = np.lexsort((x, y - low * x))
    rank = np.empty(y.size, dtype=np.int64)
    rank[np.lexsort((-x, y - high * x))] = np.arange(y.size)
    closed = np.maximum.accumulate(rank[order]) == np.arange(y.size)  # all that stand up to here stay among themselves
    moved = order[~(closed & np.concatenate(([True], closed[:-1])))]
    if moved.size > 2 * _FEW:  # more than so few pairs can move: equal slopes at a border
        return np.zeros(0)
    first, second = np.triu_indices(moved.size, 1)
    crossed = rank[moved[first]] > rank[moved[second]]
    i, j = moved[first][crossed], moved[second][crossed]
    run = x[j] - x[i]
    return np.asarray((y[j] - y[i])[run != 0] / run[run != 0], dtype=np.float64)
