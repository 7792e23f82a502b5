"""The case file: what it says, what is missing, and one sentence with its place for every wrong line. All data invented."""

import math

import numpy as np
import pytest

from flicker.case.case_file import CaseError, needs, read_case
from flicker.logs.mapped import ColumnUse
from flicker.logs.model import Log
from flicker.logs.used_columns import with_columns

GOOD = """unit = "Invented 12"
[complaint]
text = "crackles"
times = "once"
per = "evening"
when = "cold"
hours_per_day = 4
[channels.left]
column = "a"
measured_at = "amplifier side"
[[logs]]
file = "one.csv"
date = 2031-03-09T18:30:00
stage = "as received"
[[logs]]
file = "two.csv"
stage = "part replaced"
[[parts]]
what = "relay"
stage = "part replaced"
"""


@pytest.fixture
def folder(tmp_path):
    for name in ("one.csv", "two.csv"):
        (tmp_path / name).write_text("time_s,a_mV,b_mV\n" + "".join(f"{k},{k % 3},{k % 2}\n" for k in range(30)))
    return tmp_path


def case_of(folder, text):
    path = folder / "case.toml"
    path.write_text(text)
    return read_case(path)


def test_a_case_says_what_is_known_and_lists_what_is_not(folder):
    case = case_of(folder, GOOD)
    assert case.stages == ("as received", "part replaced")
    assert case.complaint.per_hour == pytest.approx(0.25) and case.complaint.per_start == pytest.approx(1.0)
    assert {"serial", "job", "the meter's accuracy", "dates of some logs"} <= set(case.not_recorded)
    document = case.to_dict()
    assert document["schema"] == "flicker/case/1" and str(folder) not in str(document)


def test_the_complaint_sets_hours_and_cold_starts(folder):
    # Poisson, no event: -ln(0.05) / rate (NIST/SEMATECH e-Handbook 8.3.1.2, factor 3.00 at r = 0, from memory)
    hours, starts = needs(case_of(folder, GOOD), 0.95)
    assert hours == pytest.approx(-math.log(0.05) / 0.25) and starts == 3.0
    # came in as intermittent, no rate given: 0.1 per hour, 30 clean hours
    hours, _ = needs(case_of(folder, '[complaint]\ntext = "comes and goes"\n'), 0.95)
    assert hours == pytest.approx(29.957, abs=1e-3)


def test_every_line_is_optional(folder):
    case = case_of(folder, "")
    assert case.unit is None and len(case.not_recorded) >= 6


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('unti = "x"', "line 1: 'unti' is not known here; did you mean 'unit'?"),
        ("unit = 3", "line 1: unit must be text"),
        ('output = "valve"', "line 1: output must be one of"),
        ("\n[complaint]\ntimes = -1", "line 3: times must be a number of 0 or more"),
        ('[complaint]\ntimes = "often"', "line 2: times must be a number or one of"),
        ('[complaint]\nwhen = "tuesdays"', "line 2: when must be one of"),
        ("[complaint]\nper_hour = 0", "a complaint needs a rate above 0"),
        ("[channels.left]\npolarity = 2", "line 2: polarity must be 1 or -1"),
        ("[channels.left]\nfactor = 0", "line 2: factor must not be 0"),
        ('[channels.left]\nrole = "speaker"', "line 2: role must be one of"),
        ('[channels.a]\nrole = "ignore"', "no channel has the role 'output'"),
        ("[meter]\naccuracy_V = -1", "line 2: accuracy_V must be a number of 0 or more"),
        ('[[logs]]\nfile = "one.csv"\n[[logs]]\nfile = "nowhere.csv"', "line 4: the log 'nowhere.csv' does not exist"),
        ('[[logs]]\nfile = "one.csv"\n[[logs]]\nfile = "one.csv"', "line 4: the log 'one.csv' stands twice"),
        ('[[logs]]\nfile = "one.csv"\ndate = "last week"', "line 3: date must be a date such as 2031-03-09"),
        ('[[parts]]\nwhat = "fuse"\nstage = "later"', "line 3: no log belongs to the stage 'later'"),
        ("[limits]\ndrift = 1", "line 2: 'drift' is not known here"),
        ("[limits]\ndrift_V = -1", "line 2: drift_V must be a number of 0 or more"),
        ("[limits]\nrelease_V = 3", "release_V"),
        ('logs = "x"', "line 1: logs must be a list of tables"),
        ("unit = [", "not TOML"),
    ],
)
def test_every_wrong_line_is_one_sentence_with_its_place(folder, text, says):
    with pytest.raises(CaseError) as problem:
        case_of(folder, text)
    assert says in str(problem.value) and "\n" not in str(problem.value) and "case.toml" in str(problem.value)


def test_columns_are_used_as_the_case_says():
    time = np.arange(20.0)
    log = Log.from_arrays(time, {"p": time * 0.001, "q": np.full(20, 0.5)})
    used = with_columns(log, [ColumnUse("bridge", "p", gain=-2.0, zero_V=0.1, minus="q"), ColumnUse("plain", "q")])
    frame = used.to_frame()
    assert np.allclose(frame["bridge"], -2.0 * (time * 0.001 - 0.5) - 0.1) and np.allclose(frame["plain"], 0.5)
    with pytest.raises(ValueError, match="no column 'r'; the columns are 'p', 'q'"):
        with_columns(log, [ColumnUse("x", "r")])
