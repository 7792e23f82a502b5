"""Numbers at the edge: single precision, large offsets, long clocks, denormals; and no warning escapes. Data invented."""

from __future__ import annotations

import datetime as dt
import json
import warnings

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from flicker import Log, assess, read_log, simulate_log
from flicker.base.middle import median, row_medians
from flicker.simulate import KINDS


@pytest.fixture(autouse=True)
def strict():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        # what another test left open is collected here by chance
        warnings.simplefilter("ignore", ResourceWarning)
        warnings.simplefilter("default", pytest.PytestUnraisableExceptionWarning)
        yield


def bench(kind="noisy", hours=1.0, seed=3):
    log = simulate_log(kind, seed=seed, hours=hours)
    return log.time_s(), {name: log.values(name) for name in log.channels}


def counts(result):
    return [(item.verdict, item.rate.episodes, item.excursions_total, item.fitness) for item in result.channels]


def test_single_precision_gives_the_same_counts(tmp_path):
    time_s, values = bench()
    exact = assess(Log.from_arrays(time_s, values))
    for kind in (np.float32, np.float64):
        columns = {"time_s": time_s, **{f"{name}_V": column.astype(kind) for name, column in values.items()}}
        pq.write_table(pa.table(columns), tmp_path / "log.parquet")
        found = assess(tmp_path / "log.parquet")
        assert counts(found) == counts(exact)
        for one, two in zip(found.channels, exact.channels, strict=True):
            # single precision: relative error 2^-24 (IEEE 754), of readings up to a few volts
            assert one.baseline.level_V == pytest.approx(two.baseline.level_V, abs=1e-6)
            assert one.noise.resolution_V == pytest.approx(two.noise.resolution_V, rel=1e-3)


@pytest.mark.parametrize("offset_uV", [0.0, 1e6, -1e6, 4e7])
def test_a_large_offset_in_microvolts_hides_nothing(tmp_path, offset_uV):
    time_s, values = bench()
    lines = ["time_s,left_uV"]
    lines += [f"{t},{v * 1e6 + offset_uV:.1f}" for t, v in zip(time_s, values["left"], strict=True)]
    (tmp_path / "log.csv").write_text("\n".join(lines) + "\n")
    found = assess(tmp_path / "log.csv").channels[0]
    plain = assess(Log.from_arrays(time_s, {"left": values["left"]})).channels[0]
    assert found.noise.sigma_V == pytest.approx(plain.noise.sigma_V, rel=1e-6)
    assert found.baseline.level_V - offset_uV * 1e-6 == pytest.approx(plain.baseline.level_V, abs=2e-5)
    if offset_uV == 0.0:
        assert found.rate.episodes == plain.rate.episodes


def test_an_offset_does_not_touch_the_noise():
    time_s, values = bench()
    plain = assess(Log.from_arrays(time_s, values)).channels[0]
    for offset_V in (1.0, 30.0, 1e3):
        moved = assess(Log.from_arrays(time_s, {name: column + offset_V for name, column in values.items()})).channels[
            0
        ]
        assert moved.noise.sigma_V == pytest.approx(plain.noise.sigma_V, rel=1e-3)


@pytest.mark.parametrize("days", [1, 30, 400])
def test_a_long_clock_keeps_microseconds(tmp_path, days):
    start = dt.datetime(2031, 3, 3, 18, 30, 0, 123457)
    step = dt.timedelta(seconds=days * 86400.0 / 2000.0)
    stamps = [start + k * step + dt.timedelta(microseconds=(k * 7919) % 1000) for k in range(2000)]
    text = "time,left_mV\n" + "".join(
        f"{stamp.isoformat(timespec='microseconds')},{k % 5}.0\n" for k, stamp in enumerate(stamps)
    )
    (tmp_path / "log.csv").write_text(text)
    log = read_log(tmp_path / "log.csv", run_gap_s=1e9)
    found = np.concatenate([piece.time_s for piece in log.sweep()])
    expected = np.array([(stamp - stamps[0]) // dt.timedelta(microseconds=1) for stamp in stamps])
    assert np.array_equal(np.round(found * 1e6).astype(np.int64), expected)


def test_seconds_since_1970_with_fractions_keep_their_step():
    # doubles near 1.9e9 are 2.4e-7 apart (IEEE 754): a step of a millisecond is known to some parts in a thousand
    time_s, values = bench(hours=0.2)
    one = assess(Log.from_arrays(time_s, values))
    two = assess(Log.from_arrays(time_s + 1.93e9, values))
    assert counts(one) == counts(two)
    for a, b in zip(one.channels, two.channels, strict=True):
        assert [row.start_s for row in a.excursions] == pytest.approx([row.start_s for row in b.excursions], abs=1e-6)


@pytest.mark.parametrize("unit", [5e-324, 1e-310, 1e-30, 1e-12])
def test_readings_next_to_nothing(unit):
    rng = np.random.default_rng(1)
    time_s = np.arange(4000.0)
    result = assess(Log.from_arrays(time_s, {"left": rng.integers(-3, 4, 4000) * unit}))
    json.loads(result.to_json())
    assert result.channels[0].rate.episodes == 0


def test_readings_beyond_sense():
    rng = np.random.default_rng(1)
    time_s = np.arange(4000.0)
    result = assess(Log.from_arrays(time_s, {"left": rng.normal(size=4000) * 1e150, "right": rng.normal(size=4000)}))
    json.loads(result.to_json())
    assert result.channel("left").fitness != "within limits for the time observed"


@pytest.mark.parametrize(
    "kind",
    ["noisy-saturated", "noisy-popcorn", "drifting-walk", "relay", "stuck-high", "auto-range", "single-swing", "taps"],
)
def test_no_warning_escapes(kind):
    json.loads(assess(simulate_log(kind, seed=6).logs).to_json())


@pytest.mark.study
@pytest.mark.parametrize("kind", KINDS)
def test_no_warning_escapes_from_any_kind(kind):
    for seed in (1, 2, 3):
        json.loads(assess(simulate_log(kind, seed=seed).logs).to_json())


def test_medians_are_those_of_numpy():
    """Bit by bit; numbers invented."""
    rng = np.random.default_rng(20261127)
    for k in range(600):
        values = rng.normal(size=k + 1).round(k % 4)
        assert median(values) == np.median(values)
        rows = rng.normal(size=(3, k + 1))
        assert row_medians(rows).tolist() == np.median(rows, axis=1).tolist()
