"""Soak planning: handbook test lengths, closed forms, exact sums of what is promised, and what a meter sees."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from flicker.stats.soak import (
    clean_exposure,
    detectable_share,
    hours_to_catch,
    power_ups_to_catch,
)


@pytest.mark.parametrize(
    ("confidence", "factors"),
    [
        # NIST/SEMATECH e-Handbook 8.3.1.2, test-length factors, 0 to 4 failures (from memory, recomputed with R)
        (0.50, (0.6931472, 1.6783470, 2.6740603, 3.6720607, 4.6709089)),
        (0.80, (1.6094379, 2.9943083, 4.2790299, 5.5150457, 6.7209788)),
        (0.90, (2.3025851, 3.8897202, 5.3223203, 6.6807831, 7.9935896)),
        (0.95, (2.9957323, 4.7438645, 6.2957936, 7.7536565, 9.1535190)),
    ],
)
def test_clean_exposure_has_the_handbook_factors(confidence, factors):
    got = [clean_exposure(1.0, confidence=confidence, allowed=r).exposure for r in range(5)]
    assert got == pytest.approx(factors, abs=5.1e-8)


def test_clean_exposure_of_the_rounded_table():
    # same table as printed there, to its two decimals (from memory): 0, 1, 2 failures at 60 and 75 %
    got = [clean_exposure(1.0, confidence=c, allowed=r).exposure for r in range(3) for c in (0.60, 0.75)]
    assert got == pytest.approx([0.916, 1.39, 2.02, 2.69, 3.11, 3.92], abs=5e-3)


def test_test_length_for_two_hundred_hours():
    # NIST/SEMATECH e-Handbook 8.3.1.1 example: 200 h, 90 %, up to 4 failures: 1598 h (from memory)
    assert clean_exposure(1 / 200, confidence=0.90, allowed=4).exposure == pytest.approx(1598.717917, rel=1e-9)


def test_half_seen_glitches_double_the_soak():
    assert clean_exposure(2.0, detectable_share=0.5).exposure == pytest.approx(2.995732274, rel=1e-9)


# --- catching a rare glitch -----------------------------------------------------------------------------------------


def test_rate_known_follows_the_exponential_law():
    # 95 % chance of at least one: 2.995732 / rate
    got = hours_to_catch(rate=0.25)
    assert got.exposure == pytest.approx(2.995732274 / 0.25, rel=1e-9)
    assert got.chance(got.exposure) == pytest.approx(0.95, rel=1e-12)


@pytest.mark.parametrize("count", [1, 2, 4, 8])
def test_predictive_soak_catches_exactly_what_it_promises(count):
    # exact, over repeated logs that end with their k-th episode: T is gamma(k), so the miss chance is E exp(-rate h(T))
    for confidence in (0.5, 0.9, 0.95):
        plan = hours_to_catch(count=count, exposure=1.0, confidence=confidence)
        miss = stats.gamma(count).expect(lambda t, h=plan.exposure: np.exp(-h * t))
        assert miss == pytest.approx(1 - confidence, rel=1e-6)
        assert plan.exposure > plan.exposure_if_rate_known


@pytest.mark.parametrize("mean", [3.0, 6.0, 20.0])
def test_predictive_soak_keeps_its_promise_over_logs_of_fixed_length(mean):
    # exact sum over the count of the log, given that it showed at least one episode
    k = np.arange(1, 200)
    weight = stats.poisson.pmf(k, mean) / stats.poisson.sf(0, mean)
    miss = [math.exp(-mean * hours_to_catch(count=int(n), exposure=1.0).exposure) for n in k]
    plug_in = [math.exp(-mean * hours_to_catch(count=int(n), exposure=1.0).exposure_if_rate_known) for n in k]
    assert np.sum(weight * miss) <= 0.05 + 1e-12 < np.sum(weight * plug_in)


def test_bursts_lengthen_the_soak():
    # closed form with the six episodes taken as two bursts
    got = hours_to_catch(count=6, exposure=4.0, dispersion=3.0).exposure
    assert got == pytest.approx(4.0 * (20**0.5 - 1), rel=1e-12)
    assert got > hours_to_catch(count=6, exposure=4.0).exposure


@settings(deadline=None, max_examples=50)
@given(st.integers(1, 50), st.floats(0.01, 1e4), st.floats(0.01, 0.99), st.floats(1e-3, 1e3))
def test_soaks_scale_with_the_unit_of_time(count, exposure, confidence, factor):
    one = hours_to_catch(count=count, exposure=exposure, confidence=confidence).exposure
    scaled = hours_to_catch(count=count, exposure=exposure * factor, confidence=confidence).exposure
    assert scaled == pytest.approx(one * factor, rel=1e-9)


# --- power-ups ------------------------------------------------------------------------------------------------------


def test_success_run():
    # log(1 - C) / log(R): 59 at 95 / 95 %, 22 at 90 / 90 % (from memory: success-run theorem), 299 at 95 / 99 %
    assert power_ups_to_catch(share=0.05).power_ups == 59
    assert power_ups_to_catch(share=0.10, confidence=0.90).power_ups == 22
    assert power_ups_to_catch(share=0.01).power_ups == 299
    assert power_ups_to_catch(share=1.0).power_ups == 1


@pytest.mark.parametrize(("hits", "trials"), [(1, 4), (2, 6), (5, 5), (3, 40)])
def test_power_ups_from_few_follow_the_beta_binomial(hits, trials):
    # independent: scipy.stats' beta-binomial
    for seen in (1.0, 0.4):
        n = power_ups_to_catch(hits=hits, trials=trials, detectable_share=seen).power_ups
        law = stats.beta(hits, trials - hits + 1)
        miss = [law.expect(lambda p, m=m, s=seen: (1 - s * p) ** m) for m in (n - 1, n)]
        assert miss[1] <= 0.05 + 1e-9 and (n == 1 or miss[0] > 0.05 - 1e-9)
        if seen == 1.0:
            assert stats.betabinom.pmf(0, n, hits, trials - hits + 1) == pytest.approx(miss[1], rel=1e-6)


@pytest.mark.parametrize(("confidence", "power_ups"), [(0.75, 3), (0.8, 4), (0.9, 9), (0.95, 19), (0.99, 99)])
def test_a_number_that_meets_the_confidence_exactly_is_enough(confidence, power_ups):
    # Seen in 1 of 1: n more miss it with the chance 1 / (n + 1), so that n = confidence / (1 - confidence).
    assert power_ups_to_catch(hits=1, trials=1, confidence=confidence).power_ups == power_ups


def test_many_power_ups_half_seen():
    # limit of rare faults: beta(1, 1000) is nearly exponential, so n seen / trials = 20 - 1
    got = power_ups_to_catch(hits=1, trials=1000, detectable_share=0.01).power_ups
    assert got == pytest.approx(19 * 1000 / 0.01, rel=1e-3)


@pytest.mark.parametrize(("share", "trials"), [(0.3, 10), (0.5, 12), (0.15, 30)])
def test_power_ups_from_few_keep_their_promise(share, trials):
    k = np.arange(1, trials + 1)
    weight = stats.binom.pmf(k, trials, share) / stats.binom.sf(0, trials, share)
    miss = [(1 - share) ** power_ups_to_catch(hits=int(h), trials=trials).power_ups for h in k]
    assert np.sum(weight * miss) <= 0.05


def test_starts_against_hours():
    got = power_ups_to_catch(share=0.2, rate=0.1)
    assert got.power_ups == 14
    assert got.equal_exposure == pytest.approx(29.95732274, rel=1e-9)


# --- what the meter sees --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("lengths", ["fixed", "exponential"])
@pytest.mark.parametrize(
    ("length", "interval", "integration", "fraction"),
    [(0.3, 1.0, 0.0, 0.5), (0.3, 1.0, 0.1, 0.5), (0.05, 1.0, 0.2, 0.2), (0.05, 1.0, 0.2, 0.9), (1.5, 1.0, 0.2, 0.5)],
)
def test_seen_share_agrees_with_simulation(lengths, length, interval, integration, fraction):
    # 200,000 rectangular glitches at random phase; Monte Carlo error at most 0.0011, five of them allowed
    rng = np.random.default_rng(11)
    n = 200_000
    size = np.full(n, length) if lengths == "fixed" else rng.exponential(length, n)
    start = rng.uniform(0, interval, n) + 2.0
    seen = np.zeros(n, dtype=bool)
    for k in range(60):
        begin = k * interval
        if integration == 0.0:
            seen |= (start <= begin) & (begin < start + size)
        else:
            overlap = np.minimum(start + size, begin + integration) - np.maximum(start, begin)
            seen |= overlap >= fraction * integration
    got = detectable_share(length, interval, integration, needed_fraction=fraction, lengths=lengths)
    assert got.share == pytest.approx(seen.mean(), abs=0.0056)
