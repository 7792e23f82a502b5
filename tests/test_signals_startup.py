"""The surge after power-up is fitted, swings and noise are not. All data are invented (flicker.simulate)."""

from __future__ import annotations

import numpy as np
import pytest

from flicker.base.limits import Limits
from flicker.signals.startup import find_start
from flicker.signals.trace import trace_log
from flicker.simulate import simulate_log

SETTINGS = Limits()


@pytest.mark.parametrize("size", [0.060, -0.090])
@pytest.mark.parametrize("tau", [6.0, 15.0])
def test_a_known_fall_is_found(size: float, tau: float) -> None:
    # exact: an exponential is within 10 mV of its level after tau * log(size / 10 mV)
    time = np.arange(600) + 0.5
    value = 0.004 + size * np.exp(-time / tau) + 0.0004 * np.random.default_rng(1).standard_normal(600)
    start = find_start(time, value, value, value, band_V=0.010, sigma_V=0.0004)
    assert start is not None
    assert start.settle_s == pytest.approx(tau * np.log(abs(size) / 0.010), rel=0.12, abs=0.6)
    assert start.level_V == pytest.approx(0.004, abs=0.001)
    assert np.max(np.abs(start.curve(time) - size * np.exp(-time / tau))) < 0.004


def test_the_surge_leaves_four_swings_in_the_classic_recording() -> None:
    for seed in range(1, 7):
        trace = trace_log(simulate_log("classic", seed=seed).logs[0], SETTINGS)[0].traces[0]
        assert trace.start is not None
        assert trace.episode_table()[0].size + 0 >= 1
        assert trace.excursions.count >= 4
        assert trace.start.end_s < 40.0


def test_no_surge_in_a_log_that_begins_in_mid_operation() -> None:
    # null: white and 1/f noise without power-up, 60 channels; none may be taken for a start
    for seed in range(15):
        for kind in ("steady", "steady-flicker"):
            for trace in trace_log(simulate_log(kind, seed=seed, hours=0.3, power_up=False).logs[0], SETTINGS)[
                0
            ].traces:
                assert trace.start is None
                assert not trace.power_up_seen
