"""Same input, same version: the same document to the last digit, however the processes were started. Data invented."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import numpy as np
import pytest
from command import flicker

from flicker import assess, simulate_log


@pytest.fixture(scope="module")
def shelf(tmp_path_factory):
    folder = tmp_path_factory.mktemp("reproducible")
    for kind, hours in (("warm-up", 0.5), ("noisy-bursts", 1.0), ("drifting-step", 1.0)):
        simulate_log(kind, seed=3, hours=hours).write(folder / f"{kind}.csv")
    return folder


def printed(folder, *arguments, **environment):
    command = [sys.executable, "-m", "flicker", *arguments, "--json"]
    done = subprocess.run(
        command, cwd=folder, env=os.environ | environment, capture_output=True, text=True, timeout=120, check=True
    )
    return done.stdout


@pytest.mark.parametrize(
    "arguments",
    [
        ("assess", "warm-up.csv"),  # permutations within runs, bootstrap of the tail
        ("compare", "--before", "noisy-bursts.csv", "--after", "drifting-step.csv"),
    ],
)
def test_no_process_differs_from_another(shelf, arguments, monkeypatch):
    one = printed(shelf, *arguments, PYTHONHASHSEED="2", OMP_NUM_THREADS="2", OPENBLAS_NUM_THREADS="2", TZ="Asia/Tokyo")
    monkeypatch.chdir(shelf)
    two = flicker(*arguments, "--json").stdout  # in this process: another hash seed, other threads, another clock
    assert one == two and json.loads(one)["seed"] == 0


def test_the_state_of_others_random_numbers_does_not_matter(shelf):
    np.random.seed(1)  # noqa: NPY002 - the global generator, which nothing here may use or disturb
    state = np.random.get_state()[1].copy()  # noqa: NPY002
    one = assess(shelf / "warm-up.csv").to_json()
    assert np.array_equal(state, np.random.get_state()[1])  # noqa: NPY002
    np.random.seed(2)  # noqa: NPY002
    assert assess(shelf / "warm-up.csv").to_json() == one


def test_judging_twice_in_one_process_leaves_no_trace(shelf):
    first = assess(shelf / "noisy-bursts.csv").to_json()
    assess(shelf / "warm-up.csv")
    assert assess(shelf / "noisy-bursts.csv").to_json() == first
