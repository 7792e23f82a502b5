"""`flicker assess LOG...`: judge the runs of one unit."""

from __future__ import annotations

import argparse

from flicker.commands._shared import add_log_options, limits_from, print_json, read_logs, working


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    parser.add_argument("logs", nargs="+", metavar="LOG", help="log files of one unit, in time order")
    parser.add_argument("--json", action="store_true", help="print one JSON document instead of the page")
    parser.add_argument("--report", metavar="OUT.html", help="write the evidence as one self-contained page")
    add_log_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Judge, print, and write what was asked for."""
    from flicker.evidence.assessment import assess

    limits = limits_from(arguments)
    with working() as say:
        logs = read_logs(arguments.logs, arguments)
        result = assess(logs, limits, progress=say)
        if arguments.report:
            from flicker.present.report import write_report

            say("drawing the page")
            write_report(result, arguments.report, logs=logs)
    if arguments.json:
        print_json(result.to_dict())
    else:
        from flicker.present.terminal import show_assessment

        show_assessment(result)
        if arguments.report:
            print(f"Page written: {arguments.report}")
    return 0
