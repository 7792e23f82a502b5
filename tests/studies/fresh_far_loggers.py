"""Loggers of far benches: held values, thinned memories, scanners, two loggers, odd clocks, figures among the rows.

All data are invented, by somebody who had read neither how the program decides nor the other stories. A sound unit behind
an odd logger may stay uncleared where the log cannot tell; what must not be is stated with each.
"""

from __future__ import annotations

import numpy as np
from fresh_bench_parts import HOUR, Bench, Shape, Table, arrivals, crackle, no_growth, nothing_shown, swings, uncleared
from fresh_far_meters import cut, fault_of, hours_of, judged, open_case, stamp, text, unclaimed, volts_of
from fresh_parts import Floats, telegraph

# ------------------------------------------------------------ loggers that hold, thin, trigger, average


def polled_too_fast(b: Bench, fault: bool = False) -> None:
    """The logger asks ten times for each reading of the meter, so each stands ten times: sound."""
    t = b.instants(hours_of(b), 0.2)
    v = volts_of(b, t, fault_of(b) if fault else None)
    judged(b, [b.table(0, t, {n: np.repeat(x[::10], 10)[: t.size] for n, x in v.items()})], fault)


def polled_too_fast_fault(b: Bench) -> None:
    """The same with a fault."""
    polled_too_fast(b, True)


def dropouts_repeat(b: Bench, fault: bool = False) -> None:
    """The cable drops out for 3 to 25 s a dozen times an hour; the logger repeats its last value: sound."""
    t = b.instants(hours_of(b, 4.5))
    v = volts_of(b, t, fault_of(b) if fault else None)
    lost = telegraph(b.rng, t, 8, 300)
    source = np.maximum.accumulate(np.where(lost, 0, np.arange(t.size)))
    judged(b, [b.table(0, t, {n: x[source] for n, x in v.items()})], fault)


def dropouts_repeat_fault(b: Bench) -> None:
    """The same with a fault."""
    dropouts_repeat(b, True)


def zeros_for_lost(b: Bench) -> None:
    """The logger writes 0 for a lost reading, one in a hundred: so would one that cannot read below zero. Nothing is shown."""
    t = b.instants(hours_of(b))
    unclaimed(b, [b.table(0, t, {n: np.where(b.rng.random(t.size) < 0.01, 0.0, x) for n, x in volts_of(b, t).items()})])


def extremes_beside_means(b: Bench, all_of_them: bool = True) -> None:
    """A row a half minute with mean, least and largest: 2 V of 0.2 s stand only in the largest. Neither mean nor largest is cleared."""
    t = b.instants(hours_of(b, 5.0), 30.0)
    at = b.rng.choice(t.size, 9, replace=False)
    columns: dict[str, Floats] = {}
    for n in b.names:
        mean = b.output(t, n)
        low, high = mean - 3e-3, mean + 3e-3
        if n == "left":
            mean[at] += 2.0 * 0.2 / 30
            high[at] += 2.0
        columns.update({f"{n}_avg_V": mean, f"{n}_min_V": low, f"{n}_max_V": high})
    rows = [",".join([stamp(x), *(f"{v[i]:.4f}" for v in columns.values())]) for i, x in enumerate(t)]
    chosen = list(columns) if all_of_them else [f"{n}_avg_V" for n in b.names]
    b.step("assess", [text([",".join(["time", *columns]), *rows])], never=[x for n in ("left_avg", "left_max") for x in uncleared(n)], reading={"channels": chosen})


def means_alone(b: Bench) -> None:
    """The same file, of which the hand chose the means alone."""
    extremes_beside_means(b, False)


def thinned(b: Bench, fault: Shape, averaged: bool) -> Table:
    """A memory that keeps the last hour at 1 s, three hours at 10 s, and what is older at 60 s."""
    fine = np.arange(0, 9 * HOUR, 1.0)
    v = volts_of(b, fine, fault)
    old, mid = fine < 5 * HOUR, (fine >= 5 * HOUR) & (fine < 8 * HOUR)
    keep = np.where(old, fine % 60 == 0, np.where(mid, fine % 10 == 0, True))
    if averaged:
        for n, x in v.items():
            y = x.copy()
            y[fine % 60 == 0] = np.where(old[fine % 60 == 0], x.reshape(-1, 60).mean(1), y[fine % 60 == 0])
            ten = fine % 10 == 0
            y[ten] = np.where(mid[ten], x.reshape(-1, 10).mean(1), y[ten])
            v[n] = y
    return b.table(0, fine[keep], {n: x[keep] for n, x in v.items()})


def old_rows_thinned(b: Bench) -> None:
    """Even crackle of 2 s; the memory thinned its old rows, so most is seen at the end. Nothing grows."""
    b.step("assess", [thinned(b, crackle(b, 20.0, size=0.2, length_s=2.0), False)], never=[*uncleared("left"), *no_growth("left"), "left clustered yes"])


def old_rows_averaged(b: Bench) -> None:
    """The same, and what is old is averaged: the swings look larger towards the end. Nothing grows."""
    b.step("assess", [thinned(b, crackle(b, 20.0, size=0.5, length_s=3.0), True)], never=[*uncleared("left"), *no_growth("left"), "left clustered yes"])


def finer_from_half_time(b: Bench) -> None:
    """The hand turns the logger from 2 s to 0.2 s at half time; glitches of 0.4 s come evenly. Nothing grows."""
    fine = np.arange(0, 5 * HOUR, 0.2)
    at = arrivals(b.rng, 5 * HOUR, 25.0)
    v = volts_of(b, fine, lambda x: swings(x, at, 0.4, 0.2))
    keep = (fine > 2.5 * HOUR) | (np.arange(fine.size) % 10 == 0)
    b.step("assess", [b.table(0, fine[keep], {n: x[keep] for n, x in v.items()})], never=[*uncleared("left"), *no_growth("left"), "left clustered yes"], sound=b.others)


def written_on_change(b: Bench) -> None:
    """A reading is written when it moved by 5 mV, else once in ten minutes: crackle stands in clusters of rows."""
    t = np.arange(0, 8 * HOUR, 1.0)
    v = volts_of(b, t, fault_of(b, 6.0))
    keep, last = np.zeros(t.size, bool), 0
    for i in range(t.size):
        if i == 0 or t[i] - t[last] >= 600 or any(abs(x[i] - x[last]) > 5e-3 for x in v.values()):
            keep[i], last = True, i
    open_case(b, [{k: x[keep] for k, x in b.table(0, t, v).items()}])


def month_of_minutes(b: Bench) -> None:
    """A month at one reading a minute: too seldom to clear; a fault of one day in three, evenly."""
    t = np.arange(0, 28 * 86400.0, 60.0)
    fault = swings(t, arrivals(b.rng, float(t[-1]), 0.2), 70.0, 0.15)
    v = volts_of(b, t)
    v["left"] = v["left"] + fault
    open_case(b, [b.table(0, t, v)])


def two_hours_at_a_kilohertz(b: Bench, fault: bool = False) -> None:
    """Two and a half hours at 500 Hz: sound."""
    b.names = ("left",)
    t = np.arange(0, 3.3 * HOUR, 0.002)
    at = arrivals(b.rng, float(t[-1]), 5.0)
    judged(b, [b.table(0, t, volts_of(b, t, (lambda x: swings(x, at, 0.004, 0.2)) if fault else None))], fault)


def pulses_at_a_kilohertz(b: Bench) -> None:
    """The same with pulses of 4 ms."""
    two_hours_at_a_kilohertz(b, True)


# ------------------------------------------------------------ scanners and two loggers


def scanner_keeps_charge(b: Bench) -> None:
    """A scanner reads the others just after the left and keeps 7 % of it: they are sound."""
    t = b.instants(hours_of(b, 4.0))
    v = volts_of(b, t, fault_of(b, 10.0, 0.3))
    loud = v["left"] - b.rest["left"]
    for n in b.others:
        v[n] = v[n] + 0.07 * loud
    judged(b, [b.table(0, t, v)], True)


def scanner_input_open(b: Bench) -> None:
    """The scanner's last input hangs free and shows what is left of the channel before: it was never seen."""
    b.names = ("left", "sub")
    b.rest, b.white = {"left": 0.007, "sub": 0.0}, {"left": 3e-4, "sub": 0.0}
    t = b.instants(hours_of(b))
    left = b.output(t, "left")
    table = b.table(0, t, {"left": left, "sub": b.rng.uniform(0.5, 0.9) * left + 3e-5 * b.rng.standard_normal(t.size)}, digit=1e-5)
    b.step("assess", [table], never=["sub within*", "sub steady", *nothing_shown("left")])


def a_logger_for_each(b: Bench) -> None:
    """Left and right each have a logger, with clocks 20 s apart and drifting: both are sound."""
    b.names, b.rest, b.white = ("left", "right"), {"left": 0.006, "right": -0.005}, {"left": 2e-4, "right": 3e-4}
    t = b.instants(hours_of(b))
    one = b.table(0, t, {"left": b.output(t, "left")})
    two = b.table(0, t * 1.0008 + 20, {"right": b.output(t, "right")})
    judged(b, [one, two], False)


def main_and_backup(b: Bench) -> None:
    """Two loggers hang on the same output with crackle: the hours and swings of one of them, and no ageing."""
    hours = hours_of(b)
    t = b.instants(hours)
    v = volts_of(b, t, fault_of(b))
    b.step("assess", [b.table(0, t, v), b.table(0, t + 0.3, v)], never=[*uncleared("left"), *no_growth("left"), f"left hours over {hours * 1.2:.3f}"])


# ------------------------------------------------------------ clocks and files


def cut_at_midnight(b: Bench, fault: bool = False) -> None:
    """A day and a half in files that end at midnight: sound."""
    t = b.instants(36.0, 2.0)
    table = b.table(0, t, volts_of(b, t, fault_of(b, 1.0) if fault else None))
    judged(b, cut(table, round(15 * HOUR / 2)), fault)


def cut_at_midnight_fault(b: Bench) -> None:
    """The same with a fault, and the files given newest first."""
    t = b.instants(36.0, 2.0)
    judged(b, cut(b.table(0, t, volts_of(b, t, fault_of(b, 1.0))), round(15 * HOUR / 2))[::-1], True)


def hour_comes_twice(b: Bench, fault: bool = False, forward: bool = False) -> None:
    """The clock goes back by an hour in the night: two hours bear the same stamps."""
    t = b.instants(9.0)
    v = volts_of(b, t, fault_of(b, 5.0) if fault else None)
    shift = np.where(t > 4.5 * HOUR, HOUR if forward else -HOUR, 0)
    judged(b, [b.table(0, t + shift, v)], fault)


def hour_comes_twice_fault(b: Bench) -> None:
    """The same with a fault."""
    hour_comes_twice(b, True)


def hour_is_missing(b: Bench) -> None:
    """The clock goes forward: a sound night with a hole of an hour that never was."""
    hour_comes_twice(b, forward=True)


def clock_starts_anew(b: Bench, fault: bool = False) -> None:
    """The mains fail; the logger comes back in the year 2000. The unit came on with it."""
    t = b.instants(4.5)
    first = b.table(0, t, volts_of(b, t))
    second = b.table(-11000, t, volts_of(b, t, fault_of(b) if fault else None))
    judged(b, [{k: np.concatenate([first[k], second[k]]) for k in first}], fault)


def clock_starts_anew_fault(b: Bench) -> None:
    """The same with a fault after the mains came back."""
    clock_starts_anew(b, True)


def time_of_day_only(b: Bench, fault: bool = False) -> None:
    """Stamps of the day without a date, past midnight twice: sound."""
    t = b.instants(hours_of(b, 28, 34), 5.0)
    v = volts_of(b, t, fault_of(b, 2.0, 0.3) if fault else None)
    lines = [",".join(["time", *(f"{n} (mV)" for n in b.names)])]
    lines += [",".join([stamp(x, "%H:%M:%S"), *(f"{1000 * y[i]:.2f}" for y in v.values())]) for i, x in enumerate(t)]
    judged(b, [text(lines)], fault)


def time_of_day_fault(b: Bench) -> None:
    """The same with a fault."""
    time_of_day_only(b, True)


def counter_wraps(b: Bench) -> None:
    """Seconds since start in a counter of 16 bits, which wraps after 18 hours: sound."""
    t = b.instants(26.0, 2.0)
    v = volts_of(b, t)
    lines = [",".join(["elapsed_s", *(f"{n}_V" for n in b.names)])]
    judged(b, [text(lines + [",".join([str(int(x) % 65536), *(f"{y[i]:.5f}" for y in v.values())]) for i, x in enumerate(t)])], False)


def stamps_of_minutes(b: Bench) -> None:
    """Stamps know only the minute; sixty or so rows bear the same one: sound."""
    t = b.instants(hours_of(b), 1.0)
    v = volts_of(b, t)
    lines = [",".join(["time", *(f"{n}_V" for n in b.names)])]
    judged(b, [text(lines + [",".join([stamp(x, "%Y-%m-%d %H:%M"), *(f"{y[i]:.5f}" for y in v.values())]) for i, x in enumerate(t)])], False)


def ring_memory(b: Bench, fault: bool = False) -> None:
    """The memory is a ring: the file begins with the newest part, the oldest follows. Stamps tell: sound."""
    t = b.instants(7.0)
    table = b.table(0, t, volts_of(b, t, fault_of(b, 5.0) if fault else None))
    k = int(t.size * b.rng.uniform(0.3, 0.7))
    judged(b, [{name: np.concatenate([x[k:], x[:k]]) for name, x in table.items()}], fault)


def ring_memory_fault(b: Bench) -> None:
    """The same with a fault."""
    ring_memory(b, True)


def rows_sent_again(b: Bench) -> None:
    """After each loss of the link the last two minutes are sent again: crackle stands twice in places. Nothing grows."""
    t = b.instants(hours_of(b, 5.0))
    table = b.table(0, t, volts_of(b, t, fault_of(b)))
    order, again = [], round(120 / b.step_s)
    for i in range(0, t.size, round(1500 / b.step_s)):
        order += range(max(0, i - again), min(t.size, i + round(1500 / b.step_s)))
    judged(b, [{k: x[order] for k, x in table.items()}], True)


def figures_before_the_rows(b: Bench, fault: bool = False) -> None:
    """The export begins with mean, least and largest of each channel, and a blank line: sound."""
    t = b.instants(hours_of(b))
    v = volts_of(b, t, fault_of(b) if fault else None)
    lines = ["Channel,Average,Min,Max", *(f"{n},{np.mean(x):.5f},{x.min():.5f},{x.max():.5f}" for n, x in v.items()), ""]
    lines += [",".join(["time", *(f"{n}_V" for n in b.names)])]
    judged(b, [text(lines + [",".join([stamp(x), *(f"{y[i]:.5f}" for y in v.values())]) for i, x in enumerate(t)])], fault)


def figures_before_fault(b: Bench) -> None:
    """The same with a fault."""
    figures_before_the_rows(b, True)


def figures_behind_the_rows(b: Bench) -> None:
    """Mean, least and largest stand in three rows at the end, under the columns; a sound unit, least and largest of the surge."""
    t = b.instants(hours_of(b))
    v = volts_of(b, t)
    lines = [",".join(["time", *(f"{n}_V" for n in b.names)])]
    lines += [",".join([stamp(x), *(f"{y[i]:.5f}" for y in v.values())]) for i, x in enumerate(t)]
    lines += [",".join([w, *(f"{f(y):.5f}" for y in v.values())]) for w, f in (("Average", np.mean), ("Minimum", np.min), ("Maximum", np.max))]
    judged(b, [text(lines)], False)


def unit_in_the_cells(b: Bench, fault: bool = False) -> None:
    """The meter writes the unit into each cell and changes it with the range: 5.2 mV, 0.81 V."""
    t = b.instants(hours_of(b, 4.0))
    v = volts_of(b, t, fault_of(b, 6.0, 1.6) if fault else None)
    lines = [",".join(["time", *b.names])]
    lines += [",".join([stamp(x), *(f"{1000 * y[i]:.2f} mV" if abs(y[i]) < 0.6 else f"{y[i]:.4f} V" for y in v.values())]) for i, x in enumerate(t)]
    judged(b, [text(lines)], fault, must=("left do not connect",) if fault else ())


def unit_in_the_cells_fault(b: Bench) -> None:
    """The same with swings of 1.6 V, written in volts among millivolts."""
    unit_in_the_cells(b, True)


def first_row_of_each_file(b: Bench) -> None:
    """The logger switches its scanner as it opens the hourly file: the first reading is off by 60 mV in all. Nothing grows."""
    t = b.instants(8.0)
    table = b.table(0, t, volts_of(b, t))
    logs = cut(table, *(round(k * HOUR / b.step_s) for k in range(1, 8)))
    for log in logs[1:]:
        for n in b.names:
            log[f"{n}_V"] = log[f"{n}_V"].copy()
            log[f"{n}_V"][0] += 0.06
    unclaimed(b, logs)


KINDS = {"far " + f.__name__.replace("_", " "): f for f in (
    polled_too_fast, polled_too_fast_fault, dropouts_repeat, dropouts_repeat_fault, zeros_for_lost, extremes_beside_means, means_alone,
    old_rows_thinned, old_rows_averaged, finer_from_half_time, written_on_change, month_of_minutes, two_hours_at_a_kilohertz,
    pulses_at_a_kilohertz, scanner_keeps_charge, scanner_input_open, a_logger_for_each, main_and_backup, cut_at_midnight,
    cut_at_midnight_fault, hour_comes_twice, hour_comes_twice_fault, hour_is_missing, clock_starts_anew,
    clock_starts_anew_fault, time_of_day_only, time_of_day_fault, counter_wraps, stamps_of_minutes, ring_memory,
    ring_memory_fault, rows_sent_again, figures_before_the_rows, figures_before_fault, figures_behind_the_rows,
    unit_in_the_cells, unit_in_the_cells_fault, first_row_of_each_file)}  # fmt: skip
