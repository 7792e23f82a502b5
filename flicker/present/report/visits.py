"""The page of a unit over visits: is it worse than in spring, where does it go, and how far that can be believed."""

from __future__ import annotations

from collections.abc import Sequence

from flicker.base.formats import count_text, digits_text, lasting_text, millivolts_text, p_text, share_text, volts_text
from flicker.evidence.findings import NOT_SHOWN, YES
from flicker.evidence.located.rate_changed import Way, since_text
from flicker.evidence.visits.visited import ChannelVisits, Visits
from flicker.logs.model import Log
from flicker.present.report.parts import (
    Child,
    Markup,
    answer_cell,
    card,
    close,
    date_text,
    facts,
    mast,
    number,
    render,
    table,
    tag,
    text,
)
from flicker.present.report.pictures import Pictures

ONCE = {Way.MORE: "worse", Way.LESS: "better"}
BACK = {Way.MORE: "better, then worse again", Way.LESS: "worse, then better again"}


def visits_page(result: Visits, pictures: Pictures, logs: Sequence[Log]) -> tuple[str, Markup]:
    """Title and body of the page."""
    count = len(result.visits)
    title = result.unit or "Unit not named"
    names = [visit_name(result, visit.number) for visit in result.visits]
    span = f": {names[0]} to {names[-1]}" if count > 1 else f": {names[0]}"
    parts: list[Child] = [
        mast("Is it getting worse?", f"{title}, {count_text(count, 'visit')}{span}."),
        tag("section", tag("h2", "Answer"), tag("div", [_card(item) for item in result.channels], class_="tags")),
        _first_and_last(result),
        tag("section", tag("h2", "Evidence"), [_channel(result, item, pictures) for item in result.channels]),
        render(
            "visits_method.html",
            confidence=f"{share_text(result.limits.confidence)}",
            hours_per_year=f"{result.hours_per_year:.0f}",
        ),
        close(result.cautions),
    ]
    return f"Visits: {title}", Markup(text(parts))


def _first_and_last(result: Visits) -> Markup | None:
    from flicker.present.report.strips import busiest_side_by_side

    made = result.assessments
    return busiest_side_by_side(("First visit", made[0]), ("Last visit", made[-1])) if len(made) > 1 else None


def visit_name(result: Visits, number_: int) -> str:
    """A visit by its date, else by its stages, else by its number."""
    visit = result.visits[number_]
    if visit.date is not None:
        return date_text(visit.date)
    return ", ".join(visit.stages) or f"visit {visit.number + 1}"


def _card(item: ChannelVisits) -> Markup:
    pairs = [
        ("Against a clearance", "; ".join(item.visits[-1].against)),
        ("When the rate changed", since_text(item.since)),
        ("Next visit", item.forecast_reads),
        ("Rate of concern", item.concern.reads if item.concern else ""),
        ("Level ahead", item.level_reads),
        ("A year ahead", item.year_reads),
    ]
    return card(f"{item.channel}: {change_word(item)}", item.reads, facts(pairs), fitness=item.visits[-1].fitness)


def change_word(item: ChannelVisits) -> str:
    """One word for the channel: worse before moved before better; a rate that changed between two visits is one, too.

    A change of the rate that undoes another is no 'worse' over all visits.
    """
    ways = {stretch.answer for stretch in item.since.stretches} if item.since else set()
    since = (BACK if {Way.MORE, Way.LESS} <= ways else ONCE).get(item.since.answer, "") if item.since else ""
    answers = (item.rate.answer, item.size.answer, since)
    moved = any(trend.answer == YES for trend in item.levels)
    if "worse" in answers:
        return "worse" + (", and its level at rest moved" if moved else "")
    if moved:
        return "moved"
    return since or ("better" if "better" in answers else "no change shown")


def _channel(result: Visits, item: ChannelVisits, pictures: Pictures) -> list[Child]:
    from flicker.present import charts

    rows = [
        (
            visit_name(result, row.visit),
            row.verdict,
            tag("td", f"{row.episodes} in {lasting_text(row.observed_s)}", class_="num"),
            tag("td", _rate(row.episodes, row.per_hour, row.low_per_hour, row.high_per_hour), class_="num"),
            tag("td", "-" if row.level_V is None else f"{millivolts_text(row.level_V)}", class_="num"),
            tag("td", "-" if row.sigma_V is None else f"{digits_text(row.sigma_V * 1e3)} mV", class_="num"),
            tag("td", "-" if row.surge_V is None else volts_text(row.surge_V), class_="num"),
        )
        for row in item.visits
    ]
    asked: list[tuple[Child, ...]] = [
        ("Does it come more often?", _answer(item.rate.answer), [item.rate.reads, _small(item.rate.p_value, item.rate.p_adjusted, item.rate.method)]),
        ("Do the swings get larger?", _answer(item.size.answer), [item.size.reads, _small(item.size.p_value, item.size.p_adjusted, item.size.method)]),
    ]  # fmt: skip
    asked += [
        (f"Does the {trend.quantity} move?", answer_cell(trend.answer), [trend.reads, _small(trend.p_value, None, trend.method)])
        for trend in item.levels
    ]  # fmt: skip
    heads = ("visit", "verdict of the day", "episodes", "per hour (interval)", "level", "noise", "surge")
    return [
        tag("h3", f"Channel {item.channel}"),
        pictures.figure(charts.visit_rates, result, item.channel, still=True),
        pictures.figure(charts.visit_mean_cumulative, result, item.channel),
        pictures.figure(charts.visit_levels, result, item.channel),
        table(heads, rows, caption=f"Channel {item.channel}, visit by visit"),
        table(("question", "answer", "what the visits say"), asked, caption=f"Channel {item.channel}, over all visits"),
    ]


def _answer(answer: str) -> Markup:
    return tag("td", tag("span", answer, class_=f"answer {'open' if answer == NOT_SHOWN else 'yes'}"))


def _rate(episodes: int, rate: float | None, low: float | None, high: float | None) -> str:
    if rate is not None and not episodes:
        return f"below {number(high)}"
    return "not observed" if rate is None else f"{digits_text(rate, 3)} ({number(low)} to {number(high)})"


def _small(p_value: float | None, p_adjusted: float | None, method: str) -> Markup:
    said = []
    if p_value is not None:
        corrected = "" if p_adjusted is None or p_adjusted == p_value else f", corrected {p_text(p_adjusted)}"
        said.append(f"p {p_text(p_value)}{corrected}")
    return tag("span", " · ".join([*said, method]), class_="small")
