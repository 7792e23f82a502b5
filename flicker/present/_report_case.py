"""The page of a job, for the owner: fitness and two sentences, what was done, what was not tested, a line to sign."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from flicker.evidence.case import Case
from flicker.present._markup import Child, Markup, bullets, facts, table, tag
from flicker.present._report_words import MONTHS, QUESTIONS

if TYPE_CHECKING:
    from flicker.evidence.job import JobResult
    from flicker.present.report import Pictures

NOT_RECORDED = "not recorded"


def case_head(case: Case) -> tuple[str, str]:
    """Title and the line below it."""
    days = sorted(_day(log.date) for log in case.logs if log.date is not None)
    when = "" if not days else day_text(days[0]) + (f" to {day_text(days[-1])}" if days[-1] != days[0] else "")
    people = ", ".join(dict.fromkeys(log.by for log in case.logs if log.by))
    said = [
        f"Job {case.job or NOT_RECORDED}",
        f"serial {case.serial or NOT_RECORDED}",
        f"logged {when or NOT_RECORDED}" + (f" by {people}" if people else ""),
    ]
    return case.unit or "Unit not recorded", "; ".join(said) + "."


def _day(when: date) -> date:
    return when.date() if isinstance(when, datetime) else when


def day_text(when: date) -> str:
    """A day as people write it."""
    return f"{when.day} {MONTHS[when.month - 1]} {when.year}"


def complaint(case: Case) -> Markup:
    """What the owner complained of, and what rate that amounts to."""
    said = f"“{case.complaint.text}”" if case.complaint.text else NOT_RECORDED
    return tag("section", tag("p", tag("em", "The complaint: "), said), tag("p", case.complaint.reads, class_="sub"))


def done(job: JobResult) -> Markup:
    """What was done, what was not tested, and the line to sign; right after the verdict."""
    case = job.case
    rows = [
        (day_text(_day(part.date)) if part.date else NOT_RECORDED, part.stage or "", part.what + _note(part.note))
        for part in case.parts
    ]
    return tag(
        "section",
        tag("h2", "What was done"),
        table(("date", "stage", "work"), rows) if rows else tag("p", "No work is recorded."),
        tag("h2", "What was not tested"),
        bullets(_untested(job)),
        tag("div", tag("span", "Date"), tag("span", "Signature"), class_="sign"),
    )


def _note(note: str | None) -> str:
    return f" ({note})" if note else ""


def _untested(job: JobResult) -> list[str]:
    from flicker.evidence.job import still_open

    said = list(still_open(job))
    for item in job.last.channels:
        silent = [
            QUESTIONS.get(finding.question, finding.question).rstrip("?").lower()
            for finding in item.findings
            if finding.answer == "not shown" and finding.question in {"settled offset", "drift", "noise", "power-up"}
        ]
        if silent:
            said.append(f"Channel {item.channel}: the logs cannot tell: {'; '.join(silent)}.")
    ups = max((len(item.power_up) for item in job.last.channels), default=0)
    if job.needed_starts and ups < job.needed_starts:
        said.append(f"{ups} of the {job.needed_starts:.0f} cold starts that the complaint asks for were logged.")
    if job.case.output == "capacitor":
        said.append("Direct voltage behind an output capacitor cannot be seen at the terminals.")
    said.append("Nothing but direct voltage at the outputs was judged: no power, distortion, hum or safety test.")
    return said


def conditions(case: Case) -> Markup:
    """The meter and the conditions of each log, as the case tells them."""
    meter = case.meter
    pairs: list[tuple[str, Child]] = [("Meter", meter.name or NOT_RECORDED)]
    off = meter.off_by_V(0.0)
    pairs.append(("Accuracy near zero", NOT_RECORDED if off is None else f"{off * 1e3:.2g} mV"))
    pairs.append(("Kind of output", case.output))
    for channel in case.channels:
        pairs.append((f"Channel {channel.name}", f"{channel.role}, column {channel.column}, {channel.measured_at}"))
    rows = [
        (log.file, log.stage, ", ".join(f"{name} {value}" for name, value in log.conditions) or NOT_RECORDED)
        for log in case.logs
    ]
    return tag(
        "section",
        tag("h2", "Meter and conditions"),
        facts(pairs, class_="facts"),
        table(("log", "stage", "conditions"), rows) if rows else None,
    )


def stages_side_by_side(told: Mapping[str, Any], pictures: Pictures) -> Markup:
    """Each stage against the one before."""
    from flicker.present import charts
    from flicker.present._report_plans import compared_card

    parts: list[Child] = [tag("h2", "Stage by stage")]
    for step in told.get("steps") or [told]:
        parts.append(tag("h3", " to ".join(step["stages"])))
        parts.append(tag("div", [compared_card(item, level="h4") for item in step["channels"]], class_="tags"))
        parts.append(pictures.figure(charts.before_after, step))
    return tag("section", parts)
