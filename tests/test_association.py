"""Stimulus and coincidence: exact tests against other libraries, brute force over all turns, size under the null."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from flicker.stats.association import coincidence, holm, shift_law, stimulus_test


def test_holm_agrees_with_statsmodels_and_the_textbook():
    # reference library: statsmodels multipletests(method="holm"); worked by hand: .01 .04 .03 .005 -> .03 .06 .06 .02
    multitest = pytest.importorskip("statsmodels.stats.multitest")
    assert holm([0.01, 0.04, 0.03, 0.005]) == pytest.approx([0.03, 0.06, 0.06, 0.02])
    p = np.random.default_rng(1).uniform(0, 0.3, 12)
    assert holm(p) == pytest.approx(multitest.multipletests(p, method="holm")[1], rel=1e-12)


def test_stimulus_is_the_conditional_binomial():
    # events and taps invented; p by scipy.stats.binomtest
    got = stimulus_test([3.0, 10.2, 20.5, 30.1, 55.0, 71.0], [10.0, 20.0, 30.0, 40.0], 1.0, 100.0)
    assert (got.hits, got.window_exposure, got.outside_count, got.outside_exposure) == (3, 4.0, 3, 96.0)
    assert got.p_value == pytest.approx(stats.binomtest(3, 6, 0.04, "greater").pvalue, rel=1e-12)


def test_windows_join_and_end_with_the_span():
    # by hand: windows 1..3 and 2..4 join to 1..4, 9..11 is cut at 10; an event at the end of a window lies outside it
    got = stimulus_test([4.0, 3.5, 9.9], [2.0, 1.0, 9.0], 2.0, 10.0)
    assert (got.window_exposure, got.hits, got.outside_count) == (4.0, 2, 1)
    shifted = stimulus_test([104.0, 103.5, 109.9], [102.0, 101.0, 109.0], 2.0, (100.0, 110.0))
    assert (shifted.hits, shifted.p_value) == (2, got.p_value)


def test_silent_by_itself_but_answers_nine_of_ten_taps():
    taps = np.arange(10) * 60.0 + 30.0
    got = stimulus_test(taps[:9] + 0.2, taps, 2.0, 3600.0)
    assert got.p_value < 1e-12 and got.hits == 9
    assert got.ratio == np.inf and got.low > 100


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 6), st.integers(1, 4), st.integers(0, 10_000), st.booleans())
def test_all_turns_agree_with_trying_them(events, windows, seed, closed):
    # independent: 4,000 turns tried one by one
    rng = np.random.default_rng(seed)
    length = 10.0
    times = rng.uniform(0, length, events)
    cut = np.sort(rng.uniform(0, length, 2 * windows))
    law = shift_law(times, cut[::2], cut[1::2], length, seed=0, closed=closed)
    turns = (np.arange(4_000) + 0.5) / 4_000 * length
    moved = np.mod(times[None, :] - turns[:, None], length)
    hits = np.sum((moved[:, :, None] >= cut[::2]) & (moved[:, :, None] < cut[1::2]), axis=(1, 2))
    assert law.share.sum() == pytest.approx(1.0)
    assert law.mean == pytest.approx(hits.mean() if events else 0.0, abs=0.02)
    for k in range(events + 1):
        assert law.at_least(k) == pytest.approx(np.mean(hits >= k), abs=0.02)


def test_random_turns_replace_all_turns_for_many_pairs(monkeypatch):
    rng = np.random.default_rng(2)
    times, starts = np.sort(rng.uniform(0, 1000, 200)), np.arange(10.0, 990.0, 20.0)
    exact = shift_law(times, starts, starts + 3.0, 1000.0, seed=1)
    monkeypatch.setattr("flicker.stats.association.MOST_PAIRS", 10)
    drawn = shift_law(times, starts, starts + 3.0, 1000.0, seed=1)
    hits = int(exact.mean) + 5
    assert drawn.at_least(hits) == pytest.approx(exact.at_least(hits), abs=0.02)  # Monte Carlo error 0.005
    assert drawn.mean == pytest.approx(exact.mean, rel=0.02)


def test_turns_hold_their_size_where_bursts_break_the_binomial():
    # null: 30 bursts of mean size 4, 20 stimuli that do nothing; 400 simulations, Monte Carlo error 1.1 points at 5 %
    rng = np.random.default_rng(4)
    binomial = turned = 0
    for _ in range(400):
        starts = rng.uniform(0, 3500, 30)
        events = np.concatenate([s + rng.uniform(0, 20, rng.geometric(0.25)) for s in starts])
        taps = rng.uniform(0, 3500, 20)
        binomial += stimulus_test(events, taps, 30.0, 3600.0).p_value <= 0.05
        turned += coincidence(events, taps, (0.0, 30.0), 3600.0).p_value <= 0.05
    assert binomial / 400 > 0.10
    assert turned / 400 <= 0.05 + 0.022


def test_coincidence_counts_and_chance():
    # by hand: two of three within half a second; chance share 3 x 1 s of 100 s
    turned = coincidence([1.0, 20.0, 50.0], [1.1, 20.2, 70.0], 0.5, 100.0)
    assert (turned.coincidences, turned.expected) == (2, pytest.approx(0.09))
    # by hand: turns from -0.6 to 0.3 keep two together, turns from -19.7 to -19.5 bring 1.0 to 20.2 and 50.0 to 70.0
    assert turned.p_value == pytest.approx((0.9 + 0.2) / 100, rel=1e-9)


def test_coincidence_with_a_direction():
    a, b = [2.0, 12.0, 22.0], [1.0, 11.0, 21.0]
    assert coincidence(a, b, (0.5, 1.5), 60.0).coincidences == 3
    assert coincidence(a, b, (-1.5, -0.5), 60.0).coincidences == 0


def test_independent_channels_seldom_coincide_beyond_chance():
    # null: two independent bursty channels; 600 simulations, Monte Carlo error 0.9 points
    rng = np.random.default_rng(9)

    def series():
        starts = rng.uniform(0, 3550, 12)
        return np.concatenate([s + rng.uniform(0, 40, rng.geometric(0.4)) for s in starts])

    p = [coincidence(series(), series(), 5.0, 3600.0).p_value for _ in range(600)]
    assert np.mean(np.array(p) <= 0.05) <= 0.05 + 0.018


def test_common_cause_is_found():
    rng = np.random.default_rng(10)
    common = rng.uniform(0, 7200, 6)
    a = np.concatenate((common, rng.uniform(0, 7200, 3)))
    b = np.concatenate((common + rng.uniform(-0.5, 0.5, 6), rng.uniform(0, 7200, 4)))
    got = coincidence(np.clip(a, 0, 7200), np.clip(b, 0, 7200), 1.0, 7200.0)
    assert got.coincidences >= 6 and got.p_value < 0.001
