"""A text log that a logger is still writing: whole new lines in, samples in volts out, as they come.

Below a heading that names other columns or another unit the log is read by that heading, each output by its name; where
lines can no longer be read, by a layout told anew from them, if it names the same outputs; else nothing more can be
judged, which is an error. A cell that is no number leaves its channel without a reading, a line that cannot be read all
channels; both keep their place in time. Nothing that was read is kept.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from flicker.base.arrays import Floats
from flicker.logs.errors import LogError, Question
from flicker.logs.followed_file import FEW_LINES, FollowedFile
from flicker.logs.reading import files
from flicker.logs.reading.planning.columns import Found, Wishes
from flicker.logs.reading.planning.plan import Plan, make_plan
from flicker.logs.reading.questions import all_of
from flicker.logs.reading.samples.spool import Spool
from flicker.logs.reading.text import odd_rows, sniff
from flicker.logs.reading.text.text_log import TextReader
from flicker.logs.sampling import RUN_GAP_S, Timekeeper, cadence_of

MOST_NOTES = 200
PATIENCE = FEW_LINES  # lines in a row that cannot be read, from which a layout is told anew
_TOLD = (Found.HEADER, Found.UNITS_ROW, Found.HEADING, Found.OPTION)  # units that no reading was asked for


@dataclass(frozen=True, slots=True)
class Fresh:
    """New samples of one run without a gap inside; ``time_s`` since the run's first sample, one array per channel.

    ``run`` counts runs over all files; ``after_gap`` tells that they follow a gap (or begin a run); ``goes_on`` that a run
    begins without a pause that can be seen: a clock set back, another heading, another file. ``start``: when the run began.
    """

    run: int
    time_s: Floats
    values: tuple[Floats, ...]
    after_gap: bool
    goes_on: bool = False
    start: datetime | None = None


class _Taken(Spool):
    """The rows of one block only, in place of all."""

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

    Attributes
    ----------
    held : int
        Lines at the end that could not be read so far: they wait for what comes below them.

    Raises
    ------
    LogError
        If there is no such file, or its lines cannot be read.
    """

    def __init__(
        self, path: str | os.PathLike[str], wishes: Wishes | None = None, *, run_gap_s: float = RUN_GAP_S
    ) -> None:
        self.path = os.fspath(path)
        self.channels: tuple[str, ...] = ()
        self.cadence_s: float | None = None
        self.notes: list[str] = []
        self._file = FollowedFile(self.path, self.notes)
        self.name = self._file.name
        self._wishes = wishes or Wishes()
        self._run_gap_s = run_gap_s
        self._runs = -1
        self._slip = (0, -1)  # file and line of the last slip that was told
        self._words: set[tuple[str, str]] = set()
        self._unread = self._told_unread = 0
        self._end: datetime | None = None  # when the last sample was taken, where the lines say so
        self._begin()

    def _begin(self) -> None:
        """What follows has a layout and a clock of its own."""
        self._reader: TextReader | None = None
        self._taken = _Taken()
        self._keeper: Timekeeper | None = None
        self._base_run = self._runs + 1
        self._raw = 0.0
        self._copied = 0
        self.held = 0

    @property
    def _now(self) -> TextReader:
        """The reader of the layout that holds now."""
        assert self._reader is not None
        return self._reader

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()

    def poll(self, *, last: bool = False) -> list[Fresh]:
        """Return new samples; an empty list where nothing came. ``last`` takes what waits for further lines as it is."""
        if self._file.rewritten():
            self._begin()
        out = self._read(last)
        if not out and self._file.replaced():
            self._begin()
            out = self._read(last)
        return out

    def _read(self, last: bool = False) -> list[Fresh]:
        """Take the next block of lines: tell its layout first, and again below another heading."""
        block = self._file.block()
        if not block:
            return []
        if self._reader is None:
            begin = self._layout(block)
            if begin is None:
                if last and self._runs >= 0:
                    self._note(f"{self.name}: too few lines below line {self._file.lines} to tell how to read them.")
                return []
            self._file.mark(block[:begin])
            block = block[begin:]
        heading = odd_rows.heading_in(self._now.cutter.mender, block)
        above = block[:heading]
        below = self._file.lines + above.count(b"\n")
        out = self._samples(above, last or heading is not None)
        if heading is None or self._file.lines != below:
            return out
        self._note(
            f"{self.name}, line {self._file.lines + 1}: the heading changes; read by the new one from there, as a new run."
        )
        self._begin()
        return out or self._read(last)

    def _note(self, text: str) -> None:
        if len(self.notes) < MOST_NOTES:
            self.notes.append(text)

    # ------------------------------------------------------------ the layout

    def _layout(self, head: bytes) -> int | None:
        """Tell the layout once enough lines are there; returns where the readings begin."""
        encoding, mark = files.encoding_of(head)
        if encoding != "utf-8":
            raise LogError(f"{self.name} is written in {encoding.upper()}; watch follows logs in UTF-8 or ASCII.")
        kind = files.kind_of(head, self.name)
        if kind != "text":
            raise LogError(f"{self.name} is no text log; watch follows logs that grow by lines.")
        body = head[mark:]
        lines = body.count(b"\n")

        def planned(wishes: Wishes) -> tuple[sniff.Layout, Plan | None]:
            """The layout and plan of the lines so far; no plan where they are too few to tell one."""
            layout = sniff.sniff(body, b"", True, wishes, self.name)
            few = body.count(b"\n", layout.begin) < FEW_LINES
            if few and not (self.channels and layout.has_header):
                return layout, None
            plan = make_plan(layout.columns, wishes, self.name, layout.preamble)
            return layout, None if few and not self._says_all(plan) else plan

        try:
            layout, plan = planned(self._wishes)
        except LogError as problem:
            if lines < FEW_LINES:
                return None
            if isinstance(problem, Question):
                problem = all_of(problem, planned, self._wishes, self.name)
            if self.channels:
                problem = LogError(f"From line {self._file.lines + 1} on nothing can be judged. {problem}")
            raise problem from None
        if plan is None:
            return None
        self._heading = body[: layout.begin]
        self._adopt(layout, plan)
        return mark + layout.begin

    def _says_all(self, plan: Plan) -> bool:
        """Whether a heading tells names and units of the outputs that are followed, so that few lines will do."""
        outputs = [channel for channel in plan.channels if channel.role == "output"]
        return {item.name for item in outputs} == set(self.channels) and all(item.found in _TOLD for item in outputs)

    def _adopt(self, layout: sniff.Layout, plan: Plan) -> None:
        """Read by this layout from here on; each output keeps its place, whatever the order of the columns."""
        if plan.key is not None:
            raise LogError(
                f'{self.name}: column "{layout.header[plan.key]}" names the channel of each row; watch follows logs with one'
                " column for each channel, so assess this one when it is complete."
            )
        names = [channel.name for channel in plan.channels if channel.role == "output"]
        if not self.channels:
            self.channels = tuple(names)
        if not set(names) <= set(self.channels):
            raise LogError(
                f"{self.name}: what begins at line {self._file.lines + 1} has other channels ({', '.join(names)}) than what was"
                f" before ({', '.join(self.channels)}); from there on nothing can be judged. Watch it by itself."
            )
        gone = [name for name in self.channels if name not in names]
        if gone:
            self._note(
                f"{self.name}: no column of {', '.join(gone)} from line {self._file.lines + 1} on: not observed."
            )
        self._places = [names.index(name) if name in names else None for name in self.channels]
        self._reader = TextReader(self.name, layout, plan, self._taken, growing=True)
        self._seconds = self._reader.rows.convert.seconds
        self._file.dated = self._seconds.dated
        self.notes.extend(note for note in (*layout.notes, *plan.notes) if note not in self.notes)

    def _told_anew(self, lines: bytes) -> bool:
        """Whether lines that cannot be read as those before can be read by the same names in a layout of their own."""
        body = self._heading + lines
        try:
            layout = sniff.sniff(body, b"", True, self._wishes, self.name)
            plan = make_plan(layout.columns, self._wishes, self.name, layout.preamble)
            if not layout.has_header or layout.begin != len(self._heading) or not self._says_all(plan):
                return False
            if plan.key is not None or plan.time.kind == "none":
                return False
        except LogError:
            return False
        self._note(
            f"{self.name}, line {self._file.lines + 1}: the lines are written in another way; read so from there, as a new run."
        )
        self._begin()
        self._adopt(layout, plan)
        return True

    # ------------------------------------------------------------ the lines

    def _samples(self, block: bytes, last: bool) -> list[Fresh]:
        """Take lines up to the first of those at the end that cannot be read, which wait for what comes below them."""
        mender = self._now.cutter.mender
        out: list[Fresh] = []
        self.held = 0
        if odd_rows.likely_rows(mender, block) and self._tried(block):
            self._file.mark(block)
            return self._fresh()
        lines = block.splitlines(keepends=True)
        at = 0
        while at < len(lines):
            good = at
            while good < len(lines) and odd_rows.is_row(mender, lines[good]):
                good += 1
            at = self._taken_up_to(lines, at, good)
            if at == good < len(lines) and b"\0" in lines[at]:
                self._note(
                    f"{self.name}, line {self._file.lines + 1}: {lines[at].count(bytes(1))} NUL bytes, as a power cut of the"
                    " logger leaves: what stood there is lost."
                )
                self._file.mark(lines[at])
                at += 1
                continue
            if at == len(lines):
                break
            # A line that is no row. It and those like it below wait until it is clear whether they are a slip.
            end = at + 1
            while (
                end < len(lines)
                and end - at < PATIENCE
                and b"\0" not in lines[end]
                and not odd_rows.can_be_read(mender, lines[end])
            ):
                end += 1
            if end - at >= PATIENCE:
                out.extend(self._fresh())
                problem = self._problem(lines[at])
                if out or self._told_anew(b"".join(lines[at : at + PATIENCE])):
                    return out  # what was read first; the next look comes to the same lines
                raise LogError(f"{problem} From there on nothing can be judged.")
            if end == len(lines) and not last:
                self.held = end - at
                self._tell_slip(lines[at])
                break
            self._unread += end - at
            self._tell_slip(lines[at])
            for line in lines[at:end]:
                self._tried(mender.without_readings(odd_rows.text_of(line)) + b"\n")
                self._file.mark(line)
            at = end
        out.extend(self._fresh())
        if self._unread >= max(1, 2 * self._told_unread):
            self._told_unread = self._unread
            self._note(f"{self.name}: not read, and so not observed: {self._unread} lines or readings so far.")
        return out

    def _tried(self, block: bytes) -> bool:
        """Take rows as they are; False where one of them cannot be read."""
        parts, rows = list(self._taken.parts), self._taken.rows
        try:
            self._now.take([(block, False)])
        except LogError:
            self._taken.parts, self._taken.rows = parts, rows
            return False
        return True

    def _taken_up_to(self, lines: list[bytes], lo: int, hi: int) -> int:
        """Take lines that have the shape of rows; returns the first that cannot be read, ``hi`` where there is none."""
        if lo >= hi:
            return hi
        block = b"".join(lines[lo:hi])
        if self._tried(block):
            self._file.mark(block)
            return hi
        if hi - lo > 1:
            middle = (lo + hi) // 2
            at = self._taken_up_to(lines, lo, middle)
            return self._taken_up_to(lines, middle, hi) if at == middle else at
        row = self._with_blanks(lines[lo])
        if row is None or not self._tried(row):
            return lo
        self._file.mark(lines[lo])
        return hi

    def _with_blanks(self, line: bytes) -> bytes | None:
        """A row without the cells that are no numbers, which is told once for each word; None where nothing is left."""
        found = odd_rows.with_blanks(self._now.cutter.mender, line)
        if found is None:
            return None
        self._unread += len(found[1])
        for channel, word in found[1].items():
            kind = "" if any(sign.isdigit() for sign in word) else word
            if (channel, kind) not in self._words:
                self._words.add((channel, kind))
                self._note(
                    f'{self.name}, line {self._file.lines + 1}, column "{channel}": "{word[:40]}" is not a number, and so not'
                    f" observed. It may stand for a reading over range: --over-word {word[:40]!r}, or --missing-word."
                )
        return found[0]

    def _tell_slip(self, line: bytes) -> None:
        """Tell once of a line that cannot be read, and may wait."""
        if self._slip != (self._file.files, self._file.lines):
            self._slip = (self._file.files, self._file.lines)
            self._note(f"Not read, and so not observed: {self._problem(line)}")

    def _problem(self, line: bytes) -> str:
        return f"{self.name}, line {self._file.lines + 1}: {odd_rows.text_of(line)[:60]!r} cannot be read as the lines before it."

    def _fresh(self) -> list[Fresh]:
        """Samples of the rows that were taken."""
        copied = self._now.rows.mended["copied"]
        if copied > self._copied:
            self._copied = copied
            self._note(f"{self.name}: {self._copied} rows so far are written twice, the same to the letter; read once.")
        if not self._taken.parts:
            return []
        columns = [np.concatenate(column) for column in zip(*self._taken.parts, strict=True)]
        self._taken.parts.clear()
        time, nothing = columns[0], np.full(columns[0].size, np.nan)
        values = [nothing if place is None else columns[1 + place] for place in self._places]
        run = columns[-1] if self._now.cutter.plan.run is not None else None
        begins = self._keeper is None
        if self._keeper is None:
            cadence, reach = cadence_of(time[:4097])
            if time.size < 2 and self.cadence_s is not None:
                cadence, reach = self.cadence_s, 3.0 * self.cadence_s
            self._keeper = Timekeeper(cadence, self._run_gap_s, reach_s=reach, wall_s=self._seconds.wall_s)
            self._raw = float(time[0])
        out, start = [], self._seconds.start
        for cut in self._keeper.feed(time, run):
            number = self._base_run + cut.run
            goes_on = 0 <= self._runs < number and run is None and not self._pause(time, cut.lo, begins)
            self._runs = max(self._runs, number)
            began = start and start + timedelta(seconds=float(time[cut.lo] - cut.time_s[0]))
            parts = tuple(column[cut.lo : cut.hi] for column in values)
            out.append(Fresh(number, cut.time_s, parts, after_gap=cut.after_gap, goes_on=goes_on, start=began))
            begins = False
        self._raw = float(time[-1])
        self._end = self._end if start is None else start + timedelta(seconds=self._raw)
        self.cadence_s = self._keeper.cadence_s
        return out

    def _pause(self, time: Floats, place: int, begins: bool) -> bool:
        """Whether a run begins after a pause longer than the run gap, as far as the stamps tell."""
        if not begins:
            return float(time[place]) - (float(time[place - 1]) if place else self._raw) > self._run_gap_s
        if self._end is None or self._seconds.start is None:
            return False
        first = self._seconds.start + timedelta(seconds=float(time[0]))
        return (first.replace(tzinfo=None) - self._end.replace(tzinfo=None)).total_seconds() > self._run_gap_s
