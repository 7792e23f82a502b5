"""Jumps between levels, the one sigma, and movement in noise of unknown colour, against plain references of the rules."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np
import plain_jumps
import pytest

sys.path.insert(0, str(Path(__file__).parent / "studies"))
import noise_makers as makers

from flicker.stats.jumps import LEAST_JUMPS, SCALES, reading_sigma, sizes_by_scale
from flicker.stats.moving import CRITICAL, moved_in_noise


def telegraph(rng: np.random.Generator, size: int, step: float, dwell: float) -> np.ndarray:
    turns = np.cumsum(rng.exponential(dwell, size))
    return step * (np.searchsorted(turns, np.arange(size)) % 2)


def jumps(values, digit=0.0):
    """Signed sizes of the jumps at each scale, as the program counts them."""
    return sizes_by_scale(np.asarray(values, dtype=np.float64), lambda: digit)


def switches(values, digit=0.0):
    """Whether the level jumps: two up and two down at one of the scales."""
    pairs = (min(np.count_nonzero(size > 0), np.count_nonzero(size < 0)) for size in jumps(values, digit))
    return 2 * max(pairs) >= LEAST_JUMPS


@pytest.mark.parametrize("seed", range(30))
def test_same_jumps_as_the_plain_reference(seed):
    rng = np.random.default_rng([8, seed])
    v = rng.normal(0, float(rng.choice([3.5e-4, 2e-3])), 4000)
    v += telegraph(rng, v.size, float(rng.choice([0.0, 0.008, 0.012, 0.03])), float(rng.choice([1.5, 8, 200])))
    digit = float(rng.choice([0.0, 1e-5, 1e-3]))
    if digit:
        v = np.round(v / digit) * digit
    for m, found in zip(SCALES, jumps(v, digit), strict=True):
        _, size, _ = plain_jumps.jumps(v, m, digit)
        assert abs(found.size - size.size) <= 1  # the reference takes its quartile between two readings
        if found.size == size.size:
            assert found == pytest.approx(size)
    assert switches(v, digit) == plain_jumps.switching(v, digit)["yes"]
    assert reading_sigma(v, resolution=digit) == pytest.approx(plain_jumps.reading_sigma(v, digit), rel=0.02)


def test_sigma_of_white_noise_and_of_a_telegraph():
    """White noise of 3 gives 3; a telegraph on it raises it by as much as theory says."""
    rng = np.random.default_rng(3)
    white = rng.normal(0, 3e-3, 50_000)
    assert reading_sigma(white) == pytest.approx(3e-3, rel=0.03)
    # One difference in eight jumps: the quarter of all is the 2/7 quantile of the others, 0.3661 sigma (normal table).
    share = 0.3661 / 0.3186
    assert reading_sigma(white + telegraph(rng, white.size, 0.032, 8)) == pytest.approx(share * 3e-3, rel=0.03)
    assert np.std(white + telegraph(rng, white.size, 0.032, 8)) > 5 * 3e-3
    assert reading_sigma([0.0, 0.0, 0.0], resolution=1e-3) == pytest.approx(0.5e-3 / math.sqrt(2))


@pytest.mark.parametrize("make", ["white", "ar", "flicker"])
def test_noise_does_not_jump(make):
    """Of 4,200 logs of noise one was taken for switching (figure of the rule); here none of 60."""
    rng = np.random.default_rng(17)
    for _ in range(20):
        white = rng.normal(0, 2e-3, 6000)
        if make == "ar":
            v = np.zeros(white.size)
            for k in range(1, white.size):
                v[k] = 0.98 * v[k - 1] + white[k] * math.sqrt(1 - 0.98**2)
        else:
            v = white if make == "white" else makers.spectral(rng, 1, 6000, 1.0)[0] * 2e-3
        assert not switches(v)


def test_jumps_of_12_mV_are_found_at_dwells_from_seconds_to_minutes():
    """At least 93 % of logs with 12 mV on 0.35 mV white noise, dwell 0.5 s to 5 min at ten readings a second (the rule)."""
    rng = np.random.default_rng(21)
    found = [
        switches(rng.normal(0, 3.5e-4, 36_000) + telegraph(rng, 36_000, 0.012, dwell))
        for dwell in (5, 60, 600, 3000)
        for _ in range(10)
    ]
    assert np.mean(found) >= 0.93


@pytest.mark.parametrize("seed", range(20))
def test_same_movement_as_the_plain_reference(seed):
    rng = np.random.default_rng([9, seed])
    y = makers.spectral(rng, 1, 240, float(rng.choice([0.0, 1.0, 1.2])))[0] * 4e-3 + np.linspace(
        0, rng.uniform(0, 0.04), 240
    )
    u = (np.arange(240)) / 239.0
    rise, size, _ = plain_jumps.parts(u, y)
    ours = moved_in_noise(y, limit=0.02)
    assert ours.moved == pytest.approx(rise)
    assert ours.half_width == pytest.approx(CRITICAL * size)
    assert ours.within == (abs(rise) + ours.half_width <= 0.02)


def test_critical_value_as_the_plain_reference_simulates_it():
    assert pytest.approx(plain_jumps.crit(reps=2000), rel=0.06) == CRITICAL


def test_a_line_is_found_and_noise_is_not():
    """4 h, sd 4 mV: a 30 mV line is found in 97 % in 1/f noise, and white noise never moves (figures of the rule)."""
    rng = np.random.default_rng(33)
    pink = [makers.spectral(rng, 1, 240, 1.0)[0] for _ in range(60)]
    pink = [4e-3 * (y - y.mean()) / y.std() for y in pink]
    assert np.mean([moved_in_noise(y + np.linspace(0, 0.03, 240), limit=0.02).beyond for y in pink]) >= 0.9
    assert np.mean([moved_in_noise(y, limit=0.02).shown for y in pink]) <= 0.05
    assert not any(moved_in_noise(rng.normal(0, 4e-3, 240), limit=0.02).shown for _ in range(60))


def test_errors_name_the_argument():
    with pytest.raises(ValueError, match="time_s"):
        moved_in_noise([1.0] * 50, [0.0] * 50, limit=0.02)
    with pytest.raises(ValueError, match="values"):
        reading_sigma([1.0, math.nan])
    assert math.isnan(moved_in_noise([0.0] * 10, limit=0.02).moved)
    assert not switches([0.0] * 10)
