"""Options of the command line as tables, and what they say of how a log is read."""

from __future__ import annotations

import argparse
import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

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
    "--channels": {"metavar": "NAME[,NAME]", "help": "only these columns"},
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
        "dest": "missing_words", "action": "append", "metavar": "WORD", "help": "a word that stands for no reading"
    },
    "--over-word": {
        "dest": "over_words", "action": "append", "metavar": "WORD", "help": "a word that stands for over range"
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
    if len(given) > 1:
        raise ValueError("--unit takes one unit for all columns, or COLUMN=UNIT once for each column.")
    return given[0]


def names_from(text: str | None) -> list[str] | None:
    """Names divided by commas; None where nothing was given."""
    return [name.strip() for name in text.split(",")] if text else None


def columns_from(arguments: argparse.Namespace) -> dict[str, Any]:
    """Roles of columns, the column of marks, and differences, as `read_log` takes them."""
    differences = {}
    for name, pair in _pairs(arguments.difference, "--difference", "NAME=COLUMN,COLUMN").items():
        first, _, second = (part.strip() for part in pair.partition(","))
        if not first or not second:
            raise ValueError(f"--difference takes NAME=COLUMN,COLUMN, got {name}={pair}.")
        differences[name] = (first, second)
    roles = _pairs(arguments.role, "--role", "COLUMN=ROLE")
    return {"roles": roles, "marks_column": arguments.marks_column, "differences": differences}


def _pairs(given: Sequence[str] | None, option: str, form: str) -> dict[str, str]:
    out: dict[str, str] = {}
    for text in given or ():
        name, _, value = text.rpartition("=") if option in ("--role", "--unit") else text.partition("=")
        if not name.strip() or not value.strip():
            raise ValueError(f"{option} takes {form}, got {text!r}.")
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
