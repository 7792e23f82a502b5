"""Time since power-up: closed forms, size, recovery and coverage by simulation. All units are invented."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest
from scipy import stats

from flicker import Limits, assess, simulate_log
from flicker.evidence.located.power_up_history import check_power_ups, history_of, settling_trends
from flicker.evidence.located.warmup import WarmupRun, warmup_rate
from flicker.stats.trends import mann_kendall


def run(begin, hours=1.0, observed=None):
    seen = np.array([[0.0, hours * 3600]]) if observed is None else np.asarray(observed, dtype=float)
    return WarmupRun(np.sort(np.asarray(begin, dtype=float)), seen)


def bench(rng, runs, hours, rate, *, initial=None, tau=None, burst=1):
    """Poisson episodes per hour, falling from ``initial`` to ``rate`` with ``tau``; bursts of a mean size."""
    out = []
    for length in np.broadcast_to(hours, runs):
        most = max(rate, initial or 0.0) / burst
        t = rng.uniform(0, length * 3600, rng.poisson(most * length))
        if initial is not None:
            t = t[rng.random(t.size) < (rate + (initial - rate) * np.exp(-t / tau)) / most]
        sizes = rng.geometric(1 / burst, t.size)
        t = np.repeat(t, sizes) + rng.uniform(0, 300, sizes.sum()) * (burst > 1)
        out.append(run(t[t < length * 3600], length))
    return out


def test_bins_in_closed_form():
    # two runs of 10 min, one without its second to fourth minute: 120 s in the first minute with 2 episodes
    runs = [run([10, 400], observed=[[0, 600]]), run([50, 350], observed=[[0, 60], [240, 600]])]
    bins = warmup_rate(runs).bins
    assert [(b.begin_s, b.count, b.observed_s) for b in bins] == [(0, 2, 120), (60, 0, 300), (300, 2, 600)]
    # exact limits of 2 events: 0.242209 and 7.224688 (Garwood 1936), per 120 s
    assert (bins[0].low_per_h, bins[0].high_per_h) == pytest.approx((0.2422093 * 30, 7.2246877 * 30))


def test_a_crackle_in_the_first_minutes_is_found_with_its_end():
    # truth: 60 per hour in the first 10 minutes, none after; 6 runs of an hour
    rng = np.random.default_rng(1)
    found = warmup_rate([run(rng.uniform(0, 600, rng.poisson(10))) for _ in range(6)])
    assert found.answer == "fades"
    assert found.change_low_s <= 600 <= found.change_high_s
    assert found.change_high_s - found.change_low_s < 300
    assert found.before_per_h == pytest.approx(60, rel=0.3)
    assert "soon after power-up" in found.reads
    found.to_json()


def test_a_rate_that_grows_with_heat():
    rng = np.random.default_rng(2)
    found = warmup_rate([run(7200 * rng.random(12) ** 0.5, 2.0) for _ in range(4)])
    assert found.answer == "grows"
    assert found.initial_per_h < found.late_per_h


@pytest.mark.parametrize(("burst", "hours"), [(1, 1.0), (1, [0.5, 1.0, 2.0, 4.0]), (3, 2.0)])
def test_a_constant_rate_is_called_dependent_in_at_most_so_many(burst, hours):
    # null: 12 per hour whatever the time since power-up, 4 runs, equal or unequal, singly or in bursts of mean size 3
    # wider than the dead time; 100 benches, limit is the 99 % point of the binomial at 5 % (7 % for bursts); the
    # larger study stands in tests/studies/results/bench_parts.md
    rng = np.random.default_rng(30 + burst)
    false = sum(warmup_rate(bench(rng, 4, hours, 12.0, burst=burst)).answer != "not shown" for _ in range(100))
    assert false <= stats.binom.ppf(0.99, 100, 0.05 if burst == 1 else 0.07)


def test_fitted_decay_covers_the_truth():
    # truth: 40 per hour at power-up, 4 per hour late, time constant 8 min; 10 runs of 1.5 h. Profile-likelihood limits
    # are asymptotic: 50 benches, each of the three covered in 42 or more (a true 95 % shows that in 999 of 1000)
    rng = np.random.default_rng(4)
    covered = np.zeros(3)
    estimates = []
    for _ in range(50):
        found = warmup_rate(bench(rng, 10, 1.5, 4.0, initial=40.0, tau=480.0))
        covered += [
            found.initial_low_per_h <= 40 <= found.initial_high_per_h,
            found.late_low_per_h <= 4 <= found.late_high_per_h,
            found.tau_low_s <= 480 <= found.tau_high_s,
        ]
        estimates.append((found.initial_per_h, found.late_per_h, found.tau_s))
    assert covered.min() >= 42
    assert np.median(estimates, axis=0) == pytest.approx([40.0, 4.0, 480.0], rel=0.15)


def test_few_episodes_show_nothing_and_say_so():
    found = warmup_rate([run([100.0]), run([])])
    assert found.answer == "not shown"
    assert found.initial_low_per_h < 0.05 * found.initial_per_h and math.isinf(found.initial_high_per_h)  # the interval says how little
    assert "not shown" in found.reads and "Fitted" not in found.reads
    none = warmup_rate([run([])])
    assert none.episodes == 0 and math.isnan(none.tau_s)


# --- power-ups ------------------------------------------------------------------------------------------------------


def test_settling_trend_against_a_worked_example():
    # series 12.9 ... 21.7: z 2.9058, two-sided p 0.003662724, Sen slope 0.5666667 (worked page, College of the Holy
    # Cross; looked up), here as millivolts over 14 power-ups; movement 13 x 0.567 = 7.4 mV. The page's p is the normal
    # form; ours counts orders, and 20,000 random ones (drawn here) must agree: Monte Carlo error 0.00035.
    mv = np.array([12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7])
    level, settle = settling_trends(mv / 1e3, np.full(14, 20.0), Limits())
    assert mann_kendall(mv).p_normal == pytest.approx(0.003662724, rel=1e-6)
    orders = np.argsort(np.random.default_rng(3).random((20_000, 14)), axis=1)
    shuffled, pairs = mv[orders], np.triu_indices(14, 1)
    s = np.abs(np.sign(shuffled[:, pairs[1]] - shuffled[:, pairs[0]]).sum(axis=1))
    assert level.p_value == pytest.approx(np.mean(s >= abs(np.sign(mv[pairs[1]] - mv[pairs[0]]).sum())), abs=0.0011)
    assert level.p_adjusted == pytest.approx(2.0 * level.p_value)
    assert level.slope == pytest.approx(0.5666667e-3, rel=1e-6)
    assert level.answer == "not shown"  # shown, but 7.4 mV is less than the drift limit
    assert settling_trends(mv / 1e3, np.full(14, 20.0), replace(Limits(), drift_V=0.005))[0].answer == "yes"
    assert (settle.answer, settle.p_value) == ("not shown", 1.0)


def power_ups(rng, count):
    return 0.08 * rng.lognormal(0, 0.15, count), 20 * rng.lognormal(0, 0.1, count), 0.012 + rng.normal(0, 0.002, count)


def test_sound_histories_have_no_abnormal_power_up():
    # null: 12 power-ups that scatter alike; any abnormal one in at most 5 % of histories (500, 99 % point)
    rng = np.random.default_rng(5)
    false = sum(any(check.abnormal for check in check_power_ups(*power_ups(rng, 12), Limits())) for _ in range(500))
    assert false <= stats.binom.ppf(0.99, 500, 0.05)


@pytest.mark.parametrize(("quantity", "factor"), [("settle_s", 4.0), ("surge_V", 3.0), ("settled_V", 5.0)])
def test_an_abnormal_power_up_is_found_and_named(quantity, factor):
    rng = np.random.default_rng(6)
    found = 0
    for _ in range(100):
        surge, settle, level = power_ups(rng, 10)
        dict(surge_V=surge, settle_s=settle, settled_V=level)[quantity][7] *= factor
        flagged = [check for check in check_power_ups(surge, settle, level, Limits()) if check.abnormal]
        found += any(check.power_up == 7 and check.quantity == quantity for check in flagged)
    assert found >= 90


def test_prediction_limits_are_students():
    level = np.array([0.010, 0.012, 0.014, 0.016, 0.060])
    check = check_power_ups(np.full(5, 0.1), np.full(5, 20.0), level, Limits())[0]
    past = level[:4]
    half = stats.t.ppf(0.975, 3) * past.std(ddof=1) * math.sqrt(1.25)
    assert (check.quantity, check.history) == ("settled_V", 4)
    assert (check.usual_low, check.usual_high) == pytest.approx((past.mean() - half, past.mean() + half))
    assert check.p_value == pytest.approx(
        2 * stats.t.sf((0.060 - past.mean()) / (past.std(ddof=1) * math.sqrt(1.25)), 3)
    )
    assert check.abnormal
    assert "is usual for this unit" in check.reads


def test_a_short_history_is_not_judged():
    assert check_power_ups(np.full(4, 0.1), np.full(4, 20.0), np.full(4, 0.01), Limits()) == ()


def test_a_power_up_is_set_against_the_units_own():
    # Invented unit: six alike power-ups, then one whose surge takes five times as long. Within the limits of any unit,
    # but not of this one.
    usual = simulate_log("steady", hours=0.25, runs=6, seed=1, unit=9, surge_V=0.08, surge_tau_s=8.0, rate_hz=2)
    later = datetime(2031, 5, 1, 18, 0)
    slow = simulate_log("steady", hours=0.25, seed=2, unit=9, surge_V=0.08, surge_tau_s=40.0, start=later)
    found = assess([*usual.logs, *slow.logs], Limits(settle_s=600.0)).channel("left")
    (odd,) = [check for check in found.power_up_history.checks if check.abnormal]
    assert (odd.power_up, odd.quantity, odd.history) == (6, "settle_s", 6)
    assert odd.usual_high < odd.value and "Power-up 7: settle time" in found.power_up_history.reads
    assert found.finding("power-up").answer == "no"
    alike = assess(list(usual.logs)).channel("left").power_up_history
    assert not alike.stands_out and "None of 6 power-ups stands out" in alike.reads
    assert assess(list(usual.logs[:4])).channel("left").power_up_history is None
    ups = found.power_up  # of a unit that was mostly switched on warm, the cold starts are left out
    mixed = [replace(up, start="warm" if up.run < 5 else "cold") for up in ups]
    assert history_of(mixed, Limits()).power_ups == 5


def test_a_level_that_settles_farther_at_each_power_up_is_a_trend():
    # Put in: 8 mV at each of six power-ups, 40 mV in all.
    found = assess(list(simulate_log("drifting-power-ups", hours=0.3, seed=3).logs)).channel("left").power_up_history
    assert found.level.answer == "yes" and abs(found.level.movement) == pytest.approx(0.040, abs=0.002)
    assert abs(found.level.slope_low) < 0.008 < abs(found.level.slope_high) or found.level.slope_high < -0.007
    assert f"moves by {found.level.movement * 1e3:+.3g} mV over 6 power-ups" in found.reads


def test_the_fitted_decay_is_told():
    # Put in: 8 glitches a power-up with a mean time of 240 s after the lead-in.
    bench = simulate_log("warm-up", hours=0.7, runs=6, seed=2)
    found = assess(list(bench.logs)).channel("left").warm_up
    assert found.answer == "fades" and found.tau_low_s < 240.0 < found.tau_high_s
    assert "time constant" in found.reads and "6 power-ups" in found.reads
