"""`flicker look LOG`: how the log is read, in five lines, before any of it is believed."""

from __future__ import annotations

import argparse

from flicker.commands._shared import add_log_options, columns_from, names_from, print_json, reading_from


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    parser.add_argument("log", metavar="LOG", help="the log file")
    parser.add_argument("--json", action="store_true", help="print one JSON document")
    add_log_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Print the plan."""
    from flicker.logs.reading.look import look

    columns = columns_from(arguments)
    plan = look(
        arguments.log,
        channels=names_from(arguments.channels),
        roles=columns["roles"],
        marks_column=columns["marks_column"],
        **reading_from(arguments),
    )
    if arguments.json:
        print_json(plan.to_dict())
    else:
        print("\n".join(plan.lines))
        if plan.notes:
            print("notes    " + " ".join(plan.notes))
    return 0
