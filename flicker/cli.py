"""The command line: finds the command, hands over, and turns every bad input into one sentence and exit code 2.

Modules of the commands are loaded only when chosen, so that help answers at once.
"""

from __future__ import annotations

import argparse
import atexit
import gc
import importlib
import io
import os
import signal
import sys
from collections.abc import Sequence
from typing import NoReturn

from flicker._version import __version__

# Objects made before Python looks for cycles among them (700 by itself): nearly all that a start makes, modules and classes,
# lives to the end, and the looks took a tenth of it. So many objects take some 25 MB; a choice, measured in tests/benchmarks.
LOOKED_AFTER = 250_000
STOPPED = 130  # exit code after Ctrl-C: 128 and the number of the signal, as shells have it

COMMANDS: dict[str, str] = {
    "assess": "judge the runs of one unit: how each channel behaves, and why",
    "look": "show how a log is read, before it is believed",
    "compare": "before against after a repair, or any number of stages",
    "visits": "worsening over visits months apart",
    "soak": "plan a soak: how long to log (starts nothing)",
    "watch": "follow a log that is still being written",
    "mark": "note beside a log what was done to the unit",
    "case": "begin or check a case file: complaint, logs, parts",
    "report": "judge a case and write the page to hand over",
    "survey": "judge a whole folder of logs",
    "simulate": "write an invented bench log with known truth",
    "notebook": "run an analysis notebook on your logs",
}

EPILOG = (
    "words: log, a file; run, a power-up; visit, a date; stage, between two changes; excursion, a stretch beyond the\n"
    "threshold; episode, excursions of one burst; observed time, seconds in which an excursion could have been seen.\n"
    "'no' means shown to be below the limit, 'not shown' that the log cannot tell."
)


class SentenceParser(argparse.ArgumentParser):
    """A parser whose errors are one sentence."""

    def _check_value(self, action: argparse.Action, value: object) -> None:
        """Name the nearest known word where one is near."""
        if action.choices is not None and value not in action.choices:
            from difflib import get_close_matches  # late: only a wrong word needs it

            known = [str(choice) for choice in action.choices]
            near = get_close_matches(str(value), known, n=1)
            said = f"did you mean {near[0]!r}?" if near else f"known are {', '.join(known)}"
            raise argparse.ArgumentError(action, f"{value} is not known; {said}")

    def error(self, message: str) -> NoReturn:
        """Print one sentence and exit with 2."""
        self.exit(2, f"{self.prog}: {message}{'' if message.endswith('?') else '.'} See {self.prog} --help.\n")


def _parse(arguments: Sequence[str]) -> tuple[SentenceParser, argparse.Namespace]:
    """The parser, and what it understood."""
    parser = SentenceParser(
        prog="flicker",
        description="Turns long DC-offset logs of audio amplifiers into evidence.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"flicker {__version__}")
    places = parser.add_subparsers(dest="command", metavar="COMMAND", parser_class=SentenceParser)
    chosen = arguments[0] if arguments and arguments[0] in COMMANDS else None
    for name, text in COMMANDS.items() if chosen is None else [(chosen, COMMANDS[chosen])]:
        place = places.add_parser(name, help=text, description=text[0].upper() + text[1:] + ".")
        if name == chosen:
            importlib.import_module(f"flicker.commands.{name}").add_arguments(place)
    known, more = parser.parse_known_args(arguments)
    if more:
        (places.choices[known.command] if known.command else parser).error(f"unrecognized arguments: {' '.join(more)}")
    return parser, known


def _print_anything() -> None:
    """Let a terminal of any encoding, and a name that is no text, cost a sign and not the page."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace" if "utf" in (stream.encoding or "").lower() else "replace")


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line; return the exit code."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    known = argparse.Namespace(command="")
    _print_anything()
    try:
        parser, known = _parse(arguments)
        if known.command is None:
            parser.print_help()
            return 2
        code = importlib.import_module(f"flicker.commands.{known.command}").run(known)
        sys.stdout.flush()
        return int(code or 0)
    except SystemExit as stop:
        return int(stop.code or 0) if not isinstance(stop.code, str) else 2
    except KeyboardInterrupt:
        print("flicker: stopped.", file=sys.stderr)
        return STOPPED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except (ValueError, OSError, MemoryError) as problem:
        print(f"flicker {known.command}: {sentence(problem)}", file=sys.stderr)
        return 2


def alone() -> int:
    """Run the command line in a process that does nothing else; return the exit code.

    Nothing here multiplies large matrices, but each thread that the linear algebra libraries start turns idly on a
    core for a tenth of a second; so they get one, unless the user has said otherwise.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    gc.set_threshold(LOOKED_AFTER)
    code = main()
    gc.freeze()  # the process ends: nothing is to be gained by a last look for cycles
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the work is done; an interrupt while Python leaves changes nothing
    return code


def leave(code: int) -> NoReturn:
    """Do what is to be done at the end, and end the process at once.

    To let go of every module and object by itself takes 4 % of a short log's time. And an interrupt that passed through
    an extension module's start would make Python end by the signal, whatever the code asked for.
    """
    import threading  # late: help starts none

    if threading.active_count() > 1 and code != STOPPED:
        sys.exit(code)  # a thread is still at work; Python waits for it
    atexit._run_exitfuncs()
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except OSError:
        sys.exit(code)  # Python says what it could not write
    os._exit(code)


def program() -> NoReturn:
    """Run the command line, and end the process with it."""
    leave(alone())


def sentence(problem: BaseException) -> str:
    """Say what went wrong in one line."""
    if isinstance(problem, OSError) and problem.strerror:
        where = f"{problem.filename}: " if problem.filename else ""
        return f"{where}{problem.strerror[0].lower()}{problem.strerror[1:]}."
    if isinstance(problem, MemoryError):
        return "there is not enough memory for this."
    return " ".join(str(problem).split())


if __name__ == "__main__":
    program()
