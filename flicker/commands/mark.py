"""`flicker mark LOG TEXT --kind KIND`: note beside a log what was done, with the clock of its last sample."""

from __future__ import annotations

import argparse

from flicker.commands._shared import add_log_options, case_from, used_logs


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
    parser.add_argument("log", metavar="LOG", help="the log; the mark goes to NAME.marks.csv beside it")
    parser.add_argument("text", metavar="TEXT", help="what was done")
    parser.add_argument("--kind", default="note", metavar="KIND", help="what sort of thing it was, as in adjusted or 'stimulus: tap' (default note)")
    parser.add_argument("--channel", metavar="NAME", help="only this channel (default: all)")
    parser.add_argument("--ago", default="0s", metavar="20s", help="how long before the last sample (20s, 2min, 1h)")
    parser.add_argument("--lasted", metavar="20s", help="how long it lasted")
    parser.add_argument("--case", metavar="CASE.toml", help="the case file, whose names of channels are used")
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
