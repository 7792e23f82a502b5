"""A headless Chromium that is watched: what it prints on the console, what it asks of the network, what it draws."""

from __future__ import annotations

import http.server
import re
import shutil
import subprocess
import threading
from dataclasses import dataclass
from pathlib import Path

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
# The browser itself asks its maker's servers even so; a page from this project never would by accident.
MAKERS = re.compile(r"google|gvt1|gstatic|chromium|chrome\b")


@dataclass(frozen=True)
class Visit:
    """What happened while a page was open."""

    dom: str
    console: list[str]
    requests: list[str]


class _Counter(http.server.BaseHTTPRequestHandler):
    def _count(self) -> None:
        self.server.seen.append(self.path)  # type: ignore[attr-defined]
        self.send_error(502)

    do_GET = do_POST = do_CONNECT = do_HEAD = _count

    def log_message(self, *_: object) -> None:
        pass


def visit(page: Path, profile: Path) -> Visit:
    """Open a page; every request that would leave the machine is counted instead."""
    profile.mkdir(parents=True, exist_ok=True)
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), _Counter)
    server.seen = []  # type: ignore[attr-defined]
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        done = subprocess.run(
            [
                str(CHROMIUM),
                *QUIET,
                f"--user-data-dir={profile}",
                f"--proxy-server=127.0.0.1:{server.server_address[1]}",
                "--proxy-bypass-list=<-loopback>",
                "--window-size=1280,2000",
                "--dump-dom",
                page.as_uri(),
            ],
            capture_output=True,
            text=True,
            timeout=120,
            check=True,
        )
    finally:
        server.shutdown()
        server.server_close()
    console = [line for line in done.stderr.splitlines() if "CONSOLE" in line]
    return Visit(done.stdout, console, [path for path in server.seen if not MAKERS.search(path)])  # type: ignore[attr-defined]


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
