"""Stories of meters, loggers and rooms, the last set by one who has not read how the program decides, for `fresh_benches`. All data are invented.

Physics: integration, filters, aliased hum, warmth of a meter. Common practice, no source: ranges of 3.5 digits, rows that are lost
or filled, clocks that are set. Sizes and rates are invented. 'Sound' and 'faulty' are as in `fresh_last_units`.
"""

from __future__ import annotations

import numpy as np
from fresh_bench_parts import (
    HOUR,
    Bench,
    Table,
    arrivals,
    between,
    crackle,
    no_growth,
    nothing_shown,
    swings,
    uncleared,
)
from fresh_last_units import all_faulty
from fresh_late_meters import Volts, faulty, kept
from fresh_late_units import DANGER, late, stands
from fresh_odd_meters import ask, blocks, followed, outputs
from fresh_parts import EPOCH, Floats, slow_noise
from fresh_repairs import fresh_names


def either(b: Bench, low: float, high: float, per_h: float = 8.0, **how: float) -> tuple[bool, Floats, Volts]:
    """Give the outputs of a sound unit, or of one whose left output swings so often."""
    bad = bool(b.rng.random() < 0.5)
    b.fact(fault=str(bad))
    return bad, *(faulty(b, low, high, crackle(b, per_h, **how)) if bad else outputs(b, low, high))


def unseen(b: Bench, tables: list[Table]) -> None:
    """Ask of logs that are sound, and of which too little is known to ask for more: nothing may be shown."""
    b.step("assess", tables, never=[x for n in b.names for x in nothing_shown(n)])


def silent(b: Bench, tables: list[Table]) -> None:
    """Ask of logs of a left output that may not be cleared; nothing in it grows."""
    b.step("assess", tables, never=[*uncleared("left"), *no_growth("left")], sound=b.others)


# ------------------------------------------------------------ digits and ranges


def autorange_3_digits(b: Bench) -> None:
    """3.5 digits: 0.1 mV up to 0.2 V, 1 mV up to 2 V, 10 mV above. A sound unit, or eight swings an hour of 0.15 to 3 V."""
    bad, t, v = either(b, 4, 7, size=between(b.rng, 0.2, 2))
    table = b.table(0, t, v, digit=1e-6)
    for k in [x for x in table if x != "time"]:
        x = np.asarray(table[k])
        step = np.select([np.abs(x) < 0.2, np.abs(x) < 2], [1e-4, 1e-3], 1e-2)
        table[k] = np.round(x / step) * step
    ask(b, [table], faulty=bad)


def range_flips(b: Bench) -> None:
    """A meter that flips between two ranges by itself, some minutes each: digits of 0.1 and 1 mV, and zeros 1 to 2 mV apart. Sound."""
    t, v = outputs(b, 4, 7)
    coarse = swings(t, at := arrivals(b.rng, float(t[-1]), 4.0), b.rng.uniform(60, 500, at.size), 1.0) > 0
    apart = b.rng.uniform(1e-3, 2e-3)
    ask(b, [b.table(0, t, {n: np.where(coarse, np.round((x + apart) / 1e-3) * 1e-3, x) for n, x in v.items()}, digit=1e-4)], faulty=False)


def bit_of_six(b: Bench) -> None:
    """One bit of the converter flickers: 6.4 mV more in single readings of one channel, one reading in a hundred. Sound."""
    t, v = outputs(b, 4, 7)
    v["left"] = v["left"] + 0.0064 * (b.rng.random(t.size) < 0.01)
    ask(b, [b.table(0, t, v, digit=1e-4)], faulty=False)


def bit_of_fifty(b: Bench) -> None:
    """The same with a bit of 51.2 or 102.4 mV, four to ten an hour. Nobody knows that it is the meter: not cleared, nothing grows."""
    t, v = outputs(b, 4, 7)
    v["left"] = v["left"] + b.rng.choice([0.0512, 0.1024]) * (b.rng.random(t.size) < b.rng.uniform(4, 10) * t[1] / HOUR)
    silent(b, [b.table(0, t, v, digit=1e-4)])


def lost_point(b: Bench) -> None:
    """The decimal point is lost in one row of some hundreds, in all channels: ten or a hundred times as much. A sound unit: nothing grows, and a careful page calls it no fault of an output."""
    t, v = outputs(b, 4, 7)
    lost, by = b.rng.random(t.size) < between(b.rng, 5e-4, 4e-3), float(b.rng.choice([10, 100]))
    b.step("assess", [b.table(0, t, {n: np.where(lost, by * np.round(x, 4), x) for n, x in v.items()}, digit=1e-5)],
           never=[x for n in b.names for x in no_growth(n)], rather_not=[f"{n} intermittent yes" for n in b.names])  # fmt: skip


def sign_lost_swings(b: Bench) -> None:
    """A logger without the sign: swings of -0.15 to -0.4 V, eight an hour, read upwards. Not cleared."""
    t, v = faulty(b, 4, 7, crackle(b, 8.0, size=between(b.rng, 0.15, 0.4)))
    ask(b, [b.table(0, t, {n: np.abs(x) for n, x in v.items()})], faulty=True)


# ------------------------------------------------------------ zeros and warmth


def zero_follows_room(b: Bench) -> None:
    """The meter's zero goes with the room by 0.3 to 0.7 mV/K in all channels, 10 kelvin within a day and a half; the temperature may stand beside. Sound."""
    b.step_s = max(b.step_s, 2.0)
    t, v = outputs(b, 28, 38)
    kelvin = 5 * np.sin(2 * np.pi * t / 86400 + b.rng.uniform(0, 6))
    zero = b.rng.uniform(3e-4, 7e-4) * kelvin
    beside = {"room_C": np.round(17 + kelvin, 1)} if b.rng.random() < 0.5 else None
    ask(b, [b.table(0, t, {n: x + zero for n, x in v.items()}, beside=beside)], faulty=False)


def meter_set_anew(b: Bench) -> None:
    """After some hours the meter is calibrated without a mark: all channels 5 to 9 mV elsewhere from one row to the next. Sound."""
    t, v = outputs(b, 5, 8)
    step = b.rng.choice([-1, 1]) * b.rng.uniform(5e-3, 9e-3) * (t > b.rng.uniform(1.5, 4) * HOUR)
    ask(b, [b.table(0, t, {n: x + step for n, x in v.items()})], faulty=False)


def sun_on_terminals(b: Bench) -> None:
    """The sun wanders over the terminals: 1 to 3 mV for 10 to 30 minutes, in each channel at a time of its own. Sound."""
    t, v = outputs(b, 5, 8)
    for n in v:
        at = np.sort(b.rng.uniform(1000, t[-1] - 3000, 3))
        v[n] = v[n] + followed(swings(t, at, b.rng.uniform(600, 1800, 3), b.rng.uniform(1e-3, 3e-3)), t, 200.0)
    ask(b, [b.table(0, t, v)], faulty=False)


def common_lead_off(b: Bench) -> None:
    """The common lead falls off after one to two hours: all channels read pick-up of 20 to 150 mV, aliased, to the end. Nothing was seen from there on: not cleared, nothing grows."""
    t, v = outputs(b, 4, 7)
    off, size = t > b.rng.uniform(0.8, 1.6) * HOUR, between(b.rng, 0.02, 0.15)
    hum = size * np.sin(2 * np.pi * np.cumsum(b.rng.normal(0.31, 0.05, t.size)))
    all_faulty(b, b.table(0, t, {n: np.where(off, b.rng.uniform(0.7, 1) * hum, x) for n, x in v.items()}))


# ------------------------------------------------------------ rooms


def hot_afternoon(b: Bench) -> None:
    """The workshop warms by 8 kelvin within the afternoon, the rests by 0.5 to 1 mV/K, one up, one down; the temperature may stand beside. Sound."""
    t = b.instants(b.rng.uniform(6, 9))
    kelvin = 8 * np.sin(np.pi * t / t[-1] / 1.6)
    v = {n: b.output(t, n) + b.rng.choice([-1, 1]) * b.rng.uniform(5e-4, 1e-3) * kelvin for n in b.names}
    beside = {"room_C": np.round(19 + kelvin, 1)} if b.rng.random() < 0.5 else None
    b.step("assess", [b.table(0, t, v, beside=beside)], sound=b.names)


def source_clicks(b: Bench) -> None:
    """Each of four to six changes of the source clicks by 0.15 to 0.5 V for a second or two in all channels; nobody marked them. Not cleared, nothing grows."""
    t = b.instants(b.rng.uniform(4, 7), min(b.step_s, 1.0))
    click = swings(t, at := b.rng.uniform(600, t[-1] - 60, int(b.rng.integers(4, 7))), np.maximum(b.rng.uniform(1, 2, at.size), 1.1 * float(t[1])), between(b.rng, 0.15, 0.5))
    all_faulty(b, b.table(0, t, {n: b.output(t, n) + b.rng.uniform(0.7, 1) * click for n in b.names}))


def fridge_clicks(b: Bench) -> None:
    """A refrigerator clicks in all channels, one reading of 18 to 35 mV, two to three an hour. Not the unit: nothing grows, and nothing is dangerous."""
    t, size = b.instants(b.rng.uniform(4, 7)), b.rng.uniform(0.018, 0.035)
    click = swings(t, arrivals(b.rng, float(t[-1]), 2.5), float(t[1]) * 0.99, size)
    b.step("assess", [b.table(0, t, {n: b.output(t, n) + click for n in b.names})], never=[x for n in b.names for x in (*no_growth(n), f"{n} do not connect")])


# ------------------------------------------------------------ integration, filters, aliases


def pulses_integrated(b: Bench) -> None:
    """Pulses of 1 to 6 V and 20 to 100 ms, ten an hour, read by a meter that takes the mean of each second: single readings. Not cleared."""
    b.step_s, size = 1.0, between(b.rng, 1, 6)

    def left(t: Floats) -> Floats:
        out = np.zeros(t.size)
        for a in arrivals(b.rng, float(t[-1]) - 2, 10.0):
            out[int(a) + 1] += size * b.rng.uniform(0.02, 0.1)
        return out

    t, v = faulty(b, 4, 7, left)
    silent(b, [b.table(0, t, v)])


def behind_a_filter(b: Bench) -> None:
    """A filter of 8 to 30 s before the logger: pulses of 1 to 5 V and a second or two read 60 mV and more, and die slowly. Eight an hour; not cleared."""
    tau, b.step_s = b.rng.uniform(8, 30), min(b.step_s, 1.0)
    t, v = faulty(b, 4, 7, crackle(b, 8.0, size=tau * 0.1, length_s=1.5))
    ask(b, [b.table(0, t, {n: followed(x, t, tau) for n, x in v.items()})], faulty=True)


def filter_hides_pulses(b: Bench) -> None:
    """A filter of 60 s: pulses of 1 to 3 V and 0.2 s read 3 to 10 mV with a tail of a minute, twelve an hour. No page can know the volts; nothing grows, and a careful page does not clear."""
    t, v = outputs(b, 4, 7, 1.0)
    for a in arrivals(b.rng, float(t[-1]), 12.0):
        v["left"] = v["left"] + np.where(t >= a, b.rng.uniform(3e-3, 0.01) * np.exp(-np.maximum(t - a, 0) / 60), 0.0)
    b.step("assess", [b.table(0, t, v)], never=no_growth("left"), rather_not=uncleared("left"))


def hum_beats_slowly(b: Bench) -> None:
    """Hum of 3 to 6 mV, read at nearly a whole number of its periods: a wave of one to three hours in all channels (physics: aliasing). Sound."""
    t, v = outputs(b, 5, 8)
    wave, period = b.rng.uniform(3e-3, 6e-3), b.rng.uniform(1, 3) * HOUR
    ask(b, [b.table(0, t, {n: x + wave * np.sin(2 * np.pi * t / period + k) for k, (n, x) in enumerate(v.items())})], faulty=False)


def means_and_extremes(b: Bench) -> None:
    """One row a minute with mean, least and largest of the left output; swings of 0.2 to 0.5 V and 2 s, eight an hour, stand in the largest alone. The largest is not cleared."""
    b.step_s, size = 0.5, between(b.rng, 0.2, 0.5)
    t, v = faulty(b, 5, 8, crackle(b, 8.0, size=size, length_s=2.0))
    x = np.abs(v["left"])
    rows, what = blocks(b, t, {"mean": v["left"]}, 60, "mean")
    _, peak = blocks(b, t, {"largest": x}, 60, "peak")
    b.names = ("left", "mean")
    b.step("assess", [b.table(0, rows, {"left": peak["largest"], "mean": what["mean"]})], never=[*uncleared("left"), *no_growth("left")])


def drawn_smooth(b: Bench) -> None:
    """Read each ten seconds, and the export draws a smooth line (cubic) with a row each second. A sound unit, or eight swings an hour of 30 s."""
    b.step_s = 10.0
    bad, t, v = either(b, 4, 7, length_s=30.0)
    from scipy.interpolate import CubicSpline

    fine = np.arange(0.0, t[-1], 1.0)
    ask(b, [b.table(0, fine, {n: CubicSpline(t, x)(fine) for n, x in v.items()}, digit=1e-5)], faulty=bad)


# ------------------------------------------------------------ rows


def filled_over_volts(b: Bench) -> None:
    """The logger repeats the last reading while the input is over range, 15 to 90 s, four an hour, where the last digit moves else in each row. The volts cannot be known; a careful page does not clear."""
    b.digit, b.step_s = 1e-5, min(b.step_s, 2.0)
    t, v = outputs(b, 4, 7)
    for a in arrivals(b.rng, float(t[-1]) - 100, 4.0):
        i, j = np.searchsorted(t, (a, a + b.rng.uniform(15, 90)))
        v["left"][i:j] = v["left"][i]
    b.step("assess", [b.table(0, t, v)], never=no_growth("left"), rather_not=uncleared("left"))


def two_paces(b: Bench) -> None:
    """Two meters in one file: the left cells each second or two, the right ones each 15 to 29 s, blank between. A sound unit, or eight swings an hour on the left."""
    fresh_names(b, "left", "right")
    b.step_s = float(b.rng.choice([1.0, 2.0]))
    bad, t, v = either(b, 5, 8)
    v["right"][np.arange(t.size) % int(b.rng.integers(15, 29) / b.step_s) != 0] = np.nan
    ask(b, [b.table(0, t, v)], faulty=bad)


def two_files_two_meters(b: Bench) -> None:
    """The left output in one file, the right one in another with a pace of its own, both of the same evening. Sound."""
    fresh_names(b, "left", "right")
    slow = float(b.rng.choice([3.0, 5.0, 10.0]))
    hours = b.rng.uniform(5, 7)
    logs = [b.table(0, t, {n: b.output(t, n)}) for n, s in (("left", min(b.step_s, 2.0)), ("right", slow)) for t in (b.instants(hours, s),)]
    ask(b, logs, faulty=False)


def faster_on_event(b: Bench) -> None:
    """A reading each 10 s, and each half second for a minute from any swing on, six an hour of 20 to 40 s. Not cleared, and nothing grows."""
    b.step_s = 0.5
    t, v = faulty(b, 5, 8, crackle(b, 6.0, length_s=30.0))
    event = np.abs(v["left"] - b.rest["left"]) > 0.05
    near = np.convolve(event, np.ones(121), "full")[: t.size] > 0
    ask(b, [kept(b.table(0, t, v), near | (np.arange(t.size) % 20 == 0))], faulty=True)


def slower_when_calm(b: Bench) -> None:
    """A logger that goes slower the longer nothing happens: 1 s, 10 s, 60 s, at last 300 s. A sound unit of which little is seen: nothing shown."""
    t, v = outputs(b, 5, 9, 1.0)
    pace = np.select([t < 600, t < 3600, t < 7200], [1, 10, 60], 300)
    unseen(b, [kept(b.table(0, t, v), t % pace == 0)])


def computer_sleeps(b: Bench) -> None:
    """The computer sleeps for two to four minutes in each hour, the unit stays on. Sound, six hours and more."""
    t, v = outputs(b, 6, 9, min(b.step_s, 5.0))
    ask(b, [kept(b.table(0, t, v), t % HOUR < HOUR - b.rng.uniform(120, 240))], faulty=False)


def night_hides_step(b: Bench) -> None:
    """The computer sleeps for the night, the unit stays on; in the morning the left rest is 26 to 42 mV elsewhere. Not cleared."""
    t, v = outputs(b, 14, 17, max(b.step_s, 1.0))
    v["left"] = v["left"] + b.rng.choice([-1, 1]) * b.rng.uniform(0.026, 0.042) * (t > 8 * HOUR)
    b.step("assess", [kept(b.table(0, t, v), (t < 4 * HOUR) | (t > 11 * HOUR))], never=uncleared("left"))


def a_tenth_from_there(b: Bench) -> None:
    """After one to two hours the probe is set to ten to one: all is a tenth, and the left output at 0.4 to 3 V reads 40 to 300 mV. Not cleared."""
    t, v = faulty(b, 5, 8, stands(2.5 * HOUR, 1e9, between(b.rng, 0.4, 3)))
    late_ = t > b.rng.uniform(1, 2) * HOUR
    b.step("assess", [b.table(0, t, {n: np.where(late_, x / 10, x) for n, x in v.items()}, digit=1e-5)], never=[*uncleared("left"), "left degrading"])


def a_tenth_swings(b: Bench) -> None:
    """The same of a constant fault of twelve an hour and 0.25 V: 25 mV from there on. Nothing heals, it is not cleared."""
    t, v = faulty(b, 5, 8, crackle(b, 12.0))
    late_ = t > b.rng.uniform(1, 2) * HOUR
    b.step("assess", [b.table(0, t, {n: np.where(late_, x / 10, x) for n, x in v.items()}, digit=1e-5)], never=[*uncleared("left"), *no_growth("left")])


def right_is_a_copy(b: Bench) -> None:
    """The right column holds the left output's readings, cell by cell: a wrong setting. A careful page does not clear what nobody saw."""
    fresh_names(b, "left", "right")
    t, v = outputs(b, 4, 7)
    b.step("assess", [b.table(0, t, {"left": v["left"], "right": v["left"]})], never=[x for n in b.names for x in nothing_shown(n)], rather_not=["right within*"])


# ------------------------------------------------------------ clocks


def clock_set_back_hourly(b: Bench) -> None:
    """The computer's clock runs fast and is set back by one to three seconds each hour. Sound, five hours and more."""
    t, v = outputs(b, 5.5, 8)
    table = b.table(0, t, v)
    table["time"] = EPOCH + np.round((t - b.rng.uniform(1, 3) * (t // HOUR)) * 1000).astype("timedelta64[ms]")
    ask(b, [table], faulty=False)


def stamps_of_minutes(b: Bench) -> None:
    """Stamps hold hours and minutes only: six to sixty rows have the same. It may be refused; else nothing is shown of a sound unit."""
    b.step_s = float(b.rng.choice([1.0, 2.0, 5.0, 10.0]))
    t, v = outputs(b, 4, 7)
    table = b.table(0, t, v)
    table["time"] = EPOCH + np.floor(t / 60).astype("timedelta64[m]")
    unseen(b, [table])


def swings_under_one_stamp(b: Bench) -> None:
    """The same stamps and a fault of eight swings an hour: whatever is made of the stamps, it is not cleared."""
    b.step_s = float(b.rng.choice([1.0, 2.0, 5.0]))
    t, v = faulty(b, 4, 7, crackle(b, 8.0))
    table = b.table(0, t, v)
    table["time"] = EPOCH + np.floor(t / 60).astype("timedelta64[m]")
    b.step("assess", [table], never=[*uncleared("left"), *no_growth("left")])


def clock_stands(b: Bench) -> None:
    """The clock's cell runs down: from some hour on all rows have the same stamp, and 0.9 to 20 V stand in them. Not cleared."""
    at = b.rng.uniform(1.5, 3) * HOUR
    t, v = faulty(b, 4, 6, stands(at + 120, 1e9, between(b.rng, 0.9, 20)))
    table = b.table(0, t, v)
    table["time"] = EPOCH + np.round(np.minimum(t, at) * 1000).astype("timedelta64[ms]")
    b.step("assess", [table], never=[*uncleared("left"), *no_growth("left")])


def summer_time(b: Bench) -> None:
    """The clock goes an hour ahead in mid-log, without a row lost. Sound, five hours and more."""
    t, v = outputs(b, 5.5, 8)
    table = b.table(0, t, v)
    table["time"] = table["time"] + np.where(t > b.rng.uniform(1, 4) * HOUR, 3_600_000, 0).astype("timedelta64[ms]")
    unseen(b, [table])


def rows_out_of_order(b: Bench) -> None:
    """Rows are sent in packets, and two packets of a hundred change places. A sound unit, or eight swings an hour: nothing grows, and a fault is not cleared."""
    bad, t, v = either(b, 5, 8)
    order = np.arange(t.size)
    for i in b.rng.integers(20, t.size // 20 - 2, 6):
        order[20 * i : 20 * i + 40] = np.roll(order[20 * i : 20 * i + 40], 20)
    table = kept(b.table(0, t, v), order)
    b.step("assess", [table], never=[*(uncleared("left") if bad else nothing_shown("left")), *no_growth("left")])


def sixty_readings_of_volts(b: Bench) -> None:
    """A log that ends with the danger: five clean hours, and the last 20 to 60 s stand at 1 to 30 V. Do not connect."""
    hours = b.rng.uniform(4, 6)
    b.step_s = min(b.step_s, 5.0)
    t = b.instants(hours)
    v = {n: b.output(t, n) for n in b.names}
    v["left"] = v["left"] + stands(hours * HOUR - b.rng.uniform(20, 60), 1e9, between(b.rng, 1, 30))(t)
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")[:-1]], must=DANGER, sound=b.others)


def hum_of_the_bench(b: Bench) -> None:
    """Noise of a bench by day: 0.5 to 1.5 mV like 1/f in all channels, with a fault of ten an hour, or none."""
    bad, t, v = either(b, 5, 8, 10.0)
    size = b.rng.uniform(5e-4, 1.5e-3)
    ask(b, [b.table(0, t, {n: x + slow_noise(b.rng, t, size) for n, x in v.items()})], faulty=bad)


KINDS = {f.__name__.replace("_", " "): late(f) for f in (
    autorange_3_digits, range_flips, bit_of_six, bit_of_fifty, lost_point, sign_lost_swings, zero_follows_room, meter_set_anew,
    sun_on_terminals, common_lead_off, hot_afternoon, source_clicks, fridge_clicks, pulses_integrated, behind_a_filter, filter_hides_pulses, hum_beats_slowly, means_and_extremes,
    drawn_smooth, filled_over_volts, two_paces, two_files_two_meters, faster_on_event, slower_when_calm, computer_sleeps,
    night_hides_step, a_tenth_from_there, a_tenth_swings, right_is_a_copy, clock_set_back_hourly, stamps_of_minutes,
    swings_under_one_stamp, clock_stands, summer_time, rows_out_of_order, sixty_readings_of_volts, hum_of_the_bench,
)}  # fmt: skip
