"""Two independent makers of bench-like noise for the studies: spectral 1/f, sums of AR(1); white and plain AR(1).

All series are invented. Each maker returns an array of shape (count, n), with unit standard deviation on average.
"""

from __future__ import annotations

import numpy as np
from scipy.signal import lfilter


def white(rng, count, n):
    return rng.standard_normal((count, n))


def ar1(rng, count, n, rho):
    e = rng.standard_normal((count, n)) * np.sqrt(1 - rho * rho)
    e[:, 0] = rng.standard_normal(count)  # starts in its stationary state
    return lfilter([1.0], [1.0, -rho], e, axis=1)


def spectral(rng, count, n, exponent=1.0):
    """Gaussian noise with power falling as f ** -exponent, cut from a series four times as long."""
    long = 1 << int(np.ceil(np.log2(4 * n)))
    f = np.arange(1, long // 2 + 1, dtype=float)
    amplitude = f ** (-exponent / 2)
    z = (rng.standard_normal((count, f.size)) + 1j * rng.standard_normal((count, f.size))) * amplitude
    y = np.fft.irfft(np.concatenate([np.zeros((count, 1)), z], axis=1), n=long, axis=1)[:, :n]
    return y / y.std(axis=1).mean()


def sum_of_ar1(rng, count, n, per_decade=2):
    """1/f-like noise: AR(1) processes of equal power with time constants spread evenly in the logarithm."""
    taus = np.logspace(0, np.log10(4 * n), max(3, int(per_decade * np.log10(4 * n)) + 1))
    y = sum(ar1(rng, count, n, np.exp(-1.0 / tau)) for tau in taus)
    return y / y.std(axis=1).mean()


def random_walk(rng, count, n):
    return np.cumsum(rng.standard_normal((count, n)), axis=1)


def quantised(y, step):
    return np.round(y / step) * step


NULLS = {
    "white": lambda rng, c, n: white(rng, c, n),
    "AR .9": lambda rng, c, n: ar1(rng, c, n, 0.9),
    "AR .98": lambda rng, c, n: ar1(rng, c, n, 0.98),
    "1/f^0.8": lambda rng, c, n: spectral(rng, c, n, 0.8),
    "1/f": lambda rng, c, n: spectral(rng, c, n, 1.0),
    "1/f^1.2": lambda rng, c, n: spectral(rng, c, n, 1.2),
    "sum of AR": lambda rng, c, n: sum_of_ar1(rng, c, n),
    "1/f, last digit 1 sigma": lambda rng, c, n: quantised(spectral(rng, c, n, 1.0), 1.0),
    "white, last digit 2 sigma": lambda rng, c, n: quantised(white(rng, c, n) + rng.uniform(-1, 1, (c, 1)), 2.0),
}
