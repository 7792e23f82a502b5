"""Logs taken to pieces for a judgement: traces of all power-ups, what a relay would have done, and the columns beside."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

from flicker.base.arrays import Floats
from flicker.base.formats import lasting_text
from flicker.base.limits import Limits
from flicker.evidence.outlook.bench import Relays, relays_to_try
from flicker.evidence.questions.auxiliary_channels import Beside, Line, last_digit_of, look_beside
from flicker.evidence.questions.marked import hands_of, marks_of
from flicker.evidence.record.overlaps import Counted, Covered, content, readings_digest
from flicker.evidence.record.starts import (
    goes_on,
    grace_s,
    power_ups_begin,
    side_of,
    without_first_seconds,
    without_times,
)
from flicker.logs.marks import Mark
from flicker.logs.model import Log, LogError
from flicker.logs.reading import read_log
from flicker.logs.spans import total
from flicker.signals.relay import Relay, scan_relays
from flicker.signals.trace import RunTraces, trace_log

if TYPE_CHECKING:
    import pandas as pd

    from flicker.case.case_file import Case
    from flicker.evidence.questions.warmth import Series
    from flicker.signals.cache import BlockCache

# A file, a log, or a data frame as `flicker.read_log` takes it.
LogLike: TypeAlias = "Log | str | Path | pd.DataFrame"
Progress = Callable[[str], None]


def as_logs(given: LogLike | Sequence[LogLike], cache: BlockCache | None = None) -> list[Log]:
    """Logs of what was given, in time order where all tell one."""
    items: Sequence[LogLike]
    # A data frame is no sequence of logs.
    items = [given] if isinstance(given, (Log, str, Path)) or hasattr(given, "iloc") else list(given)
    if not items:
        raise LogError("No log was given; name at least one.")
    several = len(items) > 1  # the newest of several may hold a few rows
    logs = [
        item
        if isinstance(item, Log)
        else read_log(item, few=several)
        if cache is None or not isinstance(item, (str, Path))
        else cache.read(item, few=several)
        for item in items
    ]
    starts = [log.source.start for log in logs]
    if all(start is not None for start in starts) and len(logs) > 1:
        zones = {start.tzinfo is None for start in starts if start is not None}
        if len(zones) == 1:  # of one start by what they hold, for the order in which they were given must not matter
            known = Counter((log.source.start, log.channels) for log in logs)
            logs.sort(
                key=lambda log: (
                    log.source.start,
                    log.channels,
                    content(log.source) if known[log.source.start, log.channels] > 1 else b"",
                )
            )
    return logs


class NothingNew(LogError):
    """Every log given holds readings that were counted already; ``cautions`` say which."""

    def __init__(self, cautions: Sequence[str]) -> None:
        super().__init__(" ".join(cautions))
        self.cautions = tuple(cautions)


@dataclass(slots=True)
class Seen:
    """What was counted of a unit: runs by the digest of their readings, and which times by their clocks."""

    digests: dict[bytes, str] = field(default_factory=dict)
    counted: Counted = field(default_factory=Counted)

    def add(self, runs: Sequence[RunTraces], where: str = "") -> None:
        """Count runs; ``where`` is said behind the name of their log."""
        for run in runs:
            digest = readings_digest(run)
            if digest is not None:
                self.digests.setdefault(digest, f"{run.run.source}{where}")
            self.counted.add(run)


@dataclass(slots=True)
class Traced:
    """What is known of the logs so far; ``before`` was counted in other judgements of the unit."""

    limits: Limits
    case: Case | None
    cache: BlockCache | None
    progress: Progress | None
    before: Seen = field(default_factory=Seen)
    traces: list[RunTraces] = field(default_factory=list)
    relays: Relays = field(default_factory=dict)
    _lines: list[Line] = field(default_factory=list)
    _temperatures: list[Series] = field(default_factory=list)
    _cautions: list[str] = field(default_factory=list)
    _log_of_run: dict[int, int] = field(default_factory=dict)
    _seen: Seen = field(default_factory=Seen)

    def add(self, place: int, log: Log, marks: Sequence[Mark]) -> None:
        """Take one log to pieces; one whose readings are there already is told and left out."""
        made = marks_of(log, marks)
        told = None if self.case is None else self.case.log_named(log.source.name)
        if told is not None and told.start is not None:
            made = (*made, Mark(0.0, "power"))
        part = self._trace(log, hands=hands_of(made, log.channels), goes_on=goes_on(self.traces, log))
        known = self.before.digests | self._seen.digests
        originals = [known.get(digest) for run in part if known and (digest := readings_digest(run)) is not None]
        if len(originals) == len(part) and all(originals):
            self._cautions.append(
                f"{log.source.name} holds the same readings as {originals[0]}: was one log given twice? It is counted once."
            )
            return
        twice = [self._seen.counted.covered(run, self.before.counted) for run in part]
        if self._told_twice(log, part, twice):
            return
        self._relays(log, part, [[_head_s(item.copied) for item in found] for found in twice])
        for number, found in enumerate(twice):
            part[number] = without_times(part[number], found, self.limits.dead_time_s)
        self._seen.add(part)
        for run in part[:1]:
            if run.blocks.stash is not None:
                run.blocks.stash.clear()
        self.traces.extend(part)
        self._log_of_run |= {run.number: place for run in part}
        if log.unread:
            rows = "1 row" if log.unread == 1 else f"{log.unread} rows"
            self._cautions.append(
                f"{log.source.name}: {rows} could not be read; what stood there is not observed (flicker look {log.source.name})."
            )
        if log.companions:
            lines, series, cautions = look_beside(log, place, self.limits, part)
            self._lines.extend(lines)
            self._temperatures.extend(series)
            self._cautions.extend(cautions)

    def begins(self, log: Log, other: Log) -> None:
        """Tell of a log that was left out, since it is the beginning of another."""
        self._cautions.append(
            f"{log.source.name} holds the same readings as the beginning of {other.source.name}: it is counted once."
        )

    def _told_twice(self, log: Log, part: Sequence[RunTraces], twice: Sequence[Sequence[Covered]]) -> bool:
        """Say which other logs hold a part of this one; True where nothing of it is left."""
        others: dict[str, float] = {}
        for found in twice:
            shared = max(total(item.copied) for item in found)
            for name in {other.run.source for item in found for other in item.copies}:
                others[name] = max(shared, others.get(name, 0.0))  # other readings at the same time are told by `log_checks`
        self._cautions += [
            f"{log.source.name} holds the same readings as {name} for {lasting_text(shared_s)}: one time was "
            "logged twice. It is counted once."
            for name, shared_s in others.items()
        ]
        lengths = [run.run.duration_s for run in part]
        return bool(others) and all(
            total(item.copied) >= length for found, length in zip(twice, lengths, strict=True) for item in found
        )

    def _trace(self, log: Log, **told: Any) -> list[RunTraces]:
        if self.progress:
            self.progress(f"judging {log.source.name}")
        return trace_log(log, self.limits, first_run=len(self.traces), cache=self.cache, **told)

    def _relays(self, log: Log, part: list[RunTraces], counted_s: Sequence[Sequence[float]]) -> None:
        """What relays would have done; before they close, an open lead says nothing, nor does time counted already."""
        tried, before = relays_to_try(Relay.from_limits(self.limits)), self.traces[-1:]
        begins = power_ups_begin([*before, *part])[len(before) :]
        for number, run in enumerate(part):
            grace = [grace_s(run, k, begins[number], side_of(self.case, trace.channel)) for k, trace in enumerate(run.traces)]
            part[number] = without_first_seconds(run, begins[number], grace, self.limits.dead_time_s)
            later = [max(pair) for pair in zip(grace, counted_s[number], strict=True)]
            outcomes = zip(*scan_relays(log, run.blocks, tried, not_before_s=later), strict=True)
            for trace, outcome in zip(run.traces, outcomes, strict=True):
                self.relays[run.number, trace.channel] = outcome

    @property
    def beside(self) -> Beside:
        """The columns beside the outputs."""
        cautions = tuple(dict.fromkeys(self._cautions))
        return Beside(tuple(self._lines), tuple(self._temperatures), self._log_of_run, cautions)

    def control(self, logs: Sequence[Log], *, shorted: bool) -> list[RunTraces]:
        """Traces of a control, which are no part of the judgement."""
        digit = last_digit_of(self.traces) if shorted else None
        other = Traced(self.limits, None, self.cache, self.progress)
        for log in logs:
            other.traces.extend(other._trace(log, shorted_digit_V=digit))
        return other.traces


def _head_s(times: Floats) -> float:
    """Until when the beginning of a run lies in some times."""
    return float(times[0, 1]) if len(times) and times[0, 0] <= 0.0 else 0.0
