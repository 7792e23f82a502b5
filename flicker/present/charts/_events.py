"""Episodes as points in time: do they come evenly, more often, larger, in bursts, in both channels at once, and when do they trip?"""

from __future__ import annotations

from functools import partial
from typing import Any

import altair as alt
import numpy as np

from flicker.base.formats import count_text, hours_text, p_said, share_text, volts_text
from flicker.evidence.assessment import Assessment
from flicker.evidence.located.rate_changed import since_text
from flicker.evidence.outlook.swings_ahead import growing_swings
from flicker.present import palette
from flicker.present.charts import _frame as frame
from flicker.present.charts._frame import NothingToDraw, values
from flicker.present.charts._rates import changes_on_clock
from flicker.present.said import clean_limit, finding_text, together_text

MOST_EPISODES = 2000


def cumulative(assessment: Assessment, channel: str | None = None) -> Any:
    """Count episodes against observed time, with the straight line of an even rate and its band.

    Notes
    -----
    Given how many came, episodes of an even rate lie uniformly over observed time, so their number by a share u of it
    is binomial; the band is pointwise at the limits' confidence. 'Uneven' is Kolmogorov's test at the same confidence.

    Raises
    ------
    ValueError
        If nothing was observed, or there is no channel of that name.
    """
    item, record, colour = frame.chosen(assessment, channel)
    hours, begins = frame.observed_hours(record)
    total, count = float(begins[-1]), int(hours.size)
    if total <= 0:
        raise NothingToDraw(f"nothing was observed of channel {item.channel}")
    hours = np.sort(hours)
    unit, per = frame.hour_unit(total)
    x = alt.X("x:Q", title=f"observed time ({unit})", scale=alt.Scale(domain=[0, total * per], nice=False))
    y = alt.Y("n:Q", title="episodes so far (count)", axis=frame.count_axis(count))
    layers = []
    confidence = assessment.limits.confidence
    if count:
        from scipy.special import bdtr

        from flicker.stats.laws.scatter import first_count

        def at_most(k: int, p: float) -> float:
            return float(bdtr(min(k, count), count, p))

        share = np.linspace(0.0, 1.0, 61)
        tail = 0.5 * (1.0 - confidence)
        lower, upper = (
            [float(first_count(partial(at_most, p=float(p)), level)) for p in share] for level in (tail, 1.0 - tail)
        )
        band = [
            {"x": u * total * per, "n": lo, "n2": hi, "even": u * count}
            for u, lo, hi in zip(share, lower, upper, strict=True)
        ]
        data = values(band)
        layers.append(alt.Chart(data).mark_area(color=palette.BAND, interpolate="step").encode(x=x, y=y, y2=alt.Y2("n2:Q")))
        layers.append(
            alt.Chart(data)
            .mark_line(color=palette.THRESHOLD, strokeDash=[5, 4], strokeWidth=1.2)
            .encode(x=x, y=alt.Y("even:Q"))
        )
        keep = frame.thinned(count, MOST_EPISODES)
        steps = [
            {"x": 0.0, "n": 0},
            *({"x": hours[k] * per, "n": int(k) + 1} for k in keep),
            {"x": total * per, "n": count},
        ]
        layers.append(
            alt.Chart(values(steps))
            .mark_line(color=colour, strokeWidth=2, interpolate="step-after")
            .encode(x=x, y=y)
        )
        note = f"Dashed: the same number at an even pace; band: where {share_text(confidence)} of even logs are at each moment."
        finding = item.finding("more often")
        even = (
            "an even pace is not ruled out"
            if _even(hours / total) > 1.0 - confidence
            else "the pace is uneven, more than chance makes it"
        )
        seen = f"{item.channel}: {count_text(count, 'episode')} in {hours_text(total)} observed"
        caption = f"{seen}, too few to show a trend." if count < 5 else f"{seen}; {even}. {finding_text(finding)}"
    else:
        most_rate = item.rate.steady_upper_per_h
        ends = [{"x": 0.0, "n": 0.0}, {"x": total * per, "n": (most_rate or 0.0) * total}]
        layers.append(alt.Chart(values(ends)).mark_area(color=palette.BAND).encode(x=x, y=y))
        layers.append(
            alt.Chart(values([{"x": 0.0, "n": 0}, {"x": total * per, "n": 0}]))
            .mark_line(color=colour, strokeWidth=2)
            .encode(x=x, y=y)
        )
        limit = clean_limit(item.rate)
        most = f"; {limit}" if limit else ""
        caption = f"{item.channel}: no episode in {hours_text(total)} observed{most}."
        note = "Band: the expected number at rates that this log does not exclude."
    changed = [[moment * per for moment in moments] for moments in changes_on_clock(item, record, begins)]
    if changed:
        spans = [{"x": low, "x2": high} for _, low, high in changed]
        layers.insert(0, alt.Chart(values(spans)).mark_rect(color=palette.WARM_UP).encode(x=x, x2=alt.X2("x2:Q")))
        rules = [{"x": at} for at, *_ in changed]
        layers.append(alt.Chart(values(rules)).mark_rule(color=palette.ALARM, strokeWidth=1.4).encode(x=alt.X("x:Q")))
        caption += f" {since_text(item.since)}"
        note += " Upright lines: changes of rate, each in the stretch that holds it."
    if len(record.runs) > 1:
        layers.append(frame.run_rules(begins[1:-1] * per, [f"run {n + 1} begins" for n in record.numbers[1:]]))
        note += " Upright dashes: a new run begins."
    return frame.finish(frame.layer(*layers, width=frame.WIDTH, height=220), caption, note)


def _even(share: Any) -> float:
    """P-value of uniform places: twice the exact law of Kolmogorov's one-sided distance, at 5 % too large by under 1e-6."""
    from scipy.special import smirnov

    n = share.size
    rank = np.arange(1, n + 1) / n
    distance = float(max(np.max(rank - share), np.max(share - rank + 1.0 / n)))
    return min(1.0, 2.0 * float(smirnov(n, distance)))


def sizes(assessment: Assessment, channel: str | None = None) -> Any:
    """Draw how far each episode goes, against observed time, with the slope of the logarithm (Theil and Sen).

    Raises
    ------
    NothingToDraw
        If the channel has no episode, or there is no channel of that name.
    """
    from flicker.stats.trends import theil_sen

    item, record, colour = frame.chosen(assessment, channel)
    hours, begins = frame.observed_hours(record)
    size = record.episodes.size_V[~record.episodes.common]
    if hours.size == 0:
        raise NothingToDraw(f"channel {item.channel} has no episode to draw")
    total = float(begins[-1])
    volt, factor = frame.volt_unit(float(size.max()))
    keep = frame.thinned(size.size, MOST_EPISODES)
    unit, per = frame.hour_unit(total)
    rows = [{"x": hours[k] * per, "v": size[k] * factor} for k in keep]
    x = alt.X("x:Q", title=f"observed time ({unit})", scale=alt.Scale(domain=[0, total * per], nice=False))
    y = alt.Y("v:Q", title=f"largest distance from the baseline ({volt})", scale=frame.log_scale(size * factor))
    points = (
        alt.Chart(values(rows))
        .mark_point(filled=True, size=38, color=colour, opacity=0.8)
        .encode(
            x=x,
            y=y,
            tooltip=[alt.Tooltip("v:Q", title=volt, format=".4~g"), alt.Tooltip("x:Q", title=unit, format=".3~g")],
        )
    )
    layers = [points]
    note = "Each dot one episode, on a logarithmic scale of volts."
    if size.size >= 5 and np.ptp(hours) > 0:
        line = theil_sen(np.log10(size), hours)
        ends = [
            {"x": t * per, "v": 10.0 ** (line.intercept + line.slope * t) * factor}
            for t in (float(hours.min()), float(hours.max()))
        ]
        layers.append(
            alt.Chart(values(ends))
            .mark_line(color=palette.THRESHOLD, strokeDash=[5, 4], strokeWidth=1.4)
            .encode(x=x, y=y)
        )
        note += " Dashed: median slope (Theil and Sen)."
    finding = item.finding("larger")
    grown = "the swings grew" if finding.answer == "yes" else "growth is not shown"
    caption = f"{item.channel}: {grown}. {finding_text(finding)}"
    return frame.finish(frame.layer(*layers, width=frame.WIDTH, height=200), caption, note)


def gaps(assessment: Assessment, channel: str | None = None) -> Any:
    """Draw the pauses between episodes against those of events that come independently.

    Notes
    -----
    Pauses run on the clock of observed time within a power-up. Merging swallows pauses up to the dead time, so it is
    taken off both the pauses and the law (exponential, mean fitted; Lilliefors' test).

    Raises
    ------
    NothingToDraw
        If there are fewer than four pauses, or there is no channel of that name.
    """
    from flicker.stats.arrivals import exponential_gaps_test

    item, record, colour = frame.chosen(assessment, channel)
    dead = assessment.limits.dead_time_s
    times, _ = record.per_cycle()
    pause = np.concatenate([np.diff(np.sort(part)) for part in times])
    pause = np.sort(pause[pause > dead])
    if pause.size < 4:
        raise NothingToDraw(
            f"channel {item.channel} has {pause.size} pauses between episodes; 4 are needed to draw their law"
        )
    result = exponential_gaps_test(pause, dead_time=dead, confidence=assessment.limits.confidence)
    unit = frame.time_unit(float(pause[-1]))
    scale = frame.SECONDS[unit]
    keep = frame.thinned(pause.size, MOST_EPISODES)
    rows = [{"x": pause[k] / scale, "s": 1.0 - k / pause.size} for k in keep]
    grid = np.linspace(0.0, float(pause[-1]) * 1.05, 80)
    mean = float(np.mean(pause)) - dead
    law = [{"x": t / scale, "s": float(np.exp(-max(t - dead, 0.0) / mean))} for t in grid]
    floor = 0.5 / pause.size
    law = [row for row in law if row["s"] >= floor]
    x = alt.X(
        "x:Q", title=f"pause between episodes ({unit})", scale=alt.Scale(domain=[0, grid[-1] / scale], nice=False)
    )
    y = alt.Y(
        "s:Q",
        title="share of pauses at least so long",
        scale=alt.Scale(type="log", domain=[floor, 1.0]),
        axis=alt.Axis(format="~p"),
    )
    expected = (
        alt.Chart(values(law))
        .mark_line(color=palette.THRESHOLD, strokeDash=[5, 4], strokeWidth=1.4, clip=True)
        .encode(x=x, y=y)
    )
    seen = (
        alt.Chart(values(rows))
        .mark_point(filled=True, size=34, color=colour, opacity=0.85)
        .encode(x=x, y=y)
    )
    if not result.shown:
        law_text = "they look like events that come independently of each other"
    elif result.gap_variation > 1.0:
        law_text = "they vary more than independent events would: episodes come in bursts"
    else:
        law_text = "they vary less than independent events would: look for something that paces them"
    caption = f"{item.channel}: {pause.size} pauses; {law_text} ({p_said(result.p_value)})."
    note = "Dots: pauses seen. Dashed: the exponential law of independent events with the same mean pause."
    return frame.finish(frame.layer(expected, seen, width=frame.WIDTH, height=210), caption, note)


def coincidence(assessment: Assessment) -> Any:
    """Draw the episodes of all channels one above the other; those of all channels at once are joined.

    Raises
    ------
    NothingToDraw
        If there are fewer than two channels.
    """
    if len(assessment.records) < 2:
        raise NothingToDraw("one channel alone has nothing to coincide with; two are needed")
    strip = frame.strip_of(assessment.records[0], clock=True)
    tones = [frame.colour_of(assessment, record.channel) for record in assessment.records]
    names = [frame.label(record.channel) for record in assessment.records]
    rows: list[dict[str, Any]] = []
    shared = 0
    for record in assessment.records:
        own = frame.strip_of(record, clock=True)
        found = record.episodes
        together = found.common | found.shared
        shared = max(shared, int(np.count_nonzero(together)))
        keep = frame.thinned(found.count, MOST_EPISODES // len(names))
        rows.extend(
            {
                "x": own.x(int(found.run[k]), found.start_s[k]),
                "channel": frame.label(record.channel),
                "which": "several channels at once" if together[k] else "this channel alone",
            }
            for k in keep
        )
    x = alt.X(
        "x:Q",
        title=strip.axis_title,
        axis=strip.axis(),
        scale=alt.Scale(domain=strip.domain, nice=False),
    )
    y = alt.Y("channel:N", sort=names, title=None, scale=alt.Scale(domain=names), axis=alt.Axis(grid=False))
    uprights = (
        alt.Chart(values([row for row in rows if row["which"] == "several channels at once"]))
        .mark_rule(color=palette.ALARM, strokeWidth=1, opacity=0.7)
        .encode(x=x)
    )
    ticks = (
        alt.Chart(values(rows))
        .mark_tick(thickness=1.6, size=20)
        .encode(
            x=x,
            y=y,
            color=alt.Color(
                "channel:N",
                legend=None,
                scale=alt.Scale(domain=names, range=tones),
            ),
            tooltip=[alt.Tooltip("which:N")],
        )
    )
    counts = ", ".join(f"{record.channel} {record.episodes.count}" for record in assessment.records)
    caption = together_text(assessment.coincidence) or f"Episodes: {counts}; {shared} in several channels at once."
    chart = frame.layer(uprights, ticks, width=frame.WIDTH - 40, height=30 * len(names))
    return frame.finish(chart, caption, "Each tick one episode. Red uprights: in several channels at once.")


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
    relay = f"relay would open: {volts_text(told.threshold_V)} (assumed)"
    layers = [
        base.mark_area(color=palette.BAND, clip=True).encode(x=x, y=alt.Y("lo:Q", title=f"size of the swings ({volts})", scale=scale), y2=alt.Y2("hi:Q")),
        base.mark_line(color=colour, strokeWidth=1.6, clip=True).encode(x=x, y=y, strokeDash=alt.StrokeDash("ahead:N", legend=None)),
        alt.Chart(values(dots)).mark_point(filled=True, size=30, color=colour, opacity=0.8).encode(x=x, y=y),
        frame.dashed([{"v": told.threshold_V * factor, "text": relay}], y=y),
        alt.Chart(values([{"v": told.threshold_V * factor, "x": 0.0, "text": relay}]))
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
        frame.layer(*layers, width=frame.WIDTH, height=230), f"{item.channel}: {told.reads}", note
    )
