"""What several commands share: reading logs and limits from arguments, showing progress, handing over a result."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from flicker.commands._documents import json_text, print_document
from flicker.commands._options import columns_from, names_from, need, reading_from

if TYPE_CHECKING:
    from flicker.base.limits import Limits
    from flicker.case.case_file import Case
    from flicker.logs.model import Log
    from flicker.signals.cache import BlockCache


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


def hand_over(
    arguments: argparse.Namespace, result: Any, show: Callable[[Any], None], *, logs: Sequence[Log] | None = None
) -> str:
    """Write the page asked for, then print the result: its document with --json, else its page, by ``show``.

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
    show(result)
    if arguments.report:
        print(f"Page written: {arguments.report}")
    return ""
