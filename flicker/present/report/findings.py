"""What was found: every question with its answer, where to look, its like in the ledger, what was logged beside the outputs."""

from __future__ import annotations

import math

from flicker.base.formats import digits_text, lasting_text, millivolts_text, p_text
from flicker.evidence.assessment import Assessment
from flicker.evidence.findings import NOT_SHOWN, Finding
from flicker.evidence.located.moves import moves_text
from flicker.evidence.located.rate_changed import since_text
from flicker.evidence.questions.registry import questions
from flicker.evidence.worth_looking import INSIDE, SOURCE
from flicker.present.report.markup import Child, Markup, table, tag
from flicker.present.report.parts import answer_cell, number, unit_text, worst_first
from flicker.present.said import finding_text, idle


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
    pairs = (result.coincidence or {}).get("pairs", [])
    together = [p["reads"] for p in pairs if p["answer"] != NOT_SHOWN and len({p["a"], p["b"]} & names) == 1]
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
