"""Chance of a trip: closed forms, coverage by simulation, honesty with few peaks. All units are invented."""

from __future__ import annotations

import math

import numpy as np
import pytest
from plain_relay import relay_sequence
from scipy import stats

from flicker.evidence.outlook.protection import by_threshold, outcomes_text, trip_forecast
from flicker.signals.relay import Relay

OPTIONS = dict(trip_V=0.75, threshold_V=0.1)


def test_few_peaks_give_the_rule_of_three_and_no_estimate():
    # no trip in 10 h: at most 2.995732 / 10 per hour (exact Poisson), so at most 1 - exp(-2.995732 x 2 / 10) in 2 h
    found = trip_forecast([0.2, 0.3, -0.5], 10.0, hours=2.0, **OPTIONS)
    assert math.isnan(found.chance)
    assert (found.low, found.high) == (0.0, pytest.approx(-math.expm1(-2.995732 * 0.2)))
    assert (found.bound, found.peaks, found.largest_V) == ("upper", 3, 0.5)
    assert found.reads.startswith("No trip in 10 hours: at most 26% in the next hour; at most 45% in the next 2 h.")
    found.to_json()


@pytest.mark.parametrize(("count", "known"), [(0, False), (4, False), (19, False), (20, True)])
def test_an_estimate_needs_twenty_peaks(count, known):
    peaks = 0.1 + stats.expon(scale=0.15).ppf((np.arange(count) + 0.5) / max(count, 1))
    found = trip_forecast(peaks, 10.0, hours=5.0, **OPTIONS)
    assert math.isfinite(found.chance) == known
    assert found.bound == ("two-sided" if known else "upper")
    assert any("not an estimate" in text for text in found.cautions) != known
    assert math.isfinite(found.tail_high) == (count >= 5)


def test_trips_seen_count_even_among_few_peaks():
    found = trip_forecast([0.2, 0.9, -1.2], 10.0, hours=10.0, **OPTIONS)
    # 2 in 10 h: 0.0242209 to 0.722469 per hour two-sided (Garwood); upper one-sided 6.295794 / 10 (chi-square factor)
    assert found.trips_seen == 2
    assert found.low == pytest.approx(-math.expm1(-0.242209), rel=1e-5)
    assert found.high == pytest.approx(-math.expm1(-6.295794), rel=1e-5)


def truth(rate, scale, hours):
    return -math.expm1(-rate * math.exp(-(0.75 - 0.1) / scale) * hours)


def test_interval_covers_the_true_chance():
    # truth: 20 peaks per hour, exponential above 0.1 V with scale 0.12 V; 10 h seen, 5 h ahead. 40 logs, where a true
    # 95 % shows 33 or more in 999 of 1000 studies (binomial)
    rng = np.random.default_rng(1)
    inside = 0
    true = truth(20, 0.12, 5.0)
    for _ in range(40):
        peaks = 0.1 + rng.exponential(0.12, rng.poisson(200))
        found = trip_forecast(peaks, 10.0, hours=5.0, **OPTIONS)
        inside += found.low <= true <= found.high
        if inside >= stats.binom.ppf(0.001, 40, 0.95):
            return  # decided, whatever the rest says
    pytest.fail(f"{inside} of 40 inside")


def test_bound_from_few_peaks_covers():
    # truth: 1 peak per hour, 8 h seen, so fewer than 20 peaks; the bound may fail in 5 % (400 logs, 99 % point)
    rng = np.random.default_rng(2)
    true = truth(1, 0.3, 8.0)
    missed = 0
    for _ in range(400):
        peaks = 0.1 + rng.exponential(0.3, min(rng.poisson(8), 19))
        missed += trip_forecast(peaks, 8.0, hours=8.0, trip_V=0.75, threshold_V=0.75).high < true
    assert missed <= stats.binom.ppf(0.99, 400, 0.05)


def test_estimate_from_many_peaks_is_near_the_truth():
    rng = np.random.default_rng(3)
    peaks = 0.1 + rng.exponential(0.12, 6000)
    found = trip_forecast(peaks, 300.0, hours=5.0, **OPTIONS)
    assert found.chance == pytest.approx(truth(20, 0.12, 5.0), rel=0.25)
    assert found.low < truth(20, 0.12, 5.0) < found.high


def test_other_thresholds_side_by_side():
    values = np.zeros(400)
    values[50:55], values[150:155], values[250:255] = 0.5, 1.0, 3.0
    time = 0.5 * np.arange(400)
    records = [
        [relay_sequence(time, values, Relay().at(trip), sample_interval_s=0.5)] * 2 for trip in (2.0, 0.3, 5.0, 0.75)
    ]
    rows = by_threshold(records)
    assert [(row.relay.trip_V, row.trips) for row in rows] == [(0.3, 6), (0.75, 4), (2.0, 2), (5.0, 0)]
    assert "from 5 V on the relay would have stayed closed" in outcomes_text(rows)


def test_no_upper_end_lies_under_the_count():
    """33 glitches of which one in a hundred is large: a fitted tail said 1e-33 where 48 % is true (figures of the rule)."""
    rng = np.random.default_rng(9)
    found = trip_forecast(0.1 + rng.exponential(0.005, 33), 10.0, hours=20.0, **OPTIONS)
    assert found.high >= found.counted_high == pytest.approx(-math.expm1(-2.995732 * 2))
    assert "for 20 h it cannot be told" in found.reads
    assert "No trip in 10 hours: at most 26% in the next hour" in found.reads
    # Under 5 % for H hours needs 58 H hours without one: 2.9957 / 0.051293 = 58.4 (figure of the rule)
    assert "After 49 days without a trip it would be under 5% for 20 h" in found.reads
