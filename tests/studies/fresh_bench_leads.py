"""Stories of the lead, the meter and the logger, for `fresh_benches`. All data are invented.

Physics: a lead in the air picks up the mains field, folded by the cadence, and floats by the input's bias current; a
switched supply nearby is rectified in the input; a lead on a resistor reads the meter's zero; ten megohm behind a bad
contact halve the volts; bridged outputs stand at half the supply; two metals make microvolts a kelvin, many of them
and a chopped input some millivolts; a reference that dies makes all readings grow.
"""

from __future__ import annotations

import numpy as np
from fresh_bench_parts import HOUR, Bench, arrivals, between, crackle, no_growth, nothing_shown, swings, uncleared
from fresh_parts import Floats, room, slow_noise, telegraph


def _hum(rng: np.random.Generator, t: Floats, size_V: float) -> Floats:
    """Give mains hum at the instants of the readings, with a third harmonic, its frequency wandering as the grid does."""
    grid = 50 + rng.normal(0, 0.01) + 0.02 * np.sin(2 * np.pi * t / rng.uniform(200, 3000))
    phase = 2 * np.pi * np.cumsum(grid * np.diff(t, prepend=0.0)) + rng.uniform(0, 6)
    return size_V * (np.sin(phase) + 0.3 * np.sin(3 * phase + 1))


def _beside_others(b: Bench, t: Floats, left: Floats, *, warm: bool = True, never: tuple[str, ...] = (), rather_not: tuple[str, ...] = ()) -> None:
    """Log the left lead beside sound outputs that are on already; the left one was not on a live output."""
    volts = {"left": left, **{n: b.output(t, n, warm=warm) for n in b.others}}
    b.step("assess", [b.table(0, t, volts)], never=(*uncleared("left"), *no_growth("left"), *never), rather_not=rather_not, sound=b.others)


def air_hum(b: Bench) -> None:
    """The lead hangs in the air from the first reading to the last: hum of 4 to 40 mV in instants, a slow float."""
    t, size = b.instants(b.rng.uniform(4, 9)), between(b.rng, 4e-3, 0.04)
    b.fact(hum_V=size)
    left = _hum(b.rng, t, size) + slow_noise(b.rng, t, between(b.rng, 1e-4, 2e-3)) + b.rng.normal(0, 1e-3) + 2e-4 * b.rng.standard_normal(t.size)
    _beside_others(b, t, left, rather_not=("left intermittent yes",))


def air_averaging(b: Bench) -> None:
    """The same with a meter that averages whole cycles over ten megohm: microvolts, and steps when a lamp is switched."""
    t = b.instants(b.rng.uniform(4, 9))
    lamps = telegraph(b.rng, t, 2400, 3600) * between(b.rng, 5e-5, 1e-3)
    left = slow_noise(b.rng, t, between(b.rng, 2e-5, 3e-4)) + lamps + between(b.rng, 1e-5, 2e-4) * b.rng.standard_normal(t.size)
    _beside_others(b, t, left, never=("left drift yes", "left intermittent yes"))


def air_supply_near(b: Bench) -> None:
    """The lead lies beside a switched supply: its ripple is folded into a sawtooth of 3 to 25 mV about zero."""
    t, size = b.instants(b.rng.uniform(4, 9)), between(b.rng, 3e-3, 0.025)
    b.fact(ripple_V=size)
    turns = np.cumsum((b.rng.uniform(0.05, 0.45) + 0.02 * slow_noise(b.rng, t, 1.0)) * np.diff(t, prepend=0.0))
    load = np.where(telegraph(b.rng, t, 1500, 1500), 1.0, 0.4)
    left = size * load * (2 * (turns % 1.0) - 1) + 3e-4 * b.rng.standard_normal(t.size)
    _beside_others(b, t, left, rather_not=("left intermittent yes",))


def dummy_only(b: Bench) -> None:
    """The relay never closed: the lead sees the dummy load alone, zero and the meter's wandering zero, hours long."""
    t = b.instants(b.rng.uniform(4, 12))
    left = b.rng.normal(0, 3e-4) + slow_noise(b.rng, t, 3e-5) + 2e-5 * room(b.rng, t) + between(b.rng, 5e-6, 1e-4) * b.rng.standard_normal(t.size)
    _beside_others(b, t, left, warm=bool(b.rng.random() < 0.5), never=("left drift yes", "left noisy", "left do not connect"))


def chassis_earth(b: Bench) -> None:
    """The clip is on the chassis: drops of earth currents, up to a millivolt and a half, as neighbours switch."""
    t = b.instants(b.rng.uniform(4, 12))
    left = b.rng.normal(0, 1e-4) + 3e-5 * b.rng.standard_normal(t.size)
    for _ in range(4):
        left = left + telegraph(b.rng, t, between(b.rng, 60, 3000), between(b.rng, 300, 6000)) * b.rng.uniform(-4e-4, 4e-4)
    _beside_others(b, t, left, never=("left drift yes", "left noisy", "left do not connect"))


def one_of_six(b: Bench) -> None:
    """Six channels, five of them sound; the lead of the sixth was never connected."""
    b.names = ("front left", "front right", "rear left", "rear right", "centre", "sub")
    b.__post_init__()
    b.step_s = max(b.step_s, 1.0)
    t, off = b.instants(b.rng.uniform(4, 6)), str(b.rng.choice(b.names))
    volts = {n: b.output(t, n) for n in b.names}
    instant = b.rng.random() < 0.5
    volts[off] = slow_noise(b.rng, t, 1e-4) + (_hum(b.rng, t, between(b.rng, 3e-3, 0.03)) if instant else 3e-5 * b.rng.standard_normal(t.size))
    b.fact(off=off, hum=str(instant))
    b.step("assess", [b.table(0, t, volts)], never=(*uncleared(off), *no_growth(off)), sound=[n for n in b.names if n != off])


def half_contact(b: Bench) -> None:
    """A bad contact of the clip halves the volts now and then, with some hum; the unit swings by 0.2 V, ten times an hour."""
    t = b.instants(b.rng.uniform(4, 7))
    bad = telegraph(b.rng, t, 1500, 2500)
    live = b.output(t, "left") + crackle(b, b.rng.uniform(8, 15), size=0.2)(t)
    left = np.where(bad, b.rng.uniform(0.3, 0.7) * live + _hum(b.rng, t, 1e-3), live)
    volts = {"left": left, **{n: b.output(t, n) for n in b.others}}
    b.step("assess", [b.table(0, t, volts)], never=(*uncleared("left"), *no_growth("left"), "left hidden *"), must=("left noisy",), sound=b.others)


def half_contact_sound(b: Bench) -> None:
    """The same contact on a sound unit: steps of some millivolts. It may be refused, but nothing is shown of the unit."""
    t = b.instants(b.rng.uniform(4, 7))
    live = b.output(t, "left")
    left = np.where(telegraph(b.rng, t, 1500, 2500), b.rng.uniform(0.4, 0.7) * live + _hum(b.rng, t, 5e-4), live)
    volts = {"left": left, **{n: b.output(t, n) for n in b.others}}
    b.step("assess", [b.table(0, t, volts)], never=[x for x in nothing_shown("left") if x != "left noisy"], rather_not=("left hidden *", "left noisy"), sound=b.others)


def leads_swapped(b: Bench) -> None:
    """Nothing is repaired, but the two leads change places: rests and swings change places too."""
    b.names = ("left", "right")
    b.__post_init__()
    b.rest = {"left": b.rng.uniform(5e-3, 9e-3), "right": -b.rng.uniform(5e-3, 9e-3)}
    f = crackle(b, b.rng.uniform(8, 15))
    before = [b.evening(d, 2, {"left": f}) for d in (0, 1, 2)]
    b.rest["left"], b.rest["right"] = b.rest["right"], b.rest["left"]
    after = [b.evening(d, 2, {"right": f}) for d in (7, 8, 9)]
    b.step("compare", (before, after), never=("left outcome worse", "right outcome improved", "right after within*"),
           rather_not=("left outcome improved", "right outcome worse", "left cured shown"))  # fmt: skip


def _bridge(b: Bench, fault: bool) -> None:
    t = b.instants(b.rng.uniform(4, 6))
    half = b.rng.uniform(6, 14)
    supply = half + slow_noise(b.rng, t, 0.05) + 0.1 * np.sin(2 * np.pi * t / b.rng.uniform(2000, 20_000))
    f = crackle(b, b.rng.uniform(6, 15), size=0.2)(t) if fault else 0.0
    plus = supply + b.output(t, "left") + f
    table = b.table(0, t, {"plus": plus, "minus": supply + 1e-4 * b.rng.standard_normal(t.size)}, digit=1e-3)
    b.fact(half_V=half)
    b.step("assess", [table], never=[x for n in ("plus", "minus") for x in uncleared(n)])
    reading = {"differences": {"bridge": ("plus_V", "minus_V")}}
    if fault:
        b.step("assess", [table], never=uncleared("bridge"), must=("bridge noisy",), reading=reading)
    else:
        b.step("assess", [table], sound=("bridge",), reading=reading)


def bridge_sound(b: Bench) -> None:
    """A bridged amplifier on one supply: each terminal at 6 to 14 V that sags with the supply, their difference sound."""
    _bridge(b, False)


def bridge_fault(b: Bench) -> None:
    """The same, and the difference swings by 0.2 V, ten times an hour."""
    _bridge(b, True)


def autorange_settling(b: Bench) -> None:
    """A sound unit about the border of two ranges: after each change one reading is off by up to 3 mV, another digit."""
    t = b.instants(b.rng.uniform(4, 6))
    b.rest["left"] = b.rng.uniform(5.7e-3, 6.3e-3)
    v = {n: b.output(t, n) for n in b.names}
    high = np.abs(v["left"]) > 6e-3
    first = np.diff(high, prepend=high[0]) != 0
    v["left"] = np.where(high, np.round(v["left"], 4), np.round(v["left"], 5)) + np.where(first, b.rng.uniform(-3e-3, 3e-3, t.size), 0.0)
    b.digit = 1e-5
    b.step("assess", [b.table(0, t, v)], sound=b.names)


def thermal_zero(b: Bench) -> None:
    """A sound unit for one to three days in a room that warms by ten kelvin: the meter's zero moves by 6 to 13 mV."""
    b.step_s = float(b.rng.choice([10.0, 20.0]))
    t = b.instants(b.rng.uniform(26, 70))
    size = b.rng.uniform(3e-3, 6.5e-3)
    day = size * np.sin(2 * np.pi * t / 86400 + b.rng.uniform(0, 6)) + 0.15 * size * np.sin(4 * np.pi * t / 86400)
    b.fact(moves_V=2 * size)
    b.step("assess", [b.table(0, t, {n: b.output(t, n) + day for n in b.names})], sound=b.names)


def meter_battery(b: Bench) -> None:
    """A sound unit; in the last hour the meter's reference dies: readings grow by a half, then fall to zero and stay."""
    hours = b.rng.uniform(5, 8)
    t = b.instants(hours)
    end = hours * HOUR - b.rng.uniform(600, 2400)
    gain = 1 + 0.5 * np.clip((t - end + 3000) / 3000, 0, 1) ** 2
    v = {n: np.where(t < end, gain * b.output(t, n), 0.0) for n in b.names}
    shown = ("degrading", "one-off", "do not connect", "since *", "intermittent yes", "more often yes", "larger yes")
    b.step("assess", [b.table(0, t, v)], never=[f"{n} {w}" for n in b.names for w in shown], rather_not=[f"{n} drifting" for n in b.names])


def mean_of_ten(b: Bench) -> None:
    """Glitches of 0.3 s and a volt or more, twenty an hour; the logger writes means of ten seconds: 30 to 38 mV each."""
    t = b.instants(b.rng.uniform(4, 10), 10.0)
    at = arrivals(b.rng, float(t[-1]), float(b.rng.uniform(12, 25)))
    left = b.output(t, "left") + swings(t, at, 0.3, b.rng.uniform(1.0, 1.25, at.size), 10.0)
    volts = {"left": left, **{n: b.output(t, n) for n in b.others}}
    b.step("assess", [b.table(0, t, volts)], never=(*uncleared("left"), *no_growth("left")), must=("left noisy",), sound=b.others)


def _on_change(b: Bench, t: Floats, v: Floats, digit: float, beat_s: float) -> tuple[Floats, Floats]:
    """Keep the readings that differ from the last one kept by a digit or more, and one each ``beat_s`` seconds."""
    shown = np.round(v / digit) * digit
    keep, last, when = [0], shown[0], t[0]
    for i in np.flatnonzero((np.diff(shown, prepend=shown[0]) != 0) | (np.floor(t / beat_s) > np.floor((t - b.step_s) / beat_s))):
        if abs(shown[i] - last) > digit / 2 or t[i] - when >= beat_s:
            keep.append(int(i))
            last, when = shown[i], t[i]
    k = np.unique(np.asarray([*keep, t.size - 1]))
    return t[k], shown[k]


def _changes(b: Bench, left: Floats, t: Floats, **patterns: tuple[str, ...]) -> None:
    digit, beat = float(b.rng.choice([5e-4, 1e-3])), float(b.rng.choice([60.0, 300.0, 1e9]))
    when, shown = _on_change(b, t, left, digit, beat)
    b.fact(rows=str(when.size), beat_s=beat, digit_V=digit)
    b.names = ("left",)
    b.step("assess", [b.table(0, when, {"left": shown}, digit=digit)], **patterns)


def on_change_sound(b: Bench) -> None:
    """A logger that writes a row only when the reading changes by its digit: a sound unit. Nothing is shown of it."""
    t = b.instants(b.rng.uniform(4, 10))
    _changes(b, b.output(t, "left"), t, never=tuple(nothing_shown("left")))


def on_change_fault(b: Bench) -> None:
    """The same logger, and ten swings an hour."""
    t = b.instants(b.rng.uniform(4, 10))
    left = b.output(t, "left") + crackle(b, b.rng.uniform(8, 15))(t)
    _changes(b, left, t, never=(*uncleared("left"), *no_growth("left"), "left drift yes"), must=("left intermittent yes",))


def on_change_stuck(b: Bench) -> None:
    """The same logger, and in mid-log the output goes to 0.9 to 12 V and stands there for an hour or more: few rows tell."""
    hours = b.rng.uniform(5, 9)
    t = b.instants(hours)
    at, size = b.rng.uniform(1.5, hours - 2.5) * HOUR, between(b.rng, 0.9, 12) * b.rng.choice([-1, 1])
    b.fact(stands_V=float(size))
    left = b.output(t, "left") + np.where((t > at) & (t < at + b.rng.uniform(1, 2) * HOUR), size, 0.0)
    _changes(b, left, t, never=tuple(uncleared("left")), must=("left do not connect",))


def triples(b: Bench) -> None:
    """A logger of minimum, maximum and mean each ten seconds; swings of 0.3 V and 0.2 s show in the extremes only."""
    b.step_s, hours = 0.1, b.rng.uniform(4, 6)
    t = np.arange(0.0, hours * HOUR, 10.0)
    fast = b.output(t, "left", warm=True)
    spread = b.white["left"] * b.rng.uniform(2.5, 3.2, (2, t.size))
    at = arrivals(b.rng, float(t[-1]), float(b.rng.uniform(8, 15)))
    glitch = swings(t, np.floor(at / 10) * 10, 1.0, 0.3)  # in the row that holds it
    v = {"left min": fast - spread[0], "left max": fast + spread[1] + glitch, "left mean": fast + glitch * 0.02}
    b.names = ("left",)
    table = b.table(0, t, v)
    b.step("assess", [table], never=uncleared("left max"), must=("left max noisy",), reading={"channels": ["left max_V"]})
    b.step("assess", [table], never=nothing_shown("left mean"), rather_not=("left mean within*",), reading={"channels": ["left mean_V"]})


def rows_dropped(b: Bench) -> None:
    """The logger drops its whole row on overload; swings to some volts, eight an hour: their flanks of 60 to 180 mV are kept."""
    t = b.instants(b.rng.uniform(4, 6), 0.5)
    at = arrivals(b.rng, float(t[-1]), 8.0)
    v = {n: b.output(t, n) for n in b.names}
    away = swings(t, at, b.rng.uniform(2, 8, at.size), 3.0)
    flank = (np.roll(away, -1) > 1) & (away < 1)
    v["left"] = v["left"] + np.where(flank, b.rng.uniform(0.06, 0.18, t.size), 0.0)
    keep = away < 1
    b.step("assess", [b.table(0, t[keep], {n: x[keep] for n, x in v.items()})], never=(*uncleared("left"), *no_growth("left")), must=("left noisy",))


def bus_hangs(b: Bench) -> None:
    """A sound unit; now and then the bus hangs for 2 to 15 minutes and the last value of all channels is repeated."""
    t = b.instants(b.rng.uniform(7, 10))
    v = {n: b.output(t, n) for n in b.names}
    for at in b.rng.uniform(2000, t[-1] - 2000, int(b.rng.integers(2, 6))):
        i, j = np.searchsorted(t, (at, at + between(b.rng, 120, 900)))
        for x in v.values():
            x[i:j] = x[i]
    b.digit = min(b.digit, 1e-4)
    b.step("assess", [b.table(0, t, v)], sound=b.names)


def hourly_files(b: Bench) -> None:
    """A sound unit for five to nine hours in hourly files with true clocks; a row or two is lost at each seam."""
    t = b.instants(b.rng.uniform(5, 9))
    whole = b.table(0, t, {n: b.output(t, n) for n in b.names})
    ends = np.searchsorted(t, np.arange(1, 10) * HOUR + b.rng.uniform(-600, 600))
    logs = [{k: x[i + 2 : j] for k, x in whole.items()} for i, j in zip([0, *ends], [*ends, t.size], strict=True) if j - i > 50]
    b.step("assess", logs, sound=b.names)


def hourly_seam(b: Bench) -> None:
    """Hourly files; a level of 0.1 to 0.4 V stands for ten minutes across one seam, and at no other time."""
    t = b.instants(b.rng.uniform(5, 7))
    v = {n: b.output(t, n) for n in b.names}
    v["left"] = v["left"] + np.where((t > 3 * HOUR - 300) & (t < 3 * HOUR + 300), between(b.rng, 0.1, 0.4), 0.0)
    whole = b.table(0, t, v)
    ends = np.searchsorted(t, np.arange(1, 7) * HOUR)
    logs = [{k: x[i:j] for k, x in whole.items()} for i, j in zip([0, *ends], [*ends, t.size], strict=True) if j - i > 50]
    b.step("assess", logs, never=(*uncleared("left"), *no_growth("left")), sound=b.others)


def cadence_changes(b: Bench) -> None:
    """A constant rate of swings of a second and a half; in mid-file the logger goes from 1 s to 10 s a reading, or back."""
    hours, at = b.rng.uniform(6, 9), 0.5
    fast, slow = np.arange(0, hours * at * HOUR, 1.0), np.arange(0, hours * (1 - at) * HOUR, 10.0)
    slower = bool(b.rng.random() < 0.5)
    t = np.concatenate([fast, fast[-1] + 10 + slow] if slower else [slow, slow[-1] + 1 + fast])
    b.fact(slower=str(slower))
    v = {n: b.output(t, n, warm=True) for n in b.names}
    v["left"] = v["left"] + crackle(b, 25.0, length_s=1.5, mean_s=0.0)(t)
    b.step("assess", [b.table(0, t, v)], never=(*uncleared("left"), *no_growth("left")), must=("left noisy",))


def clock_jumps(b: Bench) -> None:
    """A constant rate of swings; in mid-file the clock is set by a time server, back or forward by minutes to hours."""
    t = b.instants(b.rng.uniform(5, 8))
    v = {n: b.output(t, n) for n in b.names}
    v["left"] = v["left"] + crackle(b, b.rng.uniform(8, 15))(t)
    jump = between(b.rng, 60, 12_000) * b.rng.choice([-1, 1])
    b.fact(jump_s=float(jump))
    when = t * (1 + b.rng.normal(0, 1e-5)) + np.where(t > b.rng.uniform(0.3, 0.7) * t[-1], jump, 0.0)
    b.step("assess", [b.table(0, when, v)], never=(*uncleared("left"), *no_growth("left")), must=("left noisy",))


def _weeks(b: Bench) -> tuple[Floats, dict[str, Floats]]:
    b.step_s = 60.0
    t = b.instants(24 * b.rng.uniform(7, 16))
    return t, {n: b.output(t, n) + 2e-3 * np.sin(2 * np.pi * t / 86400) for n in b.names}


def weeks_sound(b: Bench) -> None:
    """One to two weeks of a sound unit at one reading a minute: nothing is shown of it; too seldom to clear, by rule."""
    t, v = _weeks(b)
    b.step("assess", [b.table(0, t, v)], never=[x for n in b.names for x in nothing_shown(n)])


def weeks_levels(b: Bench) -> None:
    """The same, but each second day or so the left output stands at 60 to 200 mV for hours."""
    t, v = _weeks(b)
    at = arrivals(b.rng, float(t[-1]), 1 / 40)
    at = at if at.size else np.asarray([1e5])
    v["left"] = v["left"] + swings(t, at, b.rng.uniform(2, 8, at.size) * HOUR, between(b.rng, 0.06, 0.2))
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), "left inconclusive", *(x for n in b.others for x in nothing_shown(n))])


KINDS = {f.__name__.replace("_", " "): f for f in (
    air_hum, air_averaging, air_supply_near, dummy_only, chassis_earth, one_of_six, half_contact, half_contact_sound, leads_swapped,
    bridge_sound, bridge_fault, autorange_settling, thermal_zero, meter_battery, mean_of_ten, on_change_sound, on_change_fault,
    on_change_stuck, triples, rows_dropped, bus_hangs, hourly_files, hourly_seam, cadence_changes, clock_jumps, weeks_sound, weeks_levels,
)}  # fmt: skip
