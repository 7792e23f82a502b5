"""Stories of units and rooms that nobody drew yet, for `fresh_benches`. All data are invented.

Written by one who has not read how the program decides. What is physics stands in each story; sizes and rates are
invented where no word says otherwise. 'Sound' means: rests within 10 mV, moves by less than 12 mV in all, no swing of
15 mV; 'faulty' that volts reach the terminals which no loudspeaker should see, or that nobody saw the output.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps

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
from fresh_repairs import fresh_names, powered

MOVES = "left drift yes|left settled offset yes|left level change yes|left jumps yes|left intermittent yes"


def varied(f: Callable[[Bench], None]) -> Callable[[Bench], None]:
    """Draw rate, digit and noise anew for a story, wider than a bench has them. Invented."""

    @wraps(f)
    def story(b: Bench) -> None:
        b.step_s = float(b.rng.choice([0.25, 0.5, 1.0, 2.0, 5.0]))
        b.digit = float(b.rng.choice([1e-6, 1e-5, 1e-4, 2e-4, 5e-4]))
        b.white = {n: between(b.rng, max(3e-5, 0.4 * b.digit), 8e-4) for n in b.names}
        f(b)

    return story


def kicks(b: Bench, per_h: float, size_V: float, tau_s: tuple[float, float]) -> Shape:
    """Give kicks of either sign that die away: what a servo answers to a step of its supply. Physics of a slow loop."""
    tau = between(b.rng, *tau_s)

    def volts(t: Floats) -> Floats:
        out = np.zeros(t.size)
        for at in arrivals(b.rng, float(t[-1]), per_h):
            age = t - at
            out = np.where(age >= 0, out + b.rng.choice([-1, 1]) * size_V * b.rng.uniform(0.5, 1) * np.exp(-np.maximum(age, 0) / tau), out)
        return np.clip(out, -1.3 * size_V, 1.3 * size_V)

    return volts


def held(t: Floats, at: Floats, levels: Floats) -> Floats:
    """Give a level that changes at these moments, and stays in between."""
    return np.asarray(np.concatenate([[0.0], levels])[np.searchsorted(at, t, side="right")])


def knocks(b: Bench, size_V: float) -> Shape:
    """A dirty trimmer under its wiper (physics: contact noise): each knock leaves it at another level, at random."""

    def volts(t: Floats) -> Floats:
        at = np.sort(b.rng.uniform(1500, t[-1] - 900, int(b.rng.integers(3, 8))))
        signs = np.where(np.arange(at.size) % 2, -1, 1)
        return held(t, at, size_V * signs * b.rng.uniform(0.5, 1, at.size))

    return volts


# ------------------------------------------------------------ sound


def servo_follows_mains(b: Bench) -> None:
    """Each load that switches on the street makes the mains step; a bias servo answers with 3 to 7 mV that die within seconds to a minute."""
    shape = kicks(b, b.rng.uniform(4, 20), b.rng.uniform(3e-3, 6e-3), (4, 60))
    all_sound(b, b.rng.uniform(4, 8), shape)


def supply_pumped(b: Bench) -> None:
    """A half bridge pumps its supply while bass plays (physics): all rests go by 2 to 6 mV for some minutes, left and right against each other."""
    size = b.rng.uniform(2e-3, 6e-3)
    t = b.instants(b.rng.uniform(4, 8))
    bass = telegraph(b.rng, t, 240, 700) * np.abs(1 + 0.3 * slow_noise(b.rng, t, 1.0)).clip(0.4, 1.3)
    v = {n: b.output(t, n) + size * bass * (-1) ** i for i, n in enumerate(b.names)}
    b.step("assess", [b.table(0, t, v)], sound=b.names)


def transmitter_keys(b: Bench) -> None:
    """A transmitter next door is rectified in the input stages (physics): all rests go by 2 to 7 mV while it is keyed, 5 s to 2 min."""

    def shape(t: Floats) -> Floats:
        at = arrivals(b.rng, float(t[-1]), 9.0)
        return swings(t, at, b.rng.uniform(5, 120, at.size), b.rng.uniform(2e-3, 7e-3))

    all_sound(b, b.rng.uniform(4, 7), shape)


def clips_warm(b: Bench) -> None:
    """A servo holds the rest within 0.8 mV; nickel against copper at warm clips (physics, some 20 uV/K) adds up to 1 mV, and a draught takes it away."""
    b.rest = {n: float(b.rng.uniform(-8e-4, 8e-4)) for n in b.names}
    size = b.rng.uniform(3e-4, 1e-3)

    def shape(t: Floats) -> Floats:
        draught = telegraph(b.rng, t, 400, 1500)
        return np.asarray(size * (1 - np.exp(-t / 1500)) * np.where(draught, 0.4, 1.0))

    all_sound(b, b.rng.uniform(4, 8), shape)


def capacitor_forms_little(b: Bench) -> None:
    """A coupling capacitor of rubbery dielectric forms again after a rest (physics: absorption): 4 to 9 mV that die within half an hour."""
    logs = []
    for d in np.cumsum(b.rng.choice([0.2, 1, 6, 30], 3)):
        size, tau = b.rng.uniform(4e-3, 9e-3) * b.rng.choice([-1, 1]), b.rng.uniform(300, 800)
        logs.append(b.evening(float(d), b.rng.uniform(2.5, 4), {"left": lambda t, s=size, x=tau: s * np.exp(-t / x)}))
    b.step("assess", logs, sound=b.names)


def trimmer_hardly_knocked(b: Bench) -> None:
    """A knock on the bench leaves a trimmer 1 to 4 mV elsewhere, three to seven times in a log: within what a sound unit does."""
    b.rest["left"] = float(b.rng.uniform(3e-3, 5e-3))
    b.step("assess", [b.evening(0, b.rng.uniform(4, 7), {"left": knocks(b, b.rng.uniform(2e-3, 4e-3))})], sound=b.names)


def popcorn_of_millivolts(b: Bench) -> None:
    """Popcorn noise of an input stage (physics: two states), 2 to 6 mV apart, dwells of half a second to five minutes."""
    size, dwell = b.rng.uniform(2e-3, 6e-3), between(b.rng, 0.5, 300)
    b.fact(dwell_s=dwell)
    b.step("assess", [b.evening(0, b.rng.uniform(4, 7), {"left": lambda t: size * telegraph(b.rng, t, dwell, 2 * dwell)})], sound=b.names)


def music_heats(b: Bench) -> None:
    """After each loud passage the output pair is warmer than its bias knows (physics): 2 to 7 mV that die within 2 to 10 minutes."""
    size, tau = b.rng.uniform(2e-3, 6e-3), b.rng.uniform(60, 300)

    def shape(t: Floats) -> Floats:
        loud = telegraph(b.rng, t, 200, 900).astype(float)
        a = float(np.exp(-(t[1] - t[0]) / tau))
        out = np.empty(t.size)
        x = 0.0
        for i, want in enumerate(loud.tolist()):
            x = want + a * (x - want)
            out[i] = x
        return size * out

    all_sound(b, b.rng.uniform(4, 7), shape)


def one_module_later(b: Bench) -> None:
    """A rack of one module per channel: one to three of four are switched on 20 to 100 minutes after the others. All are sound, hours long."""
    fresh_names(b, "zone 1", "zone 2", "zone 3", "zone 4")
    t = b.instants(b.rng.uniform(6, 8), max(b.step_s, 0.5))
    late = b.names[-int(b.rng.integers(1, 4)) :]
    on = {n: b.rng.uniform(1200, 6000) if n in late else 0.0 for n in b.names}
    b.fact(**{n.replace(" ", "_"): float(x) for n, x in on.items()})
    v = {n: powered(b, t, [(x, 1e9)])[n] if x else b.output(t, n) for n, x in on.items()}
    b.step("assess", [b.table(0, t, v)], sound=b.names)


def relay_chatters(b: Bench) -> None:
    """The relay's coil starves now and then: for 1 to 5 s the contact opens and closes, and the readings go between rest and nothing. No volts."""
    t = b.instants(b.rng.uniform(4, 7))
    v = {n: b.output(t, n) for n in b.names}
    gate = swings(t, at := arrivals(b.rng, float(t[-1]), 1.5), b.rng.uniform(1, 5, at.size), 1.0) > 0
    v = {n: np.where(gate & (b.rng.random(t.size) < 0.5), 3e-5 * b.rng.standard_normal(t.size), x) for n, x in v.items()}
    b.step("assess", [b.table(0, t, v)], never=[x for n in b.names for x in nothing_shown(n)], must=[f"{n} within*" for n in b.names])


def cold_workshop(b: Bench) -> None:
    """A night in an unheated workshop: 12 to 18 K less by the morning, logged beside; all rests go by 5 to 9 mV with it. Sound."""
    t = b.instants(b.rng.uniform(9, 14), max(b.step_s, 2.0))
    kelvin = -b.rng.uniform(12, 18) * (1 - np.cos(np.pi * np.clip(t / t[-1], 0, 1))) / 2 + 0.1 * slow_noise(b.rng, t, 1.0)
    size = b.rng.uniform(5e-3, 9e-3) / 15
    v = {n: b.output(t, n) + size * b.rng.uniform(0.7, 1.1) * kelvin for n in b.names}
    b.step("assess", [b.table(0, t, v, beside={"room_C": np.round(21 + kelvin, 1)})], sound=b.names, reading={"roles": {"room_C": "temperature"}})


def wakes_by_a_thump(b: Bench) -> None:
    """An oxidised relay contact: the left socket sees nothing for 20 to 90 minutes, until a bass note makes it meet; then live and sound, hours."""
    t = b.instants(b.rng.uniform(6.5, 9))
    at = b.rng.uniform(1200, 5400)
    v = {n: b.output(t, n) for n in b.names}
    thump = b.rng.uniform(0.01, 0.035) * np.exp(-np.maximum(t - at, 0) / 0.8)
    v["left"] = np.where(t < at, 2e-5 * b.rng.standard_normal(t.size), v["left"] + thump)
    b.step("assess", [b.table(0, t, v)], never=nothing_shown("left"), rather_not=("left level change yes", "left jumps yes"), sound=b.others)


# ------------------------------------------------------------ faulty, or not seen


def contact_too_late(b: Bench) -> None:
    """The same contact meets 15 to 40 minutes before the log ends, or not at all: nobody saw that output for hours."""
    t = b.instants(b.rng.uniform(4, 7))
    at = t[-1] - b.rng.uniform(900, 2400) if b.rng.random() < 0.6 else 1e9
    v = {n: b.output(t, n) for n in b.names}
    v["left"] = np.where(t < at, 2e-5 * b.rng.standard_normal(t.size), v["left"])
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left"), "left do not connect"], sound=b.others)


def pumped_until_it_trips(b: Bench) -> None:
    """The pumped supply trips its over-voltage cut-out: 60 to 250 mV for 1 to 4 s, then nothing for 3 s and a start, four to ten times."""
    t = b.instants(b.rng.uniform(4, 7), min(b.step_s, 1.0))
    v = {n: b.output(t, n) for n in b.names}
    for at in np.sort(b.rng.uniform(1500, t[-1] - 600, int(b.rng.integers(4, 11)))):
        up, end = (t >= at) & (t < at + b.rng.uniform(1.2, 4)), at + 4
        for n in b.names:
            v[n] = np.where((t >= end) & (t < end + 3), 2e-5, v[n])
        v["left"] = v["left"] + np.where(up, between(b.rng, 0.06, 0.25), 0.0)
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")], must=("left noisy",))


def transmitter_near(b: Bench) -> None:
    """The transmitter stands in the next room: all outputs go by 45 to 120 mV while it is keyed, six to twenty times an hour. Nothing grows."""
    per_h, size = b.rng.uniform(6, 20), between(b.rng, 0.045, 0.12)

    t = b.instants(b.rng.uniform(4, 7))
    at = arrivals(b.rng, float(t[-1]), float(per_h))
    keyed = swings(t, at, np.maximum(b.rng.uniform(5, 40, at.size), 1.2 * b.step_s), 1.0)
    v = {n: b.output(t, n) + keyed * size * b.rng.uniform(0.9, 1.5) * b.rng.choice([-1, 1]) for n in b.names}
    b.step("assess", [b.table(0, t, v)], never=[x for n in b.names for x in (*uncleared(n), *no_growth(n))], must=[f"{n} noisy" for n in b.names])


def capacitor_forms(b: Bench) -> None:
    """A leaky coupling capacitor: 80 to 250 mV at switch-on that form away within one to three hours, more after a longer rest. Nothing ages."""
    logs, days = [], np.cumsum(b.rng.permutation([0.3, 1, 2, 7, 30]))
    for d, rest in zip(days, np.diff(days, prepend=0.0), strict=True):
        size, tau = 0.08 + 0.05 * np.log1p(rest), b.rng.uniform(1800, 4000)
        logs.append(b.evening(float(d), b.rng.uniform(2, 4), {"left": lambda t, s=size, x=tau: s * np.exp(-t / x)}))
    b.step("assess", logs, never=[*uncleared("left"), *no_growth("left"), "left hidden *"], must=(MOVES,), sound=b.others)


def trimmer_knocked(b: Bench) -> None:
    """Each knock leaves the trimmer of the left channel 20 to 70 mV elsewhere; three to seven knocks. Nothing grows by itself."""
    one_faulty(b, b.rng.uniform(4, 8), knocks(b, b.rng.uniform(0.04, 0.07)), must=(MOVES,), never=no_growth("left")[:-1])


def servo_displaced(b: Bench) -> None:
    """A loud bass note displaces the servo's integrator (physics): 60 to 200 mV that die within 5 to 30 s, each 8 to 30 minutes."""
    one_faulty(b, b.rng.uniform(4, 7), kicks(b, b.rng.uniform(3, 8), between(b.rng, 0.1, 0.2), (5, 30)), must=("left noisy|left drifting",), never=no_growth("left"))


def standby_floats(b: Bench) -> None:
    """In standby the left output leaks to a rail behind megohms: 0.9 to 3 V on an open socket after hours of sound service."""
    at, size = b.rng.uniform(3.7, 5) * HOUR, between(b.rng, 0.9, 3)
    t = b.instants(at / HOUR + b.rng.uniform(0.6, 3))
    off = t > at
    v = {n: np.where(off, 2e-5 * b.rng.standard_normal(t.size), b.output(t, n)) for n in b.names}
    v["left"] += np.where(off, size * (1 - np.exp(-np.maximum(t - at, 0) / b.rng.uniform(1, 200))), 0.0)
    b.fact(at_s=float(at), size_V=size)
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left"), "left hidden *"], must=("left do not connect",))


def cells_run_down(b: Bench) -> None:
    """A battery-driven unit: in its last hour the half supply leaves the middle, and all outputs go to 70 to 400 mV by a bent line."""
    hours, end = b.rng.uniform(4, 7), between(b.rng, 0.07, 0.4)
    t = b.instants(hours)
    bend = np.clip((t - t[-1] + 4000) / 4000, 0, 1) ** 2
    v = {n: b.output(t, n) + end * b.rng.uniform(0.8, 1.2) * bend for n in b.names}
    b.step("assess", [b.table(0, t, v)], never=[x for n in b.names for x in (*uncleared(n), f"{n} hidden *", f"{n} drift no")])


def ripple_beats_large(b: Bench) -> None:
    """A dry capacitor: 25 to 45 mV of mains ripple on the left, read at whole seconds: beats of 2 to 40 minutes that look like drift (physics: aliasing)."""
    size, period = b.rng.uniform(0.025, 0.045), between(b.rng, 120, 2400)
    b.step_s = float(b.rng.choice([0.5, 1.0, 2.0]))
    b.fact(period_s=period)

    def shape(t: Floats) -> Floats:
        return np.asarray(size * np.sin(2 * np.pi * np.cumsum((1 + 0.2 * slow_noise(b.rng, t, 1.0)) / period * b.step_s)))

    one_faulty(b, b.rng.uniform(4, 8), shape, must=("left drifting|left noisy|left degrading",))


def lead_charges(b: Bench) -> None:
    """The left clip is off before the log begins: no start in it, and the cable wanders by 3 to 14 mV within many minutes, hardly any hum. The right starts."""
    fresh_names(b, "left", "right")
    t = b.instants(b.rng.uniform(4, 7))
    left = slow_noise(b.rng, t, b.rng.uniform(2e-3, 4e-3)) + 1e-4 * np.sin(2 * np.pi * 0.013 * t) + 5e-5 * b.rng.standard_normal(t.size)
    b.step("assess", [b.table(0, t, {"left": left, "right": b.output(t, "right")})], never=[*uncleared("left"), *no_growth("left")], rather_not=("left drifting", "left noisy"), sound=("right",))


def module_later_cold(b: Bench) -> None:
    """A rack again: its third module is switched on and off two or three times, and stands at 0.12 to 0.5 V in the first 6 to 15 minutes of each."""
    fresh_names(b, "zone 1", "zone 2", "zone 3", "zone 4")
    t = b.instants(b.rng.uniform(6, 8), max(b.step_s, 0.5))
    size, tau = between(b.rng, 0.12, 0.5), b.rng.uniform(400, 900)
    spans = [(1800.0 + 7200 * k, 1800.0 + 7200 * k + 5000) for k in range(int(b.rng.integers(2, 4)))]
    v = {n: b.output(t, n) for n in b.names}
    v["zone 3"] = powered(b, t, spans, {"zone 3": lambda age: size / (1 + np.exp((age - tau) / 40))})["zone 3"]
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("zone 3"), *no_growth("zone 3")], sound=[n for n in b.names if n != "zone 3"])


def joint_of_the_season(b: Bench) -> None:
    """A joint opens as the board cools after switch-off and is shut when warm (physics): swings in the first half-hour of cold starts, none of warm ones."""
    logs, day = [], 0.0
    for k in range(6):
        cold = k % 2 == 0
        day += 1.0 if cold else 0.15
        logs.append(b.evening(day, 2, {"left": crackle(b, lambda t: np.where(t < 1800, 30.0, 0.0), most=30.0)} if cold else None))
    b.step("assess", logs, never=[*uncleared("left"), *no_growth("left")], must=("left noisy",), sound=b.others)


KINDS = {f.__name__.replace("_", " "): varied(f) for f in (
    servo_follows_mains, supply_pumped, transmitter_keys, clips_warm, capacitor_forms_little, trimmer_hardly_knocked, popcorn_of_millivolts,
    music_heats, one_module_later, relay_chatters, cold_workshop, wakes_by_a_thump, contact_too_late, pumped_until_it_trips, transmitter_near,
    capacitor_forms, trimmer_knocked, servo_displaced, standby_floats, cells_run_down, ripple_beats_large, lead_charges, module_later_cold,
    joint_of_the_season,
)}  # fmt: skip
