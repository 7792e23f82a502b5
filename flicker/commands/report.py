"""`flicker report --case CASE.toml OUT.html`: the page of a job, to hand over."""

from __future__ import annotations

import argparse

from flicker.commands._documents import print_json
from flicker.commands._shared import RUN_GAP, Options, add_options, limits_from, need, working

OPTIONS: Options = {
    "--case": {"required": True, "metavar": "CASE.toml", "help": "the case file"},
    "out": {"nargs": "?", "metavar": "OUT.html", "help": "where to write the page"},
    "--json": {"action": "store_true", "help": "print the whole job as one JSON document"},
    "--limits": {"metavar": "FILE.toml", "help": "limits other than those of the case"},
    "--anywhere": {"action": "store_true", "help": "logs may lie outside the folder of the case file"},
    **RUN_GAP,
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    add_options(parser, OPTIONS)


def run(arguments: argparse.Namespace) -> int:
    """Judge every stage and write the page."""
    from flicker.case.case_file import read_case
    from flicker.evidence.job import judge_case

    named = arguments.out is not None or arguments.json
    need(named, "name the page to write, as in: flicker report --case CASE.toml OUT.html")
    from flicker.present.report.parts import CURED
    from flicker.present.said import fitness_text

    case = read_case(arguments.case, anywhere=arguments.anywhere)
    with working() as say:
        result = judge_case(case, limits_from(arguments, case), progress=say, run_gap_s=arguments.run_gap)
        if arguments.out is not None:
            from flicker.present.report import write_report

            say("drawing the page")
            write_report(result, arguments.out)
    if arguments.json:
        print_json(result.to_dict())
        return 0
    for item in result.last.channels:
        print(f"{item.channel}: {fitness_text(item.fitness)}; {item.verdict}: {item.tail}")
        outcome = result.outcome(item.channel)
        if outcome is not None:
            cured = f"; cured: {CURED[outcome['cured']]}" if outcome["cured"] else ""
            print(f"  since {result.stages[0]}: {outcome['outcome']}{cured}")
    if result.comparison is not None:
        for credit in result.comparison.credits:
            print(credit.reads)
    for line in (*result.changed, *result.not_comparable):
        print(f"! {line}")
    print(f"Page written: {arguments.out}")
    return 0
