"""Columns that are no outputs: rail, mains, temperature, shorted lead, and the column of marks. Names in, roles out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from flicker.base import check
from flicker.logs.errors import LogError

if TYPE_CHECKING:
    from flicker.logs.reading.planning.columns import Column

ROLES = ("output", "rail", "mains", "temperature", "shorted lead", "ignore")
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
            told = check.hint(str(role), ROLES, listed="known:")
            raise LogError(f"{role!r} (of the column {column!r}) is not a role; {told}")
    return tuple((roles or {}).items())


def holds_marks(column: Column) -> bool:
    """Whether a column of words (or one empty so far) is called as columns of marks are."""
    return column.kind in ("text", "empty") and column.header.strip().lower() in MARK_NAMES
