"""Trends and movement, against published examples, scipy, pymannkendall, and noise of every colour."""

from __future__ import annotations

import itertools
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

sys.path.insert(0, str(Path(__file__).parent / "studies"))
import noise_makers as makers

from flicker.stats.levels import kendall_law
from flicker.stats.trends import mann_kendall, movement_kind, movement_test, robust_slope, theil_sen

NILE = np.loadtxt(Path(__file__).parent / "data" / "nile.csv", delimiter=",", skiprows=2)
VAN_BELLE = [10, 14, 14, 14, 17, 22, 22, 23, 27, 27]
HOLY_CROSS = [12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7]
GILBERT_Y, GILBERT_X = [10, 22, 21, 30, 22, 30, 40, 40], [1, 1, 1, 2, 3, 3, 4, 5]


@pytest.mark.parametrize(
    ("y", "s", "var_s", "z"),
    [
        ([10, 15, 14, 20], 4, 8.666666667, 1.019049331),  # MT-1, Gilbert 1987 p. 211 (S), via a public test file
        (VAN_BELLE, 40, 119.3333333, 3.570127457),  # MT-3, van Belle and Hughes 1984 (119.3), same file
        (HOLY_CROSS, 54, 332.6666667, 2.905836846),  # MT-4, College of the Holy Cross, worked page
        (NILE[:, 1], -1387, 112728.3333, -4.128066523),  # M1 and MT-5, computed with pymannkendall 1.4.3
    ],
)
def test_mann_kendall_published(y, s, var_s, z):
    result = mann_kendall(y)
    assert result.s == s
    assert (result.var_s, result.z) == pytest.approx((var_s, z), rel=1e-9)


def test_mann_kendall_chances():
    # MT-4: two-sided 0.003662723763, one-sided .0018 as printed on the page; M1: p and tau from pymannkendall 1.4.3
    assert mann_kendall(HOLY_CROSS).p_normal == pytest.approx(0.003662723763, rel=1e-9)
    assert mann_kendall(HOLY_CROSS, method="normal", alternative="greater").p_value == pytest.approx(0.0018, abs=5e-5)
    assert mann_kendall(HOLY_CROSS, alternative="less").p_normal == pytest.approx(1 - 0.003662723763 / 2, rel=1e-9)
    nile = mann_kendall(NILE[:, 1])
    assert (nile.p_value, nile.tau) == pytest.approx((3.658262922e-05, -0.280202), rel=1e-6)
    # computed with scipy 1.17 kendalltau
    assert nile.tau_b == pytest.approx(-0.2807413347246131, rel=1e-12)


@pytest.mark.parametrize(
    ("n", "s", "upper"),
    [
        # Kendall 1975 and Hollander and Wolfe, table of the upper tail of Kendall's S (three figures, from memory)
        *((4, s, p) for s, p in ((0, 0.625), (2, 0.375), (4, 0.167), (6, 0.042))),
        *((5, s, p) for s, p in ((0, 0.592), (2, 0.408), (4, 0.242), (6, 0.117), (8, 0.042), (10, 0.0083))),
        *((8, s, p) for s, p in ((0, 0.548), (8, 0.199), (12, 0.089), (16, 0.031), (20, 0.0071))),
        *((6, s, p) for s, p in ((1, 0.500), (5, 0.235), (9, 0.068), (11, 0.028), (13, 0.0083))),
    ],
)
def test_exact_chances_of_the_published_table(n, s, upper):
    y = next(order for order in itertools.permutations(range(n)) if mann_kendall(order, method="normal").s == s)
    result = mann_kendall(y, alternative="greater")
    assert (result.s, result.p_value) == (s, pytest.approx(upper, abs=5.1e-4 if upper > 0.01 else 5.1e-5))


@settings(max_examples=40, deadline=None)
@given(st.integers(3, 60), st.integers(0, 10**6))
def test_exact_chances_agree_with_scipy(n, seed):
    y = np.random.default_rng(seed).permutation(n) + 0.0
    expected = stats.kendalltau(np.arange(n), y, method="exact").pvalue
    assert mann_kendall(y).p_value == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize(
    ("y", "x"),
    [
        ([1, 1, 2, 3, 3, 3, 0], [1, 2, 3, 4, 5, 6, 7]),
        ([1, 4, 2, 3, 6, 5, 0], [1, 1, 1, 2, 2, 3, 3]),
        ([10, 22, 21, 30, 22, 30, 40], [1, 1, 1, 2, 3, 3, 4]),
        ([5, 5, 5, 5], [1, 2, 3, 4]),
    ],
)
def test_exact_chances_with_ties_agree_with_all_orders(y, x):
    # independent: every order of the values counted out
    y, x = np.array(y, dtype=float), np.array(x, dtype=float)
    pairs = np.triu_indices(y.size, 1)
    later = np.sign(x[pairs[1]] - x[pairs[0]])
    all_s = np.array([np.sign(o[pairs[1]] - o[pairs[0]]) @ later for o in map(np.array, itertools.permutations(y))])
    s = np.sign(y[pairs[1]] - y[pairs[0]]) @ later
    for alternative, hits in (("greater", all_s >= s), ("less", all_s <= s)):
        assert mann_kendall(y, x, alternative=alternative).p_value == pytest.approx(hits.mean(), rel=1e-12)
    assert mann_kendall(y, x).p_value == pytest.approx(min(1.0, 2 * min((all_s >= s).mean(), (all_s <= s).mean())))


def test_exact_size_never_passes_five_percent_and_the_normal_form_meets_it():
    # all orders of n values, no Monte Carlo error; the share rejected at a nominal 5 %
    for n in (5, 6, 7):
        orders = [mann_kendall(order) for order in itertools.permutations(range(n))]
        assert np.mean([r.p_value <= 0.05 for r in orders]) <= 0.05
        assert all(abs(r.p_value - r.p_normal) < 0.09 for r in orders)
    assert mann_kendall(np.arange(80.0) % 7).method.endswith("normal approximation with ties")


def test_drawn_orders_agree_with_counted_ones():
    y, x = np.array([1, 1, 2, 3, 3, 3, 0, 2.0]), np.array([1, 1, 2, 2, 2, 3, 3, 4.0])
    counted = mann_kendall(y, x, method="exact")
    lower, upper = kendall_law.permuted_tails(counted.s, y, x, 0)
    assert 2 * min(lower, upper) == pytest.approx(counted.p_value, abs=0.03)  # 4,999 orders: error 0.007 each
    many = mann_kendall(np.tile([1.0, 5, 3, 3, 2, 8, 6, 7], 4), np.repeat(np.arange(8.0), 4))
    assert many.method.endswith("random orders of the values")
    assert many.p_value == pytest.approx(many.p_normal, abs=0.03)


def test_repeated_times():
    # MT-2: Gilbert 1987 example 16.3 (S 19); 24 slopes, median 5.5 and tau-b computed
    result = mann_kendall(GILBERT_Y, GILBERT_X)
    assert (result.s, result.tau_b) == (19, pytest.approx(0.7756717519, rel=1e-9))
    slope = theil_sen(GILBERT_Y, GILBERT_X)
    assert (slope.slope, slope.pairs) == (5.5, 24)


def test_hamed_rao_against_a_library():
    # computed with pymannkendall 1.4.3, hamed_rao_modification_test
    nile = mann_kendall(NILE[:, 1], autocorrelation="hamed-rao")
    assert (nile.z, nile.var_s, nile.p_value) == pytest.approx(
        (-2.8199791956451388, 241565.3569166269, 0.004802676310182719), rel=1e-10
    )
    pymannkendall = pytest.importorskip("pymannkendall")
    rng = np.random.default_rng(1)
    for rho in (0.3, 0.7):
        y = makers.ar1(rng, 1, 150, rho)[0].round(1)
        theirs = pymannkendall.hamed_rao_modification_test(y)
        assert mann_kendall(y, autocorrelation="hamed-rao").z == pytest.approx(theirs.z, rel=1e-9)


@pytest.mark.parametrize(
    ("y", "slope"), [([10, 15, 14, 20], 2.916666667), (HOLY_CROSS, 0.5666666667), (NILE[:, 1], -2.6)]
)
def test_sen_slope_published(y, slope):
    # MT-1, MT-4 (computed), M1 and MT-5 (pymannkendall)
    assert theil_sen(y).slope == pytest.approx(slope, rel=1e-9)


def test_sen_interval_against_scipy():
    # Nile recorded from scipy 1.17 theilslopes; the rest computed beside it
    nile = theil_sen(NILE[:, 1], NILE[:, 0])
    assert (nile.intercept, nile.low, nile.high) == pytest.approx((5886.8, -3.627906976744186, -1.4285714285714286))
    rng = np.random.default_rng(2)
    for n in (8, 50, 301):
        y, x = rng.normal(size=n).round(1), np.sort(rng.integers(0, n, n)).astype(float)
        for confidence in (0.9, 0.99):
            ours, theirs = theil_sen(y, x, confidence=confidence), stats.theilslopes(y, x, alpha=confidence)
            assert (ours.slope, ours.low, ours.high, ours.intercept) == pytest.approx(
                tuple(map(float, (theirs.slope, theirs.low_slope, theirs.high_slope, theirs.intercept))), abs=1e-12
            )


@pytest.mark.parametrize("digit", [0.0, 0.5])
def test_slopes_found_by_counting_equal_slopes_listed(monkeypatch, digit):
    rng = np.random.default_rng(3)
    y, x = makers.ar1(rng, 1, 700, 0.5)[0] + 0.003 * np.arange(700), np.cumsum(rng.integers(0, 3, 700)).astype(float)
    if digit:
        y = np.round(y / digit) * digit
    listed = theil_sen(y, x)
    monkeypatch.setattr(kendall_law, "LISTED", 100)
    counted = theil_sen(y, x)
    for name in ("slope", "low", "high", "intercept"):
        assert getattr(counted, name) == pytest.approx(getattr(listed, name), abs=1e-11)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(-4, 4), min_size=3, max_size=40), st.integers(1, 9))
def test_order_counts_and_their_laws(values, scale):
    y = np.array(values, dtype=float)
    direct = int(np.sign(np.subtract.outer(y, y)[np.tril_indices(y.size, -1)]).sum())
    ours = mann_kendall(y)
    assert ours.s == direct
    assert mann_kendall(y[::-1]).s == -direct
    assert mann_kendall(scale * y).p_value == ours.p_value
    assert theil_sen(scale * y).slope == pytest.approx(scale * theil_sen(y).slope, abs=1e-12)


def test_slope_statistic_is_plain_regression_of_block_means():
    # t of least squares on 12 block means, computed beside it with scipy's linregress
    rng = np.random.default_rng(4)
    y = rng.normal(size=600) + 0.01 * np.arange(600)
    blocks = stats.linregress(np.arange(600).reshape(12, 50).mean(1), y.reshape(12, 50).mean(1))
    ours = robust_slope(y)
    assert (ours.slope, ours.t) == pytest.approx((blocks.slope, blocks.slope / blocks.stderr), rel=1e-9)
    assert ours.critical_t == pytest.approx(4.9, abs=0.35)  # measured before building: about 4.7 for exponent 1.0
    wide, narrow = robust_slope(y, confidence=0.99), robust_slope(y, confidence=0.9)
    assert wide.low < ours.low < narrow.low < ours.slope < narrow.high < ours.high < wide.high


@pytest.mark.parametrize("name", makers.NULLS)
def test_no_slope_is_not_called_one(name):
    # nominal 5 %, at most 7 % asked; 600 logs: Monte Carlo error 0.9 to 1.0 points, so 9.6 % is three errors above
    rng = np.random.default_rng(5)
    hits = sum(robust_slope(y).p_value <= 0.05 for y in makers.NULLS[name](rng, 600, 1200))
    assert hits <= 0.096 * 600


def test_slope_interval_and_chance_agree():
    rng = np.random.default_rng(6)
    for y in makers.spectral(rng, 100, 240):
        r = robust_slope(y + 0.01 * np.arange(240))
        assert (r.p_value <= 0.05) == (not r.low <= 0 <= r.high)


def cells(y, per=300):
    parts = y.reshape(-1, per)
    level = np.median(parts, axis=1)
    return level, 1.4826 * float(np.median(np.abs(parts - level[:, None])))


@pytest.mark.parametrize("name", makers.NULLS)
def test_a_steady_level_does_not_move(name):
    # nominal 1 % (the default), held up to exponent 1.1; 5 % asked at 1.2. 300 logs: three Monte Carlo errors above are
    # 2.7 % and 8.8 %. One sample a second, cells of five minutes, an hour.
    rng = np.random.default_rng(7)
    hits = np.zeros(2)
    for y in makers.NULLS[name](rng, 300, 12 * 300):
        level, sigma = cells(y)
        hits += [
            movement_test(level).p_value <= 0.01,
            movement_test(level, sigma=sigma, samples_per_cell=300).p_value <= 0.01,
        ]
    assert (hits <= (0.088 if name == "1/f^1.2" else 0.027) * 300).all(), hits


@pytest.mark.parametrize("shape", ["slope", "step", "wander"])
@pytest.mark.parametrize("noise", ["white", "AR .98", "1/f"])
def test_every_shape_of_movement_is_seen_and_named(noise, shape):
    rng = np.random.default_rng(8)
    n = 24 * 300
    t = np.arange(n) / n
    move = {"slope": 60 * t, "step": 60.0 * (t > 0.6), "wander": 30 * np.sin(4 * np.pi * t)}[shape]
    seen = named = covered = 0
    for y in 2 * makers.NULLS[noise](rng, 40, n) + move:
        level, sigma = cells(y)
        result = movement_test(level, np.arange(24) * 300.0, limit=20.0, sigma=sigma, samples_per_cell=300)
        seen += result.p_value <= 0.01
        named += movement_kind(level).kind == shape
        covered += result.low <= np.ptp(cells(move)[0]) <= result.high
    assert seen >= 38
    assert covered >= 38  # of 40; 99 % nominal
    assert named >= 36


def test_movement_passes_over_missing_cells_and_needs_four():
    level = np.array([1, np.nan, 1.1, 1, np.nan, 0.9, 1, 21, 21.1, np.nan, 21, 20.9, 21.0, 21.1])
    whole = movement_test(level, resolution=0.0)
    kept = np.flatnonzero(np.isfinite(level))
    assert movement_test(level[kept], kept * 300.0, resolution=0.0).p_value == whole.p_value < 0.01
    few = movement_test([1.0, 2.0, 3.0])
    assert (few.p_value, few.high, few.critical_range) == (1.0, np.inf, np.inf)
    assert few.to_dict()["critical_range_unbounded"] is True
    assert movement_test(np.full(30, 0.012)).p_value == 1.0
    flips = np.where(np.arange(40) % 7 == 0, 0.013, 0.012)  # one last digit is no movement
    assert movement_test(flips).p_value == 1.0


def test_large_inputs_are_quick():
    y = np.random.default_rng(9).normal(size=50_000)
    start = time.process_time()
    mann_kendall(y)
    robust_slope(y)
    theil_sen(y)
    assert time.process_time() - start < 10  # 1 s on a quiet machine; all pairs would be 10 GB
