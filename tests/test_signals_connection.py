"""Is the log of a live output? Stretches that are not are taken out; a sound channel keeps its time.

All data are invented (flicker.simulate); the figures at the full number of benches stand in
tests/studies/results/connection.md. The rules are common practice, no source.
"""

from __future__ import annotations

import sys
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from flicker.base.limits import Limits
from flicker.base.values import Fitness
from flicker.evidence.assessment import assess
from flicker.evidence.guard import Reason
from flicker.logs.model import Log
from flicker.signals.connection.movement import switches
from flicker.signals.trace import RunTraces, Trace, trace_log
from flicker.simulate import Bench, simulate_log

sys.path.insert(0, str(Path(__file__).parent / "studies"))
import second_situations as second

SETTINGS = Limits()
COARSE = {"resolution_V": 0.001, "noise_V": 0.0004}
FINE = {"resolution_V": 0.0001, "noise_V": 0.0004}


@cache
def _traced(kind: str, seed: int, options: tuple[tuple[str, Any], ...]) -> tuple[Bench, list[list[RunTraces]]]:
    bench = simulate_log(kind, seed=seed, **dict(options))
    return bench, [trace_log(log, SETTINGS) for log in bench.logs]


def _bench(kind: str, seed: int, **options: Any) -> tuple[Bench, list[list[RunTraces]]]:
    return _traced(kind, seed, tuple(sorted(options.items())))


def _gaps(trace: Trace) -> list[tuple[float, float, str]]:
    return [(gap.start_s, gap.end_s, gap.reason) for gap in trace.unobserved if gap.reason != "power-up surge"]


@pytest.mark.parametrize("meter", [COARSE, FINE], ids=["1 mV", "0.1 mV"])
@pytest.mark.parametrize(
    ("kind", "reason"),
    [
        ("lead-off", "floating pick-up: lead or clip off"),
        ("lead-shorted", "no signs of life"),
        ("lead-chassis", "no signs of life"),
        ("meter-repeats", "no signs of life: the same reading repeated"),
    ],
)
def test_dead_stretches_are_taken_out_with_their_borders(kind: str, reason: str, meter: dict[str, float]) -> None:
    # A lead that falls off an output near zero is kept and told, so the rest is given.
    for seed, rate, away in ((11, 1.0, 300.0), (12, 5.0, 420.0), (13, 2.0, None)):
        bench, logs = _bench(kind, seed, hours=0.6, rate_hz=rate, away_s=away, settled_V=0.008, **meter)
        (truth,) = bench.truth.runs[0]["left"].stretches
        left, right = logs[0][0].traces
        ((begin, end, why),) = _gaps(left)
        assert why.startswith("no signs of life") == reason.startswith("no signs of life")
        assert abs(begin - truth.start_s) < 30 and abs(end - truth.end_s) < 30
        assert _gaps(right) == []
        assert left.told and not right.told


@pytest.mark.parametrize(
    ("kind", "options"),
    [
        ("steady-coarse", {}),  # repeats its reading for minutes, rightly
        ("steady-ar1", COARSE),
        ("steady-flicker", COARSE),
        ("servo", {**FINE, "rate_per_h": 0.0}),
        ("servo", {**FINE, "rate_per_h": 20.0}),
        ("steady", {"resolution_V": 0.001, "noise_V": 0.00003, "settled_V": 0.0001}),  # one reading throughout
        ("degrading", COARSE),
        ("drifting-walk", FINE),
        ("noisy-popcorn", FINE),
        ("noisy-saturated", FINE),
        ("noisy-floor", FINE),
        ("mains-common", {**FINE, "rate_per_h": 20.0}),
        ("steady-gappy", FINE),
    ],
)
def test_a_sound_channel_keeps_its_time(kind: str, options: dict[str, Any]) -> None:
    for seed, rate in ((1, 1.0), (2, 2.0), (3, 10.0)):
        _, logs = _bench(kind, seed, hours=0.7, rate_hz=rate, **options)
        assert len(logs[0]) == 1
        for trace in logs[0][0].traces:
            assert sum(end - begin for begin, end, _ in _gaps(trace)) <= 0.01 * logs[0][0].run.duration_s


def test_timer_nights_are_runs_without_excursions() -> None:
    for seed in range(6):
        bench, logs = _bench("timer-nights", seed, hours=2.2, on_h=0.5, off_h=0.4, rate_hz=1.0)
        runs = logs[0]
        ups = [item.time_s for item in bench.truth.runs[0]["left"].power_ups]
        assert [run.run.offset_s for run in runs] == pytest.approx(ups, abs=2.0)
        assert [run.number for run in runs] == list(range(len(ups)))
        for run in runs[1:]:
            for trace in run.traces:
                assert trace.power_up_seen and trace.start_kind == "warm"
                assert trace.off_before_s == pytest.approx(0.4 * 3600, rel=0.06)
                assert trace.states[-1].state in ("off", "on")
        assert sum(trace.excursions.count for run in runs for trace in run.traces) == 0
        times = sum(item.state == "off" for item in bench.truth.runs[0]["left"].stretches)
        off = [gap for run in runs for gap in _gaps(run.traces[0]) if gap[2] == "switched off"]
        assert len(off) == times


def test_a_long_rest_is_a_cold_start_and_glitches_after_it_are_kept() -> None:
    bench, logs = _bench("timer-nights-noisy", 3, hours=5.0, on_h=1.5, off_h=1.5, rate_hz=1.0, length_s=3.0)
    found = [trace for run in logs[0] for trace in run.traces if trace.channel == "left"]
    assert [trace.start_kind for trace in found[1:]] == ["cold"] * (len(found) - 1)
    assert len(found) == 2
    caught = len([item for item in bench.truth.excursions("left") if item[1].samples >= 2])
    assert abs(sum(trace.excursions.count for trace in found) - caught) <= 1


def test_mains_dropouts_restart_the_clock() -> None:
    for seed in range(1, 5):
        bench, logs = _bench("mains-dropouts", seed, hours=1.0)
        assert len(logs[0]) == 4
        assert sum(trace.excursions.count for run in logs[0] for trace in run.traces) == 0
        assert all(trace.start_kind == "warm" for run in logs[0][1:] for trace in run.traces)
        assert bench.truth.runs[0]["left"].stretches


def test_a_pause_of_the_logger_restarts_nothing() -> None:
    for log in _bench("logger-pause", 2, hours=1.0)[1]:
        for run in log[1:]:
            assert not any(trace.power_up_seen for trace in run.traces)
            assert all(trace.start_kind == "unknown" for trace in run.traces)


def test_an_open_relay_cuts_the_excursion_before_it() -> None:
    for seed in (1, 2, 3, 4):
        bench, logs = _bench("relay-speaker-side", seed, floating=False, settled_V=0.006)
        left = logs[0][0].traces[0]
        openings = [s for s in bench.truth.runs[0]["left"].stretches if s.state == "disconnected"]
        assert left.disconnected.shape == (3, 2)
        for (begin, end), truth in zip(left.disconnected, openings, strict=True):
            assert abs(begin - truth.start_s) < 2 and abs(end - truth.end_s) < 2
        assert left.measured_at == "speaker side"
        assert int(left.excursions.cut.sum()) == 3
        assert (left.excursions.cut | left.excursions.over_range).sum() == 3
        assert [state.state for state in left.states[:2]] == ["muted", "starting"]
        seen = _bench("relay", seed)[1][0][0].traces[0]
        assert seen.measured_at == "amplifier side"
        assert seen.disconnected.size == 0 and not seen.excursions.cut.any()


def test_a_relay_that_never_closes_shows_no_life() -> None:
    for seed in range(6):
        for trace in _bench("relay-never-closes", seed, hours=0.5)[1][0][0].traces:
            assert trace.life == "not shown"


@pytest.mark.parametrize(
    ("offset", "noise", "life"),
    [(0.0, 0.00002, "not shown"), (0.008, 0.00002, "seen"), (0.0, 0.0004, "not shown")],
)
def test_life_without_a_start_needs_a_level(offset: float, noise: float, life: str) -> None:
    log = _bench("steady", 4, hours=0.3, power_up=False, settled_V=offset, noise_V=noise)[1][0][0]
    assert {trace.life for trace in log.traces} == {life}


@pytest.mark.parametrize(
    ("kind", "dead"),
    [("slow wander", False), ("hum on noise", True), ("open lead", True), ("far off", False)],  # the last swings by 45 mV: noise
)
def test_life_about_zero(kind: str, dead: bool) -> None:
    """An output whose level wanders past zero lives; what hums about zero may be an open lead (data invented)."""
    rng = np.random.default_rng(11)
    time = np.arange(3600.0)
    white = rng.standard_normal(time.size)
    slow = np.zeros(time.size)
    for at in range(1, time.size):
        slow[at] = 0.98 * slow[at - 1] + 0.2 * white[at]
    value = {
        "slow wander": 0.020 * np.sin(2 * np.pi * time / 2400.0) + 0.0002 * white,
        "hum on noise": 0.0003 + 0.0019 * np.sin(2 * np.pi * time / 21.0) + 0.0011 * white,
        "open lead": 0.003 * np.sin(2 * np.pi * time / 21.0) + 0.003 * slow + 0.0005 * rng.standard_normal(time.size),
        "far off": 0.008 + 0.012 * np.sin(2 * np.pi * time / 21.0) + 0.008 * slow,
    }[kind]
    found = assess(Log.from_arrays(time, {"left": np.round(value, 4)})).channels[0]
    assert (Reason.DEAD in found.guard.reasons) == dead
    assert found.fitness != Fitness.WITHIN_LIMITS


def test_one_reading_throughout_is_no_life() -> None:
    time = np.arange(900.0)
    trace = trace_log(Log.from_arrays(time, {"left": np.full(900, 0.007)}), SETTINGS)[0].traces[0]
    assert trace.life == "not shown"
    assert trace.observed_s == pytest.approx(900.0)


def test_one_live_channel_says_that_the_unit_was_on() -> None:
    rng = np.random.default_rng(5)
    time = np.arange(3600.0)
    live = 0.005 + 0.0004 * rng.standard_normal(3600)
    lost = live.copy()
    lost[1000:2000] = 0.0
    lost[2000:] += 0.08 * np.exp(-np.arange(1600) / 10.0)  # thump as the lead comes back
    runs = trace_log(Log.from_arrays(time, {"lost": np.round(lost, 4), "live": np.round(live, 4)}), SETTINGS)
    assert len(runs) == 1
    assert _gaps(runs[0].traces[1]) == []
    ((begin, end, why),) = _gaps(runs[0].traces[0])
    assert abs(begin - 1000) <= 5 and abs(end - 2000) <= 5
    assert why == "no signs of life"


def test_garbage_before_the_relay_closes_is_no_excursion() -> None:
    rng = np.random.default_rng(8)
    time = np.arange(0, 1200, 0.25)
    value = 0.003 + 0.09 * np.exp(-np.maximum(time - 6.0, 0.0) / 9.0) + 0.0004 * rng.standard_normal(time.size)
    value[:24] = 0.3 * np.where(np.arange(24) // 4 % 2 == 0, 1.0, -1.0) * rng.uniform(0.7, 1.0, 24)
    (run,) = trace_log(Log.from_arrays(time, {"left": np.round(value, 4)}), SETTINGS)
    trace = run.traces[0]
    assert trace.excursions.count == 0
    assert trace.states[0].state == "muted" and abs(trace.states[0].end_s - 6.0) <= 1.5
    assert trace.start is not None


@pytest.mark.parametrize(
    ("evidence", "expected"),
    [
        ([-1.0] * 5 + [2.0] * 10 + [-2.0] * 10, [(5, 15)]),
        ([1.0] * 20, [(0, 20)]),
        ([-1.0] * 20, []),
        ([-1.0] * 4 + [2.0] * 8 + [-3.0] + [2.0] * 8 + [-3.0] * 6, [(4, 21)]),  # one odd reading does not end it
    ],
)
def test_switches_by_hand(evidence: list[float], expected: list[tuple[int, int]]) -> None:
    assert switches(np.array(evidence), 12.0) == expected


@pytest.mark.parametrize(
    ("kind", "meter", "least"),
    [
        ("relay-zero", "1 mV", 12),
        ("relay-floating", "0.1 mV", 11),
        ("lead-off", "0.1 mV", 5),
        ("chassis", "0.1 mV", 5),
        ("asleep", "1 mV", 6),
        ("ac-range", "0.1 mV", 5),
        ("off", "1 mV", 12),
    ],
)
def test_the_second_generator_hides_stretches_that_are_found(kind: str, meter: str, least: int) -> None:
    """Six benches a row; the recorded share of the full study leaves at most one stretch in twelve to chance."""
    right = total = 0
    for seed in range(7, 13):
        case = second.make(kind, seed, meter=meter, rate_hz=(1.0, 2.0, 5.0)[seed % 3])
        runs = trace_log(case.log, SETTINGS)
        for name, hidden in case.hidden.items():
            for begin, until in hidden:
                total += 1
                gaps = [
                    (gap.start_s + run.run.offset_s, gap.end_s + run.run.offset_s)
                    for run in runs
                    for trace in run.traces
                    if trace.channel == name
                    for gap in trace.unobserved
                    if gap.reason not in ("power-up surge", "muted")
                ]
                near = [gap for gap in gaps if gap[1] > begin and gap[0] < until]
                right += bool(near) and abs(near[0][0] - begin) <= 30 and abs(near[-1][1] - until) <= 30
    assert total >= 6 and right >= least


@pytest.mark.parametrize("meter", ["1 mV", "0.1 mV"])
@pytest.mark.parametrize("kind", ["ar1", "steep", "quantised", "ripple", "zero", "low-noise", "range"])
def test_the_second_generator_s_sound_channels_keep_their_time(kind: str, meter: str) -> None:
    # each of these lost time before: rounding and slow ripple taken for pick-up, a reading at rest for a sleeping meter
    for seed in (1, 2, 6, 7, 15, 16):
        case = second.make(kind, seed, meter=meter, rate_hz=second.RATES[seed % 4])
        for run in trace_log(case.log, SETTINGS):
            for trace in run.traces:
                assert sum(end - begin for begin, end, _ in _gaps(trace)) <= 0.01 * run.run.duration_s


def test_short_openings_of_a_floating_relay() -> None:
    found = due = 0
    for seed in range(8):
        bench, logs = _bench("relay-speaker-side", seed, floating=True)
        for truth in bench.truth.runs[0]["left"].stretches:
            if truth.state == "disconnected":
                due += 1
                seen = logs[0][0].traces[0].disconnected
                found += any(abs(a - truth.start_s) < 2.5 and abs(b - truth.end_s) < 3 for a, b in seen)
    assert due == 24 and found >= 20
    for kind in ("relay", "noisy-bursts"):  # the amplifier's side: nothing opens
        for seed in range(4):
            assert _bench(kind, seed, hours=0.2)[1][0][0].traces[0].disconnected.size == 0


def test_mains_dropouts_of_one_channel() -> None:
    found = 0
    for seed in range(8):
        found += len(_bench("mains-dropouts", seed, hours=0.7, channels=("left",))[1][0]) - 1
        for kind in ("noisy", "servo", "noisy-popcorn"):
            assert len(_bench(kind, seed, hours=0.7, channels=("left",))[1][0]) == 1
    assert 8 <= found <= 24


@pytest.mark.parametrize(
    ("kind", "seed"),
    [("lead-off", 95043), ("lead-off", 95057), ("asleep", 97012)],
)
def test_what_a_coarse_digit_hides_of_a_lost_channel(kind: str, seed: int) -> None:
    """Pick-up that passes the rest it left, of few counts, or beside a held reading (invented benches, seeds kept)."""
    case = second.make(kind, seed, meter="0.1 mV" if kind == "asleep" else "1 mV", rate_hz=second.RATES[seed % 4])
    ((begin, end),) = case.hidden["left"]
    gaps = _gaps(trace_log(case.log, SETTINGS)[0].traces[0])
    assert abs(gaps[0][0] - begin) <= 30 and abs(gaps[-1][1] - end) <= 30
