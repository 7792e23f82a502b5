"""Channel against channel: closed forms for chance, simulations for size and common causes. All data are invented."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from flicker.signals.coincidence import ChannelEvents, coincide_all


def events(name, start, size=None, span=14_400.0, observed=None, step=0.5):
    start = np.asarray(start, dtype=float)
    size = np.full(start.size, 0.1) if size is None else np.asarray(size, dtype=float)
    seen = np.array([[0.0, span]]) if observed is None else np.asarray(observed, dtype=float)
    return ChannelEvents(name, start, size, seen, step)


def coincide(left, right):
    """The one pair of two channels, each of one run or of several."""
    sides = [side if isinstance(side, list) else [side] for side in (left, right)]
    (pair,) = coincide_all({side[0].channel: side for side in sides})
    return pair


def test_single_pair_has_the_chance_of_its_window():
    # one episode each, 0.4 s apart: a turned start falls within +/- 1 s with chance 2 / 14400
    found = coincide(events("left", [7000.0]), events("right", [7000.4]))
    assert found.p_value == pytest.approx(2.0 / 14_400.0)
    assert (found.answer, found.together, found.pairs) == ("common cause", 1, 1)


def test_expected_coincidences_in_closed_form():
    rng = np.random.default_rng(3)
    a, b = (np.sort(rng.uniform(0, 14_400, n)) for n in (40, 30))
    found = coincide(events("left", a), events("right", b))
    # turned uniformly, each of 40 falls within one second of one of 30 with chance 60 / 14400 less the overlaps
    edges = np.sort(b)
    overlap = np.sum(np.maximum(0.0, 2.0 - np.diff(np.append(edges, edges[0] + 14_400))))
    assert found.expected == pytest.approx(40 * (60.0 - overlap) / 14_400)


@pytest.mark.parametrize("burst", [1, 4])
def test_independent_channels_are_called_common_in_at_most_five_percent(burst):
    # null: two independent channels, singles or bursts of four with gaps of 3 s; 600 logs, so a true 5 % shows at most
    # 7.1 % in 99 of 100 studies (binomial)
    rng = np.random.default_rng(10 + burst)
    false = 0
    for _ in range(600):
        sides = []
        for _ in range(2):
            begin = rng.uniform(0, 3500, rng.poisson(25 / burst))
            gaps = np.cumsum(rng.exponential(3.0, (begin.size, burst)), axis=1)
            sides.append(np.sort((begin[:, None] + gaps).ravel() % 3600))
        found = coincide(events("left", sides[0], span=3600), events("right", sides[1], span=3600))
        false += found.p_value <= 0.05
    assert false <= stats.binom.ppf(0.99, 600, 0.05)


def test_common_cause_with_lead_sign_and_size():
    # truth: right follows left 0.8 s later at 0.4 times the size with the sign turned, in a supply that both share
    rng = np.random.default_rng(5)
    start = np.sort(rng.uniform(100, 14_000, 20))
    size = rng.lognormal(-2, 0.5, 20)
    right = start + 0.8 + rng.normal(0, 0.05, 20)
    found = coincide(events("left", start, size), events("right", right, -0.4 * size * rng.lognormal(0, 0.05, 20)))
    assert found.answer == "common cause"
    assert (found.together, found.pairs, found.same_sign) == (20, 20, 0)
    assert found.lead_low_s < 0.8 < found.lead_high_s
    assert found.size_ratio == pytest.approx(0.4, rel=0.05)
    assert found.size_correlation > 0.9
    assert found.size_p_value <= 0.001
    assert "opposite ways" in found.reads
    assert "left begins 0.8" in found.reads


def test_rank_correlation_agrees_with_a_reference_library():
    rng = np.random.default_rng(6)
    start, size = 100.0 * np.arange(1, 31), np.round(rng.lognormal(0, 0.3, 30), 1)
    other = np.round(size * rng.lognormal(0, 0.3, 30), 1)
    found = coincide(events("left", start, size), events("right", start, other))
    expected = stats.spearmanr(size, other)
    assert found.size_correlation == pytest.approx(expected.statistic)


@pytest.mark.parametrize(
    ("left", "right", "answer", "only"),
    [
        (range(100, 2100, 100), [], "this channel only", ("left",)),
        (range(100, 2100, 100), range(150, 2150, 100), "this channel only", ("left", "right")),
        ([100, 200], [], "not shown", ()),
        ([], [], "not shown", ()),
        # 4 of 20 together where chance gives 0.006: shown, but most have another cause
        (range(100, 2100, 100), [100, 300, 500, 700, *range(5050, 9050, 250)], "partly common", ()),
    ],
)
def test_answers(left, right, answer, only):
    found = coincide(events("left", list(left)), events("right", list(right)))
    assert (found.answer, found.only) == (answer, only)
    found.to_json()


def test_only_time_observed_in_both_counts():
    seen_a, seen_b = [[0, 1000], [2000, 3000]], [[500, 2500]]
    found = coincide(
        events("left", [100, 700, 2200, 2900], observed=seen_a), events("right", [700.2, 2200.1], observed=seen_b)
    )
    assert found.observed_s == 1000.0
    assert (found.episodes_a, found.episodes_b, found.together) == (2, 2, 2)
    apart = coincide(events("left", [10], observed=[[0, 50]]), events("right", [70], observed=[[60, 90]]))
    assert (apart.answer, apart.observed_s) == ("not shown", 0.0)


def test_runs_are_pooled_but_never_paired_across():
    left = [events("left", [100.0], span=200), events("left", [50.0], span=200)]
    right = [events("right", [199.9], span=200), events("right", [50.1], span=200)]
    found = coincide(left, right)
    assert (found.pairs, found.observed_s) == (1, 400.0)


def test_pairs_of_channels_are_corrected_together():
    rng = np.random.default_rng(8)
    start = np.sort(rng.uniform(0, 14_000, 8))
    channels = {"left": [events("left", start)], "right": [events("right", start + 0.1)], "rail": [events("rail", [])]}
    found = coincide_all(channels)
    assert [(pair.a, pair.b) for pair in found] == [("left", "right"), ("left", "rail"), ("right", "rail")]
    assert found[0].p_adjusted == pytest.approx(3 * found[0].p_value)
    assert [pair.answer for pair in found] == ["common cause", "this channel only", "this channel only"]


def test_interval_of_the_lead_is_the_sign_test_interval():
    # 6 pairs: smallest to largest, coverage 1 - 2 / 64 (textbook sign test); 5 pairs allow none at 95 %
    lead = np.array([0.1, 0.2, 0.3, 0.4, 0.5, 0.6])
    six = coincide(events("a", 100.0 * np.arange(1, 7)), events("b", 100.0 * np.arange(1, 7) + lead))
    assert (six.lead_low_s, six.lead_high_s) == (pytest.approx(0.1), pytest.approx(0.6))
    five = coincide(events("a", 100.0 * np.arange(1, 6)), events("b", 100.0 * np.arange(1, 6) + lead[:5]))
    assert math.isnan(five.lead_low_s)
