"""Values of a case file: taken out of the document, each checked, a wrong one told with its line, which TOML readers do not tell."""

from __future__ import annotations

import contextlib
import datetime as dt
import math
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from flicker.base import check
from flicker.case.model import CaseError

At = tuple["str | int", ...]  # the way to a key, through tables

def places_of(text: str) -> dict[At, int]:
    """Line of every table and key; the n-th table of a list carries its number, as in ``('logs', 1, 'file')``.

    Keys of an inline table stand where its line begins. Meant for text that is known to be TOML: each line of it, or the
    lines of a value that takes several, is read by itself.
    """
    out: dict[At, int] = {}
    counts: dict[At, int] = {}
    table: At = ()
    begin, lines = 1, []
    for number, line in enumerate(text.split("\n"), start=1):
        lines.append(line)
        try:
            part = tomllib.loads("\n".join(lines))
        except (ValueError, RecursionError):  # a text or a list of several lines goes on
            continue
        if lines[0].lstrip().startswith("["):
            table = _table(part, counts)
            out.setdefault(table, begin)
        else:
            for path in _paths(part):
                out.setdefault((*table, *path), begin)
        begin, lines = number + 1, []
    return out


def place_of(places: dict[At, int], path: At) -> int:
    """Line of a key, or of the nearest table above it; 1 where nothing is known."""
    above = (path[:length] for length in range(len(path), 0, -1))
    return next((places[table] for table in above if table in places), 1)


def _table(header: dict[str, Any], counts: dict[At, int]) -> At:
    """The way to a table that a line opens; one below a list of tables belongs to the last of them, whose number is counted."""
    out: At = ()
    part: Any = header
    while part:
        ((key, part),) = part.items()
        out = (*out, key)
        if isinstance(part, list):
            counts[out] = counts.get(out, -1) + 1
            part = part[0]
        if out in counts:
            out = (*out, counts[out])
    return out


def _paths(part: Mapping[str, Any]) -> Iterator[At]:
    """The ways to all keys of a part, those of its inline tables included."""
    waiting: list[tuple[At, Mapping[str, Any]]] = [((), part)]
    while waiting:
        at, table = waiting.pop()
        for key, value in table.items():
            yield (*at, key)
            if isinstance(value, dict):
                waiting.append(((*at, key), value))


YEARS = (1970, 2999)


class Document:
    """Takes values out of the document and says where a wrong one stands; ``at`` is the way to a table."""

    def __init__(self, path: Path, text: str) -> None:
        self.path = path
        self.places = places_of(text)

    def place(self, at: At, key: str | None = None) -> str:
        """File and line of a key."""
        return f"{self.path.name}, line {place_of(self.places, at if key is None else (*at, key))}"

    def fail(self, at: At, key: str | None, text: str) -> CaseError:
        """The error of a wrong line."""
        return CaseError(f"{self.place(at, key)}: {text}")

    def need(self, sound: bool, at: At, key: str | None, text: str) -> None:
        """Refuse a line that is not sound."""
        if not sound:
            raise self.fail(at, key, text)

    def known(self, at: At, values: Mapping[str, Any], allowed: Sequence[str]) -> None:
        """Refuse keys that are none."""
        for key in [key for key in values if key not in allowed]:
            raise self.fail(at, key, f"{key!r} is not known here; {check.hint(key, allowed)}")

    def text(self, at: At, values: Mapping[str, Any], key: str) -> str | None:
        """Text, None where it is empty or not there."""
        value = values.get(key)
        if value is None or value == "":
            return None
        if not isinstance(value, str):
            raise self.fail(at, key, f"{key} must be text in quotes, got {shown(value)}.")
        return value

    def number(
        self, at: At, values: Mapping[str, Any], key: str, *, least: float | None = None, most: float | None = None
    ) -> float | None:
        """A finite number within bounds."""
        value = values.get(key)
        if value is None:
            return None
        number = math.nan
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            with contextlib.suppress(OverflowError):
                number = float(value)
        outside = (least is not None and number < least) or (most is not None and number > most)
        if not math.isfinite(number) or outside:
            allowed = "a number"
            if least is not None:
                allowed += f" of {least:g} or more" if most is None else f" from {least:g} to {most:g}"
            raise self.fail(at, key, f"{key} must be {allowed}, got {shown(value)}.")
        return number

    def choice(self, at: At, values: Mapping[str, Any], key: str, allowed: Sequence[str], default: str) -> str:
        """One of a few words."""
        value = values.get(key, default)
        self.need(value in allowed, at, key, f"{key} must be one of {', '.join(map(repr, allowed))}, got {shown(value)}.")
        return str(value)

    def date(self, at: At, values: Mapping[str, Any], key: str) -> dt.date | None:
        """A date, or a date and time."""
        value = values.get(key)
        if value is None:
            return None
        found = value if isinstance(value, dt.date) else None
        if isinstance(value, str):
            try:
                clock = "T" in value or " " in value
                found = dt.datetime.fromisoformat(value) if clock else dt.date.fromisoformat(value)
            except ValueError:
                pass
        if found is None:
            raise self.fail(at, key, f"{key} must be a date such as 2031-03-09, got {shown(value)}.")
        said = f"{key} must lie in the years {YEARS[0]} to {YEARS[1]}, got {found.year}."
        self.need(YEARS[0] <= found.year <= YEARS[1], at, key, said)
        return found


def shown(value: Any) -> str:
    """A value of the file, short enough for a sentence."""
    if isinstance(value, (dt.date, dt.time)):
        return str(value)
    try:
        said = repr(value)
    except ValueError:  # a whole number of more digits than Python writes
        return "a number of thousands of digits"
    return said if len(said) <= 60 else f"{said[:57]}..."
