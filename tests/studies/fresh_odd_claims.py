"""Stories of repairs, visits, soaks and watches that nobody drew yet, for `fresh_benches`. All data are invented.

Written by one who has not read how the program decides. What must never be said is wrong whatever the statistics; what must
be said is large. A claim held at 5 % may err once in twenty stories. Physics: forming capacitors, warmth, thermal joints,
filters. Common practice, no source: soaks that a blown fuse or a cleaner's socket ends, another logger after the repair.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from fresh_bench_claims import STILL, UNCHANGED
from fresh_bench_parts import HOUR, Bench, Shape, Table, arrivals, between, crackle, nothing_shown, swings, uncleared
from fresh_odd_meters import blocks, followed
from fresh_odd_units import kicks, varied
from fresh_parts import Floats, slow_noise
from fresh_repairs import fresh_names, powered

NOT_CURED = ("left cured shown", "left after within*", "left outcome worse")


def pair(b: Bench, before: Sequence[Table], after: Sequence[Table], *, never: Sequence[str] = (), must: Sequence[str] = (),
         rather_not: Sequence[str] = (), sound: Sequence[str] | None = None) -> None:  # fmt: skip
    """Compare logs before with logs after; the other channels are sound unless told otherwise."""
    b.step("compare", (before, after), never=never, must=must, rather_not=rather_not, sound=b.others if sound is None else sound)


def evenings(b: Bench, first: float, n: int, hours: float, faults: dict[str, Shape] | None = None, step_s: float = 0.0) -> list[Table]:
    """Log some evenings, one a day."""
    return [b.evening(first + d, hours, faults, step_s=step_s) for d in range(n)]


def cut_off(b: Bench, t: Floats, n: int, pause_s: tuple[float, float]) -> list[tuple[float, float]]:
    """Give the spans of a run that is cut off so often, about evenly, and goes on after a pause."""
    at = (np.arange(1, n + 1) + b.rng.uniform(-0.3, 0.3, n)) * t[-1] / (n + 1)
    return list(zip([0.0, *(at + b.rng.uniform(*pause_s, n))], [*at, float(t[-1]) + 1], strict=True))


# ------------------------------------------------------------ pairs


def pair_hiss_gone(b: Bench) -> None:
    """A noisy resistor is changed: 4 to 6 mV of hiss on the left are gone, the twelve swings an hour are not."""
    f, size = crackle(b, 12.0), b.rng.uniform(4e-3, 6e-3)
    a = evenings(b, 0, 3, 2, {"left": lambda t: f(t) + size * b.rng.standard_normal(t.size)})
    pair(b, a, evenings(b, 7, 3, 2, {"left": f}), never=NOT_CURED, rather_not=("left outcome improved",))


def pair_faster_logger(b: Bench) -> None:
    """Nothing done; swings of half a second to a second and a half, logged each 2 s before and each quarter of a second afterwards."""
    f = {"left": crackle(b, 20.0, length_s=0.7, mean_s=0.0)}
    pair(b, evenings(b, 0, 3, 2, f, 2.0), evenings(b, 7, 3, 2, f, 0.25), never=(*UNCHANGED, "left after within*"))


def pair_filtered_after(b: Bench) -> None:
    """Nothing done; afterwards the meter's filter is on, with a time constant of 20 to 60 s: swings of 3 s and 0.25 V shrink below 40 mV."""
    f, tau = {"left": crackle(b, 20.0)}, b.rng.uniform(20, 60)
    after = evenings(b, 7, 3, 2, f)
    for table in after:
        t = np.arange(table["time"].size) * b.step_s
        table.update({k: followed(x, t, tau) for k, x in table.items() if k != "time"})
    pair(b, evenings(b, 0, 3, 2, f), after, never=(*UNCHANGED, "left after within*"))


def pair_peaks_after(b: Bench) -> None:
    """Nothing done; afterwards the logger writes the reading farthest from zero of each ten seconds: swings last longer in it, and none is lost."""
    b.step_s = 0.5
    f = crackle(b, 10.0)
    after = []
    for d in (7, 8, 9):
        t = b.instants(2)
        v = {n: b.output(t, n) + (f(t) if n == "left" else 0.0) for n in b.names}
        after.append(b.table(d, *blocks(b, t, v, 20, "peak")))
    pair(b, evenings(b, 0, 3, 2, {"left": f}), after, never=(*UNCHANGED, "left after within*"))


def pair_soak_cut(b: Bench) -> None:
    """Mended: twelve swings an hour before; the soak of 15 hours afterwards is cut off three to six times for minutes, and starts again each time."""
    t = b.instants(15, 2.0)
    spans = cut_off(b, t, int(b.rng.integers(3, 7)), (700, 2400))
    v = powered(b, t, spans)
    on = np.any([(t >= p) & (t < q) for p, q in spans], axis=0)
    after = {k: x[on] for k, x in b.table(7, t, v).items()}
    pair(b, evenings(b, 0, 4, 2, {"left": crackle(b, 12.0)}), [after], must=("left outcome improved",), never=("left outcome worse",))


def pair_soak_never_warm(b: Bench) -> None:
    """Nothing done to a fault that comes after two hours and a half of warmth; the soak afterwards is cut off each hour and a half, and cools."""
    late = crackle(b, lambda t: np.where(t > 9000, 12.0, 0.0), most=12.0)
    after = [b.evening(7 + d / 4, 1.5) for d in range(9)]
    pair(b, evenings(b, 0, 3, 5, {"left": late}), after, never=UNCHANGED)


def pair_level_set(b: Bench) -> None:
    """A trimmer is set: the left rest stood at 60 to 150 mV in each evening, and lies within 10 mV in four long ones afterwards."""
    size = between(b.rng, 0.065, 0.15)
    pair(b, evenings(b, 0, 3, 3, {"left": lambda t: np.full(t.size, size)}), evenings(b, 7, 4, 4), must=("left outcome improved", "left after within*"), never=("left outcome worse",))


def pair_both_mended(b: Bench) -> None:
    """One joint feeds both input stages: both outputs swing together, twenty times an hour, before; afterwards neither, in four long evenings."""
    fresh_names(b, "left", "right")
    before = []
    for d in range(4):
        t = b.instants(2)
        bad = crackle(b, 20.0)(t)
        before.append(b.table(d, t, {n: b.output(t, n) + bad * b.rng.uniform(0.6, 1.3) for n in b.names}))
    pair(b, before, evenings(b, 7, 4, 5), sound=(), must=[f"{n} after within*" for n in b.names], never=[f"{n} outcome worse" for n in b.names])


def pair_transmitter_gone(b: Bench) -> None:
    """Nothing done: a transmitter next door moved all outputs at once before, each its own way, and is silent afterwards. Sound inputs need no repair."""
    fresh_names(b, "left", "right")
    before = []
    for d in range(3):
        t = b.instants(2)
        keyed = swings(t, at := arrivals(b.rng, float(t[-1]), 15.0), np.maximum(b.rng.uniform(5, 30, at.size), 1.2 * b.step_s), 1.0)
        before.append(b.table(d, t, {n: b.output(t, n) + keyed * s for n, s in zip(b.names, (0.11, -0.07), strict=True)}))
    pair(b, before, evenings(b, 7, 3, 3), sound=(), never=[f"{n} {w}" for n in b.names for w in ("outcome improved", "cured shown")])


def pair_servo_worse(b: Bench) -> None:
    """A part was changed and the servo hunts since: no swing before; kicks of 90 to 200 mV that die within 10 s, twenty an hour, afterwards."""
    size = between(b.rng, 0.11, 0.2)
    after = [b.evening(d, 2, {"left": kicks(b, 20.0, size, (4, 10))}) for d in (7, 8, 9)]
    pair(b, evenings(b, 0, 3, 2), after, never=("left outcome improved", "left cured shown", "left after within*"), must=("left outcome worse",))


def pair_wandering_lead(b: Bench) -> None:
    """Afterwards the left clip is off: its cable wanders by millivolts within minutes, with little hum. Twelve swings an hour before; nothing is proved."""
    after = []
    for d in (7, 8, 9, 10):
        t = b.instants(4)
        v = {n: b.output(t, n) for n in b.names}
        v["left"] = slow_noise(b.rng, t, 3e-3) + 6e-5 * b.rng.standard_normal(t.size)
        after.append(b.table(d, t, v))
    pair(b, evenings(b, 0, 4, 2, {"left": crackle(b, 12.0)}), after, never=("left cured shown", "left after within*"), rather_not=("left outcome improved", "left cured not yet"))


# ------------------------------------------------------------ visits


def visits(b: Bench, many: Sequence[Sequence[Table]], *, never: Sequence[str] = (), must: Sequence[str] = (), rather_not: Sequence[str] = ()) -> None:
    """Compare visits; the other channels are sound."""
    b.step("visits", many, never=never, must=must, rather_not=rather_not, sound=b.others)


def visits_means_then_instants(b: Bench) -> None:
    """Five visits of a constant fault; a logger of ten-second means at first, of instants each second from the fourth visit on. Nothing grows."""
    b.step_s, f = 1.0, crackle(b, 10.0, size=0.4)
    many = []
    for k in range(5):
        logs = []
        for j in (0, 1):
            t = b.instants(1.5)
            v = {n: b.output(t, n) + (f(t) if n == "left" else 0.0) for n in b.names}
            logs.append(b.table(30.0 * k + j, *(blocks(b, t, v, 10, "mean") if k < 3 else (t, v))))
        many.append(logs)
    visits(b, many, never=(*STILL, "left since *", "left last within*"))


def visits_hiss_grows(b: Bench) -> None:
    """A constant rate over five visits; the hiss of the left output grows from 0.4 mV to 3 or 5 mV, by the same factor each time."""
    f, end = crackle(b, 8.0), b.rng.uniform(3e-3, 5e-3)
    many = []
    for k in range(5):
        hiss = 4e-4 * (end / 4e-4) ** (k / 4)
        many.append([b.evening(30.0 * k + j, 1.5, {"left": lambda t, s=hiss: f(t) + s * b.rng.standard_normal(t.size)}) for j in (0, 1)])
    visits(b, many, never=(*STILL, "left since *", "left last within*"), must=("left noise*yes",))


def visits_rest_creeps(b: Bench) -> None:
    """No swing at five visits a season apart; the left rest is 9 to 13 mV farther from zero at each. The level grows, nothing else."""
    step = b.rng.uniform(9e-3, 0.013)
    b.rest["left"] = abs(b.rest["left"])
    many = [[b.evening(90.0 * k + j, 2, {"left": lambda t, s=step * k: np.full(t.size, s)}) for j in (0, 1)] for k in range(5)]
    visits(b, many, never=(*STILL, "left since *"), must=("left settled level yes",))


def visits_one_soak(b: Bench) -> None:
    """Five visits of a constant fault, swings of 25 to 60 s; the third is a soak of 40 hours at 10 s a reading, the others two evenings each."""
    f = {"left": crackle(b, 5.0, length_s=42.0)}
    many = [[b.evening(30.0 * k, 40, f, step_s=10.0)] if k == 2 else [b.evening(30.0 * k + j, 2, f) for j in (0, 1)] for k in range(5)]
    visits(b, many, never=(*STILL, "left since *", "left last within*"))


def visits_forming(b: Bench) -> None:
    """A forming capacitor at six visits: 60 to 220 mV at switch-on, more after a longer rest, that die within an hour or two. Rests in no order."""
    many, day = [], 0.0
    for rest in b.rng.permutation([1, 3, 10, 30, 60, 90]):
        day += float(rest)
        size, tau = 0.05 + 0.035 * np.log1p(rest), b.rng.uniform(1500, 3000)
        many.append([b.evening(day, 2.5, {"left": lambda t, s=size, x=tau: s * np.exp(-t / x)})])
    visits(b, many, never=(*STILL, "left since *", "left last within*"), rather_not=("left settled level yes", "left surge yes"))


def visits_tripled(b: Bench) -> None:
    """One, three, nine and 27 swings an hour at four visits of three evenings each: that must be said."""
    many = [[b.evening(60.0 * k + j, 2, {"left": crackle(b, 3.0**k)}) for j in range(3)] for k in range(4)]
    visits(b, many, must=("left rate worse",), never=("left rate better", "left last within*"))


# ------------------------------------------------------------ soaks


def soak_cut_off(b: Bench) -> None:
    """A sound soak of 12 to 18 hours, cut off two to five times for a quarter of an hour to two hours without rows: its hours are those with rows."""
    t = b.instants(b.rng.uniform(12, 18), max(b.step_s, 2.0))
    spans = cut_off(b, t, int(b.rng.integers(2, 6)), (900, 4000))
    on = np.any([(t >= p) & (t < q) for p, q in spans], axis=0)
    hours = on.sum() * (t[1] - t[0]) / HOUR
    table = {k: x[on] for k, x in b.table(0, t, powered(b, t, spans)).items()}
    b.step("assess", [table], sound=b.names, never=[f"{n} hours {w}" for n in b.names for w in (f"over {1.01 * hours + 0.02:.3f}", f"under {0.9 * hours:.3f}")])


def soak_stays_off(b: Bench) -> None:
    """The same, but after the first cut, at 70 to 110 minutes, the unit stays off, while its logger writes on to the end: hardly an hour was seen."""
    t = b.instants(b.rng.uniform(12, 18), max(b.step_s, 2.0))
    at = b.rng.uniform(4200, 6600)
    b.step("assess", [b.table(0, t, powered(b, t, [(0.0, at)]))], never=[x for n in b.names for x in (*uncleared(n), *nothing_shown(n), f"{n} hours over {at / HOUR + 0.1:.3f}")])


def soak_plan(b: Bench) -> None:
    """Three evenings of a constant fault: the hours of the plan must hold what they promise, and not be fifteen times as long."""
    rate = b.rng.uniform(2, 10)
    b.step("soak", evenings(b, 0, 3, 2, {"left": crackle(b, float(rate))}), channel="left", never=(f"plan hours under {2.3 / rate:.3f}",), must=(f"plan hours under {45 / rate:.3f}",))


def soak_plan_cold_fault(b: Bench) -> None:
    """A fault of the first ten minutes of each of four long evenings: hours on end do not show it again, switching on does."""
    f = {"left": crackle(b, lambda t: np.where(t < 600, 25.0, 0.0), most=25.0)}
    b.step("soak", evenings(b, 0, 4, 3, f), channel="left", must=("plan power-ups over 0|refused*",))


# ------------------------------------------------------------ watches


def watch(b: Bench, hours: float, left: Shape | None = None, *, never: Sequence[str] = (), must: Sequence[str] = (), rather_not: Sequence[str] = ()) -> None:
    """Watch one evening row by row; the others are sound: no alarm, and nothing recurs."""
    fresh_names(b, "left", "right")
    b.step_s = max(b.step_s, hours * HOUR / 12_000)
    never = [*never, "right alarm*", "right recurs*"]
    b.step("watch", [b.evening(0, hours, {"left": left} if left else None)], never=never, must=must, rather_not=rather_not)


CALM = ("left alarm*", "left recurs*")


def watch_beats(b: Bench) -> None:
    """Hum of 2 to 5 mV beats with the readings; a sound unit: no alarm, and nothing recurs."""
    size, period = b.rng.uniform(2e-3, 5e-3), between(b.rng, 20, 900)
    watch(b, 5, lambda t: size * np.sin(2 * np.pi * t / period), never=CALM)


def watch_by_hand(b: Bench) -> None:
    """A sound unit, switched off and on by hand once or twice while it is watched: no alarm, and nothing recurs."""
    fresh_names(b, "left", "right")
    t = b.instants(5, max(b.step_s, 2.0))
    v = powered(b, t, cut_off(b, t, int(b.rng.integers(1, 3)), (60, 400)))
    b.step("watch", [b.table(0, t, v)], never=[f"{n} {w}" for n in b.names for w in ("alarm*", "recurs*")])


def watch_creeps(b: Bench) -> None:
    """From an hour or two on the left output creeps within one or two hours to 1.5 to 6 V: an alarm before it stands at 1.2 V for a minute."""
    at, span, size = b.rng.uniform(1, 2) * HOUR, b.rng.uniform(1, 2) * HOUR, between(b.rng, 1.5, 6)
    reached = at + span * 1.2 / size + 60
    b.fact(at_s=float(at), reached_s=float(reached))
    watch(b, (at + span) / HOUR + 0.3, lambda t: size * np.clip((t - at) / span, 0, 1), must=(f"left alarm under {reached:.1f}",))


def watch_stands(b: Bench) -> None:
    """At some moment the left output goes to 80 to 300 mV and stays: one change. It does not come and go, and it is not clean."""
    at, size = b.rng.uniform(1, 2) * HOUR, between(b.rng, 0.08, 0.3)
    watch(b, 5, lambda t: np.where(t > at, size, 0.0), never=(f"left clean enough over {at:.1f}",), must=("left alarm*",), rather_not=("left recurs*",))


def watch_crackles(b: Bench) -> None:
    """Fifteen swings an hour of 0.1 to 0.4 V and some seconds: it recurs, and the watch must say so within its five hours."""
    watch(b, 5, lambda t: crackle(b, 15.0, length_s=max(3.0, 1.2 * float(t[1] - t[0])))(t), never=("left clean*",), must=("left recurs*",))


def watch_oscillates(b: Bench) -> None:
    """From some moment on the left output oscillates slowly, 1 to 4 V, a turn in 40 to 200 s: an alarm within two turns and a minute."""
    at, size, period = b.rng.uniform(1, 3) * HOUR, between(b.rng, 1, 4), b.rng.uniform(40, 200)
    watch(b, 4, lambda t: np.where(t > at, size * np.sin(2 * np.pi * (t - at) / period), 0.0), must=(f"left alarm under {at + 2 * period + 60:.1f}",))


KINDS = {f.__name__.replace("_", " "): varied(f) for f in (
    pair_hiss_gone, pair_faster_logger, pair_filtered_after, pair_peaks_after, pair_soak_cut, pair_soak_never_warm, pair_level_set,
    pair_both_mended, pair_transmitter_gone, pair_servo_worse, pair_wandering_lead, visits_means_then_instants, visits_hiss_grows,
    visits_rest_creeps, visits_one_soak, visits_forming, visits_tripled, soak_cut_off, soak_stays_off, soak_plan, soak_plan_cold_fault,
    watch_beats, watch_by_hand, watch_creeps, watch_stands, watch_crackles, watch_oscillates,
)}  # fmt: skip
