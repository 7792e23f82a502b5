"""How far a long task is: told by whoever walks through samples, heard by a command line that shows a bar, else by nobody."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

Listener = Callable[[float], None]

_listeners: list[Listener] = []


def tell(done: float, whole: float | None) -> None:
    """Say that ``done`` of ``whole`` is behind us; a whole that is not known says nothing."""
    if _listeners and whole:
        _listeners[-1](min(done / whole, 1.0))


@contextmanager
def heard_by(listener: Listener) -> Iterator[None]:
    """Let ``listener`` hear the shares told meanwhile."""
    _listeners.append(listener)
    try:
        yield
    finally:
        _listeners.remove(listener)
