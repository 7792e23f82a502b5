"""JSON documents of the commands: how they are written and printed, and where an answer is kept for a second look."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Callable
from contextlib import suppress
from functools import cache
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
    text: list[str] = []
    _write(document, "\n", text)
    return "".join([*text, "\n"])


def print_document(whole: str) -> None:
    """Print a document, with letters that the terminal's encoding lacks spelt out."""
    if "utf" not in (getattr(sys.stdout, "encoding", None) or "utf").lower():
        whole = "".join(sign if sign.isascii() else json.dumps(sign)[1:-1] for sign in whole)
    sys.stdout.write(whole)


def _write(value: Any, line: str, text: list[str]) -> None:
    """Add the pieces of a JSON text; ``line`` begins a new line at the indentation of the value."""
    named = isinstance(value, dict)
    items = value.values() if named else value if isinstance(value, (list, tuple)) else ()
    if not any(isinstance(item, (dict, list, tuple)) for item in items):
        whole = _ENCODE(value)
        if named and len(whole) > ROW:
            whole = _by_lines(line)(value)
            whole = f"{{{line}  {whole[1:-1]}{line}}}"
        text.append(whole)
        return
    text.append("{" if named else "[")
    between = f"{line}  "
    for name in value:
        text.append(between)
        if named:
            text.append(f"{_ENCODE(str(name))}: ")
        _write(value[name] if named else name, f"{line}  ", text)
        between = f",{line}  "
    text.append(f"{line}}}" if named else f"{line}]")


@cache
def _by_lines(line: str) -> Callable[[object], str]:
    """An encoder that begins a line with each item."""
    return json.JSONEncoder(allow_nan=False, ensure_ascii=False, separators=(f",{line}  ", ": ")).encode


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
