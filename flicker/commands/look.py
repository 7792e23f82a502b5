"""`flicker look LOG`: how the log is read, in five lines, before any of it is believed."""

from __future__ import annotations

import argparse

from flicker.commands._documents import print_json
from flicker.commands._shared import (
    Options,
    add_log_options,
    add_options,
    case_from,
    channels_from,
    file_options,
    working,
)

OPTIONS: Options = {
    "log": {"metavar": "LOG", "help": "the log file"},
    "--json": {"action": "store_true", "help": "print one JSON document"},
    "--case": {"metavar": "CASE.toml", "help": "the case file, whose options of reading are used"},
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    add_options(parser, OPTIONS)
    add_log_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Print the plan."""
    from flicker.logs.reading.look import look

    case = case_from(arguments)
    options = file_options(arguments.log, arguments, case)
    del options["differences"]  # of channels, made after reading
    with working():
        plan = look(arguments.log, channels=channels_from(arguments, case), **options)
    if arguments.json:
        print_json(plan.to_dict())
    else:
        print("\n".join(plan.lines))
        if plan.notes:
            print("notes    " + " ".join(plan.notes))
    return 0
