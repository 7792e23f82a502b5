"""Every question is entered once, where it is answered; pages, schema, README and charts know it from there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from flicker import assess, simulate_log
from flicker.evidence.findings import FAMILIES, Finding
from flicker.evidence.questions.registry import question, questions
from flicker.present import charts
from flicker.present.schema import schema

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def tapped(tmp_path_factory):
    path = tmp_path_factory.mktemp("questions") / "taps.csv"
    simulate_log("taps", seed=1).write(path)
    return assess(path)


def test_every_answer_is_to_a_question_that_is_entered_and_in_its_order(tapped):
    for channel in tapped.channels:
        found = [item.question for item in channel.findings]
        assert found == [name for name in questions() if name in found]
    assert [item.question for item in tapped.channels[0].findings] == list(questions())


def test_the_schema_lists_the_questions_in_their_order():
    finding = schema("flicker/assessment/2")["$defs"]["Finding"]
    assert finding["properties"]["question"]["enum"] == list(questions())


def test_the_readme_says_what_each_question_means():
    rows = re.findall(r"^\| `([a-z -]+)` \| (.+) \|$", (ROOT / "README.md").read_text(), re.M)
    assert [row for row in rows if row[0] in questions()] == [(q.name, q.meaning) for q in questions().values()]


def test_families_of_the_correction_hold_only_questions():
    assert all(family <= set(questions()) for family in FAMILIES)
    assert questions()["drift"].family == FAMILIES[0] and questions()["protection"].family is None


def test_each_chart_that_a_question_names_draws_or_says_why_not(tapped):
    for name, item in questions().items():
        if item.chart is None:
            with pytest.raises(ValueError, match=f"question must be one of .*got '{name}'"):
                charts.answer_to(name, tapped)
        else:
            assert item.chart in charts.__all__
            try:
                assert charts.caption_of(charts.answer_to(name, tapped))
            except charts.NothingToDraw as why:
                assert str(why)


def test_a_name_or_a_place_is_taken_once():
    with pytest.raises(ValueError, match="name and place must be free, got 'drift' at 5"):
        question("drift", asks="?", place=5)(lambda: Finding("drift", "no", "", ""))
    with pytest.raises(ValueError, match="'intermittent' stands there"):
        question("new", asks="?", place=10)(lambda: None)
