"""Noise: Allan family, colour, robust sigma, correlation and last digit, against handbook tables and allantools."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent / "studies"))
import noise_makers as makers

from flicker.stats.levels import digits
from flicker.stats.noise import (
    allan_deviation,
    noise_colour,
    noise_sigma,
    resolution_of,
)

DATA = Path(__file__).parent / "data"
SP1065 = np.loadtxt(DATA / "sp1065_1000.csv", skiprows=2)
NINE = np.array([892, 809, 823, 798, 671, 644, 883, 903, 677.0])


@pytest.mark.parametrize(
    ("overlapping", "expected"),
    [
        # NIST SP 1065 (Riley 2008), nine-point frequency data, spans 1 and 2 (AD-1, read in public test files)
        (False, (91.22945, 115.8082)),
        (True, (91.22945, 85.95287)),
    ],
)
def test_nine_points_of_the_handbook(overlapping, expected):
    result = allan_deviation(NINE, 1.0, [1, 2], overlapping=overlapping)
    assert result.deviation == pytest.approx(expected, rel=2e-7)
    assert result.span_s.tolist() == [1.0, 2.0]


@pytest.mark.parametrize(
    ("overlapping", "expected"),
    [
        # NIST SP 1065 (Riley 2008), 1,000-point test suite, spans 1, 10 and 100 (N1, AD-2)
        (False, (0.2922319, 0.09965736, 0.03897804)),
        (True, (0.2922319, 0.09159953, 0.03241343)),
    ],
)
def test_thousand_points_of_the_handbook(overlapping, expected):
    result = allan_deviation(SP1065, 1.0, [1, 10, 100], overlapping=overlapping)
    assert result.deviation == pytest.approx(expected, rel=3e-7)


def test_the_thousand_points_are_the_published_ones():
    # AD-3: mean, largest and smallest of the suite (from memory; mean printed 0.4897745)
    assert SP1065.mean() == pytest.approx(0.4897744629, rel=1e-9)
    assert (SP1065.max(), SP1065.min()) == pytest.approx((0.9957452943, 0.001371760), rel=1e-6)


@pytest.mark.parametrize(
    ("overlapping", "expected"),
    [
        # computed with allantools 2024.6 (oadev, adev), spans 2, 5 and 50
        (True, (0.20101604217093852, 0.13318637457744736, 0.039501786819481584)),
        (False, (0.2051016155948553, 0.13595662299549788, 0.04327098119161785)),
    ],
)
def test_allan_deviation_against_a_library(overlapping, expected):
    result = allan_deviation(SP1065, 1.0, [2, 5, 50], overlapping=overlapping)
    assert result.deviation == pytest.approx(expected, rel=1e-10)


def test_linear_drift_law():
    # SP 1065: a drift D gives D * span / sqrt 2 (AD-4, from memory)
    result = allan_deviation(0.3 * np.arange(400) * 0.5, 0.5, [0.5, 5.0, 40.0])
    assert result.deviation == pytest.approx(0.3 * result.span_s / np.sqrt(2), rel=1e-9)


@pytest.mark.parametrize(
    ("truth", "slope", "make"),
    [
        # AD-4: log sigma against log span has slope -1/2, 0, +1/2 (SP 1065, from memory)
        ("white", -0.5, makers.white),
        ("flicker", 0.0, makers.spectral),
        ("random walk", 0.5, makers.random_walk),
    ],
)
def test_colour_is_right_in_95_of_100_and_slopes_follow_the_law(truth, slope, make):
    rng = np.random.default_rng(7)
    for n in (128, 1000):
        right = sum(noise_colour(y, 1.0).colour == truth for y in make(rng, 200, n))
        assert right >= 190  # 95 of 100 asked; study_noise has the longer run
    deviations = [allan_deviation(y, 1.0, [4, 64]).deviation for y in make(rng, 100, 2000)]
    ratio = np.median(np.log(np.array(deviations)[:, 1] / np.array(deviations)[:, 0])) / np.log(16)
    assert ratio == pytest.approx(slope, abs=0.08)


def test_second_generator_is_flicker_too():
    rng = np.random.default_rng(8)
    assert sum(noise_colour(y).colour == "flicker" for y in makers.sum_of_ar1(rng, 100, 1000)) >= 95


@pytest.mark.parametrize("size", [0.25, 0.4, 0.6, 1.0, 2.5, 20.0])
@pytest.mark.parametrize("rho", [0.0, 0.9])
def test_sigma_survives_a_coarse_last_digit(size, rho):
    # 1 mV digits; sigma from a quarter of a digit, where the median absolute deviation is 0, upwards
    rng = np.random.default_rng(9)
    sigma = []
    for y in makers.ar1(rng, 40, 3000, rho):
        mv = np.round(size * y + rng.uniform(-0.5, 0.5))
        sigma.append(noise_sigma(mv * 1e-3) * 1e3 / size)
    assert np.mean(sigma) == pytest.approx(1.0, abs=0.12)


def test_sigma_ignores_glitches_and_a_still_log_has_none():
    rng = np.random.default_rng(10)
    y = rng.normal(0, 1e-3, 5000)
    y[::50] = 3.0
    assert noise_sigma(y) == pytest.approx(1e-3, rel=0.06)
    assert noise_sigma(np.full(50, 0.012)) == 0.0
    assert noise_colour(np.full(50, 0.012)).colour == "none"


@pytest.mark.parametrize("step", [0.1, 0.2, 0.5, 1.0, 0.125, 10.0, 10 / 32768])
def test_last_digit_is_found_through_a_change_of_unit(step):
    rng = np.random.default_rng(11)
    mv = np.round(rng.normal(-12, 3 * step, 2000) / step) * step
    if step >= 1e-3:  # single precision keeps no finer digit at 12 mV
        assert resolution_of((mv * 1e-3).astype(np.float32)) == pytest.approx(step * 1e-3, rel=1e-4)
    mv[500:520] += np.round(2000 / step) * step  # a large swing does not hide it
    assert resolution_of(mv * 1e-3) == pytest.approx(step * 1e-3, rel=1e-6)
    mixed = np.concatenate([mv * 1e-3, rng.normal(0, 1, 100)])  # a few computed readings among the digital ones
    assert resolution_of(mixed) == pytest.approx(step * 1e-3, rel=1e-6)


def test_no_last_digit_where_there_is_none():
    rng = np.random.default_rng(12)
    assert resolution_of(rng.normal(size=3000)) == 0.0
    assert resolution_of(rng.normal(size=3000).astype(np.float32)) == 0.0
    assert resolution_of([0.5, 0.5]) == 0.0
    assert resolution_of([]) == 0.0


@pytest.mark.parametrize(
    ("place", "step"), [(0.0, 0.01), (1 / 3, 0.01), (2 / 3, 0.01), (1.0, 0.01), (0.2, 0.03), (0.85, 0.03)]
)
def test_the_step_of_a_long_log_is_that_of_four_stretches(place, step):
    # Invented: 40 readings with a finer digit, at the stretches looked at (start, thirds, end) or between them.
    most = digits.MOST_VALUES
    level = (np.arange(2 * most) * 7 % 11) * 0.03
    at = int(place * (level.size - most // 4)) + (100 if place < 1.0 else most // 4 - 140)
    level[at : at + 40] += 0.01
    assert resolution_of(level) == pytest.approx(step, rel=1e-6)


def test_two_repeated_readings_are_a_step_and_a_single_one_is_set_aside():
    assert resolution_of([0.2] * 20 + [0.5] * 20 + [0.2137]) == pytest.approx(0.3, rel=1e-9)
