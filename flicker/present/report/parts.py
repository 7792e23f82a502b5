"""What pages share: the head, the card of a channel, answers and numbers as they stand on paper, the foot."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from flicker._version import __version__
from flicker.base.formats import digits_text
from flicker.base.values import Answer, Fitness
from flicker.evidence.assessment import Assessment
from flicker.evidence.channel import ChannelAssessment
from flicker.evidence.findings import NO, YES
from flicker.evidence.verdict import DO_NOT_CONNECT, WITHIN_LIMITS
from flicker.present.report.markup import Child, Markup, tag, text
from flicker.present.report.templates import render
from flicker.present.report.words import GLOSSARY
from flicker.present.said import MONTHS, against_text, fitness_text


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
    against = against_text(item.against, item.reads)
    small = (*([f"Against a clearance: {against}."] if against else []), item.guard.reads, item.not_excluded)
    return card(f"{item.channel}: {item.verdict}", item.reads, *more, fitness=item.fitness, tail=item.tail, small=small)


def card(head: str, reads: str, *more: Child, fitness: str | None, tail: str = "", small: Sequence[str] = ()) -> Markup:
    """What is said of one channel under its fitness, which is printed before everything else."""
    mood = {DO_NOT_CONNECT: "alarm", WITHIN_LIMITS: "calm"}.get(Fitness(fitness), "") if fitness else ""
    said = fitness_text(fitness) if fitness else ""
    return render(
        "card.html", fitness=said, mood=mood, head=head, tail=tail, reads=reads, small=small, more=Markup(text(more))
    )


def answer_cell(answer: str) -> Markup:
    """The answer with a mark that does not hang on colour: full, empty or dotted circle."""
    kind = {YES: "yes", NO: "no"}.get(Answer(answer), "open")
    return tag("td", tag("span", answer, class_=f"answer {kind}"))


def number(value: float | None, unit: str = "") -> str:
    """A number of the evidence; volts as millivolts."""
    if value is None or not math.isfinite(value):
        return "unbounded"
    if unit != "V" and 0.0 < value < 1e-3:
        return "below 0.001"
    return f"{digits_text(value * 1e3, 3)}" if unit == "V" else f"{digits_text(value, 3)}"


def unit_text(unit: str) -> str:
    """The unit in which `number` stands: millivolts for volts."""
    return "mV" if unit == "V" else unit


def date_text(when: date) -> str:
    """A date as people write it, without a word that depends on the machine's language."""
    return f"{when.day} {MONTHS[when.month - 1]} {when.year}"


def dates_text(when: Iterable[date]) -> str:
    """From the first to the last of some dates, once where they are the same; empty where there is none."""
    days = list(when)
    return " to ".join(dict.fromkeys(date_text(day) for day in (min(days), max(days)))) if days else ""


def document_of(result: Any) -> Any:
    """The document of a result; what is one already stays."""
    return result.to_dict() if hasattr(result, "to_dict") else result


def worst_first(result: Assessment) -> list[ChannelAssessment]:
    """Channels in the order in which they want to be looked at."""
    from flicker.present.charts import ORDER

    rank: dict[str, int] = {DO_NOT_CONNECT: 0, WITHIN_LIMITS: 2}
    return sorted(
        result.channels, key=lambda item: (rank.get(item.fitness, 1), ORDER.index(item.verdict), -item.rate.episodes)
    )


def close(cautions: Sequence[str]) -> Markup:
    """What ends every page: cautions, words, version."""
    return render("close.html", cautions=cautions, glossary=GLOSSARY, version=__version__)
