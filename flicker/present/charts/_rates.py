"""The rate of a channel's episodes as a picture: by power-up, in steps within one, or by phase, with limits."""

from __future__ import annotations

import math
from typing import Any

import altair as alt
import numpy as np

from flicker.base.formats import digits_text, hours_text, lasting_text, share_text
from flicker.base.units import HOUR
from flicker.evidence.assessment import Assessment
from flicker.evidence.channel import ChannelAssessment
from flicker.evidence.located.rate_changed import Over
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.present import palette
from flicker.present.charts import _frame as frame
from flicker.present.charts._frame import NothingToDraw, values
from flicker.present.charts._power_up_rates import power_up_rates
from flicker.present.said import clean_limit


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

    item = frame.pick(assessment, channel)
    record = frame.record_of(assessment, item.channel)
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
    chart = _rate_chart(rows, assessment.limits.episode_rate_per_h, frame.colour_of(assessment, item.channel))
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
        alt.Chart(values([{"rate": assessment.limits.episode_rate_per_h}]))
        .mark_rule(color=palette.THRESHOLD, strokeDash=[5, 4]).encode(y=y),
    ]  # fmt: skip
    sure = share_text(assessment.limits.confidence)
    note = f"Line: rate between the changes; band: its interval ({sure}). Upright bands: where each change lies ({sure}). Dashed: rate of concern."
    return frame.finish(alt.layer(*layers, width=frame.WIDTH, height=200), f"{item.channel}: {since.reads}", note)


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


def _rate_chart(rows: list[dict[str, Any]], concern: float | None, colour: str) -> Any:
    data = values(rows)
    order = [row["name"] for row in rows]
    top = 1.4 * max(max(row["high"] for row in rows), concern or 0.0)
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
    if concern is not None:
        layers.append(
            alt.Chart(values([{"x": concern}]))
            .mark_rule(color=palette.THRESHOLD, strokeDash=[5, 4])
            .encode(x=alt.X("x:Q"))
        )
    return alt.layer(*layers, width=frame.WIDTH - 120, height=max(70, 24 * len(rows)))


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
