"""Best places of 1, 2, ... changes of level by least squares, exactly, in a short series."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def best_cuts(values: Floats, most: int, shortest: int) -> list[tuple[int, ...]]:
    """Cut a series so that the squared distances to the means of the parts are least, once for each number of cuts.

    Parameters
    ----------
    values : array, shape (n,)
        A short series: memory and time go with its square.
    most : int
        Largest number of cuts; fewer where the series is too short.
    shortest : int
        Fewest values in a part, 1 or more.

    Returns
    -------
    list of tuple of int
        For 1, 2, ... cuts the first indices of the new parts.

    Notes
    -----
    Dynamic programming over the last cut (Bellman 1961, from memory). The same optimum as ruptures' KernelCPD with the
    linear kernel, against which it is tested; that library takes 0.7 s to import, more than judging a log takes.
    """
    n = values.size
    centred = values - values.mean()
    sums = np.concatenate(([0.0], np.cumsum(centred)))
    squares = np.concatenate(([0.0], np.cumsum(centred * centred)))
    begin, end = np.arange(n + 1)[:, None], np.arange(n + 1)[None, :]
    size = end - begin
    cost = np.where(
        size >= shortest,
        squares[end] - squares[begin] - (sums[end] - sums[begin]) ** 2 / np.maximum(size, 1),
        np.inf,
    )
    best = cost[0]
    back: list[NDArray[np.intp]] = []
    out: list[tuple[int, ...]] = []
    for count in range(1, most + 1):
        if (count + 1) * shortest > n:
            break
        total = best[:, None] + cost
        back.append(np.argmin(total, axis=0))
        best = total[back[-1], np.arange(n + 1)]
        cuts, at = [], n
        for step in reversed(back):
            at = int(step[at])
            cuts.append(at)
        out.append(tuple(reversed(cuts)))
    return out
