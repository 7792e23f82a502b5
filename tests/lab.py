"""A real JupyterLab with a real browser, offline, on a notebook that nobody has trusted."""

from __future__ import annotations

import contextlib
import importlib.util
import json
import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import browser

DRIVER = shutil.which("chromedriver")
WAIT_S = 90.0  # common practice, no source: Lab loads within seconds, a busy host takes longer


def missing() -> str:
    """What a test in a real Lab lacks here, or nothing."""
    if browser.CHROMIUM is None or DRIVER is None:
        return "needs Debian's chromium and chromium-driver"
    lacking = [name for name in ("selenium", "jupyterlab", "nbconvert") if importlib.util.find_spec(name) is None]
    return f"needs {', '.join(lacking)}" if lacking else ""


def share() -> Path:
    """Where Jupyter's own files stand, of the environment that holds JupyterLab."""
    found = importlib.util.find_spec("jupyterlab")
    assert found is not None and found.origin is not None
    return Path(found.origin).resolve().parents[4] / "share" / "jupyter"


@contextlib.contextmanager
def driven(profile: Path, *, width: int = 1280, height: int = 1000, dark: bool = False, proxy: int | None = None) -> Iterator[Any]:
    """Open a headless Chromium under control; nothing but this machine can be reached, with a proxy nothing but that."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = str(browser.CHROMIUM)
    quiet = [flag for flag in browser.QUIET if not flag.startswith(("--virtual-time", "--enable-logging"))]
    for flag in (*quiet, "--disable-quic", f"--user-data-dir={profile}", f"--window-size={width},{height}"):
        options.add_argument(flag)
    options.add_argument(f"--proxy-server=127.0.0.1:{proxy or 9}")  # the discard port: nothing answers
    options.add_argument(f"--proxy-bypass-list={'<-loopback>' if proxy else '127.0.0.1;localhost'}")
    if dark:
        options.add_argument("--blink-settings=preferredColorScheme=0")
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(str(DRIVER)))
    try:
        yield driver
    finally:
        driver.quit()


@contextlib.contextmanager
def lab(folder: Path, home: Path, *, theme: str = "JupyterLab Light") -> Iterator[str]:
    """Serve a folder with JupyterLab; its settings and its list of trusted notebooks are fresh ones in ``home``."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    home.mkdir(parents=True, exist_ok=True)
    settings = home / "settings"
    settings.mkdir(exist_ok=True)
    (settings / "overrides.json").write_text(
        json.dumps(
            {
                "@jupyterlab/apputils-extension:themes": {"theme": theme},
                "@jupyterlab/apputils-extension:notification": {"fetchNews": "false", "checkForUpdates": False},
                "@jupyterlab/notebook-extension:tracker": {"windowingMode": "none"},  # every cell is in the page
            }
        )
    )
    places = ("CONFIG_DIR", "DATA_DIR", "RUNTIME_DIR")
    env = {**os.environ, "HOME": str(home), **{f"JUPYTER_{name}": str(home / name.lower()) for name in places}}
    env["JUPYTER_PATH"] = str(share())
    command = [
        *(sys.executable, "-m", "jupyterlab", "--allow-root", "--no-browser", f"--port={port}"),
        *("--IdentityProvider.token=", "--ServerApp.password=", f"--ServerApp.root_dir={folder}"),
        *(f"--LabApp.app_settings_dir={settings}", f"--LabApp.user_settings_dir={home / 'user'}"),
        *(f"--LabApp.workspaces_dir={home / 'workspaces'}", "--LabApp.extension_manager=readonly"),
        *(f"--LabApp.app_dir={share() / 'lab'}", "--LabApp.expose_app_in_browser=True"),
    ]
    with (home / "lab.log").open("w") as log:
        server = subprocess.Popen(command, env=env, cwd=folder, stdout=log, stderr=subprocess.STDOUT)
        try:
            until(lambda: _answers(port), "JupyterLab did not start")
            yield f"http://127.0.0.1:{port}/lab"
        finally:
            server.terminate()
            try:
                server.wait(20)
            except subprocess.TimeoutExpired:
                server.kill()


def _answers(port: int) -> bool:
    with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
        return True
    return False


def until(done: Any, otherwise: str, pause_s: float = 0.05) -> Any:
    end = time.monotonic() + WAIT_S
    while time.monotonic() < end:
        found = done()
        if found:
            return found
        time.sleep(pause_s)
    raise AssertionError(otherwise)


# Of the notebook in front, for each code cell: its live charts (how many colours; how many pixels of the caption's lines
# are dark, in a band as tall as the caption can be), its still pictures, error messages, and words.
OUTPUTS = """
return [...document.querySelectorAll('.jp-NotebookPanel:not(.lm-mod-hidden) .jp-CodeCell')].map(cell => {
  const area = cell.querySelector('.jp-OutputArea');
  const look = canvas => {
    const draw = canvas.getContext('2d', {willReadFrequently: true});
    const data = draw.getImageData(0, 0, canvas.width, canvas.height).data;
    const seen = new Set(), dots = new Uint32Array(data.buffer);  // each of four bytes, the last its opacity
    for (let k = 0; k < dots.length; k += 37) seen.add(dots[k] & 0xffffff);
    let ink = 0;
    for (let k = 0; k < 4 * canvas.width * 25; k += 4) ink += data[k] + data[k + 1] + data[k + 2] < 240;
    return {colours: seen.size, ink: ink};
  };
  return {
    live: [...cell.querySelectorAll('.vega-embed canvas')].map(look),
    still: [...cell.querySelectorAll('.jp-RenderedImage img')].filter(img => img.naturalWidth > 100).length,
    errors: cell.querySelectorAll('.vega-embed .error, .jp-RenderedVegaCommon5 pre').length,
    text: area ? area.innerText.slice(0, 400) : ''
  };
});
"""
DRAWN = "return document.querySelectorAll('.jp-NotebookPanel:not(.lm-mod-hidden) .vega-embed canvas').length"
OPEN = """
const app = window.jupyterapp, done = arguments[arguments.length - 1];
app.commands.execute('application:close-all')
  .then(() => app.commands.execute('docmanager:open',
    {path: arguments[0], factory: 'Notebook', kernelPreference: {shouldStart: false, canStart: false}}))
  .then(() => done(''), problem => done(String(problem)));
"""


def enter(driver: Any, address: str) -> None:
    """Load JupyterLab; notebooks are opened within it, which is faster than loading it for each."""
    driver.get(address)
    until(lambda: driver.execute_script("return !!window.jupyterapp"), "JupyterLab did not load")
    driver.execute_async_script("window.jupyterapp.restored.then(() => arguments[0]())")


def theme(driver: Any, name: str) -> None:
    """Turn JupyterLab light or dark, as a user does in its settings."""
    driver.execute_async_script(
        "window.jupyterapp.commands.execute('apputils:change-theme', {theme: arguments[0]}).then(() => arguments[1]())", name
    )
    light = "true" if name.endswith("Light") else "false"
    until(lambda: driver.execute_script("return document.body.dataset.jpThemeLight") == light, f"no theme {name}")


def cells(driver: Any, path: str, *, charts: int) -> list[dict[str, Any]]:
    """Open a notebook, without a kernel, and wait until that many charts are drawn; what each code cell shows."""
    problem = driver.execute_async_script(OPEN, path)
    assert not problem, problem
    late = f"{path}: {charts} charts should have been drawn"
    until(lambda: driver.execute_script(DRAWN) >= charts, late)  # each look at their pixels takes time from the drawing
    seen: list[Any] = [None]

    def drawn() -> list[dict[str, Any]] | None:
        shown: list[dict[str, Any]] = driver.execute_script(OUTPUTS)
        count = sum(len(cell["live"]) for cell in shown)
        still = seen[0] == shown and count >= charts  # twice the same, a while apart: the brush has left the last one
        seen[0] = shown
        return shown if still else None

    found: list[dict[str, Any]] = until(drawn, late, pause_s=0.3)
    return found
