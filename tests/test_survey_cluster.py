"""A survey on a local cluster of worker processes: one is killed while it works, and one file kills all that judge it.

All data invented.
"""

import os
import signal
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pandas as pd
import pytest

from flicker import simulate_log
from flicker.survey_table import find_logs, judge_file, survey


@pytest.fixture(scope="module")
def shelf(tmp_path_factory):
    folder = tmp_path_factory.mktemp("shelf")
    for seed in range(8):
        simulate_log(("steady", "noisy")[seed % 2], seed=seed, hours=0.3).write(folder / f"unit_{seed}.csv")
    (folder / "broken.csv").write_text("time_s,left_mV\n" + "".join(f"{k},x{k}y\n" for k in range(20)))
    return folder


@pytest.fixture(scope="module")
def alone(shelf):
    return survey(find_logs(shelf), ThreadPoolExecutor(1))


@pytest.fixture(scope="module")
def client():
    distributed = pytest.importorskip("distributed", reason="the extra [cluster] (distributed) is not installed")
    import dask

    # The scheduler gives a job up at the second worker that dies: by itself at the fourth, and each takes seconds to begin.
    with (
        dask.config.set({"distributed.scheduler.allowed-failures": 1}),
        distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, silence_logs=50) as cluster,
        distributed.Client(cluster) as client,
    ):
        client.wait_for_workers(2, timeout=60)
        yield client


def test_a_killed_worker_changes_nothing(shelf, alone, client):
    pids = client.run(os.getpid)
    killed = []

    def kill():
        """Kill the first worker seen at work."""
        until = time.monotonic() + 60
        while not killed and time.monotonic() < until:
            for worker, tasks in client.processing().items():
                if tasks:
                    killed.append(pids[worker])
                    os.kill(pids[worker], signal.SIGKILL)
                    return
            time.sleep(0.01)

    killer = threading.Thread(target=kill)
    killer.start()
    table = survey(find_logs(shelf), client.get_executor())
    killer.join()
    assert killed and killed[0] in pids.values()
    pd.testing.assert_frame_equal(table, alone)
    assert table["error"].notna().sum() == 1 and len(table) == 17


def judge_or_die(path, *rest):
    """Kill the worker at one of the files, as a file does that takes all of the memory."""
    if path.endswith("deadly.csv"):
        os.kill(os.getpid(), signal.SIGKILL)
    return judge_file(path, *rest)


def judge_all_or_die(jobs):
    return [judge_or_die(*job) for job in jobs]


def test_a_file_that_kills_its_workers_and_a_name_that_is_no_text_cost_one_row_each(shelf, alone, client, monkeypatch):
    client.run_on_scheduler(lambda dask_scheduler: setattr(dask_scheduler, "allowed_failures", 0))  # at the first one
    monkeypatch.setattr("flicker.survey_table.judge_file", judge_or_die)
    monkeypatch.setattr("flicker.survey_table.judge_files", judge_all_or_die)
    monkeypatch.setattr("flicker.survey_table.PARTS", 3)  # four files go to a worker together
    deadly, odd = str(shelf / "deadly.csv"), os.fsdecode(os.fsencode(shelf) + b"/od\xffd.csv")
    table = survey([deadly, odd, *find_logs(shelf)], client.get_executor())
    assert table["error"].notna().sum() == 3  # these two, and the broken file
    assert "the worker died while judging this file" in table["error"][0]
    assert "od\\udcffd.csv" in table["source"][1] and "there is no such file" in table["error"][1]
    pd.testing.assert_frame_equal(table[2:].reset_index(drop=True), alone)
