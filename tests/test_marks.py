"""Marks beside a log. All logs and marks are invented."""

from __future__ import annotations

import os
from datetime import datetime, timedelta, timezone

import numpy as np
import pytest

from flicker.logs.marks import (
    Mark,
    append_mark,
    borders,
    marks_path,
    parse_marks,
    read_marks,
    seconds_ago,
    stimuli,
    touched,
)
from flicker.logs.model import Log, LogError

HEAD = "time,kind,channel,until,text\n"


def log(start=None, size=1001):
    return Log.from_arrays(np.arange(float(size)), {"left": np.zeros(size), "right": np.zeros(size)}, start=start)


EVENING = datetime(2031, 3, 3, 23, 55)


def test_marks_are_read_in_time_order():
    text = (
        HEAD
        + '500,stimulus,left,,"tap: input socket, hard"\n\n20.5,Touched,,40,\n700,conditions  changed,LEFT,,lid off\n'
    )
    assert parse_marks(text, log()) == (
        Mark(20.5, "touched", None, 40.0, ""),
        Mark(500.0, "stimulus", "left", None, "tap: input socket, hard"),
        Mark(700.0, "conditions changed", "left", None, "lid off"),
    )


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_columns_may_stand_in_any_order_and_be_left_out(delimiter):
    text = "kind,time\nnote,3\n".replace(",", delimiter)
    assert parse_marks(text, log()) == (Mark(3.0, "note"),)


@pytest.mark.parametrize(
    ("written", "second"),
    [
        ("2031-03-03 23:55:30", 30.0),
        ("2031-03-03T23:55:30.250", 30.25),
        ("23:56:00", 60.0),
        ("00:01:00", 360.0),  # after midnight
        ("12.5", 12.5),
    ],
)
def test_times_on_the_clock_of_the_log(written, second):
    assert parse_marks(f"{HEAD}{written},note,,,\n", log(EVENING))[0].time_s == second


def test_zones_are_compared_as_instants():
    east = timezone(timedelta(hours=1))
    aware = log(EVENING.replace(tzinfo=east))
    assert parse_marks(f"{HEAD}2031-03-03T22:56:00+00:00,note,,,\n", aware)[0].time_s == 60.0
    assert parse_marks(f"{HEAD}2031-03-03T23:56:00,note,,,\n", aware)[0].time_s == 60.0


BAD = [
    ("10,tapped,,,", "line 2: 'tapped' is not a kind of mark"),
    ("10,ajusted,,,", "did you mean 'adjusted'"),
    ("5000,note,,,", "time 5000 lies outside the log (0 to 1001 s)"),
    ("-1,note,,,", "outside the log"),
    ("nan,note,,,", "outside the log"),
    ("10,touched,,9,", "until (9) is before time (10)"),
    ("10,touched,,2000,", "until 2000 lies outside the log"),
    ("10,touched,,30,\n20,touched,left,40,", "line 3: 'touched' at 20 s overlaps the one from 10 s to 30 s"),
    ("10,touched,,30,\n20,touched,,,", "line 3: 'touched' at 20 s overlaps"),
    ("10,note,middle,,", "'middle' is not a channel of this log; it has left, right"),
    ("23:56:00,note,,,", "give seconds since its first sample"),
    (",note,,,", "time is empty"),
    ("10,note,,,a,b", "put the text in double quotes"),
]


@pytest.mark.parametrize(("rows", "sentence"), BAD)
def test_a_bad_mark_gets_one_sentence_with_its_line(rows, sentence):
    with pytest.raises(LogError) as caught:
        parse_marks(HEAD + rows + "\n", log(), "bench.marks.csv")
    assert sentence in str(caught.value)
    assert str(caught.value).startswith("bench.marks.csv, line ")
    assert "\n" not in str(caught.value)


def test_further_bad_marks_are_counted():
    with pytest.raises(LogError, match=r"line 2.*2 more bad marks"):
        parse_marks(HEAD + "1,x,,,\n2,note,,,\n3,y,,,\n4,z,,,\n", log())


@pytest.mark.parametrize(("head", "word"), [("when,kind", "time"), ("time,kind,colour", "colour")])
def test_a_bad_header_is_named(head, word):
    with pytest.raises(LogError, match=word):
        parse_marks(f"{head}\n1,note,\n", log())


def test_intervals_of_different_kinds_or_channels_may_overlap_and_touch():
    text = HEAD + "10,touched,left,30,\n20,touched,right,40,\n15,adjusted,left,25,\n30,touched,left,35,\n"
    assert len(parse_marks(text, log())) == 4


@pytest.mark.parametrize(("start", "first"), [(None, "980.000"), (EVENING, "2031-03-04 00:11:20")])
def test_a_mark_is_appended_with_the_clock_of_the_last_sample(tmp_path, start, first):
    path = tmp_path / "bench.csv"
    mark = append_mark(path, log(start), "tapped, twice", kind="stimulus", ago_s=20.0)
    append_mark(path, log(start), "leads off", kind="touched", channel="left", ago_s=10.0, lasted_s=5.0)
    assert mark == Mark(980.0, "stimulus", None, None, "tapped, twice")
    found = read_marks(marks_path(path), log(start))
    assert found == (mark, Mark(990.0, "touched", "left", 995.0, "leads off"))
    lines = marks_path(path).read_text().splitlines()
    assert lines[0] == "time,kind,channel,until,text"
    assert lines[1].startswith(first)
    assert len(lines) == 3
    assert sorted(os.listdir(tmp_path)) == ["bench.marks.csv"]


def test_appending_keeps_what_stands_there_to_the_letter(tmp_path):
    path = marks_path(tmp_path / "bench.csv")
    before = "kind;time;text\nnote;3;my own order"
    path.write_text(before)
    append_mark(tmp_path / "bench.csv", log(), "done")
    assert path.read_text() == before + "\nnote;1000.000;done\n"


@pytest.mark.parametrize(
    ("before", "options", "sentence"),
    [
        ("", {"kind": "hit"}, "not a kind of mark"),
        ("", {"channel": "middle"}, "not a channel"),
        ("", {"ago_s": 5000.0}, "before the log's first sample"),
        (HEAD + "990,touched,,1000,\n", {"kind": "touched", "ago_s": 5.0}, "overlaps"),
        (HEAD + "5,hit,,,\n", {}, "'hit' is not a kind"),
        ("time,kind\n3,note\n", {}, "no column 'text'"),
    ],
)
def test_a_mark_that_cannot_stand_changes_nothing(tmp_path, before, options, sentence):
    path = marks_path(tmp_path / "bench.csv")
    if before:
        path.write_text(before)
    with pytest.raises(LogError, match=sentence):
        append_mark(tmp_path / "bench.csv", log(), "text", **options)
    assert (path.read_text() if path.exists() else "") == before
    assert len(os.listdir(tmp_path)) == bool(before)


@pytest.mark.parametrize(("word", "second"), [("20s", 20.0), ("20", 20.0), ("2 min", 120.0), ("1.5h", 5400.0)])
def test_ago(word, second):
    assert seconds_ago(word) == second


def test_ago_refuses_other_words():
    with pytest.raises(LogError, match="20s, 2min or 1h"):
        seconds_ago("yesterday")


@pytest.mark.parametrize(
    ("log_name", "marks_name"), [("a.csv", "a.marks.csv"), ("a.csv.gz", "a.marks.csv"), ("a.b.wav", "a.b.marks.csv")]
)
def test_the_place_of_the_marks(tmp_path, log_name, marks_name):
    assert marks_path(tmp_path / log_name) == tmp_path / marks_name


def test_marks_of_a_simulated_bench_are_read_back(tmp_path):
    from flicker.logs.reading import read_log
    from flicker.simulate import simulate_log

    bench = simulate_log("taps", seed=3)
    files = bench.write(tmp_path / "bench.csv")
    found = read_marks(marks_path(files[0]), read_log(files[0]))
    assert [mark.time_s for mark in found] == pytest.approx([mark.time_s for mark in bench.truth.marks], abs=1e-3)
    assert [mark.kind for mark in found] == [mark.kind for mark in bench.truth.marks]
    assert {what: len(times) for what, times in stimuli(found).items()} == {"tap": 10}


def test_effects_of_marks():
    time = np.concatenate((np.arange(100.0), 5000 + np.arange(100.0)))
    two = Log.from_arrays(time, {"left": np.zeros(200), "right": np.zeros(200)})
    rows = "50,stimulus,,,Tap\n60,stimulus,left,,tap: hard\n5010,stimulus,right,,freeze\n5020,adjusted,left,5030,\n"
    marks = parse_marks(HEAD + rows + "90,touched,,,\n3000,part changed,,,C4\n5050,touched,,5060,\n", two)
    assert stimuli(marks) == {"tap": (50.0, 60.0), "freeze": (5010.0,)}
    assert touched(marks).tolist() == [[90.0, 100.0], [5020.0, 5030.0], [5050.0, 5060.0]]
    assert borders(marks) == (3000.0, 5030.0)  # the part was changed between the runs
