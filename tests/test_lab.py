"""Every chart of every notebook in a real JupyterLab, untrusted and offline, light and dark (of forty benches drawn alike,
eight); and where there is no Lab.

Lab takes half a second for each notebook that it opens, so all cells stand in one of the same kind. In the dark, which can spoil
nothing but a chart, the charts stand alone.

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


ALL, CHARTS = "every-cell", "every-chart"


@pytest.fixture
def served(executed, tmp_path):
    """Two notebooks for a Lab, of all cells and of all charts; of forty benches drawn alike, each a picture by now, every fifth."""
    cells, kinds = [], []
    for name in books.NAMES:
        book = nbformat.read(executed / f"{name}.ipynb", as_version=4)
        live = [output for output in books.outputs(book) if LIVE in output.get("data", {})]
        for output in (output for number, output in enumerate(live) if number % books.ALIKE.get(name, 1)):
            del output["data"][LIVE]
        cells += [{**cell, "id": f"cell-{len(cells) + k}"} for k, cell in enumerate(book.cells)]
        kinds.append((book.metadata, book.nbformat, book.nbformat_minor))
    assert all(kind == kinds[0] for kind in kinds)  # what is of a notebook, not of its cells, is alike
    charts = [output for cell in cells for output in cell.get("outputs", []) if LIVE in output.get("data", {})]
    folder = tmp_path / "served"
    folder.mkdir()
    for name, held in ((ALL, cells), (CHARTS, [nbformat.v4.new_code_cell(outputs=charts)])):
        book["cells"] = held
        (folder / f"{name}.ipynb").write_text(json.dumps(book), encoding="utf-8")
    return folder


@needs_lab
def test_lab_draws_every_chart_of_every_notebook_nobody_trusted(served, tmp_path):
    count = books.charts_of(served / f"{ALL}.ipynb")
    assert count == books.charts_of(served / f"{CHARTS}.ipynb") > 30
    with lab.lab(served, tmp_path / "home") as address, lab.driven(tmp_path / "profile") as driver:
        lab.enter(driver, address)
        for theme, name in (("JupyterLab Light", ALL), ("JupyterLab Dark", CHARTS)):
            lab.theme(driver, theme)
            shown = lab.cells(driver, f"{name}.ipynb", charts=count)
            drawn = [chart for cell in shown for chart in cell["live"]]
            assert len(drawn) == count and not sum(cell["errors"] for cell in shown), theme
            # Grid, curve, letters with their soft edges: a blank or broken canvas has one or two colours.
            assert all(chart["colours"] > 20 for chart in drawn), (theme, drawn)
            # The caption is dark on the chart's own paper in either theme.
            assert all(chart["ink"] > 100 for chart in drawn), (theme, drawn)
    told = (tmp_path / "home" / "lab.log").read_text()
    assert all(f"Notebook {name}.ipynb is not trusted" in told for name in (ALL, CHARTS))


@pytest.mark.parametrize("name", books.NAMES)
def test_vs_code_draws_every_output_without_an_extension(executed, name):
    """A chart does so as a picture, not as words."""
    path = executed / f"{name}.ipynb"
    shown = [output.data for output in books.outputs(nbformat.read(path, as_version=4)) if "data" in output]
    assert shown and all(DRAWN_BY_VS_CODE & data.keys() for data in shown)
    assert all("image/png" in data for data in shown if LIVE in data)


def test_an_exported_page_shows_the_still_pictures(executed, tmp_path, monkeypatch, request):
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
    if lab.missing():
        pytest.skip(f"{lab.missing()} to count what the pages ask of a network")
    out = tmp_path / "page.html"
    out.write_text(f"<!doctype html><meta charset=utf-8>{''.join(bodies)}", encoding="utf-8")
    seen = browser.visit(out, request.getfixturevalue("driver"))
    assert seen.requests == [] and "data:image/png" in seen.dom
