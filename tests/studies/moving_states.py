"""States that a lead and a live channel go through, drawn without kinds: what `make_state_tables.py` learns from.

A stretch of 'left' is alive (level, noise and slow movement may all change, none of it may be left out) or dead (its
readings are replaced by those of an open lead, a shorted one, a meter asleep or a unit that is off). A third of the
channels have hum of their own from first to last, folded by the cadence. Cadences of 0.1 to 30 s, an hour to days.
Common practice, no source; all data are invented.
"""

from __future__ import annotations

import numpy as np
from second_bench import ar1, pink

from flicker import Log

Floats = np.ndarray
CADENCES = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0)
MOST = 30_000  # readings of a log


def _log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _noise(rng: np.random.Generator, n: int) -> Floats:
    which = rng.integers(3)
    if which == 0:
        return rng.normal(size=n)
    return ar1(rng, n, float(rng.choice([0.9, 0.97, 0.99]))) if which == 1 else pink(rng, n, rng.uniform(0.8, 1.4))


def _wave(rng: np.random.Generator, t: Floats) -> Floats:
    """Movement of size one, as often steady as growing and fading: to and fro, by steps, by humps, or at random."""
    dt, n = float(t[1] - t[0]), t.size
    period = max(_log_uniform(rng, 2.5, 900.0), 4.0 * dt)
    which = rng.integers(8)
    if rng.random() < 0.5:
        breath = ar1(rng, n, float(np.exp(-dt / _log_uniform(rng, 30.0, 900.0))))
        return _turns(rng, t, which, period) * np.exp(rng.uniform(0.1, 0.4) * breath)
    return _turns(rng, t, which, period)


def _turns(rng: np.random.Generator, t: Floats, which: int, period: float) -> Floats:
    dt, n = float(t[1] - t[0]), t.size
    turn = t / period + rng.uniform(0, 0.6) * ar1(rng, n, float(np.exp(-dt / (6.0 * period)))) + rng.random()
    if which == 0:
        return np.sin(2 * np.pi * turn)
    if which == 1:
        return np.tanh(rng.uniform(0.5, 5.0) * np.sin(2 * np.pi * turn))
    if which == 2:
        return 2 * np.abs(2 * (turn % 1.0) - 1) - 1 if rng.random() < 0.5 else 2 * (turn % 1.0) - 1
    if which == 3:
        return ar1(rng, n, float(np.exp(-dt / _log_uniform(rng, 2.0, 300.0))))
    if which in (4, 6):  # two levels, or four
        out = np.zeros(n)
        for size in (2.0,) if which == 4 else (1.4, 0.6):
            flips = np.cumsum(rng.exponential(period, min(int(3 * n * dt / period), 3 * n) + 20))
            out += size * (np.searchsorted(flips, t - t[0]) % 2 - 0.5)
            period *= 3.0
        return out
    if which == 7:  # to one side
        return np.abs(ar1(rng, n, float(np.exp(-dt / _log_uniform(rng, 10.0, 900.0)))))
    return np.maximum(np.sin(2 * np.pi * turn), 0.0) ** rng.uniform(1, 6)


def _hum(rng: np.random.Generator, t: Floats) -> Floats:
    """A unit's own hum, of size one, folded to any frequency, and through zero where the mains wander."""
    dt = float(t[1] - t[0])
    folded = rng.uniform(0.0, 0.5) / dt if rng.random() < 0.6 else _log_uniform(rng, 1e-4, 0.05) / dt
    off = _log_uniform(rng, 1e-4, 0.05) * ar1(rng, t.size, float(np.exp(-dt / _log_uniform(rng, 60.0, 3600.0))))
    return np.sin(2 * np.pi * (folded * t + np.cumsum(off) * min(dt, 1.0)) + rng.uniform(0, 6.28))


def _alive(rng: np.random.Generator, t: Floats, noise: Floats, rest: float, digit: float) -> Floats:
    """Readings of a live channel whose level, noise or movement change."""
    n, dt = t.size, float(t[1] - t[0])
    soft = max(float(rng.choice([0.0, 0.0, 0.0, 30.0, 300.0])), dt)
    ends = np.minimum(np.clip((t - t[0]) / soft, 0, 1), np.clip((t[-1] - t) / soft, 0, 1) if rng.random() < 0.7 else 1)
    if rng.random() < 0.2:
        ends = np.sin(np.pi * np.linspace(0.02, 0.98, n)) ** rng.uniform(0.3, 2)
    # About zero as often as about its rest: that is where an open lead is, too. Hum moves no level.
    still, hums = rng.random() < 0.25, rng.random() < 0.2
    moved = 0.0 if hums and not still else rng.choice([0.0, 0.0, 0.0, -1.0, -1.0, -1.0, -2.0, rng.uniform(-1.5, 1)])
    level = rest * (1 + ends * float(moved))
    gain = _log_uniform(rng, 0.08, 6.0) if rng.random() < (0.8 if still else 0.15) else 1.0
    moves = 0.0
    if not still:
        wave = _hum(rng, t) if hums else _wave(rng, t)
        moves = _log_uniform(rng, max(0.002, 1.5 * digit), 0.12) * ends * wave
    added = (gain - 1) * noise * ends
    if rng.random() < (0.3 if still else 0.1):  # a junction that rumbles: noise of its own, of any colour
        rumble = rng.uniform(0, 1) * rng.normal(size=n) + ar1(
            rng, n, float(np.exp(-dt / _log_uniform(rng, 0.5, 100.0)))
        )
        added = _log_uniform(rng, max(0.001, digit), 0.04) * rumble * ends
    return level + noise + added + moves + (rng.uniform(-0.003, 0.003) * ends if still else 0)


def _lead(rng: np.random.Generator, t: Floats, usual: float) -> Floats:
    """An open lead: hum folded by the cadence, slow wander, a floating level, broad noise."""
    dt = float(t[1] - t[0])
    size = max(_log_uniform(rng, 0.002, 0.2), 4.0 * usual)
    slow = rng.random() < 0.5
    folded = min(1 / _log_uniform(rng, 20.0, 900.0), 0.1 / dt) if slow else rng.uniform(0.1, 0.98) * 0.5 / dt
    phase = 2 * np.pi * folded * t + rng.uniform(0, 6) * ar1(rng, t.size, float(np.exp(-dt / 300.0)))
    share = rng.uniform(0.2, 1.0)
    wander = ar1(rng, t.size, float(np.exp(-dt / _log_uniform(rng, 5.0, 600.0))))
    swings = share * np.sin(phase) + (1 - share) * wander + _log_uniform(rng, 0.01, 0.5) * rng.normal(size=t.size)
    return size * (swings + rng.uniform(-0.5, 0.5))


def make(seed: int) -> tuple[Log, list[tuple[float, float]]]:
    """Make one log of two channels; returns it and what is hidden in 'left'."""
    rng = np.random.default_rng([seed, 61])
    dt = float(rng.choice(CADENCES))
    n = int(min(_log_uniform(rng, 3600.0, 432000.0 if dt > 2.0 else 86400.0), MOST * dt) / dt)
    n = max(n, 700)
    t = np.arange(n) * dt
    digit = float(rng.choice([1e-3, 1e-4, 1e-4, 1e-5]))
    rest = {
        name: float(rng.choice([-1, 1]) * rng.uniform(0.0, rng.choice([0.016, 0.016, 0.003])))
        for name in ("left", "right")
    }
    noise = {
        name: max(_log_uniform(rng, 5e-5, 1.2e-3), rng.uniform(0.2, 0.6) * digit) * _noise(rng, n) for name in rest
    }
    for name in rest:
        if rng.random() < 0.3:
            noise[name] += _log_uniform(rng, 2e-4, 4e-3) * _hum(rng, t)
    volts = {name: rest[name] + noise[name] for name in rest}
    if rng.random() < 0.4:
        for name in volts:
            volts[name] += rng.choice([-1, 1]) * rng.uniform(0.03, 0.1) * np.exp(-t / rng.uniform(3, 14))
    long = int(_log_uniform(rng, max(240.0 / dt, 24), max(0.6 * n, 30)))
    begin = int(rng.integers(n // 20, max(n - long, n // 20 + 1)))
    p = slice(begin, n if rng.random() < 0.3 else min(begin + long, n))
    hidden: list[tuple[float, float]] = []
    x = volts["left"]
    if rng.random() < 0.6:
        x[p] += _alive(rng, t[p], noise["left"][p], rest["left"], digit) - rest["left"] - noise["left"][p]
    else:
        hidden = [(float(t[p.start]), float(t[p.stop - 1]))]
        which = rng.integers(5)
        m = p.stop - p.start
        if which < 3:
            x[p] = _lead(rng, t[p], float(np.hypot(np.std(noise["left"]), 0.3 * digit)))
        elif which == 3:
            x[p] = rng.uniform(-6e-4, 6e-4) + _log_uniform(rng, 3e-6, 6e-5) * rng.normal(size=m)
        else:
            for name in ("left", "right") if rng.random() < 0.5 else ("left",):
                volts[name][p] = np.round(volts[name][p.start - 1] / digit) * digit
    return Log.from_arrays(t, {name: np.round(x / digit) * digit for name, x in volts.items()}, name=f"s{seed}"), hidden
