"""`flicker simulate KIND OUT.csv`: an invented bench log with known truth."""

from __future__ import annotations

import argparse
from pathlib import Path

from flicker.commands._shared import Options, add_options, need, working

OPTIONS: Options = {
    "kind": {"metavar": "KIND", "help": "what the bench shows; listed below"},
    "out": {"metavar": "OUT.csv", "help": "file to write; of several visits one each, numbered"},
    "--hours": {"type": float, "default": None, "metavar": "H", "help": "length of each run"},
    "--rate": {"type": float, "default": 2.0, "metavar": "HZ", "help": "samples per second (default 2)"},
    "--runs": {"type": int, "default": None, "metavar": "N", "help": "power-ups, over all visits"},
    "--seed": {"type": int, "default": 1, "metavar": "N", "help": "same seed, same log (default 1)"},
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    from flicker.simulate import KINDS

    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    width = max(map(len, KINDS))
    parser.epilog = "kinds (all invented):\n" + "\n".join(f"  {name:<{width}}  {text}" for name, text in KINDS.items())
    add_options(parser, OPTIONS)


def run(arguments: argparse.Namespace) -> int:
    """Simulate and write."""
    from flicker.simulate import KINDS, simulate_log

    need(arguments.kind in KINDS, f"{arguments.kind!r} is not a kind of bench; known are {', '.join(KINDS)}")
    out = Path(arguments.out)
    with working("simulating") as say:
        bench = simulate_log(arguments.kind, seed=arguments.seed, rate_hz=arguments.rate, hours=arguments.hours, runs=arguments.runs)
        visits = bench.visits()
        say("writing")
        several = len(visits) > 1
        numbered = [out.with_name(f"{out.stem}-{number}{out.suffix}") for number in range(1, len(visits) + 1)]
        names = numbered if several else [out]
        for name in names:  # it may be a log that was measured, and nothing in it would tell
            need(not name.is_file(), f"{name} exists already; choose another name, or delete it first.")
        written = [(date, path) for (date, part), name in zip(visits, names, strict=True) for path in part.write(name)]
    for date, path in written:
        print(f"written: {path} (invented, seed {arguments.seed}{f', {date}' if several else ''})")
    if several:
        print(f"Judge it with: flicker visits {' '.join(f'--visit {date} {path}' for date, path in written)}")
    return 0
