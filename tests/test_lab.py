"""Every chart of every notebook in a real JupyterLab, untrusted and offline, light and dark (of forty benches drawn alike,
eight); and where there is no Lab.

Which outputs Lab draws untrusted was measured with JupyterLab 4.6 and Chromium. VS Code is not run here: what it draws
by itself is what its source says (microsoft/vscode, extensions/notebook-renderers/package.json, read 2026).
"""

from __future__ import annotations

import json
import re

import books
import browser
import lab
import nbformat
import pytest

from flicker.present.charts import LIVE

needs_lab = pytest.mark.skipif(bool(lab.missing()), reason=lab.missing() or "all there")
# A picture of one dot (ISO/IEC 15948).
DOT = "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
# `mimeTypes` of the renderer that comes with VS Code, without any extension.
DRAWN_BY_VS_CODE = {"image/png", "image/jpeg", "image/gif", "image/svg+xml", "text/html", "text/plain"}


@pytest.fixture(scope="module")
def executed(tmp_path_factory):
    return books.executed(tmp_path_factory)


@pytest.fixture
def served(executed, tmp_path):
    """The notebooks for a Lab; of forty benches drawn alike, each a picture by now, every fifth."""
    folder = tmp_path / "served"
    folder.mkdir()
    for name in books.NAMES:
        book = json.loads((executed / f"{name}.ipynb").read_text(encoding="utf-8"))
        if name == "how-logs-mislead":
            live = [output for output in books.outputs(book) if LIVE in output.get("data", {})]
            for output in (output for number, output in enumerate(live) if number % 5):
                del output["data"][LIVE]
        (folder / f"{name}.ipynb").write_text(json.dumps(book), encoding="utf-8")
    return folder


@needs_lab
def test_lab_draws_every_chart_of_every_notebook_nobody_trusted(served, tmp_path):
    expected = {name: books.charts_of(served / f"{name}.ipynb") for name in books.NAMES}
    assert sum(expected.values()) > 30 and sum(count == 0 for count in expected.values()) <= 1, expected
    with lab.lab(served, tmp_path / "home") as address, lab.driven(tmp_path / "profile") as driver:
        lab.enter(driver, address)
        for theme in ("JupyterLab Light", "JupyterLab Dark"):
            lab.theme(driver, theme)
            for name, count in expected.items():
                shown = lab.cells(driver, f"{name}.ipynb", charts=count)
                drawn = [chart for cell in shown for chart in cell["live"]]
                assert len(drawn) == count and not sum(cell["errors"] for cell in shown), (theme, name)
                # Grid, curve, letters with their soft edges: a blank or broken canvas has one or two colours.
                assert all(chart["colours"] > 20 for chart in drawn), (theme, name, drawn)
                # The caption is dark on the chart's own paper in either theme.
                assert all(chart["ink"] > 100 for chart in drawn), (theme, name, drawn)
    told = (tmp_path / "home" / "lab.log").read_text()
    assert all(f"Notebook {name}.ipynb is not trusted" in told for name in books.NAMES)


@pytest.mark.parametrize("name", books.NAMES)
def test_vs_code_draws_every_output_without_an_extension(executed, name):
    """A chart does so as a picture, not as words."""
    path = executed / f"{name}.ipynb"
    shown = [output.data for output in books.outputs(nbformat.read(path, as_version=4)) if "data" in output]
    assert shown and all(DRAWN_BY_VS_CODE & data.keys() for data in shown)
    assert all("image/png" in data for data in shown if LIVE in data)


def test_an_exported_page_shows_the_still_pictures(executed, tmp_path, monkeypatch):
    nbconvert = pytest.importorskip("nbconvert")
    monkeypatch.setenv("JUPYTER_PATH", str(lab.share()))
    exporter = nbconvert.HTMLExporter(template_name="basic")
    bodies = []
    for name in books.NAMES:
        book = nbformat.read(executed / f"{name}.ipynb", as_version=4)
        for output in books.outputs(book):  # what is exported is chosen by its kind: megabytes of it would only be copied
            output.get("data", {}).update({LIVE: {}} if LIVE in output.get("data", {}) else {})
        page, _ = exporter.from_notebook_node(book)
        pictures = len(re.findall(r"<img[^>]*src=\"data:image/png;base64,", page))
        assert pictures == books.charts_of(executed / f"{name}.ipynb"), name
        bodies.append(re.sub(r"(?<=data:image/png;base64,)[^\"]*", DOT, page))  # what they ask for does not hang on what they show
    if browser.CHROMIUM is None:
        pytest.skip("needs Debian's chromium to count what the pages ask of a network")
    out = tmp_path / "page.html"
    out.write_text(f"<!doctype html><meta charset=utf-8>{''.join(bodies)}", encoding="utf-8")
    seen = browser.visit(out, tmp_path / "profile")
    assert seen.requests == [] and "data:image/png" in seen.dom
