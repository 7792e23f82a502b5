"""What a meter sees: closed forms in the simple cases, simulation in the others. All meters are invented."""

from __future__ import annotations

import math

import numpy as np
import pytest

from flicker.logs.meter import Meter
from flicker.logs.meter_advice import sampling_advice
from flicker.stats.soak import detectable_share, sample_interval_for

TRIALS = 60_000


def simulated(meter, length, height, threshold, shape, lengths, seed):
    """Readings around glitches at random moments, reading by reading; shares no formula with the module."""
    rng = np.random.default_rng(seed)
    every = max(meter.autozero_every, 1)
    turn = every * meter.sample_interval_s + meter.autozero_s
    turns = math.ceil((12 * length + meter.integration_s) / turn) + 2
    begin = (np.arange(every) * meter.sample_interval_s + turn * np.arange(-1, turns)[:, None]).ravel()
    onset = rng.uniform(0, turn, TRIALS)[:, None]
    size = np.full((TRIALS, 1), length) if lengths == "fixed" else rng.exponential(length, (TRIALS, 1))

    def area(t):  # of a glitch of height 1, from its onset to t
        t = np.maximum(t, 0.0)
        return np.minimum(t, size) if shape == "rectangle" else size * -np.expm1(-t / size)

    since = begin[None, :] - onset
    if meter.integration_s > 0:
        value = (area(since + meter.integration_s) - area(since)) / meter.integration_s
    elif shape == "rectangle":
        value = ((since >= 0) & (since < size)).astype(float)
    else:
        value = np.where(since >= 0, np.exp(-np.maximum(since, 0) / size), 0.0)
    reading = height * value
    shown = np.round(reading / meter.resolution_V) * meter.resolution_V if meter.resolution_V else reading
    seen = (shown > threshold + 1e-12).any(axis=1)
    return seen.mean(), (reading.max(axis=1) / height)[seen]


CASES = [
    # interval, integration, resolution, autozero (s, every), length, height, threshold, shape, lengths
    (1.0, 0.0, 0.0, (0, 0), 0.4, 0.2, 0.04, "rectangle", "fixed"),
    (1.0, 0.2, 0.0, (0, 0), 0.4, 0.2, 0.04, "rectangle", "fixed"),
    (1.0, 0.5, 0.0, (0, 0), 0.3, 0.1, 0.04, "rectangle", "fixed"),
    (0.4, 0.4, 0.0, (0, 0), 0.3, 0.1, 0.04, "rectangle", "fixed"),
    (1.0, 0.2, 0.0, (2.5, 4), 1.2, 0.1, 0.04, "rectangle", "fixed"),
    (1.0, 0.3, 0.01, (0, 0), 0.5, 0.055, 0.04, "rectangle", "fixed"),
    (1.0, 0.3, 0.0, (0, 0), 0.5, 0.1, 0.04, "rectangle", "exponential"),
    (0.5, 0.5, 0.0, (1.0, 3), 0.2, 0.1, 0.04, "rectangle", "exponential"),
    (1.0, 0.0, 0.0, (0, 0), 0.3, 0.2, 0.04, "decay", "fixed"),
    (1.0, 0.3, 0.0, (0, 0), 0.3, 0.2, 0.04, "decay", "fixed"),
    (0.5, 0.5, 0.01, (0, 0), 0.2, 0.2, 0.04, "decay", "fixed"),
]


@pytest.mark.parametrize("case", CASES, ids=str)
def test_chance_and_height_agree_with_simulation(case):
    interval, integration, resolution, (zero, every), length, height, threshold, shape, lengths = case
    meter = Meter(sample_interval_s=interval, integration_s=integration, resolution_V=resolution, autozero_s=zero,
                  autozero_every=every)  # fmt: skip
    found = meter.sees(length, height_V=height, threshold_V=threshold, shape=shape, lengths=lengths)
    share, ratio = simulated(meter, length, height, threshold, shape, lengths, seed=CASES.index(case))
    # 4 standard errors of 60,000 trials: at most 0.8 points
    assert found.share == pytest.approx(share, abs=4 * math.sqrt(share * (1 - share) / TRIALS) + 1e-9)
    assert found.reading_share == pytest.approx(ratio.mean(), abs=4 * ratio.std() / math.sqrt(ratio.size) + 1e-3)
    assert np.mean(ratio >= found.reading_share_low - 1e-3) >= 0.95 - 0.004
    assert np.mean(ratio >= found.reading_share_low + 0.01) <= 0.95 + 0.004 or found.reading_share_low > 0.98


def test_simple_cases_in_closed_form():
    sees = dict(height_V=0.2, threshold_V=0.04)
    # instant readings every second see a glitch of 0.4 s in 40 %, at its full height
    instant = Meter(sample_interval_s=1.0).sees(0.4, **sees)
    assert (instant.share, instant.reading_share) == (pytest.approx(0.4), pytest.approx(1.0))
    # readings back to back, glitch as long as one: the larger part lies in one of two, 3/4 on average, 1/2 at least
    back = Meter(sample_interval_s=1.0, integration_s=1.0).sees(1.0, height_V=1.0, threshold_V=0.3)
    assert (back.share, back.reading_share) == (pytest.approx(1.0), pytest.approx(0.75, abs=1e-6))
    assert back.reading_share_low == pytest.approx(0.525, abs=1e-3)
    # a decay with 0.3 s from 0.2 V is above 0.04 V for 0.3 ln 5 s
    decay = Meter(sample_interval_s=1.0).sees(0.3, shape="decay", **sees)
    assert decay.share == pytest.approx(0.3 * math.log(5))
    assert decay.reading_share == pytest.approx((1 - 0.2) / math.log(5), abs=1e-5)


@pytest.mark.parametrize("lengths", ["fixed", "exponential"])
def test_agrees_with_the_share_of_the_statistics(lengths):
    found = Meter(sample_interval_s=0.5, integration_s=0.2).sees(0.3, height_V=0.1, threshold_V=0.04, lengths=lengths)
    expected = detectable_share(0.3, 0.5, 0.2, needed_fraction=0.4, lengths=lengths)
    assert found.share == pytest.approx(expected.share)


def test_advice_in_closed_form_and_in_words():
    advice = sampling_advice(0.5, height_V=0.1, threshold_V=0.04, integration_s=0.1)
    assert advice.sample_interval_s == pytest.approx(sample_interval_for(0.95, 0.5, 0.1, needed_fraction=0.4))
    assert advice.reads == "Sample at least every 0.547 s to see 95% of glitches of length 0.5 s."
    seen = Meter(sample_interval_s=advice.sample_interval_s, integration_s=0.1).sees(
        0.5, height_V=0.1, threshold_V=0.04
    )
    assert seen.share == pytest.approx(0.95)
    hidden = sampling_advice(0.1, height_V=0.1, threshold_V=0.04, integration_s=1.0)
    assert math.isnan(hidden.sample_interval_s)
    assert "shorten the integration" in hidden.reads


def test_shortest_glitch_seen_is_the_inverse():
    meter = Meter(sample_interval_s=0.5, integration_s=0.1, autozero_s=0.3, autozero_every=5)
    length = meter.shortest_seen(height_V=0.1, threshold_V=0.04)
    assert meter.sees(length, height_V=0.1, threshold_V=0.04).share == pytest.approx(0.95, abs=1e-9)
    assert Meter(sample_interval_s=1).shortest_seen(height_V=0.03, threshold_V=0.04) == math.inf
    # 95 % of glitches of 0.95 interval are seen by instant readings
    assert Meter(sample_interval_s=2.0).shortest_seen(height_V=1, threshold_V=0.04) == pytest.approx(1.9)


def test_rates_and_soaks_are_corrected_by_the_share():
    seen = Meter(sample_interval_s=1.0).sees(0.25, height_V=0.2, threshold_V=0.04)
    rate = seen.corrected_rate(5, 7200.0)
    # exact limits of 5 events (Garwood 1936): 1.623486 and 11.66833; a quarter of the glitches is seen in 2 h
    assert (rate.low_per_h, rate.per_h, rate.high_per_h) == pytest.approx((1.623486 * 2, 10.0, 11.668332 * 2))
    # rule of three: 2.995732 clean hours at 1 per hour, four times as long for a quarter
    assert seen.clean_soak(1.0).exposure == pytest.approx(4 * 2.995732)
    blind = Meter(sample_interval_s=1.0).sees(0.25, height_V=0.03, threshold_V=0.04)
    assert blind.reads.startswith("This meter cannot show")
    with pytest.raises(ValueError, match="cannot show"):
        blind.corrected_rate(1, 10.0)


def test_coverage_of_the_corrected_rate():
    # truth: 30 glitches per hour of 0.25 s; readings every second see a quarter; exact limits cover at least 95 %
    rng = np.random.default_rng(2)
    seen = Meter(sample_interval_s=1.0).sees(0.25, height_V=0.2, threshold_V=0.04)
    covered = 0
    for _ in range(400):
        start = rng.uniform(0, 3600, rng.poisson(30))
        count = int(np.sum(np.ceil(start) < start + 0.25))
        rate = seen.corrected_rate(count, 3600.0)
        covered += rate.low_per_h <= 30 <= rate.high_per_h
    assert covered >= 0.95 * 400 - 2 * math.sqrt(400 * 0.05 * 0.95)


def test_line_cycles():
    meter = Meter.from_line_cycles(10, line_hz=50, zero_every_reading=True)
    assert (meter.integration_s, meter.sample_interval_s, meter.blind_share) == pytest.approx((0.2, 0.4, 0.5))
    with pytest.raises(ValueError, match=r"0\.2 or more"):
        Meter.from_line_cycles(10, sample_interval_s=0.1)


@pytest.mark.parametrize(
    ("options", "name"),
    [
        ({"sample_interval_s": 0.0}, "sample_interval_s"),
        ({"sample_interval_s": 1.0, "integration_s": 2.0}, "integration_s must be at most"),
        ({"sample_interval_s": 1.0, "autozero_s": 1.0}, "given together"),
    ],
)
def test_an_impossible_meter_is_refused(options, name):
    with pytest.raises(ValueError, match=name):
        Meter(**options)


def test_results_are_plain():
    found = Meter(sample_interval_s=1.0).sees(0.25, height_V=0.03, threshold_V=0.04)
    assert found.to_dict()["reading_share"] is None
    found.to_json()
