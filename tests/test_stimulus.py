"""Stimuli against excursions: closed forms, simulated nulls with and without bursts. All benches are invented."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from flicker.evidence.questions.stimulus import StimulusRun, judge_stimuli, window_for
from flicker.stats.rates import share_interval


def run(events, stimuli, span=14_400.0, observed=None):
    seen = np.array([[0.0, span]]) if observed is None else np.asarray(observed, dtype=float)
    return StimulusRun(np.asarray(events, dtype=float), stimuli, seen)


TAPS = 6000.0 + 40.0 * np.arange(10)


def test_nine_of_ten_taps_answered_is_provoked():
    report = judge_stimuli([run(TAPS[:9] + 0.4, {"tap": TAPS})], channel="left")
    tap = report.kinds[0]
    assert (report.provoked, report.best, report.spontaneous) == ("yes", "tap", 0)
    assert (tap.trials, tap.answered, tap.answer) == (10, 9, "yes")
    # Clopper-Pearson 9 of 10: 0.554984 to 0.997471 (beta quantiles, computed)
    assert (tap.low, tap.high) == pytest.approx((0.5549839, 0.9974714))
    # of nine windows of 6 s about each tap only its own is occupied, nine times over; the tenth has none: (1/9)^9
    assert tap.p_value == pytest.approx((1 / 9) ** 9) and tap.expected == pytest.approx(9 / 9)
    assert "intermittent, provoked" in report.reads
    assert "insulated" in report.cautions[0]
    report.to_json()


def test_after_a_repair_so_many_silent_taps_show_it_gone():
    # predictive law of the beta(9, 2) after 9 of 10: E (1 - p)^n <= 5 %; n = 2 gives 2*3/(11*12) = 4.5 %
    tap = judge_stimuli([run(TAPS[:9] + 0.4, {"tap": TAPS})]).kinds[0]
    assert tap.repeats == 2


def test_silent_taps_that_exclude_one_in_ten():
    # success run: 29 trials without an answer exclude 10 % at 95 % (0.9^29 = 4.7 %)
    few = judge_stimuli([run([], {"tap": 100.0 + 40 * np.arange(10)})])
    assert (few.provoked, few.kinds[0].repeats) == ("not shown", 19)
    many = judge_stimuli([run([], {"tap": 100.0 + 40 * np.arange(29)})])
    assert (many.provoked, many.kinds[0].answer) == ("no", "no")


def test_one_answer_is_not_a_repetition():
    report = judge_stimuli([run([100.2], {"tap": [100.0]})])
    assert report.kinds[0].p_value == pytest.approx(1 / 9)  # one occupied window of nine
    assert report.provoked == "not shown"


def test_a_tap_that_works_does_not_make_the_heat_guilty():
    # heat every 10 minutes; taps half a minute into each heating, all answered; heat alone does nothing
    heat = 600.0 * np.arange(1, 21)
    tap = heat + 30.0
    report = judge_stimuli([run(tap + 0.5, {"heat": heat, "tap": tap})])
    by_kind = {item.kind: item for item in report.kinds}
    assert by_kind["tap"].answer == "yes"
    assert by_kind["heat"].answered == 0
    assert report.best == "tap"


def test_a_mark_set_late_still_counts():
    assert judge_stimuli([run(TAPS - 0.8, {"tap": TAPS})]).kinds[0].answered == 10


def test_taps_in_quick_succession_are_one_trial_and_hidden_ones_none():
    taps = np.concatenate((TAPS, TAPS + 1.0, TAPS + 2.0, [13_000.0]))
    report = judge_stimuli([run(TAPS + 0.3, {"tap": taps}, observed=[[0, 12_000]])])
    assert (report.kinds[0].trials, report.kinds[0].answered) == (10, 10)


def test_rates_inside_and_outside():
    events = np.concatenate((TAPS + 0.4, [100.0, 103.0, 2000.0]))  # the first two are one burst
    report = judge_stimuli([run(events, {"tap": TAPS})])
    tap = report.kinds[0]
    assert (report.spontaneous, report.spontaneous_s) == (2, pytest.approx(14_400 - 60))
    assert tap.inside_per_h == pytest.approx(10 / 60 * 3600)
    assert tap.ratio == pytest.approx((10 / 60) / (2 / 14_340))


@pytest.mark.parametrize("burst", [1, 4])
def test_spontaneous_excursions_are_called_provoked_in_at_most_five_percent(burst):
    # null: 40 excursions per hour, singly or in bursts of four (gaps 4 s), two kinds of stimuli that do nothing;
    # 600 benches of an hour: a true 5 % shows at most 7.1 % in 99 of 100 studies (binomial)
    rng = np.random.default_rng(20 + burst)
    false = 0
    for _ in range(600):
        begin = rng.uniform(0, 3500, rng.poisson(40 / burst))
        events = np.sort((begin[:, None] + np.cumsum(rng.exponential(4.0, (begin.size, burst)), axis=1)).ravel() % 3600)
        start = rng.uniform(0, 2500)
        report = judge_stimuli(
            [
                run(
                    events,
                    {"tap": start + 40.0 * np.arange(15), "heat": start + 700.0 + 150 * np.arange(2)},
                    span=3600.0,
                )
            ]
        )
        false += report.provoked == "yes"
    assert false <= stats.binom.ppf(0.99, 600, 0.05)


def test_half_of_twelve_taps_is_found_beside_spontaneous_excursions():
    # truth: a tap is answered with chance 0.5, and 6 excursions per hour come by themselves; found in 95 % of benches
    rng = np.random.default_rng(7)
    found, covered = 0, 0
    for _ in range(200):
        taps = 5000.0 + 45.0 * np.arange(12) + rng.uniform(0, 5, 12)
        events = np.concatenate((taps[rng.random(12) < 0.5] + 0.5, rng.uniform(0, 10_800, rng.poisson(18))))
        report = judge_stimuli([run(np.sort(events), {"tap": taps}, span=10_800.0)])
        found += report.provoked == "yes"
        by_chance = 1 - np.exp(-6.0 * 6 / 3600)
        covered += report.kinds[0].low <= 1 - 0.5 * (1 - by_chance) <= report.kinds[0].high
    assert found >= 185
    assert covered >= stats.binom.ppf(0.01, 200, 0.95)


def test_repeats_are_enough_to_show_it():
    # 1 of 2 answered by chance of a busy channel: repeat until the lower limit of 1/2 passes chance
    events = np.concatenate(([100.3], np.arange(500, 14_000, 60.0)))
    item = judge_stimuli([run(events, {"tap": [100.0, 203.0]})]).kinds[0]
    assert item.answer == "not shown"
    trials = item.trials + item.repeats
    chance = item.expected / item.trials
    assert share_interval(trials // 2, trials, sided="lower").low > chance
    assert share_interval((trials - 1) // 2, trials - 1, sided="lower").low <= chance


def test_runs_are_joined_and_nothing_marked_says_so():
    two = judge_stimuli([run(TAPS[:5] + 0.4, {"tap": TAPS[:5]}), run(TAPS[5:] + 0.4, {"tap": TAPS[5:]})])
    assert two.kinds[0].answered == 10
    none = judge_stimuli([run([5.0], {})])
    assert (none.provoked, none.kinds, none.cautions) == ("not shown", (), ())
    assert "no stimulus was marked" in none.reads


@pytest.mark.parametrize(("kind", "window"), [("tap", 5.0), ("freeze spray", 120.0), ("push", 10.0)])
def test_windows(kind, window):
    assert window_for(kind) == window
