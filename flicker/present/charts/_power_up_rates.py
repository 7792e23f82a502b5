"""The rate of each power-up with its interval, what is fitted through them, and how far they may differ by themselves."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Any

import altair as alt
import numpy as np

from flicker.base.formats import digits_text, hours_text, share_text
from flicker.base.limits import Limits
from flicker.base.values import Aspect
from flicker.evidence.assessment import Assessment
from flicker.evidence.compare.stages import Comparison
from flicker.evidence.compare.weighing import NO_CHANGE
from flicker.evidence.findings import YES
from flicker.evidence.located.power_up_rates import PowerUpRates, growth_rates, step_rates, stepped_rates
from flicker.evidence.located.rate_changed import Over, since_text
from flicker.evidence.record.power_up_counts import counts_of
from flicker.present import palette
from flicker.present.charts import _frame as frame
from flicker.present.charts._frame import NothingToDraw, values
from flicker.present.said import swings_text

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
        else f" At most {high} of the rate before."
        if ratio.estimate == 0.0 and math.isfinite(ratio.high)
        else f" At least {digits_text(ratio.low)} times the rate before."
        if math.isinf(ratio.estimate)
        else f" {digits_text(ratio.estimate)} times the rate before ({digits_text(ratio.low)} to {high})."
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
    layers.append(
        alt.Chart(values([{"rate": concern}])).mark_rule(color=palette.THRESHOLD, strokeDash=[5, 4]).encode(y=y)
    )
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
    return alt.layer(*layers, width=frame.WIDTH, height=230)


def _fit(fitted: Any, steps_at: Sequence[int] | None, x: Any, y: Any) -> Any:
    """The growth as one line, or each stretch between steps as a level line half a place beyond its power-ups."""
    if steps_at is None:
        rows = [{"x": k + 1.0, "rate": value, "part": 0} for k, value in enumerate(fitted)]
    else:
        edges = itertools.pairwise((0, *steps_at, len(fitted)))
        rows = [{"x": at, "rate": fitted[a], "part": k} for k, (a, b) in enumerate(edges) for at in (a + 0.6, b + 0.4)]
    return alt.Chart(values(rows)).mark_line(color=palette.INK, strokeWidth=1.4).encode(x=x, y=y, detail=alt.Detail("part:N"))
