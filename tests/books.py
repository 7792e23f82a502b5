"""All notebooks as they run on their demo logs, once for all workers of a test session."""

from __future__ import annotations

import fcntl
import os
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import nbformat

from flicker.present import notebook
from flicker.present.charts._show import LIVE

NAMES = list(notebook.notebooks())
FEWER = {"how-the-verdict-was-calibrated": {"LOGS_PER_KIND": 2}}  # the same study with fewer benches


def _run(name: str) -> str:
    book = nbformat.read(notebook.notebooks()[name], as_version=4)
    notebook._inject(name, book, FEWER.get(name, {}))
    notebook._execute(name, book, notebook.folder())
    return nbformat.writes(book)


def executed(factory) -> Path:
    """Folder that holds every notebook with its outputs; run two at a time by the worker that comes first."""
    base = factory.getbasetemp()
    shared = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "books"
    shared.mkdir(exist_ok=True)
    with (shared / ".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        left = [name for name in NAMES if not (shared / f"{name}.ipynb").exists()]
        with ThreadPoolExecutor(2) as pool:
            for name, told in zip(left, pool.map(_run, left), strict=True):
                (shared / f"{name}.ipynb").write_text(told, encoding="utf-8")
    return shared


def outputs(book):
    return [output for cell in book.cells for output in cell.get("outputs", [])]


def charts_of(path: Path) -> int:
    """How many outputs carry a live chart; each of them carries a still picture beside it."""
    drawn = [output["data"] for output in outputs(nbformat.read(path, as_version=4)) if LIVE in output.get("data", {})]
    assert all("image/png" in data for data in drawn)
    return len(drawn)
