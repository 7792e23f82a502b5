"""Columns that are no outputs: rail, mains, temperature, shorted lead, and the column of marks. Names in, roles out."""

from __future__ import annotations

from collections.abc import Mapping
from difflib import get_close_matches
from typing import TYPE_CHECKING

from flicker.logs.errors import LogError

if TYPE_CHECKING:
    from flicker.logs.reading.columns import Column

ROLES = ("output", "rail", "mains", "temperature", "shorted lead", "ignore")
WARM_WORDS = {"temperature", "temp", "tempc", "temperatur", "ambient"}
WARM_UNITS = {"", "c", "°c", "degc", "celsius", "f", "°f", "degf", "k", "kelvin"}
MARK_NAMES = {"mark", "marks", "marker", "markers", "event", "events", "note", "notes"}


def checked_roles(roles: Mapping[str, str] | None) -> tuple[tuple[str, str], ...]:
    """Return roles as pairs of column and role.

    Raises
    ------
    LogError
        For a role that is none, with the nearest known one.
    """
    for column, role in (roles or {}).items():
        if role not in ROLES:
            near = get_close_matches(str(role), ROLES, n=1)
            hint = f"did you mean {near[0]!r}?" if near else f"known: {', '.join(ROLES)}."
            raise LogError(f"{role!r} (of the column {column!r}) is not a role; {hint}")
    return tuple((roles or {}).items())


def is_temperature(column: Column) -> bool:
    """Whether header and unit say that a column of numbers is a temperature."""
    from flicker.logs.reading.columns import words_of

    label = column.label
    named = bool(words_of(column.header) & WARM_WORDS)
    return column.kind == "number" and named and label.kind != "volts" and label.unit.lower() in WARM_UNITS


def holds_marks(column: Column) -> bool:
    """Whether a column of words (or one empty so far) is called as columns of marks are."""
    return column.kind in ("text", "empty") and column.header.strip().lower() in MARK_NAMES
