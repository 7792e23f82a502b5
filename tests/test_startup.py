"""Help answers at once and judging loads no more than it needs. Budgets are twice those asked, for a busy machine."""

import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from flicker import simulate_log
from flicker.cli import alone

OURS = {"flicker.stats.power_ups.forecast", "flicker.case.case_file", "flicker.present"}  # not asked for
# What one power-up with hardly a swing has no use for, on its page either: comparisons, power-ups against each other,
# rates that change, growth, odd rows of a text.
UNASKED = {
    f"flicker.{name}"
    for name in (
        "evidence.compare.weighing", "evidence.located.power_up_history",
        "evidence.located.rate_changed", "evidence.located.warmup", "evidence.outlook.swings_ahead", "stats.soak",
        "stats.power_ups.growth", "stats.rates.dispersion", "stats.changepoints", "stats.arrivals.clusters",
        "logs.reading.text.grouped_rows",
    )
} | {"rich._emoji_codes"}  # fmt: skip
LARGE = OURS | {"statsmodels", "altair", "ruptures", "pandas", "scipy.stats", "pyarrow", "numpy", "rich", "distributed"}
LOADED = (
    "import sys, io, contextlib; from flicker.cli import main\n"
    "with contextlib.redirect_stdout(io.StringIO()): code = main(sys.argv[1:])\n"
    f"print(code, *sorted({LARGE | UNASKED!r} & set(sys.modules)))"
)


@pytest.fixture(scope="module")
def ten_minutes(tmp_path_factory):
    folder = tmp_path_factory.mktemp("startup")
    for kind in ("steady", "drifting-step"):
        simulate_log(kind, seed=1, hours=1 / 6).write(folder / f"{kind}.csv")
    stamped = Path(__file__).parents[1] / "demo_data" / "two_minutes.csv"  # invented, with a clock and no date
    shutil.copy(stamped, folder / "stamped.csv")
    return folder


def loaded(*arguments):
    done = subprocess.run([sys.executable, "-c", LOADED, *arguments], capture_output=True, text=True, check=True)
    code, *names = done.stdout.split()
    assert code == "0", done.stderr
    return set(names)


@pytest.mark.parametrize("arguments", [("--help",), ("--version",), ("assess", "--help"), ("soak", "--help")])
def test_help_loads_no_library(arguments):
    assert loaded(*arguments) == set()


@pytest.mark.parametrize("kind", ["steady", "drifting-step", "stamped"])
def test_assess_loads_neither_models_nor_charts(ten_minutes, kind):
    names = loaded("assess", str(ten_minutes / f"{kind}.csv"), "--json")
    placing = {"ruptures", "scipy.stats"}  # places of changes; four tenths of a second, only where one is possible
    assert names - placing - UNASKED == {"numpy", "pyarrow"}


def test_a_page_loads_nothing_that_it_does_not_say(ten_minutes):
    names = loaded("assess", str(ten_minutes / "steady.csv"))
    assert names & UNASKED == set() and "rich" in names


@pytest.mark.parametrize(("arguments", "asked_s"), [(("--help",), 0.3), (("assess", "steady.csv"), 0.5)])
def test_time_to_answer(ten_minutes, arguments, asked_s):
    # processor time of the child, so that a machine busy with other work does not fail the test
    import resource

    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    began = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "flicker", *arguments], cwd=ten_minutes, check=True, stdout=subprocess.DEVNULL
    )
    wall = time.perf_counter() - began
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    assert min(spent, wall) < 2 * asked_s


@pytest.mark.parametrize(("told", "wanted"), [(None, "1"), ("3", "3")])
def test_a_process_of_its_own_starts_no_idle_threads_unless_told(monkeypatch, capsys, told, wanted):
    monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
    if told is not None:
        monkeypatch.setenv("OPENBLAS_NUM_THREADS", told)
    monkeypatch.setattr(sys, "argv", ["flicker", "--version"])
    monkeypatch.setattr("signal.signal", lambda *_: None)  # the tests' own process is not about to end
    assert alone() == 0
    assert os.environ["OPENBLAS_NUM_THREADS"] == wanted
    assert capsys.readouterr().out.startswith("flicker ")


def test_a_page_waits_for_no_grammar_of_web_addresses():
    told = "import sys; import flicker.present.charts; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)
    assert {"jsonschema", "lark"} & set(done.stdout.split()) == {"jsonschema"}
