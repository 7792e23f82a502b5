"""Opens a log file with care: what kind it is, its bytes in order, and whether it is still the same file."""

from __future__ import annotations

import codecs
import gzip
import hashlib
import os
import re
import shutil
import stat
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any, Protocol

from flicker.base.progress import tell
from flicker.logs.errors import LogError

SNIFF_BYTES = 1 << 20
TAIL_BYTES = 1 << 16
BLOCK_BYTES = 1 << 20  # they stay in the cache from reading to parsing; a choice for speed
LINE_LIMIT = 1 << 20  # a longer line is no line of a log
FREE_EXPANSION = 256 << 20  # compressed files may always grow to this size,
EXPANSION = 200  # and beyond it to this many times their own

_OBJECT = re.compile(rb"\s*\{\s*\x22[^\n]*\}\s*\r?\n")  # a whole object in the first line
_NUL_RUN = re.compile(rb"\0{8,}")
_MAGIC = (
    (b"PAR1", "parquet"),
    (b"ARROW1", "ipc"),
    (b"RIFF", "wav"),
    (b"RF64", "wav"),
    (b"\x1f\x8b", "gz"),
    (b"PK\x03\x04", "zip"),
)
_OTHER = (
    (b"FEA1", "Feather version 1; write it as version 2"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet; export it as CSV"),
    (b"%PDF", "a PDF; export the readings as CSV"),
    (b"\x89PNG", "a picture; export the readings as CSV"),
    (b"\xff\xd8\xff", "a picture; export the readings as CSV"),
    (b"SQLite format 3", "a database; export the readings as CSV"),
    (b"\x89HDF", "HDF5; export time and channels as CSV or Parquet"),
    (b"TDSm", "TDMS; export time and channels as CSV or Parquet"),
    (b"MATLAB 5.0", "a MATLAB file; export time and channels as CSV or Parquet"),
    (b"\x7fELF", "a program; name a log"),
    (b"BZh", "compressed by bzip2; only gz and zip are read"),
    (b"\xfd7zXZ", "compressed by xz; only gz and zip are read"),
    (b"7z\xbc\xaf", "compressed by 7-Zip; only gz and zip are read"),
    (b"\x28\xb5\x2f\xfd", "compressed by zstd; only gz and zip are read"),
)


class Readable(Protocol):
    """The one method of a binary file that reading needs."""

    def read(self, size: int = -1, /) -> bytes:
        """Return up to ``size`` bytes."""
        ...


class LogFile:
    """A regular file on disk, watched for changes between two looks."""

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self.path = Path(path)
        self.name = self.path.name or str(path)
        self._stat = self._look()
        if self._stat.st_size == 0:
            raise LogError(f"{self.name} is empty; copy it again, or log first.")
        self.size = self._stat.st_size

    def _look(self) -> os.stat_result:
        """The state of the file now; a sentence where it is none that can be read."""
        try:
            found = os.stat(self.path)
        except FileNotFoundError:
            raise LogError(f"{self.path}: there is no such file.") from None
        except (OSError, ValueError) as error:
            raise LogError(f"{str(self.path)!r} cannot be opened: {getattr(error, 'strerror', error)}.") from None
        if stat.S_ISDIR(found.st_mode):
            raise LogError(f"{self.path} is a directory; name the log file in it, or judge all of its logs with flicker survey.")
        if not stat.S_ISREG(found.st_mode):
            raise LogError(f"{self.path} is a pipe or a device, not a file; write the log to a file first.")
        return found

    def open(self) -> IO[bytes]:
        """Open the file for reading, without waiting."""
        try:
            return open(self.path, "rb", opener=lambda p, flags: os.open(p, flags | getattr(os, "O_NONBLOCK", 0)))
        except OSError as error:
            raise LogError(f"{self.path} cannot be read: {error.strerror}.") from None

    def check(self, *, may_grow: bool = False) -> bool:
        """Raise LogError if the file is no longer the one opened at first; return whether bytes were added behind those seen."""
        now, then = self._look(), self._stat
        if may_grow and now.st_size > then.st_size and now.st_ino == then.st_ino:
            return True
        if (now.st_size, now.st_mtime_ns, now.st_ino) != (then.st_size, then.st_mtime_ns, then.st_ino):
            raise LogError(f"{self.name} changed while it was being read; read it again when it is complete.")
        return False

    def digest(self) -> str:
        """Return the SHA-256 of the content."""
        with self.open() as file:
            return hashlib.file_digest(file, "sha256").hexdigest()  # type: ignore[arg-type]


def kind_of(head: bytes, name: str) -> str:
    """Tell from its first bytes what a file is: a known form, or 'text'.

    Raises
    ------
    LogError
        If the bytes are of a known other kind, or of no kind of text.
    """
    for magic, kind in _MAGIC:
        if head.startswith(magic):
            return kind
    for magic, what in _OTHER:
        if head.startswith(magic):
            raise LogError(f"{name} is {what}.")
    if _OBJECT.match(head):
        return "json"
    if encoding_of(head)[0] != "utf-8":
        return "text"
    sample = _NUL_RUN.sub(b"\0", head[:65536])  # a disk's unwritten blocks in the middle of text
    control = sum(sample.count(bytes([code])) for code in (*range(9), 11, *range(14, 27), *range(28, 32), 127))
    if control > max(0.02 * len(sample), 1):
        raise LogError(
            f"{name} is a binary file of unknown kind; text, Parquet, Arrow and WAV are read: export the readings as one of these."
        )
    return "text"


def encoding_of(head: bytes) -> tuple[str, int]:
    """Return the encoding and the length of its byte-order mark; 'utf-8' where nothing else is evident."""
    for mark, encoding in (
        (codecs.BOM_UTF8, "utf-8"),
        (codecs.BOM_UTF32_LE, "utf-32-le"),
        (codecs.BOM_UTF16_LE, "utf-16-le"),
        (codecs.BOM_UTF16_BE, "utf-16-be"),
    ):
        if head.startswith(mark):
            return encoding, len(mark)
    sample = head[:4096]
    even, odd = sample[::2].count(0), sample[1::2].count(0)
    if len(sample) >= 8 and max(even, odd) > 0.4 * len(sample) / 2 and min(even, odd) == 0:
        return ("utf-16-le" if odd > even else "utf-16-be"), 0
    return "utf-8", 0


class _Bounded:
    """Bytes of a compressed file, with a bound on how far it may expand."""

    def __init__(self, inner: IO[bytes], file: LogFile, handle: IO[bytes]) -> None:
        self._inner = inner
        self._file = file
        self._handle = handle
        self._limit = max(FREE_EXPANSION, EXPANSION * file.size)
        self._total = 0

    def read(self, size: int = -1, /) -> bytes:
        name = self._file.name
        try:
            chunk = self._inner.read(size)
        except EOFError:
            raise LogError(f"{name} ends in the middle of its compressed data; copy it again.") from None
        except (OSError, zlib.error, zipfile.BadZipFile, NotImplementedError, RuntimeError) as error:
            raise LogError(f"{name} cannot be decompressed ({error}); copy it again.") from None
        tell(self._handle.tell(), self._file.size)
        self._total += len(chunk)
        if self._total > self._limit:
            raise LogError(
                f"{name} expands to more than {self._limit >> 20} MiB, {self._total // self._file.size} times its size;"
                " if that is right, decompress it first."
            )
        return chunk


class _Limited:
    """The bytes of a plain file as long as it was when first seen."""

    def __init__(self, inner: IO[bytes], size: int) -> None:
        self._inner = inner
        self._left = self._size = size

    def read(self, size: int = -1, /) -> bytes:
        chunk = self._inner.read(self._left if size < 0 else min(size, self._left))
        self._left -= len(chunk)
        tell(self._size - self._left, self._size)
        return chunk


def unpack(file: LogFile, handle: IO[bytes], kind: str) -> Readable:
    """Return the bytes inside a gz or zip file (its one log)."""
    try:
        if kind == "gz":
            return _Bounded(gzip.GzipFile(fileobj=handle), file, handle)  # type: ignore[arg-type]
        archive = zipfile.ZipFile(handle)
        members = [m for m in archive.infolist() if not m.is_dir() and not m.filename.startswith("__MACOSX/")]
        if any(m.filename.startswith("xl/") for m in members):
            from flicker.logs.reading.workbook import as_text

            return as_text(file.name, handle, scratch())
        if len(members) != 1:
            inside = ", ".join(m.filename for m in members[:4]) or "nothing"
            raise LogError(f"{file.name} holds {len(members)} files ({inside}); it must hold one log only.")
        return _Bounded(archive.open(members[0]), file, handle)
    except (OSError, zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, ValueError) as error:
        if isinstance(error, LogError):
            raise
        raise LogError(f"{file.name} cannot be decompressed ({error}); copy it again.") from None


def contents(file: LogFile, handle: IO[bytes]) -> tuple[str, Readable, bool]:
    """Return the kind of what a file holds, its bytes from their beginning, and whether they were packed.

    Of a plain file these are as many bytes as it had when first seen.
    """
    kind = kind_of(handle.read(SNIFF_BYTES), file.name)
    handle.seek(0)
    if kind not in ("gz", "zip"):
        return kind, _Limited(handle, file.size), False
    stream = unpack(file, handle, kind)
    head = stream.read(SNIFF_BYTES)
    if not head:
        raise LogError(f"{file.name} holds an empty file; pack the log again.")
    kind = kind_of(head, file.name)
    if kind in ("gz", "zip"):
        raise LogError(f"{file.name} is compressed twice; decompress it first.")
    return kind, Chain(head, stream), True


def scratch() -> IO[bytes]:
    """Open a temporary file that has no name and vanishes with its last user."""
    return tempfile.TemporaryFile(prefix="flicker-")


def to_scratch(stream: Readable, name: str) -> IO[bytes]:
    """Copy a stream to a temporary file."""
    target = scratch()
    try:
        shutil.copyfileobj(stream, target, BLOCK_BYTES)
        target.flush()
    except (OSError, LogError) as error:
        target.close()
        if isinstance(error, LogError):
            raise
        raise LogError(
            f"{name}: no room for its decompressed content in the temporary folder ({error}); make room, or point TMPDIR to another disk."
        ) from None
    target.seek(0)
    return target


class Lines:
    """A text stream in blocks that end at a line's end."""

    def __init__(self, stream: Readable, name: str) -> None:
        self._name = name
        head = _fill(stream, SNIFF_BYTES)
        self.encoding, skip = encoding_of(head)
        if self.encoding == "utf-8":
            self._stream = stream
            self.head = head[skip:]
        else:
            coded: Any = Chain(head[skip:], stream)
            self._stream = codecs.EncodedFile(coded, "utf-8", self.encoding, errors="replace")
            self.head = _fill(self._stream, SNIFF_BYTES)
        self.complete = len(head) < SNIFF_BYTES
        self._cr = b"\n" not in self.head and b"\r" in self.head
        if self._cr:
            self.head = self.head.replace(b"\r", b"\n")
        if not self.complete and b"\n" not in self.head:
            raise LogError(
                f"{name}, line 1 is longer than {LINE_LIMIT >> 20} MiB; this is no log in lines: export the readings as CSV."
            )

    def blocks(self, offset: int) -> Iterator[tuple[bytes, bool]]:
        """Yield blocks from ``offset`` (within the head) on; the flag says that the file ends with this block."""
        rest = self.head[offset:]
        while True:
            chunk = self._stream.read(BLOCK_BYTES)
            if self._cr:
                chunk = chunk.replace(b"\r", b"\n")
            if not chunk:
                yield rest, True
                return
            cut = chunk.rfind(b"\n") + 1
            if cut:
                yield b"".join((rest, memoryview(chunk)[:cut])), False  # copied once
                rest = chunk[cut:]
            else:
                rest += chunk
            if len(rest) > LINE_LIMIT and rest.rfind(b"\n") < len(rest) - LINE_LIMIT:
                raise LogError(
                    f"{self._name} holds a line longer than {LINE_LIMIT >> 20} MiB; this is no log in lines: export the readings as CSV."
                )


class Chain:
    """Bytes already read, and then the rest."""

    def __init__(self, first: bytes, then: Readable) -> None:
        self._first = first
        self._then = then

    def read(self, size: int = -1, /) -> bytes:
        """Return up to ``size`` bytes."""
        if self._first:
            chunk, self._first = (self._first, b"") if size < 0 else (self._first[:size], self._first[size:])
            return chunk
        return self._then.read(size)


def _fill(stream: Readable, size: int) -> bytes:
    """Read until there are so many bytes, or no more."""
    parts: list[bytes] = []
    have = 0
    while have < size:
        chunk = stream.read(size - have)
        if not chunk:
            break
        parts.append(chunk)
        have += len(chunk)
    return b"".join(parts)


def tail_of(file: LogFile, encoding: str) -> bytes:
    """Return whole lines from the end of an uncompressed file, in UTF-8."""
    with file.open() as handle:
        start = max(0, file.size - TAIL_BYTES) // 4 * 4
        handle.seek(start)
        raw = handle.read(file.size - start)
    text: Any = raw if encoding == "utf-8" else raw.decode(encoding, errors="replace").encode()
    return bytes(text[text.find(b"\n") + 1 :]) if start else bytes(text)
