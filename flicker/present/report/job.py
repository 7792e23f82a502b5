"""The page of a job: the owner's page first, then the evening, the stages, the evidence, method, meter and logs."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from flicker.present.report.assessment import (
    beside_outputs,
    cautions,
    evidence,
    findings,
    foot,
    glossary,
    mast,
    method,
    sources,
    warning,
)
from flicker.present.report.case import (
    MANY_PARTS,
    case_head,
    complaint,
    conditions,
    owner_cards,
    to_sign,
    what_was_done,
)
from flicker.present.report.evening import events_of, names_of, told
from flicker.present.report.markup import Child, Markup, table, tag, text
from flicker.present.report.stages import every_evening, stages_side_by_side
from flicker.present.report.strips import KEY, scale_of, strips
from flicker.present.report.words import how_sure

if TYPE_CHECKING:
    from flicker.evidence.job import JobResult
    from flicker.present.report.pictures import Pictures


def job_page(job: JobResult, pictures: Pictures) -> tuple[str, Markup]:
    """Title and body of the page of a job."""
    title, below = case_head(job.case)
    logs = [log for part in job.logs for log in part]
    last = job.last
    parts: list[Child] = [
        tag(
            "section",
            mast(title, below),
            complaint(job.case),
            owner_cards(job),
            warning(last),
            what_was_done(job),
            to_sign(job),
            class_="owner dense" if len(last.channels) > 2 or len(job.case.parts) > MANY_PARTS else "owner",
        ),
        _evening(job),
    ]
    if len(job.stages) > 1:
        parts += [stages_side_by_side(job, pictures), every_evening(job)]
    parts += [
        _sure(job),
        evidence(last, pictures, logs, heading=_of_stage("Evidence", job)),
        findings(last, heading=_of_stage("Findings", job)),
        beside_outputs(last),
        method(last),
        conditions(job.case),
    ]
    parts += [
        sources(made, part, stage=stage, explained=stage == job.stages[-1])
        for stage, made, part in zip(job.stages, job.assessments, job.logs, strict=True)
    ]
    said = list(dict.fromkeys((*job.changed, *(_sentence(line) for line in job.not_comparable), *job.cautions)))
    parts += [cautions([line for line in said if line not in job.not_comparable]), glossary(), foot()]
    return f"Evidence: {title}", Markup(text(parts))


def _of_stage(heading: str, job: JobResult) -> str:
    return heading if len(job.stages) == 1 else f"{heading} of the last stage: {job.stages[-1]}"


def _sentence(line: str) -> str:
    return line[:1].upper() + line[1:]


def _evening(job: JobResult) -> Markup:
    """One evening as it came in and the last one, told event by event."""
    parts: list[Child] = [tag("h2", "The evening, event by event"), tag("p", KEY, class_="sub")]
    chosen = [(job.stages[-1], job.last, job.last.traces[-1])]
    if len(job.stages) > 1:
        first = job.assessments[0]
        events = events_of(first)
        busiest = max(first.traces, key=lambda trace: sum(event.run == trace.number for event in events))
        chosen.insert(0, (job.stages[0], first, busiest))
    scale = scale_of((replace(made, traces=(trace,)), events_of(made)) for _, made, trace in chosen)
    for stage, made, trace in chosen:
        events = [event for event in events_of(made) if event.run == trace.number]
        heading = f"{_sentence(stage)}: {names_of(made, job.dates)[trace.number]}"
        parts.append(tag("h3", heading))
        alone = replace(made, traces=(trace,))
        parts += strips(alone, events, scale, named={trace.number: trace.run.source})
        parts.append(told(made, events) if events else tag("p", "Nothing but rest: no power-up and no swing was seen."))
    return tag("section", parts)


def _sure(job: JobResult) -> Markup:
    rows = [
        (item.channel, f"{item.verdict}: {item.tail}", how_sure(item, job.last.limits)) for item in job.last.channels
    ]
    return tag("section", tag("h2", "How sure is the verdict"), table(("channel", "verdict", "how sure"), rows))
