"""A shelf of logs: one row per channel or per error, any executor, resumes, outlives a dead worker. All data invented."""

import json
import os
import signal
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import pandas as pd
import pytest
from command import flicker

import flicker.survey_table as survey_module
from flicker import simulate_log
from flicker.survey_table import COLUMNS, disarmed, find_logs, journal_rows, survey


@pytest.fixture(scope="module")
def shelf(tmp_path_factory):
    folder = tmp_path_factory.mktemp("shelf")
    for seed, kind in enumerate(["steady", "noisy", "settled-offset", "one-off"]):
        simulate_log(kind, seed=seed, hours=0.5).write(folder / f"unit_{seed}.csv")
    (folder / "broken.csv").write_text(
        "time_s,left_mV\n" + "".join(f"{k},{k % 3}.5\n" for k in range(20)) + "20,banana\n21,1.5\n"
    )
    (folder / "notes.md").write_text("no log")
    return folder


def test_one_bad_file_is_one_row_and_the_order_is_that_of_the_paths(shelf):
    paths = find_logs(shelf)
    assert [os.path.basename(p) for p in paths] == ["broken.csv", *(f"unit_{k}.csv" for k in range(4))]
    with ThreadPoolExecutor(2) as executor:
        table = survey(paths, executor)
    assert list(table.columns) == list(COLUMNS)
    assert list(table["source"]) == [paths[0], *[p for p in paths[1:] for _ in range(2)]]
    bad = table[table["error"].notna()]
    assert len(bad) == 1 and "banana" in bad["error"].iloc[0] and "line 22" in bad["error"].iloc[0]
    assert {str(table[name].dtype) for name in COLUMNS} == set(COLUMNS.values())


def test_finished_files_are_not_judged_again(shelf, monkeypatch):
    paths = find_logs(shelf)
    rows = []
    with ThreadPoolExecutor(2) as executor:
        first = survey(paths, executor, on_rows=rows.extend)
        monkeypatch.setattr(survey_module, "judge_file", lambda *a: pytest.fail("judged again"))
        again = survey(paths, executor, done=rows)
    pd.testing.assert_frame_equal(first, again)


def test_own_pool_and_another_order_give_the_same_rows_as_threads(shelf):
    paths = find_logs(shelf)[:3]
    with ThreadPoolExecutor(1) as executor:
        threads = survey(paths, executor)
    turned = survey(paths[::-1], workers=2)
    assert list(turned["source"].unique()) == paths[::-1]
    turned = turned.sort_values(["source", "channel"], ignore_index=True)
    pd.testing.assert_frame_equal(threads, turned, check_exact=True)


def test_a_dead_worker_costs_one_row(shelf, tmp_path):
    script = tmp_path / "killer.py"
    script.write_text(
        "import os, signal, sys\n"
        "import flicker.survey_table as s\n"
        "real = s.judge_file\n"
        "def judge_file(path, *rest):\n"
        "    if path.endswith('unit_1.csv'):\n"
        "        os.kill(os.getpid(), signal.SIGKILL)\n"
        "    return real(path, *rest)\n"
        "s.judge_file = judge_file\n"
        "if __name__ == '__main__':\n"
        "    s.judge_file.__module__ = '__main__'\n"
        "    t = s.survey(s.find_logs(sys.argv[1]), workers=2)\n"
        "    print(t[['source', 'error', 'verdict']].to_json(orient='records'))\n"
    )
    done = subprocess.run([sys.executable, script, shelf], capture_output=True, text=True, timeout=120, check=True)
    rows = json.loads(done.stdout)
    dead = [row for row in rows if row["error"] and "worker died" in row["error"]]
    assert len(dead) == 1 and dead[0]["source"].endswith("unit_1.csv")
    assert sum(row["verdict"] is not None for row in rows) == 6


def test_a_killed_survey_resumes_to_the_same_table(shelf, tmp_path, judged_here):
    out = tmp_path / "table.parquet"
    journal = tmp_path / ".table.parquet.journal"
    # The command, killed with its worker once the second file's rows are on the disk: by a clock it might be done before.
    script = tmp_path / "killed.py"
    script.write_text(
        "import os, signal, sys\n"
        "from flicker.cli import main\n"
        "to_disk, times = os.fsync, []\n"
        "def fsync(file):\n"
        "    to_disk(file)\n"
        "    times.append(file)\n"
        "    if len(times) == 2:\n"
        "        os.killpg(0, signal.SIGKILL)\n"
        "if __name__ == '__main__':\n"
        "    os.fsync = fsync\n"
        "    sys.exit(main(sys.argv[1:]))\n"
    )
    command = [sys.executable, str(script), "survey", str(shelf), "--out", str(out), "--workers", "1"]
    done = subprocess.run(command, start_new_session=True, stdout=subprocess.DEVNULL, timeout=120)
    assert done.returncode == -signal.SIGKILL
    assert not out.exists() and len(journal_rows(journal)) >= 2
    whole = tmp_path / "whole.parquet"
    for table in (out, whole):
        assert flicker("survey", shelf, "--out", table, "--workers", "1").returncode == 0
    pd.testing.assert_frame_equal(pd.read_parquet(out), pd.read_parquet(whole))
    assert not journal.exists()


@pytest.mark.usefixtures("judged_here")
def test_a_disk_that_fills_up_costs_one_row_and_never_the_table(shelf, tmp_path, monkeypatch):
    out, files, to_disk, judge = tmp_path / "table.csv", len(find_logs(shelf)), os.fsync, survey_module.judge_file
    written, judged = [], []

    def full(file):
        written.append(file)
        if len(written) == 3:
            raise OSError(28, "No space left on device")
        to_disk(file)

    monkeypatch.setattr(os, "fsync", full)
    stopped = flicker("survey", shelf, "--out", out)
    assert stopped.returncode == 2 and "No space left on device" in stopped.stderr and not out.exists()
    monkeypatch.setattr(os, "fsync", to_disk)
    monkeypatch.setattr(survey_module, "judge_file", lambda path, *rest: judged.append(path) or judge(path, *rest))
    assert flicker("survey", shelf, "--out", out).returncode == 0
    assert files - 3 <= len(judged) <= files - 2
    table = pd.read_csv(out)
    assert table["source"].nunique() == files and table["error"].notna().sum() == 1  # the broken file alone


def test_text_that_looks_like_a_formula_is_disarmed():
    assert (
        disarmed("=1+1") == "'=1+1"
        and disarmed("@x") == "'@x"
        and disarmed("left") == "left"
        and disarmed(None) is None
    )
