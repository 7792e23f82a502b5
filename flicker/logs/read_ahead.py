"""Reading goes on, in threads of its own, while the last item is worked on."""

from __future__ import annotations

import queue
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any, TypeVar

Item = TypeVar("Item")
Made = TypeVar("Made")

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


def side_by_side(work: Callable[[Item], Made], items: Iterable[Item]) -> Iterator[tuple[Item, Made]]:
    """Yield each item with what ``work`` makes of it, in order; some items are worked on at once, in threads.

    The items themselves are taken in the caller's thread, one more than are at work. An error is raised in its turn.
    """
    waiting: deque[tuple[Item, Future[Made]]] = deque()
    pool = ThreadPoolExecutor(DEPTH, thread_name_prefix="flicker-worker")
    try:
        for item in items:
            waiting.append((item, pool.submit(work, item)))
            if len(waiting) > DEPTH:
                first, made = waiting.popleft()
                yield first, made.result()
        while waiting:
            first, made = waiting.popleft()
            yield first, made.result()
    finally:
        pool.shutdown(cancel_futures=True)
