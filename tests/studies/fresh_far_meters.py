"""Meters and hands of far benches: ranges, batteries, clips, filters, leads that were swapped or touched.

All data are invented, by somebody who had read neither how the program decides nor the other stories. A sound unit behind
an odd meter may stay uncleared where the log cannot tell; what must not be is stated with each.
"""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from fresh_bench_parts import (
    HOUR,
    Bench,
    Shape,
    Table,
    arrivals,
    between,
    crackle,
    no_growth,
    uncleared,
)
from fresh_parts import EPOCH, Floats


def hours_of(b: Bench, low: float = 3.8, high: float = 7.0) -> float:
    return float(b.rng.uniform(low, high))


def volts_of(b: Bench, t: Floats, fault: Shape | None = None) -> dict[str, Floats]:
    """Sound outputs; the fault is on the left one."""
    out = {n: b.output(t, n) for n in b.names}
    if fault:
        out["left"] = out["left"] + fault(t)
    return out


def judged(b: Bench, logs: list[Any], fault: bool, *, must: tuple[str, ...] = (), claims: bool = True, **options: Any) -> None:
    """The left has a fault that must not be cleared nor made to grow, or all are sound and must be cleared."""
    never = [*uncleared("left"), *(no_growth("left") if claims else [])] if fault else []
    b.step("assess", logs, never=never, must=must, sound=b.others if fault else b.names, **options)


def open_case(b: Bench, logs: list[Any], **options: Any) -> None:
    """Nobody can tell from the log: no output is cleared, none is said to grow."""
    b.step("assess", logs, never=[x for n in b.names for x in (*uncleared(n), *no_growth(n))], **options)


def unclaimed(b: Bench, logs: list[Any], **options: Any) -> None:
    """A sound unit seen oddly: it need not be cleared, but nothing is shown of it (noise and steps of the meter aside)."""
    b.step("assess", logs, never=[x for n in b.names for x in (*no_growth(n), f"{n} do not connect", f"{n} degrading", f"{n} drifting")], **options)


def text(lines: list[str]) -> str:
    """Keep a log as text, and give its path."""
    path = Path(tempfile.mkdtemp(prefix="far-")) / "log.csv"
    path.write_text("\n".join(lines) + "\n")
    return str(path)


def stamp(t: float, form: str = "%Y-%m-%d %H:%M:%S") -> str:
    return str((EPOCH + np.timedelta64(round(t * 1000), "ms")).item().strftime(form))


def cut(table: Table, *at: int) -> list[Table]:
    return [{k: v[i:j] for k, v in table.items()} for i, j in zip((0, *at), (*at, len(table["time"])), strict=True)]


def fault_of(b: Bench, per_h: float = 8.0, size: float = 0.0) -> Shape:
    return crackle(b, per_h, size=size or between(b.rng, 0.08, 0.4))


# ------------------------------------------------------------ the meter itself


def range_border(b: Bench) -> None:
    """A sound output that rests at the border of two ranges; these differ by 0.4 % and 0.3 mV, and in their digit."""
    border = abs(b.rest["left"])
    t = b.instants(hours_of(b))

    def seen(v: Floats) -> Floats:
        return np.where(np.abs(v) < border, np.round(v / 1e-5) * 1e-5, np.round((v * 1.004 + 3e-4) / 1e-4) * 1e-4)

    judged(b, [b.table(0, t, {n: seen(v) for n, v in volts_of(b, t).items()}, digit=1e-5)], False)


def range_changes_blank(b: Bench) -> None:
    """At each change of range two readings are blank, so short swings leave only blanks and a tail."""
    t = b.instants(hours_of(b, 4.0))
    volts = volts_of(b, t, fault_of(b, 10.0))
    big = np.flatnonzero(np.diff((np.abs(volts["left"]) > 0.06).astype(int)) != 0) + 1
    for k in (0, 1):
        volts["left"][np.minimum(big + k, t.size - 1)] = np.nan
    judged(b, [b.table(0, t, volts)], True)


def zeroes_itself(b: Bench) -> None:
    """The meter shorts its input once every ten minutes and writes that reading: sound rests of up to 9 mV fall to zero once."""
    t = b.instants(hours_of(b))
    volts = volts_of(b, t)
    every = round(600 / b.step_s)
    for v in volts.values():
        v[every::every] = b.rng.normal(0, 1e-5, v[every::every].size)
    judged(b, [b.table(0, t, volts)], False)


def zeroes_itself_high(b: Bench) -> None:
    """The same meter on a rest of 40 mV: swings of 40 mV that the meter makes. Nothing grows."""
    b.rest["left"] = 0.04
    t = b.instants(hours_of(b))
    volts = volts_of(b, t)
    every = round(600 / b.step_s)
    volts["left"][every::every] = 0.0
    b.step("assess", [b.table(0, t, volts)], never=[*no_growth("left"), "left do not connect"], sound=b.others)


def battery_lies_upward(b: Bench) -> None:
    """The meter's battery sinks: all readings climb by a third in the last hour. Rests stay under 13 mV: sound."""
    t = b.instants(hours_of(b))
    gain = 1 + 0.33 * np.clip((t - t[-1] + 3600) / 3600, 0, 1) ** 2
    judged(b, [b.table(0, t, {n: v * gain for n, v in volts_of(b, t).items()})], False)


def battery_dies_wild(b: Bench) -> None:
    """In the last ten minutes a dying meter writes anything up to 300 mV, and then nothing."""
    t = b.instants(hours_of(b))
    wild = (t > t[-1] - 600) & (b.rng.random(t.size) < 0.3)
    volts = {n: np.where(wild, b.rng.uniform(-0.3, 0.3, t.size), v) for n, v in volts_of(b, t).items()}
    open_case(b, [b.table(0, t, volts)])


def clips_warm_up(b: Bench) -> None:
    """Clips of two metals on warm terminals: up to 1.5 mV over twenty minutes, each its own way; sound."""
    t = b.instants(hours_of(b))
    judged(b, [b.table(0, t, {n: v + b.rng.uniform(-1.5e-3, 1.5e-3) * (1 - np.exp(-t / 1200)) for n, v in volts_of(b, t).items()})], False)


def digit_of_ten_millivolts(b: Bench) -> None:
    """A meter that shows 10 mV: a sound rest of 4 to 6 mV flickers between 0 and 10. It cannot tell much."""
    t = b.instants(hours_of(b))
    unclaimed(b, [b.table(0, t, volts_of(b, t), digit=0.01)])


def hold_was_pressed(b: Bench) -> None:
    """Somebody pressed hold after 10 to 30 minutes; the meter writes that reading for five hours."""
    t = b.instants(hours_of(b, 5.0))
    k = int(b.rng.uniform(600, 1800) / b.step_s)
    open_case(b, [b.table(0, t, {n: np.where(t < t[k], v, v[k]) for n, v in volts_of(b, t).items()})])


def relative_was_pressed(b: Bench) -> None:
    """80 mV of rest for five minutes, then somebody presses relative: zero from there on."""
    t = b.instants(hours_of(b))
    pressed = b.rng.uniform(200, 600)
    judged(b, [b.table(0, t, volts_of(b, t, lambda x: 0.08 * (x < pressed)))], True, claims=False)


def meter_sleeps(b: Bench) -> None:
    """The meter sleeps after half an hour; five hours later it is woken for another half hour. Not an hour is known."""
    t = b.instants(6.0)
    awake = (t < 1900) | (t > 6 * HOUR - 1700)
    open_case(b, [{k: v[awake] for k, v in b.table(0, t, volts_of(b, t)).items()}])


def both_clips_on_black(b: Bench) -> None:
    """Both clips sit on the same post: a floor of a few counts about zero."""
    t = b.instants(hours_of(b))
    open_case(b, [b.table(0, t, {n: 2e-5 * b.rng.standard_normal(t.size) for n in b.names}, digit=1e-5)])


def alternating_range(b: Bench) -> None:
    """The meter stands on alternating volts: a floor of hum, always positive, blind for direct volts of any size."""
    t = b.instants(hours_of(b))
    level = {n: b.rng.uniform(8e-4, 3e-3) for n in b.names}
    open_case(b, [b.table(0, t, {n: np.abs(v + 2e-5 * b.rng.standard_normal(t.size)) for n, v in level.items()}, digit=1e-5)])


def slow_filter(b: Bench) -> None:
    """The meter's filter of 10 s flattens swings of 1 V and 0.5 s to some 50 mV with a tail."""
    t = b.instants(hours_of(b, 4.0))

    def filtered(x: Floats) -> Floats:
        out = np.zeros(x.size)
        for a in arrivals(b.rng, float(x[-1]), 8.0):
            out += np.where(x > a, 0.05 * np.exp(-np.clip(x - a, 0, 300) / 10), 0)
        return out

    judged(b, [b.table(0, t, volts_of(b, t, filtered))], True)


# ------------------------------------------------------------ leads and hands


def leads_swapped(b: Bench) -> None:
    """Left and right are swapped after two hours; the fault walks into the other column. Neither may be cleared."""
    b.names, b.rest, b.white = ("left", "right"), {"left": 0.008, "right": -0.006}, {"left": 2e-4, "right": 3e-4}
    t = b.instants(hours_of(b, 4.5))
    at = b.rng.uniform(5000, 9000)
    v = volts_of(b, t, fault_of(b, 8.0))
    x, y = np.where(t < at, v["left"], v["right"]), np.where(t < at, v["right"], v["left"])
    hand = (t > at) & (t < at + 25)
    table = b.table(0, t, {"left": np.where(hand, 0, x), "right": np.where(hand, 0, y)})
    b.step("assess", [table], never=[*uncleared("left"), *uncleared("right"), "left degrading", "right degrading"])


def leads_swapped_sound(b: Bench) -> None:
    """The same of a sound unit: a step of 14 mV in each. Nothing grows, nothing crackles."""
    b.names, b.rest, b.white = ("left", "right"), {"left": 0.008, "right": -0.006}, {"left": 2e-4, "right": 2e-4}
    t = b.instants(hours_of(b, 4.5))
    at = b.rng.uniform(5000, 9000)
    v = volts_of(b, t)
    unclaimed(b, [b.table(0, t, {"left": np.where(t < at, v["left"], v["right"]), "right": np.where(t < at, v["right"], v["left"])})])


def probe_set_to_ten(b: Bench) -> None:
    """A divider by ten is switched in after two hours: the crackle shrinks to a tenth. Not cured, not cleared, no one-off."""
    t = b.instants(hours_of(b, 5.0))
    v = volts_of(b, t, fault_of(b, 8.0, 0.12))
    b.step("assess", [b.table(0, t, {n: np.where(t < 7200, x, x / 10) for n, x in v.items()}, digit=1e-5)],
           never=[*uncleared("left"), "left degrading", "left one-off", "left larger yes", "left more often yes"])  # fmt: skip


def hand_on_the_clips(b: Bench) -> None:
    """After an hour somebody holds the clips for 10 s: 300 mV in all, unmarked. Nothing may be made of it."""
    t = b.instants(hours_of(b, 4.0))
    hand = (np.abs(t - 4000) < 5) * 0.3
    unclaimed(b, [b.table(0, t, {n: v + hand * b.rng.uniform(-1, 1, t.size) for n, v in volts_of(b, t).items()})])


def clip_comes_off(b: Bench) -> None:
    """The left clip hangs free for 20 minutes: hum of 80 mV, folded. No harm of the unit, no growth."""
    t = b.instants(hours_of(b, 4.5))
    off = (t > 6000) & (t < 7200)
    v = volts_of(b, t)
    v["left"] = np.where(off, 0.08 * np.sin(b.rng.uniform(0, 6.28, t.size)), v["left"])
    b.step("assess", [b.table(0, t, v)], never=[*no_growth("left"), "left do not connect"], sound=b.others)


def charger_is_plugged_in(b: Bench) -> None:
    """The computer's charger adds 4 mV and 0.8 mV of noise to all from the second hour on: sound."""
    t = b.instants(hours_of(b))
    judged(b, [b.table(0, t, {n: v + (t > 5400) * (4e-3 + 8e-4 * b.rng.standard_normal(t.size)) for n, v in volts_of(b, t).items()})], False)


KINDS = {"far " + f.__name__.replace("_", " "): f for f in (
    range_border, range_changes_blank, zeroes_itself, zeroes_itself_high, battery_lies_upward, battery_dies_wild,
    clips_warm_up, digit_of_ten_millivolts, hold_was_pressed, relative_was_pressed, meter_sleeps, both_clips_on_black,
    alternating_range, slow_filter, leads_swapped, leads_swapped_sound, probe_set_to_ten, hand_on_the_clips, clip_comes_off,
    charger_is_plugged_in)}  # fmt: skip
