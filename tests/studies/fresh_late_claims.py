"""Stories of repairs, visits, soaks and watches, the third set by one who has not read how the program decides. All data are invented.

For `fresh_benches`. What must never be said is wrong whatever the statistics; what must be said is large. A claim held at 5 % may
err once in twenty stories. Common practice, no source: repairs that did nothing, cleaning that helps for a day, soaks ended too
soon, a customer who brings the unit on its worst day.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

import numpy as np
from fresh_bench_claims import STILL, UNCHANGED
from fresh_bench_parts import HOUR, Bench, Shape, Table, arrivals, between, crackle, nothing_shown, swings
from fresh_late_units import evenings, late, stands
from fresh_odd_claims import pair, visits, watch
from fresh_parts import Floats
from fresh_repairs import fresh_names

OPEN = ("left after within*", "left cured shown")


def some(b: Bench, first: float, n: int, hours: float, left: Shape | None = None, **how: Any) -> list[Table]:
    """Log some evenings from a day on, one a day, all with the same fault or none."""
    return [b.evening(first + k, hours, {"left": left} if left else None, **how) for k in range(n)]


def hiss(b: Bench, size: float) -> Shape:
    """Give white noise at each reading."""
    return lambda t: size * b.rng.standard_normal(t.size)


# ------------------------------------------------------------ pairs


def pair_swings_for_hiss(b: Bench) -> None:
    """The swings are mended, and the new part hisses by 6 to 12 mV. No loudspeaker is cleared, and 'better' alone is half of it."""
    pair(b, some(b, 0, 3, 2, crackle(b, 15.0)), some(b, 7, 4, 4, hiss(b, b.rng.uniform(6e-3, 0.012))), never=("left after within*",), rather_not=("left outcome improved", "left cured shown"))


def pair_hiss_for_volts(b: Bench) -> None:
    """Hiss of 5 to 8 mV is gone; since the repair the left output stands at 0.9 to 25 V. Worse than anything before."""
    before = some(b, 0, 3, 2, hiss(b, b.rng.uniform(5e-3, 8e-3)))
    pair(b, before, some(b, 7, 2, 2, stands(-1, 1e9, between(b.rng, 0.9, 25))), never=(*OPEN, "left outcome improved"), must=("left after do not connect",))


def pair_short_soak(b: Bench) -> None:
    """Mended, but logged for 15 to 45 minutes only: eight an hour before. Nothing is proved, and the unit is not cleared."""
    pair(b, some(b, 0, 3, 2, crackle(b, 8.0)), some(b, 7, 1, b.rng.uniform(0.25, 0.75)), never=OPEN)


def pair_soak_then_late(b: Bench) -> None:
    """A soak of 14 to 24 clean hours, and in its last half-hour it is back, twenty swings an hour. No cure."""
    hours = b.rng.uniform(14, 24)
    back = crackle(b, lambda t: np.where(t > (hours - 0.5) * HOUR, 24.0, 0.0), most=24.0)
    b.step_s = max(b.step_s, 1.0)
    pair(b, some(b, 0, 3, 2, crackle(b, 12.0)), [b.evening(7, hours, {"left": back})], never=OPEN)


def pair_helped_a_day(b: Bench) -> None:
    """Contact cleaner: a clean evening, then four an hour, then fifteen as before. No cure, and hardly better."""
    rates = (None, 4.0, 15.0)
    after = [b.evening(7 + k, 3, {"left": crackle(b, r)} if r else None) for k, r in enumerate(rates)]
    pair(b, some(b, 0, 3, 3, crackle(b, 15.0)), after, never=OPEN, rather_not=("left outcome improved",))


def pair_many_runs_after(b: Bench) -> None:
    """Nothing done to a fault of four an hour; one long evening before, ten to sixteen of three quarters of an hour afterwards."""
    f = crackle(b, 4.0)
    pair(b, some(b, 0, 1, 4, f), some(b, 7, int(b.rng.integers(10, 17)), 0.75, f), never=(*UNCHANGED, *OPEN))


def pair_bad_day_after(b: Bench) -> None:
    """Nothing done: two an hour on all days, and one of six days afterwards with thirty. One bad day is no trend."""
    after = [b.evening(7 + k, 2, {"left": crackle(b, 30.0 if k == 3 else 2.0)}) for k in range(6)]
    pair(b, some(b, 0, 6, 2, crackle(b, 2.0)), after, never=(*UNCHANGED, *OPEN))


def pair_one_start_in_three(b: Bench) -> None:
    """A fault of the first minutes of one start in three: nine starts before, four afterwards that happen to be clean. Nothing done."""

    def start(t: Floats) -> Floats:
        return swings(t, np.sort(b.rng.uniform(40, 500, 6)), 12.0, 0.25)

    before = [b.evening(k / 2, 0.75, {"left": start} if k % 3 == 1 else None) for k in range(9)]
    pair(b, before, some(b, 9, 4, 0.75), never=("left cured shown", "left after within*"), rather_not=("left outcome improved",))


def pair_never_seen(b: Bench) -> None:
    """The fault was never seen on the bench: clean before, clean afterwards. Nothing is cured where nothing was shown."""
    pair(b, some(b, 0, 3, 3), some(b, 7, 4, 4), never=UNCHANGED)


def pair_one_swing_before(b: Bench) -> None:
    """One swing in ten hours before, none in ten afterwards. Nothing is proved."""
    at = b.rng.uniform(2000, 5000)
    first = [b.evening(k, 2.5, {"left": stands(at, at + 12, 0.3)} if k == 1 else None) for k in range(4)]
    pair(b, first, some(b, 9, 4, 2.5), never=UNCHANGED)


def pair_warmer_room(b: Bench) -> None:
    """Nothing done: twelve an hour in a workshop of 9 degrees, one an hour at 24; the temperature stands beside. A careful page calls no repair of it."""
    sides = []
    for day, kelvin, rate in ((0, 9.0, 12.0), (7, 24.0, 1.0)):
        logs = []
        for k in range(3):
            table = b.evening(day + k, 3, {"left": crackle(b, rate)})
            n = table["time"].size
            logs.append(table | {"room_C": np.round(kelvin + 0.3 * b.rng.standard_normal(n), 1)})
        sides.append(logs)
    reading = {"roles": {"room_C": "temperature"}}
    b.step("compare", sides, never=OPEN, rather_not=("left outcome improved",), sound=b.others, reading=reading)


def pair_fading_by_itself(b: Bench) -> None:
    """It fades by itself, by a third from day to day, before the part is changed and after: 24, 16, 11, then 7, 5, 3 an hour. The part did nothing; not cured."""
    rates = 24 * 0.66 ** np.arange(6)
    logs = [b.evening(float(k), 3, {"left": crackle(b, float(r))}) for k, r in enumerate(rates)]
    pair(b, logs[:3], logs[3:], never=OPEN, rather_not=("left outcome improved",))


def pair_clock_of_the_past(b: Bench) -> None:
    """Mended: twenty an hour before, none in five long evenings afterwards; but the logger's clock stood years back by then."""
    after = some(b, 7, 5, 4)
    for x in after:
        x["time"] = x["time"] - np.timedelta64(31 * 366, "D")
    pair(b, some(b, 0, 4, 2, crackle(b, 20.0)), after, must=("left outcome improved",), never=("left outcome worse",))


def pair_louder_after(b: Bench) -> None:
    """Nothing done; afterwards the customer plays, and all outputs carry a millivolt and a half of music. Ten an hour on both sides."""
    f = crackle(b, 10.0)
    pair(b, some(b, 0, 3, 2, f), some(b, 7, 3, 2, f, extra=1.5e-3), never=(*UNCHANGED, *OPEN))


def pair_both_sides_at_sixty(b: Bench) -> None:
    """Nothing done, and the same rest of 70 to 140 mV on both sides, without a swing. No change, no cure, no loudspeaker."""
    b.rest["left"] = float(b.rng.choice([-1, 1]) * b.rng.uniform(0.07, 0.14))
    pair(b, some(b, 0, 3, 2), some(b, 7, 3, 4), never=(*UNCHANGED, *OPEN))


def pair_gain_of_the_logger(b: Bench) -> None:
    """Nothing done; afterwards the logger's gain is set wrongly, all is a fifth: swings of 0.2 V read 40 mV and less, rests a millivolt. A careful page notes that all rests shrank alike."""
    fresh_names(b, "left", "right")
    f = crackle(b, 15.0, size=0.15)
    after = some(b, 7, 3, 4, f)
    after = [{k: x / 5 if k != "time" else x for k, x in y.items()} for y in after]
    pair(b, some(b, 0, 3, 3, f), after, never=("left after within*", "left cured shown"), rather_not=("left outcome improved",))


# ------------------------------------------------------------ visits


def visits_short_first(b: Bench) -> None:
    """A constant fault of four an hour; ten minutes at the first visit, then two evenings each. Nothing grows."""
    f = crackle(b, 4.0)
    many = [[b.evening(0, 1 / 6, {"left": f})], *([b.evening(30.0 * k + j, 2, {"left": f}) for j in (0, 1)] for k in range(1, 5))]
    visits(b, many, never=(*STILL, "left since *", "left last within*"))


def visits_cleaned_each_time(b: Bench) -> None:
    """Cleaned at each third visit and back each time: 2, 6, 18, 2, 6, 18, 2, 6 an hour. It goes round."""
    many = [[b.evening(30.0 * k + j, 2, {"left": crackle(b, 2.0 * 3 ** (k % 3))}) for j in (0, 1)] for k in range(8)]
    visits(b, many, never=(*STILL, "left last within*"), rather_not=("left since *",))


def visits_zero_creeps(b: Bench) -> None:
    """No fault; the meter's zero goes by 2 to 4 mV a visit in all channels alike. It is the meter."""
    fresh_names(b, "left", "right")
    step = b.rng.uniform(2e-3, 4e-3)
    many = []
    for k in range(5):
        b.rest = {n: x + step for n, x in b.rest.items()}
        many.append([b.evening(60.0 * k + j, 2) for j in (0, 1)])
    visits(b, many, never=(*STILL, "left since *"), rather_not=("left settled level yes", "right settled level yes"))


def visits_probe_at_ten(b: Bench) -> None:
    """A constant fault; from the fourth of six visits on the probe stands at ten to one, and all is a tenth. Nothing heals."""
    f = crackle(b, 10.0, size=0.6)
    many = []
    for k in range(6):
        logs = [b.evening(30.0 * k + j, 2, {"left": f}) for j in (0, 1)]
        many.append([{c: x / 10 if k > 2 and c != "time" else x for c, x in y.items()} for y in logs])
    visits(b, many, never=("left rate better", "left rate worse", "left last within*"), rather_not=("left size better",))


def visits_days_apart(b: Bench) -> None:
    """Seven visits on seven days, one evening each; the rate of each day is drawn anew, 1 to 15 an hour. No order in it."""
    many = [[b.evening(float(k), 3, {"left": crackle(b, between(b.rng, 1, 15))})] for k in range(7)]
    visits(b, many, never=("left last within*",), rather_not=STILL)


def visits_late_hours(b: Bench) -> None:
    """A fault that comes after three hours of warmth, ten an hour; visits of one, two, three, four and five hours. Longer, not worse."""
    f = crackle(b, lambda t: np.where(t > 3 * HOUR, 10.0, 0.0), most=10.0)
    visits(b, [[b.evening(30.0 * k, 1.0 + k, {"left": f})] for k in range(5)], never=(*STILL, "left last within*"), rather_not=("left since *",))


def visits_quadrupled_at_last(b: Bench) -> None:
    """Three an hour at four visits, and thirty at the last two: that must be said, in one way or another."""
    many = [[b.evening(45.0 * k + j, 2.5, {"left": crackle(b, 30.0 if k > 3 else 3.0)}) for j in (0, 1, 2)] for k in range(6)]
    visits(b, many, must=("left rate worse|left since *",), never=("left rate better", "left last within*"))


# ------------------------------------------------------------ soaks


def soak_of_two_days(b: Bench) -> None:
    """A clean soak of 30 to 60 hours, with a daily wave of 2 to 5 mV, all the time on. Sound."""
    b.step_s = max(b.step_s, 2.0)
    wave = b.rng.uniform(1e-3, 2.5e-3)
    log = b.evening(0, b.rng.uniform(30, 60), {n: lambda t: wave * np.sin(2 * np.pi * t / 86400) for n in b.names})
    b.step("assess", [log], sound=b.names)


def soak_of_short_starts(b: Bench) -> None:
    """Fourteen to twenty-four starts of nine to sixteen minutes each, half an hour to six hours apart, all clean: no warm minute. Not cleared, nothing shown."""
    b.step_s, gap = float(b.rng.choice([2.0, 5.0, 10.0, 15.0])), between(b.rng, 0.5, 6)
    b.fact(hours_apart=gap)
    logs = [b.evening((0.3 + gap) / 24 * k, b.rng.uniform(0.15, 0.27)) for k in range(int(b.rng.integers(14, 25)))]
    logs.sort(key=lambda x: x["time"][0])
    ends = [x["time"][-1] for x in logs]
    logs = [x for x, end in zip(logs[1:], ends, strict=False) if x["time"][0] > end]
    b.step("assess", logs, never=[x for n in b.names for x in (f"{n} within*", *nothing_shown(n))])


def soak_with_one_bad_start(b: Bench) -> None:
    """Eight evenings of two hours; in one of them the left output stands at 1 to 20 V for 4 to 10 s, 20 to 60 s after the start. Never cleared."""
    b.step_s = min(b.step_s, 2.0)
    which, at = int(b.rng.integers(1, 8)), b.rng.uniform(20, 60)
    bad = stands(at, at + b.rng.uniform(4, 10), between(b.rng, 1, 20))
    b.step("assess", evenings(b, 8, 2, [bad if k == which else None for k in range(8)]), never=("left within*", "left steady", "left degrading"), must=("left do not connect",), sound=b.others)


def soak_plan_storms(b: Bench) -> None:
    """Storms of ten to fifteen swings, one in two or three hours, four evenings: to see one again takes the hours between storms, not between swings."""
    logs = []
    for k in range(4):
        at = np.concatenate([[], *(a + np.sort(b.rng.uniform(0, 300, int(b.rng.integers(10, 16)))) for a in arrivals(b.rng, 4 * HOUR, 0.4))])
        logs.append(b.evening(k, 4, {"left": lambda t, at=at: swings(t, at, np.maximum(3.0, 1.1 * b.step_s), 0.25)}))
    b.step("soak", logs, channel="left", never=("plan hours under 2.5",))


# ------------------------------------------------------------ watches


def watch_late(b: Bench) -> None:
    """Eight calm hours, then in the last three quarters of an hour thirty swings an hour: it recurs, and must be said; before that nothing."""
    at = 7.25 * HOUR
    f = crackle(b, lambda t: np.where(t > at, 30.0, 0.0), most=30.0, length_s=6.0)
    watch(b, 8, f, never=(f"left recurs under {at:.1f}", f"left alarm under {at:.1f}"), must=("left recurs*|left alarm*",))


def watch_over_range(b: Bench) -> None:
    """At some moment the left output leaves the meter's range and stays there: readings beyond range to the end. An alarm within a minute."""
    _watch_gone(b, np.inf, "left alarm")


def watch_blank(b: Bench) -> None:
    """The same with a meter that writes nothing: something must be said within ten minutes."""
    _watch_gone(b, np.nan, "left silent")


def _watch_gone(b: Bench, what: float, word: str) -> None:
    fresh_names(b, "left", "right")
    b.step_s = max(b.step_s, 1.0)
    at = b.rng.uniform(0.7, 1.5) * HOUR
    t = b.instants(at / HOUR + 0.7)
    table = b.table(0, t, {n: b.output(t, n) for n in b.names})
    table["left_V"] = np.where(t > at, what, table["left_V"])
    within = at + (60 if what == np.inf else 600)
    b.fact(at_s=float(at))
    b.step("watch", [table], must=(f"{word} under {within:.1f}|left alarm under {within:.1f}",), never=("right alarm*", "right recurs*", f"left alarm under {at:.1f}", f"left clean enough over {at:.1f}"))


def watch_kettle(b: Bench) -> None:
    """A kettle moves all outputs by 3 to 8 mV for some minutes, three times an hour; a sound unit: no alarm, and nothing recurs."""
    fresh_names(b, "left", "right")
    b.step_s = max(b.step_s, 1.0)
    t = b.instants(4)
    size = b.rng.uniform(3e-3, 8e-3)
    lift = swings(t, at := arrivals(b.rng, float(t[-1]), 3.0), b.rng.uniform(120, 300, at.size), size)
    b.step("watch", [b.table(0, t, {n: b.output(t, n) + lift for n in b.names})], never=[f"{n} {w}" for n in b.names for w in ("alarm*", "recurs*")])


def watch_pulse_at_night(b: Bench) -> None:
    """One pulse of 1.5 to 30 V and 2 to 5 s after hours of calm: an alarm within ten seconds of it, and never clean after."""
    b.step_s, at = 1.0, b.rng.uniform(1, 3) * HOUR
    b.fact(at_s=float(at))
    watch(b, 3.3, stands(at, at + b.rng.uniform(2.2, 5), between(b.rng, 1.5, 30)), must=(f"left alarm under {at + 12:.1f}",), never=(f"left clean enough over {at:.1f}", f"left alarm under {at:.1f}"))


def unhurried(f: Callable[[Bench], None]) -> Callable[[Bench], None]:
    """Keep the many evenings of a claim short in rows: two readings a second at most."""

    @wraps(f)
    def story(b: Bench) -> None:
        b.step_s = max(b.step_s, 0.5)
        f(b)

    return late(story)


KINDS = {f.__name__.replace("_", " "): unhurried(f) for f in (
    pair_swings_for_hiss, pair_hiss_for_volts, pair_short_soak, pair_soak_then_late, pair_helped_a_day, pair_many_runs_after,
    pair_bad_day_after, pair_one_start_in_three, pair_never_seen, pair_one_swing_before, pair_warmer_room, pair_fading_by_itself,
    pair_clock_of_the_past, pair_louder_after, pair_both_sides_at_sixty, pair_gain_of_the_logger, visits_short_first, visits_cleaned_each_time,
    visits_zero_creeps, visits_probe_at_ten, visits_days_apart, visits_late_hours, visits_quadrupled_at_last, soak_of_two_days,
    soak_of_short_starts, soak_with_one_bad_start, soak_plan_storms, watch_late, watch_over_range, watch_blank, watch_kettle,
    watch_pulse_at_night,
)}  # fmt: skip
