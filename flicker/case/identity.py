"""Are the logs of a case what they were, each in its place? Sealed logs that changed, copies, dates out of order."""

from __future__ import annotations

import datetime as dt
import hashlib
import os
from collections.abc import Iterable, Sequence
from itertools import pairwise

from flicker.base.progress import tell
from flicker.case.model import Case

PIECE = 1 << 20  # bytes; a choice


def fingerprint(path: str | os.PathLike[str]) -> str | None:
    """SHA-256 of a file; None where it cannot be read."""
    try:
        with open(path, "rb") as file:
            told, whole = hashlib.sha256(), os.fstat(file.fileno()).st_size
            while part := file.read(PIECE):
                told.update(part)
                tell(file.tell(), whole)
            return told.hexdigest()
    except OSError:
        return None


def altered(case: Case, stage: str | None = None) -> tuple[str, ...]:
    """Tell of each sealed log (of a stage, or of all) whose file is another than when it was sealed."""
    return tuple(
        f"{log.file} is not the file that was recorded: its fingerprint has changed."
        for log in case.logs
        if stage in (None, log.stage) and log.sha256 and log.sha256.lower() != fingerprint(log.path)
    )


def same_files(paths: Iterable[str | os.PathLike[str]]) -> list[tuple[int, int]]:
    """Pairs of places at which the same bytes stand; a place is compared with the first that holds them.

    Only files of equal size are read.
    """
    sizes: dict[int, list[int]] = {}
    listed = list(paths)
    for place, path in enumerate(listed):
        try:
            sizes.setdefault(os.path.getsize(path), []).append(place)
        except OSError:
            continue
    out = []
    for group in sizes.values():
        if len(group) < 2:
            continue
        first: dict[str | None, int] = {}
        for place in group:
            digest = fingerprint(listed[place])
            if digest is not None and digest in first:
                out.append((first[digest], place))
            first.setdefault(digest, place)
    return sorted(out, key=lambda pair: pair[1])


def in_two_stages(case: Case) -> tuple[str, ...]:
    """Tell of each log that stands, byte for byte, under two stages."""
    logs = case.logs
    return tuple(
        f"{logs[one].file} ({logs[one].stage}) and {logs[two].file} ({logs[two].stage}) are the same file, byte for byte: "
        "one log cannot show the unit before and after. Name the log that belongs to the stage."
        for one, two in same_files(log.path for log in logs)
        if logs[one].stage != logs[two].stage
    )


def out_of_order(case: Case) -> tuple[str, ...]:
    """Tell of each stage that is dated, by the case, before the stage that stands before it; a day alone is any time of it."""
    out = []
    dated = [(log.stage, log.file, log.date) for log in case.logs if log.date is not None]
    stages = list(dict.fromkeys(stage for stage, _, _ in dated))
    for before, after in pairwise(stages):
        last = max((item for item in dated if item[0] == before), key=lambda item: _at(item[2], dt.time.max))
        first = min((item for item in dated if item[0] == after), key=lambda item: _at(item[2], dt.time.min))
        if _comparable((last[2], first[2])) and _at(first[2], dt.time.max) < _at(last[2], dt.time.min):
            out.append(
                f"{first[1]} ({after}) is dated {first[2]}, before {last[1]} ({before}), {last[2]}: the dates contradict "
                "the order of the stages. Correct the date, or the order of the logs in the case."
            )
    return tuple(out)


def _comparable(dates: Sequence[dt.date]) -> bool:
    return len({date.tzinfo is None for date in dates if isinstance(date, dt.datetime)}) < 2


def _at(date: dt.date, clock: dt.time) -> dt.datetime:
    """A moment as dated; a day alone at that time of it."""
    return date.replace(tzinfo=None) if isinstance(date, dt.datetime) else dt.datetime.combine(date, clock)
