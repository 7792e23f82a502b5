"""Where a channel rests: its power-ups laid over each other, and its settled level with what changed; before and after."""

from __future__ import annotations

import math
from typing import Any, Literal

import altair as alt
import numpy as np

from flicker.base.formats import volts_text
from flicker.base.units import HOUR
from flicker.evidence.assessment import Assessment
from flicker.evidence.compare.stages import Comparison
from flicker.evidence.findings import YES
from flicker.present import palette
from flicker.present.charts import _frame as frame
from flicker.present.charts._frame import NothingToDraw, values
from flicker.present.envelope import envelope, window
from flicker.signals.trace import of_channel

MOST_CELLS = 300  # of the level line: more than a screen has room for


def power_ups(assessment: Assessment, channel: str | None = None) -> Any:
    """Lay the first minutes after each power-up over each other, with the limits of a normal one.

    Raises
    ------
    NothingToDraw
        If the log shows no power-up of the channel, or there is no channel of that name.
    """
    item, record, _ = frame.chosen(assessment, channel)
    if not item.power_up:
        raise NothingToDraw(f"channel {item.channel} shows no power-up to draw")
    limits = assessment.limits
    shown = float(max(60.0, 1.4 * limits.settle_s, *(1.4 * up.settle_s for up in item.power_up)))
    shown = min(shown, 900.0, max(run.duration_s for run in record.runs))
    numbers = [up.run for up in item.power_up][:24]
    per_run = max(20, min(300, MOST_CELLS * 2 // len(numbers)))
    rows: list[dict[str, Any]] = []
    begun = [(run, place) for run, place in of_channel(assessment.traces, item.channel) if run.number in numbers]
    for run, index in begun:
        start = run.traces[index].start
        begin = 0.0 if start is None else start.begin_s
        part = window(run.blocks, index, begin, begin + shown, rows=per_run)
        middle = 0.5 * (part.low_V + part.high_V)
        rows.extend(
            {"t": t - begin, "v": v, "run": f"run {run.number + 1}", "order": run.number}
            for t, v in zip(part.time_s, middle, strict=True)
        )
    calm = [abs(up.surge_V) for up in item.power_up]
    top = max([limits.surge_V * 1.1, *calm]) * 1.05
    unit, factor = frame.volt_unit(top)
    frame.scaled(rows, factor, "v")
    sign = -1.0 if item.power_up[0].surge_V < 0 else 1.0
    y = alt.Y(
        "v:Q",
        title=f"offset ({unit})",
        scale=alt.Scale(domain=sorted([-0.25 * sign * top * factor, sign * top * factor]), nice=False),
    )
    x = alt.X("t:Q", title="time since power-up (s)", scale=alt.Scale(domain=[0, shown], nice=False))
    lines = (
        alt.Chart(values(rows))
        .mark_line(clip=True, color=palette.PETROL, strokeWidth=1.4, opacity=0.75)
        .encode(x=x, y=y, detail=alt.Detail("run:N"), tooltip=[alt.Tooltip("run:N")])
    )
    limit_rows = [{"v": sign * limits.surge_V * factor, "name": f"surge limit {volts_text(sign * limits.surge_V)}"}]
    settle = [{"t": limits.settle_s, "name": f"settled by {limits.settle_s:g} s"}]
    rule = frame.dashed(limit_rows, y=y)
    rule_text = (
        alt.Chart(values(limit_rows))
        .mark_text(align="left", dy=-7, color=palette.THRESHOLD)
        .encode(x=frame.XValue(6), y=y, text=alt.Text("name:N"))
    )
    upright = frame.dashed(settle, x=x)
    upright_text = (
        alt.Chart(values(settle))
        .mark_text(align="right", dx=-5, color=palette.THRESHOLD, clip=True)
        .encode(x=x, y=frame.YValue(12), text=alt.Text("name:N"))
    )
    chart = frame.layer(lines, rule, rule_text, upright, upright_text, width=frame.WIDTH, height=210)
    finding = item.finding("power-up")
    return frame.finish(
        chart,
        f"{item.channel}: {finding.reads}",
        f"{'One power-up' if len(numbers) == 1 else f'{len(numbers)} power-ups laid over each other'}. "
        "Dashed: the limits of a normal one.",
    )


def settled(assessment: Assessment, channel: str | None = None) -> Any:
    """Draw the settled level over all runs, the band in which it may move, and the changes with their intervals.

    Raises
    ------
    NothingToDraw
        If nothing of the channel was observed, or there is no channel of that name.
    """
    item, record, _ = frame.chosen(assessment, channel)
    level = item.baseline.level_V
    if level is None:
        raise NothingToDraw(f"nothing was observed of channel {item.channel}, so it has no settled level to draw")
    strip = frame.strip_of(record, clock=True)
    drift = assessment.limits.drift_V
    cells: list[dict[str, Any]] = []
    lines: list[dict[str, Any]] = []
    for place, trace in enumerate(record.traces):
        if trace.baseline is None:
            continue
        base = trace.baseline
        most = max(8, MOST_CELLS // len(record.traces))
        keep = _extremes(base.cell_V, most)
        cells.extend(
            {"x": x, "v": v} for x, v in zip(strip.x(place, base.cell_s[keep]), base.cell_V[keep], strict=True)
        )
        knots = frame.spread(base.knot_s, most)
        lines.extend(
            {"x": x, "v": v, "run": place}
            for x, v in zip(strip.x(place, base.knot_s[knots]), base.knot_V[knots], strict=True)
        )
    middle = np.array([row["v"] for row in lines])
    low, high = min(float(middle.min()), level - drift), max(float(middle.max()), level + drift)
    reach = 0.15 * (high - low)
    unit, factor = frame.volt_unit(max(abs(low), abs(high)))
    frame.scaled([*cells, *lines], factor, "v")
    y = alt.Y(
        "v:Q",
        title=f"settled level ({unit})",
        scale=alt.Scale(domain=[(low - reach) * factor, (high + reach) * factor], nice=False),
    )
    x = alt.X("x:Q", title=strip.axis_title, axis=strip.axis(), scale=alt.Scale(domain=strip.domain, nice=False))
    band = [{"v": (level - drift) * factor, "v2": (level + drift) * factor}]
    layers = [
        alt.Chart(values(band)).mark_rect(color=palette.BAND).encode(y=y, y2=alt.Y2("v2:Q")),
        alt.Chart(values(band))
        .mark_text(align="left", dx=5, dy=9, color=palette.FAINT, fontSize=10)
        .encode(x=frame.XValue(0), y=alt.Y("v2:Q"), text=frame.TextValue(f"within {volts_text(drift)} of the middle")),
        alt.Chart(values(cells))
        .mark_point(clip=True, filled=True, size=7, color=palette.SLATE, opacity=0.6)
        .encode(x=x, y=y),
        alt.Chart(values(lines))
        .mark_line(clip=True, color=palette.PETROL, strokeWidth=1.8)
        .encode(x=x, y=y, detail=alt.Detail("run:N")),
    ]
    changes = _change_rows(item.baseline.changes, strip)
    if changes:
        spans = [row for row in changes if row["x2"] is not None]
        if spans:
            layers.append(
                alt.Chart(values(spans))
                .mark_rect(color=palette.RELAY, opacity=0.6, clip=True)
                .encode(x=alt.X("x1:Q"), x2=alt.X2("x2:Q"))
            )
        layers.append(alt.Chart(values(changes)).mark_rule(color=palette.ALARM).encode(x=x))
        late = [row["x"] > strip.domain[0] + 0.9 * (strip.domain[1] - strip.domain[0]) for row in changes]
        sides: tuple[tuple[Literal["left", "right"], int, bool], ...] = (("left", 4, False), ("right", -4, True))
        for align, dx, beside in sides:  # the last ones have no room on their right
            named = [row for row, is_late in zip(changes, late, strict=True) if is_late == beside]
            if not named:
                continue
            layers.append(
                alt.Chart(values(named))
                .mark_text(align=align, dx=dx, baseline="bottom", color=palette.ALARM)
                .encode(x=x, y=frame.YValue(204), text=alt.Text("name:N"))
            )
    chart = frame.layer(*layers, width=frame.WIDTH, height=210)
    moves = not changes or (item.finding("drift").answer == YES and item.finding("level change").answer != YES)
    said = item.finding("drift" if moves else "level change").reads
    note = "Dots: medians over some ten seconds, the least and the largest of each stretch; line: the baseline. Band: what the limit allows."
    if changes:
        note += " Upright: changes of level, shaded over the interval in which each lies."
    return frame.finish(chart, f"{item.channel}: {said}", note)


def levels_compared(comparison: Comparison, channel: str | None = None) -> Any:
    """Draw the readings before and after on one scale of volts, with the limit of the level at rest.

    Raises
    ------
    ValueError
        If there is no channel of that name.
    """
    sides, name = frame.both_sides(comparison, channel)
    item = comparison.channel(name)
    rows: list[dict[str, Any]] = []
    said: list[dict[str, Any]] = []
    begin_s, borders = 0.0, []
    stages = (frame.label(comparison.before), frame.label(comparison.after))
    for side, stage, colour in zip(sides, stages, (palette.BRASS, palette.PETROL), strict=True):
        said.append({"x": begin_s / HOUR, "name": stage, "colour": colour})
        runs = of_channel(side.traces, name)
        for run, place in runs:
            part = envelope(run.blocks, place, rows=max(20, MOST_CELLS // len(runs)))
            rows.extend(
                {"x": (begin_s + t) / HOUR, "low": low, "high": high, "colour": colour}
                for t, low, high in zip(part.time_s, part.low_V, part.high_V, strict=True)
                if math.isfinite(low) and math.isfinite(high)
            )
            begin_s += run.run.duration_s + run.run.sample_interval_s
        borders.append(begin_s)
    limit = comparison.limits.settled_offset_V
    low, high = min(-limit, *(row["low"] for row in rows)), max(limit, *(row["high"] for row in rows))
    unit, factor = frame.volt_unit(max(abs(low), abs(high)))
    frame.scaled(rows, factor, "low", "high")
    scale = alt.Scale(domain=[1.08 * low * factor, 1.08 * high * factor], nice=False)
    y = alt.Y("low:Q", title=f"offset ({unit})", scale=scale)
    x = alt.X("x:Q", title="hours logged, before and after in sequence (h)", scale=alt.Scale(domain=[0, begin_s / HOUR], nice=False))
    tone = alt.Color("colour:N", scale=None)
    chart = frame.layer(
        alt.Chart(values(rows)).mark_bar(width=3).encode(x=x, y=y, y2="high:Q", color=tone, stroke=tone),
        frame.dashed([{"v": side * limit * factor} for side in (-1.0, 1.0)], y="v:Q"),
        alt.Chart(values([{"x": borders[0] / HOUR}])).mark_rule(color=palette.EDGE).encode(x="x:Q"),
        alt.Chart(values(said)).mark_text(align="left", dx=5, baseline="top").encode(x="x:Q", y=frame.YValue(4), text="name:N", color=tone),
    ).properties(width=frame.WIDTH, height=210)
    told = next(row.reads for row in item.aspects if row.aspect == item.aspect)
    note = "Least and largest reading of each stretch, as read. Dashed: limit of the level at rest."
    return frame.finish(chart, f"{name}: {told}", note)


def _extremes(value: Any, most: int) -> Any:
    """Places of at most so many values: the least and the largest of each equal stretch, so that no movement is lost."""
    if value.size <= most:
        return np.arange(value.size)
    stretches = np.array_split(np.arange(value.size), most // 2)
    return np.unique([part[pick(value[part])] for part in stretches for pick in (np.argmin, np.argmax)])


def _change_rows(changes: Any, strip: frame.Strip) -> list[dict[str, Any]]:
    rows = []
    for change in changes:
        if change.get("run") not in strip.numbers or change.get("time_s") is None:
            continue
        place = strip.numbers.index(change["run"])
        low, high = change.get("low_s"), change.get("high_s")
        step = change.get("step_V")
        rows.append(
            {
                "x": strip.x(place, change["time_s"]),
                "x1": None if low is None else strip.x(place, low),
                "x2": None if low is None or high is None else strip.x(place, high),
                "name": "" if step is None else f"{'+' if step > 0 else ''}{volts_text(step)}",
            }
        )
    return rows
