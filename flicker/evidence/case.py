"""The case: one TOML file per job, optional in every line. What is missing is listed as 'not recorded'.

The file says what came in and why (unit, complaint, kind of output), what each column of the logs is, which log was
taken when and under which conditions, and which parts were changed. Every wrong line is one sentence with its place.
"""

from __future__ import annotations

import datetime as dt
import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from flicker import __version__
from flicker.evidence import limits as limits_module
from flicker.evidence.limits import Limits
from flicker.evidence.outputs import KINDS, OUTPUTS
from flicker.logs.mapped import ColumnUse, with_columns
from flicker.logs.model import Log
from flicker.stats._result import Result, plain

ROLES = ("output", "rail", "mains", "temperature", "shorted lead", "ignore")
SIDES = ("amplifier side", "speaker side", "no relay", "unknown")
WHEN = ("cold", "hot", "any")
EVENING_H = 3.0  # hours of use per day where the case does not tell; common practice, no source
INTERMITTENT_PER_H = 0.1  # rate of concern of a unit that came in as intermittent, with no rate given
PERIODS = ("hour", "evening", "day", "week", "month")
WORDS = {"once": 1.0, "twice": 2.0, "a few times": 3.0, "several times": 4.0, "many times": 10.0, "all the time": 60.0}


class CaseError(ValueError):
    """A case file that cannot be used: file, line, what was found, what is allowed."""


@dataclass(frozen=True, slots=True)
class Complaint(Result):
    """What was complained of: ``text`` in the owner's words, ``per_hour`` of use, ``when`` it shows."""

    text: str | None = None
    per_hour: float | None = None
    per_start: float | None = None
    when: str = "any"
    hours_per_day: float = EVENING_H
    assumed: bool = True

    @property
    def reads(self) -> str:
        """The complaint as a rate, in words."""
        if self.per_hour is None:
            return "No complaint is recorded."
        rate = f"about {self.per_hour:.3g} per hour of use"
        if self.when == "cold":
            rate += f", {self.per_start:.3g} per cold start" if self.per_start else ""
        return f"The complaint amounts to {rate}" + (" (assumed: no rate is recorded)." if self.assumed else ".")


@dataclass(frozen=True, slots=True)
class CaseChannel(Result):
    """One column of the logs: its role, where it was measured, factor, polarity, zero."""

    name: str
    column: str
    role: str = "output"
    measured_at: str = "unknown"
    factor: float = 1.0
    polarity: int = 1
    zero_V: float = 0.0
    minus: str | None = None


@dataclass(frozen=True, slots=True)
class Meter(Result):
    """The meter: what it resolves and how far it may be off."""

    name: str | None = None
    range_V: float | None = None
    resolution_V: float | None = None
    accuracy_V: float | None = None
    accuracy_percent: float | None = None
    integration_s: float | None = None

    def off_by_V(self, reading_V: float) -> float | None:
        """Largest error at a reading, or None where the accuracy is not recorded."""
        if self.accuracy_V is None and self.accuracy_percent is None:
            return None
        return (self.accuracy_V or 0.0) + abs(reading_V) * (self.accuracy_percent or 0.0) / 100.0


@dataclass(frozen=True, slots=True)
class CaseLog(Result):
    """One log of the case: file, date, stage, by whom, under which conditions."""

    file: str
    path: str
    stage: str
    date: dt.date | dt.datetime | None = None
    by: str | None = None
    conditions: tuple[tuple[str, str], ...] = ()
    sha256: str | None = None


@dataclass(frozen=True, slots=True)
class Part(Result):
    """A part changed, or other work done: opens the stage named."""

    what: str
    stage: str | None = None
    date: dt.date | dt.datetime | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class Case(Result):
    """A job: unit, complaint, channels, meter, logs by stage, parts."""

    path: str
    unit: str | None
    serial: str | None
    job: str | None
    output: str
    complaint: Complaint
    channels: tuple[CaseChannel, ...]
    meter: Meter
    logs: tuple[CaseLog, ...]
    parts: tuple[Part, ...]
    limits: Limits
    not_recorded: tuple[str, ...] = field(default=())

    @property
    def stages(self) -> tuple[str, ...]:
        """Stages in the order in which their first log stands."""
        return tuple(dict.fromkeys(log.stage for log in self.logs))

    def to_dict(self) -> dict[str, Any]:
        """Return the document of the schema 'flicker/case/1'."""
        logs = []
        for log in self.logs:
            row = log.to_dict()
            del row["path"]  # where the case lies on this machine is nobody's business
            logs.append(row | {"conditions": dict(log.conditions)})
        return {
            "schema": "flicker/case/1",
            "version": __version__,
            "unit": self.unit,
            "serial": self.serial,
            "job": self.job,
            "output": self.output,
            "complaint": self.complaint.to_dict(),
            "channels": plain(self.channels),
            "meter": plain(self.meter),
            "logs": logs,
            "parts": plain(self.parts),
            "limits": plain(self.limits),
            "not_recorded": list(self.not_recorded),
        }

    def read_logs(self, stage: str | None = None, **options: Any) -> list[Log]:
        """Read the logs of a stage (or all), columns used as the case says; only the role 'output' is kept."""
        from flicker.logs.reading import read_log

        chosen = [log for log in self.logs if stage is None or log.stage == stage]
        return [self.use(read_log(log.path, **options), log.date) for log in chosen]

    def fits(self, log: Log) -> bool:
        """Whether the log has every column that the case reads as an output."""
        outputs = [item for item in self.channels if item.role == "output"]
        wanted = [name for item in outputs for name in (item.column, item.minus) if name is not None]
        return all(_column(name, log) in log.channels for name in wanted)

    def use(self, log: Log, date: dt.date | dt.datetime | None = None) -> Log:
        """Return the log with its columns used as the case says, dated by the case where the file tells no date."""
        start = date if isinstance(date, dt.datetime) and log.source.start is None else log.source.start
        if not self.channels:
            uses = [ColumnUse(name, name) for name in log.channels]
            return log if start is log.source.start else with_columns(log, uses, start=start)
        outputs = [item for item in self.channels if item.role == "output"]
        uses = [
            ColumnUse(item.name, _column(item.column, log), item.factor * item.polarity, item.zero_V,
                      None if item.minus is None else _column(item.minus, log))
            for item in outputs
        ]  # fmt: skip
        others = [f"{item.column} ({item.role})" for item in self.channels if item.role != "output"]
        notes = (f"not judged, by the case file: {', '.join(others)}",) if others else ()
        return with_columns(log, uses, notes, start=start)


def _column(wanted: str, log: Log) -> str:
    """The log's own name of a column: as written, or without its unit."""
    if wanted in log.channels:
        return wanted
    bare = wanted.split("[")[0].split("(")[0].strip()
    for tail in ("_mV", "_V", "_uV", "_µV"):
        bare = bare.removesuffix(tail)
    return bare if bare in log.channels else wanted


class _Reader:
    """Takes values out of the document and says where a wrong one stands."""

    def __init__(self, path: Path, text: str) -> None:
        self.path, self.lines = path, text.splitlines()

    def place(self, table: str, key: str | None, number: int = 0) -> str:
        """The line of a key in the n-th table of that name, or of the table itself."""
        current, seen, at = "", -1, 1
        for index, line in enumerate(self.lines, start=1):
            bare = line.strip()
            if bare.startswith("["):
                current = bare.strip("[] ").split("#")[0].strip().strip('"')
                if current == table:
                    seen += 1
                    if seen == number:
                        at = index
            elif current == table and (seen == number or not table) and key is not None:
                name = bare.split("=")[0].strip().strip('"')
                if name == key:
                    return f"{self.path.name}, line {index}"
        return f"{self.path.name}, line {at}"

    def fail(self, table: str, key: str | None, text: str, number: int = 0) -> CaseError:
        return CaseError(f"{self.place(table, key, number)}: {text}")

    def known(self, table: str, values: Mapping[str, Any], allowed: Sequence[str], number: int = 0) -> None:
        for key in values:
            if key not in allowed:
                near = get_close_matches(key, allowed, n=1)
                hint = f"did you mean {near[0]!r}?" if near else f"known are {', '.join(allowed)}."
                raise self.fail(table, key, f"{key!r} is not known here; {hint}", number)

    def text(self, table: str, values: Mapping[str, Any], key: str, number: int = 0) -> str | None:
        value = values.get(key)
        if value is None or value == "":
            return None
        if not isinstance(value, str):
            raise self.fail(table, key, f"{key} must be text in quotes, got {value!r}.", number)
        return value

    def number(
        self, table: str, values: Mapping[str, Any], key: str, *, least: float | None = None, number: int = 0
    ) -> float | None:
        value = values.get(key)
        if value is None:
            return None
        bad = isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value)
        if bad or (least is not None and value < least):
            allowed = "a number" if least is None else f"a number of {least:g} or more"
            raise self.fail(table, key, f"{key} must be {allowed}, got {value!r}.", number)
        return float(value)

    def choice(
        self, table: str, values: Mapping[str, Any], key: str, allowed: Sequence[str], default: str, number: int = 0
    ) -> str:
        value = values.get(key, default)
        if value not in allowed:
            raise self.fail(table, key, f"{key} must be one of {', '.join(map(repr, allowed))}, got {value!r}.", number)
        return str(value)

    def date(self, table: str, values: Mapping[str, Any], key: str, number: int = 0) -> dt.date | None:
        value = values.get(key)
        if value is None:
            return None
        if isinstance(value, str):
            try:
                return (
                    dt.datetime.fromisoformat(value) if "T" in value or " " in value else dt.date.fromisoformat(value)
                )
            except ValueError:
                pass
        elif isinstance(value, dt.date):
            return value
        raise self.fail(table, key, f"{key} must be a date such as 2031-03-09, got {value!r}.", number)


TOP = ("unit", "serial", "job", "output", "complaint", "channels", "meter", "logs", "parts", "limits")


def read_case(path: str | Path) -> Case:
    """Read a case file.

    Raises
    ------
    CaseError
        If the file cannot be read or a line of it is wrong; the sentence names the place.
    """
    where = Path(path)
    try:
        text = where.read_text(encoding="utf-8-sig")
        document = tomllib.loads(text)
    except OSError as problem:
        raise CaseError(f"{path}: the case file cannot be read ({problem.strerror}).") from None
    except UnicodeDecodeError:
        raise CaseError(f"{path}: the case file is not text in UTF-8.") from None
    except tomllib.TOMLDecodeError as problem:
        raise CaseError(f"{path}: not TOML: {problem}.") from None
    read = _Reader(where, text)
    read.known("", document, TOP)
    for key in ("complaint", "channels", "meter", "limits"):
        if key in document and not isinstance(document[key], dict):
            raise read.fail("", key, f"{key} must be a table, written [{key}].")
    for key in ("logs", "parts"):
        if key in document and not (
            isinstance(document[key], list) and all(isinstance(i, dict) for i in document[key])
        ):
            raise read.fail("", key, f"{key} must be a list of tables, each written [[{key}]].")
    output = read.choice("", document, "output", OUTPUTS, "direct")
    logs = _logs(read, document.get("logs", []))
    parts = _parts(read, document.get("parts", []), {log.stage for log in logs})
    complaint = _complaint(read, document.get("complaint", {}))
    meter = _meter(read, document.get("meter", {}))
    channels = _channels(read, document.get("channels", {}))
    case = Case(
        path=str(where),
        unit=read.text("", document, "unit"),
        serial=read.text("", document, "serial"),
        job=read.text("", document, "job"),
        output=output,
        complaint=complaint,
        channels=channels,
        meter=meter,
        logs=logs,
        parts=parts,
        limits=_limits(read, document.get("limits", {}), output),
    )
    return _with_missing(case)


def _limits(read: _Reader, values: Mapping[str, Any], output: str) -> Limits:
    read.known("limits", values, limits_module.names())
    for key in values:
        read.number("limits", values, key, least=0.0)
    try:
        return limits_module.from_mapping({**dict(KINDS[output].limits), **values}, read.path.name)
    except ValueError as problem:
        named = next((name for name in values if name in str(problem)), None)
        raise read.fail("limits", named, str(problem).split(": ", 1)[-1] + ".") from None


def _complaint(read: _Reader, values: Mapping[str, Any]) -> Complaint:
    read.known("complaint", values, ("text", "times", "per", "per_hour", "when", "hours_per_day"))
    if not values:
        return Complaint()
    hours = read.number("complaint", values, "hours_per_day", least=0.1) or EVENING_H
    when = read.choice("complaint", values, "when", WHEN, "any")
    text = read.text("complaint", values, "text")
    per_hour = read.number("complaint", values, "per_hour", least=0.0)
    times: Any = values.get("times")
    if isinstance(times, str):
        if times not in WORDS:
            raise read.fail(
                "complaint", "times", f"times must be a number or one of {', '.join(map(repr, WORDS))}, got {times!r}."
            )
        times = WORDS[times]
    elif times is not None:
        times = read.number("complaint", values, "times", least=0.0)
    per_start = None
    assumed = False
    if per_hour is not None:
        per_start = per_hour * hours
    elif times is not None:
        period = read.choice("complaint", values, "per", PERIODS, "evening")
        used = {"hour": 1.0, "evening": hours, "day": hours, "week": 7.0 * hours, "month": 30.0 * hours}[period]
        per_hour = float(times) / used
        per_start = per_hour * hours
    else:
        per_hour, per_start, assumed = INTERMITTENT_PER_H, INTERMITTENT_PER_H * hours, True
    if per_hour <= 0:
        raise read.fail(
            "complaint", "per_hour" if "per_hour" in values else "times", "a complaint needs a rate above 0."
        )
    return Complaint(text, per_hour, per_start, when, hours, assumed)


def _channels(read: _Reader, values: Mapping[str, Any]) -> tuple[CaseChannel, ...]:
    out = []
    for name, item in values.items():
        table = f"channels.{name}"
        if not isinstance(item, dict):
            raise read.fail("channels", name, f"channel {name!r} must be a table, written [channels.{name}].")
        read.known(table, item, ("column", "role", "measured_at", "factor", "polarity", "zero_V", "minus"))
        polarity = item.get("polarity", 1)
        if polarity not in (1, -1) or isinstance(polarity, bool):
            raise read.fail(table, "polarity", f"polarity must be 1 or -1, got {polarity!r}.")
        factor = read.number(table, item, "factor")
        if factor == 0.0:
            raise read.fail(table, "factor", "factor must not be 0.")
        out.append(
            CaseChannel(
                name=name,
                column=read.text(table, item, "column") or name,
                role=read.choice(table, item, "role", ROLES, "output"),
                measured_at=read.choice(table, item, "measured_at", SIDES, "unknown"),
                factor=1.0 if factor is None else factor,
                polarity=int(polarity),
                zero_V=read.number(table, item, "zero_V") or 0.0,
                minus=read.text(table, item, "minus"),
            )
        )
    if out and not any(item.role == "output" for item in out):
        raise read.fail("channels", None, "no channel has the role 'output'; only that role gets a verdict.")
    return tuple(out)


def _meter(read: _Reader, values: Mapping[str, Any]) -> Meter:
    numbers = ("range_V", "resolution_V", "accuracy_V", "accuracy_percent", "integration_s")
    read.known("meter", values, ("name", *numbers))
    return Meter(read.text("meter", values, "name"), *(read.number("meter", values, key, least=0.0) for key in numbers))


def _logs(read: _Reader, items: Sequence[Mapping[str, Any]]) -> tuple[CaseLog, ...]:
    out: list[CaseLog] = []
    for number, item in enumerate(items):
        read.known("logs", item, ("file", "date", "stage", "by", "conditions", "sha256"), number)
        file = read.text("logs", item, "file", number)
        if file is None:
            raise read.fail("logs", "file", f"log {number + 1} of the case names no file.", number)
        path = read.path.parent / file
        if not path.exists():
            raise read.fail("logs", "file", f"the log {file!r} does not exist beside the case file.", number)
        conditions = item.get("conditions", {})
        if not isinstance(conditions, dict) or not all(isinstance(v, (str, int, float)) for v in conditions.values()):
            raise read.fail(
                "logs", "conditions", 'conditions must be words, as in { load = "none", lid = "open" }.', number
            )
        if any(Path(log.path) == path for log in out):
            raise read.fail("logs", "file", f"the log {file!r} stands twice in the case.", number)
        out.append(
            CaseLog(
                file=file,
                path=str(path),
                stage=read.text("logs", item, "stage", number) or "as received",
                date=read.date("logs", item, "date", number),
                by=read.text("logs", item, "by", number),
                conditions=tuple((str(key), str(value)) for key, value in conditions.items()),
                sha256=read.text("logs", item, "sha256", number),
            )
        )
    return tuple(out)


def _parts(read: _Reader, items: Sequence[Mapping[str, Any]], stages: set[str]) -> tuple[Part, ...]:
    out = []
    for number, item in enumerate(items):
        read.known("parts", item, ("what", "stage", "date", "note"), number)
        what = read.text("parts", item, "what", number)
        if what is None:
            raise read.fail("parts", "what", f"part {number + 1} of the case does not say what was done.", number)
        stage = read.text("parts", item, "stage", number)
        if stage is not None and stage not in stages:
            known = ", ".join(map(repr, sorted(stages))) or "none"
            raise read.fail("parts", "stage", f"no log belongs to the stage {stage!r}; stages are {known}.", number)
        out.append(
            Part(what, stage, read.date("parts", item, "date", number), read.text("parts", item, "note", number))
        )
    return tuple(out)


def _with_missing(case: Case) -> Case:
    from dataclasses import replace

    missing = [name for name in ("unit", "serial", "job") if getattr(case, name) is None]
    if case.complaint.text is None:
        missing.append("complaint")
    elif case.complaint.assumed:
        missing.append("how often the complaint shows itself")
    if not case.channels:
        missing.append("which column is which channel")
    elif any(item.measured_at == "unknown" for item in case.channels if item.role == "output"):
        missing.append("on which side of the relay was measured")
    if case.meter.off_by_V(0.0) is None:
        missing.append("the meter's accuracy")
    if case.meter.integration_s is None:
        missing.append("the meter's integration time")
    if not case.logs:
        missing.append("logs")
    if any(log.date is None for log in case.logs):
        missing.append("dates of some logs")
    if any(not log.conditions for log in case.logs):
        missing.append("conditions (load, source, lid) of some logs")
    return replace(case, not_recorded=tuple(missing))


def needs(case: Case, confidence: float) -> tuple[float, float | None]:
    """Clean hours, and clean cold starts where the complaint is of the cold unit, that exclude the complaint's rate."""
    rate = case.complaint.per_hour or INTERMITTENT_PER_H
    factor = -math.log(1.0 - confidence)
    starts = None
    if case.complaint.per_start and case.complaint.when in {"cold", "any"}:
        starts = float(math.ceil(factor / case.complaint.per_start))
    return factor / rate, starts
