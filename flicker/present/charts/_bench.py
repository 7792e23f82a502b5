"""What the bench asks beyond counting: unit or meter, the warm-up, what the hand provokes, the speaker's share, the meter's eye."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import altair as alt
import numpy as np

from flicker.base.formats import (
    count_text,
    digits_text,
    lasting_text,
    millivolts_text,
    seconds_text,
    share_text,
    volts_text,
)
from flicker.base.units import HOUR
from flicker.evidence.assessment import Assessment
from flicker.evidence.findings import NOT_SHOWN
from flicker.present import palette
from flicker.present.charts import _frame as frame
from flicker.present.charts._frame import NothingToDraw, values
from flicker.stats.rates import rate_interval

STEPS = 120  # of a fitted curve


def unit_or_meter(assessment: Assessment, channel: str | None = None) -> Any:
    """Draw the rate of the unit, that of the control run, and what is left above the control, with intervals.

    Raises
    ------
    ValueError
        If there is no channel of that name, or no control run was given.
    """
    item = frame.pick(assessment, channel)
    told = item.control
    if told is None:
        raise NothingToDraw(f"channel {item.channel} has no control run to be set against")
    if told.count + told.control_count == 0:
        raise NothingToDraw(f"neither channel {item.channel} nor its control showed an episode")
    rows: list[dict[str, Any]] = []
    for name, count, seconds in (
        ("unit", told.count, told.observed_s),
        (f"control ({told.control})", told.control_count, told.control_s),
    ):
        rate = rate_interval(count, seconds / HOUR, confidence=told.confidence)
        said = f"{count} in {lasting_text(seconds)}"
        rows.append({"name": name, "rate": rate.rate, "low": rate.low, "high": rate.high, "said": said})
    above = f"{digits_text(told.excess_low_per_h, 3)} to {digits_text(told.excess_high_per_h, 3)}"
    rows.append(
        {
            "name": "unit less control",
            "rate": told.excess_per_h,
            "low": told.excess_low_per_h,
            "high": told.excess_high_per_h,
            "said": above,
        }
    )
    order = [row["name"] for row in rows]
    colour = frame.colour_of(assessment, item.channel)
    tone = alt.Color("name:N", legend=None, scale=alt.Scale(domain=order, range=[colour, palette.SLATE, palette.INK]))
    form = alt.Shape("name:N", legend=None, scale=alt.Scale(domain=order, range=["circle", "square", "diamond"]))
    low, high = min(0.0, *(row["low"] for row in rows)), max(row["high"] for row in rows)
    scale = alt.Scale(domain=[low - 0.02 * (high - low), high + 0.22 * (high - low)], nice=False)
    x = alt.X("rate:Q", title="episodes per observed hour", scale=scale)
    y = alt.Y("name:N", sort=order, title=None, axis=alt.Axis(labelLimit=190, grid=False))
    data = values(rows)
    layers = [
        alt.Chart(values([{"x": 0.0}])).mark_rule(color=palette.EDGE, strokeWidth=1.5).encode(x=alt.X("x:Q")),
        alt.Chart(data).mark_rule(strokeWidth=3, opacity=0.6).encode(x=alt.X("low:Q"), x2=alt.X2("high:Q"), y=y, color=tone),
        alt.Chart(data).mark_point(filled=True, size=90, opacity=1).encode(x=x, y=y, color=tone, shape=form),
        alt.Chart(data)
        .mark_text(align="left", dx=8, color=palette.INK, fontSize=11)
        .encode(x=alt.X("high:Q"), y=y, text=alt.Text("said:N")),
    ]
    note = (
        f"Bars: {share_text(told.confidence)} intervals. The difference speaks of the unit where its bar clears zero; it is "
        "widened where episodes come in bursts."
    )
    chart = frame.layer(*layers, width=frame.WIDTH - 130, height=120)
    return frame.finish(chart, f"{item.channel}: {told.reads}", note)


def warm_up(assessment: Assessment, channel: str | None = None) -> Any:
    """Draw the rate against time since power-up over all runs, with intervals per stretch and the fitted decay.

    Raises
    ------
    ValueError
        If there is no channel of that name, or fewer than two power-ups with an episode were seen.
    """
    item = frame.pick(assessment, channel)
    told = item.warm_up
    if told is None or not told.bins:
        raise NothingToDraw(f"channel {item.channel}: two power-ups and an episode are needed to ask for a warm-up")
    longest = max(float(run.duration_s) for run in assessment.runs)
    unit = frame.time_unit(longest)
    scale = frame.SECONDS[unit]
    rows: list[dict[str, Any]] = [
        {
            "x": part.begin_s / scale,
            "x2": min(part.end_s, longest) / scale,
            "rate": part.per_h,
            "low": part.low_per_h,
            "high": part.high_per_h,
            "middle": 0.5 * (part.begin_s + min(part.end_s, longest)) / scale,
            "said": f"{part.count} in {lasting_text(part.observed_s)}",
        }
        for part in told.bins
    ]
    colour = frame.colour_of(assessment, item.channel)
    top = 1.1 * max(row["high"] for row in rows)
    x = alt.X("x:Q", title=f"time since power-up ({unit})", scale=alt.Scale(domain=[0, longest / scale], nice=False))
    y = alt.Y("rate:Q", title="episodes per hour", scale=alt.Scale(type="sqrt", domain=[0, top], nice=False))
    data = values(rows)
    layers = [
        alt.Chart(data).mark_rect(color=colour, opacity=0.18).encode(x=x, x2=alt.X2("x2:Q"), y=alt.Y("low:Q"), y2=alt.Y2("high:Q")),
        alt.Chart(data).mark_rule(color=colour, strokeWidth=2.5).encode(x=x, x2=alt.X2("x2:Q"), y=y, tooltip=[alt.Tooltip("said:N")]),
    ]
    note = (
        f"Steps: rate in each stretch over {told.runs} power-ups; shade: exact {share_text(told.confidence)} interval of each by "
        "itself; square-root scale."
    )
    fitted = told.answer != NOT_SHOWN
    if fitted and all(math.isfinite(value) for value in (told.initial_per_h, told.late_per_h, told.tau_s)):
        at = np.linspace(0.0, longest, STEPS)
        fall = np.exp(-at / told.tau_s)
        curve = told.initial_per_h * fall + told.late_per_h * (1.0 - fall)
        line = values([{"x": t / scale, "rate": min(v, top)} for t, v in zip(at, curve, strict=True)])
        layers.append(
            alt.Chart(line).mark_line(color=palette.INK, strokeDash=[5, 4], strokeWidth=1.3, clip=True).encode(x=x, y=y)
        )
        note += " Dashed: fitted exponential."
    if math.isfinite(told.change_s):
        layers.append(
            alt.Chart(values([{"x": told.change_s / scale}]))
            .mark_rule(color=palette.THRESHOLD, strokeDash=[2, 3], strokeWidth=1.5)
            .encode(x=x)
        )
        note += " Upright: where the rate changes."
    chart = frame.layer(*layers, width=frame.WIDTH, height=200)
    return frame.finish(chart, f"{item.channel}: {told.reads}", note)


def thresholds(assessment: Assessment, channel: str | None = None) -> Any:
    """Draw what relays of other thresholds would have done: trips, and the volt-seconds let through to the speaker.

    Raises
    ------
    ValueError
        If there is no channel of that name, or no swing reached any of the thresholds.
    """
    item = frame.pick(assessment, channel)
    relay = item.relay
    own: dict[str, Any] = {
        "trip_V": assessment.limits.protection_V,
        "trips": relay.trips,
        "exposed_volt_s": relay.exposed_volt_s,
    }
    table: list[Mapping[str, Any]] = sorted([own, *relay.what_if], key=lambda row: float(row["trip_V"]))
    if not relay.what_if or not any(row["trips"] for row in table):
        raise NothingToDraw(f"channel {item.channel} would have tripped none of the relays tried")
    rows: list[dict[str, Any]] = [
        {
            "name": f"{row['trip_V']:g} V" + (" (assumed)" if row is own else ""),
            "trips": row["trips"],
            "said": f"{count_text(row['trips'], 'trip')}, {digits_text(float(row['exposed_volt_s']))} V s",
            "own": "assumed" if row is own else "other",
        }
        for row in table
    ]
    order = [row["name"] for row in rows]
    most = max(row["trips"] for row in rows)
    x = alt.X("trips:Q", title="trips (count)", axis=frame.count_axis(most),
              scale=alt.Scale(domain=[0, 1.7 * most], nice=False))  # fmt: skip
    y = alt.Y("name:N", sort=order, title="trip threshold", axis=alt.Axis(grid=False))
    tone = alt.Color(
        "own:N", legend=None, scale=alt.Scale(domain=["assumed", "other"], range=[palette.PETROL, palette.SLATE])
    )
    data = values(rows)
    chart = frame.layer(
        alt.Chart(data).mark_bar(height=14).encode(x=x, y=y, color=tone),
        alt.Chart(data).mark_text(align="left", dx=6, color=palette.INK, fontSize=11).encode(x=x, y=y, text=alt.Text("said:N")),
    ).properties(width=frame.WIDTH - 110, height=26 * len(rows))
    caption = f"{item.channel}: trips by threshold: {relay.what_if_reads}"
    note = "V s: volts times seconds above the threshold before the relay opens, let through to the loudspeaker. Thresholds and delays are assumed, not measured."
    return frame.finish(chart, caption, note)


def stimuli(assessment: Assessment, channel: str | None = None) -> Any:
    """Draw which share of each kind of stimulus was answered, with its interval, beside the share that chance brings.

    Raises
    ------
    ValueError
        If there is no channel of that name, or no stimulus was marked for it in observed time.
    """
    item = frame.pick(assessment, channel)
    told = item.stimulus
    tried = [] if told is None else [kind for kind in told.kinds if kind.trials]
    if told is None or not tried:
        raise NothingToDraw(f"channel {item.channel} has no stimulus marked in observed time")
    rows: list[dict[str, Any]] = [
        {
            "name": frame.label(kind.kind),
            "share": kind.share,
            "low": kind.low,
            "high": kind.high,
            "chance": min(1.0, kind.expected / kind.trials),
            "said": f"{kind.answered} of {kind.trials}",
        }
        for kind in tried
    ]
    colour = frame.colour_of(assessment, item.channel)
    order = [row["name"] for row in rows]
    x = alt.X("share:Q", title="share of trials answered", axis=alt.Axis(format="~p"),
              scale=alt.Scale(domain=[0, 1.12], nice=False))  # fmt: skip
    y = alt.Y("name:N", sort=order, title=None, axis=alt.Axis(grid=False))
    data = values(rows)
    layers = [
        alt.Chart(data).mark_rule(strokeWidth=3, color=colour, opacity=0.55).encode(x=alt.X("low:Q"), x2=alt.X2("high:Q"), y=y),
        alt.Chart(data).mark_point(filled=True, size=80, color=colour, opacity=1).encode(x=x, y=y),
        alt.Chart(data).mark_tick(color=palette.THRESHOLD, thickness=3, size=18).encode(x=alt.X("chance:Q"), y=y),
        alt.Chart(data)
        .mark_text(align="left", dx=7, color=palette.INK, fontSize=11)
        .encode(x=alt.X("high:Q"), y=y, text=alt.Text("said:N")),
    ]
    note = (
        f"Dot and bar: share with exact {share_text(told.confidence)} interval. Upright tick: what chance alone would answer."
    )
    chart = frame.layer(*layers, width=frame.WIDTH - 80, height=max(60, 34 * len(rows)))
    return frame.finish(chart, told.reads, note)


def allan(assessment: Assessment, channel: str | None = None) -> Any:
    """Draw the Allan deviation of the signal at rest: how far neighbouring averages differ, by their length.

    Raises
    ------
    NothingToDraw
        If fewer than 64 readings at rest are at hand, or there is no channel of that name.

    Notes
    -----
    Overlapping Allan deviation (NIST SP 1065, 2008) of the readings in the longest run, start and excursions left out.
    """
    from flicker.stats.noise import allan_deviation

    item, record, colour = frame.chosen(assessment, channel)
    trace = max(record.traces, key=lambda one: one.residual_V.size)
    calm = np.abs(trace.residual_V) < trace.leave_V
    if trace.baseline is None or np.count_nonzero(calm) < 64:
        raise NothingToDraw(f"channel {item.channel} has too few readings at rest for an Allan deviation; 64 are needed")
    signal = (trace.residual_V + np.interp(trace.residual_s, trace.baseline.knot_s, trace.baseline.knot_V))[calm]
    step = float(np.median(np.diff(trace.residual_s)))
    result = allan_deviation(signal, step)
    span, deviation = np.asarray(result.span_s), np.asarray(result.deviation)
    good = deviation > 0
    span, deviation = span[good], deviation[good]
    if span.size == 0:
        raise NothingToDraw(f"channel {item.channel} never moves by one digit; there is no noise to draw")
    digit = item.noise.resolution_V
    rows = [{"tau": t, "d": d * 1e6, "what": "seen"} for t, d in zip(span, deviation, strict=True)]
    white = [{"tau": t, "d": deviation[0] * np.sqrt(span[0] / t) * 1e6} for t in (span[0], span[-1])]
    x = alt.X("tau:Q", title="length of the averages (s)", scale=frame.log_scale(span))
    every = np.array([*(row["d"] for row in (*rows, *white)), *([digit / np.sqrt(12.0) * 1e6] if digit else [])])
    y = alt.Y("d:Q", title="Allan deviation (µV)", scale=frame.log_scale(every))
    layers = [
        alt.Chart(values(white))
        .mark_line(color=palette.THRESHOLD, strokeDash=[5, 4], strokeWidth=1.2)
        .encode(x=x, y=y),
        alt.Chart(values(white[1:]))
        .mark_text(align="right", dy=12, color=palette.THRESHOLD)
        .encode(x=x, y=y, text=frame.TextValue("white noise would fall so")),
        alt.Chart(values(rows))
        .mark_line(color=colour, strokeWidth=2, point={"size": 34, "filled": True, "color": colour})
        .encode(x=x, y=y),
    ]
    if digit:
        # A reading rounded to steps of q carries an error of q / sqrt(12): the uniform law.
        rounding = [{"tau": t, "d": digit / np.sqrt(12.0) * 1e6} for t in (span[0], span[-1])]
        layers.append(alt.Chart(values(rounding)).mark_line(color=palette.PLUM, strokeDash=[1, 3]).encode(x=x, y=y))
        layers.append(
            alt.Chart(values(rounding[:1]))
            .mark_text(align="left", dx=4, dy=-6, color=palette.PLUM)
            .encode(x=x, y=y, text=frame.TextValue(f"rounding to {millivolts_text(digit)}"))
        )
    best = int(np.argmin(deviation))
    least = float(deviation[best])
    differ = f"{digits_text(least * 1e6, 3)} µV" if least < 1e-3 else volts_text(least)
    caption = (
        f"{item.channel}: noise colour {item.noise.colour or 'not told'}; "
        f"averages of {_length(float(span[best]))} are the steadiest, "
        f"they differ by {differ}."
    )
    note = (
        "How far neighbouring averages differ. A line that falls: averaging helps; level or rising: it no longer does."
    )
    return frame.finish(frame.layer(*layers, width=frame.WIDTH - 40, height=230), caption, note)


def _length(seconds: float) -> str:
    return f"{seconds_text(seconds)}" if seconds < 60 else lasting_text(seconds)


def caught(sample_interval_s: float) -> Any:
    """Draw which share of glitches a meter can see, by their length.

    Parameters
    ----------
    sample_interval_s : float
        Seconds between readings, each of one moment.

    Raises
    ------
    ValueError
        If it is out of range.
    """
    from flicker.stats.soak import detectable_share

    lengths = np.geomspace(sample_interval_s * 0.02, sample_interval_s * 10.0, 120)
    fixed, mixed = (
        [detectable_share(float(length), sample_interval_s, lengths=kind).share for length in lengths]
        for kind in ("fixed", "exponential")
    )
    names = ["all of one length", "mixed lengths, this mean"]
    rows = [
        {"x": t, "s": s, "kind": name}
        for name, found in zip(names, (fixed, mixed), strict=True)
        for t, s in zip(lengths, found, strict=True)
    ]
    x = alt.X("x:Q", title="length of a glitch (s)", scale=frame.log_scale(lengths))
    y = alt.Y(
        "s:Q",
        title="share that leaves a reading",
        axis=alt.Axis(format="~p"),
        scale=alt.Scale(domain=[0, 1.05], nice=False),
    )
    tone = alt.Color("kind:N", legend=None, scale=alt.Scale(domain=names, range=[palette.PETROL, palette.BRASS]))
    ends = [rows[62], rows[len(fixed) + 86]]  # where each line has room for its name
    chart = frame.layer(
        frame.dashed([{"x": sample_interval_s}], x=x),
        alt.Chart(values(rows)).mark_line(strokeWidth=2).encode(x=x, y=y, color=tone),
        alt.Chart(values(ends[:1])).mark_text(align="right", dx=-8).encode(x=x, y=y, text=alt.Text("kind:N"), color=tone),
        alt.Chart(values(ends[1:])).mark_text(align="left", dx=8, dy=8).encode(x=x, y=y, text=alt.Text("kind:N"), color=tone),
    ).properties(width=frame.WIDTH - 40, height=210)
    nine = float(lengths[min(int(np.searchsorted(fixed, 0.9)), lengths.size - 1)])
    every = f"A reading every {seconds_text(sample_interval_s)}"
    caption = f"{every} shows nine in ten glitches from {digits_text(nine)} s on; shorter ones slip between."
    return frame.finish(chart, caption, "Dashed: the sample interval.")
