"""The log itself: the whole strip with a close-up that follows the brush, and every episode on one scale."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import altair as alt
import numpy as np

from flicker.evidence.assessment import Assessment
from flicker.evidence.channel import ChannelAssessment
from flicker.evidence.record import ChannelRecord
from flicker.evidence.words import clock_text, hours_text, volts_text
from flicker.logs.model import Log
from flicker.present import palette
from flicker.present.charts import _frame as frame
from flicker.present.charts._frame import NothingToDraw, Strip, values
from flicker.present.envelope import MOST_ROWS, envelope, logs_of_runs, window
from flicker.signals.trace import RunTraces

SHADES = {
    "warm-up": palette.WARM_UP,
    "start": palette.WARM_UP,
    "not observed": palette.UNSEEN,
    "relay open": palette.RELAY,
}
POINTERS = ["triangle-up", "triangle-down"]
MOST_MARKS = 400
FRAMES = 12


def overview(assessment: Assessment, channel: str | None = None, *, logs: Sequence[Log] | None = None) -> Any:
    """Draw the whole log of a channel; brush a stretch of the strip and the close-up below shows it.

    Parameters
    ----------
    assessment : Assessment
        What `flicker.assess` returned.
    channel : str, optional
        The channel; the one in worst state where left out.
    logs : sequence of Log, optional
        The logs assessed; with them the times at which the assumed relay would be open are shaded.

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
    item = frame.pick(assessment, channel)
    record = frame.record_of(assessment, item.channel)
    strip = frame.strip_of(record)
    runs = [
        (run, index) for run in assessment.traces for index, t in enumerate(run.traces) if t.channel == item.channel
    ]
    rows = _envelope_rows(runs, record, strip)
    largest = max((abs(row[key]) for row in rows for key in ("lo", "hi") if math.isfinite(row[key])), default=0.0)
    unit, factor = frame.volt_unit(largest)
    for row in rows:
        row["lo"], row["hi"] = row["lo"] * factor, row["hi"] * factor
    shades = _shade_rows(assessment, item, record, strip, logs)
    brush = alt.selection_interval(name="stretch", encodings=["x"], value={"x": _first_look(item, strip)})
    parts = _layers(item, record, strip, rows, shades, unit, factor)
    whole = alt.layer(*parts(alt.Scale(domain=[0.0, float(strip.x(-1, strip.length_s[-1]))], nice=False), None))
    close = alt.layer(*parts(alt.Scale(domain={"param": "stretch", "encoding": "x"}, nice=False), brush))
    chart = alt.vconcat(
        whole.properties(width=frame.WIDTH, height=150).add_params(brush),
        close.properties(width=frame.WIDTH, height=190),
        spacing=14,
    ).resolve_scale(color="shared", x="independent", y="independent")
    return frame.finish(chart, _overview_caption(item), _overview_note(shades, record))


def _overview_caption(item: ChannelAssessment) -> str:
    name = f"{item.channel}: {item.verdict}"
    seen = hours_text(item.observed_s / 3600.0)
    if item.rate.episodes:
        sizes = [abs(row.deviation_V) for row in item.excursions]
        size = f", up to {volts_text(max(sizes))} from the baseline" if sizes else ""
        return f"{name}. {frame.count_text(item.rate.episodes, 'episode')} in {seen} observed{size}."
    if item.baseline.level_V is None:
        return f"{name}. Nothing was observed."
    return f"{name}. No episode in {seen} observed; it rests at {volts_text(item.baseline.level_V)}."


def _overview_note(shades: Sequence[dict[str, Any]], record: ChannelRecord) -> str:
    said = ["Upper strip: the whole log; drag across it to choose what the lower strip shows."]
    said.append("Dashed: the thresholds around the baseline. Triangles: excursions.")
    kinds = {row["kind"] for row in shades}
    if kinds & {"warm-up", "start"}:
        said.append("Straw: start and warm-up.")
    if "not observed" in kinds:
        said.append("Grey: not observed.")
    if "relay open" in kinds:
        said.append("Rose: the relay would be open (assumed, not measured on this unit).")
    return " ".join(said)


def _envelope_rows(runs: Sequence[tuple[RunTraces, int]], record: ChannelRecord, strip: Strip) -> list[dict[str, Any]]:
    spent = sum(strip.length_s)
    rows: list[dict[str, Any]] = []
    piece = 0
    for place, ((run, index), trace) in enumerate(zip(runs, record.traces, strict=True)):
        share = max(20, int((MOST_ROWS - 20 * len(runs)) * strip.length_s[place] / spent))
        share = min(share, max(2, MOST_ROWS // len(runs))) if len(runs) > 100 else min(share, MOST_ROWS)
        found = trace.excursions
        pad = 20.0
        focus = np.column_stack((found.start_s - pad, found.end_s + pad)) if found.count else None
        part = envelope(run.blocks, index, rows=share, focus=focus)
        for x, low, high, number in zip(strip.x(place, part.time_s), part.low_V, part.high_V, part.piece, strict=True):
            rows.append({"x": x, "lo": low, "hi": high, "piece": piece + int(number)})
        piece += int(part.piece[-1]) + 1 if part.piece.size else 1
    return rows[:MOST_ROWS]


def _shade_rows(
    assessment: Assessment, item: ChannelAssessment, record: ChannelRecord, strip: Strip, logs: Sequence[Log] | None
) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []

    def add(place: int, begin: float, end: float, kind: str, why: str) -> None:
        begin, end = max(begin, 0.0), min(end, strip.length_s[place])
        if end > begin:
            rows.append({"x": strip.x(place, begin), "x2": strip.x(place, end), "kind": kind, "why": why})

    for place, (run, trace) in enumerate(zip(record.runs, record.traces, strict=True)):
        if trace.warm_up_until_s > 0:
            begin = trace.start.end_s if trace.start is not None else 0.0
            add(place, begin, trace.warm_up_until_s, "warm-up", "observed, and counted as a phase of its own")
        for begin, end, why in frame.unseen(run, trace):
            add(place, begin, end, "start" if "surge" in why or "start" in why else "not observed", why)
    for place, begin, end in _relay_spans(assessment, item, logs):
        add(place, begin, end, "relay open", "assumed relay, not measured on this unit")
    return rows


def _relay_spans(
    assessment: Assessment, item: ChannelAssessment, logs: Sequence[Log] | None
) -> list[tuple[int, float, float]]:
    if not item.relay.trips or not logs:
        return []
    from flicker.evidence.assessment import settings_from
    from flicker.signals.relay import scan_relay

    settings = settings_from(assessment.limits)
    out: list[tuple[int, float, float]] = []
    place = 0
    for run, log in zip(assessment.traces, logs_of_runs([run.blocks for run in assessment.traces], logs), strict=True):
        if all(trace.channel != item.channel for trace in run.traces):
            continue
        if log is not None:
            for part in scan_relay(log, run.blocks, settings):
                if part.channel == item.channel:
                    out.extend((place, float(a), float(b)) for a, b in part.disconnected)
        place += 1
    return out


def _first_look(item: ChannelAssessment, strip: Strip) -> list[float]:
    """Where the close-up begins: around the largest excursion, or the first part of the log."""
    total = strip.end_s
    wide = max(0.04 * total, min(120.0, total))
    centre = 0.5 * wide
    if item.excursions:
        worst = max(item.excursions, key=lambda row: abs(row.deviation_V))
        if worst.run in strip.numbers:
            wide = max(wide, 4.0 * min(worst.duration_s, 0.2 * total))
            centre = strip.offset_s[strip.numbers.index(worst.run)] + 0.5 * (worst.start_s + worst.end_s)
    begin = float(np.clip(centre - 0.5 * wide, 0.0, max(total - wide, 0.0)))
    scale = frame.SECONDS[strip.unit]
    return [begin / scale, min(begin + wide, total) / scale]


def _layers(
    item: ChannelAssessment,
    record: ChannelRecord,
    strip: Strip,
    rows: list[dict[str, Any]],
    shades: list[dict[str, Any]],
    unit: str,
    factor: float,
) -> Any:
    """Return a function that makes the layers for a given time scale, filtered by a brush or not."""
    colour = palette.SERIES[0]
    lines = _line_rows(record, strip, factor)
    marks = _mark_rows(item, strip, factor)
    title = f"offset ({unit})"
    data, line_data, mark_data, shade_data = values(rows), values(lines), values(marks), values(shades)
    labels = _label_rows(shades, strip)

    def make(scale: Any, brush: Any) -> list[Any]:
        x = alt.X("x:Q", scale=scale, title=strip.axis_title)
        y = alt.Y("lo:Q", title=title, scale=alt.Scale(zero=False))
        tone = alt.Color("kind:N", scale=alt.Scale(domain=list(SHADES), range=list(SHADES.values())), legend=None)

        # A little beyond the brush on both sides, so that lines reach the edges of the close-up.
        margin = 0.005 * strip.end_s / frame.SECONDS[strip.unit]
        near = (
            f"!isValid(stretch.x) || (datum.x >= stretch.x[0] - {margin:.6g} && datum.x <= stretch.x[1] + {margin:.6g})"
        )

        def seen(chart: Any) -> Any:
            return chart if brush is None else chart.transform_filter(near)

        layers = []
        if shades:
            layers.append(
                alt.Chart(shade_data)
                .mark_rect(clip=True)
                .encode(x=x, x2="x2:Q", color=tone, tooltip=["kind:N", "why:N"])
            )
            if labels:
                layers.append(
                    alt.Chart(values(labels))
                    .mark_text(align="left", baseline="top", dx=3, fontSize=10, color=palette.FAINT, clip=True)
                    .encode(x=x, y=alt.value(3), text="kind:N")
                )
        layers.append(
            seen(alt.Chart(data))
            .mark_area(clip=True, color=colour, fillOpacity=0.75, line=False, stroke=colour, strokeWidth=0.9)
            .encode(x=x, y=y, y2="hi:Q", detail="piece:N")
        )
        layers.append(
            seen(alt.Chart(line_data))
            .mark_line(clip=True, color=palette.THRESHOLD, strokeWidth=1)
            .encode(
                x=x,
                y=alt.Y("v:Q", title=title),
                detail="line:N",
                strokeDash=alt.StrokeDash(
                    "what:N", legend=None, scale=alt.Scale(domain=["baseline", "threshold"], range=[[1, 0], [5, 4]])
                ),
            )
        )
        if marks:
            layers.append(
                seen(alt.Chart(mark_data))
                .mark_point(size=42, filled=True, color=palette.ALARM, clip=True, opacity=0.9)
                .encode(
                    x=x,
                    y=alt.Y("v:Q", title=title),
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
            begins = np.array([strip.x(k, 0.0) for k in range(len(strip.numbers))])
            layers.append(
                alt.Chart(values([{"x": b, "run": t} for b, t in zip(begins, strip.labels, strict=True)]))
                .mark_text(align="left", baseline="bottom", dy=-2, dx=1, fontSize=10, color=palette.FAINT)
                .encode(x=x, y=alt.value(0), text="run:N")
            )
        return layers

    return make


def _label_rows(shades: Sequence[dict[str, Any]], strip: Strip) -> list[dict[str, Any]]:
    """Name each kind of shade where it is wide enough to carry its name."""
    wide = 0.075 * strip.end_s / frame.SECONDS[strip.unit]
    out: dict[str, dict[str, Any]] = {}
    for row in shades:
        if row["kind"] not in out and row["x2"] - row["x"] >= wide:
            out[row["kind"]] = {"x": row["x"], "kind": row["kind"]}
    return list(out.values())


def _line_rows(record: ChannelRecord, strip: Strip, factor: float) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    for place, trace in enumerate(record.traces):
        if trace.baseline is None or trace.observed.size == 0:
            continue
        begin, end = float(trace.observed[0, 0]), float(trace.observed[-1, 1])
        knots = trace.baseline.knot_s
        inner = knots[(knots > begin) & (knots < end)]
        most = max(4, 300 // len(record.traces))
        if inner.size > most:
            jumps = np.flatnonzero(np.diff(inner) < 1e-3)
            keep = np.unique(np.concatenate((np.linspace(0, inner.size - 1, most).astype(int), jumps, jumps + 1)))
            inner = inner[keep]
        # The fitted surge bends most at the start: follow it there.
        early = begin + np.geomspace(1.0, max(min(600.0, end - begin), 2.0), 24) - 1.0
        time = np.unique(np.concatenate(([begin], early[early < end], inner, [end])))
        level = trace.baseline.at(time)
        for what, shift in (("baseline", 0.0), ("threshold", trace.enter_V), ("threshold", -trace.enter_V)):
            name = f"{place} {shift:.6f}"
            rows.extend(
                {"x": x, "v": (v + shift) * factor, "what": what, "line": name}
                for x, v in zip(strip.x(place, time), level, strict=True)
            )
    return rows


def _mark_rows(item: ChannelAssessment, strip: Strip, factor: float) -> list[dict[str, Any]]:
    chosen = sorted(item.excursions, key=lambda row: -abs(row.deviation_V))[:MOST_MARKS]
    rows = []
    for row in sorted(chosen, key=lambda row: (row.run, row.start_s)):
        if row.run not in strip.numbers:
            continue
        place = strip.numbers.index(row.run)
        rows.append(
            {
                "x": strip.x(place, 0.5 * (row.start_s + row.end_s)),
                "v": row.peak_V * factor,
                "sign": POINTERS[row.deviation_V < 0],
                "lasts": row.duration_s,
                "when": f"run {row.run + 1}, {clock_text(row.start_s)}",
                "note": "at least (cut, or over range)" if row.at_least else row.phase,
            }
        )
    return rows


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
    item = frame.pick(assessment, channel)
    record = frame.record_of(assessment, item.channel)
    found = record.episodes
    if found.count == 0:
        raise NothingToDraw(f"channel {item.channel} has no episode to draw")
    chosen = np.sort(np.argsort(-found.size_V, kind="stable")[:most])
    length = found.end_s[chosen] - found.start_s[chosen]
    shown = float(min(length.max(), max(4.0 * float(np.median(length)), 5.0)))
    pad = max(0.25 * shown, 2.0)
    runs = [
        (run, index) for run in assessment.traces for index, t in enumerate(run.traces) if t.channel == item.channel
    ]
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
        label = f"{several}{clock_text(begin)}"
        if label in order:
            label = f"{label} ({number + 1})"
        order.append(label)
        rows.extend(
            {"t": t - begin, "lo": lo, "hi": hi, "episode": label}
            for t, lo, hi in zip(part.time_s, part.low_V, part.high_V, strict=True)
        )
    unit, factor = frame.volt_unit(max((max(abs(row["lo"]), abs(row["hi"])) for row in rows), default=0.0))
    for row in rows:
        row["lo"], row["hi"] = row["lo"] * factor, row["hi"] * factor
    level = item.baseline.level_V or 0.0
    enter = item.thresholds["enter_V"]
    bounds = [{"v": (level + sign * enter) * factor, "episode": label} for label in order for sign in (-1, 1)]
    x = alt.X("t:Q", title="time since it began (s)", scale=alt.Scale(domain=[-pad, shown + pad], nice=False))
    data = values(rows + [{"bound": row["v"], "episode": row["episode"]} for row in bounds])
    area = (
        alt.Chart()
        .mark_area(clip=True, color=palette.PETROL, fillOpacity=0.8, stroke=palette.PETROL, strokeWidth=1.3)
        .encode(x=x, y=alt.Y("lo:Q", title=f"offset ({unit})"), y2="hi:Q")
    )
    limit = alt.Chart().mark_rule(color=palette.THRESHOLD, strokeDash=[5, 4]).encode(y=alt.Y("bound:Q"))
    columns = 2 if len(order) == 4 else min(3, len(order))
    chart = (
        alt.layer(area, limit, data=data)
        .properties(width=(frame.WIDTH - 60) // columns - 18, height=110)
        .facet(alt.Facet("episode:N", sort=order, title=None), columns=columns, spacing=16)
    )
    return frame.finish(chart, _episodes_caption(item, found.size_V, length), _episodes_note(chosen.size, found.count))


def _episodes_caption(item: ChannelAssessment, size_V: Any, length_s: Any) -> str:
    largest, least = float(size_V.max()), float(size_V.min())
    size = volts_text(largest) if size_V.size == 1 else f"{volts_text(least)} to {volts_text(largest)}"
    lasts = f"{np.median(length_s):.3g} s" if length_s.size > 1 else f"{length_s[0]:.3g} s"
    middle = "typically " if length_s.size > 1 else ""
    return f"{item.channel}: {frame.count_text(size_V.size, 'episode')} of {size}, lasting {middle}{lasts}."


def _episodes_note(drawn: int, total: int) -> str:
    which = f"The {drawn} largest of {total}" if drawn < total else "All of them"
    return f"{which}, in order of time, on one scale of time and volts. Dashed: the thresholds."
