"""Units as a repairer of many years meets them: valves, class D, bridges, servos, joints, fans, and the house's mains.

All data are invented, by somebody who had read neither how the program decides nor the other stories. Truth goes by what
the pages promise: rest within 50 mV, movement up to 20 mV from minute 20 on, noise to 3 mV, no recurring swings of 15 mV.
"""

from __future__ import annotations

import numpy as np
from fresh_bench_parts import (
    HOUR,
    Bench,
    Shape,
    all_sound,
    arrivals,
    between,
    crackle,
    no_growth,
    nothing_shown,
    one_faulty,
    swings,
    uncleared,
)
from fresh_parts import Floats, slow_noise, telegraph

TAU = 2 * np.pi


def sine(t: Floats, period_s: float, amplitude_V: float, phase: float = 0.0) -> Floats:
    return amplitude_V * np.sin(TAU * t / period_s + phase)


def hours_of(b: Bench, low: float = 3.7, high: float = 7.0) -> float:
    return float(b.rng.uniform(low, high))


def shared(b: Bench, hours: float, shape: Shape, never: list[str]) -> None:
    """All channels carry the shape; the unit is not called sound, but nothing may be made of it."""
    b.step("assess", [b.evening(0, hours, {n: shape for n in b.names})], never=never)


def no_claim(b: Bench) -> list[str]:
    return [x for n in b.names for x in no_growth(n)]


# ------------------------------------------------------------ valves and thermal loops


def valve_bias_follows_mains(b: Bench) -> None:
    """A transformerless valve output: the level follows the mains by slow wander of 25 to 60 mV."""
    w = 0.012 * between(b.rng, 1, 2.2)
    one_faulty(b, hours_of(b), lambda t: slow_noise(b.rng, t, w) + sine(t, 5000, w, 1.0), never=no_growth("left"))


def heater_to_cathode_leak(b: Bench) -> None:
    """Crackling bursts of minutes as the heater's insulation leaks, then calm for half an hour."""
    size = between(b.rng, 0.02, 0.06)
    one_faulty(b, hours_of(b), lambda t: telegraph(b.rng, t, 120, 1800) * size * b.rng.standard_normal(t.size), never=no_growth("left"))


def bias_loop_breathes(b: Bench) -> None:
    """The bias loop oscillates with the heatsink: a saw tooth of 6 to 15 minutes, 24 to 45 mV."""
    period, size = b.rng.uniform(360, 900), between(b.rng, 0.024, 0.045)
    one_faulty(b, hours_of(b), lambda t: size * ((t / period) % 1.0 - 0.5), never=no_growth("left"))


def bias_loop_breathes_faintly(b: Bench) -> None:
    """The same at 5 mV in both: a thermal habit, sound."""
    period = b.rng.uniform(300, 900)
    all_sound(b, hours_of(b), lambda t: 0.005 * ((t / period) % 1.0 - 0.5))


def thermal_runaway_of_hours(b: Bench) -> None:
    """An exponential of leak current: 3 mV for hours, then 90 mV to 2 V at the end."""
    hours, end = hours_of(b), between(b.rng, 0.09, 2.0)
    one_faulty(b, hours, lambda t: end * np.exp((t - hours * HOUR) / b.rng.uniform(2000, 4000)), never=["left one-off"])


def electrolytic_forms_again(b: Bench) -> None:
    """A leaky capacitor forms: 60 mV falls to 5 within two hours. It gets better, so nothing grows."""
    tau = b.rng.uniform(2400, 4800)
    one_faulty(b, hours_of(b, 4.5), lambda t: 0.06 * np.exp(-t / tau), never=no_growth("left"))


# ------------------------------------------------------------ class D, bridges, capacitors, servos


def carrier_folds_small(b: Bench) -> None:
    """A class D carrier of 2.5 mV folds down to a slow sine in every channel: sound."""
    period = between(b.rng, 20, 3000)
    all_sound(b, hours_of(b), lambda t: sine(t, period, 0.0025, b.rng.uniform(0, 6)))


def carrier_folds_large(b: Bench) -> None:
    """A carrier of 10 to 18 mV folds to something between seconds and an hour; nothing is known to grow or to switch."""
    period, size = between(b.rng, 5, 4000), b.rng.uniform(0.010, 0.018)
    drift = b.rng.uniform(-0.3, 0.3)
    shared(b, hours_of(b), lambda t: size * np.sin(TAU * (t / period + drift * (t / 20000) ** 2)),
           [*no_claim(b), *(x for n in b.names for x in uncleared(n))])  # fmt: skip


def dead_time_hops(b: Bench) -> None:
    """A class D output hops between two rests 18 to 30 mV apart, minutes each."""
    size = b.rng.uniform(0.018, 0.03)
    one_faulty(b, hours_of(b), lambda t: size * telegraph(b.rng, t, 300, 400), never=no_growth("left"))


def bridge_read_to_chassis(b: Bench) -> None:
    """Both halves of a bridge read against the chassis: 12 V on each. Dangerous for what hangs from there to ground."""
    b.names = ("plus", "minus")
    b.rest, b.white = {"plus": 11.9, "minus": 11.9}, {"plus": 4e-4, "minus": 4e-4}
    b.step("assess", [b.evening(0, hours_of(b), warm=True)], never=[*uncleared("plus"), *uncleared("minus")], must=["plus do not connect", "minus do not connect"])


def bridge_difference(b: Bench, drift_V: float) -> None:
    b.names = ("plus", "minus")
    t = b.instants(hours_of(b))
    common = 11.9 + sine(t, 3000, 0.05) + slow_noise(b.rng, t, 0.01)
    noise = [3e-4 * b.rng.standard_normal(t.size) for _ in b.names]
    moved = drift_V * t / t[-1]
    table = b.table(0, t, {"plus": common + noise[0] + moved + 0.004, "minus": common + noise[1]}, digit=1e-4)
    never, must = (uncleared("bridge"), []) if drift_V else (nothing_shown("bridge"), ["bridge within*"])
    b.step("assess", [table], never=never, must=must, reading={"differences": {"bridge": ("plus", "minus")}})


def bridge_difference_sound(b: Bench) -> None:
    """The difference of the halves is sound, though both move together by 100 mV."""
    bridge_difference(b, 0.0)


def bridge_difference_moves(b: Bench) -> None:
    """The difference moves by 30 to 60 mV under 100 mV of common movement."""
    bridge_difference(b, b.rng.uniform(0.03, 0.06))


def coupling_charges_for_minutes(b: Bench) -> None:
    """A single supply, no load: the coupling capacitor charges through the meter for minutes. It only falls."""
    tau = b.rng.uniform(60, 240)
    shared(b, hours_of(b), lambda t: 6.0 * np.exp(-t / tau), [*no_claim(b), *(f"{n} {w}" for n in b.names for w in ("noisy", "one-off", "intermittent yes"))])


def coupling_leaks_when_warm(b: Bench) -> None:
    """The coupling capacitor leaks as the chassis warms: 60 to 90 mV from the second hour on."""
    rise, end = b.rng.uniform(2000, 4000), b.rng.uniform(0.06, 0.09)
    one_faulty(b, hours_of(b, 4.0), lambda t: end / (1 + np.exp(-(t - 7000) / (rise / 4))))


def servo_hunts(b: Bench) -> None:
    """A servo in a limit cycle of 5 s to 5 min, 20 to 60 mV from top to bottom."""
    period, size = between(b.rng, 5, 300), between(b.rng, 0.011, 0.03)
    one_faulty(b, hours_of(b), lambda t: sine(t, period, size), never=no_growth("left"))


def servo_rings_after_kicks(b: Bench) -> None:
    """Each kick rings for a minute and dies: a servo with little margin, a few kicks an hour."""

    def rings(t: Floats) -> Floats:
        out = np.zeros(t.size)
        for a in arrivals(b.rng, float(t[-1]), 4.0):
            x = t - a
            out += np.where(x > 0, 0.09 * np.exp(-np.clip(x, 0, 900) / 40) * np.cos(TAU * x / 13), 0)
        return out

    one_faulty(b, hours_of(b, 4.0), rings, never=no_growth("left"))


def latch_starts_either_way(b: Bench) -> None:
    """Each power-up rests at plus or minus 20 to 35 mV by chance; within one it is as still as can be."""
    size = b.rng.uniform(0.02, 0.035)
    logs = [b.evening(i, 2.0, {"left": lambda t, s=(-1) ** i: s * size + 0 * t}) for i in range(4)]  # type: ignore[misc]
    b.step("assess", logs, never=[*uncleared("left"), *no_growth("left")], sound=b.others)


# ------------------------------------------------------------ contacts, joints, ground, fan


def relay_contact_divides(b: Bench) -> None:
    """A burnt speaker contact: 30 mV of rest behind it fall to any share of it, for seconds to minutes."""

    def contact(t: Floats) -> Floats:
        share = np.where(telegraph(b.rng, t, 20, 240), 0.9 * np.clip(slow_noise(b.rng, t, 0.4) + 0.6, 0, 1), 0.0)
        return 0.030 * (1 - share)

    one_faulty(b, hours_of(b), contact, never=no_growth("left"))


def zobel_open_bursts(b: Bench) -> None:
    """The output network is open: bursts of oscillation, rectified to 50 to 200 mV, noisy while they last."""

    def bursts(t: Floats) -> Floats:
        level = crackle(b, 10.0, size=between(b.rng, 0.05, 0.2), length_s=2.5)(t)
        return level * (1 + 0.4 * b.rng.standard_normal(t.size))

    one_faulty(b, hours_of(b, 4.0), bursts, never=no_growth("left"))


def ground_of_one_channel(b: Bench) -> None:
    """The ground of one channel opens now and then: hum of 15 to 60 mV, folded by the sampling, for minutes."""
    size = between(b.rng, 0.015, 0.06)
    one_faulty(b, hours_of(b), lambda t: telegraph(b.rng, t, 150, 1500) * size * np.sin(b.rng.uniform(0, TAU, t.size)), never=no_growth("left"))


def joint_shaken_by_the_fan(b: Bench) -> None:
    """The fan runs 6 minutes of 16 and shakes a joint: 25 to 70 mV of crackle while it runs, nothing else."""
    size = between(b.rng, 0.025, 0.07)
    one_faulty(b, hours_of(b), lambda t: size * telegraph(b.rng, t, 2, 6) * ((t % 960) < 360), never=no_growth("left"))


def fan_clean_of_fault(b: Bench) -> None:
    """The fan only moves the heatsink by 4 mV, in and out of its cycle: sound."""
    all_sound(b, hours_of(b), lambda t: 0.004 * np.abs(((t % 960) / 480) - 1))


def joint_opens_for_good(b: Bench) -> None:
    """One step of 25 to 45 mV in the third hour, and it stays."""
    at, size = b.rng.uniform(6500, 9500), b.rng.uniform(0.025, 0.045)
    one_faulty(b, hours_of(b, 4.5), lambda t: size * (t > at))


def crackles_until_warm(b: Bench) -> None:
    """It crackles in the first 12 minutes after each cold start, never after."""
    size = between(b.rng, 0.08, 0.3)
    logs = [b.evening(i, 3.0, {"left": lambda t: crackle(b, 40.0, size=size)(t) * (t < 720)}) for i in range(3)]
    b.step("assess", logs, never=[*uncleared("left"), *no_growth("left")], sound=b.others)


def popcorn_of_a_chip(b: Bench) -> None:
    """Popcorn noise of an old chip: two levels 18 to 24 mV apart, from seconds to minutes each."""
    size, dwell = b.rng.uniform(0.018, 0.024), between(b.rng, 8, 200)
    one_faulty(b, hours_of(b), lambda t: size * telegraph(b.rng, t, dwell, dwell), never=no_growth("left"))


# ------------------------------------------------------------ mains, house, aerial


def mains_of_day_and_night(b: Bench) -> None:
    """The mains rises at night: 6 mV in both over a day and a half, sound."""
    all_sound(b, 30.0, lambda t: sine(t, 86400, 0.003, 1.0))


def mains_moves_one_channel(b: Bench) -> None:
    """One channel follows the mains by 35 to 50 mV over three days. It comes back, so nothing grows."""
    size = b.rng.uniform(0.0175, 0.025)
    one_faulty(b, 70.0, lambda t: sine(t, 86400, size, 1.0), never=no_growth("left"), step_s=5.0)


def tap_changer(b: Bench) -> None:
    """A stabiliser steps the mains: 4 mV up and down in both, sound."""
    all_sound(b, hours_of(b), lambda t: 0.004 * telegraph(b.rng, t, 400, 700))


def fridge_clicks_small(b: Bench) -> None:
    """A fridge on the same mains: every 25 minutes one reading of 6 to 10 mV in all channels, sound."""
    at = np.arange(b.rng.uniform(200, 1400), 25000, 1500.0)
    all_sound(b, hours_of(b), lambda t: swings(t, at, 1.05 * b.step_s, 0.008))


def fridge_clicks_large(b: Bench) -> None:
    """The same of 40 to 150 mV: nothing may be made of one channel, nor may it be said to grow."""
    at, size = np.arange(b.rng.uniform(200, 1400), 25000, 1500.0), between(b.rng, 0.04, 0.15)
    shared(b, hours_of(b), lambda t: swings(t, at, 1.05 * b.step_s, size), no_claim(b))


def phone_lies_beside(b: Bench) -> None:
    """A phone reports itself every ten minutes or so: 3 s of up to 6 mV in all, sound."""
    all_sound(b, hours_of(b), lambda t: crackle(b, 6.0, size=0.005)(t))


def radio_gets_into_one(b: Bench) -> None:
    """A transmitter next door, four times an evening, 20 s of 30 to 90 mV in one channel."""
    size = between(b.rng, 0.03, 0.09)
    one_faulty(b, hours_of(b, 4.0), lambda t: swings(t, np.sort(b.rng.uniform(1500, t[-1] - 60, 4)), 20.0, size), never=no_growth("left"))


def once_a_day(b: Bench) -> None:
    """A pop of 200 mV, 3 s, about once a day, over six days in one log."""
    one_faulty(b, 6 * 24.0, lambda t: swings(t, (np.arange(6) + b.rng.uniform(0.2, 0.8, 6)) * 86400, 12.0, 0.2), never=no_growth("left"), step_s=10.0)


def hot_afternoons(b: Bench) -> None:
    """It crackles from 13 to 17 o'clock on three days: no growth, it is the sun."""

    def rate(t: Floats) -> Floats:
        return np.where(np.abs((t / HOUR + 9) % 24 - 15) < 2, 8.0, 0.05)

    one_faulty(b, 72.0, crackle(b, rate, most=8.0, size=0.2, length_s=12.0), never=["left degrading", "left worse with age yes", "left larger with age yes"], step_s=5.0)


# ------------------------------------------------------------ ends, cycles, dangers


def rail_on_the_output(b: Bench) -> None:
    """A shorted output transistor: the rail stands on the terminal from the first reading, as quiet as can be."""
    level = b.rng.uniform(20, 55) * b.rng.choice([-1, 1])
    one_faulty(b, hours_of(b), lambda t: level + 0 * t, must=("left do not connect",))


def volt_and_a_bit(b: Bench) -> None:
    """1.1 V of rest, from the first reading on."""
    one_faulty(b, hours_of(b), lambda t: 1.1 + 0 * t, must=("left do not connect",))


def protection_latches(b: Bench) -> None:
    """After two calm hours 12 V for 3 s, then the protection latches and nothing comes any more."""
    at = b.rng.uniform(7500, 11000)
    t = b.instants(hours_of(b, 4.0))
    volts = {n: np.where(t < at + 3, b.output(t, n), 0.0) for n in b.names}
    volts["left"] = volts["left"] + 12.0 * ((t >= at) & (t < at + 3))
    b.step("assess", [b.table(0, t, volts)], never=uncleared("left"), must=["left do not connect"])


def one_great_pulse(b: Bench) -> None:
    """6 V for 2.5 s, once in a night of calm."""
    one_faulty(b, 9.0, lambda t: swings(t, np.array([b.rng.uniform(2000, 30000)]), 2.5, 6.0), must=("left do not connect",), never=no_growth("left"))


def motorboats(b: Bench) -> None:
    """0.7 Hz of 50 to 90 mV: a tired supply, slower or faster than the readings."""
    one_faulty(b, hours_of(b), lambda t: sine(t, 1 / 0.7, b.rng.uniform(0.05, 0.09)), never=no_growth("left"))


def battery_amplifier(b: Bench) -> None:
    """A battery amplifier: its rest climbs in the last quarter of an hour to 300 mV, then it is off."""
    t = b.instants(hours_of(b, 4.0))
    end = t[-1] - b.rng.uniform(300, 3000)
    volts = {n: np.where(t < end, b.output(t, n), 2e-5 * b.rng.standard_normal(t.size)) for n in b.names}
    volts["left"] = volts["left"] + np.where(t < end, 0.3 * np.exp((np.minimum(t, end) - end) / 200), 0)
    b.step("assess", [b.table(0, t, volts)], never=uncleared("left"))


def standby_after_twenty_minutes(b: Bench) -> None:
    """It goes to standby after 15 to 25 minutes; the other hours show nothing of it."""
    t = b.instants(hours_of(b, 5.0))
    asleep = b.rng.uniform(900, 1500)
    volts = {n: np.where(t < asleep, b.output(t, n), b.rest[n] * np.exp(-np.clip(t - asleep, 0, 600) / 8) + 2e-5 * b.rng.standard_normal(t.size)) for n in b.names}
    b.step("assess", [b.table(0, t, volts)], never=[*no_claim(b), *(x for n in b.names for x in uncleared(n))])


def subwoofer_wakes_on_signal(b: Bench) -> None:
    """A subwoofer's supply wakes and sleeps by itself, a quarter of an hour each; no time on is long enough to clear."""
    t = b.instants(hours_of(b, 5.0))
    cycle = b.rng.uniform(1500, 2400)
    age = t % cycle
    on = age < b.rng.uniform(500, 1000)
    volts = {n: np.where(on, b.output(t, n, warm=True) + 0.03 * np.exp(-age / 1.5), 2e-5 * b.rng.standard_normal(t.size)) for n in b.names}
    b.step("assess", [b.table(0, t, volts)], never=[*no_claim(b), *(x for n in b.names for x in uncleared(n))])


def crosstalk_of_a_loud_neighbour(b: Bench) -> None:
    """The left crackles by 300 mV and more, the others take 4 % of it: they are sound."""
    fault = crackle(b, 12.0, size=0.35, length_s=3.0)
    t = b.instants(hours_of(b, 4.0))
    loud = fault(t)
    volts = {n: b.output(t, n) + (loud if n == "left" else 0.04 * loud) for n in b.names}
    b.step("assess", [b.table(0, t, volts)], never=[*uncleared("left"), *no_growth("left")], sound=b.others)


def seals_itself_at_last(b: Bench) -> None:
    """It crackles for two hours and is calm for five: not cured, not cleared, not one-off."""
    size = between(b.rng, 0.08, 0.4)
    one_faulty(b, 7.0, lambda t: crackle(b, 15.0, size=size)(t) * (t < 7200), never=[*no_growth("left")[:-1], "left one-off"])


KINDS = {"far " + f.__name__.replace("_", " "): f for f in (
    valve_bias_follows_mains, heater_to_cathode_leak, bias_loop_breathes, bias_loop_breathes_faintly, thermal_runaway_of_hours,
    electrolytic_forms_again, carrier_folds_small, carrier_folds_large, dead_time_hops, bridge_read_to_chassis,
    bridge_difference_sound, bridge_difference_moves, coupling_charges_for_minutes, coupling_leaks_when_warm, servo_hunts,
    servo_rings_after_kicks, latch_starts_either_way, relay_contact_divides, zobel_open_bursts, ground_of_one_channel,
    joint_shaken_by_the_fan, fan_clean_of_fault, joint_opens_for_good, crackles_until_warm, popcorn_of_a_chip, mains_of_day_and_night,
    mains_moves_one_channel, tap_changer, fridge_clicks_small, fridge_clicks_large, phone_lies_beside, radio_gets_into_one,
    once_a_day, hot_afternoons, rail_on_the_output, volt_and_a_bit, protection_latches, one_great_pulse, motorboats,
    battery_amplifier, standby_after_twenty_minutes, subwoofer_wakes_on_signal, crosstalk_of_a_loud_neighbour, seals_itself_at_last)}  # fmt: skip
