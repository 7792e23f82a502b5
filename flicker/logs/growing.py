"""A text log that a logger is still writing: whole new lines in, samples in volts out, as they come.

Only bytes up to the last end of line count. Each look reads the last consumed bytes again at their place: where they
differ, or the file has shrunk or is another one, it is a new file, whose layout is told anew; so it is below a heading
that names other columns or another unit. A line that cannot be read keeps its place in time, without a reading. Nothing
that was read is kept.
"""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import IO

import numpy as np
from numpy.typing import NDArray

from flicker.logs.errors import LogError, Question
from flicker.logs.reading import files
from flicker.logs.reading.planning.columns import Wishes
from flicker.logs.reading.planning.plan import Plan, make_plan
from flicker.logs.reading.questions import all_of
from flicker.logs.reading.text import sniff
from flicker.logs.reading.text.text_log import _Reader
from flicker.logs.sampling import RUN_GAP_S, Timekeeper, cadence_of

Floats = NDArray[np.float64]

LOOK_BACK = 256  # bytes read again at each look
CHUNK = 1 << 20  # bytes taken at one look
FEW_LINES = 12  # lines of readings from which a layout is told
MOST_NOTES = 200
PATIENCE = 50  # lines in a row that cannot be read before it is an error
_WORDS = re.compile(rb"^[ \t]*[^\W\d_]?[^\d\s.,;+-][^\n]*\n", re.MULTILINE)  # lines that do not begin as a number does


@dataclass(frozen=True, slots=True)
class Fresh:
    """New samples of one run without a gap inside; ``time_s`` since the run's first sample, one array per channel.

    ``run`` counts runs over all files; ``after_gap`` tells that they follow a gap (or begin a run).
    """

    run: int
    time_s: Floats
    values: tuple[Floats, ...]
    after_gap: bool


class _Taken:
    """Stands in for the spool of the reader: holds the rows of one block only."""

    def __init__(self) -> None:
        self.rows = 0
        self.parts: list[list[Floats]] = []

    def append(self, columns: Sequence[Floats]) -> None:
        if columns[0].size:
            self.parts.append([np.asarray(column, dtype=np.float64) for column in columns])
            self.rows += int(columns[0].size)


class GrowingLog:
    """Follows one path; `poll` returns what is new.

    Parameters
    ----------
    path : path
        A text log (CSV and its kin) in UTF-8 or plain ASCII.
    wishes : Wishes
        What the caller said about the file.
    run_gap_s : float
        A pause longer than this, in the log's own time, begins a new run.

    Raises
    ------
    LogError
        If there is no such file, or its lines cannot be read.
    """

    def __init__(
        self, path: str | os.PathLike[str], wishes: Wishes | None = None, *, run_gap_s: float = RUN_GAP_S
    ) -> None:
        self.path = os.fspath(path)
        self.name = os.path.basename(self.path)
        self.channels: tuple[str, ...] = ()
        self.cadence_s: float | None = None
        self.notes: list[str] = []
        self.files = 0
        self._wishes = wishes or Wishes()
        self._run_gap_s = run_gap_s
        self._handle: IO[bytes] | None = None
        self._runs = -1
        self._bad = 0
        self._first_channels: tuple[str, ...] | None = None
        self._open()

    # ------------------------------------------------------------ the file

    def _open(self) -> None:
        if self._handle is not None:
            self._handle.close()
        try:
            self._handle = open(self.path, "rb")  # noqa: SIM115  kept between looks, so that a renamed file is read on
        except FileNotFoundError:
            raise LogError(f"{self.path}: there is no such file.") from None
        except OSError as problem:
            raise LogError(f"{self.path} cannot be read: {problem.strerror}.") from None
        if not os.path.isfile(self.path):
            raise LogError(f"{self.path} is not a regular file; write the log to a file first.")
        self._inode = os.fstat(self._handle.fileno()).st_ino
        self._at = 0
        self._last = b""
        self._begin()
        self.files += 1

    def _begin(self) -> None:
        """What follows has a layout and a clock of its own."""
        self._reader: _Reader | None = None
        self._taken = _Taken()
        self._keeper: Timekeeper | None = None
        self._base_run = self._runs + 1
        self._unread = 0

    def close(self) -> None:
        """Let go of the file."""
        if self._handle is not None:
            self._handle.close()
            self._handle = None

    def poll(self) -> list[Fresh]:
        """Return new samples; an empty list where nothing came."""
        assert self._handle is not None
        size = os.fstat(self._handle.fileno()).st_size
        if size < self._at or self._changed():
            self._new_file("shrank or was written anew")
            size = os.fstat(self._handle.fileno()).st_size
        out = self._read() if size > self._at else []
        if not out:
            try:
                now = os.stat(self.path)
            except OSError:
                return out  # being turned over; look again later
            if now.st_ino != self._inode:
                self._new_file("was replaced")
                out = self._read()
        return out

    def _changed(self) -> bool:
        if not self._last:
            return False
        assert self._handle is not None
        self._handle.seek(self._at - len(self._last))
        return self._handle.read(len(self._last)) != self._last

    def _new_file(self, what: str) -> None:
        self.notes.append(f"{self.name} {what}; followed from its beginning as a new run.")
        self._open()

    def _read(self) -> list[Fresh]:
        assert self._handle is not None
        self._handle.seek(self._at)
        block = self._handle.read(CHUNK)
        end = block.rfind(b"\n") + 1
        if end == 0:
            if len(block) >= CHUNK:
                raise LogError(
                    f"{self.name}: a line of more than {CHUNK >> 10} KiB; this is no log: write the readings in lines."
                )
            if block.count(b"\r") > FEW_LINES:
                raise LogError(
                    f"{self.name}: its lines end with a carriage return alone; watch follows lines that end with a line"
                    " feed, so set the logger to that, or assess this log when it is complete."
                )
            return []
        block = block[:end]
        if self._reader is None:
            begin = self._layout(block)
            if begin is None:
                return []
            self._mark(block[:begin])
            block = block[begin:]
        heading = self._heading_in(block)
        if heading is None:
            self._mark(block)
            return self._samples(block)
        self._mark(block[:heading])
        out = self._samples(block[:heading]) if heading else []
        self.notes.append(f"{self.name}: the heading changes; followed from there as a new run.")
        self._begin()
        return out or self._read()

    def _heading_in(self, block: bytes) -> int | None:
        """Where lines begin that end in another heading than the one read by; None where there are none."""
        assert self._reader is not None
        mender = self._reader.mender
        begin = end = -1
        for line in _WORDS.finditer(block):
            if line.start() != end:
                begin = line.start()
            end = line.end()
            if mender.another_heading(line.group().decode("utf-8", "replace").rstrip("\r\n")):
                return begin
        return None

    def _mark(self, block: bytes) -> None:
        self._last = (self._last + block)[-LOOK_BACK:]
        self._at += len(block)

    # ------------------------------------------------------------ the lines

    def _layout(self, head: bytes) -> int | None:
        """Tell the layout once enough lines are there; returns where the readings begin."""
        encoding, mark = files.encoding_of(head)
        if encoding != "utf-8":
            raise LogError(f"{self.name} is written in {encoding.upper()}; watch follows logs in UTF-8 or ASCII.")
        kind = files.kind_of(head, self.name)
        if kind != "text":
            raise LogError(f"{self.name} is no text log; watch follows logs that grow by lines.")
        body = head[mark:]

        def planned(wishes: Wishes) -> tuple[sniff.Layout, Plan | None]:
            layout = sniff.sniff(body, b"", True, wishes, self.name)
            if body.count(b"\n", layout.begin) < FEW_LINES:
                return layout, None
            return layout, make_plan(layout.columns, wishes, self.name, layout.preamble)

        try:
            layout, plan = planned(self._wishes)
        except LogError as problem:
            if body.count(b"\n") < FEW_LINES:
                return None
            if isinstance(problem, Question):
                raise all_of(problem, planned, self._wishes, self.name) from None
            raise
        if plan is None:
            return None
        if plan.key is not None:
            raise LogError(
                f'{self.name}: column "{layout.header[plan.key]}" names the channel of each row; watch follows logs with one'
                " column for each channel, so assess this one when it is complete."
            )
        names = tuple(channel.name for channel in plan.channels if channel.role == "output")
        if self._first_channels is not None and names != self._first_channels:
            raise LogError(
                f"{self.name}: what was begun now has other channels ({', '.join(names)}) than what was before "
                f"({', '.join(self._first_channels)}); watch it by itself."
            )
        self._first_channels = self.channels = names
        self._reader = _Reader(self.name, layout, plan, 0)
        self._reader.spool = self._taken  # type: ignore[assignment]
        self.notes.extend(note for note in (*layout.notes, *plan.notes) if note not in self.notes)
        return mark + layout.begin

    def _samples(self, block: bytes) -> list[Fresh]:
        assert self._reader is not None
        self._taken.parts.clear()
        try:
            self._reader.take([(block, False)])
            self._bad = 0
        except LogError as problem:
            self._one_by_one(block, problem)
        if self._reader.unread >= max(1, 2 * self._unread):
            self._unread = self._reader.unread
            self.notes.append(f"{self.name}: not read, and so not observed: {self._unread} lines or readings so far.")
        if not self._taken.parts:
            return []
        columns = [np.concatenate(column) for column in zip(*self._taken.parts, strict=True)]
        self._taken.parts.clear()
        time, values = columns[0], columns[1 : 1 + len(self.channels)]
        run = columns[-1] if self._reader.plan.run is not None else None
        if self._keeper is None:
            cadence, reach = cadence_of(time[:4097])
            self._keeper = Timekeeper(cadence, self._run_gap_s, reach_s=reach, wall_s=self._reader.wall_s)
        out = []
        for cut in self._keeper.feed(time, run):
            self._runs = max(self._runs, self._base_run + cut.run)
            out.append(
                Fresh(
                    self._base_run + cut.run,
                    cut.time_s,
                    tuple(column[cut.lo : cut.hi] for column in values),
                    cut.after_gap,
                )
            )
        self.cadence_s = self._keeper.cadence_s
        return out

    def _one_by_one(self, block: bytes, problem: LogError) -> None:
        """Keep the good lines of a block with a bad one: one slip must not end a week's watch."""
        assert self._reader is not None
        self._taken.parts.clear()
        for line in block.splitlines(keepends=True):
            try:
                self._reader.take([(line, False)])
                self._bad = 0
            except LogError as slip:
                self._bad += 1
                if self._bad == 1 and len(self.notes) < MOST_NOTES:
                    self.notes.append(f"Not read, and so not observed: {slip}")
                if self._bad > PATIENCE:
                    raise problem from None
                blank = self._reader.mender.without_readings(line.decode("utf-8", "replace").rstrip("\r\n"))
                with contextlib.suppress(LogError):
                    self._reader.take([(blank + b"\n", False)])
