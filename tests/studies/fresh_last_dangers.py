"""Stories of dangers in odd places of a log, for `fresh_benches`: where a reader, a clock or a relay might lose them. All data are invented.

The last set by one who has not read how the program decides. Physics: relays that open, protection that trips, standby supplies.
Common practice, no source: files that follow each other, rows without a stamp, stamps that stand twice. Sizes are invented.
"""

from __future__ import annotations

import numpy as np
from fresh_bench_parts import HOUR, Bench, arrivals, between, no_growth, swings, uncleared
from fresh_last_units import humps
from fresh_late_meters import kept
from fresh_late_units import DANGER, late, stands
from fresh_odd_meters import outputs
from fresh_repairs import powered


def never_clear(b: Bench, tables: list[dict[str, object]], must: tuple[str, ...] = ()) -> None:
    """Ask of logs whose left output is dangerous, and in which nothing grows; the others need not be cleared."""
    b.step("assess", tables, never=[*uncleared("left"), *no_growth("left")], must=must)


# ------------------------------------------------------------ relays, fuses and standby


def standby_volts(b: Bench) -> None:
    """In standby the supply of one rail goes, and the left output stands at 0.9 to 8 V; in operation it rests at some millivolts. Two hours each. Never to be connected."""
    _standby(b, between(b.rng, 0.9, 8), DANGER)


def standby_decivolts(b: Bench) -> None:
    """The same with 70 to 300 mV: not cleared."""
    _standby(b, between(b.rng, 0.07, 0.3), ())


def _standby(b: Bench, size: float, must: tuple[str, ...]) -> None:
    t = b.instants(b.rng.uniform(5, 7))
    sleeps = (t > 2 * HOUR) & (t < 4 * HOUR)
    v = {n: np.where(sleeps, 3e-5 * b.rng.standard_normal(t.size), b.output(t, n)) for n in b.names}
    v["left"] = v["left"] + np.where(sleeps, size * (1 + 2e-4 * b.rng.standard_normal(t.size)), 0.0)
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left"), "left hidden *"], must=must)


def fuse_blows(b: Bench) -> None:
    """A rail fuse blows: one or two readings of 2 to 30 V, and the output is dead to the end. It died."""
    at, size = b.rng.uniform(1.3, 4) * HOUR, between(b.rng, 2.2, 30)
    t = b.instants(at / HOUR + b.rng.uniform(0.5, 2))
    v = {n: b.output(t, n) for n in b.names}
    dead = 2e-5 * b.rng.standard_normal(t.size)
    i = int(np.searchsorted(t, at))
    v["left"][i:] = dead[i:]
    v["left"][i : i + int(b.rng.integers(1, 3))] = size
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")], must=DANGER)


def standby_swings(b: Bench) -> None:
    """Hours of standby at zero, and in them the left output swings by 0.1 to 0.5 V for 5 to 20 s, ten an hour: the relay is welded. Not cleared."""
    t = b.instants(b.rng.uniform(6, 9), min(b.step_s, 5.0))
    on = t < 3.3 * HOUR
    v = {n: np.where(on, b.output(t, n), 3e-5 * b.rng.standard_normal(t.size)) for n in b.names}
    swing = swings(t, at := arrivals(b.rng, float(t[-1]), 10.0), b.rng.uniform(6, 20, at.size), between(b.rng, 0.1, 0.5))
    v["left"] = v["left"] + np.where(on, 0.0, swing)
    b.step("assess", [b.table(0, t, v)], never=uncleared("left"))


def relay_drops_out(b: Bench) -> None:
    """Behind the relay: it opens for 8 to 30 s, ten an hour, and zero stands in place of 0.3 to 3 V. A protection that opens so often is no sound unit: not cleared, and it must be told."""
    _opens(b, ("left",))


def relay_drops_both(b: Bench) -> None:
    """The same relay cuts all outputs at once. None is cleared."""
    _opens(b, b.names)


def _opens(b: Bench, which: tuple[str, ...]) -> None:
    t = b.instants(b.rng.uniform(4, 7), min(b.step_s, 5.0))
    off = swings(t, at := arrivals(b.rng, float(t[-1]), 10.0), b.rng.uniform(8, 30, at.size), 1.0) > 0
    v = {n: b.output(t, n) for n in b.names}
    zero = b.rng.normal(0, 5e-5)
    for n in which:
        v[n] = np.where(off, zero + 3e-5 * b.rng.standard_normal(t.size), v[n])
    b.step("assess", [b.table(0, t, v)], never=[x for n in which for x in (*uncleared(n), *no_growth(n))])


def trips_like_switching(b: Bench) -> None:
    """The left output goes to 0.18 to 0.28 V within some seconds, the protection takes the whole unit off for two to five minutes, and it starts again by itself; five to eight times. Not cleared."""
    b.step_s, size = min(b.step_s, 2.0), b.rng.uniform(0.18, 0.28)
    at = np.cumsum(b.rng.uniform(35, 60, int(b.rng.integers(5, 9)))) * 60
    t = b.instants(float(at[-1]) / HOUR + 1.5)
    spans = list(zip([0.0, *(at + b.rng.uniform(120, 300, at.size))], [*at, float(t[-1]) + 1], strict=True))
    v = powered(b, t, spans)
    for a in at:
        v["left"] = v["left"] + size * np.clip((t - a + 6) / 5, 0, 1) * (t < a)
    never_clear(b, [b.table(0, t, v)])


# ------------------------------------------------------------ places in a log


def across_two_files(b: Bench) -> None:
    """Two files that follow each other without a pause; the last 4 to 10 s of the first and the first of the second stand at 1 to 20 V. Do not connect."""
    b.step_s = min(b.step_s, 2.0)
    cut, size = b.rng.uniform(2, 3) * HOUR, between(b.rng, 1, 20)
    t, v = outputs(b, 5, 7)
    v["left"] = v["left"] + stands(cut - b.rng.uniform(4, 10), cut + b.rng.uniform(4, 10), size)(t)
    table = b.table(0, t, v)
    never_clear(b, [kept(table, t < cut), kept(table, t >= cut)], DANGER)


def start_of_second_file(b: Bench) -> None:
    """The same, and the 0.8 to 10 V stand in the first 3 to 7 s of the second file only. A file is no switching-on. Not cleared."""
    b.step_s = min(b.step_s, 1.0)
    cut, size = b.rng.uniform(2, 3) * HOUR, between(b.rng, 0.8, 10)
    t, v = outputs(b, 5, 7)
    v["left"] = v["left"] + stands(cut, cut + b.rng.uniform(3, 7), size)(t)
    table = b.table(0, t, v)
    never_clear(b, [kept(table, t < cut), kept(table, t >= cut)])


def alone_between_gaps(b: Bench) -> None:
    """One row of 1.5 to 20 V stands alone, with four to ten minutes without rows before and after it. Not cleared."""
    t, v = outputs(b, 5, 8)
    i = int(b.rng.uniform(0.3, 0.8) * t.size)
    v["left"][i] = between(b.rng, 1.5, 20)
    on = (t < t[i] - b.rng.uniform(240, 600)) | (t > t[i] + b.rng.uniform(240, 600))
    on[i] = True
    never_clear(b, [kept(b.table(0, t, v), on)])


def two_rows_one_stamp(b: Bench) -> None:
    """Six to twelve times two rows have one stamp: the first is as ever, the second stands at 1 to 12 V. Not cleared."""
    t, v = outputs(b, 5, 7)
    i = np.sort(b.rng.choice(np.arange(2000 if t.size > 4000 else 500, t.size), int(b.rng.integers(6, 13)), replace=False))
    table, size = b.table(0, t, v), between(b.rng, 1, 12)
    order = np.sort(np.concatenate([np.arange(t.size), i]))
    table = kept(table, order)
    second = np.flatnonzero(np.diff(order, prepend=-1) == 0)
    table["left_V"][second] = size
    never_clear(b, [table])


def rows_without_stamp(b: Bench) -> None:
    """Ten to forty rows have no stamp, and 1 to 20 V stand in them. It may be refused; it is not cleared."""
    t, v = outputs(b, 5, 7)
    i, n = int(b.rng.uniform(0.3, 0.8) * t.size), int(b.rng.integers(10, 40))
    v["left"][i : i + n] = between(b.rng, 1, 20)
    table = b.table(0, t, v)
    table["time"][i : i + n] = np.datetime64("NaT")
    never_clear(b, [table])


def first_reading(b: Bench) -> None:
    """The first row of a log that begins in mid-operation stands at 1.5 to 30 V, all others at some millivolts. Not cleared."""
    t = b.instants(b.rng.uniform(4, 7))
    v = {n: b.output(t, n, warm=True) for n in b.names}
    v["left"][0] = between(b.rng, 1.5, 30)
    never_clear(b, [b.table(0, t, v)])


def before_the_pause(b: Bench) -> None:
    """The logger stops for half an hour to two just as the output leaves: the last row before it stands at 0.3 to 3 V. Not cleared."""
    t, v = outputs(b, 6, 9)
    i = int(b.rng.uniform(0.3, 0.7) * t.size)
    v["left"][i] = between(b.rng, 0.3, 3)
    never_clear(b, [kept(b.table(0, t, v), (t <= t[i]) | (t > t[i] + b.rng.uniform(0.5, 2) * HOUR))])


def beside_a_restart(b: Bench) -> None:
    """The unit is switched off and on after two to three hours; 9 to 25 s after that the left output bulges by 0.25 to 3 V. Not cleared."""
    b.step_s, at = min(b.step_s, 2.0), b.rng.uniform(2, 3) * HOUR
    t = b.instants(at / HOUR + b.rng.uniform(3.5, 5))
    on, size = at + b.rng.uniform(90, 900), between(b.rng, 0.25, 3)
    v = powered(b, t, [(0.0, at), (on, float(t[-1]) + 1)])
    v["left"] = v["left"] + humps(t, np.array([on + b.rng.uniform(14, 22)]), 4.0, size)
    never_clear(b, [b.table(0, t, v)])


def in_the_other_sign(b: Bench) -> None:
    """Rests of +5 mV; -0.5 to -2 V for 4 to 10 s, once an hour, from a logger that clips below -10 mV. It reads -10 mV. The volts cannot be known; nothing grows, and a careful page does not clear."""
    size = between(b.rng, 0.5, 2)
    b.rest["left"] = abs(b.rest["left"])
    t, v = outputs(b, 5, 8, min(b.step_s, 2.0))
    v["left"] = np.maximum(v["left"] - swings(t, at := arrivals(b.rng, float(t[-1]), 3.0), np.maximum(b.rng.uniform(4, 10, at.size), 2.2), size), -0.01)
    b.step("assess", [b.table(0, t, v)], never=no_growth("left"), rather_not=uncleared("left"))


def volts_as_millivolts(b: Bench) -> None:
    """Volts under a heading of millivolts from the first row on: the left output stands at 3 to 20 V and reads 3 to 20 mV, the others some microvolts. A careful page does not clear."""
    t, v = outputs(b, 5, 8)
    v["left"] = v["left"] + between(b.rng, 3, 20)
    b.step("assess", [b.table(0, t, {n: np.round(x / b.digit) * b.digit / 1000 for n, x in v.items()}, digit=1e-9)], never=no_growth("left"), rather_not=uncleared("left"))


KINDS = {f.__name__.replace("_", " "): late(f) for f in (
    standby_volts, standby_decivolts, fuse_blows, standby_swings, relay_drops_out, relay_drops_both, trips_like_switching, across_two_files,
    start_of_second_file, alone_between_gaps, two_rows_one_stamp, rows_without_stamp, first_reading, before_the_pause, beside_a_restart,
    in_the_other_sign, volts_as_millivolts,
)}  # fmt: skip
