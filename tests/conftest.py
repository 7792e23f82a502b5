"""What tests of several files share."""

from __future__ import annotations

import contextlib
import sys
import types

import pytest


@pytest.fixture
def undrawn(monkeypatch):
    """Pages without their charts, for tests of what a page says: to draw takes far longer than all the rest."""
    from flicker.present.report.markup import Markup
    from flicker.present.report.pictures import PLACE, Pictures

    monkeypatch.setattr(Pictures, "drawn", lambda pictures, body: Markup(PLACE.sub("", body)))


@pytest.fixture(scope="session")
def chromium(tmp_path_factory):
    """One headless Chromium for all pages that are opened in this process."""
    import lab

    with lab.driven(tmp_path_factory.mktemp("chromium") / "profile") as driver:
        yield driver


@pytest.fixture
def driver(chromium):
    """The Chromium of this process as it began: a window of 1280 points, a screen and no paper."""
    chromium.get_log("browser")
    yield chromium
    chromium.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    chromium.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


@pytest.fixture
def cells_run_here(monkeypatch):
    """Cells of notebooks run in an IPython of the tests' own process: no kernel and its libraries are started."""
    from IPython.core.interactiveshell import InteractiveShell
    from IPython.utils.capture import capture_output
    from nbformat.v4 import new_output
    from traitlets.config import Config

    from flicker.present import notebook

    kept = {name: getattr(sys, name) for name in ("displayhook", "excepthook")}
    main = sys.modules["__main__"]
    config = Config({"HistoryManager": {"enabled": False}})
    shell = InteractiveShell.instance(config=config, user_module=types.ModuleType("notebook_cells"))

    def execute(name, book, where):
        with contextlib.chdir(where):
            for cell in (cell for cell in book.cells if cell.cell_type == "code"):
                with capture_output() as seen:
                    shell.run_cell(cell.source).raise_error()
                cell.outputs = [new_output("display_data", data=shown.data) for shown in seen.outputs]
                if seen.stdout or seen.stderr:
                    cell.outputs.append(new_output("stream", text=seen.stdout + seen.stderr))

    monkeypatch.setattr(notebook, "_execute", execute)
    yield
    InteractiveShell.clear_instance()
    for name, hook in kept.items():
        setattr(sys, name, hook)
    sys.modules["__main__"] = main
