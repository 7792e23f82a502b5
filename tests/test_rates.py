"""Rates, ratios, dispersion, recurrence and on/off: handbook and library values, exact sums, laws."""

from __future__ import annotations

import json
import math
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special, stats

from flicker.stats.rates import (
    dispersion_test,
    on_off_significance,
    overdispersed_rate,
    rate_difference,
    rate_interval,
    rate_ratio,
    rate_ratio_dispersed,
    recurrence,
    share_interval,
    window_counts,
)

DATA = Path(__file__).parent / "data"
counts = st.integers(0, 400)
times = st.floats(1e-3, 1e6)


# --- rate intervals -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("count", "confidence", "low", "high"),
    [
        # Garwood 1936 (Biometrika 28, 437-442) from memory; computed with R 4.2.2 qchisq
        (0, 0.95, 0.0, 3.688879454),
        (1, 0.95, 0.02531780798, 5.571643391),
        (2, 0.95, 0.2422092785, 7.224687668),
        (3, 0.95, 0.618672, 8.76727),
        (5, 0.95, 1.623486390, 11.66833208),
        (10, 0.95, 4.795388696, 18.39035604),
        (20, 0.95, 12.21651959, 30.88837790),
        (50, 0.95, 37.11096374, 65.91876666),
        (100, 0.95, 81.36399125, 121.6267938),
        (0, 0.90, 0.0, 2.995732274),
        (1, 0.90, 0.05129329439, 4.743864518),
        (5, 0.90, 1.970149568, 10.51303491),
        (10, 0.90, 5.425405697, 16.96221924),
        # Gehrels 1986 (Astrophysical Journal 303, 336-346), tables 1 and 2: one-sigma limits, from memory, four figures
        (0, 0.6826894921, 0.0, 1.841),
        (3, 0.6826894921, 1.367, 5.918),
        (10, 0.6826894921, 6.891, 14.27),
    ],
)
def test_exact_limits_agree_with_the_tables(count, confidence, low, high):
    got = rate_interval(count, 1.0, confidence=confidence)
    digits = 3.7e-4 if confidence < 0.7 else 2e-6 if count == 3 else 1e-9
    assert got.low == pytest.approx(low, rel=digits)
    assert got.high == pytest.approx(high, rel=digits)


def test_limits_of_the_nickel_workers():
    # R help page of poisson.test, Welsh nickel workers: 4.753125, 6.692709; recomputed to ten digits
    got = rate_interval(137, 24.19893)
    assert (got.low, got.high) == pytest.approx((4.753124805, 6.692709334), rel=1e-9)


def test_mtbf_limits_of_the_handbook():
    # NIST/SEMATECH e-Handbook 8.4.5.1: 2 failures in 800 h, 90 %, formula read, example from memory
    got = rate_interval(2, 800.0, confidence=0.90)
    assert (1 / got.high, 1 / got.low) == pytest.approx((127.0689683, 2251.228611), rel=1e-9)


@pytest.mark.parametrize(
    ("failures", "confidence", "lower", "upper"),
    [
        # factors on T/r by the formula of NIST/SEMATECH e-Handbook 8.4.5.1, computed with R
        (1, 0.90, 0.2107986, 19.4957257),
        (1, 0.95, 0.1794803, 39.4978902),
        (2, 0.60, 0.4673957, 2.4260412),
        (2, 0.95, 0.2768286, 8.2573220),
        (5, 0.90, 0.4756001, 2.5378784),
        (10, 0.60, 0.7325617, 1.3718890),
        (10, 0.95, 0.5437633, 2.0853367),
    ],
)
def test_mtbf_factors(failures, confidence, lower, upper):
    got = rate_interval(failures, 1.0, confidence=confidence)
    assert (failures / got.high, failures / got.low) == pytest.approx((lower, upper), abs=5.1e-8)  # as printed


def test_watching_that_ended_with_an_event():
    # 45 failure times of a START sheet on exponential confidence intervals (data read; the sheet misprints their sum):
    # 95 % limits of the mean time with 90 degrees of freedom on both sides, computed with R
    times_ = [
        *(
            12.411,
            21.491,
            33.771,
            72.435,
            27.668,
            272.005,
            89.601,
            6.171,
            58.526,
            28.637,
            78.954,
            108.561,
            116.729,
            60.266,
        ),
        *(
            313.879,
            162.792,
            46.684,
            16.263,
            399.071,
            46.252,
            149.432,
            233.254,
            150.011,
            82.273,
            49.022,
            53.533,
            102.947,
        ),
        *(40.479, 59.067, 87.592, 173.580, 77.084, 93.241, 118.077, 95.291, 199.458, 137.149, 220.413, 7.400, 43.911),
        *(61.894, 10.291, 45.771, 50.668, 182.737),
    ]
    assert math.fsum(times_) == pytest.approx(4496.742, abs=5e-4)
    got = rate_interval(45, math.fsum(times_), ended_by="event")
    assert (1 / got.high, 1 / got.low) == pytest.approx((76.12829433, 136.9984370), rel=1e-9)


@pytest.mark.parametrize(("events", "confidence"), [(1, 0.95), (4, 0.8), (11, 0.99)])
def test_mid_p_limits_with_nothing_on_one_side_have_a_closed_form(events, confidence):
    # Half the chance of the only table as extreme is the tail: exp(-mean) / 2 for a count of none, share**n / 2 for a
    # ratio with all events on one side.
    tail, time_a, time_b = 1.0 - confidence, 3.7, 5.3
    none = rate_interval(0, time_a, method="mid-p", sided="upper", confidence=confidence)
    assert none.high == pytest.approx(-math.log(2.0 * tail) / time_a, rel=1e-12)
    share = tail ** (1.0 / events)  # two-sided: tail / 2 in each
    after = rate_ratio(events, time_a, 0, time_b, method="mid-p", confidence=confidence)
    assert after.low == pytest.approx(share / (1.0 - share) * time_b / time_a, rel=1e-9)
    assert after.high == math.inf
    before = rate_ratio(0, time_a, events, time_b, method="mid-p", confidence=confidence)
    assert before.high == pytest.approx((1.0 - share) / share * time_b / time_a, rel=1e-9)
    assert before.low == 0.0


def test_rule_of_three_is_one_sided():
    # the 'rule of three'; Hanley and Lippman-Hand 1983 (JAMA 249, 1743-1745) from memory, -log 0.05 computed
    got = rate_interval(0, 10.0, sided="upper")
    assert got.high == pytest.approx(0.2995732274, rel=1e-9)
    assert got.low == 0.0
    assert math.isinf(rate_interval(4, 1.0, sided="lower").high)


def test_mid_p_limits_solve_their_equation_and_the_published_case():
    # no central mid-p in statsmodels 0.14; so the equation itself, from scipy.stats' own tails
    for count in (1, 2, 7, 60):
        got = rate_interval(count, 1.0, method="mid-p")
        upper = stats.poisson.sf(count, got.low) + 0.5 * stats.poisson.pmf(count, got.low)
        lower = stats.poisson.cdf(count - 1, got.high) + 0.5 * stats.poisson.pmf(count, got.high)
        assert (upper, lower) == pytest.approx((0.025, 0.025), rel=1e-9)


@pytest.mark.parametrize("count", [0, 3, 41])
@pytest.mark.parametrize(("ours", "theirs"), [("exact", "exact-c"), ("jeffreys", "jeff")])
def test_intervals_agree_with_statsmodels(count, ours, theirs):
    # reference library: statsmodels confint_poisson (its Jeffreys keeps the lower quantile at 0 events; ours is 0)
    rates = pytest.importorskip("statsmodels.stats.rates")
    low, high = rates.confint_poisson(count, 12.5, method=theirs, alpha=0.1)
    got = rate_interval(count, 12.5, confidence=0.9, method=ours)
    assert got.high == pytest.approx(high, rel=1e-9)
    assert got.low == (0.0 if count == 0 else pytest.approx(low, rel=1e-9))


def test_ten_million_events_still_have_exact_limits():
    # normal approximation with the Wilson-Hilferty cube, good to about 1e-10 here (Wilson and Hilferty 1931)
    n, z = 10_000_000, 1.959963984540054
    got = rate_interval(n, 1.0)
    assert got.low == pytest.approx(n * (1 - 1 / (9 * n) - z / (3 * math.sqrt(n))) ** 3, rel=1e-9)
    assert got.high == pytest.approx((n + 1) * (1 - 1 / (9 * (n + 1)) + z / (3 * math.sqrt(n + 1))) ** 3, rel=1e-9)


@settings(deadline=None, max_examples=80)
@given(counts, times, st.sampled_from(["exact", "mid-p", "jeffreys"]), st.floats(1e-3, 1e3))
def test_scaling_time_scales_rates_and_intervals_nest(count, exposure, method, factor):
    one = rate_interval(count, exposure, method=method)
    scaled = rate_interval(count, exposure * factor, method=method)
    wide = rate_interval(count, exposure, method=method, confidence=0.99)
    assert scaled.low == pytest.approx(one.low / factor, rel=1e-12)
    assert scaled.high == pytest.approx(one.high / factor, rel=1e-12)
    assert wide.low <= one.low <= one.rate * (1 + 1e-12)
    assert one.rate <= one.high * (1 + 1e-12) <= wide.high * (1 + 1e-9)


@pytest.mark.parametrize("mean", [0.5, 2.0, 5.0, 20.0, 100.0])
def test_coverage_by_exact_sums(mean):
    # null: Poisson at this mean; no Monte Carlo error. Pointwise only for the exact interval.
    n = np.arange(0, int(mean + 12 * math.sqrt(mean) + 30))
    pmf = stats.poisson.pmf(n, mean)
    limits = [rate_interval(int(k), 1.0) for k in n]
    inside = np.array([x.low <= mean <= x.high for x in limits])
    assert pmf[inside].sum() >= 0.95 - 1e-9


# --- shares ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("hits", "trials", "low", "high"),
    [
        # R 4.2.2 binom.test
        (0, 10, 0.0, 0.3084971078),
        (1, 10, 0.002528578544, 0.4450161170),
        (5, 10, 0.1870860284, 0.8129139716),
        (10, 10, 0.6915028922, 1.0),
        # R help page of binom.test, Mendel's peas after Conover 1971: 682 of 925, 0.7076683 to 0.7654066 (from memory)
        (682, 925, 0.7076683, 0.7654066),
        # Newcombe 1998 (Statistics in Medicine 17, 857-872), Clopper-Pearson: 81 of 263, 0.2527 to 0.3676 (from memory)
        (81, 263, 0.2527, 0.3676),
        (15, 148, 0.0578, 0.1617),
    ],
)
def test_shares_agree_with_published_limits(hits, trials, low, high):
    got = share_interval(hits, trials)
    printed = 1e-9 if trials == 10 else 6e-8 if trials == 925 else 6e-5
    assert (got.low, got.high) == pytest.approx((low, high), abs=printed)


def test_share_one_sided_after_none_in_a_hundred():
    # definition: 1 - 0.05 ** (1 / 100) = 0.02951304961
    assert share_interval(0, 100, sided="upper").high == pytest.approx(0.02951304961, rel=1e-9)


# --- ratio ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("case", "ratio", "low", "high", "p_value", "mid_p"),
    [
        # Fay 2010, readme and vignette of the package rateratio.test: 0.0501064956141, 0.0217740627591 to 1.00054910449
        ((2, 17877, 9, 16660), 0.2070941557, 0.02177406276, 1.000549104, 0.05010649561, 0.02926656700),
        # R help page of poisson.test (malignant melanoma, Dobson); central p computed
        ((11, 800, 21, 3011), 1.971488095, 0.8584264034, 4.277265944, 0.1120173196, None),
        # Gu et al. 2008 through a statsmodels test file; limits and central p computed with R
        ((60, 51477.5, 30, 54308.7), 2.109997572, 1.339735722, 3.388365574, 0.0008561053881, 0.0006202648840),
        ((41, 28010, 15, 19017), 1.855758658, 1.005684063, 3.609300311, 0.04766024675, None),
    ],
)
def test_ratio_agrees_with_published_cases(case, ratio, low, high, p_value, mid_p):
    got = rate_ratio(*case)
    assert (got.ratio, got.low, got.high, got.p_value) == pytest.approx((ratio, low, high, p_value), rel=1e-9)
    if mid_p is not None:
        assert rate_ratio(*case, method="mid-p").p_value == pytest.approx(mid_p, rel=1e-8)


def test_ratio_against_another_null():
    # statsmodels test file (Gu et al. 2008): ratio 1.2, alternative 'larger', cond 0.006651774552714537 and mid-p below
    case = (60, 51477.5, 30, 54308.7)
    assert rate_ratio(*case, null_ratio=1.2, alternative="greater").p_value == pytest.approx(
        0.006651774552714537, rel=1e-9
    )
    mid = rate_ratio(*case, null_ratio=1.2, alternative="greater", method="mid-p").p_value
    assert mid == pytest.approx(0.005094603529853279, rel=1e-9)


def test_ratio_with_nothing_on_a_side():
    # central p 0.25 and upper limit 2.419951893 computed with R; both-zero by the definition of the conditional test
    got = rate_ratio(0, 100, 3, 100)
    assert (got.low, got.p_value) == (0.0, 0.25)
    assert got.high == pytest.approx(2.419951893, rel=1e-9)
    assert math.isinf(rate_ratio(3, 100, 0, 100).high)
    none = rate_ratio(0, 5, 0, 7)
    assert (none.low, none.high, none.p_value) == (0.0, math.inf, 1.0)
    assert none.to_dict()["high"] is None and none.to_dict()["high_unbounded"] is True


def test_one_sided_interval_meets_its_p_value():
    got = rate_ratio(3, 20.0, 14, 25.0, alternative="less")
    assert got.low == 0.0
    assert rate_ratio(3, 20.0, 14, 25.0, alternative="less", null_ratio=got.high).p_value == pytest.approx(
        0.05, rel=1e-9
    )


def test_zero_after_needs_five_before_or_sixty_two_at_twenty_to_one():
    # closed forms 0.5 ** 5 and (20 / 21) ** 62
    assert rate_ratio(0, 1.0, 5, 1.0, alternative="less").p_value == pytest.approx(0.5**5)
    assert rate_ratio(0, 1.0, 62, 20.0, alternative="less").p_value <= 0.05
    assert rate_ratio(0, 1.0, 61, 20.0, alternative="less").p_value > 0.05


@settings(deadline=None, max_examples=80)
@given(counts, times, counts, times, st.sampled_from(["exact", "mid-p"]))
def test_swapping_sides_inverts_the_ratio(n, t, m, s, method):
    one, two = rate_ratio(n, t, m, s, method=method), rate_ratio(m, s, n, t, method=method)
    assert two.p_value == pytest.approx(one.p_value, rel=1e-7)
    if n:
        assert two.high == pytest.approx(1 / one.low if one.low else math.inf, rel=1e-7)
    if m:
        assert two.low == pytest.approx(1 / one.high if one.high else math.inf, rel=1e-7)
    wide = rate_ratio(n, t, m, s, method=method, confidence=0.999)
    assert wide.low <= one.low * (1 + 1e-9) and one.high <= wide.high * (1 + 1e-9)
    assert (one.p_value <= 0.05 - 1e-9) <= (not one.low <= 1.0 <= one.high)


def test_exact_ratio_takes_under_a_millisecond():
    cases = [(k, 1.0 + k, 3 * k + 1, 2.0) for k in range(200)] + [(10**7, 1e6, 10**6, 1e5)] * 20
    best = math.inf
    for _ in range(3):
        begin = time.process_time()
        for case in cases:
            rate_ratio(*case)
        best = min(best, (time.process_time() - begin) / len(cases))
        if best < 1e-3:
            break
    assert best < 1e-3


# --- strata ---------------------------------------------------------------------------------------------------------


# --- bursts ---------------------------------------------------------------------------------------------------------


def test_single_events_leave_the_exact_ratio_alone():
    before = np.zeros(20, dtype=int)
    before[::4] = 1
    got = rate_ratio_dispersed(np.zeros(20, dtype=int), np.ones(20), before, np.ones(20), alternative="less")
    assert got.p_value == pytest.approx(0.5**5, rel=1e-12)
    assert got.dispersion == 1.0


def test_one_burst_is_no_proof_of_a_cure():
    before = np.zeros(20, dtype=int)
    before[7] = 9
    got = rate_ratio_dispersed(np.zeros(20, dtype=int), np.ones(20), before, np.ones(20), alternative="less")
    assert got.poisson_p_value < 0.01 < 0.2 < got.p_value
    assert got.dispersion == pytest.approx(9.0)


def test_too_few_events_to_see_bursts_are_said_so():
    got = rate_ratio_dispersed([1], [2.0], [0], [3.0])
    assert got.cautions and got.p_value == got.poisson_p_value


@settings(deadline=None, max_examples=40)
@given(st.lists(st.integers(0, 9), min_size=20, max_size=20), st.lists(st.integers(0, 9), min_size=20, max_size=20))
def test_widened_ratio_never_beats_the_exact_one(x, y):
    got, exact = rate_ratio_dispersed(x, [1.0] * 20, y, [2.0] * 20), rate_ratio(sum(x), 20.0, sum(y), 40.0)
    back = rate_ratio_dispersed(y, [2.0] * 20, x, [1.0] * 20)
    assert got.low <= exact.low and got.high >= exact.high and got.p_value >= exact.p_value
    assert back.p_value == pytest.approx(got.p_value, rel=1e-6, abs=1e-12)
    assert (got.p_value <= 0.05 - 1e-9) <= (not got.low <= 1.0 <= got.high)


def test_false_improved_under_bursts_stays_within_its_error():
    # null: six bursts of mean size 3 a side, no change; 800 pairs, Monte Carlo error 0.8 points at 5 %
    rng = np.random.default_rng(5)

    def side():
        sizes = rng.geometric(1 / 3, rng.poisson(6))
        return np.bincount(np.repeat(rng.integers(0, 20, sizes.size), sizes), minlength=20)

    e = np.ones(20)
    pairs = [rate_ratio_dispersed(side(), e, side(), e, alternative="less") for _ in range(800)]
    assert np.mean([x.poisson_p_value <= 0.05 for x in pairs]) > 0.15
    assert np.mean([x.p_value <= 0.05 for x in pairs]) <= 0.05 + 0.016


def test_windows_do_not_cross_runs():
    counts_, exposures = window_counts([[0.5, 9.5], [0.1, 0.2, 19.9]], [10.0, 20.0], windows=6)
    assert counts_.tolist() == [1, 1, 2, 0, 0, 1]
    assert exposures.tolist() == [5.0] * 6


# --- dispersion -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("frequencies", "alternative", "index", "chi2", "dof", "p_value"),
    [
        # von Bortkiewicz 1898, horse-kick deaths (data from memory), values computed with R
        ([109, 65, 22, 3, 1], "greater", 1.001565203, 199.3114754, 199, 0.4804495315),
        # Rutherford and Geiger 1910, alpha particles (data read), values computed with R
        (
            [57, 203, 383, 525, 532, 408, 273, 139, 45, 27, 10, 4, 0, 1, 1],
            "less",
            0.9547058663,
            2488.918194,
            2607,
            0.04932892164,
        ),
    ],
)
def test_dispersion_agrees_with_published_counts(frequencies, alternative, index, chi2, dof, p_value):
    data = np.repeat(np.arange(len(frequencies)), frequencies)
    got = dispersion_test(data, alternative=alternative, method="chi-square")
    assert (got.index, got.chi2, got.dof) == pytest.approx((index, chi2, dof), rel=1e-9)
    assert got.p_value == pytest.approx(p_value, rel=1e-8)
    # the Monte Carlo law is discrete, so it lies a little above the chi-square value; its own error is 0.005
    assert dispersion_test(data, alternative=alternative).p_value == pytest.approx(p_value, abs=0.03)


def test_dispersion_of_the_coal_disasters():
    # data: Jarrett 1979 through R package boot, as yearly counts 1851..1962; index and chi-square p computed with R
    dates = np.loadtxt(DATA / "coal.csv", skiprows=2)
    data = np.bincount(dates.astype(int) - 1851, minlength=112)
    assert (data.size, int(data.sum())) == (112, 191)
    got = dispersion_test(data, method="chi-square")
    assert (got.index, got.chi2) == pytest.approx((1.581010330, 175.4921466), rel=1e-9)
    assert got.p_value == pytest.approx(9.30770307e-05, rel=1e-7)
    assert dispersion_test(data).p_value <= 5e-4


def test_exact_dispersion_agrees_with_counting_every_table():
    # independent: all 3 ** 5 ways in which five events fall into three cells
    cells = np.array(np.meshgrid(*[range(3)] * 5)).reshape(5, -1).T
    squares = np.array([np.sum(np.bincount(row, minlength=3) ** 2) for row in cells])
    for table in ([5, 0, 0], [2, 2, 1], [3, 1, 1], [4, 1, 0]):
        want = np.mean(squares >= np.sum(np.square(table)))
        assert dispersion_test(table, method="exact").p_value == pytest.approx(want, rel=1e-12)
        assert dispersion_test(table, method="monte-carlo").p_value == pytest.approx(want, abs=0.015)


def test_a_test_far_from_significant_stops_early_and_no_other_does():
    rng = np.random.default_rng(3)
    stopped = 0
    for _ in range(60):
        counts = rng.poisson(12, 15)
        got = dispersion_test(counts, method="monte-carlo")
        chi2 = float(np.sum((counts - counts.mean()) ** 2) / counts.mean())
        by_chi2 = stats.chi2.sf(chi2, 14)  # scipy.stats; the multinomial law is close to it here
        assert got.p_value == pytest.approx(by_chi2, abs=0.06)
        assert got.replicates == (999 if got.p_value > 0.25 else 9_999)
        stopped += got.replicates == 999
    assert 30 <= stopped <= 56  # three of four under the null


def test_overdispersed_rate_widens_and_is_near_garwood_where_runs_are_told_to_be_alike():
    # Garwood's exact limits hold at no scatter; a prior of 1 % leaves next to none, but the grid begins at 2 %
    even, exact = overdispersed_rate([5] * 10, [1.0] * 10, scatter=0.01), rate_interval(50, 10.0)
    assert (even.low, even.high) == pytest.approx((exact.low, exact.high), rel=1e-2)
    alone = overdispersed_rate([5], [2.0])
    assert (alone.low, alone.high) == (rate_interval(5, 2.0).low, rate_interval(5, 2.0).high)
    wild = overdispersed_rate([0, 0, 30, 0, 20, 0, 0, 0, 0, 0], [1.0] * 10)
    assert wild.low < exact.low and wild.high > exact.high and wild.dispersion > 10


def test_rate_over_runs_that_differ_agrees_with_a_published_fit():
    # Bliss and Fisher 1953 (mites per leaf), negative binomial, k = 1.0246: profile limits of the mean computed here with
    # scipy.stats; the engine integrates over the scatter and allows it up to 1.1, so that it comes near, and as wide
    data = np.repeat(np.arange(8), [70, 38, 17, 10, 9, 3, 2, 1])
    got = overdispersed_rate(data, np.ones(150))
    assert got.rate == pytest.approx(1.146666667, rel=1e-9)
    means, k = np.linspace(0.8, 1.7, 1801), 1.0246
    like = stats.nbinom.logpmf(data[:, None], k, k / (k + means)).sum(axis=0)
    inside = means[like >= like.max() - 0.5 * special.chdtri(1, 0.05)]
    assert (got.low, got.high) == pytest.approx((inside[0], inside[-1]), rel=0.02)


# --- on and off -----------------------------------------------------------------------------------------------------


def test_li_and_ma():
    # gammapy documentation of Li and Ma 1983, eq. 17: 18 on, 97 off, alpha 0.1
    assert on_off_significance(18, 1.0, 97, 10.0).z == pytest.approx(2.242170442484, rel=1e-11)
    assert on_off_significance(7, 1.0, 97, 10.0).z < 0
    assert on_off_significance(18, 1.0, 97, 10.0).p_value == rate_ratio(18, 1.0, 97, 10.0).p_value


def test_rate_above_background_covers_by_exact_sums():
    # 95 % interval of a difference, coverage summed over both Poisson laws (no Monte Carlo error)
    a, b, t, s = 6.0, 3.0, 1.0, 2.0
    n, m = np.arange(30), np.arange(24)
    weight = stats.poisson.pmf(n, a * t)[:, None] * stats.poisson.pmf(m, b * s)[None, :]
    inside = np.zeros(weight.shape, dtype=bool)
    for i in n:
        for j in m:
            got = rate_difference(int(i), t, int(j), s)
            inside[i, j] = got.low <= a - b <= got.high
    assert weight[inside].sum() >= 0.945


# --- recurrence -----------------------------------------------------------------------------------------------------


def test_recurrence_is_the_tail_of_the_rest():
    got = recurrence(3, 4.0, nuisance_rate=0.01)
    assert got.p_value == pytest.approx(stats.poisson.sf(1, 0.04), rel=1e-12)
    assert got.likelihood_ratio == pytest.approx(stats.poisson.pmf(2, 2.0) / stats.poisson.pmf(2, 0.04), rel=1e-12)
    assert got.recurs and not recurrence(1, 4.0, nuisance_rate=0.01).recurs
    later = recurrence(3, 4.0, nuisance_rate=0.01, rest_exposure=1.0)
    assert later.p_value == pytest.approx(stats.poisson.sf(1, 0.01), rel=1e-12)


@pytest.mark.parametrize("rate", [0.05, 0.3, 1.0])
def test_a_nuisance_rate_alone_seldom_recurs(rate):
    # exact sum: chance of 'recurs' on a sound unit whose nuisance rate is as assumed
    n = np.arange(60)
    recurs = np.array([recurrence(int(k), 8.0, nuisance_rate=rate).recurs for k in n])
    assert stats.poisson.pmf(n[recurs], 8.0 * rate).sum() <= 0.05


# --- bad input ------------------------------------------------------------------------------------------------------


def test_counting_loads_no_heavy_library():
    # start-up budget: scipy.stats, statsmodels and pandas cost more than all of the counting
    code = (
        "import sys; from flicker.stats import rates, soak, sequential, association as a;"
        "rates.rate_ratio(1, 2.0, 3, 4.0); soak.hours_to_catch(count=2, exposure=3.0); "
        "a.stimulus_test([1.0], [2.0], 1.0, 9.0);"
        "print([m for m in ('scipy.stats', 'scipy.optimize', 'statsmodels', 'pandas', 'ruptures') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_every_result_reads_as_a_sentence_and_goes_into_json():
    results = [
        rate_interval(0, 3.0),
        rate_interval(3, 3.0, sided="lower"),
        share_interval(2, 5),
        rate_ratio(0, 1.0, 0, 1.0),
        rate_ratio(4, 1.0, 0, 1.0),
        rate_ratio_dispersed([1, 0, 2], [1.0] * 3, [0, 0, 0], [1.0] * 3),
        dispersion_test([0, 0]),
        dispersion_test([0, 3, 1]),
        overdispersed_rate([0, 0], [1.0, 1.0]),
        overdispersed_rate([4, 0, 3], [1.0, 1.0, 2.0], scatter=1.0),
        on_off_significance(0, 1.0, 0, 1.0),
        rate_difference(1, 2.0, 3, 1.0),
        *(recurrence(k, 2.0, nuisance_rate=0.1) for k in (0, 1, 4)),
    ]
    for result in results:
        content = json.loads(result.to_json())
        assert isinstance(content["reads"], str) and "nan" not in content["reads"]


def test_results_are_frozen_and_plain():
    got = rate_interval(0, 3.0)
    with pytest.raises(AttributeError):
        got.rate = 1.0  # type: ignore[misc]
    assert got.to_dict()["high"] == pytest.approx(3.688879454 / 3)
    assert "at most" in got.reads
