"""The shop's ledger: rows of judged cases, counts among like units by hand, and the demo's invented forty jobs."""

from __future__ import annotations

import json
import shutil
import sys
from pathlib import Path

import pandas as pd
import pytest

import flicker
from flicker.cli import main
from flicker.evidence.among_like import COLUMNS
from flicker.ledger import read_ledger

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "demo_data"
sys.path.insert(0, str(ROOT / "tests" / "studies"))
import make_demo_ledger  # noqa: E402


@pytest.fixture(scope="module")
def received():
    """The demo unit as it came in: left noisy, resting 6 mV from zero; right steady."""
    case = flicker.read_case(DEMO / "a45_case.toml")
    return flicker.assess(list(case.read_logs("as received")), case=case)


def row(job, verdict="steady", *, level=0.005, before=None, done=None, cured=None, outcome=None, model="Quillmoor A-45"):
    """A row of a hand-made ledger."""
    fitness = "within limits for the time observed" if verdict == "steady" else "not yet shown"
    return {**dict.fromkeys(COLUMNS), "job": job, "model": model, "verdict": verdict, "fitness": fitness, "level_V": level,
            "verdict_before": before, "done": done, "cured": cured, "outcome": outcome}  # fmt: skip


def test_the_demo_ledger_is_the_scripts(tmp_path):
    made = tmp_path / "ledger.csv"
    make_demo_ledger.table().to_csv(made, index=False)
    assert made.read_bytes() == (DEMO / "ledger.csv").read_bytes()
    assert len({told["job"] for told in read_ledger(DEMO / "ledger.csv")}) == 40


def test_counts_are_those_of_the_rows(received):
    rows = [
        row("a", level=0.004), row("b", level=-0.012), row("c", level=0.009), row("c", level=0.008),
        row("own", level=0.9), row("d", level=0.5, model="another"), row("e", "drifting", level=0.2),
        row("f", "noisy"), row("f", before="noisy", done="relay replaced", cured="shown"),
        row("g", "noisy"), row("g", "noisy", before="noisy", done="reseated", cured="no"),
        row("h", before="noisy", done="relay replaced", cured="shown"), row("i", before="noisy", outcome="improved"),
    ]  # fmt: skip
    left, right = flicker.among_like(received, pd.DataFrame(rows), " quillmoor  a-45 ", job="own")
    # sound: a, b, c, and after their repair f, h, i (5 mV)
    assert (left.sound_jobs, left.low_V, left.high_V) == (6, 0.004, 0.012)
    # noisy before work that is recorded: f, g, h; cured: f, h by the relay
    assert (left.alike_jobs, left.cured_jobs) == (3, 2)
    assert [(by.what, by.jobs) for by in left.cured_by] == [("relay replaced", 2)]
    assert "Of 3 jobs with a channel that was noisy, 2 were cured: 2 after 'relay replaced'." in left.reads
    assert "rest 4 mV to 12 mV from zero (6 jobs)" in left.reads and "among them" in left.reads
    assert right.cured_by == () and "cured" not in right.reads


def test_few_jobs_make_no_range(received):
    left, _ = flicker.among_like(received, pd.DataFrame([row("a"), row("b")]), "Quillmoor A-45")
    assert left.low_V is None and "2 jobs with a sound channel" in left.reads and "too few" in left.reads


def test_a_folder_of_cases_becomes_a_ledger_and_a_page(tmp_path, capsys):
    folder = tmp_path / "cases"
    folder.mkdir()
    for path in DEMO.glob("m22*"):
        shutil.copy(path, folder)
    (folder / "limits.toml").write_text("[limits]\ndrift_V = 0.02\n")
    (folder / "lost_case.toml").write_text('unit = "X"\n[[logs]]\nfile = "lost.csv"\nstage = "as received"\n')
    out, page = tmp_path / "ledger.csv", tmp_path / "ledger.html"
    assert main(["survey", "--cases", str(folder), "--out", str(out), "--report", str(page)]) == 0
    said = capsys.readouterr().out
    assert "1 of 2 cases judged" in said
    assert "not judged: " in said
    rows = read_ledger(out)
    good = [told for told in rows if not told["error"]]
    assert [(told["stage"], told["channel"]) for told in good[:4]] == [("spring", "left"), ("spring", "right"), ("summer", "left"), ("summer", "right")]
    assert good[2]["verdict_before"] == good[0]["verdict"] and good[2]["done"] is None  # no work is recorded
    assert good[0]["episodes"] == 3 and good[0]["low_per_hour"] < good[0]["per_hour"] < good[0]["high_per_hour"]
    text = page.read_text(encoding="utf-8")
    assert "Quillmoor M-22" in text and "lost.csv" in text


def test_assess_says_how_the_unit_lies_among_its_like(capsys):
    given = ["assess", "--case", str(DEMO / "a45_case.toml"), "--stage", "as received", "--ledger", str(DEMO / "ledger.csv")]
    assert main([*given, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["ledger"]
    assert [item["channel"] for item in told] == ["left", "right"] and told[0]["cured_jobs"] <= told[0]["alike_jobs"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["assess", "demo_data/relay.csv", "--ledger", "demo_data/ledger.csv"], "--ledger needs the model"),
        (["assess", "demo_data/relay.csv", "--ledger", "demo_data/relay.csv", "--model", "X"], "not a ledger"),
        (["survey", "--cases", "demo_data", "--out", "x.csv", "--workers", "2"], "--workers does not go with --cases"),
        (["survey", "demo_data", "--out", "x.csv", "--report", "x.html"], "give --cases with it"),
    ],
)
def test_wrong_use_is_one_sentence(arguments, words, capsys, monkeypatch):
    monkeypatch.chdir(ROOT)
    assert main(arguments) == 2
    assert words in capsys.readouterr().err
