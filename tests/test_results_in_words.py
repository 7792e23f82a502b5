"""Every result says in words what its figures say, serialises, and every wrong argument is told. Data invented."""

from __future__ import annotations

import dataclasses
import json
import math
import re

import numpy as np
import pytest
import scipy.optimize
import scipy.stats
from test_wrong_arguments import FUNCTIONS, SOUND

from flicker import Limits, read_limits
from flicker.base import result as results
from flicker.base.result import Result
from flicker.stats import arrivals, association, changepoints, noise, rates, sequential, soak, trends

RNG = np.random.default_rng(20310303)
WHITE = RNG.normal(size=600)
WALK = np.cumsum(WHITE)
STEP = WHITE + np.where(np.arange(600) < 300, 0.0, 6.0)
TIMES = np.sort(RNG.uniform(0, 1000, 40))
EARLIER = np.sort(1000 * RNG.uniform(size=40) ** 3)  # crowds towards the start
LATER = 1000 - EARLIER[::-1]
BURSTS = np.sort(np.concatenate([start + RNG.exponential(2.0, 5).cumsum() for start in RNG.uniform(0, 950, 9)]))
REGULAR = np.arange(25.0, 1000.0, 25.0) + RNG.uniform(-1, 1, 39)
SIZES = RNG.exponential(0.1, 40) + 0.05
GROWING = SIZES * np.linspace(1, 6, 40)

WORDS = [
    (lambda: noise.noise_colour(WHITE), "white noise: longer averages settle it"),
    (lambda: noise.noise_colour(WALK), "a random walk: the level itself moves away"),
    (lambda: noise.noise_colour(np.ones(64)), "no noise to judge"),
    (lambda: noise.allan_deviation(WHITE, 1.0), "are the most stable"),
    (lambda: trends.mann_kendall(STEP), "the values tend to rise"),
    (lambda: trends.mann_kendall(-STEP), "the values tend to fall"),
    (lambda: trends.mann_kendall([1.0, 2.0, 1.0, 2.0, 1.0]), "neither higher nor lower"),
    (lambda: trends.theil_sen(np.arange(9.0)), "changes by 1 per unit of time"),
    (lambda: trends.movement_kind(WHITE * 0.01 + np.linspace(0, 5, 600)), "the level moves steadily"),
    (lambda: trends.movement_kind(STEP), "the level jumps by"),
    (lambda: trends.movement_kind(WALK), "the level"),
    (lambda: trends.movement_test(WHITE), "is not shown"),
    (lambda: changepoints.level_changes(WHITE), "no change of level"),
    (lambda: changepoints.level_changes(STEP), "level"),
    (lambda: changepoints.level_changes(STEP).changes[0], "rises"),
    (lambda: changepoints.level_changes(-STEP).changes[0], "falls"),
    (lambda: changepoints.variance_changes(WHITE), "no change of the noise"),
    (lambda: changepoints.variance_changes(np.where(np.arange(600) < 300, 1, 9) * WHITE), "noise"),
    (lambda: changepoints.variance_changes(np.where(np.arange(600) < 300, 1, 9) * WHITE).changes[0], "times as large"),
    (lambda: changepoints.rate_changes(TIMES, 1000.0), "no change of rate is shown (40 events)"),
    (lambda: changepoints.rate_changes(EARLIER, 1000.0), "events come less often from"),
    (lambda: changepoints.rate_changes(LATER, 1000.0), "events come more often from"),
    (lambda: arrivals.laplace_test(LATER, 1000.0), "more often"),
    (lambda: arrivals.exponential_gaps_test(np.diff(BURSTS)), "in bursts"),
    (lambda: arrivals.exponential_gaps_test(np.diff(REGULAR)), "more evenly than chance"),
    (lambda: arrivals.exponential_gaps_test(np.diff(TIMES)), "singly and at random"),
    (lambda: rates.rate_ratio(0, 1.0, 0, 1.0), "cannot be compared"),
    (lambda: rates.rate_ratio(5, 1.0, 0, 1.0), "at least"),
    (lambda: rates.rate_ratio(0, 1.0, 9, 1.0), "at most"),
    (lambda: soak.hours_to_catch(rate=0.5), "watch for 5.99 to see at least one with a chance of 95%"),
    (lambda: soak.hours_to_catch(count=3, exposure=2.0), "at least"),
    (lambda: soak.clean_exposure(0.5), "5.991 observed with no episode exclude more than 0.5"),
    (lambda: soak.clean_exposure(0.5, allowed=2), "at most 2 episodes"),
    (lambda: soak.power_ups_to_catch(hits=2, trials=9), "power-ups show it at least once with a chance of 95%"),
    (lambda: soak.power_ups_to_catch(hits=2, trials=9, rate=0.1), "worth it where each takes less than"),
    (lambda: sequential.rate_bounds(3, 5.0, design_rate=1.0), "between"),
    (
        lambda: association.stimulus_test(TIMES[::4] + 0.1, TIMES[::4], window=1.0, span=1000.0),
        "10 stimuli: 10 events in the 10 after them",
    ),
]


@pytest.mark.parametrize(("call", "words"), WORDS)
def test_a_result_says_what_it_found_and_serialises(call, words):
    result = call()
    assert words in result.reads, result.reads
    document = json.loads(result.to_json())
    assert document == json.loads(json.dumps(result.to_dict(), allow_nan=False))
    page = result._repr_html_()
    assert page.startswith("<p ") and page.endswith("</table>") and "<script" not in page


WRONG = [
    (lambda: rates.rate_interval("many", 1.0), "count must be"),
    (lambda: rates.rate_interval(2.5, 1.0), "count must be"),
    (lambda: rates.rate_interval(2, "long"), "exposure must be"),
    (lambda: rates.rate_interval(2, math.inf), "exposure must be"),
    (lambda: rates.rate_interval(2, 1.0, confidence="sure"), "confidence must lie between 0 and 1"),
    (lambda: rates.rate_interval(2, 1.0, confidence=1.0), "confidence must lie between 0 and 1"),
    (lambda: soak.hours_to_catch(count=3, exposure=2.0, dispersion=0.5), "dispersion must be 1 or more"),
    (lambda: soak.hours_to_catch(rate=1.0, count=3), "rate must be given alone"),
    (lambda: soak.hours_to_catch(), "must be given"),
    (lambda: soak.hours_to_catch(rate=1.0, detectable_share=1.5), "detectable_share must be"),
    (lambda: soak.power_ups_to_catch(share=0.5, hits=1, trials=2), "share must be given alone"),
    (lambda: soak.power_ups_to_catch(), "must be given"),
    (lambda: Limits(drift_V=math.nan), "limit drift_V must be a finite number"),
    (lambda: Limits(confidence=1.5), "must lie between 0 and 1"),
]


@pytest.mark.parametrize(("call", "words"), WRONG)
def test_a_wrong_argument_is_named(call, words):
    with pytest.raises(ValueError, match=words) as caught:
        call()
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (None, "the limits cannot be read"),
        ("limits = [", "not a TOML file"),
        ("drift_V = 0.1\n", "no [limits] table"),
        ("[limits]\ndrft_V = 0.1\n", "'drft_V' is not a limit; did you mean 'drift_V'?"),
        ("[limits]\nqqq = 0.1\n", "'qqq' is not a limit; known limits:"),
        ('[limits]\ndrift_V = "much"\n', "limit drift_V must be a finite number"),
    ],
)
def test_a_wrong_limits_file_is_one_sentence(tmp_path, text, words):
    path = tmp_path / "limits.toml"
    if text is not None:
        path.write_text(text)
    with pytest.raises(ValueError) as caught:
        read_limits(path)
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("phi", "seen", "confidence"), [(1.0, 1.0, 0.95), (2.0, 1.0, 0.9), (2.5, 0.4, 0.8), (1.0, 0.25, 0.99)]
)
def test_the_predictive_plan_keeps_its_definition(phi, seen, confidence):
    # definition (statistics of a gamma posterior, recomputed): (T / (T + seen h)) ** (k / phi) = 1 - confidence
    plan = soak.hours_to_catch(count=6, exposure=4.0, confidence=confidence, detectable_share=seen, dispersion=phi)
    assert (4.0 / (4.0 + seen * plan.exposure)) ** (6 / phi) == pytest.approx(1 - confidence, rel=1e-9)
    assert plan.chance(plan.exposure) == pytest.approx(confidence, rel=1e-9)
    # were the rate known: exp(-k / phi / T * seen * h) = 1 - confidence
    assert math.exp(-6 / phi / 4.0 * seen * plan.exposure_if_rate_known) == pytest.approx(1 - confidence, rel=1e-9)
    known = soak.hours_to_catch(rate=0.7, confidence=confidence, detectable_share=seen, dispersion=phi)
    assert math.exp(-0.7 / phi * seen * known.exposure) == pytest.approx(1 - confidence, rel=1e-9)
    assert known.chance(known.exposure) == pytest.approx(confidence, rel=1e-9)


def test_power_ups_with_a_partly_blind_meter_against_quadrature():
    # mean of (1 - seen p) ** n under beta(k, m - k + 1), by adaptive quadrature (scipy.integrate), first n below 1 - c
    plan = soak.power_ups_to_catch(hits=3, trials=8, detectable_share=0.4, confidence=0.9)

    def miss(n):
        return scipy.stats.beta(3, 6).expect(lambda p: (1 - 0.4 * p) ** n)

    assert miss(plan.power_ups) <= 0.1 < miss(plan.power_ups - 1)


def results_with_a_p_value():
    """One result of every function of the statistics whose result holds a p-value and a sentence."""
    for name, function in sorted(FUNCTIONS.items()):
        result = function(**SOUND[name])
        if isinstance(result, Result) and any(f.name in ("p_value", "p_up") for f in dataclasses.fields(result)):
            yield name, result


def sentence(result, p, confidence):
    """What a result would say at this p-value, without the p-value itself."""
    new = {}
    for field in dataclasses.fields(result):
        if field.name in ("p_value", "p_adjusted", "p_up", "p_down", "p_up_plain", "p_down_plain"):
            new[field.name] = 1.0 - p if "down" in field.name else p
        if field.name in ("confidence", "level"):
            new[field.name] = confidence if field.name == "confidence" else 0.5 * (1.0 - confidence)
    said = dataclasses.replace(result, **new).reads
    return re.sub(r"p = \S+|p below \S+|no trend: \S+|\d+(\.\d+)?%", "", said)


def test_what_is_said_follows_the_confidence_asked_for():
    # 0.012 is beyond 95 % and short of 99 %, one-sided halves too: at 99 % it may say no more than at p = 0.4, at 95 %
    # no less than at p = 0.0001 (definition)
    wrong, asked = [], list(results_with_a_p_value())
    for name, result in asked:
        right = sentence(result, 0.012, 0.99) == sentence(result, 0.4, 0.99)
        right &= sentence(result, 0.012, 0.95) == sentence(result, 0.0001, 0.95)
        if isinstance(result, results.Tested):
            right &= result.confidence == 0.95
            right &= sentence(result, 0.012, 0.95) != sentence(result, 0.012, 0.99)
        if not right:
            wrong.append(name)
    assert wrong == [] and len(asked) >= 15


def test_the_confidence_asked_for_reaches_every_test():
    asked = 0
    for name, function in FUNCTIONS.items():
        result = function(**SOUND[name])
        if isinstance(result, results.Tested):
            asked += 1
            assert function(**SOUND[name], confidence=0.8).confidence == 0.8, name
    assert asked == 9
