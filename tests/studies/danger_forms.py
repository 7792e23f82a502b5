"""What goes wrong in an amplifier, or is hidden by the way it was logged, put into a sound log with a size in volts.

Every figure is common practice, no source; all is invented. A form adds volts to a channel from a moment of a power-up
on, or (second half) changes the log itself: gaps, clocks, blanks, a unit that dies. `danger_bench.py` holds the table.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from danger_core import Floats, PowerUp, coloured, smooth


@dataclass
class Spot:
    """Where a maker works: seconds since switch-on of the live readings of one power-up, and the part meant (a, b)."""

    rng: np.random.Generator
    t: Floats
    dt: float
    a: float
    b: float
    size: float  # signed
    rest: float
    number: int  # of the power-up
    common: np.random.Generator  # the same stream in every channel
    room: Floats  # temperature less its first value, over its range

    @property
    def inside(self) -> Floats:
        return (self.t >= self.a) & (self.t <= self.b)


def constant(s: Spot) -> Floats:
    """A leaking coupling capacitor or a dead servo: the output rests at this level, motionless."""
    return np.full(s.t.size, s.size - s.rest)


def step(s: Spot) -> Floats:
    """A solder joint lets go: the level jumps and stays."""
    return s.size * (s.t >= s.rng.uniform(s.a, s.a + 0.8 * (s.b - s.a)))


def stairs(s: Spot) -> Floats:
    """The level goes on by small steps, the same way each time; the size is the sum of them."""
    at = np.sort(s.rng.uniform(s.a, s.b, int(s.rng.integers(4, 12))))
    return s.size * np.searchsorted(at, s.t, side="right") / at.size


def ramp(s: Spot) -> Floats:
    """An electrolytic capacitor begins to leak: the level moves evenly and stays where it came to."""
    return s.size * np.clip((s.t - s.a) / (s.b - s.a), 0, 1)


def day_wave(s: Spot) -> Floats:
    """A bias that follows the hours: part of a wave of 8 to 24 h; the size is from lowest to highest in this log."""
    y = np.sin(2 * np.pi * s.t / (3600 * s.rng.uniform(8, 24)) + s.rng.uniform(0, 6.28))
    return s.size * (y - y[0]) / np.ptp(y)


def wander(s: Spot) -> Floats:
    """A contact of a trimmer: the level strolls about with no aim; size from lowest to highest."""
    return s.size * smooth(s.rng, s.t, float(np.exp(s.rng.uniform(np.log(120), np.log(3600)))))


def growth(s: Spot) -> Floats:
    """Leakage that feeds itself: from 3 mV growing by the same factor in equal times."""
    part = np.clip((s.t - s.a) / (s.b - s.a), 0, 1)
    return np.sign(s.size) * 0.003 * (abs(s.size) / 0.003) ** part * (s.t >= s.a)


def runaway(s: Spot) -> Floats:
    """Thermal runaway: calm for long, then faster and faster until a fuse or the end of the log."""
    left = np.maximum(s.b - s.t, 0.0)
    quick = s.rng.uniform(60, 600)
    return s.size * (quick / (left + quick)) ** 2 * (s.t <= s.b) + s.size * (s.t > s.b)


def follows_temperature(s: Spot) -> Floats:
    """The output follows the room by far too much, and the temperature column shows it (`s.room`, 0 to 1)."""
    return s.size * s.room


def settles_from_far(s: Spot) -> Floats:
    """The level comes down to rest, but from far away and within the better part of an hour."""
    return s.size * np.exp(-s.t / s.rng.uniform(600, 3600))


def settles_away(s: Spot) -> Floats:
    """The level settles to a far place, as smoothly as a sound unit warms up."""
    return s.size * (1 - np.exp(-s.t / s.rng.uniform(300, 2400)))


def levels_by_power_up(s: Spot) -> Floats:
    """Each power-up settles somewhere else: calm in itself, and apart by the size."""
    return np.full(s.t.size, s.size * (0.5 if s.number % 2 else -0.5) * (1.0 if s.number < 2 else s.common.uniform(0.5, 1)))


def _dwell(s: Spot, up_s: float, down_s: float) -> Floats:
    """Two states that follow each other at random; 1 while up."""
    pairs = int(min(3e5, 3 * s.t[-1] / (up_s + down_s) + 20))
    turns = np.cumsum(np.column_stack([s.rng.exponential(down_s, pairs), s.rng.exponential(up_s, pairs)]).ravel())
    return np.searchsorted(turns, s.t - s.a) % 2.0


def telegraph(s: Spot) -> Floats:
    """A junction or a joint that knows two levels; dwells from 0.2 s to half an hour."""
    up, down = np.exp(s.rng.uniform(np.log(0.2), np.log(1800), 2))
    return s.size * _dwell(s, up, down) * s.inside


def popcorn(s: Spot) -> Floats:
    """Popcorn noise: several junctions that switch at random, in spells of minutes; size of the largest."""
    y = sum(s.rng.uniform(0.3, 1) * _dwell(s, *np.exp(s.rng.uniform(np.log(0.3), np.log(60), 2))) for _ in range(2))
    return s.size * (_dwell(s, 5.0, 3.0) + y) / 2 * _dwell(s, 900.0, 600.0) * s.inside


def hunting(s: Spot) -> Floats:
    """An output stage that hunts: a slow oscillation of 0.05 to 5 Hz, its pace and height a little unsteady."""
    hertz = float(np.exp(s.rng.uniform(np.log(0.05), np.log(5))))
    phase = 2 * np.pi * hertz * s.t + 40 * smooth(s.rng, s.t, 600.0)
    return s.size * np.sin(phase) * (0.7 + 0.3 * smooth(s.rng, s.t, 900.0)) * s.inside


def hunting_spells(s: Spot) -> Floats:
    """The same in spells of half a minute to ten minutes, which swell and die away."""
    hold = np.zeros(s.t.size)
    for at in s.rng.uniform(s.a, s.b, int(s.rng.integers(5, 15))):
        hold = np.maximum(hold, np.exp(-((s.t - at) ** 2) / (2 * s.rng.uniform(15, 150) ** 2)))
    return hunting(s) * np.where(hold > 0.05, hold, 0)


def noise_bursts(s: Spot) -> Floats:
    """A noisy contact: spells of 5 to 300 s of loud noise; the size is its sigma."""
    hold = np.zeros(s.t.size)
    for at in s.rng.uniform(s.a, s.b, int(s.rng.integers(5, 14))):
        hold[(s.t >= at) & (s.t < at + max(s.rng.uniform(5, 300), 6 * s.dt))] = 1
    return s.size * s.rng.standard_normal(s.t.size) * hold


def white_too_loud(s: Spot) -> Floats:
    """A starved input stage hisses; the size is the sigma."""
    return s.size * s.rng.standard_normal(s.t.size) * s.inside


def one_over_f_too_loud(s: Spot) -> Floats:
    """Slow noise of a bad transistor; the size is its rms over the log."""
    return s.size * coloured(s.rng, s.t.size, s.dt, s.rng.uniform(0.8, 1.3)) * s.inside


def _pulse(s: Spot, at: float, long_s: float) -> Floats:
    """One excursion of 0 to 1: square, a peak that decays, or a bump."""
    x = (s.t - at) / max(long_s, 1.01 * s.dt)
    shape = s.rng.integers(3)
    form = 1.0 if shape == 0 else np.exp(-2 * np.clip(x, 0, 1)) if shape == 1 else 0.3 + 0.7 * np.sin(np.pi * np.clip(x, 0, 1))
    return form * ((x >= 0) & (x < 1))


def glitch(s: Spot) -> Floats:
    """One single excursion of 0.1 to 60 s, never again in this log."""
    return s.size * _pulse(s, s.rng.uniform(s.a, s.b - 61), float(np.exp(s.rng.uniform(np.log(0.1), np.log(60)))))


def glitches(s: Spot) -> Floats:
    """The fault that comes and goes: 5 to 60 excursions of 0.1 to 60 s, some smaller than the size."""
    out = np.zeros(s.t.size)
    for at in s.rng.uniform(s.a, s.b - 61, int(s.rng.integers(5, 60))):
        long_s = float(np.exp(s.rng.uniform(np.log(0.1), np.log(60))))
        pulse = s.size * s.rng.uniform(0.7, 1.0) * _pulse(s, at, long_s)
        out = np.where(np.abs(pulse) > np.abs(out), pulse, out)
    return out


def crackle_at_start(s: Spot) -> Floats:
    """'It crackles for the first five minutes': excursions of seconds soon after switch-on, then calm for hours."""
    out = np.zeros(s.t.size)
    for at in s.rng.uniform(15, 300, int(s.rng.integers(5, 20))):
        out += _pulse(s, at, s.rng.uniform(0.5, 6))
    return s.size * np.minimum(out, 1)


def pulse_after_on(s: Spot) -> Floats:
    """Full volts soon after switch-on, for 8 s to 5 min, while all that follows is calm: a relay would close on it."""
    long_s = max(float(np.exp(s.rng.uniform(np.log(8), np.log(300)))), 2.5 * s.dt)
    x = s.t - s.rng.uniform(4, 60)
    return s.size * ((x >= 0) & (x < long_s)) * (1 + 0.02 * s.rng.standard_normal(s.t.size))


def together(s: Spot) -> Floats:
    """A rail or a shared reference moves all channels at once; each excuses the other. Size from lowest to highest."""
    turns = float(np.exp(s.common.uniform(np.log(20), np.log(3600))))
    return s.size * s.rng.uniform(0.8, 1.0) * smooth(s.common, s.t, turns)


# ---------------------------------------------------------------- forms that change the log itself


@dataclass
class Whole:
    """What a maker of the second sort works on: one run, its channels in danger, and the part meant."""

    rng: np.random.Generator
    run: dict[str, Any]
    names: tuple[str, ...]
    up: PowerUp
    a: int
    b: int
    dt: float
    size: float
    style: str


def _keep(run: dict[str, Any], mask: Floats) -> None:
    """Take readings out of a run, in every column."""
    for key in ("time_s", "temperature_C"):
        if key in run:
            run[key] = run[key][mask]
    run["raw"] = {name: v[mask] for name, v in run["raw"].items()}


def dies(w: Whole) -> int:
    """Volts for 2 to 60 s, then the fuse: zero without life, blank, or the log stops there."""
    n = max(3, int(w.rng.uniform(2, 60) / w.dt))
    ends = int(w.up.end - w.rng.uniform(300, 3600) / w.dt - n)
    for name in w.names:
        v = w.run["raw"][name]
        v[ends : ends + n] += w.size
        v[ends + n : w.up.end] = 3e-5 * w.rng.standard_normal(w.up.end - ends - n)
    after = w.rng.integers(3)
    if after == 1 and w.up.end == w.run["time_s"].size:
        _keep(w.run, np.arange(w.run["time_s"].size) < ends + n)
    elif after == 2:
        for name in w.names:
            w.run["raw"][name][ends + n : w.up.end] = np.nan
    return n


def blanks(w: Whole) -> int:
    """The meter overloads and leaves the channel's cells empty, 8 to 40 times for 2 to 20 s; the others go on."""
    gone = 0
    for at in w.rng.integers(w.a, w.b, int(w.rng.integers(8, 40))):
        n = max(2, int(w.rng.uniform(2, 20) / w.dt))
        for name in w.names:
            w.run["raw"][name][at : at + n] = np.nan
        gone += n
    return gone


def over_range(w: Whole) -> int:
    """Cells over range, OL: more than the meter can show, one to eight times for 1 to 30 s."""
    gone = 0
    for at in w.rng.integers(w.a, w.b, int(w.rng.integers(1, 8))):
        n = max(2, int(w.rng.uniform(1, 30) / w.dt))
        for name in w.names:
            w.run["raw"][name][at : at + n] = np.sign(w.size) * np.inf
        gone += n
    return gone


def gap_step(w: Whole) -> int:
    """The logger lost 1 to 8 minutes, and the level is another one after it."""
    at = int(w.rng.integers(w.a, int(w.a + 0.8 * (w.b - w.a))))
    n = max(3, int(w.rng.uniform(60, 480) / w.dt))
    for name in w.names:
        w.run["raw"][name][at + n : w.up.end] += w.size
    index = np.arange(w.run["time_s"].size)
    _keep(w.run, (index < at) | (index >= at + n))
    return w.up.end - at - n


def gap_edges(w: Whole) -> int:
    """Volts in the last readings before a gap of 1 to 8 minutes and the first after it; calm on both sides."""
    at = int(w.rng.integers(w.a, int(w.a + 0.8 * (w.b - w.a))))
    n, edge = max(3, int(w.rng.uniform(60, 480) / w.dt)), max(2, int(w.rng.uniform(1, 6) / w.dt))
    for name in w.names:
        w.run["raw"][name][at - edge : at] += w.size * np.linspace(0.6, 1.0, edge)
        w.run["raw"][name][at + n : at + n + edge] += w.size * np.linspace(1.0, 0.6, edge)
    index = np.arange(w.run["time_s"].size)
    _keep(w.run, (index < at) | (index >= at + n))
    return 2 * edge


def clock_back(w: Whole) -> int:
    """The clock is set back by an hour, or the logger restarts at zero; some minutes later there are volts."""
    at = int(w.rng.integers(w.a, int(w.a + 0.7 * (w.b - w.a))))
    volts = at + int(w.rng.uniform(5, 600) / w.dt)
    n = max(4, int(w.rng.uniform(10, 1200) / w.dt))
    for name in w.names:
        w.run["raw"][name][volts : min(volts + n, w.up.end)] += w.size
    t = w.run["time_s"]
    t[at:] -= 3600.0 if w.style in ("dated", "semicolon") or w.rng.random() < 0.5 else t[at]
    return min(n, w.up.end - volts)
