"""Stories of meters, scanners and loggers on a repairer's bench, for `fresh_benches`. All data are invented.

Physics and habits: a scanner reads one channel after the other and keeps a residue of the one before; a range ends, or its
digit hides what moves; a battery's sag shifts the zero; local clocks are set twice a year; files end at midnight; a
program that joins two meters leaves cells empty or fills them forward. Whether the unit is sound stands in each story.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

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
from fresh_parts import EPOCH, Floats
from fresh_repairs import fresh_names, powered


def _hours(b: Bench, low: float, high: float, step_s: float = 0.0) -> tuple[Floats, dict[str, Floats]]:
    """Give instants and sound outputs."""
    t = b.instants(b.rng.uniform(low, high), step_s)
    return t, {n: b.output(t, n) for n in b.names}


def _fault(b: Bench, table: Table, *, must: tuple[str, ...] = ("left noisy",), sound: bool = True) -> None:
    """Ask of a table whose left output has a fault of a constant law."""
    b.step("assess", [table], never=[*uncleared("left"), *no_growth("left"), "left hidden *"], must=must, sound=b.others if sound else ())


# ------------------------------------------------------------ scanners and joined meters


def _in_turn(b: Bench, v: Mapping[str, Floats]) -> dict[str, Floats]:
    """Keep of each row the one channel whose turn it is."""
    k = np.arange(next(iter(v.values())).size) % len(v)
    return {n: np.where(k == i, x, np.nan) for i, (n, x) in enumerate(v.items())}


def scanned_sound(b: Bench) -> None:
    """A scanner reads one channel a row and leaves the cells of the others empty: two or four sound channels."""
    fresh_names(b, *("left", "right", "rear left", "rear right")[: int(b.rng.choice([2, 4]))])
    t, v = _hours(b, 4.2, 6, 1.0)
    b.step("assess", [b.table(0, t, _in_turn(b, v))], sound=b.names)


def scanned_fault(b: Bench) -> None:
    """The same scanner; the left output swings for 5 to 15 s, ten times an hour."""
    fresh_names(b, *("left", "right", "rear left", "rear right")[: int(b.rng.choice([2, 4]))])
    t, v = _hours(b, 4.2, 6, 1.0)
    v["left"] += crackle(b, 10.0, length_s=9.0)(t)
    _fault(b, b.table(0, t, _in_turn(b, v)))


def scanned_overload(b: Bench) -> None:
    """The same scanner, or a slower meter joined to a faster one; two to four times the left output goes over the range: cells stay empty for 10 to 60 s."""
    fresh_names(b, "left", "right")
    t, v = _hours(b, 5, 7, 1.0)
    if b.rng.random() < 0.5:
        v = _in_turn(b, v)
    else:
        v["left"] = np.where(np.arange(t.size) % int(b.rng.choice([5, 10])) == 0, v["left"], np.nan)
    for at in b.rng.uniform(1800, t[-1] - 1800, int(b.rng.integers(2, 5))):
        v["left"][slice(*np.searchsorted(t, (at, at + between(b.rng, 12, 60))))] = np.nan
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")], rather_not=[f"{n} inconclusive" for n in b.others])


def residue_of_swings(b: Bench) -> None:
    """A scanner keeps 1 to 3 % of the channel before: swings of 0.3 to 0.9 V on the left show as 3 to 25 mV on the sound right."""
    fresh_names(b, "left", "right")
    t, v = _hours(b, 4.5, 7)
    share = between(b.rng, 0.01, 0.03)
    bad = swings(t, at := arrivals(b.rng, float(t[-1]), 6.0), 3.0, b.rng.uniform(0.3, 0.9, at.size))
    v["left"] += bad
    v["right"] += share * bad
    b.fact(share=share)
    _fault(b, b.table(0, t, v))


def residue_of_level(b: Bench) -> None:
    """The same scanner; the left output stands at 2 to 8 V from some hour on, and the right one moves by 4 to 12 mV with it."""
    fresh_names(b, "left", "right")
    t, v = _hours(b, 5, 7)
    at, size, moves = b.rng.uniform(1, 3) * HOUR, between(b.rng, 2, 8), b.rng.uniform(4e-3, 0.012)
    v["left"] += np.where(t > at, size, 0.0)
    v["right"] += np.where(t > at, moves, 0.0)
    shown = [x for x in nothing_shown("right") if not x.endswith("since *")]
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left"), *shown, "left one-off"], must=("left do not connect",))


def two_meters_joined(b: Bench) -> None:
    """One meter writes each second, the other each 5 or 10 s; joined by time, its cells stay empty in between. Both outputs are sound."""
    fresh_names(b, "left", "right")
    t, v = _hours(b, 4.2, 6, 1.0)
    every = int(b.rng.choice([5, 10]))
    v["right"] = np.where(np.arange(t.size) % every == 0, v["right"], np.nan)
    b.step("assess", [b.table(0, t, v)], sound=b.names)


def filled_forward(b: Bench) -> None:
    """The same, and the program that joins them repeats the slower meter's last value, each 5 or 10 s a new one. Sound."""
    fresh_names(b, "left", "right")
    t, v = _hours(b, 4.2, 6, 1.0)
    every = int(b.rng.choice([5, 10]))
    v["right"] = v["right"][np.arange(t.size) // every * every]
    b.step("assess", [b.table(0, t, v)], sound=b.names)


def one_meter_late(b: Bench) -> None:
    """Two meters with clocks of their own: the right one's rows begin 10 to 40 minutes later, and end sooner. Both outputs are sound."""
    fresh_names(b, "left", "right")
    t, v = _hours(b, 5.5, 7)
    from_, to = b.rng.uniform(600, 2400), t[-1] - b.rng.uniform(300, 1800)
    i = int(np.searchsorted(t, from_))
    v["right"] = np.where((t >= from_) & (t < to), np.concatenate([np.zeros(i), b.output(t[i:] - t[i], "right")]), np.nan)
    b.step("assess", [b.table(0, t, v)], never=[x for n in b.names for x in nothing_shown(n)], must=("left within*",), rather_not=("right inconclusive",))


# ------------------------------------------------------------ ranges, digits and zeros


def range_by_hand(b: Bench) -> None:
    """Somebody turns the meter to a higher range after one to three hours: 1 mV a digit instead of 0.01, a zero 1 to 3 mV away. Sound."""
    b.digit = 1e-5
    t, v = _hours(b, 5, 7)
    at = b.rng.uniform(1, 3) * HOUR
    zero = b.rng.uniform(1e-3, 3e-3)
    v = {n: np.where(t < at, x, np.round(x + zero, 3)) for n, x in v.items()}
    b.step("assess", [b.table(0, t, v)], sound=b.names)


def coarse_second_half(b: Bench) -> None:
    """Swings of 70 to 160 mV, ten an hour; in the second half the digit is 50 mV. Nothing grows, nothing gets better."""
    t, v = _hours(b, 6, 8)
    v["left"] += crackle(b, 10.0, size=0.11)(t)
    v = {n: np.where(t < 0.5 * t[-1], x, np.round(x / 0.05) * 0.05) for n, x in v.items()}
    _fault(b, b.table(0, t, v), sound=False)


def fives(b: Bench) -> None:
    """A display that goes in steps of 5 mV, on a sound unit: nothing is shown of it."""
    b.digit = 5e-3
    t, v = _hours(b, 4, 7)
    b.step("assess", [b.table(0, t, v)], never=[x for n in b.names for x in nothing_shown(n)], rather_not=[f"{n} inconclusive" for n in b.names])


def fives_fault(b: Bench) -> None:
    """The same display, and twelve swings an hour of 60 to 130 mV."""
    b.digit = 5e-3
    t, v = _hours(b, 4, 7)
    v["left"] += crackle(b, 12.0, size=0.09)(t)
    _fault(b, b.table(0, t, v), sound=False)


def ends_at_200(b: Bench) -> None:
    """A range of 200 mV, its end written as a number: from some hour on the output stands at volts, and the log says 0.2000."""
    t, v = _hours(b, 4, 7)
    at, size = b.rng.uniform(0.3, 3) * HOUR, between(b.rng, 1, 40) * b.rng.choice([-1, 1])
    v["left"] = np.clip(v["left"] + np.where(t > at, size, 0.0), -0.2, 0.2)
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left"), "left hidden *"], must=("left settled offset yes|left level change yes|left drift yes",), sound=b.others)


def ends_at_200_swings(b: Bench) -> None:
    """The same range; swings of 0.15 to 3 V, ten an hour, most of them cut at its end."""
    t, v = _hours(b, 4, 7)
    v["left"] = np.clip(v["left"] + crackle(b, 10.0, size=0.6)(t), -0.2, 0.2)
    _fault(b, b.table(0, t, v))


def ends_at_2(b: Bench) -> None:
    """A range of 2 V, its end written as a number; from some hour on it reads 2.0000, or its negative, to the last digit."""
    t, v = _hours(b, 4, 7)
    end = 2.0 * b.rng.choice([-1, 1])
    v["left"] = np.where(t > b.rng.uniform(0.3, 3) * HOUR, end, v["left"])
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left"), "left hidden *"], must=("left do not connect",), sound=b.others)


def battery_sags(b: Bench) -> None:
    """The meter's battery sags: in the last two hours all zeros go by 4 to 11 mV, then the cells stay empty for some minutes. A careful page may refuse it."""
    t, v = _hours(b, 6, 8)
    size, from_, to = b.rng.uniform(4e-3, 0.011), t[-1] - 7800, t[-1] - b.rng.uniform(120, 600)
    v = {n: np.where(t < to, x + size * np.clip((t - from_) / 7200, 0, 1) ** 2, np.nan) for n, x in v.items()}
    b.step("assess", [b.table(0, t, v)], never=[x for n in b.names for x in nothing_shown(n)], rather_not=[f"{n} inconclusive" for n in b.names])


def auto_zero(b: Bench) -> None:
    """The meter looks for its zero each 5 to 15 minutes: one reading of all channels is 0, or its cell empty. Sound."""
    t, v = _hours(b, 4, 7)
    every, empty = int(b.rng.uniform(300, 900) / b.step_s), b.rng.random() < 0.5
    k = np.arange(t.size) % every == every - 1
    b.fact(cell="empty" if empty else "0")
    v = {n: np.where(k, np.nan if empty else 0.0, x) for n, x in v.items()}
    b.step("assess", [b.table(0, t, v)], sound=b.names)


def leads_reversed(b: Bench) -> None:
    """In mid-log red and black are exchanged on a sound output of 4.5 to 7 mV: it reads the same with the other sign from there on."""
    b.rest = {n: float(b.rng.choice([-1, 1]) * b.rng.uniform(4.5e-3, 7e-3)) for n in b.names}
    t, v = _hours(b, 6, 8)
    v["left"] = np.where(t < b.rng.uniform(0.8, 2.2) * HOUR, v["left"], -v["left"])
    never = [x for x in nothing_shown("left") if "drifting" not in x and "since" not in x]
    b.step("assess", [b.table(0, t, v)], never=never, must=("left within*",), sound=b.others)


def half_minute_means(b: Bench) -> None:
    """Glitches of half a second and 1.5 to 2.1 V, a dozen an hour; the logger writes means of half a minute: 25 to 36 mV each."""
    t, v = _hours(b, 5, 10, 30.0)
    at = arrivals(b.rng, float(t[-1]), float(b.rng.uniform(8, 16)))
    v["left"] += swings(t, at, 0.5, b.rng.uniform(1.5, 2.1, at.size), 30.0)
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")], must=("left noisy",), sound=b.others)


def seldom_and_single(b: Bench) -> None:
    """A week at 30 s a reading; three to six single readings of 60 to 200 mV, nothing else. Nothing grows."""
    t, v = _hours(b, 120, 168, 30.0)
    k = b.rng.choice(np.arange(100, t.size - 100), int(b.rng.integers(3, 7)), replace=False)
    v["left"][k] += b.rng.uniform(0.06, 0.2, k.size)
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")], must=("left noisy|left one-off",), sound=b.others)


def tweeter_terminal(b: Bench) -> None:
    """The lead sits on a tweeter behind its capacitor: microvolts, and a tick of 20 to 50 mV as the unit starts. No offset can be seen."""
    t, v = _hours(b, 4, 7)
    v["left"] = 3e-5 * b.rng.standard_normal(t.size) + np.where(t < 2.1, b.rng.uniform(0.02, 0.05), 0.0) * (t > 0.4)
    b.step("assess", [b.table(0, t, v)], never=nothing_shown("left"), rather_not=("left within*", "left steady"), sound=b.others)


# ------------------------------------------------------------ clocks, days and gaps


def _local(b: Bench, t: Floats, v: Mapping[str, Floats], day: float, set_at_s: float, by_s: float) -> Table:
    """Give the log with stamps of a local clock that is set once."""
    return b.table(day, t + np.where(t >= set_at_s, by_s, 0.0), v)


def clock_back(b: Bench) -> None:
    """Summer time ends in a night's log: an hour of local stamps comes twice. Ten swings an hour throughout; nothing grows."""
    t, v = _hours(b, 8, 11)
    v["left"] += crackle(b, 10.0)(t)
    _fault(b, _local(b, t, v, 0, b.rng.uniform(3, 5) * HOUR, -HOUR))


def clock_back_sound(b: Bench) -> None:
    """The same night of a sound unit."""
    t, v = _hours(b, 9, 11)
    b.step("assess", [_local(b, t, v, 0, b.rng.uniform(2, 4) * HOUR, -HOUR)], sound=b.names)


def clock_forward_sound(b: Bench) -> None:
    """Summer time begins in the night's log: an hour of local stamps is missing. A sound unit."""
    t, v = _hours(b, 9, 11)
    b.step("assess", [_local(b, t, v, 0, b.rng.uniform(2, 4) * HOUR, HOUR)], sound=b.names)


def _days(b: Bench, fault: bool) -> None:
    b.step_s = float(b.rng.choice([10.0, 20.0, 30.0]))
    days = int(b.rng.integers(3, 6))
    t, v = _hours(b, 24 * days - 6, 24 * days - 2)
    if fault:
        v["left"] += crackle(b, 1.5, length_s=70.0)(t)
    whole = b.table(0, t, v)
    midnights = np.searchsorted(whole["time"], (EPOCH.astype("datetime64[D]") + np.arange(1, days + 1)).astype("datetime64[ms]"))
    ends = [0, *(int(x) for x in midnights if 50 < x < t.size - 50), t.size]
    logs = [{k: x[i:j] for k, x in whole.items()} for i, j in pairwise(ends)]
    if fault:
        b.step("assess", logs, never=[*uncleared("left"), *no_growth("left")], must=("left noisy",), sound=b.others)
    else:
        b.step("assess", logs, sound=b.names)


def day_files(b: Bench) -> None:
    """A soak of three to five days at 10 to 30 s a reading; the logger begins a new file at midnight. A sound unit."""
    _days(b, False)


def day_files_fault(b: Bench) -> None:
    """The same, with three swings in two hours, each of a minute or more, by the same law from first day to last."""
    _days(b, True)


def radio_gaps(b: Bench) -> None:
    """The radio link is away for 20 to 40 minutes, three or four times in ten hours: no rows. A sound unit."""
    t, v = _hours(b, 9, 12)
    keep = np.ones(t.size, bool)
    for at in np.linspace(0.2, 0.8, int(b.rng.integers(3, 5))) * t[-1]:
        keep[slice(*np.searchsorted(t, (at, at + b.rng.uniform(1200, 2400))))] = False
    b.step("assess", [b.table(0, t[keep], {n: x[keep] for n, x in v.items()})], sound=b.names)


def neighbours_plug(b: Bench) -> None:
    """A neighbouring unit on the same strip goes on and off: its leak currents shift all channels by 3 to 7 mV, alike. Sound."""
    t, v = _hours(b, 5, 8)
    shift = b.rng.uniform(3e-3, 7e-3) * ((t + b.rng.uniform(0, 3000)) % b.rng.uniform(2500, 6000) < b.rng.uniform(900, 1800))
    b.step("assess", [b.table(0, t, {n: x + shift for n, x in v.items()})], sound=b.names)


# ------------------------------------------------------------ switched, exchanged and joined


def _evenings(b: Bench, days: int) -> tuple[Floats, list[tuple[float, float]]]:
    t = b.instants(24.0 * days, float(b.rng.choice([2.0, 5.0])))
    starts = 86400.0 * np.arange(days) + b.rng.uniform(1, 10, days) * HOUR
    return t, [(float(x), float(x + b.rng.uniform(4.5, 7) * HOUR)) for x in starts]


def turn_off_thump(b: Bench) -> None:
    """Two or three evenings on a timer; each time it goes off the rails die unalike: 3 to 15 V for 6 to 15 s on the left. Sound else."""
    t, spans = _evenings(b, int(b.rng.integers(2, 4)))
    v, size = powered(b, t, spans), between(b.rng, 3, 15) * b.rng.choice([-1, 1])
    v["left"] += swings(t, np.asarray([z for _, z in spans]), b.rng.uniform(6, 15), size)
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")], must=("left do not connect",))


def wakes_with_a_thump(b: Bench) -> None:
    """A unit that sleeps and wakes once or twice in a long log; at each waking the left output puts out 2 to 9 V, 10 to 14 s after it."""
    t, spans = _evenings(b, int(b.rng.integers(2, 4)))
    v, size = powered(b, t, spans), between(b.rng, 2, 9) * b.rng.choice([-1, 1])
    v["left"] += swings(t, np.asarray([a + b.rng.uniform(10, 14) for a, _ in spans[1:]]), b.rng.uniform(6, 15), size)
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")], must=("left do not connect",))


def unit_exchanged(b: Bench) -> None:
    """One file: an hour of a unit that swings twenty times an hour, the leads off for some minutes, then six sound hours of another unit."""
    t, v = _hours(b, 7.5, 9)
    at, off = b.rng.uniform(0.9, 1.3) * HOUR, b.rng.uniform(120, 600)
    i, j = np.searchsorted(t, (at, at + off))
    v["left"][:i] += crackle(b, 20.0)(t[:i])
    for n in b.names:
        v[n][i:j] = b.rng.normal(0, 2e-4) + 3e-4 * b.rng.standard_normal(j - i)
        b.rest[n] = -b.rest[n]
        v[n][j:] = b.output(t[j:] - t[j], n)
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), "left since more often", "left degrading"])


def hour_twice(b: Bench) -> None:
    """Hourly files over the end of summer time: two files hold the same local hour. In the second of them the left output swings 5 to 9 times."""
    t, v = _hours(b, 7, 8)
    v["left"] += swings(t, np.sort(b.rng.uniform(3 * HOUR + 200, 4 * HOUR - 200, int(b.rng.integers(5, 10)))), 3.0, between(b.rng, 0.1, 0.3))
    logs = []
    for k in range(7):
        i, j = np.searchsorted(t, (k * HOUR, (k + 1) * HOUR))
        logs.append(b.table(0, t[i:j] - (HOUR if k >= 3 else 0.0), {n: x[i:j] for n, x in v.items()}))
    b.step("assess", logs, never=[*uncleared("left"), *no_growth("left")], must=("left noisy|left intermittent yes",), rather_not=[f"{n} inconclusive" for n in b.others])


KINDS = {f.__name__.replace("_", " "): f for f in (
    scanned_sound, scanned_fault, scanned_overload, residue_of_swings, residue_of_level, two_meters_joined, filled_forward, one_meter_late, range_by_hand,
    coarse_second_half, fives, fives_fault, ends_at_200, ends_at_200_swings, ends_at_2, battery_sags, auto_zero, leads_reversed,
    half_minute_means, seldom_and_single, tweeter_terminal, clock_back, clock_back_sound, clock_forward_sound, day_files, day_files_fault,
    radio_gaps, neighbours_plug, turn_off_thump, wakes_with_a_thump, unit_exchanged, hour_twice,
)}  # fmt: skip
