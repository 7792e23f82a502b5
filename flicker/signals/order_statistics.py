"""Order statistics: robust scatter, and medians and quantiles of many windows, groups or rows at once.

The latter are exact, without a sort for each.
"""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from flicker.base.arrays import Floats, Ints
from flicker.base.middle import median

FEW = 15  # rows, or values in a window, that are sorted against each other; a choice for speed
AT_ONCE = 1 << 17  # numbers in windows that are looked at in one step; a choice: bounds memory
MOST_SIZES = 64  # sizes of groups that are sorted table by table; a choice for speed


def middle_row(rows: list[Floats]) -> Floats:
    """Median across arrays of one shape, element by element; the arrays are used up.

    The larger of two neighbours moves up, everywhere at once, until the upper half is in its place.
    """
    count, half = len(rows), len(rows) // 2
    spare = np.empty_like(rows[0])
    for top in range(count - 1, half - 1, -1):
        for at in range(top):
            np.maximum(rows[at], rows[at + 1], out=spare)
            np.minimum(rows[at], rows[at + 1], out=rows[at])
            rows[at + 1], spare = spare, rows[at + 1]
    if count % 2:
        return rows[half]
    below = rows[0]
    for row in rows[1:half]:
        np.maximum(below, row, out=below)
    return np.asarray(0.5 * (below + rows[half]))


def scatter(values: Floats, centre: float | None = None) -> float:
    """Robust sigma about a centre, the median where none is given: the median distance, as it stands to a Gaussian's."""
    middle = median(values) if centre is None else centre
    return 1.4826 * median(np.abs(values - middle))


def sliding_medians(value: Floats, width: int) -> Floats:
    """Median of each window of ``width`` neighbours, shape (n - width + 1,); NaN where a window holds one."""
    count = value.size - width + 1
    if np.isfinite(value).all():
        if width <= FEW:
            return middle_row([value[at : at + count].copy() for at in range(width)])
        if width % 2:
            return _of_rank(value, width, width // 2)
    windows, step = sliding_window_view(value, width), max(1, AT_ONCE // width)
    out = np.empty(count)
    for at in range(0, count, step):  # by parts: all windows side by side would fill the memory
        out[at : at + step] = np.median(windows[at : at + step], axis=1)
    return out


def _of_rank(value: Floats, width: int, rank: int) -> Floats:
    """The value of a rank (from 0, ascending) in each window.

    Each value is known by its place in ascending order. Bit by bit from the highest, a window goes on with those of its
    values whose bit is 0 if they are more than ``rank``, else with the others: a wavelet tree (Grossi, Gupta and Vitter
    2003, from memory), laid out in one array per bit.
    """
    order = np.argsort(value, kind="stable")
    place = np.empty(value.size, dtype=np.int64)
    place[order] = np.arange(value.size)
    first = np.arange(value.size - width + 1)
    last = first + width
    left = np.full(first.size, rank)
    found = np.zeros(first.size, dtype=np.int64)
    for bit in reversed(range(int(value.size - 1).bit_length())):
        zero = (place >> bit) & 1 == 0
        before = np.concatenate(([0], np.cumsum(zero)))
        low_first, low_last = before[first], before[last]
        low = left < low_last - low_first
        left = np.where(low, left, left - (low_last - low_first))
        first = np.where(low, low_first, before[-1] + first - low_first)
        last = np.where(low, low_last, before[-1] + last - low_last)
        found |= np.where(low, 0, 1 << bit)
        place = np.concatenate((place[zero], place[~zero]))
    return np.asarray(value[order][found])


def row_quantiles(rows: Floats, shares: tuple[float, ...]) -> list[Floats]:
    """Quantiles (interpolated, as numpy's) of each row of a table of finite values."""
    ranked = np.sort(rows, axis=1)
    out = []
    for share in shares:
        place = share * (rows.shape[1] - 1)
        below = min(int(place), rows.shape[1] - 2)
        part = place - below
        low = ranked[:, below]
        out.append(low + part * (ranked[:, below + 1] - low))
    return out


def running_median(value: Floats, width: int) -> Floats:
    """Centred running median; at the ends the window keeps its width and stops moving."""
    size = value.size
    if size == 0 or width <= 1:
        return value.copy()
    width += 1 - width % 2
    if width >= size:
        return np.full(size, np.median(value))
    middle = sliding_medians(value, width)
    half = width // 2
    return np.concatenate((np.full(half, middle[0]), middle, np.full(half, middle[-1])))


def group_quantiles(group: Ints, value: Floats, shares: tuple[float, ...]) -> tuple[Ints, list[Floats]]:
    """Quantiles (nearest lower and upper order statistic, averaged) of values by ascending group number."""
    if np.any(group[1:] < group[:-1]):
        order = np.argsort(group, kind="stable")
        group, value = group[order], value[order]
    first = np.flatnonzero(np.concatenate(([True], group[1:] != group[:-1])))
    count = np.diff(np.concatenate((first, [group.size])))
    ranked = ranked_in_groups(group, value, first, count)
    out = []
    for share in shares:
        place = share * (count - 1)
        low, high = first + np.floor(place).astype(np.int64), first + np.ceil(place).astype(np.int64)
        out.append(0.5 * (ranked[low] + ranked[high]))
    return group[first], out


def ranked_in_groups(group: Ints, value: Floats, first: Ints, count: Ints) -> Floats:
    """Values in ascending order within their group; groups lie one behind the other, from ``first`` on each."""
    sizes = np.unique(count)
    if sizes.size > MOST_SIZES:
        return np.asarray(value[np.lexsort((value, group))])
    ranked = np.empty_like(value)
    for size in sizes:  # groups of one size are the rows of a table: several times as fast as one sort by two keys
        rows = first[count == size][:, None] + np.arange(size)
        ranked[rows] = np.sort(value[rows], axis=1)
    return ranked
