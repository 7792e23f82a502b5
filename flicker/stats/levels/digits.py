"""Noise behind a coarse last digit: the step of the digit and the robust sigma."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from flicker.base import check
from flicker.base.arrays import Floats
from flicker.base.middle import median

MOST_VALUES = 1 << 18  # more than this tells the last digit no better


def resolution_of(values: ArrayLike) -> float:
    """Return the step of the last digit: the largest step of which all differences are multiples.

    Parameters
    ----------
    values : array_like, shape (n,)
        Readings; NaN are passed over. Rounding left by a change of unit (mV * 1e-3, or single precision) is tolerated.

    Returns
    -------
    float
        The step, in the unit of ``values``; 0.0 where none is found (fewer than two distinct values, or values that
        fill the line as computed numbers do).

    Raises
    ------
    ValueError
        If ``values`` are not one-dimensional numbers.

    Notes
    -----
    Euclid's algorithm on the differences of neighbouring distinct values, with a tolerance of some units in the last
    place of the largest value. Values that occur only once are set aside where nine in ten readings repeat, so that a
    few computed readings among digital ones do not hide the step.
    """
    array = check.number_array("values", values)
    if array.size > MOST_VALUES:  # four stretches: a step shows between neighbours in level, not in time
        part = MOST_VALUES // 4
        starts = np.linspace(0, array.size - part, 4).astype(np.int64)
        array = np.concatenate([array[s : s + part] for s in starts])
    array = array[np.isfinite(array)]
    if array.size < 2:
        return 0.0
    distinct, counts = np.unique(array, return_counts=True)
    repeated = counts > 1
    if repeated.sum() >= 2 and counts[repeated].sum() >= 0.9 * array.size:
        distinct = distinct[repeated]
    top = float(np.abs(distinct).max())
    # numbers that came from single precision all lie on its own binary lattice: look with its tolerance only
    fits = top <= float(np.finfo(np.float32).max)
    single = fits and np.array_equal(distinct, distinct.astype(np.float32).astype(np.float64))
    return _common_step(distinct, float(np.finfo(np.float32).eps if single else 8 * np.finfo(np.float64).eps) * top)


def _common_step(distinct: Floats, slack: float) -> float:
    """The largest step of which all gaps are multiples, 0 where there is none: Euclid's algorithm with a tolerance."""
    gaps = np.diff(distinct)
    gaps = gaps[gaps > slack]
    if not gaps.size:
        return 0.0
    step = float(gaps.min())
    floor = 40 * slack
    for _ in range(60):
        if step < floor:
            return 0.0
        # the step itself carries the slack, so a gap of many steps carries it many times: refine on ever longer gaps
        order = np.sort(gaps)
        for limit in (4.0, 64.0, 1e3, 1e5, np.inf):
            some = order[order <= limit * step]
            times = np.round(some / step)
            fits = np.abs(some - times * step) < 0.1 * step
            if fits.any():
                step = median(some[fits][-9:] / times[fits][-9:])
        rest = np.abs(gaps - np.round(gaps / step) * step)
        allowed = np.maximum(4 * slack, 1e-3 * step)
        if not (rest > allowed).any():
            break
        step = float(rest[rest > allowed].min())
    else:
        return 0.0
    digits = float(f"{step:.4g}")  # 0.00099999999 was meant as 0.001
    return digits if abs(digits - step) < 1e-5 * step else step


def noise_sigma(y: ArrayLike, *, resolution: float | None = None) -> float:
    """Return the robust standard deviation of values about their middle, also where the last digit is coarse.

    Parameters
    ----------
    y : array_like, shape (n,)
        Settled values, baseline removed or steady; NaN are passed over.
    resolution : float, optional
        Step of the last digit (0 for none); found by `resolution_of` when left out.

    Returns
    -------
    float
        Sigma of the signal before rounding, in the unit of ``y``. 0.0 where all values are equal.

    Raises
    ------
    ValueError
        If no finite value is left, or ``resolution`` is negative.

    Notes
    -----
    Fine digits: median absolute deviation times 1.4826, less the variance of rounding (Sheppard 1898: step ** 2 / 12).
    Coarse digits, where that deviation is 0 or one step: the borders between levels are known exactly, so the normal
    quantiles of the shares below each border are fitted against the borders, with weights of their binomial error. This
    is right down to a sigma of about a fifth of a step; below, few values leave the level and the figure is a bound
    from above (about 0.3 steps).
    """
    array = check.number_array("y", y)
    array = check.finite_array("y", array[~np.isnan(array)])
    step = resolution_of(array) if resolution is None else check.positive("resolution", resolution, zero=True)
    middle = median(array)
    plain = 1.482602218505602 * median(np.abs(array - middle))
    if step == 0.0 or plain > 3 * step:
        return float(np.sqrt(max(plain * plain - step * step / 12.0, 0.0)))
    levels = np.round((array - middle) / step)
    found, counts = np.unique(levels, return_counts=True)
    if found.size == 1:
        return 0.0
    n = array.size
    lowest, highest = int(max(found[0], -12)), int(min(found[-1], 12))
    borders = np.arange(lowest - 1, highest + 1) + 0.5
    below = np.concatenate([[0], np.cumsum(counts)])[np.searchsorted(found, borders)]
    shares = np.clip(below / n, 0.5 / n, 1 - 0.5 / n)
    z = special.ndtri(shares)
    density = np.exp(-0.5 * z * z)
    weight = density * density / (shares * (1 - shares))
    keep = (shares > 0.02) & (shares < 0.98)  # the outer two per cent may be glitches
    if keep.sum() < 2:  # few values leave the level: the surest border on either side
        keep[:] = False
        keep[np.argmax(np.where(z <= 0, weight, -1.0))] = True
        keep[np.argmax(np.where(z > 0, weight, -1.0))] = True
    w, zk, b = weight[keep], z[keep], borders[keep]
    zm, bm = np.average(zk, weights=w), np.average(b, weights=w)
    spread = float(np.sum(w * (zk - zm) ** 2))
    slope = float(np.sum(w * (zk - zm) * (b - bm))) / spread if spread > 0 else 0.0
    return slope * step
