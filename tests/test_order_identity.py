"""Copies count once, reversed dates are told, altered logs are told wherever a case is used. All data invented."""

from __future__ import annotations

import datetime as dt
import json
import shutil

import numpy as np
import pandas as pd
import pytest
from command import flicker as command

import flicker
from flicker.case.identity import out_of_order


def write_log(path, start, hours=2.0, seed=1):
    """A sound channel at a reading every 5 s: 6 mV and white noise of 0.4 mV."""
    rng = np.random.default_rng(seed)
    count = int(hours * 720)
    clock = [start + dt.timedelta(seconds=5.0 * k) for k in range(count)]
    level = 0.006 + 0.0004 * rng.standard_normal(count)
    pd.DataFrame({"time": clock, "left (V)": np.round(level, 5)}).to_csv(path, index=False)
    return path


MARCH = dt.datetime(2031, 3, 3, 18, 30)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    out = tmp_path_factory.mktemp("logs")
    write_log(out / "one.csv", MARCH)
    shutil.copy(out / "one.csv", out / "copy.csv")
    write_log(out / "two.csv", MARCH + dt.timedelta(days=1), seed=2)
    return out


def test_an_exact_copy_adds_no_hours_and_clears_nothing(folder):
    once = flicker.assess(folder / "one.csv").channels[0]
    result = flicker.assess([folder / "one.csv", folder / "copy.csv"])
    twice = result.channels[0]
    assert twice.observed_s == once.observed_s
    assert (twice.verdict, twice.fitness, twice.guard.reasons) == (once.verdict, once.fitness, once.guard.reasons)
    assert twice.guard.figures.judged_h == once.guard.figures.judged_h
    assert any("It is counted once" in text for text in result.cautions) and len(result.runs) == 1
    # two different logs of the same hours do add up: the rule takes copies only
    both = flicker.assess([folder / "one.csv", folder / "two.csv"])
    assert both.channels[0].observed_s == pytest.approx(2 * once.observed_s, rel=0.01)


def test_a_page_of_a_log_and_its_copy_is_written(folder, tmp_path, undrawn):
    done = command("assess", folder / "one.csv", folder / "copy.csv", "--report", tmp_path / "page.html")
    assert done.returncode == 0, done.stderr
    assert "counted once" in (tmp_path / "page.html").read_text()


def test_one_file_on_both_sides_and_reversed_dates_are_refused(folder):
    done = command("compare", "--before", folder / "one.csv", "--after", folder / "copy.csv", "--json")
    assert done.returncode == 2 and "byte for byte" in done.stderr and done.stdout == ""
    done = command("compare", "--before", folder / "two.csv", "--after", folder / "one.csv", "--json")
    assert done.returncode == 2 and "contradict the order" in done.stderr and done.stderr.count("\n") == 1
    assert command("compare", "--before", folder / "one.csv", "--after", folder / "two.csv", "--json").returncode == 0


def case_of(folder, rows):
    text = ""
    for file, stage, more in rows:
        text += f'[[logs]]\nfile = "{file}"\nstage = "{stage}"\n{more}'
    path = folder / "case.toml"
    path.write_text(text)
    return path


def test_dates_of_a_case_that_contradict_the_stages_are_told(folder, tmp_path):
    shutil.copytree(folder, tmp_path, dirs_exist_ok=True)
    rows = [("one.csv", "as received", "date = 2031-03-09\n"), ("two.csv", "part replaced", "date = 2031-03-08\n")]
    path = case_of(tmp_path, rows)
    assert "contradict the order" in command("case", "check", path).stdout
    assert any("contradict the order" in text for text in flicker.judge_case(flicker.read_case(path)).cautions)
    rows[1] = ("two.csv", "part replaced", "date = 2031-03-09\n")  # the same day contradicts nothing
    assert out_of_order(flicker.read_case(case_of(tmp_path, rows))) == ()


def test_a_log_under_two_stages_is_refused(folder, tmp_path):
    shutil.copytree(folder, tmp_path, dirs_exist_ok=True)
    path = case_of(tmp_path, [("one.csv", "as received", ""), ("copy.csv", "reseated only", "")])
    assert "byte for byte" in command("case", "check", path).stdout
    done = command("report", "--case", path, tmp_path / "page.html")
    assert done.returncode == 2 and "byte for byte" in done.stderr and not (tmp_path / "page.html").exists()


def test_an_altered_sealed_log_is_told_by_check_assess_and_report(folder, tmp_path, undrawn):
    shutil.copytree(folder, tmp_path, dirs_exist_ok=True)
    path = case_of(tmp_path, [("one.csv", "as received", "")])
    assert command("case", "seal", path).returncode == 0
    assert "fingerprint has changed" not in command("case", "check", path).stdout
    write_log(tmp_path / "one.csv", MARCH, seed=9)
    assert "fingerprint has changed" in command("case", "check", path).stdout
    told = json.loads(command("assess", "--case", path, "--json").stdout)["cautions"]
    assert any("fingerprint has changed" in text for text in told)
    assert "fingerprint has changed" in command("report", "--case", path, tmp_path / "page.html").stdout


def test_a_copy_at_a_later_visit_is_counted_once():
    import datetime as dt

    days = [dt.date(2031, month, 1) for month in (1, 3, 5)]
    logs = list(flicker.simulate_log("noisy", seed=5).logs)
    second = list(flicker.simulate_log("noisy", seed=6).logs)
    found = flicker.over_visits([(days[0], logs[:1]), (days[1], [logs[0], second[0]]), (days[2], logs[:1])])
    # the second visit keeps its own log alone, the third held nothing else and is none
    assert [visit.runs for visit in found.visits] == [1, 1]
    own = flicker.assess(second[:1]).channels[0].rate.episodes
    assert found.channels[0].visits[1].episodes == own
    assert sum("was one log given twice? It is counted once." in line for line in found.cautions) == 2
