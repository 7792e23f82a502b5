"""Stories in which a careless page would clear or call cured what was never seen, for `fresh_benches`. All data are invented.

The same hours counted twice, swings at the edge of a gap, hours of sleep, and repairs that are followed by hours in which
the lead saw nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from fresh_bench_claims import STILL, UNCHANGED
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
from fresh_parts import Floats, slow_noise


def _cut(table: Table, i: int, j: int) -> Table:
    return {k: x[i:j] for k, x in table.items()}


def same_log_twice(b: Bench) -> None:
    """A sound log of an hour and a half to two hours, given twice or three times by mistake: no more hours than one."""
    log = b.evening(0, b.rng.uniform(1.5, 2))
    logs = [{k: np.array(x) for k, x in log.items()} for _ in range(int(b.rng.integers(2, 4)))]
    b.step("assess", logs, never=[x for n in b.names for x in (*uncleared(n), *nothing_shown(n))])


def growing_export(b: Bench) -> None:
    """Three exports of one sound evening of two and a half hours, each from its beginning, each longer than the one before."""
    log = b.evening(0, 2.5)
    n = log["time"].size
    b.step("assess", [_cut(log, 0, n * k // 3) for k in (1, 2, 3)], never=[x for c in b.names for x in (*uncleared(c), *nothing_shown(c))])


def asleep_swings(b: Bench) -> None:
    """Five live hours are sound; in the hours of sleep that follow, the output jumps by 0.1 to 0.4 V, two to six times an hour."""
    b.step_s = 2.0
    t = b.instants(b.rng.uniform(9, 14))
    v = {n: np.where(t < 5 * HOUR, b.output(t, n), 3e-5 * b.rng.standard_normal(t.size)) for n in b.names}
    at = arrivals(b.rng, float(t[-1]), float(b.rng.uniform(2, 6)))
    v["left"] = v["left"] + swings(t, at[at > 5.2 * HOUR], 4.0, between(b.rng, 0.1, 0.4))
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")], rather_not=("left hidden *",))


def last_reading(b: Bench) -> None:
    """Five sound hours; the last one or two readings of the log stand at 0.06 to 0.3 V: then somebody pulled the plug."""
    t = b.instants(5)
    v = {n: b.output(t, n) for n in b.names}
    v["left"][-int(b.rng.integers(1, 3)) :] += between(b.rng, 0.06, 0.3) * b.rng.choice([-1, 1])
    b.step("assess", [b.table(0, t, v)], never=uncleared("left"), sound=b.others)


def beside_gaps(b: Bench) -> None:
    """The logger restarts three to six times; the one reading before each pause stands at 70 to 180 mV, no other does."""
    t = b.instants(6)
    v = {n: b.output(t, n) for n in b.names}
    keep = np.ones(t.size, bool)
    for at in np.linspace(0.15, 0.9, int(b.rng.integers(3, 7))) * t[-1]:
        i, j = np.searchsorted(t, (at, at + b.rng.uniform(30, 300)))
        keep[i:j] = False
        v["left"][i - 1] += b.rng.uniform(0.07, 0.18)
    b.step("assess", [b.table(0, t[keep], {n: x[keep] for n, x in v.items()})], never=[*uncleared("left"), *no_growth("left")], must=("left noisy",))


def clipped_flat(b: Bench) -> None:
    """A converter of 25 to 45 mV full scale; the output rests at two or three times that: it reads its end, unmoved, for hours."""
    t = b.instants(b.rng.uniform(4, 9))
    end = b.rng.uniform(0.025, 0.045) * b.rng.choice([-1, 1])
    left = np.where(t < 3, 0.0, end) if b.rng.random() < 0.5 else np.full(t.size, end)
    b.fact(end_V=float(end))
    b.step("assess", [b.table(0, t, {"left": left, **{n: b.output(t, n) for n in b.others}})], never=uncleared("left"), sound=b.others)


def held_nearly_all(b: Bench) -> None:
    """A sound evening of 4 to 12 hours, or two; the link hangs after 3 to 25 minutes and the last value is repeated to the end."""
    logs = []
    for d in range(int(b.rng.integers(1, 3))):
        t = b.instants(b.rng.uniform(4, 12))
        v = {n: b.output(t, n) for n in b.names}
        i = int(np.searchsorted(t, between(b.rng, 180, 1500)))
        for n in b.names if b.rng.random() < 0.5 else ("left",):
            v[n][i:] = v[n][i]
        logs.append(b.table(d, t, v))
    b.step("assess", logs, never=[*uncleared("left"), *nothing_shown("left")])


def bursts_of_readings(b: Bench) -> None:
    """Five quick readings at the beginning of each minute, then none: five seconds in sixty are seen. A constant rate of long swings."""
    t = b.instants(b.rng.uniform(6, 9), 1.0)
    keep = t % 60 < 5
    v = {n: b.output(t, n, warm=True) for n in b.names}
    v["left"] = v["left"] + crackle(b, 12.0, length_s=20.0)(t)
    b.step("assess", [b.table(0, t[keep], {n: x[keep] for n, x in v.items()})], never=[*uncleared("left"), *no_growth("left"), *(x for n in b.others for x in (*nothing_shown(n), *uncleared(n)))], must=("left intermittent yes",))


def two_leads_one_output(b: Bench) -> None:
    """Both leads sit on the left output, a sound one: the right column repeats it to the last digit. The right was never seen."""
    b.names = ("left", "right")
    b.__post_init__()
    t = b.instants(b.rng.uniform(4, 7))
    left = b.output(t, "left")
    b.step("assess", [b.table(0, t, {"left": left, "right": left + 0.3 * b.digit * b.rng.standard_normal(t.size)})],
           never=[x for n in b.names for x in nothing_shown(n)], rather_not=("right within*",))  # fmt: skip


def zero_error(b: Bench) -> None:
    """The unit is off; an uncalibrated meter shows 2.5 to 4 mV in every channel, with its own white noise, for hours."""
    t = b.instants(b.rng.uniform(4, 9))
    zero = b.rng.uniform(2.5e-3, 4e-3) + slow_noise(b.rng, t, 2e-5)
    v = {n: zero + 6e-5 * b.rng.standard_normal(t.size) for n in b.names}
    b.step("assess", [b.table(0, t, v)], never=[x for n in b.names for x in nothing_shown(n)], rather_not=[f"{n} within*" for n in b.names])


def refreshed_seldom(b: Bench) -> None:
    """A sound unit; the logger writes each second or two, but the meter renews its value only every one to eight minutes."""
    b.digit = min(b.digit, 1e-4)
    b.white = {n: float(b.rng.uniform(2e-4, 5e-4)) for n in b.names}
    t, every = b.instants(b.rng.uniform(5, 10)), b.rng.uniform(60, 480)
    b.fact(renewed_s=every)
    i = np.searchsorted(t, np.floor(t / every) * every)
    b.step("assess", [b.table(0, t, {n: b.output(t, n, warm=True)[i] for n in b.names})], never=[x for n in b.names for x in (*uncleared(n), *nothing_shown(n))])


def rolling_export(b: Bench) -> None:
    """A logger that keeps the last hour and a half is read out every twenty minutes: four overlapping files of one sound evening."""
    log = b.evening(0, 2.5)
    k = int(1.5 * HOUR / b.step_s)
    logs = [_cut(log, j, j + k) for j in (int(m * 1200 / b.step_s) for m in range(4))]
    b.step("assess", logs, never=[x for n in b.names for x in (*uncleared(n), *nothing_shown(n))])


def air_biased(b: Bench) -> None:
    """The lead in the air, a bias of half a millivolt to one and a half, and folded hum of 2.5 to 5 mV; beside sound outputs."""
    t, size = b.instants(b.rng.uniform(4, 9)), between(b.rng, 2.5e-3, 5e-3)
    b.fact(hum_V=size)
    turns = np.cumsum((b.rng.uniform(0.02, 0.3) + 0.01 * slow_noise(b.rng, t, 1.0)) * np.diff(t, prepend=0.0))
    left = b.rng.uniform(5e-4, 1.5e-3) + size * np.sin(2 * np.pi * turns) + 1e-4 * b.rng.standard_normal(t.size)
    b.step("assess", [b.table(0, t, {"left": left, **{n: b.output(t, n, warm=True) for n in b.others}})], never=[*uncleared("left"), *no_growth("left")], sound=b.others)


def residue_about_zero(b: Bench) -> None:
    """A sound switching amplifier that a servo holds at zero, with 2.2 mV or so of folded residue; its start is in the log."""
    t = b.instants(b.rng.uniform(4, 7), 0.5)
    v = {}
    for n in b.names:
        turns = np.cumsum((b.rng.uniform(0.02, 0.3) + 0.02 * slow_noise(b.rng, t, 1.0)) * np.diff(t, prepend=0.0))
        live = 2e-4 + between(b.rng, 2.1e-3, 2.4e-3) * np.sin(2 * np.pi * turns) + 2e-4 * b.rng.standard_normal(t.size)
        v[n] = np.where(t < 3, 5e-5 * b.rng.standard_normal(t.size), live + 0.06 * np.exp(-np.maximum(t - 3, 0) / 1.0))
    b.step("assess", [b.table(0, t, v)], sound=b.names)


def coarse_digit(b: Bench) -> None:
    """A sound unit on a meter of whole millivolts: the last digit moves now and then, and may rest for some minutes."""
    b.digit = 1e-3
    b.rest = {n: float(b.rng.choice([-1, 1]) * (b.rng.integers(3, 9) + b.rng.uniform(0.25, 0.75)) * 1e-3) for n in b.names}
    b.white = {n: float(b.rng.uniform(1.5e-4, 4e-4)) for n in b.names}
    b.step("assess", [b.evening(0, b.rng.uniform(4, 9))], sound=b.names)


def cadence_changes_sound(b: Bench) -> None:
    """A sound log in which the logger goes from 1 s to 10 s a reading in mid-file, or back: no reading is missing."""
    fast, slow = np.arange(0, b.rng.uniform(3, 5) * HOUR, 1.0), np.arange(0, b.rng.uniform(3, 5) * HOUR, 10.0)
    t = np.concatenate([fast, fast[-1] + 10 + slow] if b.rng.random() < 0.5 else [slow, slow[-1] + 1 + fast])
    b.step("assess", [b.table(0, t, {n: b.output(t, n) for n in b.names})], sound=b.names)


def cadence_changes_long(b: Bench) -> None:
    """The same with swings of 20 to 40 s at a constant rate, which both cadences see: recurring, and nothing grows."""
    fast, slow = np.arange(0, 4 * HOUR, 1.0), np.arange(0, 4 * HOUR, 10.0)
    t = np.concatenate([fast, fast[-1] + 10 + slow] if b.rng.random() < 0.5 else [slow, slow[-1] + 1 + fast])
    v = {n: b.output(t, n, warm=True) for n in b.names}
    v["left"] = v["left"] + crackle(b, 12.0, length_s=28.0, mean_s=0.0)(t)
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")], must=("left intermittent yes",), sound=b.others)


# ------------------------------------------------------------ no cure without a live output


def _dead_after(b: Bench, after: Callable[[Floats], Floats], *, each: int = 4, hours: float = 10.0, must: Sequence[str] = ()) -> None:
    """Swings before; afterwards the left lead sees this, hours long, and the other channels are logged as before."""
    before = [b.evening(d, 2.5, {"left": crackle(b, 12.0)}) for d in (0, 1, 2)]
    b.step_s, sides = 2.0, []
    for d in range(each):
        t = b.instants(hours)
        sides.append(b.table(10.0 + d, t, {"left": after(t), **{n: b.output(t, n) for n in b.others}}))
    b.step("compare", (before, sides), never=[*UNCHANGED, "left after within*", "left after steady"], must=must, sound=b.others)


def pair_after_dummy(b: Bench) -> None:
    """Afterwards the relay never closed: four times ten hours of the dummy load's zero. Nobody may call that a cure."""
    _dead_after(b, lambda t: b.rng.normal(0, 2e-4) + slow_noise(b.rng, t, 2e-5) + between(b.rng, 1e-5, 1e-4) * b.rng.standard_normal(t.size))


def pair_after_air(b: Bench) -> None:
    """Afterwards the lead hung in the air: hum of 3 to 12 mV in instants, no swing of forty."""
    size = between(b.rng, 3e-3, 0.012)
    _dead_after(b, lambda t: size * np.sin(2 * np.pi * (0.217 * t + 3 * slow_noise(b.rng, t, 1.0))) + 2e-4 * b.rng.standard_normal(t.size))


def pair_after_asleep(b: Bench) -> None:
    """Nothing done; afterwards the unit fell asleep 15 to 30 minutes after each switch-on, for ten hours, four times."""
    f = crackle(b, 12.0)
    _dead_after(b, lambda t: np.where(t < b.rng.uniform(900, 1800), b.output(t, "left") + f(t), 1e-4 + 3e-5 * b.rng.standard_normal(t.size)))


def pair_after_stuck(b: Bench) -> None:
    """Nothing done; afterwards the meter's link hung after some ten minutes, and the last value is repeated for ten hours, four times."""
    f = crackle(b, 12.0)

    def stuck(t: Floats) -> Floats:
        v = b.output(t, "left")
        i = int(np.searchsorted(t, b.rng.uniform(300, 900)))
        v[i:] = v[i]
        return np.asarray(v + np.where(t < t[i], f(t), 0.0))

    _dead_after(b, stuck)


def pair_saturated(b: Bench) -> None:
    """Twelve swings an hour before; afterwards it stands at 0.25 V for 4 to 12 minutes in each quarter of an hour: fewer, and worse."""
    a = [b.evening(d, 2.5, {"left": crackle(b, 12.0)}) for d in (0, 1, 2)]
    c = [b.evening(d, 2.5, {"left": lambda t: swings(t, np.arange(500, t[-1], 900), b.rng.uniform(240, 720, len(np.arange(500, t[-1], 900))), 0.25)}) for d in (7, 8, 9)]
    b.step("compare", (a, c), never=("left outcome improved", "left cured shown", "left cured not yet", "left after within*"), sound=b.others)


def visits_end_dead(b: Bench) -> None:
    """Six an hour at three visits; at three more the lead saw the dummy load only: no better."""
    visits, day = [], 0.0
    for k in range(6):
        logs = []
        for j in (0, 1):
            t = b.instants(2.0)
            left = b.output(t, "left") + crackle(b, 8.0)(t) if k < 3 else 1e-4 + 5e-5 * b.rng.standard_normal(t.size)
            logs.append(b.table(day + j, t, {"left": left, **{n: b.output(t, n) for n in b.others}}))
        visits.append(logs)
        day += float(b.rng.integers(16, 50))
    b.step("visits", visits, never=(*STILL, "left since *", "left last within*"), sound=b.others)


KINDS = {f.__name__.replace("_", " "): f for f in (
    same_log_twice, growing_export, asleep_swings, last_reading, beside_gaps, clipped_flat, held_nearly_all, bursts_of_readings, two_leads_one_output, zero_error,
    refreshed_seldom, rolling_export, air_biased, residue_about_zero, coarse_digit, cadence_changes_sound, cadence_changes_long,
    pair_after_dummy, pair_after_air, pair_after_asleep, pair_after_stuck, pair_saturated, visits_end_dead,
)}  # fmt: skip
