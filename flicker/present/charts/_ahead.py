"""Swings that grow, the line through them, and when it meets the threshold of the relay."""

from __future__ import annotations

from typing import Any

import altair as alt

from flicker.base.formats import share_text, volts_text
from flicker.evidence.assessment import Assessment
from flicker.evidence.outlook.swings_ahead import growing_swings
from flicker.present import palette
from flicker.present.charts import _frame as frame
from flicker.present.charts._frame import NothingToDraw, values

MOST_SWINGS = 1000  # drawn: the largest of each of so many stretches beyond that; a choice


def swings_ahead(assessment: Assessment, channel: str | None = None) -> Any:
    """Draw the growing swings of a channel with the line through them, its band, and the relay's threshold.

    Raises
    ------
    NothingToDraw
        If the channel's swings are not shown to grow, or are too few for a forecast.
    """
    item = frame.pick(assessment, channel)
    found = growing_swings(frame.record_of(assessment, item.channel), item.findings, assessment.limits)
    told = item.swings_ahead
    if found is None or found.ahead is None or told is None:
        raise NothingToDraw(f"the swings of channel {item.channel} are not shown to grow")
    hours = found.watched_h + told.watched_h
    unit, per = frame.hour_unit(hours)
    colour = frame.colour_of(assessment, item.channel)
    volts, factor = frame.volt_unit(told.threshold_V)
    step = -(-found.size_V.size // MOST_SWINGS)
    dots = [{"x": found.at_h[k] * per, "v": found.size_V[k] * factor} for k in range(0, found.size_V.size, step)]
    line = [
        {"x": at * per, "v": middle * factor, "lo": low * factor, "hi": high * factor, "ahead": bool(at > found.watched_h)}
        for at, middle, low, high in found.ahead.curve
    ]
    top = 3.0 * max(told.threshold_V, float(found.size_V.max())) * factor
    low = 0.5 * min(float(found.size_V.min()), float(found.ahead.curve[0, 1])) * factor
    line = [row for row in line if row["lo"] <= top]
    for row in line:  # a band that grows without end is cut at the frame
        row["lo"], row["hi"] = max(row["lo"], low), min(row["hi"], top)
    last = max((k for k, row in enumerate(line) if not row["ahead"]), default=0)
    line.insert(last + 1, {**line[last], "ahead": True})  # so that the broken part begins where the other ends
    x = alt.X("x:Q", title=f"observed time ({unit})", scale=alt.Scale(domain=[0, hours * per], nice=False))
    scale = alt.Scale(type="log", domain=[low, top], nice=False)
    y = alt.Y("v:Q", title=f"size of the swings ({volts})", scale=scale)
    base = alt.Chart(values(line))
    layers = [
        base.mark_area(color=palette.BAND, clip=True).encode(x=x, y=alt.Y("lo:Q", title=f"size of the swings ({volts})", scale=scale), y2=alt.Y2("hi:Q")),
        base.mark_line(color=colour, strokeWidth=1.6, clip=True).encode(x=x, y=y, strokeDash=alt.StrokeDash("ahead:N", legend=None)),
        alt.Chart(values(dots)).mark_point(filled=True, size=30, color=colour, opacity=0.8).encode(x=x, y=y),
        alt.Chart(values([{"v": told.threshold_V * factor, "text": f"relay would open: {volts_text(told.threshold_V)} (assumed)"}]))
        .mark_rule(color=palette.THRESHOLD, strokeDash=[5, 4]).encode(y=y),
        alt.Chart(values([{"v": told.threshold_V * factor, "x": 0.0, "text": f"relay would open: {volts_text(told.threshold_V)} (assumed)"}]))
        .mark_text(align="left", dx=4, dy=-7, fontSize=10, color=palette.INK).encode(x=x, y=y, text=alt.Text("text:N")),
        alt.Chart(values([{"x": found.watched_h * per}])).mark_rule(color=palette.FAINT).encode(x=x),
    ]  # fmt: skip
    if told.earliest_h is not None:
        until = told.middle_h if told.middle_h is not None else told.watched_h
        span = [{"x": (found.watched_h + told.earliest_h) * per, "x2": (found.watched_h + until) * per, "v": told.threshold_V * factor}]
        layers.append(alt.Chart(values(span)).mark_rule(color=palette.INK, strokeWidth=4, opacity=0.6).encode(x=x, x2=alt.X2("x2:Q"), y=y))
    note = (
        "Dots: the largest swing of each burst. Line: growth by a constant factor, broken beyond the end of the log; band: where "
        f"that line may lie ({share_text(assessment.limits.confidence)}). Bar on the threshold: from the earliest moment to the one "
        "as likely passed as not. Nothing is drawn farther ahead than was watched."
    )
    return frame.finish(
        alt.layer(*layers, width=frame.WIDTH, height=230), f"{item.channel}: {told.reads}", note
    )
