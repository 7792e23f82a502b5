"""Reads DC-coupled WAV recordings by pieces: 16, 24 and 32 bit whole numbers, 32 and 64 bit floats."""

from __future__ import annotations

import struct
import weakref
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import IO

import numpy as np

from flicker.base.arrays import Floats
from flicker.logs.errors import LogError, Question
from flicker.logs.reading import files
from flicker.logs.reading.planning.choice import MAX_CHANNELS
from flicker.logs.reading.planning.columns import Wishes
from flicker.logs.reading.samples.spool import BATCH_ROWS
from flicker.logs.reading.samples.whole import check_rows
from flicker.logs.source import Batch

_KINDS = {(1, 16): "<i2", (1, 24): "", (1, 32): "<i4", (3, 32): "<f4", (3, 64): "<f8"}


class WavSource:
    """A recording; read again from any sample by seeking."""

    def __init__(self, file: files.LogFile, inner: IO[bytes] | None, wishes: Wishes) -> None:
        self.name = file.name
        self._file = file
        self._handle = file.open() if inner is None else inner
        weakref.finalize(self, self._handle.close)
        length = self._handle.seek(0, 2)
        self._tag, self._count, self._rate, self._bits, self._begin, size = _chunks(self._handle, length, self.name)
        if (self._tag, self._bits) not in _KINDS:
            raise LogError(
                f"{self.name}: a WAV of {self._bits} bits (format {self._tag}) is not read;"
                " 16, 24 or 32 bits whole, 32 or 64 bits float are; write it as one of these."
            )
        if not 1 <= self._count <= MAX_CHANNELS:
            raise LogError(
                f"{self.name} has {self._count} channels; 1 to {MAX_CHANNELS} are read; write the channels that matter."
            )
        if self._rate <= 0:
            raise LogError(f"{self.name} has a sample rate of {self._rate}; write it again with its rate.")
        if wishes.full_scale_V is None:
            raise Question(
                f"{self.name} is a recording and does not say how many volts full scale is; say so with full_scale_V"
                " (--full-scale).",
                full_scale_V=1.0,
            )
        self._volts = float(wishes.full_scale_V)
        self._frame = self._count * self._bits // 8
        there = min(size, length - self._begin)
        self.rows: int | None = there // self._frame
        check_rows(self.name, self.rows, few=wishes.few)
        names = ["left", "right"] if self._count == 2 else [f"ch{k + 1}" for k in range(self._count)]
        self._positions = _positions(names, wishes, self.name)
        told = dict(wishes.roles)
        self.roles = tuple(told.get(names[k], "output") for k in self._positions)
        self.channels = tuple(names[k] for k in self._positions)
        self.start: datetime | None = None
        self.cadence_s = 1.0 / self._rate
        self.reach_s = 3.0 / self._rate
        notes = [f"Taken as a DC-coupled recording with {self._volts:g} V at full scale."]
        if self._tag == 1:
            notes.append("Samples at full scale count as over range.")
        if there < size or size % self._frame:
            notes.append("The recording is cut off; it was read up to its last whole sample.")
        self.notes = tuple(notes)

    def batches(
        self, first: int = 0, last: int | None = None, *, time: bool = True, channels: Sequence[int] | None = None
    ) -> Iterator[Batch]:
        """Hand out rows ``first`` to ``last`` (half open)."""
        assert self.rows is not None
        end = self.rows if last is None else min(last, self.rows)
        wanted = range(len(self.channels)) if channels is None else channels
        self._file.check()
        for lo in range(first, end, BATCH_ROWS):
            rows = min(BATCH_ROWS, end - lo)
            values: tuple[Floats, ...] = ()
            if len(wanted):
                self._handle.seek(self._begin + lo * self._frame)
                raw = self._handle.read(rows * self._frame)
                if len(raw) < rows * self._frame:
                    raise LogError(
                        f"{self.name} became shorter while it was being read; read it again when it is complete."
                    )
                values = tuple(self._decode(raw, self._positions[k]) for k in wanted)
            yield Batch(lo, (lo + np.arange(rows)) / self._rate if time else None, values)
        self._file.check()

    def _decode(self, raw: bytes, position: int) -> Floats:
        """Volts of one channel in raw samples; at full scale of whole numbers over range."""
        if self._bits == 24:
            data = np.frombuffer(raw, dtype=np.uint8).reshape(-1, self._count, 3)[:, position]
            low, high = data[:, :2].astype(np.int32), data[:, 2].astype(np.int8).astype(np.int32)
            codes = (high << 16) | (low[:, 1] << 8) | low[:, 0]
        else:
            codes = np.frombuffer(raw, dtype=_KINDS[self._tag, self._bits]).reshape(-1, self._count)[:, position]
        if self._tag == 3:
            return codes.astype(np.float64) * self._volts
        top = 1 << (self._bits - 1)
        values = codes.astype(np.float64) * (self._volts / top)
        values[codes >= top - 1] = np.inf
        values[codes <= -top] = -np.inf
        return values

    def fingerprint(self) -> str | None:
        """Return the SHA-256 of the file."""
        return self._file.digest()


def _positions(names: list[str], wishes: Wishes, name: str) -> list[int]:
    """Which channels are read, by position."""
    if wishes.channels is None:
        return list(range(len(names)))
    missing = [wanted for wanted in wishes.channels if wanted not in names]
    if missing:
        raise LogError(
            f'{name} has no channel "{missing[0]}"; it has {", ".join(names)}; name one of them with channels (--channels NAME).'
        )
    return [names.index(wanted) for wanted in wishes.channels]


def _chunks(handle: IO[bytes], length: int, name: str) -> tuple[int, int, int, int, int, int]:
    """Walk the RIFF chunks; returns format, channels, rate, bits, and where the data begin and how long they are."""
    handle.seek(0)
    lead = handle.read(12)
    if len(lead) < 12 or lead[8:12] != b"WAVE":
        raise LogError(f"{name} is a RIFF file, but no WAV recording; export the readings as WAV or CSV.")
    at, form, long_size = 12, None, None
    while at + 8 <= length:
        handle.seek(at)
        tag, size = struct.unpack("<4sI", handle.read(8))
        if tag == b"ds64" and size >= 24:
            long_size = struct.unpack("<QQ", handle.read(16))[1]
        elif tag == b"fmt " and size >= 16:
            head = handle.read(min(size, 40))
            if len(head) >= 16:
                form = list(struct.unpack("<HHIIHH", head[:16]))
                if form[0] == 0xFFFE and len(head) >= 26:
                    form[0] = struct.unpack("<H", head[24:26])[0]
        elif tag == b"data":
            if form is None:
                break
            if size == 0xFFFFFFFF and long_size is not None:
                size = long_size
            elif size in (0, 0xFFFFFFFF):  # a recorder that never closed its file
                size = length - at - 8
            return form[0], form[1], form[2], form[5], at + 8, size
        at += 8 + size + size % 2
    raise LogError(f"{name} is a WAV file without readable format and data; record or copy it again.")
