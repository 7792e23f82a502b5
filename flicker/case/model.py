"""What a case holds: unit, complaint, channels, meters, logs by stage, parts; and how it is put to use on a log."""

from __future__ import annotations

import datetime as dt
import math
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any

from flicker._version import __version__
from flicker.base.formats import digits_text
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result, plain
from flicker.case.reading import Options, overruled
from flicker.logs.mapped import ColumnUse
from flicker.logs.model import Log
from flicker.logs.used_columns import companion_of, with_columns

EVENING_H = 3.0  # hours of use per day where the case does not tell; common practice, no source
INTERMITTENT_PER_H = 0.1  # rate of concern of a unit that came in as intermittent, with no rate given
SAME_PARTS = ("reseat", "nothing changed", "cleaned", "adjusted", "no part")  # words of work that changes no part
NEW_PARTS = ("replac", "new ", "exchang", "swapped", "renewed", "fitted")


class CaseError(ValueError):
    """A case file that cannot be used: file, line, what was found, what is allowed."""


@dataclass(frozen=True, slots=True)
class Complaint(Result):
    """What was complained of: ``text`` in the owner's words, ``per_hour`` of use, ``when`` it shows."""

    text: Annotated[str | None, Doc("In the owner's words.")] = None
    per_hour: Annotated[float | None, Doc("Rate per hour of use.", ge=0)] = None
    per_start: Annotated[float | None, Doc("Rate per cold start.", ge=0)] = None
    when: Annotated[str, Doc("When it shows.", values=("cold", "hot", "any"))] = "any"
    hours_per_day: Annotated[float, Doc("Hours of use per day.", gt=0)] = EVENING_H
    assumed: Annotated[bool, Doc("True where no rate is recorded and one was assumed.")] = True

    @property
    def reads(self) -> str:
        """The complaint as a rate, in words."""
        if self.per_hour is None:
            return "No complaint is recorded."
        number = digits_text(self.per_hour)
        rate = f"about {'once' if number == '1' else f'{number} times'} per hour of use"
        if self.when == "cold":
            rate += f", {digits_text(self.per_start)} per cold start" if self.per_start else ""
        return f"The complaint amounts to {rate}" + (" (assumed: no rate is recorded)." if self.assumed else ".")


@dataclass(frozen=True, slots=True)
class CaseChannel(Result):
    """One column of the logs: its role, where it was measured, factor, polarity, zero."""

    name: Annotated[str, Doc("Name.")]
    column: Annotated[str, Doc("Column of the logs.")]
    role: Annotated[
        str,
        Doc(
            "What the column is; only 'output' gets a verdict.",
            values=("output", "rail", "mains", "temperature", "shorted lead", "ignore"),
        ),
    ] = "output"
    measured_at: Annotated[
        str, Doc("Where it was measured.", values=("amplifier side", "speaker side", "no relay", "unknown"))
    ] = "unknown"
    factor: Annotated[float, Doc("Factor that turns readings into volts at the output.")] = 1.0
    polarity: Annotated[int, Doc("-1 where the leads were swapped.", values=(1, -1))] = 1
    zero_V: Annotated[float, Doc("Reading with shorted leads, volts.")] = 0.0
    minus: Annotated[str | None, Doc("Column subtracted (bridged output).")] = None


@dataclass(frozen=True, slots=True)
class Meter(Result):
    """The meter: what it resolves and how far it may be off."""

    name: Annotated[str | None, Doc("Name.")] = None
    range_V: Annotated[float | None, Doc("Range, volts.")] = None
    resolution_V: Annotated[float | None, Doc("Step of the last digit, volts.")] = None
    accuracy_V: Annotated[float | None, Doc("Largest error, fixed part, volts.")] = None
    accuracy_percent: Annotated[float | None, Doc("Largest error, per cent of the reading.")] = None
    integration_s: Annotated[float | None, Doc("Seconds that each reading averages.")] = None

    def off_by_V(self, reading_V: float) -> float | None:
        """Largest error at a reading, or None where the accuracy is not recorded."""
        if self.accuracy_V is None and self.accuracy_percent is None:
            return None
        return (self.accuracy_V or 0.0) + abs(reading_V) * (self.accuracy_percent or 0.0) / 100.0


@dataclass(frozen=True, slots=True)
class CaseLog(Result):
    """One log of the case: file, date, stage, by whom, under which conditions, with which of several meters."""

    file: Annotated[str, Doc("File as the case names it.")]
    path: str
    stage: Annotated[str, Doc("Stage.")]
    date: Annotated[dt.date | dt.datetime | None, Doc("Date or date and time, ISO 8601.")] = None
    by: Annotated[str | None, Doc("By whom.")] = None
    conditions: tuple[tuple[str, str], ...] = ()
    sha256: Annotated[str | None, Doc("SHA-256 recorded for the file.")] = None
    meter: Annotated[str | None, Doc("Name of one of the meters; null is the usual one.")] = None
    reading: Options = ()

    @property
    def start(self) -> str | None:
        """Kind of power-up with which the log begins by its conditions, 'cold' or 'warm'; None where they tell none."""
        told = {name.lower(): value.strip().lower() for name, value in self.conditions}.get("start")
        return told if told in {"cold", "warm"} else None


@dataclass(frozen=True, slots=True)
class Part(Result):
    """A part changed, or other work done: opens the stage named.

    ``changed`` tells whether a part is another one than before; where the case does not say so, the words do.
    """

    what: Annotated[str, Doc("Part changed or work done.")]
    stage: Annotated[str | None, Doc("Stage that it opens.")] = None
    date: Annotated[dt.date | dt.datetime | None, Doc("Date or date and time, ISO 8601.")] = None
    note: Annotated[str | None, Doc("Note.")] = None
    changed: Annotated[
        bool, Doc("Whether a part is another one than before; reseating, cleaning and adjusting change none.")
    ] = True


def changes_a_part(what: str) -> bool:
    """Whether work so described changes a part; reseating, cleaning and adjusting do not."""
    said = what.lower()
    return any(word in said for word in NEW_PARTS) or not any(word in said for word in SAME_PARTS)


@dataclass(frozen=True, slots=True)
class Case(Result):
    """A job: unit, complaint, channels, meters, logs by stage, parts.

    ``meter`` is that of every log which names none of ``meters``. ``places`` keeps where in the file a key stands;
    ``options`` say how its logs are read where they have none of their own.
    """

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
    marks_column: str | None = None
    meters: tuple[Meter, ...] = field(default=())
    places: Mapping[str, str] = field(default_factory=dict, repr=False, compare=False)
    options: Options = ()

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
            logs.append(row | {"conditions": dict(log.conditions), "reading": plain(dict(log.reading))})
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
            "meters": plain(self.meters),
            "logs": logs,
            "parts": plain(self.parts),
            "limits": plain(self.limits),
            "not_recorded": list(self.not_recorded),
            "marks_column": self.marks_column,
            "reading": plain(dict(self.options)),
        }

    def log_named(self, source: str) -> CaseLog | None:
        """Return the log of the case whose file has that name, wherever it lies."""
        name = Path(source).name
        return next((log for log in self.logs if Path(log.file).name == name), None)

    def meter_of(self, source: str | None = None) -> Meter:
        """Return the meter of a log of that name; that of the case where the log names none."""
        log = None if source is None else self.log_named(source)
        if log is None or log.meter is None:
            return self.meter
        return next(meter for meter in self.meters if meter.name == log.meter)

    def off_by_V(self, channel: str, level_V: float, source: str | None = None) -> float | None:
        """How far a level of a channel may be off by the meter alone, volts at the output.

        Parameters
        ----------
        channel : str
            Name of the channel; one that the case does not name is taken as read.
        level_V : float
            The level, with factor, polarity and zero applied.
        source : str, optional
            Name of the log, for a case with several meters.

        Returns
        -------
        float or None
            None where the accuracy of the meter is not recorded. Per cent are of what the meter showed; of the
            difference of two readings both are off, each by its volts.
        """
        meter = self.meter_of(source)
        use = next((item for item in self.channels if item.name == channel), None)
        if use is None:
            return meter.off_by_V(level_V)
        shown = (level_V + use.zero_V) / use.factor
        off = meter.off_by_V(shown)
        if off is None:
            return None
        if use.minus is not None:
            off += meter.off_by_V(0.0) or 0.0
        return off * abs(use.factor)

    def read(self, path: str | Path, *, date: dt.date | dt.datetime | None = None, **options: Any) -> Log:
        """Read any log, its columns used as the case says; options as of `read_log`, ``date`` as of `use`."""
        from flicker.logs.reading import read_log

        return self.use(read_log(path, **overruled(self.reading(path), options)), date)

    def read_logs(self, stage: str | None = None, **options: Any) -> list[Log]:
        """Read the logs of a stage (or all), columns used as the case says; only the role 'output' is kept."""
        chosen = [log for log in self.logs if stage is None or log.stage == stage]
        options = {"few": len(chosen) > 1} | options
        return [self.read(log.path, date=log.date, **options) for log in chosen]

    def fits(self, log: Log) -> bool:
        """Whether the log has every column that the case reads as an output."""
        outputs = [item for item in self.channels if item.role == "output"]
        wanted = [name for item in outputs for name in (item.column, item.minus) if name is not None]
        return all(column_of(name, log.channels) in log.channels for name in wanted)

    def use(self, log: Log, date: dt.date | dt.datetime | None = None) -> Log:
        """Return the log with its columns used as the case says, dated by the case where the file tells no date.

        Raises
        ------
        CaseError
            If the log has no column of a name that the case tells; the sentence says where in the case.
        """
        if date is None:
            known = self.log_named(log.source.name)
            date = None if known is None else known.date
        start = date if isinstance(date, dt.datetime) and log.source.start is None else log.source.start
        if not self.channels:
            uses = [ColumnUse(name, name) for name in log.channels]
            return log if start is log.source.start else with_columns(log, uses, start=start)
        uses = self.uses(log.channels, log.source.name)
        others = [f"{item.column} ({item.role})" for item in self.channels if item.role != "output"]
        notes = [f"not judged, by the case file: {', '.join(others)}"] if others else []
        columns = (*log.channels, *(item.name for item in log.companions))
        companions = []
        for item in self.channels:
            if item.role not in ("output", "ignore"):
                column = column_of(item.column, columns)
                if column not in columns:
                    notes.append(f'this log has no column "{item.column}" ({item.role})')
                    continue
                gain = item.factor * item.polarity
                companions.append(companion_of(log, column, item.name, item.role, gain, item.zero_V))
        told = {column_of(item.column, columns) for item in self.channels}
        companions.extend(item for item in log.companions if item.name not in told)
        return with_columns(log, uses, notes, start=start, companions=companions)

    def reading(self, path: str | os.PathLike[str] | None = None) -> dict[str, Any]:
        """Arguments for `read_log`: how the log is read, and which columns are no outputs; a log may lack those."""
        log = None if path is None else self.log_named(os.fspath(path))
        legs = {name for item in self.channels if item.role == "output" for name in (item.column, item.minus)}
        roles = {item.column: item.role for item in self.channels if item.role != "output" and item.column not in legs}
        roles |= {leg: "output" for leg in legs if leg is not None}
        told = overruled(dict(self.options), dict(() if log is None else log.reading))
        return {**told, "roles": roles, "marks_column": self.marks_column, "may_lack": True}

    def uses(self, columns: tuple[str, ...], source: str) -> list[ColumnUse]:
        """How each output is made of the columns of a log.

        Raises
        ------
        CaseError
            If a column that the case names is not among them.
        """
        out = []
        for item in self.channels:
            if item.role != "output":
                continue
            found = []
            for key, name in (("column", item.column), ("minus", item.minus)):
                column = None if name is None else column_of(name, columns)
                if column is not None and column not in columns:
                    where = self.places.get(f"channels.{item.name}.{key}") or self.places.get(f"channels.{item.name}")
                    raise CaseError(
                        f"{where or self.path}: the log {source} has no column {name!r} for the channel {item.name!r}; "
                        f"its columns are {', '.join(map(repr, columns))}."
                    )
                found.append(column)
            out.append(
                ColumnUse(item.name, found[0] or item.column, item.factor * item.polarity, item.zero_V, found[1])
            )
        return out


def column_of(wanted: str, columns: tuple[str, ...]) -> str:
    """The log's own name of a column: as written, or without its unit."""
    if wanted in columns:
        return wanted
    bare = wanted.split("[")[0].split("(")[0].strip()
    for tail in ("_mV", "_V", "_uV", "_µV"):
        bare = bare.removesuffix(tail)
    return bare if bare in columns else wanted


def needs(case: Case, confidence: float) -> tuple[float, float | None]:
    """Clean hours, and clean cold starts where the complaint is of the cold unit, that exclude the complaint's rate."""
    rate = case.complaint.per_hour or INTERMITTENT_PER_H
    factor = -math.log(1.0 - confidence)
    starts = None
    if case.complaint.per_start and case.complaint.when in {"cold", "any"}:
        starts = float(math.ceil(factor / case.complaint.per_start))
    return factor / rate, starts
