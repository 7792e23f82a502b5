"""All notebooks as they run on their demo logs, once for all workers of a test session.

Their cells run in an IPython of the tests' own process: a kernel and the libraries that it loads anew take longer than
most notebooks. `test_notebooks.py` and `test_case_commands.py` run notebooks in kernels, as users do.
"""

from __future__ import annotations

import contextlib
import fcntl
import itertools
import json
import os
import sys
import types
import warnings
from pathlib import Path
from typing import Any
from unittest import mock

import nbformat

from flicker.present import export, notebook
from flicker.present.charts import LIVE

NAMES = list(notebook.notebooks())
FEWER = {"how-the-verdict-was-calibrated": {"LOGS_PER_KIND": 1}}  # the same study with fewer benches
ALIKE = {"how-logs-mislead": 5}  # forty benches drawn alike: every fifth still picture is drawn, those after it show it again


def every(step: int) -> Any:
    """Draw one still picture in ``step``, shown again for those that follow: half of what a chart costs. All are compiled."""
    draw, count, last = export.png_of, itertools.count(), b""

    def drawn(compiled: dict[str, Any], *, scale: float) -> bytes:
        nonlocal last
        if next(count) % step == 0:
            last = draw(compiled, scale=scale)
        return last

    return mock.patch.object(export, "png_of", drawn)


def run_here(name: str, book: Any, where: Path, *, step: int = 1) -> None:
    """Run a notebook's cells, from the given folder, as a fresh kernel would; afterwards the process is as before.

    Of its still pictures every ``step``-th is drawn.
    """
    import altair
    from altair.utils.schemapi import SchemaBase, debug_mode
    from IPython.core.interactiveshell import InteractiveShell
    from IPython.utils.capture import capture_output
    from nbformat.v4 import new_output
    from traitlets.config import Config

    kept = {part: getattr(sys, part) for part in ("displayhook", "excepthook")}
    main = sys.modules["__main__"]
    config = Config({"HistoryManager": {"enabled": False}})
    shell = InteractiveShell.instance(config=config, user_module=types.ModuleType("notebook_cells"))

    def warned(message: Any, category: Any, *_: Any, **__: Any) -> None:
        print(f"{category.__name__}: {message}", file=sys.stderr)  # that of the cell

    try:
        # The charts are held against the schema of Vega-Lite where they are made (test_charts.py): here they are drawn.
        with every(step), debug_mode(False), mock.patch.object(SchemaBase, "validate"), altair.theme.enable("default"), altair.renderers.enable("default"), warnings.catch_warnings(), contextlib.chdir(where):
            warnings.showwarning = warned
            for cell in (cell for cell in book.cells if cell.cell_type == "code"):
                with shell.display_trap, capture_output() as seen:  # in this order: else results are printed, not shown
                    shell.run_cell(cell.source).raise_error()
                cell.outputs = [new_output("display_data", data=part.data, metadata=part.metadata) for part in seen.outputs]
                for stream, text in (("stdout", seen.stdout), ("stderr", seen.stderr)):
                    if text:
                        cell.outputs.append(new_output("stream", name=stream, text=text))
    finally:
        InteractiveShell.clear_instance()
        for part, hook in kept.items():
            setattr(sys, part, hook)
        sys.modules["__main__"] = main


def _make(path: Path) -> None:
    name = path.stem
    book = nbformat.read(notebook.notebooks()[name], as_version=4)
    notebook.inject(name, book, FEWER.get(name, {}))
    run_here(name, book, notebook.folder(), step=ALIKE.get(name, 1))
    draft = path.with_suffix(".draft")
    draft.write_text(json.dumps(book), encoding="utf-8")  # `nbformat.writes` indents megabytes of charts
    draft.rename(path)


def executed(factory) -> Path:
    """Folder that holds every notebook with its outputs; workers that ask at once share the work."""
    base = factory.getbasetemp()
    shared = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "books"
    shared.mkdir(exist_ok=True)
    for flags in (fcntl.LOCK_EX | fcntl.LOCK_NB, fcntl.LOCK_EX):  # first what nobody makes, then what others are at
        for name in NAMES:
            with (shared / f".{name}").open("w") as lock, contextlib.suppress(BlockingIOError):
                fcntl.flock(lock, flags)
                if not (shared / f"{name}.ipynb").exists():
                    _make(shared / f"{name}.ipynb")
    return shared


def outputs(book):
    return [output for cell in book["cells"] for output in cell.get("outputs", [])]


def charts_of(path: Path) -> int:
    """How many outputs carry a live chart; each of them carries a still picture beside it."""
    drawn = [output["data"] for output in outputs(json.loads(path.read_text())) if LIVE in output.get("data", {})]
    assert all("image/png" in data for data in drawn)
    return len(drawn)
