"""Copies of a run, and times that several logs hold, are found and counted once. All logs here are invented."""

import datetime as dt
import itertools

import numpy as np
import pytest

from flicker import Limits, Log, assess, compare
from flicker.base.values import Fitness
from flicker.evidence.record.overlaps import readings_digest, same_readings
from flicker.signals.trace import trace_log


def runs_of(*columns):
    """One run per column of readings, each a log of its own with two channels."""
    out = []
    for k, values in enumerate(columns):
        time_s = 0.5 * np.arange(values.size)
        log = Log.from_arrays(time_s, {"left": values, "right": -values[::-1]}, name=f"evening {k}")
        out += trace_log(log, Limits(), first_run=len(out))
    return out


def noise(seed, size=2400):
    return 0.004 + 0.0005 * np.random.default_rng(seed).standard_normal(size)


def test_a_copy_is_found_whatever_its_name_and_place():
    one, two, three = noise(1), noise(2), noise(3)
    assert same_readings(runs_of(one, two, one.copy(), three, two.copy())) == [(0, 2), (1, 4)]


def test_one_changed_reading_makes_another_run():
    changed = noise(1)
    changed[1234] += 1e-6
    assert same_readings(runs_of(noise(1), changed)) == []


def test_lost_readings_and_signed_zeros_do_not_hide_a_copy():
    with_gap = noise(4)
    with_gap[100:110] = np.nan
    zeros = np.where(np.arange(2400) % 7 == 0, 0.0, noise(5))
    runs = runs_of(with_gap, with_gap.copy(), zeros, np.where(zeros == 0.0, -0.0, zeros))
    assert same_readings(runs) == [(0, 1), (2, 3)]


def test_a_channel_that_never_moves_tells_nothing():
    (run,) = runs_of(np.full(2400, 0.004))
    assert readings_digest(run) is None


EVENING = dt.datetime(2031, 3, 3, 18, 30)
STEP_S = 2.0


def exported(values, *pieces, dated=True):
    """Logs of rows ``a`` to ``b`` of one evening, as a logger hands them out when it is read out again."""
    return [
        Log.from_arrays(
            STEP_S * np.arange(b - a),
            {"left": values[a:b]},
            start=EVENING + dt.timedelta(seconds=STEP_S * a) if dated else None,
            name=f"export {k}",
        )
        for k, (a, b) in enumerate(pieces, 1)
    ]


def swinging(rows=3600):
    """Two hours with six swings of 8 s, the first after five minutes."""
    values = noise(6, rows)
    for at in range(150, rows, 600):
        values[at : at + 4] += 0.2
    return values


GROWING, ROLLING = ((0, 1200), (0, 2400), (0, 3600)), ((0, 2000), (800, 2800), (1600, 3600))


@pytest.mark.parametrize(
    ("pieces", "dated"), [(GROWING, True), (GROWING[::-1], True), (GROWING, False), (GROWING[::-1], False), (ROLLING, True)]
)
def test_time_that_several_exports_hold_is_counted_once(pieces, dated):
    values = swinging()
    (once,) = assess(exported(values, (0, 3600))).channels
    found = assess(exported(values, *pieces, dated=dated))
    (item,) = found.channels
    assert item.observed_s == pytest.approx(once.observed_s, abs=60.0)
    seams = 2 if pieces is ROLLING else 0  # where a log is cut, a part of a cell of five minutes counts as one
    assert item.guard.figures.judged_h <= once.guard.figures.judged_h + seams * 300.0 / 3600.0 + 1e-9
    assert sum(trace.excursions.count for trace in found.records[0].traces) == 6
    told = 3 if pieces is ROLLING else 2  # the third of the rolling ones shares time with both before
    assert sum("t is counted once" in text for text in found.cautions) == told


def test_two_logs_of_one_time_with_other_readings_are_counted_once_and_told():
    one, two = noise(7, 3600), noise(8, 3600)
    (alone,) = assess(exported(one, (0, 3600))).channels
    second = Log.from_arrays(STEP_S * np.arange(3600), {"left": two}, start=EVENING + dt.timedelta(minutes=1), name="other")
    found = assess([*exported(one, (0, 3600)), second])
    assert found.channels[0].observed_s == pytest.approx(alone.observed_s, abs=120.0)
    assert any("cover the same" in text for text in found.cautions)


def beside(step_s, seed, *swings):
    """Two hours at a pace of its own: each swing from a second on, so many rows long and so large."""
    values = noise(seed, round(7200 / step_s))
    for at_s, rows, volts in swings:
        values[round(at_s / step_s) :][:rows] = volts
    return Log.from_arrays(step_s * np.arange(values.size), {"left": values}, start=EVENING, name=f"pace {step_s} s")


MILDER = [Fitness.WITHIN_LIMITS, Fitness.NOT_YET_SHOWN, Fitness.DO_NOT_CONNECT]
PACES = {
    "calm": beside(2.0, 11),
    "single rows of 6 V": beside(3.0, 12, (1500, 1, 6.0), (3000, 1, 6.0), (4500, 1, 6.0)),
    "30 mV": beside(5.0, 13, (2000, 30, 0.03)),
    "6 V for 400 s": beside(4.0, 14, (4000, 100, 6.0)),
}


@pytest.mark.parametrize(
    "names", [("calm", "single rows of 6 V"), ("calm", "6 V for 400 s"), ("calm", "single rows of 6 V", "30 mV")]
)
def test_whatever_the_order_of_logs_of_one_time_none_loses_volts(names):
    """By the invariants of clearance: the order of runs changes nothing, danger added is never milder."""
    alone = [assess(PACES[name]).channels[0].fitness for name in names]
    found = [assess([PACES[name] for name in order]).channels[0] for order in itertools.permutations(names)]
    assert len({(item.fitness, item.verdict, item.observed_s, item.guard.reasons) for item in found}) == 1
    assert MILDER.index(found[0].fitness) == max(MILDER.index(item) for item in alone) == 2
    assert found[0].observed_s == pytest.approx(7200.0, rel=0.02)


def test_a_swing_that_two_loggers_saw_is_one_swing():
    logs = [beside(pace_s, seed, (3000, round(30 / pace_s), 0.2)) for pace_s, seed in ((2.0, 15), (3.0, 16))]
    for order in (logs, logs[::-1]):
        assert sum(trace.excursions.count for trace in assess(order).records[0].traces) == 1


def test_channels_of_one_evening_in_two_files_are_both_counted():
    values = noise(9, 3600)
    (left,) = exported(values, (0, 3600))
    right = Log.from_arrays(STEP_S * np.arange(3600), {"right": noise(10, 3600)}, start=EVENING, name="right")
    found = assess([left, right])
    assert [item.observed_s for item in found.channels] == pytest.approx([7200.0] * 2, rel=0.02)


@pytest.mark.parametrize(("pieces", "dated"), [(GROWING[1:], False), (ROLLING[:2], True)])
def test_one_evening_on_both_sides_is_no_change(pieces, dated):
    before, after = exported(swinging(), *pieces, dated=dated)
    found = compare(before, after)
    assert [item.outcome for item in found.channels] == ["no change shown"]
    assert any("were given for both sides" in text for text in found.cautions)


@pytest.mark.parametrize("paces_s", [(1.0, 10.0), (10.0, 1.0), (1.0, 10.0, 1.0, 10.0)])
def test_readings_at_a_slower_pace_are_no_gap(paces_s):
    steps = np.concatenate([np.full(int(10800 / pace), pace) for pace in paces_s])
    values = 0.006 + 0.0004 * np.random.default_rng(11).standard_normal(steps.size)
    (item,) = assess(Log.from_arrays(np.cumsum(steps), {"left": np.round(values, 5)})).channels
    assert item.guard.figures.unseen_s < 300.0
    assert item.guard.figures.judged_h == pytest.approx(3.0 * len(paces_s), abs=0.7)
    assert "gaps" not in item.guard.reasons


def test_half_a_log_at_a_pace_too_slow_to_clear_is_not_seen():
    steps = np.concatenate([np.full(10800, 1.0), np.full(180, 60.0)])  # slower than 30 s: the rule of clearance
    values = 0.006 + 0.0004 * np.random.default_rng(12).standard_normal(steps.size)
    (item,) = assess(Log.from_arrays(np.cumsum(steps), {"left": np.round(values, 5)})).channels
    assert "gaps" in item.guard.reasons
