"""The page of a job: the owner's page first, then the evening, the stages, the evidence, method, meter and logs."""

from __future__ import annotations

from collections.abc import Sequence

from flicker.base.formats import digits_text, lasting_text, millivolts_text, times_text
from flicker.evidence.assessment import Assessment
from flicker.evidence.job import JobResult
from flicker.logs.model import Log
from flicker.present.report.assessment import beside_outputs, evidence, findings, method, sources, strip
from flicker.present.report.evening import events_of, names_of, strip_names, told
from flicker.present.report.owner import (
    MANY_PARTS,
    answers_of,
    case_head,
    complaint_text,
    conditions,
    owner_cards,
    untested,
    what_was_done,
)
from flicker.present.report.parts import Child, Markup, bullets, close, how_sure, render, table, tag, text
from flicker.present.report.pictures import Pictures
from flicker.present.report.strips import KEY, STRIPS_DRAWN, alone, busiest, scale_of, side_by_side, strips
from flicker.signals.trace import RunTraces

COLUMNS = ("stage", "observed", "jumped", "per hour", "at rest", "verdict", "against the stage before")


def stages_side_by_side(job: JobResult, pictures: Pictures) -> Markup:
    """Everything about the stages of a job."""
    from flicker.present import charts

    parts: list[Child] = [tag("h2", "Stage by stage")]
    names = list(dict.fromkeys(item.channel for made in job.assessments for item in made.channels))
    parts += [_table(job, name) for name in names]
    if job.comparison is not None:
        steps, whole = job.comparison.steps, job.comparison.whole
        for head, step in [("", step) for step in steps] + ([("Over all: ", whole)] if len(steps) > 1 else []):
            parts.append(tag("h3", f"{head}{step.before} to {step.after}"))
            parts.append(bullets(item.reads for item in step.channels))
        parts.append(pictures.figure(charts.before_after, whole.to_dict()))
        parts.append(tag("p", f"Corrected together: {whole.correction}.", class_="sub"))
    return tag("section", parts)


def _table(job: JobResult, channel: str) -> Markup:
    steps = {step.after: step for step in (job.comparison.steps if job.comparison is not None else ())}
    rows = []
    for stage, made in zip(job.stages, job.assessments, strict=True):
        item = next((item for item in made.channels if item.channel == channel), None)
        if item is None:
            rows.append((stage, "not logged", "", "", "", "", ""))
            continue
        rate = item.rate
        said_rate = digits_text(rate.per_hour) if rate.per_hour is not None else "unknown"
        if rate.episodes and rate.low_per_hour is not None and rate.high_per_hour is not None:
            said_rate += f" ({digits_text(rate.low_per_hour)} to {digits_text(rate.high_per_hour)})"
        elif rate.steady_upper_per_h is not None:
            said_rate = f"below {digits_text(rate.steady_upper_per_h)}"
        level = item.baseline.level_V
        step = steps.get(stage)
        found = None if step is None else next((c for c in step.channels if c.channel == channel), None)
        said = "" if found is None else found.outcome
        if step is not None and step.unlike:
            said = "not comparable"
        rows.append(
            (
                stage,
                lasting_text(item.observed_s),
                times_text(rate.episodes) if rate.episodes else "never",
                said_rate,
                millivolts_text(level),
                item.verdict,
                said,
            )
        )
    return table(COLUMNS, rows, caption=f"Channel {channel}", labels=True)


def every_evening(job: JobResult) -> Markup:
    """Time lines of all logs of a job, stage by stage."""
    parts: list[Child] = [tag("h2", "Every evening on a time line"), tag("p", KEY, class_="sub")]
    left = 2 * STRIPS_DRAWN
    happened = [events_of(made) for made in job.assessments]
    scale = scale_of(zip(job.assessments, happened, strict=True))
    for stage, made, events in zip(job.stages, job.assessments, happened, strict=True):
        parts.append(tag("h3", stage[0].upper() + stage[1:]))
        parts += strips(made, events, scale, most=max(left, 1), named=names_of(made, job.dates))
        left -= len(made.traces)
    return tag("section", parts)


def job_page(job: JobResult, pictures: Pictures, logs: Sequence[Log]) -> tuple[str, Markup]:
    """Title and body of the page of a job, which brings its own logs."""
    title, below = case_head(job)
    logs = [log for part in job.logs for log in part]
    last = job.last
    parts: list[Child] = [
        render(
            "owner.html",
            unit=title,
            below=below,
            complaint=complaint_text(job.case),
            answer=answers_of(job),
            strips=before_and_after(job),
            work=what_was_done(job),
            cards=owner_cards(job),
            untested=untested(job),
            dense=_crowded(job),
        )
    ]
    if len(job.stages) > 1:
        parts += [stages_side_by_side(job, pictures), every_evening(job)]
    parts += [
        _sure(job),
        _as_it_came_in(job, pictures, logs),
        evidence(last, pictures, logs, heading=_of_stage("Evidence", job), beside=job.assessments[: len(job.stages) > 1]),
        findings(last, heading=_of_stage("Findings", job)),
        beside_outputs(last),
        method(last),
        conditions(job.case),
        _evening(job),
    ]
    parts += [
        sources(made, part, stage=stage, explained=stage == job.stages[-1])
        for stage, made, part in zip(job.stages, job.assessments, job.logs, strict=True)
    ]
    said = list(dict.fromkeys((*job.changed, *(_sentence(line) for line in job.not_comparable), *job.cautions)))
    parts.append(close([line for line in said if line not in job.not_comparable]))
    return f"Evidence: {title}", Markup(text(parts))


def _of_stage(heading: str, job: JobResult) -> str:
    return heading if len(job.stages) == 1 else f"{heading} of the last stage: {job.stages[-1]}"


def _sentence(line: str) -> str:
    return line[:1].upper() + line[1:]


def _crowded(job: JobResult) -> bool:
    """Whether the owner's part needs a smaller hand to stay on one sheet."""
    return len(job.last.channels) > 2 or len(job.case.parts) > MANY_PARTS


def _complaint_channel(job: JobResult) -> str:
    """The channel that swung most when the unit came in."""
    return max(job.assessments[0].channels, key=lambda item: item.rate.episodes).channel


def _as_it_came_in(job: JobResult, pictures: Pictures, logs: Sequence[Log]) -> Markup | None:
    """The strip of the channel complained of as it came in, on the scale of the last stage's."""
    if len(job.stages) < 2:
        return None
    first, name = job.assessments[0], _complaint_channel(job)
    drawn = strip(pictures, first, first.channel(name), "strip-before", logs=logs, beside=(job.last,))
    return tag(
        "section", tag("h2", f"Evidence of the first stage: {job.stages[0]}"), tag("h3", f"Channel {name}"), drawn
    )


def _chosen(job: JobResult) -> list[tuple[str, Assessment, RunTraces]]:
    """The busiest evening as it came in, and the last one."""
    out = [(job.stages[-1], job.last, job.last.traces[-1])]
    if len(job.stages) > 1:
        first = job.assessments[0]
        out.insert(0, (job.stages[0], first, busiest(first)))
    return out


def before_and_after(job: JobResult) -> Markup | None:
    """One strip before and one after, of the channels that swung, on one scale."""
    if len(job.stages) < 2:
        return None
    chosen = [
        (f"{word} ({stage})", made, trace)
        for word, (stage, made, trace) in zip(("Before", "After"), _chosen(job), strict=True)
    ]
    return side_by_side(chosen, dates=job.dates, crowded=_crowded(job))


def _evening(job: JobResult) -> Markup:
    """One evening as it came in and the last one, told event by event."""
    parts: list[Child] = [tag("h2", "Appendix: the evening, event by event"), tag("p", KEY, class_="sub")]
    chosen = [(stage, made, *alone(made, trace)) for stage, made, trace in _chosen(job)]
    scale = scale_of((one, events) for _, _, one, events in chosen)
    for stage, made, one, events in chosen:
        (trace,) = one.traces
        parts.append(tag("h3", f"{_sentence(stage)}: {names_of(made, job.dates)[trace.number]}"))
        parts += strips(one, events, scale, named={trace.number: trace.run.source})
        moves = strip_names(made) if made is job.last else {_complaint_channel(job): "strip-before"}
        parts.append(told(made, events, strips=moves))
    return tag("section", parts)


def _sure(job: JobResult) -> Markup:
    rows = [
        (item.channel, f"{item.verdict}: {item.tail}", how_sure(item, job.last.limits)) for item in job.last.channels
    ]
    return tag("section", tag("h2", "How sure is the verdict"), table(("channel", "verdict", "how sure"), rows))
