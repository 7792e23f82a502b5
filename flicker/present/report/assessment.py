"""The page of an assessment: verdict first, then the evidence, then how it was reckoned."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from flicker.base.formats import hours_text
from flicker.base.units import HOUR
from flicker.evidence.assessment import SAFETY, Assessment
from flicker.evidence.channel import ChannelAssessment
from flicker.evidence.findings import NOT_SHOWN, YES
from flicker.evidence.located.rate_changed import since_text
from flicker.evidence.verdict import DO_NOT_CONNECT, WITHIN_LIMITS
from flicker.logs.model import Log
from flicker.present.report.evening import strip_names
from flicker.present.report.findings import beside_outputs, by_ledger, findings
from flicker.present.report.markup import Child, Markup, facts, table, tag, text
from flicker.present.report.parts import close, dates_text, mast, verdict_card, worst_first
from flicker.present.report.sources import method, sources
from flicker.present.report.strips import evening
from flicker.present.report.words import how_sure, what_next

if TYPE_CHECKING:
    from flicker.present.report.pictures import Pictures

FEW_CARDS = 4  # channels whose cards fit a screen or two; a choice
PAGE_ROWS, QUIET_ROWS = 1400, 450  # of a strip: half a page's weight goes there; no swing is lost by fewer


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
