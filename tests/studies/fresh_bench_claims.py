"""Stories about claims: pairs, visits, and rates and sizes that change, for `fresh_benches`. All data are invented.

What must never be said is wrong whatever the statistics; a claim held at 5 % may err once in twenty stories. Where a
rate goes up and down again a page may say when, but not that it grows.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from fresh_bench_parts import HOUR, Bench, Shape, Table, arrivals, between, crackle, no_growth, swings, uncleared
from fresh_parts import Floats

UNCHANGED = ("left outcome improved", "left outcome worse", "left cured shown")


def _rates(b: Bench, hours: Sequence[float], per_h: Sequence[float], **how: float) -> Shape:
    """Give swings whose rate is another in each stretch."""
    ends, rate = np.cumsum(hours) * HOUR, np.asarray([*per_h, per_h[-1]])
    return crackle(b, lambda t: rate[np.searchsorted(ends, t)], most=max(per_h), **how)  # type: ignore[arg-type]


def _single(b: Bench, hours: float, shape: Shape, **patterns: tuple[str, ...] | list[str]) -> None:
    b.step("assess", [b.evening(0, hours, {"left": shape})], sound=b.others, **patterns)


# ------------------------------------------------------------ within one log, and over power-ups


def up_and_down(b: Bench) -> None:
    """Three an hour, then eight times as many for two hours, then three again: it came and went, nothing grows."""
    _single(b, 9, _rates(b, (3.5, 2, 3.5), (3.0, 24.0, 3.0)),
            never=[*uncleared("left"), *no_growth("left")[:-1]], rather_not=("left since *",), must=("left noisy",))  # fmt: skip


def three_changes(b: Bench) -> None:
    """Two, sixteen, two, sixteen an hour, three hours each: a page may say when, but not that it gets worse for good."""
    _single(b, 12, _rates(b, (3, 3, 3, 3), (2.0, 16.0, 2.0, 16.0)), never=[*uncleared("left"), "left since less often"],
            rather_not=("left degrading", "left more often yes"), must=("left noisy|left degrading",))  # fmt: skip


def one_storm(b: Bench) -> None:
    """One an hour, and one storm of 15 to 40 swings within ten minutes somewhere: nothing has changed since."""

    def shape(t: Floats) -> Floats:
        at = b.rng.uniform(0.15, 0.8) * t[-1] + np.sort(b.rng.uniform(0, 600, int(b.rng.integers(15, 41))))
        at = np.concatenate([at, arrivals(b.rng, float(t[-1]), 1.0)])
        return swings(t, np.sort(at), 3.0, 0.25 * b.rng.lognormal(0, 0.25, at.size))

    _single(b, b.rng.uniform(7, 10), shape, never=[*uncleared("left"), *no_growth("left")], must=("left noisy|left one-off",))


def by_the_hour(b: Bench) -> None:
    """A rate that goes with the hour of the day, nearly to zero, over two to four days that are not whole: nothing grows."""
    b.step_s, phase = 10.0, b.rng.uniform(0, 6.28)
    b.fact(phase=phase)
    shape = crackle(b, lambda t: 3 * (1 + 0.95 * np.sin(2 * np.pi * t / 86400 + phase)), most=5.85, length_s=12.0)
    _single(b, b.rng.uniform(50, 90), shape, never=[*uncleared("left"), *no_growth("left")], must=("left noisy",))


def breeds(b: Bench) -> None:
    """Each swing may bring others within minutes (branching 0.7) over a day or two; the law stays the same throughout."""
    b.step_s, hours = 5.0, b.rng.uniform(20, 40)

    def shape(t: Floats) -> Floats:
        parents = list(arrivals(b.rng, float(t[-1]) + 3 * HOUR, 0.8) - 3 * HOUR)
        at = list(parents)
        while parents:
            parents = [p + x for p in parents for x in b.rng.exponential(500, b.rng.poisson(0.7)) if p + x < t[-1]]
            at += parents
        moments = np.sort([x for x in at if x > 0])
        return swings(t, moments, 8.0, 0.25 * b.rng.lognormal(0, 0.25, moments.size))

    _single(b, hours, shape, never=[*uncleared("left"), *no_growth("left")])


def steps_up(b: Bench) -> None:
    """Two an hour; from a moment after four to six hours on ten times as many, to the end: it must be said."""
    at, then = b.rng.uniform(4, 6), b.rng.uniform(4, 6)
    _single(b, at + then, _rates(b, (at, then), (2.0, 20.0)), never=[*uncleared("left"), "left since less often"],
            must=("left since more often|left degrading",))  # fmt: skip


def size_hump(b: Bench) -> None:
    """A constant rate; the swings are three times as large in the middle third of the log: nothing grows."""
    hours = b.rng.uniform(7, 10)
    shape = crackle(b, float(b.rng.uniform(8, 15)), size=0.1, grows=lambda t: np.where((t > hours * 1200) & (t < hours * 2400), 3.0, 1.0))
    _single(b, hours, shape, never=[*uncleared("left"), *no_growth("left")], must=("left noisy",))


def rate_over_power_ups(b: Bench) -> None:
    """Ten power-ups: two, sixteen, two an hour, three or four each. It was worse for some days."""
    per_h = [2.0] * 3 + [16.0] * 3 + [2.0] * 4
    logs = [b.evening(d, 1.5, {"left": crackle(b, r)}) for d, r in enumerate(per_h)]
    b.step("assess", logs, never=[*uncleared("left"), *no_growth("left")[:-1]], rather_not=("left since *",), must=("left noisy",), sound=b.others)


def taps_not_heat(b: Bench) -> None:
    """Twelve taps, four of five answered at once, and twelve breaths of warm air that do nothing; some swings by themselves."""
    _stimuli(b, 0.8, never=("left provoked by heat yes",), must=("left provoked by tap yes", "left provoked yes"))


def neither_provokes(b: Bench) -> None:
    """The same with eighteen swings an hour by themselves; neither does anything."""
    _stimuli(b, 0.0, never=("left provoked by heat yes", "left provoked by tap yes", "left provoked yes"))


def _stimuli(b: Bench, chance: float, **patterns: tuple[str, ...]) -> None:
    t = b.instants(2.5)
    moments = 900 + np.cumsum(b.rng.uniform(90, 220, 24))
    kinds = b.rng.permutation(["tap"] * 12 + ["heat"] * 12)
    answered = moments[(kinds == "tap") & (b.rng.random(24) < chance)] + b.rng.uniform(0.2, 1.5)
    at = np.sort(np.concatenate([answered, arrivals(b.rng, float(t[-1]), 4.0 if chance else 18.0)]))
    v = {n: b.output(t, n) for n in b.names}
    v["left"] = v["left"] + swings(t, at, 2.1, 0.25 * b.rng.lognormal(0, 0.3, at.size))
    marks = np.full(t.size, "", dtype=object)
    marks[np.searchsorted(t, moments)] = [f"stimulus: {k}" for k in kinds]
    b.step("assess", [b.table(0, t, v, beside={"mark": marks})], never=(*uncleared("left"), *patterns["never"]), must=patterns.get("must", ()))


# ------------------------------------------------------------ pairs


def _pair(b: Bench, before: Sequence[Table], after: Sequence[Table], *, sound: bool = True, **patterns: tuple[str, ...]) -> None:
    b.step("compare", (before, after), sound=b.others if sound else (), **patterns)


def pair_means(b: Bench) -> None:
    """Nothing done; before, instants each second, afterwards means of ten seconds: swings of 0.3 V and a second shrink to 30 mV."""
    a = [b.evening(d, 2, {"left": crackle(b, 20.0, size=0.3, length_s=1.0, mean_s=0.0)}, step_s=1.0) for d in (0, 1, 2)]
    c = [b.evening(d, 2.5, {"left": crackle(b, 20.0, size=0.3, length_s=1.0, mean_s=10.0)}, step_s=10.0) for d in (7, 8, 9)]
    _pair(b, a, c, never=(*UNCHANGED, "left after within*"))


def pair_late_fault(b: Bench) -> None:
    """A fault that comes after two hours on; four long evenings before, afterwards five of an hour and a half. Nothing done."""
    late = crackle(b, lambda t: np.where(t > 2 * HOUR, 20.0, 0.0), most=20.0)
    a, c = [b.evening(d, 4, {"left": late}) for d in (0, 1, 2, 3)], [b.evening(d, 1.5, {"left": late}) for d in (7, 8, 9, 10, 11)]
    _pair(b, a, c, never=(*UNCHANGED,))


def pair_now_cold(b: Bench) -> None:
    """A fault of the first quarter of an hour; before, the unit was on already when the log began; then logs from cold. Nothing done."""
    f = crackle(b, lambda t: np.where(t < 900, 40.0, 0.0), most=40.0)
    a, c = [b.evening(d, 2, warm=True) for d in (0, 1, 2)], [b.evening(d, 2, {"left": f}) for d in (7, 8, 9)]
    _pair(b, a, c, never=("left outcome improved", "left cured shown", "left after within*"), rather_not=("left outcome worse",))


def pair_morning(b: Bench) -> None:
    """A fault of the evening hours; before, the logs were of the evening, afterwards of the morning. Nothing done."""
    a = [b.evening(d + 0.4, 3, {"left": crackle(b, 12.0)}) for d in (0, 1, 2)]
    c = [b.evening(d, 3) for d in (7, 8, 9)]
    _pair(b, a, c, never=("left outcome worse", "left cured shown"), rather_not=("left outcome improved",))


def pair_other_meter(b: Bench) -> None:
    """A hiss of 4 to 7 mV; afterwards another meter, of finer digits, that averages it to a tenth. Nothing done."""
    hiss = b.rng.uniform(4e-3, 7e-3)
    a = [b.evening(d, 2, {"left": lambda t: hiss * b.rng.standard_normal(t.size)}, digit=1e-3) for d in (0, 1, 2)]
    c = [b.evening(d, 2, {"left": lambda t: 0.1 * hiss * b.rng.standard_normal(t.size)}, digit=1e-5) for d in (7, 8, 9)]
    _pair(b, a, c, never=("left outcome worse", "left cured shown"), rather_not=("left outcome improved",))


def pair_dimmer_gone(b: Bench) -> None:
    """A dimmer's noise of 4 to 6 mV on all channels before, none afterwards: it is switched off. Nothing done to the unit."""
    b.names = ("left", "right", "sub")
    b.__post_init__()
    hiss = b.rng.uniform(4e-3, 6e-3)
    a, c = [b.evening(d, 2, extra=hiss) for d in (0, 1, 2)], [b.evening(d, 2) for d in (7, 8, 9)]
    _pair(b, a, c, sound=False, never=tuple(f"{n} {w}" for n in b.names for w in ("outcome worse", "cured shown")),
          rather_not=tuple(f"{n} outcome improved" for n in b.names))  # fmt: skip


def pair_room_moves(b: Bench) -> None:
    """All channels move by 40 mV with a heater in the room before; it is off afterwards. Nothing done to the unit."""
    b.names = ("left", "right", "sub")
    b.__post_init__()
    period = b.rng.uniform(2000, 5000)
    f = {n: (lambda t: 0.02 * np.sin(2 * np.pi * t / period)) for n in b.names}
    a, c = [b.evening(d, 3, f) for d in (0, 1, 2)], [b.evening(d, 3) for d in (7, 8, 9)]
    _pair(b, a, c, sound=False, never=tuple(f"{n} {w}" for n in b.names for w in ("outcome worse", "cured shown")),
          rather_not=tuple(f"{n} outcome improved" for n in b.names))  # fmt: skip


def pair_one_of_two(b: Bench) -> None:
    """Swings and a rest of 70 to 150 mV before; the swings are mended, the rest is not: no cure, and no loudspeaker."""
    size = between(b.rng, 0.07, 0.15)
    f, both = crackle(b, 20.0), lambda t: np.full(t.size, size)
    a = [b.evening(d, 2, {"left": lambda t: f(t) + both(t)}) for d in (0, 1, 2)]
    c = [b.evening(d, 3, {"left": both}) for d in (7, 8, 9)]
    _pair(b, a, c, never=("left outcome worse", "left cured shown", *(f"left after {w}" for w in ("within*", "steady"))))


def pair_fewer_but_larger(b: Bench) -> None:
    """Twenty an hour of 0.1 V before, four an hour of 1.5 to 5 V of some seconds afterwards: nobody may call that better."""
    size = between(b.rng, 1.5, 5)
    a = [b.evening(d, 2.5, {"left": crackle(b, 20.0, size=0.1)}) for d in (0, 1, 2)]
    c = [b.evening(d, 2.5, {"left": crackle(b, 4.0, size=size, length_s=4.0)}) for d in (7, 8, 9)]
    _pair(b, a, c, never=("left outcome improved", "left cured shown", "left cured not yet", "left after within*"))


def pair_one_bad_of_six(b: Bench) -> None:
    """A fault that shows in one power-up of four; none of three afterwards shows it. Nothing done."""
    a = [b.evening(d, 2, {"left": crackle(b, 12.0)} if d in (1, 4) else None) for d in range(6)]
    c = [b.evening(d, 2) for d in (10, 11, 12)]
    _pair(b, a, c, never=UNCHANGED)


def pair_gaps(b: Bench) -> None:
    """A constant fault; afterwards the logger lost two thirds of the rows, minutes at a time. Nothing done."""
    f = {"left": crackle(b, 12.0)}
    a, c = [b.evening(d, 2.5, f) for d in (0, 1, 2)], []
    for d in (7, 8, 9):
        whole = b.evening(d, 2.5, f)
        keep = np.repeat(b.rng.random(1 + whole["time"].size // 200) < 0.35, 200)[: whole["time"].size]
        keep[:200] = True
        c.append({k: x[keep] for k, x in whole.items()})
    _pair(b, a, c, never=(*UNCHANGED, "left after within*"))


# ------------------------------------------------------------ visits


def _visits(b: Bench, per_visit: Sequence[Shape | None], *, hours: float = 1.5, each: int = 2, **patterns: tuple[str, ...]) -> None:
    visits, day = [], 0.0
    for f in per_visit:
        visits.append([b.evening(day + k, hours, {"left": f} if f else None) for k in range(each)])
        day += float(b.rng.integers(16, 50))
    b.step("visits", visits, sound=b.others, **patterns)


STILL = ("left rate worse", "left rate better", "left size worse", "left size better")


def visits_up_and_down(b: Bench) -> None:
    """Seven visits: two an hour, then eight times as many at the third to fifth, and two again: worse for a while, no trend."""
    _visits(b, [crackle(b, r) for r in (2.0, 2.0, 16.0, 16.0, 16.0, 2.0, 2.0)], never=STILL, rather_not=("left since *",))


def visits_humps(b: Bench) -> None:
    """Eight visits of two and sixteen an hour in turn, two and two: it comes and goes."""
    _visits(b, [crackle(b, r) for r in (2.0, 2.0, 16.0, 16.0, 2.0, 2.0, 16.0, 2.0)], never=STILL, rather_not=("left since *",))


def visits_size_hump(b: Bench) -> None:
    """A constant rate over six visits; the swings are three times as large at the third and fourth."""
    _visits(b, [crackle(b, 8.0, size=s) for s in (0.1, 0.1, 0.3, 0.3, 0.1, 0.1)], never=STILL, rather_not=("left since *",))


def visits_sizes_grow(b: Bench) -> None:
    """A constant rate over five visits; the swings are 1.9 times as large at each as at the one before."""
    _visits(b, [crackle(b, 10.0, size=0.08 * 1.9**k) for k in range(5)], never=("left rate worse", "left rate better", "left size better"), must=("left size worse",))


def visits_clumps(b: Bench) -> None:
    """Six visits; swings come in clumps of five to twelve within minutes, as many clumps at each. Nothing grows."""

    def clumps(t: Floats) -> Floats:
        starts = arrivals(b.rng, float(t[-1]), 1.2)
        at = np.sort(np.concatenate([s + np.cumsum(b.rng.exponential(35, int(b.rng.integers(5, 13)))) for s in starts] or [np.empty(0)]))
        return swings(t, at, 3.0, 0.25 * b.rng.lognormal(0, 0.25, at.size))

    _visits(b, [clumps] * 6, never=STILL, rather_not=("left since *",))


def visits_finer_meter(b: Bench) -> None:
    """A constant rate of swings of about 0.2 V; a noisy meter with a coarse digit at first, a finer one from the fourth visit on."""
    f = crackle(b, 10.0, size=0.2)
    visits = [[b.evening(30.0 * k + j, 1.5, {"left": f}, extra=2e-3 if k < 3 else 0.0, digit=1e-3 if k < 3 else 1e-5) for j in (0, 1)] for k in range(6)]
    b.step("visits", visits, never=(*STILL, "left since *", "left surge yes", "left settled level yes"))


def visits_drift_of_room(b: Bench) -> None:
    """No fault; from winter to summer the rest of all channels moves by 6 to 9 mV, and the noise by a half."""
    size, visits = b.rng.uniform(6e-3, 9e-3), []
    for k in range(6):
        shift = np.full(1, size * np.sin(np.pi * k / 5))
        visits.append([b.evening(30.0 * k + j, 2.0, {n: lambda t, x=shift: np.broadcast_to(x, t.shape) for n in b.names}) for j in (0, 1)])
    words = ("settled level yes", "noise yes", "surge yes")
    b.step("visits", visits, never=[f"{n} {w}" for n in b.names for w in words], sound=b.names)


KINDS = {f.__name__.replace("_", " "): f for f in (
    up_and_down, three_changes, one_storm, by_the_hour, breeds, steps_up, size_hump, rate_over_power_ups, taps_not_heat, neither_provokes,
    pair_means, pair_late_fault, pair_now_cold, pair_morning, pair_other_meter, pair_dimmer_gone, pair_room_moves, pair_one_of_two,
    pair_fewer_but_larger, pair_one_bad_of_six, pair_gaps,
    visits_up_and_down, visits_humps, visits_size_hump, visits_sizes_grow, visits_clumps, visits_finer_meter, visits_drift_of_room,
)}  # fmt: skip
