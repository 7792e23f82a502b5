"""The page of an assessment: verdict first, then the evidence, then how it was reckoned."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from flicker import __version__
from flicker.evidence.assessment import Assessment, ChannelAssessment
from flicker.evidence.findings import NO, YES, Finding
from flicker.evidence.verdict import DO_NOT_CONNECT, WITHIN_LIMITS
from flicker.evidence.words import hours_text, volts_text
from flicker.logs.model import Log
from flicker.present._markup import Child, Markup, bullets, facts, table, tag, text
from flicker.present._report_case import case_head, complaint, conditions, done, stages_side_by_side
from flicker.present._report_words import CURED, GLOSSARY, LIMITS, MONTHS, QUESTIONS, how_sure, what_next
from flicker.present.envelope import logs_of_runs

if TYPE_CHECKING:
    from flicker.evidence.job import JobResult
    from flicker.present.report import Pictures

EVENTS_TOLD = 40
GAPS_TOLD = 12


def assessment_page(
    result: Assessment, pictures: Pictures, logs: Sequence[Log], *, job: JobResult | None = None
) -> tuple[str, Markup]:
    """Title and body of the page; with a job it is the owner's page, judged by the job's last stage."""
    names = list(dict.fromkeys(run.source for run in result.runs))
    title = names[0] if len(names) == 1 else f"{names[0]} and {len(names) - 1} more"
    parts: list[Child] = []
    if job is None:
        parts += [_head(result, len(names), title), _tags(result), _warning(result)]
    else:
        title, below = case_head(job.case)
        parts += [mast(title, below), complaint(job.case), _tags(result, job), _warning(result), done(job)]
        if job.comparison is not None:
            parts.append(stages_side_by_side(job.comparison.to_dict(), pictures))
    parts += [_evidence(result, pictures, logs), _findings(result), _told(result), _method(result)]
    if job is not None:
        parts += [conditions(job.case), sources(result, logs, stage=job.stages[-1])]
        parts += [
            sources(earlier, logs, stage=stage)
            for stage, earlier in zip(job.stages[:-1], job.assessments[:-1], strict=True)
        ]
        parts.append(cautions(list(dict.fromkeys((*job.changed, *job.not_comparable, *job.cautions)))))
    else:
        parts += [sources(result, logs), cautions(result.cautions)]
    return f"Evidence: {title}", Markup(text([*parts, glossary(), foot()]))


def _head(result: Assessment, count: int, title: str) -> Markup:
    when = [run.start for run in result.runs if run.start is not None]
    dates = ""
    if when:
        first, last = min(when), max(when)
        dates = f", {date_text(first)}" + (f" to {date_text(last)}" if last.date() != first.date() else "")
    observed = max((item.observed_s for item in result.channels), default=0.0) / 3600.0
    runs = "1 run" if len(result.runs) == 1 else f"{len(result.runs)} runs"
    return mast(
        f"What the {'log shows' if count == 1 else 'logs show'}",
        f"{title}: {runs}{dates}, {hours_text(observed)} observed.",
    )


def mast(heading: str, below: str) -> Markup:
    """Top of every page."""
    return tag(
        "header",
        tag("p", tag("b", "flicker"), " evidence from offset logs", class_="mast"),
        tag("h1", heading),
        tag("p", below, class_="sub"),
    )


def _tags(result: Assessment, job: JobResult | None = None) -> Markup:
    compared = job.comparison.whole.channels if job is not None and job.comparison is not None else ()
    cured = {item.channel: item.cured for item in compared}
    cards = [
        tag(
            "section",
            stamp(item.fitness),
            tag("h3", f"{item.channel}: {item.verdict}", tag("span", f", {item.tail}") if item.tail else None),
            tag("p", item.reads),
            facts(_short_facts(result, item, cured.get(item.channel))),
            class_="tag",
        )
        for item in result.channels
    ]
    return tag("section", tag("h2", "Verdict"), tag("div", cards, class_="tags"))


def _short_facts(result: Assessment, item: ChannelAssessment, cured: str | None) -> list[tuple[str, Child]]:
    pairs: list[tuple[str, Child]] = [("How sure", how_sure(item, result.limits))]
    if cured is not None:
        pairs.append(("Cured", CURED.get(cured, cured)))
    return [*pairs, ("What next", what_next(item))]


def stamp(fitness: str) -> Markup:
    """Fitness, printed before everything else."""
    kind = {DO_NOT_CONNECT: "stamp alarm", WITHIN_LIMITS: "stamp calm"}.get(fitness, "stamp")
    return tag("p", f"Loudspeaker: {fitness}", class_=kind)


def _warning(result: Assessment) -> Markup:
    if all(item.fitness != DO_NOT_CONNECT for item in result.channels):
        return Markup("")
    return tag(
        "div",
        tag(
            "p",
            tag(
                "strong",
                "Do not connect a loudspeaker to a channel so marked, and do not leave the unit on unattended.",
            ),
        ),
        class_="warn",
    )


def _evidence(result: Assessment, pictures: Pictures, logs: Sequence[Log]) -> Markup:
    from flicker.present import charts

    parts: list[Child] = [tag("h2", "Evidence")]
    for item in result.channels:
        parts.append(tag("h3", f"Channel {item.channel}"))
        parts.append(pictures.figure(charts.overview, result, item.channel, logs=logs))
        if item.excursions:
            parts.append(pictures.figure(charts.episodes, result, item.channel, logs=logs))
        if item.rate.episodes >= 3:
            parts.append(pictures.figure(charts.cumulative, result, item.channel))
            parts.append(pictures.figure(charts.sizes, result, item.channel))
        if item.rate.episodes >= 8:
            parts.append(pictures.figure(charts.gaps, result, item.channel))
        if len(result.runs) > 1:
            parts.append(pictures.figure(charts.rates, result, item.channel))
        parts.append(pictures.figure(charts.settled, result, item.channel))
        parts.append(pictures.figure(charts.power_ups, result, item.channel))
        if any(finding.question == "noise" and finding.answer == YES for finding in item.findings):
            parts.append(pictures.figure(charts.allan, result, item.channel))
    if len(result.channels) > 1 and any(item.excursions for item in result.channels):
        parts.append(tag("h3", "Channels side by side"))
        parts.append(pictures.figure(charts.coincidence, result))
    return tag("section", parts)


def _findings(result: Assessment) -> Markup:
    parts: list[Child] = [
        tag("h2", "Findings"),
        tag(
            "p",
            "'Yes' only where it is shown and large enough to matter; 'no' where it is shown to be within the limit; "
            "'not shown' where the log cannot tell.",
        ),
    ]
    for item in result.channels:
        rows = [
            (
                QUESTIONS.get(finding.question, finding.question),
                answer_cell(finding.answer),
                [finding.reads, tag("span", _numbers(finding), class_="small")],
            )
            for finding in item.findings
        ]
        parts.append(table(("question", "answer", "what the log says"), rows, caption=f"Channel {item.channel}"))
    return tag("section", parts)


def answer_cell(answer: str) -> Markup:
    """The answer with a mark that does not hang on colour: full, empty or dotted circle."""
    kind = {YES: "yes", NO: "no"}.get(answer, "open")
    return tag("td", tag("span", answer, class_=f"answer {kind}"))


def _numbers(finding: Finding) -> str:
    said = []
    if finding.effect is not None:
        unit = finding.unit or ""
        low, high = finding.low, finding.high
        between = f" ({number(low, unit)} to {number(high, unit)})" if low is not None and high is not None else ""
        said.append(f"{number(finding.effect, unit)}{between} {_unit(unit)}".rstrip())
    if finding.limit is not None and finding.unit:
        said.append(f"limit {number(finding.limit, finding.unit)} {_unit(finding.unit)}")
    if finding.p_value is not None:
        corrected = ""
        if finding.p_adjusted is not None and not math.isclose(finding.p_adjusted, finding.p_value):
            corrected = f", corrected {p_text(finding.p_adjusted)}"
        said.append(f"p {p_text(finding.p_value)}{corrected}" + (f", {finding.sided}-sided" if finding.sided else ""))
    said.append(finding.method)
    return " · ".join(said)


def number(value: float | None, unit: str = "") -> str:
    """A number of the evidence; volts as millivolts."""
    if value is None:
        return "unbounded"
    if not math.isfinite(value):
        return "unbounded"
    return f"{value * 1e3:.3g}" if unit == "V" else f"{value:.3g}"


def _unit(unit: str) -> str:
    return "mV" if unit == "V" else unit


def p_text(value: float) -> str:
    """A p-value without false precision."""
    return "below 0.000001" if value < 1e-6 else f"{value:.2g}"


def _told(result: Assessment) -> Markup:
    events: list[tuple[int, float, str, str]] = []
    for item in result.channels:
        events.extend(_starts(item))
        events.extend(_swings(result, item))
    events.sort(key=lambda event: (event[0], event[1], event[2]))
    heading = tag("h2", "What happened, in order")
    if not events:
        return tag("section", heading, tag("p", "Nothing but rest: no power-up and no swing was seen."))
    place = {number_: k for k, number_ in enumerate(trace.number for trace in result.traces)}
    rows = []
    for run, seconds, channel, said in events[:EVENTS_TOLD]:
        start = result.runs[place[run]].start if run in place else None
        rows.append((_moment(run, seconds, start, len(result.runs) > 1), channel, said))
    more = len(events) - len(rows)
    return tag(
        "section",
        heading,
        table(("when", "channel", "what"), rows),
        tag("p", f"{more} more are listed by the command line's JSON document.") if more > 0 else None,
    )


def _starts(item: ChannelAssessment) -> list[tuple[int, float, str, str]]:
    return [
        (
            up.run,
            0.0,
            item.channel,
            f"power-up: surge of {volts_text(up.surge_V)}, settled after {up.settle_s:.0f} s "
            f"at {volts_text(up.settled_V)}: {'abnormal' if up.abnormal else 'normal'}",
        )
        for up in item.power_up
    ]


def _swings(result: Assessment, item: ChannelAssessment) -> list[tuple[int, float, str, str]]:
    by_episode: dict[int, list[Any]] = {}
    for row in item.excursions:
        by_episode.setdefault(row.episode, []).append(row)
    out = []
    for rows in by_episode.values():
        worst = max(rows, key=lambda row: abs(row.deviation_V))
        begin, end = rows[0].start_s, max(row.end_s for row in rows)
        least = "at least " if worst.at_least else ""
        sign = "+" if worst.peak_V > 0 else ""
        many = "swing" if len(rows) == 1 else f"{len(rows)} swings, the largest"
        said = f"{many} to {least}{sign}{volts_text(worst.peak_V)}, {_length(end - begin)} long"
        if abs(worst.peak_V) >= result.limits.protection_V:
            said += "; beyond the assumed protection threshold"
        if any(row.cut for row in rows):
            said += "; cut by a gap or the end of the log"
        if worst.phase == "warm-up":
            said += "; during warm-up"
        out.append((rows[0].run, begin, item.channel, said))
    return out


def _length(seconds: float) -> str:
    return f"{seconds:.2g} s" if seconds < 10 else f"{seconds:.0f} s" if seconds < 120 else hours_text(seconds / 3600.0)


def _moment(run: int, seconds: float, start: datetime | None, several: bool) -> str:
    from flicker.present.charts._strip import clock_text

    since = clock_text(seconds) if seconds >= 0.5 else "start"
    before = f"run {run + 1}, " if several else ""
    if start is None:
        return f"{before}{since}"
    return f"{before}{start + timedelta(seconds=seconds):%H:%M:%S} ({since})"


def _method(result: Assessment) -> Markup:
    limits = result.limits
    told = result.to_dict()
    rows = []
    for item in dataclasses.fields(limits):
        value = getattr(limits, item.name)
        rows.append((tag("code", item.name), tag("td", f"{value:g}", class_="num"), LIMITS.get(item.name, "")))
    return tag(
        "section",
        tag("h2", "Method"),
        tag(
            "p",
            "Each channel is followed by a slow baseline. Swings beyond the threshold are excursions; those closer "
            f"than {limits.dead_time_s:g} s are one episode. Rates count episodes per observed hour, with exact "
            f"Poisson intervals at {limits.confidence:.0%}. A claim needs two things: it is statistically shown, and "
            "it is large enough to matter. Trends widen for bursts, and slopes and steps are judged against noise "
            "that wanders by itself (1/f), not only white noise. The method of each finding stands beside it.",
        ),
        tag(
            "p", f"Correction for several questions: {told['correction']}. Seed of all simulated laws: {told['seed']}."
        ),
        tag(
            "p",
            "The protection relay is reckoned, not measured: its threshold and delays are assumed and may differ here.",
        ),
        table(
            ("limit", "value", "meaning"),
            rows,
            caption="Limits used (V volts, s seconds, h hours; common practice, no source)",
        ),
    )


def sources(result: Assessment, logs: Sequence[Log], *, stage: str = "") -> Markup:
    """Each run as read, what was assumed, what was not observed, and the fingerprint of its file."""
    all_blocks = [run.blocks for run in result.traces]
    prints: dict[int, str | None] = {}
    rows: list[list[Child]] = []
    for run, log in zip(result.traces, logs_of_runs(all_blocks, logs), strict=True):
        if log is not None and id(log) not in prints:
            prints[id(log)] = log.source.fingerprint()
        found = prints.get(id(log)) if log is not None else None
        part = run.run
        when = date_text(part.start, clock=True) if part.start is not None else "not told by the log"
        length, covered = hours_text(part.duration_s / 3600), hours_text(part.observed_s / 3600)
        said = f"{length} long, {covered} with samples, one every {part.sample_interval_s:.3g} s"
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
        tag("p", "A file that was changed since has another fingerprint."),
    )


def _gap_texts(result: Assessment, run: int) -> list[str]:
    from flicker.present.charts._strip import clock_text

    gaps = [(gap.start_s, gap.end_s, gap.reason, "all channels") for gap in _run_of(result, run).gaps]
    for item in result.channels:
        gaps.extend(
            (gap["start_s"], gap["end_s"], gap["reason"], item.channel) for gap in item.gaps if gap.get("run") == run
        )
    gaps.sort()
    said = [
        f"not observed from {clock_text(begin)} to {clock_text(end)} ({channel}): {reason}"
        for begin, end, reason, channel in gaps[:GAPS_TOLD]
    ]
    if len(gaps) > GAPS_TOLD:
        said.append(f"and {len(gaps) - GAPS_TOLD} more stretches")
    return said


def _run_of(result: Assessment, number_: int) -> Any:
    return next(trace.run for trace in result.traces if trace.number == number_)


def date_text(when: datetime, *, clock: bool = False) -> str:
    """A date as people write it, without a word that depends on the machine's language."""
    day = f"{when.day} {MONTHS[when.month - 1]} {when.year}"
    return f"{day}, {when:%H:%M:%S}" if clock else day


def cautions(lines: Sequence[str]) -> Markup:
    """Cautions, on every page."""
    return tag("section", tag("h2", "Cautions"), tag("div", bullets(lines), class_="warn"))


def glossary() -> Markup:
    """Words used, on every page."""
    return tag("section", tag("h2", "Words"), facts(GLOSSARY, class_="facts"))


def foot() -> Markup:
    """Version, on every page."""
    return tag(
        "footer",
        tag("p", f"Made by flicker {__version__}. The same logs, limits and version give the same page."),
    )
