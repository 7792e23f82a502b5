"""Episodes of a power-up against time since switch-on, in the mean, and from one power-up to the next."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt
import numpy as np

from flicker.base.arrays import Floats
from flicker.base.formats import count_text, digits_text, hours_text, share_text
from flicker.base.limits import Limits
from flicker.evidence.assessment import Assessment
from flicker.evidence.compare.stages import Comparison
from flicker.evidence.located.power_up_history import ageing_of, curve_of, power_up_times
from flicker.evidence.visits.visited import Visits
from flicker.present import palette
from flicker.present.charts import _frame as frame
from flicker.present.charts._frame import NothingToDraw, values
from flicker.present.charts._visits import pick_visits
from flicker.present.said import swings_text
from flicker.stats.power_ups import CountByAge, count_by_age

Group = tuple[str, list[Floats], list[float], str]

POINTS = 400  # of a curve on the screen
HALVES_FROM = 4  # power-ups from which earlier and later ones are drawn apart: two each
NOTE = (
    "Steps: mean number of episodes of a power-up (Nelson's mean cumulative function). Band: where the mean "
    "may lie, as power-ups vary ({confidence} at each moment). A curve that flattens points to heat, curves that part to wear."
)
AGE_NOTE = " Below: episodes added up, {each} by {each}; band: where the count would lie if nothing aged."


def mean_cumulative(assessment: Assessment, channel: str | None = None) -> Any:
    """Draw the mean number of episodes of a power-up against time since switch-on, and the count over power-ups.

    From four power-ups on the earlier and the later half are drawn apart: what bends both is heat, what parts them wear.

    Raises
    ------
    NothingToDraw
        If fewer than two power-ups were observed, or there was no episode.
    """
    item = frame.pick(assessment, channel)
    times, ends = power_up_times(frame.record_of(assessment, item.channel))
    _enough(item.channel, times, ends)
    colour = frame.colour_of(assessment, item.channel)
    groups: list[Group] = [(f"{len(ends)} power-ups", times, ends, colour)]
    if len(ends) >= HALVES_FROM:
        cut = len(ends) // 2
        groups = [
            (f"power-ups 1 to {cut}", times[:cut], ends[:cut], palette.BRASS),
            (f"power-ups {cut + 1} to {len(ends)}", times[cut:], ends[cut:], palette.PETROL),
        ]
    caption = f"{item.channel}: {item.mean_count.reads}" if item.mean_count is not None else item.channel
    age = _age_panel(ageing_of(times, ends, assessment.limits), "power-up", colour)
    return _finished([_curves(groups, assessment.limits), age], caption, assessment.limits, "power-up")


def mean_cumulative_compared(comparison: Comparison, channel: str | None = None) -> Any:
    """Draw the mean number of episodes of a power-up before and after on one chart.

    Raises
    ------
    NothingToDraw
        If neither side showed an episode, or nothing was observed of the channel.
    ValueError
        If there is no channel of that name.
    """
    sides, name = frame.both_sides(comparison, channel)
    groups: list[Group] = []
    names = (comparison.before, comparison.after)
    for side, stage, colour in zip(sides, names, (palette.BRASS, palette.PETROL), strict=True):
        times, ends = power_up_times(frame.record_of(side, name))
        if ends:
            groups.append((f"{frame.label(stage)}, {count_text(len(ends), 'power-up')}", times, ends, colour))
    if len(groups) < 2 or not any(part.size for _, times, _, _ in groups for part in times):
        raise NothingToDraw(f"channel {name} showed no episode on either side")
    limits = sides[0].limits
    item = comparison.channel(name)
    said = swings_text(item.outcome, item.aspect, item.aspects[0].outcome)
    panel = _curves(groups, limits)
    return frame.finish(
        panel, f"{name}: {said}. {_ends(groups, limits)}", NOTE.format(confidence=share_text(limits.confidence))
    )


def visit_mean_cumulative(result: Visits, channel: str | None = None) -> Any:
    """Draw the mean number of episodes of a power-up at the first and at the last visit, and the count over visits.

    Raises
    ------
    NothingToDraw
        If there are fewer than two visits of the channel, or there was no episode.
    """
    item, colour = pick_visits(result, channel)
    seen = [power_up_times(frame.record_of(result.assessments[row.visit], item.channel)) for row in item.visits]
    seen = [(times, ends) for times, ends in seen if ends]
    if len(seen) < 2 or not any(part.size for times, _ in seen for part in times):
        raise NothingToDraw(f"channel {item.channel} has fewer than two visits, or showed no episode")
    groups: list[Group] = [
        ("first visit", *seen[0], palette.BRASS),
        ("last visit", *seen[-1], palette.PETROL),
    ]
    counts = [sum(part.size for part in times) for times, _ in seen]
    age = count_by_age(
        counts, [sum(ends) for _, ends in seen], scatter=result.limits.power_up_scatter,
        confidence=result.limits.confidence,
    )  # fmt: skip
    panels = [_curves(groups, result.limits), _age_panel(age, "visit", colour)]
    return _finished(panels, f"{item.channel}: {_ends(groups, result.limits)}", result.limits, "visit")


def _enough(channel: str, times: Sequence[Floats], ends: Sequence[float]) -> None:
    if len(ends) < 2:
        raise NothingToDraw(f"channel {channel} was observed in one power-up; a mean over power-ups needs two")
    if not any(part.size for part in times):
        raise NothingToDraw(f"channel {channel} has no episode to draw")


def _ends(groups: Sequence[Group], limits: Limits) -> str:
    """Where each curve ends, at the length that all groups reached."""
    until = min(max(ends) for _, _, ends, _ in groups)
    said = []
    for name, times, ends, _ in groups:
        curve = curve_of(times, ends, limits)
        k = int(np.searchsorted(curve.time, until, "right")) - 1
        said.append(f"{name}: {digits_text(curve.mean[k])} ({digits_text(curve.low[k])} to {digits_text(curve.high[k])})")
    return f"Episodes of a power-up within {hours_text(until)} of switching on: {'; '.join(said)}."


def _curves(groups: Sequence[Group], limits: Limits) -> Any:
    longest = max(max(ends) for _, _, ends, _ in groups)
    unit, per = frame.hour_unit(longest)
    rows: list[dict[str, Any]] = []
    marks: list[dict[str, Any]] = []
    for name, times, ends, _ in groups:
        curve = curve_of(times, ends, limits)
        keep = frame.thinned(curve.time.size, POINTS)
        rows += [
            {"x": curve.time[k] * per, "n": curve.mean[k], "lo": curve.low[k], "hi": curve.high[k], "group": name}
            for k in keep
        ]
        marks.append(rows[-1])
    top = 1.08 * max(max(row["hi"] for row in marks), max(row["n"] for row in rows), 1e-9)
    # A band of few power-ups may reach far beyond every curve: it is cut at four times the highest, and the note says so.
    top = min(top, 4.0 * max(max(row["n"] for row in rows), 0.25))
    data = values(rows)
    colours = alt.Color(
        "group:N", legend=None, scale=alt.Scale(domain=[g[0] for g in groups], range=[g[3] for g in groups])
    )
    x = alt.X("x:Q", title=f"observed time since switch-on ({unit})",
              scale=alt.Scale(domain=[0, 1.22 * longest * per], nice=False))  # fmt: skip
    y = alt.Y("n:Q", title="episodes per power-up (mean)", scale=alt.Scale(domain=[0, top], nice=False, clamp=True))
    base = alt.Chart(data)
    return frame.layer(
        base.mark_area(opacity=0.16, interpolate="step-after").encode(x=x, y=alt.Y("lo:Q"), y2=alt.Y2("hi:Q"), color=colours),
        base.mark_line(strokeWidth=2, interpolate="step-after").encode(x=x, y=y, color=colours),
        alt.Chart(values(marks))
        .mark_text(align="left", dx=6, fontSize=11, clip=False)
        .encode(x=x, y=y, text=alt.Text("group:N"), color=colours),
    ).properties(width=frame.WIDTH, height=230)


def _age_panel(age: CountByAge, each: str, colour: str) -> Any:
    rows = [
        {"x": k, "n": int(n), "even": e, "lo": lo, "hi": hi}
        for k, (n, e, lo, hi) in enumerate(zip(age.count, age.expected, age.low, age.high, strict=True))
    ]
    data = values(rows)
    x = alt.X("x:Q", title=f"{each} (number)", axis=alt.Axis(format="d", tickMinStep=1),
              scale=alt.Scale(domain=[0, len(rows) - 1], nice=False))  # fmt: skip
    y = alt.Y("n:Q", title="episodes so far (count)", axis=frame.count_axis(max(row["hi"] for row in rows)))
    base = alt.Chart(data)
    return frame.layer(
        base.mark_area(color=palette.BAND).encode(x=x, y=alt.Y("lo:Q"), y2=alt.Y2("hi:Q")),
        base.mark_line(color=palette.THRESHOLD, strokeDash=[5, 4], strokeWidth=1.2).encode(x=x, y=alt.Y("even:Q")),
        base.mark_line(color=colour, strokeWidth=1.6).encode(x=x, y=y),
        base.mark_point(filled=True, size=50, color=colour, opacity=1).encode(x=x, y=y),
    ).properties(width=frame.WIDTH, height=150)


def _finished(panels: Sequence[Any], caption: str, limits: Limits, each: str) -> Any:
    note = NOTE.format(confidence=share_text(limits.confidence)) + AGE_NOTE.format(each=each)
    return frame.finish(alt.vconcat(*panels, spacing=18), caption, note)
