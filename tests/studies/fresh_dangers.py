"""Sound outputs of fifteen kinds, and thirty forms of danger put into them. All data are invented.

Written by a repairer's notes of what units do, without a look at the detectors. `sound_log(kind, seed)` makes a log
of a sound unit, `danger_log(form, seed)` the same with a fault. ``beyond_doubt`` follows a rule of its own, on the
volts at the meter's input at the instants of the readings (`refuses`), so a fault too small or too short to be seen
is not counted as one. Its figures are invented, and well above common practice of 50 mV at rest.

    python tests/studies/fresh_dangers.py --seed 1 --n 2
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable

import numpy as np
from fresh_parts import (
    METERS,
    BenchLog,
    Floats,
    Meter,
    Truth,
    room,
    runner,
    sampled,
    settling,
    slow_noise,
    table,
    telegraph,
    times,
    write_down,
)

Wave = Callable[[Floats], Floats]
NAMES = ("left", "right", "centre")
SIZES_V = (0.03, 0.06, 0.1, 0.15, 0.25, 0.5, 1.0, 2.0, 5.0, 12.0, 30.0, 60.0)


def refuses(time_s: Floats, v: Floats, powered_s: Floats) -> bool:
    """Tell whether a careful technician would refuse the channel, by true volts at the readings.

    From ten seconds after switch-on: 5 V in one reading, 1 V in two; 0.15 V for a minute in all; ten separate swings
    of 0.1 V. From minute 20 on: five-minute medians at 0.1 V, or more than 60 mV apart.
    """
    late = powered_s >= 10
    size = np.abs(v)
    step = np.diff(time_s, append=2 * time_s[-1] - time_s[-2])
    step = np.minimum(step, 60.0)
    if np.any(late & (size >= 5.0)) or np.count_nonzero(late & (size >= 1.0)) >= 2:
        return True
    if float(step[late & (size >= 0.15)].sum()) >= 60:
        return True
    high = late & (size >= 0.1)
    if np.count_nonzero(high[1:] & ~high[:-1]) >= 10:
        return True
    old = powered_s >= 1200
    block = np.floor(time_s / 300)
    levels = [float(np.median(v[old & (block == b)])) for b in np.unique(block[old]) if (old & (block == b)).sum() >= 5]
    return bool(levels) and (max(map(abs, levels)) >= 0.1 or max(levels) - min(levels) > 0.06)


# ---------------------------------------------------------------- sound outputs: volts over time


def _frame(rng: np.random.Generator, hours: tuple[float, float] = (3.6, 7.0)) -> tuple[Meter, float, Floats]:
    meter = METERS[int(rng.integers(len(METERS)))]
    cadence = float(rng.choice(meter.cadences_s))
    length = rng.uniform(*hours) * 3600
    if cadence < 0.2:
        length = min(length, 3.7 * 3600)
    return meter, cadence, times(rng, length, cadence)


def plain(rng: np.random.Generator, t: Floats, channel: int) -> Floats:
    """Class AB: rest of up to 12 mV, warm-up of some tens of mV that is done in half an hour, slow noise."""
    rest = rng.normal(0, 4e-3)
    return rest + settling(rng, t, rng.normal(0, 15e-3), rng.normal(0, 4e-3)) + slow_noise(rng, t, 1.2e-4)


def servo(rng: np.random.Generator, t: Floats, channel: int) -> Floats:
    """DC servo: rests within 1 mV after a damped swing of a few seconds."""
    w, z = 2 * np.pi / rng.uniform(4, 15), rng.uniform(0.2, 0.6)
    return rng.normal(0, 5e-4) + rng.normal(0, 0.05) * np.exp(-z * w * t) * np.cos(w * t) + slow_noise(rng, t, 5e-5)


def class_d(rng: np.random.Generator, t: Floats, channel: int) -> Floats:
    """Class D: offset up to 20 mV, carrier residue that a converter sees as noise, a slow idle tone."""
    tone = 4e-4 * np.sin(2 * np.pi * t / rng.uniform(40, 900) + rng.uniform(0, 6))
    return rng.normal(0, 8e-3) + settling(rng, t, rng.normal(0, 4e-3), 0) + 6e-4 * rng.standard_normal(t.size) + tone


def tube(rng: np.random.Generator, t: Floats, channel: int) -> Floats:
    """Tube amplifier with output transformer: no direct voltage at all, hum of a few mV seen at odd instants."""
    grid = 50 + 0.03 * np.sin(2 * np.pi * t / rng.uniform(300, 2000))
    phase = 2 * np.pi * np.cumsum(2 * grid * np.diff(t, prepend=0.0))
    return rng.normal(0, 1e-4) + rng.uniform(3e-4, 1.2e-3) * np.sin(phase)


def bias_wind_up(rng: np.random.Generator, t: Floats, channel: int) -> Floats:
    """Bias that creeps up with the heatsink within ten minutes and takes the offset with it by up to 15 mV."""
    tau = rng.uniform(150, 350)
    return rng.normal(0, 4e-3) + rng.normal(0, 8e-3) * np.exp(-t / tau) + slow_noise(rng, t, 1.5e-4)


def coupled(rng: np.random.Generator, t: Floats, channel: int) -> Floats:
    """Output capacitor: the charging thump of a volt or two dies within six seconds, then next to nothing."""
    leak = rng.uniform(5e-4, 4e-3)
    return leak + rng.uniform(0.6, 2.0) * np.exp(-t / rng.uniform(0.3, 0.9)) + slow_noise(rng, t, 4e-5)


def roomy(rng: np.random.Generator, t: Floats, channel: int) -> Floats:
    """No servo, in a room that is heated: 0.1 to 0.8 mV per kelvin."""
    return rng.normal(0, 6e-3) + rng.uniform(1e-4, 8e-4) * room(rng, t) + settling(rng, t, rng.normal(0, 0.02), 3e-3)


def bridged(rng: np.random.Generator, t: Floats, channel: int) -> Floats:
    """Bridged car amplifier: the difference of two halves of the supply, up to 25 mV, hardly any warm-up."""
    return rng.normal(0, 9e-3) + settling(rng, t, rng.normal(0, 5e-3), 0) + slow_noise(rng, t, 2e-4)


def hum(rng: np.random.Generator, t: Floats, channel: int) -> Floats:
    """Plain output whose lead lies beside a transformer: 0.3 to 1.5 mV of hum that beats with the cadence."""
    f = rng.choice([50.0, 60.0]) + rng.normal(0, 0.01)
    return plain(rng, t, channel) + rng.uniform(3e-4, 1.5e-3) * np.sin(2 * np.pi * f * t + rng.uniform(0, 6))


SOUND_WAVES: dict[str, Callable[[np.random.Generator, Floats, int], Floats]] = {
    f.__name__: f for f in (plain, servo, class_d, tube, bias_wind_up, coupled, roomy, bridged, hum)
}


def _relay_close(rng: np.random.Generator, t: Floats, v: Floats) -> Floats:
    """Speaker side of a relay that closes 2 to 6 s after switch-on: before it hum of an open lead, or 0 with a load."""
    close = rng.uniform(2, 6)
    float_V = 0.0 if rng.random() < 0.4 else rng.uniform(1e-3, 25e-3)
    before = float_V * np.sin(2 * np.pi * 50.02 * t + rng.uniform(0, 6)) + 3e-4 * rng.standard_normal(t.size)
    surge = np.clip(rng.normal(0, 0.04), -0.09, 0.09) * np.exp(-np.maximum(t - close, 0) / rng.uniform(0.1, 1.2))
    return np.where(t < close, before, v + surge)


def _base(kind: str, rng: np.random.Generator) -> tuple[Meter, Floats, Floats, dict[str, Floats], tuple[int, ...]]:
    """Give meter, instants, seconds since switch-on (negative: off), true volts by channel, and ends of files."""
    meter, cadence, t = _frame(rng)
    names = NAMES[: int(rng.choice([1, 2, 2, 2, 3]))]
    wave = kind if kind in SOUND_WAVES else str(rng.choice(["plain", "servo", "roomy", "bias_wind_up", "hum"]))
    make = SOUND_WAVES[wave]
    ends: tuple[int, ...] = ()
    powered = t.copy()
    if kind == "off_on":
        off = rng.uniform(1.5, 2.0) * 3600
        pause = rng.uniform(15, 40) * 60
        length = off + pause + 3.7 * 3600
        t = times(rng, length, cadence)
        powered = np.where(t < off, t, t - off - pause)
    if kind == "hourly":
        ends = tuple(int(np.searchsorted(t, 3600.0 * h)) for h in range(1, int(t[-1] // 3600) + 1))
    volts = {}
    for i, name in enumerate(names):
        if kind == "off_on":
            first, second = make(rng, t, i), make(rng, np.maximum(powered, 0), i)
            shift = first[np.searchsorted(t, off) - 1] - second[-1]  # one unit: it rests where it rested
            v = np.where(t < off, first, np.where(powered < 0, 0.0, second + shift + rng.normal(0, 5e-4)))
            die = (t >= off) & (powered < 0)
            v[die] = first[np.searchsorted(t, off) - 1] * np.exp(-(t[die] - off) / rng.uniform(0.5, 3))
        else:
            seed = int(rng.integers(1 << 31))
            if wave in ("coupled", "servo"):  # fast enough at switch-on for the integration to matter
                v = sampled(lambda x, i=i, q=seed: make(np.random.default_rng(q), np.maximum(x, 0), i), t, cadence, meter)
            else:
                v = make(np.random.default_rng(seed), t, i)
            if kind in ("relay", "hourly") or (kind == "plain" and rng.random() < 0.5):
                v = _relay_close(rng, t, v)
        volts[name] = v
    return meter, t, powered, volts, ends


SOUND_KINDS = (*SOUND_WAVES, "relay", "off_on", "hourly", "shared_room", "dropped_rows")


def sound_log(kind: str, seed: int) -> BenchLog:
    """Make the log of a sound unit. Invented; the physics stand at the waveform of each kind.

    Besides the waveforms: ``relay`` (speaker side of a relay), ``off_on`` (switched off for half an hour within the
    file), ``hourly`` (a file each hour), ``shared_room`` (both channels follow the room alike), ``dropped_rows`` (the
    computer was busy: one row in a thousand is missing).
    """
    rng = np.random.default_rng([seed, 1, sum(map(ord, kind))])
    meter, t, _, volts, ends = _base(kind, rng)
    if kind == "shared_room":
        kelvin = room(rng, t)
        gain = rng.uniform(1e-4, 6e-4)
        volts = {n: v * 0.3 + gain * kelvin for n, v in volts.items()}
    keep = rng.random(t.size) > 1e-3 if kind == "dropped_rows" else np.ones(t.size, bool)
    readings = {n: write_down(v, meter, rng)[keep] for n, v in volts.items()}
    truth = Truth(kind, True, False, (), 0.0, 0.0, 0.0, meter.name)
    return BenchLog(t[keep], readings, truth, meter.name, {n: v[keep] for n, v in volts.items()}, ends)


# ---------------------------------------------------------------- forms of danger


class Scene:
    """What a danger is given: the instants, seconds since switch-on, the size, and a place in time."""

    def __init__(self, rng: np.random.Generator, t: Floats, powered: Floats, size: float, cadence: float, meter: Meter):
        self.rng, self.t, self.powered, self.cadence, self.meter = rng, t, powered, cadence, meter
        self.size = size * float(rng.choice([-1, 1]))
        self.at = float(rng.uniform(0.1, 0.85) * t[-1])
        self.rail = max(abs(self.size), 1e-9)
        self.gap: tuple[float, float] | None = None
        self.beside: dict[str, Floats] = {}
        self.span: tuple[float, float] = (self.at, float(t[-1]))

    def pulse(self, start: float, length: float) -> Floats:
        """Give 0 to 1: how much of each reading's integration the pulse fills."""
        def inside(x: Floats) -> Floats:
            return ((x >= start) & (x < start + length)).astype(float)

        return sampled(inside, self.t, self.cadence, self.meter)


def stuck_level(s: Scene) -> Floats:
    """An input transistor gone leaky within a second: the output takes a new level and keeps it."""
    return s.size * (s.t >= s.at)


def stuck_from_start(s: Scene) -> Floats:
    """The same, found that way: at its level since switch-on."""
    s.span = (0.0, float(s.t[-1]))
    return np.full(s.t.size, s.size)


def creeping(s: Scene) -> Floats:
    """A resistor that ages under heat: straight up from a random moment on."""
    return s.size * np.clip((s.t - s.at) / (s.t[-1] - s.at), 0, 1)


def runaway(s: Scene) -> Floats:
    """Thermal runaway: grows in proportion to itself, then stands at the rail."""
    tau = s.rng.uniform(60, 900)
    s.span = (s.at - 3 * tau, float(s.t[-1]))
    return s.size * np.exp(np.minimum((s.t - s.at) / tau, 0.0))


def both_step(s: Scene) -> Floats:
    """What the channels share fails, a supply's reference: all step together."""
    return s.size * (s.t >= s.at)


def slow_common(s: Scene) -> Floats:
    """Both channels swing slowly together as the supply sags and recovers over half an hour to three hours."""
    s.span = (0.0, float(s.t[-1]))
    period = s.rng.uniform(1800, 10_800)
    return s.size * np.sin(2 * np.pi * s.t / period + s.rng.uniform(0, 6))


def rail_fuse(s: Scene) -> Floats:
    """One rail fuse blows: the output goes to the other rail, and the reservoir drains through the load."""
    tau = s.rng.uniform(1.5, 40)
    s.span = (s.at, s.at + 4 * tau)
    return np.where(s.t >= s.at, s.size * np.exp(-np.maximum(s.t - s.at, 0) / tau), 0.0)


def oscillation(s: Scene) -> Floats:
    """A servo at its margin: 0.02 to 0.5 Hz, grows over a minute, stays for 3 to 60 minutes."""
    f, length = np.exp(s.rng.uniform(np.log(0.02), np.log(0.5))), s.rng.uniform(180, 3600)
    s.span = (s.at, s.at + length)

    def wave(x: Floats) -> Floats:
        grow = 1 - np.exp(-np.maximum(x - s.at, 0) / 60)
        return np.where((x >= s.at) & (x < s.at + length), s.size * grow * np.sin(2 * np.pi * f * x), 0.0)

    return sampled(wave, s.t, s.cadence, s.meter)


def protection_cycling(s: Scene) -> Floats:
    """Speaker side: the relay opens 0.2 to 1 s after the volts come, tries again after 3 to 9 s, for ever."""
    hold, wait = s.rng.uniform(0.2, 1.0), s.rng.uniform(3, 9)
    f: Wave = lambda x: np.where((x >= s.at) & ((x - s.at) % (hold + wait) < hold), s.size, 0.0)  # noqa: E731
    return sampled(f, s.t, s.cadence, s.meter)


def motorboating(s: Scene) -> Floats:
    """Supply feedback: relaxation pulses at 0.7 to 4 Hz in spells of half a minute to ten."""
    f, length = s.rng.uniform(0.7, 4), s.rng.uniform(30, 600)
    s.span = (s.at, s.at + length)
    g: Wave = lambda x: np.where((x >= s.at) & (x < s.at + length), s.size * np.exp(-5 * ((x * f) % 1.0)), 0.0)  # noqa: E731
    return sampled(g, s.t, s.cadence, s.meter)


def leaky_capacitor(s: Scene) -> Floats:
    """A coupling capacitor whose leak grows with heat over half an hour to three, and crackles."""
    s.span = (600.0, float(s.t[-1]))
    heat = 1 - np.exp(-np.maximum(s.powered, 0) / s.rng.uniform(1800, 7200))
    if s.rng.random() < 0.5:
        s.beside["heatsink_C"] = np.round(24 + 31 * heat + 0.1 * s.rng.standard_normal(s.t.size), 1)
    return s.size * heat**2 * (1 + 0.05 * telegraph(s.rng, s.t, 20, 90))


def bad_relay_contact(s: Scene) -> Floats:
    """The relay's contact opens and closes by itself: an output at a level reaches the speaker now and then."""
    return np.where(s.t >= s.at, s.size * telegraph(s.rng, s.t, s.rng.uniform(3, 60), s.rng.uniform(5, 300)), 0.0)


def answers_to_warmth(s: Scene) -> Floats:
    """A cracked joint that lets go when warm: nothing for 40 min, then more and longer."""
    warm = s.powered > s.rng.uniform(2400, 5400)
    s.span = (2400.0, float(s.t[-1]))
    return np.where(warm, s.size * telegraph(s.rng, s.t, s.rng.uniform(2, 15), s.rng.uniform(60, 400)), 0.0)


def mains_borne(s: Scene) -> Floats:
    """A compressor on the same mains: each time it starts, all channels kick and fall back within 2 to 8 s."""
    s.span = (0.0, float(s.t[-1]))
    every, tau = s.rng.uniform(600, 2000), s.rng.uniform(0.5, 3)
    f: Wave = lambda x: s.size * np.exp(-((x - 97.0) % every) / tau) * (x > 97)  # noqa: E731
    return sampled(f, s.t, s.cadence, s.meter)


def dying_transistor(s: Scene) -> Floats:
    """Popcorn that grows for an hour, then the output stands."""
    age = np.clip((s.t - s.at + 3600) / 3600, 0, 1)
    s.span = (s.at - 3600, float(s.t[-1]))
    return np.where(s.t < s.at, 0.2 * s.size * age**2 * telegraph(s.rng, s.t, 5, 20), s.size)


def jumps(s: Scene) -> Floats:
    """Popcorn noise between two levels, dwells of seconds to minutes, all day."""
    s.span = (0.0, float(s.t[-1]))
    dwell = np.exp(s.rng.uniform(np.log(2), np.log(600)))
    return s.size * telegraph(s.rng, s.t, dwell, dwell * s.rng.uniform(1, 4))


def over_range_spells(s: Scene) -> Floats:
    """Spells of 5 to 90 s so large that most meters write only that they are over range."""
    out = np.zeros(s.t.size)
    for start in s.rng.uniform(0.1, 0.95, int(s.rng.integers(1, 8))) * s.t[-1]:
        out = np.maximum(out, s.pulse(start, s.rng.uniform(5, 90)))
    s.span = (0.0, float(s.t[-1]))
    return s.size * out


def restart_in_fault(s: Scene) -> Floats:
    """Somebody restarts the logger in mid-fault: the level stands a minute before the gap and two after it."""
    gap = s.rng.uniform(30, 1500)
    s.gap = (s.at + 60, s.at + 60 + gap)
    s.span = (s.at, s.gap[1] + 120)
    return s.size * ((s.t >= s.at) & (s.t < s.span[1]))


def last_minute(s: Scene) -> Floats:
    """All is well until the last minute of the log."""
    s.span = (float(s.t[-1]) - s.rng.uniform(30, 75), float(s.t[-1]))
    return s.size * (s.t >= s.span[0])


def first_minute(s: Scene) -> Floats:
    """Volts from the tenth second after switch-on for up to a minute, then all is well."""
    s.span = (10.0, s.rng.uniform(25, 70))
    return s.size * ((s.t >= 10) & (s.t < s.span[1]))


def single_pulse(s: Scene) -> Floats:
    """Once, for 0.5 to 60 s."""
    length = np.exp(s.rng.uniform(np.log(0.5), np.log(60)))
    s.span = (s.at, s.at + length)
    return s.size * s.pulse(s.at, length)


def servo_saw(s: Scene) -> Floats:
    """A servo that runs into its end and falls back: sawtooth of 5 to 40 minutes."""
    period = s.rng.uniform(300, 2400)
    s.span = (0.0, float(s.t[-1]))
    return s.size * ((s.t / period) % 1.0)


def long_tail(s: Scene) -> Floats:
    """Settles, but takes hours over it: a dried-out time constant."""
    s.span = (0.0, float(s.t[-1]))
    return s.size * np.exp(-np.maximum(s.powered, 0) / s.rng.uniform(3000, 12_000))


def ground_lift(s: Scene) -> Floats:
    """Another unit is switched on: all channels shift together against the meter for 10 to 60 minutes."""
    length = s.rng.uniform(600, 3600)
    s.span = (s.at, s.at + length)
    return s.size * ((s.t >= s.at) & (s.t < s.at + length))


def changes_sign(s: Scene) -> Floats:
    """Stands on one side for half an hour or two, then on the other; on the mean it is nothing."""
    s.span = (0.0, float(s.t[-1]))
    return s.size * np.sign(np.sin(2 * np.pi * s.t / s.rng.uniform(3600, 9000) + s.rng.uniform(0, 6)))


def short_train(s: Scene) -> Floats:
    """Ten to eighty glitches of 0.2 to 2 s at random."""
    s.span = (0.0, float(s.t[-1]))
    starts = np.sort(s.rng.uniform(0.02, 0.99, int(s.rng.integers(10, 80))) * s.t[-1])
    lengths = s.rng.uniform(0.2, 2.0, starts.size)

    def inside(x: Floats) -> Floats:
        i = np.clip(np.searchsorted(starts, x, side="right") - 1, 0, None)
        return ((x >= starts[i]) & (x < starts[i] + lengths[i])).astype(float)

    return s.size * sampled(inside, s.t, s.cadence, s.meter)


def follows_room(s: Scene) -> Floats:
    """A compensation diode that came off its heatsink: the level follows the room by tens of mV per kelvin."""
    k = room(s.rng, s.t)
    s.span = (0.0, float(s.t[-1]))
    if s.rng.random() < 0.7:
        s.beside["room_C"] = np.round(21 + k, 1)
    return s.size * (k - k[0]) / max(float(np.ptp(k)), 1e-9)


def noisy_hours(s: Scene) -> Floats:
    """A zener in the input stage rumbles: noise of this peak below 1 Hz in spells of ten minutes."""
    s.span = (0.0, float(s.t[-1]))
    x = slow_noise(s.rng, s.t * 20, 1.0)
    return s.size * np.clip(x / 3, -1, 1) * telegraph(s.rng, s.t, 600, 1800)


def walk_off(s: Scene) -> Floats:
    """Random steps that never come back, one every few minutes."""
    s.span = (0.0, float(s.t[-1]))
    n = int(s.t[-1] / 200) + 2
    x = np.cumsum(s.rng.standard_normal(n))
    return s.size * np.interp(s.t, np.arange(n) * 200.0, (x - x[0]) / max(float(np.abs(x - x[0]).max()), 1e-9))


def dies_dead(s: Scene) -> Floats:
    """The rail for two to ten seconds, then a dead output (the fuse, or the relay for good)."""
    length = s.rng.uniform(2, 10)
    s.span = (s.at, s.at + length)
    return s.size * ((s.t >= s.at) & (s.t < s.at + length))


def slow_power_up_latch(s: Scene) -> Floats:
    """Latches at switch-on and lets go after 2 to 40 minutes."""
    s.span = (0.0, s.rng.uniform(120, 2400))
    return s.size * (s.t < s.span[1])


DANGERS = {
    f.__name__: f
    for f in (
        stuck_level, stuck_from_start, creeping, runaway, both_step, slow_common, rail_fuse, oscillation,
        protection_cycling, motorboating, leaky_capacitor, bad_relay_contact, answers_to_warmth, mains_borne,
        dying_transistor, jumps, over_range_spells, restart_in_fault, last_minute, first_minute, single_pulse,
        servo_saw, long_tail, ground_lift, changes_sign, short_train, follows_room, noisy_hours, walk_off, dies_dead,
        slow_power_up_latch,
    )
}  # fmt: skip
SHARED = {"both_step", "slow_common", "mains_borne", "ground_lift"}


def danger_log(form: str, seed: int, size_V: float | None = None) -> BenchLog:
    """Make a sound log and put a danger into one channel, or into all where channels share the cause. Invented.

    The size is drawn from 30 mV to 60 V unless given. ``truth.beyond_doubt`` is `refuses` of the true volts.
    """
    rng = np.random.default_rng([seed, 2, sum(map(ord, form))])
    kind = str(rng.choice([k for k in SOUND_KINDS if k not in ("dropped_rows", "shared_room")]))
    if form in ("first_minute", "slow_power_up_latch"):
        kind = "plain"
    meter, t, powered, volts, ends = _base(kind, rng)
    size = float(rng.choice(SIZES_V)) if size_V is None else size_V
    s = Scene(rng, t, powered, size, float(np.median(np.diff(t))), meter)
    names = tuple(volts) if form in SHARED or rng.random() < 0.25 else (str(rng.choice(list(volts))),)
    added = np.where(powered < 0, 0.0, DANGERS[form](s))
    for name in names:
        gain = rng.uniform(0.8, 1.0) if len(names) > 1 else 1.0
        v = volts[name] + gain * added
        if form == "dies_dead":
            v = np.where(t >= s.span[1], 0.0, v)
        rail = max(60.0, s.rail)
        volts[name] = np.clip(v, -rail, rail)
    keep = np.ones(t.size, bool)
    if s.gap is not None:
        keep = (t < s.gap[0]) | (t >= s.gap[1])
        ends = tuple(sorted({int(np.count_nonzero(keep[:e])) for e in ends} | {int(np.count_nonzero(t[keep] < s.gap[0]))}))
        edges = [0]
        for e in (*ends, int(keep.sum())):
            if e - edges[-1] >= 20:  # a file of fewer rows is joined to its neighbour
                edges.append(e)
        edges[-1] = int(keep.sum())
        ends = tuple(edges[1:-1])
    readings = {n: write_down(v, meter, rng)[keep] for n, v in volts.items()}
    doubt = all(refuses(t[keep], volts[n][keep], powered[keep]) for n in names)
    truth = Truth(form, False, doubt, names, *s.span, size, f"{kind}; {meter.name}")
    return BenchLog(t[keep], readings, truth, meter.name, {n: v[keep] for n, v in volts.items()}, ends,
                    {n: v[keep] for n, v in s.beside.items()})  # fmt: skip


def _judge(log: BenchLog) -> dict[str, tuple[str, str]]:
    from flicker import assess, read_log

    try:
        result = assess([read_log(f) for f in log.files()])
    except ValueError:
        return dict.fromkeys(log.readings_V, ("refused", "refused"))
    return {c.channel: (str(c.fitness), str(c.verdict)) for c in result.channels}


def main() -> None:
    """Print, kind by kind, what the program says."""
    args = runner(__doc__ or "")
    rows, wrong = [], []
    for kind in SOUND_KINDS:
        if args.only not in kind:
            continue
        said: Counter[str] = Counter()
        for i in range(args.n):
            log = sound_log(kind, args.seed * 1000 + i)
            for name, (fitness, verdict) in _judge(log).items():
                said[f"{fitness}, {verdict}"] += 1
                if not fitness.startswith("within"):
                    wrong.append(f"sound {kind} seed {args.seed * 1000 + i} {name}: {fitness}, {verdict} ({log.meter})")
        cleared = sum(n for k, n in said.items() if k.startswith("within"))
        rows.append((kind, sum(said.values()), cleared, "; ".join(f"{k} {n}" for k, n in said.most_common())))
    print(table(("sound kind", "channels", "cleared", "said"), rows), flush=True)
    rows = []
    for form in DANGERS:
        if args.only not in form:
            continue
        n_doubt = cleared_doubt = n_small = cleared_small = 0
        words: Counter[str] = Counter()
        for i in range(args.n):
            log = danger_log(form, args.seed * 1000 + i)
            for name, (fitness, verdict) in _judge(log).items():
                if name not in log.truth.channels:
                    continue
                ok = fitness.startswith("within")
                words[verdict] += 1
                n_doubt += log.truth.beyond_doubt
                n_small += not log.truth.beyond_doubt
                cleared_small += ok and not log.truth.beyond_doubt
                if ok or verdict == "steady":
                    cleared_doubt += log.truth.beyond_doubt
                    wrong.append(f"{'DANGER' if log.truth.beyond_doubt else 'smaller'} {form} seed {args.seed * 1000 + i} {name} {log.truth.size_V} V: {fitness}, {verdict} ({log.truth.words})")
        rows.append((form, n_doubt, cleared_doubt, n_small, cleared_small, "; ".join(f"{k} {n}" for k, n in words.most_common())))
        print(*rows[-1], sep=" | ", file=sys.stderr)
    print(table(("danger", "beyond doubt", "of these cleared or steady", "smaller", "of these cleared", "verdicts"), rows))
    print("\n".join(wrong))


if __name__ == "__main__":
    main()
