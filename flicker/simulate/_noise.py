"""Noise a bench shows. A generator and a length in, an array of unit standard deviation out; knows nothing of volts.

'Unit' is the standard deviation expected over the length asked for (fluctuations slower than that length come on top
and mostly shift the level). Nothing is scaled by the drawn sample itself, so short logs vary as they should.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.units import HOUR


def white(rng: np.random.Generator, n: int) -> Floats:
    """Gaussian, independent from sample to sample."""
    return rng.standard_normal(n)


def ar1(rng: np.random.Generator, n: int, phi: float = 0.97) -> Floats:
    """First-order autoregressive, begun in its stationary state; ``phi`` is the correlation of neighbours."""
    from scipy.signal import lfilter

    kick = rng.standard_normal(n) * np.sqrt(1.0 - phi * phi)
    kick[:1] /= np.sqrt(1.0 - phi * phi)
    return np.asarray(lfilter([1.0], [1.0, -phi], kick))


def flicker_spectral(rng: np.random.Generator, n: int, exponent: float = 1.0) -> Floats:
    """1/f**exponent noise made in the frequency domain, cut from a series four times as long (so it does not close).

    Gaussian amplitudes with random phases after Timmer and Koenig (1995), Astronomy and Astrophysics 300, 707-710
    (from memory).
    """
    from scipy.fft import irfft, next_fast_len

    m = next_fast_len(4 * n, real=True)
    order = np.arange(1, m // 2 + 1, dtype=np.float64)
    amplitude = order ** (-0.5 * exponent)
    pairs = rng.standard_normal(2 * order.size).view(np.complex128)
    spectrum = np.empty(order.size + 1, dtype=np.complex128)
    spectrum[0] = 0.0
    np.multiply(pairs, amplitude, out=spectrum[1:])
    if m % 2 == 0:
        spectrum[-1] = amplitude[-1] * pairs[-1].real * np.sqrt(2.0)
    power = amplitude * amplitude
    within = float(power[3:].sum())  # slower than the log itself: shifts the level, does not count as noise
    series: Floats = irfft(spectrum, m)[:n]
    series *= m / (2.0 * np.sqrt(within))
    return series


def flicker_relaxations(rng: np.random.Generator, n: int, exponent: float = 1.0) -> Floats:
    """1/f**exponent noise as a sum of relaxations with time constants two octaves apart (ripple of some percent).

    The classical account of 1/f noise in junctions (many traps, each with its own time constant; McWhorter 1957, from
    memory). It shares nothing with `flicker_spectral`, so a test tuned to one is found out by the other.
    """
    tau = 4.0 ** np.arange(-0.5, 0.5 * np.log2(max(n, 4)) + 1.5)
    weight = tau ** (0.5 * (exponent - 1.0))
    out = np.zeros(n)
    total = 0.0
    for constant, size in zip(tau, weight, strict=True):
        phi = float(np.exp(-1.0 / constant))
        out += size * ar1(rng, n, phi)
        # Share of this stage's variance that moves within the log: variance less that of its mean over n samples.
        ratio = n / constant
        total += size**2 * (1.0 - 2.0 / ratio * (1.0 - (1.0 - np.exp(-ratio)) / ratio))
    out /= np.sqrt(total)
    return out


def random_walk(rng: np.random.Generator, n: int) -> Floats:
    """Random walk scaled to a range (highest less lowest) of exactly 1, beginning at 0."""
    walk = np.cumsum(rng.standard_normal(n))
    walk -= walk[0]
    span = float(np.ptp(walk))
    if span > 0:
        walk /= span
    return walk


def telegraph(rng: np.random.Generator, time_s: Floats, dwell_low_s: float, dwell_high_s: float) -> Floats:
    """Two levels, 0 and 1, with exponential dwell times of the given means; begins in either in proportion."""
    span = float(time_s[-1] - time_s[0]) if time_s.size else 0.0
    pairs = int(span / (dwell_low_s + dwell_high_s) * 1.5 + 20.0 + 6.0 * np.sqrt(span / (dwell_low_s + dwell_high_s)))
    begins_high = bool(rng.random() < dwell_high_s / (dwell_low_s + dwell_high_s))
    means = np.tile([dwell_high_s, dwell_low_s] if begins_high else [dwell_low_s, dwell_high_s], pairs)
    switches = np.cumsum(rng.standard_exponential(means.size) * means)
    passed = np.searchsorted(switches, time_s - time_s[0], side="right")
    return np.asarray(((passed % 2 == 0) == begins_high).astype(np.float64))


def at_random(rng: np.random.Generator, rate_per_h: float, span_s: float) -> Floats:
    """Times within a span at a constant rate (Poisson), in order."""
    return np.sort(rng.uniform(0.0, span_s, int(rng.poisson(rate_per_h * span_s / HOUR))))


def heavy(rng: np.random.Generator, n: int, freedom: float = 3.0) -> Floats:
    """Student-t noise, scaled so that its interquartile range is that of unit Gaussian noise."""
    quartile = {2.0: 0.8164966, 3.0: 0.7648923, 4.0: 0.7406971}.get(freedom, 0.75)
    out: Floats = rng.standard_t(freedom, n)
    out *= 0.6744898 / quartile
    return out


Generator = Callable[[np.random.Generator, int, float], Floats]

COLOURS: dict[str, Generator] = {
    "white": lambda rng, n, exponent: white(rng, n),
    "ar1": lambda rng, n, exponent: ar1(rng, n),
    "flicker": flicker_spectral,
    "flicker-relaxations": flicker_relaxations,
}
