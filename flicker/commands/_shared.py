"""What several commands share: reading logs and limits from arguments, showing progress."""

from __future__ import annotations

import argparse
import datetime as dt
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from flicker.base.limits import Limits
    from flicker.case.case_file import Case
    from flicker.logs.model import Log
    from flicker.signals.cache import BlockCache


def add_log_options(parser: argparse.ArgumentParser, *, interval: bool = True) -> None:
    """Options that tell how a log is to be read; each overrules what the file suggests.

    ``interval`` is False for a command that has a --sample-interval of its own.
    """
    group = parser.add_argument_group("reading")
    group.add_argument("--limits", metavar="FILE.toml", help="limits that differ from the defaults")
    group.add_argument(
        "--anywhere", action="store_true", help="with --case: its logs may lie outside the folder of the case file"
    )
    group.add_argument("--channels", metavar="NAME[,NAME]", help="only these columns")
    group.add_argument(
        "--role",
        action="append",
        metavar="COLUMN=ROLE",
        help="a column that is no output: rail, mains, temperature, 'shorted lead' or ignore; give it once for each",
    )
    group.add_argument(
        "--marks-column", metavar="NAME", help="the column that holds marks (default: mark, event or note)"
    )
    group.add_argument(
        "--difference",
        action="append",
        metavar="NAME=COLUMN,COLUMN",
        help="a channel that is the first column less the second, as for a bridged output",
    )
    add_file_options(group, interval=interval)
    group.add_argument(
        "--run-gap", type=float, default=600.0, metavar="S", help="a longer pause begins a new run (default 600)"
    )


def add_file_options(group: argparse._ArgumentGroup, *, interval: bool = True) -> None:
    """Options that tell how a file is read, whatever its columns are for; `reading_from` takes them."""
    group.add_argument(
        "--unit",
        action="append",
        metavar="V|mV|uV",
        help="unit of the readings, where the file does not tell; COLUMN=UNIT for one column (give it once for each),"
        " COLUMN=COLUMN where a column holds the unit of each reading",
    )
    if interval:
        group.add_argument(
            "--sample-interval", type=float, metavar="S", help="seconds between samples, where no column tells"
        )
    group.add_argument("--time-column", metavar="NAME", help="the column that tells the time")
    group.add_argument("--time-unit", metavar="s|ms|us|min|h|d", help="unit of a time column of bare numbers")
    days = group.add_mutually_exclusive_group()
    days.add_argument(
        "--day-first",
        nargs="?",
        type=_yes,
        const=True,
        default=None,
        metavar="yes|no",
        help="whether 03/04/2026 is the third of April",
    )
    days.add_argument("--month-first", dest="day_first", action="store_false", help="the same as --day-first no")
    days.add_argument(
        "--date-order", choices=("ymd", "dmy", "mdy"), help="order of the parts of dates such as 26-03-04"
    )
    group.add_argument("--decimal", choices=(".", ","), help="decimal sign, where the file does not tell")
    group.add_argument(
        "--thousands",
        choices=("sure", "none"),
        help="rows with a cell too many: sure reads those that can be put together in one way, none leaves all out",
    )
    group.add_argument("--separator", metavar=";|,|tab", help="what parts the cells of a text log")
    group.add_argument(
        "--channel-column", metavar="NAME", help="the column that names the channel, where each reading has its own row"
    )
    group.add_argument("--volts-per-count", type=float, metavar="V", help="scale of a converter's counts")
    group.add_argument("--zero-count", type=float, metavar="N", help="the count at 0 V (default 0)")
    group.add_argument("--missing-word", action="append", metavar="WORD", help="a word that stands for no reading")
    group.add_argument("--over-word", action="append", metavar="WORD", help="a word that stands for over range")
    group.add_argument("--full-scale", type=float, metavar="V", help="volts at full scale of a WAV recording")


def _yes(text: str) -> bool:
    """Turn yes or no into a truth."""
    if text.lower() in ("yes", "no"):
        return text.lower() == "yes"
    raise argparse.ArgumentTypeError(f"takes yes or no, got {text!r}")


def reading_from(arguments: argparse.Namespace) -> dict[str, Any]:
    """Options given that tell how a file is read, as `read_log` takes them; columns are in `columns_from`."""
    told = {
        "unit": unit_from(arguments.unit),
        "sample_interval_s": arguments.sample_interval,
        "time_column": arguments.time_column,
        "time_unit": arguments.time_unit,
        "day_first": arguments.day_first,
        "date_order": arguments.date_order,
        "decimal": arguments.decimal,
        "thousands": arguments.thousands,
        "separator": arguments.separator,
        "channel_column": arguments.channel_column,
        "volts_per_count": arguments.volts_per_count,
        "zero_count": arguments.zero_count,
        "missing_words": tuple(arguments.missing_word or ()) or None,
        "over_words": tuple(arguments.over_word or ()) or None,
        "full_scale_V": arguments.full_scale,
    }
    return {name: value for name, value in told.items() if value is not None}


def file_options(path: str, arguments: argparse.Namespace, case: Case | None = None) -> dict[str, Any]:
    """How a file is read: as the case says, and as the options given say instead."""
    given = reading_from(arguments) | columns_from(arguments, case)
    if case is None:
        return given
    from flicker.case.reading import overruled

    return overruled(case.reading(path), given)


def unit_from(given: Sequence[str] | None) -> str | dict[str, str] | None:
    """One unit for all columns, or units of single columns."""
    plain = [text for text in given or () if "=" not in text]
    if not given:
        return None
    if plain:
        if len(given) > 1:
            raise ValueError("--unit takes one unit for all columns, or COLUMN=UNIT once for each column.")
        return plain[0]
    return _pairs(given, "--unit", "COLUMN=UNIT")


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
    if path.endswith(".marks.csv"):
        raise ValueError(f"{path} holds the marks of a log, which are read with it; leave it out.")
    if path.endswith(".toml"):
        raise ValueError(f"{path} may be a case file, and is no log; give it with --case {path}.")


def used_logs(paths: Sequence[str], arguments: argparse.Namespace, case: Case | None) -> list[Log]:
    """Read each log, its columns used as the case says; --channels then names channels of the case."""
    logs = read_logs(paths, arguments, case)
    if case is None:
        return logs
    dates = {os.path.normpath(log.path): log.date for log in case.logs}
    used = [case.use(log, dates.get(os.path.normpath(log.path or ""))) for log in logs]
    wanted = names_from(arguments.channels) if case.channels else None
    return used if wanted is None else [_only(log, wanted) for log in used]


def channels_from(arguments: argparse.Namespace, case: Case | None) -> list[str] | None:
    """Columns to read; all of them where the case says how the channels are made of them."""
    return names_from(arguments.channels) if case is None or not case.channels else None


def names_from(text: str | None) -> list[str] | None:
    """Names divided by commas; None where nothing was given."""
    return [name.strip() for name in text.split(",")] if text else None


def _only(log: Log, names: Sequence[str]) -> Log:
    from flicker.logs.mapped import ColumnUse
    from flicker.logs.used_columns import with_columns

    for name in names:
        if name not in log.channels:
            raise ValueError(
                f"--channels: the case has no output {name!r}; it has {', '.join(map(repr, log.channels))}."
            )
    return with_columns(log, [ColumnUse(name, name) for name in names])


def columns_from(arguments: argparse.Namespace, case: Case | None = None) -> dict[str, Any]:
    """Roles of columns, the column of marks, and differences, as `read_log` takes them."""
    differences = {}
    for name, pair in _pairs(arguments.difference, "--difference", "NAME=COLUMN,COLUMN").items():
        first, comma, second = pair.partition(",")
        if not comma or not first.strip() or not second.strip():
            raise ValueError(f"--difference takes NAME=COLUMN,COLUMN, got {name}={pair}.")
        differences[name] = (first.strip(), second.strip())
    roles = _pairs(arguments.role, "--role", "COLUMN=ROLE")
    out = {"roles": roles, "marks_column": arguments.marks_column, "differences": differences}
    if case is not None:
        told = case.reading()
        out |= {"roles": told["roles"] | roles, "marks_column": arguments.marks_column or told["marks_column"]}
        out["may_lack"] = True
    return out


def _pairs(given: Sequence[str] | None, option: str, form: str) -> dict[str, str]:
    out: dict[str, str] = {}
    for text in given or ():
        name, sign, value = text.rpartition("=") if option in ("--role", "--unit") else text.partition("=")
        if not sign or not name.strip() or not value.strip():
            raise ValueError(f"{option} takes {form}, got {text!r}.")
        out[name.strip()] = value.strip()
    return out


def add_cache_options(parser: argparse.ArgumentParser) -> None:
    """Options that keep blocks of long logs for a second look."""
    group = parser.add_argument_group("long logs")
    group.add_argument(
        "--cache",
        nargs="?",
        const="",
        metavar="DIR",
        help="keep the blocks of each log (with assess --json the answer, too), beside it or in DIR, so that a second look need "
        "not read it again",
    )
    group.add_argument("--verify", action="store_true", help="with --cache: compare all bytes of a log, not its ends")


def cache_from(arguments: argparse.Namespace) -> BlockCache | None:
    """Where blocks are to be kept, if anywhere."""
    folder = getattr(arguments, "cache", None)
    if folder is None:
        if getattr(arguments, "verify", False):
            raise ValueError("--verify says how blocks that were kept are checked; add --cache.")
        return None
    if folder and os.path.exists(folder) and not os.path.isdir(folder):
        raise ValueError(
            f"--cache takes a folder, and {folder} is a file; put --cache behind the logs, or --cache=DIR."
        )
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
    if stage is not None and (case is None or arguments.logs):
        raise ValueError("--stage chooses among the logs of a case: give it with --case, and name no log.")
    if case is None:
        if not arguments.logs:
            raise ValueError("no log was named; name at least one, or a case file with --case.")
        return read_logs(arguments.logs, arguments)
    if arguments.logs:
        return used_logs(arguments.logs, arguments, case)
    if stage is not None and stage not in case.stages:
        raise ValueError(f"{case.path}: no stage {stage!r}; stages are {', '.join(map(repr, case.stages))}.")
    paths = [log.path for log in case.logs if stage is None or log.stage == stage]
    if not paths:
        raise ValueError(f"{case.path}: the case lists no log; name one, or add [[logs]] to the case.")
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


def since_from(arguments: argparse.Namespace) -> dt.datetime | None:
    """The moment given with --since."""
    if arguments.since is None:
        return None
    try:
        return dt.datetime.fromisoformat(arguments.since)
    except ValueError:
        raise ValueError(f"--since takes a date such as 2031-03-09 or 2031-03-09T14:00, got {arguments.since!r}.") from None
