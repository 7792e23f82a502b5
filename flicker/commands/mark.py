"""`flicker mark LOG TEXT --kind KIND`: note beside a log what was done, with the clock of its last sample."""

from __future__ import annotations

import argparse

from flicker.commands._shared import Options, add_log_options, add_options, case_from, used_logs

OPTIONS: Options = {
    "log": {"metavar": "LOG", "help": "the log; the mark goes to NAME.marks.csv beside it"},
    "text": {"metavar": "TEXT", "help": "what was done"},
    "--kind": {
        "default": "note",
        "metavar": "KIND",
        "help": "what sort of thing it was, as in adjusted or 'stimulus: tap' (default note)",
    },
    "--channel": {"metavar": "NAME", "help": "only this channel (default: all)"},
    "--ago": {"default": "0s", "metavar": "20s", "help": "how long before the last sample (20s, 2min, 1h)"},
    "--lasted": {"metavar": "20s", "help": "how long it lasted"},
    "--case": {"metavar": "CASE.toml", "help": "the case file, whose names of channels are used"},
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    from flicker.logs.marks import KINDS, MEANING

    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    width = max(map(len, KINDS))
    parser.epilog = (
        "kinds:\n"
        + "\n".join(f"  {kind:<{width}}  {MEANING[kind]}" for kind in KINDS)
        + "\n\nTapping, heating or cooling a live unit: mains voltage and charged capacitors inside; insulated tools, no "
        "loudspeaker.\nLocal codes and licensed practice come first."
    )
    add_options(parser, OPTIONS)
    add_log_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Append the mark."""
    from flicker.logs.marks import append_mark, marks_path, seconds_ago

    (log,) = used_logs([arguments.log], arguments, case_from(arguments))
    mark = append_mark(
        arguments.log,
        log,
        arguments.text,
        kind=arguments.kind,
        channel=arguments.channel,
        ago_s=seconds_ago(arguments.ago),
        lasted_s=None if arguments.lasted is None else seconds_ago(arguments.lasted),
    )
    print(f"{mark.reads}. Written to {marks_path(arguments.log)}.")
    return 0
