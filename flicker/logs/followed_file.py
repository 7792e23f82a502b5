"""The bytes of a file that another program is still writing: whole new lines, and whether it is still the same file.

Only bytes up to the last end of line count. Each look reads the last consumed bytes again at their place. Where they
differ, or the file has shrunk, or another one has taken its name, it may be the same log written anew as a whole, which
goes on behind what was read; else it is a new file.
"""

from __future__ import annotations

import hashlib
import os
from typing import IO

from flicker.logs.errors import LogError

LOOK_BACK = 256  # bytes read again at each look
CHUNK = 1 << 20  # bytes taken at one look
KEPT = 1 << 16  # bytes of the beginning that are kept, to tell a file that is being written anew from a new one
FEW_LINES = 12  # lines of readings from which a layout is told


class FollowedFile:
    """One path, followed; whoever reads takes `block` and says with `mark` how much of it is done.

    Parameters
    ----------
    path : str
        A regular file.
    notes : list of str
        What has to be told is added here.

    Raises
    ------
    LogError
        If there is no such file.
    """

    def __init__(self, path: str, notes: list[str]) -> None:
        self.path = path
        self.name = os.path.basename(path)
        self.files = 0
        self.dated = False  # whether the lines read hold dates, so that none can stand in two logs
        self.lines = 0  # lines done
        self._notes = notes
        self._told_anew = False
        self._open()
        self._begin()

    def _open(self) -> None:
        """Open what stands under the name now."""
        try:
            handle = open(self.path, "rb")  # noqa: SIM115  kept between looks, so that a renamed file is read on
        except FileNotFoundError:
            raise LogError(f"{self.path}: there is no such file.") from None
        except OSError as problem:
            raise LogError(f"{self.path} cannot be read: {problem.strerror}.") from None
        if not os.path.isfile(self.path):
            handle.close()
            raise LogError(f"{self.path} is not a regular file; write the log to a file first.")
        self._handle: IO[bytes] = handle
        self._inode = os.fstat(handle.fileno()).st_ino

    def _begin(self) -> None:
        """Nothing of this file is done yet."""
        self._at = 0
        self._last = self._head = b""
        self._sum = hashlib.blake2b()
        self.lines = 0
        self.files += 1

    def close(self) -> None:
        """Let go of the file."""
        self._handle.close()

    # ------------------------------------------------------------ the same file?

    def rewritten(self) -> bool:
        """Whether a new file has begun at the place of what was read; to be asked before each look."""
        size = os.fstat(self._handle.fileno()).st_size
        if size >= self._at and not self._changed():
            return False
        return self._new_or_anew("shrank or was written anew")

    def replaced(self) -> bool:
        """Whether a new file has taken the name; to be asked when the old one has nothing more."""
        try:
            now = os.stat(self.path)
        except OSError:
            return False  # being turned over; look again later
        if now.st_ino == self._inode:
            return False
        before = self._handle
        self._open()
        before.close()
        return self._new_or_anew("was replaced")

    def _changed(self) -> bool:
        self._handle.seek(self._at - len(self._last))
        return self._handle.read(len(self._last)) != self._last

    def _new_or_anew(self, what: str) -> bool:
        """False where the lines that were read stand in the file as it is now, or may do so in a moment."""
        self._handle.seek(0)
        head = self._handle.read(KEPT)
        same = min(len(head), len(self._head))
        begins_alike = head[:same] == self._head[:same]
        size = os.fstat(self._handle.fileno()).st_size
        if begins_alike and size < self._at:
            return False  # cut off, or in the middle of being written anew: what comes tells
        if begins_alike and self._resummed(self._at).digest() == self._sum.digest():
            self._anew()
            return False
        place = self._found_behind() if self.dated else None
        if place is not None:
            self._at = place
            self._sum, self._head = self._resummed(place), head[: min(KEPT, place)]
            self._anew()
            return False
        self._notes.append(f"{self.name} {what}; followed from its beginning as a new run.")
        self._begin()
        return True

    def _anew(self) -> None:
        if not self._told_anew:
            self._told_anew = True
            self._notes.append(
                f"{self.name} is written anew as a whole by another program; followed on behind the last line that was read."
            )

    def _resummed(self, size: int) -> hashlib.blake2b:
        """The sum of the first ``size`` bytes of the file as it is now."""
        self._handle.seek(0)
        found = hashlib.blake2b()
        while size > 0 and (part := self._handle.read(min(CHUNK, size))):
            found.update(part)
            size -= len(part)
        return found

    def _found_behind(self) -> int | None:
        """Where the file goes on behind the last lines read, though others were dropped before them."""
        tail = self._last[self._last.find(b"\n") + 1 :]
        if not tail or not self._last.endswith(b"\n"):
            return None
        self._handle.seek(0)
        at, before = 0, b""
        while part := self._handle.read(CHUNK):
            found = (before + part).find(b"\n" + tail)
            if found >= 0:
                return at - len(before) + found + 1 + len(tail)
            at += len(part)
            before = (before + part)[-len(tail) :]
        return None

    # ------------------------------------------------------------ its bytes

    def block(self) -> bytes:
        """Whole lines that are not done yet, up to a mebibyte; empty where there are none."""
        self._handle.seek(self._at)
        block = self._handle.read(CHUNK)
        if len(block) == CHUNK and not block.strip(b"\0"):
            block = self._behind_hole(block)
        end = block.rfind(b"\n") + 1
        if end:
            return block[:end]
        if len(block) >= CHUNK and block.strip(b"\0"):
            raise LogError(
                f"{self.name}: a line of more than {CHUNK >> 10} KiB; this is no log: write the readings in lines."
            )
        if block.count(b"\r") > FEW_LINES:
            raise LogError(
                f"{self.name}: its lines end with a carriage return alone; watch follows lines that end with a line"
                " feed, so set the logger to that, or assess this log when it is complete."
            )
        return b""

    def _behind_hole(self, block: bytes) -> bytes:
        """What stands behind more than a mebibyte of NUL bytes; nothing where they reach to the end, as room kept does."""
        hole = [block]
        while part := self._handle.read(CHUNK):
            if part.strip(b"\0"):
                skipped = sum(map(len, hole))
                for item in hole:
                    self.mark(item)
                self._notes.append(
                    f"{self.name}: {skipped} NUL bytes below line {self.lines}: what stood there is lost."
                )
                self._handle.seek(self._at)
                return self._handle.read(CHUNK)
            hole.append(part)
        return b""

    def mark(self, block: bytes) -> None:
        """These bytes are done."""
        self._last = (self._last + block)[-LOOK_BACK:]
        self._at += len(block)
        self.lines += block.count(b"\n")
        self._sum.update(block)
        if len(self._head) < KEPT:
            self._head = (self._head + block)[:KEPT]
