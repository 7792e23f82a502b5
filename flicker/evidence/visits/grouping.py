"""Logs of a case as visits: by date or by stage, and dates on one scale of days."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

from flicker.case.case_file import Case, CaseError
from flicker.evidence.visits.visited import When
from flicker.logs.model import Log

Item = TypeVar("Item")

APART_DAYS = 14.0  # logs closer than this belong to one visit; common practice, no source
MIDDAY = 12  # of a date without a clock; a choice


def visits_of_case(
    case: Case, *, by: str = "date", apart_days: float = APART_DAYS, **reading: Any
) -> tuple[list[tuple[When, list[Log]]], list[list[str]]]:
    """Group the logs of a case into visits, by date (logs closer than ``apart_days`` are one visit) or by stage.

    Returns
    -------
    visits, stages
        As `over_visits` takes them.

    Raises
    ------
    CaseError
        If the case lists no log, or is to be grouped by date and some log has none.
    """
    if by not in {"date", "stage"}:
        raise ValueError(f"by must be 'date' or 'stage', got {by!r}")
    if not case.logs:
        raise CaseError(f"{case.path}: the case lists no log; add [[logs]] with a file.")
    groups: list[list[Any]] = []
    if by == "stage":
        groups = [[log for log in case.logs if log.stage == stage] for stage in case.stages]
    else:
        bare = [log.file for log in case.logs if log.date is None]
        if bare:
            raise CaseError(f"{case.path}: the log {bare[0]!r} has no date; add one, or group by stage.")
        groups = _by_date(case.logs, lambda log: log.date, apart_days)
    from flicker.case.reading import overruled
    from flicker.logs.reading import read_log

    visits, stages = [], []
    for group in groups:
        dates = [log.date for log in group if log.date is not None]
        date = min(dates, key=day_of) if len(dates) == len(group) else None
        visits.append(
            (
                date,
                [case.use(read_log(log.path, **overruled(case.reading(log.path), reading)), log.date) for log in group],
            )
        )
        stages.append(list(dict.fromkeys(log.stage for log in group)))
    return visits, stages


def visits_of_logs(logs: Sequence[Log], *, apart_days: float = APART_DAYS) -> list[tuple[When, list[Log]]]:
    """Group logs that carry their own dates into visits: those closer than ``apart_days`` are one.

    Raises
    ------
    ValueError
        If a log does not say when it was recorded.
    """
    for log in logs:
        if log.runs[0].start is None:
            name = log.path or "a log"
            raise ValueError(
                f"say when {name} was recorded: --visit DATE LOG, once for each visit (--visit 2031-03-09 {name}), or "
                "give a case with --case."
            )
    groups = _by_date(logs, lambda log: log.runs[0].start, apart_days)
    return [(group[0].runs[0].start, group) for group in groups]


def _by_date(items: Sequence[Item], date: Callable[[Item], When], apart_days: float) -> list[list[Item]]:
    """Groups in the order of their dates; what lies closer to the one before than ``apart_days`` joins it."""
    groups: list[list[Item]] = []
    last = -math.inf
    for item in sorted(items, key=lambda item: day_of(date(item))):
        day = day_of(date(item))
        if day - last > apart_days or not groups:
            groups.append([])
        groups[-1].append(item)
        last = day
    return groups


def day_of(date: When) -> float:
    """Days on a common scale; a date without a clock counts as midday."""
    if date is None:
        return math.nan
    moment = date if isinstance(date, dt.datetime) else dt.datetime(date.year, date.month, date.day, MIDDAY)
    return (moment.replace(tzinfo=None) - dt.datetime(2000, 1, 1)).total_seconds() / 86_400.0
