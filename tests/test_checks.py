"""Which published check is tested where, and the ones that stand nowhere else.

Identities are those of the check catalogue kept beside the project's issues ('agree': read in a public copy and
recomputed; 'memory': from memory, recomputed; 'computed': by R 4.2.2 or the program named).

| checks | tested in |
|---|---|
| R1, R2, R3, RI-1, RI-2, RI-3, RI-4, RI-6, RI-7 | test_rates: exact limits, nickel workers, MTBF limits, rule of three, 45 times |
| RI-5 | test_rates (factors), the two others here |
| Q1, Q2, RR-1, RR-2, RR-3, RR-4, RR-5, RR-6 (ratio, limits, central p, mid-p) | test_rates: published cases, another null |
| Q3, AT-3, AT-6, AT-10, CH-2, CH-3, CH-4, EX-2, EX-3, ZE-6, OO-2; RR-1, RR-2, RR-3, RR-5, RR-6 by least likely, mid-p of that kind, score, E-test | nowhere: nothing uses these methods |
| S1, S2, S3, S4, ZE-1, ZE-2, ZE-4 | test_soak_stats: factors, 200 hours, success run |
| S5, ZE-3, ZE-5 | test_soak_stats (exponential law); test_rates (shares, none in a hundred); Poisson half of ZE-5 here |
| DI-1, DI-2, DI-5 | test_rates: published counts, coal disasters |
| DI-3 | test_rates (rate, k, log-likelihood of the negative binomial); variance and moment k here |
| DI-4, T3 | test_arrivals: gaps of the aircraft; limits of their mean here |
| AT-1, AT-2, AT-4, AT-5, AT-7, AT-8, AT-9, T1, T2 | test_arrivals: reference values, handbooks; end MTBF of AT-5 nowhere |
| MT-1, MT-2, MT-3, MT-4, MT-5, M1 | test_trends: published scores, chances, repeated times, Sen's slope |
| CH-1, CH-5, C1, C2 | test_changepoints: Nile, coal |
| EX-1, EX-4 | test_extremes (rain), test_arrivals (extremal index) |
| W1, SQ-1, SQ-2, SQ-3 | test_sequential: Wald's boundaries, discrimination two |
| N1, AD-1, AD-2, AD-3, AD-4 | test_noise |
| LC-1, LC-2, LC-3 | test_signals_excursions |
| LC-4 | words only (read in secondary descriptions); nothing to compute |
| OO-1 | test_rates: Li and Ma |
"""

from __future__ import annotations

import numpy as np
import pytest

from flicker.stats.rates import dispersion_test, overdispersed_rate, rate_interval


def test_mtbf_factors_at_ninety_percent():
    # RI-5: lower and upper factor on the mean time, from the formula of the e-Handbook 8.4.5.1; the second upper one
    # is printed there as 5.6280716, one too high in the last place (4 / 0.7107230214 = 5.62807153)
    for failures, lower, upper in ((2, 0.3176724, 5.6280715), (5, 0.4756001, 2.5378784)):
        got = rate_interval(failures, 1.0, confidence=0.90)
        assert (failures / got.high, failures / got.low) == pytest.approx((lower, upper), abs=5.1e-8)


def test_poisson_limit_of_none_in_a_hundred():
    assert rate_interval(0, 100, sided="upper").high == pytest.approx(0.02995732274, rel=1e-9)  # ZE-5


def test_spread_of_the_mites():
    # DI-3: Bliss and Fisher 1953 (data from memory); variance by R, k of moments = mean^2 / (variance - mean)
    counts = np.repeat(np.arange(8), [70, 38, 17, 10, 9, 3, 2, 1])
    index = dispersion_test(counts, method="chi-square").index
    mean = counts.mean()
    assert (mean, index * mean) == pytest.approx((1.146666667, 2.273646532), rel=1e-9)
    assert mean / (index - 1) == pytest.approx(1.166697369, rel=1e-8)


def test_limits_of_the_mean_gap_of_the_aircraft():
    # DI-4: Proschan 1963; watching ended with the twelfth gap
    got = rate_interval(12, 12 * 108.0833333333, ended_by="event")
    assert (1 / got.high, 1 / got.low) == pytest.approx((65.89764567, 209.1741455), rel=1e-9)


@pytest.mark.parametrize("mean", [0.5, 2.0, 5.0, 20.0])
def test_two_runs_cover_what_they_differ_by(mean):
    # exact sum over both runs, no Monte Carlo error: negative binomial counts whose factor varies by 50 %, the scale of
    # the prior; at most 5 % outside
    from scipy import stats

    k = np.arange(int(4 * mean + 40))
    chance = stats.nbinom.pmf(k, 4.0, 4.0 / (4.0 + mean))
    known = {}
    covered = 0.0
    for i in k:
        for j in k[: i + 1]:
            weight = chance[i] * chance[j] * (1 if i == j else 2)
            if weight > 1e-6:
                got = known.setdefault((i, j), overdispersed_rate([i, j], [1.0, 1.0]))
                covered += weight * (got.low <= mean <= got.high)
    assert covered >= 0.95
