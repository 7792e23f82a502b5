"""A rest of nearly nothing: what counts after a mark, after another start, after a click, and on a coarse digit. All logs are invented.

Physics: a trimmer takes the level and leaves the noise; an input that sees nothing has neither. Sizes are invented.
"""

from __future__ import annotations

import numpy as np
import pytest

from flicker import assess, read_log
from flicker.base.units import HOUR
from flicker.evidence.guard import Reason

STEP_S = 2.0
CLEARED = "within limits for the time observed"


def noise(hours: float, sigma_V: float, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).normal(0.0, sigma_V, round(hours * HOUR / STEP_S))


def output(hours: float, level_V: float, sigma_V: float = 1.5e-4, seed: int = 1, surge_V: float = 0.06) -> np.ndarray:
    t = np.arange(round(hours * HOUR / STEP_S)) * STEP_S
    return level_V + surge_V * np.exp(-t / 3.0) + noise(hours, sigma_V, seed)


def judged(*volts: np.ndarray, digit_V: float = 1e-5, mark_h: float | None = None):
    logs = []
    for number, x in enumerate(volts):
        seconds = np.round((number * 86400 + np.arange(x.size) * STEP_S) * 1e3).astype("timedelta64[ms]")
        table = {"time": np.datetime64("2031-03-04T09:00:00.000") + seconds, "left_V": np.round(x / digit_V) * digit_V}
        if mark_h is not None:
            table["mark"] = np.full(x.size, "", dtype=object)
            table["mark"][round(mark_h * HOUR / STEP_S)] = "adjusted: trimmed the offset"
        logs.append(table)
    return assess([read_log(x) for x in logs])


def trimmed(then: np.ndarray, hand_s: float = 20.0) -> np.ndarray:
    """An hour and a half at 12 mV, then what follows, which the level reaches within seconds."""
    fall = 0.012 * np.clip(1.0 - np.arange(then.size) * STEP_S / hand_s, 0.0, None)
    return np.concatenate((output(1.5, 0.012), then + fall))


@pytest.mark.parametrize("level_V", [5e-5, -4e-4])
def test_a_rest_trimmed_to_nearly_zero_counts_where_a_mark_says_so_and_the_noise_stays(level_V):
    channel = judged(trimmed(level_V + noise(5.0, 1.5e-4, 2)), mark_h=1.5).channels[0]
    assert channel.fitness == CLEARED
    assert channel.guard.figures.observed_h == pytest.approx(5.0, abs=0.1)


def test_without_a_mark_it_may_be_a_lead_that_is_off_behind_a_noisy_meter():
    found = judged(trimmed(noise(5.0, 1.5e-4, 2)))
    assert found.channels[0].fitness == "not yet shown"
    assert found.channels[0].observed_s < 1.8 * HOUR
    assert any("mark that moment as adjusted" in text or "mark it as touched" in text for text in found.cautions)
    assert "Begin that log with the unit off" in found.next.reads and "no loudspeaker" in found.next.reads


@pytest.mark.parametrize("digit_V", [1e-5, 1e-4, 1e-3])
def test_after_the_mark_the_lead_was_not_put_back(digit_V):
    channel = judged(trimmed(4e-5 + noise(6.0, 2e-5, 2)), mark_h=1.5, digit_V=digit_V).channels[0]
    assert channel.fitness == "not yet shown"
    assert channel.guard.figures.observed_h < 0.2


def test_after_the_mark_the_unit_went_to_sleep_an_hour_later():
    live = 2e-4 + noise(1.0, 1.5e-4, 2)
    channel = judged(trimmed(np.concatenate((live, noise(5.0, 2e-5, 3)))), mark_h=1.5).channels[0]
    assert channel.fitness == "not yet shown"
    assert channel.guard.figures.observed_h < 1.2


@pytest.mark.parametrize("digit_V", [1e-5, 1e-4])
def test_a_second_evening_that_begins_with_a_click_and_reads_zero_does_not_count(digit_V):
    second = noise(6.0, 2e-5, 5) + 0.03 * np.exp(-np.arange(round(6 * HOUR / STEP_S)) * STEP_S / 2.0)
    found = judged(output(2.0, 0.003), second, digit_V=digit_V)
    assert found.channels[0].fitness == "not yet shown"
    assert found.channels[0].guard.figures.observed_h < 2.2
    both = judged(output(2.0, 0.003), output(6.0, 0.0028, seed=6), digit_V=digit_V)
    assert both.channels[0].fitness == CLEARED


@pytest.mark.parametrize("size_V, sigma_V, dead", [(0.012, 2e-5, True), (0.012, 1.5e-4, False), (0.06, 2e-5, False)])
def test_a_click_before_the_meters_zero_is_no_start_of_an_output(size_V, sigma_V, dead):
    """A relay that never closes; an output that is quiet, but not silent; a surge as large as outputs have."""
    channel = judged(output(5.0, 2e-5, sigma_V, surge_V=size_V)).channels[0]
    assert (Reason.DEAD in channel.guard.reasons) is dead
    assert (channel.fitness == CLEARED) is not dead


@pytest.mark.parametrize("beside_V, lost_h, cleared", [(0.006, None, True), (0.0004, None, False), (0.006, 1.5, False)])
def test_an_output_that_rests_beside_it_shows_that_the_unit_is_on(beside_V, lost_h, cleared):
    """Both on a digit of 1 mV; the other's rest ends where the leads fall off, or the unit sleeps."""
    other = output(5.0, beside_V, seed=9)
    if lost_h is not None:
        other[round(lost_h * HOUR / STEP_S) :] = 0.0
    time = np.datetime64("2031-03-04T09:00:00") + (np.arange(other.size) * STEP_S).astype("timedelta64[s]")
    table = {"time": time, "left_V": np.round(output(5.0, 3e-4), 3), "right_V": np.round(other, 3)}
    assert (assess([read_log(table)]).channels[0].fitness == CLEARED) is cleared


@pytest.mark.parametrize("digit_V, level_V, dead", [(1e-3, 3e-4, True), (1e-3, 3e-3, False), (1e-4, 3e-4, False)])
def test_a_digit_that_hides_rest_and_noise_hides_sleep_as_well(digit_V, level_V, dead):
    channel = judged(output(5.0, level_V), digit_V=digit_V).channels[0]
    assert (Reason.DEAD in channel.guard.reasons) is dead
    assert (channel.fitness == CLEARED) is not dead
    if dead:
        assert channel.against[0].startswith("no sign of life: reads within one last digit (1 mV) of zero")
        assert "5 hours do not count" in channel.against[0] and "a finer one" in channel.next.reads


def test_a_doubt_is_told_only_as_far_as_its_hours_do_not_count():
    """'Clears nothing' may be said of no hour that counts: noise as before the mark says that the lead was on."""
    counts = judged(trimmed(noise(5.0, 1.5e-4, 2)), mark_h=1.5)
    lost = judged(trimmed(4e-5 + noise(6.0, 2e-5, 2)), mark_h=1.5)
    assert not any("clears nothing" in text or "do not count as clean" in text for text in counts.cautions)
    assert any("do not count as clean" in text for text in lost.cautions)
