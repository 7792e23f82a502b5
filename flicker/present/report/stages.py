"""Stages side by side: a table for each channel, the time lines of every log, and what each step shows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flicker.base.formats import digits_text, lasting_text, times_text
from flicker.present.report.evening import events_of, names_of
from flicker.present.report.markup import Child, Markup, bullets, table, tag
from flicker.present.report.strips import KEY, STRIPS_DRAWN, scale_of, strips

if TYPE_CHECKING:
    from flicker.evidence.job import JobResult
    from flicker.present.report.pictures import Pictures

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
                "unknown" if level is None else f"{level * 1e3:.1f} mV",
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
