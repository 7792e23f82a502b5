"""What did the hands do? Marks of the person at the bench, from a CSV beside the log or a column of it.

The CSV has a header with `time`, `kind`, and where wanted `channel`, `until` and `text`. Times are seconds since the
log's first sample, or dates and clock times where the log has them; an empty channel means all channels.
"""

from __future__ import annotations

import csv
import io
import math
import os
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from pathlib import Path

from flicker.base import check
from flicker.base.arrays import Floats
from flicker.base.result import Result
from flicker.logs.beside import marks_path as marks_path
from flicker.logs.model import Log, LogError
from flicker.logs.spans import spans
from flicker.logs.writing import locked, write_whole

KINDS = ("adjusted", "conditions changed", "stimulus", "touched", "part changed", "power", "note")
MEANING = {
    "adjusted": "a trimmer or bias was set: a new baseline, no claim across it",
    "conditions changed": "load, lid, source or meter changed: a new baseline, no claim across it",
    "stimulus": "tapped, heated, cooled, switched: judged apart from what the unit does by itself",
    "touched": "leads or unit were handled: not observed",
    "part changed": "a repair: a new stage",
    "power": "switched on or off",
    "note": "changes nothing",
}
COLUMNS = ("time", "kind", "channel", "until", "text")
# What hands do to provoke a fault, by the beginnings of the words: common practice, no source.
_STIMULI = ("tap", "knock", "flex", "bend", "press", "wiggl", "heat", "warm", "cool", "cold", "freez", "spray")
NEW_BASELINE = ("adjusted", "conditions changed", "part changed")
TOUCH_S = 10.0  # common practice, no source: how long a touch without an end is taken to last
_DETAIL = re.compile(r"[:,;\d]")
_AGO = re.compile(r"(\d+(?:\.\d+)?)\s*(s|min|m|h)?")
_AGO_S = {None: 1.0, "s": 1.0, "m": 60.0, "min": 60.0, "h": 3600.0}


@dataclass(frozen=True, slots=True)
class Mark(Result):
    """One mark; seconds since the log's first sample, ``channel`` None for all, ``until_s`` None for a moment."""

    time_s: float
    kind: str
    channel: str | None = None
    until_s: float | None = None
    text: str = ""

    @property
    def end_s(self) -> float:
        """Its end, or its moment."""
        return self.time_s if self.until_s is None else self.until_s

    def concerns(self, channel: str) -> bool:
        """Whether it holds for a channel."""
        return self.channel is None or self.channel == channel

    @property
    def reads(self) -> str:
        """The mark in words."""
        where = f" ({self.channel})" if self.channel else ""
        long = f" to {self.until_s:g} s" if self.until_s is not None else " s"
        return f"at {self.time_s:g}{long}: {self.kind}{where}{': ' if self.text else ''}{self.text}"


def read_marks(path: str | os.PathLike[str], log: Log) -> tuple[Mark, ...]:
    """Read the marks of a log, in time order.

    Parameters
    ----------
    path : str or path
        The CSV (comma, semicolon or tab; UTF-8).
    log : Log
        Whose clock, length and channels the marks must fit.

    Raises
    ------
    LogError
        One sentence for the first bad mark (file, line, what was found, what is allowed) and how many more there are:
        unknown kind, time outside the log, `until` before its time, overlapping `until`, unknown channel.
    """
    name = os.fspath(path)
    try:
        text = Path(path).read_text(encoding="utf-8-sig")
    except OSError as problem:
        raise LogError(f"{name}: the marks cannot be read ({problem.strerror}).") from None
    except UnicodeDecodeError:
        raise LogError(f"{name}: the marks are not UTF-8 text; save them as CSV in UTF-8.") from None
    return parse_marks(text, log, name)


def parse_marks(text: str, log: Log, name: str = "marks") -> tuple[Mark, ...]:
    """Read marks from the text of a CSV; ``name`` stands in the errors (see `read_marks`)."""
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=_first_line(text)[1])
    header: list[str] | None = None
    marks: list[Mark] = []
    problems: list[str] = []
    for row in rows:
        if not any(cell.strip() for cell in row):
            continue
        if header is None:
            header = _header(row, name, rows.line_num)
            continue
        place = f"{name}, line {rows.line_num}"
        try:
            cells = dict(zip(header, (cell.strip() for cell in row), strict=False))
            if len(row) > len(header):
                raise LogError(f"has {len(row)} cells under {len(header)} columns; put the text in double quotes.")
            mark = _mark(cells, log)
            check_overlap(mark, marks)
            marks.append(mark)
        except LogError as problem:
            problems.append(f"{place}: {problem}")
    if problems:
        raise LogError(first_of(problems))
    return tuple(sorted(marks, key=lambda mark: mark.time_s))


def first_of(problems: Sequence[str]) -> str:
    """The first bad mark, and how many more there are."""
    more = len(problems) - 1
    return problems[0] + (f" ({more} more bad mark{'s' if more > 1 else ''} after it.)" if more else "")


def _first_line(text: str) -> tuple[str, str]:
    """The first line that holds something, and what parts its cells."""
    head = text.lstrip("\r\n").split("\n", 1)[0]
    return head, max(",;\t", key=head.count)


def _header(row: Sequence[str], name: str, line: int) -> list[str]:
    """Names of the columns, checked."""
    header = [cell.strip().casefold() for cell in row]
    missing = [column for column in ("time", "kind") if column not in header]
    if missing:
        raise LogError(
            f"{name}, line {line}: no column {missing[0]!r}; the first line must read time,kind,channel,until,text."
        )
    unknown = [column for column in header if column not in COLUMNS]
    if unknown:
        raise LogError(f"{name}, line {line}: {unknown[0]!r} is not a column of marks; known: {', '.join(COLUMNS)}.")
    return header


def _mark(cells: dict[str, str], log: Log) -> Mark:
    """One row as a mark, checked against the log."""
    kind, text = kind_and_text(cells.get("kind", ""), cells.get("text", ""))
    channel = cells.get("channel", "") or None
    if channel is not None and channel not in log.channels:
        near = {known.casefold(): known for known in log.channels}
        if channel.casefold() not in near:
            listed = ", ".join(log.channels)
            raise LogError(f"{channel!r} is not a channel of this log; it has {listed} (leave empty for all).")
        channel = near[channel.casefold()]
    moment = moment_of(cells.get("time", ""), log, "time")
    until = None
    if cells.get("until"):
        until = moment_of(cells["until"], log, "until")
        if until < moment:
            raise LogError(f"until ({cells['until']}) is before time ({cells['time']}).")
    return Mark(moment, kind, channel, until, text)


def checked_kind(word: str) -> str:
    """Return the kind as it is written here.

    Raises
    ------
    LogError
        For any other word, with the nearest known one.
    """
    kind = " ".join(word.casefold().split())
    if kind in KINDS:
        return kind
    if kind.startswith(_STIMULI):
        raise LogError(f"{word!r} is not a kind of mark; what provokes the fault is a stimulus: write 'stimulus: {kind}'.")
    raise LogError(f"{word!r} is not a kind of mark; {check.hint(kind, KINDS, listed='known:')}")


def kind_and_text(word: str, text: str = "") -> tuple[str, str]:
    """Cut 'stimulus: tap' into kind and text; words given beside it follow the text.

    Raises
    ------
    LogError
        Where the word before the colon is no kind.
    """
    before, _, after = word.partition(":")
    return checked_kind(before), ": ".join(part for part in (after.strip(), text) if part)


def check_overlap(mark: Mark, others: Iterable[Mark]) -> None:
    """Refuse a mark that overlaps another of its kind and channel."""
    for other in others:
        same = mark.kind == other.kind and (mark.channel == other.channel or None in (mark.channel, other.channel))
        if not same or (mark.until_s is None and other.until_s is None):
            continue
        apart = mark.end_s < other.time_s or mark.time_s > other.end_s
        touching = mark.end_s == other.time_s or mark.time_s == other.end_s
        if not apart and not touching:
            raise LogError(
                f"{mark.kind!r} at {mark.time_s:g} s overlaps the one from {other.time_s:g} s to {other.end_s:g} s; "
                "end the first before the next begins."
            )


def moment_of(word: str, log: Log, column: str) -> float:
    """Seconds since the log's first sample."""
    if not word:
        raise LogError(f"{column} is empty.")
    end, start = _end(log), log.source.start
    try:
        second = float(word)
    except ValueError:
        if start is None:
            raise LogError(
                f"{column} {word!r} is not a number, and the log tells no date: give seconds since its first sample."
            ) from None
        second = _since(word, start, column)
    if not 0.0 <= second <= end:
        span = f"0 to {end:g} s" if start is None else f"{start.isoformat(' ')} to {_stamp(start, end)}, 0 to {end:g} s"
        raise LogError(f"{column} {word} lies outside the log ({span}).")
    return second


def _end(log: Log) -> float:
    """Seconds at which the log's last sample ends."""
    if not log.runs:
        return 0.0
    last = log.runs[-1]
    return last.offset_s + last.duration_s + last.sample_interval_s


def _since(word: str, start: datetime, column: str) -> float:
    """Seconds from the start of a log to a time of day (the next one after its start) or a date with a time."""
    try:
        clock = time.fromisoformat(word)
    except ValueError:
        clock = None
    if clock is not None and ":" in word:
        moment = datetime.combine(start.date(), clock, tzinfo=start.tzinfo)
        if moment < start:
            moment += timedelta(days=1)
        return (moment - start).total_seconds()
    try:
        moment = datetime.fromisoformat(word)
    except ValueError:
        raise LogError(
            f"{column} {word!r} is neither seconds since the first sample nor a time like {start.isoformat(' ')}."
        ) from None
    if moment.tzinfo is None and start.tzinfo is not None:
        moment = moment.replace(tzinfo=start.tzinfo)
    elif moment.tzinfo is not None and start.tzinfo is None:
        moment = moment.astimezone(UTC).replace(tzinfo=None)  # zones are taken off as in the log itself
    return (moment - start).total_seconds()


def _stamp(start: datetime, second: float) -> str:
    return (start + timedelta(seconds=round(second, 3))).isoformat(" ")


def touched(marks: Iterable[Mark], *, touch_s: float = TOUCH_S) -> Floats:
    """Intervals that were not observed because someone handled unit or leads, shape (n, 2).

    Adjusting counts while it lasts; a touch without an end counts for ``touch_s``.
    """
    pairs = []
    for mark in marks:
        if mark.kind == "touched":
            pairs.append((mark.time_s, mark.time_s + touch_s if mark.until_s is None else mark.until_s))
        elif mark.kind in NEW_BASELINE and mark.until_s is not None:
            pairs.append((mark.time_s, mark.until_s))
    return spans(pairs)


def borders(marks: Iterable[Mark]) -> tuple[float, ...]:
    """Times at which a new baseline begins (adjusted, conditions changed, part changed): the end of each such mark."""
    return tuple(sorted({mark.end_s for mark in marks if mark.kind in NEW_BASELINE}))


def noted(marks: Iterable[Mark]) -> tuple[float, ...]:
    """Times of notes in free words."""
    return tuple(sorted(mark.time_s for mark in marks if mark.kind == "note"))


def stimuli(marks: Iterable[Mark]) -> dict[str, tuple[float, ...]]:
    """Times of stimuli by what was done: the words of the text up to a colon, comma or digit, in small letters.

    'Tap: left socket' and 'tap 3 of 10' are both a 'tap'; without words it is a 'stimulus'.
    """
    found: dict[str, list[float]] = {}
    for mark in marks:
        if mark.kind == "stimulus":
            what = " ".join(_DETAIL.split(mark.text.casefold(), maxsplit=1)[0].split()) or "stimulus"
            found.setdefault(what, []).append(mark.time_s)
    return {what: tuple(sorted(times)) for what, times in found.items()}


def seconds_ago(word: str) -> float:
    """Turn '20s', '2 min' or '1h' into seconds.

    Raises
    ------
    LogError
        For anything else.
    """
    match = _AGO.fullmatch(word.strip())
    if match is None:
        raise LogError(f"--ago must be a time like 20s, 2min or 1h, got {word!r}.")
    return float(match[1]) * _AGO_S[match[2]]


def append_mark(
    log_path: str | os.PathLike[str],
    log: Log,
    text: str,
    *,
    kind: str = "note",
    channel: str | None = None,
    ago_s: float = 0.0,
    lasted_s: float | None = None,
) -> Mark:
    """Add a mark beside a log, with the clock of its last sample; all or nothing.

    Parameters
    ----------
    log_path : str or path
        The log file; the mark goes to `marks_path` of it, which is made where it does not exist.
    log : Log
        That log, as read now.
    text : str
        What was done.
    kind, channel
        As in the CSV; 'stimulus: tap' puts what was done before the text.
    ago_s : float
        How long before the last sample it happened (or began).
    lasted_s : float, optional
        How long it lasted.

    Raises
    ------
    LogError
        For a bad mark, or where the marks that stand there are bad; then nothing is written.
    """
    path = marks_path(log_path)
    if not (math.isfinite(ago_s) and ago_s >= 0):
        raise LogError(f"ago_s must be 0 or more seconds, got {ago_s}.")
    last = log.runs[-1].offset_s + log.runs[-1].duration_s
    moment = last - ago_s
    if moment < 0:
        raise LogError(f"{ago_s:g} s ago is before the log's first sample ({last:g} s ago).")
    until = None if lasted_s is None else min(moment + lasted_s, last)
    start = log.source.start
    kind, text = kind_and_text(kind, " ".join(text.split()))
    row = [_written(start, moment), kind, channel or "", _written(start, until), text]
    with locked(log_path):  # others may mark the same log now
        try:
            before = path.read_text(encoding="utf-8-sig") if path.exists() else ""
        except (OSError, UnicodeDecodeError) as problem:
            raise LogError(f"{path}: the marks that stand there cannot be read ({problem}).") from None
        head, delimiter = _first_line(before)
        columns = [cell.strip().casefold() for cell in head.split(delimiter)] if head.strip() else list(COLUMNS)
        missing = [column for column, cell in zip(COLUMNS, row, strict=True) if cell and column not in columns]
        if missing:
            raise LogError(f"{path}: the marks have no column {missing[0]!r}; add it to their first line.")
        out = io.StringIO()
        writer = csv.writer(out, delimiter=delimiter, lineterminator="\n")
        if not head.strip():
            writer.writerow(COLUMNS)
        elif not before.endswith("\n"):
            out.write("\n")
        cells = dict(zip(COLUMNS, row, strict=True))
        writer.writerow([cells.get(column, "") for column in columns])
        whole = before + out.getvalue()
        marks = parse_marks(whole, log, os.fspath(path))
        write_whole(path, whole, what="mark", known=True)
    return next(mark for mark in reversed(marks) if abs(mark.time_s - moment) < 1e-3 and mark.kind == row[1])


def _written(start: datetime | None, second: float | None) -> str:
    if second is None:
        return ""
    return f"{second:.3f}" if start is None else _stamp(start, second)
