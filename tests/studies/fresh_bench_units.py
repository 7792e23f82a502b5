"""Stories of sound and of faulty units, for `fresh_benches`. All data are invented.

Sound ones stay under what a page may clear: within 10 mV of zero, moving by some millivolts, no swing of 15 mV. Faulty
ones go beyond 50 mV at rest, move by more than 20 mV, or swing by more than 40 mV, as a unit on the bench would.
"""

from __future__ import annotations

import numpy as np
from fresh_bench_parts import HOUR, Bench, Shape, arrivals, between, crackle, no_growth, swings, uncleared
from fresh_parts import Floats, slow_noise, telegraph


def _one(b: Bench, hours: float, faults: dict[str, Shape], **patterns: tuple[str, ...] | list[str]) -> None:
    """Log one power-up; the channels without a fault must be cleared if the log is long enough."""
    others = [n for n in b.names if n not in faults] if hours > 3.7 else []
    b.step("assess", [b.evening(0, hours, faults)], sound=others, **patterns)


def _all_sound(b: Bench, hours: float, shape: Shape) -> None:
    """Log one power-up of a unit whose channels all carry the shape, and are sound."""
    b.step("assess", [b.evening(0, hours, {n: shape for n in b.names})], sound=b.names)


# ------------------------------------------------------------ sound


def class_d_residue(b: Bench) -> None:
    """A switching amplifier at idle: the residue of its carrier, folded, 2 to 4 mV, whose frequency wanders and beats."""
    size = between(b.rng, 2e-3, 4e-3)

    def shape(t: Floats) -> Floats:
        turns = np.cumsum((0.02 + 0.05 * slow_noise(b.rng, t, 1.0)) * np.diff(t, prepend=0.0))
        return size * np.sin(2 * np.pi * turns) * (0.6 + 0.4 * np.sin(2 * np.pi * t / b.rng.uniform(300, 5000)))

    b.fact(residue_V=size)
    _all_sound(b, b.rng.uniform(4, 9), shape)


def servo_hunts(b: Bench) -> None:
    """A servo that hunts by one to three millivolts with a period of 20 to 400 s, now more, now less."""
    size, period = between(b.rng, 1e-3, 3e-3), between(b.rng, 20, 400)
    b.fact(hunts_V=size, period_s=period)
    _all_sound(b, b.rng.uniform(4, 9), lambda t: size * (0.7 + 0.3 * slow_noise(b.rng, t, 0.5)).clip(0, 1) * np.sin(2 * np.pi * t / period))


def fan_cycles(b: Bench) -> None:
    """A fan or thermostat goes on and off every 4 to 25 minutes: the rest follows by 2 to 7 mV, some minutes behind."""
    on, off = b.rng.uniform(120, 700), b.rng.uniform(120, 800)
    size, tau = between(b.rng, 2e-3, 7e-3), b.rng.uniform(60, 240)

    def shape(t: Floats) -> Floats:
        drive = ((t % (on + off)) < on).astype(float)
        a = np.exp(-(t[1] - t[0]) / tau)
        out = np.empty(t.size)
        y = 0.0
        for i, x in enumerate(drive.tolist()):
            y = a * y + (1 - a) * x
            out[i] = y
        return size * (out - 0.5)

    b.fact(size_V=size, period_s=on + off)
    _all_sound(b, b.rng.uniform(4, 9), shape)


def soft_start(b: Bench) -> None:
    """Soft start with several relays: ticks of 30 to 90 mV at 3, 6, 9 and 18 s after switch-on, one reading each; sound."""
    at = np.asarray([3.0, 6.0, 9.0, 18.0]) + b.rng.uniform(0, 1)
    size = b.rng.uniform(0.03, 0.09) * b.rng.choice([-1, 1], 4)
    logs = [b.evening(d, b.rng.uniform(4, 5), {n: lambda t: swings(t, at, b.step_s * 1.01, size) for n in b.names}) for d in range(int(b.rng.integers(1, 3)))]
    b.step("assess", logs, sound=b.names)


def music_now_and_then(b: Bench) -> None:
    """Music is played now and then; the averaging meter makes a millivolt or so of noise of it. A sound unit."""
    size = between(b.rng, 6e-4, 1.5e-3)

    def shape(t: Floats) -> Floats:
        return np.asarray(telegraph(b.rng, t, 1500, 3000) * size * b.rng.standard_normal(t.size))

    b.fact(noise_V=size)
    _all_sound(b, b.rng.uniform(5, 9), shape)


def alignment_tone(b: Bench) -> None:
    """A tone of 1 kHz at some volts for ten minutes of six hours, read in instants: volts that are no offset; never cleared
    by rule, but nothing ages and one channel's tone is nobody else's."""
    at = b.rng.uniform(4000, 15_000)
    f = {"left": lambda t: np.where((t > at) & (t < at + 600), 2 * np.sin(2 * np.pi * 0.317 * t + 0.002 * t**1.1), 0.0)}
    _one(b, 6, f, never=(*uncleared("left"), *no_growth("left")))


def sleeps_and_wakes(b: Bench) -> None:
    """Standby that wakes five to eight times in two days for an hour: zero asleep, a click of up to 80 mV at each waking."""
    b.step_s = 5.0
    t = b.instants(b.rng.uniform(36, 50))
    wakes = np.sort(b.rng.uniform(0, 1, int(b.rng.integers(5, 9)))) * (t[-1] - 2 * HOUR)
    v = {}
    lengths = b.rng.uniform(0.8, 1.6, wakes.size) * HOUR
    for n in b.names:
        live = b.output(t, n, warm=True)
        out = b.rng.normal(0, 3e-5) + 2e-5 * b.rng.standard_normal(t.size)
        for at, length in zip(wakes, lengths, strict=True):
            i, j = np.searchsorted(t, (at, at + length))
            age = t[i:j] - at
            out[i:j] = live[i:j] + b.rng.normal(0, 0.03) * np.exp(-age / 2) + b.rng.normal(0, 2e-3) * np.exp(-age / 200)
        v[n] = out
    shown = ("degrading", "do not connect", "since *", "more often yes", "larger yes", "drifting")
    b.step("assess", [b.table(0, t, v)], never=[f"{n} {w}" for n in b.names for w in shown], rather_not=[f"{n} {w}" for n in b.names for w in ("noisy", "one-off")])


# ------------------------------------------------------------ faulty


def only_when_cold(b: Bench) -> None:
    """An offset of 0.1 to 0.4 V in the first 10 to 25 minutes of each power-up, that is gone when the unit is warm."""
    size, tau = between(b.rng, 0.1, 0.4), b.rng.uniform(300, 700)
    f = {"left": lambda t: size / (1 + np.exp((t - 2 * tau) / (0.15 * tau)))}
    logs = [b.evening(d, b.rng.uniform(4, 5), f) for d in range(int(b.rng.integers(1, 4)))]
    b.fact(size_V=size, until_s=2 * tau)
    b.step("assess", logs, never=[*uncleared("left"), *no_growth("left"), "left hidden *"],
           rather_not=("left inconclusive",), sound=b.others)  # fmt: skip


def after_six_hours(b: Bench) -> None:
    """After six hours an offset of 0.1 to 0.4 V comes within a minute and stays to the end, an hour or two later."""
    size, at = between(b.rng, 0.1, 0.4), b.rng.uniform(5.8, 6.5) * HOUR
    _one(b, b.rng.uniform(7.2, 8.5), {"left": lambda t: size * np.clip((t - at) / 60, 0, 1)},
         never=[*uncleared("left"), "left hidden *"], rather_not=("left inconclusive",), must=("left settled offset yes|left level change yes|left drift yes",))  # fmt: skip


def fan_stops(b: Bench) -> None:
    """Whenever the fan stops, some 3 to 8 minutes each half-hour, the rest climbs to 70 to 150 mV and falls again."""
    size, on = between(b.rng, 0.07, 0.15), b.rng.uniform(180, 480)
    f = {"left": lambda t: size * np.clip(np.minimum((t % 1800) / 60, (on - t % 1800) / 60), 0, 1)}
    _one(b, b.rng.uniform(4, 7), f, never=[*uncleared("left"), *no_growth("left"), "left hidden *"], must=("left noisy|left drifting",))


def mains_dependent(b: Bench) -> None:
    """Above 238 V of mains the left output stands at 60 to 200 mV; the mains are logged beside."""
    size = between(b.rng, 0.06, 0.2)
    t = b.instants(b.rng.uniform(8, 20), 10.0)
    mains = 234 + slow_noise(b.rng, t, 2.5) + 3 * np.sin(2 * np.pi * t / 20_000)
    v = {n: b.output(t, n) for n in b.names}
    v["left"] = v["left"] + np.where(mains > 238, size, 0.0)
    if (mains > 238).mean() < 0.01:
        v["left"][t > t[-1] * 0.8] += size
    b.step("assess", [b.table(0, t, v, beside={"mains_V": np.round(mains, 1)})], never=[*uncleared("left"), *no_growth("left"), "left hidden *"],
           sound=b.others, reading={"roles": {"mains_V": "mains"}})  # fmt: skip


def bias_at_night(b: Bench) -> None:
    """Each night the rest of one channel goes away by 30 to 60 mV for some hours and comes back; three days."""
    b.step_s, size, width = 20.0, between(b.rng, 0.03, 0.06), b.rng.uniform(1.5, 3) * HOUR
    b.fact(size_V=size)
    f = {"left": lambda t: size * np.exp(-0.5 * (((t - 5 * HOUR) % 86400 - 12 * HOUR) / width) ** 2)}
    _one(b, 72, f, never=[*uncleared("left"), *no_growth("left"), "left hidden *"], must=("left drifting|left noisy",))


def after_each_click(b: Bench) -> None:
    """A relay in the unit clicks every 25 to 60 minutes; 3 to 7 glitches follow within a minute and a half."""
    gap = b.rng.uniform(1500, 3600)

    def shape(t: Floats) -> Floats:
        clicks = np.arange(b.rng.uniform(600, gap), t[-1] - 100, gap)
        at = np.concatenate([c + np.sort(b.rng.uniform(0, 90, int(b.rng.integers(3, 8)))) for c in clicks])
        return swings(t, at, 2.5, 0.2 * b.rng.lognormal(0, 0.3, at.size))

    _one(b, b.rng.uniform(6, 10), {"left": shape}, never=[*uncleared("left"), *no_growth("left")], must=("left noisy",))


def one_power_up_in_eight(b: Bench) -> None:
    """Eight power-ups; in one of them some fifteen swings, in the others none. Nothing ages."""
    bad = int(b.rng.integers(0, 8))
    logs = [b.evening(d, 1.5, {"left": crackle(b, 10.0)} if d == bad else None) for d in range(8)]
    b.fact(bad=str(bad))
    b.step("assess", logs, never=[*uncleared("left"), *no_growth("left")[:-1]], rather_not=("left since *",), must=("left noisy|left one-off",), sound=b.others)  # fmt: skip


def crackle_rises(b: Bench) -> None:
    """Crackle that rises within ten hours from one swing an hour to forty, and from 60 mV to 0.3 V."""
    hours = b.rng.uniform(8, 11)
    shape = crackle(b, lambda t: 40.0 ** (t / (hours * HOUR)), most=40.0, size=0.06, grows=lambda t: 5 ** (t / (hours * HOUR)), length_s=2.5)
    _one(b, hours, {"left": shape}, never=[*uncleared("left"), "left since less often", "left hidden *"], must=("left degrading",))


def ripple_grows(b: Bench) -> None:
    """A capacitor dies: the folded ripple of 100 Hz grows within ten hours from 1 mV to 15 to 60 mV."""
    end, hours = between(b.rng, 0.015, 0.06), b.rng.uniform(8, 12)
    b.mean_s, at = 0.0, b.rng.uniform(0.03, 0.4)
    b.fact(end_V=end)

    def shape(t: Floats) -> Floats:
        turns = np.cumsum((at + 0.01 * slow_noise(b.rng, t, 1.0)) * np.diff(t, prepend=0.0))
        return 1e-3 * (end / 1e-3) ** (t / (hours * HOUR)) * np.sin(2 * np.pi * turns)

    _one(b, hours, {"left": shape}, never=[*uncleared("left"), "left one-off", "left hidden *"], must=("left noisy|left degrading|left drifting",))


def sticks_to_rail(b: Bench) -> None:
    """The output sticks to a rail of 20 to 60 V for 3 to 40 s, once to three times, and recovers; the meter reads it."""
    rail, k = b.rng.uniform(20, 60) * b.rng.choice([-1, 1]), int(b.rng.integers(1, 4))
    shape = {"left": lambda t: swings(t, b.rng.uniform(600, t[-1] - 600, k), b.rng.uniform(3, 40, k), rail)}
    _one(b, b.rng.uniform(4, 7), shape, never=[*uncleared("left"), "left hidden *"], must=("left do not connect",))


def levels_for_hours(b: Bench) -> None:
    """The rest jumps between three levels, 0, 30 to 40 and 60 to 90 mV away, and stays for half an hour to two."""
    levels = np.asarray([0.0, b.rng.uniform(0.03, 0.04), b.rng.uniform(0.06, 0.09)]) * b.rng.choice([-1, 1])

    def shape(t: Floats) -> Floats:
        ends = np.cumsum(b.rng.uniform(0.5, 2, 40)) * HOUR
        order = np.concatenate([[0, 2], b.rng.integers(0, 3, 40)])
        return np.asarray(levels[order[np.searchsorted(ends, t)]])

    _one(b, b.rng.uniform(9, 14), {"left": shape}, never=[*uncleared("left"), "left inconclusive", "left hidden *"], must=("left drifting|left noisy|left degrading",))


def other_rest_each_time(b: Bench) -> None:
    """Each power-up rests elsewhere: 20 to 38 mV on this side of zero or that, at random; nothing moves within one."""
    logs = []
    for d in range(6):
        b.rest["left"] = float(b.rng.uniform(0.02, 0.038) * (1 if d % 3 == 0 else -1 if d % 3 == 1 else b.rng.choice([-1, 1])))
        logs.append(b.evening(d, 1.5))
    b.step("assess", logs, never=[*uncleared("left"), *no_growth("left")], must=("left drifting",), sound=b.others)


def small_shifts(b: Bench) -> None:
    """High-frequency bursts that the output rectifies: shifts of 22 to 36 mV for 2 to 10 s, six to fifteen an hour."""
    rate = b.rng.uniform(6, 15)

    def shape(t: Floats) -> Floats:
        at = arrivals(b.rng, float(t[-1]), float(rate))
        return swings(t, at, b.rng.uniform(2, 10, at.size), b.rng.uniform(0.022, 0.036, at.size))

    _one(b, b.rng.uniform(4, 8), {"left": shape}, never=[*uncleared("left"), *no_growth("left"), "left hidden *"], must=("left noisy",))


def ramps_and_resets(b: Bench) -> None:
    """The rest creeps to 60 to 120 mV within half an hour to two, falls back at once, and begins again."""
    size, period = between(b.rng, 0.06, 0.12), b.rng.uniform(0.5, 2) * HOUR
    _one(b, b.rng.uniform(6, 10), {"left": lambda t: size * (t % period) / period},
         never=[*uncleared("left"), *no_growth("left"), "left hidden *", "left inconclusive"], must=("left drifting|left noisy",))  # fmt: skip


def drops_dead_for_seconds(b: Bench) -> None:
    """A joint opens for 2 to 20 s, ten times an hour, and the output floats to 80 to 200 mV with hum on it meanwhile."""
    size = between(b.rng, 0.08, 0.2)

    def shape(t: Floats) -> Floats:
        at = arrivals(b.rng, float(t[-1]), 10.0)
        gate = swings(t, at, b.rng.uniform(2, 20, at.size), 1.0)
        return gate * (size + 0.3 * size * np.sin(2 * np.pi * 0.23 * t))

    _one(b, b.rng.uniform(4, 7), {"left": shape}, never=[*uncleared("left"), *no_growth("left"), "left hidden *"], must=("left noisy",))


KINDS = {f.__name__.replace("_", " "): f for f in (
    class_d_residue, servo_hunts, fan_cycles, soft_start, music_now_and_then, alignment_tone, sleeps_and_wakes,
    only_when_cold, after_six_hours, fan_stops, mains_dependent, bias_at_night, after_each_click, one_power_up_in_eight, crackle_rises,
    ripple_grows, sticks_to_rail, levels_for_hours, other_rest_each_time, small_shifts, ramps_and_resets, drops_dead_for_seconds,
)}  # fmt: skip
