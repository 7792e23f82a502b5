"""First minutes of a log, with and without an output relay that is still open at first. All data are invented.

Before the relay closes the lead reads anything up to a volt; then the surge comes at once and falls to a rest. The
starts without a relay are surges of many shapes, logs that begin in mid-operation, and faults within the first minute.
"""

from __future__ import annotations

import numpy as np
from second_bench import ar1, glitch, pink
from second_situations import hum

from flicker import Log

OPEN = ("jumps", "hum", "wander", "floats", "mixed", "zero")
CLOSED = ("surge", "slow-rise", "mid-operation", "swings", "hunt", "spell", "steep", "bounce")


def _noise(rng: np.random.Generator, n: int) -> np.ndarray:
    size = float(np.exp(rng.uniform(np.log(1e-4), np.log(1.5e-3))))
    which = rng.integers(3)
    if which == 0:
        return size * rng.normal(size=n)
    return size * (ar1(rng, n, 0.97) if which == 1 else pink(rng, n, rng.uniform(0.8, 1.3)))


def _surge(rng: np.random.Generator, t: np.ndarray, at_s: float, least_V: float = 0.02) -> np.ndarray:
    """A fall on one or two time constants, at once or with a rise of up to two seconds."""
    since = np.maximum(t - at_s, 0.0)
    size = float(np.exp(rng.uniform(np.log(least_V), np.log(0.18))) * rng.choice([-1, 1]))
    fall = np.exp(-since / rng.uniform(2, 14))
    if rng.random() < 0.5:
        fall = 0.7 * fall + 0.3 * np.exp(-since / rng.uniform(10, 90))
    if rng.random() < 0.3:
        fall = fall * (1 - np.exp(-(since + 0.2) / rng.uniform(0.1, 0.7)))
    return np.where(t >= at_s, size * fall, 0.0)


def _open_lead(rng: np.random.Generator, kind: str, t: np.ndarray) -> np.ndarray:
    """What an open lead reads: centre near zero, up to a volt."""
    size = float(np.exp(rng.uniform(np.log(0.01), np.log(0.5))))
    n, dt = t.size, float(t[1] - t[0])
    if kind == "jumps":
        return size * rng.uniform(-1, 1, n)
    if kind == "hum":
        return hum(rng, t, size)
    if kind == "wander":
        return np.clip(size * ar1(rng, n, float(np.exp(-dt / rng.uniform(0.3, 1.5)))), -1, 1)
    if kind == "floats":
        return np.clip(0.3 * size * rng.uniform(-1, 1) + 0.5 * size * rng.normal(size=n), -1, 1)
    if kind == "mixed":
        return np.clip(size * (0.5 * hum(rng, t, 1.0) + 0.4 * rng.normal(size=n)), -1, 1)
    return 10 ** rng.uniform(-5.3, -4.0) * rng.normal(size=n)


def make(kind: str, seed: int, *, minutes: float = 12.0, open_s: tuple[float, float] = (2.0, 6.0)) -> tuple[Log, float]:
    """Make one log with one channel; returns it and when the relay closed (0 where it was closed)."""
    rng = np.random.default_rng([seed, (OPEN + CLOSED).index(kind), 22])
    rate = float(rng.choice([1.0, 2.0, 4.0, 5.0, 10.0, 50.0]))
    n = int(60 * minutes * rate)
    t = np.arange(n) / rate
    digit = float(rng.choice([1e-3, 1e-4, 1e-5]))
    rest = rng.choice([-1, 1]) * rng.uniform(0.0, 0.016)
    x = rest + _noise(rng, n) + 0.2 * digit * rng.normal(size=n)
    closed = 0.0
    if kind in OPEN:
        closed = float(rng.uniform(*open_s))
        x = x + _surge(rng, t, closed)
        head = t < closed
        x[head] = _open_lead(rng, kind, t[head])
    elif kind == "surge":
        x = x + _surge(rng, t, 0.0, 0.01)
    elif kind == "slow-rise":
        tau = rng.uniform(0.5, 2.5)
        x = x * (1 - np.exp(-t / 0.3)) + _surge(rng, t, 0.0) * (1 - np.exp(-t / tau))
    elif kind == "swings":
        x = x + (rng.random() < 0.5) * _surge(rng, t, 0.0)
        for at in rng.uniform(0.0, 40.0, int(rng.integers(1, 6))):
            glitch(
                rng,
                x,
                1 / rate,
                at,
                float(np.exp(rng.uniform(np.log(0.05), 0.0)) * rng.choice([-1, 1])),
                rng.uniform(1 / rate, 6.0),
            )
    elif kind == "hunt":
        amplitude = float(np.exp(rng.uniform(np.log(0.002), np.log(0.06))))
        x = x + amplitude * np.sin(2 * np.pi * t / np.exp(rng.uniform(np.log(0.7), np.log(60))) + rng.uniform(0, 6.28))
    elif kind == "spell":  # a channel that is restless for its first seconds and calms down as it warms
        x = x + np.exp(-t / rng.uniform(5, 60)) * float(np.exp(rng.uniform(np.log(0.003), np.log(0.06)))) * rng.normal(
            size=n
        )
    elif kind == "steep":
        x = rest + float(np.exp(rng.uniform(np.log(1e-3), np.log(8e-3)))) * pink(rng, n, 1.5)
    elif kind == "bounce":  # a surge that overshoots once
        tau = rng.uniform(1.0, 6.0)
        x = x + rng.choice([-1, 1]) * rng.uniform(0.03, 0.2) * np.exp(-t / tau) * np.cos(
            2 * np.pi * t / rng.uniform(4, 12)
        )
    x = np.round(x / digit) * digit
    return Log.from_arrays(t, {"left": x}, name=f"{kind}-{seed}"), closed
