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


def read_case(path: str | Path, *, anywhere: bool = False, growing: bool = False) -> Case:
    """Read a case file.

    Parameters
    ----------
    path : str or path
        The file.
    anywhere : bool
        Whether logs may lie outside the folder of the case file; a case from someone else opens nothing there.
    growing : bool
        Whether logs are still to be added: a part may then belong to a stage of which none is listed yet.

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
        read.need(isinstance(document.get(key, {}), dict), (), key, f"{key} must be a table, written [{key}].")
    for key in ("logs", "parts"):
        rows = document.get(key, [])
        tables = isinstance(rows, list) and all(isinstance(row, dict) for row in rows)
        read.need(tables, (), key, f"{key} must be a list of tables, each written [[{key}]].")
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
        parts=_parts(read, document.get("parts", []), None if growing else {log.stage for log in logs}),
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
        allowed = ", ".join(map(repr, WORDS))
        read.need(times in WORDS, at, "times", f"times must be a number or one of {allowed}, got {shown(times)}.")
        times = WORDS[times]
    elif times is not None:
        times = read.number(at, values, "times", least=0.0)
    assumed = False
    if per_hour is None and times is not None:
        used = {"hour": 1.0, "evening": hours, "day": hours, "week": 7.0 * hours, "month": 30.0 * hours}[period]
        per_hour = float(times) / used
    elif per_hour is None:
        per_hour, assumed = INTERMITTENT_PER_H, True
    read.need(
        RATES[0] <= per_hour <= RATES[1],
        at,
        "per_hour" if "per_hour" in values else "times",
        f"a complaint needs a rate above 0, from {RATES[0]:g} to {RATES[1]:g} per hour, got {per_hour:.3g}.",
    )
    return Complaint(
        text=text, per_hour=per_hour, per_start=per_hour * hours, when=when, hours_per_day=hours, assumed=assumed
    )


def _channels(read: Document, values: Mapping[str, Any]) -> tuple[CaseChannel, ...]:
    out: list[CaseChannel] = []
    for name, item in values.items():
        at = ("channels", name)
        read.need(isinstance(item, dict), at, None, f"channel {name!r} must be a table, written [channels.NAME].")
        legible = bool(name.strip()) and name.isprintable()
        read.need(legible, at, None, f"a channel needs a name that can be read, got {name!r}.")
        read.known(at, item, ("column", "role", "measured_at", "factor", "polarity", "zero_V", "minus"))
        polarity = item.get("polarity", 1)
        turned = polarity in (1, -1) and not isinstance(polarity, bool)
        read.need(turned, at, "polarity", f"polarity must be 1 or -1, got {shown(polarity)}.")
        told = read.number(at, item, "factor")
        factor = 1.0 if told is None else told
        read.need(factor != 0.0, at, "factor", "factor must not be 0.")
        least, most = FACTORS
        read.need(
            least <= abs(factor) <= most, at, "factor", f"factor must lie between {least:g} and {most:g}, got {factor:g}."
        )
        column, minus = read.text(at, item, "column") or name, read.text(at, item, "minus")
        read.need(minus != column, at, "minus", f"minus must be another column than {column!r}: the difference is 0.")
        out.append(
            CaseChannel(
                name=name,
                column=column,
                role=read.choice(at, item, "role", ROLES, "output"),
                measured_at=read.choice(at, item, "measured_at", SIDES, "unknown"),
                factor=factor,
                polarity=int(polarity),
                zero_V=read.number(at, item, "zero_V", least=-1e4, most=1e4) or 0.0,
                minus=minus,
            )
        )
    if out:
        read.need(
            any(item.role == "output" for item in out),
            ("channels", out[0].name),
            None,
            "no channel has the role 'output'; only that role gets a verdict.",
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
        at = ("meters", name)
        read.need(isinstance(item, dict), at, None, f"meter {name!r} must be a table, written [meters.NAME].")
        read.need("name" not in item, at, "name", "a meter of [meters.NAME] is named by its heading; leave out name.")
        out.append(replace(_meter(read, at, item), name=name))
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
        read.need(exists, at, "file", f"the log {shown(file)} does not exist beside the case file.")
        read.need(
            anywhere or path.resolve().is_relative_to(read.path.parent.resolve()),
            at,
            "file",
            f"the log {shown(file)} lies outside the folder of the case; move it there, or allow it with anywhere=True"
            " (--anywhere).",
        )
        conditions, reading = item.get("conditions", {}), item.get("reading", {})
        words = isinstance(conditions, dict) and all(isinstance(v, (str, int, float)) for v in conditions.values())
        read.need(words, at, "conditions", 'conditions must be words, as in { load = "none", lid = "open" }.')
        read.need(
            isinstance(reading, dict),
            at,
            "reading",
            'reading must be a table, as in { unit = "mV", sample_interval_s = 0.5 }.',
        )
        twice = any(Path(log.path) == path for log in out)
        read.need(not twice, at, "file", f"the log {shown(file)} stands twice in the case.")
        meter = read.text(at, item, "meter")
        read.need(
            meter is None or meter in names,
            at,
            "meter",
            f"no table [meters.NAME] describes the meter {shown(meter)}; known are {_listed(names)}.",
        )
        sha256 = read.text(at, item, "sha256")
        digits = sha256 is None or (len(sha256) == 64 and set(sha256.lower()) <= set("0123456789abcdef"))
        read.need(digits, at, "sha256", f"sha256 must be 64 hexadecimal digits, got {shown(sha256)}.")
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


def _parts(read: Document, items: Sequence[Mapping[str, Any]], stages: set[str] | None) -> tuple[Part, ...]:
    out = []
    for number, item in enumerate(items):
        at = ("parts", number)
        read.known(at, item, ("what", "stage", "date", "note", "changed"))
        what = read.text(at, item, "what")
        if what is None:
            raise read.fail(at, "what", f"part {number + 1} of the case does not say what was done.")
        stage = read.text(at, item, "stage")
        read.need(
            stage is None or stages is None or stage in stages,
            at,
            "stage",
            f"no log belongs to the stage {shown(stage)} yet; stages are {_listed(sorted(stages or ()))}. flicker case add "
            "CASE.toml LOG --stage NAME adds a log of a stage.",
        )
        changed = item.get("changed", changes_a_part(what))
        read.need(isinstance(changed, bool), at, "changed", f"changed must be true or false, got {shown(changed)}.")
        out.append(Part(what, stage, read.date(at, item, "date"), read.text(at, item, "note"), changed))
    return tuple(out)


def _listed(names: Sequence[object]) -> str:
    return ", ".join(map(repr, names)) or "none"


def _with_missing(case: Case) -> Case:
    outputs = [item for item in case.channels if item.role == "output"]
    used = [case.meter_of(log.file) for log in case.logs] or [case.meter]
    told = case.complaint.text is not None
    open_points = {
        **{name: getattr(case, name) is None for name in ("unit", "serial", "job")},
        "complaint": not told,
        "how often the complaint shows itself": told and case.complaint.assumed,
        "which column is which channel": not case.channels,
        "on which side of the relay was measured": any(item.measured_at == "unknown" for item in outputs),
        "the meter's accuracy": any(meter.off_by_V(0.0) is None for meter in used),
        "the meter's integration time": any(meter.integration_s is None for meter in used),
        "logs": not case.logs,
        "dates of some logs": any(log.date is None for log in case.logs),
        "conditions (load, source, lid) of some logs": any(not log.conditions for log in case.logs),
    }
    return replace(case, not_recorded=tuple(name for name, missing in open_points.items() if missing))
