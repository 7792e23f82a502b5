"""Pages of the demo data, each made once for all workers of a test session."""

from __future__ import annotations

import fcntl
import os
from functools import cache
from pathlib import Path

from flicker import assess, compare, judge_case, plan_soak, read_case, read_log
from flicker.present.report import write_report

DEMO = Path(__file__).resolve().parents[1] / "demo_data"


@cache
def job(name):
    """A demo case, judged."""
    return judge_case(read_case(DEMO / f"{name}_case.toml"))


@cache
def received():
    """The logs of unit a45 as it came in, and what they say."""
    logs = tuple(read_log(DEMO / f"a45_1_as_received_{k}.csv") for k in (1, 2, 3))
    return logs, assess(logs)


def _written(name: str, path: Path) -> None:
    unit, _, kind = name.partition(" ")
    if kind == "case":
        write_report(job(unit), path)
    elif kind == "stages":
        write_report(job(unit).comparison, path, logs=[log for part in job(unit).logs for log in part])
    elif name == "a45 assessment":
        logs, found = received()
        write_report(found, path, logs=list(logs))
    elif name == "a45 comparison":
        logs, found = received()
        after = [read_log(DEMO / f"a45_3_part_replaced_{k}.csv") for k in (1, 2, 3)]
        write_report(compare(found, after), path, logs=[*logs, *after])
    else:
        assert name == "soak", name
        write_report(plan_soak(count=6, hours=5.0), path)


def page(factory, name: str) -> Path:
    """The page of that name: 'soak', 'a45 assessment', 'a45 comparison', or the 'case' or the 'stages' of a demo case."""
    base = factory.getbasetemp()
    shared = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "pages"
    shared.mkdir(exist_ok=True)
    path = shared / f"{name.replace(' ', '_')}.html"
    with path.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not path.exists():
            _written(name, path)
    return path
