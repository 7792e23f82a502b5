"""Unit against control: published on/off values, closed forms, simulated size and coverage. Benches are invented."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from flicker.evidence.questions.control import against_control


def spread(count, length):
    """Episodes evenly over a run."""
    return (np.arange(count) + 0.5) * length / max(count, 1)


def test_published_significance():
    # n_on 18, n_off 97, alpha 0.1: 2.242170442484 (gammapy documentation, Li and Ma 1983 eq. 17; looked up)
    found = against_control([spread(18, 3600)], [3600.0], [spread(97, 36_000)], [36_000.0])
    assert found.z == pytest.approx(2.242170442484)
    # exact one-sided p: 18 or more of 115 with chance 1/11
    assert found.p_exact == pytest.approx(stats.binom.sf(17, 115, 1 / 11))
    assert found.p_value >= found.p_exact
    assert found.answer == "yes"


def test_clean_control_in_closed_form():
    # 3 episodes in 2 h, none in an hour of control: p = (2/3)^3 = 0.296; 2 h (0.05^(-1/3) - 1) = 3.43 h settle it
    found = against_control([spread(3, 7200)], [7200.0], [[]], [3600.0])
    assert found.p_exact == pytest.approx((2 / 3) ** 3)
    assert found.answer == "not shown"
    assert found.clean_control_s == pytest.approx(7200 * (0.05 ** (-1 / 3) - 1))
    assert against_control([spread(3, 7200)], [7200.0], [[]], [found.clean_control_s + 1]).answer == "yes"
    assert "3.5 hours of control" in found.reads


@pytest.mark.parametrize(
    ("unit", "hours", "control", "control_hours", "answer"),
    [
        (12, 4, 0, 4, "yes"),
        (0, 8, 0, 8, "no"),  # nothing in 8 h: at most 0.46 per hour, below the rate of concern
        (20, 40, 20, 40, "no"),  # as many with shorted leads: it is the meter or the room
        (2, 1, 1, 1, "not shown"),
        (1, 24, 0, 24, "no"),
    ],
)
def test_answers(unit, hours, control, control_hours, answer):
    found = against_control(
        [spread(unit, hours * 3600)],
        [hours * 3600.0],
        [spread(control, control_hours * 3600)],
        [control_hours * 3600.0],
    )
    assert found.answer == answer
    found.to_json()


def test_share_that_the_control_explains():
    found = against_control([spread(20, 3600)], [3600.0], [spread(10, 7200)], [7200.0])
    assert (found.unit_per_h, found.control_per_h, found.excess_per_h) == (20.0, 5.0, 15.0)
    assert found.control_share == 0.25


def benches(rng, rate, hours, burst):
    begin = rng.uniform(0, hours * 3600 - 300, rng.poisson(rate * hours / burst))
    sizes = rng.geometric(1 / burst, begin.size)
    times = np.repeat(begin, sizes) + rng.uniform(0, 200, sizes.sum())
    return np.sort(times)


@pytest.mark.parametrize(("burst", "most"), [(1, 0.05), (3, 0.07)])
def test_equal_rates_are_called_the_unit_in_at_most_so_many(burst, most):
    # null: 6 per hour on both sides over 6 and 3 h, singly or in bursts of mean size 3 not merged by the dead time;
    # 400 benches, limit is the 99 % point of the binomial
    rng = np.random.default_rng(burst)
    false = sum(
        against_control([benches(rng, 6, 6, burst)], [21_600.0], [benches(rng, 6, 3, burst)], [10_800.0]).p_value
        <= 0.05
        for _ in range(400)
    )
    assert false <= stats.binom.ppf(0.99, 400, most)


def test_interval_of_the_excess_covers():
    # truth: 3 per hour above a control of 1 per hour, 8 h each; 500 benches, two standard errors allowed (1.9 points)
    rng = np.random.default_rng(9)
    covered = 0
    for _ in range(500):
        found = against_control([benches(rng, 4, 8, 1)], [28_800.0], [benches(rng, 1, 8, 1)], [28_800.0])
        covered += found.excess_low_per_h <= 3 <= found.excess_high_per_h
    assert covered / 500 >= 0.95 - 0.019


def test_several_runs():
    found = against_control([[10.0], [20.0, 30.0]], [100.0, 200.0], [[]], [500.0])
    assert (found.count, found.observed_s, found.control_s) == (3, pytest.approx(300.0), pytest.approx(500.0))
    assert math.isnan(against_control([[]], [10.0], [[]], [10.0]).control_share)
