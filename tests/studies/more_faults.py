"""More makers: faults of a live channel that must never be taken for an open lead, and stretches that are truly dead.

``make(kind, seed)`` returns seconds, volts by channel, and the truth: (channel, begin, end, 'fault' or 'dead'), borders being
the first and last reading of the stretch. With ``healthy=True`` the same unit without either. Written without having read
the detectors that it judges; common practice, no source; all data are invented. Numpy only.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
from danger_core import Floats, coloured, smooth

Truth = list[tuple[str, float, float, str]]
Maker = Callable[[np.random.Generator, Floats, "Unit"], Truth]
CADENCES = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0)
MOST = 150_000  # readings of a log: a week at 5 s, four hours at 0.1 s


class Unit:
    """Two channels of one unit before the last digit: volts, level at rest and sigma of each."""

    def __init__(self, rng: np.random.Generator, t: Floats, digit_V: float) -> None:
        self.volts: dict[str, Floats] = {}
        self.rest: dict[str, float] = {}
        self.sigma: dict[str, float] = {}
        self.digit_V = digit_V
        dt = t[1] - t[0]
        for name in ("left", "right"):
            rest = float(rng.choice([-1, 1])) * max(rng.uniform(0.002, 0.016), 3 * digit_V)
            sigma = max(float(np.exp(rng.uniform(np.log(5e-5), np.log(8e-4)))), 0.5 * digit_V)
            sort = rng.integers(3)
            if sort == 0:
                noise = rng.standard_normal(t.size)
            elif sort == 1:
                noise = coloured(rng, t.size, dt, rng.uniform(0.8, 1.2))
            else:
                noise = 0.8 * coloured(rng, t.size, dt, 2.0, corner_s=rng.uniform(20, 200)) + 0.6 * rng.standard_normal(t.size)
            thump = rng.choice([0, 1, -1]) * rng.uniform(0.03, 0.1) * np.exp(-t / rng.uniform(3, 14))
            self.volts[name] = rest + sigma * noise + 0.3 * digit_V * rng.standard_normal(t.size) + thump
            self.rest[name], self.sigma[name] = rest, sigma


def _stretch(rng: np.random.Generator, t: Floats, least_s: float = 300.0, most: float = 0.5) -> slice:
    """A stretch of at least ``least_s`` and 20 readings, at most a share of the log, not in its first minutes."""
    n = t.size
    least = max(int(least_s / (t[1] - t[0])), 20)
    long = int(np.exp(rng.uniform(np.log(least), np.log(max(most * n, least + 1)))))
    begin = int(rng.integers(max(n // 20, 5), max(n - long - 5, n // 20 + 6)))
    return slice(begin, min(begin + long, n))


def _spells(rng: np.random.Generator, t: Floats, number: int, low_s: float, high_s: float) -> list[slice]:
    """Spells that do not touch, in order, each in a field of its own."""
    edges = np.linspace(max(t.size // 20, 10), t.size - 1, number + 1).astype(int)
    out = []
    for a, b in pairwise(edges.tolist()):
        long = int(min(max(np.exp(rng.uniform(np.log(low_s), np.log(high_s))) / (t[1] - t[0]), 3), (b - a) // 2))
        if long >= 3:
            begin = int(rng.integers(a, b - long))
            out.append(slice(begin, begin + long))
    return out


def _told(t: Floats, parts: list[slice], sort: str, names: tuple[str, ...] = ("left",)) -> Truth:
    return [(name, float(t[p.start]), float(t[p.stop - 1]), sort) for name in names for p in parts]


def _size(rng: np.random.Generator, low: float, high: float) -> float:
    return float(rng.choice([-1, 1]) * np.exp(rng.uniform(np.log(low), np.log(high))))


# ------------------------------------------------------------------ faults of a channel that is alive


def starving(rng: np.random.Generator, t: Floats, unit: Unit) -> Truth:
    """A stage loses its current: the noise falls to a half or a tenth, the level sags, and it stays so to the end."""
    p = slice(_stretch(rng, t).start, t.size)
    x, rest = unit.volts["left"], unit.rest["left"]
    part = np.clip((t[p] - t[p.start]) / (rng.uniform(0.2, 0.9) * (t[-1] - t[p.start])), 0, 1)
    x[p] = rest + (x[p] - rest) * (1 - part * rng.uniform(0.5, 0.9)) + _size(rng, max(0.003, 2 * unit.digit_V), 0.04) * part
    return _told(t, [p], "fault")


def bounce(rng: np.random.Generator, t: Floats, unit: Unit) -> Truth:
    """A slow bounce about zero: a loop that goes over and back every 20 to 300 s, rounded or nearly square."""
    p = _stretch(rng, t)
    period = max(float(np.exp(rng.uniform(np.log(20), np.log(300)))), 6 * (t[1] - t[0]))
    wave = np.sin(2 * np.pi * t[p] / period + 3 * smooth(rng, t[p], 8 * period))
    steep = rng.uniform(0.3, 5)
    unit.volts["left"][p] += _size(rng, max(0.003, 2 * unit.digit_V), 0.06) * np.tanh(steep * wave) / np.tanh(steep) - unit.rest["left"]
    return _told(t, [p], "fault")


def dither(rng: np.random.Generator, t: Floats, unit: Unit) -> Truth:
    """The level lies between two last digits and flips; now and then, for some seconds or minutes, it really moves."""
    parts = _spells(rng, t, int(rng.integers(2, 9)), 10.0, 400.0)
    size = _size(rng, max(0.004, 3 * unit.digit_V), 0.05)
    for p in parts:
        hump = np.sin(np.pi * np.linspace(0.1, 0.9, p.stop - p.start))
        unit.volts["left"][p] += size * (hump + 0.3 * rng.standard_normal(hump.size))
    return _told(t, parts, "fault")


def one_sided(rng: np.random.Generator, t: Floats, unit: Unit) -> Truth:
    """The level drifts to zero, stays there a while with its own noise, and goes away again to the same side."""
    p = _stretch(rng, t, 900.0)
    part = np.linspace(0, 1, p.stop - p.start)
    unit.volts["left"][p] -= unit.rest["left"] * np.clip(np.minimum(part, 1 - part) / rng.uniform(0.1, 0.4), 0, 1)
    return _told(t, [p], "fault")


def contact(rng: np.random.Generator, t: Floats, unit: Unit) -> Truth:
    """A burnt relay contact: it adds noise in spikes and lets through a part of the level, changing all the time."""
    p = _stretch(rng, t)
    n = p.stop - p.start
    lets = np.where(rng.random(n) < 0.3, rng.uniform(0, 1, n), 1.0)
    spikes = np.abs(rng.standard_t(2, n)).clip(0, 20) * (rng.random(n) < 0.2)
    unit.volts["left"][p] = unit.volts["left"][p] * lets + _size(rng, max(0.001, unit.digit_V), 0.02) * spikes
    return _told(t, [p], "fault")


def hum_comes_and_goes(rng: np.random.Generator, t: Floats, unit: Unit) -> Truth:
    """A bad ground: hum of 2 to 40 mV rides on the living output in spells, folded fast or slow by the cadence."""
    parts = _spells(rng, t, int(rng.integers(2, 7)), 60.0, 2400.0)
    size, folded = abs(_size(rng, max(0.002, 2 * unit.digit_V), 0.04)), _folded(rng, t)
    for p in parts:
        unit.volts["left"][p] += size * np.sin(2 * np.pi * folded * t[p])
    return _told(t, parts, "fault")


def servo_hunts(rng: np.random.Generator, t: Floats, unit: Unit) -> Truth:
    """The DC servo hunts: a wave of 5 to 120 s that swells and dies away, sine or saw tooth, level and noise unchanged."""
    p = _stretch(rng, t)
    turns = t[p] / max(float(np.exp(rng.uniform(np.log(5), np.log(120)))), 4 * (t[1] - t[0])) + 2 * smooth(rng, t[p], 900.0)
    wave = np.sin(2 * np.pi * turns) if rng.random() < 0.6 else 2 * (turns % 1.0) - 1
    swell = np.sin(np.pi * np.linspace(0.02, 0.98, p.stop - p.start)) ** rng.uniform(0.3, 2)
    unit.volts["left"][p] += _size(rng, max(0.003, 2 * unit.digit_V), 0.08) * wave * swell
    return _told(t, [p], "fault")


def supply_sags(rng: np.random.Generator, t: Floats, unit: Unit) -> Truth:
    """A regulator drops out: both channels grow quieter at the same moment and shift by some millivolts, alive all along."""
    p = _stretch(rng, t)
    for name, x in unit.volts.items():
        rest = unit.rest[name]
        shift = _size(rng, max(0.001, 2 * unit.digit_V), 0.02)
        x[p] = rest + (x[p] - rest) * rng.uniform(0.3, 0.7) + shift
    return _told(t, [p], "fault", ("left", "right"))


# ------------------------------------------------------------------ nothing was measured


def _floor(rng: np.random.Generator, n: int) -> Floats:
    """What a meter reads with nothing on it: its own zero and its own noise."""
    return rng.normal() * 5e-5 + float(np.exp(rng.uniform(np.log(3e-6), np.log(6e-5)))) * rng.standard_normal(n)


def _folded(rng: np.random.Generator, t: Floats, slow: bool | None = None) -> float:
    """Frequency at which mains shows itself: anywhere up to half the rate of readings, or a beat of half a minute and more."""
    half = 0.5 / float(t[1] - t[0])
    slow = bool(rng.random() < 0.5) if slow is None else slow
    return min(1 / float(np.exp(rng.uniform(np.log(30), np.log(600)))), 0.2 * half) if slow else rng.uniform(0.3, 0.98) * half


def _pick_up(rng: np.random.Generator, t: Floats, slow: bool) -> Floats:
    """An open lead: hum folded by the cadence, a floating level, some broad noise."""
    size = abs(_size(rng, 0.01, 0.25))
    phase = 2 * np.pi * _folded(rng, t, slow) * t + rng.uniform(0, 2) * smooth(rng, t, 300.0) * 2 * np.pi
    level = rng.uniform(-0.5, 0.5) + 0.3 * smooth(rng, t, 600.0)
    return size * (np.sin(phase) + level + rng.uniform(0.01, 0.2) * rng.standard_normal(t.size))


def timer(rng: np.random.Generator, t: Floats, unit: Unit) -> Truth:
    """A timer switches the unit off, one to four times; the thump of the next switch-on follows. All channels."""
    parts = [p for p in _spells(rng, t, int(rng.integers(1, 5)), 600.0, 40_000.0) if t[p.stop - 1] - t[p.start] >= 240]
    for p in parts or [slice(t.size // 3, t.size // 2)]:
        for x in unit.volts.values():
            x[p] = _floor(rng, p.stop - p.start)
            since = t[p.stop :] - t[p.stop - 1]
            x[p.stop :] += rng.choice([-1, 1]) * rng.uniform(0.02, 0.09) * np.exp(-since / rng.uniform(3, 14))
    return _told(t, parts or [slice(t.size // 3, t.size // 2)], "dead", ("left", "right"))


def lead_off_fast(rng: np.random.Generator, t: Floats, unit: Unit) -> Truth:
    """The lead fell off and picks up hum, which the cadence folds into a fuzz."""
    p = _stretch(rng, t)
    unit.volts["left"][p] = _pick_up(rng, t[p], slow=False)
    return _told(t, [p], "dead")


def lead_off_slow(rng: np.random.Generator, t: Floats, unit: Unit) -> Truth:
    """The lead fell off, and the cadence folds the hum into a beat of half a minute to ten minutes."""
    p = _stretch(rng, t, 900.0)
    unit.volts["left"][p] = _pick_up(rng, t[p], slow=True)
    return _told(t, [p], "dead")


def chassis(rng: np.random.Generator, t: Floats, unit: Unit) -> Truth:
    """The clip slipped to the chassis: the meter reads its own zero."""
    p = _stretch(rng, t)
    unit.volts["left"][p] = _floor(rng, p.stop - p.start)
    return _told(t, [p], "dead")


def asleep(rng: np.random.Generator, t: Floats, unit: Unit) -> Truth:
    """The meter switched itself off and the logger repeats its last value, to the end or until someone wakes it."""
    p = _stretch(rng, t, 1200.0)
    p = slice(p.start, t.size) if rng.random() < 0.5 else p
    names = ("left", "right") if rng.random() < 0.5 else ("left",)
    for name in names:
        unit.volts[name][p] = unit.volts[name][p.start - 1]
    return _told(t, [p], "dead", names)


def relay_never_closes(rng: np.random.Generator, t: Floats, unit: Unit) -> Truth:
    """Speaker side: the output relay never pulls in; zero or pick-up from the first reading to the last."""
    names = ("left", "right") if rng.random() < 0.5 else ("left",)
    zero, slow = rng.random() < 0.5, bool(rng.random() < 0.5)
    for name in names:
        unit.volts[name][:] = _floor(rng, t.size) if zero else _pick_up(rng, t, slow)
    return _told(t, [slice(0, t.size)], "dead", names)


def dropouts(rng: np.random.Generator, t: Floats, unit: Unit) -> Truth:
    """A loose plug at the meter: it reads nothing, or hum, for seconds, five to thirty times."""
    parts = _spells(rng, t, int(rng.integers(5, 31)), 2.0, 30.0)
    zero = rng.random() < 0.6
    for p in parts:
        unit.volts["left"][p] = _floor(rng, p.stop - p.start) if zero else _pick_up(rng, t[p], slow=False)
    return _told(t, parts, "dead")


_FAULTS: tuple[Maker, ...] = (starving, bounce, dither, one_sided, contact, hum_comes_and_goes, servo_hunts, supply_sags)
_DEAD: tuple[Maker, ...] = (timer, lead_off_fast, lead_off_slow, chassis, asleep, relay_never_closes, dropouts)
FAULTS = {maker.__name__: maker for maker in _FAULTS}
DEAD = {maker.__name__: maker for maker in _DEAD}
KINDS = (*FAULTS, *DEAD)


def make(kind: str, seed: int, *, healthy: bool = False) -> tuple[Floats, dict[str, Floats], Truth]:
    """Draw a log: cadence 0.1 to 30 s, an hour to a week, a last digit of 1 mV, 0.1 mV or 0.01 mV."""
    rng = np.random.default_rng([seed, 21, *kind.encode()])
    dt = float(rng.choice(CADENCES))
    least_h = max(1.0, 600 * dt / 3600)
    n = int(np.exp(rng.uniform(np.log(least_h), np.log(min(MOST * dt / 3600, 168.0)))) * 3600 / dt)
    t = np.arange(n) * dt
    digit = float(rng.choice([1e-3, 1e-4, 1e-4, 1e-5]))
    unit = Unit(rng, t, digit)
    if kind == "dither":
        unit.volts["left"] += (np.floor(unit.rest["left"] / digit) + 0.5) * digit - unit.rest["left"]
    truth = [] if healthy else {**FAULTS, **DEAD}[kind](rng, t, unit)
    return t, {name: np.round(x / digit) * digit for name, x in unit.volts.items()}, truth
