"""Stories for visits over months, for growth within a log, soaks carried out, and watches. All data are invented.

By somebody who had not read how such claims are decided; `fresh_claims_compared` holds the comparisons and says how power-ups differ.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from fresh_bench_parts import HOUR, Bench, Shape, Table, arrivals, between, crackle, no_growth, swings, uncleared
from fresh_claims_compared import evenings, exactly, factor
from fresh_parts import Floats

STILL_RATE = ("left rate worse", "left rate better", "left since *")


def months(b: Bench, count: int, each: Callable[[int, int], Sequence[Table]]) -> list[Sequence[Table]]:
    """So many visits, a month and some days apart; ``each`` makes one from its number and its day."""
    day, out = 0, []
    for k in range(count):
        out.append(each(k, day))
        day += int(b.rng.integers(25, 50))
    return out


def at_visits(b: Bench, visits: Sequence[Sequence[Table]], *, never: Sequence[str] = (), must: Sequence[str] = (), rather_not: Sequence[str] = (),
              sound: Sequence[str] | None = None) -> None:  # fmt: skip
    """Ask over visits; unless said otherwise all but the left channel are sound."""
    b.step("visits", visits, never=never, must=must, rather_not=rather_not, sound=b.others if sound is None else sound)


def at_first(b: Bench, per_h: float, tau_s: float) -> Shape:
    """A fault of the first minutes, that dies away with that time."""
    return crackle(b, lambda t: per_h * np.exp(-t / tau_s), most=per_h)


# ------------------------------------------------------------ visits


def as_ever(b: Bench) -> None:
    """Five visits of two evenings, the fault as it always was."""
    rate = between(b.rng, 3, 12)
    at_visits(b, months(b, 5, lambda k, day: evenings(b, day, 2, 2, rate * factor(b, 0.3), cv=0.3)), never=[*STILL_RATE, "left size worse", "left size better"])


def as_ever_eight(b: Bench) -> None:
    """Eight visits of an hour."""
    rate = between(b.rng, 5, 20)
    at_visits(b, months(b, 8, lambda k, day: evenings(b, day, 1, 1.2, rate, cv=0.5)), never=[*STILL_RATE, "left size worse", "left size better"])


def longer_each_time(b: Bench) -> None:
    """The technician logs longer each time; the fault is one of the first half hour."""
    def one(k: int, day: int) -> list[Table]:
        return [b.evening(day, (0.7, 1.2, 2, 4, 8)[k], {"left": at_first(b, 20.0 * factor(b, 0.3), 1500)}, step_s=2)]

    at_visits(b, months(b, 5, one), never=[*STILL_RATE, "left size worse", "left size better"])


def faster_logger_each_time(b: Bench) -> None:
    """Swings of two seconds, logged every 8, 4, 2, 1 and half a second."""
    at_visits(b, months(b, 5, lambda k, day: [
        b.evening(day, 2.5, {"left": crackle(b, 20 * factor(b, 0.3), length_s=2.0, mean_s=0.0)}, step_s=(8, 4, 2, 1, 0.5)[k])]), never=STILL_RATE)  # fmt: skip


def seasons(b: Bench) -> None:
    """Two years of quarters: damp winters crackle, dry summers do not."""
    day0 = int(b.rng.integers(0, 4))

    def one(k: int, day: int) -> list[Table]:
        return evenings(b, 91 * k, 2, 2, 8.0 * (1.0 + 0.85 * np.cos(np.pi / 2 * (k + day0))), cv=0.3)

    at_visits(b, [one(k, 0) for k in range(8)], never=["left rate worse", "left rate better"], rather_not=["left since *"])


def doubles(b: Bench) -> None:
    """Each visit twice as often and a half as the one before."""
    at_visits(b, months(b, 5, lambda k, day: evenings(b, day, 2, 2, 1.5 * 2.5**k, cv=0.3)), never=["left rate better", "left since less*"], must=["left rate worse"])


def heals(b: Bench) -> None:
    """Each visit a third of the one before."""
    at_visits(b, months(b, 5, lambda k, day: evenings(b, day, 2, 2, 40 / 2.7**k, cv=0.3)), never=["left rate worse", "left since more*"], must=["left rate better"])


def larger_not_oftener(b: Bench) -> None:
    """As often as ever, each visit nearly twice as large."""
    at_visits(b, months(b, 5, lambda k, day: evenings(b, day, 2, 2, 8.0, size=0.08 * 1.9**k)), never=["left rate worse", "left rate better", "left size better"], must=["left size worse"])


def cured_in_between(b: Bench) -> None:
    """Three visits with the fault, three clean ones after a repair."""
    at_visits(b, months(b, 6, lambda k, day: evenings(b, day, 2, 2.5, 9.0 * (k < 3))), never=["left rate worse", "left since more*"])


def one_swing_in_four_visits(b: Bench) -> None:
    """Exactly one swing, at the third or the last of four visits."""
    which = int(b.rng.integers(2, 4))
    at_visits(b, months(b, 4, lambda k, day: [b.evening(day, 3, {"left": exactly(b, 1)} if k == which else None)]), never=[*STILL_RATE, "left last steady"])


def first_seen_at_the_last(b: Bench) -> None:
    """None at three visits, exactly two at the last."""
    at_visits(b, months(b, 4, lambda k, day: [b.evening(day, 3, {"left": exactly(b, 2)} if k == 3 else None)]), never=[*STILL_RATE, "left last within*"])


def sound_for_a_year(b: Bench) -> None:
    """Sound at each of six visits; the rest creeps by a fifth of a millivolt each time, as trimmers do."""
    def one(k: int, day: int) -> list[Table]:
        b.rest = {n: v + 2e-4 for n, v in b.rest.items()}
        return evenings(b, day, 1, 3.2, 0.0)

    at_visits(b, months(b, 6, one), sound=b.names, must=["left last within*"])


def rest_creeps(b: Bench) -> None:
    """The rest grows by 9 mV from visit to visit."""
    def one(k: int, day: int) -> list[Table]:
        b.rest["left"] += 9e-3
        return evenings(b, day, 1, 3.2, 0.0)

    b.rest["left"] = 2e-3
    at_visits(b, months(b, 6, one), never=STILL_RATE, must=["left settled level yes"])


def trimmed_and_back(b: Bench) -> None:
    """The rest differs by itself by some millivolts from visit to visit, to and fro."""
    def one(k: int, day: int) -> list[Table]:
        b.rest["left"] = 4e-3 + b.rng.normal(0, 4e-3)
        return evenings(b, day, 1, 3.2, 0.0)

    at_visits(b, months(b, 6, one), never=[*STILL_RATE, "left settled level yes"])


# ------------------------------------------------------------ growth within a log


def constant(b: Bench) -> None:
    """A law that does not change, for a day."""
    b.step("assess", [b.evening(0, 24, {"left": crackle(b, between(b.rng, 1.5, 6))}, step_s=2)], never=[*no_growth("left"), *uncleared("left")],
           must=["left intermittent yes"], sound=b.others)  # fmt: skip


def constant_over_evenings(b: Bench) -> None:
    """A law that does not change, over seven evenings that differ by themselves."""
    b.step("assess", evenings(b, 0, 7, 2, between(b.rng, 3, 10)), never=[*no_growth("left"), *uncleared("left")], must=["left intermittent yes"], sound=b.others)


def slowly_worse(b: Bench) -> None:
    """Over seven evenings twelve times as often."""
    nights = [b.evening(k, 2, {"left": crackle(b, 1.5 * 1.55**k * factor(b, 0.3))}) for k in range(8)]
    b.step("assess", nights, never=["left since less*", *uncleared("left")], must=["left degrading"], sound=b.others)


def slowly_larger(b: Bench) -> None:
    """Over seven evenings as often, ten times as large."""
    nights = [b.evening(k, 2, {"left": crackle(b, 7 * factor(b, 0.3), size=0.07 * 1.4**k)}) for k in range(8)]
    b.step("assess", nights, never=["left worse with age yes", "left more often yes", "left since *", *uncleared("left")], must=["left larger with age yes"], sound=b.others)


def bursts_of_an_evening(b: Bench) -> None:
    """It comes in spells of ten minutes, an hour apart on average, within one long log."""
    def spells(t: Floats) -> Floats:
        at: list[float] = []
        now = float(b.rng.exponential(3000))
        while now < t[-1]:
            end = now + float(b.rng.exponential(600))
            at += list(np.sort(b.rng.uniform(now, end, b.rng.poisson((end - now) * 60 / HOUR))))
            now = end + float(b.rng.exponential(3600))
        return swings(t, np.array(at), 3.0, 0.2)

    b.step("assess", [b.evening(0, 12, {"left": spells}, step_s=1)], never=[*no_growth("left"), *uncleared("left")], sound=b.others)


def hours_of_the_day(b: Bench) -> None:
    """Five days without a pause; each evening from seven to eleven it crackles."""
    phase = float(b.rng.uniform(0, 24))

    def rate(t: Floats) -> Floats:
        return np.where((t / HOUR + phase) % 24 < 4, 9.0, 0.3)

    b.step("assess", [b.evening(0, 120, {"left": crackle(b, rate, most=9.0, length_s=8.0)}, step_s=5)], never=[*no_growth("left"), *uncleared("left")], sound=b.others)


def settles_down_each_evening(b: Bench) -> None:
    """Each evening it crackles for the first half hour; nothing grows or heals from evening to evening."""
    nights = [b.evening(k, 3, {"left": at_first(b, 30.0 * factor(b, 0.3), 1200)}) for k in range(6)]
    b.step("assess", nights, never=[*no_growth("left"), *uncleared("left")], sound=b.others)


def none_at_all(b: Bench) -> None:
    """Exactly none: five hours and a half."""
    b.step("assess", [b.evening(0, 5.5)], sound=b.names)


def exactly_one(b: Bench) -> None:
    """Exactly one swing in six hours: seen, neither a habit nor gone."""
    b.step("assess", [b.evening(0, 6, {"left": exactly(b, 1)})], never=["left noisy", "left intermittent yes", *no_growth("left"), *uncleared("left")],
           must=["left one-off"], sound=b.others)  # fmt: skip


def exactly_one_in_a_month(b: Bench) -> None:
    """Exactly one swing of a minute and a half in eighteen days at half a minute a reading."""
    def one(t: Floats) -> Floats:
        return swings(t, np.array([b.rng.uniform(0.1, 0.9) * t[-1]]), 90.0, 0.3)

    b.step("assess", [b.evening(0, 18 * 24, {"left": one}, step_s=30)], never=["left noisy", "left intermittent yes", *no_growth("left"), *uncleared("left")], sound=b.others)


def exactly_two(b: Bench) -> None:
    """Exactly two in twenty hours: not yet a habit."""
    b.step("assess", [b.evening(0, 20, {"left": exactly(b, 2)})], never=["left intermittent yes", *no_growth("left"), *uncleared("left")], sound=b.others)


def exactly_three(b: Bench) -> None:
    """Exactly three in six hours."""
    b.step("assess", [b.evening(0, 6, {"left": exactly(b, 3)})], never=["left one-off", *no_growth("left"), *uncleared("left")], must=["left intermittent yes"], sound=b.others)


def two_of_one_burst(b: Bench) -> None:
    """One crackle of three swings within fifteen seconds, then nothing for eight hours."""
    def burst(t: Floats) -> Floats:
        return swings(t, b.rng.uniform(0.2, 0.8) * t[-1] + np.array([0.0, 6.0, 12.0]), 2.5, 0.25)

    b.step("assess", [b.evening(0, 8, {"left": burst})], never=["left intermittent yes", "left noisy", *no_growth("left"), *uncleared("left")], sound=b.others)


def marked(b: Bench, hours: float, at_h: float, text: str, volts: Shape) -> Table:
    """One log in which the hands' note stands in a column."""
    t = b.instants(hours)
    words = np.full(t.size, "", dtype=object)
    words[int(at_h * HOUR / b.step_s)] = text
    return b.evening(0, hours, {"left": volts}, beside={"mark": words})


def part_in_mid_log(b: Bench) -> None:
    """A part replaced live, after three hours of a log of seven: it was the fault."""
    at = float(b.rng.uniform(2.5, 3.5))
    log = marked(b, at + 4, at, "part changed: relay", crackle(b, lambda t: np.where(t < at * HOUR, 12.0, 0.0), most=12.0))
    b.step("assess", [log], never=["left degrading", "left since more*", "left more often yes"], sound=b.others)


def wrong_part_in_mid_log(b: Bench) -> None:
    """A part replaced in the middle of a log: it was not the fault."""
    b.step("assess", [marked(b, 7, 3.5, "part changed: relay", crackle(b, between(b.rng, 5, 15)))], never=[*no_growth("left"), *uncleared("left")], sound=b.others)


def trimmed_in_mid_log(b: Bench) -> None:
    """Trimmed from 38 mV to 2 mV in the middle of the log, and marked."""
    b.rest["left"] = 0.038
    b.step("assess", [marked(b, 8, 4, "adjusted", lambda t: np.where(t < 4 * HOUR, 0.0, -0.036))], never=["left drifting", "left degrading", "left since *"], sound=b.others)


# ------------------------------------------------------------ soaks and watches


def soak_of_a_fault_that_stays(b: Bench) -> None:
    """The soak is planned from three evenings and carried out; nothing was repaired, so it must not pass."""
    from flicker import plan_soak, read_log

    rate = between(b.rng, 1.0, 6.0)
    logs = evenings(b, 0, 3, 2, rate, cv=0.3, step_s=2)
    try:
        plan = plan_soak(logs=[read_log(x) for x in logs], channel="left").to_dict()
    except ValueError:
        return
    count = int((plan["power_ups_needed"] or {"power_ups": 1})["power_ups"])
    b.fact(rate=rate, power_ups=float(count))
    soak = evenings(b, 5, min(count, 12), 2, rate, cv=0.3, step_s=2)
    b.step("assess", soak, never=uncleared("left"))
    b.step("compare", (logs, soak), never=["left cured shown", "left cured not yet"])


def planned_comparison(b: Bench) -> None:
    """As many evenings as `soak --compare` asks for, and a repair that leaves a tenth."""
    from flicker import plan_soak, read_log

    first = evenings(b, 0, 2, 2, 12.0, cv=0.3, step_s=2)
    plan = plan_soak(logs=[read_log(x) for x in first], channel="left", compare=True).to_dict()
    b.fact(plan=str({k: v for k, v in plan.items() if v is not None and k not in ("method", "reads")})[:300])
    b.step("compare", (evenings(b, 0, 4, 2, 12.0, cv=0.3), evenings(b, 6, 4, 2, 1.2, cv=0.3)), never=["left cured shown", "left outcome worse"], must=["left outcome improved"])


def live(b: Bench, hours: float, shape: Shape | None = None, step_s: float = 1.0) -> Table:
    """What a watch reads: one evening, at a second a reading."""
    return b.evening(0, hours, {"left": shape} if shape else None, step_s=step_s)


def watched_sound(b: Bench) -> None:
    """A sound unit for seven hours."""
    b.step("watch", [live(b, 7)], never=[f"{n} {x}" for n in b.names for x in ("alarm *", "recurs *", "silent *")])


def watched_once(b: Bench) -> None:
    """Exactly one swing in five hours is no habit, and 0.2 V for four seconds no danger."""
    b.step("watch", [live(b, 5, exactly(b, 1))], never=[f"{n} {x}" for n in b.names for x in ("recurs *", "alarm *")])


def watched_late_fault(b: Bench) -> None:
    """Clean for four hours, then twelve an hour."""
    def late(t: Floats) -> Floats:
        return swings(t, arrivals(b.rng, float(t[-1]), lambda x: np.where(x > 4 * HOUR, 12.0, 0.0), 12.0), 4.0, 0.2)

    b.step("watch", [live(b, 8, late)], never=[f"left recurs under {4 * HOUR}", *(f"{n} {x}" for n in b.others for x in ("recurs *", "alarm *"))], must=["left recurs *"])


def watched_volts(b: Bench) -> None:
    """1.3 V for two seconds, after an hour or two."""
    at = float(b.rng.uniform(3000, 7000))
    b.step("watch", [live(b, 2.2, lambda t: swings(t, np.array([at]), 2.5, 1.3))], never=[f"left alarm under {at - 1}", *(f"{n} alarm *" for n in b.others)],
           must=["left alarm *"])  # fmt: skip


def watched_climb(b: Bench) -> None:
    """Climbs over an hour to 2.5 V; the alarm must come before 1 V lasted long."""
    def climb(t: Floats) -> Floats:
        return 2.5 * np.clip((t - 3600) / 3600, 0, 1) ** 2

    b.step("watch", [live(b, 2.5, climb)], must=["left alarm under 6100"], never=["left alarm under 3700", *(f"{n} alarm *" for n in b.others)])


def watched_off_and_on(b: Bench) -> None:
    """Switched off for ten minutes within the file and on again: the thump is no alarm and no habit."""
    one, two = b.evening(0, 1.5, step_s=1.0), b.evening(0, 1.5, step_s=1.0)
    off = {n: np.round(1e-5 * b.rng.standard_normal(600), 5) for n in b.names}
    table: Table = {f"{n}_V": np.concatenate([one[f"{n}_V"], off[n], two[f"{n}_V"]]) for n in b.names}
    table = {"time": one["time"][0] + np.arange(table["left_V"].size) * np.timedelta64(1000, "ms"), **table}
    b.step("watch", [table], never=[f"{n} {x}" for n in b.names for x in ("alarm *", "recurs *")])


def watched_spells(b: Bench) -> None:
    """Five swings in one spell of a minute and a half, then nothing: one spell is no habit."""
    def spell(t: Floats) -> Floats:
        return swings(t, 4000.0 + np.array([0.0, 14.0, 33.0, 60.0, 85.0]), 3.0, 0.2)

    b.step("watch", [live(b, 3, spell)], rather_not=["left recurs *"], never=[f"{n} {x}" for n in b.others for x in ("recurs *", "alarm *")])


KINDS = {f"claims: {f.__name__.replace('_', ' ')}": f for f in (
    as_ever, as_ever_eight, longer_each_time, faster_logger_each_time, seasons, doubles, heals, larger_not_oftener, cured_in_between,
    one_swing_in_four_visits, first_seen_at_the_last, sound_for_a_year, rest_creeps, trimmed_and_back, constant, constant_over_evenings,
    slowly_worse, slowly_larger, bursts_of_an_evening, hours_of_the_day, settles_down_each_evening, none_at_all, exactly_one,
    exactly_one_in_a_month, exactly_two, exactly_three, two_of_one_burst, part_in_mid_log, wrong_part_in_mid_log, trimmed_in_mid_log,
    soak_of_a_fault_that_stays, planned_comparison, watched_sound, watched_once, watched_late_fault, watched_volts, watched_climb,
    watched_off_and_on, watched_spells)}  # fmt: skip
