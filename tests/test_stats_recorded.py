"""The statistics return, field by field and word by word, what they returned when the record was written.

These are regressions recorded by this program itself, not outside values: those stand in the other tests. What the record
adds is that no field, sentence or option changes unnoticed. The calls and mistakes are in `recorded_calls.py`; after a
change on purpose, `python tests/tools/record_stats.py` writes the record anew.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from recorded_calls import FUNCTIONS, inner, inner_sentences, results, sentences

RECORD = json.loads((Path(__file__).parent / "data" / "stats_recorded.json").read_text(encoding="utf-8"))


def differing(new, old, place=""):
    """Places where two results differ, numbers to 1e-9."""
    if isinstance(old, dict) and isinstance(new, dict):
        keys = sorted(set(old) | set(new))
        return [
            line for key in keys for line in differing(new.get(key, "(none)"), old.get(key, "(none)"), f"{place}.{key}")
        ]
    if isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        return [line for i, pair in enumerate(zip(new, old, strict=True)) for line in differing(*pair, f"{place}[{i}]")]
    if isinstance(old, float) and isinstance(new, (int, float)) and not isinstance(new, bool):
        return [] if new == pytest.approx(old, rel=1e-9, abs=1e-12) else [f"{place}: {new!r}, was {old!r}"]
    return [] if new == old and type(new) is type(old) else [f"{place}: {new!r}, was {old!r}"]


@pytest.mark.parametrize("name", FUNCTIONS)
def test_results_are_those_on_record(name):
    new = results(name)
    assert new
    assert differing(new, RECORD["results"][name], name) == []


@pytest.mark.parametrize("name", FUNCTIONS)
def test_mistakes_are_answered_in_the_words_on_record(name):
    new = sentences(name)
    assert "(no error)" not in new.values()
    assert new == RECORD["sentences"][name]


def test_private_calls_of_the_layers_above_are_those_on_record():
    assert differing(inner(), RECORD["results"]["inner"], "inner") == []
    assert inner_sentences() == RECORD["sentences"]["inner"]
    assert "(no error)" not in RECORD["sentences"]["inner"].values()


def test_the_comparison_sees_a_small_change():
    assert differing({"a": [1.0, 2.0], "b": "x"}, {"a": [1.0, 2.0 + 4e-9], "b": "x"}) != []
    assert differing({"a": 1.0}, {"a": 1.0, "b": None}) != []
    assert differing({"a": True}, {"a": 1.0}) != []
    assert differing({"a": [1.0]}, {"a": [1.0, 2.0]}) != []
    assert differing({"a": 1.0 + 1e-12, "b": None}, {"a": 1.0, "b": None}) == []
