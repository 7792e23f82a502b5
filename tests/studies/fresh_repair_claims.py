"""Stories of repairs, pairs and visits as a repairer meets them, for `fresh_benches`. All data are invented.

Boards change places, one channel is mended and the other left as it is, habits and meters change and the unit does not.
What must never be said is wrong whatever the statistics; a claim held at 5 % may err once in twenty stories.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from fresh_bench_claims import STILL, UNCHANGED
from fresh_bench_parts import HOUR, Bench, Shape, Table, between, crackle, swings
from fresh_parts import Floats
from fresh_repairs import fresh_names, powered


def _pair(b: Bench, before: Sequence[Table], after: Sequence[Table], *, never: Sequence[str] = (), must: Sequence[str] = (),
          rather_not: Sequence[str] = (), sound: Sequence[str] | None = None) -> None:  # fmt: skip
    b.step("compare", (before, after), never=never, must=must, rather_not=rather_not, sound=b.others if sound is None else sound)


def _first(b: Bench, minutes: float, per_h: float) -> Shape:
    """Give swings in the first minutes of each power-up only."""
    return crackle(b, lambda t: np.where(t < 60 * minutes, per_h, 0.0), most=per_h)


# ------------------------------------------------------------ pairs: something was done


def boards_swapped(b: Bench) -> None:
    """The driver boards change sides, as a test: the fault goes with the left one to the right. The rests stay with their sides."""
    fresh_names(b, "left", "right")
    f = crackle(b, 20.0)
    a, c = [b.evening(d, 2, {"left": f}) for d in (0, 1, 2)], [b.evening(d, 2, {"right": f}) for d in (7, 8, 9)]
    _pair(b, a, c, never=("left outcome worse", "right outcome improved", "right after within*", "right cured shown"), must=("right outcome worse", "left outcome improved"), sound=())


def one_side_mended(b: Bench) -> None:
    """Both channels swing, each by itself, twenty times an hour; a part is changed on the left only, which is silent afterwards."""
    fresh_names(b, "left", "right")
    both = {n: crackle(b, 20.0) for n in b.names}
    a = [b.evening(d, 2, both) for d in (0, 1, 2)]
    c = [b.evening(d, 2, {"right": both["right"]}) for d in (7, 8, 9)]
    _pair(b, a, c, never=("left outcome worse", "right outcome improved", "right outcome worse", "right after within*", "right cured shown"), must=("left outcome improved",), sound=())


def neither_mended(b: Bench) -> None:
    """Both channels swing; a part is changed on the left, and it was not that."""
    fresh_names(b, "left", "right")
    both = {n: crackle(b, 12.0) for n in b.names}
    a, c = [b.evening(d, 2, both) for d in (0, 1, 2)], [b.evening(d, 2, both) for d in (7, 8, 9)]
    words = ("outcome improved", "outcome worse", "cured shown", "after within*")
    _pair(b, a, c, never=[f"{n} {w}" for n in b.names for w in words], sound=())


def now_it_thumps(b: Bench) -> None:
    """Twenty swings an hour before, none afterwards; but now each start puts out 3 to 9 V, 12 s after switch-on, for 2 to 5 s."""
    size, length = between(b.rng, 3, 9), b.rng.uniform(2.2, 5)
    a = [b.evening(d, 2, {"left": crackle(b, 20.0)}) for d in (0, 1, 2)]
    c = [b.evening(d, 3, {"left": lambda t: swings(t, np.asarray([12.0]), length, size)}) for d in (7, 8, 9)]
    _pair(b, a, c, never=("left outcome improved", "left cured shown", "left cured not yet", "left after within*", "left after steady"), must=("left after do not connect",))


def rarer_and_longer(b: Bench) -> None:
    """Twenty swings an hour of 2 s before; two an hour afterwards, of three to six minutes and 0.25 V: more time at the loudspeaker."""
    a = [b.evening(d, 2.5, {"left": crackle(b, 20.0)}) for d in (0, 1, 2)]

    def long_ones(t: Floats) -> Floats:
        at = np.arange(b.rng.uniform(300, 1500), t[-1] - 400, 1700)
        return swings(t, at, b.rng.uniform(180, 360, at.size), 0.25)

    c = [b.evening(d, 2.5, {"left": long_ones}) for d in (7, 8, 9)]
    _pair(b, a, c, never=("left outcome improved", "left cured shown", "left cured not yet", "left after within*"))


def level_for_swings(b: Bench) -> None:
    """Twenty swings an hour before; afterwards none, but the rest creeps to 80 to 200 mV within each evening."""
    size = between(b.rng, 0.08, 0.2)
    a = [b.evening(d, 2.5, {"left": crackle(b, 20.0)}) for d in (0, 1, 2)]
    c = [b.evening(d, 3, {"left": lambda t: size * np.clip(t / 7000, 0, 1)}) for d in (7, 8, 9)]
    _pair(b, a, c, never=("left cured shown", "left after within*", "left after steady"), rather_not=("left outcome improved",))


def mended_well(b: Bench) -> None:
    """Twenty swings an hour in four evenings before; four long evenings without one afterwards: it is better, and may be said."""
    a, c = [b.evening(d, 2, {"left": crackle(b, 20.0)}) for d in range(4)], [b.evening(d, 5) for d in range(7, 11)]
    _pair(b, a, c, never=("left outcome worse",), must=("left outcome improved", "left after within*"))


# ------------------------------------------------------------ pairs: nothing was done


def habit_of_starts(b: Bench) -> None:
    """A fault of the first ten minutes. Before, ten starts of 40 minutes; afterwards the unit stays on: two of five hours. Nothing done."""
    f = {"left": _first(b, 10, 40.0)}
    a, c = [b.evening(d / 2, 0.67, f) for d in range(10)], [b.evening(d, 5, f) for d in (9, 10)]
    _pair(b, a, c, never=(*UNCHANGED, "left after within*"))


def now_many_starts(b: Bench) -> None:
    """The same the other way round: two long evenings before, ten short ones afterwards. Nothing done."""
    f = {"left": _first(b, 10, 40.0)}
    a, c = [b.evening(d, 5, f) for d in (0, 1)], [b.evening(7 + d / 2, 0.67, f) for d in range(10)]
    _pair(b, a, c, never=(*UNCHANGED, "left after within*"))


def once_a_day_pair(b: Bench) -> None:
    """Six days with one swing a day at 20 s a reading; afterwards two days without one, by luck or by hour. Nothing is proved."""
    b.step_s = 20.0
    f = {"left": lambda t: swings(t, 86400 * np.arange(6) + 13 * HOUR + b.rng.uniform(-90, 90, 6), 60.0, 0.2)}
    _pair(b, [b.evening(0, 144, f)], [b.evening(20, 20), b.evening(22, 20)], never=UNCHANGED)


def cut_at_200(b: Bench) -> None:
    """Swings of 0.3 to 1.2 V; afterwards the logger stands in a range that ends at 200 mV, written as a number. Nothing done."""
    f = {"left": crackle(b, 15.0, size=0.6)}
    a, c = [b.evening(d, 2, f) for d in (0, 1, 2)], [b.evening(d, 2, f) for d in (7, 8, 9)]
    for table in c:
        table["left_V"] = np.clip(table["left_V"], -0.2, 0.2)
    _pair(b, a, c, never=(*UNCHANGED, "left after within*"))


def steps_of_five(b: Bench) -> None:
    """Swings of some 0.2 V; afterwards a display that goes in steps of 5 mV. Nothing done, neither here nor to the sound channels."""
    f = {"left": crackle(b, 12.0, size=0.2)}
    a, c = [b.evening(d, 2, f) for d in (0, 1, 2)], [b.evening(d, 2, f, digit=5e-3) for d in (7, 8, 9)]
    _pair(b, a, c, never=(*UNCHANGED, "left after within*"))


def scanned_after(b: Bench) -> None:
    """Swings of 1.5 s seen each second before; afterwards a scanner of four channels reads each one every 4 s. Nothing done."""
    fresh_names(b, "left", "right", "rear left", "rear right")
    f = {"left": crackle(b, 20.0, length_s=1.5, mean_s=0.0)}
    a = [b.evening(d, 2, f, step_s=1.0) for d in (0, 1, 2)]
    c = [b.evening(d, 2.5, f, step_s=1.0) for d in (7, 8, 9)]
    for table in c:
        for i, n in enumerate(b.names):
            table[f"{n}_V"] = np.where(np.arange(table["time"].size) % 4 == i, table[f"{n}_V"], np.nan)
    _pair(b, a, c, never=(*UNCHANGED, "left after within*"))


def loaded_after(b: Bench) -> None:
    """The unit without a load before, with one afterwards that halves its swings of 0.2 V. Nothing done, as often as before."""
    a = [b.evening(d, 2, {"left": crackle(b, 20.0, size=0.2)}) for d in (0, 1, 2)]
    c = [b.evening(d, 2, {"left": crackle(b, 20.0, size=0.1)}) for d in (7, 8, 9)]
    _pair(b, a, c, never=("left outcome worse", "left cured shown", "left cured not yet", "left after within*"), rather_not=("left outcome improved",))


def another_meter(b: Bench) -> None:
    """Another meter afterwards: three per cent of gain, a zero 3 to 6 mV away, readings a little later. Constant fault, nothing done."""
    f, zero = {"left": crackle(b, 12.0)}, b.rng.uniform(3e-3, 6e-3) * b.rng.choice([-1, 1])
    a, c = [b.evening(d, 2, f) for d in (0, 1, 2)], [b.evening(d, 2, f, digit=1e-4) for d in (60, 61, 62)]
    for table in c:
        for n in b.names:
            table[f"{n}_V"] = np.round(1.03 * table[f"{n}_V"] + zero, 4)
    _pair(b, a, c, never=(*UNCHANGED, "left after within*"))


def few_and_none(b: Bench) -> None:
    """A fault of one swing in two hours; three evenings before, three after, nothing done: mostly a few against none or one."""
    f = {"left": crackle(b, 0.5)}
    _pair(b, [b.evening(d, 2, f) for d in (0, 1, 2)], [b.evening(d, 2, f) for d in (7, 8, 9)], never=UNCHANGED)


def clock_hour_pair(b: Bench) -> None:
    """A plug switches the unit on at random hours, four hours a time; five days before and five after, the same fault. Nothing done."""
    b.step_s = 5.0
    f = {"left": crackle(b, 3.0, length_s=10.0)}
    a, c = [b.evening(d + b.rng.uniform(0, 0.7), 3, f) for d in range(5)], [b.evening(20 + d + b.rng.uniform(0, 0.7), 3, f) for d in range(5)]
    _pair(b, a, c, never=(*UNCHANGED, "left after within*"))


def plug_after(b: Bench) -> None:
    """Twelve swings an hour before; afterwards a plug gives it three evenings of six hours, then two days and more off: 18 live hours."""
    before = [b.evening(d, 2.5, {"left": crackle(b, 12.0, length_s=41.0)}, step_s=20.0) for d in (0, 1, 2)]
    t = b.instants(110.0, 20.0)
    v = powered(b, t, [(x * HOUR, (x + 6) * HOUR) for x in (3.0, 27.0, 50.0)], {n: _cold for n in b.others})
    _pair(b, before, [b.table(30, t, v)], never=("left outcome worse", "left cured shown"), sound=())


def _cold(age: Floats) -> Floats:
    """Give an offset of 0.2 V in the first ten minutes."""
    return np.asarray(0.2 / (1 + np.exp((age - 600) / 60)))


# ------------------------------------------------------------ visits


def _visits(b: Bench, visits: Sequence[Sequence[Table]], *, never: Sequence[str] = (), must: Sequence[str] = (), rather_not: Sequence[str] = (),
            sound: Sequence[str] | None = None) -> None:  # fmt: skip
    b.step("visits", visits, never=never, must=must, rather_not=rather_not, sound=b.others if sound is None else sound)


def visits_habit(b: Bench) -> None:
    """A fault of the first ten minutes; three visits of five starts, then three of one start of four hours. Nothing grows or heals."""
    f = {"left": _first(b, 10, 40.0)}
    visits = [[b.evening(30.0 * k + j / 4, 0.7, f) for j in range(5)] for k in range(3)]
    visits += [[b.evening(30.0 * k, 4, f)] for k in range(3, 6)]
    _visits(b, visits, never=(*STILL, "left since *", "left last within*"))


def visits_moved_over(b: Bench) -> None:
    """The left swings at three visits; a repair moves the fault to the right channel, at three more."""
    fresh_names(b, "left", "right")
    f = crackle(b, 10.0)
    visits = [[b.evening(30.0 * k + j, 1.5, {"left" if k < 3 else "right": f}) for j in (0, 1)] for k in range(6)]
    _visits(b, visits, never=("left rate worse", "left since more often", "right rate better", "right since less often", "right last within*"), must=("right since more often|right rate worse",), sound=())


def visits_with_control(b: Bench) -> None:
    """Both channels swing at six visits, each by itself; the left is mended before the fourth, the right never."""
    fresh_names(b, "left", "right")
    f = {n: crackle(b, 12.0) for n in b.names}
    visits = [[b.evening(30.0 * k + j, 1.5, f if k < 3 else {"right": f["right"]}) for j in (0, 1)] for k in range(6)]
    _visits(b, visits, never=("left rate worse", "left since more often", *(f"right {q} {w}" for q in ("rate", "size") for w in ("worse", "better")), "right since *"), must=("left since less often|left rate better",), sound=())


def visits_doubles_then_rests(b: Bench) -> None:
    """Two, four, eight, sixteen an hour at four visits; the unit rests for a season, and then two visits of two an hour."""
    visits = [[b.evening(30.0 * k + (150 if k > 3 else 0) + j, 1.5, {"left": crackle(b, r)}) for j in (0, 1)] for k, r in enumerate((2.0, 4.0, 8.0, 16.0, 2.0, 2.0))]
    _visits(b, visits, never=("left rate better", "left size worse", "left size better", "left last within*"), rather_not=("left rate worse", "left since *"))


def visits_other_meters(b: Bench) -> None:
    """Five visits months apart, each with a meter of its own: gain, zero, digit and cadence. A constant fault of long swings."""
    visits = []
    for k in range(5):
        gain, zero, step = 1 + b.rng.uniform(-0.03, 0.03), b.rng.uniform(-3e-3, 3e-3), float(b.rng.choice([0.5, 1.0, 2.0, 5.0]))
        logs = [b.evening(90.0 * k + j, 1.5, {"left": crackle(b, 10.0, length_s=15.0)}, step_s=step) for j in (0, 1)]
        for table in logs:
            digit = float(b.rng.choice([1e-5, 1e-4, 1e-3]))
            for n in b.names:
                table[f"{n}_V"] = np.round((gain * table[f"{n}_V"] + zero) / digit) * digit
        visits.append(logs)
    _visits(b, visits, never=(*STILL, "left since *", "left last within*"), rather_not=[f"{n} {w}" for n in b.names for w in ("settled level yes", "noise yes")])


def visits_season(b: Bench) -> None:
    """A fault that comes more often in a cold workshop, 4 to 12 an hour, over two whole years of eight visits: it goes round."""
    visits = [[b.evening(91.0 * k + j, 1.5, {"left": crackle(b, 8 + 4 * float(np.cos(np.pi * k / 2)))}) for j in (0, 1)] for k in range(8)]
    _visits(b, visits, never=(*STILL, "left last within*"), rather_not=("left since *",))


KINDS = {f.__name__.replace("_", " "): f for f in (
    boards_swapped, one_side_mended, neither_mended, now_it_thumps, rarer_and_longer, level_for_swings, mended_well,
    habit_of_starts, now_many_starts, once_a_day_pair, cut_at_200, steps_of_five, scanned_after, loaded_after, another_meter, few_and_none,
    clock_hour_pair, plug_after, visits_habit, visits_moved_over, visits_with_control, visits_doubles_then_rests, visits_other_meters, visits_season,
)}  # fmt: skip
