"""What the documents about a unit share: their head, and channels found by name."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Protocol, TypeVar

from flicker._version import __version__


class _Named(Protocol):
    @property
    def channel(self) -> str: ...


Item = TypeVar("Item", bound=_Named)


def head(schema: str, seed: int, correction: str) -> dict[str, Any]:
    """First lines of a document: which form it has, what wrote it, and how its p-values were corrected."""
    return {"schema": schema, "version": __version__, "seed": seed, "correction": correction}


def named(channels: Sequence[Item], name: str) -> Item:
    """Return the one of that name.

    Raises
    ------
    KeyError
        If there is none.
    """
    for item in channels:
        if item.channel == name:
            return item
    raise KeyError(name)
