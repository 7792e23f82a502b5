"""The log itself: the whole strip with a close-up that follows the brush, and every episode in a frame of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import altair as alt
import numpy as np

from flicker.base.formats import count_text, digits_text, lasting_text, seconds_text, volts_text
from flicker.evidence.assessment import Assessment
from flicker.evidence.channel import ChannelAssessment
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.logs.model import Log
from flicker.present import palette
from flicker.present.charts import _frame as frame
from flicker.present.charts._frame import NothingToDraw, Strip, values
from flicker.present.charts._strip_rows import (
    POINTERS,
    change_rows,
    envelope_rows,
    first_look,
    label_rows,
    line_rows,
    mark_rows,
    own_span,
    relay_lines,
    run_rows,
    shade_rows,
)
from flicker.present.envelope import MOST_ROWS, logs_of_runs, window
from flicker.present.said import moment_text
from flicker.signals.trace import of_channel

SHADES = {
    "warm-up": palette.WARM_UP,
    "start": palette.WARM_UP,
    "not observed": palette.UNSEEN,
    "relay open": palette.RELAY,
    "another rate from here": palette.BAND,
}
MOST_DAYS = 8  # names of days that fit beside each other
WHOLE, CLOSE = 110, 132  # heights of the strip of the whole log and of the close-up
OWN_SCALE_WORTH = (
    1.3  # times the channel's own span, from where a scale of its own is offered; common practice, no source
)


def overview(
    assessment: Assessment,
    channel: str | None = None,
    *,
    logs: Sequence[Log] | None = None,
    beside: Sequence[Assessment] = (),
    most_rows: int = MOST_ROWS,
) -> Any:
    """Draw the whole log of a channel; brush a stretch of the strip and the close-up below shows it.

    Parameters
    ----------
    assessment : Assessment
        What `flicker.assess` returned.
    channel : str, optional
        The channel; the one in worst state where left out.
    logs : sequence of Log, optional
        The logs assessed; with them the times at which the assumed relay would be open are shaded.
    beside : sequence of Assessment, optional
        Others that are looked at beside this one, as before and after: the strip then lies on their scale of time and
        volts. All channels of one assessment share their volts in any case; a tick below the chart gives the channel a
        scale of its own.
    most_rows : int
        Rows of the envelope at most; fewer make a lighter page. No swing is lost.

    Returns
    -------
    altair.VConcatChart
        Envelope of least and largest readings (at most 4,000 rows), baseline, thresholds, excursions, and shades for
        what was not observed, the warm-up and the relay.

    Raises
    ------
    ValueError
        If there is no channel of that name.
    """
    item, record, _ = frame.chosen(assessment, channel)
    strip = _strip_beside(record, beside)
    longest = max((frame.strip_of(part.records[0]).end_s for part in beside if part.records), default=0.0)
    end = max(longest / frame.SECONDS[strip.unit], strip.domain[1])
    runs = of_channel(assessment.traces, item.channel)
    rows = envelope_rows(runs, record, strip, most_rows)
    span = frame.volt_span([assessment, *beside])
    unit, factor = frame.volt_unit(max(map(abs, span)))
    own = own_span(rows, item)
    relay = relay_lines(assessment, span, factor)
    if relay:
        span = (
            min(span[0], *(row["v"] / factor for row in relay)),
            max(span[1], *(row["v"] / factor for row in relay)),
        )
    frame.scaled(rows, factor, "lo", "hi")
    shades = shade_rows(assessment, item, record, strip, logs)
    changed = change_rows(item, strip)
    shades.extend(stretch for stretch, _ in changed)
    brush = alt.selection_interval(name="stretch", encodings=["x"], value={"x": first_look(item, strip)})
    choice, volts = _volt_scale(span, own, factor)
    parts = _layers(item, record, strip, _Rows(rows, shades, relay, [day for _, day in changed], end), (unit, factor), volts)
    first, *others = parts(alt.Scale(domain=[strip.domain[0], end], nice=False), None)
    first = first.add_params(brush) if choice is None else first.add_params(brush, choice)
    whole = frame.layer(first, *others, width=frame.WIDTH, height=WHOLE)
    near = parts(alt.Scale(domain={"param": "stretch", "encoding": "x"}, nice=False), brush)
    chart = alt.vconcat(
        whole,
        frame.layer(*near, width=frame.WIDTH, height=CLOSE),
        spacing=14,
        resolve=alt.Resolve(scale=alt.ScaleResolveMap(color="shared", x="independent", y="independent")),
    )
    # For its still picture, what the specification says as expressions only.
    chart.usermeta = {
        "strip": {
            "whole": [strip.domain[0], end],
            "volts": [value * factor for value in span],
            "seconds": frame.SECONDS[strip.unit],
            "clock": strip.zero_s is not None,
        }
    }
    return frame.finish(chart, _overview_caption(item), _overview_note(shades, choice is not None, bool(beside)))


def episode_places(
    assessment: Assessment, channel: str, *, beside: Sequence[Assessment] = ()
) -> list[tuple[int, float, float, float]]:
    """Run and beginning of each episode of a channel, and the stretch of its strip that shows it, in order."""
    record = frame.record_of(assessment, channel)
    strip = _strip_beside(record, beside)
    found = record.episodes
    out = []
    for k in range(found.count):
        place, begin, end = int(found.run[k]), float(found.start_s[k]), float(found.end_s[k])
        wide = max(30.0, 3.0 * (end - begin))
        middle = 0.5 * (begin + end)
        ends = [float(strip.x(place, middle + side * wide)) for side in (-1, 1)]
        out.append((record.numbers[place], begin, max(ends[0], strip.domain[0]), min(ends[1], strip.domain[1])))
    return out


def _strip_beside(record: ChannelRecord, beside: Sequence[Assessment]) -> Strip:
    strip = frame.strip_of(record, clock=not beside)
    if not beside:
        return strip
    longest = max((frame.strip_of(part.records[0]).end_s for part in beside if part.records), default=0.0)
    return replace(strip, unit=frame.time_unit(max(longest, strip.end_s)))


def _volt_scale(span: tuple[float, float], own: tuple[float, float], factor: float) -> tuple[Any, Any]:
    """The scale that all share, and the tick that gives the channel its own, where that shows more."""
    low, high = (value * factor for value in span)
    mine = [value * factor for value in own]
    if high - low < OWN_SCALE_WORTH * (mine[1] - mine[0]):
        return None, alt.Scale(domain=[low, high], nice=False, zero=False)
    choice = alt.param(name="own_scale", value=False, bind=alt.binding_checkbox(name="own scale of volts "))
    ends = [alt.ExprRef(f"own_scale ? {digits_text(one, 6)} : {digits_text(all_, 6)}") for one, all_ in zip(mine, (low, high), strict=True)]
    return choice, alt.Scale(domainMin=ends[0], domainMax=ends[1], nice=False, zero=False)


def _overview_caption(item: ChannelAssessment) -> str:
    name = f"{item.channel}: {item.verdict}"
    seen = lasting_text(item.observed_s)
    if item.rate.episodes:
        sizes = [abs(row.deviation_V) for row in item.excursions]
        size = f", up to {volts_text(max(sizes))} from the baseline" if sizes else ""
        return f"{name}. {count_text(item.rate.episodes, 'episode')} in {seen} observed{size}."
    if item.baseline.level_V is None:
        return f"{name}. Nothing was observed."
    return f"{name}. No episode in {seen} observed; it rests at {volts_text(item.baseline.level_V)}."


def _overview_note(shades: Sequence[dict[str, Any]], choice: bool, beside: bool) -> str:
    kinds = {row["kind"] for row in shades}
    told = (
        (True, "Upper strip: the whole log; drag across it to choose what the lower strip shows."),
        (beside, "Before and after lie on one scale of time and volts."),
        (choice and not beside, "All channels lie on one scale of volts."),
        (True, "Dashed: the thresholds around the baseline. Triangles: excursions."),
        (kinds & {"warm-up", "start"}, "Straw: start and warm-up."),
        ("not observed" in kinds, "Grey: not observed."),
        (
            "another rate from here" in kinds,
            "Dotted line in the green: from there swings come at another rate, which began somewhere in the green.",
        ),
        ("relay open" in kinds, "Rose: the relay would be open (assumed, not measured on this unit)."),
    )
    return " ".join(said for holds, said in told if holds)


class _Rows(NamedTuple):
    """What a strip draws: envelope, shades, lines of the relay, moments of another rate; and where the whole ends."""

    envelope: list[dict[str, Any]]
    shades: list[dict[str, Any]]
    relay: list[dict[str, Any]]
    since: list[dict[str, Any]]
    end: float


def _layers(
    item: ChannelAssessment, record: ChannelRecord, strip: Strip, drawn: _Rows, scale_of: tuple[str, float], volts: Any
) -> Any:
    """Return a function that makes the layers for a given time scale, filtered by a brush or not; volts in the unit and factor of ``scale_of``."""
    (unit, factor), (rows, shades, relay, since, end) = scale_of, drawn
    colour = palette.SERIES[0]
    lines = line_rows(record, strip, factor)
    marks = mark_rows(item, strip, factor)
    title = f"offset ({unit})"
    data, line_data, mark_data, shade_data = values(rows), values(lines), values(marks), values(shades)
    labels = label_rows(shades, strip)
    days = [*frame.midnights(record, strip), *since]

    def make(scale: Any, brush: Any) -> list[Any]:
        x = alt.X("x:Q", scale=scale, title=strip.axis_title, axis=strip.axis())
        y = alt.Y("lo:Q", title=title, scale=volts)
        tone = alt.Color("kind:N", scale=alt.Scale(domain=list(SHADES), range=list(SHADES.values())), legend=None)

        # A little beyond the brush on both sides, so that lines reach the edges of the close-up.
        margin = 0.005 * strip.end_s / frame.SECONDS[strip.unit]
        near = (
            f"!isValid(stretch.x) || (datum.x >= stretch.x[0] - {digits_text(margin, 6)} && datum.x <= stretch.x[1] + {digits_text(margin, 6)})"
        )

        def seen(chart: Any) -> Any:
            return chart if brush is None else chart.transform_filter(near)

        layers = []
        if shades:
            layers.append(
                alt.Chart(shade_data)
                .mark_rect(clip=True)
                .encode(x=x, x2=alt.X2("x2:Q"), color=tone, tooltip=[alt.Tooltip("kind:N"), alt.Tooltip("why:N")])
            )
            if labels:
                layers.append(
                    alt.Chart(values(labels))
                    .mark_text(align="left", baseline="top", dx=3, fontSize=10, color=palette.FAINT, clip=True)
                    .encode(x=x, y=frame.YValue(3), text=alt.Text("kind:N"))
                )
        layers.append(
            seen(alt.Chart(data))
            .mark_area(clip=True, color=colour, fillOpacity=0.75, line=False, stroke=colour, strokeWidth=0.9)
            .encode(x=x, y=y, y2=alt.Y2("hi:Q"), detail=alt.Detail("piece:N"))
        )
        for field, dash in (("level", [1, 0]), ("upper", [5, 4]), ("lower", [5, 4])):
            layers.append(
                seen(alt.Chart(line_data))
                .mark_line(clip=True, color=palette.THRESHOLD, strokeWidth=1, strokeDash=dash)
                .encode(x=x, y=alt.Y(f"{field}:Q", title=title, scale=volts), detail=alt.Detail("run:N"))
            )
        # Behind the envelope, never first: the brush holds on to the first layer, which must have a time.
        if days:
            day_data = values(days)
            layers.append(alt.Chart(day_data).mark_rule(color=palette.FAINT, strokeDash=[1, 3], clip=True).encode(x=x))
            if brush is None and len(days) <= MOST_DAYS:
                layers.append(
                    alt.Chart(day_data)
                    .mark_text(align="left", baseline="bottom", dx=3, fontSize=10, color=palette.FAINT, clip=True)
                    .encode(x=x, y=frame.YValue(WHOLE - 3), text=alt.Text("day:N"))
                )
        if relay:
            relay_data = values(relay)
            layers.append(
                alt.Chart(relay_data)
                .mark_rule(color=palette.ALARM, strokeDash=[8, 3], clip=True)
                .encode(y=alt.Y("v:Q", title=title, scale=volts))
            )
            if brush is None:
                below = relay[0]["v"] < 0.0  # its words stand within the picture: the runs are named above it
                inward: Any = "bottom" if below else "top"
                layers.append(
                    alt.Chart(relay_data)
                    .mark_text(align="right", baseline=inward, dx=-4, dy=-2 if below else 3, fontSize=10, color=palette.ALARM)
                    .encode(x=frame.XValue("width"), y=alt.Y("v:Q", scale=volts), text=alt.Text("text:N"))
                )
        if marks:
            layers.append(
                seen(alt.Chart(mark_data))
                .mark_point(size=42, filled=True, color=palette.ALARM, clip=True, opacity=0.9)
                .encode(
                    x=x,
                    y=alt.Y("v:Q", title=title, scale=volts),
                    shape=alt.Shape("sign:N", legend=None, scale=alt.Scale(domain=POINTERS, range=POINTERS)),
                    tooltip=[
                        alt.Tooltip("when:N", title="run and time"),
                        alt.Tooltip("v:Q", title=f"peak ({unit})", format=".4~g"),
                        alt.Tooltip("lasts:Q", title="lasts (s)", format=".3~g"),
                        alt.Tooltip("note:N", title="note"),
                    ],
                )
            )
        if brush is None and len(strip.numbers) > 1:
            layers.append(
                alt.Chart(values(run_rows(strip, end)))
                .mark_text(align="left", baseline="bottom", dy=-2, dx=1, fontSize=10, color=palette.FAINT)
                .encode(x=x, y=frame.YValue(0), text=alt.Text("run:N"))
            )
        return layers

    return make


FRAMES = 12


def episodes(
    assessment: Assessment, channel: str | None = None, *, logs: Sequence[Log] | None = None, most: int = FRAMES
) -> Any:
    """Draw every episode of a channel in a frame of its own, all on one scale of time and volts.

    Parameters
    ----------
    assessment : Assessment
        What `flicker.assess` returned.
    channel : str, optional
        The channel; the one in worst state where left out.
    logs : sequence of Log, optional
        The logs assessed; with them the exact readings are drawn, else what the blocks kept.
    most : int
        Frames at most; where there are more episodes the largest are drawn.

    Raises
    ------
    NothingToDraw
        If the channel has no episode, or there is no channel of that name.
    """
    item, record, _ = frame.chosen(assessment, channel)
    found = record.episodes
    if found.count == 0:
        raise NothingToDraw(f"channel {item.channel} has no episode to draw")
    chosen = np.sort(np.argsort(-found.size_V, kind="stable")[:most])
    length = found.end_s[chosen] - found.start_s[chosen]
    shown = float(min(length.max(), max(4.0 * float(np.median(length)), 5.0)))
    pad = max(0.25 * shown, 2.0)
    runs = of_channel(assessment.traces, item.channel)
    of_run = dict(enumerate(logs_of_runs([run.blocks for run, _ in runs], logs)))
    rows: list[dict[str, Any]] = []
    per_frame = max(20, min(300, MOST_ROWS // chosen.size))
    order = []
    for number in chosen:
        place = int(found.run[number])
        begin = float(found.start_s[number])
        run, index = runs[place]
        part = window(run.blocks, index, begin - pad, begin + shown + pad, log=of_run[place], rows=per_frame)
        several = f"run {record.numbers[place] + 1}, " if len(runs) > 1 else ""
        label = f"{several}{moment_text(run.run.start, begin)}"
        if label in order:
            label = f"{label} ({number + 1})"
        order.append(label)
        rows.extend(
            {"t": t - begin, "lo": lo, "hi": hi, "episode": label}
            for t, lo, hi in zip(part.time_s, part.low_V, part.high_V, strict=True)
        )
    unit, factor = frame.volt_unit(max((max(abs(row["lo"]), abs(row["hi"])) for row in rows), default=0.0))
    frame.scaled(rows, factor, "lo", "hi")
    level = item.baseline.level_V or 0.0
    enter = item.thresholds["enter_V"]
    bounds = [{"v": (level + sign * enter) * factor, "episode": label} for label in order for sign in (-1, 1)]
    x = alt.X("t:Q", title="time since it began (s)", scale=alt.Scale(domain=[-pad, shown + pad], nice=False))
    data = values(rows + [{"bound": row["v"], "episode": row["episode"]} for row in bounds])
    area = (
        alt.Chart()
        .mark_area(clip=True, color=palette.PETROL, fillOpacity=0.8, stroke=palette.PETROL, strokeWidth=1.3)
        .encode(x=x, y=alt.Y("lo:Q", title=f"offset ({unit})"), y2=alt.Y2("hi:Q"))
    )
    limit = alt.Chart().mark_rule(color=palette.THRESHOLD, strokeDash=[5, 4]).encode(y=alt.Y("bound:Q"))
    columns = 2 if len(order) == 4 else min(3 if len(order) <= 6 else 4, len(order))
    chart = (
        frame.layer(area, limit, data=data)
        .properties(width=(frame.WIDTH - 60) // columns - 18, height=92)
        .facet(alt.Facet("episode:N", sort=order, title=None), columns=columns, spacing=16)
    )
    return frame.finish(chart, _episodes_caption(item, found.size_V, length), _episodes_note(chosen.size, found.count))


def _episodes_caption(item: ChannelAssessment, size_V: Any, length_s: Any) -> str:
    largest, least = float(size_V.max()), float(size_V.min())
    size = volts_text(largest) if size_V.size == 1 else f"{volts_text(least)} to {volts_text(largest)}"
    lasts = f"{seconds_text(np.median(length_s))}" if length_s.size > 1 else f"{seconds_text(length_s[0])}"
    middle = "typically " if length_s.size > 1 else ""
    return f"{item.channel}: {count_text(size_V.size, 'episode')} of {size}, lasting {middle}{lasts}."


def _episodes_note(drawn: int, total: int) -> str:
    which = f"The {drawn} largest of {total}" if drawn < total else "All of them"
    return f"{which}, in order of time, on one scale of time and volts. Dashed: the thresholds."
