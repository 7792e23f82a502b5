"""Plans of a soak: handbook factors, hand-made cases, what is promised is kept, cautions never missing."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

import flicker
from flicker.cli import main
from flicker.simulate import simulate_log


@pytest.mark.parametrize(
    ("allowed", "confidence", "factor"),
    # NIST/SEMATECH e-Handbook 8.3.1.2, table of test-length factors (from memory; recomputed as chi2(conf, 2r + 2) / 2)
    [
        (0, 0.50, 0.693),
        (0, 0.80, 1.61),
        (0, 0.95, 3.00),
        (1, 0.60, 2.02),
        (1, 0.90, 3.89),
        (2, 0.75, 3.92),
        (2, 0.95, 6.30),
    ],
)
def test_clean_hours_are_the_handbook_factors(allowed, confidence, factor):
    plan = flicker.plan_soak(max_rate_per_h=0.5, allowed=allowed, confidence=confidence)
    assert plan.kind == "demonstrate"
    assert plan.hours == pytest.approx(factor / 0.5, rel=5e-3)


def test_known_rate_and_few_episodes():
    # exponential law: 2.995732 / rate (outside check S5); predictive law (T / (T + h))^k = 0.05, solved by hand
    assert flicker.plan_soak(rate_per_h=0.75).hours == pytest.approx(2.995732 / 0.75, rel=1e-6)
    plan = flicker.plan_soak(count=3, hours=4.0)
    assert plan.hours == pytest.approx(4.0 * (0.05 ** (-1 / 3) - 1.0), rel=1e-9)
    assert plan.hours_if_rate_known == pytest.approx(2.995732 / 0.75, rel=1e-6)
    table = {row.confidence: row.hours for row in plan.table}
    assert table[0.5] == pytest.approx(4.0 * (0.5 ** (-1 / 3) - 1.0), rel=1e-9)
    assert list(table.values()) == sorted(table.values())


def test_nothing_seen_promises_only_at_the_upper_limit():
    # rule of three: 2.995732 / exposure (outside check R3), so the plan is the log's own length again
    plan = flicker.plan_soak(count=0, hours=5.0)
    assert plan.kind == "upper limit"
    assert plan.hours == pytest.approx(5.0, rel=1e-9)
    assert "only if" in plan.reads
    assert plan.hours_if_rate_known is None


def test_short_glitches_lengthen_the_plan_by_the_share_seen():
    # a 0.2 s glitch between instant readings 0.5 s apart is seen in 40 % of positions (geometry)
    plan = flicker.plan_soak(rate_per_h=1.0, glitch_length_s=0.2, sample_interval_s=0.5)
    assert plan.detectable_share == pytest.approx(0.4)
    assert plan.hours == pytest.approx(2.995732 / 0.4, rel=1e-6)


def test_cold_starts_are_weighed_against_hours():
    plan = flicker.plan_soak(count=2, hours=20.0, starts=4, starts_with_fault=4)
    # predictive under beta(4, 1): 24 / ((n + 1)(n + 2)(n + 3)(n + 4)) is 0.067 at n = 2 and 0.029 at n = 3, by hand
    assert plan.power_ups.power_ups == 3
    assert plan.power_ups.better_than_hours and "sooner" not in plan.power_ups.reads
    # 40 in 20 hours are seen within a power-up of some hours; one start in four takes many starts, each an hour apart
    often = flicker.plan_soak(count=40, hours=20.0, starts=4, starts_with_fault=1).power_ups
    assert not often.better_than_hours and "one power-up go on sees it sooner" in often.reads
    alone = flicker.plan_soak(starts=4, starts_with_fault=4)
    assert alone.power_ups.power_ups == 3
    assert "bench" in alone.reads


@pytest.mark.parametrize("kind", ["known", "estimated", "short glitches", "power-ups"])
def test_a_soak_catches_what_it_promises(kind):
    # 4,000 simulated soaks a plan, 90 % promised; error 0.5 points, 2.6 of them allowed. The study has 10,000.
    rng, n, chance = np.random.default_rng(6), 4000, 0.9
    if kind == "known":
        hours = flicker.plan_soak(rate_per_h=0.4, confidence=chance).hours
        caught = rng.poisson(0.4 * hours, n) > 0
    elif kind == "short glitches":
        plan = flicker.plan_soak(rate_per_h=0.4, confidence=chance, glitch_length_s=0.3, sample_interval_s=1.0)
        number = rng.poisson(0.4 * plan.hours, n)
        caught = np.array([np.any(rng.uniform(0.0, 1.0, k) < 0.3) for k in number])  # a reading falls inside
    elif kind == "estimated":
        # logs that end with their third episode: the promise is exact there. Hours are in proportion to those seen.
        each, double = (flicker.plan_soak(count=3, hours=t, confidence=chance).hours for t in (1.0, 2.0))
        assert double == pytest.approx(2.0 * each)
        caught = rng.poisson(0.4 * each * rng.gamma(3.0, 1.0 / 0.4, n)) > 0
    else:
        # share of starts that show it drawn from its prior given 3 of 6: the predictive law is exact there
        share = rng.beta(3, 4, n)
        starts = flicker.plan_soak(starts=6, starts_with_fault=3, confidence=chance).power_ups.power_ups
        caught = rng.random(n) < 1.0 - (1.0 - share) ** starts
    assert caught.mean() >= chance - 2.6 * math.sqrt(chance * (1 - chance) / caught.size)


def test_a_plan_from_logs_knows_starts_bursts_and_the_meter(tmp_path, capsys):
    bench = simulate_log("noisy", hours=0.6, runs=3, rate_hz=1.0, seed=3, rate_per_h=12.0)
    plan = flicker.plan_soak(logs=list(bench.logs))
    assert plan.rate.count > 3
    assert plan.rate.observed_h == pytest.approx(1.8, abs=0.1)
    assert plan.cycles is not None
    assert plan.power_ups.trials == 3
    assert plan.rate.dispersion >= 1.0
    slower = flicker.plan_soak(logs=list(bench.logs), glitch_length_s=0.5, sample_interval_s=10.0)
    assert slower.detectable_share == pytest.approx(
        0.1
    )  # 0.05 of the glitches against 0.5 of the meter that logged them
    assert flicker.plan_soak(logs=list(bench.logs), channel="right").kind == "upper limit"
    path = bench.write(tmp_path / "runs.csv")[0]
    assert main(["soak", "--from", str(path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["hours"] == pytest.approx(plan.hours)
    assert told["schema"] == "flicker/soak/2"


def test_planned_comparison_gives_power_ups_after():
    # one power-up a side cannot show it (page run_to_run.md 2: [10], [0] gives p .027); a second clean one does
    (gone,) = flicker.plan_soak(count=10, hours=5.0).comparison
    assert gone.fall == "gone" and gone.power_ups_after == 2 and gone.hours_after == 10.0
    (alone,) = flicker.plan_soak(count=20, hours=5.0).comparison  # the same page: [20], [0] gives p .012
    assert alone.power_ups_after == 1
    (rare,) = flicker.plan_soak(count=1, hours=10.0).comparison
    assert not rare.reachable and "log more before it" in rare.reads


def test_no_plan_without_its_cautions(capsys):
    for arguments in (
        ["--rate", "1"],
        ["--max-rate", "1"],
        ["--count", "0", "--hours", "2"],
        ["--starts", "3", "--starts-hit", "1"],
    ):
        assert main(["soak", *arguments, "--json"]) == 0
        told = json.loads(capsys.readouterr().out)
        assert any("dummy load" in text for text in told["cautions"])
        assert any("licensed practice" in text for text in told["cautions"])
        assert main(["soak", *arguments]) == 0
        assert "dummy load" in capsys.readouterr().out


def test_help_begins_with_what_it_does_not_do(capsys):
    assert main(["soak", "--help"]) == 0
    assert capsys.readouterr().out.startswith("plans a soak; starts nothing")


@pytest.mark.parametrize(
    "arguments",
    [
        ["--rate", "0"],
        ["--rate", "-1"],
        ["--max-rate", "0"],
        ["--max-rate", "nan"],
        ["--rate", "1", "--confidence", "1"],
        ["--rate", "1", "--confidence", "-0.5"],
        ["--rate", "1", "--max-rate", "1"],
        ["--count", "3"],
        ["--count", "3", "--hours", "0"],
        ["--count", "-1", "--hours", "3"],
        ["--rate", "1", "--glitch-length", "0.1"],
        ["--rate", "1", "--glitch-length", "0.1", "--sample-interval", "0.5", "--integration", "2"],
        ["--starts", "3"],
        ["--starts", "3", "--starts-hit", "4"],
        ["--max-rate", "1", "--allowed", "-1"],
        ["--rate", "1", "--cool-down", "-1"],
        ["--rate", "fast"],
        [],
    ],
)
def test_bad_input_is_one_sentence_and_exit_code_2(arguments, capsys):
    assert main(["soak", *arguments]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.count("\n") == 1
