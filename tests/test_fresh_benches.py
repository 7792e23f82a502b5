"""The makers of the fresh benches: the same seed gives the same log, of the shape promised, and the truth holds."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent / "studies"))

import fresh_dangers as dangers


def same(a: dangers.BenchLog, b: dangers.BenchLog) -> bool:
    return (
        np.array_equal(a.time_s, b.time_s)
        and a.truth == b.truth
        and a.readings_V.keys() == b.readings_V.keys()
        and all(np.array_equal(v, b.readings_V[k], equal_nan=True) for k, v in a.readings_V.items())
    )


def shaped(log: dangers.BenchLog) -> None:
    assert 1 <= len(log.readings_V) <= 3
    assert np.all(np.diff(log.time_s) > 0)
    assert all(v.shape == log.time_s.shape for v in log.readings_V.values())
    assert sum(len(f["time"]) for f in log.files()) == log.time_s.size  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", dangers.SOUND_KINDS)
def test_sound_logs_are_sound_by_the_technicians_rule(kind: str) -> None:
    log = dangers.sound_log(kind, 11)
    assert same(log, dangers.sound_log(kind, 11))
    assert not same(log, dangers.sound_log(kind, 12))
    shaped(log)
    assert log.truth.sound
    assert log.time_s[-1] > 3.5 * 3600
    assert np.median(np.diff(log.time_s)) <= 30.1
    for v in log.unclipped_V.values():
        assert not dangers.refuses(log.time_s, v, log.time_s)
        assert np.abs(v[log.time_s > 1200]).max() < 0.05


@pytest.mark.parametrize("form", dangers.DANGERS)
def test_dangers_reach_their_size_where_they_are_said_to_be(form: str) -> None:
    log = dangers.danger_log(form, 21, 12.0)
    assert same(log, dangers.danger_log(form, 21, 12.0))
    shaped(log)
    assert not log.truth.sound
    reached = max(float(np.abs(log.unclipped_V[n]).max()) for n in log.truth.channels)
    # Averaging meters, cadences of 30 s and exponentials cut short may hide most of a short one, never of a long one.
    short = {"short_train", "single_pulse", "mains_borne", "rail_fuse", "protection_cycling", "motorboating",
             "oscillation", "dies_dead"}  # fmt: skip
    assert reached <= 12.2
    if form not in short:
        assert reached > 2.0
        assert log.truth.beyond_doubt
    inside = (log.time_s >= log.truth.from_s - 35) & (log.time_s <= log.truth.to_s + 35)
    if form not in {"dies_dead"}:
        for n in log.truth.channels:
            assert np.abs(log.unclipped_V[n][~inside & (log.time_s > 10)]).max(initial=0.0) < 0.7


def test_small_dangers_are_not_beyond_doubt_and_large_ones_are() -> None:
    assert not dangers.danger_log("single_pulse", 3, 0.03).truth.beyond_doubt
    assert not dangers.danger_log("stuck_level", 3, 0.03).truth.beyond_doubt
    assert all(dangers.danger_log("stuck_level", s, 0.5).truth.beyond_doubt for s in range(3))


def test_meters_tell_over_range_in_their_own_way() -> None:
    said = {m.over for m in dangers.METERS}
    assert said == {"over", "blank", "clip"}
    rng = np.random.default_rng(0)
    for meter in dangers.METERS:
        v = dangers.write_down(np.array([0.0, 1e-3, meter.ranges_V[-1] * 2]), meter, rng)
        assert abs(v[1] - 1e-3) < 0.01
        assert not np.isfinite(v[2]) or v[2] == meter.ranges_V[-1]
