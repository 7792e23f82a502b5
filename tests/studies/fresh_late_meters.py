"""Stories of meters and loggers, the third set by one who has not read how the program decides, for `fresh_benches`. All data are invented.

Physics: coupling capacitors of inputs, converters that end before the volts do, warmth of a meter. Common practice, no
source: clocks that begin again, exports joined in the wrong order, columns and units that change in mid-log, placeholders for
what was not read. Sizes and rates are invented. 'Sound' and 'faulty' are as in `fresh_late_units`.
"""

from __future__ import annotations

import numpy as np
from fresh_bench_parts import (
    HOUR,
    Bench,
    Shape,
    Table,
    arrivals,
    between,
    crackle,
    no_growth,
    nothing_shown,
    swings,
    uncleared,
)
from fresh_late_units import DANGER, late, stands
from fresh_odd_meters import ask, outputs
from fresh_parts import EPOCH, Floats, slow_noise, telegraph
from fresh_repairs import fresh_names, powered

Volts = dict[str, Floats]


def faulty(b: Bench, low: float, high: float, left: Shape, step_s: float = 0.0) -> tuple[Floats, Volts]:
    """Give the instants of some hours, and the outputs at them, the left one with a fault."""
    t, v = outputs(b, low, high, step_s)
    return t, v | {"left": v["left"] + left(t)}


def coupled(x: Floats, t: Floats, tau_s: float) -> Floats:
    """Give what an input behind a coupling capacitor shows (physics of a filter of one pole)."""
    from fresh_odd_meters import followed

    return x - followed(x, t, tau_s)


def kept(table: Table, rows: np.ndarray) -> Table:
    """Keep these rows of a log."""
    return {k: np.asarray(x)[rows] for k, x in table.items()}


def everything(b: Bench) -> list[str]:
    """Patterns of what may not be said of any channel of a log that has a fault somewhere."""
    return [x for n in b.names for x in (*uncleared(n), *no_growth(n))]


# ------------------------------------------------------------ converters and inputs


def ends_under_the_threshold(b: Bench) -> None:
    """A converter that ends at 30 to 38 mV; swings of 0.1 to 3 V, ten an hour, each written as its end. Not cleared, whatever the threshold."""
    end = b.rng.uniform(0.03, 0.038)
    t, v = faulty(b, 4, 7, crackle(b, 10.0, size=between(b.rng, 0.15, 2)))
    b.fact(end_V=float(end))
    b.step("assess", [b.table(0, t, {n: np.clip(x, -end, end) for n, x in v.items()})], never=[*uncleared("left"), *no_growth("left")], sound=b.others)


def volts_behind_coupling(b: Bench) -> None:
    """An input coupled by a capacitor: after one to two hours the output goes to 0.4 to 20 V and stays, and the log shows one blip. Never cleared."""
    at, tau = b.rng.uniform(1, 2) * HOUR, between(b.rng, 0.2, 5)
    t, v = faulty(b, 5, 8, stands(at, 1e9, between(b.rng, 0.4, 20)), min(b.step_s, 1.0))
    b.step("assess", [b.table(0, t, {n: coupled(x, t, tau) for n, x in v.items()})], never=[*uncleared("left"), *no_growth("left")])


def creeps_behind_coupling(b: Bench) -> None:
    """The same input; the output creeps to 0.4 to 5 V within an hour and nothing of it is left. No page can know, and a careful one does not clear what rests at nothing."""
    at, tau, size = b.rng.uniform(1, 2) * HOUR, between(b.rng, 0.2, 5), between(b.rng, 0.4, 5)
    t, v = faulty(b, 5, 8, lambda t: size * np.clip((t - at) / 3600, 0, 1), min(b.step_s, 1.0))
    b.step("assess", [b.table(0, t, {n: coupled(x, t, tau) for n, x in v.items()})], never=no_growth("left"), rather_not=uncleared("left"))


def only_positive(b: Bench) -> None:
    """A converter that knows no volts below zero: after one to two hours the output goes to -0.5 to -20 V and reads zero to the end. Never cleared."""
    at = b.rng.uniform(1, 2) * HOUR
    b.rest["left"] = abs(b.rest["left"])
    t, v = faulty(b, 5, 8, stands(at, 1e9, -between(b.rng, 0.5, 20)))
    b.step("assess", [b.table(0, t, {n: np.maximum(x * np.sign(b.rest[n]), 0.0) for n, x in v.items()})], never=[*uncleared("left"), *no_growth("left")])


def only_positive_dips(b: Bench) -> None:
    """The same converter; swings of -0.1 to -0.6 V, 3 to 20 s, ten an hour, read as zero to the last digit, where the rest is some millivolts. A careful page does not clear it."""
    b.rest["left"] = abs(b.rest["left"])
    t, v = faulty(b, 4, 7, lambda t: swings(t, at := arrivals(b.rng, float(t[-1]), 10.0), np.maximum(b.rng.uniform(3, 20, at.size), 1.2 * b.step_s), -0.3), min(b.step_s, 5.0))
    b.step("assess", [b.table(0, t, {n: np.maximum(x * np.sign(b.rest[n]), 0.0) for n, x in v.items()})], never=no_growth("left"), rather_not=uncleared("left"))


def without_sign_sound(b: Bench) -> None:
    """A logger that writes volts without their sign; a sound unit."""
    t, v = outputs(b, 4, 7)
    ask(b, [b.table(0, t, {n: np.abs(x) for n, x in v.items()})], faulty=False)


def without_sign_drift(b: Bench) -> None:
    """The same logger; a line from +60 to -60 mV or so reads as a vee. Never cleared."""
    size = b.rng.uniform(0.055, 0.08)
    t, v = faulty(b, 4, 7, lambda t: size * (1 - 2 * t / t[-1]))
    b.step("assess", [b.table(0, t, {n: np.abs(x) for n, x in v.items()})], never=[*uncleared("left"), "left drift no", "left hidden *"], sound=b.others)


def own_warmth(b: Bench) -> None:
    """The meter is switched on with the unit: all its zeros go by 3 to 8 mV with a time constant of 15 to 50 minutes. Sound."""
    size, tau = b.rng.uniform(3e-3, 8e-3) * b.rng.choice([-1, 1]), b.rng.uniform(900, 3000)
    t, v = outputs(b, 4, 8)
    ask(b, [b.table(0, t, {n: x + size * np.exp(-t / tau) for n, x in v.items()})], faulty=False)


def charger_plugged(b: Bench) -> None:
    """The logging computer's charger is plugged in once or twice for half an hour to two: all channels 1.5 to 3 mV elsewhere, and 1 to 1.8 mV of noise. Sound."""
    t, v = outputs(b, 4, 8)
    on = telegraph(b.rng, t, 3600, 5400)
    size, noise = b.rng.uniform(1.5e-3, 3e-3), b.rng.uniform(1e-3, 1.8e-3)
    ask(b, [b.table(0, t, {n: x + on * (size + np.clip(noise * b.rng.standard_normal(t.size), -7e-3, 7e-3)) for n, x in v.items()})], faulty=False)


def on_bias_point(b: Bench) -> None:
    """The left lead sits on a bias test point, not on the output: 0.5 to 0.66 V, falling by some 2 mV a kelvin as it warms. Nobody saw that output."""
    t, v = outputs(b, 4, 7)
    v["left"] = b.rng.uniform(0.5, 0.66) - b.rng.uniform(0.02, 0.06) * (1 - np.exp(-t / 900)) + 2e-4 * b.rng.standard_normal(t.size)
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")], sound=b.others)


def on_emitter_resistor(b: Bench) -> None:
    """The left lead sits across an emitter resistor: 12 to 30 mV of bias that creeps by a third as it warms; a loud passage drives it to 0.1 to 0.5 V for seconds. Not the output, and not cleared."""
    size = b.rng.uniform(0.012, 0.03)
    t, v = outputs(b, 4, 7, min(b.step_s, 2.0))
    loud = swings(t, at := arrivals(b.rng, float(t[-1]), 6.0), np.maximum(b.rng.uniform(2, 12, at.size), 1.1 * b.step_s), between(b.rng, 0.1, 0.5))
    v["left"] = size * (1 - 0.3 * np.exp(-t / 1200)) + loud + 1e-4 * b.rng.standard_normal(t.size)
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")] if at.size > 1 else (), sound=b.others)


# ------------------------------------------------------------ loggers


def stalls_with_glitches(b: Bench) -> None:
    """Each glitch upsets the logger: one reading of 60 to 300 mV, then no rows for 5 to 60 s, eight an hour."""
    t, v = outputs(b, 4, 7, min(b.step_s, 2.0))
    on = np.ones(t.size, bool)
    for i in np.searchsorted(t, arrivals(b.rng, float(t[-1]) - 100, 8.0)):
        if on[i] and t[i] > 60:
            v["left"][i] += b.rng.choice([-1, 1]) * b.rng.uniform(0.06, 0.3)
            on[i + 1 : np.searchsorted(t, t[i] + b.rng.uniform(5, 60))] = False
    ask(b, [kept(b.table(0, t, v), on)], faulty=True)


def clock_begins_again(b: Bench) -> None:
    """After one to three hours the logger restarts with its clock at the first of January 2000; one file. A constant fault, eight swings an hour. Nothing grows."""
    t, v = faulty(b, 4, 7, crackle(b, 8.0))
    table, i = b.table(0, t, v), int(np.searchsorted(t, b.rng.uniform(1, 3) * HOUR))
    table["time"][i:] = np.datetime64("2000-01-01T00:00:03.000", "ms") + (table["time"][i:] - table["time"][i])
    b.step("assess", [table], never=[*uncleared("left"), *no_growth("left")], must=("left noisy",))


def joined_backwards(b: Bench) -> None:
    """Two evenings in one file, the later one first; ten swings an hour in both. Nothing grows."""
    f = {"left": crackle(b, 10.0)}
    first, second = b.evening(0, b.rng.uniform(2, 4), f), b.evening(1, b.rng.uniform(2, 4), f)
    b.step("assess", [{k: np.concatenate([second[k], first[k]]) for k in first}], never=[*uncleared("left"), *no_growth("left")], must=("left noisy",), sound=b.others)


def columns_change_places(b: Bench) -> None:
    """After two to three hours of six the exports' columns change places: the left output's fault, ten swings an hour, stands on the right from there on. Neither may be cleared, neither has begun or ended."""
    fresh_names(b, "left", "right")
    t, v = faulty(b, 5, 7, crackle(b, 10.0))
    late_ = t > b.rng.uniform(2, 3) * HOUR
    v = {"left": np.where(late_, v["right"], v["left"]), "right": np.where(late_, v["left"], v["right"])}
    b.step("assess", [b.table(0, t, v)], never=[x for n in b.names for x in (*uncleared(n), f"{n} degrading")])


def columns_change_places_sound(b: Bench) -> None:
    """The same of a sound unit whose rests are 5 to 10 mV apart."""
    fresh_names(b, "left", "right")
    b.rest = {"left": b.rng.uniform(2.6e-3, 5e-3), "right": -b.rng.uniform(2.6e-3, 5e-3)}
    t, v = outputs(b, 5, 8)
    late_ = t > b.rng.uniform(2, 3) * HOUR
    ask(b, [b.table(0, t, {"left": np.where(late_, v["right"], v["left"]), "right": np.where(late_, v["left"], v["right"])})], faulty=False)


def millivolts_then_volts(b: Bench) -> None:
    """The header says millivolts; after half an hour to two the logger writes volts: all is a thousandth from there on, also the left output that goes to 1 to 20 V. Never cleared."""
    at = b.rng.uniform(0.5, 2) * HOUR
    t, v = faulty(b, 5, 9, stands(b.rng.uniform(2.2, 4) * HOUR, 1e9, between(b.rng, 1, 20)))
    v = {n: np.where(t < at, np.round(x / b.digit) * b.digit, np.round(x / b.digit) * b.digit / 1000) for n, x in v.items()}
    b.step("assess", [b.table(0, t, v, digit=1e-9)], never=[x for n in b.names for x in uncleared(n)])


def volts_then_millivolts(b: Bench) -> None:
    """The header says volts, and after some hours the logger writes millivolts: a sound rest of 5 mV reads 5 V from there on. It may be refused; nothing grows, and it had rather not be said to recur."""
    at = b.rng.uniform(1, 4) * HOUR
    t, v = outputs(b, 5, 8)
    b.step("assess", [b.table(0, t, {n: np.where(t < at, x, 1000 * x) for n, x in v.items()})], never=[x for n in b.names for x in no_growth(n)[:-1]], rather_not=[f"{n} intermittent yes" for n in b.names])


def error_codes(b: Bench) -> None:
    """The logger writes -999.9 where a reading failed, in single rows, 0.05 to 0.5 % of them, all channels at once. A sound unit; no page may call a code a danger, or a swing that recurs."""
    t, v = outputs(b, 4, 7)
    lost, code = b.rng.random(t.size) < between(b.rng, 5e-4, 5e-3), float(b.rng.choice([-999.9, 9999.0, -99.99, 65535.0]))
    b.fact(code=code)
    b.step("assess", [b.table(0, t, {n: np.where(lost, code, x) for n, x in v.items()})], never=[x for n in b.names for x in no_growth(n)], rather_not=[f"{n} {w}" for n in b.names for w in ("do not connect", "noisy")])


def code_hides_volts(b: Bench) -> None:
    """The logger writes 0.0000 for a range that overflows: the left output goes to 3 to 20 V for 10 to 60 s, four an hour, with one reading of 60 to 180 mV on the way there. Not cleared."""
    t, v = outputs(b, 4, 7, min(b.step_s, 2.0))
    for a in arrivals(b.rng, float(t[-1]) - 100, 4.0):
        i, j = np.searchsorted(t, (a, a + b.rng.uniform(10, 60)))
        v["left"][i:j] = 0.0
        v["left"][i] = b.rng.uniform(0.06, 0.18)
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")], sound=b.others)


def zeros_for_nothing(b: Bench) -> None:
    """The bus of the logger times out four to eight times, one to five minutes each, and 0.0000 stands in all columns. A sound unit of five hours and more."""
    t, v = outputs(b, 5.5, 9)
    for a in b.rng.uniform(600, t[-1] - 400, int(b.rng.integers(4, 9))):
        out = (t >= a) & (t < a + b.rng.uniform(60, 300))
        v = {n: np.where(out, 0.0, x) for n, x in v.items()}
    ask(b, [b.table(0, t, v)], faulty=False)


def every_row_twice(b: Bench) -> None:
    """Each row stands twice in the export, stamp and all. A sound unit, or eight swings an hour."""
    bad = b.rng.random() < 0.5
    t, v = faulty(b, 4, 7, crackle(b, 8.0)) if bad else outputs(b, 4, 7)
    ask(b, [kept(b.table(0, t, v), np.repeat(np.arange(t.size), 2))], faulty=bad)


def stamps_of_arrival(b: Bench) -> None:
    """Rows are sent in packets of five to thirty, each packet within some hundredths of a second, and stamped as they come in. A sound unit, or eight swings an hour of 30 to 60 s."""
    bad = b.rng.random() < 0.5
    t, v = faulty(b, 4, 7, crackle(b, 8.0, length_s=40.0), min(b.step_s, 2.0)) if bad else outputs(b, 4, 7, min(b.step_s, 2.0))
    k = int(b.rng.integers(5, 31))
    i = np.arange(t.size)
    table = b.table(0, t, v)
    packet = np.minimum((i // k + 1) * k - 1, t.size - 1)
    table["time"] = EPOCH + np.round(t[packet] * 1000 + 15 * (i % k)).astype("timedelta64[ms]")
    b.fact(packet_s=float(k * b.step_s))
    if bad or k * b.step_s < 20:
        ask(b, [table], faulty=bad)
    else:
        b.step("assess", [table], never=[x for n in b.names for x in nothing_shown(n)])


def rows_lost_at_random(b: Bench) -> None:
    """Stretches of 3 to 60 s are lost from all columns, 5 to 15 % of the time: a sound unit; or 45 to 70 %: too much to clear."""
    much = b.rng.random() < 0.5
    share = b.rng.uniform(*((0.45, 0.7) if much else (0.05, 0.15)))
    t, v = outputs(b, 5, 8, min(b.step_s, 2.0))
    on = ~telegraph(b.rng, t, 20, 20 * (1 - share) / share)
    b.fact(lost=float(1 - on.mean()))
    log = [kept(b.table(0, t, v), on)]
    if much:
        b.step("assess", log, never=[x for n in b.names for x in (f"{n} within*", *nothing_shown(n))])
    else:
        ask(b, log, faulty=False)


def own_cells_blank(b: Bench) -> None:
    """The left cells are blank for 3 to 20 s, two to six times, while the others are not: an overload that is written as nothing. Not cleared, and nothing shown."""
    fresh_names(b, "left", "right")
    t, v = outputs(b, 4, 7, min(b.step_s, 2.0))
    for a in b.rng.uniform(600, t[-1] - 60, int(b.rng.integers(2, 7))):
        v["left"][(t >= a) & (t < a + b.rng.uniform(3, 20) + b.step_s)] = np.nan
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")], sound=b.others)


def slow_reader(b: Bench) -> None:
    """One to three days at 25 to 29 s a reading, a sound unit, to be cleared; or at 61 to 120 s, too seldom, by rule."""
    seldom = b.rng.random() < 0.5
    t, v = outputs(b, 24, 72, b.rng.uniform(*((61, 120) if seldom else (25, 29))))
    b.fact(each_s=float(t[1]))
    log = [b.table(0, t, v)]
    if seldom:
        b.step("assess", log, never=[x for n in b.names for x in (f"{n} within*", *nothing_shown(n))])
    else:
        ask(b, log, faulty=False)


def off_for_days(b: Bench) -> None:
    """A log of four to seven days of which the unit was on for one hour to an hour and a half, somewhere in it. Not cleared: hardly an hour was seen."""
    t = b.instants(b.rng.uniform(96, 168), float(b.rng.choice([10.0, 20.0])))
    on, hours = b.rng.uniform(0.1, 0.8) * t[-1], b.rng.uniform(1, 1.5)
    never = [x for n in b.names for x in (*uncleared(n), *nothing_shown(n), f"{n} hours over {hours + 0.2:.3f}")]
    b.step("assess", [b.table(0, t, powered(b, t, [(on, on + hours * HOUR)]))], never=never)


def last_rows_only(b: Bench) -> None:
    """A logger of a ring: it holds the last 20 to 50 minutes only, read out once in the evening after hours of swings. A sound stretch of a faulty unit: never cleared, so short."""
    b.step("assess", [b.evening(0, b.rng.uniform(0.35, 0.85), warm=True)], never=[x for n in b.names for x in (*uncleared(n), *nothing_shown(n))])


def ten_minutes(b: Bench) -> None:
    """Ten minutes of a unit that stands at 0.9 to 30 V from the second minute on: short, and never to be connected."""
    size = between(b.rng, 0.9, 30)
    b.step_s = min(b.step_s, 5.0)
    b.step("assess", [b.evening(0, 1 / 6, {"left": stands(b.rng.uniform(60, 120), 1e9, size)})], never=[*uncleared("left"), "left hidden *"], must=DANGER)


def rounded_to_three_figures(b: Bench) -> None:
    """The export rounds to three figures: 5.23 mV, but 0.312 V. A sound unit about a rest that crosses zero, or swings, eight an hour."""
    bad = b.rng.random() < 0.5
    t, v = faulty(b, 4, 7, crackle(b, 8.0)) if bad else outputs(b, 4, 7)
    table = b.table(0, t, {n: x - b.rest[n] * 0.3 + 1e-4 * slow_noise(b.rng, t, 1.0) for n, x in v.items()}, digit=1e-7)
    for n in b.names:
        x = table[f"{n}_V"]
        scale = 10 ** (2 - np.floor(np.log10(np.maximum(np.abs(x), 1e-7))))
        table[f"{n}_V"] = np.round(x * scale) / scale
    ask(b, [table], faulty=bad)


KINDS = {f.__name__.replace("_", " "): late(f) for f in (
    ends_under_the_threshold, volts_behind_coupling, creeps_behind_coupling, only_positive, only_positive_dips, without_sign_sound,
    without_sign_drift, own_warmth, charger_plugged, on_bias_point, on_emitter_resistor, stalls_with_glitches, clock_begins_again,
    joined_backwards, columns_change_places, columns_change_places_sound, millivolts_then_volts, volts_then_millivolts,
    error_codes, code_hides_volts, zeros_for_nothing, every_row_twice, stamps_of_arrival, rows_lost_at_random, own_cells_blank, slow_reader,
    off_for_days, last_rows_only, ten_minutes, rounded_to_three_figures,
)}  # fmt: skip
