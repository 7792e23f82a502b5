"""A unit over visits: the rate and the settled level of each, the line through them, and the visit ahead."""

from __future__ import annotations

import datetime as dt
import itertools
import math
from typing import Any

import altair as alt
import numpy as np

from flicker.base.formats import lasting_text, share_text
from flicker.base.limits import Limits
from flicker.base.units import HOUR
from flicker.evidence.findings import NOT_SHOWN
from flicker.evidence.located.power_up_rates import PowerUpRates, grown
from flicker.evidence.visits.growth import SATURATED
from flicker.evidence.visits.visited import ChannelVisits, Visits
from flicker.present import palette
from flicker.present.charts import _frame as frame
from flicker.present.charts._frame import NothingToDraw, values
from flicker.present.charts._rates import RATE, bars_note, scatter_bars

STEPS = 60  # of the fitted line
AHEAD = "next visit, if it goes on"


def pick_visits(result: Visits, channel: str | None) -> tuple[ChannelVisits, str]:
    """Find the channel of that name, or the one with most episodes; and its colour."""
    names = [item.channel for item in result.channels]
    if channel is None:
        item = max(result.channels, key=lambda one: sum(row.episodes for row in one.visits))
    elif channel in names:
        item = result.channels[names.index(channel)]
    else:
        raise ValueError(f"channel must be one of {', '.join(names)}, got {channel!r}")
    return item, palette.SERIES[names.index(item.channel) % len(palette.SERIES)]


class _Axis:
    """Visits along the page: by date where all have one, else by number."""

    def __init__(self, result: Visits, item: ChannelVisits) -> None:
        rows = [result.visits[row.visit] for row in item.visits]
        self.dated = all(row.date is not None for row in rows)
        self.ages = [float(row.day if self.dated and row.day is not None else row.number) for row in rows]
        first = rows[0].date
        self.begin = dt.datetime(first.year, first.month, first.day) if first is not None else dt.datetime(2000, 1, 1)
        self.origin = self.ages[0]
        self.names = [f"{row.date:%d %b %Y}" if row.date is not None else f"visit {row.number + 1}" for row in rows]

    def at(self, age: float) -> Any:
        """Place of an age: a day, as text that Vega reads without a time zone, or a number counted from 1."""
        if not self.dated:
            return age + 1.0
        return (self.begin + dt.timedelta(days=age - self.origin)).strftime("%Y-%m-%dT%H:%M:%S")

    @property
    def again(self) -> Any:
        """The axis in a layer after the first: a scale of dates may be told only once."""
        return alt.X("x:T" if self.dated else "x:Q")

    def x(self, last: float) -> Any:
        """Axis up to an age, with some room on both sides."""
        room = 0.1 * max(last - self.ages[0], 1.0)
        ends = [self.at(self.ages[0] - room), self.at(last + room)]
        if not self.dated:
            return alt.X("x:Q", title="visit (number)", scale=alt.Scale(domain=ends, nice=False),
                         axis=alt.Axis(format="d", tickMinStep=1))  # fmt: skip
        marks = [self.at(age) for age in self.ages]
        return alt.X(
            "x:T",
            title="date of the visit",
            scale=alt.Scale(domain=ends, nice=False),
            axis=alt.Axis(format="%d %b %Y", values=marks, grid=False),
        )


def visit_rates(result: Visits, channel: str | None = None) -> Any:
    """Draw the rate of each visit with its exact interval, the growth, the scatter allowed, and the next visit.

    Notes
    -----
    The line has the fitted factor and passes where it gives as many episodes in all as were seen. The scale is that of
    the square root, on which equal lengths are about equal errors of a count.

    Raises
    ------
    ValueError
        If there is no channel of that name, or nothing was observed of it.
    """
    item, colour = pick_visits(result, channel)
    axis = _Axis(result, item)
    rows = [
        {
            "x": axis.at(age),
            "rate": row.per_hour,
            "low": row.low_per_hour,
            "high": row.high_per_hour,
            "said": f"{row.episodes} in {lasting_text(row.observed_s)}",
            "name": name,
        }
        for row, age, name in zip(item.visits, axis.ages, axis.names, strict=True)
        if row.per_hour is not None and row.high_per_hour is not None
    ]
    if not rows:
        raise NothingToDraw(f"nothing was observed of channel {item.channel}, so it has no rate to draw")
    ahead = _ahead(item)
    line = _line(item, axis, ahead["age"] if ahead else None)
    last = ahead["age"] if ahead else axis.ages[-1]
    x = axis.x(last)
    concern = result.limits.episode_rate_per_h
    top = 1.25 * max([concern, *(row["high"] for row in rows), *([ahead["high"]] if ahead else [])])
    data = values(rows)
    told = _told(item, axis, result.limits)
    if told is not None and told.most is not None:
        top = max(top, 1.05 * float(np.max(told.most)))
    y = alt.Y("rate:Q", title=RATE, scale=alt.Scale(type="sqrt", domain=[0, top], nice=False))
    layers = scatter_bars(told, [axis.at(age) for age in axis.ages], x) if told is not None else []
    if layers:
        x = axis.again
    layers.append(frame.dashed([{"rate": concern}], y=y))
    for dash, part in (([1, 0], [r for r in line if not r["ahead"]]), ([3, 4], [r for r in line if r["ahead"]])):
        if len(part) > 1:
            layers.append(
                alt.Chart(values(part))
                .mark_line(color=palette.INK, strokeWidth=1.2, strokeDash=dash)
                .encode(x=axis.again, y=y)
            )
    layers += [
        alt.Chart(data).mark_rule(strokeWidth=3, color=colour, opacity=0.55).encode(x=x, y=alt.Y("low:Q"), y2=alt.Y2("high:Q")),
    ]
    x = axis.again
    layers += [
        alt.Chart(data)
        .mark_point(filled=True, size=80, color=colour, opacity=1)
        .encode(x=x, y=y, tooltip=[alt.Tooltip("name:N"), alt.Tooltip("said:N")]),
        alt.Chart(data).mark_text(dy=-9, color=palette.INK, fontSize=11).encode(x=x, y=alt.Y("high:Q"), text=alt.Text("said:N")),
    ]
    if ahead:
        next_one = values([{"x": axis.at(ahead["age"]), "rate": ahead["rate"], "low": ahead["low"], "high": ahead["high"],
                            "said": AHEAD}])  # fmt: skip
        layers += [
            alt.Chart(next_one)
            .mark_rule(strokeWidth=1.6, color=palette.INK, strokeDash=[3, 4])
            .encode(x=x, y=alt.Y("low:Q"), y2=alt.Y2("high:Q")),
            alt.Chart(next_one)
            .mark_point(filled=True, fill=palette.SHEET, stroke=palette.INK, shape="diamond", size=110, opacity=1)
            .encode(x=x, y=y, tooltip=[alt.Tooltip("said:N")]),
        ]
    note = bars_note(told, "visit", result.limits) if told is not None else ""
    if ahead:
        note += " Diamond: the next visit, and where its count will lie, if the growth goes on; no log shows that yet."
    caption = f"{item.channel}: {item.rate.reads}" if len(item.visits) > 1 else item.reads
    return frame.finish(frame.layer(*layers, width=frame.WIDTH, height=250), caption, note)


def _told(item: ChannelVisits, axis: _Axis, limits: Limits) -> PowerUpRates | None:
    """Rates of the visits with the fitted growth and the scatter that the claim allows."""
    hours = np.array([row.observed_s / HOUR for row in item.visits])
    if not np.all(hours > 0):
        return None
    counts = np.array([row.episodes for row in item.visits], dtype=np.int64)
    rate, shown = item.rate, item.rate.answer != NOT_SHOWN
    if SATURATED in rate.cautions:  # the growth is that of occupied windows, the dots are episodes
        return grown(counts, hours, np.array(axis.ages), None, math.nan, False, limits)
    held = rate.holds_up_to_scatter if shown else None
    scatter = held if held is not None else math.nan if rate.scatter is None else rate.scatter
    return grown(counts, hours, np.array(axis.ages), rate.overall, scatter, shown, limits)


def _ahead(item: ChannelVisits) -> dict[str, float] | None:
    """Forecast as rates per hour; None where there is none, or it has no upper end."""
    told = item.forecast
    if told is None or not math.isfinite(told.high) or told.exposure <= 0:
        return None
    hours = told.exposure / HOUR
    return {"age": told.age, "rate": told.expected / hours, "low": told.low / hours, "high": told.high / hours}


def _line(item: ChannelVisits, axis: _Axis, until: float | None) -> list[dict[str, Any]]:
    """Fitted rate along the visits, and on to the next; its steps, where these are shown and no growth is."""
    rows = item.since.stretches if item.since is not None and item.rate.answer == NOT_SHOWN else ()
    if rows and rows[0].per_hour is not None:
        edges = itertools.pairwise((0, *(row.unit or 0 for row in rows[1:]), len(axis.ages)))
        return [
            {"x": axis.at(age), "rate": row.per_hour, "ahead": False}
            for row, (a, b) in zip(rows, edges, strict=True)
            for age in axis.ages[a:b]
        ]
    factor, ages = item.rate.per_visit, np.array(axis.ages)
    if factor is None or SATURATED in item.rate.cautions or not 0.0 < factor < math.inf or np.ptp(ages) == 0:
        return []
    growth = math.log(factor) * (len(ages) - 1) / float(np.ptp(ages))
    hours = np.array([row.observed_s / HOUR for row in item.visits])
    count = float(sum(row.episodes for row in item.visits))
    scale = count / float(np.sum(hours * np.exp(growth * (ages - ages[0]))))
    pieces = [(False, ages[0], ages[-1])] + ([(True, ages[-1], until)] if until is not None else [])
    return [
        {"x": axis.at(float(age)), "rate": scale * math.exp(growth * float(age - ages[0])), "ahead": later}
        for later, begin, end in pieces
        for age in np.linspace(begin, end, STEPS)
    ]


def visit_levels(result: Visits, channel: str | None = None) -> Any:
    """Draw the settled level of each power-up and of each visit, and where it will lie at the next.

    Raises
    ------
    ValueError
        If there is no channel of that name, or it was never seen at rest.
    """
    item, colour = pick_visits(result, channel)
    axis = _Axis(result, item)
    single: list[dict[str, Any]] = []
    middle: list[dict[str, Any]] = []
    for row, age, name in zip(item.visits, axis.ages, axis.names, strict=True):
        record = frame.record_of(result.assessments[row.visit], item.channel)
        seen = [t.level_V for t in record.traces if t.level_V is not None and t.observed_s > 0]
        single.extend({"x": axis.at(age), "mV": 1e3 * level, "name": name} for level in seen)
        if seen:
            middle.append({"x": axis.at(age), "mV": 1e3 * float(np.median(seen)), "name": name})
    if not middle:
        raise NothingToDraw(f"channel {item.channel} was never seen at rest")
    told = item.level_forecast
    x = axis.x(told.age if told else axis.ages[-1])
    limit = 1e3 * result.limits.settled_offset_V
    reach = [row["mV"] for row in single] + ([1e3 * told.low_V, 1e3 * told.high_V] if told else [])
    low, high = min(reach), max(reach)
    room = max(0.15 * (high - low), 0.5)
    lines = [side for side in (-limit, limit) if low - 4 * room < side < high + 4 * room]
    ends = [min([low - room, *(side - room for side in lines)]), max([high + room, *(side + room for side in lines)])]
    y = alt.Y("mV:Q", title="settled level (mV)", scale=alt.Scale(domain=ends, nice=False, zero=False))
    layers = [frame.dashed([{"mV": side} for side in lines], y=y)] if lines else []
    if len(middle) > 1:
        layers.append(
            alt.Chart(values(middle)).mark_line(color=colour, strokeWidth=1.2, opacity=0.6).encode(x=axis.again, y=y)
        )
    layers += [
        alt.Chart(values(single))
        .mark_point(size=46, color=colour, strokeWidth=1.4)
        .encode(x=x, y=y, tooltip=[alt.Tooltip("name:N")]),
        alt.Chart(values(middle)).mark_point(filled=True, size=80, color=colour, opacity=1).encode(x=axis.again, y=y),
    ]
    note = "Rings: power-ups; dots: middle of each visit."
    if lines:
        note += " Level dashes: limit of the level at rest."
    if told:
        data = values([{"x": axis.at(told.age), "mV": 1e3 * told.expected_V, "low": 1e3 * told.low_V,
                        "high": 1e3 * told.high_V, "said": AHEAD}])  # fmt: skip
        layers += [
            alt.Chart(data)
            .mark_rule(strokeWidth=1.6, color=palette.INK, strokeDash=[3, 4])
            .encode(x=axis.again, y=alt.Y("low:Q"), y2=alt.Y2("high:Q")),
            alt.Chart(data)
            .mark_point(filled=True, fill=palette.SHEET, stroke=palette.INK, shape="diamond", size=110, opacity=1)
            .encode(x=axis.again, y=y, tooltip=[alt.Tooltip("said:N")]),
        ]
        note += f" Diamond: the next visit with its {share_text(told.confidence)} interval, if the level goes on in a line."
    trend = next((one for one in item.levels if one.quantity == "settled level"), None)
    moved = f"{item.channel}: {trend.reads}" if trend else f"{item.channel}: one visit shows no movement."
    if trend is not None and trend.answer == NOT_SHOWN and told is None:
        moved += f" {item.level_reads}"
    return frame.finish(frame.layer(*layers, width=frame.WIDTH, height=200), moved, note)
