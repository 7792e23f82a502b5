"""Takes items from a stream in a thread of its own, so that reading goes on while the last item is worked on."""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterator
from typing import Any, TypeVar

Item = TypeVar("Item")

DEPTH = 2  # items that wait; memory holds so many and two more


def ahead(stream: Iterator[Item]) -> Iterator[Item]:
    """Hand on the items of a stream in order; an error in it is raised here.

    The stream is only touched by one thread. Where the user stops early, reading stops with the item at hand.
    """
    waiting: queue.Queue[tuple[bool, Any]] = queue.Queue(DEPTH)
    over = threading.Event()

    def read() -> None:
        try:
            for item in stream:
                if over.is_set():
                    return
                waiting.put((True, item))
            waiting.put((False, None))
        except BaseException as problem:  # whatever it is, the user of the stream must see it
            waiting.put((False, problem))

    reader = threading.Thread(target=read, name="flicker-reader", daemon=True)
    reader.start()
    try:
        while True:
            more, item = waiting.get()
            if more:
                yield item
                continue
            if item is not None:
                raise item
            return
    finally:
        over.set()
        while reader.is_alive():  # a reader that waits to hand over must be let go
            try:
                waiting.get_nowait()
            except queue.Empty:
                reader.join(0.01)
