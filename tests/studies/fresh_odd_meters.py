"""Stories of meters and loggers with habits that nobody drew yet, for `fresh_benches`. All data are invented.

Written by one who has not read how the program decides. Physics: integration, averaging, aliasing, thermal and chopped
zeros. Common practice, no source: logs that overlap, peaks that are held, rows that are sent late, readings kept only when
they change, batteries that fade. Sizes and rates are invented. 'Sound' and 'faulty' are as in `fresh_odd_units`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from fresh_bench_parts import (
    HOUR,
    Bench,
    Shape,
    Table,
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
from fresh_odd_units import varied
from fresh_parts import Floats, slow_noise
from fresh_repairs import fresh_names


def outputs(b: Bench, low: float, high: float, step_s: float = 0.0) -> tuple[Floats, dict[str, Floats]]:
    """Give the instants of some hours, and the sound outputs at them."""
    t = b.instants(b.rng.uniform(low, high), step_s)
    return t, {n: b.output(t, n) for n in b.names}


def ask(b: Bench, tables: Sequence[Table], *, faulty: bool, must: tuple[str, ...] = ("left noisy",), never: Sequence[str] = ()) -> None:
    """Ask of logs whose left output is faulty, at a rate that does not grow, or sound."""
    if faulty:
        b.step("assess", tables, never=[*uncleared("left"), *no_growth("left"), "left hidden *", *never], must=must, sound=b.others)
    else:
        b.step("assess", tables, sound=b.names)


def blocks(b: Bench, t: Floats, v: Mapping[str, Floats], k: int, how: str) -> tuple[Floats, dict[str, Floats]]:
    """Write one row for each k readings: the last of them, their mean, or the one farthest from zero (a peak hold)."""
    m = t.size // k

    def cells(x: Floats) -> Floats:
        rows = x[: m * k].reshape(m, k)
        return np.asarray(rows.mean(axis=1) if how == "mean" else rows[np.arange(m), np.abs(rows).argmax(axis=1)])

    return t[: m * k].reshape(m, k)[:, -1], {n: cells(x) for n, x in v.items()}


def followed(x: Floats, t: Floats, tau_s: float) -> Floats:
    """Give what an exponential average of this time constant shows (physics of a filter of one pole)."""
    from scipy.signal import lfilter

    a = float(np.exp(-(t[1] - t[0]) / tau_s))
    return np.asarray(lfilter([1 - a], [1, -a], x, zi=[a * x[0]])[0])


def dead_band(b: Bench, t: Floats, v: Mapping[str, Floats], band_V: float) -> dict[str, Floats]:
    """Keep a reading only where it left the last kept one by a band; the export draws straight lines between those kept."""
    out = {}
    for n, x in v.items():
        kept, last = [0], x[0]
        for i, y in enumerate(x.tolist()):
            if abs(y - last) >= band_V or i == x.size - 1 or i - kept[-1] >= 600:
                if i - kept[-1] > 1:
                    kept.append(i - 1)
                kept.append(i)
                last = y
        out[n] = np.interp(t, t[kept], x[kept])
    return out


# ------------------------------------------------------------ peaks, means, averages


def peaks_of_a_minute(b: Bench) -> None:
    """A logger that writes the reading farthest from zero of each 5 to 30 s; a sound unit: rest and noise, a little more of it."""
    t, v = outputs(b, 4, 8, 0.5)
    t, v = blocks(b, t, v, int(b.rng.integers(10, 60)), "peak")
    ask(b, [b.table(0, t, v)], faulty=False)


def peaks_with_glitches(b: Bench) -> None:
    """The same logger; glitches of 80 to 400 mV, each a thousandth of a second, ten an hour, that it catches each and holds for one row."""
    t, v = outputs(b, 4, 8, 0.5)
    t, v = blocks(b, t, v, int(b.rng.integers(10, 50)), "peak")
    at = np.unique(np.searchsorted(t, arrivals(b.rng, float(t[-60]), 10.0)) + 40)
    v["left"][at] = b.rng.uniform(0.08, 0.4, at.size)
    ask(b, [b.table(0, t, v)], faulty=True)


def peak_for_good(b: Bench) -> None:
    """The peak hold is never reset: from the first glitch of 60 to 300 mV on the reading stands there; later, larger ones lift it."""
    t, v = outputs(b, 4, 7)
    peaks = crackle(b, 6.0, size=between(b.rng, 0.06, 0.2))(t)
    v["left"] = np.maximum.accumulate(np.abs(v["left"] + peaks))
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")[:-1], "left hidden *"], rather_not=("left since *",), sound=())


def running_average(b: Bench) -> None:
    """A logger whose average has a time constant of 5 to 30 s: swings of 0.4 to 1.5 V and a second or two show as steps of 40 mV and more that die away."""
    tau = b.rng.uniform(5, 30)
    t, v = outputs(b, 4, 7, min(b.step_s, 2.0))
    v["left"] = v["left"] + swings(t, at := arrivals(b.rng, float(t[-1]), 12.0), 2.2, between(b.rng, 0.05, 0.12) * tau / 2.2 * b.rng.uniform(0.8, 1.5, at.size))
    ask(b, [b.table(0, t, {n: followed(x, t, tau) for n, x in v.items()})], faulty=True)


def running_average_sound(b: Bench) -> None:
    """The same average on a sound unit: no white noise is left, and neighbouring readings are alike."""
    t, v = outputs(b, 4, 7, min(b.step_s, 2.0))
    ask(b, [b.table(0, t, {n: followed(x, t, b.rng.uniform(5, 30)) for n, x in v.items()}, digit=min(b.digit, 2e-5))], faulty=False)


# ------------------------------------------------------------ zeros, spikes, beats


def auto_zero_saw(b: Bench) -> None:
    """The meter's zero creeps, and is set right each 8 to 40 minutes: a saw of 0.5 to 3 mV in all channels of it. Sound."""
    period, size = b.rng.uniform(480, 2400), b.rng.uniform(5e-4, 3e-3)
    all_sound(b, b.rng.uniform(4, 7), lambda t: size * (t % period) / period)


def chopper_spikes(b: Bench) -> None:
    """A chopped amplifier in the meter beats with the readings: one of 7 to 61 is off by 2 to 6 mV, regularly. Sound."""
    every, size = int(b.rng.integers(7, 62)), b.rng.uniform(2e-3, 6e-3)
    all_sound(b, b.rng.uniform(4, 7), lambda t: np.where(np.arange(t.size) % every == 3, size, 0.0))


def beats_near_zero(b: Bench) -> None:
    """A meter for 50 Hz where the mains have 60: hum is left, and beats with the readings, 1 to 4 mV, 20 s to 20 minutes, about a rest of half a millivolt."""
    size, period = between(b.rng, 1e-3, 4e-3), between(b.rng, 20, 1200)
    b.rest = {n: float(b.rng.uniform(-5e-4, 5e-4)) for n in b.names}
    b.fact(size_V=size, period_s=period)
    all_sound(b, b.rng.uniform(4, 7), lambda t: size * np.sin(2 * np.pi * np.cumsum((1 + 0.15 * slow_noise(b.rng, t, 1.0)) * (t[1] - t[0]) / period)))


def zero_key_on_fault(b: Bench) -> None:
    """The output stands at 90 to 300 mV; after 8 to 40 minutes somebody presses the key that sets the display to zero: it reads nothing from there on."""
    t, v = outputs(b, 4.5, 8)
    size, at = between(b.rng, 0.09, 0.3), b.rng.uniform(500, 2400)
    v["left"] = v["left"] + size * (1 - np.exp(-t / 30))
    i = int(np.searchsorted(t, at))
    v["left"] = np.where(np.arange(t.size) < i, v["left"], v["left"] - v["left"][i])
    b.fact(size_V=size, at_s=float(at))
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")[:-1]], sound=b.others)


def zero_key(b: Bench) -> None:
    """The same key on a sound unit: a rest of 3 to 9 mV reads nothing from there on. What follows was seen all the same."""
    t, v = outputs(b, 4.5, 8)
    i = int(np.searchsorted(t, b.rng.uniform(500, 7000)))
    v["left"] = np.where(np.arange(t.size) < i, v["left"], v["left"] - v["left"][i])
    b.step("assess", [b.table(0, t, v)], never=nothing_shown("left"), must=("left within*",), sound=b.others)


def counter_wraps(b: Bench) -> None:
    """A converter of 16 bits wraps: an output at 21 to 38 V of a range of 20 V reads as the negative of what is missing to 40 V."""
    t, v = outputs(b, 4, 7)
    size, at = b.rng.uniform(21, 38), b.rng.uniform(600, 10_000)
    x = v["left"] + np.where((t >= at) & (t < at + between(b.rng, 3, 3000)), size, 0.0)
    v["left"] = (x + 20) % 40 - 20
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left"), "left hidden *"], must=("left do not connect",), sound=b.others)


# ------------------------------------------------------------ rows that are kept, sent late, or twice


def lines_between(b: Bench) -> None:
    """An archive keeps a reading when it left the last one by 2 mV, and exports straight lines between those kept. A sound unit: nothing is shown of it."""
    t, v = outputs(b, 4, 7)
    v = dead_band(b, t, v, 2e-3)
    b.step("assess", [b.table(0, t, v, digit=1e-6)], never=[x for n in b.names for x in nothing_shown(n)], rather_not=[f"{n} inconclusive" for n in b.names])


def lines_between_fault(b: Bench) -> None:
    """The same archive, and twelve swings an hour of 0.1 to 0.4 V: their edges are kept."""
    t, v = outputs(b, 4, 7)
    v["left"] += crackle(b, 12.0, length_s=4.0)(t)
    v = dead_band(b, t, v, 2e-3)
    b.step("assess", [b.table(0, t, v, digit=1e-6)], never=[*uncleared("left"), *no_growth("left"), "left hidden *"], must=("left noisy",))


def clocks_apart(b: Bench) -> None:
    """Two meters of one rate, their clocks a two-thousandth apart, joined to the nearest stamp: now and then a value comes twice or never. Sound."""
    fresh_names(b, "left", "right")
    t, v = outputs(b, 4, 7)
    share = b.rng.uniform(2e-4, 8e-4) * b.rng.choice([-1, 1])
    i = np.round(np.arange(t.size) * (1 + share)).astype(int).clip(0, t.size - 1)
    b.step("assess", [b.table(0, t, {"left": v["left"], "right": v["right"][i]})], sound=b.names)


def hour_files_overlap(b: Bench) -> None:
    """Hourly files, each of which begins with the last 1 to 6 minutes of the one before. A sound unit."""
    ask(b, _overlapping(b, {}), faulty=False)


def swing_in_overlap(b: Bench) -> None:
    """The same files; the one swing of the evening lies where two of them overlap, and stands in both: it came once."""

    def once(t: Floats) -> Floats:
        return swings(t, np.asarray([2 * HOUR - 40.0]), max(6.0, 2.2 * b.step_s), 0.25)

    b.step("assess", _overlapping(b, {"left": once}), never=[*uncleared("left"), *no_growth("left"), "left noisy", "left intermittent yes"], must=("left one-off",), sound=b.others)


def _overlapping(b: Bench, faults: Mapping[str, Shape]) -> list[Table]:
    t, v = outputs(b, 4.2, 7)
    for n, f in faults.items():
        v[n] = v[n] + f(t)
    whole, back = b.table(0, t, v), b.rng.uniform(60, 360)
    cuts = [(max(0.0, HOUR * k - back), HOUR * (k + 1)) for k in range(int(t[-1] // HOUR) + 1)]
    return [{k: x[int(np.searchsorted(t, p)) : int(np.searchsorted(t, q))] for k, x in whole.items()} for p, q in cuts if q - p > 600 and t[-1] - p > 700]


def whole_seconds(b: Bench) -> None:
    """Two or four readings a second, stamped to whole seconds: each stamp comes as often. A sound unit, or ten swings an hour."""
    b.step_s, faulty = float(b.rng.choice([0.25, 0.5])), bool(b.rng.random() < 0.5)
    t, v = outputs(b, 4, 6)
    if faulty:
        v["left"] += crackle(b, 10.0)(t)
    ask(b, [b.table(0, np.floor(t), v)], faulty=faulty)


def rows_late(b: Bench) -> None:
    """Radio: lost rows are sent again, and stand up to half a minute too late in the file, with true stamps. A sound unit."""
    t, v = outputs(b, 4, 6, max(b.step_s, 1.0))
    late = np.where(b.rng.random(t.size) < 0.002, b.rng.uniform(5, 30, t.size), 0.0)
    order = np.argsort(t + late, kind="stable")
    ask(b, [{k: x[order] for k, x in b.table(0, t, v).items()}], faulty=False)


def only_events(b: Bench) -> None:
    """A logger that writes only what goes beyond 30 mV, with ten seconds before and after it: the quiet hours are not in the file."""
    t, v = outputs(b, 5, 8, min(b.step_s, 1.0))
    bad = crackle(b, 10.0)(t)
    v["left"] += bad
    near = np.convolve(np.abs(v["left"]) > 0.03, np.ones(int(20 / (t[1] - t[0])) + 1), "same") > 0
    near[:60] = True
    whole = b.table(0, t, v)
    b.step("assess", [{k: x[near] for k, x in whole.items()}], never=[*uncleared("left"), *no_growth("left"), "left hidden *"],
           rather_not=[f"{n} {w}" for n in b.others for w in ("within*", "steady")])  # fmt: skip


def five_minutes_an_hour(b: Bench) -> None:
    """A logger that saves its battery: five minutes of each hour, two to three days. A sound unit, of which little was seen."""
    t, v = outputs(b, 40, 70, max(b.step_s, 1.0))
    keep = t % HOUR < 300
    b.step("assess", [{k: x[keep] for k, x in b.table(0, t, v).items()}], never=[x for n in b.names for x in nothing_shown(n)])


def rate_fades(b: Bench) -> None:
    """The logger's battery fades: 1 s a reading at first, then 2, 4, 8 and 16 s. Swings of 20 to 60 s by one law throughout: nothing grows."""
    t, v = outputs(b, 8, 12, 1.0)
    length = b.rng.uniform(34, 60)
    v["left"] += crackle(b, 8.0, length_s=length)(t)
    every = 2 ** np.minimum(np.floor(5 * t / (t[-1] + 1)), 4).astype(int)
    keep = np.arange(t.size) % every == 0
    ask(b, [{k: x[keep] for k, x in b.table(0, t, v).items()}], faulty=True)


def probe_by_ten(b: Bench) -> None:
    """From an hour or two on the probe stands at ten to one: swings of 0.3 to 0.9 V read as 30 to 90 mV. Nothing heals."""
    t, v = outputs(b, 5, 7)
    v["left"] += crackle(b, 12.0, size=0.6)(t)
    at = b.rng.uniform(1, 2) * HOUR
    v = {n: np.where(t < at, x, x / 10) for n, x in v.items()}
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")[:-1], "left since more often"], rather_not=("left since less often",))


def leaves_the_range(b: Bench) -> None:
    """A pocket meter counts to 4000 and changes its range by itself: swings to volts cost it a blank cell or two before each reading."""
    t, v = outputs(b, 4, 7)
    at = arrivals(b.rng, float(t[-1]), 8.0)
    size = swings(t, at, np.maximum(8.0, 4.2 * b.step_s), between(b.rng, 0.5, 3))
    edge = np.diff(size, prepend=0.0) != 0
    x = np.where(np.abs(size) > 0.4, np.round((v["left"] + size) / 1e-3) * 1e-3, v["left"])
    v["left"] = np.where(edge, np.nan, x)
    one = ("left noisy", "left do not connect")
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left"), "left hidden *"], must=("|".join(one),), sound=b.others)


def slow_swings_of_meter(b: Bench) -> None:
    """Ten megohm and a filter before the meter: swings of half a minute and 0.1 to 0.3 V come round and late, eight an hour."""
    tau = b.rng.uniform(4, 12)
    one_faulty(b, b.rng.uniform(4, 7), lambda t: followed(crackle(b, 8.0, length_s=max(30.0, 3 * b.step_s))(t), t, tau), must=("left noisy",), never=no_growth("left"))


KINDS = {f.__name__.replace("_", " "): varied(f) for f in (
    peaks_of_a_minute, peaks_with_glitches, peak_for_good, running_average, running_average_sound, auto_zero_saw, chopper_spikes, beats_near_zero,
    zero_key_on_fault, zero_key, counter_wraps, lines_between, lines_between_fault, clocks_apart, hour_files_overlap, swing_in_overlap,
    whole_seconds, rows_late, only_events, five_minutes_an_hour, rate_fades, probe_by_ten, leaves_the_range, slow_swings_of_meter,
)}  # fmt: skip
