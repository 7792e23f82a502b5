"""`flicker compare`: before against after, or any number of stages."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from flicker.commands._shared import (
    JSON,
    REPORT,
    Options,
    add_log_options,
    add_options,
    case_from,
    case_logs,
    hand_over,
    limits_from,
    need,
    working,
)

if TYPE_CHECKING:
    from flicker.case.case_file import Case
    from flicker.evidence.assessment import Assessment
    from flicker.evidence.compare.stages import Comparison, StageComparison
    from flicker.logs.model import Log


OPTIONS: Options = {
    "--before": {"nargs": "+", "metavar": "LOG", "help": "logs of the unit before, in time order"},
    "--after": {"nargs": "+", "metavar": "LOG", "help": "logs of the unit after"},
    "--stage": {
        "nargs": "+",
        "action": "append",
        "metavar": "NAME LOG",
        "help": "instead: a stage and its logs, in order; give it once for each stage",
    },
    "--case": {
        "metavar": "CASE.toml",
        "help": "the case file: columns, meters, conditions, limits; its own stages where no log is named",
    },
    "--control": {"metavar": "CHANNEL", "help": "the channel that was not touched"},
    "--concern": {
        "type": float,
        "metavar": "R",
        "help": "episodes per hour that a cure must exclude (default 0.1 or the limit)",
    },
    **JSON,
    **REPORT,
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    add_options(parser, OPTIONS)
    add_log_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Compare, print, and write what was asked for."""
    case = case_from(arguments)
    result: Comparison | StageComparison
    if case is not None and not (arguments.before or arguments.after or arguments.stage):
        result, logs = _of_case(arguments, case)
    else:
        result, logs = _of_logs(arguments, case)
    hand_over(arguments, result, logs=logs)
    return 0


def _of_logs(arguments: argparse.Namespace, case: Case | None) -> tuple[Comparison | StageComparison, list[Log]]:
    """Compare the logs named; the logs go on to the page."""
    from flicker.evidence.assessment import assess
    from flicker.evidence.compare.comparison import compare, compare_stages

    stages = _stages(arguments)
    _refuse_copies(stages)
    limits = limits_from(arguments, case)
    made, read = {}, []
    with working() as say:
        for name, paths in stages:
            say(f"judging {name}")
            named = argparse.Namespace(**{**vars(arguments), "logs": paths, "stage": None})
            part = case_logs(named, case)
            read.extend(part)
            made[name] = assess(part, limits, case=case)
        _refuse_reversed(made)
        say("comparing the stages")
        asked = {"control": arguments.control, "concern_per_h": arguments.concern, "case": case}
        if arguments.stage:
            return compare_stages(made, limits, **asked), read
        return compare(made["before"], made["after"], limits, **asked), read


def _refuse_copies(stages: Sequence[tuple[str, list[str]]]) -> None:
    """Raise if one log stands on two sides."""
    from flicker.case.identity import same_files

    listed = [(name, path) for name, paths in stages for path in paths]
    for one, two in same_files(path for _, path in listed):
        need(
            listed[one][0] == listed[two][0],
            f"{listed[one][1]} ({listed[one][0]}) and {listed[two][1]} ({listed[two][0]}) are the same file, byte for "
            "byte: one log cannot show the unit before and after; name the other log.",
        )


def _refuse_reversed(made: Mapping[str, Assessment]) -> None:
    """Raise if a stage was logged, by the clocks of its logs, earlier than the one named before it."""
    starts = {
        name: [run.start for run in result.runs if run.start is not None and run.start.tzinfo is None]
        for name, result in made.items()
    }
    dated = [(name, found) for name, found in starts.items() if len(found) == len(made[name].runs)]
    for (before, ones), (after, others) in pairwise(dated):
        ends, begins = max(others), min(ones)
        need(
            ends >= begins,
            f"'{after}' was logged on {ends:%Y-%m-%d %H:%M}, earlier than '{before}' on {begins:%Y-%m-%d %H:%M}: the "
            "dates contradict the order. Exchange the logs, or correct the dates in the files.",
        )


def _of_case(arguments: argparse.Namespace, case: Case) -> tuple[StageComparison, list[Log]]:
    """Compare the stages of a case file; the logs go on to the page."""
    from flicker.evidence.job import judge_case

    said = f"{arguments.case}: the case has fewer than two stages; a comparison takes two or more."
    need(len(case.stages) > 1, said)
    with working() as say:
        result = judge_case(
            case,
            limits_from(arguments, case),
            progress=say,
            run_gap_s=arguments.run_gap,
            control=arguments.control,
            concern_per_h=arguments.concern,
        )
    if result.comparison is None:
        raise ValueError(" ".join(result.not_comparable))
    return result.comparison, [log for part in result.logs for log in part]


def _stages(arguments: argparse.Namespace) -> list[tuple[str, list[str]]]:
    if arguments.stage:
        sides = arguments.before or arguments.after
        need(not sides, "give either --before and --after, or --stage for each stage, not both")
        for given in arguments.stage:
            need(len(given) > 1, f"--stage {given[0]} names no log; write --stage NAME LOG...")
        names = [given[0] for given in arguments.stage]
        two = len(set(names)) == len(names) > 1
        need(two, f"--stage needs two or more stages of different names, got {', '.join(names)}")
        return [(given[0], given[1:]) for given in arguments.stage]
    need(bool(arguments.before and arguments.after), "both --before and --after need a log")
    return [("before", arguments.before), ("after", arguments.after)]
