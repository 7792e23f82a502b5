"""What pages are made of: escaped text and templates, words that no result carries, and the parts that all pages share.

Text is escaped where it enters; only what `tag` or a template made passes as it is.
"""

from __future__ import annotations

import html
import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from functools import lru_cache
from typing import TYPE_CHECKING, Any, TypeAlias

from flicker._version import __version__
from flicker.base.formats import digits_text, once_text, share_text
from flicker.base.limits import Limits
from flicker.base.values import Answer, Fitness, VerdictWord
from flicker.evidence.assessment import Assessment
from flicker.evidence.channel import ChannelAssessment
from flicker.evidence.findings import NO, YES
from flicker.evidence.located.moves import MONTHS
from flicker.evidence.verdict import DANGER, DO_NOT_CONNECT, ORDER, WITHIN_LIMITS
from flicker.present.said import against_text, fitness_text

if TYPE_CHECKING:
    from jinja2 import Environment

class Markup(str):
    """HTML that was made here, not text from outside."""

    __slots__ = ()

    def __html__(self) -> str:
        """Tell a template that this needs no escaping."""
        return str(self)


Child: TypeAlias = "str | Markup | Iterable[Child] | None"

VOID = frozenset({"img", "br"})
# Marks of direction: one in a name turns what follows it.
TURNS = dict.fromkeys((*range(0x202A, 0x202F), *range(0x2066, 0x206A)))


def text(child: Child) -> str:
    """HTML of a child: text escaped, markup as it is, sequences one after the other."""
    if child is None:
        return ""
    if isinstance(child, Markup):
        return str(child)
    if isinstance(child, str):
        return html.escape(child, quote=True)
    return "".join(text(item) for item in child)


def tag(name: str, *children: Child, **attributes: str | None) -> Markup:
    """Make an element; a trailing underscore of an attribute is dropped, inner ones become hyphens."""
    said = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{html.escape(value, quote=True)}"'
        for key, value in attributes.items()
        if value is not None
    )
    if name in VOID:
        return Markup(f"<{name}{said}>")
    return Markup(f"<{name}{said}>{''.join(text(child) for child in children)}</{name}>\n")


def table(
    head: Iterable[str],
    rows: Iterable[Iterable[Child]],
    *,
    caption: str | None = None,
    labels: bool = False,
    attributes: Sequence[Mapping[str, str]] = (),
) -> Markup:
    """Make a table whose rows begin with a header cell; on a phone its rows become blocks, with labels if asked.

    ``attributes`` are those of the rows, in order.
    """
    columns = list(head)
    body = []
    for number, row in enumerate(rows):
        first, *rest = row
        names: list[str | None] = [*columns[1:]] if labels else [None] * len(rest)
        cells = [
            item if isinstance(item, Markup) and item.startswith("<td") else tag("td", item, data_label=name if item else None)
            for item, name in zip(rest, names, strict=True)
        ]
        own = attributes[number] if number < len(attributes) else {}
        body.append(tag("tr", tag("th", first, scope="row"), cells, **own))
    return tag(
        "table",
        tag("caption", caption) if caption else None,
        tag("thead", tag("tr", [tag("th", item, scope="col") for item in columns])),
        tag("tbody", body),
        class_="stack",
    )


def bullets(items: Iterable[Child]) -> Markup | None:
    """Make a list, or nothing where there is nothing to list."""
    made = [tag("li", item) for item in items]
    return tag("ul", made) if made else None


def facts(pairs: Iterable[tuple[str, Child]], *, class_: str | None = None) -> Markup | None:
    """Make a list of names and what is to be said of each, without those of which nothing is; None where none is left."""
    made = [[tag("dt", name), tag("dd", said)] for name, said in pairs if said]
    return tag("dl", made, class_=class_) if made else None


@lru_cache(maxsize=1)
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader("flicker.present", "_page"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


def render(name: str, **values: Any) -> Markup:
    """Fill a template of the folder ``_page``; a name that it needs and does not get is an error."""
    return Markup(_environment().get_template(name).render(**values))


MEND = "Find and mend the cause, then log again."
FIRST = {
    "steady": "No fault to mend was seen.",
    "one-off": "Log longer before anything is replaced.",
    "inconclusive": "Log longer.",
    "noisy": MEND,
    "drifting": MEND,
    "degrading": MEND,
}
UNSURE = {
    "inconclusive": "Not sure: too little was observed to tell a sound channel from a bad one.",
    "one-off": "That it happened is certain. That it comes back, or stays away, is not shown.",
}
CURED = {"shown": "shown", "not yet": "not yet shown", "no": "no, the fault is still there"}
ASSUMED = "assumed, not measured on this unit"
LIMITS = {
    "settled_offset_V": "a level at rest beyond this is a finding of its own",
    "excursion_V": "a swing counts from this distance to the baseline on; noise may raise it",
    "drift_V": "movement of the level at rest that matters",
    "wander_V": "movement that returns, or that all channels share, and still matters",
    "noise_V": "robust sigma at rest that matters",
    "episode_rate_per_h": "rate of concern: 'steady' must have excluded it",
    "nuisance_rate_per_h": "what a sound unit in a sound room may show",
    "dead_time_s": "swings closer than this are one episode",
    "long_episode_s": "an episode longer than this is evidence of its own",
    "episode_share": "so is a larger share of the observed time",
    "baseline_follow_s": "the baseline follows nothing faster than this",
    "surge_V": "a start beyond this is abnormal",
    "settle_s": "so is one that takes longer to settle",
    "settle_band_V": "settled means this near to the final level",
    "cold_after_s": "off this long makes the next start a cold one",
    "warm_up_s": "counted apart as warm-up",
    "protection_V": f"threshold of the protection relay: {ASSUMED}",
    "trip_delay_s": f"delay until it opens: {ASSUMED}",
    "release_V": f"threshold below which it may close: {ASSUMED}",
    "reconnect_s": f"delay until it closes: {ASSUMED}",
    "power_up_scatter": "how much power-ups of one unit may differ by themselves, as a share of their rate",
    "danger_V": "a level at rest beyond this is a danger to a loudspeaker",
    "recover_s": "readings so soon after over-range give no peak",
    "confidence": "of every interval and decision",
}

GLOSSARY = (
    ("log", "a file with readings of a meter on the outputs"),
    ("run", "one power-up of the unit, from switching on to switching off or the end of the log"),
    ("visit", "a date on which logs were taken"),
    ("stage", "the time between two changes to the unit: as received, reseated only, part replaced"),
    ("baseline", "where a channel rests, followed slowly"),
    ("excursion", "a swing away from the baseline, beyond the threshold"),
    ("episode", "one excursion, or several that follow each other closely"),
    ("observed time", "only the time in which an excursion could have been seen"),
    ("fitness", "whether a loudspeaker may hang on the channel; decided by volts, before anything else"),
    ("steady", "no episode, and long enough observed to have seen the rate of concern"),
    ("one-off", "seen, but not shown to come back; not proved gone"),
    ("noisy", "comes and goes again and again, or restless all the time"),
    ("drifting", "the level at rest moves more than it may"),
    ("degrading", "more often or larger as time goes on, shown"),
    ("inconclusive", "too little observed to say any of these"),
    ("cured", "none seen, less than before shown, and the rate of the complaint excluded; 'improved' alone is less"),
    ("not comparable", "logged under other conditions, so that a difference says nothing about the unit"),
    ("yes / no / not shown", "shown beyond the limit / shown to be within it / the log cannot tell"),
    ("p", "how often chance alone would look like this; 'corrected' where several questions were put at once"),
    ("95 % interval", "made by a rule that catches the true value in 95 of 100 such logs"),
)


def sure_text(p_value: float) -> str:
    """How sure a claim with that chance of a false alarm is, in words and as a frequency."""
    word = "Very sure" if p_value < 0.001 else "Sure" if p_value < 0.01 else "Fairly sure"
    if p_value < 1e-6:
        return f"{word}: of a million channels without this fault, fewer than one would look so by chance."
    many = float(f"{1.0 / p_value:.2g}")
    return f"{word}: of {many:,.0f} channels without this fault, about one would look so by chance."


def how_sure(item: ChannelAssessment, limits: Limits) -> str:
    """How sure the verdict on a channel is, in one sentence."""
    word = item.verdict
    seen = {finding.question: finding for finding in item.findings}
    if word == "steady":
        upper = item.rate.steady_upper_per_h
        if upper is None:
            return "Nothing beyond the limits was seen."
        return (
            f"A fault that comes {once_text(upper)} or more often would have been seen, with {share_text(limits.confidence)} "
            "confidence; a rarer one may have been missed."
        )
    if word in UNSURE:
        return UNSURE[word]
    asked = {
        "degrading": ("larger with age", "worse with age", "larger", "more often"),
        "drifting": ("drift", "level change"),
        "noisy": ("intermittent", "noise"),
    }[word]
    shown = [seen[name] for name in asked if name in seen and seen[name].answer == YES]
    chances = [finding.p_adjusted for finding in shown if finding.p_adjusted is not None]
    if chances:
        return sure_text(min(chances))
    return "Seen directly in the readings; chance has no part in it."


def first_step(item: ChannelAssessment) -> str:
    """What to do first about a channel, in one or two sentences."""
    if item.fitness == DO_NOT_CONNECT:
        return f"Leave loudspeakers off this channel. {MEND}"
    return FIRST[item.verdict]


def what_next(item: ChannelAssessment) -> str:
    """What to do about a channel, in one or two sentences."""
    return f"{first_step(item)} {item.next.reads}"


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
    return sorted(
        result.channels,
        key=lambda item: (
            DANGER.index(Fitness(item.fitness)), ORDER.index(VerdictWord(item.verdict)), -item.rate.episodes
        ),
    )


def close(cautions: Sequence[str]) -> Markup:
    """What ends every page: cautions, words, version."""
    return render("close.html", cautions=cautions, glossary=GLOSSARY, version=__version__)
