"""The rate of a channel as a picture: of each power-up with what is fitted through them, in steps within one, or by phase."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Any

import altair as alt
import numpy as np

from flicker.base.formats import digits_text, hours_text, lasting_text, share_text
from flicker.base.limits import Limits
from flicker.base.units import HOUR
from flicker.base.values import Aspect
from flicker.evidence.assessment import Assessment
from flicker.evidence.channel import ChannelAssessment
from flicker.evidence.compare.stages import Comparison
from flicker.evidence.compare.weighing import NO_CHANGE
from flicker.evidence.findings import YES
from flicker.evidence.located.power_up_rates import PowerUpRates, growth_rates, step_rates, stepped_rates
from flicker.evidence.located.rate_changed import Over, since_text
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.evidence.record.power_up_counts import counts_of
from flicker.present import palette
from flicker.present.charts import _frame as frame
from flicker.present.charts._frame import NothingToDraw, values
from flicker.present.said import clean_limit, swings_text

MOST_SAID = 24  # power-ups beyond which the counts no longer fit above the bars: a choice
RATE = "episodes per observed hour"
BAR = 13.0  # width of the bar of scatter, pixels at most: a choice


def power_up_rates(assessment: Assessment, channel: str | None = None) -> Any:
    """Draw the rate of each power-up with its exact interval, the growth through them, and the scatter allowed.

    Raises
    ------
    NothingToDraw
        If fewer than two power-ups were observed, or there is no channel of that name.
    """
    item = frame.pick(assessment, channel)
    limits = assessment.limits
    counts = counts_of(frame.record_of(assessment, item.channel))
    if counts.power_ups < 2:
        raise NothingToDraw(f"channel {item.channel} was observed in one power-up; nothing can be set beside it")
    finding = item.finding("worse with age")
    told, borders = growth_rates(counts, limits, finding), None
    steps = item.since.stretches if item.since is not None and item.since.over == Over.POWER_UPS else ()
    if steps and finding.answer != YES and steps[0].per_hour is not None:
        borders = [row.unit for row in steps[1:] if row.unit is not None]
        told = stepped_rates(counts, borders, [row.per_hour or 0.0 for row in steps], limits)
    colour = frame.colour_of(assessment, item.channel)
    names = [f"power-up {k + 1}" for k in range(counts.power_ups)]
    chart = _picture(told, names, [colour] * len(names), "power-up (number)", limits, steps_at=borders)
    if not counts.episodes.any():
        caption = f"{item.channel}: no episode in {counts.power_ups} power-ups."
    else:
        caption = f"{item.channel}: {since_text(item.since) if borders else finding.reads}"
    return frame.finish(chart, caption, bars_note(told, "power-up", limits))


def power_up_rates_compared(comparison: Comparison, channel: str | None = None) -> Any:
    """Draw the rate of each power-up before and after, the step between them, and the scatter that the change allows.

    Raises
    ------
    NothingToDraw
        If nothing was observed of the channel on one side.
    ValueError
        If there is no channel of that name.
    """
    sides, name = frame.both_sides(comparison, channel)
    before, after = (counts_of(frame.record_of(side, name)) for side in sides)
    if not (before.power_ups and after.power_ups):
        raise NothingToDraw(f"nothing was observed of channel {name} on one side")
    item = comparison.channel(name)
    shown = item.outcome != NO_CHANGE and item.aspect == Aspect.EPISODES
    ratio = item.episode_ratio
    told = step_rates(before, after, ratio.scatter, ratio.holds_up_to_scatter, shown, comparison.limits)
    stages = [frame.label(comparison.before)] * before.power_ups + [frame.label(comparison.after)] * after.power_ups
    numbers = [*range(1, before.power_ups + 1), *range(1, after.power_ups + 1)]
    colours = [palette.BRASS] * before.power_ups + [palette.PETROL] * after.power_ups
    names = [f"{stage}, power-up {k}" for stage, k in zip(stages, numbers, strict=True)]
    title = f"power-up (number): {stages[0]} 1 to {before.power_ups}, {stages[-1]} from {before.power_ups + 1}"
    chart = _picture(told, names, colours, title, comparison.limits, steps_at=[before.power_ups])
    high = digits_text(ratio.high) if math.isfinite(ratio.high) else "any value"
    said = (
        ""
        if ratio.estimate is None
        else f" At most {high} of the rate of episodes before."
        if ratio.estimate == 0.0 and math.isfinite(ratio.high)
        else f" At least {digits_text(ratio.low)} times the rate of episodes before."
        if math.isinf(ratio.estimate)
        else f" {digits_text(ratio.estimate)} times the rate of episodes before ({digits_text(ratio.low)} to {high})."
    )
    return frame.finish(chart, f"{name}: {swings_text(item.outcome, item.aspect, item.aspects[0].outcome)}.{said}", bars_note(told, "power-up", comparison.limits))


def bars_note(told: PowerUpRates, each: str, limits: Limits) -> str:
    """How the picture is to be read."""
    note = f"Dot and thin bar: rate with exact {share_text(limits.confidence)} interval (one-sided where none was seen), on a square-root scale. Level dashes: rate of concern."
    if told.fitted is None:
        return note
    note += " Line: what is fitted."
    if told.least is None:
        return note
    what = (
        f"while {each}s differ by up to {share_text(told.scatter)} by themselves, up to which the claim holds"
        if told.shown
        else f"if {each}s differ by {share_text(told.scatter)} by themselves, the middle of what their counts tell"
    )
    return f"{note} Broad grey bar: where a rate about the line lies ({share_text(limits.confidence)}) {what}."


def scatter_bars(told: PowerUpRates, places: Sequence[Any], x: Any) -> list[Any]:
    """Broad bars within which a rate lies about the fit; nothing where none was fitted."""
    if told.least is None or told.most is None:
        return []
    rows = [{"x": at, "least": a, "most": b} for at, a, b in zip(places, told.least, told.most, strict=True)]
    return [
        alt.Chart(values(rows))
        .mark_rule(strokeWidth=min(BAR, 0.5 * frame.WIDTH / len(rows)), color=palette.UNSEEN, opacity=0.75)
        .encode(x=x, y=alt.Y("least:Q", title=RATE), y2=alt.Y2("most:Q"))
    ]


def _picture(
    told: PowerUpRates,
    names: Sequence[str],
    colours: Sequence[str],
    title: str,
    limits: Limits,
    *,
    steps_at: Sequence[int] | None = None,
) -> Any:
    count = len(names)
    rows = [
        {"x": k + 1, "rate": rate, "low": low, "high": high, "name": name, "colour": colour,
         "said": f"{n} in {hours_text(h)}", "n": str(n)}
        for k, (rate, low, high, name, colour, n, h) in enumerate(
            zip(told.rate, told.low, told.high, names, colours, told.counts, told.hours, strict=True)
        )
    ]  # fmt: skip
    concern = limits.episode_rate_per_h
    tops = [concern, *told.high] + ([] if told.most is None else [float(np.max(told.most))])
    # one short power-up may reach far beyond the others: it is cut at four times the highest rate
    top = min(1.15 * max(tops), max(4.0 * float(np.max(told.rate)), 1.15 * concern, 1.15 * float(np.median(told.high))))
    x = alt.X("x:Q", title=title, axis=alt.Axis(format="d", tickMinStep=1, grid=False),
              scale=alt.Scale(domain=[0.4, count + 0.6], nice=False))  # fmt: skip
    y = alt.Y(
        "rate:Q",
        title=RATE,
        scale=alt.Scale(type="sqrt", domain=[0, top], nice=False, clamp=True),
    )
    colour = alt.Color("colour:N", scale=None, legend=None)
    data = alt.Chart(values(rows))
    layers = scatter_bars(told, [row["x"] for row in rows], x)
    layers.append(frame.dashed([{"rate": concern}], y=y))
    if told.fitted is not None:
        layers.append(_fit(told.fitted, steps_at, x, y))
    layers += [
        data.mark_rule(strokeWidth=3, opacity=0.7).encode(x=x, y=alt.Y("low:Q", title=RATE), y2=alt.Y2("high:Q"), color=colour),
        data.mark_point(filled=True, size=80, opacity=1).encode(x=x, y=y, color=colour, tooltip=[alt.Tooltip("name:N"), alt.Tooltip("said:N")]),
    ]
    if count <= MOST_SAID:
        text = alt.Text("said:N" if count <= 8 else "n:N")
        layers.append(
            data.mark_text(dy=-9, color=palette.INK, fontSize=11).encode(x=x, y=alt.Y("high:Q", title=RATE), text=text)
        )
    return frame.layer(*layers, width=frame.WIDTH, height=230)


def _fit(fitted: Any, steps_at: Sequence[int] | None, x: Any, y: Any) -> Any:
    """The growth as one line, or each stretch between steps as a level line half a place beyond its power-ups."""
    if steps_at is None:
        rows = [{"x": k + 1.0, "rate": value, "part": 0} for k, value in enumerate(fitted)]
    else:
        edges = itertools.pairwise((0, *steps_at, len(fitted)))
        rows = [{"x": at, "rate": fitted[a], "part": k} for k, (a, b) in enumerate(edges) for at in (a + 0.6, b + 0.4)]
    return alt.Chart(values(rows)).mark_line(color=palette.INK, strokeWidth=1.4).encode(x=x, y=y, detail=alt.Detail("part:N"))


def rates(assessment: Assessment, channel: str | None = None) -> Any:
    """Draw the rate of each power-up, what is fitted and the scatter allowed; of one power-up the steps of its rate, or its phases.

    Where no episode was seen, or in one power-up, the whole stands beside the rate of concern, each with its exact
    interval.

    Raises
    ------
    NothingToDraw
        If nothing was observed, or there is no channel of that name.
    """
    from flicker.stats.rates import rate_interval

    item, record, colour = frame.chosen(assessment, channel)
    if len([end for end in record.per_cycle()[1] if end > 0]) > 1 and item.rate.episodes:
        return power_up_rates(assessment, item.channel)
    if record.observed_s <= 0:
        raise NothingToDraw(f"nothing was observed of channel {item.channel}, so it has no rate to draw")
    confidence = assessment.limits.confidence
    if item.since is not None and item.since.over == Over.RUN and item.since.stretches:
        return _steps(item, record, assessment)
    rows = []
    for phase in item.rate.phases:
        if phase.observed_s > 0:
            hours = phase.observed_s / HOUR
            rate = rate_interval(phase.episodes, hours, confidence=confidence)
            rows.append(_rate_row(phase.phase, rate, phase.episodes, hours))
    total = rate_interval(item.rate.episodes, record.observed_s / HOUR, confidence=confidence)
    whole = _rate_row("all together", total, item.rate.episodes, record.observed_s / HOUR)
    rows.append(whole)
    limit = clean_limit(item.rate)
    chart = _rate_chart(rows, assessment.limits.episode_rate_per_h, colour)
    seen = lasting_text(record.observed_s)
    caption = f"{item.channel}: no episode in {seen} observed" + (f"; {limit}." if limit else ".")
    if not limit:
        between = f"{share_text(confidence)}, two-sided: {digits_text(whole['low'])} to {digits_text(whole['high'])}"
        caption = f"{item.channel}: {digits_text(total.rate)} episodes per hour over all phases ({between})."
    note = (
        f"Dot: rate; bar: exact {share_text(confidence)} interval, two-sided, or one-sided where none was seen; overlapping bars "
        "may be one rate. Dashed: rate of concern."
    )
    return frame.finish(chart, caption, note)


def _steps(item: ChannelAssessment, record: ChannelRecord, assessment: Assessment) -> Any:
    """The rate between its changes, each stretch with its interval, against observed time."""
    since = item.since
    assert since is not None  # asked before
    changes = changes_on_clock(item, record, frame.observed_hours(record)[1])
    hours = [row.observed_s / HOUR for row in since.stretches]
    begin = changes[0][0] - hours[0]
    edges = [begin, *(at for at, *_ in changes), begin + sum(hours)]
    unit, per = frame.hour_unit(edges[-1])
    rows = [
        {"x": a * per, "x2": b * per, "rate": row.per_hour, "low": row.low_per_hour, "high": row.high_per_hour,
         "said": f"{row.episodes} in {hours_text(b - a)}"}
        for row, a, b in zip(since.stretches, edges, edges[1:], strict=False)
    ]  # fmt: skip
    colour = frame.colour_of(assessment, item.channel)
    x = alt.X("x:Q", title=f"observed time ({unit})", scale=alt.Scale(domain=[edges[0] * per, edges[-1] * per], nice=False))
    y = alt.Y("rate:Q", title="episodes per observed hour", scale=alt.Scale(domainMin=0))
    places = [{"x": low * per, "x2": high * per} for _, low, high in changes]
    data = alt.Chart(values(rows))
    layers = [
        alt.Chart(values(places)).mark_rect(color=palette.WARM_UP).encode(x=x, x2=alt.X2("x2:Q")),
        data.mark_rect(color=colour, opacity=0.25).encode(x=x, x2=alt.X2("x2:Q"), y=alt.Y("low:Q", title=None), y2=alt.Y2("high:Q")),
        data.mark_rule(color=colour, strokeWidth=2.4).encode(x=x, x2=alt.X2("x2:Q"), y=y, tooltip=[alt.Tooltip("said:N")]),
        frame.dashed([{"rate": assessment.limits.episode_rate_per_h}], y=y),
    ]  # fmt: skip
    sure = share_text(assessment.limits.confidence)
    note = f"Line: rate between the changes; band: its interval ({sure}). Upright bands: where each change lies ({sure}). Dashed: rate of concern."
    return frame.finish(frame.layer(*layers, width=frame.WIDTH, height=200), f"{item.channel}: {since.reads}", note)


def _rate_row(name: str, rate: Any, count: int, hours: float) -> dict[str, Any]:
    # Without an episode: the one limit of a clean log, one-sided, chance of none exp(-rate x hours).
    high = rate.high if count else -math.log(1.0 - rate.confidence) / hours
    return {
        "name": name,
        "rate": rate.rate,
        "low": rate.low,
        "high": high,
        "said": f"{count} in {hours_text(hours)}",
    }


def _rate_chart(rows: list[dict[str, Any]], concern: float, colour: str) -> Any:
    data = values(rows)
    order = [row["name"] for row in rows]
    top = 1.4 * max(concern, *(row["high"] for row in rows))
    y = alt.Y("name:N", sort=order, title=None, axis=alt.Axis(labelLimit=190, grid=False))
    x = alt.X("rate:Q", title="episodes per observed hour", scale=alt.Scale(domain=[0, top], nice=False))
    layers = [
        alt.Chart(data).mark_rule(strokeWidth=3, color=colour, opacity=0.55).encode(x=alt.X("low:Q"), x2=alt.X2("high:Q"), y=y),
        alt.Chart(data)
        .mark_point(filled=True, size=60, color=colour, opacity=1)
        .encode(x=x, y=y, tooltip=[alt.Tooltip("name:N"), alt.Tooltip("said:N")]),
        alt.Chart(data)
        .mark_text(align="left", dx=6, color=palette.FAINT, fontSize=10)
        .encode(x=alt.X("high:Q"), y=y, text=alt.Text("said:N")),
    ]
    layers.append(frame.dashed([{"x": concern}], x=alt.X("x:Q")))
    return frame.layer(*layers, width=frame.WIDTH - 120, height=max(70, 24 * len(rows)))


def changes_on_clock(item: ChannelAssessment, record: ChannelRecord, begins: Any) -> list[list[float]]:
    """Each change of rate that is shown and its interval, in hours of observed time over all runs."""
    out = []
    for row in item.since.stretches[1:] if item.since is not None else ():
        moments = [(row.run, row.at_s), (row.low_run, row.low_s), (row.high_run, row.high_s)]
        out.append([
            float(begins[place] + record.traces[place].observed_clock(np.array([at_s]))[0] / HOUR)
            for run, at_s in moments if run is not None for place in [record.numbers.index(run)]
        ])  # fmt: skip
    return out
