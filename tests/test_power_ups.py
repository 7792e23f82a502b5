"""The engine over power-ups: fixtures, a second implementation's outputs, exact forms at no scatter, integrals, draws."""

import bisect
import itertools
import math
import time

import numpy as np
import pytest
from scipy import integrate, stats

from flicker.stats import power_ups as pu
from flicker.stats.laws import scatter as scatter_law

# Outputs of an independent plain implementation of the same law (grid of levels by hand, no Newton), recorded once:
# counts, p_up, factor, low, high, cv, cv_high, holds_up. Its own grids differ, so the fourth digit may.
RECORDED = [
    ([2, 3, 5, 9, 15], 0.00325, 7.3668, 1.9814, 28.863, 0.16542, 0.58016, 0.6),
    ([3, 5, 8, 14], 0.01764, 4.3749, 1.1148, 17.382, 0.18729, 0.66157, 0.3),
    ([4, 5, 6, 7, 8], 0.13760, 1.9200, 0.5566, 6.7957, 0.16011, 0.56387, None),
    ([1, 12, 2, 15, 4], 0.30025, 1.7929, 0.1612, 19.408, 0.76513, 1.2649, None),
]


@pytest.mark.parametrize("counts, p, factor, low, high, cv, cv_high, holds", RECORDED)
def test_growth_equals_recorded_outputs_of_another_implementation(counts, p, factor, low, high, cv, cv_high, holds):
    found = pu.rate_growth(counts, [1.0] * len(counts))
    assert found.p_up == pytest.approx(p, rel=2e-3) and found.p_up + found.p_down == pytest.approx(1.0)
    assert found.factor == pytest.approx(factor, rel=1e-3)
    assert (found.low, found.high) == (pytest.approx(low, rel=1e-2), pytest.approx(high, rel=1e-2))
    assert (found.cv, found.cv_high) == (pytest.approx(cv, rel=1e-3), pytest.approx(cv_high, rel=1e-3))
    assert found.holds_up == holds


def test_the_sentence_of_growth_names_factor_scatter_and_how_far_it_holds():
    assert pu.rate_growth([2, 3, 5, 9, 15], [1] * 5).reads == (
        "Later power-ups bring more, some 7.4 times from first to last (2 to 29). They differ by themselves by some 17% "
        "(up to 58%); growth is shown as long as they differ by no more than 60%."
    )


@pytest.mark.parametrize("before, after, p_down", [([10], [0], 0.027), ([20], [0], 0.012)])
def test_one_power_up_a_side_is_judged_at_one_stated_scatter(before, after, p_down):
    # p-values: fixtures of the rule, rounded there to two digits
    found = pu.rate_comparison(before, [1.0], after, [1.0])
    assert found.alone and found.scale == pytest.approx(0.75) and round(found.p_down, 3) == p_down
    assert found.low == 0.0 and "log a second" in found.reads

    def like(a, b):  # negative binomial counts of scipy at c = 0.75, flat level, normal growth
        size = 1 / 0.75**2
        terms = [
            stats.nbinom.pmf(n, size, size / (size + np.exp(a + x * b)))
            for n, x in ((before[0], -0.5), (after[0], 0.5))
        ]
        return terms[0] * terms[1] * stats.norm.pdf(b, 0, 2.5)

    # by Gauss and Legendre over the level, -14 to 14, and either half of the growth, 0 to 7
    at, weight = np.polynomial.legendre.leggauss(200)
    below, above = (weight @ like(14.0 * at[:, None], sign * 3.5 * (at + 1.0)) @ weight for sign in (1, -1))
    # steps of a quarter put about 1 % more on the tail than there is (trapezoidal rule at 0), on the side of no claim
    assert 1.0 <= found.p_down / (below / (below + above)) <= 1.02


@pytest.mark.parametrize("before, after", [([8, 12], [0, 1]), ([3], [2, 0, 1]), ([5, 9, 7], [4, 1, 2])])
def test_growth_and_comparison_equal_an_integral_by_draws(before, after):
    # importance sampling from the priors, continuous in the scatter, counts from scipy.stats.nbinom
    rng = np.random.default_rng(7)
    found = pu.rate_comparison(before, [1.0] * len(before), after, [1.0] * len(after))
    n = np.array(before + after)
    x = np.repeat((0.0, 1.0), (len(before), len(after)))
    x = x - x.mean()
    draws = 400_000
    c = np.abs(rng.normal(0.0, found.scale, draws))
    b = rng.normal(0.0, 2.5, draws)
    centre = math.log((n.sum() + 0.5) / n.size)
    a = rng.standard_t(3, draws) * 1.5 + centre
    weight = 1.0 / stats.t.pdf((a - centre) / 1.5, 3)
    c = np.maximum(c, 1e-3)
    size = 1.0 / c**2
    for k, value in enumerate(n):
        weight *= stats.nbinom.pmf(value, size, size / (size + np.exp(a + b * x[k])))
    p_up = weight[b < 0].sum() / weight.sum()
    effective = weight.sum() ** 2 / (weight**2).sum()
    error = math.sqrt(p_up * (1 - p_up) / effective)
    # 4 errors of the draws, and what the fourteen scatters of the grid leave (2 % of the smaller tail)
    assert abs(found.p_up - p_up) < 4 * error + 0.02 * min(p_up, 1 - p_up) + 1e-4


@pytest.mark.parametrize("counts", [[3, 5, 6, 9, 8], [7, 1, 0, 4]])
def test_without_scatter_growth_is_the_exact_multinomial_likelihood(counts):
    # given the total, Poisson counts are multinomial; the level then needs no prior: one integral over the growth
    n, k = np.array(counts), len(counts)
    x = np.linspace(-0.5, 0.5, k)

    def like(b):
        p = np.exp(b * x) / np.exp(b * x).sum()
        return stats.multinomial.pmf(n, n.sum(), p) * stats.norm.pdf(b, 0, 2.5)

    below, above = integrate.quad(like, -7, 0, limit=200)[0], integrate.quad(like, 0, 7, limit=200)[0]
    found = pu.rate_growth(counts, [1.0] * k, scatter=0.004)  # leaves c = .02 only: 1.0004 times the Poisson variance
    # steps of a quarter put up to 10 % more on the smaller tail (trapezoidal rule at 0), on the side of no claim
    assert 0.99 <= found.p_up / (below / (below + above)) <= 1.1


def test_many_and_large_counts_need_a_finer_grid_and_get_it():
    # the same Poisson limit at 5,000 episodes, where a step of a quarter would be coarser than the law
    n, x = np.array([1200, 1260, 1190, 1350]), np.linspace(-0.5, 0.5, 4)

    def like(b):
        w = np.exp(b * x)
        return math.exp(float(n @ (b * x)) - n.sum() * math.log(w.sum() / 4)) * stats.norm.pdf(b, 0, 2.5)

    below, above = integrate.quad(like, -1, 0, limit=400)[0], integrate.quad(like, 0, 1, limit=400)[0]
    # scatter 0.02 is not none here: its variance is 1,200 * 0.0004 = 0.48 of the Poisson one
    found = pu.rate_growth(n, [1.0] * 4, scatter=0.004)
    assert below / (below + above) < found.p_up < 12 * below / (below + above)
    counts = np.tile([3, 4, 2, 6, 5], 12)
    begin = time.process_time()
    assert 0.0 < pu.rate_growth(counts, np.ones(60)).p_up < 1.0
    assert time.process_time() - begin < 2.0


def test_a_second_channel_helps_to_tell_how_power_ups_differ():
    counts, alike, apart = [2, 4, 7, 11], [20, 21, 19, 20], [3, 40, 1, 25]
    ones = [1.0] * 4
    alone = pu.rate_growth(counts, ones)
    calm = pu.rate_growth(counts, ones, beside=[(alike, ones, None)])
    wild = pu.rate_growth(counts, ones, beside=[(apart, ones, None)])
    assert calm.cv < alone.cv < wild.cv and calm.p_up < alone.p_up < wild.p_up


@pytest.mark.parametrize("runs, cv, most", [(5, 0.0, 0.02), (5, 0.5, 0.06), (3, 0.7, 0.05)])
def test_no_growth_is_called_growth_in_few_of_simulated_cases(runs, cv, most):
    # one-sided 2.5 %; the study gives 0.3, 2.6 and 1.5 %; `most` is that plus three errors of 300 draws
    rng = np.random.default_rng([runs, int(10 * cv)])
    wrong = 0
    for _ in range(300):
        mean = 6.0 * (rng.gamma(1 / cv**2, cv**2, runs) if cv else np.ones(runs))
        found = pu.rate_growth(rng.poisson(mean), np.ones(runs))
        wrong += found.p_up <= 0.025 and found.factor >= 1.5
    assert wrong / 300 <= most


def test_expected_counts_by_hand():
    # levels 0-2 (three at risk), 2-3 (two), 3-6 (one: left out): four, none and one episodes
    found = pu.expected_counts([[1.0, 2.0], [1.0, 5.0], [0.5]], [3.0, 6.0, 2.0])
    assert found.counts.tolist() == [2, 1, 1] and found.left_out == 1
    assert found.expected == pytest.approx([4 / 3] * 3)
    found = pu.expected_counts([[1.0, 2.5], [1.0, 2.8], [0.5]], [3.0, 6.0, 2.0])
    assert found.expected == pytest.approx([1 + 1, 1 + 1, 1]) and found.counts.sum() == found.expected.sum()
    sides = pu.expected_counts([[1.0, 3.0], [1.0, 3.5], [0.5]], [4.0, 4.0, 2.0], both=[False, False, True])
    assert sides.counts.tolist() == [1, 1, 1] and sides.expected == pytest.approx([1, 1, 1])


def test_heat_is_not_age():
    # the rate rises as the unit heats up and runs get longer: 1 in the first hour, 9 in the second, of every run
    rng = np.random.default_rng(1)
    ends = [1.0, 1.0, 2.0, 2.0, 2.0]
    times = [np.sort(np.concatenate((rng.random(1), 1 + rng.random(9 if end > 1 else 0)))) for end in ends]
    held = pu.expected_counts(times, ends)
    assert pu.rate_growth(held.counts, held.expected).p_up > 0.2
    assert pu.rate_growth([t.size for t in times], ends).p_up < 0.1  # hours alone would nearly call it age


@pytest.mark.parametrize("counts", [[3, 7], [0, 1, 0], [20, 14, 26, 19]])
def test_without_scatter_the_rate_has_garwoods_limits(counts):
    # scipy.stats.chi2: Garwood 1936
    n, time_h = sum(counts), 2.0 * len(counts)
    found = pu.mean_rate(counts, [2.0] * len(counts), scatter=0.004)
    assert found.low == pytest.approx(stats.chi2.ppf(0.025, 2 * n) / 2 / time_h if n else 0.0, rel=0.01)
    assert found.high == pytest.approx(stats.chi2.ppf(0.975, 2 * n + 2) / 2 / time_h, rel=0.01)
    one = pu.mean_rate([n], [time_h])
    assert one.high == pytest.approx(stats.chi2.ppf(0.975, 2 * n + 2) / 2 / time_h, rel=1e-9)
    assert "of this power-up" in one.reads


# another implementation's outputs, recorded once: counts over power-ups of 2 h, low, high, chance that 3 stay clean
RATES = [
    ([3, 7], 1.0202246, 23.332349, 0.0013655698),
    ([4, 0, 9], 0.86769527, 18.415949, 0.0049201849),
    ([1, 1, 1, 1, 1], 0.15756827, 1.3719807, 0.10423499),
    ([10, 12, 8, 9, 11], 3.5228533, 7.3177175, 2.9114412e-06),
]


@pytest.mark.parametrize("counts, low, high, clean", RATES)
def test_rate_and_clean_chance_equal_recorded_outputs(counts, low, high, clean):
    hours = [2.0] * len(counts)
    found = pu.mean_rate(counts, hours)
    assert (found.low, found.high) == (pytest.approx(low, rel=1e-6), pytest.approx(high, rel=1e-6))
    assert pu.clean_chance(counts, hours, 3, 2.0) == pytest.approx(clean, rel=1e-6)


def test_clean_chance_without_scatter_is_the_predictive_law_of_a_gamma():
    # exact: rate gamma(n, hours) under the prior 1/rate, so (hours / (hours + h))^n
    assert pu.clean_chance([2, 1], [3.0, 3.0], 2, 1.5, scatter=0.004) == pytest.approx((6 / 9) ** 3, rel=0.01)


def test_a_plan_is_the_first_number_of_power_ups_that_misses_seldom_enough():
    plan = pu.power_ups_to_see([1, 1, 1, 1, 1], [2.0] * 5)
    chances = [pu.clean_chance([1] * 5, [2.0] * 5, k, 2.0) for k in (plan.power_ups - 1, plan.power_ups)]
    assert chances[0] > 0.05 >= chances[1] == pytest.approx(plan.miss)
    assert plan.exposure == pytest.approx(10.0) and "one long run is no substitute" in plan.reads


def test_clean_power_ups_are_those_of_the_page_and_count_those_seen():
    # needed for a mean of .3, 1, 3, 10 per power-up, c .5: 11, 4, 2, 1 (the page's table)
    assert [pu.clean_power_ups(m) for m in (0.3, 1.0, 3.0, 10.0)] == [11, 4, 2, 1]
    assert [pu.clean_power_ups(0.3, clean=[0.3] * k) for k in (0, 1, 10, 11, 15)] == [11, 10, 1, 0, 0]
    # exact: chance of a clean power-up is that of a negative binomial (scipy.stats.nbinom)
    seen, k = [0.2, 1.5, 0.7], pu.clean_power_ups(0.4, clean=[0.2, 1.5, 0.7])
    quiet = [stats.nbinom.pmf(0, 4.0, 4.0 / (4.0 + m)) for m in (*seen, 0.4)]
    assert np.prod(quiet[:3]) * quiet[3] ** k <= 0.05 < np.prod(quiet[:3]) * quiet[3] ** (k - 1)


# the rule's table: scatter, clean power-ups needed to exclude .3, 1, 3, 10 episodes each
CLEAN = [(0.0, (10, 3, 1, 1)), (0.5, (11, 4, 2, 1)), (1.0, (12, 5, 3, 2))]


@pytest.mark.parametrize("scatter, needed", CLEAN)
def test_clean_power_ups_exclude_what_the_table_says(scatter, needed):
    assert tuple(pu.clean_power_ups(m, scatter=scatter) for m in (0.3, 1, 3, 10)) == needed
    size = 1 / scatter**2 if scatter else math.inf
    for mean, count in zip((0.3, 1, 3, 10), needed, strict=True):
        clean = stats.nbinom.pmf(0, size, size / (size + mean)) if scatter else math.exp(-mean)
        assert clean**count <= 0.05 < clean ** (count - 1)


def test_sizes_by_a_moderated_t_against_a_regression():
    sizes = ([0.061, 0.083, 0.07], [0.11, 0.09], [], [0.2, 0.16, 0.31, 0.12], [0.25])
    x, y = np.array([0.0, 1, 3, 4]), np.array([np.mean(np.log(part)) for part in sizes if part])
    line = stats.linregress(x, y)
    rest = y - line.intercept - line.slope * x
    t = line.slope / math.sqrt((3 * 0.4**2 + rest @ rest) / 5 / ((x - x.mean()) ** 2).sum())
    found = pu.size_growth(sizes)
    assert found.dof == 5 and found.p_up == pytest.approx(stats.t.sf(t, 5), rel=1e-9)
    assert found.factor == pytest.approx(math.exp(4 * line.slope))
    assert found.p_up_plain == pytest.approx(line.pvalue / 2, rel=1e-9)
    assert pu.size_growth([[1.0], [9.0]]).p_up == 1.0 and pu.size_growth([[1.0], [9.0]]).factor == pytest.approx(9.0)


def test_sizes_within_one_power_up_are_a_line_through_bursts_widened_where_neighbours_are_alike():
    # 20 bursts of one swing against scipy's line; the correlation of neighbours from the same residuals, its bias by a
    # line (2 + 4 r) / n (van Giersbergen 2005), the size of the sample by Santer et al. (2000)
    rng = np.random.default_rng(3)
    when, place = 200.0 * np.arange(20), np.arange(20)
    for noise in (rng.normal(0, 0.3, 20), np.repeat(rng.normal(0, 0.3, 10), 2)):
        size = np.exp(0.05 * place + noise)
        line = stats.linregress(place, np.log(size))
        rest = np.log(size) - line.intercept - line.slope * place
        r = max(0.0, (20 * (rest[1:] @ rest[:-1]) / (rest @ rest) + 2) / 16)
        dof = max(math.floor(20 * (1 - r) / (1 + r)) - 2, 6)
        found = pu.size_growth_within([size], [when], dead_time=10.0)
        t = line.slope / line.stderr * math.sqrt((1 - r) / (1 + r))
        assert found.dof == dof and found.p_up == pytest.approx(stats.t.sf(t, dof), rel=1e-9)
        assert found.p_up_plain == pytest.approx(line.pvalue / 2, rel=1e-9)
    assert dof < 18  # the second one has neighbours alike
    # swings of one burst are one: 60 s apart makes 7 bursts of 20 swings, too few
    close = np.repeat(600.0 * np.arange(7), 3)[:20] + np.tile([0.0, 60.0, 120.0], 7)[:20]
    assert pu.size_growth_within([size], [close], dead_time=10.0).p_up == 1.0


def test_the_next_one_is_forecast_as_a_plain_integration_gives_it():
    # independent of the engine's nodes: level, growth and scatter on a plain fine grid, each count's law by scipy
    n, x = np.array([2, 3, 5, 9, 15]), np.linspace(0, 1, 5)
    a, b, c = np.linspace(-4, 5, 181), np.linspace(-6, 7, 105), scatter_law.GRID
    prior = np.gradient(c) * np.exp(-0.5 * (c / 0.5) ** 2)
    means, held, shapes = [], [], []
    for scatter, share in zip(c, prior, strict=True):
        shape = 1 / scatter**2
        mean = np.exp(a[:, None, None] + b[None, :, None] * x)
        like = np.exp(stats.nbinom.logpmf(n, shape, shape / (shape + mean)).sum(axis=2) - 0.5 * (b / 2.5) ** 2) * share
        means.append(np.exp(a[:, None] + 1.25 * b).ravel())
        held.append(like.ravel())
        shapes.append(shape)
    weight = sum(like.sum() for like in held)

    def below(k):
        parts = zip(means, held, shapes, strict=True)
        return sum(like @ stats.nbinom.cdf(k, shape, shape / (shape + ahead)) for ahead, like, shape in parts) / weight

    low, high = (bisect.bisect_left(range(200), share, key=below) for share in (0.025, 0.975))
    rank = np.argsort(np.concatenate(means))
    middle = np.concatenate(means)[rank][np.searchsorted(np.cumsum(np.concatenate(held)[rank]) / weight, 0.5)]
    found = pu.growth_forecast(n, np.ones(5), at=5, planned=1.0)
    assert abs(found.low - low) <= 1 and abs(found.high - high) <= 2
    assert found.expected == pytest.approx(middle, rel=0.03)


def test_the_next_one_lies_where_the_forecast_says():
    # five units, growth 1.5 from one to the next, gamma factors of cv .3; 60 draws: fewer than 52 inside has a chance of
    # 0.3 % at the nominal 95 % (binomial)
    rng, inside = np.random.default_rng(8), 0
    for _ in range(60):
        n = rng.poisson(4.0 * 1.5 ** np.arange(6) * rng.gamma(1 / 0.09, 0.09, 6))
        found = pu.growth_forecast(n[:5], np.ones(5), at=5, planned=1.0)
        inside += found.low <= n[5] <= found.high
        if inside >= 52:
            return  # decided, whatever the rest says
    pytest.fail(f"{inside} of 60 inside")


def test_a_given_mean_is_reached_where_the_line_reaches_it():
    # closed form: 200, 400, 800 double from place to place, so 1,600 is reached at the fourth; 100 is behind
    found = pu.growth_reaches([200, 400, 800], np.ones(3), mean=1600, planned=1.0, scatter=0.05)
    assert found.at == pytest.approx(3.0, abs=0.1) and found.low < 3 < found.high and found.now < 0.01
    behind = pu.growth_reaches([200, 400, 800], np.ones(3), mean=100, planned=1.0, scatter=0.05)
    assert behind.now > 0.99 and behind.reads == "It is reached already."
    never = pu.growth_reaches([800, 400, 200], np.ones(3), mean=1600, planned=1.0, scatter=0.05)
    assert math.isinf(never.at) and never.reads == "It is not reached if this goes on."


def test_early_share_is_the_binomial_where_power_ups_agree_and_wider_where_they_do_not():
    alike = pu.early_share_test([3, 3, 3, 3], [4, 4, 4, 4], 0.2)
    exact = stats.binomtest(12, 16, 0.2, alternative="greater").pvalue
    z = stats.norm.isf(exact)
    assert alike.p_exact == pytest.approx(exact) and alike.p_value == pytest.approx(stats.t.sf(z, 3))
    burst = pu.early_share_test([12, 0, 0, 0], [13, 1, 1, 1], 0.2)
    assert burst.p_exact == pytest.approx(exact) and burst.p_value > 0.05 and burst.dispersion > 3
    assert not pu.early_share_test([5, 5], [5, 5], 0.2).pattern
    # none of 128 in a 24th of the time: (23/24)^128 = .0043 for single ones, (23/24)^(128/4) = .26 where they come in fours
    single, fours = (pu.early_share_test([16] * 8, [16] * 8, 23 / 24, dispersion=phi) for phi in (1.0, 4.0))
    assert single.p_exact == pytest.approx((23 / 24) ** 128) and single.p_value < 0.02
    assert fours.p_value == pytest.approx((23 / 24) ** 32, rel=0.1)


def test_provoked_by_enumeration():
    # windows of 5 s, four on each side: hits and occupied windows counted by hand
    events = [[101.0, 118.0, 302.0, 290.0, 505.0]]
    found = pu.provoked_test(events, [[100.0, 300.0, 500.0, 997.0]], 5.0, 1000.0)
    chances = [2 / 9, 2 / 9, 1 / 9]  # 505 lies in the window after the third one's; the fourth is too near the end
    law = sum(
        math.prod(c if hit else 1 - c for c, hit in zip(chances, each, strict=True))
        for each in itertools.product((0, 1), repeat=3)
        if sum(each) >= 2
    )
    assert (found.hits, found.used, found.stimuli) == (2, 3, 4) and found.p_value == pytest.approx(law)


def test_a_rate_that_falls_after_switch_on_is_not_called_provoked():
    # taps early on, rate decaying with 300 s: 1.4 % at the most in the study; 200 draws, three errors
    rng = np.random.default_rng(5)
    wrong = 0
    for _ in range(200):
        events = np.sort(rng.exponential(300.0, rng.poisson(60)))
        wrong += pu.provoked_test(events[events < 3600], 60.0 + 60.0 * np.arange(12), 5.0, 3600.0).p_value <= 0.05
    assert wrong / 200 <= 0.05


def test_however_much_they_differ_equals_a_quasi_poisson_fit_by_hand():
    n, x = np.array([3.0, 9, 6, 20, 31]), np.linspace(-0.5, 0.5, 5)
    a = b = 0.0
    a = math.log(n.mean())
    for _ in range(50):  # Newton on the Poisson likelihood, Pearson's dispersion
        mu = np.exp(a + b * x)
        info = np.array([[mu.sum(), mu @ x], [mu @ x, mu @ x**2]])
        a, b = np.array([a, b]) + np.linalg.solve(info, [(n - mu).sum(), (n - mu) @ x])
    mu = np.exp(a + b * x)
    phi = max(1.0, float(((n - mu) ** 2 / mu).sum()) / 3)
    t = b / math.sqrt(phi * np.linalg.inv(info)[1, 1])
    found = pu.growth_however_much(n.astype(int), [1.0] * 5)
    assert found.p_up == pytest.approx(stats.t.sf(t, 3), rel=1e-5)
    assert pu.growth_however_much([20, 15, 0, 0], [1.0] * 4, [0, 0, 1, 1]).p_down < 0.01
    assert pu.growth_however_much([20, 15], [1.0] * 2).p_down == 1.0


def test_one_bad_power_up_is_no_growth():
    # all orders of one bad power-up and seven clean ones are alike: the last is bad in 1 of 8, so no p-value below that is honest
    for bad in range(8):
        n = np.zeros(8, dtype=int)
        n[bad] = 15
        found = pu.rate_growth(n, np.ones(8))
        assert found.p_up > 0.025 and (found.holds_up is None) and "roots" in found.method
    steady = pu.rate_growth([2, 3, 5, 9, 15], np.ones(5))  # the fixture of the rules: p .0032
    assert steady.p_up == pytest.approx(0.0032, abs=3e-4) and "roots" not in steady.method
    # two bad of six before, three clean after: three clean ones are no rarity at two of six (8 of 27)
    assert pu.rate_comparison([0, 24, 0, 0, 24, 0], np.ones(6), [0, 0, 0], np.ones(3)).p_down > 0.05


def test_a_claim_does_not_hang_on_one_power_up():
    steady = [4, 3, 5, 4, 4, 4]
    found = pu.rate_comparison(steady, np.ones(6), [4, 3, 60, 5, 4, 4], np.ones(6))
    assert found.p_up > 0.025 and found.low < 1.0 and found.holds_up is None
    assert pu.rate_comparison([4, 3, 60, 5, 4, 4], np.ones(6), steady, np.ones(6)).p_down > 0.025
    # all six of them, or one of two: no power-up more alone than another
    assert pu.rate_comparison(steady, np.ones(6), [12, 15, 60, 14, 13, 16], np.ones(6)).p_up < 0.025


def test_a_fall_that_goes_on_is_told_from_a_step():
    # by hand: a fall by a third from one to the next throughout, and a step between flat sides
    fading = pu.fall_under_way([72, 48, 32], np.ones(3), [21, 14, 9], np.ones(3))
    assert fading.likely and fading.trend_over_step > 3.0
    step = pu.fall_under_way([20, 24, 19], np.ones(3), [2, 1, 2], np.ones(3))
    assert not step.likely and step.trend_over_step < 0.1
    # a rise before is no fall; nor does one power-up, or none seen, show any
    assert not pu.fall_under_way([10, 20, 30], np.ones(3), [5, 4, 3], np.ones(3)).likely
    for before in ([20], [0, 0]):
        assert pu.fall_under_way(before, np.ones(len(before)), [3], [1.0]).falling == 0.5
    assert "a trend explains" in fading.reads
