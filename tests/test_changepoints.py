"""Changes of level, noise and event rate, against published data, separate code, and steady noise of every colour."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from scipy import optimize, stats

sys.path.insert(0, str(Path(__file__).parent / "studies"))
import change_statistic
import noise_makers as makers

from flicker.stats.changepoints import level_changes, rate_changes, variance_changes
from flicker.stats.levels import change_search as search
from flicker.stats.levels.change_search import best_cuts

DATA = Path(__file__).parent / "data"
NILE = np.loadtxt(DATA / "nile.csv", delimiter=",", skiprows=2)
COAL = np.loadtxt(DATA / "coal.csv", delimiter=",", skiprows=2)


def test_the_nile_fell_once_after_1898():
    # C1 and CH-1: Cobb 1978 (Biometrika 65, 243-251, from memory; 1898 known), means computed with strucchange;
    # CH-2: one break by BIC too. strucchange's interval in last old years is 1895 to 1902.
    found = level_changes(NILE[:, 1], NILE[:, 0])
    (change,) = found.changes
    assert (change.at, change.index) == (1899.0, 28)
    assert found.levels == pytest.approx((1097.75, 849.9722222), rel=1e-9)
    assert change.step == pytest.approx(849.9722222 - 1097.75, rel=1e-7)
    assert change.p_value < 0.05
    assert 1895 <= change.low < 1899 <= change.high <= 1902
    assert change.step_low < change.step < change.step_high < 0


def test_nile_squares_without_and_with_the_change():
    # CH-1: residual sums of squares 2835156.75 and 1597457.194 (strucchange); T_1 uses their difference
    y = NILE[:, 1]
    assert float(((y - y.mean()) ** 2).sum()) == pytest.approx(2835156.75, rel=1e-9)
    assert search.residual_scale(y - y.mean(), (28,))[0] == pytest.approx(1597457.194, rel=1e-9)


def test_coal_accidents_became_rarer_in_1890():
    # CH-5 and C2: supremum just at event 125, 1890.189596; LR 73.11078385; rates 3.189622048 and 0.9064638640
    found = rate_changes(COAL, 1963.0, start=1851.0)
    (change,) = found.changes
    assert change.at == pytest.approx(1890.189596, abs=1e-6)
    assert change.likelihood_ratio == pytest.approx(73.11078385, rel=1e-8)
    assert (change.rate_before, change.rate_after) == pytest.approx((3.189622048, 0.9064638640), rel=1e-8)
    assert found.counts.tolist() == [125, 66]
    assert change.p_value < 1e-10
    # Raftery and Akman 1986 (from memory): about March 1890, 95 % from about 1887 to 1895
    assert (change.low, change.high) == pytest.approx((1887.4, 1895.6), abs=1.2)


def test_rate_ratio_against_a_separate_likelihood():
    # yearly counts of the same data split after 1891, CH-4: rates 3.097560976 and 0.9014084507, LR 69.98834475
    counts = np.histogram(COAL, np.arange(1851, 1964))[0]
    poisson = [stats.poisson.logpmf(part, part.mean()).sum() for part in (counts[:41], counts[41:], counts)]
    assert 2 * (poisson[0] + poisson[1] - poisson[2]) == pytest.approx(69.98834475, rel=1e-8)
    inside = COAL[(COAL > 1851) & (COAL < 1963)]
    at = rate_changes(inside, 1963.0, start=1851.0).changes[0].at

    def loss(rates):
        before, after = np.exp(rates)
        n1 = (inside <= at).sum()
        return before * (at - 1851) - n1 * rates[0] + after * (1963 - at) - (inside.size - n1) * rates[1]

    free = optimize.minimize(loss, [0.0, 0.0], method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-12}).fun
    level = np.log(inside.size / 112)
    assert 2 * (loss([level, level]) - free) == pytest.approx(73.11078385, rel=1e-7)


def test_statistic_and_places_equal_a_separate_program():
    # places (from ruptures, whose search we use) and statistic: study code
    rng = np.random.default_rng(1)
    for blocks in (20, 50):
        y = makers.spectral(rng, 20, blocks)
        theirs, cuts = change_statistic.statistics(y, 2, 3)
        for i in range(20):
            for k, ours in enumerate(best_cuts(y[i] - y[i].mean(), 3, 2)):
                assert list(ours) == cuts[i, k, : k + 1].tolist()
                assert search.statistic(y[i], ours, 0.0) == pytest.approx(theirs[i, k], rel=1e-9)


@pytest.mark.parametrize("name", makers.NULLS)
def test_no_change_in_95_of_100_steady_logs(name):
    # asked: at most 5 %; measured at 0 to 3 % (results/changepoints.md). 300 logs, three Monte Carlo errors: 8.8 %
    rng = np.random.default_rng(2)
    for n in (200, 1000):
        logs = makers.NULLS[name](rng, 300, n)
        level = sum(bool(level_changes(y).changes) for y in logs)
        size = sum(bool(variance_changes(y).changes) for y in logs[:150])
        assert level <= 0.05 * 300, (n, level)
        assert size <= 0.103 * 150, (n, size)


def test_walks_and_slopes_are_no_steps():
    rng = np.random.default_rng(3)
    walks = sum(bool(level_changes(y).changes) for y in makers.random_walk(rng, 200, 600))
    slopes = sum(bool(level_changes(y).changes) for y in makers.white(rng, 200, 600) + 10 * np.arange(600) / 600)
    assert walks <= 0.096 * 200  # nominal 5 %, three Monte Carlo errors
    assert slopes <= 0.05 * 200


@pytest.mark.parametrize(
    ("noise", "step", "places", "least"),
    [
        ("white", 2.0, (1000,), 0.97),
        ("white", 2.0, (500, 600), 0.95),
        ("AR .9", 4.0, (800, 1400), 0.95),
        ("AR .98", 8.0, (1000,), 0.93),
        ("1/f", 4.0, (1000,), 0.90),
        ("1/f", 8.0, (400, 600, 800, 1000, 1600, 1800), 0.88),
        ("sum of AR", 4.0, (800, 1400), 0.85),
    ],
)
def test_steps_up_and_back_are_found_placed_and_sized(noise, step, places, least):
    rng = np.random.default_rng(4)
    signs = np.where(np.arange(len(places)) % 2, -step, step)
    base = (np.arange(2000)[:, None] >= np.array(places)) @ signs
    exact = placed = sized = changes = 0
    for y in makers.NULLS[noise](rng, 60, 2000) + base:
        found = level_changes(y).changes
        if len(found) == len(places):
            exact += 1
            for c, truth, size in zip(found, places, signs, strict=True):
                changes += 1
                placed += c.index_low <= truth <= c.index_high
                sized += c.step_low <= size <= c.step_high
                assert c.p_value <= 0.05
                assert c.index_low <= c.index <= c.index_high
    assert exact >= least * 60
    assert placed >= 0.93 * changes
    assert sized >= 0.93 * changes


def test_changes_scale_shift_and_mirror():
    rng = np.random.default_rng(5)
    y = makers.white(rng, 1, 400)[0] + 3 * (np.arange(400) >= 250)
    plain = level_changes(y, resolution=0).changes[0]
    scaled = level_changes(5 - 1e-3 * y, 100 + 2.0 * np.arange(400), resolution=0).changes[0]
    assert (scaled.index, scaled.at) == (plain.index, 100 + 2.0 * plain.index)
    assert scaled.step == pytest.approx(-1e-3 * plain.step, rel=1e-9)
    assert scaled.p_value == pytest.approx(plain.p_value, rel=1e-6)


def test_a_coarse_digit_or_a_still_log_is_no_change():
    assert level_changes(np.full(500, 0.012)).changes == ()
    flips = np.full(500, 0.012)
    flips[[30, 31, 200, 440]] = 0.013
    assert level_changes(flips).changes == ()
    assert variance_changes(np.full(500, 0.012)).changes == ()
    assert level_changes([1.0, 2.0, 3.0]).changes == ()  # too short to show anything


def test_noise_that_doubles_is_found():
    rng = np.random.default_rng(6)
    hits = covered = 0
    for y in makers.NULLS["1/f"](rng, 40, 2000) * np.where(np.arange(2000) < 1200, 1.0, 2.0):
        found = variance_changes(y).changes
        if len(found) == 1:
            hits += 1
            covered += (
                found[0].index_low <= 1200 <= found[0].index_high and found[0].ratio_low <= 2 <= found[0].ratio_high
            )
    assert hits >= 37
    assert covered >= hits - 2


def test_steady_event_rates_do_not_change_and_a_burst_of_rate_is_cut_out():
    rng = np.random.default_rng(7)
    for n in (5, 20, 200):
        false = sum(bool(rate_changes(np.sort(rng.random(n)), 1.0, simulations=499).changes) for _ in range(300))
        assert false <= 0.088 * 300, n  # nominal 5 %, three Monte Carlo errors
    logs = [np.sort(np.concatenate([rng.uniform(0, 10, 20), rng.uniform(4, 5, 40)])) for _ in range(60)]
    found = [rate_changes(t, 10.0, simulations=499).changes for t in logs]
    two = [f for f in found if len(f) == 2]
    assert len(two) >= 50  # 93.5 % measured over 200
    for up, down in two:
        assert (up.at, down.at) == pytest.approx((4, 5), abs=0.6)
        assert up.ratio > 3 > 0.4 > down.ratio
    t = logs[0]
    assert rate_changes([], 10.0).changes == ()
    assert rate_changes(t, 10.0, dispersion=40.0).changes == ()  # bursts that large explain it


def test_hundred_thousand_points_in_two_seconds():
    rng = np.random.default_rng(8)
    y = makers.spectral(rng, 1, 100_000)[0] + 4.0 * (np.arange(100_000) >= 30_000)
    start = time.process_time()
    found = level_changes(y).changes
    assert time.process_time() - start < 2.0
    assert [abs(c.index - 30_000) < 100 for c in found] == [True]


def test_a_large_library_is_loaded_only_where_a_level_may_have_changed():
    code = (
        "import sys, numpy as np; from flicker.stats.changepoints import level_changes;"
        "told = lambda: print(*[m for m in ('ruptures', 'pandas') if m in sys.modules], sep=',');"
        "y = np.random.default_rng(4).normal(size=5000); level_changes(y); told();"
        "level_changes(y + 5 * (np.arange(5000) > 2000)); told()"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split("\n")[:2] == ["", "ruptures"]
