"""Marks that stand in a column of the log: 'kind' or 'kind: text' in the rows concerned, free words as notes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from difflib import get_close_matches

import numpy as np

from flicker.logs.marks import KINDS, Mark, check_overlap, checked_kind, first_of, moment_of
from flicker.logs.model import Log, LogError
from flicker.logs.reading.samples.entries import Entry


def marks_in_column(log: Log) -> tuple[Mark, ...]:
    """Marks that stand in a column of the log itself, on the log's clock; empty where it has none.

    Raises
    ------
    LogError
        As `read_marks`, with the row number; the sentence begins with the log's name.
    """
    entries: Sequence[Entry] = getattr(log.source, "entries", ())
    if not entries:
        return ()
    clock = log.clock

    def on_clock(row: int, second: float) -> float:
        return float(clock.repair(np.array([second]), row)[0])

    mended = [
        replace(item, first_s=on_clock(item.first, item.first_s), last_s=on_clock(item.last, item.last_s))
        for item in entries
    ]
    return _from_entries(mended, log, f"{log.source.name}, ")


def _from_entries(entries: Iterable[Entry], log: Log, place: str) -> tuple[Mark, ...]:
    """One mark for each entry; the sentence for the first bad one says how many more there are."""
    marks: list[Mark] = []
    problems: list[str] = []
    for entry in entries:
        try:
            kind, text = _kind_and_text(entry.text)
            begin = moment_of(repr(entry.first_s), log, "time")
            until = moment_of(repr(entry.last_s), log, "time") if entry.last > entry.first else None
            mark = Mark(begin, kind, None, until, text)
            check_overlap(mark, marks[-3:])
            marks.append(mark)
        except LogError as problem:
            problems.append(f"{place}row {entry.first + 1} of the column of marks: {problem}")
    if problems:
        raise LogError(first_of(problems))
    return tuple(marks)


def _kind_and_text(words: str) -> tuple[str, str]:
    """Cut a cell into kind and text; free words are a note, unless they look like a kind written wrongly."""
    before, colon, after = words.partition(":")
    kind = " ".join(before.casefold().split())
    if kind in KINDS:
        return kind, after.strip()
    few = len(kind.split()) <= 2
    meant = few and (bool(colon) or len(kind.split()) == 1 or bool(get_close_matches(kind, KINDS, n=1, cutoff=0.8)))
    if meant:
        return checked_kind(before.strip()), ""  # which says what to write instead
    return "note", words


def joined(beside: Sequence[Mark], column: Sequence[Mark]) -> tuple[Mark, ...]:
    """Marks of a file beside the log and of its column together, in time order.

    Raises
    ------
    LogError
        If one of each kind and channel overlap.
    """
    for mark in beside:
        check_overlap(mark, column)
    return tuple(sorted((*beside, *column), key=lambda mark: mark.time_s))
