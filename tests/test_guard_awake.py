"""Hours in which the lead may have seen no live output do not count as clean. All logs are invented.

Those of `fresh_live.py` are by another hand: who wrote them had not read the rule. 'Few' live hours are under three.
"""

from __future__ import annotations

import sys
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from flicker import Log, assess
from flicker.base.units import HOUR
from flicker.evidence.guard import Reason
from flicker.evidence.guard.awake import Cells, level_held, not_awake, settles, start_shown

sys.path.insert(0, str(Path(__file__).parent / "studies"))
import fresh_benches
import fresh_live
import fresh_states

from flicker import read_log

STEP_S = 2.0


def judged(volts: np.ndarray):
    return assess(Log.from_arrays(np.arange(volts.size) * STEP_S, {"left": volts}))


def output(hours: float, level_V: float = 0.004, noise_V: float = 4e-4, seed: int = 1) -> np.ndarray:
    """A surge, a level, and white noise in digits of 0.1 mV."""
    t = np.arange(round(hours * HOUR / STEP_S)) * STEP_S
    rng = np.random.default_rng(seed)
    v = level_V + 0.06 * np.exp(-t / 6.0) + rng.normal(0.0, noise_V, t.size)
    return np.round(v * 1e4) / 1e4


def asleep(volts: np.ndarray, begin_h: float, end_h: float, level_V: float = 1e-4, noise_V: float = 5e-5) -> np.ndarray:
    out = volts.copy()
    here = slice(round(begin_h * HOUR / STEP_S), round(end_h * HOUR / STEP_S))
    nothing = level_V + np.random.default_rng(2).normal(0.0, noise_V, out[here].size)
    out[here] = np.round(nothing * 1e4) / 1e4
    return out


@pytest.mark.parametrize("level_V", [9e-4, 3e-3])  # a stage that leaks, an alternating range
def test_a_stage_that_sleeps_earns_no_hours(level_V):
    found = judged(asleep(output(8.0, 0.009), 1.0, 7.5, level_V))
    (channel,) = found.channels
    assert channel.fitness == "not yet shown" and channel.verdict == "inconclusive"
    assert channel.guard.figures.observed_h == pytest.approx(1.5, abs=0.15)
    assert channel.guard.figures.asleep_h == pytest.approx(6.5, abs=0.15)
    (row,) = channel.guard.asleep
    assert (row.begin_s / HOUR, row.end_s / HOUR) == (pytest.approx(1.0, abs=0.1), pytest.approx(7.5, abs=0.1))
    assert row.level_V == pytest.approx(level_V, abs=1e-4)
    assert "do not count" in channel.tail
    assert sum("do not count as clean" in text for text in found.cautions) == 1


def test_with_hours_enough_awake_it_is_cleared_and_the_rest_is_told():
    found = judged(asleep(output(8.0), 2.0, 4.0, 2e-3))
    (channel,) = found.channels
    assert channel.fitness == "within limits for the time observed"
    assert channel.tail.startswith("clean for 6") and "2 hours more do not count" in channel.tail
    assert any("asleep, lead off" in text for text in found.cautions)


def test_hours_switched_off_are_observed_nowhere():
    """Two power-ups of 2 h, 1 h off between them and 5 h after: 4 h of exposure, whatever asks for it."""
    off = np.zeros(round(HOUR / STEP_S))
    found = judged(np.concatenate((output(2.0), off, output(2.0, seed=2), *[off] * 5)))
    channel = found.channels[0]
    assert channel.observed_s / HOUR == pytest.approx(4.0, abs=0.1)
    assert found.records[0].observed_s == channel.observed_s
    assert channel.guard.figures.observed_h == pytest.approx(4.0, abs=0.1)


def test_hours_before_a_rest_jumps_to_many_volts_were_not_asleep():
    volts = output(4.0)
    volts[round(2 * HOUR / STEP_S) :] += 58.0
    channel = judged(volts).channels[0]
    assert channel.fitness == "do not connect" and channel.guard.figures.asleep_h == 0.0
    assert channel.observed_s > 2 * HOUR


def test_to_fall_asleep_and_to_wake_is_no_jump_between_levels():
    volts = output(10.0, 0.012)
    for begin_h in (2.0, 4.0, 6.0):
        volts = asleep(volts, begin_h, begin_h + 0.6)
    channel = judged(volts).channels[0]
    assert channel.finding("jumps").answer != "yes" and channel.verdict != "noisy"


@pytest.mark.parametrize("off_h, cleared", [(1.0, True), (0.0, False)])
def test_the_zero_of_the_hours_off_tells_the_meters_zero_from_a_level(off_h, cleared):
    """A quiet level of -4 mV is a meter's zero or a live output: the same lead at 0.0 mV an hour before says which."""
    on = np.round(np.random.default_rng(3).normal(-0.004, 2e-4, round(6 * HOUR / STEP_S)) * 1e4) / 1e4
    channel = judged(np.concatenate((np.zeros(round(off_h * HOUR / STEP_S)), on))).channels[0]
    assert (channel.fitness == "within limits for the time observed") is cleared
    assert (Reason.DEAD in channel.guard.reasons) is not cleared


def test_from_the_first_reading_on_and_to_the_end():
    early = judged(np.concatenate((asleep(output(5.0), 0.0, 5.0), output(1.0)))).channels[0]
    late = judged(asleep(output(6.0), 0.5, 6.0)).channels[0]
    assert [channel.fitness for channel in (early, late)] == ["not yet shown"] * 2


def test_volts_in_that_time_are_searched_all_the_same():
    volts = asleep(output(8.0), 2.0, 4.0)
    at = round(3.0 * HOUR / STEP_S)
    volts[at : at + 5] = 0.2
    volts[at + 100 : at + 105] = 0.2
    (channel,) = judged(volts).channels
    assert channel.guard.figures.large_swings == 2 and channel.fitness == "not yet shown"


def test_a_servo_at_zero_and_noise_that_falls_stay_clean():
    servo = output(5.0, 1e-4, 2e-4)
    dimmer = output(5.0, 0.003, 3e-4)
    half = dimmer.size // 2
    dimmer[:half] += np.round(np.random.default_rng(4).normal(0.0, 2e-3, half) * 1e4) / 1e4
    t = np.arange(servo.size) * STEP_S
    settles = np.round((output(5.0, 1e-4, 3e-4) + 0.012 * np.exp(-t / 900.0)) * 1e4) / 1e4
    for volts in (servo, dimmer, settles):
        (channel,) = judged(volts).channels
        assert channel.guard.asleep == () and channel.guard.figures.observed_h > 4.9


def test_where_the_digit_hides_the_noise_nothing_is_concluded_from_quiet():
    """A last digit of 1 mV, a level near its border that wanders off it: fewer changes are no sleep."""
    changes = np.array([0.5, 0.5, 0.5, 0.4, 0.3, 0.2, 0.1, 0.0, 0.0, 0.0])
    width = np.where(changes > 0, 1e-3, 0.0)
    cells = Cells(np.zeros(10), width, width, 1e-3 * changes, 1.0 - changes, np.full(10, 150), width, 1e-3)
    assert not not_awake(cells).any()


@pytest.mark.parametrize(
    "kind, seed",
    [
        ("asleep", 7005), ("asleep", 1002), ("asleep", 1001), ("timer_off", 7004), ("fuse_blown", 1001),
        ("alternating_volts", 7004), ("lead_off_averaging", 1000), ("chassis_clip", 7004), ("other_ground", 7003),
    ],
)  # fmt: skip
def test_few_live_hours_of_another_hand_clear_nothing(kind, seed):
    made, facts = fresh_live.live_log(kind, seed)
    channels = {item.channel: item for item in assess(read_log(made.log.files()[0])).channels}
    for name, (live_h, _) in facts.items():
        assert live_h < fresh_live.LIVE_H
        assert channels[name].fitness != "within limits for the time observed"


@pytest.mark.parametrize("kind", ["room_falls_quiet", "ripple_day_night", "hum_beats", "bias_settles"])
def test_sound_outputs_of_another_hand_keep_their_hours(kind):
    made, facts = fresh_live.live_log(kind, 31000)
    channels = {item.channel: item for item in assess(read_log(made.log.files()[0])).channels}
    assert all(channels[name].fitness == "within limits for the time observed" for name in facts)


# ------------------------------------------------------------ a lead that was never on


@pytest.mark.parametrize("kind, seed", [("open_all_day", 705005), ("open_all_day", 705008), ("open_all_day", 705013)])
def test_a_lead_in_the_air_all_day_is_not_cleared(kind, seed):
    """By another hand (`fresh_states.py`); these were cleared while noise alone was a sign of life."""
    made = fresh_states.state_log(kind, seed)
    channels = {item.channel: item for item in assess(read_log(made.log.files()[0])).channels}
    for name in made.log.truth.channels:
        assert Reason.DEAD in channels[name].guard.reasons and channels[name].verdict == "inconclusive"
        assert channels[name].against[0].startswith("no sign of life")
        assert "begin a log with the unit off" in channels[name].next.reads


def test_a_start_is_a_sign_of_life_only_if_it_stands_out():
    quiet = np.full(12, 1e-3)
    assert start_shown(np.array([0.002, 0.0, 0.0]), quiet, 1e-5)
    assert not start_shown(np.array([0.0019, 0.0019, 0.0029]), quiet, 1e-5)
    assert start_shown(np.array([0.0, 0.0, 0.003]), quiet, 1e-5)
    assert not start_shown(np.array([0.0009, np.nan, np.nan]), quiet / 10, 1e-5)  # under a millivolt
    assert not start_shown(np.array([0.0025, 0.0, 0.0]), quiet, 1e-3)  # under three digits


def held(level_V, width_V, far_V=1.0, unmoved=0.0, *, zero_seen=False):
    """Twenty cells of five minutes at 2 s; ``far_V`` in widths."""
    column = np.full(20, 1.0)
    level = np.broadcast_to(level_V, 20)
    cells = Cells(level, width_V * column, far_V * width_V * column, 1e-4 * column, unmoved * column, np.full(20, 150), 1e-5 * column, 1e-5)
    return level_held(cells, zero_seen=zero_seen)


@pytest.mark.parametrize(
    "level_V, width_V, alive",
    [(0.006, 1e-4, True), (0.004, 1e-4, False), (0.004, 2e-3, True), (0.0015, 2e-3, False), (-0.006, 1e-4, True), (-0.004, 1e-4, False)],
)  # an alternating range or a meter's zero lies up to 5 mV away, and moves by little of it (choices)
def test_a_level_away_from_zero_is_a_sign_of_life(level_V, width_V, alive):
    assert held(level_V, width_V) == alive
    assert not held(level_V, width_V, unmoved=1.0)  # a logger that repeats its last value
    turning = np.full(20, level_V)
    turning[::3] *= -1.0
    assert not held(turning, width_V)  # it does not hold


def test_a_meters_zero_and_pick_up_on_a_bias_are_no_level():
    assert held(-0.004, 1e-4, zero_seen=True) and held(0.004, 1e-4, zero_seen=True)  # the zero lies elsewhere
    assert not held(0.002, 1e-4, zero_seen=True)
    assert not held(0.004, 5e-3, 0.51)  # a sine reaches half its range: a lead in the air
    assert held(0.004, 5e-3, 0.65)  # normal noise reaches farther than its 1 to 99 % range
    assert held(0.006, 5e-3, 0.51)


def test_a_level_that_settles_is_a_sign_of_life():
    """White noise about zero and a warm-up of 1.5 mV in minutes: an exponential shows it, one odd cell does not."""
    rest = np.random.default_rng(7).normal(0.0, 5e-5, 48)
    assert settles(rest + 0.0015 * np.exp(-np.arange(48) / 2.0), 1e-5)
    assert not settles(rest + 0.0008 * np.exp(-np.arange(48) / 2.0), 1e-5)  # under a millivolt
    assert not settles(rest + np.where(np.arange(48) < 1, 0.003, 0.0), 1e-5)  # a lead that was moved
    assert not settles(rest + np.where(np.arange(48) < 2, 0.003, 0.0), 1e-5)
    assert not settles((rest + 0.0015 * np.exp(-np.arange(48) / 2.0))[:20], 1e-5)
    assert not settles(np.cumsum(10 * rest), 1e-5)  # it wanders as far again


def test_a_logger_that_hangs_earns_no_hours():
    volts = output(6.0, 0.006)
    volts[round(0.2 * HOUR / STEP_S) :] = volts[round(0.2 * HOUR / STEP_S)]
    (channel,) = judged(volts).channels
    assert channel.fitness == "not yet shown" and channel.guard.figures.observed_h < 0.4


def test_hours_that_do_not_count_are_no_clean_hours_of_a_comparison():
    """A fault before; after it a level, and then four hours asleep: as many hours less on that side."""
    volts = asleep(output(8.0), 2.0, 6.0, 1e-4)
    found = judged(volts)
    (record,) = found.records
    assert found._repr_html_()  # drawn although hours of it are no observed ones
    assert record.observed_s / HOUR == pytest.approx(4.0, abs=0.2)
    rest = judged(np.round(np.random.default_rng(3).normal(0.0, 2e-4, 9000), 4))
    assert rest.channels[0].tail_kind == "no sign of life" and rest.records[0].observed_s == 0.0


def changed(before_V: float, after_V: float, *, noise=(3e-4, 3e-4), width=(1e-3, 1e-3), digit=(1e-5, 1e-5), unmoved=(0.0, 0.0)) -> Cells:
    """An hour at one level and 28 cells at another, each with its figures."""
    later = np.arange(40) >= 12
    level, step, wide, own, same = (
        np.where(later, after, before) for before, after in ((before_V, after_V), noise, width, digit, unmoved)
    )
    return Cells(level, wide, wide, step, same, np.full(40, 150), own, min(digit))


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize(
    ("after_V", "digit_V", "lost"), [(4e-3, 1e-3, 0), (2e-3, 1e-3, 28), (1e-3, 1e-3, 28), (4e-3, 1e-5, 28), (4e-3, 1e-4, 28)]
)
def test_another_range_of_the_meter_is_no_sleep(sign, after_V, digit_V, lost):
    """From 6 mV at once to another level: within three digits of a digit ten times coarser and more it is the zero of
    another range; an alternating range reads nearer to nothing. The sign tells nothing: leads are turned."""
    cells = changed(
        sign * 6e-3, sign * after_V, noise=(3e-4, 0.2 * digit_V), width=(1e-3, digit_V), digit=(1e-5, digit_V), unmoved=(0.0, 0.5)
    )  # fmt: skip
    assert np.count_nonzero(not_awake(cells)) == lost


def test_a_range_turned_within_a_cell_is_no_sleep_of_the_hours_after_it():
    """The one cell with both ranges in it has the finer digit still, and breaks: what follows is awake all the same."""
    cells = changed(-4e-3, -3e-3, noise=(2e-4, 1e-5), width=(8e-4, 0.0), digit=(1e-5, 1e-3), unmoved=(0.0, 0.98))
    cells.own_digit_V[12], cells.width_V[12], cells.step_V[12], cells.unmoved[12] = 1e-5, 1.4e-3, 3e-5, 0.8
    assert not not_awake(cells).any()


@pytest.mark.parametrize(
    ("after_V", "noise", "width", "lost"),
    [
        (2.4e-3, 1.0, 1.0, 0),  # from 9 mV: a neighbour's leak was added, and the output is as noisy as before
        (1.9e-3, 1.0, 1.0, 28),  # so near to zero a dead lead may read, with the meter's own noise
        (6e-3, 0.67, 0.67, 0),  # a load that takes a third of the level and of the noise
        (4.5e-3, 0.5, 0.5, 28),  # a sleeping stage takes half (`fresh_live.py`)
        (6e-3, 1.0, 1.8, 28),  # the share of the volts that flux leaves wanders
        (6e-3, 0.4, 0.4, 28),
    ],
)  # fmt: skip
def test_the_same_output_at_another_level_is_awake(after_V, noise, width, lost):
    """Shares of a dummy load, and how much flux widens a cell, are those of stories by another hand (`fresh_repairs.py`, `fresh_live.py`)."""
    for sign in (1.0, -1.0):
        cells = changed(sign * 9e-3, sign * after_V, noise=(3e-4, 3e-4 * noise), width=(1e-3, 1e-3 * width))
        assert np.count_nonzero(not_awake(cells)) == lost
        coarse = changed(sign * 9e-3, sign * after_V, noise=(3e-4, 3e-4 * noise), width=(1e-3, 1e-3 * width), unmoved=(0.6, 0.6))
        assert np.count_nonzero(not_awake(coarse)) == 28  # the digit hides the noise: nothing tells


@pytest.mark.parametrize(
    ("after_V", "noise", "readings", "lost"),
    [
        (-5.5e-3, 0.4, 150, 0),  # a share of the volts has their sign: columns that changed places
        (-4.5e-3, 0.4, 150, 28),  # an alternating range reads so
        (5.5e-3, 0.4, 150, 28),
        (-5.5e-3, 0.4, 2, 28),  # 56 readings tell no noise
    ],
)  # fmt: skip
def test_no_share_of_the_volts_lies_on_the_other_side_of_zero(after_V, noise, readings, lost):
    """Invented levels; how far from zero dead inputs lie is the rule of the level that is held."""
    for sign in (1.0, -1.0):
        cells = changed(sign * 9e-3, sign * after_V, noise=(3e-4, 3e-4 * noise), width=(1e-3, 1e-3 * noise))
        cells.readings[:] = readings
        assert np.count_nonzero(not_awake(cells)) == lost


@pytest.mark.parametrize(
    ("other_V", "lost"),
    [
        ((2e-3, -3.5e-3), 0),  # as much less: a fridge, a charger, a neighbour's leak
        ((-2e-3, 3.5e-3), 0),  # its leads turned
        ((2e-3, 2e-3), 28),  # it stays
        ((2e-3, 2e-4), 28),  # both read the meter's zero
        ((5e-3, -5e-4), 28),  # nothing is left between the two
        ((2e-3, np.nan), 28),  # nothing was read there
    ],
)  # fmt: skip
def test_a_voltage_added_to_two_outputs_is_no_sleep(other_V, lost):
    """From 6 to 0.5 mV: what two live outputs differ by stays (physics: one voltage in series with both). With pick-up, the common lead may be off."""
    others_V = np.where(np.arange(40) >= 12, other_V[1], other_V[0])[:, None]
    for width_V, slept in ((1e-3, lost), (2e-3, 28)):
        cells = changed(6e-3, 5e-4, width=(1e-3, width_V))
        assert np.count_nonzero(not_awake(cells, lambda: others_V)) == slept


def test_a_power_up_without_a_start_that_climbs_to_volts_was_not_asleep():
    """After a power-up of 2 h it comes back in stairs of 20 mV: where it lies beyond 50 mV it is a live fault, and counted as one."""
    off = np.zeros(round(0.2 * HOUR / STEP_S))
    stairs = np.repeat([0.025, 0.045, 0.065, 0.085], round(0.5 * HOUR / STEP_S)) + output(2.0, 0.0) - 0.06 * np.exp(-np.arange(3600) * STEP_S / 6)
    (channel,) = judged(np.concatenate((output(2.0), off, stairs))).channels
    assert channel.guard.figures.power_ups == 2
    assert channel.guard.asleep and all(abs(row.level_V) < 0.05 for row in channel.guard.asleep)
    assert channel.guard.figures.asleep_h < 1.1


def test_swings_about_zero_are_no_sleep():
    """Half an hour of swings at random about a middle of 0.2 mV: a reason to refuse, and not left out of sight as sleep."""
    volts = output(6.0)
    here = slice(round(2.0 * HOUR / STEP_S), round(2.5 * HOUR / STEP_S))
    rng = np.random.default_rng(5)
    volts[here] = 2e-4 + np.where(rng.random(volts[here].size) < 0.1, rng.uniform(-0.09, 0.09, volts[here].size), 0.0)
    (channel,) = judged(volts).channels
    assert channel.guard.asleep == () and channel.fitness == "not yet shown"
    assert Reason.SPREAD in channel.guard.reasons and Reason.DEAD not in channel.guard.reasons


@pytest.mark.parametrize(
    ("digit_V", "step_s", "told"),
    [(5e-3, 2, "a range with a finer one"), (1e-4, 20, "log a start with one each second"), (1e-4, 2, "check the lead")],
)
def test_what_to_do_where_no_life_shows(digit_V, step_s, told):
    """A quiet output within 2 mV of zero: three digits of 5 mV would have to be seen, and a thump lasts for seconds (invented)."""
    rng = np.random.default_rng(11)
    volts = np.round((1.5e-3 + rng.normal(0.0, 1.5e-3, 9000)) / digit_V) * digit_V
    (channel,) = assess(Log.from_arrays(np.arange(volts.size) * float(step_s), {"left": volts})).channels
    assert Reason.DEAD in channel.guard.reasons and channel.guard.figures.digit_V == pytest.approx(digit_V)
    assert told in channel.next.reads and "begin a log with the unit off" in channel.next.reads
    assert channel.next.reads.startswith("No sign of life: ")


@pytest.mark.parametrize(("later_V", "counts"), [(3e-3, True), (1e-3, False), (4.5e-3, False)])
def test_a_start_that_nothing_shows_is_of_the_output_that_was_seen_before(later_V, counts):
    """Two power-ups, the second without a surge: it counts where it rests as the first did, within two digits, 2 mV from zero."""
    off = np.zeros(round(0.2 * HOUR / STEP_S))
    first, beside = output(3.0, 3e-3, 1e-4), output(3.0, 8e-3)
    second = np.round((later_V + np.random.default_rng(9).normal(0.0, 1e-4, first.size)) * 1e4) / 1e4
    volts = {"left": np.concatenate((first, off, second)), "right": np.concatenate((beside, off, beside))}
    left = assess(Log.from_arrays(np.arange(volts["left"].size) * STEP_S, volts)).channels[0].guard
    assert left.figures.power_ups == 2
    assert (left.figures.observed_h > 5.5) is counts


@pytest.mark.parametrize(("kind", "seed"), [("soak of short starts", 204_102), ("millivolts then volts", 204_101), ("watch late", 204_101)])
def test_late_dangers_of_another_hand_clear_nothing(kind, seed):
    """Starts of a quarter of an hour in files hours apart; volts after millivolts; swings after 'clean enough'. Seeds not looked at."""
    told = fresh_benches.tell(kind, seed).harms
    assert (told["cleared"], told["missed"]) == (0, 0)


@pytest.mark.parametrize(("pause_s", "judged_h"), [(600.0, 3.6), (3600.0, 3.25)])
def test_after_a_pause_as_long_as_warming_up_the_hours_begin_anew(pause_s, judged_h):
    """Two logs of two hours, the second without a start: by the rule that minute 20 of a power-up begins what is judged."""
    first, second = output(2.0), output(2.0, seed=3)
    second -= 0.06 * np.exp(-np.arange(second.size) * STEP_S / 6.0)
    begun = datetime(2026, 3, 2, 18)
    logs = [
        Log.from_arrays(np.arange(volts.size) * STEP_S, {"left": volts}, start=begun + timedelta(seconds=later_s))
        for volts, later_s in ((first, 0.0), (second, 7200.0 + pause_s))
    ]
    (channel,) = assess(logs).channels
    assert channel.guard.figures.judged_h == pytest.approx(judged_h, abs=0.17)
