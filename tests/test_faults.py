"""Killed at any moment, the old file is whole; a full disk or a folder that cannot be written give one sentence."""

from __future__ import annotations

import contextlib
import hashlib
import os
import random
import resource
import signal
import subprocess
import sys
import time
from pathlib import Path

import pandas as pd
import pytest
from command import flicker

from flicker import assess, simulate_log
from flicker.commands.survey import write_table
from flicker.logs.writing import write_together, write_whole
from flicker.signals.cache import BlockCache

KILLS = 10  # in every run; the study does more


def digest(path):
    return hashlib.sha256(Path(path).read_bytes()).hexdigest()


def visible(folder):
    return sorted(name for name in os.listdir(folder) if not name.startswith("."))


def killed_while(work, rng):
    """Do some work over and over in a process of its own and kill it after a random time; tell how often it was done."""
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            while True:
                work()
                os.write(write, b".")
        finally:
            os._exit(1)
    os.close(write)
    os.read(read, 1)  # it has begun: one turn is done
    time.sleep(rng.uniform(0.0, 0.08))
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    os.close(read)
    assert os.WIFSIGNALED(status), "the work itself failed"


def report_in_turn(folder):
    pages = ["<p>page</p>" * 130_000, "old"]  # as heavy as the heaviest of two channels
    return folder / "page.html", pages, lambda path, page: write_whole(path, page, what="report", known=True)


def table_in_turn(folder):
    tables = [pd.DataFrame({"key": ["k"] * n, "value": range(n)}) for n in (200_000, 10)]
    return folder / "table.parquet", tables, lambda path, table: write_table(table, path)


def marks_in_turn(folder):
    texts = ["time,kind,channel,until,text\n" + "0.0,note,,,x\n" * n for n in (100_000, 1)]
    return folder / "log.marks.csv", texts, lambda path, text: write_together({path: text})


@pytest.mark.parametrize("kind", [report_in_turn, table_in_turn, marks_in_turn])
@pytest.mark.parametrize("kills", [KILLS, pytest.param(100, marks=pytest.mark.study)])
def test_killed_at_any_moment_the_file_is_whole(tmp_path, kind, kills):
    path, contents, write = kind(tmp_path)
    whole = set()
    for content in contents:
        write(path, content)
        whole.add(digest(path))
    assert len(whole) == 2
    rng = random.Random(8)

    def both():
        for content in contents:
            write(path, content)

    for _ in range(kills):
        killed_while(both, rng)
        assert digest(path) in whole and visible(tmp_path) == [path.name]


@pytest.mark.parametrize("kills", [KILLS, pytest.param(100, marks=pytest.mark.study)])
def test_killed_at_any_moment_a_cache_is_whole_or_absent(tmp_path, kills):
    log = tmp_path / "log.csv"
    simulate_log("noisy", seed=2, hours=0.5).write(log)
    place = tmp_path / "cache"
    place.mkdir()
    rng = random.Random(9)
    expected = assess(log).to_json()

    def judge_anew():
        for name in os.listdir(place):
            (place / name).unlink()
        assess(log, cache=BlockCache(place))

    for _ in range(kills):
        killed_while(judge_anew, rng)
        assert len(visible(place)) <= 1
        assert assess(log, cache=BlockCache(place)).to_json() == expected


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("faults")
    simulate_log("noisy", seed=2, hours=0.2).write(folder / "log.csv")
    return folder


@pytest.fixture
def small_disk(monkeypatch):
    """A limit on the size of a file stands in for the full disk: the write fails in the middle, as it does there."""
    monkeypatch.setattr(sys, "dont_write_bytecode", True)  # nor may compiled modules be cut off
    before = resource.getrlimit(resource.RLIMIT_FSIZE)

    @contextlib.contextmanager
    def limited():
        resource.setrlimit(resource.RLIMIT_FSIZE, (1024, before[1]))
        try:
            yield
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)

    return limited


WRITERS = {
    "report": ("assess", "{log}", "--report", "{out}/page.html"),
    "excursions": ("assess", "{log}", "--excursions", "{out}/all.parquet"),
    "simulated log": ("simulate", "noisy", "{out}/made.csv", "--hours", "1"),
    "notebook": ("notebook", "assess", "{log}", "--out", "{out}/book.ipynb"),
    "survey": ("survey", "{folder}", "--out", "{out}/table.parquet", "--workers", "1"),
}


def arguments_of(what, bench, out):
    return [word.format(log=bench / "log.csv", folder=bench, out=out) for word in WRITERS[what]]


@pytest.mark.usefixtures("judged_here")
@pytest.mark.parametrize("what", ["report", "excursions", "simulated log", "survey"])
def test_a_full_disk_is_one_sentence_and_nothing_is_left(bench, tmp_path, small_disk, what):
    with small_disk():
        done = flicker(*arguments_of(what, bench, tmp_path))
    assert done.returncode == 2, done.stdout + done.stderr
    assert done.stderr.count("\n") == 1 and "cannot be written" in done.stderr and "Traceback" not in done.stderr
    assert visible(tmp_path) == []


@pytest.mark.parametrize("what", ["excursions", "simulated log", "notebook", "survey"])
def test_a_missing_folder_is_one_sentence(bench, tmp_path, what):
    done = flicker(*arguments_of(what, bench, tmp_path / "nowhere"))
    assert done.returncode == 2 and done.stderr.count("\n") == 1 and "Traceback" not in done.stderr
    assert visible(tmp_path) == []


@pytest.mark.parametrize("what", ["excursions", "simulated log", "survey"])
def test_a_folder_that_cannot_be_written_is_one_sentence(bench, what):
    place = Path("/proc/self") if os.geteuid() == 0 else None  # the superuser may write anywhere else
    folder = place or bench / "closed"
    if place is None:
        folder.mkdir(exist_ok=True)
        folder.chmod(0o555)
    done = flicker(*arguments_of(what, bench, folder))
    assert done.returncode == 2 and done.stderr.count("\n") == 1 and "Traceback" not in done.stderr


@pytest.mark.study
def test_the_command_killed_at_a_hundred_moments(bench, tmp_path):
    page, blocks = tmp_path / "page.html", tmp_path / "cache"
    words = ["assess", bench / "log.csv", "--report", page, "--cache", blocks]
    began = time.monotonic()
    assert subprocess.run([sys.executable, "-m", "flicker", *map(str, words)], stdout=subprocess.DEVNULL).returncode == 0
    length = time.monotonic() - began
    whole = digest(page)
    rng = random.Random(10)
    for _ in range(100):
        process = subprocess.Popen(
            [sys.executable, "-m", "flicker", *map(str, words)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        time.sleep(rng.uniform(0.5, 1.1) * length)
        process.kill()
        process.wait()
        assert digest(page) == whole and visible(tmp_path) == ["cache", "page.html"]


@pytest.mark.study
def test_a_survey_killed_again_and_again_ends_in_the_same_table(tmp_path):
    shelf = tmp_path / "shelf"
    shelf.mkdir()
    for seed in range(12):
        simulate_log("noisy", seed=seed, hours=0.5).write(shelf / f"unit_{seed:02d}.csv")
    words = [sys.executable, "-m", "flicker", "survey", str(shelf), "--workers", "1", "--out"]
    assert subprocess.run([*words, str(tmp_path / "whole.parquet")], stdout=subprocess.DEVNULL).returncode == 0
    rng = random.Random(11)
    for turn in range(20):
        out = tmp_path / f"table_{turn}.parquet"
        for _ in range(5):
            process = subprocess.Popen([*words, str(out)], stdout=subprocess.DEVNULL, start_new_session=True)
            time.sleep(rng.uniform(0.3, 4.0))
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
            assert not out.exists() or len(pd.read_parquet(out)) == 24
        assert subprocess.run([*words, str(out)], stdout=subprocess.DEVNULL).returncode == 0
        pd.testing.assert_frame_equal(pd.read_parquet(out), pd.read_parquet(tmp_path / "whole.parquet"))
