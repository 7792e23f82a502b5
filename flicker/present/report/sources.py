"""How it was reckoned, and from what: the method with every limit, each run as it was read, what was not observed."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

from flicker.base.formats import clock_text, lasting_text, seconds_text, share_text
from flicker.evidence.assessment import Assessment
from flicker.logs.model import Log
from flicker.present.envelope import logs_of_runs
from flicker.present.report.markup import Child, Markup, bullets, table, tag
from flicker.present.report.parts import date_text
from flicker.present.report.templates import render
from flicker.present.report.words import LIMITS

GAPS_TOLD = 12
ALIKE_S = 3.0  # stretches of two channels whose ends lie this close are told as one


def method(result: Assessment) -> Markup:
    """How it was reckoned, and every limit."""
    limits, told = result.limits, result.to_dict()
    values = ((item.name, getattr(limits, item.name)) for item in dataclasses.fields(limits))
    return render(
        "method.html",
        dead_time=f"{limits.dead_time_s:g}",
        confidence=f"{share_text(limits.confidence)}",
        correction=told["correction"],
        seed=told["seed"],
        limits=[(name, f"{value:g}", LIMITS.get(name, "")) for name, value in values],
    )


def sources(result: Assessment, logs: Sequence[Log], *, stage: str = "", explained: bool = True) -> Markup:
    """Each run as read, what was assumed, what was not observed, and the fingerprint of its file."""
    all_blocks = [run.blocks for run in result.traces]
    prints: dict[int, str | None] = {}
    rows: list[list[Child]] = []
    for run, log in zip(result.traces, logs_of_runs(all_blocks, logs), strict=True):
        if log is not None and id(log) not in prints:
            prints[id(log)] = log.source.fingerprint()
        found = prints.get(id(log)) if log is not None else None
        part = run.run
        when = f"{date_text(part.start)}, {part.start:%H:%M:%S}" if part.start is not None else "not told by the log"
        length, covered = lasting_text(part.duration_s), lasting_text(part.observed_s)
        said = f"{length} long, {covered} with samples, one every {seconds_text(part.sample_interval_s)}"
        rows.append(
            [
                f"{run.number + 1}. {part.source}",
                [f"begins {when}; {said}", bullets(part.notes), bullets(_gap_texts(result, run.number))],
                tag("code", found) if found else "none (samples in memory, or made without the files)",
            ]
        )
    return tag(
        "section",
        tag("h2", f"Logs{f' of the stage {stage}' if stage else ''}, and what was assumed while reading them"),
        table(("run and file", "as read", "SHA-256 of the file"), rows),
        tag("p", "A file that was changed since has another fingerprint.") if explained else None,
    )


def _gap_texts(result: Assessment, run: int) -> list[str]:
    gaps = [(gap.start_s, gap.end_s, gap.reason, ["all channels"]) for gap in _run_of(result, run).gaps]
    for item in result.channels:
        for gap in item.gaps:
            if gap.get("run") == run:
                _join(gaps, (gap["start_s"], gap["end_s"], gap["reason"], [item.channel]))
    gaps.sort(key=lambda gap: (gap[0], gap[1], gap[2]))
    said = [
        f"not observed from {clock_text(begin)} to {clock_text(end)} ({', '.join(channels)}): {reason}"
        for begin, end, reason, channels in gaps[:GAPS_TOLD]
    ]
    if len(gaps) > GAPS_TOLD:
        said.append(f"and {len(gaps) - GAPS_TOLD} more stretches")
    return said


def _join(gaps: list[tuple[float, float, str, list[str]]], new: tuple[float, float, str, list[str]]) -> None:
    """Add a stretch; one of another channel at all but the same time becomes one with it, as long as the longer."""
    for place, (begin, end, reason, channels) in enumerate(gaps):
        alike = abs(begin - new[0]) <= ALIKE_S and abs(end - new[1]) <= ALIKE_S and reason == new[2]
        if alike and new[3][0] not in channels and channels != ["all channels"]:
            gaps[place] = (min(begin, new[0]), max(end, new[1]), reason, channels + new[3])
            return
    gaps.append(new)


def _run_of(result: Assessment, number_: int) -> Any:
    return next(trace.run for trace in result.traces if trace.number == number_)
