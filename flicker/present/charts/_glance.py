"""A log at a glance: every channel on a small strip of its own, for pages that show many logs."""

from __future__ import annotations

import math
from typing import Any

import altair as alt

from flicker.evidence.assessment import Assessment
from flicker.present import palette
from flicker.present.charts import _frame as frame
from flicker.present.charts._frame import values
from flicker.present.envelope import envelope

ROWS = 500


def glance(assessment: Assessment, title: str = "") -> Any:
    """Draw all channels on small strips; grey is what was not observed.

    Parameters
    ----------
    assessment : Assessment
        What `flicker.assess` returned.
    title : str
        What the log is; put before the finding.
    """
    parts = []
    for record, item in zip(assessment.records, assessment.channels, strict=True):
        strip = frame.strip_of(record)
        runs = [run for run in assessment.traces if any(t.channel == record.channel for t in run.traces)]
        rows: list[dict[str, Any]] = []
        hidden: list[dict[str, Any]] = []
        piece = 0
        for place, (run, trace) in enumerate(zip(runs, record.traces, strict=True)):
            index = run.traces.index(trace)
            part = envelope(run.blocks, index, rows=max(2, ROWS // len(runs)))
            for t, lo, hi, number in zip(strip.x(place, part.time_s), part.low_V, part.high_V, part.piece, strict=True):
                rows.append({"x": t, "lo": lo, "hi": hi, "piece": piece + int(number)})
            piece = rows[-1]["piece"] + 1 if rows else 0
            hidden.extend(
                {"x": strip.x(place, begin), "x2": strip.x(place, end), "why": why}
                for begin, end, why in frame.unseen(run.run, trace)
            )
        largest = max((abs(row[key]) for row in rows for key in ("lo", "hi") if math.isfinite(row[key])), default=0.0)
        unit, factor = frame.volt_unit(largest)
        for row in rows:
            row["lo"], row["hi"] = row["lo"] * factor, row["hi"] * factor
        end = float(strip.x(-1, strip.length_s[-1]))
        last = record is assessment.records[-1]
        x = alt.X(
            "x:Q",
            title=strip.axis_title if last else None,
            axis=alt.Axis(labels=last, ticks=last),
            scale=alt.Scale(domain=[0, end], nice=False),
        )
        y = alt.Y("lo:Q", title=f"{frame.label(item.channel)} ({unit})", axis=alt.Axis(tickCount=3))
        colour = frame.colour_of(assessment, item.channel)
        layers = [
            alt.Chart(values(rows))
            .mark_area(color=colour, fillOpacity=0.75, stroke=colour, strokeWidth=0.9)
            .encode(x=x, y=y, y2="hi:Q", detail="piece:N")
        ]
        if hidden:
            shade = alt.Chart(values(hidden)).mark_rect(color=palette.UNSEEN, clip=True)
            layers.insert(0, shade.encode(x=x, x2="x2:Q", tooltip=["why:N"]))
        parts.append(alt.layer(*layers).properties(width=frame.WIDTH - 30, height=62))
    caption = "; ".join(f"{item.channel} {item.verdict}, {item.fitness}" for item in assessment.channels)
    before = f"{title}: " if title else ""
    return frame.finish(alt.vconcat(*parts, spacing=6), f"{before}{caption}.", "Grey: not observed.")
