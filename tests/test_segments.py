"""Where a level lay and from when to when: against a published change, a search written anew, and a slow log with truth."""

from __future__ import annotations

import datetime as dt
import sys
from itertools import combinations
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parent / "studies"))
import noise_makers as makers

import flicker
from flicker.evidence.located.moves import moves_text
from flicker.stats.changepoints import level_segments

NILE = np.loadtxt(Path(__file__).parent / "data" / "nile.csv", delimiter=",", skiprows=2)


def test_the_nile_lay_lower_from_1899_on():
    # Cobb 1978 (Biometrika 65, 243-251, from memory): one fall after 1898; levels before and after 1097.75 and 849.97
    found = level_segments(NILE[:, 1], NILE[:, 0], smallest_step=200.0, shortest=10.0)
    (before, after) = found.segments
    assert after.begin_low <= 1899.0 <= after.begin_high
    assert after.begin_high - after.begin_low < 15
    assert before.low < 1097.75 < before.high
    assert after.low < 849.97 < after.high
    assert after.usual and not before.usual and found.line is None


def test_places_are_the_least_squares_of_all_places():
    rng = np.random.default_rng(11)
    values = np.repeat([0.0, 1.0, 0.2], [12, 9, 15]) + 0.05 * rng.standard_normal(36)
    found = level_segments(np.repeat(values, 3), smallest_step=0.5)  # three readings are one cell
    middles = values

    def squares(cuts):
        return sum(float(((part - part.mean()) ** 2).sum()) for part in np.split(middles, cuts))

    best = min(
        (cuts for cuts in combinations(range(3, 34), 2) if cuts[1] - cuts[0] >= 3), key=squares
    )  # every pair of places, tried anew
    assert [item.begin / 3 for item in found.segments[1:]] == list(best) == [12, 21]


@pytest.mark.parametrize("smallest", [0.01, 0.02, 0.04])
def test_neighbours_differ_by_the_smallest_step_whatever_the_record(smallest):
    rng = np.random.default_rng(5)
    for k in range(10):
        walk = 0.003 * makers.random_walk(rng, 1, 600)[0]
        found = level_segments(walk, smallest_step=smallest)
        heights = [item.level for item in found.segments]
        assert np.all(np.abs(np.diff(heights)) >= smallest), k
        assert all(item.begin_low <= item.begin <= item.begin_high for item in found.segments)
        assert all(a.end <= b.begin for a, b in zip(found.segments, found.segments[1:], strict=False))


def test_a_line_is_told_as_a_line_and_noise_as_one_stretch():
    rng = np.random.default_rng(3)
    noise = 0.002 * makers.spectral(rng, 1, 900, 1.0)[0]
    line = level_segments(noise + np.linspace(0.0, 0.08, 900), smallest_step=0.02)
    assert line.line == pytest.approx(0.08, abs=3 * line.line_half)
    quiet = level_segments(noise, smallest_step=0.02)
    assert len(quiet.segments) == 1 and quiet.away == () and quiet.line is None


def test_without_readings_there_are_no_segments():
    assert level_segments([np.nan, np.nan], smallest_step=1.0).segments == ()


def slow_log(falls):
    """79 days at a reading every five minutes; 1/f noise of 2 mV; falls as (day, hours, volts). Invented."""
    rng = np.random.default_rng(1)
    seconds = np.arange(79 * 288) * 300.0
    level = 0.010 + 0.002 * makers.spectral(rng, 1, seconds.size, 1.0)[0]
    for day, hours, volts in falls:
        begin = day * 86400.0
        level[(seconds >= begin) & (seconds < begin + hours * 3600.0)] -= volts
    start = dt.datetime(2024, 11, 1)
    clock = [start + dt.timedelta(seconds=s) for s in seconds]
    return pd.DataFrame({"time": clock, "left (V)": np.round(level, 5)})


def test_two_falls_of_a_day_in_79_days_are_placed_within_two_hours():
    falls = ((20 + 9 / 24, 30.0, 0.045), (50.0, 48.0, 0.085))
    channel = flicker.assess(flicker.read_log(slow_log(falls))).channels[0]
    assert len(channel.moves) == 2
    for row, (day, hours, volts) in zip(channel.moves, falls, strict=True):
        assert abs(row["from_s"] - day * 86400.0) < 7200.0
        assert abs(row["to_s"] - day * 86400.0 - hours * 3600.0) < 7200.0
        assert row["from_low_s"] <= day * 86400.0 <= row["from_high_s"]
        assert row["step_V"] == pytest.approx(-volts, abs=0.006)
        assert row["step_low_V"] <= row["step_V"] <= row["step_high_V"]
    said = moves_text(channel.moves)
    assert "from 21 November 09:" in said and "below the rest" in said and "only describes" in said


def test_nothing_is_described_where_no_movement_is_shown():
    channels = flicker.assess(flicker.read_log(slow_log(()))).channels
    assert channels[0].moves == () and moves_text(()) == ""


def test_over_power_ups_a_stretch_goes_on_in_the_next_run():
    bench = flicker.simulate_log("drifting-power-ups", hours=4, seed=3)
    left = flicker.assess(bench.logs).channels[0]
    assert left.finding("drift").answer == "yes"
    assert left.moves and left.moves[-1]["to_run"] == 5
