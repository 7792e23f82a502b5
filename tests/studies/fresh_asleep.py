"""Stories of small rests, awake and not: what a live output near zero has, and what a dead input shows. All data are invented.

For `fresh_benches`, by one who had not read how a sign of life is judged. Sound units rest at 0.01 to 5 mV under 0.05 to 2 mV
of noise, at digits of 0.01 to 1 mV, with a start in the log or none, trimmed, zeroed or loaded in mid-log. The others are
dead, asleep, muted or shorted for all of the log or from one moment on: none of their hours may count, and no such channel
may be cleared. Physics: open inputs pick up the mains, a relative key subtracts the rest, a scanner keeps the charge of the
channel before. Sizes and rates are invented.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import wraps

import numpy as np
from fresh_bench_parts import HOUR, Bench, Table, between, uncleared
from fresh_parts import Floats, slow_noise, telegraph
from fresh_repairs import fresh_names, powered

MOST_DEAD_h = 0.2  # invented: what a page may count of a dead stretch without harm, beside the hours that were live


def near_zero(f: Callable[[Bench], None]) -> Callable[[Bench], None]:
    """Draw rate, digit, rests and noise anew for a story: small rests, quiet rooms. Invented."""

    @wraps(f)
    def story(b: Bench) -> None:
        b.step_s = float(b.rng.choice([0.5, 1.0, 2.0, 5.0]))
        b.digit = float(b.rng.choice([1e-5, 1e-4, 2.5e-4, 5e-4, 1e-3]))
        rests(b, 1e-5, 1e-3)
        b.white = {n: between(b.rng, 5e-5, 3e-4) for n in ("left", "right", "sub")}
        f(b)
        b.fact(**{f"rest_{n}_mV": 1e3 * b.rest[n] for n in b.names}, **{f"noise_{n}_mV": 1e3 * b.white[n] for n in b.names})

    return story


def rests(b: Bench, low: float, high: float) -> None:
    """Rest all channels anew between these, above or below zero."""
    b.rest = {n: float(b.rng.choice([-1, 1])) * between(b.rng, low, high) for n in ("left", "right", "sub")}


def live(b: Bench, t: Floats, *, warm: bool = False) -> dict[str, Floats]:
    """Give all outputs, live from the first reading to the last."""
    return {n: b.output(t, n, warm=warm) for n in b.names}


def dead(b: Bench, t: Floats, hum_V: float = 0.0) -> Floats:
    """Give what a meter shows of nothing: its own zero, its own noise, and what an open lead picks up of the mains."""
    zero = b.rng.normal(0, 4e-5)
    out = zero + slow_noise(b.rng, t, 5e-6) + between(b.rng, 5e-6, 4e-5) * b.rng.standard_normal(t.size)
    if hum_V:
        turns = b.rng.uniform(0, 1) + np.cumsum(50 + slow_noise(b.rng, t, 0.02)) * b.step_s
        out += hum_V * np.sin(2 * np.pi * turns) * (1 + 0.2 * slow_noise(b.rng, t, 1.0)) + slow_noise(b.rng, t, 0.1 * hum_V)
    return out


def clean(b: Bench, table: Table, hours: float, names: Sequence[str] = (), **options: object) -> None:
    """Ask of sound channels: cleared, and nine of ten hours counted."""
    names = names or b.names
    b.step("assess", [table], sound=names, must=[f"{n} hours over {0.9 * hours:.2f}" for n in names], **options)


def none_counts(b: Bench, table: Table, hours: float = 0.0, names: Sequence[str] = (), **options: object) -> None:
    """Ask of channels that were live for so long and dead for the rest: not cleared, and of the live ones no dead hour counted.

    Of a channel without any sign of life the program counts no hour as clean, and tells how long the log was: that is no claim.
    """
    names = names or b.names
    most = [f"{n} hours over {hours + MOST_DEAD_h:.2f}" for n in names if hours]
    b.step("assess", [table], never=[*(x for n in names for x in uncleared(n)), *most], **options)


def marked(t: Floats, at: float, words: str) -> dict[str, object]:
    """Give a column of marks with one mark."""
    marks = np.full(t.size, "", dtype=object)
    marks[np.searchsorted(t, at)] = words
    return {"mark": marks}


def after(t: Floats, at: float, before: Floats, then: Floats) -> Floats:
    """Give one until this moment, and the other from it on."""
    return np.where(t < at, before, then)


# ------------------------------------------------------------ sound and awake


def small_rest_with_start(b: Bench) -> None:
    """A good servo: rests of 0.01 to 1 mV, little noise, switched on in the log. Sound."""
    hours = b.rng.uniform(4, 7)
    clean(b, b.evening(0, hours), hours)


def small_rest_without_start(b: Bench) -> None:
    """The same unit, switched on long before the log: little tells it from a shorted input. Sound."""
    hours = b.rng.uniform(4, 7)
    clean(b, b.evening(0, hours, warm=True), hours)


def small_rest_loud(b: Bench) -> None:
    """Rests below 1 mV under 0.4 to 1.8 mV of noise of the unit's own, warm before the log. Sound."""
    b.white = {n: between(b.rng, 4e-4, 1.8e-3) for n in b.white}
    hours = b.rng.uniform(4, 7)
    clean(b, b.evening(0, hours, warm=True), hours)


def rest_of_two_to_five(b: Bench) -> None:
    """Rests of 2 to 5 mV in a quiet room, no start in the log. Sound."""
    rests(b, 2e-3, 5e-3)
    hours = b.rng.uniform(4, 7)
    clean(b, b.evening(0, hours, warm=True), hours)


def trimmed_unmarked(b: Bench) -> None:
    """After an hour or two the trimmer is turned, and rests of 5 to 12 mV are 0.02 to 0.6 mV to the end; nobody marked it. Sound."""
    _trimmed(b, 5e-3, 12e-3, "")


def trimmed_marked(b: Bench) -> None:
    """The same, from 6 to 40 mV, and marked `adjusted`. Sound after the mark."""
    _trimmed(b, 6e-3, 40e-3, "adjusted: trimmed the offset")


def _trimmed(b: Bench, low: float, high: float, words: str) -> None:
    rests(b, low, high)
    hours, at = b.rng.uniform(6, 8), b.rng.uniform(1, 2) * HOUR
    t = b.instants(hours)
    left = {n: float(b.rng.choice([-1, 1])) * between(b.rng, 2e-5, 6e-4) for n in b.names}
    turned = np.clip((t - at) / b.rng.uniform(10, 40), 0, 1)
    v = {n: x + (left[n] - b.rest[n]) * turned for n, x in live(b, t).items()}
    clean(b, b.table(0, t, v, beside=marked(t, at, words) if words else None), hours - (at / HOUR if words else 0))


def zero_key_unmarked(b: Bench) -> None:
    """After an hour or two somebody presses the meter's key for relative readings: rests of 2 to 9 mV are zero to the end. Sound."""
    _zeroed(b, "")


def zero_key_marked(b: Bench) -> None:
    """The same, and marked as changed conditions. Sound."""
    _zeroed(b, "conditions changed: zeroed the meter")


def _zeroed(b: Bench, words: str) -> None:
    rests(b, 2e-3, 9e-3)
    hours, at = b.rng.uniform(6, 8), b.rng.uniform(1, 2) * HOUR
    t = b.instants(hours)
    v = live(b, t)
    i = int(np.searchsorted(t, at))
    v = {n: x - x[i] * (t >= at) for n, x in v.items()}
    clean(b, b.table(0, t, v, beside=marked(t, at, words) if words else None), hours - (at / HOUR if words else 0))


def load_on_a_small_rest(b: Bench) -> None:
    """After an hour or two a load is clipped on, and takes a fifth to a half of rests of 2 to 9 mV. Sound."""
    rests(b, 2e-3, 9e-3)
    hours, at, kept = b.rng.uniform(5, 8), b.rng.uniform(1, 2.5) * HOUR, b.rng.uniform(0.5, 0.8)
    t = b.instants(hours)
    clean(b, b.table(0, t, {n: x * np.where(t < at, 1.0, kept) for n, x in live(b, t).items()}), hours)


def noise_steps(b: Bench) -> None:
    """Rests of 0.5 to 4 mV; a neighbour's machine trebles the noise for one to two hours, twice. Sound."""
    rests(b, 5e-4, 4e-3)
    hours = b.rng.uniform(6, 8)
    t = b.instants(hours)
    runs = telegraph(b.rng, t, 5400, 5400)
    v = {n: x + 2.8 * b.white[n] * runs * b.rng.standard_normal(t.size) for n, x in live(b, t).items()}
    clean(b, b.table(0, t, v), hours)


def timer_twice(b: Bench) -> None:
    """A mains timer: on for three hours, off for one or two, on for three; rests of 0.3 to 5 mV. Sound, and the pause does not count."""
    rests(b, 3e-4, 5e-3)
    first, pause = b.rng.uniform(2.7, 3.3) * HOUR, b.rng.uniform(1, 2) * HOUR
    t = b.instants((2 * first + pause) / HOUR)
    table = b.table(0, t, powered(b, t, [(0.0, first), (first + pause, float(t[-1]) + 1)]))
    on = 2 * first / HOUR
    b.step("assess", [table], sound=b.names, must=[f"{n} hours over {0.9 * on:.2f}" for n in b.names], never=[f"{n} hours over {on + MOST_DEAD_h:.2f}" for n in b.names])


def servo_takes_it_away(b: Bench) -> None:
    """A servo of minutes takes 6 to 12 mV of the start away and keeps the output within 0.3 mV of zero. Sound."""
    rests(b, 1e-5, 3e-4)
    size, tau, hours = b.rng.uniform(6e-3, 12e-3), b.rng.uniform(200, 700), b.rng.uniform(5, 7)
    clean(b, b.evening(0, hours, {n: lambda t: size * np.exp(-t / tau) for n in b.names}), hours)


def control_of_shorted_leads(b: Bench) -> None:
    """Rests of 0.2 to 2 mV without a start in the log, and a control: the same meter, leads shorted, for an hour. Sound."""
    rests(b, 2e-4, 2e-3)
    hours = b.rng.uniform(5, 7)
    t = b.instants(1.2)
    control = b.table(1, t, {n: dead(b, t) for n in b.names})
    clean(b, b.evening(0, hours, warm=True), hours, control=control)


def one_small_beside_large(b: Bench) -> None:
    """The left output rests at 0.05 to 1 mV, its neighbour at 5 to 9 mV, in one room that warms both; no start in the log. Sound."""
    fresh_names(b, "left", "right")
    b.rest = {"left": between(b.rng, 5e-5, 1e-3), "right": -between(b.rng, 5e-3, 9e-3)}
    b.per_K, hours = b.rng.uniform(8e-5, 2.5e-4), b.rng.uniform(5, 8)
    clean(b, b.evening(0, hours, warm=True), hours)


# ------------------------------------------------------------ dead, asleep, muted, shorted


def shorted_all_along(b: Bench) -> None:
    """The meter's inputs are shorted from the first reading to the last."""
    t = b.instants(b.rng.uniform(4, 7))
    none_counts(b, b.table(0, t, {n: dead(b, t) for n in b.names}))


def open_all_along(b: Bench) -> None:
    """The leads were never on: 0.3 to 15 mV of the mains, folded by the rate of reading."""
    t = b.instants(b.rng.uniform(4, 7))
    none_counts(b, b.table(0, t, {n: dead(b, t, between(b.rng, 3e-4, 1.5e-2)) for n in b.names}))


def earth_of_dead_unit(b: Bench) -> None:
    """The unit is unplugged all along; currents in the earth leave 0.05 to 1 mV of noise and a level below 0.5 mV."""
    t = b.instants(b.rng.uniform(4, 7))
    size = between(b.rng, 5e-5, 1e-3)
    common = size * b.rng.standard_normal(t.size) + slow_noise(b.rng, t, 0.3 * size)
    none_counts(b, b.table(0, t, {n: dead(b, t) + b.rng.uniform(0.7, 1) * common + b.rng.normal(0, 2e-4) for n in b.names}))


def _from_then(b: Bench, then: Callable[[Floats, str], Floats], low: float = 2e-4, high: float = 9e-3, words: tuple[float, str] | None = None) -> None:
    """Live for 1.5 to 2.5 hours, from the start; then this to the end."""
    rests(b, low, high)
    at, hours = b.rng.uniform(1.5, 2.5) * HOUR, b.rng.uniform(5.5, 8)
    t = b.instants(hours)
    v = {n: after(t, at, x, then(t - at, n)) for n, x in live(b, t).items()}
    none_counts(b, b.table(0, t, v), at / HOUR)


def lead_off_hums(b: Bench) -> None:
    """After about two hours the leads are off, and pick up 0.3 to 8 mV."""
    _from_then(b, lambda t, n: dead(b, t, between(b.rng, 3e-4, 8e-3)))


def lead_off_silent(b: Bench) -> None:
    """After about two hours the leads hang free, and the meter shows its zero."""
    _from_then(b, lambda t, n: dead(b, t))


def standby_leaks(b: Bench) -> None:
    """The unit goes to sleep after about two hours; within a minute or two the output is a leak of 0.02 to 0.8 mV."""
    tau = b.rng.uniform(1, 40)
    leak = {n: between(b.rng, 2e-5, 8e-4) for n in ("left", "right", "sub")}
    _from_then(b, lambda t, n: dead(b, t) + leak[n] + (b.rest[n] - leak[n]) * np.exp(-np.maximum(t, 0) / tau))


def standby_noisy(b: Bench) -> None:
    """A class-D stage goes to sleep: high impedance, 0.1 to 1 mV of noise, and a level of 0.1 to 1.5 mV."""
    size = between(b.rng, 1e-4, 1e-3)
    level = {n: b.rng.choice([-1, 1]) * between(b.rng, 1e-4, 1.5e-3) for n in ("left", "right", "sub")}
    _from_then(b, lambda t, n: dead(b, t) + level[n] + size * b.rng.standard_normal(t.size))


def relay_mutes_for_good(b: Bench) -> None:
    """The output relay opens after about two hours, before a load, and stays open: nothing is seen."""
    _from_then(b, lambda t, n: 2e-5 * b.rng.standard_normal(t.size), 2e-4, 4e-3)


def input_shorted_midway(b: Bench) -> None:
    """After about two hours something shorts the left lead; the others go on. None of the left's later hours counts."""
    rests(b, 3e-4, 6e-3)
    at, hours = b.rng.uniform(1.5, 2.5) * HOUR, b.rng.uniform(5.5, 8)
    t = b.instants(hours)
    v = live(b, t)
    v["left"] = after(t, at, v["left"], dead(b, t))
    none_counts(b, b.table(0, t, v), at / HOUR, ("left",))


def unplugged_midway(b: Bench) -> None:
    """The mains plug is pulled after about two hours; rests of 0.3 to 3 mV die within seconds."""
    rests(b, 3e-4, 3e-3)
    at, hours = b.rng.uniform(1.5, 2.5) * HOUR, b.rng.uniform(5.5, 8)
    t = b.instants(hours)
    none_counts(b, b.table(0, t, powered(b, t, [(0.0, at)])), at / HOUR)


def click_and_never_on(b: Bench) -> None:
    """A click of 3 to 25 mV as it is switched on, and the relay never closes: the meter's zero to the end."""
    t = b.instants(b.rng.uniform(4, 7))
    size, tau = between(b.rng, 3e-3, 2.5e-2), b.rng.uniform(0.2, 3)
    none_counts(b, b.table(0, t, {n: dead(b, t) + size * np.exp(-t / tau) for n in b.names}))


def wakes_in_spells(b: Bench) -> None:
    """A unit asleep wakes for 60 to 150 s in every half an hour or so: not an hour of it was seen."""
    rests(b, 5e-4, 5e-3)
    t = b.instants(b.rng.uniform(5, 8))
    period, awake = b.rng.uniform(1500, 2400), b.rng.uniform(60, 150)
    on = (t + 700) % period < awake
    v = {n: np.where(on, x, dead(b, t)) for n, x in live(b, t, warm=True).items()}
    none_counts(b, b.table(0, t, v))


def ghost_of_the_neighbour(b: Bench) -> None:
    """A scanner's open left input keeps the charge of the right one: 30 to 95 % of its reading, its start among it."""
    fresh_names(b, "left", "right")
    rests(b, 5e-4, 9e-3)
    t, kept = b.instants(b.rng.uniform(4, 7)), b.rng.uniform(0.3, 0.95)
    right = b.output(t, "right")
    none_counts(b, b.table(0, t, {"left": kept * right + dead(b, t), "right": right}), names=("left",))


def trimmed_then_lead_off(b: Bench) -> None:
    """Trimmed to nearly zero after an hour and marked `adjusted`; an hour later the leads slip off, and the meter shows its zero."""
    rests(b, 6e-3, 3e-2)
    at, hours = b.rng.uniform(0.8, 1.2) * HOUR, b.rng.uniform(6, 8)
    off = at + b.rng.uniform(0.8, 1.2) * HOUR
    t = b.instants(hours)
    v = {n: after(t, off, x + (b.rng.normal(0, 2e-4) - b.rest[n]) * (t >= at), dead(b, t)) for n, x in live(b, t).items()}
    none_counts(b, b.table(0, t, v, beside=marked(t, at, "adjusted: trimmed the offset")), off / HOUR)


def adjusted_and_never_back(b: Bench) -> None:
    """Marked `adjusted` after an hour or two, but the leads were not put back: the meter's zero, or the mains, to the end."""
    rests(b, 2e-3, 3e-2)
    at, hours = b.rng.uniform(1, 2) * HOUR, b.rng.uniform(6, 8)
    t = b.instants(hours)
    hum = float(b.rng.choice([0.0, between(b.rng, 2e-4, 3e-3)]))
    v = {n: after(t, at, x, dead(b, t, hum)) for n, x in live(b, t).items()}
    none_counts(b, b.table(0, t, v, beside=marked(t, at, "adjusted: trimmed the offset")), at / HOUR)


def zeroed_then_unplugged(b: Bench) -> None:
    """The key for relative readings after an hour, the plug pulled an hour later: the meter shows the rest with its sign turned, to the end."""
    rests(b, 1e-3, 9e-3)
    at, hours = b.rng.uniform(0.8, 1.2) * HOUR, b.rng.uniform(6, 8)
    off = at + b.rng.uniform(0.8, 1.2) * HOUR
    t = b.instants(hours)
    i = int(np.searchsorted(t, at))
    v = {n: x - x[i] * (t >= at) for n, x in powered(b, t, [(0.0, off)]).items()}
    none_counts(b, b.table(0, t, v), off / HOUR)


def restart_into_sleep(b: Bench) -> None:
    """An evening of two hours; the next morning the standby supply clicks, and the output stays asleep for five hours."""
    rests(b, 3e-4, 5e-3)
    t = b.instants(b.rng.uniform(4.5, 6))
    size = between(b.rng, 5e-3, 4e-2)
    second = b.table(1, t, {n: dead(b, t) + size * np.exp(-t / b.rng.uniform(0.3, 2)) for n in b.names})
    b.step("assess", [b.evening(0, 2.0), second], never=[x for n in b.names for x in (*uncleared(n), f"{n} hours over {2 + MOST_DEAD_h:.2f}")])


KINDS = {f.__name__.replace("_", " "): near_zero(f) for f in (
    small_rest_with_start, small_rest_without_start, small_rest_loud, rest_of_two_to_five, trimmed_unmarked, trimmed_marked, zero_key_unmarked,
    zero_key_marked, load_on_a_small_rest, noise_steps, timer_twice, servo_takes_it_away, control_of_shorted_leads, one_small_beside_large,
    shorted_all_along, open_all_along, earth_of_dead_unit, lead_off_hums, lead_off_silent, standby_leaks, standby_noisy,
    relay_mutes_for_good, input_shorted_midway, unplugged_midway, click_and_never_on, wakes_in_spells, ghost_of_the_neighbour,
    trimmed_then_lead_off, adjusted_and_never_back, zeroed_then_unplugged, restart_into_sleep,
)}  # fmt: skip
