"""What the documents about a unit share: their head, and channels found by name."""

from __future__ import annotations

from typing import Any, Generic, Protocol, TypeVar

from flicker._version import __version__


class _Named(Protocol):
    @property
    def channel(self) -> str: ...
    @property
    def reads(self) -> str: ...


Item = TypeVar("Item", bound=_Named)


def head(schema: str, seed: int, correction: str) -> dict[str, Any]:
    """First lines of a document: which form it has, what wrote it, and how its p-values were corrected."""
    return {"schema": schema, "version": __version__, "seed": seed, "correction": correction}


class ByChannel(Generic[Item]):
    """Mixin of the results that hold one item per channel."""

    __slots__ = ()
    channels: tuple[Item, ...]

    def channel(self, name: str) -> Item:
        """Return the one of that name.

        Raises
        ------
        KeyError
            If there is none.
        """
        for item in self.channels:
            if item.channel == name:
                return item
        raise KeyError(name)

    @property
    def reads(self) -> str:
        """All channels in one paragraph."""
        return " ".join(item.reads for item in self.channels)
