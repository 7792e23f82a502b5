"""The pages of a comparison and of a soak plan, from their documents."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from flicker.base.formats import count_text, hours_text, p_text, power_ups_text, share_text, volts_text
from flicker.base.values import Aspect
from flicker.evidence.assessment import SAFETY
from flicker.evidence.compare.compared import clean_power_ups_text
from flicker.evidence.compare.weighing import NO_CHANGE
from flicker.logs.model import Log
from flicker.present.report.assessment import sources
from flicker.present.report.parts import (
    CURED,
    Child,
    Markup,
    bullets,
    card,
    close,
    document_of,
    facts,
    mast,
    number,
    table,
    tag,
    text,
    worst_first,
)
from flicker.present.report.pictures import Pictures
from flicker.present.said import SWINGS, outcome_text, rate_name, soak_steps

COMPARED = {
    "ratio": "{rate}, after over before",
    "noise_ratio": "noise after over noise before",
    "level_shift_V": "shift of the level at rest",
    "size_change": "size of the swings",
}


def comparison_page(result: Any, pictures: Pictures, logs: Sequence[Log]) -> tuple[str, Markup]:
    """Title and body of the page of a comparison."""
    from flicker.present import charts

    told = document_of(result)
    parts: list[Child] = [mast("Before and after", "Did the repair change anything, and is the fault gone?")]
    steps = list(told.get("steps") or [told])
    if len(steps) > 1:
        steps.insert(0, told["whole"])  # what became of the fault from first to last, before each step towards it
    for place, step in enumerate(steps):
        names = " to ".join(step.get("stages") or ("before", "after"))
        cards = [compared_card(item) for item in step["channels"]]
        head = f"Over all: {names}" if place == 0 and len(steps) > 1 else f"From {names}"
        parts.append(tag("section", tag("h2", head), tag("div", cards, class_="tags")))
        if place == 0 and told.get("credits"):
            parts.append(bullets(str(credit["reads"]) for credit in told["credits"]))
        if place == 0:
            parts.append(_first_and_last(getattr(result, "whole", result)))
    parts.append(tag("h2", "Evidence"))
    whole = getattr(result, "whole", result)
    sides = [getattr(whole, f"{side}_assessment", None) for side in ("before", "after")]
    logged = whole.channels if all(side is not None for side in sides) else ()
    for item in logged:
        if item.aspect not in SWINGS:  # the chart that decides comes first
            parts.append(pictures.figure(charts.levels_compared, whole, item.channel))
    for step in steps:
        if len(steps) > 1:
            parts.append(tag("h3", f"From {' to '.join(step['stages'])}"))
        parts.extend((pictures.figure(charts.before_after, step, still=True), _numbers(step)))
    for item in logged:
        parts.append(pictures.figure(charts.power_up_rates_compared, whole, item.channel))
        parts.append(pictures.figure(charts.mean_cumulative_compared, whole, item.channel))
    read: list[Child] = []
    for at, judged in enumerate(sides):
        if judged is not None:
            other = sides[1 - at]
            name = (whole.before, whole.after)[at]
            parts.append(_side(name, f"side-{at + 1}", judged, pictures, logs, () if other is None else (other,)))
            read.append(sources(judged, logs, stage=name, explained=at == 1))
    parts += read
    last = [(item["channel"], (item.get("after") or {}).get("against") or ()) for item in steps[-1]["channels"]]
    open_ = [f"{name}: against a clearance: {'; '.join(against)}." for name, against in last if against]
    parts.append(close([*open_, *(told.get("cautions") or [SAFETY])]))
    return "Before and after", Markup(text(parts))


def _first_and_last(whole: Any) -> Markup | None:
    """The busiest evening before and the busiest after, on one scale."""
    from flicker.present.report.strips import busiest_side_by_side

    before, after = (getattr(whole, f"{side}_assessment", None) for side in ("before", "after"))
    if before is None or after is None:
        return None
    return busiest_side_by_side((whole.before.capitalize(), before), (whole.after.capitalize(), after))


def compared_card(item: Mapping[str, Any]) -> Markup:
    """Outcome of one channel: fitness after, the word, the sentence, whether it is cured."""
    hours, starts = item.get("clean_hours_needed"), item.get("cold_starts_needed")
    also = f" (or {starts} cold starts)" if starts else ""
    after = item.get("after") or {}
    again = bool(after.get("episodes"))  # what was clean before a swing no longer counts
    needed = clean_power_ups_text(float(hours or 0.0), item.get("power_ups_needed"), "" if again else " more")
    pairs = [
        ("Cured", CURED.get(str(item["cured"]), str(item["cured"])) if item.get("cured") else ""),
        ("What next", f"{'Begin anew: log' if again else 'Log'} {needed}{also} without an episode." if hours else ""),
        *(
            (str(found["aspect"]), str(found["outcome"]))
            for found in item["aspects"]
            if found["outcome"] != NO_CHANGE and found["aspect"] != item["aspect"]
        ),
    ]
    head = f"{item['channel']}: {outcome_text(str(item['outcome']), str(item['aspect']))}"
    return card(head, str(item.get("reads", "")), facts(pairs), fitness=after.get("fitness"))


def _numbers(told: Mapping[str, Any]) -> Markup:
    rows = []
    for item in told["channels"]:
        rate = rate_name(item["aspects"][0]["aspect"] if item["aspects"] else Aspect.EPISODES)
        for key, name in COMPARED.items():
            found = item.get(key)
            if isinstance(found, Mapping):
                rows.append((f"{item['channel']}: {name.format(rate=rate)}", tag("td", _between(found, key), class_="num"), _how(found)))
    return table(("quantity", "estimate (interval)", "method"), rows, caption="Numbers") if rows else Markup("")


def _between(found: Mapping[str, Any], key: str) -> str:
    def told(value: float | None) -> str:
        return volts_text(value) if key.endswith("_V") and value is not None else number(value)

    estimate = next(
        (found[name] for name in ("estimate", "ratio", "shift_V", "value") if found.get(name) is not None), None
    )
    if estimate is None:
        return "cannot be told"
    said = told(float(estimate))
    if found.get("low") is not None or found.get("high") is not None:
        said += f" ({told(found.get('low'))} to {told(found.get('high'))})"
    return said


def _how(found: Mapping[str, Any]) -> str:
    p_value = found.get("p_value")
    chance = "" if p_value is None else f"p {p_text(float(p_value))}"
    return " · ".join(str(said) for said in (found.get("reads"), chance, found.get("note"), found.get("method")) if said)


def _side(
    name: str, prefix: str, judged: Any, pictures: Pictures, logs: Sequence[Log], beside: Sequence[Any]
) -> Markup:
    """One side: each channel's strip on the scale of both, and its episodes."""
    from flicker.present import charts
    from flicker.present.report.assessment import strip
    from flicker.present.report.evening import strip_names

    parts: list[Child] = [tag("h2", name.capitalize())]
    named = strip_names(judged, prefix)
    for item in worst_first(judged):
        drawn = strip(pictures, judged, item, named[item.channel], logs=logs, beside=beside)
        head = tag("h3", f"Channel {item.channel}, {name}")
        parts.append(tag("div", head, tag("p", item.reads), drawn, class_="keep"))
        if item.excursions:
            parts.append(pictures.figure(charts.episodes, judged, item.channel, logs=logs))
    return tag("section", parts)


def _to_show_it_gone(told: Mapping[str, Any]) -> Markup:
    """The plan that shows *this* fault gone; a general rate only where that was asked for."""
    rows = [(str(part["fall"]), str(part["reads"])) for part in told.get("comparison") or ()]
    return table(("if the repair made it", "what to log"), rows, caption="What shows that the repair helped") if rows else Markup("")


def _demonstrated(told: Mapping[str, Any]) -> Markup:
    rows = [
        (
            f"{int(row['allowed'])}",
            tag("td", f"{number(float(row['max_rate_per_h']))} per hour", class_="num"),
            tag("td", hours_text(float(row["hours"])), class_="num"),
        )
        for row in told.get("demonstrate") or ()
    ]
    heads = ("episodes allowed", "excludes more than", "observed time")
    return table(heads, rows, caption="To show it gone after a repair") if rows else Markup("")


def soak_page(result: Any, pictures: Pictures, logs: Sequence[Log]) -> tuple[str, Markup]:
    """Title and body of the page of a soak plan."""
    from flicker.present import charts

    told = document_of(result)
    hours = told.get("hours")
    steps = soak_steps((row["hours"], row["confidence"]) for row in told.get("table") or ())
    needed, starts = told.get("power_ups_needed"), told.get("power_ups")
    if needed:
        heading = f"Soak for {power_ups_text(needed['power_ups'], needed['each_h'])}"
    elif starts and not steps:
        heading = f"Soak for {count_text(starts['power_ups'], 'cold start')}"
    else:
        heading = "How long to soak" if hours is None else f"Soak for {hours_text(float(hours))}"
    rows = [(share_text(chance), tag("td", hours_text(span), class_="num")) for span, chance in steps]
    share, known, rate = told.get("detectable_share"), told.get("hours_if_rate_known"), told.get("rate") or {}
    between = ""
    if rate.get("low_per_hour") is not None:
        between = f", between {number(rate.get('low_per_hour'))} and {number(rate.get('high_per_hour'))}"
    made_from = "" if rate.get("per_hour") is None else f"{number(float(rate['per_hour']))} per hour{between}"
    pairs = [
        ("Share of episodes the meter can see", "" if share is None else share_text(float(share))),
        ("Rate it is made from", made_from),
        ("If that rate were certain", "" if known is None else f"{hours_text(float(known))} would do"),
    ]
    body = [
        mast(heading, "A plan; it starts nothing."),
        tag(
            "section",
            tag("h2", "Plan"),
            tag(
                "div",
                tag("p", str(told.get("reads", ""))),
                facts(pairs, class_="facts"),
                class_="tag",
            ),
        ),
        tag(
            "section",
            tag("h2", "Evidence"),
            pictures.figure(charts.soak, told, still=True),
            table(("confidence", "soak"), rows),
        )
        if rows
        else None,
        _demonstrated(told)
        if told.get("kind") == "demonstrate" or not told.get("comparison")
        else _to_show_it_gone(told),
        close(list(told.get("cautions") or [SAFETY])),
    ]
    return heading, Markup(text(body))
