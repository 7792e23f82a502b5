"""The clock of a log: turned, early, equal, missing and uneven stamps; the truth is known because it is made here."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flicker import assess
from flicker.logs.model import ArraySource, Log
from flicker.logs.sampling import Timekeeper, cadence_of

PACE = 0.5


def log_of(time: np.ndarray, *, wall_s: float | None = None, run=None, batch_rows: int = 1 << 20, **kwargs) -> Log:
    source = ArraySource(
        "made", np.asarray(time, float), {"a": np.arange(len(time), dtype=float)}, run=run, batch_rows=batch_rows
    )
    source.wall_s = wall_s  # type: ignore[attr-defined]
    return Log(source, **kwargs)


def read(log: Log):
    pieces = list(log.sweep())
    time = np.concatenate([p.time_s + log.runs[p.run].offset_s for p in pieces])
    assert np.array_equal(np.concatenate([p.values[0] for p in pieces]), np.arange(time.size)), (
        "every sample is handed out once"
    )
    return time, log.runs, pieces


TRUE = PACE * np.arange(20_000)  # 10,000 s


def test_an_hour_put_back_keeps_every_sample():
    wall = np.where(TRUE < 5400, TRUE, TRUE - 3600)
    time, runs, pieces = read(log_of(wall, wall_s=1.5 * 3600))
    np.testing.assert_allclose(time, TRUE)
    assert len(runs) == len(pieces) == 1
    assert "daylight saving" in runs[0].notes[0]


def test_an_hour_put_forward_in_the_night_is_no_gap_but_a_pause_of_an_hour_is():
    wall = np.where(TRUE < 1800, TRUE, TRUE + 3600)
    time, runs, _ = read(log_of(wall, wall_s=1.5 * 3600))  # from 1:30 to 2:00, then 3:00
    np.testing.assert_allclose(time, TRUE)
    assert len(runs) == 1
    for wall_s in (None, 13.5 * 3600, 1.6 * 3600):  # no local clock; in the afternoon; not on the hour
        _, runs, _ = read(log_of(wall, wall_s=wall_s))
        assert len(runs) == 2
    _, runs, _ = read(log_of(wall, wall_s=None, run_gap_s=4000))
    assert runs[0].gaps[0].end_s - runs[0].gaps[0].start_s == pytest.approx(3600)


def test_seconds_that_begin_anew_after_just_an_hour_are_a_new_run():
    time = np.concatenate([PACE * np.arange(7200), PACE * np.arange(7200)])
    _, runs, _ = read(log_of(time))
    assert [run.samples for run in runs] == [7200, 7200]
    assert "a new run begins" in runs[1].notes[0]


@pytest.mark.parametrize("span", [2.0**32 / 1e6, 86400.0])
def test_counters_and_clocks_that_turn_over(span: float):
    raw = (span - 1000 + TRUE) % span
    time, runs, _ = read(log_of(raw, wall_s=span - 1000))
    np.testing.assert_allclose(time, TRUE, atol=1e-6)
    assert len(runs) == 1


def test_gaps_pauses_and_the_observed_time():
    keep = ~(((TRUE > 1000) & (TRUE < 1100)) | ((TRUE > 4000) & (TRUE < 5000)))
    time, runs, pieces = read(log_of(TRUE[keep]))
    np.testing.assert_allclose(time, TRUE[keep])
    assert len(runs) == 2
    assert [(g.start_s, g.end_s) for g in runs[0].gaps] == [(1000.5, 1100.0)]
    assert [p.after_gap for p in pieces] == [False, True, False]
    assert runs[0].observed_s == pytest.approx(np.count_nonzero(TRUE[keep] <= 4000) * PACE)
    assert runs[1].offset_s == 5000.0


@pytest.mark.parametrize(("first", "then"), [(0.5, 5.0), (5.0, 0.5), (1.0, 0.5), (0.1, 60.0)])
def test_a_change_of_pace_is_no_row_of_gaps(first: float, then: float):
    time = np.concatenate([first * np.arange(5000), first * 5000 + then * np.arange(3000)])
    got, runs, _ = read(log_of(time))
    np.testing.assert_allclose(got, time)
    assert len(runs) == 1
    assert not runs[0].gaps
    assert any("sampling interval changes" in note for note in runs[0].notes)
    later = time + 20 * then * (np.arange(time.size) >= 6000)  # a gap judged by the new pace
    _, runs, _ = read(log_of(later, run_gap_s=1e6))
    assert [g.end_s - g.start_s for g in runs[0].gaps] == [pytest.approx(20 * then)]


def test_early_and_equal_and_missing_stamps_keep_their_samples():
    time = TRUE.copy()
    time[100], time[200], time[300] = time[99], time[198], np.nan
    got, runs, pieces = read(log_of(time))
    assert len(runs) == len(pieces) == 1
    assert not runs[0].gaps
    assert np.all(np.diff(got) >= 0)
    assert np.max(np.abs(got - TRUE)) <= PACE
    told = " ".join(runs[0].notes)
    assert "2 time stamps equal" in told
    assert "1 time stamp is earlier" in told
    assert "1 sample has no time" in told


def test_a_clock_set_back_by_a_little_is_taken_along():
    time, runs, _ = read(log_of(np.where(TRUE < 3000, TRUE, TRUE - 20.0)))
    np.testing.assert_allclose(time, TRUE)
    assert "set back by 19.5 s" in runs[0].notes[0]


def test_a_run_column_makes_runs_even_when_time_goes_on():
    run = np.repeat([1.0, 2.0], 10_000)
    _, runs, _ = read(log_of(TRUE, run=run))
    assert [r.samples for r in runs] == [10_000, 10_000]
    again = np.concatenate([TRUE[:10_000], TRUE[:10_000]])
    _, runs, _ = read(log_of(again, run=run))
    assert [r.samples for r in runs] == [10_000, 10_000]
    assert runs[1].duration_s == runs[0].duration_s


def test_jitter_is_told_and_is_no_gap():
    rng = np.random.default_rng(5)
    time = np.cumsum(rng.uniform(0.2, 1.4, 5000))
    _, runs, _ = read(log_of(time))
    assert len(runs) == 1
    assert not runs[0].gaps
    assert any("uneven" in note for note in runs[0].notes)
    pairs = np.repeat(np.arange(2000.0), 2) + np.tile([0.0, 0.05], 2000)  # two meters polled one after the other
    assert cadence_of(pairs)[1] > 0.95
    assert not read(log_of(pairs))[1][0].gaps


def test_microseconds_survive_a_billion_samples():
    keeper = Timekeeper(1e-3)
    late = 1e6 + 1e-3 * np.arange(1000)
    cut = next(keeper.feed(late - late[0] + 1e6))
    assert np.max(np.abs(np.diff(cut.time_s) - 1e-3)) < 1e-9


steps = st.lists(
    st.one_of(
        st.just(PACE),
        st.sampled_from(
            [0.0, 0.1, 2.0, 5.0, -0.5, -3.0, -20.0, -3599.5, 3600.5, -86399.5, 700.0, -5000.0, float("nan")]
        ),
        st.floats(0.3, 0.8),
    ),
    min_size=30,
    max_size=120,
)


@settings(max_examples=150, deadline=None)
@given(steps, st.lists(st.integers(1, 40), min_size=1, max_size=6), st.booleans(), st.integers(0, 3))
def test_no_result_depends_on_how_the_rows_arrive(made, cuts, local, runs_every):
    step = np.array(made)
    time = np.cumsum(np.nan_to_num(step))
    time[np.isnan(step)] = np.nan
    if not np.isfinite(time[0]):
        time[0] = 0.0
    run = None if not runs_every else np.repeat(np.arange(40.0), 11 * runs_every)[: time.size]
    whole = log_of(time, wall_s=5000.0 if local else None, run=run)
    expected_time, expected, expected_pieces = read(whole)
    assert np.all(np.diff(expected_time) >= 0)
    borders = {(p.run, p.first, p.after_gap) for p in expected_pieces}
    for size in cuts:
        cut = log_of(time, wall_s=5000.0 if local else None, run=run, batch_rows=size)
        got_time, got, pieces = read(cut)
        np.testing.assert_array_equal(got_time, expected_time)
        assert got == expected
        assert borders <= {(p.run, p.first, p.after_gap) for p in pieces}
        for number, found in enumerate(got):
            again = np.concatenate([p.time_s for p in cut.rows(number, found.first, found.last)])
            np.testing.assert_array_equal(again + found.offset_s, expected_time[found.first : found.last])


def test_start_moves_with_the_run():
    time = np.concatenate([PACE * np.arange(100), 5000 + PACE * np.arange(100)])
    log = Log.from_arrays(time, {"a": time}, start=datetime(2026, 3, 1, 12))
    assert [run.start for run in log.runs] == [datetime(2026, 3, 1, 12), datetime(2026, 3, 1, 13, 23, 20)]


def test_a_run_after_the_clock_went_back_begins_at_its_stamp_and_its_surge_is_a_start():
    """Two evenings in one file, the later one first: the moments are those in the file, the second start is one, of any pause."""
    t = np.arange(0.0, 4 * 3600.0, 1.0)
    rng = np.random.default_rng(5)
    volts = 0.004 + rng.normal(0, 1e-4, (2, t.size)) + 0.06 * np.exp(-t / 0.7)
    begun = datetime(2031, 3, 4, 9, 16)
    log = Log.from_arrays(np.concatenate((t, t - 86400.0)), {"left": volts.ravel()}, start=begun)
    assert [run.start for run in log.runs] == [begun, datetime(2031, 3, 3, 9, 16)]
    assert log.runs[1].pause_after(log.runs[0]) is None
    (told,) = log.runs[1].notes
    assert told.startswith("Time goes back from 2031-03-04 13:15:59 to 2031-03-03 09:16:00 here")
    (left,) = assess(log).channels
    assert left.guard.figures.power_ups == 2 and left.guard.silent and left.excursions == ()
    swings = np.concatenate((volts[0], volts[1][20:]))  # the surge is not in the log: it goes on, and minute 20 begins anew
    times = np.concatenate((t, t[20:] - 86400.0))
    found = assess(Log.from_arrays(times, {"left": swings}, start=begun)).channels[0].guard
    assert found.figures.power_ups == 1 and found.silent and found.figures.judged_h < 8.0 - 2 * 0.3
