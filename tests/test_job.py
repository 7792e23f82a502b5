"""A whole case from one command: stages, cure, what may not be compared, fingerprints. All data invented."""

import hashlib
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import altair
import jsonschema
import pytest
from command import flicker

from flicker import judge_case, read_case
from flicker.evidence.job import not_tested
from flicker.present.schema import schema

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "demo_data"


@pytest.fixture(scope="module")
def demo():
    return judge_case(read_case(DEMO / "r60_case.toml"))


def test_the_demo_case_is_cured_on_the_left_and_glitches_cold_on_the_right(demo):
    assert demo.stages == ("as received", "reseated only", "part replaced", "soak")
    left, right = demo.last.channel("left"), demo.last.channel("right")
    assert left.verdict == "steady" and left.fitness == "within limits for the time observed"
    assert right.verdict == "noisy" and "mostly early in what was logged" in right.tail and "after switching on" in right.reads
    assert demo.outcome("left")["outcome"] == "improved" and demo.outcome("left")["cured"] == "shown"
    assert demo.outcome("right")["outcome"] == "no change shown" and demo.outcome("right")["cured"] == "no"


def test_reseating_that_did_nothing_is_not_credited(demo):
    first = next(item for item in demo.comparison.steps[0].channels if item.channel == "left")
    assert first.outcome == "no change shown"


def test_the_document_is_plain_json_without_a_path(demo):
    text = json.dumps(demo.to_dict(), allow_nan=False)
    assert str(DEMO) not in text
    jsonschema.Draft202012Validator(schema("flicker/job/1")).validate(json.loads(text))
    digest = hashlib.sha256((DEMO / "r60_01_as_received.csv.gz").read_bytes()).hexdigest()
    assert demo.to_dict()["fingerprints"][0] == {"file": "r60_01_as_received.csv.gz", "sha256": digest}
    assert any("load" in line or "music" in line for line in not_tested(demo))


def small_case(folder, *, load=("none", "none"), sha=""):
    for name in ("two_minutes.csv", "relay.csv"):
        shutil.copy(DEMO / name, folder / name)
    text = ""
    for file, stage, value in zip(
        ("two_minutes.csv", "relay.csv"), ("as received", "part replaced"), load, strict=True
    ):
        text += f'[[logs]]\nfile = "{file}"\nstage = "{stage}"\nconditions = {{ load = "{value}" }}\n'
        text += f'sha256 = "{sha}"\n' if sha and file == "two_minutes.csv" else ""
    path = folder / "case.toml"
    path.write_text(text)
    return path


def test_stages_under_different_load_are_not_compared(tmp_path):
    path = small_case(tmp_path, load=("none", "8 ohm dummy"))
    result = judge_case(read_case(path))
    assert result.comparison is None
    assert result.not_comparable and result.not_comparable[0].startswith("not comparable: ")
    done = flicker("compare", "--case", path)
    assert done.returncode == 2 and "not comparable" in done.stderr and done.stderr.count("\n") == 1


def test_a_changed_log_is_told_by_its_fingerprint(tmp_path):
    right = hashlib.sha256((DEMO / "two_minutes.csv").read_bytes()).hexdigest()
    assert judge_case(read_case(small_case(tmp_path, sha=right))).changed == ()
    changed = judge_case(read_case(small_case(tmp_path, sha="0" * 64))).changed
    assert len(changed) == 1 and "two_minutes.csv" in changed[0]


def test_soak_takes_the_rate_of_the_complaint():
    done = flicker("soak", "--case", DEMO / "r60_case.toml", "--json")
    plan = json.loads(done.stdout)
    # twice per evening of 3 hours: 2/3 per hour; -ln(0.05) / rate clean hours (NIST/SEMATECH e-Handbook 8.3.1.2, from memory)
    assert plan["hours"] == pytest.approx(2.995732 / (2 / 3), rel=1e-5)


def test_the_page_is_the_same_from_the_same_files_wherever_and_whenever(tmp_path):
    # Another folder, working directory, date of the files, time zone, language, hash seed and theme: the same bytes.
    # One page is made in a process of its own, the other in that of the tests, whose hash seed is another.
    here, there = tmp_path / "here", tmp_path / "over" / "there"
    for folder, days in ((here, 3), (there, 16)):
        folder.mkdir(parents=True)
        small_case(folder)
        for log in folder.glob("*.csv"):
            os.utime(log, (86400.0 * days, 86400.0 * days))
    at = {**os.environ, "TZ": "Pacific/Auckland", "LANG": "C", "PYTHONHASHSEED": "77", "PYTHONPATH": str(ROOT)}
    words = [sys.executable, "-m", "flicker", "report", "--case", "case.toml", "page.html"]
    done = subprocess.run(words, capture_output=True, text=True, cwd=there, env=at)
    assert done.returncode == 0, done.stderr
    with altair.theme.enable("dark"):
        assert flicker("report", "--case", here / "case.toml", here / "page.html").returncode == 0
    pages = [(folder / "page.html").read_bytes() for folder in (here, there)]
    assert pages[0] == pages[1] and b"part replaced" in pages[0]
    assert str(tmp_path).encode() not in pages[0]


def test_fingerprints_are_recorded_and_a_changed_log_is_told(tmp_path, undrawn):
    path = small_case(tmp_path)
    before = path.read_text()
    done = flicker("case", "seal", path)
    assert done.returncode == 0 and "2 fingerprints" in done.stdout, done.stderr
    text = path.read_text()
    digest = hashlib.sha256((DEMO / "relay.csv").read_bytes()).hexdigest()
    assert (
        f'sha256 = "{digest}"' in text
        and [line for line in text.splitlines() if "sha256" not in line] == before.splitlines()
    )
    assert "nothing to add" in flicker("case", "seal", path).stdout and path.read_text() == text
    with open(tmp_path / "relay.csv", "a") as log:
        log.write(log_line(DEMO / "relay.csv"))
    done = flicker("report", "--case", path, tmp_path / "page.html")
    said = "relay.csv is not the file that was recorded: its fingerprint has changed."
    assert said in done.stdout and (tmp_path / "page.html").read_text(encoding="utf-8").count(said) >= 1
    owner = (tmp_path / "page.html").read_text(encoding="utf-8").split("Signature")[0]
    assert said in owner
    done = flicker("case", "seal", path)
    assert (
        done.returncode == 2 and "relay.csv" in done.stderr and path.read_text() == text
    )  # a seal is not broken in silence


def log_line(path):
    """One more line: the last once more."""
    return path.read_text().splitlines()[-1] + "\n"
