"""Swings over range are at least as large as the range, and never the smallest. All logs here are invented."""

import datetime as dt

import numpy as np
import pytest

from flicker import Log, assess, compare

EVENING = dt.datetime(2031, 3, 3, 18, 30)
STEP_S = 0.5


def swings(sizes_V, range_V, *, seed, day=0):
    """Three hours with swings of 4 s; what is beyond the range is written as over range."""
    values = 0.003 + 0.0004 * np.random.default_rng(seed).standard_normal(round(10800 / STEP_S))
    for at, size_V in zip(np.linspace(3000, values.size - 1000, len(sizes_V)).astype(int), sizes_V, strict=True):
        values[at : at + 8] += size_V
    values[np.abs(values) > range_V] = np.inf
    start = EVENING + dt.timedelta(days=day)
    return Log.from_arrays(STEP_S * np.arange(values.size), {"left": values}, start=start, name=f"evening {day}")


def test_a_swing_over_range_is_at_least_the_range():
    sizes_V = np.linspace(0.05, 0.6, 24)
    found = assess(swings(sizes_V, 0.2, seed=1)).records[0].traces[0].excursions
    over = sizes_V > 0.197
    read_V = np.abs(found.peak_V)
    assert found.over_range.tolist() == over.tolist()
    assert np.all(read_V[over] >= read_V[~over].max()) and np.all(read_V[over] <= 0.2)
    assert found.deviation_V[~over] == pytest.approx(sizes_V[~over], abs=0.003)


def test_swings_that_grow_over_the_range_are_not_told_to_shrink():
    (item,) = assess(swings(np.linspace(0.05, 0.6, 24), 0.2, seed=2)).channels
    (growth,) = (found for found in item.findings if found.question == "larger")
    assert growth.effect > 1.0


@pytest.mark.parametrize("seed", [3, 4])
def test_nothing_is_said_of_the_size_of_swings_of_which_none_was_read(seed):
    sizes_V = 0.12 * np.random.default_rng(seed).uniform(0.8, 1.2, 12)
    before, after = ([swings(size_V, 0.3, seed=10 * seed + day, day=day) for day in days] for size_V, days in (
        (sizes_V, (0, 1)), (np.full(12, 0.6), (2, 3))
    ))
    found = compare(before, after)
    (item,) = found.channels
    assert item.size_change.answer == "not shown" and "over range" in item.size_change.note
    assert not any("swings end at" in text for text in found.cautions)
