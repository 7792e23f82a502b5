"""Reading goes on, in threads of its own, while the last item is worked on."""

from __future__ import annotations

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
    end = object()
    pool = ThreadPoolExecutor(1, thread_name_prefix="flicker-reader")
    waiting: deque[Future[Any]] = deque(pool.submit(next, stream, end) for _ in range(DEPTH))
    try:
        while (item := waiting.popleft().result()) is not end:
            waiting.append(pool.submit(next, stream, end))
            yield item
    finally:
        pool.shutdown(cancel_futures=True)


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
