"""What a meter sees of a short glitch: closed forms, and simulation reading by reading. All meters are invented."""

from __future__ import annotations

import math

import numpy as np
import pytest

from flicker.case.case_file import Meter
from flicker.evidence.outlook.bench import GLITCH_S, visibility, with_true_rate

TRIALS = 60_000


def simulated(interval, integration, resolution, threshold, seed):
    """Share of glitches of twice the threshold at random moments that a reading shows; no formula of the module."""
    begin = interval * np.arange(-1, math.ceil((GLITCH_S + integration) / interval) + 3)
    onset = np.random.default_rng(seed).uniform(0, interval, TRIALS)[:, None]
    since = begin[None, :] - onset
    inside = (since >= 0) & (since < GLITCH_S)
    if integration > 0:
        begun, ended = np.clip(since, 0, GLITCH_S), np.clip(since + integration, 0, GLITCH_S)
        inside = (ended - begun) / integration
    reading = 2.0 * threshold * inside
    shown = np.round(reading / resolution) * resolution if resolution else reading
    return (shown > threshold + 1e-12).any(axis=1).mean()


CASES = [  # interval, integration, resolution, threshold
    (1.0, 0.0, 0.0, 0.04),
    (0.3, 0.1, 0.0, 0.04),
    (0.2, 0.15, 0.0, 0.05),
    (0.1, 0.1, 0.01, 0.04),
    (0.5, 0.25, 0.0, 0.04),
]


@pytest.mark.parametrize("case", CASES, ids=str)
def test_the_chance_agrees_with_simulation(case):
    interval, integration, resolution, threshold = case
    found = visibility(interval, threshold, resolution, Meter(name="m", integration_s=integration))
    share = simulated(*case, seed=CASES.index(case))
    assert found.seen == pytest.approx(share, abs=4 * math.sqrt(share * (1 - share) / TRIALS) + 1e-9)
    again = None if math.isnan(found.advised_interval_s) else found.advised_interval_s
    if again is not None:
        told = visibility(again, threshold, resolution, Meter(name="m", integration_s=integration))
        assert told.seen == pytest.approx(0.95)


def test_a_long_integration_hides_it():
    hidden = visibility(1.0, 0.04, 0.0, Meter(name="m", integration_s=1.0))
    assert hidden.seen == 0.0 and hidden.to_dict()["advised_interval_s"] is None
    assert "hides shorter ones" in hidden.reads


def test_a_rate_is_corrected_by_the_share():
    found = with_true_rate(visibility(0.4, 0.04, 0.0), 5, 7200.0)
    # exact limits of 5 events (Garwood 1936): 1.623486 and 11.66833; a quarter of the glitches is seen in 2 h
    assert (found.true_low_per_h, found.true_per_h, found.true_high_per_h) == pytest.approx(
        (1.623486 * 2, 10.0, 11.668332 * 2)
    )
