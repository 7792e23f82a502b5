"""States that the other benches lack: days and weeks, relays that never close, fast hum, dropouts of seconds.

Each kind of `DEAD` has one of `LIVE` beside it that looks like it. ``make(kind, seed)`` gives the log and what is
hidden in each channel. Common practice, no source; all data are invented.
"""

from __future__ import annotations

import numpy as np
from second_bench import ar1, glitch, pink

from flicker import Log

DEAD = ("days-lead", "days-off", "days-asleep", "never-closes", "fast-hum", "dropouts", "loose-plug")
LIVE = ("days-bounce", "days-hum", "swings-of-both", "falls-to-zero", "hum-on-rest")
MOST = 150_000  # readings of a log
Floats = np.ndarray
Hidden = dict[str, list[tuple[float, float]]]


def _size(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _parts(rng: np.random.Generator, t: Floats, many: int, low_s: float, high_s: float) -> list[slice]:
    """Stretches that do not touch, each in a field of its own, none in the first tenth."""
    dt = float(t[1] - t[0])
    edges = np.linspace(t.size // 10, t.size - 2, many + 1).astype(int)
    out = []
    for a, b in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        long = int(min(max(_size(rng, low_s, high_s) / dt, 2), 0.6 * (b - a)))
        begin = int(rng.integers(a + 1, b - long))
        out.append(slice(begin, begin + long))
    return out


def _hum(rng: np.random.Generator, t: Floats, slow: bool) -> Floats:
    """Mains folded by the cadence: a wave of minutes, or near half the rate of readings."""
    dt = float(t[1] - t[0])
    folded = min(1 / _size(rng, 30, 900), 0.05 / dt) if slow else rng.uniform(0.25, 0.49) / dt
    return np.sin(2 * np.pi * folded * t + rng.uniform(0, 3) * ar1(rng, t.size, float(np.exp(-dt / 600.0))))


def _lead(rng: np.random.Generator, t: Floats, usual: float, slow: bool) -> Floats:
    dt = float(t[1] - t[0])
    wander = 0.3 * ar1(rng, t.size, float(np.exp(-dt / _size(rng, 20, 600))))
    size = max(_size(rng, 0.004, 0.1), 6 * usual)
    return size * (
        _hum(rng, t, slow) + wander + rng.uniform(-0.3, 0.3) + _size(rng, 0.02, 0.3) * rng.normal(size=t.size)
    )


def _start(rng: np.random.Generator, t: Floats) -> Floats:
    """Surge of a power-up at the first reading."""
    return rng.choice([-1, 1]) * _size(rng, 0.03, 0.2) * np.exp(-(t - t[0]) / rng.uniform(3, 14))


def make(kind: str, seed: int) -> tuple[Log, Hidden]:
    """Make one log of two channels; returns it and what is hidden in each."""
    rng = np.random.default_rng([seed, (DEAD + LIVE).index(kind), 23])
    days = kind.startswith("days")
    short = kind in ("dropouts", "loose-plug", "swings-of-both", "falls-to-zero")
    dt = float(rng.choice([1.0, 2.0, 5.0, 10.0] if days else [0.2, 0.5, 1.0] if short else [0.05, 0.1, 0.2, 0.5, 1.0]))
    hours = min(rng.uniform(48, 168), MOST * dt / 3600) if days else min(_size(rng, 0.6, 6), MOST * dt / 3600)
    t = np.arange(int(hours * 3600 / dt)) * dt
    digit = float(rng.choice([1e-3, 1e-4, 1e-4, 1e-5]))
    rest, volts = {}, {}
    for name in ("left", "right"):
        rest[name] = float(rng.choice([-1, 1])) * rng.uniform(max(0.002, 3 * digit), 0.016)
        usual = max(_size(rng, 8e-5, 8e-4), 0.4 * digit)
        noise = rng.normal(size=t.size) if rng.random() < 0.5 else pink(rng, t.size, rng.uniform(0.8, 1.2))
        volts[name] = rest[name] + usual * noise
        if days:
            volts[name] += rng.uniform(0, 0.003) * np.sin(2 * np.pi * t / 86400 + rng.uniform(0, 6.28))
        volts[name] += _start(rng, t) if rng.random() < 0.6 else 0.0
    hidden: Hidden = {}
    left = volts["left"]
    usual = float(np.std(left[-2000:]))
    floor = _size(rng, 5e-6, 5e-5)
    slow = bool(rng.random() < 0.4)

    def hide(name: str, p: slice, x: Floats) -> None:
        volts[name][p] = x
        hidden.setdefault(name, []).append((float(t[p.start]), float(t[p.stop - 1]) + dt))

    if kind in ("days-lead", "days-asleep", "fast-hum"):
        many = int(rng.integers(1, 4)) if days else 1
        for p in _parts(rng, t, many, 600 if days else 300, 12 * 3600):
            held = np.full(p.stop - p.start, left[p.start - 1])
            hide("left", p, held if kind == "days-asleep" else _lead(rng, t[p], usual, days and slow))
    elif kind in ("days-off", "dropouts"):
        for p in _parts(rng, t, int(rng.integers(1, 5)), *((3600, 10 * 3600) if days else (3, 20))):
            for name, x in volts.items():
                since = t[p] - t[p.start]
                bump = rng.choice([-1, 1]) * _size(rng, 0.03, 0.4)
                fall_s = min(0.1 + rng.uniform(0.02, 0.1) * float(since[-1]), rng.uniform(2, 20))
                hide(name, p, (bump + rest[name]) * np.exp(-since / fall_s))
                x[p] = x[p] + floor * rng.normal(size=since.size)
                x[p.stop :] += _start(rng, t[p.stop :])
    elif kind == "never-closes":
        zero = rng.random() < 0.5
        for name in volts:
            hide(name, slice(0, t.size), floor * rng.normal(size=t.size) if zero else _lead(rng, t, usual, slow))
    elif kind == "loose-plug":
        for p in _parts(rng, t, int(rng.integers(5, 20)), 3, 20):
            hide("left", p, floor * rng.normal(size=p.stop - p.start))
    elif kind == "days-bounce":
        for p in _parts(rng, t, int(rng.integers(1, 4)), 600, 12 * 3600):
            wave = np.sin(
                2 * np.pi * t[p] / max(_size(rng, 10, 900), 6 * dt)
                + rng.uniform(0, 2) * ar1(rng, p.stop - p.start, 0.999)
            )
            left[p] += _size(rng, max(0.004, 3 * digit), 0.06) * wave - (rest["left"] if rng.random() < 0.5 else 0.0)
    elif kind in ("days-hum", "hum-on-rest"):
        for p in _parts(rng, t, int(rng.integers(1, 4)), 300, 6 * 3600):
            left[p] += _size(rng, max(0.002, 3 * digit), 0.02) * _hum(rng, t[p], days and slow)
    elif kind == "swings-of-both":  # about a supply that dips; they fall by themselves
        for p in _parts(rng, t, int(rng.integers(2, 9)), 3, 20):
            for x in volts.values():
                glitch(
                    rng,
                    x,
                    dt,
                    float(t[p.start]),
                    float(rng.choice([-1, 1])) * _size(rng, 0.03, 0.4),
                    float(t[p.stop] - t[p.start]),
                )
    else:  # one output, shorted to ground for seconds by the fault that is looked for; its own noise goes on
        for p in _parts(rng, t, int(rng.integers(3, 12)), 3, 20):
            left[p] -= rest["left"]
    values = {name: np.round(x / digit) * digit for name, x in volts.items()}
    return Log.from_arrays(t, values, name=f"{kind}-{seed}"), hidden
