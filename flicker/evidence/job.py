"""Judge a whole case: every stage by itself, stages against each other like with like, and what is still open.

Case in, frozen `JobResult` out. Composes `assess` and `compare_stages`; what the case says about conditions, meter and
parts decides what may be compared and what is credited to what.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from flicker._version import __version__
from flicker.base.formats import hours_text
from flicker.base.limits import Limits
from flicker.base.result import Result
from flicker.base.units import HOUR
from flicker.case.case_file import Case, CaseError, needs
from flicker.case.identity import altered, fingerprint, in_two_stages, out_of_order
from flicker.evidence.assessment import Assessment, assess
from flicker.evidence.compare.comparison import compare_stages
from flicker.evidence.compare.stages import StageComparison
from flicker.evidence.document.frames import JobTables
from flicker.logs.model import Log


@dataclass(frozen=True, slots=True)
class JobResult(JobTables, Result):
    """A case judged: ``assessments`` by stage in order, ``comparison`` between them (None with one stage)."""

    case: Case
    stages: tuple[str, ...]
    assessments: tuple[Assessment, ...] = field(repr=False)
    comparison: StageComparison | None
    logs: tuple[tuple[Log, ...], ...] = field(repr=False)
    fingerprints: tuple[tuple[str, str | None], ...]
    changed: tuple[str, ...]
    not_comparable: tuple[str, ...]
    needed_h: float
    needed_starts: float | None
    cautions: tuple[str, ...]

    @property
    def last(self) -> Assessment:
        """Assessment of the last stage: the unit as it would leave."""
        return self.assessments[-1]

    @property
    def dates(self) -> dict[str, dt.date | None]:
        """Date of each log by the name of its file, as the case tells it."""
        return {Path(log.file).name: log.date for log in self.case.logs}

    def outcome(self, channel: str) -> Mapping[str, Any] | None:
        """Last stage against the first, for one channel; None where they were not compared."""
        if self.comparison is None:
            return None
        found = [item for item in self.comparison.whole.channels if item.channel == channel]
        return found[0].to_dict() if found else None

    @property
    def reads(self) -> str:
        """Two or three sentences for the owner."""
        lines = [item.reads for item in self.last.channels]
        if self.comparison is not None:
            lines.extend(item.reads for item in self.comparison.whole.channels if item.outcome != "no change shown")
        return " ".join(lines)

    def to_dict(self) -> dict[str, Any]:
        """Return the document of the schema 'flicker/job/1'."""
        return {
            "schema": "flicker/job/1",
            "version": __version__,
            "case": self.case.to_dict(),
            "stages": [
                {"stage": name, "assessment": item.to_dict()}
                for name, item in zip(self.stages, self.assessments, strict=True)
            ],
            "comparison": None if self.comparison is None else self.comparison.to_dict(),
            "fingerprints": [{"file": name, "sha256": digest} for name, digest in self.fingerprints],
            "changed": list(self.changed),
            "not_comparable": list(self.not_comparable),
            "needed_h": self.needed_h,
            "needed_starts": self.needed_starts,
            "reads": self.reads,
            "cautions": list(self.cautions),
        }


def judge_case(
    case: Case,
    limits: Limits | None = None,
    *,
    progress: Callable[[str], None] | None = None,
    run_gap_s: float = 600.0,
    control: str | None = None,
    concern_per_h: float | None = None,
) -> JobResult:
    """Judge every stage of a case and compare the stages.

    Parameters
    ----------
    case : Case
        As `read_case` returns it; must list at least one log.
    limits : Limits, optional
        By default those of the case.
    progress : callable, optional
        Called with a few words before each longer step.
    run_gap_s : float
        A longer pause in a log begins a new run.
    control : str, optional
        The channel that was not touched; by default the one output that no work of the case names.
    concern_per_h : float, optional
        Rate that a cure must have excluded; by default that of the complaint.

    Raises
    ------
    CaseError
        If the case lists no log, or one log under two stages.
    LogError
        If a log cannot be read.
    """
    if not case.logs:
        raise CaseError(f"{case.path}: the case lists no log; add [[logs]] with a file.")
    if doubled := in_two_stages(case):
        raise CaseError(f"{case.path}: {doubled[0]}")
    disordered = out_of_order(case)
    limits = limits or case.limits
    logs: list[tuple[Log, ...]] = []
    made: dict[str, Assessment] = {}
    for stage in case.stages:
        if progress:
            progress(f"judging {stage}")
        part = tuple(case.read_logs(stage, run_gap_s=run_gap_s))
        logs.append(part)
        made[stage] = assess(list(part), limits, case=case)
    hours, starts = needs(case, limits.confidence)
    comparison = None
    differ: tuple[str, ...] = ()
    if len(made) > 1:
        if progress:
            progress("comparing the stages")
        comparison = compare_stages(
            made, limits, control=control or _untouched(case), concern_per_h=concern_per_h, case=case
        )
        differ = tuple(f"{text}." for text in comparison.not_comparable)
        if all(step.unlike for step in (*comparison.steps, comparison.whole)):
            comparison = None  # nothing is left to lay side by side
    prints = tuple((entry.file, fingerprint(entry.path)) for entry in case.logs)
    changed = altered(case)
    cautions = list(dict.fromkeys(text for item in made.values() for text in item.cautions))
    if comparison is not None:
        cautions.extend(text for text in comparison.cautions if text not in cautions)
    return JobResult(
        case=case,
        stages=case.stages,
        assessments=tuple(made.values()),
        comparison=comparison,
        logs=tuple(logs),
        fingerprints=prints,
        changed=changed,
        not_comparable=differ,
        needed_h=hours,
        needed_starts=starts,
        cautions=(*changed, *disordered, *differ, *cautions),
    )


def _untouched(case: Case) -> str | None:
    """The one output that no recorded work names; it is the control."""
    names = [item.name for item in case.channels if item.role == "output"]
    if len(names) != 2 or not case.parts:
        return None
    work = " ".join(part.what.lower() for part in case.parts)
    named = [name for name in names if name.lower() in work]
    return next(name for name in names if name not in named) if len(named) == 1 else None


def not_tested(result: JobResult) -> list[str]:
    """What was not tested, in words for the owner's page."""
    case, hours = result.case, min((item.observed_s for item in result.last.channels), default=0.0) / HOUR
    short = case.complaint.per_hour is not None and hours < result.needed_h
    started = any(trace.power_up_seen for run in result.last.traces for trace in run.traces)
    sides = {item.measured_at for item in case.channels if item.role == "output"}
    loads = {value for log in case.logs for key, value in log.conditions if key == "load"}
    told = (
        (short, f"The complaint asks for {hours_text(result.needed_h)} without an episode; {hours_text(hours)} were observed."),
        (case.complaint.when in {"cold", "any"} and not started, "No start from cold was logged in the last stage."),
        ("speaker side" not in sides, "The output relay and the loudspeaker terminals were not part of the measurement."),
        (not loads or "none" in loads, "The unit was not tested under load or with music."),
    )
    return [text for holds, text in told if holds]
