"""Charts of the notebooks in a real JupyterLab, untrusted and offline, and in an exported page.

Which outputs Lab draws untrusted was measured with JupyterLab 4.6 and Chromium. VS Code is not run here: its viewer
lists `application/vnd.vega.v5+json` and `image/png` among what it draws (from memory), and each output carries both.
"""

from __future__ import annotations

import re

import browser
import lab
import nbformat
import pytest

from flicker.present import notebook
from flicker.present.charts._show import LIVE

pytestmark = pytest.mark.skipif(bool(lab.missing()), reason=lab.missing() or "all there")

NAMES = ("first-look", "before-and-after", "worse-over-visits")


@pytest.fixture(scope="module")
def books(tmp_path_factory):
    """Three notebooks, run on their demo logs and stored where Lab finds them."""
    folder = tmp_path_factory.mktemp("books")
    for name in NAMES:
        notebook.run_notebook(name, [], folder / f"{name}.ipynb")
    return folder


def charts_of(path) -> int:
    book = nbformat.read(path, as_version=4)
    found = [out.get("data", {}) for cell in book.cells for out in cell.get("outputs", [])]
    drawn = [data for data in found if LIVE in data]
    assert all("image/png" in data for data in drawn)
    return len(drawn)


@pytest.mark.parametrize("theme", ["Light", "Dark"])
def test_lab_draws_every_chart_of_a_notebook_nobody_trusted(books, tmp_path, theme):
    with (
        lab.lab(books, tmp_path / "home", theme=f"JupyterLab {theme}") as address,
        lab.driven(tmp_path / "profile") as driver,
    ):
        for name in NAMES:
            expected = charts_of(books / f"{name}.ipynb")
            assert expected >= 3
            shown = lab.cells(driver, f"{address}/{name}.ipynb", charts=expected)
            drawn = [chart for cell in shown for chart in cell["live"]]
            assert len(drawn) == expected and not sum(cell["errors"] for cell in shown)
            # Grid, curve, letters with their soft edges: a blank or broken canvas has one or two colours.
            assert all(chart["colours"] > 20 for chart in drawn), drawn
            # The caption is dark on the chart's own paper in either theme.
            assert all(chart["ink"] > 100 for chart in drawn), drawn
    told = (tmp_path / "home" / "lab.log").read_text()
    assert all(f"Notebook {name}.ipynb is not trusted" in told for name in NAMES)


def test_an_exported_page_shows_the_still_pictures(books, tmp_path, monkeypatch):
    from nbconvert import HTMLExporter

    monkeypatch.setenv("JUPYTER_PATH", str(lab.share()))
    for name in NAMES:
        path = books / f"{name}.ipynb"
        page, _ = HTMLExporter(template_name="basic").from_filename(str(path))
        assert len(re.findall(r"<img[^>]*src=\"data:image/png;base64,", page)) == charts_of(path)
    out = tmp_path / "page.html"
    out.write_text(f"<!doctype html><meta charset=utf-8>{page}", encoding="utf-8")
    seen = browser.visit(out, tmp_path / "profile")
    assert seen.requests == [] and "data:image/png" in seen.dom
