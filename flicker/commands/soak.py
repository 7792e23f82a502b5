"""`flicker soak`: plan a soak; starts nothing."""

from __future__ import annotations

import argparse
import contextlib
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from flicker.commands._shared import (
    JSON,
    Options,
    add_log_options,
    add_options,
    case_from,
    hand_over,
    limits_from,
    need,
    read_logs,
    working,
)
from flicker.logs.errors import LogError

if TYPE_CHECKING:
    from flicker.case.case_file import Case


KNOWN: Options = {
    "--count": {"type": int, "nargs": "+", "metavar": "N", "help": "episodes seen, in all or one number per power-up"},
    "--hours": {
        "type": float, "nargs": "+", "metavar": "H", "help": "observed hours in which they were seen, likewise"
    },
    "--from": {"dest": "logs", "nargs": "+", "metavar": "LOG", "help": "take it from these logs of one unit"},
    "--rate": {"type": float, "metavar": "R", "help": "episodes per hour, taken as known"},
    "--max-rate": {"type": float, "metavar": "R", "help": "episodes per hour that a clean soak is to exclude"},
    "--case": {"metavar": "CASE.toml", "help": "the rate of the complaint of a case file"},
}
PLANNED: Options = {
    "--starts": {"type": int, "metavar": "N", "help": "cold starts tried, with --starts-hit"},
    "--starts-hit": {"type": int, "metavar": "K", "help": "of these, how many showed the fault"},
    "--confidence": {"type": float, "default": None, "metavar": "C", "help": "promised chance (default 0.95)"},
    "--allowed": {
        "type": int, "default": 0, "metavar": "N", "help": "episodes a clean soak may show (default 0)"
    },
    "--glitch-length": {"type": float, "metavar": "S", "help": "length of the glitches, seconds"},
    "--sample-interval": {
        "dest": "sample_interval_s", "type": float, "metavar": "S", "help": "seconds between readings of the soak"
    },
    "--integration": {
        "type": float, "default": 0.0, "metavar": "S", "help": "seconds that each reading averages (default 0)"
    },
    "--cool-down": {
        "type": float, "default": 1.0, "metavar": "H", "help": "hours off for a cold start (default 1)"
    },
}
BOTH_SIDES: Options = {
    "--compare": {
        "action": "store_true",
        "help": "plan also what must be logged before and after to show the fault halved, down to a tenth, or gone",
    },
    "--each": {
        "type": float, "metavar": "H", "help": "observed hours of each further power-up (default: as logged)"
    },
    "--scatter": {
        "type": float,
        "metavar": "C",
        "help": "how much power-ups differ by themselves, 0.3 for 30 %% (default: as the counts tell)",
    },
}
SHOWN: Options = {
    "--channel": {"metavar": "NAME", "help": "channel of the logs (default: the one with most episodes)"},
    **JSON,
    "--report": {"metavar": "OUT.html", "help": "write the plan as one self-contained page"},
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    parser.usage = argparse.SUPPRESS  # the first thing to read is that nothing starts
    parser.description = (
        "plans a soak; starts nothing. Tells how many observed hours, or how many cold starts, are needed to see a "
        "rare glitch again, or to exclude it."
    )
    parser.epilog = (
        "usage: flicker soak (--count N --hours H | --from LOG... | --rate R | --max-rate R | --case CASE.toml) [options]"
    )
    add_options(parser.add_argument_group("what is known (one of)"), KNOWN)
    add_options(parser, PLANNED)
    add_options(parser.add_argument_group("before and after a repair"), BOTH_SIDES)
    add_options(parser, SHOWN)
    add_log_options(parser, interval=False)


def _from_case(arguments: argparse.Namespace, case: Case) -> None:
    """Take the complaint's rate as the one to exclude, and the meter's integration time."""
    others = (arguments.count, arguments.hours, arguments.logs, arguments.rate, arguments.max_rate)
    alone = all(value is None for value in others)
    need(alone, "--case brings the rate of its complaint; leave out --count, --hours, --from, --rate and --max-rate")
    said = f"{arguments.case}: the case records no complaint; add [complaint], or give --max-rate"
    need(case.complaint.per_hour is not None, said)
    arguments.max_rate = case.complaint.per_hour
    if case.meter.integration_s is not None and arguments.integration == 0.0 and arguments.glitch_length is not None:
        arguments.integration = case.meter.integration_s


def _one_or_more(given: list[Any] | None) -> Any:
    """A total alone is a total, not one power-up."""
    return given[0] if given is not None and len(given) == 1 else given


OPTIONS = {
    "count": "--count",
    "hours": "--hours",
    "logs": "--from",
    "rate_per_h": "--rate",
    "max_rate_per_h": "--max-rate",
    "starts": "--starts",
    "starts_with_fault": "--starts-hit",
    "confidence": "--confidence",
    "allowed": "--allowed",
    "glitch_length_s": "--glitch-length",
    "sample_interval_s": "--sample-interval",
    "integration_s": "--integration",
    "cool_down_h": "--cool-down",
    "each_h": "--each",
    "scatter": "--scatter",
}


@contextlib.contextmanager
def _said_as_options() -> Iterator[None]:
    """A refusal names the options of the command where Python would name the arguments."""
    try:
        yield
    except LogError:
        raise
    except ValueError as problem:
        said = str(problem)
        begin = said.split(" must ")[0] if " must " in said else said
        # a name with an underscore is an argument's; 'hours' is one only where arguments are listed
        put = re.sub(r"(?:^|(?<=needs )|(?<=and )|(?<=or )|(?<=got )|(?<=, ))[a-z]+\b|\b[a-z]+(?:_[a-z]+)+\b", lambda word: OPTIONS.get(word.group(), word.group()), begin)
        put = put.replace("compare=True", "--compare")
        raise ValueError(f"{put}{said[len(begin) :]}".rstrip(".") + ". See flicker soak --help.") from None


def run(arguments: argparse.Namespace) -> int:
    """Plan and print."""
    from flicker.evidence.soaking.plan import plan_soak

    case = case_from(arguments)
    limits = limits_from(arguments, case)
    if case is not None:
        _from_case(arguments, case)
    with working(), _said_as_options():
        plan = plan_soak(
            count=_one_or_more(arguments.count),
            hours=_one_or_more(arguments.hours),
            logs=read_logs(arguments.logs, arguments) if arguments.logs else None,
            rate_per_h=arguments.rate,
            max_rate_per_h=arguments.max_rate,
            confidence=limits.confidence if arguments.confidence is None else arguments.confidence,
            allowed=arguments.allowed,
            channel=arguments.channel,
            glitch_length_s=arguments.glitch_length,
            sample_interval_s=arguments.sample_interval_s,
            integration_s=arguments.integration,
            starts=arguments.starts,
            starts_with_fault=arguments.starts_hit,
            cool_down_h=arguments.cool_down,
            compare=arguments.compare,
            each_h=arguments.each,
            scatter=arguments.scatter,
            limits=limits,
        )
    hand_over(arguments, plan)
    return 0
