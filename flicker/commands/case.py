"""`flicker case new CASE.toml` asks line by line, `add` adds a log and how it is read; `check` and `seal` look after it."""

from __future__ import annotations

import argparse
import math
import os
import shlex
import sys
import tempfile
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from flicker.case.case_file import CaseError, read_case
from flicker.case.model import Case
from flicker.case.reading import checked, overruled, quoted, shown
from flicker.commands._documents import print_json
from flicker.commands._shared import Options, add_file_options, add_options, need, reading_from, working
from flicker.logs.errors import LogError, Question
from flicker.logs.writing import whole_file

QUESTIONS: tuple[tuple[str, str, str], ...] = (
    ("", "unit", "Unit (maker and model)"),
    ("", "serial", "Serial number"),
    ("", "job", "Job number"),
    ("", "output", "Kind of output: direct, servo, capacitor, transformer, bridged or headphone"),
    ("complaint", "text", "Complaint, in the owner's words"),
    ("complaint", "times", "How often: once, twice, a few times, several times, or a number"),
    ("complaint", "per", "Per hour, evening, day, week or month"),
    ("complaint", "when", "When: cold, hot or any"),
    ("complaint", "hours_per_day", "Hours of use per day"),
    ("meter", "name", "Meter"),
    ("meter", "accuracy_V", "Meter's accuracy in volts"),
    ("meter", "accuracy_percent", "Meter's accuracy in per cent of the reading"),
    ("meter", "integration_s", "Meter's integration time in seconds"),
)
NUMBERS = {"times", "hours_per_day", "accuracy_V", "accuracy_percent", "integration_s", "factor", "polarity", "zero_V"}
CHANNEL_QUESTIONS = (
    ("column", "  Its column in the logs (as the channel, if empty)"),
    ("role", "  Role: output, rail, mains, temperature, shorted lead or ignore (output, if empty)"),
    ("measured_at", "  Measured at: amplifier side, speaker side, no relay or unknown"),
    ("factor", "  Factor (of a probe or divider)"),
    ("polarity", "  Polarity: 1 or -1"),
    ("zero_V", "  Reading with the leads shorted, in volts"),
)
LOG_QUESTIONS = (
    ("date", "  Date and time of that log, as 2031-03-09T18:30"),
    ("stage", "  Stage (as received, reseated only, part replaced)"),
    ("by", "  Logged by"),
)
CONDITIONS = (
    ("load", "  Load (none, 8 ohm dummy)"),
    ("source", "  Source (shorted, music)"),
    ("lid", "  Lid (open, closed)"),
)
PART_QUESTIONS = (("stage", "  Stage that it opened"), ("date", "  Date, as 2031-03-09"))


OPTIONS: Options = {
    "action": {
        "choices": ("new", "add", "check", "seal"),
        "help": "new: ask and write; add: add a log, and keep the options with which it is read; check: read and say what is missing; seal: write the SHA-256 of each log into the case, "
        "so that a log changed later is told",
    },
    "case": {"metavar": "CASE.toml", "help": "the case file"},
    "log": {"nargs": "?", "metavar": "LOG", "help": "add: the log"},
    "--stage": {"metavar": "NAME", "help": "add: the stage of that log (as received, part replaced)"},
    "--json": {"action": "store_true", "help": "check: print the case as one JSON document"},
    "--anywhere": {"action": "store_true", "help": "logs may lie outside the folder of the case file"},
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    add_options(parser, OPTIONS)
    add_file_options(parser.add_argument_group("add: how the log is read"))


def run(arguments: argparse.Namespace) -> int:
    """Ask or check."""
    said = f"case {arguments.action} takes no log; case add CASE.toml LOG adds one."
    need(arguments.action == "add" or arguments.log is None, said)
    act = {"new": _new, "add": _add, "check": _check, "seal": _seal}[arguments.action]
    return act(Path(arguments.case), arguments)


def _seal(path: Path, arguments: argparse.Namespace) -> int:
    """Write the fingerprint of every log that has none; one that differs from its own is an error."""
    from flicker.case.identity import fingerprint

    case = read_case(path, anywhere=arguments.anywhere)
    need(bool(case.logs), f"{path}: the case lists no log yet; add one first: flicker case add {path} LOG.")
    lines = path.read_text(encoding="utf-8-sig").split("\n")
    added = 0
    with working():
        digests = [fingerprint(log.path) for log in case.logs]
    for number, (log, digest) in reversed(list(enumerate(zip(case.logs, digests, strict=True)))):
        if log.sha256 is not None:
            said = f"{log.file} is not the file that was recorded: its fingerprint has changed."
            need(log.sha256.lower() == digest, said)
            continue
        at = _line_of(case.places, number, "file")
        said = f"{path.name}: write each log as a table [[logs]] with a line of its own for file, then seal it."
        need(at > 0 and lines[at - 1].strip().startswith("file"), said)
        lines.insert(at, f'sha256 = "{digest}"')
        added += 1
    if added:
        with whole_file(path, what="case", known=True) as draft:
            draft.write_text("\n".join(lines), encoding="utf-8")
        print(f"{path}: {added} fingerprint{'' if added == 1 else 's'} written")
    else:
        print(f"{path}: sealed already, nothing to add")
    return 0


def _add(path: Path, arguments: argparse.Namespace) -> int:
    """Add a log, or to a log of the case how it is read; it must be read with these options before they are kept."""
    from flicker.logs.reading import read_log

    need(arguments.log is not None, "case add takes a log: flicker case add CASE.toml LOG --unit mV.")
    need(os.path.isfile(arguments.log), f"{arguments.log}: there is no such file.")
    case = read_case(path, anywhere=arguments.anywhere, growing=True) if path.exists() else None
    given = reading_from(arguments)
    place = [os.path.samefile(log.path, arguments.log) for log in case.logs] if case is not None else []
    number = place.index(True) if True in place else None
    own = dict(case.logs[number].reading) if case is not None and number is not None else {}
    options = checked(overruled(own, given))
    read_log(arguments.log, **({} if case is None else overruled(case.reading(), dict(options))) | dict(options))
    lines = path.read_text(encoding="utf-8-sig").rstrip("\n").split("\n") if case is not None else []
    line = [f"reading = {{ {shown(options)} }}"] if options else []
    if case is None or number is None:
        file = os.path.relpath(arguments.log, path.parent)
        stage = [f"stage = {quoted(arguments.stage)}"] if arguments.stage else []
        lines += [*([""] if lines else []), "[[logs]]", f"file = {quoted(file)}", *stage, *line]
    else:
        at = _line_of(case.places, number, "reading") or _line_of(case.places, number, "file")
        before = lines[at - 1].strip() if at else ""
        whole = before.startswith(("file", "reading")) and not before.endswith(("[", "{"))
        need(whole and not arguments.stage, f"{path.name}: the log {case.logs[number].file!r} stands there already; edit its lines.")
        lines[at - 1 : at] = line if before.startswith("reading") else [lines[at - 1], *line]
    _write(path, "\n".join(lines).lstrip("\n") + "\n", anywhere=arguments.anywhere)
    print(f"{path}: {arguments.log}, " + (f"read with {shown(options)}" if options else "read without options"))
    return 0


def _line_of(places: Mapping[str, str], number: int, key: str) -> int:
    """Line of a key of a log, 0 where the file has no line of its own for it."""
    place = places.get(f"logs.{number}.{key}", "")
    return int(place.rsplit(" ", 1)[-1]) if place else 0


def _write(path: Path, text: str, *, anywhere: bool = False) -> None:
    """Write a case if it can be read; a wrong line must not leave a wrong file."""
    with whole_file(path, what="case", known=True) as draft:
        if problem := _problem(path, text, anywhere=anywhere, growing=True):
            raise CaseError(f"{problem} Nothing was written.")
        draft.write_text(text, encoding="utf-8")


def _check(path: Path, arguments: argparse.Namespace) -> int:
    """Read a case, and say what is missing."""
    from flicker.case.identity import altered, in_two_stages, out_of_order

    case = read_case(path, anywhere=arguments.anywhere)
    with working():
        wrong = (*altered(case), *in_two_stages(case), *out_of_order(case), *_unread(case))
    if arguments.json:
        print_json(case.to_dict())
        for line in wrong:
            print(f"! {line}", file=sys.stderr)
        return 0
    print(
        f"{case.unit or 'unit not recorded'}, job {case.job or 'not recorded'}: {len(case.logs)} log{'' if len(case.logs) == 1 else 's'}"
    )
    for stage in case.stages:
        print(f"  {stage}: {', '.join(log.file for log in case.logs if log.stage == stage)}")
    for file, options in (("all logs", case.options), *((log.file, log.reading) for log in case.logs)):
        if options:
            print(f"  {file}: read with {shown(options)}")
    print(case.complaint.reads)
    for line in wrong:
        print(f"! {line}")
    print("Not recorded: " + (", ".join(case.not_recorded) if case.not_recorded else "nothing; the case is complete."))
    return 0


def _unread(case: Case) -> list[str]:
    """Why logs of the case cannot be used as it says: a column that the log does not have, a unit that is not told."""
    said = []
    for log in case.logs:
        try:
            case.read(log.path)
        except (CaseError, LogError) as problem:
            said.append(str(problem))
    return said


def _new(path: Path, arguments: argparse.Namespace) -> int:
    """Ask for every line; an empty answer leaves it out, and a wrong one is asked for again at once.

    The case is written after the last question; whoever breaks off before finds what was answered so far.
    """
    need(not path.exists(), f"{path}: the case file exists already; edit it, or choose another name.")
    print("An empty answer leaves a line out; a wrong one is asked for again. Ctrl-C keeps what was answered so far.")
    so_far = [""]

    def wrong(text: str) -> str:
        problem = _problem(path, text)
        if not problem:
            so_far[0] = text
        return problem

    try:
        text = compose(ask, lambda file: _open_points(path.parent / file), wrong)
    except KeyboardInterrupt:
        if so_far[0]:
            _write(path, so_far[0])
            print(f"\nWhat was answered so far stands in {path}; add the rest there.", file=sys.stderr)
        raise
    _write(path, text)
    print(f"Case written: {path}")
    return 0


def _problem(path: Path, text: str, *, anywhere: bool = False, growing: bool = False) -> str:
    """Why a case of that text could not be read, in a sentence; '' where it can."""
    with tempfile.NamedTemporaryFile("w", suffix=".toml", dir=path.parent, encoding="utf-8") as draft:
        draft.write(text)
        draft.flush()
        try:
            read_case(draft.name, anywhere=anywhere, growing=growing)
        except CaseError as problem:
            return str(problem).replace(os.path.basename(draft.name), path.name)
    return ""


def ask(question: str) -> str:
    """Put a question on the terminal; the line that is typed, '' at the end of all input."""
    print(f"{question}: ", end="", flush=True)
    return sys.stdin.readline().strip()


def _open_points(log: Path) -> str:
    """What a log leaves open, in a sentence; nothing where it can be read, or is not there."""
    from flicker.logs.reading import read_log

    try:
        read_log(log)
    except Question as question:
        return str(question)
    except LogError:
        pass
    return ""


def _options(answer: str) -> str:
    """Options of the command line as a case file has them."""
    parser = argparse.ArgumentParser(prog="options", add_help=False, exit_on_error=False)
    add_file_options(parser.add_argument_group())
    try:
        known, rest = parser.parse_known_args(shlex.split(answer))
    except (argparse.ArgumentError, ValueError) as problem:
        raise ValueError(f"{problem}.") from None
    need(not rest, f"{' '.join(rest)!r} is no option of reading.")
    return shown(checked(reading_from(known)))


class _Answers:
    """Lines of a case in the making: an answer that makes the case unreadable is told and asked for again."""

    def __init__(self, ask: Callable[[str], str], wrong: Callable[[str], str], tell: Callable[[str], None]) -> None:
        self.ask, self.wrong, self.tell = ask, wrong, tell
        self.lines: list[str] = []

    @property
    def text(self) -> str:
        """The case so far."""
        return "\n".join(self.lines).strip() + "\n"

    def take(self, question: str, made: Callable[[str], list[str]]) -> str:
        """Ask until the answer is empty or fits; ``made`` gives the lines of an answer."""
        while answer := self.ask(question):
            before = list(self.lines)
            try:
                self.lines += made(answer)
                problem = self.wrong(self.text)
            except ValueError as found:
                problem = str(found)
            if not problem:
                return answer
            self.lines = before
            self.tell(f"  {problem} Once more, or nothing to leave it out.")
        return ""

    def rows(self, questions: Sequence[tuple[str, str]]) -> None:
        """Ask for keys of the table that is open."""
        for key, question in questions:
            self.take(question, lambda answer, key=key: [_line(key, answer)])  # type: ignore[misc]


def compose(
    ask: Callable[[str], str],
    open_points: Callable[[str], str] = lambda file: "",
    wrong: Callable[[str], str] = lambda text: "",
    tell: Callable[[str], None] = print,
) -> str:
    """Make the text of a case file from answers.

    ``open_points`` says what a log leaves open, ``wrong`` why a text is no case ('' where it is one); ``tell`` shows it.
    """
    made = _Answers(ask, wrong, tell)
    table = [""]

    def keyed(name: str, key: str, answer: str) -> list[str]:
        return [*(["", f"[{name}]"] if name != table[0] else []), _line(key, answer)]

    for name, key, question in QUESTIONS:
        if made.take(question, lambda answer, name=name, key=key: keyed(name, key, answer)):  # type: ignore[misc]
            table[0] = name
    while made.take("Channel, as left or right (empty when done)", lambda name: ["", f"[channels.{quoted(name)}]"]):
        made.rows(CHANNEL_QUESTIONS)
    while file := made.take(
        "Log file (empty when done)", lambda name: ["", "[[logs]]", f"file = {quoted(name)}"]
    ):
        made.rows(LOG_QUESTIONS)
        if point := open_points(file):
            made.take(
                f"  {point}\n  The options that say it, as on the command line",
                lambda answer: [f"reading = {{ {_options(answer)} }}"],
            )
        told = [f"{key} = {quoted(answer)}" for key, question in CONDITIONS if (answer := ask(question))]
        if told:
            made.lines.append(f"conditions = {{ {', '.join(told)} }}")
    while made.take("Work done or part changed (empty when done)", lambda what: ["", "[[parts]]", f"what = {quoted(what)}"]):
        made.rows(PART_QUESTIONS)
    return made.text


def _line(key: str, answer: str) -> str:
    """One line of a case: a number as one, all else as text."""
    try:
        number = key in NUMBERS and math.isfinite(float(answer))
    except ValueError:
        number = False
    return f"{key} = {answer if number else quoted(answer)}"
