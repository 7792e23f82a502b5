"""Stories of repairs, visits, soaks, watches and growth, the last set by one who has not read how the program decides. All data are invented.

For `fresh_benches`. What must never be said is wrong whatever the statistics; what must be said is large. A claim held at 5 % may
err once in twenty stories. Common practice, no source: the wrong part changed, logs given in the wrong order, shorter power-ups
afterwards, a unit that is brought in on its worst day.
"""

from __future__ import annotations

import numpy as np
from fresh_bench_claims import STILL, UNCHANGED
from fresh_bench_parts import HOUR, Bench, Shape, arrivals, between, crackle, no_growth, swings, uncleared
from fresh_late_claims import OPEN, hiss, some, unhurried
from fresh_late_units import DANGER, evenings, stands
from fresh_odd_claims import CALM, pair, visits, watch
from fresh_parts import Floats
from fresh_repairs import fresh_names, powered

CLEANER = "left clean enough over"


def growing(b: Bench, low: float, high: float, hours: float) -> Shape:
    """Give swings whose rate goes from low to high an hour, by a constant factor."""
    return crackle(b, lambda t: low * (high / low) ** (t / hours / HOUR), most=high)


def in_storms(b: Bench, n: int) -> Shape:
    """Give storms of six to ten swings within a minute and a half, at moments drawn evenly."""

    def left(t: Floats) -> Floats:
        at = np.concatenate([a + np.sort(b.rng.uniform(0, 90, int(b.rng.integers(6, 11)))) for a in b.rng.uniform(600, t[-1] - 100, n)])
        return swings(t, at, max(1.2, 1.1 * float(t[1])), 0.25)

    return left


# ------------------------------------------------------------ pairs


def pair_wrong_side(b: Bench) -> None:
    """Both sides swing, ten an hour; the part was changed on the right, and the right is clean. Nothing about the left."""
    fresh_names(b, "left", "right")
    before = [b.evening(k, 3, {n: crackle(b, 10.0) for n in b.names}) for k in range(3)]
    pair(b, before, some(b, 7, 5, 4, crackle(b, 10.0)), never=(*UNCHANGED, *OPEN), must=("right outcome improved",), sound=())


def pair_in_wrong_order(b: Bench) -> None:
    """The logs are given in the wrong order: 'before' is the clean week after, 'after' the older one with fifteen an hour. No improvement; a careful page notes the dates."""
    pair(b, some(b, 9, 4, 4), some(b, 0, 3, 3, crackle(b, 15.0)), never=("left outcome improved", *OPEN))


def pair_warm_after(b: Bench) -> None:
    """A fault of the first half-hour, eight in each; before from cold starts, afterwards logs that begin in mid-operation. Nothing done: no cure."""
    cold = crackle(b, lambda t: np.where(t < 1800, 16.0, 0.0), most=16.0)
    pair(b, some(b, 0, 5, 2, cold), some(b, 9, 4, 4, warm=True), never=("left cured shown", "left outcome improved"))


def pair_shorter_after(b: Bench) -> None:
    """A fault that comes after two hours, twelve an hour; evenings of four hours before, eight of ninety minutes afterwards. Nothing done: no cure."""
    f = crackle(b, lambda t: np.where(t > 2 * HOUR, 12.0, 0.0), most=12.0)
    pair(b, some(b, 0, 3, 4, f), some(b, 7, 8, 1.5, f), never=("left cured shown", "left outcome improved"), rather_not=("left after within*",))


def pair_relay_cuts(b: Bench) -> None:
    """Afterwards the lead sits behind the relay, which opens for 20 s at each swing: zero in place of 0.3 to 1 V. Nothing done: not cleared, no cure."""
    size = between(b.rng, 0.3, 1)
    b.step_s = min(b.step_s, 5.0)
    after = []
    for k in range(4):
        t = b.instants(4)
        off = swings(t, at := arrivals(b.rng, float(t[-1]), 12.0), np.full(at.size, 20.0), 1.0) > 0
        v = {n: b.output(t, n) for n in b.names}
        v["left"] = np.where(off, 2e-5 * b.rng.standard_normal(t.size), v["left"])
        after.append(b.table(7 + k, t, v))
    pair(b, some(b, 0, 3, 3, crackle(b, 12.0, size=size, length_s=15.0)), after, never=("left cured shown",), rather_not=("left after within*",))


def pair_level_halved(b: Bench) -> None:
    """The left rest was 130 to 200 mV and is half of it now. Not cured, and no loudspeaker."""
    size = b.rng.uniform(0.13, 0.2)
    pair(b, some(b, 0, 3, 2, stands(-1, 1e9, size)), some(b, 7, 4, 4, stands(-1, 1e9, size / 2)), never=(*OPEN, "left outcome worse"))


def pair_hiss_halved(b: Bench) -> None:
    """Hiss of 12 to 20 mV is half as much now. Not cured, not cleared."""
    size = b.rng.uniform(0.012, 0.02)
    pair(b, some(b, 0, 3, 2, hiss(b, size)), some(b, 7, 4, 4, hiss(b, size / 2)), never=(*OPEN, "left outcome worse"))


def pair_drift_mended(b: Bench) -> None:
    """Each evening the left rest went by 80 to 150 mV along a line; now it stays, five evenings of four hours. Better, and cleared."""
    size = b.rng.uniform(0.08, 0.15)
    pair(b, some(b, 0, 4, 4, lambda t: size * t / t[-1]), some(b, 9, 5, 4), must=("left outcome improved", "left after within*"), never=("left outcome worse",))


def pair_two_sides_mended(b: Bench) -> None:
    """Both sides swung, twelve an hour; both are clean for six evenings of four hours. Better on both, and cleared."""
    fresh_names(b, "left", "right")
    before = [b.evening(k, 3, {n: crackle(b, 12.0) for n in b.names}) for k in range(4)]
    pair(b, before, some(b, 9, 6, 4), must=[f"{n} {w}" for n in b.names for w in ("outcome improved", "after within*")], sound=())


def pair_worst_day_first(b: Bench) -> None:
    """Rates differ from day to day, 0.5 to 20 an hour; the unit was brought in on the worst of six, and three ordinary days follow. Nothing done: no cure; a careful page asks for more days before."""
    rates = np.sort(np.exp(b.rng.uniform(np.log(0.5), np.log(20), 9)))
    after = [b.evening(7 + k, 3, {"left": crackle(b, float(r))}) for k, r in enumerate(b.rng.permutation(rates[:-1])[:3])]
    pair(b, some(b, 0, 1, 3, crackle(b, float(rates[-1]))), after, never=OPEN, rather_not=("left outcome improved",))


def pair_one_left(b: Bench) -> None:
    """Thirty an hour before; one swing of 0.25 V in twenty-four hours afterwards. Better, and no cure."""
    at = b.rng.uniform(3000, 12_000)
    after = [b.evening(7 + k, 4, {"left": stands(at, at + 12, 0.25)} if k == 3 else None) for k in range(6)]
    pair(b, some(b, 0, 3, 3, crackle(b, 30.0)), after, never=OPEN, must=("left outcome improved",))


def pair_small_left(b: Bench) -> None:
    """As many swings as before, ten an hour, of 24 to 34 mV where they were 0.3 V. Not cleared, no cure."""
    size = b.rng.uniform(0.024, 0.034)
    after = some(b, 7, 4, 4, lambda t: swings(t, arrivals(b.rng, float(t[-1]), 10.0), max(4.0, 1.1 * float(t[1])), size))
    pair(b, some(b, 0, 3, 3, crackle(b, 10.0, size=0.3)), after, never=OPEN)


def pair_leads_turned(b: Bench) -> None:
    """Nothing done, the leads turned: the left rest is -65 to -130 mV where it was as much above. No change, no loudspeaker."""
    size = b.rng.uniform(0.065, 0.13)
    b.rest["left"] = 0.0
    pair(b, some(b, 0, 3, 3, stands(-1, 1e9, size)), some(b, 7, 3, 3, stands(-1, 1e9, -size)), never=(*UNCHANGED, *OPEN))


def pair_shared_evening(b: Bench) -> None:
    """An evening of 'before' stands among those of 'after' too; fifteen an hour in all. No change."""
    logs = some(b, 0, 5, 3, crackle(b, 15.0))
    pair(b, logs[:3], logs[2:], never=(*UNCHANGED, *OPEN))


def pair_growth_stopped(b: Bench) -> None:
    """The rate doubled from evening to evening: 2, 4, 8, 16 an hour; since the repair it stays at 16. No cure, nothing better."""
    before = [b.evening(k, 3, {"left": crackle(b, 2.0 * 2**k)}) for k in range(4)]
    pair(b, before, some(b, 7, 3, 3, crackle(b, 16.0)), never=("left outcome improved", *OPEN))


def pair_now_dead(b: Bench) -> None:
    """Fifteen an hour before; since the repair the left output stands at zero, without any life, while the right is as it was. Not cleared, no cure."""
    fresh_names(b, "left", "right")
    after = []
    for k in range(4):
        t = b.instants(4)
        after.append(b.table(7 + k, t, {"left": 1e-5 * b.rng.standard_normal(t.size), "right": b.output(t, "right")}))
    pair(b, some(b, 0, 3, 3, crackle(b, 15.0)), after, never=OPEN)


def pair_quieter_meter(b: Bench) -> None:
    """Nothing done; a filter of 20 s before the logger afterwards: swings of 2 s and 0.25 V read 25 mV. Twelve an hour; no cure, not cleared."""
    from fresh_odd_meters import followed

    b.step_s, f = min(b.step_s, 2.0), crackle(b, 12.0, length_s=2.0)
    after = []
    for k in range(4):
        t = b.instants(4)
        after.append(b.table(7 + k, t, {n: followed(b.output(t, n) + (f(t) if n == "left" else 0.0), t, 20.0) for n in b.names}))
    pair(b, some(b, 0, 3, 3, f), after, never=("left cured shown", "left after within*"), rather_not=("left outcome improved",))


# ------------------------------------------------------------ visits


def visits_level_doubles(b: Bench) -> None:
    """The left rest doubles from week to week: 4, 8, 16, 32, 64, 128 mV. It must be told."""
    many = []
    for k in range(6):
        b.rest["left"] = 4e-3 * 2.0**k
        many.append([b.evening(7.0 * k + j, 2) for j in (0, 1)])
    visits(b, many, must=("left settled level worse|left settled level yes|left settled level *changed*|left settled level shown",), never=("left last within*", "left settled level better"))


def visits_creep(b: Bench) -> None:
    """Nine visits, one a month, and the left rest is 5 to 6 mV higher at each: 2 to 45 mV. It must be told."""
    step, many = b.rng.uniform(5e-3, 6e-3), []
    for k in range(9):
        b.rest["left"] = 2e-3 + step * k
        many.append([b.evening(30.0 * k, 2)])
    visits(b, many, must=("left settled level worse|left settled level yes|left settled level *changed*|left settled level shown",))


def visits_relapse(b: Bench) -> None:
    """Twelve an hour at two visits, none at three, twelve at the last two. It came back: no 'better', and not cleared."""
    many = [[b.evening(30.0 * k + j, 3, {"left": crackle(b, 12.0)} if k in (0, 1, 5, 6) else None) for j in (0, 1)] for k in range(7)]
    visits(b, many, never=("left rate better", "left rate worse", "left last within*"))


def visits_slow_cure(b: Bench) -> None:
    """By itself it comes less often from visit to visit: 24, 16, 11, 7, 5, 3 an hour. Never worse, and not cleared."""
    many = [[b.evening(30.0 * k + j, 2.5, {"left": crackle(b, 24 * 0.67**k)}) for j in (0, 1)] for k in range(6)]
    visits(b, many, never=("left rate worse", "left last within*"), must=("left rate better",))


def visits_one_channel_at_times(b: Bench) -> None:
    """The right output was logged at every second visit only; the left comes twice as often at each. It must be told."""
    fresh_names(b, "left", "right")
    many = []
    for k in range(6):
        logs = [b.evening(30.0 * k + j, 2.5, {"left": crackle(b, 1.5 * 2.0**k)}) for j in (0, 1)]
        many.append([{c: x for c, x in y.items() if k % 2 == 0 or c != "right_V"} for y in logs])
    visits(b, many, must=("left rate worse|left since *",), never=("left last within*",))


def visits_long_and_short(b: Bench) -> None:
    """A constant fault of five an hour; visits of a quarter of an hour and of five hours by turns. Nothing grows."""
    f = crackle(b, 5.0)
    visits(b, [[b.evening(30.0 * k, 5.0 if k % 2 else 0.25, {"left": f})] for k in range(7)], never=(*STILL, "left since *", "left last within*"))


def visits_leads_turned(b: Bench) -> None:
    """No fault; the leads are turned from the third visit on: rests of 6 to 9 mV change their sign. Nothing of the unit."""
    fresh_names(b, "left", "right")
    b.rest = {n: b.rng.choice([-1, 1]) * b.rng.uniform(6e-3, 9e-3) for n in b.names}
    many = []
    for k in range(5):
        logs = [b.evening(30.0 * k + j, 2) for j in (0, 1)]
        many.append([{c: -x if k > 1 and c != "time" else x for c, x in y.items()} for y in logs])
    visits(b, many, never=(*STILL, "left since *"), rather_not=("left settled level worse", "left settled level yes"))


def visits_two(b: Bench) -> None:
    """Two visits of a constant fault of one and a half an hour. Two visits are no trend."""
    f = crackle(b, 1.5)
    visits(b, [[b.evening(60.0 * k, 3, {"left": f})] for k in (0, 1)], never=(*STILL, "left last within*"))


def visits_sizes_double(b: Bench) -> None:
    """As often as before, and twice as large at each of five visits: 60 mV to 1 V. It must be told."""
    many = [[b.evening(30.0 * k + j, 2.5, {"left": crackle(b, 10.0, size=0.06 * 2.0**k)}) for j in (0, 1)] for k in range(5)]
    visits(b, many, must=("left size worse|left since *",), never=("left last within*", "left size better"))


def visits_clean_then_one(b: Bench) -> None:
    """Four clean visits and one swing of 0.3 V at the last. One swing is no trend, and the last visit is not cleared."""
    at = b.rng.uniform(1500, 8000)
    visits(b, [[b.evening(30.0 * k, 3, {"left": stands(at, at + 12, 0.3)} if k == 4 else None)] for k in range(5)], never=(*STILL, "left since *", "left last within*"))


def visits_first_is_worst(b: Bench) -> None:
    """The unit came in at its worst, twenty an hour; five visits of three an hour follow, nothing done. Nothing gets worse."""
    visits(b, [[b.evening(30.0 * k + j, 2.5, {"left": crackle(b, 3.0 if k else 20.0)}) for j in (0, 1)] for k in range(6)], never=("left rate worse", "left last within*", "left since worse"))


# ------------------------------------------------------------ soaks


def soak_last_hour(b: Bench) -> None:
    """Twenty clean hours and one pulse of 0.2 to 3 V and 12 to 30 s in the last. Not cleared; nothing grows."""
    _soak(b, 20 * HOUR + b.rng.uniform(0, 3500))


def soak_first_hour(b: Bench) -> None:
    """The pulse comes in the first hour, and twenty clean hours follow. Not cleared; nothing grows."""
    _soak(b, b.rng.uniform(1300, 3500))


def _soak(b: Bench, at: float) -> None:
    b.step_s = max(b.step_s, 2.0)
    log = b.evening(0, 21, {"left": stands(at, at + b.rng.uniform(12, 30), between(b.rng, 0.2, 3))})
    b.step("assess", [log], never=[*uncleared("left"), *no_growth("left")], sound=b.others)


def soak_three_nights(b: Bench) -> None:
    """Three nights of twelve hours, clean. Sound."""
    b.step_s = max(b.step_s, 2.0)
    b.step("assess", [b.evening(k, 12) for k in range(3)], sound=b.names)


def soak_of_half_an_hour(b: Bench) -> None:
    """Half an hour to fifty minutes, clean. Too short to clear, and nothing shown."""
    b.step("assess", [b.evening(0, b.rng.uniform(0.5, 0.85))], never=[x for n in b.names for x in (*uncleared(n), f"{n} noisy", f"{n} drifting", f"{n} degrading")])


def soak_plan_rare(b: Bench) -> None:
    """Two swings in forty hours: to see one again with some certainty takes more than a day."""
    b.step_s, at = max(b.step_s, 2.0), np.sort(b.rng.uniform(2000, 34_000, 2))
    logs = [b.evening(k, 10, {"left": stands(float(at[k // 2]), float(at[k // 2]) + 15, 0.3)} if k in (1, 3) else None) for k in range(4)]
    b.step("soak", logs, channel="left", never=("plan hours under 20",))


# ------------------------------------------------------------ watches


def watch_level(b: Bench) -> None:
    """After an hour the left rest goes to 80 to 200 mV and stays. From there on it is never 'clean enough'."""
    at = b.rng.uniform(0.8, 1.5) * HOUR
    watch(b, 6, stands(at, 1e9, between(b.rng, 0.08, 0.2)), never=(f"{CLEANER} {at:.1f}",))


def watch_line(b: Bench) -> None:
    """The left rest goes by 20 to 40 mV an hour from the start on. Never 'clean enough' once it is beyond 50 mV."""
    pace = b.rng.uniform(0.02, 0.04)
    watch(b, 6, lambda t: pace * t / HOUR, never=(f"{CLEANER} {0.06 / pace * HOUR:.1f}",))


def watch_from_the_start(b: Bench) -> None:
    """Twenty an hour from the start on: it recurs, and that is said within two hours; never 'clean enough'."""
    watch(b, 3, crackle(b, 20.0, length_s=5.0), must=("left recurs under 7200",), never=("left clean enough*",))


def watch_sound(b: Bench) -> None:
    """Ten hours of a sound unit: clean enough, and no alarm."""
    watch(b, 10, never=CALM, must=("left clean enough*",))


def watch_rail_then_dead(b: Bench) -> None:
    """After one to three hours 20 to 40 V for 10 s, and then nothing at all. An alarm within 15 s."""
    at = b.rng.uniform(1, 2.9) * HOUR
    b.step_s = min(b.step_s, 2.0)
    watch(b, 3.2, stands(at, at + 10, b.rng.uniform(20, 40)), must=(f"left alarm under {at + 15:.1f}",), never=(f"left alarm under {at:.1f}", f"{CLEANER} {at:.1f}"))


def watch_runaway(b: Bench) -> None:
    """The left output runs away, doubling each eight minutes, from 3 mV at half an hour: 0.75 V after 94 minutes. An alarm at once there, or earlier with a forecast; none while it rests."""
    at = 1800 + 480 * np.log2(0.75 / 0.003)
    watch(b, 1.8, lambda t: 0.003 * 2 ** np.clip((t - 1800) / 480, -5, 9), must=(f"left alarm under {at + 120:.1f}",), never=("left alarm under 1800", f"{CLEANER} {at:.1f}"))


def watch_restarts(b: Bench) -> None:
    """A sound unit is switched off for ten minutes and on again, three times; surges within 80 mV. No alarm of volts, nothing recurs."""
    fresh_names(b, "left", "right")
    t = b.instants(4.6, max(b.step_s, 1.0))
    v = powered(b, t, [(1.2 * HOUR * k, 1.2 * HOUR * (k + 1) - 600) for k in range(4)])
    b.step("watch", [b.table(0, t, v)], never=[f"{n} {w}" for n in b.names for w in ("alarm*", "recurs*")])


def watch_storms(b: Bench) -> None:
    """Four storms of some swings within minutes, at moments of chance within eight hours. A fault that comes back: never 'clean enough' after the second storm."""
    at = np.sort(b.rng.uniform(0.6, 6.5, 4)) * HOUR
    watch(b, 8, lambda t: swings(t, np.concatenate([a + np.array([0.0, 30.0, 75.0, 130.0]) for a in at]), 8.0, 0.3), never=(f"{CLEANER} {at[1] + 150:.1f}",))


# ------------------------------------------------------------ growth within a run


def cools_down_each_time(b: Bench) -> None:
    """A fault of warming up: thirty an hour in the first half-hour, two later, each of four evenings. Nothing grows."""
    f = crackle(b, lambda t: 2 + 28 * np.exp(-t / 1200), most=30.0)
    b.step("assess", some(b, 0, 4, 3, f), never=[*uncleared("left"), *no_growth("left")], must=("left noisy",), sound=b.others)


def grows_in_one_run(b: Bench) -> None:
    """From two to forty an hour within eight hours of one run. That it came more often must be told."""
    b.step("assess", some(b, 0, 1, 8, growing(b, 2.0, 40.0, 8.0)), never=uncleared("left"), must=("left more often yes|left since *|left degrading",), sound=b.others)


def larger_in_one_run(b: Bench) -> None:
    """As often as before, from 60 to 600 mV within eight hours of one run. That it grew must be told."""
    f = crackle(b, 12.0, size=0.06, grows=lambda t: 10.0 ** (t / 8 / HOUR))
    b.step("assess", some(b, 0, 1, 8, f), never=uncleared("left"), must=("left larger yes|left since *|left degrading",), sound=b.others)


def doubles_each_evening(b: Bench) -> None:
    """Six evenings: 1, 2, 4, 8, 16, 32 an hour. That it is worse must be told."""
    logs = evenings(b, 6, 2.5, [crackle(b, 2.0**k) for k in range(6)])
    b.step("assess", logs, never=uncleared("left"), must=("left worse with age yes|left degrading|left since *",), sound=b.others)


def evenings_differ(b: Bench) -> None:
    """Eight evenings, and each has a rate of its own, 1 to 12 an hour, in no order. Nothing grows."""
    logs = evenings(b, 8, 2.5, [crackle(b, between(b.rng, 1, 12)) for _ in range(8)])
    b.step("assess", logs, never=[*uncleared("left"), *no_growth("left")], must=("left noisy",), sound=b.others)


def storms_of_chance(b: Bench) -> None:
    """Three storms of six to ten swings within minutes, in eight hours: where they lie is chance. Nothing grows."""
    b.step("assess", some(b, 0, 1, 8, in_storms(b, 3)), never=[*uncleared("left"), *no_growth("left")], sound=b.others)


def hiss_hides_the_first(b: Bench) -> None:
    """A constant fault of ten an hour, 35 to 80 mV; hiss of the room, 6 mV in all channels, is switched off after three of six hours. Nothing grows."""
    f, t = crackle(b, 10.0, size=0.055), b.instants(6)
    loud = 6e-3 * (t < 3 * HOUR)
    v = {n: b.output(t, n) + loud * b.rng.standard_normal(t.size) + (f(t) if n == "left" else 0.0) for n in b.names}
    b.step("assess", [b.table(0, t, v)], never=[*uncleared("left"), *no_growth("left")])


def first_volts_at_last(b: Bench) -> None:
    """Five evenings of small swings, ten an hour; in the last hour of the last one a swing stands at 1.5 to 12 V for 3 to 8 s. Do not connect."""
    b.step_s, at = min(b.step_s, 2.0), 2.5 * HOUR - b.rng.uniform(100, 3400)
    small, big = crackle(b, 10.0, size=0.08), stands(at, at + b.rng.uniform(3, 8), between(b.rng, 1.5, 12))
    logs = evenings(b, 5, 2.5, [*[small] * 4, lambda t: small(t) + big(t)])
    b.step("assess", logs, never=uncleared("left"), must=DANGER, sound=b.others)


KINDS = {f.__name__.replace("_", " "): unhurried(f) for f in (
    pair_wrong_side, pair_in_wrong_order, pair_warm_after, pair_shorter_after, pair_relay_cuts, pair_level_halved, pair_hiss_halved,
    pair_drift_mended, pair_two_sides_mended, pair_worst_day_first, pair_one_left, pair_small_left, pair_leads_turned, pair_shared_evening,
    pair_growth_stopped, pair_now_dead, pair_quieter_meter, visits_level_doubles, visits_creep, visits_relapse, visits_slow_cure,
    visits_one_channel_at_times, visits_long_and_short, visits_leads_turned, visits_two, visits_sizes_double, visits_clean_then_one,
    visits_first_is_worst, soak_last_hour, soak_first_hour, soak_three_nights, soak_of_half_an_hour, soak_plan_rare, watch_level,
    watch_line, watch_from_the_start, watch_sound, watch_rail_then_dead, watch_runaway, watch_restarts, watch_storms,
    cools_down_each_time, grows_in_one_run, larger_in_one_run, doubles_each_evening, evenings_differ, storms_of_chance,
    hiss_hides_the_first, first_volts_at_last,
)}  # fmt: skip
