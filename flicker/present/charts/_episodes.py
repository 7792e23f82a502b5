"""Every episode of a channel in a frame of its own, all on one scale of time and volts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt
import numpy as np

from flicker.base.formats import clock_text, count_text, seconds_text, volts_text
from flicker.evidence.assessment import Assessment
from flicker.evidence.channel import ChannelAssessment
from flicker.logs.model import Log
from flicker.present import palette
from flicker.present.charts import _frame as frame
from flicker.present.charts._frame import NothingToDraw, values
from flicker.present.envelope import MOST_ROWS, logs_of_runs, window

FRAMES = 12


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
        .encode(x=x, y=alt.Y("lo:Q", title=f"offset ({unit})"), y2=alt.Y2("hi:Q"))
    )
    limit = alt.Chart().mark_rule(color=palette.THRESHOLD, strokeDash=[5, 4]).encode(y=alt.Y("bound:Q"))
    columns = 2 if len(order) == 4 else min(3 if len(order) <= 6 else 4, len(order))
    chart = (
        alt.layer(area, limit, data=data)
        .properties(width=(frame.WIDTH - 60) // columns - 18, height=92)
        .facet(alt.Facet("episode:N", sort=order, title=None), columns=columns, spacing=16)
    )
    return frame.finish(chart, _episodes_caption(item, found.size_V, length), _episodes_note(chosen.size, found.count))


def _episodes_caption(item: ChannelAssessment, size_V: Any, length_s: Any) -> str:
    largest, least = float(size_V.max()), float(size_V.min())
    size = volts_text(largest) if size_V.size == 1 else f"{volts_text(least)} to {volts_text(largest)}"
    lasts = f"{seconds_text(np.median(length_s))}" if length_s.size > 1 else f"{seconds_text(length_s[0])}"
    middle = "typically " if length_s.size > 1 else ""
    return f"{item.channel}: {count_text(size_V.size, 'episode')} of {size}, lasting {middle}{lasts}."


def _episodes_note(drawn: int, total: int) -> str:
    which = f"The {drawn} largest of {total}" if drawn < total else "All of them"
    return f"{which}, in order of time, on one scale of time and volts. Dashed: the thresholds."
