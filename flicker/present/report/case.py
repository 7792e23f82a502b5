"""The page of a job, for the owner: fitness and two sentences, what was done, what was not tested, a line to sign."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING

from flicker.base.formats import digits_text, lasting_text, times_text
from flicker.case.case_file import Case
from flicker.evidence.channel import ChannelAssessment
from flicker.evidence.compare.compared import ChannelComparison
from flicker.evidence.compare.weighing import IMPROVED, NO_CHANGE
from flicker.evidence.questions.registry import questions
from flicker.present.report.answers import next_step
from flicker.present.report.markup import Child, Markup, bullets, facts, table, tag, text
from flicker.present.report.parts import verdict_card
from flicker.present.report.words import MONTHS
from flicker.present.said import SWINGS

if TYPE_CHECKING:
    from flicker.evidence.job import JobResult

NOT_RECORDED = "not recorded"
MANY_PARTS = 4  # more pieces of work than this are told by stage, so that the owner's page stays one sheet


def case_head(job: JobResult) -> tuple[str, str]:
    """Title and the line below it; a date that the case does not tell is that of the file, where it stands there."""
    case = job.case
    days = sorted(_day(log.date) for log in case.logs if log.date is not None)
    if not days:
        days = sorted(_day(log.source.start) for part in job.logs for log in part if log.source.start is not None)
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


def complaint_text(case: Case) -> str:
    """What the owner complained of, in the owner's words, and what rate that amounts to."""
    words, reads = case.complaint.text, case.complaint.reads
    return f"“{words}”. {reads}" if words else reads


def owner_cards(job: JobResult) -> Markup:
    """Each channel: may a loudspeaker hang on it, what it does, and what became of the complaint."""
    compared = {item.channel: item for item in job.comparison.whole.channels} if job.comparison is not None else {}
    cards = [
        verdict_card(
            item,
            _became(compared.get(item.channel), item),
            facts([("What next", next_step(item, compared.get(item.channel)))]),
        )
        for item in job.last.channels
    ]
    return tag("div", cards, class_="tags")


def _became(found: ChannelComparison | None, item: ChannelAssessment) -> Markup | None:
    """What became of the fault since the unit came in, in one sentence."""
    if found is None:
        return None
    before, after = found.before, found.after
    then = f"{times_text(before.rate.episodes)} in {lasting_text(before.rate.observed_s)} then"
    now = f"{times_text(after.rate.episodes) if after.rate.episodes else 'none'} in {lasting_text(after.rate.observed_s)} now"
    if item.excursions_total != after.rate.episodes:
        now += " (swings close together count once)"
    if found.cured == "shown":
        return tag("p", tag("strong", "Cured: "), f"{then}, {now}.")
    if found.not_comparable:
        said = found.not_comparable[0].removeprefix("not comparable: ")
        return tag("p", tag("strong", "Not comparable with how it came in: "), f"{said}.")
    if found.outcome != NO_CHANGE and found.aspect not in SWINGS:
        word = "Better" if found.outcome == IMPROVED else "Worse"
        told = [one.reads for one in found.aspects if one.outcome != NO_CHANGE]
        return tag("p", tag("strong", f"{word} than when it came in: "), " ".join(told))
    if found.outcome == "worse":
        return tag("p", tag("strong", "Worse than when it came in: "), f"{then}, {now}.")
    if found.cured == "no":
        better = "Better, but not cured: " if found.outcome == "improved" else "Not cured: "
        return tag("p", tag("strong", better), f"{then}, {now}.")
    if found.cured == "not yet":
        better = (
            "Better, but the cure is not yet shown: " if found.outcome == "improved" else "A cure is not yet shown: "
        )
        return tag("p", tag("strong", better), f"{then}, {now}.")
    if found.outcome == "improved":
        return tag("p", tag("strong", "Better than when it came in"), f" ({found.aspect}).")
    return None


def what_was_done(job: JobResult) -> Markup:
    """Work, and what the improvement is owed to."""
    rows = _work(job.case)
    owed = job.comparison.credits if job.comparison is not None else ()
    parts = [
        table(("date", "stage", "work"), rows) if rows else tag("p", "No work is recorded."),
        [tag("p", f"{item.reads[:1].upper()}{item.reads[1:]}") for item in owed],
        [tag("p", tag("strong", line), class_="warn") for line in job.changed],
    ]
    return Markup(text(parts))


def untested(job: JobResult) -> Markup:
    """What was not tested."""
    return bullets(_untested(job)) or Markup("")


def _work(case: Case) -> list[tuple[str, str, str]]:
    """A row for each piece of work; where there are many, one for each stage."""
    if len(case.parts) <= MANY_PARTS:
        return [
            (day_text(_day(part.date)) if part.date else NOT_RECORDED, part.stage or "", part.what + _note(part.note))
            for part in case.parts
        ]
    out = []
    for stage in dict.fromkeys(part.stage for part in case.parts):
        mine = [part for part in case.parts if part.stage == stage]
        days = sorted(_day(part.date) for part in mine if part.date is not None)
        when = (
            NOT_RECORDED
            if not days
            else day_text(days[0]) + (f" to {day_text(days[-1])}" if days[-1] != days[0] else "")
        )
        out.append((when, stage or "", "; ".join(part.what + _note(part.note) for part in mine)))
    return out


def _note(note: str | None) -> str:
    return f" ({note})" if note else ""


def _untested(job: JobResult) -> list[str]:
    from flicker.evidence.job import not_tested

    said = not_tested(job)
    silent: dict[str, list[str]] = {}
    for item in job.last.channels:
        open_questions = [
            questions()[finding.question].asks.rstrip("?").lower()
            for finding in item.findings
            if finding.answer == "not shown" and finding.question in {"settled offset", "drift", "noise", "power-up"}
        ]
        if open_questions:
            silent.setdefault("; ".join(open_questions), []).append(item.channel)
    for asked, names in silent.items():
        said.append(f"Channel{'s' if len(names) > 1 else ''} {', '.join(names)}: the logs cannot tell: {asked}.")
    ups = max((len(item.power_up) for item in job.last.channels), default=0)
    if job.needed_starts and 0 < ups < job.needed_starts:
        said.append(f"{ups} of the {job.needed_starts:.0f} cold starts that the complaint asks for were logged.")
    if job.case.output == "capacitor":
        said.append("Direct voltage behind an output capacitor cannot be seen at the terminals.")
    if job.case.not_recorded:
        said.append(f"Not recorded: {', '.join(job.case.not_recorded)}.")
    said.append("Nothing but direct voltage at the outputs was judged: no power, distortion, hum or safety test.")
    return said


def conditions(case: Case) -> Markup:
    """The meter and the conditions of each log, as the case tells them."""
    meter = case.meter
    pairs: list[tuple[str, Child]] = [("Meter", meter.name or NOT_RECORDED)]
    off = meter.off_by_V(0.0)
    pairs.append(("Accuracy near zero", NOT_RECORDED if off is None else f"{digits_text(off * 1e3)} mV"))
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
