"""A headless Chromium that is watched: what it prints on the console, what it asks of the network, what it draws."""

from __future__ import annotations

import contextlib
import http.server
import re
import shutil
import subprocess
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

CHROMIUM = next(
    (found for name in ("chromium", "chromium-browser", "google-chrome") if (found := shutil.which(name))), None
)
QUIET = [
    *("--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"),
    *("--disable-component-update", "--disable-default-apps", "--disable-sync", "--disable-extensions"),
    *(
        "--disable-domain-reliability",
        "--hide-scrollbars",
        "--disable-features=OptimizationHints,Translate,MediaRouter",
    ),
    *("--virtual-time-budget=15000", "--enable-logging=stderr"),
]
# The browser itself asks its maker's servers even so, and the search that Debian sets it to; a page from this project never would by accident.
MAKERS = re.compile(r"google|gvt1|gstatic|chromium|chrome\b|duckduckgo")


@dataclass(frozen=True)
class Visit:
    """What happened while a page was open."""

    dom: str
    console: list[str]
    requests: list[str]


class _Counter(http.server.BaseHTTPRequestHandler):
    def _count(self) -> None:
        self.server.seen.append(self.path)  # type: ignore[attr-defined]
        with contextlib.suppress(BrokenPipeError, ConnectionResetError):  # the browser may have gone
            self.send_error(502)

    do_GET = do_POST = do_CONNECT = do_HEAD = _count

    def log_message(self, *_: object) -> None:
        pass


@contextlib.contextmanager
def counting() -> Iterator[tuple[int, list[str]]]:
    """Stand between a browser and all networks: a proxy that lets nothing through; its port, and a list of what it was asked."""
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), _Counter)
    server.seen = []  # type: ignore[attr-defined]
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield server.server_address[1], server.seen  # type: ignore[attr-defined]
    finally:
        server.shutdown()
        server.server_close()


# What a page would do seconds later it does at once, so that it is seen.
SOON = """
const later = window.setTimeout, again = window.setInterval;
window.setTimeout = (what, wait, ...told) => later(what, Math.min(wait || 0, 5), ...told);
window.setInterval = (what, wait, ...told) => again(what, Math.min(wait || 0, 20), ...told);
"""
DRAWN = "return document.readyState === 'complete' && (!document.querySelector('[data-chart]') || !!document.documentElement.dataset.ready)"
A_WHILE = "let frames = 20; const next = () => --frames ? requestAnimationFrame(next) : arguments[0](); next()"


def visit(page: Path, driver: Any) -> Visit:
    """Open a page; every request that would leave the machine is counted instead. ``driver`` is the fixture of `conftest.py`."""
    driver.get_log("browser")
    driver.asked.clear()
    soon = driver.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": SOON})
    driver.get(page.as_uri())
    driver.execute_cdp_cmd("Page.removeScriptToEvaluateOnNewDocument", soon)
    for frame in (None, *driver.find_elements("tag name", "iframe")):
        if frame is not None:
            driver.switch_to.frame(frame)
        end = time.monotonic() + 90.0  # common practice, no source: a page is drawn within seconds, a busy host takes longer
        while not driver.execute_script(DRAWN):
            assert time.monotonic() < end, f"{page.name} was not drawn"
            time.sleep(0.02)
        driver.switch_to.default_content()
    driver.execute_async_script(A_WHILE)
    console = [entry["message"] for entry in driver.get_log("browser")]
    return Visit(driver.execute_script("return document.documentElement.outerHTML"), console, [path for path in driver.asked if not MAKERS.search(path)])


def picture(page: Path, profile: Path, out: Path, *, width: int, height: int = 3000) -> None:
    """Take a picture of a page at a width."""
    profile.mkdir(parents=True, exist_ok=True)
    frame = profile / "frame.html"
    style = f"width:{width}px;height:{height}px;border:0;display:block"
    frame.write_text(f'<body style="margin:0"><iframe src="{page.as_uri()}" style="{style}"></iframe>')
    target = page if width >= 600 else frame
    size = f"--window-size={max(width, 600)},{height}"
    subprocess.run(
        [str(CHROMIUM), *QUIET, f"--user-data-dir={profile}", size, f"--screenshot={out}", target.as_uri()],
        capture_output=True,
        timeout=120,
        check=True,
    )
