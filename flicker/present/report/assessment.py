"""The page of an assessment: verdict first, then the evidence and every finding, then how it was reckoned and from what."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Sequence
from typing import Any

from flicker.base.formats import (
    clock_text,
    digits_text,
    hours_text,
    lasting_text,
    millivolts_text,
    p_text,
    seconds_text,
    share_text,
)
from flicker.base.units import HOUR
from flicker.evidence.assessment import SAFETY, Assessment
from flicker.evidence.channel import ChannelAssessment
from flicker.evidence.findings import NOT_SHOWN, YES, Finding
from flicker.evidence.located.moves import moves_text
from flicker.evidence.located.rate_changed import since_text
from flicker.evidence.questions.registry import questions
from flicker.evidence.verdict import DO_NOT_CONNECT, WITHIN_LIMITS
from flicker.evidence.worth_looking import INSIDE, SOURCE
from flicker.logs.model import Log
from flicker.present.envelope import logs_of_runs
from flicker.present.report.evening import strip_names
from flicker.present.report.parts import (
    LIMITS,
    Child,
    Markup,
    answer_cell,
    bullets,
    close,
    date_text,
    dates_text,
    facts,
    how_sure,
    mast,
    number,
    render,
    table,
    tag,
    text,
    unit_text,
    verdict_card,
    what_next,
    worst_first,
)
from flicker.present.report.pictures import Pictures
from flicker.present.report.strips import evening
from flicker.present.said import files_text, finding_text, idle

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
    own = next(trace.run for trace in result.traces if trace.number == run)
    gaps: list[tuple[float, float, str, list[str]]] = [(gap.start_s, gap.end_s, gap.reason, ["all channels"]) for gap in own.gaps]
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
            if finding.answer != NOT_SHOWN or finding.question not in idle(item.excursions_total)
        ]
        if not item.excursions_total:
            rows.append(("How do the swings come?", answer_cell(NOT_SHOWN), ["Nothing swung: there is nothing to ask."]))
        parts.append(table(("question", "answer", "what the log says"), rows, caption=f"Channel {item.channel}"))
        told = (
            since_text(item.since) and f"When {item.channel} swung at another rate: {since_text(item.since)}",
            item.swings_ahead and item.swings_ahead.reads,
            item.moves and f"Where the level of {item.channel} lay: {moves_text(item.moves)}",
        )
        parts += [tag("p", said) for said in told if said]
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
    pairs = () if result.coincidence is None else result.coincidence.pairs
    together = [pair.reads for pair in pairs if pair.answer != NOT_SHOWN and len({pair.a, pair.b} & names) == 1]
    parts: list[Child] = [tag("h2", "Beside the outputs")]
    rows = [
        (
            item.name,
            item.role,
            _level(item.level, item.role),
            "" if item.low is None else f"{_level(item.low, item.role)} to {_level(item.high, item.role)}",
            "" if item.role == "temperature" else f"{item.episodes} in {lasting_text(item.observed_s)}",
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


def _numbers(finding: Finding) -> str:
    effect = limit = chance = ""
    if finding.effect is not None:
        unit, low, high = finding.unit or "", finding.low, finding.high
        between = f" ({number(low, unit)} to {number(high, unit)})" if low is not None and high is not None else ""
        effect = f"{number(finding.effect, unit)}{between} {unit_text(unit)}".rstrip()
    if finding.limit is not None and finding.unit:
        limit = f"limit {number(finding.limit, finding.unit)} {unit_text(finding.unit)}"
    if finding.p_value is not None:
        same = finding.p_adjusted is None or math.isclose(finding.p_adjusted, finding.p_value)
        corrected = "" if same else f", corrected {p_text(finding.p_adjusted)}"
        chance = f"p {p_text(finding.p_value)}{corrected}" + (f", {finding.sided}-sided" if finding.sided else "")
    return " · ".join(said for said in (effect, limit, chance, finding.method) if said)


FEW_CARDS = 4  # channels whose cards fit a screen or two; a choice
PAGE_ROWS, QUIET_ROWS = 1400, 450  # of a strip: half a page's weight goes there; no swing is lost by fewer


def assessment_page(result: Assessment, pictures: Pictures, logs: Sequence[Log]) -> tuple[str, Markup]:
    """Title and body of the page."""
    names = list(dict.fromkeys(run.source for run in result.runs))
    title = files_text(names)
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
    dates = dates_text(run.start for run in result.runs if run.start is not None)
    observed = max((item.observed_s for item in result.channels), default=0.0) / HOUR
    runs = "1 run" if len(result.runs) == 1 else f"{len(result.runs)} runs"
    return mast(
        f"What the {'log shows' if count == 1 else 'logs show'}",
        f"{title}: {runs}{f', {dates}' if dates else ''}, {hours_text(observed)} observed.",
    )


def _one_line_each(result: Assessment) -> Markup:
    """For each channel whether a loudspeaker may be connected, and why: the first lines of the terminal."""
    from flicker.present.terminal.assessment import answer

    rows = [(item.channel, answer(item).plain) for item in worst_first(result)]
    return tag("section", tag("h2", "May a loudspeaker be connected?"), table(("channel", "answer"), rows))


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
        parts: list[Child] = [strip(pictures, result, item, named[item.channel], logs=logs, beside=beside)]
        if item.excursions:
            parts.append(pictures.figure(charts.episodes, result, item.channel, logs=logs))
        many, asked = item.rate.episodes, {finding.question for finding in item.findings if finding.answer == YES}
        wanted = (  # of the rest nothing is drawn where there is nothing to draw
            (charts.cumulative, many >= 3),
            (charts.sizes, many >= 3),
            (charts.swings_ahead, item.swings_ahead is not None),
            (charts.gaps, many >= 8),
            (charts.rates, len(result.runs) > 1 or bool(since_text(item.since))),
            (charts.mean_cumulative, item.mean_count is not None),
            (charts.settled, True),
            (charts.power_ups, True),
            (charts.warm_up, item.warm_up is not None and item.warm_up.answer != NOT_SHOWN),
            (charts.unit_or_meter, True),
            (charts.stimuli, True),
            (charts.thresholds, True),
            (charts.allan, "noise" in asked),
        )
        parts += [pictures.figure(make, result, item.channel) for make, worth in wanted if worth]
        whole.append(_folded(item, parts))
    parts = []
    if len(result.channels) > 1 and any(item.excursions for item in result.channels):
        parts.append(tag("h3", "Channels side by side"))
        parts.append(pictures.figure(charts.coincidence, result))
    return tag("section", whole, parts)


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
