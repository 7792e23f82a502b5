"""`flicker visits`: is it worse than in spring? One unit over visits months apart."""

from __future__ import annotations

import argparse
import datetime as dt
from typing import TYPE_CHECKING

from flicker.commands._shared import (
    JSON,
    REPORT,
    Options,
    add_log_options,
    add_options,
    case_from,
    hand_over,
    limits_from,
    need,
    since_from,
    used_logs,
    working,
)

if TYPE_CHECKING:
    from flicker.logs.model import Log


OPTIONS: Options = {
    "--case": {
        "metavar": "CASE.toml",
        "help": "the case file: columns, meter; its logs, grouped into visits, if no --visit is given",
    },
    "--by": {
        "choices": ("date", "stage"), "default": "date", "help": "group the case's logs by date (default) or by stage"
    },
    "--apart": {
        "type": float, "default": 14.0, "metavar": "DAYS", "help": "logs closer than this are one visit (default 14)"
    },
    "--visit": {
        "nargs": "+",
        "action": "append",
        "metavar": "DATE LOG",
        "help": "the date of a visit (2031-03-09) and its logs; give it once for each visit",
    },
    "logs": {"nargs": "*", "metavar": "LOG", "help": "logs that hold their own dates, grouped into visits"},
    "--since": {
        "metavar": "DATE", "help": "when it was repaired: sets the visits from this date on against those before"
    },
    "--hours-per-day": {"type": float, "metavar": "H", "help": "hours of use a day, for the year ahead"},
    **JSON,
    **REPORT,
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    add_options(parser, OPTIONS)
    add_log_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Judge the visits and print."""
    from flicker.evidence.visits.over_visits import over_visits
    from flicker.evidence.visits.visited import When, visits_of_case, visits_of_logs

    given: list[tuple[When, list[Log]]]
    hours = arguments.hours_per_day
    need(hours is None or 0 < hours <= 24, f"--hours-per-day must lie between 0 and 24, got {hours or 0.0:g}.")
    need(arguments.apart >= 0, f"--apart must be 0 or more days, got {arguments.apart:g}.")
    if arguments.logs and arguments.visit:
        raise ValueError(f"say to which visit {arguments.logs[0]} belongs: --visit DATE LOG, once for each visit.")
    told = bool(arguments.case or arguments.visit or arguments.logs)
    need(told, "give the logs, a case with --case, or each visit with --visit DATE LOG.")
    case = case_from(arguments)
    moment = since_from(arguments)
    since = None if moment is None else moment.date()
    with working() as say:
        stages = None
        if arguments.logs:
            given = visits_of_logs(used_logs(arguments.logs, arguments, case), apart_days=arguments.apart)
        elif case is None or arguments.visit:
            given = [(_date(words), used_logs(words[1:], arguments, case)) for words in arguments.visit]
        else:
            given, stages = visits_of_case(
                case, by=arguments.by, apart_days=arguments.apart, run_gap_s=arguments.run_gap
            )
        result = over_visits(
            given, limits_from(arguments, case), case=case, stages=stages, hours_per_day=hours, progress=say, since=since
        )
    hand_over(arguments, result)
    return 0


def _date(words: list[str]) -> dt.date:
    need(len(words) > 1, f"--visit {words[0]} names no log; write --visit DATE LOG...")
    try:
        return dt.date.fromisoformat(words[0])
    except ValueError:
        raise ValueError(f"--visit takes a date such as 2031-03-09 first, got {words[0]!r}.") from None
