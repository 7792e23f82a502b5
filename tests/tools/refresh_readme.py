"""Writes what the first command prints into README.md, whole, at 80 columns; a test checks that it is up to date.

python tests/tools/refresh_readme.py
"""

from __future__ import annotations

import io
from pathlib import Path

from rich.console import Console

from flicker import assess
from flicker.present.terminal import show_assessment

ROOT = Path(__file__).resolve().parents[2]
HEADING = "## What the first command prints\n\n"
END = "\n![One evening"


def printed() -> str:
    """The page of the first command, indented as a quotation."""
    out = io.StringIO()
    console = Console(file=out, width=76, highlight=False, color_system=None)
    show_assessment(assess(sorted((ROOT / "demo_data").glob("a45_1_as_received_*.csv"))), console)
    return "".join(f"    {line.rstrip()}".rstrip() + "\n" for line in out.getvalue().rstrip("\n").split("\n"))


def refreshed(readme: str) -> str:
    """The text of the README with that page in its place."""
    begin = readme.index(HEADING) + len(HEADING)
    return readme[:begin] + printed() + readme[readme.index(END, begin) :]


if __name__ == "__main__":
    path = ROOT / "README.md"
    path.write_text(refreshed(path.read_text(encoding="utf-8")), encoding="utf-8")
