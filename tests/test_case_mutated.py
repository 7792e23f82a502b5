"""No case file, however mangled, ends in anything but a case or one sentence with its place. All data invented."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flicker.case.case_file import Case, CaseError, read_case
from flicker.case.document import place_of, places_of

WHOLE = '''unit = "Invented 12"
job = "J-1"
[complaint]
text = """cuts out,
[meter] says the owner"""
times = "twice"
per = "evening"
[channels.left]
column = "a"
factor = 2.0
polarity = -1
zero_V = 0.001
[channels."right side"]
column = "b"
role = "output"
measured_at = "amplifier side"
[meter]
accuracy_V = 0.0005
accuracy_percent = 0.1
integration_s = 0.02
[meters."old one"]
accuracy_V = 0.002
[[logs]]
file = "one.csv"
date = 2031-03-09T18:30:00
conditions = { load = "none", lid = "open" }
[[logs]]
file = "two.csv"
stage = "part replaced"
meter = "old one"
[[parts]]
what = "relay replaced"
stage = "part replaced"
changed = true
[limits]
drift_V = 0.02
'''
VALUES = [
    *("-1", "0", "1e400", "nan", "inf", "9" * 400, "9" * 5000, "true", '""', '"\\u0000"', '"a\\nb"', '"often"', "[]"),
    *("{}", "[[1]]", "{ a = { b = 1 } }", "07:32:00", "0001-01-01", "9999-12-31T23:59:59Z", "2031-02-30", '"x"', "'''"),
]
PLACE = re.compile(r"line \d+|\(at line \d+, column \d+\)|\(at end of document\)")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    where = tmp_path_factory.mktemp("mutated")
    for name in ("one.csv", "two.csv"):
        (where / name).write_text("time_s,a_mV,b_mV\n" + "".join(f"{k},{k % 3},{k % 2}\n" for k in range(30)))
    return where


def outcome(folder, text):
    """The case, or the one sentence."""
    path = folder / "case.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass"))
    try:
        return read_case(path)
    except CaseError as problem:
        said = str(problem)
        assert "\n" not in said and "case.toml" in said and len(said) < 700, said
        return said


def test_the_whole_case_is_read(folder):
    case = outcome(folder, WHOLE)
    assert isinstance(case, Case), case
    assert case.meter_of("two.csv").accuracy_V == 0.002 and case.meter_of("elsewhere/one.csv").accuracy_V == 0.0005


@pytest.mark.parametrize("number", range(1, WHOLE.count("\n") + 1))
def test_each_value_of_each_line_may_be_wrong(folder, number):
    lines = WHOLE.splitlines()
    if "=" not in lines[number - 1] or lines[number - 1].startswith("["):
        return
    key = lines[number - 1].split("=")[0]
    for value in VALUES:
        changed = "\n".join([*lines[: number - 1], f"{key}= {value}", *lines[number:]])
        said = outcome(folder, changed)
        if isinstance(said, str):
            assert PLACE.search(said) or "thousands of digits" in said or "4300" in said, (key, value, said)
            told = re.search(r"case\.toml, line (\d+): (\w+) must", said)
            if told and told[2] == key.strip() and "'''" not in value:
                assert int(told[1]) == number, (value, said)


edit = st.tuples(
    st.sampled_from(["cut", "double", "swap", "insert", "letter"]), st.integers(0, 10**6), st.integers(0, 10**6)
)


@settings(
    max_examples=250, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(st.lists(edit, min_size=1, max_size=4), st.text(min_size=1, max_size=8))
def test_a_mangled_case_is_a_case_or_one_sentence(folder, edits, piece):
    lines = WHOLE.splitlines()
    for kind, a, b in edits:
        if not lines:
            break
        i, j = a % len(lines), b % len(lines)
        if kind == "cut":
            del lines[i]
        elif kind == "double":
            lines.insert(j, lines[i])
        elif kind == "swap":
            lines[i], lines[j] = lines[j], lines[i]
        elif kind == "insert":
            lines.insert(i, f"{piece} = {VALUES[b % len(VALUES)]}")
        else:
            lines[i] = lines[i][: b % (len(lines[i]) + 1)] + piece + lines[i][b % (len(lines[i]) + 1) :]
    outcome(folder, "\n".join(lines))


def test_bytes_that_are_no_text_and_deep_nests(folder):
    rng = np.random.default_rng(7)
    for _ in range(60):
        outcome(folder, rng.bytes(int(rng.integers(1, 200))))
    assert isinstance(outcome(folder, "unit = " + "[" * 5000), str)
    assert isinstance(outcome(folder, "a." * 5000 + "b = 1"), str)
    assert isinstance(outcome(folder, '[[logs]]\nfile = "' + "x" * 5000 + '"'), str)


def test_places_of_keys_written_in_other_ways():
    text = (
        'channels.left.column = "a"\n[channels."right one"]\n"factor" = 2 # [x]\nmeter = { accuracy_V = 1 }\n'
        '[[logs]]\nfile = """\n[meter]\nx"""\n[[logs]]\nconditions = [\n "a",\n]\nstage = "s"\n'
    )
    places = places_of(text)
    assert place_of(places, ("channels", "left", "column")) == 1
    assert place_of(places, ("channels", "right one", "factor")) == 3
    assert place_of(places, ("channels", "right one", "meter", "accuracy_V")) == 4
    assert place_of(places, ("logs", 0, "file")) == 6 and place_of(places, ("logs", 1)) == 9
    assert place_of(places, ("logs", 1, "stage")) == 13 and place_of(places, ("meter",)) == 1
