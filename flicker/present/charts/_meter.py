"""Is the meter good enough? How noise averages down, and which glitches fall between two readings."""

from __future__ import annotations

from typing import Any

import altair as alt
import numpy as np

from flicker.base.formats import digits_text, lasting_text, millivolts_text, seconds_text, volts_text
from flicker.evidence.assessment import Assessment
from flicker.present import palette
from flicker.present.charts import _frame as frame
from flicker.present.charts._frame import NothingToDraw, values


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

    item = frame.pick(assessment, channel)
    record = frame.record_of(assessment, item.channel)
    trace = max(record.traces, key=lambda one: one.residual_V.size)
    if trace.baseline is None or trace.residual_V.size < 64:
        raise NothingToDraw(
            f"channel {item.channel} has too few readings at rest for an Allan deviation; 64 are needed"
        )
    calm = np.abs(trace.residual_V) < trace.leave_V
    signal = (trace.residual_V + np.interp(trace.residual_s, trace.baseline.knot_s, trace.baseline.knot_V))[calm]
    step = float(np.median(np.diff(trace.residual_s)))
    if signal.size < 64:
        raise NothingToDraw(
            f"channel {item.channel} has too few readings at rest for an Allan deviation; 64 are needed"
        )
    result = allan_deviation(signal, step)
    span, deviation = np.asarray(result.span_s), np.asarray(result.deviation)
    good = deviation > 0
    span, deviation = span[good], deviation[good]
    if span.size == 0:
        raise NothingToDraw(f"channel {item.channel} never moves by one digit; there is no noise to draw")
    colour = frame.colour_of(assessment, item.channel)
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
        .encode(x=x, y=y, text=alt.value("white noise would fall so")),
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
            .encode(x=x, y=y, text=alt.value(f"rounding to {millivolts_text(digit)}"))
        )
    best = int(np.argmin(deviation))
    caption = (
        f"{item.channel}: noise colour {item.noise.colour or 'not told'}; "
        f"averages of {_length(float(span[best]))} are the steadiest, "
        f"they differ by {_small(float(deviation[best]))}."
    )
    note = (
        "How far neighbouring averages differ. A line that falls: averaging helps; level or rising: it no longer does."
    )
    return frame.finish(alt.layer(*layers, width=frame.WIDTH - 40, height=230), caption, note)


def _length(seconds: float) -> str:
    return f"{seconds_text(seconds)}" if seconds < 60 else lasting_text(seconds)


def _small(volts: float) -> str:
    return f"{digits_text(volts * 1e6, 3)} µV" if abs(volts) < 1e-3 else volts_text(volts)


def caught(sample_interval_s: float, *, integration_s: float = 0.0, needed_fraction: float = 0.5) -> Any:
    """Draw which share of glitches a meter can see, by their length.

    Parameters
    ----------
    sample_interval_s : float
        Seconds between readings.
    integration_s : float
        Seconds over which each reading averages.
    needed_fraction : float
        Threshold over glitch height.

    Raises
    ------
    ValueError
        If a value is out of range.
    """
    from flicker.stats.soak import detectable_share

    lengths = np.geomspace(sample_interval_s * 0.02, sample_interval_s * 10.0, 120)
    rows: list[dict[str, Any]] = []
    shares: dict[str, list[float]] = {}
    for kind, name in (("fixed", "all of one length"), ("exponential", "mixed lengths, this mean")):
        shares[kind] = [
            detectable_share(
                float(length),
                sample_interval_s,
                integration_s,
                needed_fraction=needed_fraction,
                lengths=kind,  # type: ignore[arg-type]
            ).share
            for length in lengths
        ]
        rows.extend({"x": t, "s": s, "kind": name} for t, s in zip(lengths, shares[kind], strict=True))
    x = alt.X("x:Q", title="length of a glitch (s)", scale=frame.log_scale(lengths))
    y = alt.Y(
        "s:Q",
        title="share that leaves a reading",
        axis=alt.Axis(format="~p"),
        scale=alt.Scale(domain=[0, 1.05], nice=False),
    )
    names = ["all of one length", "mixed lengths, this mean"]
    tone = alt.Color("kind:N", legend=None, scale=alt.Scale(domain=names, range=[palette.PETROL, palette.BRASS]))
    ends = [
        {"x": lengths[k], "s": shares[kind][k], "kind": name}
        for kind, name, k in (("fixed", names[0], 62), ("exponential", names[1], 86))
    ]
    chart = alt.layer(
        alt.Chart(values([{"x": sample_interval_s}])).mark_rule(color=palette.THRESHOLD, strokeDash=[5, 4]).encode(x=x),
        alt.Chart(values(rows)).mark_line(strokeWidth=2).encode(x=x, y=y, color=tone),
        alt.Chart(values(ends[:1])).mark_text(align="right", dx=-8).encode(x=x, y=y, text=alt.Text("kind:N"), color=tone),
        alt.Chart(values(ends[1:])).mark_text(align="left", dx=8, dy=8).encode(x=x, y=y, text=alt.Text("kind:N"), color=tone),
    ).properties(width=frame.WIDTH - 40, height=210)
    nine = float(lengths[min(int(np.searchsorted(shares["fixed"], 0.9)), lengths.size - 1)])
    every = f"A reading every {seconds_text(sample_interval_s)}"
    caption = f"{every} shows nine in ten glitches from {digits_text(nine)} s on; shorter ones slip between."
    return frame.finish(chart, caption, "Dashed: the sample interval.")
