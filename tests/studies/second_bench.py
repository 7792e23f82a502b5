"""A second, plainer generator of bench logs, apart from `flicker.simulate`, so that nothing is tuned to one of them.

All data are invented. No surge, no warm-up unless asked for; one bad channel 'left', a sound one 'right'.
"""

from __future__ import annotations

import numpy as np

from flicker import Log

KINDS: dict[str, str] = {
    "white": "steady",
    "ar1": "steady",
    "pink": "steady",
    "quantised": "steady",
    "gappy": "steady",
    "warming": "steady",
    "ripple": "steady",
    "single": "one-off",
    "burst": "one-off",
    "poisson": "noisy",
    "bursts": "noisy",
    "heavy": "noisy",
    "line": "drifting",
    "step": "drifting",
    "walk": "drifting",
    "rate": "degrading",
    "size": "degrading",
}


def pink(rng: np.random.Generator, n: int, exponent: float = 1.0) -> np.ndarray:
    """Gaussian 1/f noise cut from a series four times as long, unit variance."""
    spectrum = rng.normal(size=2 * n + 1) + 1j * rng.normal(size=2 * n + 1)
    f = np.arange(2 * n + 1, dtype=float)
    f[0] = np.inf
    series = np.fft.irfft(spectrum * f ** (-exponent / 2.0), 4 * n)
    at = int(rng.integers(0, 3 * n))
    part = series[at : at + n]
    return part / part.std()


def ar1(rng: np.random.Generator, n: int, phi: float) -> np.ndarray:
    """AR(1) of unit variance."""
    from scipy.signal import lfilter

    return lfilter([np.sqrt(1 - phi**2)], [1.0, -phi], rng.normal(size=n + 500))[500:]


def glitch(rng: np.random.Generator, x: np.ndarray, dt: float, at_s: float, size: float, length_s: float) -> None:
    """Add one glitch: a rectangle, or one that decays, or one that swings both ways."""
    i, m = int(at_s / dt), max(1, round(length_s / dt))
    shape = np.ones(m)
    style = rng.integers(3)
    if style == 1:
        shape = np.exp(-np.arange(m) / max(1.0, m / 2.0))
    elif style == 2 and m > 3:
        shape[m // 2 :] = -0.7
    x[i : i + m] += (size * shape)[: max(0, x.size - i)]


def make(kind: str, seed: int, *, hours: float = 4.0, rate_hz: float = 2.0, base_V: float | None = None) -> Log:
    """Make one log of the kind; sizes from 1.5 times the excursion limit to volts, lengths from a sample to a minute."""
    rng = np.random.default_rng([seed, list(KINDS).index(kind)])
    n, dt = int(hours * 3600 * rate_hz), 1.0 / rate_hz
    t = np.arange(n) * dt
    sigma = rng.uniform(0.0003, 0.0015)
    base = rng.uniform(-0.02, 0.02) if base_V is None else base_V

    def quiet() -> np.ndarray:
        choice = rng.integers(3)
        noise = rng.normal(size=n) if choice == 0 else ar1(rng, n, 0.9) if choice == 1 else pink(rng, n)
        return base + sigma * noise

    x, right = quiet(), quiet() * 0.6
    span = n * dt

    def size() -> float:
        return float(np.exp(rng.uniform(np.log(0.06), np.log(2.0))) * rng.choice([-1, 1]))

    def length() -> float:
        return float(np.exp(rng.uniform(np.log(dt), np.log(60.0))))

    if kind == "white":
        x = base + sigma * rng.normal(size=n)
    elif kind == "ar1":
        x = base + sigma * ar1(rng, n, float(rng.choice([0.9, 0.97, 0.98])))
    elif kind == "pink":
        x = base + 1.5 * sigma * pink(rng, n, rng.uniform(0.8, 1.2))
    elif kind == "quantised":
        x = np.round((base + 0.4 * sigma * rng.normal(size=n)) * 1e3) / 1e3
    elif kind == "warming":
        x = x + rng.uniform(-0.018, 0.018) * np.exp(-t / rng.uniform(120, 1500))
    elif kind == "ripple":
        x = x + rng.uniform(0.001, 0.004) * np.sin(2 * np.pi * t / rng.uniform(60, 1800))
    elif kind == "single":
        glitch(rng, x, dt, rng.uniform(0, span - 60), size(), length())
    elif kind == "burst":
        start = rng.uniform(0, span - 60)
        for _ in range(int(rng.integers(3, 7))):
            glitch(rng, x, dt, start, size(), rng.uniform(dt, 2.0))
            start += rng.uniform(1.0, 8.0)
    elif kind == "poisson":
        for at in rng.uniform(0, span - 60, rng.poisson(rng.uniform(2.0, 10.0) * hours)):
            glitch(rng, x, dt, at, size(), min(length(), 20.0))
    elif kind == "bursts":
        for at in rng.uniform(0, span - 60, max(3, rng.poisson(3.0 * hours))):
            for _ in range(int(rng.integers(1, 6))):
                glitch(rng, x, dt, at, size(), rng.uniform(dt, 2.0))
                at += rng.exponential(3.0) + 2.0
    elif kind == "heavy":
        x = base + rng.uniform(0.006, 0.02) * rng.standard_t(3, size=n)
    elif kind == "line":
        x = x + 0.030 * t / t[-1]
    elif kind == "step":
        x = x + 0.025 * (t > rng.uniform(0.05, 0.95) * span)
    elif kind == "walk":
        walk = np.cumsum(rng.normal(size=n))
        x = x + 0.060 * (walk - walk.min()) / np.ptp(walk)
    elif kind == "rate":
        m = int(rng.integers(18, 41))
        for at in np.sort(rng.uniform(size=m)) ** (1 / 3) * (span - 30):
            glitch(rng, x, dt, at, size(), min(length(), 5.0))
    elif kind == "size":
        m = int(rng.integers(18, 41))
        for at in np.sort(rng.uniform(0, span - 30, m)):
            glitch(rng, x, dt, at, 0.08 * 9 ** (at / span) * rng.lognormal(0, 0.25), min(length(), 5.0))
    keep = np.ones(n, dtype=bool)
    if kind == "gappy":
        for at in rng.uniform(0, n - 400, 10).astype(int):
            keep[at : at + int(rng.integers(20, 400))] = False
        t = t + dt * rng.uniform(-0.3, 0.3, n)
    return Log.from_arrays(t[keep], {"left": x[keep], "right": right[keep]}, name=f"{kind}-{seed}")
