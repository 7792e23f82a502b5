"""What stands in a column of marks: batches of its cells in, runs of equal words with their rows and times out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from flicker.base.arrays import Bools
from flicker.logs.errors import LogError
from flicker.logs.reading.words.odd_cells import MISSING

MOST_ENTRIES = 20_000


@dataclass(frozen=True, slots=True)
class Entry:
    """Equal words in consecutive rows; times in seconds as the file tells them."""

    first: int
    last: int
    text: str
    first_s: float = 0.0
    last_s: float = 0.0


class Words:
    """Gathers the entries batch by batch; ``told`` says that the column was named by the caller."""

    def __init__(self, name: str, *, told: bool) -> None:
        self._name, self._told = name, told
        self._found: list[Entry] = []

    def take(self, cells: Any, known: Bools, first: int) -> None:
        """Add the cells of a batch; rows without a time are left out, the others counted from ``first``."""
        from flicker.logs import arrow_types  # late: with it pyarrow is loaded

        if len(self._found) > MOST_ENTRIES:
            return
        kinds, codes = arrow_types.coded(arrow_types.bare_words(cells))
        words = [word if word.lower() not in MISSING else "" for word in kinds]
        empty = np.array([not word for word in words], dtype=bool)
        if empty.all():
            return
        codes = codes[known]
        filled = ~empty[codes]
        begins = filled & np.concatenate(([True], codes[1:] != codes[:-1]))
        ends = filled & np.concatenate((codes[1:] != codes[:-1], [True]))
        for a, b in zip(np.flatnonzero(begins).tolist(), np.flatnonzero(ends).tolist(), strict=True):
            word = words[codes[a]]
            if self._found and self._found[-1].last == first + a - 1 and self._found[-1].text == word:
                self._found[-1] = replace(self._found[-1], last=first + b)
            else:
                self._found.append(Entry(first + a, first + b, word))
            if len(self._found) > MOST_ENTRIES:
                break

    def begin_at(self, begin: int, way: int, rows: int) -> None:
        """Count from a row on (``way`` 1) or back (-1), round the end of so many rows."""
        places = [sorted(way * (row - begin) % rows for row in (e.first, e.last)) for e in self._found]
        moved = [replace(e, first=a, last=b) for e, (a, b) in zip(self._found, places, strict=True)]
        self._found = sorted(moved, key=lambda entry: entry.first)

    def finish(self, time_of: Callable[[int], float], notes: list[str]) -> tuple[Entry, ...]:
        """Return the entries with their times.

        Raises
        ------
        LogError
            If the caller named a column that cannot be one of marks.
        """
        if len(self._found) > MOST_ENTRIES:
            text = f"the column of marks changes in more than {MOST_ENTRIES} rows: it holds no marks"
            if self._told:
                raise LogError(
                    f"{self._name}: {text}; name another with marks_column (--marks-column NAME), or leave it out."
                )
            notes.append(f"Not used after all: {text}.")
            return ()
        return tuple(replace(item, first_s=time_of(item.first), last_s=time_of(item.last)) for item in self._found)
