"""Before and after, how long to soak, and a channel among its like: from documents, and from the rows of a ledger."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import altair as alt

from flicker.base.formats import count_text, digits_text, hours_text, lasting_text, millivolts_text, share_text
from flicker.base.values import Aspect, Fitness, VerdictWord
from flicker.evidence.channel import ChannelAssessment
from flicker.present import palette
from flicker.present.charts import _frame as frame
from flicker.present.charts._frame import NothingToDraw, values
from flicker.present.report.parts import document_of
from flicker.present.said import rate_name, soak_steps, swings_text


def before_after(comparison: Any) -> Any:
    """Draw each channel's rate before and after, with intervals.

    Parameters
    ----------
    comparison : Comparison or mapping
        What `flicker.compare` returned, or its document.

    Raises
    ------
    NothingToDraw
        If no channel has a rate on both sides.
    """
    told = document_of(comparison)
    rows: list[dict[str, Any]] = []
    names = [frame.label(name) for name in told.get("stages") or ("before", "after")]
    for item in told["channels"]:
        for side, name in zip(("before", "after"), names, strict=True):
            rate = item.get(side) or {}
            if rate.get("per_hour") is None:
                continue
            episodes, seconds = rate.get("episodes"), rate.get("observed_s")
            said = (
                f"{episodes} in {lasting_text(seconds)}" if episodes is not None and seconds is not None else ""
            )
            rows.append(
                {
                    "channel": frame.label(item["channel"]),
                    "side": name,
                    "rate": rate["per_hour"],
                    "low": rate.get("low_per_hour") or 0.0,
                    "high": rate.get("high_per_hour") or rate["per_hour"],
                    "said": said,
                }
            )
    if not rows:
        raise NothingToDraw("the comparison holds no rate to draw")
    data = values(rows)
    top = 1.4 * max(row["high"] for row in rows)
    y = alt.Y("side:N", sort=names, title=None, axis=alt.Axis(grid=False))
    x = alt.X("rate:Q", title="episodes per observed hour", scale=alt.Scale(domain=[0, top or 1.0], nice=False))
    tone = alt.Color("side:N", legend=None, scale=alt.Scale(domain=names, range=[palette.BRASS, palette.PETROL]))
    order = [frame.label(item["channel"]) for item in told["channels"]]
    chart = (
        frame.layer(
            alt.Chart().mark_rule(strokeWidth=4, opacity=0.55).encode(x=alt.X("low:Q"), x2=alt.X2("high:Q"), y=y, color=tone),
            alt.Chart().mark_point(filled=True, size=80, opacity=1).encode(x=x, y=y, color=tone),
            alt.Chart()
            .mark_text(align="left", dx=6, color=palette.FAINT, fontSize=10)
            .encode(x=alt.X("high:Q"), y=y, text=alt.Text("said:N")),
            data=data,
        )
        .properties(width=frame.WIDTH - 110, height=64)
        .facet(row=alt.Row("channel:N", sort=order, title=None, header=alt.Header(labelAngle=0, labelAlign="left")))
    )
    caption = " ".join(_compared(item) for item in told["channels"])
    return frame.finish(chart, caption, "Dot: rate; bar: its interval.")


def _compared(item: Mapping[str, Any]) -> str:
    ratio = item.get("ratio") or {}
    low, high, estimate = ratio.get("low"), ratio.get("high"), ratio.get("estimate")
    size = ""
    swings = (item.get("aspects") or [item])[0]
    name = rate_name(swings.get("aspect", Aspect.EPISODES))
    if estimate is not None:
        reach = f", between {digits_text(low or 0.0)} and {'any value' if high is None else digits_text(high)}"
        if estimate == 0.0 and high is not None:
            size = f" (at most {digits_text(high)} of the {name} before)"
        else:
            size = f" ({digits_text(estimate)} times the {name} before{reach})"
    said = swings_text(item["outcome"], item.get("aspect", Aspect.EPISODES), swings["outcome"])
    return f"{item['channel']}: {said}{size}."


def _apart(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Rows whose labels do not lie on each other, the largest first."""
    kept: list[dict[str, Any]] = []
    for row in reversed(rows):
        if all(abs(row["c"] - k["c"]) > 0.09 or abs(row["h"] - k["h"]) > 0.2 * rows[-1]["h"] for k in kept):
            kept.append(row)
    return kept


def soak(plan: Any) -> Any:
    """Draw the chance of catching the fault, or the confidence of a clean log, against hours of soak.

    Parameters
    ----------
    plan : SoakPlan or mapping
        What `flicker.plan_soak` returned, or its document.

    Raises
    ------
    NothingToDraw
        If the plan holds no table of hours.
    """
    told = document_of(plan)
    steps = soak_steps((row["hours"], row["confidence"]) for row in told.get("table") or ())
    if not steps:
        raise NothingToDraw("the plan holds no table of hours to draw")
    rows = [
        {"h": hours, "c": chance, "said": f"{share_text(chance)}: {hours_text(hours)}"} for hours, chance in steps
    ]
    x = alt.X("h:Q", title="hours of soak (h)", scale=alt.Scale(domain=[0, 1.18 * steps[-1][0]], nice=False))
    y = alt.Y("c:Q", title="confidence", axis=alt.Axis(format="~p"), scale=alt.Scale(domain=[0, 1.08], nice=False))
    data = values([{"h": 0.0, "c": 0.0, "said": ""}, *rows])
    curve = [alt.Chart(data).mark_line(color=palette.PETROL, strokeWidth=2, interpolate="monotone").encode(x=x, y=y)]
    layers = [
        *(() if told.get("power_ups_needed") else curve),  # half a power-up is none: between whole ones nothing is known
        alt.Chart(values(rows)).mark_point(filled=True, size=50, color=palette.PETROL, opacity=1).encode(x=x, y=y),
        alt.Chart(values(_apart(rows)))
        .mark_text(align="left", dx=8, dy=9, fontSize=10, color=palette.INK)
        .encode(x=x, y=y, text=alt.Text("said:N")),
    ]
    hours = told.get("hours")
    if hours is not None:
        layers.append(frame.dashed([{"h": hours}], x=x))
    caption = str(told.get("reads") or f"{hours_text(float(hours or 0.0))} of soak for {share_text(told['confidence'])}.")
    chart = frame.layer(*layers, width=frame.WIDTH - 40, height=230)
    return frame.finish(chart, caption, "Dots: hours for each confidence. Dashed: the plan.")


def levels_of_ledger(rows: Sequence[dict[str, Any]], item: ChannelAssessment) -> Any:
    """Draw the level at rest of every sound channel of a ledger, and a line for the channel on the bench.

    Parameters
    ----------
    rows : sequence of dict
        Of a ledger, as `flicker.ledger.read_ledger` returns them.
    item : ChannelAssessment
        The channel on the bench.

    Raises
    ------
    NothingToDraw
        If the ledger holds no sound channel.
    """
    sound = [
        {"model": frame.label(str(row["model"] or "model not recorded")), "mV": abs(row["level_V"]) * 1e3}
        for row in rows
        if (row["verdict"], row["fitness"]) == (VerdictWord.STEADY, Fitness.WITHIN_LIMITS) and row["level_V"] is not None
    ]
    if not sound:
        raise NothingToDraw("the ledger holds no sound channel")
    here = item.baseline.level_V
    x = alt.X("mV:Q", title="distance of the level at rest from zero (mV)", scale=alt.Scale(zero=True))
    dots = alt.Chart(values(sound)).mark_point(filled=True, size=45, opacity=0.6, color=palette.PETROL)
    layers = [dots.encode(x=x, y=alt.Y("model:N", title=None, axis=alt.Axis(labelLimit=200)))]
    if here is not None:
        layers.append(alt.Chart(values([{"mV": abs(here) * 1e3}])).mark_rule(color=palette.ALARM).encode(x=x))
    models = len({row["model"] for row in sound})
    rests = "is not known to rest anywhere" if here is None else f"rests {millivolts_text(abs(here))} from zero"
    caption = f"{item.channel} {rests}, beside {count_text(len(sound), 'sound channel')} of {count_text(models, 'model')}."
    chart = frame.layer(*layers, width=frame.WIDTH - 160, height=max(60, 26 * models))
    return frame.finish(chart, caption, "Dots: sound channels of earlier jobs, steady and within limits. Line: this channel.")
