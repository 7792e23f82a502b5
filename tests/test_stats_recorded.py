"""The statistics return, figure by figure, what they returned when the record was written, to 10 significant digits.

These are regressions recorded by this program itself, not outside values: those stand in the other tests. What the record
adds is that no figure or option changes unnoticed; sentences may. The calls and mistakes are in `recorded_calls.py`; after
a change on purpose, `python tests/tools/record_stats.py` writes the record anew. A mistake is answered by pattern: an
argument, what it must be, what was given.
"""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from recorded_calls import FUNCTIONS, INNER_WRONG, inner, mistakes, results

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
    assert differing(new, RECORD[name], name) == []


SAYS = r"\b(must|needs)\b"


@pytest.mark.parametrize("name", [name for name in FUNCTIONS if mistakes(name)])
def test_a_mistake_is_answered_with_the_argument_what_it_must_be_and_what_was_given(name):
    for sound, change in mistakes(name):
        with pytest.raises(ValueError, match=SAYS) as caught:
            FUNCTIONS[name](**(sound | change))
        said = str(caught.value)
        assert any(re.search(rf"\b{argument}\b", said) for argument in (*change, *sound)), said
        assert ", got " in said or None in change.values(), said


def test_calls_within_the_statistics_are_those_on_record():
    assert differing(inner(), RECORD["inner"], "inner") == []
    for name, call in INNER_WRONG.items():
        with pytest.raises(ValueError, match=SAYS):
            call()
            raise AssertionError(name)


def test_the_comparison_sees_a_small_change():
    assert differing({"a": [1.0, 2.0], "b": "x"}, {"a": [1.0, 2.0 + 4e-9], "b": "x"}) != []
    assert differing({"a": 1.0}, {"a": 1.0, "b": None}) != []
    assert differing({"a": True}, {"a": 1.0}) != []
    assert differing({"a": [1.0]}, {"a": [1.0, 2.0]}) != []
    assert differing({"a": 1.0 + 1e-12, "b": None}, {"a": 1.0, "b": None}) == []
