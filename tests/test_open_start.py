"""When an output relay closed that was open at first. Data invented; seconds with 'reference' beside them come from the
plain reference of this model, written apart from the program."""

import sys
from pathlib import Path

import numpy as np
import pytest

from flicker import Limits, Log, assess
from flicker.base.values import Unobserved
from flicker.evidence.record.starts import without_first_seconds
from flicker.signals.blocks import reduce_log
from flicker.signals.connection.open_start import first_readings, relay_closed_at
from flicker.signals.spill_buffer import FIRST_S, Stash
from flicker.signals.trace import trace_log

sys.path.append(str(Path(__file__).parent / "studies"))
import open_starts

SETTINGS = Limits()


def closed(log: Log) -> float:
    """When the relay of the first channel closed, 0 where it was closed."""
    blocks = reduce_log(log)[0]
    time_s, volts = first_readings(log, blocks)[0]
    return relay_closed_at(time_s, volts, resolution_V=1e-5, zero_V=1e-3, step_V=0.01) or 0.0


def start(lead: float, until_s: float, rate_hz: float, seed: int = 11) -> Log:
    """White volts until the relay closes, then 90 mV that fall on 8 s to 4 mV; noise 0.3 mV."""
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, 120.0, 1.0 / rate_hz)
    volts = 0.004 + 3e-4 * rng.standard_normal(time.size) + 0.09 * np.exp(-np.maximum(time - until_s, 0.0) / 8.0)
    head = time < until_s
    volts[head] = lead * rng.standard_normal(np.count_nonzero(head))
    return Log.from_arrays(time, {"left": np.round(volts, 5)})


@pytest.mark.parametrize(
    ("lead", "until_s", "rate_hz", "seed", "reference"),
    [
        (0.3, 5.0, 4.0, 2, 5.0),
        (0.1, 4.0, 2.0, 2, 4.0),
        (0.6, 2.5, 4.0, 2, 2.5),
        (0.3, 0.0, 2.0, 2, 0.0),
        (0.3, 5.0, 4.0, 6, 5.0),
        (0.1, 4.0, 2.0, 6, 4.0),
        (0.6, 2.5, 4.0, 6, 2.25),
    ],
)
def test_white_volts_before_the_relay_closes(lead, until_s, rate_hz, seed, reference):
    assert abs(closed(start(lead, until_s, rate_hz, seed)) - reference) <= 1.0 / rate_hz


@pytest.mark.parametrize("kind", ["jumps", "wander", "floats", "mixed", "zero"])
def test_borders_of_open_starts(kind):
    """The recorded study finds at least three in four of each kind."""
    right = 0
    for seed in range(20):
        log, truth = open_starts.make(kind, seed, minutes=2.0)
        right += abs(closed(log) - truth) <= 1.5
    assert right >= 13


@pytest.mark.parametrize("kind", ["surge", "slow-rise", "mid-operation", "hunt", "steep", "bounce"])
def test_starts_without_a_relay(kind):
    assert sum(closed(open_starts.make(kind, seed, minutes=2.0)[0]) > 0 for seed in range(20)) <= 1


def test_a_rest_at_zero_and_a_swing_is_no_relay():
    """A quiet output near zero swings after five seconds: its zero later on is as long."""
    time = np.arange(0.0, 120.0, 0.5)
    volts = 1e-4 * np.random.default_rng(3).standard_normal(time.size)
    volts[10:14] = 0.12
    assert closed(Log.from_arrays(time, {"left": volts})) == 0.0


def test_a_long_log_keeps_its_first_minute_at_full_rate(tmp_path):
    fine = start(0.3, 5.0, 10.0)
    (piece,) = list(fine.sweep())
    time = np.arange(80_000) / 10.0
    volts = np.concatenate((piece.values[0], 0.004 + 3e-4 * np.random.default_rng(1).standard_normal(80_000 - 1200)))
    path = tmp_path / "long.csv"
    np.savetxt(path, np.column_stack((time, volts)), fmt="%.5f", delimiter=",", header="time_s,left_V", comments="")
    from flicker import read_log

    written = read_log(path)
    (blocks,) = reduce_log(written, Stash(0.02, 0.5, 5.0))
    assert blocks.channels[0].sample_s.size < 80_000  # the subsample is thinned
    time_s, read = first_readings(written, blocks)[0]
    assert np.count_nonzero(time_s <= FIRST_S) == 601
    np.testing.assert_allclose(read[:600], volts[:600], atol=6e-6)
    assert blocks.stash is not None and blocks.stash.rows(0, 0, 600) is not None  # not read a second time
    assert closed(written) == pytest.approx(5.0, abs=0.2)
    trace = trace_log(written, SETTINGS)[0].traces[0]
    assert trace.relay_closed_s == pytest.approx(5.0, abs=0.2)
    assert trace.measured_at == "speaker side" and trace.excursions.count == 0


def test_what_an_open_lead_reads_in_the_first_seconds_is_no_excursion():
    """Hum that folds to a slow wave of -0.26 V before the relay closes at 3.9 s: no border shows, the grace takes it."""
    log, _ = open_starts.make("hum", 8723685)
    (run,) = trace_log(log, SETTINGS)
    assert run.traces[0].relay_closed_s is None and run.traces[0].excursions.start_s.min() < 4.0
    assert without_first_seconds(run, True, [0.0], 10.0).traces == run.traces  # leads on the amplifier side: nothing is excused
    (trace,) = without_first_seconds(run, True, [8.0], 10.0).traces
    assert trace.excursions.count == run.traces[0].excursions.count - 1 and not np.any(trace.excursions.start_s < 8.0)
    assert trace.observed[0, 0] >= 8.0
    assert any(gap.reason == Unobserved.MUTED and gap.end_s == 8.0 for gap in trace.unobserved)
    channel = assess(log).to_dict()["channels"][0]
    assert not any(swing["start_s"] < 8.0 for swing in channel["excursions"])


@pytest.mark.parametrize(("kind", "seed"), [("hum", 8723689), ("hum", 8723706), ("wander", 8723686), ("floats", 8723692)])
def test_a_surge_behind_an_open_lead_is_no_excursion(kind, seed):
    """Slow hum, or a lead louder than the surge: no border shows, and the surge lasts beyond the grace (kept seeds)."""
    log, _ = open_starts.make(kind, seed)
    channel = assess(log).to_dict()["channels"][0]
    assert not any(swing["start_s"] < 60.0 for swing in channel["excursions"])
    assert {gap["reason"] for gap in channel["gaps"]} >= {Unobserved.MUTED, Unobserved.SURGE}


@pytest.mark.parametrize(
    ("volts", "begin_s", "end_s", "told"), [(0.15, 5, 20, 0), (0.25, 5, 20, 1), (0.15, 5, 40, 1), (0.15, 9, 20, 1)]
)
def test_what_the_surge_excuses_ends_with_half_a_minute_and_its_volts(volts, begin_s, end_s, told):
    """0.2 V from 8 s to 30 s after a power-up, for what began in the first 8 s (choices, the guard's page of rules)."""
    time = np.arange(0.0, 600.0, 0.5)
    level = 0.004 + 3e-4 * np.random.default_rng(5).standard_normal(time.size)
    level[(time >= begin_s) & (time < end_s)] += volts
    (run,) = trace_log(Log.from_arrays(time, {"left": np.round(level, 5)}), SETTINGS)
    assert run.traces[0].excursions.count == 1
    assert without_first_seconds(run, True, [8.0], 10.0).traces[0].excursions.count == told


def test_more_than_a_volt_stays():
    time = np.arange(0.0, 600.0, 0.5)
    volts = 0.004 + 3e-4 * np.random.default_rng(5).standard_normal(time.size)
    volts[6:8] = 1.4
    (run,) = trace_log(Log.from_arrays(time, {"left": np.round(volts, 5)}), SETTINGS)
    assert run.traces[0].excursions.count == 1
    assert without_first_seconds(run, True, [8.0], 10.0).traces[0].excursions.count == 1


@pytest.mark.parametrize(("at_s", "volts", "swings"), [(18.0, 0.06, 0), (18.0, 0.25, 1), (40.0, 0.06, 1)])
def test_ticks_of_a_soft_start_are_no_swings(at_s, volts, swings):
    """A relay ticks in one reading; until half a minute after a start that shows, 0.2 V are the start's (the rule of clearance)."""
    time = np.arange(0.0, 4 * 3600.0, 1.0)
    level = 0.004 + 3e-4 * np.random.default_rng(5).standard_normal(time.size) + 0.05 * np.exp(-time / 1.5)
    level[time == at_s] += volts
    (channel,) = assess(Log.from_arrays(time, {"left": np.round(level, 5)})).channels
    assert channel.rate.episodes == swings and (channel.verdict == "steady") == (swings == 0)
    level[:120] = level[200:320]  # without a start the same reading is a swing
    level[time == at_s] += volts
    (channel,) = assess(Log.from_arrays(time, {"left": np.round(level, 5)})).channels
    assert channel.rate.episodes == 1
