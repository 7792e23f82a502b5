"""One case file is read by every command: columns, factor, polarity, zero, limits. All data invented."""

from __future__ import annotations

import contextlib
import json
import re

import numpy as np
import pytest

from flicker.cli import main

CASE = """unit = "Invented 12"
[complaint]
text = "thumps"
times = 3
per = "evening"
[channels.left]
column = "p"
factor = 10.0
polarity = -1
zero_V = 0.002
[channels.bridge]
column = "q"
minus = "r"
[channels.heat]
column = "s"
role = "ignore"
[meter]
accuracy_V = 0.0005
integration_s = 0.1
[limits]
settled_offset_V = 0.030
[[logs]]
file = "one.csv"
date = 2031-03-01T18:00:00
stage = "as received"
[[logs]]
file = "two.csv"
date = 2031-06-01T18:00:00
stage = "part replaced"
"""


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    """Two logs of four odd columns: left rests at 40 mV as the case reads it, and jumps in the first log only."""
    folder = tmp_path_factory.mktemp("job")
    for number, name in enumerate(("one.csv", "two.csv")):
        rng = np.random.default_rng(number)
        n = 4000
        p = -0.0042 + 2e-5 * rng.standard_normal(n)
        if name == "one.csv":
            for at in range(300, n, 400):
                p[at : at + 3] -= 0.02
        q, r, s = (1e-4 * rng.standard_normal(n) + level for level in (0.5, 0.49, 0.2))
        rows = np.column_stack((np.arange(n), p, q, r, s))
        np.savetxt(folder / name, rows, delimiter=",", header="time_s,p_V,q_V,r_V,s_V", comments="", fmt="%.6f")
    (folder / "case.toml").write_text(CASE)
    return folder


def run(capsys, *arguments):
    with contextlib.suppress(OSError):
        code = main([str(word) for word in arguments])
    told = capsys.readouterr()
    return code, told.out, told.err


def levels(document):
    return {item["channel"]: item["baseline"]["level_V"] for item in document["channels"]}


@pytest.mark.parametrize("logs", [(), ("one.csv",), ("one.csv", "two.csv")])
def test_assess(job, capsys, logs):
    code, out, err = run(capsys, "assess", "--case", job / "case.toml", *(job / name for name in logs), "--json")
    assert code == 0, err
    document = json.loads(out)
    assert set(levels(document)) == {"left", "bridge"}
    # -0.0042 V x 10 x -1 - 0.002 V, and 0.5 V - 0.49 V, from how the logs were made
    assert levels(document)["left"] == pytest.approx(0.040, abs=1e-3) and levels(document)["bridge"] == pytest.approx(
        0.010, abs=1e-3
    )
    assert document["limits"]["settled_offset_V"] == 0.030


def test_channels_are_those_of_the_case(job, capsys):
    code, out, _ = run(capsys, "assess", "--case", job / "case.toml", "--channels", "left", "--json")
    assert code == 0 and set(levels(json.loads(out))) == {"left"}
    code, _, err = run(capsys, "assess", "--case", job / "case.toml", "--channels", "p", "--json")
    assert code == 2 and "no output 'p'; it has 'left', 'bridge'" in err


def test_compare_visits_and_soak(job, capsys):
    code, out, err = run(capsys, "compare", "--case", job / "case.toml", "--json")
    assert code == 0, err
    whole = json.loads(out)["whole"]["channels"]
    assert {item["channel"] for item in whole} == {"left", "bridge"} and whole[0]["concern_per_h"] == pytest.approx(1.0)
    named = ["--before", job / "one.csv", "--after", job / "two.csv"]
    code, out, err = run(capsys, "compare", "--case", job / "case.toml", *named, "--json")
    assert code == 0 and json.loads(out)["channels"][0]["outcome"] == whole[0]["outcome"], err
    for extra in ([], ["--visit", "2031-03-01", job / "one.csv", "--visit", "2031-06-01", job / "two.csv"]):
        code, out, err = run(capsys, "visits", "--case", job / "case.toml", *extra, "--json")
        assert code == 0, err
        document = json.loads(out)
        assert [item["channel"] for item in document["channels"]] == ["left", "bridge"] and len(document["visits"]) == 2
    code, out, err = run(capsys, "soak", "--case", job / "case.toml", "--json")
    assert code == 0 and json.loads(out)["hours"] == pytest.approx(2.9957, abs=1e-3), err  # 1 per hour, as above


def test_watch(job, capsys):
    code, out, err = run(
        capsys, "watch", job / "one.csv", "--case", job / "case.toml", "--idle", "0.2", "--until", "stopped", "--json"
    )
    assert code == 0, err
    lines = [json.loads(line) for line in out.splitlines()]
    (design,) = [line for line in lines if line["event"] == "design"]
    assert design["bad_rate_per_h"] == pytest.approx(1.0)  # the complaint's rate is the one to catch
    summary = lines[-1]
    assert [item["channel"] for item in summary["channels"]] == ["left", "bridge"]
    assert [item["episodes"] > 0 for item in summary["channels"]] == [True, False]
    assert [item["channel"] for item in summary["offline"]] == ["left", "bridge"]


def test_mark(job, capsys, tmp_path):
    log = tmp_path / "one.csv"
    log.write_bytes((job / "one.csv").read_bytes())
    code, _, err = run(
        capsys, "mark", log, "tapped", "--kind", "touched", "--channel", "left", "--case", job / "case.toml"
    )
    assert code == 0 and "left" in (tmp_path / "one.marks.csv").read_text(), err
    code, _, err = run(capsys, "mark", log, "tapped", "--channel", "p", "--case", job / "case.toml")
    assert code == 2 and "left" in err and err.count("\n") == 1


def test_survey(job, capsys, tmp_path, judged_here):
    out = tmp_path / "table.csv"
    code, _, err = run(capsys, "survey", job, "--case", job / "case.toml", "--out", out, "--workers", "1")
    assert code == 0, err
    import pandas as pd

    table = pd.read_csv(out)
    assert sorted(table["channel"]) == ["bridge", "bridge", "left", "left"] and table["error"].isna().all()
    assert np.allclose(table.loc[table.channel == "left", "level_V"], 0.040, atol=1e-3)


def test_report(job, capsys, tmp_path, undrawn):
    code, out, err = run(capsys, "report", "--case", job / "case.toml", tmp_path / "page.html")
    assert code == 0 and "bridge" in out, err
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert str(job) not in page and "thumps" in page


@pytest.mark.usefixtures("cells_run_here")
def test_notebook(job, capsys, tmp_path):
    code, _, err = run(
        capsys, "notebook", "before-and-after", "--case", job / "case.toml", "--out", tmp_path / "a.ipynb"
    )
    assert code == 0, err
    text = (tmp_path / "a.ipynb").read_text(encoding="utf-8")
    assert "bridge" in text
    code, _, err = run(
        capsys, "notebook", "how-logs-mislead", "--case", job / "case.toml", "--out", tmp_path / "b.ipynb"
    )
    assert code == 2 and "makes no use of a case" in err and not (tmp_path / "b.ipynb").exists()


COMMANDS = {
    "assess": ("--json",),
    "compare": ("--json",),
    "visits": ("--json",),
    "soak": ("--json",),
    "watch": ("{job}/one.csv", "--idle", "0.2"),
    "mark": ("{job}/one.csv", "x"),
    "report": ("{tmp}/page.html",),
    "survey": ("{job}", "--out", "{tmp}/t.csv", "--workers", "1"),
    "notebook": ("first-look", "--out", "{tmp}/n.ipynb"),
    "case": ("check",),
}


@pytest.mark.parametrize("command", COMMANDS)
def test_a_wrong_line_is_one_sentence_for_every_command(job, capsys, tmp_path, command):
    path = job / f"wrong_{command}.toml"
    path.write_text(CASE.replace("factor = 10.0", 'factor = "ten"'))
    extra = [word.format(job=job, tmp=tmp_path) for word in COMMANDS[command]]
    asked = [command, *extra, str(path)] if command == "case" else [command, *extra, "--case", str(path)]
    code, out, err = run(capsys, *asked)
    assert code == 2 and out == "" and err.count("\n") == 1, err
    assert re.search(rf"wrong_{command}.toml, line 8: factor must be a number, got 'ten'\.", err), err
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("command", ["assess", "compare", "visits", "watch", "mark", "report"])
def test_a_column_that_a_log_lacks_is_told_with_its_line(job, capsys, tmp_path, command):
    path = job / f"column_{command}.toml"
    path.write_text(CASE.replace('column = "p"', 'column = "pp"'))
    extra = [word.format(job=job, tmp=tmp_path) for word in COMMANDS[command]]
    code, _, err = run(capsys, command, *extra, "--case", path)
    assert code == 2 and err.count("\n") == 1
    assert f"column_{command}.toml, line 7: the log one.csv has no column 'pp' for the channel 'left'" in err


ANSWERS = {
    "Unit": "Invented 12",
    "Complaint": 'says "pop"',
    "How often": "3",
    "Meter's accuracy in volts": "0.0005",
    "Channel": ["left", ""],
    "  Its column": "p",
    "  Factor": "10",
    "  Polarity": "-1",
    "Log file": ["one.csv", "two.csv", ""],
    "  Date and time": "2031-03-01T18:00",
    "  Stage (": ["as received", "part replaced"],
    "  Load": "none",
    "Work done": ["relay replaced", ""],
    "  Stage that": "part replaced",
}


def typed(questions, answers):
    """What a hand types: an answer for each question asked, in order."""
    left = {key: list(value) if isinstance(value, list) else value for key, value in answers.items()}

    def ask(question):
        questions.append(question)
        for key, value in left.items():
            if question.startswith(key):
                return value.pop(0) if isinstance(value, list) else value
        return ""

    return ask


def test_case_new_asks_line_by_line_and_writes_all_or_nothing(job, capsys, monkeypatch):
    from flicker import read_case
    from flicker.commands import case as command

    path = job / "new.toml"
    monkeypatch.setattr(command, "ask", typed([], ANSWERS))
    code, _, err = run(capsys, "case", "new", path)
    assert code == 0, err
    made = read_case(path)
    (left,) = made.channels
    assert (left.column, left.factor, left.polarity) == ("p", 10.0, -1) and made.complaint.text == 'says "pop"'
    assert made.stages == ("as received", "part replaced") and made.parts[0].stage == "part replaced"
    assert all(log.conditions == (("load", "none"),) for log in made.logs)
    other = job / "wrong.toml"
    asked: list[str] = []
    monkeypatch.setattr(command, "ask", typed(asked, {**ANSWERS, "  Polarity": ["left", "-1"], "Kind of output": ["loud", "direct"]}))
    code, out, err = run(capsys, "case", "new", other)
    # a wrong answer is told when it is given and asked for again; the answers before it stay
    assert code == 0 and not err and sum(question.startswith("  Polarity") for question in asked) == 2
    assert "polarity must be 1 or -1, got 'left'." in out and "output must be one of" in out and "wrong.toml" in out
    made = read_case(other)
    assert made.channels[0].polarity == -1 and made.output == "direct" and made.unit == "Invented 12"
    assert sorted(path.name for path in job.glob("tmp*")) == []


def test_breaking_off_keeps_what_was_answered(job, capsys, monkeypatch):
    from flicker import read_case
    from flicker.commands import case as command

    answer = typed([], ANSWERS)

    def ask(question):
        if question.startswith("Log file"):
            raise KeyboardInterrupt
        return answer(question)

    monkeypatch.setattr(command, "ask", ask)
    with contextlib.suppress(KeyboardInterrupt):
        run(capsys, "case", "new", job / "broken_off.toml")
    made = read_case(job / "broken_off.toml")
    assert made.unit == "Invented 12" and made.channels[0].factor == 10.0 and not made.logs


def test_a_part_may_be_noted_before_the_log_of_its_stage_is_added(job, capsys):
    path = job / "in_order.toml"
    path.write_text('[[parts]]\nwhat = "relay"\nstage = "relay replaced"\n')
    code, _, err = run(capsys, "case", "add", path, job / "one.csv", "--unit", "V", "--stage", "as received")
    assert code == 0, err
    # until then all else says how to add it, for a stage that no log has may also be misspelt
    code, _, err = run(capsys, "case", "check", path)
    assert (
        code == 2
        and "no log belongs to the stage 'relay replaced' yet; stages are 'as received'" in err
        and "case add" in err
    )
    code, _, err = run(capsys, "case", "add", path, job / "two.csv", "--unit", "V", "--stage", "relay replaced")
    assert code == 0, err
    code, out, err = run(capsys, "case", "check", path)
    assert code == 0 and "relay replaced: two.csv" in out, err
