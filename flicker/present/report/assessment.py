"""The page of an assessment: verdict first, then the evidence, then how it was reckoned."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from flicker._version import __version__
from flicker.base.formats import clock_text, digits_text, hours_text, millivolts_text, p_text, seconds_text, share_text
from flicker.base.values import Answer, Fitness
from flicker.evidence.assessment import SAFETY, Assessment
from flicker.evidence.channel import ChannelAssessment
from flicker.evidence.findings import NO, NOT_SHOWN, YES, Finding
from flicker.evidence.located.moves import moves_text
from flicker.evidence.located.rate_changed import since_text
from flicker.evidence.questions.registry import questions
from flicker.evidence.verdict import DO_NOT_CONNECT, WITHIN_LIMITS
from flicker.evidence.worth_looking import INSIDE, SOURCE
from flicker.logs.model import Log
from flicker.present.envelope import logs_of_runs
from flicker.present.report.evening import strip_names
from flicker.present.report.markup import Child, Markup, bullets, facts, table, tag, text
from flicker.present.report.strips import evening
from flicker.present.report.templates import render
from flicker.present.report.words import GLOSSARY, LIMITS, MONTHS, how_sure, what_next
from flicker.present.said import finding_text, fitness_text

if TYPE_CHECKING:
    from flicker.present.report.pictures import Pictures

GAPS_TOLD = 12
FEW_CARDS = 4  # channels whose cards fit a screen or two; a choice
PAGE_ROWS, QUIET_ROWS = 1400, 450  # of a strip: half a page's weight goes there; no swing is lost by fewer
ALIKE_S = 3.0  # stretches of two channels whose ends lie this close are told as one


def assessment_page(result: Assessment, pictures: Pictures, logs: Sequence[Log]) -> tuple[str, Markup]:
    """Title and body of the page."""
    names = list(dict.fromkeys(run.source for run in result.runs))
    title = names[0] if len(names) == 1 else f"{names[0]} and {len(names) - 1} more"
    from flicker.present.charts import glance

    seen = pictures.figure(glance, result) if result.records else None
    parts: list[Child] = [_head(result, len(names), title)]
    if len(result.channels) > FEW_CARDS:  # cards would push the picture down by screens
        parts += [_one_line_each(result), warning(result), seen, _tags(result)]
    else:
        parts += [_tags(result), warning(result), seen]
    parts += [
        evidence(result, pictures, logs),
        findings(result),
        by_ledger(result),
        beside_outputs(result),
        evening(result),
    ]
    parts += [method(result), sources(result, logs), close(result.cautions)]
    return f"Evidence: {title}", Markup(text(parts))


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


def _one_line_each(result: Assessment) -> Markup:
    """For each channel whether a loudspeaker may be connected, and why: the first lines of the terminal."""
    from flicker.present.terminal.assessment import answer

    rows = [(item.channel, answer(item).plain) for item in worst_first(result)]
    return tag("section", tag("h2", "May a loudspeaker be connected?"), table(("channel", "answer"), rows))


def mast(heading: str, below: str) -> Markup:
    """Top of every page."""
    return tag(
        "header",
        tag("p", tag("b", "flicker"), " evidence from offset logs", class_="mast"),
        tag("h1", heading),
        tag("p", below, class_="sub"),
    )


def verdict_card(item: ChannelAssessment, *more: Child) -> Markup:
    """A channel's fitness, verdict and sentence, and what the page adds to them."""
    small = (item.guard.reads, item.not_excluded)
    return card(f"{item.channel}: {item.verdict}", item.reads, *more, fitness=item.fitness, tail=item.tail, small=small)


def card(head: str, reads: str, *more: Child, fitness: str | None, tail: str = "", small: Sequence[str] = ()) -> Markup:
    """What is said of one channel under its fitness, which is printed before everything else."""
    mood = {DO_NOT_CONNECT: "alarm", WITHIN_LIMITS: "calm"}.get(Fitness(fitness), "") if fitness else ""
    said = fitness_text(fitness) if fitness else ""
    return render(
        "card.html", fitness=said, mood=mood, head=head, tail=tail, reads=reads, small=small, more=Markup(text(more))
    )


def _tags(result: Assessment) -> Markup:
    cards = [
        verdict_card(item, facts([("How sure", how_sure(item, result.limits)), ("What next", what_next(item))]))
        for item in worst_first(result)
    ]
    return tag("section", tag("h2", "Verdict"), tag("div", cards, class_="tags"))


def warning(result: Assessment) -> Markup:
    """What must not be connected, and what to heed before logging again: where the next step is told, not at the end."""
    heed = tag("p", SAFETY, class_="sub")
    if all(item.fitness != DO_NOT_CONNECT for item in result.channels):
        return heed
    return Markup(
        heed
        + tag(
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
    )


def evidence(
    result: Assessment,
    pictures: Pictures,
    logs: Sequence[Log],
    *,
    heading: str = "Evidence",
    beside: Sequence[Assessment] = (),
) -> Markup:
    """Charts of every channel; on the scale of those ``beside`` this one."""
    from flicker.present import charts

    whole: list[Child] = [tag("h2", heading)]
    named = strip_names(result)
    for item in worst_first(result):
        parts: list[Child] = []
        parts.append(strip(pictures, result, item, named[item.channel], logs=logs, beside=beside))
        if item.excursions:
            parts.append(pictures.figure(charts.episodes, result, item.channel, logs=logs))
        if item.rate.episodes >= 3:
            parts.append(pictures.figure(charts.cumulative, result, item.channel))
            parts.append(pictures.figure(charts.sizes, result, item.channel))
        if item.swings_ahead is not None:
            parts.append(pictures.figure(charts.swings_ahead, result, item.channel))
        if item.rate.episodes >= 8:
            parts.append(pictures.figure(charts.gaps, result, item.channel))
        if len(result.runs) > 1 or since_text(item.since):
            parts.append(pictures.figure(charts.rates, result, item.channel))
        if item.mean_count is not None:
            parts.append(pictures.figure(charts.mean_cumulative, result, item.channel))
        parts.append(pictures.figure(charts.settled, result, item.channel))
        parts.append(pictures.figure(charts.power_ups, result, item.channel))
        if item.warm_up is not None and item.warm_up.answer != NOT_SHOWN:
            parts.append(pictures.figure(charts.warm_up, result, item.channel))
        for make in (charts.unit_or_meter, charts.stimuli, charts.thresholds):
            parts.append(pictures.figure(make, result, item.channel))  # nothing where there is nothing to draw
        if any(finding.question == "noise" and finding.answer == YES for finding in item.findings):
            parts.append(pictures.figure(charts.allan, result, item.channel))
        whole.append(_folded(item, parts))
    parts = []
    if len(result.channels) > 1 and any(item.excursions for item in result.channels):
        parts.append(tag("h3", "Channels side by side"))
        parts.append(pictures.figure(charts.coincidence, result))
    return tag("section", whole, parts)


def worst_first(result: Assessment) -> list[ChannelAssessment]:
    """Channels in the order in which they want to be looked at."""
    from flicker.present.charts import ORDER

    rank: dict[str, int] = {DO_NOT_CONNECT: 0, WITHIN_LIMITS: 2}
    return sorted(
        result.channels, key=lambda item: (rank.get(item.fitness, 1), ORDER.index(item.verdict), -item.rate.episodes)
    )


def strip(
    pictures: Pictures,
    result: Assessment,
    item: ChannelAssessment,
    name: str,
    *,
    logs: Sequence[Log] = (),
    beside: Sequence[Assessment] = (),
) -> Markup | None:
    """The strip of a channel, with its episodes to step through; light where there is nothing to look at."""
    from flicker.present import charts

    places = charts.episode_places(result, item.channel, beside=beside)
    told = [[float(f"{begin:.8g}"), float(f"{end:.8g}")] for _, _, begin, end in places]
    attributes = {"id": name} | ({"data_episodes": json.dumps(told)} if told else {})
    rows = PAGE_ROWS if item.excursions else QUIET_ROWS
    options: dict[str, Any] = {"logs": list(logs), "beside": beside, "most_rows": rows, "attributes": attributes}
    return pictures.figure(charts.overview, result, item.channel, still=bool(item.excursions), **options)


def _folded(item: ChannelAssessment, parts: Sequence[Child]) -> Markup:
    """Pictures of a channel under its name; those of a quiet one are folded once they are drawn."""
    quiet = item.fitness == WITHIN_LIMITS and not item.excursions
    head = tag("h3", f"Channel {item.channel}: {item.verdict}" if quiet else f"Channel {item.channel}")
    return tag("details", tag("summary", head), parts, open="", data_quiet="" if quiet else None)


def findings(result: Assessment, *, heading: str = "Findings") -> Markup:
    """Every question with its answer and numbers."""
    parts: list[Child] = [
        tag("h2", heading),
        tag(
            "p",
            "'Yes' only where it is shown and large enough to matter; 'no' where it is shown to be within the limit; "
            "'not shown' where the log cannot tell.",
        ),
    ]
    for item in worst_first(result):
        rows = [
            (
                questions()[finding.question].asks,
                answer_cell(finding.answer),
                [finding_text(finding), tag("span", _numbers(finding), class_="small")],
            )
            for finding in item.findings
        ]
        parts.append(table(("question", "answer", "what the log says"), rows, caption=f"Channel {item.channel}"))
        if since_text(item.since):
            parts.append(tag("p", f"When {item.channel} swung at another rate: {since_text(item.since)}"))
        if item.swings_ahead is not None:
            parts.append(tag("p", item.swings_ahead.reads))
        if item.moves:
            parts.append(tag("p", f"Where the level of {item.channel} lay: {moves_text(item.moves)}"))
    return tag("section", parts, looking(result))


def looking(result: Assessment) -> list[Markup]:
    """Where the findings point, with the finding each line rests on; nothing where they point nowhere."""
    rows = [
        (item.channel, row.reads, row.rests_on.replace("_", " "))
        for item in worst_first(result)
        for row in item.worth_looking
    ]
    if not rows:
        return []
    parts = [
        tag("h3", "Worth looking at"),
        tag("p", f"No verdict: {SOURCE}. Each line names the finding it rests on."),
        table(("channel", "what was found, and where to look", "rests on"), rows),
    ]
    if any(row.inside for item in result.channels for row in item.worth_looking):
        parts.append(tag("p", INSIDE, class_="warn"))
    return parts


def by_ledger(result: Assessment) -> Markup:
    """Each channel among those of its model in earlier jobs; nothing where no ledger was given."""
    if not result.ledger:
        return Markup("")
    rows = [(item.channel, item.reads) for item in result.ledger]
    return tag("section", tag("h2", "Among its like"), table(("channel", "what the ledger holds"), rows),
               tag("p", "Counts of jobs in the shop's own ledger, no forecast and no verdict.", class_="sub"))  # fmt: skip


def beside_outputs(result: Assessment) -> Markup:
    """Columns that are no outputs, and what they share with those; nothing where there are none."""
    if not result.companions:
        return Markup("")
    names = {item.name for item in result.companions}
    pairs = (result.coincidence or {}).get("pairs", [])
    together = [p["reads"] for p in pairs if p["answer"] != NOT_SHOWN and len({p["a"], p["b"]} & names) == 1]
    parts: list[Child] = [tag("h2", "Beside the outputs")]
    rows = [
        (
            item.name,
            item.role,
            _level(item.level, item.role),
            "" if item.low is None else f"{_level(item.low, item.role)} to {_level(item.high, item.role)}",
            "" if item.role == "temperature" else f"{item.episodes} in {hours_text(item.observed_s / 3600.0)}",
        )
        for item in result.companions
    ]
    parts.append(tag("p", "Logged with the outputs and asked only what it says of them; it gets no verdict."))
    parts.append(table(("column", "what it is", "rests at", "lowest to highest", "episodes"), rows, labels=True))
    parts.extend(tag("p", sentence) for sentence in together)
    return tag("section", parts)


def _level(value: float | None, role: str) -> str:
    """A level of a column that is no output, to the microvolt."""
    if value is None:
        return ""
    if role == "temperature":
        return f"{digits_text(value, 4)} degrees"
    value = round(value, 6) + 0.0
    return f"{digits_text(value, 4)} V" if abs(value) >= 1.0 else f"{millivolts_text(value)}"


def answer_cell(answer: str) -> Markup:
    """The answer with a mark that does not hang on colour: full, empty or dotted circle."""
    kind = {YES: "yes", NO: "no"}.get(Answer(answer), "open")
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
    if unit != "V" and 0.0 < value < 1e-3:
        return "below 0.001"
    return f"{digits_text(value * 1e3, 3)}" if unit == "V" else f"{digits_text(value, 3)}"


def _unit(unit: str) -> str:
    return "mV" if unit == "V" else unit


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
        when = date_text(part.start, clock=True) if part.start is not None else "not told by the log"
        length, covered = hours_text(part.duration_s / 3600), hours_text(part.observed_s / 3600)
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


def date_text(when: datetime, *, clock: bool = False) -> str:
    """A date as people write it, without a word that depends on the machine's language."""
    day = f"{when.day} {MONTHS[when.month - 1]} {when.year}"
    return f"{day}, {when:%H:%M:%S}" if clock else day


def close(cautions: Sequence[str]) -> Markup:
    """What ends every page: cautions, words, version."""
    return render("close.html", cautions=cautions, glossary=GLOSSARY, version=__version__)
