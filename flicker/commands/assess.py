"""`flicker assess LOG...`: judge the runs of one unit."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from typing import TYPE_CHECKING

from flicker.commands._documents import kept_answer, print_document
from flicker.commands._shared import (
    CACHE_OPTIONS,
    JSON,
    REPORT,
    Options,
    add_log_options,
    add_options,
    cache_from,
    case_from,
    case_logs,
    hand_over,
    limits_from,
    read_logs,
    since_from,
    working,
)
from flicker.logs.beside import keep_text, kept_text

if TYPE_CHECKING:
    from flicker.case.case_file import Case
    from flicker.evidence.among_like import AmongLike
    from flicker.evidence.assessment import Assessment

OPTIONS: Options = {
    "logs": {"nargs": "*", "metavar": "LOG", "help": "log files of one unit, in time order"},
    "--case": {
        "metavar": "CASE.toml", "help": "the case file: columns, complaint, limits; its logs if none are named"
    },
    "--stage": {"metavar": "NAME", "help": "only the logs of this stage of the case"},
    **JSON,
    "--control": {
        "nargs": "+", "metavar": "LOG", "help": "a log with shorted leads, or of a sound unit: unit or meter?"
    },
    "--control-kind": {
        "choices": ("shorted", "sound"),
        "default": "shorted",
        "help": "what the control log is: leads shorted (default), or a unit known to be sound",
    },
    "--since": {
        "metavar": "DATE",
        "help": "when it was repaired or adjusted (2031-03-04T14:00): do swings come more or less often since?",
    },
    "--ledger": {
        "metavar": "LEDGER", "help": "how the unit lies among its like: a ledger that survey --cases wrote"
    },
    "--model": {"metavar": "NAME", "help": "maker and model, as the ledger has it (default: that of the case)"},
    **REPORT,
    "--excursions": {"metavar": "OUT.parquet", "help": "write every excursion as a table (OUT.csv: as text)"},
    "--excursions-listed": {
        "type": int,
        "default": 10_000,
        "metavar": "N",
        "help": "list at most N excursions of a channel with --json: those that trip the relay, then the largest "
        "(default 10000)",
    },
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    add_options(parser, OPTIONS)
    add_log_options(parser)
    add_options(parser.add_argument_group("long logs"), CACHE_OPTIONS)


def _like(arguments: argparse.Namespace, case: Case | None, result: Assessment) -> tuple[AmongLike, ...]:
    from flicker.ledger import among_like

    model = arguments.model or (case.unit if case is not None else None)
    if model is None:
        raise ValueError("--ledger needs the model: give --model, or a case that names its unit.")
    return among_like(result, arguments.ledger, model, job=case.job if case is not None else None)


def run(arguments: argparse.Namespace) -> int:
    """Judge, print, and write what was asked for."""
    kept = kept_answer(arguments)
    if kept is not None and (answer := kept_text(*kept)) is not None:
        if arguments.json:
            print_document(answer)
        else:
            sys.stdout.write(answer)
        return 0
    from flicker.evidence.assessment import assess

    case = case_from(arguments)
    limits = limits_from(arguments, case)
    with working() as say:
        logs = case_logs(arguments, case)
        control = read_logs(arguments.control, arguments, case) if arguments.control else None
        if control and case is not None:
            control = [case.use(log) if case.fits(log) else log for log in control]
        result = assess(
            logs,
            limits,
            case=case,
            progress=say,
            excursions_listed=arguments.excursions_listed,
            cache=cache_from(arguments),
            control=control,
            control_kind=arguments.control_kind,
            since=since_from(arguments),
        )
        if case is not None and not arguments.logs:
            from flicker.case.identity import altered

            result = replace(
                result, cautions=(*altered(case, arguments.stage), *_pooled(case, arguments), *result.cautions)
            )
        if arguments.ledger:
            result = replace(result, ledger=_like(arguments, case, result))
        if arguments.excursions:
            from flicker.evidence.document.excursion_table import write_excursions

            write_excursions(result, arguments.excursions)
    printed: list[str] = []
    document = hand_over(arguments, result, logs=logs, keep=printed.append)
    if kept is not None and len(logs) == len(arguments.logs):
        keep_text(*kept, document or "".join(printed))
    return 0


def _pooled(case: Case, arguments: argparse.Namespace) -> tuple[str, ...]:
    """What to say where the logs of several stages are judged as one."""
    if arguments.stage is not None or len(case.stages) < 2:
        return ()
    stages = ", ".join(f"'{name}'" for name in case.stages)
    return (
        f"The logs of {len(case.stages)} stages ({stages}) are judged here as one: counts are of all, raw volts of what follows "
        f"the last change. For the unit as it is now: --stage '{case.stages[-1]}'; for what changed: flicker compare --case "
        f"{arguments.case}.",
    )
