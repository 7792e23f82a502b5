"""A log at a glance: every channel on a small strip of its own, for pages that show many logs."""

from __future__ import annotations

from collections import Counter
from typing import Any

import altair as alt

from flicker.evidence.assessment import Assessment
from flicker.present import palette
from flicker.present.charts import _frame as frame
from flicker.present.charts._frame import values
from flicker.present.envelope import envelope
from flicker.present.said import fitness_text
from flicker.signals.trace import of_channel

ROWS = 500
FEW = 4  # channels that a caption names one by one; a choice
TALL, LOW = 62, 28  # height of a strip, of few channels and of many


def glance(assessment: Assessment, title: str = "") -> Any:
    """Draw all channels on small strips; grey is what was not observed.

    Parameters
    ----------
    assessment : Assessment
        What `flicker.assess` returned.
    title : str
        What the log is; put before the finding.
    """
    tall = max(LOW, min(TALL, FEW * TALL // max(len(assessment.channels), 1)))
    parts = _beside(assessment, tall) if assessment.records else []
    span = frame.volt_span([assessment])
    unit, factor = frame.volt_unit(max(map(abs, span)))
    volts = alt.Scale(domain=[span[0] * factor, span[1] * factor], nice=False, zero=False)
    for record, item in zip(assessment.records, assessment.channels, strict=True):
        strip = frame.strip_of(record, clock=True)
        runs = of_channel(assessment.traces, record.channel)
        rows = frame.rows_of([envelope(run.blocks, place, rows=max(2, ROWS // len(runs))) for run, place in runs], strip)
        hidden = [
            {"x": strip.x(place, begin), "x2": strip.x(place, end), "why": why}
            for place, (run, trace) in enumerate(zip(record.runs, record.traces, strict=True))
            for begin, end, why in frame.unseen(run, trace)
        ]
        frame.scaled(rows, factor, "lo", "hi")
        last = record is assessment.records[-1]
        x = alt.X(
            "x:Q",
            title=strip.axis_title if last else None,
            axis=strip.axis(labels=last, ticks=last),
            scale=alt.Scale(domain=strip.domain, nice=False),
        )
        y = alt.Y("lo:Q", title=f"({unit})", axis=alt.Axis(tickCount=3 if tall > LOW else 2), scale=volts)
        colour = frame.colour_of(assessment, item.channel)
        layers = [
            alt.Chart(values(rows))
            .mark_area(color=colour, fillOpacity=0.75, stroke=colour, strokeWidth=0.9)
            .encode(x=x, y=y, y2=alt.Y2("hi:Q"), detail=alt.Detail("piece:N"))
        ]
        if hidden:
            shade = alt.Chart(values(hidden)).mark_rect(color=palette.UNSEEN, clip=True)
            layers.insert(0, shade.encode(x=x, x2=alt.X2("x2:Q"), tooltip=[alt.Tooltip("why:N")]))
        parts.append(frame.layer(*layers, width=frame.WIDTH - 30, height=tall, title=_name(item.channel)))
    note = "Grey: not observed." + (
        " On top: what was logged beside the outputs." if len(parts) > len(assessment.channels) else ""
    )
    caption = _caption(assessment)
    before = f"{title}: " if title else ""
    return frame.finish(alt.vconcat(*parts, spacing=6), f"{before}{caption}.", note)


def _caption(assessment: Assessment) -> str:
    """What each channel is; of many channels how many are what."""
    items = assessment.channels
    if len(items) <= FEW:
        return "; ".join(f"{item.channel} {item.verdict}, {fitness_text(item.fitness)}" for item in items)
    words = Counter(f"{item.verdict}, {fitness_text(item.fitness)}" for item in items)
    return f"{len(items)} channels: " + "; ".join(f"{count} {said}" for said, count in words.most_common())


def _name(name: str) -> Any:
    """A strip's name above it: beside a low strip a long one has no room."""
    return alt.TitleParams(frame.label(name), anchor="start", fontSize=11, color=palette.INK, offset=3)


def _beside(assessment: Assessment, tall: int) -> list[Any]:
    """A lower strip for each column beside the outputs."""
    record, beside = assessment.records[0], assessment.beside
    strip = frame.strip_of(record, clock=True)
    columns: dict[str, list[dict[str, Any]]] = {}
    units: dict[str, str] = {}
    for place, (run, number) in enumerate(zip(record.runs, record.numbers, strict=True)):
        log, length = beside.log_of_run.get(number, 0), run.duration_s + run.sample_interval_s

        for line in beside.lines:
            if line.log == log:
                units[line.name] = f"{line.role}, V"
                for piece, part in enumerate(line.runs):
                    drawn = envelope(part.blocks, 0, rows=ROWS)
                    moment = drawn.time_s + part.run.offset_s - run.offset_s
                    rows = columns.setdefault(line.name, [])
                    rows.extend(_rows(strip, place, length, piece, moment, drawn.low_V, drawn.high_V))
        for item in beside.temperatures:
            if item.log == log:
                units[item.name] = "degrees"
                moment = item.time_s - run.offset_s
                rows = columns.setdefault(item.name, [])
                rows.extend(_rows(strip, place, length, 0, moment, item.value, item.value))
    out = []
    for name, rows in columns.items():
        chart = alt.Chart(values(rows)).mark_area(
            color=palette.FAINT, fillOpacity=0.75, stroke=palette.FAINT, strokeWidth=0.9
        )
        x = alt.X(
            "x:Q",
            title=None,
            axis=alt.Axis(labels=False, ticks=False),
            scale=alt.Scale(domain=strip.domain, nice=False),
        )
        y = alt.Y("lo:Q", title=None, axis=alt.Axis(tickCount=3), scale=alt.Scale(zero=False))
        strip_drawn = chart.encode(x=x, y=y, y2=alt.Y2("hi:Q"), detail=alt.Detail("piece:N"))
        out.append(strip_drawn.properties(width=frame.WIDTH - 30, height=tall, title=_name(f"{name} ({units[name]})")))
    return out


def _rows(
    strip: frame.Strip, place: int, length_s: float, piece: int, time_s: Any, low: Any, high: Any
) -> list[dict[str, Any]]:
    """What lies within a run, as rows of its strip."""
    return [
        {"x": float(strip.x(place, t)), "lo": lo, "hi": hi, "piece": piece}
        for t, lo, hi in zip(time_s.tolist(), low.tolist(), high.tolist(), strict=True)
        if 0.0 <= t <= length_s
    ]
