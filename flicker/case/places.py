"""Where in a TOML file each key stands, so that a wrong line can be named. Text in, line numbers out."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator

Path = tuple["str | int", ...]
TRIPLES = ('"""', "'''")


def places_of(text: str) -> dict[Path, int]:
    """Line of every table and key; the n-th table of a list carries its number, as in ``('logs', 1, 'file')``.

    Keys of an inline table or list stand where its line begins. Meant for text that is known to be TOML; what it cannot
    follow it leaves out.
    """
    out: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    table: Path = ()
    until: str | None = None  # the mark that ends a text of several lines
    depth = 0  # of brackets left open by a list of several lines
    for number, line in enumerate(text.split("\n"), start=1):
        if until is not None:
            if until in line:
                until = None
            continue
        bare = line.strip()
        if depth > 0:
            depth += _brackets(bare)
            continue
        if not bare or bare.startswith("#"):
            continue
        if bare.startswith("["):
            several = bare.startswith("[[")
            table = _keys(bare[2:] if several else bare[1:], "]")
            if several:
                counts[table] = counts.get(table, -1) + 1
                table = (*table, counts[table])
            else:
                table = _numbered(table, counts)
            out.setdefault(table, number)
            continue
        keys = _keys(bare, "=")
        for depth_of_key in range(1, len(keys) + 1):
            out.setdefault((*table, *keys[:depth_of_key]), number)
        value = bare[_end(bare, "=") + 1 :]
        for mark in TRIPLES:
            if value.count(mark) % 2:
                until = mark
        if until is None:
            depth = max(_brackets(value), 0)
    return out


def place_of(places: dict[Path, int], path: Path) -> int:
    """Line of a key, or of the nearest table above it; 1 where nothing is known."""
    above = (path[:length] for length in range(len(path), 0, -1))
    return next((places[table] for table in above if table in places), 1)


def _numbered(table: Path, counts: dict[Path, int]) -> Path:
    """A table below a list of tables belongs to the last of them."""
    for length in range(len(table), 0, -1):
        if table[:length] in counts:
            return (*table[:length], counts[table[:length]], *table[length:])
    return table


def _unquoted(text: str) -> Iterator[tuple[int, str]]:
    """Characters outside quotes, with their places."""
    quote = ""
    for place, character in enumerate(text):
        if quote:
            if character == quote and not (quote == '"' and text[place - 1] == "\\"):
                quote = ""
        elif character in "\"'":
            quote = character
        else:
            yield place, character


def _end(text: str, mark: str) -> int:
    """Place of the first such mark outside quotes; the end of the text without one."""
    return next((place for place, character in _unquoted(text) if character == mark), len(text))


def _keys(text: str, mark: str) -> Path:
    """A dotted key as its parts."""
    try:
        document = tomllib.loads(f"{text[: _end(text, mark)]} = 0")
    except (ValueError, RecursionError):
        return ()
    out: list[str | int] = []
    while isinstance(document, dict):
        ((key, document),) = document.items()
        out.append(key)
    return tuple(out)


def _brackets(text: str) -> int:
    """Brackets opened less brackets closed, outside quotes and before a comment."""
    plain = [character for _, character in _unquoted(text[: _end(text, "#")])]
    return plain.count("[") - plain.count("]")
