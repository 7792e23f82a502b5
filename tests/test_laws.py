"""What must hold whatever the data: units, sides, halves, order and confidence (Hypothesis); power and speed."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy import special, stats

from flicker.stats import arrivals, changepoints, rates, sequential, soak, trends

RATE_TESTS = [arrivals.laplace_test, arrivals.power_law_test]
GAP_TESTS = [arrivals.lewis_robinson_test, arrivals.anderson_darling_trend_test]
UNITS = st.sampled_from([0.25, 60.0, 1024.0, 3600.0])
COUNTS = st.integers(0, 60)
LOGS = st.lists(st.floats(0.001, 0.999), min_size=5, max_size=20, unique_by=lambda v: round(v, 6)).map(
    lambda v: np.sort(np.array(v))
)
VALUES = st.lists(st.integers(-40, 40), min_size=12, max_size=40).map(lambda v: np.array(v, dtype=float))


def close(value, rel=1e-7):
    return pytest.approx(value, rel=rel, abs=1e-9)


# --- the unit of time ------------------------------------------------------------------------------------------------


@settings(max_examples=30, deadline=None)
@given(COUNTS, COUNTS, st.floats(0.1, 100), st.floats(0.1, 100), UNITS)
def test_rates_and_soaks_follow_the_unit_of_time(n, m, t, s, unit):
    for method in ("exact", "mid-p", "jeffreys"):
        one, other = (rates.rate_interval(n, t * u, method=method) for u in (1.0, unit))
        assert (one.rate, one.low, one.high) == close(tuple(unit * v for v in (other.rate, other.low, other.high)))
    one, other = (rates.rate_ratio(n, t * u, m, s * u) for u in (1.0, unit))
    assert (other.low, other.high, other.p_value) == close((one.low, one.high, one.p_value))
    one, other = (rates.rate_difference(n, t * u, m, s * u) for u in (1.0, unit))
    assert (one.low, one.high) == close((unit * other.low, unit * other.high))
    for allowed in (0, n):
        one, other = (soak.clean_exposure(1.0 / u, allowed=allowed).exposure for u in (1.0, unit))
        assert other == close(unit * one)
    one, other = (sequential.rate_bounds(n, t * u, design_rate=1.0 / u) for u in (1.0, unit))
    assert (one.low, one.high) == close((unit * other.low, unit * other.high), 1e-6)
    for rule in (sequential.rate_decision, sequential.likelihood_ratio_pair):
        assert rule(0.1, 1.0).decide(n, t) == rule(0.1 / unit, 1.0 / unit).decide(n, t * unit)


@settings(max_examples=15, deadline=None)
@given(LOGS, UNITS)
def test_arrival_tests_and_fits_follow_the_unit_of_time(times, unit):
    for test in (*RATE_TESTS, *GAP_TESTS):
        assert test(times * unit, unit).p_value == close(test(times, 1.0).p_value, 1e-6)
    one, other = arrivals.power_law_fit(times, 1.0), arrivals.power_law_fit(times * unit, unit)
    assert (other.beta, other.beta_low, other.beta_high) == close((one.beta, one.beta_low, one.beta_high))
    assert one.scale == close(unit**one.beta * other.scale)
    one, other = (changepoints.rate_changes(times * u, u, simulations=99) for u in (1.0, unit))
    assert (other.p_value, other.likelihood_ratio) == close((one.p_value, one.likelihood_ratio))


# --- sides, halves, confidence ---------------------------------------------------------------------------------------


@settings(max_examples=40, deadline=None)
@given(COUNTS, COUNTS, st.floats(0.1, 100), st.floats(0.1, 100))
def test_swapping_sides_inverts_a_ratio_and_swaps_one_sided_chances(n, m, t, s):
    for method in ("exact", "mid-p"):
        one = rates.rate_ratio(n, t, m, s, method=method, alternative="less")
        other = rates.rate_ratio(m, s, n, t, method=method, alternative="greater")
        assert other.p_value == close(one.p_value)
        assert other.low == close(0.0 if math.isinf(one.high) else 1.0 / one.high)
    one, other = rates.rate_difference(n, t, m, s), rates.rate_difference(m, s, n, t)
    assert (other.low, other.high) == close((-one.high, -one.low))


@settings(max_examples=30, deadline=None)
@given(COUNTS, COUNTS, st.floats(0.1, 50), st.floats(0.5, 0.99))
def test_intervals_nest_with_confidence(n, m, t, confidence):
    wider = 0.5 + confidence / 2
    makers = [
        lambda c: rates.rate_interval(n, t, confidence=c),
        lambda c: rates.rate_ratio(n, t, m, 2.0, confidence=c),
        lambda c: rates.rate_difference(n, t, m, 2.0, confidence=c),
        lambda c: rates.share_interval(n, n + m + 1, confidence=c),
        lambda c: rates.overdispersed_rate([n, m, 3], [t, t, 1.0], confidence=c),
        lambda c: rates.rate_ratio_dispersed([n, m, 2], [t] * 3, [1, m], [2.0] * 2, confidence=c),
        lambda c: sequential.rate_bounds(n, t, design_rate=1.0, confidence=c),
    ]
    for make in makers:
        inner, outer = make(confidence), make(wider)
        assert outer.low <= inner.low * (1 + 1e-9) + 1e-9
        assert inner.high <= outer.high * (1 + 1e-9) + 1e-9


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(0, 20), min_size=2, max_size=6), st.floats(0.5, 20), st.integers(2, 4))
@example([0, 1], 1.0, 2)
def test_merging_parts_of_exposure_changes_nothing(counts, length, runs):
    total, whole = sum(counts), length * len(counts)
    one = rates.rate_interval(total, whole)
    assert (one.low, one.high) == close(
        tuple(getattr(rates.rate_interval(total, math.fsum([length] * len(counts))), side) for side in ("low", "high"))
    )
    # equal parts: the mean rate of runs is the rate of the whole, and never surer than it
    split = rates.overdispersed_rate(counts, [length] * len(counts))
    assert split.rate == close(one.rate)
    assert split.low <= one.low * (1 + 1e-12) and split.high >= one.high * (1 - 1e-12)  # summed in another order
    pooled = arrivals.laplace_test([[0.2, 0.9]] * runs, [1.0] * runs)
    assert pooled.z == close(arrivals.laplace_test([0.2, 0.9], 1.0).z * math.sqrt(runs))


# --- values: shift, scale, order -------------------------------------------------------------------------------------


@settings(max_examples=25, deadline=None)
@given(VALUES, st.integers(-1000, 1000), st.sampled_from([0.25, 8.0, 512.0]))
def test_trends_and_changes_follow_shift_and_scale(y, shift, scale):
    moved = scale * (y + shift)
    for method in ("normal", "auto"):
        one, other = trends.mann_kendall(y, method=method), trends.mann_kendall(moved, method=method)
        assert (other.s, other.p_value) == close((one.s, one.p_value))
    one, other = trends.theil_sen(y), trends.theil_sen(moved)
    assert (other.slope, other.low, other.high) == close((scale * one.slope, scale * one.low, scale * one.high))
    one, other = trends.robust_slope(y), trends.robust_slope(moved)
    assert other.slope == close(scale * one.slope, 1e-6)
    assert other.p_value == close(one.p_value, 1e-5)
    one, other = changepoints.level_changes(y, resolution=0.0), changepoints.level_changes(moved, resolution=0.0)
    assert [c.index for c in other.changes] == [c.index for c in one.changes]
    assert other.p_value == close(one.p_value, 1e-5)


@settings(max_examples=25, deadline=None)
@given(VALUES)
def test_reversed_order_swaps_one_sided_chances_of_values(y):
    for method in ("normal", "auto"):
        up = trends.mann_kendall(y, method=method, alternative="greater")
        down = trends.mann_kendall(y[::-1], method=method, alternative="less")
        assert (down.s, down.p_value) == close((-up.s, up.p_value))
    one, other = trends.robust_slope(y), trends.robust_slope(-y)
    assert (other.slope, other.low, other.high) == close((-one.slope, -one.high, -one.low))


@settings(max_examples=15, deadline=None)
@given(LOGS)
def test_reversed_time_swaps_one_sided_chances_of_arrivals(times):
    back = 1.0 - times[::-1]
    up, down = (arrivals.laplace_test(t, 1.0, alternative=a) for t, a in ((times, "increasing"), (back, "decreasing")))
    assert down.p_value == close(up.p_value)
    up, down = (
        arrivals.lewis_robinson_test(t, 1.0, alternative=a) for t, a in ((times, "increasing"), (back, "decreasing"))
    )
    for name in ("p_gaps", "p_bursts"):  # drawn orders: 1,999 of them put 0.011 on a chance near one half, twice
        assert getattr(down, name) == pytest.approx(getattr(up, name), abs=0.065)


# --- power beside the best possible ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("before", "ratio"), [(5.0, 0.1), (20.0, 0.5)])
def test_ratio_has_the_power_of_the_most_powerful_fixed_test(before, ratio):
    # conditional uniformly most powerful test, not randomised, summed here with scipy.stats; ratio of powers is 1
    best = 0.0
    for total in range(int(4 * before + 40)):
        k = np.arange(total + 1)
        inside = np.cumsum(stats.binom.pmf(k, total, 0.5)) <= 0.05 * (1 + 1e-12)
        power = stats.binom.pmf(k, total, ratio / (1 + ratio))[inside].sum()
        best += stats.poisson.pmf(total, before * (1 + ratio)) * power
    # and those are the decisions of rate_ratio
    n = np.arange(int(before + 9 * before**0.5 + 20))
    said = [[rates.rate_ratio(int(a), 1.0, int(b), 1.0, alternative="less").p_value <= 0.05 for b in n] for a in n]
    weight = stats.poisson.pmf(n, ratio * before)[:, None] * stats.poisson.pmf(n, before)[None, :]
    assert weight[np.array(said)].sum() == pytest.approx(best, rel=1e-6)


def test_trend_tests_have_the_power_of_the_best_at_their_own_alternatives():
    # 20,000 logs of 10 events: 0.35 points of error on each; the best cut is that of the same statistic, simulated
    rng = np.random.default_rng(5)
    null, growth = rng.random((20_000, 10)), math.log(6)
    tilted = np.log1p(rng.random((20_000, 10)) * np.expm1(growth)) / growth
    best = np.mean(tilted.sum(axis=1) > np.quantile(null.sum(axis=1), 0.95))
    ours = np.mean(special.ndtr(-(tilted.sum(axis=1) - 5) / math.sqrt(10 / 12)) <= 0.05)
    assert ours == pytest.approx(best, abs=0.02)
    t = np.sort(tilted[0])
    assert arrivals.laplace_test(t, 1.0).z == pytest.approx((t.sum() - 5) / math.sqrt(10 / 12), rel=1e-12)
    powered = rng.random((20_000, 10)) ** 0.5
    statistic = -2 * np.log(powered).sum(axis=1)
    best = np.mean(statistic < np.quantile(-2 * np.log(null).sum(axis=1), 0.05))
    assert np.mean(special.chdtr(20, statistic) <= 0.05) == pytest.approx(best, abs=0.02)
    assert arrivals.power_law_test(np.sort(powered[0]), 1.0).chi2 == pytest.approx(statistic[0], rel=1e-12)


# --- speed -----------------------------------------------------------------------------------------------------------


@pytest.mark.study
def test_speed():
    # processor time, best of three: recorded in results/calibration_speed.md
    import sys
    from pathlib import Path

    sys.path.insert(0, str(Path(__file__).parent / "studies"))
    from study_calibration import section_speed

    for line in section_speed().splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if len(cells) == 3 and cells[1].split()[-1] in ("s", "ms"):
            asked, taken = (float(value.split()[0]) * (1e-3 if value.endswith("ms") else 1.0) for value in cells[1:])
            assert taken <= asked, line
