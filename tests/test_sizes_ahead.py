"""Growing swings against the relay's threshold: exact growth, the invented unit whose swings grow, and silence elsewhere."""

from __future__ import annotations

import math

import numpy as np
import pytest

from flicker import assess, simulate_log
from flicker.evidence.outlook.swings_ahead import growing_swings
from flicker.present.charts import NothingToDraw
from flicker.stats.power_ups import sizes_ahead


def test_an_exact_growth_reaches_the_threshold_where_it_must():
    # 0.1 V doubling each hour, no scatter: 0.75 V after log2(7.5) = 2.9069 h, which is 0.9069 h after the end at 2 h
    t = np.linspace(0.02, 2.0, 100)
    found = sizes_ahead(0.1 * 2.0**t, t, 2.0, 0.75)
    assert found.middle == pytest.approx(math.log2(7.5) - 2.0, abs=0.03)  # a swing every 1.2 minutes
    assert found.earliest == pytest.approx(0.8 * (math.log2(7.5) - 2.0), abs=0.03)  # 0.8: as for levels that move
    assert found.size_now == pytest.approx(0.4, rel=1e-3)
    far = sizes_ahead(0.01 * 2.0**t, t, 2.0, 0.75)
    assert far.earliest == far.middle == math.inf and "not within 1.98" in far.reads


def test_ten_bursts_are_needed():
    assert sizes_ahead([0.1] * 9, list(range(9)), 10.0, 1.0) is None


def test_a_unit_whose_swings_grow_is_told_and_others_are_not():
    told = 0
    for seed in (1, 2, 3):
        item = assess(list(simulate_log("degrading-size", seed=seed).logs)).channels[0]
        ahead = item.swings_ahead
        if item.finding("larger").answer == "yes" and (item.relay.peak_V or 0.0) < 0.75 and ahead is not None:
            told += 1
            assert ahead.rests_on == "larger" and ahead.threshold_V == 0.75
            assert ahead.earliest_h is None or ahead.earliest_h <= ahead.watched_h
            assert "0.75" in ahead.reads or "750 mV" in ahead.reads
    assert told
    assert all(item.swings_ahead is None for item in assess(list(simulate_log("noisy", seed=1).logs)).channels)


def test_the_chart_shows_the_line_the_threshold_and_the_interval():
    result = assess(list(simulate_log("degrading-size", seed=2).logs))
    item = next(item for item in result.channels if item.swings_ahead is not None)
    told = result.chart.ahead(item.channel).to_dict()
    assert item.swings_ahead.reads in told["description"] and "relay would open: 750 mV" in str(told)
    curve = growing_swings(result.records[0], item.findings, result.limits).ahead.curve
    # a line in log sizes: equal steps of time are equal factors; it ends where as much time has passed again
    assert np.ptp(np.diff(np.log(curve[:, 1]))) < 1e-9 and curve[-1, 0] == pytest.approx(2 * item.swings_ahead.watched_h, rel=0.2)
    assert (curve[:, 2] < curve[:, 1]).all() and (curve[:, 1] < curve[:, 3]).all()
    with pytest.raises(NothingToDraw, match="not shown to grow"):
        assess(list(simulate_log("noisy", seed=1).logs)).chart.ahead()
