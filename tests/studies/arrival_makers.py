"""Times and sizes of swings within one power-up, of many kinds, written before the test of growth was changed.

All kinds are invented. Each maker takes a generator and hours and returns sorted times in seconds and sizes in volts.
In `NULLS` nothing grows from the start of the power-up to its end; in `GROWING` rate or size does.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

Made = tuple[np.ndarray, np.ndarray]
Maker = Callable[[np.random.Generator, float], Made]
HOUR = 3600.0


def _sizes(rng, n, sd=0.4):
    return 0.15 * np.exp(sd * rng.normal(size=n))


def poisson(rng, hours, per_h=6.0, sd=0.4):
    n = rng.poisson(per_h * hours)
    return np.sort(rng.uniform(0, hours * HOUR, n)), _sizes(rng, n, sd)


def _bursts(rng, hours, begins, sizes, gap_s, alike):
    """Bursts at ``begins`` with so many swings each, exponential gaps; ``alike``: share of the size variance of the burst."""
    times, volts = [], []
    for at, k in zip(begins, sizes, strict=True):
        times.append(at + np.concatenate(([0.0], np.cumsum(rng.exponential(gap_s, k - 1)))))
        own = np.sqrt(alike) * rng.normal() + np.sqrt(1 - alike) * rng.normal(size=k)
        volts.append(0.15 * np.exp(0.5 * own))
    if not times:
        return np.empty(0), np.empty(0)
    t, v = np.concatenate(times), np.concatenate(volts)
    keep = t < hours * HOUR
    order = np.argsort(t[keep])
    return t[keep][order], v[keep][order]


def bursts(rng, hours, size=3, per_h=4.0, gap_s=8.0, alike=0.7):
    """Bursts of exactly so many swings."""
    begins = np.sort(rng.uniform(0, hours * HOUR, rng.poisson(per_h * hours)))
    return _bursts(rng, hours, begins, np.full(begins.size, size), gap_s, alike)


def bursts_geometric(rng, hours, mean=3.0, per_h=4.0, gap_s=10.0, alike=0.7):
    begins = np.sort(rng.uniform(0, hours * HOUR, rng.poisson(per_h * hours)))
    return _bursts(rng, hours, begins, rng.geometric(1 / mean, begins.size), gap_s, alike)


def bursts_pareto(rng, hours, tail=1.5, per_h=4.0, gap_s=10.0):
    """Burst sizes without a finite variance, cut at 200."""
    begins = np.sort(rng.uniform(0, hours * HOUR, rng.poisson(per_h * hours)))
    sizes = np.minimum(1.0 + rng.pareto(tail, begins.size), 200).astype(int)
    return _bursts(rng, hours, begins, sizes, gap_s, 0.7)


def self_exciting(rng, hours, base_per_h=4.0, children=0.6, tau_s=60.0):
    """Hawkes process: each swing brings so many more on average, exponentially later; stationary start."""
    lead = 20 * tau_s
    wave = rng.uniform(-lead, hours * HOUR, rng.poisson(base_per_h / HOUR * (hours * HOUR + lead)))
    out = [wave]
    while wave.size:
        k = rng.poisson(children, wave.size)
        wave = np.repeat(wave, k) + rng.exponential(tau_s, int(k.sum()))
        out.append(wave)
    t = np.sort(np.concatenate(out))
    t = t[(t >= 0) & (t < hours * HOUR)]
    return t, _sizes(rng, t.size)


def renewal(rng, hours, per_h=6.0, law="gamma", spread=0.4):
    """Independent gaps: gamma of shape ``spread``, or lognormal with that sd of log; an old process."""
    n = int(20 + 6 * per_h * hours)
    mean = HOUR / per_h
    gaps = rng.gamma(spread, mean / spread, 2 * n) if law == "gamma" else mean * np.exp(spread * rng.normal(size=2 * n) - spread**2 / 2)
    t = np.cumsum(gaps) - rng.uniform(0, 0.3 * gaps.sum())
    t = t[(t >= 0) & (t < hours * HOUR)]
    return t, _sizes(rng, t.size)


def spells(rng, hours, dwell_s=600.0, per_h_on=24.0):
    """Spells of activity and rest, exponential with one mean; swings only in spells."""
    edges = np.cumsum(rng.exponential(dwell_s, int(10 + 4 * hours * HOUR / dwell_s)))
    t = np.sort(rng.uniform(0, hours * HOUR, rng.poisson(per_h_on * hours)))
    on = (np.searchsorted(edges, t) + rng.integers(2)) % 2 == 0
    return t[on], _sizes(rng, int(on.sum()))


def wandering_rate(rng, hours, per_h=8.0, sd=0.7, exponent=1.0):
    """The log of the rate is 1/f noise: no trend by intent, but slow wander."""
    n = 512
    f = np.arange(2 * n + 1, dtype=float)
    f[0] = np.inf
    x = np.fft.irfft((rng.normal(size=f.size) + 1j * rng.normal(size=f.size)) * f ** (-exponent / 2), 4 * n)
    at = rng.integers(0, 3 * n)
    x = sd * x[at : at + n] / x.std()
    rate = np.exp(x)
    rate *= per_h * hours / rate.mean() / n
    count = rng.poisson(rate)
    t = np.sort((np.repeat(np.arange(n), count) + rng.random(int(count.sum()))) * hours * HOUR / n)
    return t, _sizes(rng, t.size)


def decaying(rng, hours, n_mean=30.0, tau_s=1200.0, floor_per_h=2.0):
    """Comes less and less after switch-on."""
    early = rng.exponential(tau_s, rng.poisson(n_mean))
    late = rng.uniform(0, hours * HOUR, rng.poisson(floor_per_h * hours))
    t = np.sort(np.concatenate((early, late)))
    t = t[t < hours * HOUR]
    return t, _sizes(rng, t.size)


def sizes_correlated(rng, hours, phi=0.5, sd=0.5, per_h=8.0):
    """Poisson; the log sizes are AR(1) from swing to swing."""
    t, _ = poisson(rng, hours, per_h)
    x = np.empty(t.size)
    last = rng.normal()
    for i in range(t.size):
        last = phi * last + np.sqrt(1 - phi**2) * rng.normal()
        x[i] = last
    return t, 0.15 * np.exp(sd * x)


def sizes_heavy(rng, hours, tail=2.0, per_h=8.0):
    t, _ = poisson(rng, hours, per_h)
    return t, 0.06 * (1 + rng.pareto(tail, t.size))


def few(rng, hours, n=12):
    return np.sort(rng.uniform(0, hours * HOUR, n)), _sizes(rng, n)


def growing_rate(rng, hours, factor=4.0, n=20, burst=1, gap_s=8.0):
    """Exactly n starts; the rate at the end is ``factor`` times that at the start, exponential in time."""
    u, g = rng.random(n), np.log(factor)
    begins = np.sort(np.log1p(u * (factor - 1)) / g) * hours * HOUR
    if burst == 1:
        return begins, _sizes(rng, n)
    return _bursts(rng, hours, begins, rng.geometric(1 / burst, n), gap_s, 0.7)


def growing_size(rng, hours, factor=3.0, n=20, sd=0.4):
    t = np.sort(rng.uniform(0, hours * HOUR, n))
    return t, _sizes(rng, n, sd) * factor ** (t / (hours * HOUR))


def power_law(rng, hours, exponent=3.0, low=18, high=41):
    n = int(rng.integers(low, high))
    return np.sort(rng.random(n)) ** (1 / exponent) * hours * HOUR, _sizes(rng, n)


def _with(make, **kw) -> Maker:
    return lambda rng, hours: make(rng, hours, **kw)


NULLS: dict[str, Maker] = {"Poisson, 3 per h": _with(poisson, per_h=3.0), "Poisson, 6 per h": poisson, "Poisson, 20 per h": _with(poisson, per_h=20.0), "12 exactly": few}
for _k in (3, 5, 8):
    for _gap in (4.0, 15.0, 45.0, 120.0):
        NULLS[f"bursts of {_k}, gaps {_gap:.0f} s"] = _with(bursts, size=_k, gap_s=_gap, per_h=4.0 if _k < 8 else 3.0)
NULLS |= {
    "bursts of 5, gaps 8 s, 10 per h": _with(bursts, size=5, gap_s=8.0, per_h=10.0),
    "geometric bursts, mean 3, gaps 10 s": bursts_geometric,
    "geometric bursts, mean 5, gaps 20 s": _with(bursts_geometric, mean=5.0, gap_s=20.0),
    "Pareto bursts 1.5": bursts_pareto,
    "self-exciting .6, 60 s": self_exciting,
    "self-exciting .8, 30 s": _with(self_exciting, children=0.8, tau_s=30.0, base_per_h=3.0),
    "self-exciting .7, 300 s": _with(self_exciting, children=0.7, tau_s=300.0, base_per_h=3.0),
    "renewal gamma .4": renewal,
    "renewal lognormal 1.5": _with(renewal, law="lognormal", spread=1.5, per_h=8.0),
    "renewal regular (gamma 5)": _with(renewal, spread=5.0),
    "spells of 3 min": _with(spells, dwell_s=180.0, per_h_on=40.0),
    "spells of 10 min": spells,
    "rate decays, 20 min": decaying,
    "rate decays, 60 min": _with(decaying, tau_s=3600.0),
    "sizes AR .5": sizes_correlated,
    "sizes AR .8": _with(sizes_correlated, phi=0.8),
    "sizes Pareto 2": sizes_heavy,
}  # fmt: skip
# no stationary process in the sense of a test within one log: measured, not asked to hold
WANDERING: dict[str, Maker] = {
    "rate 1/f, sd .4": _with(wandering_rate, sd=0.4),
    "rate 1/f, sd .8": _with(wandering_rate, sd=0.8),
    "spells of 30 min": _with(spells, dwell_s=1800.0, per_h_on=24.0),
}
GROWING: dict[str, Maker] = {
    "rate x4, 20": growing_rate,
    "rate x4, 40": _with(growing_rate, n=40),
    "rate x8, 20": _with(growing_rate, factor=8.0),
    "rate x8, 40": _with(growing_rate, factor=8.0, n=40),
    "rate x8, 20 bursts of 3": _with(growing_rate, factor=8.0, burst=3),
    "rate, power law 3": power_law,
    "size x3, 20": growing_size,
    "size x3, 40": _with(growing_size, n=40),
    "size x3, 20, sd .3": _with(growing_size, sd=0.3),
    "size x9, 18, sd .25": _with(growing_size, factor=9.0, n=18, sd=0.25),
}
