"""Reading goes on, in threads of its own, while the last item is worked on. A stream of one item starts no thread."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from itertools import chain, islice
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from concurrent.futures import Future

Item = TypeVar("Item")
Made = TypeVar("Made")

DEPTH = 2  # items that wait; memory holds so many and two more


def ahead(stream: Iterator[Item]) -> Iterator[Item]:
    """Hand on the items of a stream in order; an error in it is raised here.

    The stream is only touched by one thread at a time. Where the user stops early, reading stops with the item at hand.
    """
    yield from islice(stream, 1)
    second = list(islice(stream, 1))
    if not second:
        return
    from concurrent.futures import ThreadPoolExecutor  # late: a short log does without

    end = object()
    pool = ThreadPoolExecutor(1, thread_name_prefix="flicker-reader")
    waiting: deque[Future[Any]] = deque(pool.submit(next, stream, end) for _ in range(DEPTH))
    try:
        yield from second
        while (item := waiting.popleft().result()) is not end:
            waiting.append(pool.submit(next, stream, end))
            yield item
    finally:
        pool.shutdown(cancel_futures=True)


def side_by_side(work: Callable[[Item], Made], items: Iterable[Item]) -> Iterator[tuple[Item, Made]]:
    """Yield each item with what ``work`` makes of it, in order; some items are worked on at once, in threads.

    The items themselves are taken in the caller's thread, one more than are at work. An error is raised in its turn.
    """
    rest = iter(items)
    first = list(islice(rest, 2))
    if len(first) < 2:
        yield from ((item, work(item)) for item in first)
        return
    from concurrent.futures import ThreadPoolExecutor  # late: a short log does without

    waiting: deque[tuple[Item, Future[Made]]] = deque()
    pool = ThreadPoolExecutor(DEPTH, thread_name_prefix="flicker-worker")
    try:
        for item in chain(first, rest):
            waiting.append((item, pool.submit(work, item)))
            if len(waiting) > DEPTH:
                done, made = waiting.popleft()
                yield done, made.result()
        while waiting:
            done, made = waiting.popleft()
            yield done, made.result()
    finally:
        pool.shutdown(cancel_futures=True)
