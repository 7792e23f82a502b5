"""Best places of 1, 2, ... changes of level by least squares, exactly, in a short series."""

from __future__ import annotations

from flicker.base.arrays import Floats


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
    Dynamic programming (Bellman 1961, from memory) by ruptures: KernelCPD with the linear kernel (Truong, Oudre and
    Vayatis 2020, Signal Processing 167, 107299). Imported here, as that takes most of a second: only a log in which a
    change of level is possible at all needs it.
    """
    from ruptures import KernelCPD

    count = min(most, values.size // shortest - 1)
    if count < 1:
        return []
    search = KernelCPD(kernel="linear", min_size=shortest).fit((values - values.mean())[:, None])
    search.predict(n_bkps=count)  # finds the best places for each smaller number on the way
    return [tuple(int(at) for at in search.predict(n_bkps=k)[:-1]) for k in range(1, count + 1)]
