"""Notebooks run as stored and on a user's logs, offline, and end in words computed from the data."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import books
import nbformat
import numpy as np
import pytest

from flicker import LogError, assess, read_log, simulate_log
from flicker.present import notebook, tables
from flicker.present.charts import LIVE

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests" / "tools"))
import build_notebooks  # noqa: E402
from books import NAMES, outputs  # noqa: E402


@pytest.fixture(scope="module")
def executed(tmp_path_factory):
    """All notebooks, run as they are stored."""
    folder = books.executed(tmp_path_factory)
    return {name: nbformat.read(folder / f"{name}.ipynb", as_version=4) for name in NAMES}


def test_the_jobs_are_all_there():
    assert NAMES == [
        "first-look",
        "intermittent-or-one-off",
        "before-and-after",
        "how-long-to-soak",
        "worse-over-visits",
        "is-my-meter-good-enough",
        "how-the-verdict-was-calibrated",
        "how-logs-mislead",
        "worse-than-in-spring",
        "among-its-like",
    ]


@pytest.mark.parametrize("name", NAMES)
def test_stored_notebooks_come_from_their_texts(name):
    path = notebook.notebooks()[name]
    text = (build_notebooks.TEXTS / f"{path.stem}.txt").read_text(encoding="utf-8")
    assert path.read_text(encoding="utf-8") == build_notebooks.build(text)
    book = nbformat.read(path, as_version=4)
    first = next(cell for cell in book.cells if cell.cell_type == "code")
    assert first.metadata["tags"] == ["parameters"]
    absolute = [cell.source for cell in book.cells if re.search(r"[\"'](/|[A-Z]:)", cell.source)]
    assert outputs(book) == [] and absolute == []


@pytest.mark.parametrize("name", NAMES)
def test_it_runs_and_ends_in_a_conclusion(executed, name):
    book = executed[name]
    found = outputs(book)
    assert not [output for output in found if output.output_type in {"error", "stream"}]
    assert sum({LIVE, "image/png"} <= output.get("data", {}).keys() for output in found) >= (name != NAMES[6])
    heading = next(k for k, cell in enumerate(book.cells) if cell.source.startswith("## Conclusion"))
    last = book.cells[-1]
    assert heading == len(book.cells) - 2
    (said,) = last.outputs
    assert len(said.data["text/plain"]) > 60
    # What is concluded is not what is typed: no sentence of the output stands in the cell as it is.
    assert said.data["text/plain"] not in last.source


@pytest.mark.parametrize("name", NAMES)
def test_charts_bring_no_network_along(executed, name):
    for output in outputs(executed[name]):
        html = output.get("data", {}).get("text/html", "")
        assert "<script" not in html and "http" not in html


def test_conclusions_follow_the_data(executed):
    def said(name):
        return executed[name].cells[-1].outputs[0].data["text/html"]

    assert "comes back by itself: 33 episodes" in said("intermittent-or-one-off")
    assert "left channel: 33 times" in said("before-and-after") and "improved" in said("before-and-after")
    assert "not shown over 3 runs" in said("worse-over-visits")
    assert "single-swing" in said("how-logs-mislead")
    assert "Worse than at the first visit" in said("worse-than-in-spring")
    assert "It is the unit, not the meter" in said("worse-than-in-spring")


@pytest.mark.usefixtures("cells_run_here")  # that a kernel runs where the user is: the two tests of kernels below
def test_a_users_log_takes_one_call(tmp_path, monkeypatch):
    rng = np.random.default_rng(4)
    time_s = np.arange(6000) * 0.5
    left = 2.0 + 0.4 * rng.standard_normal(6000)
    left[1000:6000:500] += 150.0
    rows = "\n".join(f"{t},{v:.1f}" for t, v in zip(time_s, left, strict=True))
    (tmp_path / "logs").mkdir()
    (tmp_path / "logs" / "mine.csv").write_text(f"time_s,left_mV\n{rows}\n")
    monkeypatch.chdir(tmp_path)
    made = notebook.run_notebook("first-look", ["logs/mine.csv"], "out.ipynb")
    assert made == Path("out.ipynb") and sorted(os.listdir()) == ["logs", "out.ipynb"]
    book = nbformat.read(made, as_version=4)
    told = json.dumps(book)
    assert "LOGS = ['logs/mine.csv']" in told and str(tmp_path) not in told
    assert "10 times in 50 minutes" in book.cells[-1].outputs[0].data["text/plain"]


def test_a_failing_cell_is_one_sentence_and_nothing_is_written(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("bad.csv").write_text("time_s,left_mV\n0,1\n1,banana\n" * 20)
    with pytest.raises(LogError, match=r"'first-look' stopped in cell \d+: bad\.csv, line 3") as caught:
        notebook.run_notebook("first-look", ["bad.csv"])
    assert "\n" not in str(caught.value) and os.listdir() == ["bad.csv"]


@pytest.mark.parametrize(
    ("name", "logs", "parameters", "words"),
    [
        ("second-look", ["a.csv"], {}, "no notebook 'second-look'. Known: first-look"),
        ("first-look", ["b.csv"], {}, "b.csv: there is no such file"),
        ("before-and-after", ["then"], {}, "No log was given"),
        ("first-look", ["a.csv", "then", "a.csv"], {}, "does not compare"),
        ("before-and-after", ["a.csv", "a.csv"], {}, "put the word 'then'"),
        ("before-and-after", ["a.csv", "then"], {}, "put the word 'then'"),
        ("first-look", ["a.csv"], {"LOUD": 1}, "no parameter 'LOUD'. Known: CASE"),
    ],
)
def test_wrong_use_is_told_before_anything_runs(tmp_path, monkeypatch, name, logs, parameters, words):
    monkeypatch.chdir(tmp_path)
    Path("a.csv").write_text("time_s,left_mV\n0,1\n")
    with pytest.raises(LogError, match=re.escape(words)):
        notebook.run_notebook(name, logs, parameters=parameters)
    assert os.listdir() == ["a.csv"]


def test_without_logs_it_takes_the_demo_where_there_is_one(tmp_path, monkeypatch):
    for name, path in notebook.notebooks().items():
        book = nbformat.read(path, as_version=4)
        values = notebook.log_parameters(name, book, [], tmp_path / "out.ipynb")
        found = [part for value in values.values() for part in ([value] if isinstance(value, str) else value)]
        assert all((tmp_path / part).exists() for part in found) and (found or "LOGS" not in values)
    shutil.copytree(notebook.folder(), tmp_path / "installed")
    monkeypatch.setattr(notebook, "folder", lambda: tmp_path / "installed")
    with pytest.raises(LogError, match="No log was given"):
        notebook.run_notebook("first-look", [], tmp_path / "out.ipynb")


def test_an_installed_package_brings_its_demo_along(tmp_path):
    """The layout of the wheel, as the project's own build table lays it out."""
    site, work = tmp_path / "site", tmp_path / "work"
    work.mkdir()
    shutil.copytree(ROOT / "flicker", site / "flicker")
    table = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["hatch"]["build"]["targets"]["wheel"]
    for outside, inside in table["force-include"].items():
        shutil.copytree(ROOT / outside, site / inside)
    env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(site), *filter(None, sys.path)])}
    asked = "import sys; from flicker.present import notebook; import flicker; print(flicker.__file__)\n"
    asked += "from nbformat import read\nfrom pathlib import Path\n"
    asked += "for name, path in notebook.notebooks().items():\n"
    asked += "    book = read(path, as_version=4)\n"
    asked += "    told = notebook.stored_beside(book, Path.cwd())\n"
    asked += (
        "    print(name, all(Path(p).exists() for v in told.values() for p in ([v] if isinstance(v, str) else v)))\n"
    )
    asked += "from flicker.cli import main\n"
    asked += "sys.exit(main(['notebook', 'intermittent-or-one-off', '--channel', 'right']))\n"
    done = subprocess.run([sys.executable, "-c", asked], cwd=work, env=env, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    first, *rows = done.stdout.splitlines()
    assert first.startswith(str(site))
    assert [row.rsplit(" ", 1) for row in rows[: len(NAMES)]] == [[name, "True"] for name in NAMES]
    book = nbformat.read(work / "intermittent-or-one-off.ipynb", as_version=4)
    assert "Channel right" in book.cells[-1].outputs[0].data["text/plain"] and str(tmp_path) not in json.dumps(book)


def test_a_missing_extra_is_one_sentence(monkeypatch, tmp_path):
    import importlib.util

    find = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name, *rest: None if name == "nbformat" else find(name, *rest)
    )
    with pytest.raises(LogError, match=r"^Notebooks need more packages \(nbformat\): in the clone, pip install '\.\[notebooks\]'\.$"):
        notebook.run_notebook("first-look", [], tmp_path / "out.ipynb")


# Colon, brackets, dot, quotes and HTML all mean something to some reader; other scripts run another way.
ODD = ("CH1: left (mV)", "<img src=x onerror=alert(1)> a.b[0]: 'x' \u53f3 \u0645\u0643\u0628\u0631 \U0001f600 (mV)")


@pytest.mark.usefixtures("cells_run_here")
@pytest.mark.parametrize("name", [n for n in NAMES if n not in NAMES[6:8]])
def test_odd_names_of_channels_break_no_notebook(tmp_path, monkeypatch, name):
    monkeypatch.chdir(tmp_path)
    rng = np.random.default_rng(5)
    time_s = np.arange(3600.0)
    values = 2.0 + 0.4 * rng.standard_normal((2, time_s.size))
    values[:, 500::350] += 150.0
    rows = "\n".join(f"{t},{a:.1f},{b:.1f}" for t, a, b in zip(time_s, *values, strict=True))
    Path("odd.csv").write_text(",".join(["time_s", *(f'"{column}"' for column in ODD)]) + f"\n{rows}\n")
    logs = ["odd.csv", "then", "odd.csv"] if name == "before-and-after" else ["odd.csv"]
    told = read_log("odd.csv").channels[1]
    made = notebook.run_notebook(name, logs, "out.ipynb", parameters={"CHANNEL": told})
    said = json.dumps([cell.get("outputs") for cell in nbformat.read(made, as_version=4)["cells"]])
    assert "\u53f3" in told and json.dumps("\u53f3")[1:-1] in said and "<img src=x" not in _html_of(made)


def _html_of(path):
    book = nbformat.read(path, as_version=4)
    return " ".join(output.get("data", {}).get("text/html", "") for output in outputs(book))


def test_every_notebook_can_be_pointed_at_a_channel():
    for path in notebook.notebooks().values():
        assert notebook.defaults(nbformat.read(path, as_version=4))["CHANNEL"] is None


def test_tables_escape_and_say_what_the_result_says():
    found = assess(list(simulate_log("steady", hours=1.0, seed=2, channels=("<b>left</b>", "right")).logs))
    shown = tables.verdicts(found)
    assert "&lt;b&gt;left&lt;/b&gt;" in shown._repr_html_() and "<b>" not in shown._repr_html_()
    assert found.channels[0].reads in str(shown)
    assert {row[0] for row in tables.findings(found, "right").rows} == {f.question for f in found.channels[0].findings}
