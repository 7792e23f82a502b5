"""The case: one TOML file per job, optional in every line. What is missing is listed as 'not recorded'.

The file says what came in and why (unit, complaint, kind of output), what each column of the logs is, which log was
taken when and under which conditions, and which parts were changed. Every wrong line is one sentence with its place.
"""

from __future__ import annotations

import datetime as dt
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from flicker.base import limits as limits_module
from flicker.base.limits import Limits
from flicker.case.document import At, Document, shown
from flicker.case.model import (
    EVENING_H,
    INTERMITTENT_PER_H,
    Case,
    CaseChannel,
    CaseError,
    CaseLog,
    Complaint,
    Meter,
    Part,
    changes_a_part,
    needs,
)
from flicker.case.outputs import KINDS, OUTPUTS
from flicker.case.reading import OptionError, Options, checked
from flicker.logs.roles import ROLES

__all__ = [
    "EVENING_H",
    "INTERMITTENT_PER_H",
    "Case",
    "CaseChannel",
    "CaseError",
    "CaseLog",
    "Complaint",
    "Meter",
    "Part",
    "needs",
    "read_case",
]

SIDES = ("amplifier side", "speaker side", "no relay", "unknown")
WHEN = ("cold", "hot", "any")
PERIODS = ("hour", "evening", "day", "week", "month")
WORDS = {"once": 1.0, "twice": 2.0, "a few times": 3.0, "several times": 4.0, "many times": 10.0, "all the time": 60.0}
TOP = (
    "unit", "serial", "job", "output", "complaint", "channels", "meter", "meters", "logs", "parts", "limits", "marks_column", "reading",
)  # fmt: skip
METER = ("name", "range_V", "resolution_V", "accuracy_V", "accuracy_percent", "integration_s")
RATES = (1e-5, 1e5)  # complaints per hour: once in eleven years, every 36 ms
FACTORS = (1e-6, 1e6)


def read_case(path: str | Path, *, anywhere: bool = False) -> Case:
    """Read a case file.

    Parameters
    ----------
    path : str or path
        The file.
    anywhere : bool
        Whether logs may lie outside the folder of the case file; a case from someone else opens nothing there.

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
    except (tomllib.TOMLDecodeError, RecursionError) as problem:
        raise CaseError(f"{path}: not TOML: {problem}.") from None
    except ValueError as problem:  # a number of thousands of digits, a NUL in the path
        raise CaseError(f"{str(path)!r}: not TOML that can be used: {problem}.") from None
    read = Document(where, text)
    read.known((), document, TOP)
    for key in ("complaint", "channels", "meter", "meters", "limits", "reading"):
        if key in document and not isinstance(document[key], dict):
            raise read.fail((), key, f"{key} must be a table, written [{key}].")
    for key in ("logs", "parts"):
        if key in document and not (
            isinstance(document[key], list) and all(isinstance(i, dict) for i in document[key])
        ):
            raise read.fail((), key, f"{key} must be a list of tables, each written [[{key}]].")
    output = read.choice((), document, "output", OUTPUTS, "direct")
    meter = _meter(read, ("meter",), document.get("meter", {}))
    meters = _meters(read, document.get("meters", {}))
    logs = _logs(read, document.get("logs", []), meters, anywhere=anywhere)
    case = Case(
        path=str(where),
        unit=read.text((), document, "unit"),
        serial=read.text((), document, "serial"),
        job=read.text((), document, "job"),
        output=output,
        complaint=_complaint(read, document.get("complaint", {})),
        channels=_channels(read, document.get("channels", {})),
        meter=meter,
        logs=logs,
        parts=_parts(read, document.get("parts", []), {log.stage for log in logs}),
        limits=_limits(read, document.get("limits", {}), output),
        meters=meters,
        marks_column=read.text((), document, "marks_column"),
        options=_reading(read, ("reading",), document.get("reading", {})),
        places={".".join(map(str, at)): f"{where.name}, line {line}" for at, line in read.places.items()},
    )
    return _with_missing(case)


def _reading(read: Document, at: At, values: Mapping[str, Any]) -> Options:
    try:
        return checked(values)
    except OptionError as problem:
        raise read.fail(at, problem.key, str(problem)) from None


def _limits(read: Document, values: Mapping[str, Any], output: str) -> Limits:
    read.known(("limits",), values, limits_module.names())
    for key in values:
        read.number(("limits",), values, key, least=0.0)
    try:
        return limits_module.from_mapping({**dict(KINDS[output].limits), **values}, read.path.name)
    except ValueError as problem:
        named = next((name for name in values if name in str(problem)), None)
        raise read.fail(("limits",), named, str(problem).split(": ", 1)[-1] + ".") from None


def _complaint(read: Document, values: Mapping[str, Any]) -> Complaint:
    at = ("complaint",)
    read.known(at, values, ("text", "times", "per", "per_hour", "when", "hours_per_day"))
    if not values:
        return Complaint()
    hours = read.number(at, values, "hours_per_day", least=0.1, most=24.0) or EVENING_H
    when = read.choice(at, values, "when", WHEN, "any")
    text = read.text(at, values, "text")
    period = read.choice(at, values, "per", PERIODS, "evening")
    per_hour = read.number(at, values, "per_hour", least=0.0)
    times: Any = values.get("times")
    if isinstance(times, str):
        if times not in WORDS:
            allowed = ", ".join(map(repr, WORDS))
            raise read.fail(at, "times", f"times must be a number or one of {allowed}, got {shown(times)}.")
        times = WORDS[times]
    elif times is not None:
        times = read.number(at, values, "times", least=0.0)
    assumed = False
    if per_hour is None and times is not None:
        used = {"hour": 1.0, "evening": hours, "day": hours, "week": 7.0 * hours, "month": 30.0 * hours}[period]
        per_hour = float(times) / used
    elif per_hour is None:
        per_hour, assumed = INTERMITTENT_PER_H, True
    if not RATES[0] <= per_hour <= RATES[1]:
        key = "per_hour" if "per_hour" in values else "times"
        raise read.fail(
            at,
            key,
            f"a complaint needs a rate above 0, from {RATES[0]:g} to {RATES[1]:g} per hour, got {per_hour:.3g}.",
        )
    return Complaint(
        text=text, per_hour=per_hour, per_start=per_hour * hours, when=when, hours_per_day=hours, assumed=assumed
    )


def _channels(read: Document, values: Mapping[str, Any]) -> tuple[CaseChannel, ...]:
    out: list[CaseChannel] = []
    for name, item in values.items():
        at = ("channels", name)
        if not isinstance(item, dict):
            raise read.fail(at, None, f"channel {name!r} must be a table, written [channels.NAME].")
        if not name.strip() or not name.isprintable():
            raise read.fail(at, None, f"a channel needs a name that can be read, got {name!r}.")
        read.known(at, item, ("column", "role", "measured_at", "factor", "polarity", "zero_V", "minus"))
        polarity = item.get("polarity", 1)
        if polarity not in (1, -1) or isinstance(polarity, bool):
            raise read.fail(at, "polarity", f"polarity must be 1 or -1, got {shown(polarity)}.")
        factor = read.number(at, item, "factor")
        if factor == 0.0:
            raise read.fail(at, "factor", "factor must not be 0.")
        if factor is not None and not FACTORS[0] <= abs(factor) <= FACTORS[1]:
            raise read.fail(at, "factor", f"factor must lie between {FACTORS[0]:g} and {FACTORS[1]:g}, got {factor:g}.")
        column, minus = read.text(at, item, "column") or name, read.text(at, item, "minus")
        if minus == column:
            raise read.fail(at, "minus", f"minus must be another column than {column!r}: the difference is 0.")
        out.append(
            CaseChannel(
                name=name,
                column=column,
                role=read.choice(at, item, "role", ROLES, "output"),
                measured_at=read.choice(at, item, "measured_at", SIDES, "unknown"),
                factor=1.0 if factor is None else factor,
                polarity=int(polarity),
                zero_V=read.number(at, item, "zero_V", least=-1e4, most=1e4) or 0.0,
                minus=minus,
            )
        )
    if out and not any(item.role == "output" for item in out):
        raise read.fail(
            ("channels", out[0].name), None, "no channel has the role 'output'; only that role gets a verdict."
        )
    return tuple(out)


def _meter(read: Document, at: At, values: Mapping[str, Any]) -> Meter:
    read.known(at, values, METER)
    return Meter(
        read.text(at, values, "name"),
        range_V=read.number(at, values, "range_V", least=0.0),
        resolution_V=read.number(at, values, "resolution_V", least=0.0),
        accuracy_V=read.number(at, values, "accuracy_V", least=0.0),
        accuracy_percent=read.number(at, values, "accuracy_percent", least=0.0, most=100.0),
        integration_s=read.number(at, values, "integration_s", least=0.0, most=3600.0),
    )


def _meters(read: Document, values: Mapping[str, Any]) -> tuple[Meter, ...]:
    """Meters beside the usual one, each a table [meters.NAME] that a log may name."""
    out = []
    for name, item in values.items():
        if not isinstance(item, dict):
            raise read.fail(("meters", name), None, f"meter {name!r} must be a table, written [meters.NAME].")
        if "name" in item:
            raise read.fail(
                ("meters", name), "name", "a meter of [meters.NAME] is named by its heading; leave out name."
            )
        out.append(replace(_meter(read, ("meters", name), item), name=name))
    return tuple(out)


def _logs(
    read: Document, items: Sequence[Mapping[str, Any]], meters: Sequence[Meter], *, anywhere: bool
) -> tuple[CaseLog, ...]:
    out: list[CaseLog] = []
    names = [meter.name for meter in meters]
    for number, item in enumerate(items):
        at = ("logs", number)
        read.known(at, item, ("file", "date", "stage", "by", "conditions", "sha256", "meter", "reading"))
        file = read.text(at, item, "file")
        if file is None:
            raise read.fail(at, "file", f"log {number + 1} of the case names no file.")
        path = read.path.parent / file
        try:
            exists = path.is_file()
        except (OSError, ValueError):  # a name too long, or one with a NUL
            exists = False
        if not exists:
            raise read.fail(at, "file", f"the log {shown(file)} does not exist beside the case file.")
        if not anywhere and not path.resolve().is_relative_to(read.path.parent.resolve()):
            raise read.fail(
                at,
                "file",
                f"the log {shown(file)} lies outside the folder of the case; move it there, or allow it with anywhere=True"
                " (--anywhere).",
            )
        conditions = item.get("conditions", {})
        if not isinstance(conditions, dict) or not all(isinstance(v, (str, int, float)) for v in conditions.values()):
            raise read.fail(at, "conditions", 'conditions must be words, as in { load = "none", lid = "open" }.')
        reading = item.get("reading", {})
        if not isinstance(reading, dict):
            raise read.fail(at, "reading", 'reading must be a table, as in { unit = "mV", sample_interval_s = 0.5 }.')
        if any(Path(log.path) == path for log in out):
            raise read.fail(at, "file", f"the log {shown(file)} stands twice in the case.")
        meter = read.text(at, item, "meter")
        if meter is not None and meter not in names:
            known = ", ".join(map(repr, names)) or "none"
            raise read.fail(
                at, "meter", f"no table [meters.NAME] describes the meter {shown(meter)}; known are {known}."
            )
        sha256 = read.text(at, item, "sha256")
        if sha256 is not None and (len(sha256) != 64 or not set(sha256.lower()) <= set("0123456789abcdef")):
            raise read.fail(at, "sha256", f"sha256 must be 64 hexadecimal digits, got {shown(sha256)}.")
        out.append(
            CaseLog(
                file=file,
                path=str(path),
                stage=read.text(at, item, "stage") or "as received",
                date=read.date(at, item, "date"),
                by=read.text(at, item, "by"),
                conditions=tuple((str(key), str(value)) for key, value in conditions.items()),
                sha256=sha256,
                meter=meter,
                reading=_reading(read, (*at, "reading"), reading),
            )
        )
    zones = {log.date.tzinfo is None for log in out if isinstance(log.date, dt.datetime)}
    if len(zones) > 1:
        odd = next(k for k, log in enumerate(out) if isinstance(log.date, dt.datetime) and log.date.tzinfo is not None)
        raise read.fail(("logs", odd), "date", "dates must all have a time zone, or none of them.")
    return tuple(out)


def _parts(read: Document, items: Sequence[Mapping[str, Any]], stages: set[str]) -> tuple[Part, ...]:
    out = []
    for number, item in enumerate(items):
        at = ("parts", number)
        read.known(at, item, ("what", "stage", "date", "note", "changed"))
        what = read.text(at, item, "what")
        if what is None:
            raise read.fail(at, "what", f"part {number + 1} of the case does not say what was done.")
        stage = read.text(at, item, "stage")
        if stage is not None and stage not in stages:
            known = ", ".join(map(repr, sorted(stages))) or "none"
            raise read.fail(at, "stage", f"no log belongs to the stage {shown(stage)}; stages are {known}.")
        changed = item.get("changed", changes_a_part(what))
        if not isinstance(changed, bool):
            raise read.fail(at, "changed", f"changed must be true or false, got {shown(changed)}.")
        out.append(Part(what, stage, read.date(at, item, "date"), read.text(at, item, "note"), changed))
    return tuple(out)


def _with_missing(case: Case) -> Case:
    missing = [name for name in ("unit", "serial", "job") if getattr(case, name) is None]
    if case.complaint.text is None:
        missing.append("complaint")
    elif case.complaint.assumed:
        missing.append("how often the complaint shows itself")
    if not case.channels:
        missing.append("which column is which channel")
    elif any(item.measured_at == "unknown" for item in case.channels if item.role == "output"):
        missing.append("on which side of the relay was measured")
    used = [case.meter_of(log.file) for log in case.logs] or [case.meter]
    if any(meter.off_by_V(0.0) is None for meter in used):
        missing.append("the meter's accuracy")
    if any(meter.integration_s is None for meter in used):
        missing.append("the meter's integration time")
    if not case.logs:
        missing.append("logs")
    if any(log.date is None for log in case.logs):
        missing.append("dates of some logs")
    if any(not log.conditions for log in case.logs):
        missing.append("conditions (load, source, lid) of some logs")
    return replace(case, not_recorded=tuple(missing))
