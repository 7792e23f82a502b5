"""How a log is read is kept in the case: by `case add`, by `case new`, for every command and in Python. All data invented."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest

from flicker import read_case
from flicker.case.case_file import CaseError
from flicker.case.reading import checked, overruled, shown
from flicker.cli import main
from flicker.commands.case import compose
from flicker.survey_table import survey

ROWS = 2000
OPTIONS = ["--sample-interval", "0.5", "--unit", "mV"]


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    """A log that tells neither unit nor time: at rest at 48.45 (mV, as the bench knows)."""
    text = "left,right\n" + "".join(f"48.{4 + 3 * k % 2},-3{3 * k % 7}.5\n" for k in range(ROWS))
    (tmp_path / "bench.csv").write_text(text, encoding="utf-8")
    return tmp_path


def said(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    code = main([str(word) for word in arguments])
    told = capsys.readouterr()
    return code, told.out, told.err


def level(document: str) -> float:
    return float(json.loads(document)["channels"][0]["baseline"]["level_V"])


def test_options_given_are_kept_shown_and_used(bench: Path, capsys: pytest.CaptureFixture[str]):
    case, log = bench / "job.toml", bench / "bench.csv"
    code, _, err = said(capsys, "case", "add", case, log)
    assert code == 2 and "All in one go: --sample-interval S --unit V|mV." in err and not case.exists()
    assert said(capsys, "case", "add", case, log, "--stage", "as received", *OPTIONS)[0] == 0
    assert 'reading = { unit = "mV", sample_interval_s = 0.5 }' in case.read_text()
    assert 'bench.csv: read with unit = "mV", sample_interval_s = 0.5' in said(capsys, "case", "check", case)[1]
    document = json.loads(said(capsys, "case", "check", case, "--json")[1])
    assert document["logs"][0]["reading"] == {"unit": "mV", "sample_interval_s": 0.5} and document["reading"] == {}
    code, out, err = said(capsys, "assess", "--case", case, "--json")
    assert code == 0, err
    assert level(out) == pytest.approx(0.0485, abs=1e-3)
    assert json.loads(out)["runs"][0]["sample_interval_s"] == 0.5
    assert level(out) == level(said(capsys, "assess", log, *OPTIONS, "--json")[1])
    assert json.loads(said(capsys, "look", log, "--case", case, "--json")[1])["rows"] == ROWS
    (read,) = read_case(case).read_logs()
    assert read.to_frame()["left"].iloc[0] == pytest.approx(0.0484)
    code, out, err = said(capsys, "watch", log, "--case", case, "--idle", "0.2", "--until", "stopped", "--json")
    assert code == 0, err


def test_options_given_overrule_those_kept(bench: Path, capsys: pytest.CaptureFixture[str]):
    case, log = bench / "job.toml", bench / "bench.csv"
    said(capsys, "case", "add", case, log, *OPTIONS)
    assert level(said(capsys, "assess", "--case", case, "--unit", "uV", "--json")[1]) == pytest.approx(48.5e-6, abs=1e-6)
    assert said(capsys, "case", "add", case, log, "--unit", "left=V", "--unit", "right=mV")[0] == 0
    assert case.read_text().count("[[logs]]") == case.read_text().count("reading") == 1
    assert level(said(capsys, "assess", "--case", case, "--json")[1]) == pytest.approx(48.5, abs=1.0)
    assert overruled({"date_order": "ymd", "unit": "V"}, {"day_first": True}) == {"unit": "V", "day_first": True}


def test_options_for_all_logs_and_those_of_one(bench: Path):
    (bench / "other.csv").write_text((bench / "bench.csv").read_text(), encoding="utf-8")
    (bench / "job.toml").write_text(
        '[reading]\nsample_interval_s = 2.0\nunit = "mV"\n[[logs]]\nfile = "bench.csv"\n'
        '[[logs]]\nfile = "other.csv"\nreading = { unit = "V" }\n',
        encoding="utf-8",
    )
    one, two = read_case(bench / "job.toml").read_logs()
    assert one.to_frame()["left"].iloc[0] == pytest.approx(0.0484) and two.to_frame()["left"].iloc[0] == pytest.approx(48.4)
    assert [log.runs[0].sample_interval_s for log in (one, two)] == [2.0, 2.0]
    assert one.reader != two.reader  # blocks kept of one reading are not used for another


def test_a_survey_judges_again_when_the_case_reads_otherwise(bench: Path, judged_here: None):
    found = []
    for unit in ("mV", "V"):
        (bench / "job.toml").write_text(f'[reading]\nsample_interval_s = 0.5\nunit = "{unit}"\n', encoding="utf-8")
        done = found[-1].to_dict("records") if found else []
        found.append(survey([bench / "bench.csv"], case=read_case(bench / "job.toml"), done=done, workers=1))
    assert isinstance(found[0], pd.DataFrame)
    assert found[1]["level_V"].iloc[0] == pytest.approx(1000 * found[0]["level_V"].iloc[0], rel=1e-6)


def test_the_cache_is_not_used_for_another_reading(bench: Path, capsys: pytest.CaptureFixture[str]):
    case, log = bench / "job.toml", bench / "bench.csv"
    for unit, volts in (("mV", 0.0485), ("V", 48.5), ("mV", 0.0485)):
        said(capsys, "case", "add", case, log, "--sample-interval", "0.5", "--unit", unit)
        out = said(capsys, "assess", "--case", case, "--cache", "--json")[1]
        assert level(out) == pytest.approx(volts, rel=0.02)


@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        ('units = "mV"', "line 2: 'units' is no option of reading; did you mean 'unit'?"),
        ('unit = "furlong"', "furlong"),
        ("unit = 3", "unit must be text in quotes, or a table"),
        ('time_unit = "fortnight"', "time_unit must be one of"),
        ('sample_interval_s = "0.5"', "sample_interval_s must be a number"),
        ("sample_interval_s = -1", "must be positive"),
        ('day_first = "yes"', "day_first must be true or false"),
        ('date_order = "ydm"', "date_order must be"),
        ('missing_words = "x"', "must be a list of words"),
    ],
)
def test_a_wrong_option_is_one_sentence_with_its_line(bench: Path, line: str, sentence: str):
    path = bench / "job.toml"
    path.write_text(f"[reading]\n{line}\n", encoding="utf-8")
    with pytest.raises(CaseError) as wrong:
        read_case(path)
    assert sentence in str(wrong.value) and "line 2" in str(wrong.value)


def test_what_is_written_is_read_back():
    options = checked({"unit": {'left "a"': "mV"}, "day_first": False, "over_words": ["OL", "\\"], "zero_count": 3})
    import tomllib

    assert checked(tomllib.loads(f"reading = {{ {shown(options)} }}")["reading"]) == options


def test_case_new_asks_for_options_where_the_log_asks():
    answers = {"Log file (empty when done)": ["bench.csv", ""], "The options that say it": ["--unit mV --sample-interval 0.5"]}

    def ask(question: str) -> str:
        kept = next((key for key in answers if question.endswith(key) or f"  {key}" in question), None)
        return answers[kept].pop(0) if kept else ""

    text = compose(ask, lambda file: "bench.csv: no column tells the time.")
    assert 'file = "bench.csv"\nreading = { unit = "mV", sample_interval_s = 0.5 }' in text
    answers = {"Log file (empty when done)": ["bench.csv", ""], "The options that say it": ["--banana", "--unit mV"]}
    told: list[str] = []
    text = compose(ask, lambda file: "bench.csv: no column tells the time.", tell=told.append)
    assert "no option of reading" in told[0] and 'reading = { unit = "mV" }' in text


def test_add_says_what_is_wrong(bench: Path, capsys: pytest.CaptureFixture[str]):
    case, log = bench / "job.toml", bench / "bench.csv"
    assert "takes a log" in said(capsys, "case", "add", case)[2]
    assert "no such file" in said(capsys, "case", "add", case, bench / "no.csv")[2]
    assert "takes no log" in said(capsys, "case", "check", case, log)[2]
    case.write_text('logs = [{ file = "bench.csv" }]\n', encoding="utf-8")
    before = case.read_text()
    code, _, err = said(capsys, "case", "add", case, log, *OPTIONS)
    assert code == 2 and "edit its lines" in err and case.read_text() == before
    (bench / "sub").mkdir()
    code, _, err = said(capsys, "case", "add", bench / "sub" / "job.toml", log, *OPTIONS)
    assert code == 2 and "--anywhere" in err and not (bench / "sub" / "job.toml").exists()
    assert said(capsys, "case", "add", bench / "sub" / "job.toml", log, "--anywhere", *OPTIONS)[0] == 0
