"""Stories for comparisons before and after a repair: placebos, cures, half cures, and what else moved. All data are invented.

By somebody who had not read how a comparison decides. Rates are episodes per hour; a power-up differs from the next by a
factor of its own (gamma, variation 0.3 to 0.5, what the page's foot promises to hold). Of a story without a change the
page may claim one in at most one of twenty.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from fresh_bench_parts import HOUR, Bench, Shape, Table, arrivals, between, crackle, swings, uncleared
from fresh_parts import Floats

NO_CHANGE = ("left outcome improved", "left outcome worse", "left cured shown")
NO_PRAISE = ("left outcome improved", "left cured shown")


def factor(b: Bench, cv: float = 0.4) -> float:
    """How much more often than usual one power-up shows the fault: gamma of mean 1."""
    return float(b.rng.gamma(1 / cv**2, cv**2))


def evenings(b: Bench, day: int, count: int, hours: float, per_h: float, *, cv: float = 0.4, size: float = 0.25,
             length_s: float = 3.0, step_s: float = 0.0, every: int = 1) -> list[Table]:  # fmt: skip
    """Power-ups of one length on days that follow, each with a factor of its own on the rate."""
    out = []
    for k in range(count):
        rate = per_h * factor(b, cv)
        shape = {"left": crackle(b, rate, size=size, length_s=length_s)} if rate > 0 else None
        out.append(b.evening(day + every * k, hours, shape, step_s=step_s))
    return out


def exactly(b: Bench, count: int, size: float = 0.2) -> Shape:
    """So many swings, no more and no fewer, a quarter of an hour and more after switch-on, two minutes and more apart."""

    def volts(t: Floats) -> Floats:
        cells = np.sort(b.rng.choice(int((t[-1] - 1000) // 300), count, replace=False))
        at = 900.0 + 300.0 * cells + b.rng.uniform(0, 150, count)
        return swings(t, at, np.maximum(4.0, 1.2 * (t[1] - t[0])), size * b.rng.choice([-1, 1]))

    return volts


def against(b: Bench, before: Sequence[Table], after: Sequence[Table], *, never: Sequence[str] = NO_CHANGE, must: Sequence[str] = (),
            rather_not: Sequence[str] = (), sound: Sequence[str] | None = None, **options: object) -> None:  # fmt: skip
    """Compare; unless said otherwise all but the left channel are sound."""
    b.step("compare", (before, after), never=never, must=must, rather_not=rather_not, sound=b.others if sound is None else sound, **options)


# ------------------------------------------------------------ nothing changed


def placebo_three(b: Bench) -> None:
    """The part was not the fault: three evenings before and three after."""
    rate = between(b.rng, 2, 15)
    b.fact(rate=rate)
    against(b, evenings(b, 0, 3, 2, rate), evenings(b, 5, 3, 2, rate))


def placebo_eight(b: Bench) -> None:
    """Eight short evenings a side."""
    rate = between(b.rng, 3, 12)
    against(b, evenings(b, 0, 8, 0.8, rate, cv=0.5), evenings(b, 10, 8, 0.8, rate, cv=0.5))


def placebo_one_each(b: Bench) -> None:
    """One evening a side."""
    rate = between(b.rng, 3, 20)
    against(b, evenings(b, 0, 1, 3, rate, cv=0.5), evenings(b, 2, 1, 3, rate, cv=0.5))


def placebo_rare(b: Bench) -> None:
    """A fault of a swing in six hours: a week of evenings a side."""
    against(b, evenings(b, 0, 6, 4, 0.17, step_s=2), evenings(b, 8, 6, 4, 0.17, step_s=2))


def placebo_long_against_short(b: Bench) -> None:
    """One log of fourteen hours before, seven of an hour and a half after; hot units crackle less."""
    tau = between(b.rng, 1800, 7200)

    def hot(f: float) -> Shape:
        return crackle(b, lambda t: f * (1.0 + 14.0 * np.exp(-t / tau)), most=15.0 * f)

    long = [b.evening(0, 14, {"left": hot(factor(b))}, step_s=2)]
    short = [b.evening(2 + k, 1.5, {"left": hot(factor(b))}) for k in range(7)]
    b.fact(tau_s=tau)
    sides = (long, short) if b.rng.random() < 0.5 else (short, long)
    against(b, *sides)


def placebo_warmer_longer(b: Bench) -> None:
    """It comes only when hot: evenings of forty minutes before, four hours after."""
    def hot(f: float) -> Shape:
        return crackle(b, lambda t: f * 8.0 / (1 + np.exp(-(t - 4500) / 600)), most=8.0 * f)

    shape = [hot(factor(b)) for _ in range(8)]
    short = [b.evening(k, 0.8, {"left": shape[k]}) for k in range(4)]
    long = [b.evening(6 + k, 4, {"left": shape[4 + k]}) for k in range(3)]
    against(b, *((short, long) if b.rng.random() < 0.5 else (long, short)))


def placebo_slower_cadence(b: Bench) -> None:
    """Swings of half a second; the logger of the second stage writes every five seconds."""
    rate = between(b.rng, 15, 50)

    def brief() -> Shape:
        return crackle(b, rate * factor(b), length_s=0.6, mean_s=0.0)

    fast = [b.evening(k, 2, {"left": brief()}, step_s=0.25) for k in range(3)]
    slow = [b.evening(5 + k, 2, {"left": brief()}, step_s=5.0) for k in range(3)]
    against(b, *((fast, slow) if b.rng.random() < 0.6 else (slow, fast)))


def placebo_meter_of_means(b: Bench) -> None:
    """Swings of half a second; the meter of the second stage means over four seconds."""
    rate = between(b.rng, 15, 40)
    instant = [b.evening(k, 2, {"left": crackle(b, rate * factor(b), length_s=0.5, size=0.2, mean_s=0.0)}, step_s=0.5) for k in range(3)]
    means = [b.evening(5 + k, 2, {"left": crackle(b, rate * factor(b), length_s=0.5, size=0.2, mean_s=4.0)}, step_s=4.0) for k in range(3)]
    against(b, instant, means)


def placebo_divider(b: Bench) -> None:
    """The second stage is logged behind a divider by eight that nobody noted."""
    rate = between(b.rng, 4, 15)
    before = evenings(b, 0, 3, 2, rate)
    after = [{k: v / 8 if k.endswith("_V") else v for k, v in log.items()} for log in evenings(b, 5, 3, 2, rate)]
    against(b, before, after, never=[*NO_CHANGE, "left after within*"], sound=())


def placebo_turned_leads(b: Bench) -> None:
    """Black and red were swapped."""
    rate = between(b.rng, 4, 15)
    after = [{k: -v if k.endswith("_V") else v for k, v in log.items()} for log in evenings(b, 5, 3, 2, rate)]
    against(b, evenings(b, 0, 3, 2, rate), after)


def placebo_warm_shop(b: Bench) -> None:
    """The rate doubles every four kelvin; the second week was ten kelvin colder, and the log says so."""
    cold = between(b.rng, 0.7, 2.0)

    def week(day: int, degC: float) -> list[Table]:
        out = []
        for k in range(3):
            here = degC + b.rng.normal(0, 0.7)
            n = b.instants(2.5).size
            room = np.round(here + 0.4 * np.sin(np.arange(n) / n * 6) + b.rng.normal(0, 0.05, n), 1)
            rate = cold * 2 ** ((here - 18) / 4) * factor(b, 0.3)
            out.append(b.evening(day + k, 2.5, {"left": crackle(b, rate)}, beside={"temperature_degC": room}))
        return out

    hot, cool = week(0, 29.0), week(5, 19.0)
    against(b, hot, cool, never=["left cured shown", "left outcome worse", "left outcome improved"])


def placebo_other_hours(b: Bench) -> None:
    """Mains of the evening make it crackle; the second stage was logged in the mornings."""
    before = [b.evening(k + 0.45, 3, {"left": crackle(b, 8 * factor(b))}) for k in range(3)]
    after = [b.evening(5 + k - 0.1, 3, {"left": crackle(b, 1.0 * factor(b))}) for k in range(3)]
    against(b, before, after, never=["left cured shown", "left outcome worse"], rather_not=["left outcome improved"])


def placebo_wears_in(b: Bench) -> None:
    """A contact that wears in: evening by evening less, long before anybody touched it, and on at the same pace."""
    pace = between(b.rng, 0.6, 0.75)
    nights = [b.evening(k, 2, {"left": crackle(b, 24 * pace**k * factor(b, 0.2))}) for k in range(9)]
    b.fact(pace=pace)
    against(b, nights[:5], nights[5:], never=["left cured shown", "left outcome worse"], rather_not=["left outcome improved"])


def placebo_bad_evenings(b: Bench) -> None:
    """Half of all evenings are bad and half are silent, by chance: more than the page's foot promises to hold."""
    nights = [b.evening(k, 2.5, {"left": crackle(b, 6.0)} if b.rng.random() < 0.5 else None) for k in range(8)]
    against(b, nights[:4], nights[4:], never=["left cured shown"], rather_not=["left outcome improved", "left outcome worse"])


def placebo_bursts(b: Bench) -> None:
    """Swings in bursts of some six within two minutes, one or two bursts an hour."""

    def bursts(t: Floats) -> Floats:
        at = arrivals(b.rng, float(t[-1]), 1.5 * factor(b, 0.3))
        every = np.sort(np.concatenate([a + b.rng.uniform(0, 120, b.rng.poisson(6)) for a in at]) if at.size else at)
        return swings(t, every, 3.0, 0.2)

    nights = [b.evening(k, 2.5, {"left": bursts}) for k in range(6)]
    against(b, nights[:3], nights[3:])


def same_file_twice(b: Bench) -> None:
    """The old file was copied over the new one."""
    log = evenings(b, 0, 2, 3, between(b.rng, 3, 12))
    against(b, log, log)


def sound_before_and_after(b: Bench) -> None:
    """Sound before and after, with another rest of two millivolts and another thump."""
    before = evenings(b, 0, 2, 3, 0.0)
    b.rest = {n: v + b.rng.uniform(-2e-3, 2e-3) for n, v in b.rest.items()}
    against(b, before, evenings(b, 4, 2, 3, 0.0))


def room_quiets_down(b: Bench) -> None:
    """The mains of the shop made all outputs jump at once; in the second week the welder next door was away."""
    b.names = ("left", "right")
    b.rest.setdefault("right", 4e-3)
    b.white.setdefault("right", 3e-4)

    def week(day: int, per_h: float) -> list[Table]:
        out = []
        for k in range(3):
            at = arrivals(b.rng, 2.5 * HOUR, per_h * factor(b))

            def both(t: Floats, at: Floats = at) -> Floats:
                return swings(t, at, 3.0, 0.15)

            out.append(b.evening(day + k, 2.5, {"left": both, "right": both}))
        return out

    against(b, week(0, 8.0), week(5, 0.4), never=["left cured shown", "left outcome worse"], sound=("right",), rather_not=["left outcome improved"])


# ------------------------------------------------------------ nothing was seen after


def lead_off_after(b: Bench) -> None:
    """The clip fell off in the second stage: zero volts, and a little pick-up."""
    b.names = b.names if len(b.names) > 1 else ("left", "right")
    for n in b.names:
        b.rest.setdefault(n, 4e-3)
        b.white.setdefault(n, 3e-4)
    after = evenings(b, 5, 3, 2, 0.0)
    hum = between(b.rng, 1e-5, 2e-3)
    for log in after:
        t = np.arange(log["left_V"].size) * self_step(log)
        log["left_V"] = np.round((hum * np.sin(2 * np.pi * 0.013 * t) + hum * b.rng.standard_normal(t.size)) / b.digit) * b.digit
    b.fact(hum=hum)
    against(b, evenings(b, 0, 3, 2, 10.0), after, never=[*NO_PRAISE, *(f"left after {x}" for x in ("within*", "steady"))])


def self_step(log: Table) -> float:
    """Seconds from reading to reading."""
    return float(np.median(np.diff(log["time"]) / np.timedelta64(1, "ms"))) / 1000


def off_after_half_an_hour(b: Bench) -> None:
    """In the second stage the timer switched the unit off after twenty-five minutes; the logger went on for six hours."""
    after = evenings(b, 5, 2, 6, 0.0)
    for log in after:
        first = int(1500 / self_step(log))
        for n in b.names:
            v = log[f"{n}_V"]
            v[first:] = np.round(v[first] * np.exp(-np.arange(v.size - first) * self_step(log) / 4) / b.digit) * b.digit
    against(b, evenings(b, 0, 2, 6, 4.0), after, never=[*NO_PRAISE, "left after within*"], sound=())


def meter_asleep_after(b: Bench) -> None:
    """The meter of the second stage held its reading after ten minutes, for four hours."""
    after = evenings(b, 5, 2, 4, 0.0)
    for log in after:
        first = int(600 / self_step(log))
        for n in b.names:
            log[f"{n}_V"][first:] = log[f"{n}_V"][first]
    against(b, evenings(b, 0, 2, 4, 6.0), after, never=[*NO_PRAISE, "left after within*"], sound=())


def soak_too_short(b: Bench) -> None:
    """A fault of one swing in two hours; one clean hour after the repair that repaired nothing."""
    against(b, evenings(b, 0, 3, 4, 0.5), [b.evening(6, 1.0, {"left": crackle(b, 0.5 * factor(b))})])


def one_before_none_after(b: Bench) -> None:
    """Exactly one swing before, none after."""
    against(b, [b.evening(0, 4, {"left": exactly(b, 1)})], [b.evening(2, 4)])


def two_before_none_after(b: Bench) -> None:
    """Exactly two before, none after, the same hours."""
    against(b, [b.evening(0, 4, {"left": exactly(b, 2)})], [b.evening(2, 4)])


def three_before_none_after(b: Bench) -> None:
    """Exactly three before in three evenings, none in three after: chance would do that in one of eight."""
    against(b, [b.evening(k, 3, {"left": exactly(b, 1)}) for k in range(3)], [b.evening(5 + k, 3) for k in range(3)])


def none_before_three_after(b: Bench) -> None:
    """None before, exactly three after."""
    against(b, [b.evening(k, 3) for k in range(3)], [b.evening(5 + k, 3, {"left": exactly(b, 1)}) for k in range(3)])


# ------------------------------------------------------------ something changed


def cure_three(b: Bench) -> None:
    """The joint was the fault: three evenings before with some ten swings each, three clean ones after."""
    against(b, evenings(b, 0, 3, 2.5, between(b.rng, 4, 10)), evenings(b, 5, 3, 2.5, 0.0), never=["left outcome worse", "left cured no"],
            must=["left outcome improved"])  # fmt: skip


def cure_believed(b: Bench) -> None:
    """The same with eight evenings of five hours after it: nothing is left of one in ten hours."""
    against(b, evenings(b, 0, 4, 2.5, 6.0), evenings(b, 6, 8, 5, 0.0, step_s=2), never=["left outcome worse", "left cured no"],
            must=["left outcome improved", "left cured shown"])  # fmt: skip


def cure_of_once_an_hour(b: Bench) -> None:
    """The owner only minds once an hour: four clean evenings of four hours are enough."""
    against(b, evenings(b, 0, 4, 2.5, 6.0), evenings(b, 6, 4, 4, 0.0), never=["left outcome worse", "left cured no"],
            must=["left outcome improved", "left cured shown"], concern_per_h=1.0)  # fmt: skip


def cure_of_a_rare_fault(b: Bench) -> None:
    """One swing in eight hours over ten days, then ten clean days, at ten seconds a reading."""
    before = [b.evening(k, 12, {"left": crackle(b, 0.5 * factor(b, 0.3), length_s=25.0)}, step_s=10) for k in range(8)]
    after = [b.evening(20 + k, 12, step_s=10) for k in range(8)]
    against(b, before, after, never=["left outcome worse", "left cured no"], must=["left outcome improved"])


def half_cured(b: Bench) -> None:
    """Half as often: an improvement at most, never a cure."""
    rate = between(b.rng, 8, 20)
    against(b, evenings(b, 0, 4, 2.5, rate), evenings(b, 6, 4, 2.5, rate / 2), never=["left cured shown", "left cured not yet", "left outcome worse"])


def tenth_left(b: Bench) -> None:
    """A tenth is left: improved, and a return."""
    against(b, evenings(b, 0, 4, 2.5, 20.0, cv=0.3), evenings(b, 6, 4, 2.5, 2.0, cv=0.3), never=["left cured shown", "left outcome worse"],
            must=["left outcome improved"])  # fmt: skip


def smaller_only(b: Bench) -> None:
    """As often as before, a third as large."""
    rate = between(b.rng, 6, 15)
    against(b, evenings(b, 0, 4, 2.5, rate, size=0.45), evenings(b, 6, 4, 2.5, rate, size=0.15),
            never=["left cured shown", "left outcome worse", "left after within*"])  # fmt: skip


def made_worse(b: Bench) -> None:
    """A botched repair: six times as often."""
    against(b, evenings(b, 0, 4, 2.5, 3.0), evenings(b, 6, 4, 2.5, 18.0), never=NO_PRAISE, must=["left outcome worse"])


def one_fault_for_another(b: Bench) -> None:
    """The swings are gone, and the output rests at 90 mV since."""
    before = evenings(b, 0, 3, 2.5, 8.0)
    b.rest["left"] = 0.09
    against(b, before, evenings(b, 5, 3, 2.5, 0.0), never=["left cured shown", "left after within*"])


def wander_cured(b: Bench) -> None:
    """An output that moved by a tenth of a volt over half hours, and rests since."""
    phase = b.rng.uniform(0, 6, 3)

    def moves(k: int) -> Shape:
        return lambda t: 0.06 * np.sin(2 * np.pi * t / 2900 + phase[k])

    before = [b.evening(k, 3, {"left": moves(k)}) for k in range(3)]
    against(b, before, evenings(b, 5, 3, 3, 0.0), never=["left outcome worse", "left cured no"], must=["left outcome improved"])


def hiss_cured(b: Bench) -> None:
    """Noise of 8 mV before, as quiet as its neighbour since."""
    before = [b.evening(k, 2, {"left": lambda t: 8e-3 * b.rng.standard_normal(t.size)}) for k in range(3)]
    against(b, before, evenings(b, 5, 3, 2, 0.0), never=["left outcome worse"], must=["left outcome improved"])


def offset_trimmed(b: Bench) -> None:
    """Rested at 85 mV, trimmed to 3 mV."""
    b.rest["left"] = 0.085 * float(b.rng.choice([-1, 1]))
    before = evenings(b, 0, 2, 2.5, 0.0)
    b.rest["left"] = 0.003
    against(b, before, evenings(b, 4, 2, 2.5, 0.0), never=["left outcome worse"], must=["left outcome improved"])


def cure_seen_by_another_cadence(b: Bench) -> None:
    """A true cure of swings of eight seconds, logged every second before and every other after."""
    before = evenings(b, 0, 3, 2.5, 8.0, length_s=8.0, step_s=1.0)
    against(b, before, evenings(b, 5, 3, 2.5, 0.0, step_s=2.0), never=["left outcome worse", "left cured no"], must=["left outcome improved"])


def cure_in_a_warmer_week(b: Bench) -> None:
    """A true cure; the room was two kelvin warmer after it, as rooms are."""

    def with_room(degC: float) -> np.ndarray:
        return np.round(degC + b.rng.normal(0, 0.1, b.instants(2.5).size), 1)

    before = [b.evening(k, 2.5, {"left": crackle(b, 8 * factor(b))}, beside={"temperature_degC": with_room(21 + b.rng.normal(0, 1))}) for k in range(4)]
    after = [b.evening(6 + k, 2.5, beside={"temperature_degC": with_room(23 + b.rng.normal(0, 1))}) for k in range(4)]
    against(b, before, after, never=["left outcome worse", "left cured no"], must=["left outcome improved"])


def wrong_channel_repaired(b: Bench) -> None:
    """Both crackle; the right one was cured."""
    b.names = ("left", "right")
    b.rest.setdefault("right", 4e-3)
    b.white.setdefault("right", 3e-4)
    before = [b.evening(k, 2.5, {n: crackle(b, 8 * factor(b)) for n in b.names}) for k in range(3)]
    against(b, before, evenings(b, 5, 3, 2.5, 8.0), sound=(), never=[*NO_CHANGE, "right outcome worse"], must=["right outcome improved"])


def clean_after_and_cleared(b: Bench) -> None:
    """A cured unit must also pass as sound by itself."""
    logs = evenings(b, 5, 3, 3, 0.0)
    b.step("assess", logs, sound=b.names)
    b.step("compare", (evenings(b, 0, 3, 3, 5.0), logs), never=["left outcome worse"], must=["left after within*"], sound=b.others)


def returned_after_weeks(b: Bench) -> None:
    """Clean for two evenings after the repair, and back on the third."""
    after = [*evenings(b, 5, 2, 3, 0.0), b.evening(8, 3, {"left": exactly(b, 3)})]
    against(b, evenings(b, 0, 3, 3, 3.0), after, never=["left cured shown", "left cured not yet", *uncleared("left after")])


KINDS = {f"claims: {f.__name__.replace('_', ' ')}": f for f in (
    placebo_three, placebo_eight, placebo_one_each, placebo_rare, placebo_long_against_short, placebo_warmer_longer, placebo_slower_cadence,
    placebo_meter_of_means, placebo_divider, placebo_turned_leads, placebo_warm_shop, placebo_other_hours, placebo_wears_in,
    placebo_bad_evenings, placebo_bursts, same_file_twice, sound_before_and_after, room_quiets_down, lead_off_after,
    off_after_half_an_hour, meter_asleep_after, soak_too_short, one_before_none_after, two_before_none_after, three_before_none_after,
    none_before_three_after, cure_three, cure_believed, cure_of_once_an_hour, cure_of_a_rare_fault, half_cured, tenth_left, smaller_only,
    made_worse, one_fault_for_another, wander_cured, hiss_cured, offset_trimmed, cure_seen_by_another_cadence, cure_in_a_warmer_week,
    wrong_channel_repaired, clean_after_and_cleared, returned_after_weeks)}  # fmt: skip
