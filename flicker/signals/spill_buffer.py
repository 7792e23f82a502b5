"""Samples of striking blocks, kept while a log is read the first time, so that the second look need not read it again.

A stash only saves work: what it does not hold is read from the log, and no result depends on what it holds. What goes
beyond `MOST_BYTES` lies in a temporary file without a name; where that would grow beyond `MOST_SPILT` the stash is given
up, since the log must then be read a second time anyway.
"""

from __future__ import annotations

import bisect
import shutil
import tempfile
from array import array
from collections.abc import Iterable, Iterator, Sequence
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from flicker.base.arrays import Floats
from flicker.base.runs import true_runs
from flicker.logs.model import Piece

MOST_BYTES = 16 << 20  # in memory; a choice: bounds memory
MOST_SPILT = 768 << 20  # on the disk; a choice: bounds the disk
SPARE = 4  # times as much must be free on the disk before a temporary file is begun; a choice
MIDDLES = 64  # blocks whose middle says where the level is; chosen, not measured
TAIL_BLOCKS = 6  # after the last that a relay must see; chosen, not measured
FIRST_S = 60.0  # of each stretch are kept at full rate: what the lead reads before an output relay closes; a choice


class Stash:
    """Rows of a source, in order; each entry holds consecutive rows: first row, seconds, volts per channel."""

    def __init__(self, swing_V: float, release_V: float, tail_s: float) -> None:
        self.swing_V, self.release_V, self.tail_s = swing_V, release_V, tail_s
        self.first = array("q")
        self.size = array("q")
        self.dtypes: list[str] = []  # of the seconds and of each channel
        self._held: list[tuple[Floats, ...]] = []  # the first entries; those that follow lie in the file
        self._file: IO[bytes] | None = None
        self._at = array("q")  # where in the file
        self._end = 0
        self._bytes = 0
        self._over = False
        self._middles: list[Floats] = []
        self._until_s = -np.inf  # a relay may still be open until then

    @property
    def spilt(self) -> bool:
        """Whether the samples that stand out are too many for the memory set aside for them."""
        row = sum(np.dtype(kind).itemsize for kind in self.dtypes)
        return self._over or row * sum(self.size) > MOST_BYTES

    def begin(self) -> None:
        """Another stretch of the log follows, with a clock of its own."""
        self._until_s = -np.inf

    def look(self, piece: Piece, size: int, reduced: Sequence[dict[str, NDArray[Any]]]) -> None:
        """Keep the rows of those of the blocks just made that stand out; ``size`` rows make a block."""
        if self._over:
            return
        count = piece.time_s.size // size
        keep = np.zeros(count, dtype=bool)
        loud = np.zeros(count, dtype=bool)
        self._middles = self._middles or [np.empty(0)] * len(reduced)
        for number, block in enumerate(reduced):
            low, high = block["low"], block["high"]
            over = (block["over_low"] > 0) | (block["over_high"] > 0)
            near = np.concatenate((self._middles[number], block["middle"]))[-max(MIDDLES, count) :]
            self._middles[number] = near[-MIDDLES:]
            with np.errstate(invalid="ignore"):
                known = np.sort(near[~np.isnan(near)])
                level = 0.5 * float(known[(known.size - 1) // 2] + known[known.size // 2]) if known.size else 0.0
                keep |= over | (high > level + self.swing_V) | (low < level - self.swing_V)
                loud |= over | (high > self.release_V) | (low < -self.release_V)
        begin_s, end_s = piece.time_s[::size], piece.time_s[size - 1 :: size]
        if loud.any() or begin_s[0] <= self._until_s:
            tail_s = self.tail_s + TAIL_BLOCKS * float(end_s[0] - begin_s[0])
            until = np.maximum.accumulate(np.where(loud, end_s + tail_s, self._until_s))
            keep |= loud | (begin_s <= until)
            keep[1:] |= loud[:-1]
            self._until_s = float(until[-1])
        keep |= begin_s <= FIRST_S
        if not keep.any():
            return
        first, last = true_runs(keep)
        for lo, hi in zip((first * size).tolist(), (last * size).tolist(), strict=True):
            self.add(piece.first + lo, piece.time_s[lo:hi].copy(), tuple(part[lo:hi].copy() for part in piece.values))

    def add(self, first: int, time_s: Floats, values: tuple[Floats, ...]) -> None:
        """Keep rows, which come after all that are kept already."""
        if self._over:
            return
        columns = (time_s, *values)
        size = sum(part.nbytes for part in columns)
        self.dtypes = self.dtypes or [part.dtype.str for part in columns]
        if self._file is None and self._bytes + size <= MOST_BYTES:
            self._held.append(columns)
            self._bytes += size
        elif not self._spill(columns, size):
            self.clear()
            self._over = True
            return
        self.first.append(first)
        self.size.append(time_s.size)

    def _spill(self, columns: tuple[Floats, ...], size: int) -> bool:
        """Write an entry to the temporary file; False where there is no room for it."""
        try:
            if self._file is None:
                if shutil.disk_usage(tempfile.gettempdir()).free < SPARE * MOST_SPILT:
                    return False
                self._file = tempfile.TemporaryFile()  # noqa: SIM115 - lives as long as the stash
            if self._end + size > MOST_SPILT:
                return False
            self._file.seek(self._end)
            for part in columns:
                self._file.write(np.ascontiguousarray(part).data)
        except OSError:
            return False
        self._at.append(self._end)
        self._end += size
        return True

    def lend(self, file: IO[bytes], at: int, first: list[int], size: list[int], dtypes: list[str]) -> None:
        """Take entries that lie one after the other in a file that is open already, from byte ``at`` on."""
        self._file, self.first, self.size, self.dtypes = file, array("q", first), array("q", size), dtypes
        row = sum(np.dtype(kind).itemsize for kind in dtypes)
        self._at = array("q", (at + row * (np.cumsum([0, *size])[:-1])).astype(int).tolist())

    def raw(self) -> Iterator[bytes | memoryview]:
        """All entries as bytes, one after the other, each the seconds and then the channels."""
        for place in range(len(self.first)):
            for part in self._part(place, range(len(self.dtypes)), 0, self.size[place]):
                yield np.ascontiguousarray(part).data.cast("B")

    def _part(self, place: int, columns: Iterable[int], first: int, last: int) -> list[Floats]:
        """Rows ``first`` to ``last`` (half open) of an entry, of some columns: 0 the seconds, then the channels."""
        if place < len(self._held):
            return [self._held[place][k][first:last] for k in columns]
        assert self._file is not None
        out, kinds = [], [np.dtype(kind) for kind in self.dtypes]
        for k in columns:
            width, before = kinds[k].itemsize, sum(kind.itemsize for kind in kinds[:k])
            self._file.seek(self._at[place - len(self._held)] + before * self.size[place] + first * width)
            out.append(np.frombuffer(self._file.read((last - first) * width), kinds[k], last - first))
        return out

    def clear(self) -> None:
        """Let go of everything: the second look is over."""
        self._held.clear()
        self.first, self.size, self._at = array("q"), array("q"), array("q")
        if self._file is not None:
            self._file.close()
            self._file = None
        self._end = self._bytes = 0

    def rows(self, run: int, first: int, last: int, channels: Sequence[int] | None = None) -> list[Piece] | None:
        """Rows ``first`` to ``last`` (half open) in pieces, or None if not all of them are kept."""
        place = bisect.bisect_right(self.first, first) - 1
        wanted = []
        at = first
        while at < last:
            if not (0 <= place < len(self.first) and self.first[place] <= at < self.first[place] + self.size[place]):
                return None
            wanted.append(place)
            at = self.first[place] + self.size[place]
            place += 1
        out = []
        columns = (0, *(1 + k for k in (range(len(self.dtypes) - 1) if channels is None else channels)))
        for place in wanted:
            begin = self.first[place]
            lo, hi = max(first - begin, 0), min(last - begin, self.size[place])
            time, *values = self._part(place, columns, lo, hi)
            out.append(Piece(run, begin + lo, time, tuple(values), False))
        return out
