"""Keeps parsed samples where they fit: in memory while few, else in a temporary file without a name."""

from __future__ import annotations

import os
import shutil
import tempfile
import weakref
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import IO, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from flicker.base.arrays import Floats
from flicker.logs.model import Batch, LogError
from flicker.logs.reading import files
from flicker.logs.reading.planning.plan import How
from flicker.logs.reading.samples.entries import Entry
from flicker.logs.sampling import cadence_of

IN_MEMORY_BYTES = 32 << 20
BATCH_ROWS = 131_000  # a choice; a multiple of 1,000, so that blocks of a second mostly end with the batch


class Spool:
    """Rows of float64 columns, appended once, read from any row as often as asked."""

    def __init__(self, columns: int, name: str, *, in_memory: int = IN_MEMORY_BYTES, expected_rows: int = 0) -> None:
        self.columns = columns
        self.rows = 0
        self._name = name
        self._limit = in_memory
        self._need = 8 * columns * expected_rows
        self._blocks: list[list[Floats] | int] = []  # arrays, or where they begin in the file
        self._starts: list[int] = [0]
        self._bytes = 0
        self._file: IO[bytes] | None = None

    def append(self, columns: Sequence[Floats]) -> None:
        """Add rows; one array of shape (rows,) per column."""
        block = [np.ascontiguousarray(column, dtype=np.float64) for column in columns]
        if block[0].size == 0:
            return
        self._blocks.append(block if self._file is None else self._store(block))
        self.rows += block[0].size
        self._starts.append(self.rows)
        self._bytes += sum(column.nbytes for column in block)
        if self._file is None and self._bytes > self._limit:
            self._check_room()
            self._file = files.scratch()
            weakref.finalize(self, self._file.close)
            self._bytes = 0
            self._blocks = [self._store(b) if isinstance(b, list) else b for b in self._blocks]

    def _check_room(self) -> None:
        free = shutil.disk_usage(tempfile.gettempdir()).free
        if free < self._need:
            raise LogError(
                f"{self._name} needs about {self._need >> 20} MiB in the temporary folder for its samples, and"
                f" {free >> 20} MiB are free; make room, or point TMPDIR to another disk."
            )

    def _store(self, block: list[Floats]) -> int:
        """Write a block to the end of the file, column after column; where it begins."""
        assert self._file is not None
        at = self._file.seek(0, os.SEEK_END)
        try:
            for column in block:
                self._file.write(column.data)
            self._file.flush()
        except OSError as error:
            raise LogError(
                f"{self._name}: no room for its samples in the temporary folder ({error.strerror});"
                f" it needs about {(at + 8 * block[0].size * self.columns) >> 20} MiB or more there."
            ) from None
        return at

    def _spans(self, first: int, last: int) -> Iterator[tuple[int, int, int]]:
        """The blocks that hold some rows: number, first and last row within each."""
        number = int(np.searchsorted(self._starts, first, side="right")) - 1
        while first < last:
            begin, end = self._starts[number], min(self._starts[number + 1], last)
            yield number, first - begin, end - begin
            first = end
            number += 1

    def read(self, column: int, first: int, last: int) -> Floats:
        """Return rows ``first`` to ``last`` (half open) of a column."""
        spans = list(self._spans(first, min(last, self.rows)))
        if len(spans) == 1 and isinstance(held := self._blocks[spans[0][0]], list):
            return held[column][spans[0][1] : spans[0][2]]
        out = np.empty(sum(hi - lo for _, lo, hi in spans))
        at = 0
        for number, lo, hi in spans:
            part, block = out[at : at + hi - lo], self._blocks[number]
            at += hi - lo
            if isinstance(block, list):
                part[:] = block[column][lo:hi]
            else:
                assert self._file is not None
                os.preadv(self._file.fileno(), [part.data], block + 8 * (column * self._height(number) + lo))
        return out

    def _height(self, number: int) -> int:
        return self._starts[number + 1] - self._starts[number]

    def write(self, column: int, first: int, values: Floats) -> None:
        """Replace values of a column from row ``first`` on."""
        done = 0
        for number, lo, hi in self._spans(first, first + values.size):
            part = np.ascontiguousarray(values[done : done + hi - lo])
            done += hi - lo
            block = self._blocks[number]
            if isinstance(block, list):
                block[column] = block[column].copy()  # what was handed out before stays as it was
                block[column][lo:hi] = part
            else:
                assert self._file is not None
                os.pwrite(self._file.fileno(), part.data, block + 8 * (column * self._height(number) + lo))

    def starts(self, first: int, last: int) -> Iterator[tuple[int, int]]:
        """Yield the borders at which rows are best handed out: batches on a grid, blocks of the text are smaller."""
        last = min(last, self.rows)
        while first < last:
            end = min(last, (first // BATCH_ROWS + 1) * BATCH_ROWS)
            yield first, end
            first = end


class FileHead(NamedTuple):
    """What a file told beside its samples: its clock, remarks, words that some rows held, and how many rows could not be read."""

    start: datetime | None
    wall_s: float | None
    notes: tuple[str, ...]
    entries: tuple[Entry, ...]
    unread: int


class SpoolSource:
    """A file parsed once as ``how`` says: time in column 0, then the channels, then the run number where the file tells runs."""

    def __init__(self, file: Any, spool: Spool, channels: Sequence[str], how: How, told: FileHead) -> None:
        plan = how.plan
        self.name = file.name
        self.how = how
        self.averaged: tuple[str, ...] = plan.averaged
        self.channels = tuple(channels)
        self.rows: int | None = spool.rows
        self.start, self.wall_s, self.notes, self.entries, self.unread = told
        self.roles: tuple[str, ...] = plan.roles if plan.key is None else ()
        self._file = file
        self._spool = spool
        self._run = 1 + len(self.channels) if plan.run is not None and plan.key is None else None
        self.cadence_s, self.reach_s = cadence_of(spool.read(0, 0, 4097))

    def batches(
        self, first: int = 0, last: int | None = None, *, time: bool = True, channels: Sequence[int] | None = None
    ) -> Iterator[Batch]:
        """Hand out rows ``first`` to ``last`` (half open)."""
        spool = self._spool
        wanted = range(len(self.channels)) if channels is None else channels
        for lo, hi in spool.starts(first, spool.rows if last is None else last):
            run: NDArray[Any] | None = None if self._run is None else spool.read(self._run, lo, hi)
            yield Batch(
                first=lo,
                time_s=spool.read(0, lo, hi) if time else None,
                values=tuple(spool.read(1 + k, lo, hi) for k in wanted),
                run=run,
            )

    def fingerprint(self) -> str | None:
        """Return the SHA-256 of the file, None for a table in memory."""
        found: str | None = self._file.digest()
        return found
