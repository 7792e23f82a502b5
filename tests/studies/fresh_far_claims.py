"""Before and after, and from visit to visit, on far benches: what a repair or a year may and may not be said to have done.

All data are invented, by somebody who had read neither how the program decides nor the other stories.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from fresh_bench_parts import HOUR, Bench, Shape, Table, arrivals, between, crackle, swings, uncleared
from fresh_far_meters import fault_of, volts_of

NOT_BETTER = ("left cured shown", "left outcome improved", "left after within*")


def pair(b: Bench, before: Sequence[Table], after: Sequence[Table], never: Sequence[str] = NOT_BETTER, must: Sequence[str] = ()) -> None:
    b.step("compare", [before, after], never=never, must=must)


def faulty(b: Bench, day: float, hours: float, per_h: float = 8.0, size: float = 0.25, length_s: float = 3.0, step_s: float = 0.0) -> Table:
    return b.evening(day, hours, {"left": crackle(b, per_h, size=size, length_s=length_s)}, step_s=step_s)


def cured_and_long(b: Bench) -> None:
    """Eight an hour for five hours, then eight clean hours of one power-up: better it is; cured it may be called."""
    pair(b, [faulty(b, 0, 5.0)], [b.evening(3, 8.0)], never=["left outcome worse"], must=["left outcome improved"])


def same_as_before(b: Bench) -> None:
    """The same rate before and after."""
    pair(b, [faulty(b, 0, 5.0)], [faulty(b, 3, 5.0)], never=[*NOT_BETTER, "left outcome worse"])


def slower_meter_after(b: Bench) -> None:
    """Swings of 2 s, read each second before and each twenty after: most go unseen. Nothing is cured."""
    pair(b, [faulty(b, 0, 5.0, 10.0, length_s=1.5, step_s=1.0)], [faulty(b, 3, 6.0, 10.0, length_s=1.5, step_s=20.0)], never=["left cured shown", "left after within*"])


def means_after(b: Bench) -> None:
    """Read each second before, means of half a minute after: 150 mV become 10. Nothing is cured or smaller."""
    at = arrivals(b.rng, 6 * HOUR, 10.0)
    late = b.evening(3, 6.0, {"left": lambda t: swings(t, at, 2.0, 0.15, 30.0)}, step_s=30.0)
    pair(b, [faulty(b, 0, 5.0, 10.0, size=0.15, length_s=2.0, step_s=1.0)], [late], never=["left cured shown", "left after within*"])


def coarse_digit_after(b: Bench) -> None:
    """Swings of 45 to 60 mV before; after, a meter of 50 mV a digit."""
    after = b.evening(3, 8.0, {"left": crackle(b, 8.0, size=0.045)}, digit=0.05)
    pair(b, [faulty(b, 0, 5.0, size=0.07)], [after], never=["left cured shown", "left after within*"])


def hot_only_and_short(b: Bench) -> None:
    """It crackles from the second hour on; the check afterwards has four power-ups of 50 minutes."""
    late: Shape = lambda t: crackle(b, 10.0)(t) * (t > 4500)  # noqa: E731
    pair(b, [b.evening(k, 3.5, {"left": late}) for k in range(2)], [b.evening(5 + k, 0.8) for k in range(4)])


def held_after(b: Bench) -> None:
    """The check afterwards was logged with the meter on hold."""
    t = b.instants(8.0)
    v = volts_of(b, t)
    k = int(500 / b.step_s)
    pair(b, [faulty(b, 0, 5.0)], [b.table(3, t, {n: np.where(t < t[k], x, x[k]) for n, x in v.items()})])


def leads_off_after(b: Bench) -> None:
    """The check afterwards was logged with the clips lying on the bench: a floor of counts."""
    t = b.instants(8.0)
    pair(b, [faulty(b, 0, 5.0)], [b.table(3, t, {n: 2e-5 * b.rng.standard_normal(t.size) for n in b.names}, digit=1e-5)])


def asleep_after(b: Bench) -> None:
    """The unit went to standby after 20 minutes of the check."""
    t = b.instants(8.0)
    v = volts_of(b, t)
    asleep = b.rng.uniform(900, 1500)
    pair(b, [faulty(b, 0, 5.0)], [b.table(3, t, {n: np.where(t < asleep, x, 2e-5 * b.rng.standard_normal(t.size)) for n, x in v.items()})])


def one_burst_fewer(b: Bench) -> None:
    """Bursts of 20 swings within ten minutes, three in six hours before, two after: nothing is shown."""

    def bursts(many: int) -> Shape:
        centres = np.sort(b.rng.uniform(1500, 20000, many))
        at = np.sort(np.concatenate([c + b.rng.uniform(0, 600, 20) for c in centres]))
        return lambda t: swings(t, at, 3.0, 0.2)

    pair(b, [b.evening(0, 6.0, {"left": bursts(3)})], [b.evening(3, 6.0, {"left": bursts(2)})], never=[*NOT_BETTER, "left outcome worse"])


def polarity_turned(b: Bench) -> None:
    """The leads were turned between: the same rate, the same sizes, the other sign."""
    size = between(b.rng, 0.1, 0.3)
    after = b.evening(3, 5.0, {"left": lambda t: -np.abs(crackle(b, 8.0, size=size)(t))})
    pair(b, [b.evening(0, 5.0, {"left": lambda t: np.abs(crackle(b, 8.0, size=size)(t))})], [after], never=[*NOT_BETTER, "left outcome worse"])


def rare_and_luckless(b: Bench) -> None:
    """Two swings in six hours before, none in four after: an evening's luck."""
    pair(b, [b.evening(0, 6.0, {"left": lambda t: swings(t, np.array([5000.0, 15000.0]), 3.0, 0.3)})], [b.evening(3, 4.0)], never=["left cured shown", "left outcome improved"])


def drift_moved_to_offset(b: Bench) -> None:
    """Before, it wandered to 60 mV; after, it rests at 70 mV and does not move: no release."""
    pair(b, [b.evening(0, 5.0, {"left": lambda t: 0.06 * t / 18000})], [b.evening(3, 6.0, {"left": lambda t: 0.07 + 0 * t})], never=["left cured shown", "left after within*"])


def visits_of(b: Bench, rates: Sequence[float], *, hours: Sequence[float] = (), size: Sequence[float] = (), steps: Sequence[float] = (),
              length_s: float = 3.0, never: Sequence[str] = (), must: Sequence[str] = ()) -> None:  # fmt: skip
    many = len(rates)
    hours, size, steps = hours or [3.0] * many, size or [0.25] * many, steps or [0.0] * many
    logs = [[faulty(b, 60.0 * k, hours[k], rates[k], size[k], length_s, steps[k])] for k in range(many)]
    b.step("visits", logs, never=never, must=must, sound=b.others)


SAME = ("left rate worse", "left rate better", "left size worse", "left size better", "left since *")


def year_of_moods(b: Bench) -> None:
    """Each visit has its own mood, a factor of two either way: no trend."""
    visits_of(b, [float(6 * b.rng.lognormal(0, 0.7)) for _ in range(5)], never=SAME[:2])


def summer_and_winter(b: Bench) -> None:
    """Eight an hour in three summer visits, four in two of winter in between: no trend."""
    visits_of(b, [8.0, 4.0, 8.0, 4.0, 8.0], never=SAME[:4])


def finer_from_visit_to_visit(b: Bench) -> None:
    """Glitches of 0.6 s, read each 5, 2, 1, 0.5 s: they are seen more often and are not more."""
    visits_of(b, [20.0] * 4, steps=[5.0, 2.0, 1.0, 0.5], length_s=0.6, never=SAME[:2])


def shorter_visits(b: Bench) -> None:
    """The same rate; eight hours at first, then four, two and one."""
    visits_of(b, [6.0] * 4, hours=[8.0, 4.0, 2.0, 1.0], never=SAME)


def twice_at_each_visit(b: Bench) -> None:
    """Twice as often at each visit: it should be said."""
    visits_of(b, [1.5, 3.0, 6.0, 12.0, 24.0], hours=[4.0] * 5, must=["left rate worse"], never=["left rate better"])


def larger_at_each_visit(b: Bench) -> None:
    """The same rate, swings half as large again at each visit: it should be said."""
    visits_of(b, [10.0] * 5, size=[0.08, 0.12, 0.18, 0.27, 0.4], must=["left size worse"], never=["left size better"])


def five_moody_evenings(b: Bench) -> None:
    """Five evenings judged together, each with a rate of its own: nothing is shown to age."""
    logs = [b.evening(k, 2.5, {"left": fault_of(b, float(5 * b.rng.lognormal(0, 0.8)), 0.2)}) for k in range(5)]
    b.step("assess", logs, never=[*uncleared("left"), "left degrading", "left worse with age yes", "left larger with age yes"], sound=b.others)


def watched_until_it_dies(b: Bench) -> None:
    """Watched: an hour of calm, then 5 V to stay: an alarm at once."""
    at = float(round(b.rng.uniform(3000, 5000)))
    b.step("watch", [b.evening(0, 2.0, {"left": lambda t: 5.0 * (t >= at)})], must=[f"left alarm under {at + 15:.1f}"], never=[f"left alarm under {at - 1:.1f}"])


def watched_while_sound(b: Bench) -> None:
    """Watched: a sound evening gives no alarm of volts."""
    b.step("watch", [b.evening(0, 4.0)], never=[f"{n} alarm over 0" for n in b.names])


KINDS = {"far " + f.__name__.replace("_", " "): f for f in (
    cured_and_long, same_as_before, slower_meter_after, means_after, coarse_digit_after, hot_only_and_short, held_after,
    leads_off_after, asleep_after, one_burst_fewer, polarity_turned, rare_and_luckless, drift_moved_to_offset, year_of_moods,
    summer_and_winter, finer_from_visit_to_visit, shorter_visits, twice_at_each_visit, larger_at_each_visit, five_moody_evenings,
    watched_until_it_dies, watched_while_sound)}  # fmt: skip
