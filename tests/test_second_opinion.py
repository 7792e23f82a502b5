"""A second opinion on what would be left out. The makers are the plain reference's and others', seeds apart from the table's."""

import json
import sys
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from flicker import Limits, Log, compare
from flicker.base.values import Unobserved
from flicker.signals.blocks import reduce_log
from flicker.signals.connection.movement import SAME, view_of
from flicker.signals.connection.reasons import Surety, Told, sentences
from flicker.signals.connection.second_opinion import TABLE, figures, log_odds
from flicker.signals.trace import trace_log

sys.path.append(str(Path(__file__).parent / "studies"))
import fault_makers
import make_state_tables
from make_state_tables import FIGURES

SETTINGS = Limits()


def lost(kind: str, seeds: range) -> list[float]:
    """Share of the faulty channel's time that is left out, its start apart."""
    out = []
    for seed in seeds:
        log, end = fault_makers.make(kind, seed)
        out.append(0.0)
        for run in trace_log(log, SETTINGS):
            gaps = [gap for gap in run.traces[0].unobserved if gap.reason not in (Unobserved.SURGE, Unobserved.MUTED)]
            out[-1] += sum(gap.end_s - gap.start_s for gap in gaps) / end
    return out


@pytest.mark.parametrize(("kind", "most"), [("hunt", 0.01), ("wander", 0.12), ("spell", 0.06), ("quietens", 0.06)])
def test_time_of_real_faults_is_kept(kind, most):
    """Sixteen logs a kind; the rules alone lose 18, 23, 8 and 6 % of such faults (recorded study)."""
    assert np.mean(lost(kind, range(16))) <= most


def test_a_doubt_is_told_and_the_time_counts():
    """An output at 8 mV that hunts for twenty minutes about 3 mV, by 8 mV every 40 s: a lead in the air might do so."""
    rng = np.random.default_rng(4)
    time = np.arange(0.0, 4680.0, 0.5)
    volts = 0.008 + 3e-4 * rng.standard_normal(time.size)
    part = (time > 1500) & (time < 2700)
    volts[part] += 0.008 * np.sin(2 * np.pi * time[part] / 40.0) - 0.005
    log = Log.from_arrays(time, {"left": np.round(volts, 5)}, start=datetime(2026, 3, 1, 19, 0))
    (trace,) = trace_log(log, SETTINGS)[0].traces
    assert trace.unobserved == ()
    (told,) = [text for text in sentences("left", trace.told) if "perhaps" in text]
    assert told.startswith("left: perhaps lead open from 19:2") and "clears nothing" in told


def test_what_is_surely_live_is_no_doubt():
    """The same output hunts about its rest of 8 mV, by 12 mV: its noise and its middle go on, so no lead fell off."""
    rng = np.random.default_rng(4)
    time = np.arange(0.0, 4680.0, 0.5)
    volts = 0.008 + 3e-4 * rng.standard_normal(time.size)
    part = (time > 1500) & (time < 2700)
    volts[part] += 0.012 * np.sin(2 * np.pi * time[part] / 40.0)
    (trace,) = trace_log(Log.from_arrays(time, {"left": np.round(volts, 5)}), SETTINGS)[0].traces
    assert trace.unobserved == () and trace.doubted.size == 0


def test_volts_that_stand_still_are_told_and_not_left_out():
    """Two hours of 8 mV, then one reading of 2.2 V for an hour: a sleeping meter holds what it read before. Invented."""
    rng = np.random.default_rng(5)
    time = np.arange(0.0, 10800.0, 1.0)
    volts = 0.008 + 1e-3 * rng.standard_normal(time.size)
    volts += np.where(time > 7200, 2.2 * (1 - np.exp(-np.maximum(time - 7200, 0) / 5.0)), 0.0)
    volts[time > 7260] = 2.208
    (trace,) = trace_log(Log.from_arrays(time, {"left": np.round(volts, 3)}), SETTINGS)[0].traces
    assert all(gap.end_s < 7300 for gap in trace.unobserved)


def test_the_table_is_small_and_of_these_figures():
    table = json.loads(TABLE.read_text())
    assert table["figures"] == list(FIGURES) and table["nodes"] == sum(len(tree[0]) for tree in table["trees"]) <= 700
    assert table["origin"].startswith("make_state_tables.py")


def test_what_physics_bounds_moves_the_odds_one_way():
    rng = np.random.default_rng(2)
    for row in rng.normal(0.0, 2.0, (40, len(FIGURES))):
        for name in (*make_state_tables.RAISES, *make_state_tables.LOWERS):
            rows = np.tile(row, (9, 1))
            rows[:, FIGURES.index(name)] = np.linspace(-6.0, 6.0, 9)
            steps = np.diff([log_odds(each) for each in rows])
            assert np.all(steps >= -1e-9) if name in make_state_tables.RAISES else np.all(steps <= 1e-9), name


def test_figures_by_hand():
    """A rest of 10 mV for ten minutes, 0 V for five, 10 mV again, one reading a second; noise of one count where alive."""
    rng = np.random.default_rng(1)
    volts = 0.010 + 1e-3 * rng.integers(-1, 2, 1500)
    volts[600:900] = 0.0
    log = Log.from_arrays(np.arange(1500.0), {"left": volts})
    (blocks,) = reduce_log(log)
    view = view_of(blocks, blocks.channels[0], 1e-3, np.ones(1500, dtype=bool))
    row = dict(zip(FIGURES, figures(view, 600, 900), strict=False))
    assert row["share at zero"] == 1.0 and row["share unmoved"] == pytest.approx(299 / 300)
    # Zero is two counts; what lies within 0.3 of it is not told apart.
    assert row["level inside over beside"] == pytest.approx(np.log(0.0006 / 0.0106))
    # One reading throughout: the floor of 0.3 counts and 3 µV alone; beside it one count of noise and more.
    assert row["noise in volts"] == pytest.approx(np.log(0.3e-3 + 3e-6)) and row["noise against beside"] < -1.0
    assert row["floor beside, in last digits"] > 0.0 and row["share of one line, short"] < 0.5
    assert row["length"] == np.log(300) and row["share with volts"] == pytest.approx(np.log(1e-3))


def test_a_line_in_white_noise_has_its_share_of_the_power():
    """A sine of amplitude a in noise of sigma s: (a²/2) / (a²/2 + s²) of the power (textbook), plus what noise has in three
    of the 64 lines of a window; none of the noise from reading to reading is taken for the wave's."""
    rng = np.random.default_rng(3)
    time = np.arange(2400.0)
    noise = 1e-3 * rng.standard_normal(time.size)
    for size, line in ((0.0, 0.0), (2e-3, 2 / 3), (0.02, 0.995)):
        volts = noise + size * np.sin(2 * np.pi * 0.021 * time)
        (blocks,) = reduce_log(Log.from_arrays(time, {"left": volts}))
        view = view_of(blocks, blocks.channels[0], 1e-6, np.ones(time.size, dtype=bool))
        row = dict(zip(FIGURES, figures(view, 600, 1800), strict=False))
        assert line - 0.07 <= row["share of one line, longer"] <= line + 0.2 * (1 - line) + 0.02
        assert row["noise in volts"] == pytest.approx(np.log(1e-3), abs=0.25)
        assert abs(row["noise against beside"]) < SAME  # what the rules take for the same


def test_sentences():
    at = datetime(2026, 3, 1, 18, 30)
    spans = ((2520.0, 4200.0),)
    (sure,) = sentences("left", [Told(Unobserved.OPEN_LEAD, Surety.SURE, spans, at)])
    assert sure == (
        "left: lead open from 19:12 to 19:40: clip it on again; if it was on, the output itself became restless; "
        "that time does not count."
    )
    (unsure,) = sentences("left", [Told(Unobserved.OPEN_LEAD, Surety.LIKELY, spans, at)])
    assert unsure.startswith("left: most likely lead open from 19:12 to 19:40: clip it on again")
    (doubt,) = sentences("left", [Told(Unobserved.STILL, Surety.DOUBT, spans, None)])
    assert "perhaps no signs of life from 42 min 00 s to 1 h 10 min 00 s" in doubt
    (twice,) = sentences("left", [Told(Unobserved.REPEATED, Surety.SURE, ((0.0, 60.0), (100.0, 160.0)), None)])
    assert "from 0 s to 1 min 00 s and once more, 2 minutes in all" in twice


def test_one_sentence_for_all_evenings():
    """A doubt of three evenings is one line with the first and the last day, not one line for each evening."""
    spans = ((2520.0, 4200.0), (5000.0, 5600.0))
    evenings = [Told(Unobserved.STILL, Surety.DOUBT, spans, datetime(2026, 3, day, 18, 30)) for day in (1, 2, 5)]
    (told,) = sentences("left", evenings)
    assert told.startswith(
        "left: perhaps no signs of life in 3 runs, first on 2026-03-01 from 19:12 to 19:40 and 5 times more, last on "
        "2026-03-05, 1.9 hours in all. "
    )
    (undated,) = sentences("left", [Told(Unobserved.STILL, Surety.DOUBT, spans, None)] * 3)
    assert "in 3 runs, first from 42 min 00 s to 1 h 10 min 00 s and 5 times more, 1.9 hours in all" in undated


def _spells(many: int) -> Log:
    """A rest of 8 mV; spells of five minutes as an open lead reads: hum folded to 0.37 Hz, a slow wander, broad noise."""
    rng = np.random.default_rng(5)
    time = np.arange(0.0, 3600.0 * 3, 0.5)
    volts = 0.008 + 3e-4 * rng.standard_normal(time.size)
    for number in range(many):
        part = slice(2400 + 3000 * number, 3000 + 3000 * number)
        wander = np.convolve(rng.standard_normal(640), np.ones(41) / 6.4, mode="valid")
        volts[part] = 0.012 * (np.sin(2 * np.pi * 0.37 * time[part]) + 0.4 * wander + 0.2 * rng.standard_normal(600))
    return Log.from_arrays(time, {"left": np.round(volts, 5)})


def test_a_lead_does_not_come_back_by_itself_again_and_again():
    """Invented. Twice: somebody clipped it on again, left out. Six times: the output's own spells, told and kept."""
    (twice,) = trace_log(_spells(2), SETTINGS)[0].traces
    assert [gap.reason for gap in twice.unobserved] == [Unobserved.OPEN_LEAD] * 2 and twice.doubted.size == 0
    (often,) = trace_log(_spells(6), SETTINGS)[0].traces
    assert often.unobserved == () and often.doubted.shape == (6, 2)
    assert any("perhaps lead open" in text and "5 times more" in text for text in sentences("left", often.told))


def test_a_range_that_shows_less_is_told():
    """Alternating volts: 3 mV that hardly move for twenty minutes, between a live 8 mV. Invented."""
    rng = np.random.default_rng(6)
    time = np.arange(0.0, 7200.0, 0.5)
    volts = 0.008 + 6e-4 * rng.standard_normal(time.size)
    part = (time >= 3000.0) & (time < 4200.0)
    volts[part] = 0.003 + 2e-5 * rng.standard_normal(np.count_nonzero(part))
    (trace,) = trace_log(Log.from_arrays(time, {"left": np.round(volts, 5)}), SETTINGS)[0].traces
    assert trace.unobserved == ()
    assert trace.doubted == pytest.approx(np.array([[3000.0, 4200.0]]), abs=3.0)
    assert any("perhaps no signs of life" in text for text in sentences("left", trace.told))


def test_a_change_that_rests_on_a_doubt_is_told():
    """Before, 40 swings in three hours; after, none, but twenty minutes in which the lead may have been off. Invented."""
    rng = np.random.default_rng(4)
    time = np.arange(0.0, 10800.0, 0.5)
    before, after = (0.008 + 3e-4 * rng.standard_normal(time.size) for _ in range(2))
    for at in range(400, time.size - 400, 530):
        before[at : at + 6] += 0.12
    part = (time > 5000) & (time < 6200)
    after[part] += 0.008 * np.sin(2 * np.pi * time[part] / 40.0) - 0.005
    logs = [
        Log.from_arrays(time, {"left": np.round(volts, 5)}, name=name) for name, volts in (("a", before), ("b", after))
    ]
    found = compare(*logs)
    assert found.channels[0].outcome == "improved"
    (told,) = [text for text in found.cautions if "not sure that a live output was measured" in text]
    assert told.startswith("left, after: for 0.33 h") or "20 min" in told


def test_an_offset_that_was_gone_and_comes_back_is_kept():
    """60 mV that fall to nothing within the hour, hours at nothing, and back by a step of 40 mV that stays. Invented."""
    rng = np.random.default_rng(8)
    time = np.arange(0.0, 6 * 3600.0, 5.0)
    volts = 0.06 * np.exp(-time / 900.0) + 0.04 * (time >= 14400.0) + 3e-5 * rng.standard_normal(time.size)
    runs = trace_log(Log.from_arrays(time, {"left": np.round(volts, 5)}), SETTINGS)
    gaps = [gap for run in runs for gap in run.traces[0].unobserved if gap.reason != Unobserved.SURGE]
    assert gaps == [] and sum(run.traces[0].doubted.size for run in runs) == 2
