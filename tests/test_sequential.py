"""Stopping rules: published boundaries, errors of watches looked at after every event, bounds by root finding."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, special

from flicker.stats.sequential import MIXTURE_SHAPE, likelihood_ratio_pair, rate_bounds, rate_decision


@pytest.mark.parametrize(
    ("good", "bad", "false_alarm", "miss", "slope", "upper", "lower", "clean"),
    [
        # Wald 1947 boundaries, computed independently: rates .01 against .02, then .01 against .03
        (0.01, 0.02, 0.1, 0.1, 0.01442695041, 3.169925001, -3.169925001, 219.7224577),
        (0.01, 0.03, 0.05, 0.1, 0.01820478453, 2.630929754, -2.049214106, 112.5645899),
    ],
)
def test_wald_boundaries(good, bad, false_alarm, miss, slope, upper, lower, clean):
    rule = rate_decision(good, bad, false_alarm=false_alarm, miss=miss)
    found = (rule.slope, rule.recurs_intercept, -rule.slope * rule.clean_exposure, rule.clean_exposure)
    assert found == pytest.approx((slope, upper, lower, clean), rel=1e-9)
    # Wald 1945: log((1 - b) / a) and log(b / (1 - a))
    assert rule.log_upper == pytest.approx(math.log((1 - miss) / false_alarm))
    assert rule.log_lower == pytest.approx(math.log(miss / (1 - false_alarm)))


def test_decisions_at_and_beside_the_boundaries():
    rule = rate_decision(0.01, 0.02, false_alarm=0.1, miss=0.1)
    assert rule.decide(0, 219.0) == "go on"
    assert rule.decide(0, rule.clean_exposure) == "clean enough"
    assert rule.decide(4, 10.0) == "recurs"
    assert rule.decide(3, 10.0) == "go on"


def test_one_early_event_is_no_recurrence():
    assert rate_decision(0.01, 1.0).decide(1, 0.05) == "recurs"
    rule = likelihood_ratio_pair(0.01, 1.0)
    assert rule.decide(1, 0.05) == "go on"
    assert rule.decide(2, 0.10) == "recurs"
    assert rule.log_likelihood_ratio(2, 0.10) == pytest.approx(2 * math.log(100.0) - 0.99 * 0.10)
    assert rule.log_upper == pytest.approx(math.log(20.0))


def _wrong(rule, rate, watches, seed):
    """Share of simulated watches that end with either word, looked at before and after every event."""
    rng = np.random.default_rng(seed)
    t, n = np.zeros(watches), np.zeros(watches, dtype=int)
    ended = np.zeros(watches, dtype=int)  # 1 recurs, -1 clean enough
    for _ in range(400):
        open_ = ended == 0
        if not open_.any():
            break
        t = np.where(open_, t + rng.exponential(1 / rate, watches), t)
        clean_at = rule.clean_exposure + rule.exposure_per_event * n
        ended = np.where(open_ & (t >= clean_at), -1, ended)
        open_ = ended == 0
        n = np.where(open_, n + 1, n)
        hit = open_ & (n >= rule.recurs_intercept + rule.slope * t) & (n >= rule.least_count)
        ended = np.where(hit, 1, ended)
    return np.mean(ended == 1), np.mean(ended == -1)


@pytest.mark.parametrize("make", [rate_decision, likelihood_ratio_pair])
def test_watches_hold_their_errors(make):
    # 20,000 watches at each design rate, every event looked at; Monte Carlo error 0.15 points
    rule = make(0.2, 1.0)
    false_alarm, _ = _wrong(rule, 0.2, 20_000, 1)
    _, miss = _wrong(rule, 1.0, 20_000, 2)
    assert false_alarm <= 0.05 + 0.005
    assert miss <= 0.05 + 0.005


def test_array_free_rule_agrees_with_its_lines():
    rule = likelihood_ratio_pair(0.2, 1.0)
    rng = np.random.default_rng(3)
    for _ in range(300):
        n, t = int(rng.integers(0, 12)), float(rng.uniform(0.01, 15))
        clean = t >= rule.clean_exposure + rule.exposure_per_event * n
        recurs = n >= rule.recurs_intercept + rule.slope * t and n >= 2
        assert rule.decide(n, t) == ("recurs" if recurs else "clean enough" if clean else "go on")


# --- bounds that hold at every moment -------------------------------------------------------------------------------


def _log_mixture(rate, n, t, design):
    a = MIXTURE_SHAPE
    b = a / design
    value = a * np.log(b) - special.gammaln(a) + special.gammaln(a + n) - (a + n) * np.log(b + t) + rate * t
    return value - special.xlogy(n, rate)


@pytest.mark.parametrize(("n", "t", "design"), [(0, 2.0, 1.0), (1, 0.3, 1.0), (7, 4.0, 0.5), (300, 100.0, 1.0)])
def test_bounds_solve_the_mixture_martingale(n, t, design):
    # independent: Brent's root finder on the boundary of Howard et al. 2021
    got = rate_bounds(n, t, design_rate=design)
    level = math.log(20.0)
    peak = max(n / t, 1e-9)
    high = optimize.brentq(lambda r: _log_mixture(r, n, t, design) - level, peak, 100 * (n + 10) / t)
    assert got.high == pytest.approx(high, rel=1e-9)
    if n:
        low = optimize.brentq(lambda r: _log_mixture(r, n, t, design) - level, 1e-12 * peak, peak)
        assert got.low == pytest.approx(low, rel=1e-9)
    else:
        assert got.low == 0.0


def test_mixture_is_the_integral_it_claims_to_be():
    # independent: numerical integration of likelihood ratios over the gamma mixing law
    n, t, rate, design = 4, 3.0, 0.8, 1.0
    a = MIXTURE_SHAPE
    b = a / design
    from scipy import integrate

    value, _ = integrate.quad(
        lambda x: np.exp(-(x - rate) * t) * (x / rate) ** n * b**a * x ** (a - 1) * np.exp(-b * x) / special.gamma(a),
        0,
        np.inf,
    )
    assert math.log(value) == pytest.approx(float(_log_mixture(rate, n, t, design)), rel=1e-7)


@pytest.mark.parametrize("rate", [0.1, 1.0, 10.0])
def test_bounds_are_hardly_ever_wrong_while_looking_at_every_moment(rate):
    # null: the true rate; 4,000 watches of 400 events, looked at just before and just after each event (the mixture is
    # convex in time between events, so no moment between can be worse). Monte Carlo error 0.35 points.
    rng = np.random.default_rng(8)
    t = np.cumsum(rng.exponential(1 / rate, (4_000, 400)), axis=1)
    n = np.arange(1, 401)
    after = _log_mixture(rate, n, t, 1.0)
    before = _log_mixture(rate, n - 1, t, 1.0)
    wrong = np.maximum(after, before).max(axis=1) >= math.log(20.0)
    assert wrong.mean() <= 0.05


@settings(deadline=None, max_examples=80)
@given(st.integers(0, 2000), st.floats(1e-3, 1e4), st.floats(1e-3, 1e3), st.floats(1e-3, 1e3))
def test_bounds_scale_and_nest(count, exposure, design, factor):
    one = rate_bounds(count, exposure, design_rate=design)
    scaled = rate_bounds(count, exposure * factor, design_rate=design / factor)
    wide = rate_bounds(count, exposure, design_rate=design, confidence=0.999)
    assert scaled.low == pytest.approx(one.low / factor, rel=1e-6, abs=1e-300)
    assert scaled.high == pytest.approx(one.high / factor, rel=1e-6)
    assert wide.low <= one.low <= one.rate * (1 + 1e-9) and one.rate <= one.high * (1 + 1e-9) <= wide.high * (1 + 1e-8)


def test_a_count_to_decide_on_is_none_or_more():
    with pytest.raises(ValueError, match=r"count must\b.*-1"):
        rate_decision(0.1, 1.0).decide(-1, 1.0)
