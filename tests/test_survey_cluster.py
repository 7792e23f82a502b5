"""A survey on a local cluster of worker processes, of which one is killed while it works. All data invented."""

import os
import signal
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pandas as pd
import pytest

from flicker import simulate_log
from flicker.survey_table import find_logs, survey


@pytest.fixture(scope="module")
def shelf(tmp_path_factory):
    folder = tmp_path_factory.mktemp("shelf")
    for seed in range(8):
        simulate_log(("steady", "noisy")[seed % 2], seed=seed, hours=0.3).write(folder / f"unit_{seed}.csv")
    (folder / "broken.csv").write_text("time_s,left_mV\n" + "".join(f"{k},x{k}y\n" for k in range(20)))
    return folder


def test_a_killed_worker_changes_nothing(shelf):
    distributed = pytest.importorskip("distributed", reason="the extra [cluster] (distributed) is not installed")
    paths = find_logs(shelf)
    alone = survey(paths, ThreadPoolExecutor(1))
    cluster = distributed.LocalCluster(
        n_workers=3, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    )
    with cluster, distributed.Client(cluster) as client:
        client.wait_for_workers(3, timeout=60)
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
        table = survey(paths, client.get_executor())
        killer.join()
    assert killed and killed[0] in pids.values()
    pd.testing.assert_frame_equal(table, alone)
    assert table["error"].notna().sum() == 1 and len(table) == 17
