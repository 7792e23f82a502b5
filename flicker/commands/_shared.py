"""What several commands share: options as tables, reading logs and limits from arguments, showing progress, handing over a result."""

from __future__ import annotations

import argparse
import datetime as dt
import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from importlib import import_module
from typing import TYPE_CHECKING, Any

from flicker.commands._documents import json_text, print_document

if TYPE_CHECKING:
    from flicker.base.limits import Limits
    from flicker.case.case_file import Case
    from flicker.logs.model import Log
    from flicker.signals.cache import BlockCache

Options = Mapping[str, Mapping[str, Any]]  # by their words, as argparse takes them

JSON: Options = {"--json": {"action": "store_true", "help": "print one JSON document instead of the page"}}
REPORT: Options = {"--report": {"metavar": "OUT.html", "help": "write the evidence as one self-contained page"}}
LIMITS: Options = {"--limits": {"metavar": "FILE.toml", "help": "limits that differ from the defaults"}}
RUN_GAP: Options = {
    "--run-gap": {"type": float, "default": 600.0, "metavar": "S", "help": "a longer pause begins a new run (default 600)"}
}
LOG_OPTIONS: Options = {
    **LIMITS,
    "--anywhere": {"action": "store_true", "help": "with --case: its logs may lie outside the folder of the case file"},
    "--channels": {"metavar": "NAME[,NAME]", "help": "only these columns, or differences of two"},
    "--role": {
        "action": "append",
        "metavar": "COLUMN=ROLE",
        "help": "a column that is no output: rail, mains, temperature, 'shorted lead' or ignore; give it once for each",
    },
    "--marks-column": {"metavar": "NAME", "help": "the column that holds marks (default: mark, event or note)"},
    "--difference": {
        "action": "append",
        "metavar": "NAME=COLUMN,COLUMN",
        "help": "a channel that is the first column less the second, as for a bridged output",
    },
}
CACHE_OPTIONS: Options = {
    "--cache": {
        "nargs": "?",
        "const": "",
        "metavar": "DIR",
        "help": "keep the blocks of each log (with assess --json the answer, too), beside it or in DIR, so that a second look need "
        "not read it again",
    },
    "--verify": {"action": "store_true", "help": "with --cache: compare all bytes of a log, not its ends"},
}


def _yes(text: str) -> bool:
    """Turn yes or no into a truth."""
    if text.lower() in ("yes", "no"):
        return text.lower() == "yes"
    raise argparse.ArgumentTypeError(f"takes yes or no, got {text!r}")


# How a file is read, whatever its columns are for. Each is kept under its name in a case file, see `reading_from`.
INTERVAL = "--sample-interval"
FILE_OPTIONS: Options = {
    "--unit": {
        "action": "append",
        "metavar": "V|mV|uV",
        "help": "unit of the readings, where the file does not tell; COLUMN=UNIT for one column (give it once for each),"
        " COLUMN=COLUMN where a column holds the unit of each reading",
    },
    INTERVAL: {
        "dest": "sample_interval_s", "type": float, "metavar": "S", "help": "seconds between samples, where no column tells"
    },
    "--time-column": {"metavar": "NAME", "help": "the column that tells the time"},
    "--time-unit": {"metavar": "s|ms|us|min|h|d", "help": "unit of a time column of bare numbers"},
    "--day-first": {
        "nargs": "?",
        "type": _yes,
        "const": True,
        "default": None,
        "metavar": "yes|no",
        "help": "whether 03/04/2026 is the third of April",
    },
    "--month-first": {"dest": "day_first", "action": "store_false", "help": "the same as --day-first no"},
    "--date-order": {"choices": ("ymd", "dmy", "mdy"), "help": "order of the parts of dates such as 26-03-04"},
    "--decimal": {"choices": (".", ","), "help": "decimal sign, where the file does not tell"},
    "--thousands": {
        "choices": ("sure", "none"),
        "help": "rows with a cell too many: sure reads those that can be put together in one way, none leaves all out",
    },
    "--separator": {"metavar": ";|,|tab", "help": "what parts the cells of a text log"},
    "--channel-column": {
        "metavar": "NAME", "help": "the column that names the channel, where each reading has its own row"
    },
    "--volts-per-count": {"type": float, "metavar": "V", "help": "scale of a converter's counts"},
    "--zero-count": {"type": float, "metavar": "N", "help": "the count at 0 V (default 0)"},
    "--missing-word": {
        "dest": "missing_words", "action": "append", "metavar": "WORD", "help": "a word, or a number, that stands for no reading"
    },
    "--over-word": {
        "dest": "over_words", "action": "append", "metavar": "WORD", "help": "a word, or a number, that stands for over range"
    },
    "--full-scale": {
        "dest": "full_scale_V", "type": float, "metavar": "V", "help": "volts at full scale of a WAV recording"
    },
}
DAYS = ("--day-first", "--month-first", "--date-order")  # of which one is given at most


def need(sound: bool, text: str) -> None:
    """Refuse what was asked for, with a sentence, where it is not sound."""
    if not sound:
        raise ValueError(text)


def add_options(group: argparse._ActionsContainer, *tables: Options) -> None:
    """Give a command the options of tables, in their order."""
    for table in tables:
        for words, told in table.items():
            group.add_argument(words, **told)


def add_log_options(parser: argparse.ArgumentParser, *, interval: bool = True) -> None:
    """Options that tell how a log is to be read; each overrules what the file suggests.

    ``interval`` is False for a command that has a --sample-interval of its own.
    """
    group = parser.add_argument_group("reading")
    add_options(group, LOG_OPTIONS)
    add_file_options(group, interval=interval)
    add_options(group, RUN_GAP)


def add_file_options(group: argparse._ArgumentGroup, *, interval: bool = True) -> None:
    """Options that tell how a file is read, whatever its columns are for; `reading_from` takes them."""
    days = group.add_mutually_exclusive_group()
    for words, told in FILE_OPTIONS.items():
        if interval or words != INTERVAL:
            add_options(days if words in DAYS else group, {words: told})


def reading_from(arguments: argparse.Namespace) -> dict[str, Any]:
    """Options given that tell how a file is read, as `read_log` takes them; columns are in `columns_from`."""
    from flicker.case.reading import KINDS  # late: help loads no library

    told = {name: getattr(arguments, name) for name in KINDS} | {"unit": unit_from(arguments.unit)}
    return {name: tuple(value) if isinstance(value, list) else value for name, value in told.items() if value is not None}


def unit_from(given: Sequence[str] | None) -> str | dict[str, str] | None:
    """One unit for all columns, or units of single columns."""
    if not given or all("=" in text for text in given):
        return _pairs(given, "--unit", "COLUMN=UNIT") or None
    need(len(given) == 1, "--unit takes one unit for all columns, or COLUMN=UNIT once for each column.")
    return given[0]


def names_from(text: str | None) -> list[str] | None:
    """Names divided by commas; None where nothing was given."""
    return [name.strip() for name in text.split(",")] if text else None


def columns_from(arguments: argparse.Namespace) -> dict[str, Any]:
    """Roles of columns, the column of marks, and differences, as `read_log` takes them."""
    differences = {}
    for name, pair in _pairs(arguments.difference, "--difference", "NAME=COLUMN,COLUMN").items():
        first, _, second = (part.strip() for part in pair.partition(","))
        need(bool(first and second), f"--difference takes NAME=COLUMN,COLUMN, got {name}={pair}.")
        differences[name] = (first, second)
    roles = _pairs(arguments.role, "--role", "COLUMN=ROLE")
    return {"roles": roles, "marks_column": arguments.marks_column, "differences": differences}


def _pairs(given: Sequence[str] | None, option: str, form: str) -> dict[str, str]:
    out: dict[str, str] = {}
    for text in given or ():
        name, _, value = text.rpartition("=") if option in ("--role", "--unit") else text.partition("=")
        need(bool(name.strip() and value.strip()), f"{option} takes {form}, got {text!r}.")
        out[name.strip()] = value.strip()
    return out


def since_from(arguments: argparse.Namespace) -> dt.datetime | None:
    """The moment given with --since."""
    if arguments.since is None:
        return None
    try:
        return dt.datetime.fromisoformat(arguments.since)
    except ValueError:
        raise ValueError(f"--since takes a date such as 2031-03-09 or 2031-03-09T14:00, got {arguments.since!r}.") from None


def file_options(path: str, arguments: argparse.Namespace, case: Case | None = None) -> dict[str, Any]:
    """How a file is read: as the case says, and as the options given say instead."""
    given, columns = reading_from(arguments), columns_from(arguments)
    if case is None:
        return given | columns
    from flicker.case.reading import overruled

    told = case.reading(path)
    columns |= {"roles": told["roles"] | columns["roles"], "marks_column": columns["marks_column"] or told["marks_column"]}
    return overruled(told, given) | columns


def read_logs(paths: Sequence[str], arguments: argparse.Namespace, case: Case | None = None) -> list[Log]:
    """Read each log as the options ask; with a case, all columns that it may use (see `used_logs`).

    The newest of several files may hold a few samples, which count, or its header alone, which is left out and told.
    """
    from flicker.logs.errors import NoReadings
    from flicker.logs.reading import read_log

    cache = cache_from(arguments)
    read = read_log if cache is None else cache.read
    channels = channels_from(arguments, case)
    several, out = len(paths) > 1, []
    for path in paths:
        _refuse_no_log(path)
        options = file_options(path, arguments, case)
        try:
            out.append(read(path, channels=channels, run_gap_s=arguments.run_gap, few=several, **options))
        except NoReadings as nothing:
            if not several or (path is paths[-1] and not out):
                raise
            print(f"flicker {arguments.command}: left out: {nothing}", file=sys.stderr)
    return out


def _refuse_no_log(path: str) -> None:
    """Refuse a file of ours that stands beside a log and is none."""
    marks, case = path.endswith(".marks.csv"), path.endswith(".toml")
    need(not marks, f"{path} holds the marks of a log, which are read with it; leave it out.")
    need(not case, f"{path} may be a case file, and is no log; give it with --case {path}.")


def used_logs(paths: Sequence[str], arguments: argparse.Namespace, case: Case | None) -> list[Log]:
    """Read each log, its columns used as the case says; --channels then names channels of the case."""
    from flicker.logs.mapped import ColumnUse
    from flicker.logs.used_columns import with_columns

    logs = read_logs(paths, arguments, case)
    if case is None:
        return logs
    dates = {os.path.normpath(log.path): log.date for log in case.logs}
    used = [case.use(log, dates.get(os.path.normpath(log.path or ""))) for log in logs]
    if not case.channels or not arguments.channels:
        return used
    return [with_columns(log, [ColumnUse(name, name) for name in outputs_from(arguments, log.channels)]) for log in used]


def channels_from(arguments: argparse.Namespace, case: Case | None) -> list[str] | None:
    """Columns to read; all of them where the case says how the channels are made of them."""
    return names_from(arguments.channels) if case is None or not case.channels else None


def outputs_from(arguments: argparse.Namespace, outputs: Sequence[str]) -> Sequence[str]:
    """The outputs named with --channels, among those that a case makes of the columns; all where none is named."""
    wanted = names_from(arguments.channels) or outputs
    for name in wanted:
        need(name in outputs, f"--channels: the case has no output {name!r}; it has {', '.join(map(repr, outputs))}.")
    return wanted


def cache_from(arguments: argparse.Namespace) -> BlockCache | None:
    """Where blocks are to be kept, if anywhere."""
    folder = getattr(arguments, "cache", None)
    alone = folder is None and getattr(arguments, "verify", False)
    need(not alone, "--verify says how blocks that were kept are checked; add --cache.")
    if folder is None:
        return None
    said = f"--cache takes a folder, and {folder} is a file; put --cache behind the logs, or --cache=DIR."
    need(not folder or not os.path.exists(folder) or os.path.isdir(folder), said)
    from flicker.signals.cache import BlockCache

    return BlockCache(folder or None, verify=arguments.verify)


def limits_from(arguments: argparse.Namespace, case: Case | None = None) -> Limits:
    """Limits from the file named, else those of the case, else the defaults."""
    from flicker.base.limits import Limits, read_limits

    if arguments.limits:
        return read_limits(arguments.limits)
    return case.limits if case else Limits()


def case_from(arguments: argparse.Namespace) -> Case | None:
    """The case file named, if any."""
    if not arguments.case:
        return None
    from flicker.case.case_file import read_case

    return read_case(arguments.case, anywhere=getattr(arguments, "anywhere", False))


def case_logs(arguments: argparse.Namespace, case: Case | None) -> list[Log]:
    """The logs named, used as the case says; without names the case's own."""
    stage = getattr(arguments, "stage", None)
    chosen = stage is None or (case is not None and not arguments.logs)
    need(chosen, "--stage chooses among the logs of a case: give it with --case, and name no log.")
    if case is None:
        need(bool(arguments.logs), "no log was named; name at least one, or a case file with --case.")
        return read_logs(arguments.logs, arguments)
    if arguments.logs:
        return used_logs(arguments.logs, arguments, case)
    said = f"{case.path}: no stage {stage!r}; stages are {', '.join(map(repr, case.stages))}."
    need(stage is None or stage in case.stages, said)
    paths = [log.path for log in case.logs if stage is None or log.stage == stage]
    need(bool(paths), f"{case.path}: the case lists no log; name one, or add [[logs]] to the case.")
    return used_logs(paths, arguments, case)


@contextmanager
def working(first: str = "reading") -> Iterator[Callable[[str], None]]:
    """Show on a terminal what is being done, how far it is and the time left; stay silent in pipes.

    A step whose length nobody tells shows a bar that runs to and fro, and the time gone by.
    """
    if not sys.stderr.isatty():
        yield lambda text: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn, TimeRemainingColumn

    from flicker.base.progress import heard_by

    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TimeElapsedColumn(),
        TimeRemainingColumn(compact=True),
        TextColumn("{task.fields[left]}"),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(first, total=None, left="")

        reached = 0.0

        def say(text: str) -> None:
            nonlocal reached
            reached = 0.0
            bar.reset(task, total=None, description=text, left="")

        def hear(share: float) -> None:
            nonlocal reached
            if share < reached:  # another walk, whose pace is its own
                bar.reset(task, total=1.0)
            reached = share
            whole = share >= 1.0  # what follows in this step tells nothing
            bar.update(task, completed=share, total=None if whole else 1.0, left="" if whole else "left")

        with heard_by(hear):
            yield say


# by kind of result: the module of `flicker.present.terminal` that prints its page, and the function
PRINTED = {
    "Assessment": "assessment show_assessment",
    "Comparison": "comparison show_comparison",
    "StageComparison": "comparison show_stages",
    "Visits": "visits show_visits",
    "SoakPlan": "soak show_soak",
}


def hand_over(arguments: argparse.Namespace, result: Any, *, logs: Sequence[Log] | None = None, **told: Any) -> str:
    """Write the page asked for, then print the result: its document with --json, else its page, which takes what is ``told``.

    Returns the text of the document, empty where none was asked for.
    """
    if arguments.report:
        from flicker.present.report import write_report

        with working("drawing the page"):
            write_report(result, arguments.report, logs=logs)
    if arguments.json:
        document = json_text(result.to_dict())
        print_document(document)
        return document
    module, name = PRINTED[type(result).__name__].split()
    getattr(import_module(f"flicker.present.terminal.{module}"), name)(result, **told)
    if arguments.report:
        print(f"Page written: {arguments.report}")
    return ""
