"""A sound log and the same with a danger in it through every command: one rule, so one fitness. All logs are invented."""

from __future__ import annotations

import json
import shutil
import sys
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent / "studies"))
import fresh_dangers
import study_danger

from flicker import assess, read_log
from flicker.cli import main

CLEARED = "within limits for the time observed"


T = np.arange(0.0, 4 * 3600.0, 5.0)
SOUND = 0.006 + 0.06 * np.exp(-T / 6.0) + np.random.default_rng(3).normal(0, 4e-4, T.size)


def written(path: Path, t: np.ndarray, volts: np.ndarray, *, begun: datetime) -> Path:
    """One channel, dated; OL where the meter is over range."""
    path.parent.mkdir()
    cells = ["" if np.isnan(b) else "OL" if np.isinf(b) else f"{b:.5f}" for b in volts.tolist()]
    moments = [(begun + timedelta(seconds=float(a))).isoformat(sep=" ", timespec="milliseconds") for a in t]
    path.write_text("time,left_V\n" + "\n".join(map(",".join, zip(moments, cells, strict=True))) + "\n")
    return path


@pytest.mark.usefixtures("undrawn", "judged_here")
@pytest.mark.parametrize("danger", ["both move by 40 mV", "40 V for a minute, 15 s after the start"])
def test_one_fitness_everywhere(tmp_path, capsys, sound, danger):
    added = 0.04 * T / T[-1] if danger.startswith("both") else np.where((T >= 15) & (T < 75), 40.0, 0.0)
    expected = "not yet shown" if danger.startswith("both") else "do not connect"
    walked(tmp_path, capsys, sound, T, SOUND + added, expected)


@pytest.mark.usefixtures("undrawn", "judged_here")
@pytest.mark.parametrize("form, seed", [("stuck_level", 5), ("protection_cycling", 5), ("noisy_hours", 3)])
def test_dangers_of_another_hand_are_one_fitness_everywhere(tmp_path, capsys, sound, form, seed):
    """By `fresh_dangers.py`, of one volt; the channel at fault, as the only one of its log."""
    made = fresh_dangers.danger_log(form, seed, 1.0)
    assert made.truth.beyond_doubt
    name = made.truth.channels[0]
    channel = assess(read_log({"time": made.files()[0]["time"], "left_V": made.readings_V[name]})).channels[0]
    assert channel.fitness != CLEARED and channel.verdict != "steady"
    walked(tmp_path, capsys, sound, made.time_s, made.readings_V[name], str(channel.fitness))


@pytest.fixture(scope="module")
def sound(tmp_path_factory) -> Path:
    return written(tmp_path_factory.mktemp("sound") / "one" / "sound.csv", T, SOUND, begun=datetime(2026, 3, 1, 9, 0))


def run(capsys, *words: object) -> dict:
    assert main([str(word) for word in words]) == 0
    out = capsys.readouterr().out
    return json.loads(out.strip().splitlines()[-1] if words[0] == "watch" else out)


def alone(tmp_path: Path, capsys, path: Path, wanted: str) -> None:
    """One log that is to be ``wanted`` through every command that takes one."""
    channel = run(capsys, "assess", path, "--json", "--report", tmp_path / "page.html")["channels"][0]
    assert channel["fitness"] == wanted
    assert bool(channel["guard"]["reasons"]) == (wanted != CLEARED)
    summary = run(capsys, "watch", path, "--until", "stopped", "--idle", "0.1", "--json")
    assert [item["fitness"] for item in summary["offline"]] == [wanted]
    if wanted != CLEARED:
        assert summary["channels"][0]["decision"] != "clean enough" or summary["alarms"]
    assert f"Loudspeaker: {wanted}" in (tmp_path / "page.html").read_text()
    assert main(["survey", str(path.parent), "--out", str(tmp_path / "table.csv"), "--workers", "1"]) == 0
    capsys.readouterr()
    assert wanted in (tmp_path / "table.csv").read_text()
    plan = run(capsys, "soak", "--from", path, "--json")
    assert wanted != "do not connect" or any("do not connect" in text for text in plan["cautions"])


@pytest.mark.usefixtures("undrawn", "judged_here")
def test_the_sound_log_is_cleared_everywhere(tmp_path, capsys, sound):
    alone(tmp_path, capsys, sound, CLEARED)


def walked(tmp_path: Path, capsys, sound: Path, t: np.ndarray, volts: np.ndarray, expected: str) -> None:
    """A log that is to be ``expected`` through every command, alone and after the sound one."""
    bad = written(tmp_path / "two" / "bad.csv", t, volts, begun=datetime(2026, 3, 8, 9, 0))
    alone(tmp_path, capsys, bad, expected)
    compared = run(capsys, "compare", "--before", sound, "--after", bad, "--json")["channels"][0]
    assert (compared["before"]["fitness"], compared["after"]["fitness"]) == (CLEARED, expected)
    visits = run(capsys, "visits", "--visit", "2026-03-01", sound, "--visit", "2026-03-08", bad, "--json")["channels"][0]
    assert [item["fitness"] for item in visits["visits"]] == [CLEARED, expected]
    folder = tmp_path / "job"
    folder.mkdir()
    moved = {"a sound": [shutil.copy(sound, folder / "sound.csv")], "b bad": [bad.rename(folder / "bad.csv")]}
    case = study_danger.case_file(folder, {stage: [Path(path) for path in paths] for stage, paths in moved.items()}, ("left",))
    pages = run(capsys, "report", tmp_path / "case.html", "--case", case, "--json")
    stages = [stage["assessment"]["channels"][0]["fitness"] for stage in pages["stages"]]
    assert stages == [CLEARED, expected]
