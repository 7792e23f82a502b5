"""Ranges of the meter. All data are invented; the rules are common practice, no source."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from flicker.base.limits import Limits
from flicker.logs.model import Log
from flicker.signals.ranges import find_ranges
from flicker.signals.trace import Trace, trace_log
from flicker.simulate import simulate_log

SETTINGS = Limits()


def _left(kind: str, seed: int, **options: Any) -> Trace:
    return trace_log(simulate_log(kind, seed=seed, **options).logs[0], SETTINGS)[0].traces[0]


def test_a_range_turned_by_hand_is_found() -> None:
    for seed in range(5):
        bench = simulate_log("range-change", seed=seed, hours=0.6, noise_V=0.0005, shift_V=0.0)
        trace = trace_log(bench.logs[0], SETTINGS)[0].traces[0]
        truth = bench.truth.runs[0]["left"].ranges
        assert [span.resolution_V for span in trace.ranges.spans] == pytest.approx([1e-5, 1e-3])
        assert trace.ranges.changes_s[0] == pytest.approx(truth[1].start_s, abs=5.0)
        assert trace.sigma_V == pytest.approx(0.0005, rel=0.15)  # noise from the fine range alone
        assert trace.enter_V == SETTINGS.excursion_V and trace.observed_s > 0.95 * 0.6 * 3600


@pytest.mark.parametrize("kind", ["steady", "steady-coarse", "steady-fine", "noisy", "drifting", "meter-repeats"])
def test_one_range_stays_one(kind: str) -> None:
    for seed in range(4):
        trace = _left(kind, seed, hours=0.5)
        assert len(trace.ranges.spans) == 1 and np.isinf(trace.ranges.upper_V)
        assert trace.range_note is None


def test_a_meter_that_changes_range_by_itself() -> None:
    trace = _left("auto-range", 2, hours=2.0, rate_per_h=20.0)
    assert trace.ranges.upper_V == pytest.approx(0.05, abs=0.01)  # the simulated meter's first range ends at 50 mV
    assert trace.excursions.count > 10
    assert (trace.excursions.cut | trace.excursions.over_range).all()
    assert np.all(np.abs(trace.excursions.deviation_V) >= trace.enter_V)


def test_what_the_last_digit_hides() -> None:
    rng = np.random.default_rng(1)
    time = np.arange(3000.0)
    coarse = np.round((0.05 + 0.03 * rng.standard_normal(3000)) / 0.1) * 0.1
    trace = trace_log(Log.from_arrays(time, {"left": coarse}), SETTINGS)[0].traces[0]
    assert trace.enter_V == pytest.approx(0.4)  # four counts of 0.1 V
    assert trace.range_note is not None and trace.range_note.startswith("this range cannot tell")
    mixed = np.round((0.003 + 0.03 * rng.standard_normal(3000)) / 0.1) * 0.1
    mixed[:1500] = np.round(0.003 + 0.0004 * rng.standard_normal(1500), 4)
    trace = trace_log(Log.from_arrays(time, {"left": mixed}), SETTINGS)[0].traces[0]
    assert trace.enter_V == SETTINGS.excursion_V
    ((begin, end, reason),) = [(g.start_s, g.end_s, g.reason) for g in trace.unobserved]
    assert reason == "this range cannot tell"
    assert abs(begin - 1500) < 60 and end == pytest.approx(3000.0)


def test_no_digit_no_ranges() -> None:
    time = np.arange(200.0)
    ranges = find_ranges(time, np.sin(time), (), 0.0, 200.0)
    assert len(ranges.spans) == 1 and ranges.changes_s == ()
