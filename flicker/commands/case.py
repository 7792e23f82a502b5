"""`flicker case new CASE.toml` asks line by line, `add` adds a log and how it is read; `check` and `seal` look after it."""

from __future__ import annotations

import argparse
import os
import shlex
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from flicker.case.reading import quoted
from flicker.commands._shared import add_file_options, reading_from

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
NUMBERS = {"hours_per_day", "accuracy_V", "accuracy_percent", "integration_s", "factor", "polarity", "zero_V"}
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


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    parser.add_argument(
        "action",
        choices=("new", "add", "check", "seal"),
        help="new: ask and write; add: add a log, and keep the options with which it is read; check: read and say what is missing; seal: write the SHA-256 of each log into the case, "
        "so that a log changed later is told",
    )
    parser.add_argument("case", metavar="CASE.toml", help="the case file")
    parser.add_argument("log", nargs="?", metavar="LOG", help="add: the log")
    parser.add_argument("--stage", metavar="NAME", help="add: the stage of that log (as received, part replaced)")
    parser.add_argument("--json", action="store_true", help="check: print the case as one JSON document")
    parser.add_argument("--anywhere", action="store_true", help="logs may lie outside the folder of the case file")
    add_file_options(parser.add_argument_group("add: how the log is read"))


def run(arguments: argparse.Namespace) -> int:
    """Ask or check."""
    if arguments.action != "add" and arguments.log is not None:
        raise ValueError(f"case {arguments.action} takes no log; case add CASE.toml LOG adds one.")
    if arguments.action == "seal":
        return _seal(Path(arguments.case), anywhere=arguments.anywhere)
    if arguments.action == "add":
        return _add(Path(arguments.case), arguments)
    return _new(Path(arguments.case)) if arguments.action == "new" else _check(arguments)


def _seal(path: Path, *, anywhere: bool) -> int:
    """Write the fingerprint of every log that has none; one that differs from its own is an error."""
    from flicker.case.case_file import read_case
    from flicker.case.identity import fingerprint
    from flicker.present.writing import whole_file

    case = read_case(path, anywhere=anywhere)
    lines = path.read_text(encoding="utf-8-sig").split("\n")
    added = 0
    for number, log in reversed(list(enumerate(case.logs))):
        digest = fingerprint(log.path)
        if log.sha256 is not None:
            if log.sha256.lower() != digest:
                raise ValueError(f"{log.file} is not the file that was recorded: its fingerprint has changed.")
            continue
        at = _line_of(case.places, number, "file")
        if at == 0 or not lines[at - 1].strip().startswith("file"):
            raise ValueError(
                f"{path.name}: write each log as a table [[logs]] with a line of its own for file, then seal it."
            )
        lines.insert(at, f'sha256 = "{digest}"')
        added += 1
    if added:
        with whole_file(path, what="case") as draft:
            draft.write_text("\n".join(lines), encoding="utf-8")
    print(
        f"{path}: {added} fingerprint{'' if added == 1 else 's'} written"
        if added
        else f"{path}: sealed already, nothing to add"
    )
    return 0


def _add(path: Path, arguments: argparse.Namespace) -> int:
    """Add a log, or to a log of the case how it is read; it must be read with these options before they are kept."""
    from flicker.case.case_file import read_case
    from flicker.case.reading import checked, overruled, shown
    from flicker.logs.reading import read_log

    if arguments.log is None:
        raise ValueError("case add takes a log: flicker case add CASE.toml LOG --unit mV.")
    if not os.path.isfile(arguments.log):
        raise ValueError(f"{arguments.log}: there is no such file.")
    case = read_case(path, anywhere=arguments.anywhere) if path.exists() else None
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
        if arguments.stage or not before.startswith(("file", "reading")) or before.endswith(("[", "{")):
            raise ValueError(f"{path.name}: the log {case.logs[number].file!r} stands there already; edit its lines.")
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
    from flicker.case.case_file import CaseError, read_case
    from flicker.present.writing import whole_file

    with whole_file(path, what="case") as draft:
        draft.write_text(text, encoding="utf-8")
        try:
            read_case(draft, anywhere=anywhere)
        except CaseError as problem:
            said = str(problem).replace(draft.name, path.name)
            raise CaseError(f"{said} Nothing was written.") from None


def _check(arguments: argparse.Namespace) -> int:
    from flicker.case.case_file import read_case
    from flicker.case.identity import altered, in_two_stages, out_of_order
    from flicker.case.reading import shown
    from flicker.commands._shared import print_json

    case = read_case(arguments.case, anywhere=arguments.anywhere)
    wrong = (*altered(case), *in_two_stages(case), *out_of_order(case))
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


def _new(path: Path) -> int:
    """Ask for every line; an empty answer leaves it out. Nothing is written until the last question."""
    if path.exists():
        raise ValueError(f"{path}: the case file exists already; edit it, or choose another name.")
    print("An empty answer leaves a line out. Nothing is written before the last question.")
    _write(path, compose(_ask, lambda file: _open_points(path.parent / file)))
    print(f"Case written: {path}")
    return 0


def _ask(question: str) -> str:
    sys.stdout.write(f"{question}: ")
    sys.stdout.flush()
    line = sys.stdin.readline()
    return line.strip()


def _open_points(log: Path) -> str:
    """What a log leaves open, in a sentence; nothing where it can be read, or is not there."""
    from flicker.logs.errors import LogError, Question
    from flicker.logs.reading import read_log

    try:
        read_log(log)
    except Question as question:
        return str(question)
    except LogError:
        return ""
    return ""


def _options(answer: str) -> str:
    """Options of the command line as a case file has them."""
    from flicker.case.reading import checked, shown

    parser = argparse.ArgumentParser(prog="options", add_help=False, exit_on_error=False)
    add_file_options(parser.add_argument_group())
    try:
        known, rest = parser.parse_known_args(shlex.split(answer))
    except (argparse.ArgumentError, ValueError) as problem:
        raise ValueError(f"{problem}. Nothing was written.") from None
    if rest:
        raise ValueError(f"{' '.join(rest)!r} is no option of reading. Nothing was written.")
    return shown(checked(reading_from(known)))


def compose(ask: Callable[[str], str], open_points: Callable[[str], str] = lambda file: "") -> str:
    """Make the text of a case file from answers; ``open_points`` says what a log leaves open."""
    lines: list[str] = []
    table = ""
    for name, key, question in QUESTIONS:
        answer = ask(question)
        if not answer:
            continue
        if name != table:
            lines += ["", f"[{name}]"]
            table = name
        number = key in NUMBERS or (key == "times" and _is_number(answer))
        lines.append(f"{key} = {answer if number and _is_number(answer) else quoted(answer)}")
    while name := ask("Channel, as left or right (empty when done)"):
        lines += ["", f"[channels.{quoted(name)}]", *_answers(ask, CHANNEL_QUESTIONS)]
    while file := ask("Log file (empty when done)"):
        lines += ["", "[[logs]]", f"file = {quoted(file)}", *_answers(ask, LOG_QUESTIONS)]
        if point := open_points(file):
            answer = ask(f"  {point}\n  The options that say it, as on the command line")
            lines += [f"reading = {{ {_options(answer)} }}"] if answer else []
        told = _answers(ask, CONDITIONS)
        if told:
            lines.append(f"conditions = {{ {', '.join(told)} }}")
    while what := ask("Work done or part changed (empty when done)"):
        lines += ["", "[[parts]]", f"what = {quoted(what)}", *_answers(ask, PART_QUESTIONS)]
    return "\n".join(lines).strip() + "\n"


def _answers(ask: Callable[[str], str], questions: Sequence[tuple[str, str]]) -> list[str]:
    """Lines of what was answered."""
    out = []
    for key, question in questions:
        answer = ask(question)
        if answer:
            out.append(f"{key} = {answer if key in NUMBERS and _is_number(answer) else quoted(answer)}")
    return out


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return text.lower() not in {"nan", "inf", "-inf", "infinity"}
