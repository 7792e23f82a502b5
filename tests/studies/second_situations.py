"""What the lead was looking at, drawn by a second generator that shares nothing with `flicker.simulate`.

All data are invented. Each kind hides the channel 'left' (or both) for five minutes and more, or hides nothing; what is
drawn anew each time: noise, level, shapes of glitches and bumps, hum by its true frequency as the meter aliases it,
offset of a floating level, the first minutes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from second_bench import ar1, glitch, pink

from flicker import Log

DEAD = (
    "relay-zero",
    "relay-floating",
    "lead-off",
    "chassis",
    "asleep",
    "ac-range",
    "off",
    "timer",
)
SOUND = (
    "white",
    "ar1",
    "pink",
    "steep",
    "quantised",
    "gappy",
    "warming",
    "ripple",
    "hum",
    "servo",
    "daily",
    "zero",
    "low-noise",
    "two-levels",
    "pause",
    "range",
    "glitches",
)
RATES = (1.0, 2.0, 5.0, 10.0)
PICK_UP = 5.0  # times the channel's own noise at least: less is a channel that became noisier
METERS = {"1 mV": 1e-3, "0.1 mV": 1e-4, "0.01 mV": 1e-5}


@dataclass
class Situation:
    """One log; ``hidden`` per channel (begin, end) where no live output was measured; ``ups`` the power-ups in it."""

    log: Log
    time_s: np.ndarray
    hidden: dict[str, list[tuple[float, float]]]
    ups: list[float]


def hum(rng: np.random.Generator, t: np.ndarray, size_V: float) -> np.ndarray:
    """Mains hum as samples show it: 50 or 60 Hz that wander by some hundredths of a hertz, and a third harmonic."""
    mains = float(rng.choice([50.0, 60.0])) + rng.normal() * 0.02
    wander = np.cumsum(rng.normal(size=t.size)) * np.sqrt(t[1] - t[0]) * 0.0015
    phase = 2 * np.pi * (mains * t + np.cumsum(wander) * (t[1] - t[0]))
    return size_V * (np.sin(phase) + rng.uniform(0, 0.4) * np.sin(3 * phase + rng.uniform(0, 6.28)))


def floating(rng: np.random.Generator, t: np.ndarray, size_V: float) -> np.ndarray:
    """An open lead: aliased hum, slow wander about an offset, broad noise, in shares drawn anew."""
    dt = t[1] - t[0]
    share = rng.uniform(0.3, 1.0)
    slow = ar1(rng, t.size, float(np.exp(-dt / rng.uniform(10, 120))))
    noise = rng.uniform(0.05, 0.4) * rng.normal(size=t.size)
    return size_V * (rng.uniform(-0.4, 0.4) + share * hum(rng, t, 1.0) + (1.1 - share) * slow + noise)


def _surge(rng: np.random.Generator, t: np.ndarray, at_s: float) -> np.ndarray:
    """Power-up: rises within a second or two, falls on two time constants."""
    since = np.maximum(t - at_s, 0.0)
    size = float(np.exp(rng.uniform(np.log(0.03), np.log(0.3))) * rng.choice([-1, 1]))
    fall = 0.7 * np.exp(-since / rng.uniform(2, 15)) + 0.3 * np.exp(-since / rng.uniform(10, 60))
    return np.where(t >= at_s, size * fall * (1 - np.exp(-(since + 0.3) / rng.uniform(0.2, 1.0))), 0.0)


def _trip(rng: np.random.Generator, x: np.ndarray, dt: float, at_s: float) -> float:
    """A fault that opens a relay; returns when it does."""
    length = max(dt, float(rng.uniform(0.3, 4.0)))
    size = float(np.exp(rng.uniform(np.log(1.2), np.log(20.0))) * rng.choice([-1, 1]))
    first = int(at_s / dt)
    last = first + max(1, round(length / dt))
    ramp = np.linspace(1.0, rng.uniform(0.8, 1.5), last - first)
    x[first:last] += size * ramp
    if rng.random() < 0.3:  # a warning before it
        glitch(rng, x, dt, at_s - rng.uniform(3, 9), 0.2 * size, 1.0)
    return last * dt


def _power_off(rng: np.random.Generator, t: np.ndarray, level: float) -> np.ndarray:
    """Output without power: bump of one or two swings (sometimes hardly any), the level decays."""
    since = t - t[0]
    size = float(np.exp(rng.uniform(np.log(0.02), np.log(0.6))) * rng.choice([-1, 1]))
    tau = rng.uniform(0.4, 4.0)
    swing = np.cos(2 * np.pi * since / rng.uniform(4, 20)) if rng.random() < 0.4 else 1.0
    return size * swing * np.exp(-since / tau) + level * np.exp(-since / rng.uniform(1, 10))


def make(kind: str, seed: int, *, meter: str = "0.1 mV", rate_hz: float = 2.0, hours: float = 1.2) -> Situation:
    """Make one situation."""
    rng = np.random.default_rng([seed, (DEAD + SOUND).index(kind), 77])
    hours = 2.0 if kind == "timer" else 10.0 if kind == "daily" else hours
    if kind == "daily":
        rate_hz = min(rate_hz, 2.0)
    n, dt = int(hours * 3600 * rate_hz), 1.0 / rate_hz
    t = np.arange(n) * dt
    span, digit = n * dt, METERS[meter]
    own: dict[str, np.ndarray] = {}
    level = {name: float(rng.uniform(-0.015, 0.015)) for name in ("left", "right")}
    sigma = {name: float(np.exp(rng.uniform(np.log(0.0002), np.log(0.0012)))) for name in level}
    colour = {name: int(rng.integers(3)) for name in level}
    for name in level:
        if kind == "zero":
            level[name] = float(rng.uniform(-0.2, 0.2)) * digit
            sigma[name] = float(rng.uniform(0.05, 0.4)) * digit
        elif kind == "low-noise":
            sigma[name] = float(np.exp(rng.uniform(np.log(1e-5), np.log(1e-4))))
        which = {"white": 0, "ar1": 1, "pink": 2, "steep": 3}.get(kind, colour[name])
        noise = (
            rng.normal(size=n)
            if which == 0
            else ar1(rng, n, float(rng.choice([0.9, 0.97, 0.99])))
            if which == 1
            else pink(rng, n, float(rng.uniform(0.8, 1.2)))
            if which == 2
            else pink(rng, n, float(rng.uniform(1.2, 1.5)))
        )
        own[name] = level[name] + sigma[name] * noise
        if kind in DEAD:  # a digit that hardly moves is not missed when it stops
            own[name] = own[name] + 0.35 * digit * rng.normal(size=n)
    if rng.random() < 0.6:
        for name in own:
            own[name] = own[name] + _surge(rng, t, 0.0)
            if rng.random() < 0.5:
                own[name] = own[name] + rng.uniform(-0.006, 0.006) * np.exp(-t / rng.uniform(120, 900))
    ups: list[float] = []
    a = float(rng.uniform(0.25, 0.6)) * span
    b = span if seed % 3 == 0 else min(a + float(rng.uniform(300, 1100)), span)
    hide: list[tuple[str, float, float]] = []
    ends_s = b < span

    def put(name: str, begin: float, end: float, volts: np.ndarray) -> None:
        own[name][int(begin / dt) : int(end / dt)] = volts[: int(end / dt) - int(begin / dt)]
        hide.append((name, begin, end))

    def stretch(begin: float, end: float) -> np.ndarray:
        return t[int(begin / dt) : int(end / dt)]

    floor = 10 ** rng.uniform(-5.3, -4.3)
    if kind in ("relay-zero", "relay-floating"):
        opened = _trip(rng, own["left"], dt, a)
        for name in own:  # one relay for both
            part = stretch(opened, b)
            zero = floor * rng.normal(size=part.size)
            size = max(
                float(np.exp(rng.uniform(np.log(0.0015), np.log(0.03)))),
                PICK_UP * float(np.hypot(sigma[name], 0.35 * digit)),
            )
            put(name, opened, b, zero if kind == "relay-zero" else floating(rng, part, size))
            if ends_s and rng.random() < 0.5:
                glitch(rng, own[name], dt, b, float(rng.uniform(-0.06, 0.06)), rng.uniform(0.3, 2.0))
    elif kind == "lead-off":
        size = max(
            float(np.exp(rng.uniform(np.log(0.002), np.log(0.05)))),
            PICK_UP * float(np.hypot(sigma["left"], 0.35 * digit)),
        )
        put("left", a, b, floating(rng, stretch(a, b), size))
    elif kind == "chassis":
        part = stretch(a, b)
        put("left", a, b, rng.uniform(-0.0006, 0.0006) + floor * rng.normal(size=part.size))
    elif kind == "asleep":
        first = int(a / dt)
        part = stretch(a, b)
        held = np.round(own["left"][first - 1] / digit) * digit
        put("left", a, b, np.full(part.size, held))
    elif kind == "ac-range":
        part = stretch(a, b)
        put("left", a, b, rng.uniform(0.0001, 0.0009) + 2 * floor * np.abs(rng.normal(size=part.size)))
    elif kind == "off":
        for name in own:
            put(name, a, b, _power_off(rng, stretch(a, b), level[name]) + floor * rng.normal(size=stretch(a, b).size))
            if ends_s:
                own[name] = own[name] + _surge(rng, t, b)
        if ends_s:
            ups.append(b)
    elif kind == "timer":
        at = float(rng.uniform(900, 1800))
        while at < span - 400:
            back = min(at + float(rng.uniform(320, 1500)), span)
            for name in own:
                part = stretch(at, back)
                put(name, at, back, _power_off(rng, part, level[name]) + floor * rng.normal(size=part.size))
                if back < span:
                    own[name] = own[name] + _surge(rng, t, back)
            if back < span:
                ups.append(back)
            at = back + float(rng.uniform(900, 1800))
    for name in own:
        x = own[name]
        if kind == "warming":
            x = x + rng.uniform(-0.018, 0.018) * np.exp(-t / rng.uniform(120, 1500))
        elif kind == "ripple":
            x = x + rng.uniform(0.0005, 0.004) * np.sin(2 * np.pi * t / rng.uniform(40, 1800) + rng.uniform(0, 6.28))
        elif kind == "hum":
            x = x + hum(rng, t, float(np.exp(rng.uniform(np.log(0.0003), np.log(0.004)))))
        elif kind == "servo":
            tau = rng.uniform(1.0, 8.0)
            for at in rng.uniform(0, span - 60, rng.poisson(6.0 * hours)):
                size = float(np.exp(rng.uniform(np.log(0.03), np.log(1.0))) * rng.choice([-1, 1]))
                x = x + np.where(t >= at, size * np.exp(-np.maximum(t - at, 0.0) / tau), 0.0)
        elif kind == "daily":
            x = x + 0.0075 * np.sin(2 * np.pi * t / 86400.0 + rng.uniform(0, 6.28))
        elif kind == "two-levels" and name == "left":
            dwell = float(np.exp(rng.uniform(np.log(20), np.log(300))))
            flips = np.cumsum(rng.exponential(dwell, int(3 * span / dwell) + 10))
            x = x + rng.uniform(0.010, 0.030) * (np.searchsorted(flips, t) % 2)
        elif kind == "glitches" and name == "left":
            x = x.copy()
            for at in rng.uniform(0, span - 60, rng.poisson(12.0 * hours)):
                glitch(rng, x, dt, at, float(np.exp(rng.uniform(np.log(0.06), np.log(8.0)))), rng.uniform(dt, 40.0))
        own[name] = x
    fine = dict.fromkeys(own, digit if kind != "quantised" else 1e-3)
    values = {name: np.round(x / fine[name]) * fine[name] for name, x in own.items()}
    if kind == "range":
        border = int(rng.uniform(0.2, 0.8) * n)
        finer, coarse = (digit, 10 * digit) if digit < 1e-3 else (0.1 * digit, digit)
        for part, step in ((slice(0, border), finer), (slice(border, n), coarse)):
            values["left"][part] = np.round(own["left"][part] / step) * step
    keep = np.ones(n, dtype=bool)
    if kind == "gappy":
        for at in rng.uniform(0, n - 400, 10).astype(int):
            keep[at : at + int(rng.integers(20, 400))] = False
        t = t + dt * rng.uniform(-0.3, 0.3, n)
    elif kind == "pause":
        keep[int(0.4 * n) : int(0.4 * n) + int(min(1200, 0.3 * span) / dt)] = False
    hidden = {name: [(begin, end) for where, begin, end in hide if where == name] for name in own}
    log = Log.from_arrays(t[keep], {name: x[keep] for name, x in values.items()}, name=f"{kind}-{seed}")
    return Situation(log, t[keep], hidden, ups)
