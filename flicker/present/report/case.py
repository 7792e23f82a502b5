"""The page of a job, for the owner: fitness and two sentences, what was done, what was not tested, a line to sign."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING

from flicker.base.formats import digits_text, lasting_text, times_text
from flicker.case.case_file import Case
from flicker.evidence.channel import ChannelAssessment
from flicker.evidence.compare.compared import ChannelComparison
from flicker.evidence.compare.weighing import IMPROVED, NO_CHANGE, WORSE
from flicker.evidence.questions.registry import questions
from flicker.present.report.answers import next_step
from flicker.present.report.markup import Markup, bullets, facts, table, tag, text
from flicker.present.report.parts import date_text, dates_text, verdict_card
from flicker.present.said import SWINGS

if TYPE_CHECKING:
    from flicker.evidence.job import JobResult

NOT_RECORDED = "not recorded"
MANY_PARTS = 4  # more pieces of work than this are told by stage, so that the owner's page stays one sheet


def case_head(job: JobResult) -> tuple[str, str]:
    """Title and the line below it; a date that the case does not tell is that of the file, where it stands there."""
    case = job.case
    days = [_day(log.date) for log in case.logs if log.date is not None]
    when = dates_text(days or [_day(log.source.start) for part in job.logs for log in part if log.source.start is not None])
    people = ", ".join(dict.fromkeys(log.by for log in case.logs if log.by))
    said = [
        f"Job {case.job or NOT_RECORDED}",
        f"serial {case.serial or NOT_RECORDED}",
        f"logged {when or NOT_RECORDED}" + (f" by {people}" if people else ""),
    ]
    return case.unit or "Unit not recorded", "; ".join(said) + "."


def _day(when: date) -> date:
    return when.date() if isinstance(when, datetime) else when


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
    before, after = (side.rate for side in (found.before, found.after))
    then = f"{times_text(before.episodes)} in {lasting_text(before.observed_s)} then"
    now = f"{times_text(after.episodes) if after.episodes else 'none'} in {lasting_text(after.observed_s)} now"
    often = " (swings close together count once)" if item.excursions_total != after.episodes else ""
    seen, better = f"{then}, {now}{often}.", found.outcome == IMPROVED
    why = "".join(found.not_comparable[:1]).removeprefix("not comparable: ")
    others = " ".join(one.reads for one in found.aspects if one.outcome != NO_CHANGE)
    told = (
        (found.cured == "shown", "Cured: ", seen),
        (bool(found.not_comparable), "Not comparable with how it came in: ", f"{why}."),
        (
            found.outcome != NO_CHANGE and found.aspect not in SWINGS,
            f"{'Better' if better else 'Worse'} than when it came in: ",
            others,
        ),
        (found.outcome == WORSE, "Worse than when it came in: ", seen),
        (found.cured == "no", "Better, but not cured: " if better else "Not cured: ", seen),
        (found.cured == "not yet", "Better, but the cure is not yet shown: " if better else "A cure is not yet shown: ", seen),
        (better, "Better than when it came in", f" ({found.aspect})."),
    )
    return next((tag("p", tag("strong", head), said) for holds, head, said in told if holds), None)


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
            (date_text(_day(part.date)) if part.date else NOT_RECORDED, part.stage or "", part.what + _note(part.note))
            for part in case.parts
        ]
    out = []
    for stage in dict.fromkeys(part.stage for part in case.parts):
        mine = [part for part in case.parts if part.stage == stage]
        when = dates_text(_day(part.date) for part in mine if part.date is not None) or NOT_RECORDED
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
    off = meter.off_by_V(0.0)
    pairs = [
        ("Meter", meter.name or NOT_RECORDED),
        ("Accuracy near zero", NOT_RECORDED if off is None else f"{digits_text(off * 1e3)} mV"),
        ("Kind of output", case.output),
        *((f"Channel {one.name}", f"{one.role}, column {one.column}, {one.measured_at}") for one in case.channels),
    ]
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
