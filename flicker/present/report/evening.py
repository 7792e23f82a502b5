"""The evening told event by event, on a drawn time line: one strip per power-up, then what happened in order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from flicker.base.formats import clock_text, digits_text, lasting_text, volts_text
from flicker.base.values import Unobserved
from flicker.evidence.assessment import Assessment
from flicker.evidence.channel import ChannelAssessment
from flicker.logs.model import Run
from flicker.present.report.parts import Markup, date_text, table, tag
from flicker.present.said import to_second

EVENTS_TOLD = 40
GAP_TOLD_S = 60.0
USUAL = frozenset({Unobserved.SURGE, Unobserved.NO_SAMPLES})


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened: in which run, when on its clock and how long, on which channel; ``kind`` for the drawing."""

    run: int
    start_s: float
    channel: str
    kind: str
    said: str
    size_V: float = 0.0
    lasted_s: float = 0.0


def events_of(result: Assessment) -> list[Event]:
    """Everything that is told of an assessment, in order."""
    out = [
        event
        for item in result.channels
        for event in (*_starts(item), *_swings(result, item), *_steps(result, item), *_silences(item))
    ]
    return sorted(out, key=lambda event: (event.run, event.start_s, event.channel))


def _starts(item: ChannelAssessment) -> list[Event]:
    return [
        Event(
            run=up.run,
            start_s=0.0,
            channel=item.channel,
            kind="bad start" if up.abnormal else "start",
            said=f"surge of {volts_text(up.surge_V)}, gone in {_length(up.settle_s, 0.0)}: "
            f"{'abnormal' if up.abnormal else 'normal'}; rests at {volts_text(up.settled_V)}",
            size_V=up.surge_V,
        )
        for up in item.power_up
    ]


def _swings(result: Assessment, item: ChannelAssessment) -> list[Event]:
    by_episode: dict[tuple[int, int], list[Any]] = {}
    for row in item.excursions:
        by_episode.setdefault((row.run, row.episode), []).append(row)
    out = []
    for rows in by_episode.values():
        worst = max(rows, key=lambda row: abs(row.deviation_V))
        begin, end = rows[0].start_s, max(row.end_s for row in rows)
        least = "at least " if worst.at_least else ""
        sign = "+" if worst.deviation_V > 0 else ""
        many = "swing" if len(rows) == 1 else f"{len(rows)} swings, the largest"
        beyond = abs(worst.peak_V) >= result.limits.protection_V
        told = (
            (True, f"{many} of {least}{sign}{volts_text(worst.deviation_V)} from rest, {_length(end - begin)} long"),
            (beyond, "beyond the assumed protection threshold"),
            (any(row.cut for row in rows), "cut by a gap or the end of the log"),
            (worst.phase == "warm-up", "during warm-up"),
        )
        out.append(
            Event(
                run=rows[0].run,
                start_s=begin,
                channel=item.channel,
                kind="trip" if beyond else "swing",
                said="; ".join(said for holds, said in told if holds),
                size_V=worst.deviation_V,
                lasted_s=end - begin,
            )
        )
    return out


def _steps(result: Assessment, item: ChannelAssessment) -> list[Event]:
    return [
        Event(
            run=change["run"],
            start_s=change["time_s"],
            channel=item.channel,
            kind="step",
            said=f"the level at rest steps by {'+' if change['step_V'] > 0 else ''}{volts_text(change['step_V'])} and stays",
            size_V=change["step_V"],
        )
        for change in item.baseline.changes
        if abs(change["step_V"]) > result.limits.drift_V
    ]


def _silences(item: ChannelAssessment) -> list[Event]:
    return [
        Event(
            gap["run"],
            gap["start_s"],
            item.channel,
            "gap",
            f"not observed for {lasting_text(gap['end_s'] - gap['start_s'])}: {gap['reason']}",
        )
        for gap in item.gaps
        if gap["end_s"] - gap["start_s"] >= GAP_TOLD_S and gap["reason"] not in USUAL
    ]


def _length(seconds: float, fine_s: float = 10.0) -> str:
    """A length of time, with two digits where it is short."""
    return (
        f"{digits_text(seconds)} s"
        if seconds < fine_s
        else f"{seconds:.0f} s"
        if seconds < 120
        else lasting_text(seconds)
    )


def clock(run: Run, seconds: float) -> str:
    """Time of day where the log tells it, and time since the run's first reading."""
    since = clock_text(seconds) if seconds >= 0.5 else "start"
    return since if run.start is None else f"{to_second(run.start, seconds):%H:%M:%S} ({since})"


def day_of(run: Run) -> str:
    """Date and time of a run as people write it, or its file."""
    return run.source if run.start is None else f"{date_text(run.start)}, {run.start:%H:%M}"


def names_of(result: Assessment, dates: Mapping[str, date | None] | None = None) -> dict[int, str]:
    """A heading for each run: its date, or that which the case tells of its file, and which power-up of the file it is."""
    several = {run.source for run in result.runs if sum(other.source == run.source for other in result.runs) > 1}
    seen: dict[str, int] = {}
    out = {}
    for trace in result.traces:
        run = trace.run
        seen[run.source] = seen.get(run.source, 0) + 1
        told = (dates or {}).get(run.source)
        said = day_of(run) if run.start is not None or told is None else date_text(told)
        out[trace.number] = said + (f", power-up {seen[run.source]}" if run.source in several else "")
    return out


def strip_names(result: Assessment, prefix: str = "strip") -> dict[str, str]:
    """A name on the page for the strip of each channel."""
    return {item.channel: f"{prefix}-{number}" for number, item in enumerate(result.channels, 1)}


def told(result: Assessment, events: Sequence[Event], *, strips: Mapping[str, str] | None = None) -> Markup:
    """Events as a list, each with its moment; ``strips`` names the picture of each channel that a row moves."""
    if not events:
        return tag("p", "Nothing but rest: no power-up and no swing was seen.")
    runs = {trace.number: trace.run for trace in result.traces}
    several = len({event.run for event in events}) > 1
    rows = [
        (
            (f"run {event.run + 1}, " if several else "") + clock(runs[event.run], event.start_s),
            event.channel,
            event.said,
        )
        for event in events[:EVENTS_TOLD]
    ]
    moves = _moves(result, events[:EVENTS_TOLD], strips or {})
    more = len(events) - len(rows)
    return tag(
        "div",
        table(("when", "channel", "what"), rows, attributes=moves),
        tag("p", f"{more} more are listed by the command line's JSON document.", class_="sub") if more > 0 else None,
        class_="told",
    )


def _moves(result: Assessment, events: Sequence[Event], strips: Mapping[str, str]) -> list[dict[str, str]]:
    """For each event the picture and the number of the episode on it that a click shows; nothing for what is none."""
    from flicker.present.charts import episode_places

    places = {name: episode_places(result, name) for name in strips}
    out: list[dict[str, str]] = []
    for event in events:
        numbers = [
            number
            for number, (run, begin, _, _) in enumerate(places.get(event.channel, ()))
            if run == event.run and abs(begin - event.start_s) < 0.001
        ]
        out.append({"data_strip": strips[event.channel], "data_number": str(numbers[0])} if numbers else {})
    return out
