"""What tests of several files share."""

from __future__ import annotations

import functools
import gc
import os
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import hypothesis
import pytest

# Before numpy is loaded, as the command itself does: threads that wait for each other's next product cost more than they
# do, most of all where two workers share two cores.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from flicker.present import schema_checker  # noqa: F401, before a test loads jsonschema

# Most objects that tests make live as long as their worker: to look through them for cycles as often as Python does takes
# half of the time in which the tests are collected (4.0 s, 2.2 s so), and a twentieth of the tests'.
gc.set_threshold(50_000, 10, 10)

# The same examples each time: a commit is green or it is not. New ones are searched for by hand, with
# `pytest --hypothesis-profile=search` and `tests/fuzz/run.py`; what they find becomes a test of its own.
SLOW = hypothesis.HealthCheck.too_slow  # asks the clock on the wall: on a busy machine it fails by chance
hypothesis.settings.register_profile("same", derandomize=True, database=None, deadline=None, suppress_health_check=[SLOW])
hypothesis.settings.register_profile("search", deadline=None, print_blob=True)
hypothesis.settings.load_profile("same")

# Workers, kernels and commands are some eighty Pythons: what one of them has compiled need not be compiled by the next,
# whatever the shell says. Set before the workers start; it goes to the folders that git ignores.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# Files that take longest, by processor time or by what they wait for, longest first (measured file by file, November 2026):
# a worker takes a whole file, so that what its tests share is made once, and the short ones fill the end.
LONGEST = (
    "notebooks", "lab", "demo_pages", "visits", "logger_files", "streaming", "watch_changes", "guard_invariants", "signals_connection",
    "aspects", "warmup", "reasons_everywhere", "comparison", "changepoints", "watch", "report", "bench_questions", "survey_cluster", "arrivals",
    "fitness_everywhere", "trends", "hostile_names", "like_with_like", "report_print", "assess", "fresh_benches", "planned_comparison", "danger_bench",
    "worth_looking", "survey", "files_and_faults", "faults", "clearance", "schema", "roles", "guard_awake", "charts", "mistakes", "signals_blocks",
    "refusals", "guard", "terminal", "job", "slow_logs", "startup", "power_ups", "simulate", "signals_hum", "reading_hostile", "bench_charts", "reproducible",
)  # fmt: skip


# Files whose pages a browser opens: one worker takes them all, so that one Chromium is started and a demo case judged once.
BROWSED = {f"test_{name}" for name in ("bench_charts", "demo_pages", "hostile_names", "pages_live", "report", "report_print")}


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Hand out whole files, those of the browser as one."""
    from xdist.scheduler import LoadFileScheduling

    class Files(LoadFileScheduling):
        def _split_scope(self, nodeid):
            file = nodeid.partition("::")[0]
            return "browsed" if Path(file).stem in BROWSED else file

    return Files(config, log)


def pytest_collection_finish():
    """Spare what was loaded by now from every later look."""
    gc.collect()
    gc.freeze()


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """Put the longest files first, and mark what opens a browser."""
    for item in items:
        if {"chromium", "served"} & set(item.fixturenames):
            item.add_marker("browser")
    place = {f"test_{name}": k for k, name in enumerate(LONGEST)}
    items.sort(key=lambda item: place.get(item.path.stem, len(place)))


@pytest.fixture(scope="session", autouse=True)
def kept_scripts(tmp_path_factory):
    """What programs keep for their user lies among the files of this session, for all workers and their children."""
    base = tmp_path_factory.getbasetemp()
    os.environ["XDG_CACHE_HOME"] = str((base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "cache")


@pytest.fixture
def undrawn(monkeypatch):
    """Pages without their charts, for tests of what a page says: to draw takes far longer than all the rest."""
    from flicker.present.report.parts import Markup
    from flicker.present.report.pictures import PLACE, Pictures

    monkeypatch.setattr(Pictures, "drawn", lambda pictures, body: Markup(PLACE.sub("", body)))


@pytest.fixture(scope="session")
def chromium(tmp_path_factory):
    """One headless Chromium for all pages that are opened in this process; ``asked`` is what it asked of a network."""
    import browser
    import lab

    if lab.missing():
        pytest.skip(lab.missing())
    profile = tmp_path_factory.mktemp("chromium") / "profile"
    with browser.counting() as (port, asked), lab.driven(profile, proxy=port) as driver:
        driver.asked = asked
        yield driver


@pytest.fixture
def driver(chromium):
    """The Chromium of this process as it began: a window of 1280 points, a screen and no paper."""
    chromium.get_log("browser")
    yield chromium
    chromium.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    chromium.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


@pytest.fixture
def judged_here(monkeypatch):
    """Logs of a survey judged in the tests' own process: a worker is a program of its own, and takes two seconds to start."""
    from flicker import survey_table

    monkeypatch.setattr(survey_table, "ProcessPoolExecutor", lambda *_, **__: ThreadPoolExecutor(1))


@pytest.fixture
def cells_run_here(monkeypatch):
    """Cells of notebooks run in an IPython of the tests' own process; of their still pictures the first is drawn."""
    import books

    from flicker.present import notebook

    monkeypatch.setattr(notebook, "execute", functools.partial(books.run_here, step=1000))
