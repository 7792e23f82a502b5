"""JSON documents of the commands: how they are written and printed, and where an answer is kept for a second look."""

from __future__ import annotations

import argparse
import io
import json
import os
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

from flicker.logs.beside import file_key, kept_path, marks_path, program_key

ROW = 240  # characters that a row of a table may take
# What `rich` asks the environment about a terminal.
TERMINAL = (
    "COLORTERM", "COLUMNS", "FORCE_COLOR", "JUPYTER_COLUMNS", "JUPYTER_LINES", "LINES", "NO_COLOR", "TERM", "TTY_COMPATIBLE",
    "TTY_INTERACTIVE",
)  # fmt: skip
_ENCODE = json.JSONEncoder(allow_nan=False, ensure_ascii=False).encode


def print_json(document: dict[str, Any]) -> None:
    """Print one JSON document and nothing else."""
    print_document(json_text(document))


def json_text(document: dict[str, Any]) -> str:
    """Write a document as JSON; a row of a table, such as an excursion, takes one line."""
    text = io.StringIO()  # whole before anything is printed; json.dumps would hold each word of it apart
    text.writelines(_lines_of(document, "\n"))
    return text.getvalue() + "\n"


def print_document(whole: str) -> None:
    """Print a document, with letters that the terminal's encoding lacks spelt out."""
    if "utf" not in (getattr(sys.stdout, "encoding", None) or "utf").lower():
        whole = "".join(sign if sign.isascii() else json.dumps(sign)[1:-1] for sign in whole)
    sys.stdout.write(whole)


def _lines_of(value: Any, line: str) -> Iterator[str]:
    """Yield the pieces of a JSON text; ``line`` begins a new line at the indentation of the value."""
    if not isinstance(value, (dict, list, tuple)) or not _has_parts(value):
        whole = _ENCODE(value)
        if len(whole) <= ROW or not isinstance(value, dict):
            yield whole
            return
    named = isinstance(value, dict)
    yield "{" if named else "["
    for place, item in enumerate(value):
        yield f"{',' if place else ''}{line}  "
        if isinstance(value, dict):
            yield f"{_ENCODE(str(item))}: "
            item = value[item]
        yield from _lines_of(item, f"{line}  ")
    yield f"{line}}}" if named else f"{line}]"


def _has_parts(value: dict[str, Any] | list[Any] | tuple[Any, ...]) -> bool:
    """Whether a container holds others, so that it takes more than a line."""
    items = value.values() if isinstance(value, dict) else value
    return any(isinstance(item, (dict, list, tuple)) for item in items)


def kept_answer(arguments: argparse.Namespace) -> tuple[Path, str] | None:
    """Where the answer to this very question is kept, and the question: its words, its files, who answers, and on what.

    Only where nothing but the logs, their marks and the limits goes in, and nothing but the document or the printed page
    comes out.
    """
    others = (arguments.case, arguments.control, arguments.ledger, arguments.report, arguments.excursions)
    if arguments.cache is None or not arguments.logs or any(others):
        return None
    given = [*arguments.logs, *filter(None, [arguments.limits])]
    if not all(map(os.path.isfile, given)):
        return None
    beside = [path for path in map(marks_path, arguments.logs) if path.exists()]
    try:
        keys = [file_key(path, whole=arguments.verify) for path in (*given, *beside)]
    except OSError:
        return None
    look = [] if arguments.json else _look_of_page()
    question = json.dumps([sorted(vars(arguments).items()), keys, program_key(), look])
    return kept_path(arguments.logs[0], arguments.cache or None, "answer.json" if arguments.json else "answer.txt"), question


def _look_of_page() -> list[Any]:
    """What decides how a printed page looks: letters and, of a terminal, its width and colours."""
    letters = getattr(sys.stdout, "encoding", None)
    if not sys.stdout.isatty():
        return [letters]
    sizes = []
    for stream in (0, 1, 2):  # whichever is the terminal
        with suppress(OSError):
            sizes.append(os.get_terminal_size(stream))
    return [letters, sizes, [os.environ.get(name) for name in TERMINAL]]
