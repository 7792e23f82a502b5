"""Stories of units and rooms, the third set by one who has not read how the program decides, for `fresh_benches`. All data are invented.

What is physics stands in each story; sizes and rates are invented where no word says otherwise. Rates of reading from five
a second to one in ten seconds, noise that is white, that comes in bursts, that has long tails, or that is like 1/f.
'Sound' means: rests within 10 mV, moves by less than 14 mV in all, no swing of 15 mV, and long enough; 'border' kinds stand
on both sides of a figure that the page prints as its limit.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
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

DANGER = ("left do not connect",)


def coloured(b: Bench, kind: str) -> Callable[[Floats], Floats]:
    """Give noise beside the white one: in bursts of minutes, with long tails, or like 1/f; none beyond 9 mV. Invented."""
    rng = b.rng
    size = between(rng, 2e-4, 9e-4)

    def bursts(t: Floats) -> Floats:
        return np.clip(2 * size * telegraph(rng, t, 40, 600) * rng.standard_normal(t.size), -9e-3, 9e-3)

    def tails(t: Floats) -> Floats:
        return np.clip(0.5 * size * rng.standard_t(4, t.size), -9e-3, 9e-3)

    return {
        "bursts": bursts,
        "tails": tails,
        "1/f": lambda t: slow_noise(rng, t, size),
        "white": lambda t: np.zeros(t.size),
    }[kind]


def late(f: Callable[[Bench], None]) -> Callable[[Bench], None]:
    """Draw rate, digit and noise anew for a story, each wider than a bench has them. Invented."""

    @wraps(f)
    def story(b: Bench) -> None:
        b.step_s = float(b.rng.choice([0.2, 0.5, 1.0, 2.0, 5.0, 10.0]))
        b.digit = float(b.rng.choice([1e-6, 1e-5, 1e-4, 2.5e-4, 5e-4]))
        b.white = {n: between(b.rng, max(4e-5, 0.4 * b.digit), 8e-4) for n in ("left", "right", "sub")}
        kind = str(b.rng.choice(["white", "bursts", "tails", "1/f"]))
        more, plain = coloured(b, kind), b.output
        b.output = lambda t, n, *, warm=False: plain(t, n, warm=warm) + more(t)  # type: ignore[method-assign]
        b.fact(noise=kind)
        f(b)

    return story


def stands(at: float, until: float, size: float) -> Shape:
    """Give a level from one moment to another."""
    return lambda t: np.where((t >= at) & (t < until), size, 0.0)


def evenings(b: Bench, n: int, hours: float, left: Sequence[Shape | None], gap: float = 1.0) -> list[dict[str, object]]:
    """Log some evenings, the left output with what comes in each."""
    return [b.evening(gap * k, hours, {"left": f} if f else None) for k, f in zip(range(n), left, strict=True)]


# ------------------------------------------------------------ sound


def rectifier_tube_warms(b: Bench) -> None:
    """A rectifier tube brings the rails up by and by: nothing for 12 to 25 s, then a hump of 25 to 70 mV that dies within 10 s (physics). Sound."""
    at, size, tau = b.rng.uniform(12, 25), b.rng.uniform(0.025, 0.07), b.rng.uniform(2, 6)
    t = b.instants(b.rng.uniform(4, 8))
    v = {}
    for n in b.names:
        hump = size * b.rng.uniform(0.6, 1) * np.where(t > at, (t - at) / tau * np.exp(1 - (t - at) / tau), 0.0)
        v[n] = np.where(t < at, 3e-5 * b.rng.standard_normal(t.size), b.output(np.maximum(t - at, 0) + 30, n) + hump)
    b.step("assess", [b.table(0, t, v)], sound=b.names)


def lamp_limiter(b: Bench) -> None:
    """A lamp in series with the mains: the rails come up within seconds, 60 to 140 mV at first, under 40 mV after ten seconds. Sound."""
    size, tau = between(b.rng, 0.06, 0.14), b.rng.uniform(1.5, 6)
    all_sound(b, b.rng.uniform(4, 7), lambda t: size * np.exp(-t / tau))


def rest_follows_mains(b: Bench) -> None:
    """No regulator: the rest goes with the mains, 0.3 to 0.7 mV a volt, and the mains go by some volts within the hour and the evening. Sound."""
    t = b.instants(b.rng.uniform(4, 9))
    mains = np.clip(232 + slow_noise(b.rng, t, 2.0) + 3 * np.sin(2 * np.pi * t / 15_000), 223, 241)
    v = {n: b.output(t, n) + b.rng.uniform(3e-4, 7e-4) * b.rng.choice([-1, 1]) * (mains - 232) for n in b.names}
    beside = {"mains_V": np.round(mains, 1)} if b.rng.random() < 0.5 else None
    b.step("assess", [b.table(0, t, v, beside=beside)], sound=b.names, reading={"roles": {"mains_V": "mains"}} if beside else {})


def compressor_cycles(b: Bench) -> None:
    """A fridge on the strip: all rests go by 1.5 to 4 mV while it runs, 8 to 15 minutes of 30 to 60, and kick by twice as much as it starts. Sound."""
    size, on, off = b.rng.uniform(1.5e-3, 4e-3), b.rng.uniform(480, 900), b.rng.uniform(1200, 2700)

    def shape(t: Floats) -> Floats:
        age = (t + b.rng.uniform(0, on + off)) % (on + off)
        return size * (age < on) + 2 * size * np.exp(-age / 0.7)

    all_sound(b, b.rng.uniform(4, 9), shape)


def bias_creeps_for_hours(b: Bench) -> None:
    """Class A in a closed rack: the rest goes on by 5 to 11 mV with a time constant of one to three hours. Sound."""
    size, tau = b.rng.uniform(5e-3, 0.011) * b.rng.choice([-1, 1]), b.rng.uniform(1, 3) * HOUR
    b.rest = {n: -np.sign(size) * abs(x) / 2 for n, x in b.rest.items()}
    all_sound(b, b.rng.uniform(5, 10), lambda t: size * (1 - np.exp(-t / tau)))


def damp_days_sound(b: Bench) -> None:
    """One to three days: a board's leakage goes with the air's humidity, 4 to 9 mV between the dry afternoon and the damp morning. Sound."""
    t = b.instants(b.rng.uniform(26, 70), max(b.step_s, 5.0))
    damp = 0.5 + 0.5 * np.sin(2 * np.pi * t / 86400 + b.rng.uniform(0, 6)) + 0.1 * slow_noise(b.rng, t, 1.0)
    size = b.rng.uniform(4e-3, 9e-3)
    v = {n: b.output(t, n) + size * b.rng.uniform(0.4, 1) * (damp - 0.5) for n in b.names}
    beside = {"humidity_pct": np.round(45 + 20 * damp, 0)}
    b.step("assess", [b.table(0, t, v, beside=beside)], sound=b.names, reading={"roles": {"humidity_pct": "ignore"}})


def lamp_on_open_cover(b: Bench) -> None:
    """Cover off: glass diodes see the lamp on the bench (physics: photocurrent); the left rest goes by 3 to 8 mV while it is lit, four to nine times. Sound."""
    size = b.rng.uniform(3e-3, 8e-3)
    b.rest["left"] = -size / 2
    b.step("assess", [b.evening(0, b.rng.uniform(4, 7), {"left": lambda t: size * telegraph(b.rng, t, 900, 1200)})], sound=b.names)


def supply_skips(b: Bench) -> None:
    """A switched supply skips cycles at idle: a saw of 2 to 5 mV on all outputs, 3 to 40 s long, that is gone for minutes when music plays. Sound."""
    size, period = b.rng.uniform(2e-3, 5e-3), between(b.rng, 3, 40)

    def shape(t: Floats) -> Floats:
        return size * ((t / period) % 1.0 - 0.5) * ~telegraph(b.rng, t, 240, 1200)

    all_sound(b, b.rng.uniform(4, 8), shape)


def calm_week(b: Bench) -> None:
    """Four to seven days at 10 or 20 s a reading, a daily wave of 3 to 7 mV, nothing else. Sound."""
    t = b.instants(b.rng.uniform(96, 168), float(b.rng.choice([10.0, 20.0])))
    wave = b.rng.uniform(1.5e-3, 3.5e-3) * np.sin(2 * np.pi * t / 86400 + b.rng.uniform(0, 6))
    b.step("assess", [b.table(0, t, {n: b.output(t, n) + wave for n in b.names})], sound=b.names)


# ------------------------------------------------------------ on both sides of a limit


def border_rest(b: Bench) -> None:
    """A constant rest of 38 to 46 mV, to be cleared, or of 54 to 64 mV, never."""
    bad = b.rng.random() < 0.5
    b.rest["left"] = float(b.rng.uniform(*((0.054, 0.064) if bad else (0.038, 0.046)))) * b.rng.choice([-1, 1])
    b.fact(rest_V=b.rest["left"])
    _border(b, b.rng.uniform(4, 7), None, bad)


def border_line(b: Bench) -> None:
    """A straight line of 9 to 14 mV in all, to be cleared, or of 26 to 40 mV, never."""
    bad = b.rng.random() < 0.5
    size = b.rng.uniform(*((0.026, 0.04) if bad else (0.009, 0.014)))
    b.rest["left"] = -size / 2
    b.fact(line_V=float(size))
    _border(b, b.rng.uniform(4, 7), lambda t: size * t / t[-1], bad)


def border_swings(b: Bench) -> None:
    """Swings of 5 to 15 s, eight an hour: of 7 to 10 mV, to be cleared, or of 24 to 36 mV, never (more than one an hour beyond 15 mV)."""
    bad = b.rng.random() < 0.5
    size = b.rng.uniform(*((0.024, 0.036) if bad else (0.007, 0.01)))
    b.step_s = min(b.step_s, 2.0)
    b.fact(swing_V=float(size))
    _border(b, b.rng.uniform(4, 7), lambda t: swings(t, at := arrivals(b.rng, float(t[-1]), 8.0), b.rng.uniform(5, 15, at.size), size), bad)


def border_hours(b: Bench) -> None:
    """A sound unit for 2.2 to 2.9 hours, too short to clear, or 3.6 to 4 hours, long enough."""
    short = b.rng.random() < 0.5
    log = [b.evening(0, b.rng.uniform(*((2.2, 2.9) if short else (3.6, 4.0))))]
    b.step("assess", log, never=[x for n in b.names for x in (f"{n} within*", *nothing_shown(n))] if short else (), sound=() if short else b.names)


def border_pulse(b: Bench) -> None:
    """One pulse of 10 to 30 s after some hours, of 0.3 to 0.65 V or of 0.85 to 1.4 V: neither is cleared, and the second is called by its name."""
    bad = b.rng.random() < 0.5
    size, at = b.rng.uniform(*((0.85, 1.4) if bad else (0.3, 0.65))), b.rng.uniform(1, 3) * HOUR
    b.step_s = min(b.step_s, 5.0)
    b.fact(pulse_V=float(size))
    one_faulty(b, 4.5, stands(at, at + b.rng.uniform(10, 30), size), must=DANGER if bad else (), never=(*no_growth("left"), *(() if bad else DANGER)))


def _border(b: Bench, hours: float, shape: Shape | None, bad: bool) -> None:
    log = [b.evening(0, hours, {"left": shape} if shape else None)]
    b.step("assess", log, never=uncleared("left") if bad else (), sound=b.others if bad else b.names)


# ------------------------------------------------------------ faulty


def fan_saves_it(b: Bench) -> None:
    """Thermal runaway (physics: it grows with itself): the left rest doubles each 4 to 9 minutes to 0.15 to 1.2 V, a fan starts, and within minutes it is back. Once to three times."""
    size, tau = between(b.rng, 0.15, 1.2), b.rng.uniform(350, 780)
    ends = np.cumsum(b.rng.uniform(1.2, 2.5, int(b.rng.integers(1, 4)))) * HOUR

    def shape(t: Floats) -> Floats:
        out = np.zeros(t.size)
        for end in ends:
            out += np.where(t < end, size * np.exp(np.minimum(t - end, 0) / tau), size * np.exp(-np.maximum(t - end, 0) / 90))
        return out

    b.fact(size_V=size)
    one_faulty(b, ends[-1] / HOUR + b.rng.uniform(1, 3), shape, must=("left drifting|left noisy|left degrading|left do not connect",))


def damp_coupling(b: Bench) -> None:
    """A leaky coupling capacitor over two to four days: the left rest goes with the damp from some millivolts to 70 to 180 mV each morning (physics). The humidity is logged beside."""
    t = b.instants(b.rng.uniform(48, 96), max(b.step_s, 5.0))
    damp = np.clip(0.5 + 0.5 * np.sin(2 * np.pi * t / 86400 + b.rng.uniform(0, 6)), 0, 1)
    v = {n: b.output(t, n) for n in b.names}
    v["left"] = v["left"] + between(b.rng, 0.07, 0.18) * damp**3
    reading = {"roles": {"humidity_pct": "ignore"}}
    b.step("assess", [b.table(0, t, v, beside={"humidity_pct": np.round(40 + 40 * damp)})], never=[*uncleared("left"), *no_growth("left"), "left hidden *"],
           must=("left drifting|left noisy",), sound=b.others, reading=reading)  # fmt: skip


def skin_on_contact(b: Bench) -> None:
    """A skin of oxide on the relay's contact lets nothing through under 60 to 100 mV, and breaks for what is larger (physics: fritting): rests of zero, and the swings of 0.15 to 0.4 V behind it."""
    t = b.instants(b.rng.uniform(4, 7), min(b.step_s, 2.0))
    v = {n: b.output(t, n) for n in b.names}
    true = v["left"] + crackle(b, b.rng.uniform(6, 15))(t)
    v["left"] = np.where(np.abs(true) > b.rng.uniform(0.06, 0.1), true, 3e-5 * b.rng.standard_normal(t.size))
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")], must=("left noisy",), sound=b.others)


def skin_never_broke(b: Bench) -> None:
    """The same skin before an output that stands at 30 to 55 mV or is sound: nothing is ever let through. Nobody saw that output."""
    t = b.instants(b.rng.uniform(4, 9))
    v = {n: b.output(t, n) for n in b.names}
    v["left"] = v["left"] * 10 ** b.rng.uniform(-4, -2) + 3e-5 * b.rng.standard_normal(t.size)
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *nothing_shown("left")], sound=b.others)


def customer_turns_knob(b: Bench) -> None:
    """A worn volume control, turned for 5 to 20 s three to seven times an evening: each turn crackles by 60 to 300 mV, the left more than the right. Nothing by itself, and nothing grows."""
    fresh_names(b, "left", "right")
    t = b.instants(b.rng.uniform(4, 7), min(b.step_s, 2.0))
    turn = np.zeros(t.size, bool)
    for at in b.rng.uniform(1500, t[-1] - 300, int(b.rng.integers(3, 8))):
        turn |= (t >= at) & (t < at + b.rng.uniform(5, 20))
    kick = turn * b.rng.choice([-1, 1], t.size) * b.rng.uniform(0.06, 0.3, t.size) * (b.rng.random(t.size) < 0.6)
    v = {"left": b.output(t, "left") + kick, "right": b.output(t, "right") + 0.6 * kick}
    b.step("assess", [b.table(0, t, v)], never=[x for n in b.names for x in (*uncleared(n), *no_growth(n))], must=("left noisy",))


def bridge_side_dies(b: Bench) -> None:
    """Bridged outputs at half the supply; after one to three hours one side goes to a rail, for good: the difference is half the supply, and a loudspeaker burns."""
    t = b.instants(b.rng.uniform(4, 6))
    half, at = b.rng.uniform(6, 14), b.rng.uniform(1, 3) * HOUR
    supply = half + slow_noise(b.rng, t, 0.05)
    rail = supply * (2 if b.rng.random() < 0.5 else 0.02)
    plus = np.where(t < at, supply + b.output(t, "left"), rail)
    table = b.table(0, t, {"plus": plus, "minus": supply + 1e-4 * b.rng.standard_normal(t.size)}, digit=1e-3)
    b.fact(half_V=half, at_s=float(at))
    b.step("assess", [table], never=uncleared("bridge"), must=("bridge do not connect",), reading={"differences": {"bridge": ("plus_V", "minus_V")}})


def kettle_lifts_ground(b: Bench) -> None:
    """A kettle on the same earth: all outputs go by 50 to 130 mV for 2 to 5 minutes, one to three times an hour. Of a channel alone nothing is shown, and no loudspeaker is cleared."""
    fresh_names(b, "left", "right")
    size = between(b.rng, 0.05, 0.13)
    t = b.instants(b.rng.uniform(4, 8))
    at = arrivals(b.rng, float(t[-1]) - 400, b.rng.uniform(1.2, 3))
    at = at if at.size else np.array([5000.0])
    lift = swings(t, at, b.rng.uniform(120, 300, at.size), size)
    b.step("assess", [b.table(0, t, {n: b.output(t, n) + lift * b.rng.uniform(0.9, 1.1) for n in b.names})], never=[x for n in b.names for x in (*uncleared(n), *no_growth(n), f"{n} do not connect")])


def latched_till_cycled(b: Bench) -> None:
    """The left output latches at 15 to 40 V; after 1 to 20 minutes somebody switches off and on (10 to 60 s of nothing), and it is sound for hours. Once."""
    t = b.instants(b.rng.uniform(7, 10))
    at, size = b.rng.uniform(0.3, 2) * HOUR, between(b.rng, 15, 40)
    off = at + b.rng.uniform(60, 1200)
    again = off + b.rng.uniform(10, 60)
    first = powered(b, t, [(0.0, off), (again, 1e9)])
    v = first | {"left": first["left"] + np.where((t >= at) & (t < off), size, 0.0)}
    b.fact(at_s=float(at), off_s=float(off))
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")], must=DANGER, sound=b.others)


def latched_at_start(b: Bench) -> None:
    """At the first switch-on the left output stands at 1.2 to 30 V for 20 to 60 s, is switched off and on, and is sound for hours after. It will do it again."""
    t = b.instants(b.rng.uniform(5, 8), min(b.step_s, 2.0))
    off, size = b.rng.uniform(20, 60), between(b.rng, 1.2, 30)
    first = powered(b, t, [(0.0, off), (off + b.rng.uniform(10, 60), 1e9)])
    v = first | {"left": first["left"] + np.where(t < off, size, 0.0)}
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")], must=DANGER, sound=b.others)


def thump_of_three_seconds(b: Bench) -> None:
    """No relay: each of three starts puts out 0.45 to 0.95 V for 1.5 s or 3 s of its first 8 s. Far beyond the page's own limit of a surge (200 mV): it may not be called within it."""
    at, long = (0.0, 1.5) if b.rng.random() < 0.5 else (4.5, 3.0)
    b.step_s, size = min(b.step_s, 1.0), between(b.rng, 0.45, 0.95)
    b.fact(size_V=size, at_s=at)
    b.step("assess", evenings(b, 3, 3, [stands(at, at + long, size)] * 3), never=["left power-up no", *no_growth("left")], rather_not=uncleared("left"), sound=b.others)


def joint_shaken_by_music(b: Bench) -> None:
    """A joint that only music shakes (physics: microphonic): swings of 0.1 to 0.4 V, thirty an hour of music, none in the silence between; a millivolt of music in each output."""
    t = b.instants(b.rng.uniform(4, 8), min(b.step_s, 2.0))
    music = telegraph(b.rng, t, 1500, 1800)
    at = arrivals(b.rng, float(t[-1]), 30.0)
    at = at[music[np.searchsorted(t, at)]]
    v = {n: b.output(t, n) + 8e-4 * music * b.rng.standard_normal(t.size) for n in b.names}
    v["left"] = v["left"] + swings(t, at, np.maximum(b.rng.uniform(1, 4, at.size), 1.1 * b.step_s), b.rng.uniform(0.1, 0.4, at.size) * b.rng.choice([-1, 1], at.size))
    b.fact(swings=int(at.size))
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), "left degrading"] if at.size > 4 else (), must=("left noisy",) if at.size > 10 else (), sound=b.others)


def after_six_warm_hours(b: Bench) -> None:
    """Nothing for six hours, then swings, ten an hour, in the last hour and a half: the evening's last record. Not cleared."""
    f = crackle(b, lambda t: np.where(t > 6 * HOUR, 10.0, 0.0), most=10.0)
    one_faulty(b, 7.5, f, must=("left noisy|left degrading",))


def only_by_night(b: Bench) -> None:
    """Two or three days; swings between one and five at night only, eight an hour, and the log ends in a calm afternoon. Not cleared; nothing grows."""
    days = int(b.rng.integers(2, 4))
    f = crackle(b, lambda t: np.where((t / HOUR + 9) % 24 < 5, np.where((t / HOUR + 9) % 24 > 1, 8.0, 0.0), 0.0), most=8.0, length_s=12.0)
    one_faulty(b, 24 * days + 6.0, f, must=("left noisy",), never=no_growth("left"), step_s=max(b.step_s, 5.0))


def once_in_the_cold(b: Bench) -> None:
    """A Monday in the cold: twelve swings in the first half-hour; the evenings that follow in a heated room are clean, two to four of four hours. Not cleared, not worse."""
    n = int(b.rng.integers(2, 5))
    cold = crackle(b, lambda t: np.where((t > 60) & (t < 1800), 28.0, 0.0), most=28.0)
    b.step("assess", evenings(b, n + 1, 4, [cold, *[None] * n]), never=[*uncleared("left"), *no_growth("left")], sound=b.others)


def two_faults(b: Bench) -> None:
    """Two faults in one channel: swings, eight an hour, and a rest that goes off by 100 to 160 mV within hours. Both must be said."""
    f, size = crackle(b, 8.0), between(b.rng, 0.1, 0.16)
    tau = b.rng.uniform(2, 4) * HOUR
    one_faulty(b, b.rng.uniform(5, 8), lambda t: f(t) + size * (1 - np.exp(-t / tau)), must=("left intermittent yes", "left drift yes|left settled offset yes"), never=("left drift no", "left settled offset no"))


def small_hides_large(b: Bench) -> None:
    """Popcorn of 10 to 13 mV all the time, within what may be, and under it one pulse of 3 to 12 V for 1 to 4 s. Never cleared: volts are volts."""
    size, dwell, at = b.rng.uniform(0.01, 0.013), between(b.rng, 2, 120), b.rng.uniform(1, 4) * HOUR
    b.step_s = min(b.step_s, 1.0)
    pulse = stands(at, at + b.rng.uniform(1.1, 4), between(b.rng, 3, 12))
    one_faulty(b, 5, lambda t: size * telegraph(b.rng, t, dwell, dwell) + pulse(t), must=DANGER, never=no_growth("left"))


def healed_by_itself(b: Bench) -> None:
    """Fifteen swings an hour in the first hour and a half, then none for eight to fourteen hours. Not cleared, and not worse: what heals by itself comes back by itself."""
    f = crackle(b, lambda t: np.where(t < 5400, 15.0, 0.0), most=15.0)
    one_faulty(b, b.rng.uniform(9.5, 15.5), f, must=("left noisy",), never=(*no_growth("left")[:-1], "left since more often", "left since larger"))


def sags_in_brownouts(b: Bench) -> None:
    """Three to six brown-outs of 8 to 40 s: the left output goes to 80 to 250 mV while the rails are low, the others by 4 mV. Not cleared; nothing grows."""
    t = b.instants(b.rng.uniform(4, 8), min(b.step_s, 5.0))
    at = np.sort(b.rng.uniform(1500, t[-1] - 300, int(b.rng.integers(3, 7))))
    low = swings(t, at, b.rng.uniform(8, 40, at.size), 1.0)
    v = {n: b.output(t, n) + low * (between(b.rng, 0.08, 0.25) if n == "left" else 4e-3) for n in b.names}
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left"), "left hidden *"], sound=b.others)


def one_strike(b: Bench) -> None:
    """A thunderstorm: all outputs click once by 0.1 to 0.4 V within seven hours. Not cleared, and nothing that recurs."""
    at, size = b.rng.uniform(0.6, 6) * HOUR, between(b.rng, 0.1, 0.4)
    t = b.instants(7)
    click = swings(t, np.array([at]), 1.1 * b.step_s, size)
    b.step("assess", [b.table(0, t, {n: b.output(t, n) + click * b.rng.uniform(0.7, 1.3) for n in b.names})],
           never=[x for n in b.names for x in (*uncleared(n), *no_growth(n), f"{n} intermittent yes", f"{n} do not connect")])  # fmt: skip


def brought_up_by_hand(b: Bench) -> None:
    """A variable transformer is turned up within 3 to 8 minutes: 0.1 to 0.5 V while the rails are low and the loop has no hold (physics), then five sound hours. Nothing that recurs or grows."""
    up, size = b.rng.uniform(180, 480), between(b.rng, 0.1, 0.5)

    def shape(t: Floats) -> Floats:
        x = np.clip(t / up, 0, 1)
        return size * 6.75 * x * (1 - x) ** 2

    logs = [b.evening(0, b.rng.uniform(5, 7), {n: shape for n in b.names})]
    b.step("assess", logs, never=[x for n in b.names for x in (*no_growth(n), f"{n} intermittent yes", f"{n} do not connect")], rather_not=[f"{n} {w}" for n in b.names for w in ("noisy", "drifting")])


def source_has_volts(b: Bench) -> None:
    """A source with some millivolts of its own into a coupled input: 50 to 200 mV at the output as long as it is chosen, 10 to 60 minutes, two to four times. Not cleared."""
    fresh_names(b, "left", "right")
    t = b.instants(b.rng.uniform(5, 8))
    at = np.arange(int(b.rng.integers(2, 5))) * 5000 + b.rng.uniform(1500, 3000)
    chosen = swings(t, at, b.rng.uniform(600, 3600, at.size), 1.0)
    size = between(b.rng, 0.055, 0.2)
    b.step("assess", [b.table(0, t, {n: b.output(t, n) + chosen * size * b.rng.uniform(0.95, 1.3) for n in b.names})], never=[x for n in b.names for x in (*uncleared(n), *no_growth(n), f"{n} hidden *")])


KINDS = {f.__name__.replace("_", " "): late(f) for f in (
    rectifier_tube_warms, lamp_limiter, rest_follows_mains, compressor_cycles, bias_creeps_for_hours, damp_days_sound, lamp_on_open_cover,
    supply_skips, calm_week, border_rest, border_line, border_swings, border_hours, border_pulse, fan_saves_it, damp_coupling, skin_on_contact,
    skin_never_broke, customer_turns_knob, bridge_side_dies, kettle_lifts_ground, latched_till_cycled, latched_at_start,
    thump_of_three_seconds, joint_shaken_by_music,
    after_six_warm_hours, only_by_night, once_in_the_cold, two_faults, small_hides_large, healed_by_itself, sags_in_brownouts, one_strike,
    brought_up_by_hand, source_has_volts,
)}  # fmt: skip
