"""`flicker case new CASE.toml` asks line by line; `check` says what is recorded and what not; `seal` notes fingerprints."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

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
        choices=("new", "check", "seal"),
        help="new: ask and write; check: read and say what is missing; seal: write the SHA-256 of each log into the case, "
        "so that a log changed later is told",
    )
    parser.add_argument("case", metavar="CASE.toml", help="the case file")
    parser.add_argument("--json", action="store_true", help="check: print the case as one JSON document")
    parser.add_argument("--anywhere", action="store_true", help="logs may lie outside the folder of the case file")


def run(arguments: argparse.Namespace) -> int:
    """Ask or check."""
    if arguments.action == "seal":
        return _seal(Path(arguments.case), anywhere=arguments.anywhere)
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
        place = case.places.get(f"logs.{number}.file", "")
        at = int(place.rsplit(" ", 1)[-1]) if place else 0
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


def _check(arguments: argparse.Namespace) -> int:
    from flicker.case.case_file import read_case
    from flicker.case.identity import altered, in_two_stages, out_of_order
    from flicker.commands._shared import print_json

    case = read_case(arguments.case, anywhere=arguments.anywhere)
    wrong = (*altered(case), *in_two_stages(case), *out_of_order(case))
    if arguments.json:
        print_json(case.to_dict())
        for line in wrong:
            print(f"! {line}", file=sys.stderr)
        return 0
    print(f"{case.unit or 'unit not recorded'}, job {case.job or 'not recorded'}: {len(case.logs)} log{'' if len(case.logs) == 1 else 's'}")
    for stage in case.stages:
        print(f"  {stage}: {', '.join(log.file for log in case.logs if log.stage == stage)}")
    print(case.complaint.reads)
    for line in wrong:
        print(f"! {line}")
    print("Not recorded: " + (", ".join(case.not_recorded) if case.not_recorded else "nothing; the case is complete."))
    return 0


def _new(path: Path) -> int:
    """Ask for every line; an empty answer leaves it out. Nothing is written until the last question."""
    from flicker.case.case_file import CaseError, read_case
    from flicker.present.writing import whole_file

    if path.exists():
        raise ValueError(f"{path}: the case file exists already; edit it, or choose another name.")
    print("An empty answer leaves a line out. Nothing is written before the last question.")
    text = compose(_ask)
    with whole_file(path, what="case") as draft:
        draft.write_text(text, encoding="utf-8")
        try:
            read_case(draft)  # a wrong answer must not leave a wrong file
        except CaseError as problem:
            said = str(problem).replace(draft.name, path.name)
            raise CaseError(f"{said} Nothing was written.") from None
    print(f"Case written: {path}")
    return 0


def _ask(question: str) -> str:
    sys.stdout.write(f"{question}: ")
    sys.stdout.flush()
    line = sys.stdin.readline()
    return line.strip()


def compose(ask: Callable[[str], str]) -> str:
    """Make the text of a case file from answers."""
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


def quoted(text: str) -> str:
    """A TOML basic string."""
    out = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in out) + '"'


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return text.lower() not in {"nan", "inf", "-inf", "infinity"}
