"""Stories of units, the last set by one who has not read how the program decides, for `fresh_benches`. All data are invented.

Physics: leaks, servos, joints that open with heat, rails that fall, aliased hum. Sizes, rates and times are invented. 'Sound' is
as in `fresh_late_units`: rests within 10 mV, moves by less than 14 mV in all, no swing of 15 mV, long enough.
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
from fresh_late_units import evenings, late, stands
from fresh_parts import Floats, slow_noise, telegraph
from fresh_repairs import fresh_names, powered

MOVES = ("left drift yes|left level change yes|left drifting|left jumps yes|left noisy",)


def hurt(b: Bench, hours: float, left: Shape, *, must: tuple[str, ...] = (), step_s: float = 0.0) -> None:
    """Log one power-up with a fault on the left that neither grows nor changes for good; the others are sound."""
    one_faulty(b, hours, left, must=must, never=no_growth("left"), step_s=step_s)


def all_faulty(b: Bench, table: dict[str, object], must: tuple[str, ...] = ()) -> None:
    """Ask of a log none of whose channels may be cleared, and none of which grows."""
    b.step("assess", [table], never=[x for n in b.names for x in (*uncleared(n), *no_growth(n))], must=must)


def humps(t: Floats, at: Floats, width_s: Floats | float, size_V: Floats | float) -> Floats:
    """Give smooth humps about these moments (invented: bells)."""
    out = np.zeros(t.size)
    for a, w, s in zip(at, np.broadcast_to(width_s, at.shape), np.broadcast_to(size_V, at.shape), strict=True):
        out += s * np.exp(-(((t - a) / w) ** 2))
    return out


def spikes(b: Bench, per_h: float, low: float, high: float, tau_s: tuple[float, float] = (2, 6)) -> Shape:
    """Give what a servo leaves of a jump: a spike that dies with a time constant of seconds; it grows from low to high as the log goes on."""

    def volts(t: Floats) -> Floats:
        out = np.zeros(t.size)
        for a in arrivals(b.rng, float(t[-1]), per_h):
            size = low * (high / low) ** (a / t[-1]) * b.rng.lognormal(0, 0.2)
            out += np.where(t >= a, size * np.exp(-np.maximum(t - a, 0) / b.rng.uniform(*tau_s)), 0.0)
        return out

    return volts


# ------------------------------------------------------------ sound


def servo_of_twenty_minutes(b: Bench) -> None:
    """A slow servo takes 10 to 18 mV of the switching-on away with a time constant of 8 to 14 minutes. Sound."""
    size, tau = b.rng.uniform(0.01, 0.018), b.rng.uniform(480, 840)
    all_sound(b, b.rng.uniform(4.5, 8), lambda t: size * np.exp(-t / tau))


def warp_sound(b: Bench) -> None:
    """A warped record: 2 to 3 mV at 0.55 turns a second, at any rate of reading. Sound."""
    size = b.rng.uniform(2e-3, 3e-3)
    all_sound(b, b.rng.uniform(4, 7), lambda t: size * np.sin(2 * np.pi * 0.5556 * t + 1))


def class_d_hops(b: Bench) -> None:
    """The idling oscillator hops between two frequencies, and the rests by 2 to 4 mV, for minutes each. Sound."""
    size = b.rng.uniform(2e-3, 4e-3)
    all_sound(b, b.rng.uniform(4, 7), lambda t: size * telegraph(b.rng, t, 300, 400))


def bridge_common_moves(b: Bench) -> None:
    """A bridge on a supply that goes by a volt or two within hours: both sides move alike, their difference stays. Sound."""
    t = b.instants(b.rng.uniform(4, 7))
    live = b.rng.uniform(8, 14) + slow_noise(b.rng, t, 0.4) + b.rng.uniform(1, 2) * np.sin(2 * np.pi * t / 9000)
    table = b.table(0, t, {"plus": live + b.output(t, "left", warm=True), "minus": live + 1e-4 * b.rng.standard_normal(t.size)}, digit=1e-3)
    b.step("assess", [table], sound=("bridge",), reading={"differences": {"bridge": ("plus_V", "minus_V")}})


def night_tariff_sound(b: Bench) -> None:
    """Storage heaters load the mains from ten to six: the rests are 4 to 8 mV higher by night. A day and a half, sound."""
    b.step_s, size = max(b.step_s, 2.0), b.rng.uniform(4e-3, 8e-3)
    all_sound(b, b.rng.uniform(26, 40), lambda t: size / (1 + np.exp(-((t % 86400) - 13 * HOUR) / 120)) / (1 + np.exp(((t % 86400) - 21 * HOUR) / 120)))


def week_of_evenings(b: Bench) -> None:
    """Seven evenings of three hours, each with a rest of its own within 2 mV. Sound."""
    b.step_s, rest = max(b.step_s, 1.0), dict(b.rest)
    logs = []
    for k in range(7):
        b.rest = {n: x + b.rng.uniform(-2e-3, 2e-3) for n, x in rest.items()}
        logs.append(b.evening(k, 3))
    b.step("assess", logs, sound=b.names)


def warm_restarts(b: Bench) -> None:
    """Six power-ups of eighty minutes in one day, each a file, a quarter of an hour off between. Sound."""
    b.step_s = max(b.step_s, 0.5)
    stamps = [b.table(1.6 * k / 24, t, {n: b.output(t, n) for n in b.names}) for k in range(6) for t in (b.instants(4 / 3),)]
    b.step("assess", stamps, sound=b.names)


def source_switch_sound(b: Bench) -> None:
    """Three sources, and a rest of its own with each, 3 to 9 mV apart, changed every hour or so without a click. Sound."""
    levels = np.array([0.0, b.rng.uniform(3e-3, 5e-3), b.rng.uniform(5e-3, 9e-3)])
    at = np.sort(b.rng.uniform(0.2, 7, 5)) * HOUR
    all_sound(b, b.rng.uniform(5, 8), lambda t: levels[np.searchsorted(at, t) % 3])


# ------------------------------------------------------------ faults


def ramps_of_thirty(b: Bench) -> None:
    """A leaky servo capacitor: the rest climbs by 28 to 42 mV in 10 to 40 minutes, breaks through and begins anew. Never beyond 50 mV, and not cleared."""
    size, period = b.rng.uniform(0.028, 0.042), b.rng.uniform(600, 2400)
    b.rest["left"] = b.rng.uniform(-4e-3, 4e-3)
    hurt(b, b.rng.uniform(4, 7), lambda t: size * (t / period % 1), must=MOVES)


def antiphase_wander(b: Bench) -> None:
    """What they share moves the channels by 25 to 60 mV, one up, one down, within an hour or two. Neither may be cleared."""
    fresh_names(b, "left", "right")
    t, period = b.instants(b.rng.uniform(4, 8)), b.rng.uniform(3000, 8000)
    both = between(b.rng, 0.025, 0.06) * np.sin(2 * np.pi * t / period)
    all_faulty(b, b.table(0, t, {n: b.output(t, n) + s * both for n, s in (("left", 1), ("right", -1))}), must=MOVES)


def antiphase_swings(b: Bench) -> None:
    """Both channels swing at the same moments by 0.15 to 0.4 V, one up, one down, eight an hour. Neither may be cleared."""
    fresh_names(b, "left", "right")
    t = b.instants(b.rng.uniform(4, 7))
    both = crackle(b, 8.0, size=between(b.rng, 0.15, 0.4))(t)
    all_faulty(b, b.table(0, t, {"left": b.output(t, "left") + both, "right": b.output(t, "right") - both}), must=("left noisy", "right noisy"))


def runaway_once(b: Bench) -> None:
    """After one to three hours the left output runs away, doubling every 2 to 6 minutes, to 0.3 to 0.7 V; a cutout ends it, and the unit stays off to the end. Not cleared."""
    at, tau, size = b.rng.uniform(1.5, 3) * HOUR, b.rng.uniform(2, 6) * 60 / np.log(2), b.rng.uniform(0.3, 0.7)
    t = b.instants(at / HOUR + b.rng.uniform(0.5, 3))
    v = powered(b, t, [(0.0, at)], {"left": lambda x: size * np.exp((x - at) / tau)})
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), "left worse with age yes", "left larger with age yes"])


def regulator_bursts(b: Bench) -> None:
    """A regulator motorboats in bursts of 5 to 40 s, one in 4 to 10 minutes: readings anywhere within 40 to 120 mV. Not cleared."""
    size, b.step_s = between(b.rng, 0.04, 0.12), min(b.step_s, 5.0)

    def left(t: Floats) -> Floats:
        at = arrivals(b.rng, float(t[-1]), 9.0)
        return swings(t, at, np.maximum(b.rng.uniform(5, 40, at.size), 2.1 * b.step_s), 1.0) * size * np.sin(2 * np.pi * b.rng.uniform(0, 1, t.size))

    hurt(b, b.rng.uniform(4, 7), left, must=("left noisy",))


def mute_hides_level(b: Bench) -> None:
    """A relay mutes at idle, all but one to two minutes in ten; when it closes the left output shows 70 to 150 mV. Not cleared."""
    size = b.rng.uniform(0.07, 0.15)
    _muted(b, size)


def mute_hides_nothing(b: Bench) -> None:
    """The same relay before sound outputs: hardly an hour of volts is seen. Nothing shown; not cleared by rule."""
    _muted(b, 0.0)


def _muted(b: Bench, size: float) -> None:
    b.step_s = min(b.step_s, 5.0)
    t = b.instants(b.rng.uniform(4, 7))
    open_ = (t % 600 < b.rng.uniform(60, 120)) & (t > 1200)
    v = {n: np.where(open_, b.output(t, n), 2e-5 * b.rng.standard_normal(t.size)) for n in b.names}
    v["left"] = v["left"] + size * open_
    if size:
        b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")])
    else:
        b.step("assess", [b.table(0, t, v)], never=[x for n in b.names for x in nothing_shown(n)],
               rather_not=[f"{n} hours over {0.35 * t[-1] / HOUR:.3f}" for n in b.names])  # fmt: skip


def shock_shifts(b: Bench) -> None:
    """A lorry shakes the house after two hours; from there on the rest is 26 to 40 mV away. Not cleared, and it must be told."""
    at, size = b.rng.uniform(1.5, 3) * HOUR, b.rng.choice([-1, 1]) * b.rng.uniform(0.026, 0.04)
    one_faulty(b, b.rng.uniform(5, 8), stands(at, 1e9, size), must=("left drift yes|left level change yes",))


def warp_large(b: Bench) -> None:
    """A warped record through a stage without a filter: 25 to 60 mV at 0.55 turns a second. Not cleared."""
    size = between(b.rng, 0.025, 0.06)
    hurt(b, b.rng.uniform(4, 7), lambda t: size * np.sin(2 * np.pi * 0.5556 * t + 1), must=("left noisy",))


def servo_too_slow(b: Bench) -> None:
    """A servo with a wrong part: 90 to 180 mV die with a time constant of 40 to 80 minutes. Beyond 50 mV for half an hour: not cleared."""
    size, tau = b.rng.uniform(0.09, 0.18), b.rng.uniform(2400, 4800)
    hurt(b, b.rng.uniform(5, 9), lambda t: size * np.exp(-t / tau))


def one_start_in_twenty(b: Bench) -> None:
    """Twenty starts of eighty minutes; in one of them the left output shows 0.2 to 0.6 V for 15 to 30 s in the second minute. Not cleared; nothing grows."""
    b.step_s, which, at = float(np.clip(b.step_s, 1, 5)), int(b.rng.integers(0, 20)), b.rng.uniform(60, 85)
    bad = stands(at, at + b.rng.uniform(15, 30), between(b.rng, 0.2, 0.6))
    logs = evenings(b, 20, 4 / 3, [bad if k == which else None for k in range(20)])
    b.step("assess", logs, never=[*uncleared("left"), *no_growth("left")], sound=b.others)


def one_bad_evening(b: Bench) -> None:
    """Twelve evenings of two hours, and in one of them, not the last, eight swings an hour. Not cleared; nothing grows."""
    b.step_s, which = max(b.step_s, 1.0), int(b.rng.integers(1, 10))
    logs = evenings(b, 12, 2, [crackle(b, 8.0) if k == which else None for k in range(12)])
    b.step("assess", logs, never=[*uncleared("left"), *no_growth("left")], sound=b.others)


def minute_after_relay(b: Bench) -> None:
    """Six starts; 30 to 70 s after each the left output bulges by 0.15 to 0.5 V for 8 to 25 s. Not cleared."""
    b.step_s, size = min(b.step_s, 2.0), between(b.rng, 0.15, 0.5)

    def left(t: Floats) -> Floats:
        return humps(t, np.array([b.rng.uniform(40, 70)]), b.rng.uniform(5, 13), size)

    b.step("assess", evenings(b, 6, 1.5, [left] * 6), never=[*uncleared("left"), *no_growth("left")], sound=b.others)


def creeps_five_a_day(b: Bench) -> None:
    """A week, all the time on: the rest creeps by 5 to 7 mV a day. Not cleared, and it must be told."""
    b.step_s, pace = max(b.step_s, 10.0), b.rng.choice([-1, 1]) * b.rng.uniform(5e-3, 7e-3)
    one_faulty(b, 168, lambda t: pace * t / 86400, must=("left drift yes|left drifting|left degrading",))


def single_readings(b: Bench) -> None:
    """Single readings of 0.1 to 0.7 V in the left channel, one or two an hour. Not cleared."""
    b.fact(size_V=(size := between(b.rng, 0.1, 0.7)))
    hurt(b, b.rng.uniform(5, 8), lambda t: swings(t, arrivals(b.rng, float(t[-1]), 1.5) if b.rng.random() < 0.7 else b.rng.uniform(2000, t[-1], 4), float(t[1]) * 0.99, size))


def one_hour_off(b: Bench) -> None:
    """For one hour of ten the rest is 26 to 42 mV elsewhere, and back. Not cleared."""
    at, size = b.rng.uniform(1.5, 7) * HOUR, b.rng.choice([-1, 1]) * b.rng.uniform(0.026, 0.042)
    hurt(b, b.rng.uniform(9.5, 12), stands(at, at + HOUR, size))


def joint_by_heat(b: Bench) -> None:
    """A cracked joint opens above one temperature and closes below another, and the heat sink goes up and down within half an hour: 30 to 140 mV as long as it is open (physics: hysteresis). Not cleared."""
    size, period = between(b.rng, 0.03, 0.14), b.rng.uniform(1200, 2700)

    def left(t: Floats) -> Floats:
        return size * ((t / period + 0.05 * slow_noise(b.rng, t, 1.0)) % 1 > 0.55) * (t > 1500)

    hurt(b, b.rng.uniform(5, 8), left, must=MOVES)


def bridge_creeps(b: Bench) -> None:
    """Bridged sides at half the supply; within hours one creeps by 70 to 400 mV. The difference is not cleared."""
    t, size = b.instants(b.rng.uniform(5, 7)), between(b.rng, 0.07, 0.4)
    live = b.rng.uniform(6, 14) + slow_noise(b.rng, t, 0.05)
    table = b.table(0, t, {"plus": live + b.output(t, "left", warm=True) + size * t / t[-1], "minus": live + 1e-4 * b.rng.standard_normal(t.size)}, digit=1e-3)
    b.step("assess", [table], never=uncleared("bridge"), must=("bridge drift yes|bridge drifting|bridge degrading",), reading={"differences": {"bridge": ("plus_V", "minus_V")}})


def relay_divides(b: Bench) -> None:
    """A burnt relay contact before a dummy load: of the 80 to 130 mV of the output a tenth to all gets through, as it likes. Not cleared."""
    size, x = b.rng.uniform(0.08, 0.13), 0.35
    b.rest["left"] = 0.0
    hurt(b, b.rng.uniform(4, 7), lambda t: size * np.clip(0.55 + x * slow_noise(b.rng, t, 1.0) + 0.3 * telegraph(b.rng, t, 200, 200), 0.1, 1))


def night_tariff_fault(b: Bench) -> None:
    """By night the left rest is 26 to 42 mV higher, in this channel alone. Not cleared, and the movement must be told."""
    b.step_s, size = max(b.step_s, 2.0), b.rng.uniform(0.026, 0.042)
    hurt(b, b.rng.uniform(26, 46), lambda t: size * ((t % 86400 > 13 * HOUR) & (t % 86400 < 21 * HOUR)), must=MOVES)


def heals_with_heat(b: Bench) -> None:
    """The left output stands at 60 to 180 mV for 40 to 70 minutes, snaps to its rest, and stays for seven hours. Not cleared."""
    until, size = b.rng.uniform(40, 70) * 60, between(b.rng, 0.06, 0.18)
    hurt(b, b.rng.uniform(7, 9), stands(-1, until, size))


def one_evening_high(b: Bench) -> None:
    """The first of six evenings rests at 80 to 200 mV, all others are sound; nothing was done. Not cleared."""
    b.step_s, size = max(b.step_s, 0.5), between(b.rng, 0.08, 0.2)
    b.step("assess", evenings(b, 6, 2.5, [stands(-1, 1e9, size), *[None] * 5]), never=[*uncleared("left"), *no_growth("left")[:-1]], sound=b.others)


def servo_spikes_grow(b: Bench) -> None:
    """A servo hides a growing fault: spikes that die within seconds, fifteen an hour, from 60 to 500 mV within eight hours. Growth must be told."""
    b.step_s = min(b.step_s, 1.0)
    one_faulty(b, 8, spikes(b, 15.0, 0.06, 0.5), must=("left larger yes|left degrading|left since *",))


def servo_spikes_stay(b: Bench) -> None:
    """The same spikes, of one size, 0.2 V. Nothing grows."""
    b.step_s = min(b.step_s, 1.0)
    hurt(b, b.rng.uniform(4, 7), spikes(b, 12.0, 0.2, 0.2), must=("left noisy",))


def alternating_swings(b: Bench) -> None:
    """Swings up and down by turns, eight an hour: their mean is nothing. Not cleared, nothing grows."""

    def left(t: Floats) -> Floats:
        at = arrivals(b.rng, float(t[-1]), 8.0)
        return swings(t, at, np.maximum(b.rng.uniform(3, 30, at.size), 1.1 * float(t[1])), between(b.rng, 0.06, 0.3) * (-1.0) ** np.arange(at.size))

    hurt(b, b.rng.uniform(4, 7), left, must=("left noisy",))


def slow_humps(b: Bench) -> None:
    """Smooth humps of 55 to 90 mV, three to eight minutes wide, about one an hour. Not cleared."""
    hurt(b, b.rng.uniform(6, 9), lambda t: humps(t, at := arrivals(b.rng, float(t[-1]) - 900, 1.2) + 450, b.rng.uniform(90, 240, at.size), b.rng.uniform(0.055, 0.09)) + humps(t, np.array([5000.0]), 150, 0.06))


def triangle_of_26(b: Bench) -> None:
    """The rest goes up and down by 25 to 34 mV along straight lines, two to four hours a turn. Not cleared."""
    size, period = b.rng.uniform(0.025, 0.034), b.rng.uniform(2, 4) * HOUR
    b.rest["left"] = b.rng.uniform(-3e-3, 3e-3)
    hurt(b, b.rng.uniform(8, 12), lambda t: size * (np.abs((t / period % 1) * 2 - 1) - 0.5))


def staircase(b: Bench) -> None:
    """Each hour the rest is 5 to 8 mV higher, by a step: a part that cracks. Eight hours; not cleared, and the movement must be told."""
    size = b.rng.uniform(5e-3, 8e-3)
    one_faulty(b, 8, lambda t: size * np.floor(t / HOUR), must=("left drift yes|left drifting|left degrading",))


def hisses_when_warm(b: Bench) -> None:
    """After two hours the left output oscillates, and the meter shows 5 to 9 mV of noise. Not cleared."""
    at, size = b.rng.uniform(1.5, 2.5) * HOUR, b.rng.uniform(5e-3, 9e-3)
    one_faulty(b, b.rng.uniform(5, 7), lambda t: size * b.rng.standard_normal(t.size) * (t > at), must=("left noisy|left noise yes",))


def footsteps(b: Bench) -> None:
    """A microphonic valve: footsteps ring for 2 to 5 s with 40 to 90 mV, five to ten an hour, on the left alone. Not cleared."""
    b.step_s, size = min(b.step_s, 1.0), between(b.rng, 0.04, 0.09)

    def left(t: Floats) -> Floats:
        out = np.zeros(t.size)
        for a in arrivals(b.rng, float(t[-1]), 8.0):
            age = np.maximum(t - a, 0)
            out += np.where(t >= a, size * np.exp(-age / 2.5) * np.cos(2 * np.pi * 3.1 * age), 0.0)
        return out

    hurt(b, b.rng.uniform(4, 7), left)


def all_creep(b: Bench) -> None:
    """The reference that all outputs share leaks: all creep by 26 to 45 mV within five hours. No channel is cleared."""
    t = b.instants(b.rng.uniform(5, 7))
    line = b.rng.choice([-1, 1]) * b.rng.uniform(0.026, 0.045) * t / t[-1]
    b.step("assess", [b.table(0, t, {n: b.output(t, n) + line for n in b.names})], never=[x for n in b.names for x in uncleared(n)])


def dips_under_load(b: Bench) -> None:
    """A weak rail: at each bass note the output dips by 0.1 to 0.4 V for a reading, in storms of a tune, three minutes each, three tunes an hour. Not cleared."""
    b.step_s, size = min(b.step_s, 2.0), between(b.rng, 0.1, 0.4)

    def left(t: Floats) -> Floats:
        tune = swings(t, arrivals(b.rng, float(t[-1]), 3.0), 180.0, 1.0)
        return -size * tune * (b.rng.random(t.size) < 0.1)

    hurt(b, b.rng.uniform(4, 7), left, must=("left noisy",))


KINDS = {f.__name__.replace("_", " "): late(f) for f in (
    servo_of_twenty_minutes, warp_sound, class_d_hops, bridge_common_moves, night_tariff_sound, week_of_evenings, warm_restarts,
    source_switch_sound, ramps_of_thirty, antiphase_wander, antiphase_swings, runaway_once, regulator_bursts,
    mute_hides_level, mute_hides_nothing, shock_shifts, warp_large, servo_too_slow,
    one_start_in_twenty, one_bad_evening, minute_after_relay, creeps_five_a_day, single_readings, one_hour_off,
    joint_by_heat, bridge_creeps, relay_divides, night_tariff_fault, heals_with_heat, one_evening_high, servo_spikes_grow,
    servo_spikes_stay, alternating_swings, slow_humps, triangle_of_26, staircase, hisses_when_warm, footsteps, all_creep, dips_under_load,
)}  # fmt: skip
