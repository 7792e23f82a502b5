"""A value that a meter renews seldom was not watched between, and two leads on one output show one output. All logs are invented."""

from __future__ import annotations

import numpy as np
import pytest

from flicker import Log, assess
from flicker.base.units import HOUR
from flicker.evidence.guard import Reason

CLEARED = "within limits for the time observed"


def output(level_V: float, noise_V: float, digit_V: float, *, step_s: float = 1.0, hours: float = 5.0, seed: int = 1) -> np.ndarray:
    """A surge, a level and white noise, to a last digit."""
    t = np.arange(0.0, hours * HOUR, step_s)
    v = level_V + 0.06 * np.exp(-t / 6.0) + np.random.default_rng(seed).normal(0.0, noise_V, t.size)
    return np.round(v / digit_V) * digit_V


def renewed(volts: np.ndarray, every: int, begin: int = 600) -> np.ndarray:
    """The same where the meter gives a new value only once in so many rows, not on the minute, after the first ten minutes."""
    i = np.arange(volts.size)
    return volts[np.where(i < begin, i, (i - 7) // every * every + 7)]


def judged(step_s: float = 1.0, **columns: np.ndarray):
    size = next(iter(columns.values())).size
    return assess(Log.from_arrays(np.arange(size) * step_s, columns))


@pytest.mark.parametrize("every_s", [60, 240, 480])
def test_a_value_that_is_renewed_seldom_clears_nothing_and_says_how_seldom(every_s):
    (channel,) = judged(left=renewed(output(0.006, 4e-4, 1e-5), every_s)).channels
    assert channel.fitness == "not yet shown" and channel.verdict == "inconclusive"
    assert Reason.SELDOM in channel.guard.reasons
    # a tenth: some hundred renewals, each seen where it falls within a cell of five minutes
    assert channel.guard.figures.renewed_s == pytest.approx(every_s, rel=0.1)
    assert "renewed only every" in channel.tail and "a row is written each second" in channel.tail
    assert channel.visibility.sample_interval_s == channel.guard.figures.renewed_s
    assert f"shorter than {channel.guard.figures.renewed_s:.0f} s" in channel.not_excluded


@pytest.mark.parametrize("noise_V", [1e-4, 1.5e-4, 4e-4])  # the last digit rests for ten minutes, for one, for seconds
def test_a_coarse_digit_that_rests_is_cleared(noise_V):
    (channel,) = judged(left=output(0.0062, noise_V, 1e-3)).channels
    assert channel.fitness == CLEARED and channel.guard.figures.renewed_s == 0.0


@pytest.mark.parametrize("step_s", [10.0, 20.0, 30.0])
def test_few_readings_in_wide_noise_are_each_a_new_one(step_s):
    (channel,) = judged(step_s, left=output(0.006, 1.2e-4, 1e-4, step_s=step_s, hours=12.0)).channels
    assert channel.fitness == CLEARED and channel.guard.figures.asleep_h == 0.0


def test_an_hour_of_a_value_renewed_seldom_does_not_count():
    live = output(0.006, 4e-4, 1e-5, hours=6.0)
    held = live.copy()
    held[10_800:14_400] = renewed(live, 240, 10_800)[10_800:14_400]
    (channel,) = judged(left=held).channels
    assert channel.fitness == CLEARED
    assert channel.guard.figures.asleep_h == pytest.approx(1.0, abs=0.2)  # the cells at its edges count


@pytest.mark.parametrize("last_digit", [0.0, 0.3])  # the column twice; two leads, each with a noise of its own under the digit
def test_two_leads_on_one_output_clear_neither(last_digit):
    left = output(0.006, 3e-4, 1e-5, hours=4.0)
    own = np.random.default_rng(3).normal(0.0, last_digit, left.size)
    found = judged(left=left, right=np.round(left * 1e5 + own) / 1e5, sub=output(0.006, 3e-4, 1e-5, hours=4.0, seed=2))
    left_, right, sub = found.channels
    for channel in (left_, right):
        assert (channel.fitness, channel.verdict) == ("not yet shown", "inconclusive")
        assert channel.guard.reasons == (Reason.SAME,)
    assert sub.fitness == CLEARED
    assert "left and right read the same to the last digit: two leads on one output, or one column written twice?" in found.cautions


@pytest.mark.parametrize(("part", "digit_V"), [(0.9, 1e-5), (0.5, 1e-5), (0.6, 1e-4)])
def test_an_input_left_open_that_keeps_part_of_the_channel_before_is_not_cleared(part, digit_V):
    left = output(0.007, 3e-4, digit_V, hours=4.0)
    kept = np.round((part * left + np.random.default_rng(5).normal(0.0, 2e-5, left.size)) / digit_V) * digit_V
    found = judged(left=left, right=kept)
    real, hanging = found.channels
    assert any(text.startswith("right repeats the readings of another channel") for text in found.cautions)
    assert (hanging.fitness, hanging.guard.reasons) == ("not yet shown", (Reason.SAME,))
    assert real.fitness == CLEARED


@pytest.mark.parametrize(("left_V", "right_V"), [(0.007, 0.003), (0.0004, 0.0003), (0.006, -0.004)])
def test_outputs_that_share_a_hum_are_two(left_V, right_V):
    """The hum of one supply, six times as large as each output's own noise: rests do not stand to each other as it does."""
    hum = np.random.default_rng(8).normal(0.0, 6e-4, output(0.0, 1e-4, 1e-5, hours=4.0).size)
    left, right = (output(rest, 1e-4, 1e-5, hours=4.0, seed=k) + share * hum for k, (rest, share) in enumerate(((left_V, 1.0), (right_V, 0.7))))
    assert all(Reason.SAME not in channel.guard.reasons for channel in judged(left=left, right=right).channels)


@pytest.mark.parametrize(("level_V", "noise_V", "digit_V"), [(0.006, 1e-4, 1e-3), (1e-4, 2e-4, 1e-4)])
def test_outputs_alike_by_their_digit_or_their_servo_are_two(level_V, noise_V, digit_V):
    found = judged(**{n: output(level_V, noise_V, digit_V, hours=4.0, seed=k) for k, n in enumerate(("left", "right"))})
    assert all(Reason.SAME not in channel.guard.reasons for channel in found.channels)
