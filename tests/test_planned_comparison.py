"""Planned comparisons: chances of showing a fall against tables of an independent program, and the command."""

from __future__ import annotations

import json
import math
import re
from functools import cache
from pathlib import Path

import pytest

import flicker
from flicker.cli import main
from flicker.evidence.soaking import plan as planning
from flicker.stats.power_ups import comparison_needs, comparison_power, rate_comparison

DRAWS = 300
DEMO = Path(__file__).parents[1] / "demo_data"


@pytest.mark.parametrize(
    ("side", "ratio", "cv", "want"),
    # page run_to_run.md, section 2, mean 10 per power-up; made by the reference program with 600 draws a cell or more
    [(1, 0.0, 0.0, 41), (2, 0.3, 0.0, 47), (3, 0.3, 0.0, 75), (5, 0.3, 0.0, 96), (1, 0.1, 0.0, 16), (2, 0.1, 0.0, 94)],
)
def test_chances_are_those_of_the_tables(side, ratio, cv, want):
    got = comparison_power(side, side, ratio, rate=10.0, length=1.0, cv=cv, draws=DRAWS)
    p = want / 100
    assert abs(got - p) <= 3.0 * math.sqrt(p * (1 - p) * (1 / DRAWS + 1 / 600))


def test_a_cure_needs_the_power_ups_that_the_comparison_needs():
    got = comparison_needs(0.0, counts=[10], exposures=[2.0])
    # page run_to_run.md 2: after one clean power-up p is .027, no claim; so a second is asked for
    assert (got.after_only, got.power_after_only, got.more_before, got.after) == (2, 1.0, 0, 2)
    assert (
        rate_comparison([10], [2.0], [0, 0], [2.0, 2.0]).p_down
        <= 0.025
        < rate_comparison([10], [2.0], [0], [2.0]).p_down
    )


def test_more_scatter_needs_more():
    calm = comparison_power(3, 3, 0.1, rate=6.0, length=1.0, cv=0.0, draws=100)
    wild = comparison_power(3, 3, 0.1, rate=6.0, length=1.0, cv=1.0, draws=100)
    assert wild < calm


def test_fewest_is_no_more_than_any_other_split():
    got = comparison_needs(0.1, counts=[4, 7], exposures=[1.0, 1.0], draws=60, seed=3)
    total = got.more_before + got.after
    same = dict(counts=[4, 7], exposures=[1.0, 1.0], draws=60, seed=3)
    assert got.power >= 0.8
    assert all(comparison_needs(0.1, **same, total=k).after is None for k in range(1, total))


def test_same_seed_same_plan():
    same = dict(counts=[3, 5], exposures=[1.0, 2.0], draws=40)
    assert comparison_needs(0.1, **same, seed=5) == comparison_needs(0.1, **same, seed=5)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (dict(ratio=1.0, counts=[3], exposures=[1.0]), "ratio must be below 1, a fall, got 1"),
        (dict(ratio=0.1, counts=[0], exposures=[1.0]), "one episode or more"),
        (dict(ratio=0.1, rate=3.0, length=1.0), "cv must be given with a known rate"),
        (dict(ratio=0.1, rate=3.0, cv=0.3), "length must be given"),
    ],
)
def test_bad_plans_say_what_is_missing(arguments, words):
    with pytest.raises(ValueError, match=words):
        comparison_needs(**arguments)


def test_command_plans_both_sides(capsys, monkeypatch):
    kept = cache(planning.plan_soak)  # the page tells the plan of the document; it is drawn by chance and takes seconds
    monkeypatch.setattr(planning, "plan_soak", lambda **told: kept(**{k: tuple(v) if isinstance(v, list) else v for k, v in told.items()}))
    assert main(["soak", "--compare", "--count", "9", "12", "--hours", "2", "2", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    rows = {row["fall"]: row for row in told["comparison"]}
    assert list(rows) == ["halved", "down to a tenth", "gone"]
    assert rows["gone"]["power_ups_after"] == 1 and rows["gone"]["power"] == 1.0
    evening = rows["down to a tenth"]["evening"]
    number = evening["power_ups_before"] + evening["power_ups_after"]
    assert evening["bench_h"] == pytest.approx(number * evening["each_h"] + (number - 1) * 1.0)
    assert evening["power"] >= 0.8
    assert main(["soak", "--compare", "--count", "9", "12", "--hours", "2", "2"]) == 0
    assert "to show it down to a tenth " in " ".join(capsys.readouterr().out.split())


def test_shorter_power_ups_are_tried_where_the_logs_show_what_comes_early():
    logs = [DEMO / f"a45_1_as_received_{k}.csv" for k in (1, 2, 3)]
    plan = flicker.plan_soak(logs=logs, compare=True)
    gone = next(row for row in plan.comparison if row.fall == "gone")
    each = plan.rate.observed_h / 3
    assert any(gone.evening.each_h == pytest.approx(share * each) for share in (1.0, 0.5, 0.25))
    assert gone.evening.bench_h <= gone.power_ups_after * each + (gone.power_ups_after - 1) * 1.0


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--compare", "--max-rate", "0.1"], "episodes that were seen"),
        (["--compare", "--rate", "3"], "needs --scatter and --each, the hours of each power-up"),
        (["--rate", "3", "--each", "2"], "compare"),
    ],
)
def test_a_comparison_needs_what_it_is_planned_from(arguments, words, capsys):
    assert main(["soak", *arguments]) == 2
    assert re.search(words, capsys.readouterr().err)
