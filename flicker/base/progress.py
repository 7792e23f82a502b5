"""How far a long task is: told by whoever walks through samples, heard by a command line that shows a bar, else by nobody.

A share that falls begins another walk.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import TypeVar

Listener = Callable[[float], None]
Item = TypeVar("Item")

_listeners: list[Listener] = []


def tell(done: float, whole: float | None) -> None:
    """Say that ``done`` of ``whole`` is behind us; a whole that is not known says nothing."""
    if _listeners and whole:
        _listeners[-1](min(done / whole, 1.0))


def each(items: Iterable[Item], whole: int, *, done: int = 0) -> Iterator[Item]:
    """Hand out ``items`` one by one, and tell after each how many of ``whole`` are done, ``done`` of them before."""
    for number, item in enumerate(items, done + 1):
        yield item
        tell(number, whole)


@contextmanager
def heard_by(listener: Listener) -> Iterator[None]:
    """Let ``listener`` hear the shares told meanwhile."""
    _listeners.append(listener)
    try:
        yield
    finally:
        _listeners.remove(listener)
