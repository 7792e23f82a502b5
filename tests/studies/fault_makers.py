"""Real faults that change how a live channel moves, and none of whose time may be left out.

Origin: plain reference, written apart from the detectors; the draws are kept as they were. All data are invented.
'left' carries the fault, 'right' is sound.
"""

from __future__ import annotations

import numpy as np
from second_bench import ar1, pink

from flicker import Log

KINDS = ("hunt", "spell", "rtn", "quietens", "through_zero", "wander", "steps_zero")


def make(kind: str, seed: int) -> tuple[Log, float]:
    """Make one log of 1.3 hours; returns it and the time of its last reading."""
    rng = np.random.default_rng([seed, KINDS.index(kind), 5])
    dt = float(rng.choice([0.2, 0.5, 1.0]))
    n = int(1.3 * 3600 / dt)
    t = np.arange(n) * dt
    digit = float(rng.choice([1e-3, 1e-4, 1e-5]))
    drawn = {}
    for name in ("left", "right"):
        rest = rng.choice([-1, 1]) * (rng.uniform(0.002, 0.016) if rng.random() < 0.75 else rng.uniform(0, 0.0015))
        s = float(np.exp(rng.uniform(np.log(1e-4), np.log(1e-3))))
        which = rng.integers(3)
        noise = (
            rng.normal(size=n)
            if which == 0
            else ar1(rng, n, 0.97)
            if which == 1
            else pink(rng, n, rng.uniform(0.8, 1.3))
        )
        x = rest + s * noise + 0.2e-3 * rng.random() * rng.normal(size=n)
        if rng.random() < 0.6:
            x = x + rng.choice([-1, 1]) * rng.uniform(0.03, 0.1) * np.exp(-t / rng.uniform(3, 14))
        drawn[name] = (x, rest, s)
    x, rest, s = drawn["left"]
    a = rng.uniform(0.1, 0.7) * t[-1]
    b = t[-1] if rng.random() < 0.4 else min(a + rng.uniform(120, 1800), t[-1])
    soft = float(rng.choice([0, 0, 30, 300]))
    g = np.clip((t - a) / max(soft, dt), 0, 1) * np.clip((b - t) / max(soft, dt), 0, 1)
    if rng.random() < 0.3:
        g = np.ones(n)
    amp = float(np.exp(rng.uniform(np.log(0.002), np.log(0.06))))
    if kind == "hunt":
        p = float(np.exp(rng.uniform(np.log(6), np.log(300))))
        phase = 2 * np.pi * np.cumsum(1 + 0.05 * ar1(rng, n, 0.999)) * dt / p
        wave = np.sin(phase)
        wave = np.tanh(rng.uniform(0.1, 4) * wave) if rng.random() < 0.4 else wave
        x = x + amp * wave * g
    elif kind == "spell":
        times = rng.uniform(2, 20)
        x = x + s * times * g * (rng.normal(size=n) if rng.random() < 0.5 else pink(rng, n, rng.uniform(0.5, 1.3)))
    elif kind == "rtn":
        d1, d2 = np.exp(rng.uniform(np.log(2), np.log(600), 2))
        flips = np.cumsum(np.where(np.arange(6000) % 2, rng.exponential(d1, 6000), rng.exponential(d2, 6000)))
        x = x + amp * rng.choice([-1, 1]) * (np.searchsorted(flips, t) % 2) * (g > 0.5)
    elif kind == "quietens":
        x = rest + (x - rest) * (1 - g * rng.uniform(0.5, 0.97)) + rng.uniform(0, 0.002) * g
    elif kind == "through_zero":
        x = x - rest + rest * (1 - 2 * np.clip((t - a) / (1.2 * (b - a)), 0, 1))
    elif kind == "wander":
        x = x + amp * ar1(rng, n, float(np.exp(-dt / np.exp(rng.uniform(np.log(2), np.log(200)))))) * g
    elif kind == "steps_zero":  # popcorn noise whose one level is zero, noise unchanged
        d1, d2 = np.exp(rng.uniform(np.log(4), np.log(400), 2))
        flips = np.cumsum(np.where(np.arange(4000) % 2, rng.exponential(d1, 4000), rng.exponential(d2, 4000)))
        x = x - rest * (np.searchsorted(flips, t) % 2)
    values = {"left": np.round(x / digit) * digit, "right": np.round(drawn["right"][0] / digit) * digit}
    return Log.from_arrays(t, values, name=kind), float(t[-1])
