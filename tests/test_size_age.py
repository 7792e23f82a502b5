"""Sizes from power-up to power-up: against a reference regression, by simulation, and in the verdict. Data invented."""

import math

import numpy as np
import pytest
from scipy import stats

from flicker import Log, assess
from flicker.stats.arrivals import size_age_trend

SIZES = ([0.061, 0.083, 0.07], [0.11, 0.09], [], [0.2, 0.16, 0.31, 0.12], [0.25])


@pytest.mark.parametrize("order", [None, [0.0, 31.0, 40.0, 90.0, 200.0]])
def test_equals_the_regression_of_a_reference_library(order):
    # reference: scipy.stats.linregress, one-sided and two-sided, of the runs' mean logarithms
    age = np.arange(5.0) if order is None else np.array(order)
    held = [k for k, part in enumerate(SIZES) if part]
    x, y = age[held], [np.mean(np.log(SIZES[k])) for k in held]
    span = np.ptp(x)
    for ours, theirs in (("increasing", "greater"), ("decreasing", "less"), ("two-sided", "two-sided")):
        line = stats.linregress(x, y, alternative=theirs)
        found = size_age_trend(SIZES, order=order, alternative=ours, confidence=0.9)
        reach = stats.t.ppf(0.95, found.dof) * line.stderr
        assert found.p_value == pytest.approx(line.pvalue, rel=1e-9) and found.dof == 2 and found.runs == 4
        assert found.growth == pytest.approx(math.exp(line.slope * span), rel=1e-9)
        assert found.low == pytest.approx(math.exp((line.slope - reach) * span), rel=1e-9)
        assert found.high == pytest.approx(math.exp((line.slope + reach) * span), rel=1e-9)


def test_two_runs_give_an_estimate_and_no_claim():
    found = size_age_trend([[0.1, 0.1], [0.4]])
    assert found.growth == pytest.approx(4.0) and found.p_value == 1.0 and (found.low, found.high) == (0.0, math.inf)
    assert "cannot be told" in found.reads
    assert math.isnan(size_age_trend([[0.1], []]).growth)


def test_an_exact_line_is_certain_and_a_flat_one_is_nothing():
    assert size_age_trend([[1.0], [2.0], [4.0]]).p_value < 1e-9
    assert size_age_trend([[1.0], [1.0], [1.0]]).p_value == pytest.approx(0.5)


@pytest.mark.parametrize("runs", [3, 4, 8])
@pytest.mark.parametrize("effect", [0.0, 0.5])
def test_false_alarms_stay_at_the_level_where_the_runs_differ_by_themselves(runs, effect):
    # one-sided 5 %, 2,000 draws: 99.9 % of such counts lie between 3.5 and 6.6 %
    rng = np.random.default_rng([runs, int(10 * effect)])
    found = 0
    for _ in range(2000):
        mood = rng.normal(0.0, effect, runs)
        sizes = [np.exp(m + rng.uniform(np.log(0.06), np.log(2.0), 1 + rng.poisson(5))) for m in mood]
        found += size_age_trend(sizes).p_value <= 0.05
    assert 0.035 <= found / 2000 <= 0.066


@pytest.mark.parametrize(
    "sizes, told",
    [
        (lambda sizes: size_age_trend(sizes, order=[1, 2]), "order must hold"),
        (lambda sizes: size_age_trend(sizes, order=[1, 1, 1, 1, 1]), "order must not be the same"),
        (lambda sizes: size_age_trend([[1.0], [0.0], [2.0]]), "sizes must be above 0, got 0.0"),
        (lambda sizes: size_age_trend([[1.0], [math.nan]]), "sizes must be finite"),
        (lambda sizes: size_age_trend(sizes, confidence=1.0), "confidence must"),
    ],
)
def test_a_wrong_argument_is_named(sizes, told):
    with pytest.raises(ValueError, match=told):
        sizes(SIZES)


def unit(seed: int, growth_in_run: float, growth_by_age: float, runs: int = 4) -> list[Log]:
    """A unit over some power-ups; nine swings of some 70 mV in each, growing within a run, from run to run, or not."""
    rng = np.random.default_rng(seed)
    logs = []
    for run in range(runs):
        time = np.arange(14400) * 0.5
        volts = 0.004 + 0.0005 * rng.normal(size=time.size) + 0.08 * np.exp(-time / 5.0)
        for at in np.sort(rng.uniform(60.0, 7100.0, 9)):
            grown = growth_in_run ** (at / 7200.0) * growth_by_age ** (run / (runs - 1))
            volts[(time >= at) & (time < at + 2.0)] += 0.07 * grown * rng.lognormal(0.0, 0.15)
        logs.append(Log.from_arrays(time, {"left": volts}, name=f"run {run}"))
    return logs


def test_growth_from_power_up_to_power_up_is_age_and_within_each_is_heat():
    heat = [assess(unit(seed, 8.0, 1.0)).channels[0] for seed in range(4)]
    age = [assess(unit(seed, 1.0, 6.0)).channels[0] for seed in range(4)]
    none = [assess(unit(seed, 1.0, 1.0)).channels[0] for seed in range(4)]
    assert [item.verdict for item in heat + none] == ["noisy"] * 8
    assert any(item.tail.endswith("larger the longer it runs") for item in heat)
    assert [item.verdict for item in age] == ["degrading"] * 4
    assert all(item.tail == "swings get larger with each power-up" for item in age)
    assert all(item.finding("larger with age").answer == "not shown" for item in heat + none)
