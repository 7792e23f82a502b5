"""Outputs that are cut off from the meter for a moment, and a common lead that falls off. All data are invented.

Checked against the law of the case: what is cut off reads the meter's zero, or pick-up about it, and nothing else; one voltage in series
with all inputs adds the same to all (Kirchhoff's voltage law).
"""

from __future__ import annotations

import numpy as np
import pytest

from flicker import assess, read_log
from flicker.evidence.guard import Reason

HOURS = 4.5


def bench(step_s: float = 1.0, hours: float = HOURS) -> tuple[np.random.Generator, np.ndarray]:
    """Numbers to draw from, and instants."""
    return np.random.default_rng(7), np.arange(0.0, hours * 3600.0, step_s)


def output(rng: np.random.Generator, t: np.ndarray, rest_V: float, noise_V: float = 2e-4) -> np.ndarray:
    """A sound output with a small thump at switch-on."""
    return rest_V + 0.03 * np.exp(-t / 4.0) + noise_V * rng.standard_normal(t.size)


def guards(t: np.ndarray, digit_V: float = 1e-5, **volts: np.ndarray) -> list[dict]:
    """What the guard says of each channel."""
    table = {"time_s": t, **{f"{n}_V": np.round(v / digit_V) * digit_V for n, v in volts.items()}}
    return [c["guard"] for c in assess([read_log(table)]).to_dict()["channels"]]


def spans(t: np.ndarray, times: int, lasts_s: float) -> np.ndarray:
    """Which readings lie in so many stretches of time, spread from 25 minutes on, but not by the clock."""
    begin = np.linspace(1500.3, t[-1] - 400.0, times) + np.random.default_rng(3).uniform(-90.0, 90.0, times)
    return np.any([(t >= a) & (t < a + lasts_s) for a in begin], axis=0)


@pytest.mark.parametrize("rest_V", [2e-3, -7e-3])
@pytest.mark.parametrize(("step_s", "lasts_s"), [(0.1, 0.5), (0.5, 1.6), (5.0, 9.0)])
def test_a_relay_that_opens_for_a_moment_again_and_again_is_not_cleared(rest_V, step_s, lasts_s):
    rng, t = bench(step_s)
    volts = output(rng, t, rest_V)
    (sound,) = guards(t, left=volts)
    off = spans(t, 12, lasts_s)
    (cut,) = guards(t, left=np.where(off, 3e-5 * rng.standard_normal(t.size), volts))
    assert sound["reasons"] == [] and sound["figures"]["falls"] == 0
    assert Reason.FALLS in cut["reasons"] and cut["figures"]["falls"] == 12


def test_what_ends_anywhere_else_was_not_cut_off():
    """As often and as long, and the level goes to zero in three, to a fifth of itself in five, to the other side in five."""
    rng, t = bench(0.5)
    volts = output(rng, t, 6e-3)
    for place, share in enumerate((0.0, 0.2, -0.3, 0.2, -0.4) * 3):
        a = 1500.0 + 900.0 * place
        on = (t >= a) & (t < a + 1.6)
        volts[on] = share * 6e-3 + 1e-4 * rng.standard_normal(on.sum())
    (guard,) = guards(t, left=volts)
    assert Reason.FALLS not in guard["reasons"]


@pytest.mark.parametrize(("times", "lasts_s", "refused"), [(4, 1.5, False), (12, 1.5, True), (4, 6.0, True)])
def test_a_change_of_mode_opens_all_relays_for_a_moment_and_seldom(times, lasts_s, refused):
    """Up to one a hour, and under two seconds, in all outputs at once: an owner changes the mode (common practice, no source)."""
    rng, t = bench(0.5)
    off = spans(t, times, lasts_s)
    both = [np.where(off, 3e-5 * rng.standard_normal(t.size), output(rng, t, rest)) for rest in (5e-3, -4e-3)]
    for guard in guards(t, 1e-4, left=both[0], right=both[1]):
        assert (Reason.FALLS in guard["reasons"]) is refused
        assert Reason.SIGN not in guard["reasons"]  # both at zero at once: no meter without a sign


def test_in_one_channel_of_two_four_such_moments_are_too_many():
    rng, t = bench(0.5)
    off = spans(t, 4, 1.5)
    left, right = output(rng, t, 5e-3), output(rng, t, -4e-3)
    found = guards(t, left=np.where(off, 0.0, left), right=right)
    assert Reason.FALLS in found[0]["reasons"] and Reason.FALLS not in found[1]["reasons"]


@pytest.mark.parametrize(("hum_V", "refused"), [(1.0e-3, True), (0.0, False)])
def test_hum_about_zero_in_place_of_the_rest_is_pick_up(hum_V, refused):
    """Ten seconds of 1 mV of hum about zero; with the output's own noise about a tenth of the rest instead, another level of the output."""
    rng, t = bench(1.0)
    off, volts = spans(t, 8, 10.0), output(rng, t, 8e-3)
    there = hum_V * np.sin(2.1 * t) if hum_V else 1e-3 + 2e-4 * rng.standard_normal(t.size)
    (guard,) = guards(t, left=np.where(off, there, volts))
    assert (Reason.FALLS in guard["reasons"]) is refused


def test_a_cable_that_discharges_goes_down_slowly_and_comes_back_at_once():
    rng, t = bench(0.25)
    volts = output(rng, t, 5e-3)
    for a in np.linspace(1500.0, t[-1] - 300.0, 8):
        on = (t >= a) & (t < a + 20.0)
        volts[on] = 5e-3 * np.exp(-(t[on] - a) / 2.0) + 2e-5 * rng.standard_normal(on.sum())
    (guard,) = guards(t, left=volts)
    assert Reason.FALLS in guard["reasons"]


@pytest.mark.parametrize("left_alone", [True, False])
def test_ten_minutes_each_hour_of_one_output_are_falls(left_alone):
    """Where all outputs are at zero for so long, the unit may be off."""
    rng, t = bench(2.0, 6.0)
    off = spans(t, 5, 600.0)
    left, right = (np.where(off, 2e-5 * rng.standard_normal(t.size), output(rng, t, rest)) for rest in (6e-3, 4e-3))
    found = guards(t, left=left, right=output(rng, t, 4e-3) if left_alone else right)
    assert (Reason.FALLS in found[0]["reasons"]) is left_alone


@pytest.mark.parametrize("step_V", [4e-3, -1.5e-3])
@pytest.mark.parametrize("comes_back", [False, True])
def test_one_voltage_more_in_all_channels_may_be_the_common_lead(step_V, comes_back):
    """From 1.6 hours on all of three outputs read as much more: the hours before count, those after do not, unless it comes back."""
    rng, t = bench(1.0, 5.0)
    on = (t > 5800.0) & ((t < 9000.0) if comes_back else True)
    volts = {n: output(rng, t, rest) + step_V * on for n, rest in (("left", 5e-3), ("right", -6e-3), ("sub", 9e-3))}
    for guard in guards(t, **volts):
        assert (guard["figures"]["asleep_h"] >= 3.2) is not comes_back
        assert guard["reasons"] == ([] if comes_back else [Reason.RATE])


def test_channels_that_move_apart_or_settle_alike_have_lost_no_lead():
    rng, t = bench(1.0, 5.0)
    apart = {n: output(rng, t, 6e-3) + step * (t > 5800.0) for n, step in (("left", 4e-3), ("right", 2e-3))}
    alike = {n: output(rng, t, rest) + 6e-3 * (1 - np.exp(-t / 900.0)) for n, rest in (("left", 3e-3), ("right", 5e-3))}
    for volts in (apart, alike):
        assert all(guard["reasons"] == [] for guard in guards(t, **volts))


@pytest.mark.parametrize(("by_clock", "refused"), [(True, False), (False, True)])
def test_a_meter_that_looks_at_its_zero_by_the_clock_is_no_relay(by_clock, refused):
    """One reading at zero each ten minutes; as many at times drawn at random."""
    rng, t = bench(1.0)
    at = np.arange(1500.0, t[-1], 600.0) if by_clock else np.sort(rng.uniform(1500.0, t[-1], 24)).round()
    (guard,) = guards(t, 1e-4, left=np.where(np.isin(t, at), 0.0, output(rng, t, 4e-3)))
    assert (Reason.FALLS in guard["reasons"]) is refused and (Reason.SIGN in guard["reasons"]) is refused


def test_a_meter_of_means_shows_a_part_of_what_all_lost_at_once():
    """Three times all outputs are gone for 1.4 s, read as means of each second: no output was live beside another that was cut off."""
    rng, t = bench(1.0)
    share = np.zeros(t.size)
    for a in (3000.45, 7777.7, 12_345.2):
        share += np.clip(np.minimum(t, a + 1.4) - np.maximum(t - 1.0, a), 0.0, 1.0)
    volts = {n: (1.0 - share) * output(rng, t, rest) for n, rest in (("left", 2e-3), ("right", 8e-3), ("sub", -8e-3))}
    for guard in guards(t, 1e-4, **volts):
        assert guard["reasons"] == []


@pytest.mark.parametrize("noise_V", [2e-5, 2e-4])
def test_a_digit_that_hides_all_noise_hides_no_fall(noise_V):
    """A rest of 6 mV, warming by 4 mV in the first half hour, on whole millivolts: hours long nothing moves but the falls, a dozen of 12 s."""
    rng, t = bench(1.0)
    volts = output(rng, t, 6e-3, noise_V) + 4e-3 * np.exp(-t / 900.0)
    sound, cut = guards(t, 1e-3, left=volts) + guards(t, 1e-3, left=np.where(spans(t, 12, 12.0), 0.0, volts))
    assert Reason.FALLS not in sound["reasons"]
    assert Reason.FALLS in cut["reasons"] and cut["figures"]["falls"] == 12


def test_noise_with_long_tails_reaches_zero_and_as_far_to_the_other_side():
    """Single readings away by 3.9 to 4.1 mV of a rest of 4 mV, either way, over three evenings: a cut-off output goes one way only."""
    rng, t = bench(1.0)
    evenings = []
    for day in range(3):
        volts = output(rng, t, 4e-3)
        at = rng.choice(np.arange(2000, t.size - 100), 8, replace=False)
        volts[at] += np.array([-1.0, 1.0] * 4) * rng.uniform(3.9e-3, 4.1e-3, 8)
        stamps = np.datetime64(f"2031-03-0{3 + day}T09:00:00", "ms") + np.round(t * 1000).astype("timedelta64[ms]")
        evenings.append(read_log({"time": stamps, "left_V": np.round(volts, 5)}))
    (channel,) = assess(evenings).to_dict()["channels"]
    assert channel["guard"]["reasons"] == []
