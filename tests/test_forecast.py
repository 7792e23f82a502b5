"""Time to a threshold against the plain reference of its rule, and on shapes whose time is known."""

from __future__ import annotations

import math

import numpy as np
import plain_forecast
import pytest

from flicker.evidence.outlook.end_state import time_to_threshold


def shapes(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, float]:
    """An invented level that grows to 0.75 V, cut off somewhere before, and the seconds it still had."""
    total = float(rng.uniform(1800, 4 * 3600))
    t = np.arange(0.0, total, 2.0)
    u = t / total
    kind = int(rng.integers(3))
    level = 0.75 * (u if kind == 0 else u**2 if kind == 1 else (np.exp(3 * u) - 1) / (np.exp(3.0) - 1))
    cut = int(rng.uniform(0.5, 0.9) * t.size)
    return t[:cut], level[:cut] * rng.choice([-1, 1]) + rng.normal(0, 1e-3, cut), total - t[cut]


@pytest.mark.parametrize("seed", range(30))
def test_same_as_the_plain_reference_and_the_bounds_hold(seed):
    t, v, left = shapes(np.random.default_rng([4, seed]))
    ours = time_to_threshold(t, v)
    plain = plain_forecast.fc(t, v, t[-1], 600.0)
    assert (ours.earliest_s, ours.line_s, ours.latest_s) == pytest.approx(plain, rel=1e-6)
    assert ours.approaches
    assert ours.earliest_s <= left <= ours.latest_s  # held in 957 of 957 (figure of the rule)
    assert "0.75" in ours.reads.replace("750 mV", "0.75")


def test_a_sound_level_approaches_nothing():
    rng = np.random.default_rng(2)
    t = np.arange(0.0, 3600.0, 2.0)
    found = [time_to_threshold(t, 0.01 + rng.normal(0, 1e-3, t.size)) for _ in range(40)]
    assert sum(item.approaches for item in found) <= 4  # one in 40 by chance: two standard errors, one side
    assert all(item.earliest_s > 3600 for item in found)
    assert time_to_threshold(np.array([0.0, 1.0]), np.zeros(2)) is None
    assert math.isinf(time_to_threshold(t, 0.5 - 1e-5 * t).line_s)
