"""`flicker survey DIR --out TABLE.parquet`: judge a whole folder of logs; resumes where it was interrupted."""

from __future__ import annotations

import argparse
import itertools
import json
import os
from pathlib import Path
from typing import Any

from flicker.base.progress import tell
from flicker.commands._shared import LIMITS, Options, add_options, case_from, limits_from, need, working

NAMED = 8  # channels not to be connected that are named one by one; a choice
OPTIONS: Options = {
    "folder": {"metavar": "DIR", "help": "folder with logs (looked through to the bottom)"},
    "--cases": {
        "action": "store_true",
        "help": "the folder holds case files: write the shop's ledger, a row for each job, stage and channel",
    },
    "--report": {"metavar": "OUT.html", "help": "with --cases: the ledger as one self-contained page"},
    "--out": {"required": True, "metavar": "TABLE", "help": "table to write, .parquet or .csv"},
    **LIMITS,
    "--case": {
        "metavar": "CASE.toml",
        "help": "what the columns of every log are: a case file; its limits where none are named",
    },
    "--unit": {"metavar": "V|mV|uV", "help": "unit of the readings, where the files do not tell"},
    "--workers": {"type": int, "metavar": "N", "help": "processes at a time (default: all cores)"},
    "--scheduler": {"metavar": "ADDRESS", "help": "address of a running Dask scheduler (extra 'cluster')"},
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    add_options(parser, OPTIONS)


def run(arguments: argparse.Namespace) -> int:
    """Judge what is not judged yet and write the table all or nothing."""
    from flicker.survey_table import earlier_rows, find_logs, journal_rows, survey

    out = Path(arguments.out)
    need(out.suffix in {".parquet", ".csv"}, f"{out}: the table must end in .parquet or .csv.")
    if arguments.cases:
        return _ledger(arguments, out)
    need(not arguments.report, "--report shows a ledger; give --cases with it.")
    need(arguments.workers is None or arguments.workers > 0, f"--workers must be 1 or more, got {arguments.workers}.")
    case = case_from(arguments)
    limits = limits_from(arguments, case)
    paths = [path for path in find_logs(arguments.folder) if os.path.abspath(path) != os.path.abspath(out)]
    need(bool(paths), f"{arguments.folder}: no log found (files ending in .csv, .parquet, .wav and the like).")
    journal = out.with_name(f".{out.name}.journal")
    done = [*earlier_rows(out), *journal_rows(journal)]
    executor = _cluster(arguments.scheduler) if arguments.scheduler else None
    counted = itertools.count(1)
    with open(journal, "ab", buffering=0) as file, working("judging"):
        if file.tell():
            file.write(b"\n")  # what a killed survey left of a line stays a line of its own

        def keep(rows: list[dict[str, Any]]) -> None:
            try:
                file.write(json.dumps(rows, allow_nan=False).encode() + b"\n")
                os.fsync(file.fileno())
            except OSError as problem:
                raise ValueError(f"{out}: the table cannot be written ({problem.strerror}).") from None
            tell(next(counted), len(paths))

        table = survey(
            paths,
            executor,
            limits=limits,
            options={"unit": arguments.unit} if arguments.unit else {},
            done=done,
            on_rows=keep,
            workers=arguments.workers,
            case=case,
        )
    write_table(table, out)
    journal.unlink(missing_ok=True)
    bad = _failed(table)
    print(f"{len(paths) - len(bad)} of {len(paths)} logs judged; table written: {out}")
    for line in (*_told(table), *bad):
        print(line)
    return 0


def _ledger(arguments: argparse.Namespace, out: Path) -> int:
    """Judge a folder of cases, one after the other, and write the ledger."""
    from flicker.ledger import find_cases, read_ledger, survey_cases

    given = {name: getattr(arguments, name) for name in ("limits", "case", "unit", "workers", "scheduler")}
    for name, value in given.items():
        need(value is None, f"--{name} does not go with --cases: each case tells its own columns, limits and units.")
    paths = find_cases(arguments.folder)
    need(bool(paths), f"{arguments.folder}: no case found (TOML files that list logs).")
    if out.exists():
        read_ledger(out)  # refuses to write over anything else
    taken = {os.path.abspath(path) for path in [*paths, str(out)]}
    free = not arguments.report or os.path.abspath(arguments.report) not in taken
    need(free, f"--report {arguments.report} would write over a case or the ledger; choose another name.")
    with working() as say:
        table = survey_cases(paths, progress=say)
    write_table(table, out)
    if arguments.report:
        from flicker.present.report.ledger import write_ledger_page

        write_ledger_page(table, arguments.report)
    bad = _failed(table)
    print("\n".join([f"{len(paths) - len(bad)} of {len(paths)} cases judged; ledger written: {out}", *bad]))
    return 0


def _failed(table: Any) -> list[str]:
    """What could not be read, each with its reason."""
    return [f"not judged: {reason}" for reason in table["error"].dropna()]


def _told(table: Any) -> list[str]:
    """How many channels are fit, and which must not be connected."""
    from flicker.base.values import Fitness
    from flicker.present.said import fitness_text

    counts = table["fitness"].value_counts()
    lines = [f"{fitness_text(kind)}: {counts[kind]} channel{'' if counts[kind] == 1 else 's'}" for kind in Fitness if kind in counts]
    bad = table[table["fitness"] == Fitness.DO_NOT_CONNECT]
    names = [f"{Path(row.source).name} ({row.channel})" for row in bad.head(NAMED).itertuples()]
    if names:
        more = len(bad) - len(names)
        lines[0] += f": {', '.join(names)}" + (f" and {more} more" if more else "")
    return lines


def write_table(table: Any, out: Path) -> None:
    """Write the table whole or not at all, as Parquet or CSV by the name."""
    from flicker.logs.writing import whole_file

    with whole_file(out, what="table", known=True) as temporary:
        if out.suffix == ".parquet":
            table.to_parquet(temporary, index=False)
        else:
            table.to_csv(temporary, index=False)


def _cluster(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError:
        raise ValueError("--scheduler needs the extra 'cluster': in the clone, pip install '.[cluster]'.") from None
    try:
        client: Any = Client  # untyped package
        return client(address, timeout="10s").get_executor()
    except (OSError, ValueError) as problem:
        raise ValueError(f"no scheduler answers at {address} ({type(problem).__name__}).") from None
