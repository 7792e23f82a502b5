"""Excursions by two thresholds, episodes by a dead time, and what a range change or over-range leaves of a peak."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flicker.signals.excursions import Excursions, Scanner, episode_numbers


def _scan(values: list[float], enter: float, leave: float, **more: object) -> Excursions:
    scanner = Scanner(lambda t: np.zeros(np.shape(t)), enter, leave, 1.0, **more)  # type: ignore[arg-type]
    time = np.arange(len(values), dtype=np.float64)
    scanner.feed(time, np.array(values, dtype=np.float64), begins=True)
    scanner.close(cut=True)
    return scanner.result()


def test_closing_sample_counts_as_the_end() -> None:
    # catalogue LC-3 (computed by hand): opens > 5, closes <= 4
    found = _scan([0, 2, 6, 4.5, 5.5, 2, 0, 7, 4, 4], 5.0, 4.0)
    assert found.start_s.tolist() == [2.0, 7.0]
    assert found.end_s.tolist() == [5.0, 8.0]
    assert found.peak_V.tolist() == [6.0, 7.0]
    assert not found.cut.any()


@pytest.mark.parametrize(("leave", "events"), [(0.0, 3), (-2.0, 2)])
def test_turning_points_of_the_fatigue_standard(leave: float, events: int) -> None:
    # catalogue LC-1: turning points of ASTM E1049-85, events > 2 closing at <= 0: 3; closing at <= -2: 2. The scanner
    # takes sizes without sign, so the sequence is shifted up by 4 to lie above zero throughout.
    turning = np.array([-2, 1, -3, 5, -1, 3, -4, 4, -2], dtype=np.float64)
    fine = np.interp(np.linspace(0, 8, 801), np.arange(9), turning)
    assert _scan((fine + 4.0).tolist(), 6.0, leave + 4.0).count == events


def test_crossings_without_hysteresis() -> None:
    # catalogue LC-1: rising crossings of 2: 3 (both thresholds the same, LC-2: equality counts as the end)
    turning = np.array([-2, 1, -3, 5, -1, 3, -4, 4, -2], dtype=np.float64)
    fine = np.interp(np.linspace(0, 8, 801), np.arange(9), turning)
    assert _scan((fine + 4.0).tolist(), 6.0, 6.0).count == 3


@settings(max_examples=80, deadline=None)
@given(st.lists(st.sampled_from([0.0, 4.5, 6.0, -6.0, np.nan, np.inf]), min_size=1, max_size=60), st.data())
def test_state_is_carried_over_any_cut(values: list[float], data: st.DataObject) -> None:
    border = data.draw(st.integers(0, len(values)))
    whole = _scan(values, 5.0, 4.0, recover_s=2.0)
    scanner = Scanner(lambda t: np.zeros(np.shape(t)), 5.0, 4.0, 1.0, recover_s=2.0)
    time, array = np.arange(len(values), dtype=np.float64), np.array(values)
    scanner.feed(time[:border], array[:border], begins=True)
    scanner.feed(time[border:], array[border:], begins=border == 0)
    scanner.close(cut=True)
    parts = scanner.result()
    for name in ("start_s", "end_s", "peak_V", "deviation_V", "cut", "over_range"):
        assert np.array_equal(getattr(whole, name), getattr(parts, name)), name


@pytest.mark.parametrize(
    ("values", "more", "peak", "at_least"),
    [
        ([0, 6, 7, 0], {"recover_s": 2.0}, 7.0, False),
        ([0, np.inf, 9, 9, 6, 0], {"recover_s": 2.5}, 6.0, True),  # two readings after over-range give no peak
        ([0, np.inf, 9, 0], {"recover_s": 9.0}, 5.0, True),  # nothing to trust: passed the threshold, no more is known
        ([0, 6, 20, 20, 8, 0], {"recover_s": 2.0, "upper_V": 10.0}, 8.0, True),  # range changes at 10
        ([0, 6, 6, 7, 0], {"recover_s": 2.0, "changes_s": (1.0,)}, 7.0, True),
    ],
)
def test_readings_after_a_range_change_give_no_peak(
    values: list[float], more: dict[str, object], peak: float, at_least: bool
) -> None:
    found = _scan(values, 5.0, 4.0, **more)
    assert found.count == 1
    assert found.peak_V[0] == peak
    assert (found.cut | found.over_range)[0] == at_least
    assert (found.start_s[0], found.end_s[0]) == (1.0, len(values) - 1.0)


@pytest.mark.parametrize(
    ("dead", "expected"),
    [(10.0, [0, 0, 0, 1]), (5.0, [0, 1, 1, 2]), (100.0, [0, 0, 0, 0])],
)
def test_episodes_join_over_the_dead_time(dead: float, expected: list[int]) -> None:
    # by hand: pauses of 6, 5 and 29 s; a pause equal to the dead time still joins
    start, end = np.array([0.0, 7.0, 14.0, 45.0]), np.array([1.0, 9.0, 16.0, 46.0])
    assert episode_numbers(start, end, dead).tolist() == expected


def test_a_long_excursion_is_not_forgotten_by_a_short_one_inside() -> None:
    assert episode_numbers(np.array([0.0, 5.0, 105.0]), np.array([100.0, 6.0, 106.0]), 10.0).tolist() == [0, 0, 0]


def test_a_pause_as_long_as_the_dead_time_joins_at_any_place_of_the_clock():
    for begin in (0.3, 20.3, 86_400.7):
        start = np.array([begin, begin + 10.4])
        assert episode_numbers(start, np.array([begin + 0.4, begin + 11.0]), 10.0).tolist() == [0, 0]
        assert episode_numbers(start + np.array([0.0, 0.01]), np.array([begin + 0.4, begin + 11.0]), 10.0).tolist() == [
            0,
            1,
        ]
