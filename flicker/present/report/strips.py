"""A drawn strip for each power-up: swings upright by their volts, on one scale of time and volts for all drawn together."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import islice
from textwrap import wrap

from flicker.base.formats import count_text, lasting_text, volts_text
from flicker.base.units import HOUR
from flicker.evidence.assessment import Assessment
from flicker.evidence.channel import ChannelAssessment
from flicker.logs.model import Run
from flicker.present.report.evening import Event, events_of, names_of, strip_names, told
from flicker.present.report.parts import Child, Markup, tag, text
from flicker.present.said import APPROACHED, day_and_month, midnights, to_second
from flicker.signals.trace import RunTraces

STRIPS_DRAWN = 12
MOST_DAYS = 60  # whose beginnings are drawn on a strip; a choice
LANE, TOP, FOOT = 46, 4, 20  # heights on a strip, pixels
STEPS_S = (10.0, 30.0, 60.0, 300.0, 600.0, 1800.0, 3600.0, 7200.0, 21600.0, 86400.0, 604800.0)
NAME_WIDE = 46  # characters of a line of a channel's name
NAME_FROM, LINE = 0.8, 13  # share of the strip from where a name lies over it, and pixels of a line of it
SHORTEST = 2.5  # pixels of a stroke: a swing is never too small to be seen
LONG_SHARE = 0.01  # of the strip: a swing that lasted so long is drawn with its length

SWINGS = frozenset({"swing", "trip"})
OWNER_LANE, CROWDED_LANE = 84, 52  # pixels: the first strips of a page are looked at from farther away
OWNER_CHANNELS = 2  # lanes on them, which share their sheet with the answers

KEY = (
    "Each strip is one power-up; all are on one scale of time and volts. Upright: a swing away from rest, up or down, as "
    "long as its volts; thick: beyond the protection threshold. Ring: switched on. Wedge: the level steps. Shaded: "
    "warm-up. Grey: not observed."
)


@dataclass(frozen=True, slots=True)
class Scale:
    """What strips drawn together share: seconds across, volts of the tallest swing, the relay's threshold."""

    longest_s: float
    tallest_V: float
    relay_V: float
    lane: int = LANE

    @property
    def full_V(self) -> float:
        """Volts of half a lane."""
        return max(self.tallest_V, self.relay_V if self.relay_drawn else 0.0)

    @property
    def relay_drawn(self) -> bool:
        """Whether the relay's threshold was approached."""
        return self.tallest_V >= APPROACHED * self.relay_V


def scale_of(told: Iterable[tuple[Assessment, Sequence[Event]]]) -> Scale:
    """One scale for all of these."""
    told = list(told)
    longest = max((trace.run.duration_s for result, _ in told for trace in result.traces), default=1.0)
    floor = max((result.limits.excursion_V for result, _ in told), default=0.04)
    tallest = max((abs(e.size_V) for _, events in told for e in events if e.kind in SWINGS), default=0.0)
    relay = min((result.limits.protection_V for result, _ in told), default=0.75)
    return Scale(max(longest, 1.0), max(tallest, floor), relay)


def strips(
    result: Assessment,
    events: Sequence[Event],
    scale: Scale,
    *,
    most: int = STRIPS_DRAWN,
    named: Mapping[int, str] | None = None,
    only: Sequence[str] | None = None,
) -> list[Child]:
    """A strip per run, with its heading; ``only`` names the channels that get a lane."""
    usual = names_of(result)
    out: list[Child] = []
    for trace in result.traces[:most]:
        mine = [event for event in events if event.run == trace.number]
        heading = (named or {}).get(trace.number) or f"Run {trace.number + 1}: {usual[trace.number]}"
        out.append(_strip(result, trace.run, trace.number, mine, scale, heading, only))
    rest = len(result.traces) - most
    if rest > 0:
        out.append(tag("p", f"{rest} more runs are not drawn.", class_="sub"))
    return out


def alone(result: Assessment, trace: RunTraces) -> tuple[Assessment, list[Event]]:
    """One run of an assessment, and what happened in it."""
    return replace(result, traces=(trace,)), [event for event in events_of(result) if event.run == trace.number]


def busiest(result: Assessment) -> RunTraces:
    """The run with most events."""
    events = events_of(result)
    return max(result.traces, key=lambda trace: sum(event.run == trace.number for event in events))


def swinging(first: Assessment, last: Assessment) -> list[str]:
    """The channels that swung first or last, two at most: those that swing still before those that stopped."""
    early = {item.channel: item.rate.episodes for item in first.channels}
    late = {item.channel: item.rate.episodes for item in last.channels}
    names = sorted(early | late, key=lambda name: (-late.get(name, 0), -early.get(name, 0)))
    swung = [name for name in names if early.get(name, 0) + late.get(name, 0)]
    return swung[:OWNER_CHANNELS] or [max(first.channels, key=lambda item: item.rate.episodes).channel]


def side_by_side(
    chosen: Sequence[tuple[str, Assessment, RunTraces]],
    *,
    dates: Mapping[str, date | None] | None = None,
    crowded: bool = False,
) -> Markup:
    """A strip of each run chosen, under its name, of the channels that swung, on one scale of volts and time."""
    names = swinging(chosen[0][1], chosen[-1][1])
    drawn: list[Child] = []
    runs = [alone(made, trace) for _, made, trace in chosen]
    scale = replace(scale_of(runs), lane=CROWDED_LANE if crowded or len(names) > 1 else OWNER_LANE)
    for (word, made, trace), (one, events) in zip(chosen, runs, strict=True):
        mine = [event for event in events if event.channel in names]
        heading = f"{word}: {names_of(made, dates)[trace.number]}"
        drawn += strips(one, mine, scale, named={trace.number: heading}, only=names)
    return Markup(text(drawn))


def busiest_side_by_side(first: tuple[str, Assessment], last: tuple[str, Assessment]) -> Markup:
    """The busiest run of the first logs and of the last, each under its name, on one scale."""
    return side_by_side([(word, made, busiest(made)) for word, made in (first, last)])


def _strip(
    result: Assessment,
    run: Run,
    number: int,
    events: Sequence[Event],
    scale: Scale,
    heading: str,
    only: Sequence[str] | None,
) -> Markup:
    channels = [item for item in result.channels if only is None or item.channel in only]
    bottom = TOP + scale.lane * len(channels)
    drawn: list[Child] = []
    for lane, item in enumerate(channels):
        base = TOP + scale.lane * lane + scale.lane // 2
        mine = [event for event in events if event.channel == item.channel]
        drawn += _lane(item, run, number, base, scale, result.limits.warm_up_s)
        drawn += _names(item, mine, base, scale)  # below the swings: none may be hidden
        for event in mine:
            drawn += _sign(event, base, scale)
    drawn += _midnights(run, scale, bottom)
    drawn += _times(run, scale, bottom)
    swings = sum(event.kind in SWINGS for event in events)
    alt = f"Time line of {heading}: {lasting_text(run.duration_s)}, {count_text(swings, 'swing')}."
    picture = tag("svg", drawn, width="100%", height=str(bottom + FOOT), role="img", aria_label=alt)
    return tag("div", tag("p", heading, class_="when"), picture, class_="strip")


def _at(seconds: float, scale: Scale) -> str:
    """Place on a strip; a little room is kept at the right for what stands at its very end."""
    return f"{98.5 * min(max(seconds / scale.longest_s, 0.0), 1.0):.3f}%"


def _lane(item: ChannelAssessment, run: Run, number: int, base: int, scale: Scale, warm_up_s: float) -> list[Child]:
    top, tall = base - scale.lane // 2 + 3, scale.lane - 6
    out: list[Child] = []
    if any(up.run == number for up in item.power_up):
        wide = _at(min(warm_up_s, run.duration_s), scale)
        out.append(tag("rect", x="0", y=str(top), width=wide, height=str(tall), class_="warm"))
    for gap in item.gaps:
        if gap["run"] == number and gap["end_s"] - gap["start_s"] >= scale.longest_s / 500.0:
            left, wide = _at(gap["start_s"], scale), _at(gap["end_s"] - gap["start_s"], scale)
            out.append(tag("rect", x=left, y=str(top), width=wide, height=str(tall), class_="blind"))
    end = _at(run.duration_s, scale)
    out.append(tag("line", x1="0", x2=end, y1=str(base), y2=str(base), class_="rest"))
    if scale.relay_drawn:
        for sign in (-1, 1):
            y = f"{base + sign * _pixels(scale.relay_V, scale):.1f}"
            out.append(tag("line", x1="0", x2=end, y1=y, y2=y, class_="relay"))
    return out


def _names(item: ChannelAssessment, events: Sequence[Event], base: int, scale: Scale) -> list[Child]:
    """The channel, and what the tallest of its swings is in volts, at the right: on the side away from the larger swings there."""
    swings = [event for event in events if event.kind in SWINGS]
    said = f"{item.channel}: " + (f"tallest = {volts_text(max(abs(event.size_V) for event in swings))}" if swings else "no swing")
    written = wrap(said, NAME_WIDE)
    lines = [tag("tspan", line, x="100%", dy="1.05em" if place else None) for place, line in enumerate(written)]
    near = [event.size_V for event in swings if event.start_s >= NAME_FROM * scale.longest_s]
    upper, lower = base - scale.lane // 2 + 12, base + scale.lane // 2 - 6 - LINE * (len(written) - 1)
    top = lower if max(near, default=0.0) > -min(near, default=0.0) else upper
    out: list[Child] = [tag("text", lines, y=str(top), text_anchor="end", class_="lane")]
    if scale.relay_drawn and scale.lane > LANE:
        y = f"{base - _pixels(scale.relay_V, scale) + 13:.0f}"
        out.append(tag("text", f"relay {volts_text(scale.relay_V)} (assumed)", x="4", y=y, class_="lane"))
    return out


def _pixels(volts: float, scale: Scale) -> float:
    return (scale.lane / 2.0 - 5.0) * min(abs(volts) / scale.full_V, 1.0)


def _sign(event: Event, base: int, scale: Scale) -> list[Child]:
    x = _at(event.start_s, scale)
    said = tag("title", f"{event.channel}: {event.said}")
    if event.kind in SWINGS:
        tall = max(_pixels(event.size_V, scale), SHORTEST)
        end = base - tall if event.size_V >= 0 else base + tall
        if event.lasted_s > LONG_SHARE * scale.longest_s:  # as long as it lasted, where that can be seen
            wide, top = _at(event.lasted_s, scale), f"{min(base, end):.1f}"
            return [tag("rect", said, x=x, y=top, width=wide, height=f"{tall:.1f}", class_=event.kind)]
        return [tag("line", said, x1=x, x2=x, y1=str(base), y2=f"{end:.1f}", class_=event.kind)]
    if event.kind in {"start", "bad start"}:
        return [tag("circle", said, cx="5", cy=str(base), r="4.5", class_=event.kind.replace(" ", "-"))]
    if event.kind == "step":
        inner = tag("path", said, d=f"M-5 {base}h10l-5 -10z", class_="step")
        return [tag("svg", inner, x=x, overflow="visible")]
    return []


def _midnights(run: Run, scale: Scale, bottom: int) -> list[Child]:
    out: list[Child] = []
    for day, since in () if run.start is None else islice(midnights(run.start, run.duration_s), MOST_DAYS):
        x = _at(since, scale)
        name = tag("title", f"midnight, {day_and_month(day)}")
        out.append(tag("line", name, x1=x, x2=x, y1=str(TOP), y2=str(bottom), class_="midnight"))
    return out


def _times(run: Run, scale: Scale, top: int) -> list[Child]:
    """Ticks: on the clock where the log tells it, else since the first reading."""
    step = next((step for step in STEPS_S if scale.longest_s / step <= 5.0), STEPS_S[-1])
    first = 0.0
    if run.start is not None and step >= 60.0:
        since = run.start - run.start.replace(hour=0, minute=0, second=0, microsecond=0)
        first = -since.total_seconds() % step
    out: list[Child] = []
    at = first
    while at <= 1.005 * scale.longest_s:
        x = _at(at, scale)
        share = at / scale.longest_s
        anchor = "start" if share < 0.03 else "middle" if share < 0.97 else "end"
        out.append(tag("line", x1=x, x2=x, y1=str(top), y2=str(top + 5), class_="tick"))
        out.append(tag("text", _moment(run, at, step), x=x, y=str(top + 17), text_anchor=anchor, class_="tick"))
        at += step
    return out


def _moment(run: Run, seconds: float, step: float) -> str:
    """A tick in words: the clock, with the date at midnight; without one the time gone by, in its own unit."""
    if run.start is not None and step >= 60.0:
        when = to_second(run.start, seconds)
        return day_and_month(when) if (when.hour, when.minute) == (0, 0) else f"{when:%H:%M}"
    if step < 60.0:
        return f"{seconds:.0f} s"
    if step < HOUR:
        return f"{seconds / 60.0:.0f} min"
    return f"{seconds / HOUR:.0f} h" if step < 86400.0 else f"{seconds / 86400.0:.0f} d"


def evening(result: Assessment) -> Markup:
    """All runs of an assessment: a strip each, and what happened in order."""
    events = events_of(result)
    parts: list[Child] = [tag("h2", "What happened, in order"), tag("p", KEY, class_="sub")]
    parts += strips(result, events, scale_of([(result, events)]))
    return tag("section", parts, told(result, events, strips=strip_names(result)))
