"""Stories of amplifiers in a repairer's hands, for `fresh_benches`. All data are invented, by one who has not read how it decides.

Physics: one leg of a bridge stands at half the supply; a servo hides a fault until its own output ends; a bias transistor
off its heat sink makes a slow oscillation; a coupling capacitor leaks into the bleeder; an oxidised relay contact and the
dummy load divide the offset; cut-outs, timers and the mains switch the unit when nobody looks. Sound outputs of each sort
rest within 10 mV, move by less than 20 mV from minute 20 on, and never swing by 15 mV.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

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
from fresh_parts import Floats, room, slow_noise, telegraph

SEEN = "left settled offset yes|left intermittent yes|left drift yes|left level change yes|left jumps yes"


def powered(b: Bench, t: Floats, spans: Sequence[tuple[float, float]], faults: Mapping[str, Shape] | None = None) -> dict[str, Floats]:
    """Give the channels of a unit that is on in the spans only: the meter's zero else, a tail of seconds as it goes off."""
    volts = {}
    for n in b.names:
        v = b.rng.normal(0, 4e-5) + 2e-5 * b.rng.standard_normal(t.size)
        for on, off in spans:
            i, j = np.searchsorted(t, (on, off))
            age = t[i:j] - on
            v[i:j] = b.output(age, n)
            if faults and n in faults:
                v[i:j] += faults[n](age)
            k = int(np.searchsorted(t, off + 60))
            v[j:k] += b.rest[n] * np.exp(-(t[j:k] - off) / b.rng.uniform(2, 12))
        volts[n] = v
    return volts


def fresh_names(b: Bench, *names: str) -> None:
    """Give the unit these channels, and draw anew what stays."""
    b.names = names
    b.__post_init__()


# ------------------------------------------------------------ bridges, and two units on one logger


def one_leg(b: Bench) -> None:
    """A bridged stereo amplifier, one leg of each side to chassis: it stands at half the supply, 6 to 16 V. No loudspeaker there."""
    fresh_names(b, "left", "right")
    t, half, tau = b.instants(b.rng.uniform(4, 6)), b.rng.uniform(6, 16), b.rng.uniform(0.3, 2)
    common = (half + slow_noise(b.rng, t, 0.02)) * (1 - np.exp(-t / tau))
    v = {n: common + b.output(t, n) for n in b.names}
    b.step("assess", [b.table(0, t, v, digit=1e-3)], never=[x for n in b.names for x in uncleared(n)], must=[f"{n} do not connect" for n in b.names])


def bridge_rises(b: Bench) -> None:
    """Both legs rise to half the supply within seconds, one a hundredth to a fortieth slower: a bump of their difference. Sound."""
    t, half, tau = b.instants(b.rng.uniform(4, 6)), b.rng.uniform(6, 12), b.rng.uniform(0.5, 1.2)
    live = half + slow_noise(b.rng, t, 0.02)
    minus = live * (1 - np.exp(-t / tau)) + 1e-4 * b.rng.standard_normal(t.size)
    plus = live * (1 - np.exp(-t / (tau * b.rng.uniform(1.01, 1.025)))) + b.output(t, "left", warm=True)
    table = b.table(0, t, {"plus": plus, "minus": minus}, digit=1e-3)
    b.step("assess", [table], sound=("bridge",), reading={"differences": {"bridge": ("plus_V", "minus_V")}})


def _two_units(b: Bench, fault: Shape | None) -> None:
    fresh_names(b, "A left", "A right", "B left", "B right")
    t = b.instants(b.rng.uniform(6.5, 8), max(b.step_s, 1.0))
    v = {n: b.output(t, n) for n in b.names}
    on, z = b.rng.uniform(0.7, 1.8) * HOUR, 5e-5 * b.rng.standard_normal(4)
    i = int(np.searchsorted(t, on))
    for k, n in enumerate(b.names[2:]):
        v[n] = np.concatenate([z[k] + 2e-5 * b.rng.standard_normal(i), b.output(t[i:] - t[i], n)])
    if fault:
        v["B left"][i:] += fault(t[i:] - t[i])
    b.fact(on_s=float(on))
    bad = ("B left",) if fault else ()
    b.step("assess", [b.table(0, t, v)], never=[x for n in bad for x in (*uncleared(n), *no_growth(n))],
           must=[f"{n} noisy" for n in bad], sound=[n for n in b.names if n not in bad])  # fmt: skip


def two_units(b: Bench) -> None:
    """Two stereo units on one logger; the second is switched on an hour or so after the first. All four outputs are sound."""
    _two_units(b, None)


def two_units_fault(b: Bench) -> None:
    """The same, and one output of the second unit swings, eight times an hour."""
    _two_units(b, crackle(b, 8.0))


# ------------------------------------------------------------ faults


def servo_runs_out(b: Bench) -> None:
    """A servo hides a failing input stage for three to five hours; then its own output ends, and 60 to 400 mV come within the hour."""
    at, size, tau = b.rng.uniform(3, 5) * HOUR, between(b.rng, 0.06, 0.4), b.rng.uniform(900, 2500)
    b.fact(size_V=size)
    one_faulty(b, at / HOUR + b.rng.uniform(2.5, 3.5), lambda t: size * (1 - np.exp(-np.maximum(t - at, 0) / tau)), must=("left settled offset yes|left drift yes|left level change yes",))


def bias_off_heatsink(b: Bench) -> None:
    """The bias transistor hangs beside its heat sink: a slow oscillation of 40 to 90 mV, 8 to 30 minutes long, once it is warm."""
    size, period = between(b.rng, 0.04, 0.09), b.rng.uniform(480, 1800)
    b.fact(size_V=size, period_s=period)
    one_faulty(b, b.rng.uniform(4, 7), lambda t: size * (1 - np.exp(-t / 2400)) * np.sin(2 * np.pi * t / period), must=("left noisy|left drifting|left degrading",))


def leaky_coupling(b: Bench) -> None:
    """Single supply, output capacitor: a thump of 3 to 9 V for some seconds, and a leak of 80 to 300 mV that forms to half of it."""
    size, thump = between(b.rng, 0.08, 0.3), b.rng.uniform(3, 9)
    one_faulty(b, b.rng.uniform(4, 7), lambda t: thump * np.exp(-t / 1.2) + size * (0.6 + 0.4 * np.exp(-t / 5000)), must=("left settled offset yes|left drift yes",))


def load_oscillates(b: Bench) -> None:
    """The dummy load is clipped on in mid-log; the stage oscillates with it, and stands at 80 to 250 mV from there on."""
    at, size = b.rng.uniform(1.5, 3) * HOUR, between(b.rng, 0.08, 0.25)
    one_faulty(b, b.rng.uniform(5, 7), lambda t: np.where(t > at, size + 4e-3 * b.rng.standard_normal(t.size), 0.0), must=("left settled offset yes|left drift yes|left level change yes",))


def oxidised_contact(b: Bench) -> None:
    """The lead behind an oxidised relay contact: the load takes 85 to 98 % of an offset of 90 to 200 mV most of the time."""
    size, share = between(b.rng, 0.09, 0.2), between(b.rng, 0.02, 0.15)
    b.fact(size_V=size, share=share)
    t = b.instants(b.rng.uniform(4, 7))
    good = telegraph(b.rng, t, 300, 2200)
    good[: t.size // 20] = True
    v = {n: b.output(t, n) for n in b.names}
    v["left"] = (v["left"] + size) * np.where(good, 0.95, share) + 1e-4 * b.rng.standard_normal(t.size)
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), "left hidden *"], must=(SEEN,), sound=b.others)


def cutout_cycles(b: Bench) -> None:
    """A thermal cut-out: on for 20 to 40 minutes, off for 10 to 20, all day; the left offset climbs to 0.1 to 0.3 V before each."""
    b.step_s = 2.0
    t, on, off, size = b.instants(b.rng.uniform(7, 10)), b.rng.uniform(1300, 2400), b.rng.uniform(600, 1200), between(b.rng, 0.1, 0.3)
    spans = [(x, x + on) for x in np.arange(0, t[-1], on + off)]
    v = powered(b, t, spans, {"left": lambda age: size * (age / on) ** 2})
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left"), *(x for n in b.others for x in nothing_shown(n))], must=(SEEN,))


def cutout_sound(b: Bench) -> None:
    """The same cut-out, and nothing on the outputs: nothing is shown of them."""
    b.step_s = 2.0
    t, on, off = b.instants(b.rng.uniform(7, 10)), b.rng.uniform(1300, 2400), b.rng.uniform(600, 1200)
    v = powered(b, t, [(x, x + on) for x in np.arange(0, t[-1], on + off)])
    b.step("assess", [b.table(0, t, v)], never=[x for n in b.names for x in nothing_shown(n)])


def auto_off_twenty(b: Bench) -> None:
    """Auto-off twenty minutes after each waking, eight to fourteen wakings a day: no live minute past the twentieth was seen."""
    b.step_s = 5.0
    t, n_on = b.instants(b.rng.uniform(20, 26)), int(b.rng.integers(8, 15))
    starts = np.linspace(0, t[-1] - 4000, n_on) + b.rng.uniform(0, 1500, n_on)
    v = powered(b, t, [(x, x + 1195) for x in starts])
    b.step("assess", [b.table(0, t, v)], never=[x for n in b.names for x in (*nothing_shown(n), *uncleared(n))])


def _plug(b: Bench) -> tuple[Floats, list[tuple[float, float]]]:
    b.step_s = float(b.rng.choice([10.0, 20.0]))
    days = int(b.rng.integers(3, 6))
    t = b.instants(24.0 * days)
    starts = 86400.0 * np.arange(days) + b.rng.uniform(1, 14, days) * HOUR
    return t, [(float(x), float(x + b.rng.uniform(4.2, 8) * HOUR)) for x in starts]


def smart_plug(b: Bench) -> None:
    """A plug switches a sound unit on once a day at random, for four to eight hours; three to five days at 10 or 20 s a reading."""
    t, spans = _plug(b)
    b.step("assess", [b.table(0, t, powered(b, t, spans))], sound=b.names)


def smart_plug_cold(b: Bench) -> None:
    """The same plug, and an offset of 0.1 to 0.4 V in the first 6 to 15 minutes of each day."""
    t, spans = _plug(b)
    size, until = between(b.rng, 0.1, 0.4), b.rng.uniform(360, 900)
    v = powered(b, t, spans, {"left": lambda age: size / (1 + np.exp((age - until) / (0.1 * until)))})
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")], rather_not=("left inconclusive",), sound=b.others)


def _blinks(b: Bench, t: Floats, at: Sequence[float]) -> dict[str, Floats]:
    """Let the mains blink: the relays open for four seconds, then a thump of up to 50 mV."""
    v = {n: b.output(t, n) for n in b.names}
    for x in at:
        i, j = np.searchsorted(t, (x, x + 4.5))
        for n in b.names:
            v[n][i:j] = 3e-5 * b.rng.standard_normal(j - i)
            v[n][j:] += b.rng.uniform(-0.05, 0.05) * np.exp(-(t[j:] - x - 4.5) / 0.8)
    return v


def mains_blinks(b: Bench) -> None:
    """The mains blink two or three times in the first hours: relays open for four seconds and close. Sound, four hours and more after."""
    t = b.instants(b.rng.uniform(8, 9))
    b.step("assess", [b.table(0, t, _blinks(b, t, b.rng.uniform(600, 3.5 * HOUR, int(b.rng.integers(2, 4))).tolist()))], sound=b.names)


def brownout_latches(b: Bench) -> None:
    """After one blink of three the left output hangs on a rail of 15 to 40 V for 3 to 40 s, behind no relay."""
    t, at = b.instants(b.rng.uniform(8, 9)), [3000.0, 9000.0, 14_000.0]
    v, rail = _blinks(b, t, at), b.rng.uniform(15, 40) * b.rng.choice([-1, 1])
    v["left"] += swings(t, np.asarray([at[int(b.rng.integers(0, 3))] + 4.5]), b.rng.uniform(3, 40), rail)
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left"), "left hidden *"], must=("left do not connect",), sound=b.others)


def rail_fuse_fails(b: Bench) -> None:
    """The fuse of one rail fails by and by: pulses of 0.1 to 0.5 V, more and more; then it stands at 18 to 38 V to the end."""
    hours, rail = b.rng.uniform(4, 7), b.rng.uniform(18, 38) * b.rng.choice([-1, 1])
    end = hours * HOUR - b.rng.uniform(300, 3600)
    pulses = crackle(b, lambda t: 3 * 10 ** (t / end) * (t < end), most=30.0, size=0.25)
    one_faulty(b, hours, lambda t: np.where(t > end, rail, pulses(t)), must=("left do not connect",), never=("left since less often", "left one-off"))


def protect_retries(b: Bench) -> None:
    """The lead behind the relay: 1.5 to 5 V for one or two readings, open for ten seconds, tried three times; then open for good."""
    b.step_s = float(b.rng.choice([0.5, 1.0]))
    t, at = b.instants(b.rng.uniform(4, 6)), b.rng.uniform(1.5, 3) * HOUR
    v, size = {n: b.output(t, n) for n in b.names}, between(b.rng, 1.5, 5) * b.rng.choice([-1, 1])
    v["left"] = np.where(t < at, v["left"], 3e-5 * b.rng.standard_normal(t.size))
    v["left"] += swings(t, at + np.asarray([0.0, 11.0, 22.0, 33.0]), 1.6 * b.step_s, size)
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")], must=("left do not connect",), sound=b.others)


def rises_each_time(b: Bench) -> None:
    """Each of five or six power-ups rests 11 to 14 mV higher than the one before; within one nothing moves."""
    logs = []
    for d in range(int(b.rng.integers(5, 7))):
        b.rest["left"] = 5e-3 + d * b.rng.uniform(0.011, 0.014)
        logs.append(b.evening(d, 1.5))
    b.step("assess", logs, never=uncleared("left"), must=("left drifting|left degrading",), sound=b.others)


AGE = ("left worse with age yes", "left larger with age yes", "left larger yes", "left since *")


def doubles_then_rests(b: Bench) -> None:
    """Each evening the rate doubles each hour, from three; overnight the unit rests, and the next evening is like the last."""
    logs = [b.evening(d, 3, {"left": crackle(b, lambda t: 3 * 2 ** (t / HOUR), most=24.0)}) for d in range(4)]
    b.step("assess", logs, never=[*uncleared("left"), *AGE[:3]], rather_not=("left since *",), must=("left noisy|left degrading",), sound=b.others)


def after_three_hours(b: Bench) -> None:
    """Four evenings of four hours and a half: nothing for three hours, then fifteen swings an hour. No evening is worse than another."""
    logs = [b.evening(d, 4.5, {"left": crackle(b, lambda t: np.where(t > 3 * HOUR, 15.0, 0.0), most=15.0)}) for d in range(4)]
    b.step("assess", logs, never=[*uncleared("left"), *AGE[:3]], rather_not=("left since *",), must=("left noisy|left degrading",), sound=b.others)


def first_ten_minutes(b: Bench) -> None:
    """Six power-ups; a swing a minute in the first ten minutes of each, none later. Nothing ages."""
    logs = [b.evening(d, 1.5, {"left": crackle(b, lambda t: np.where(t < 600, 60.0, 0.0), most=60.0)}) for d in range(6)]
    b.step("assess", logs, never=[*uncleared("left"), *no_growth("left")], must=("left noisy",), sound=b.others)


def once_a_day(b: Bench) -> None:
    """Once a day, when the night tariff begins, the left output goes to 0.1 to 0.3 V for a minute; five to eight days."""
    b.step_s, size = 20.0, between(b.rng, 0.1, 0.3)
    days = int(b.rng.integers(5, 9))
    at = 86400 * np.arange(days) + 13 * HOUR + b.rng.uniform(-90, 90, days)
    one_faulty(b, 24.0 * days, lambda t: swings(t, at, b.rng.uniform(41, 90, days), size), must=("left noisy|left one-off",), never=no_growth("left"))


def record_sides(b: Bench) -> None:
    """A warped record on the turntable: 50 to 90 mV below 1 Hz in all channels for twenty minutes a side, three to five sides."""
    t, size = b.instants(b.rng.uniform(4, 6)), between(b.rng, 0.05, 0.09)
    side = swings(t, np.linspace(2000, t[-1] - 2500, int(b.rng.integers(3, 6))), 1200.0, 1.0)
    rumble = size * side * np.sin(2 * np.pi * np.cumsum(0.11 + 0.02 * slow_noise(b.rng, t, 1.0)) * b.step_s)
    v = {n: b.output(t, n) + b.rng.uniform(0.8, 1.1) * rumble for n in b.names}
    b.step("assess", [b.table(0, t, v)], never=[x for n in b.names for x in (*uncleared(n), *no_growth(n))])


def follows_the_room(b: Bench) -> None:
    """The left rest goes 30 to 45 mV with a room that warms by eight kelvin and cools; the temperature is logged beside."""
    t = b.instants(b.rng.uniform(8, 12), 5.0)
    warm = 4 + 4 * np.sin(2 * np.pi * t / b.rng.uniform(12_000, 25_000)) + 0.1 * room(b.rng, t)
    v = {n: b.output(t, n) for n in b.names}
    v["left"] += warm * between(b.rng, 0.03, 0.045) / 8
    b.step("assess", [b.table(0, t, v, beside={"room_C": np.round(19 + warm, 2)})], never=[*uncleared("left"), *no_growth("left"), "left hidden *"],
           sound=b.others, reading={"roles": {"room_C": "temperature"}})  # fmt: skip


# ------------------------------------------------------------ sound ones of each sort


def class_a(b: Bench) -> None:
    """Class A warms for an hour: the rest comes down by 10 to 14 mV with a time constant of 15 to 22 minutes."""
    size, tau = b.rng.uniform(0.01, 0.014), b.rng.uniform(900, 1300)
    all_sound(b, b.rng.uniform(4, 7), lambda t: size * np.exp(-t / tau))


def guitar_transformer(b: Bench) -> None:
    """A guitar amplifier's transformer: no direct volts, 1.8 to 2.8 mV of folded hum from the tubes' warming at 15 s on, a thump there."""
    t = b.instants(b.rng.uniform(4, 7))
    v = {}
    for n in b.names:
        turns = np.cumsum((b.rng.uniform(0.03, 0.3) + 0.01 * slow_noise(b.rng, t, 1.0)) * np.diff(t, prepend=0.0))
        warm = 1 / (1 + np.exp(-(t - 15) / 1.5))
        v[n] = warm * between(b.rng, 1.8e-3, 2.8e-3) * np.sin(2 * np.pi * turns) + 0.04 * np.exp(-(((t - 15) / 3) ** 2)) + 1e-4 * b.rng.standard_normal(t.size)
    b.step("assess", [b.table(0, t, v)], never=[x for n in b.names for x in nothing_shown(n)], rather_not=[f"{n} inconclusive" for n in b.names])


def sub_plate(b: Bench) -> None:
    """A subwoofer's plate amplifier: its servo of long breath swings to the other side and settles within a minute."""
    fresh_names(b, "sub")
    size, tau = b.rng.uniform(0.03, 0.07), b.rng.uniform(6, 14)
    all_sound(b, b.rng.uniform(4, 7), lambda t: size * np.exp(-t / tau) * np.cos(2 * np.pi * t / (3 * tau)))


def late_relay(b: Bench) -> None:
    """A stage amplifier: the output relay closes 9 to 25 s after switch-on, with a thump of 30 to 70 mV for a second; nothing before."""
    t, at = b.instants(b.rng.uniform(4, 7)), b.rng.uniform(9, 25)
    v = {n: np.where(t < at, 2e-5 * b.rng.standard_normal(t.size), b.output(t, n, warm=True) + b.rng.choice([-1, 1]) * b.rng.uniform(0.03, 0.07) * np.exp(-np.maximum(t - at, 0) / 0.9)) for n in b.names}
    b.step("assess", [b.table(0, t, v)], sound=b.names)


def headphone_amp(b: Bench) -> None:
    """A headphone amplifier: rests within 0.3 to 1.2 mV of zero, quiet, with a start of 30 to 60 mV that takes some seconds."""
    b.rest = {n: float(b.rng.choice([-1, 1]) * b.rng.uniform(3e-4, 1.2e-3)) for n in b.names}
    b.white, b.digit = {n: float(b.rng.uniform(3e-5, 1e-4)) for n in b.names}, 1e-5
    size = b.rng.uniform(0.03, 0.06)
    all_sound(b, b.rng.uniform(4, 7), lambda t: size * np.exp(-t / b.rng.uniform(2, 6)))


def av_receiver(b: Bench) -> None:
    """A receiver of six channels; changes of the surround mode open all relays for a second and a half, two to four times."""
    fresh_names(b, "front left", "front right", "centre", "rear left", "rear right", "sub")
    b.step_s = max(b.step_s, 1.0)
    t = b.instants(b.rng.uniform(4.5, 6))
    at = np.sort(b.rng.uniform(900, t[-1] - 900, int(b.rng.integers(2, 5))))
    open_ = swings(t, at, max(1.6, 1.1 * b.step_s), 1.0) > 0
    v = {n: np.where(open_, 3e-5 * b.rng.standard_normal(t.size), b.output(t, n)) for n in b.names}
    b.step("assess", [b.table(0, t, v)], sound=b.names)


def slow_charger(b: Bench) -> None:
    """The input capacitor charges for a minute: 100 to 140 mV at first, under 70 mV at half a minute, 10 mV at two. Sound."""
    size = b.rng.uniform(0.1, 0.14) * b.rng.choice([-1, 1])
    all_sound(b, b.rng.uniform(4, 7), lambda t: size * np.exp(-t / b.rng.uniform(25, 40)))


def restarts_itself(b: Bench) -> None:
    """The processor of an active loudspeaker resets every 40 to 70 minutes: nothing for 3 to 6 s, then a start. Its outputs are sound."""
    t = b.instants(b.rng.uniform(6, 9))
    ends = np.cumsum(b.rng.uniform(2400, 4200, 20))
    spans = list(zip([0.0, *(ends + b.rng.uniform(3, 6, 20))], [*ends, t[-1] + 1], strict=True))
    v = powered(b, t, [(float(x), float(y)) for x, y in spans if x < t[-1]])
    shown = ("degrading", "do not connect", "drifting", "since *", "more often yes", "larger yes")
    b.step("assess", [b.table(0, t, v)], never=[f"{n} {w}" for n in b.names for w in shown], rather_not=[f"{n} {w}" for n in b.names for w in ("noisy", "one-off")])


def rails_switch(b: Bench) -> None:
    """Two rails: with each loud passage the upper pair comes in for seconds, and the rest goes by 2 to 5 mV. Sound."""
    size = b.rng.uniform(2e-3, 5e-3)
    all_sound(b, b.rng.uniform(4, 7), lambda t: swings(t, arrivals(b.rng, float(t[-1]), 40.0), 4.0, size))


def programme_load(b: Bench) -> None:
    """A load of lamps and meters, and music now and then: the rest shifts by 2 to 4 mV with it, with half a millivolt of noise. Sound."""
    size = b.rng.uniform(2e-3, 4e-3)

    def shape(t: Floats) -> Floats:
        return np.asarray(telegraph(b.rng, t, 700, 1800) * (size + 5e-4 * b.rng.standard_normal(t.size)))

    all_sound(b, b.rng.uniform(5, 8), shape)


def load_clipped_on(b: Bench) -> None:
    """The dummy load is clipped on in mid-log: five to fifteen seconds of a bad contact, then the same rest, a third smaller. Sound."""
    t = b.instants(b.rng.uniform(6, 8))
    at, shaky = b.rng.uniform(0.8, 2) * HOUR, b.rng.uniform(5, 15)
    share = np.where(t < at, 1.0, np.where(t < at + shaky, b.rng.uniform(0, 1, t.size), 0.67))
    b.step("assess", [b.table(0, t, {n: share * b.output(t, n) for n in b.names})], sound=b.names)


KINDS = {f.__name__.replace("_", " "): f for f in (
    one_leg, bridge_rises, two_units, two_units_fault, servo_runs_out, bias_off_heatsink, leaky_coupling, load_oscillates, oxidised_contact,
    cutout_cycles, cutout_sound, auto_off_twenty, smart_plug, smart_plug_cold, mains_blinks, brownout_latches, rail_fuse_fails,
    protect_retries, rises_each_time, doubles_then_rests, after_three_hours, first_ten_minutes, once_a_day, record_sides, follows_the_room,
    class_a, guitar_transformer, sub_plate, late_relay, headphone_amp, av_receiver, slow_charger, restarts_itself, rails_switch,
    programme_load, load_clipped_on,
)}  # fmt: skip
