"""`flicker notebook NAME LOG...`: run one of the analysis notebooks on your logs."""

from __future__ import annotations

import argparse

from flicker.commands._shared import Options, add_options, working

OPTIONS: Options = {
    "name": {"metavar": "NAME", "help": "which notebook; listed below"},
    "logs": {
        "nargs": "*",
        "metavar": "LOG",
        "help": "log files in time order (the demo's if none); the word 'then' between the logs before and after",
    },
    "--case": {"metavar": "CASE.toml", "help": "the case file: columns, and its logs if none are named"},
    "--channel": {"metavar": "NAME", "help": "the channel to look at (the worst if none)"},
    "--out": {"metavar": "FILE.ipynb", "help": "where to write it (default NAME.ipynb here)"},
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    from flicker.present.notebook import notebooks

    parser.epilog = "notebooks: " + ", ".join(notebooks())
    add_options(parser, OPTIONS)


def run(arguments: argparse.Namespace) -> int:
    """Run and write."""
    from flicker.present.notebook import run_notebook

    told = {} if arguments.channel is None else {"CHANNEL": arguments.channel}
    with working() as say:
        say(f"running {arguments.name}")
        path = run_notebook(arguments.name, arguments.logs, arguments.out, parameters=told, case=arguments.case)
    print(f"Notebook written: {path}")
    return 0
