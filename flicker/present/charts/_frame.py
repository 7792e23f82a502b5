"""What all charts share: caption and note, units, the strip of runs laid end to end, colours by channel."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import altair as alt
import numpy as np

from flicker.base.arrays import Floats, Ints
from flicker.base.units import HOUR
from flicker.base.values import VerdictWord
from flicker.evidence.assessment import Assessment
from flicker.evidence.channel import ChannelAssessment
from flicker.evidence.compare.stages import Comparison
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.evidence.verdict import DO_NOT_CONNECT, ORDER
from flicker.logs import arrow_types
from flicker.logs.model import Run
from flicker.logs.spans import spans, without
from flicker.present import palette, said
from flicker.present.envelope import Envelope
from flicker.present.said import day_and_clock, day_and_month
from flicker.signals.trace import Trace

WIDTH = 720
FEW_COUNTED = 5  # up to which each number has its tick; a choice

# Fixed places and words. Altair's `value` would hold each against the schemas of all channels; these are untyped there.
XValue: Any = alt.XValue
YValue: Any = alt.YValue
TextValue: Any = alt.TextValue

READINGS = frozenset({"lo", "hi", "level", "upper", "lower"})


class NothingToDraw(ValueError):
    """A chart for which the results hold nothing: no episode, no power-up, too few pauses."""


SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0}


def finish(chart: Any, caption: str, note: str) -> Any:
    """Give a chart its caption (what is found), its note (how it is drawn), and the description of both."""
    caption, note = (" ".join(part.split()) for part in (caption, note))
    title = alt.TitleParams(
        text=textwrap.wrap(caption, max(30, round(WIDTH / 7.6))),
        subtitle=textwrap.wrap(note, max(40, round(WIDTH / 5.4))),
    )
    # Set in place: `properties` would copy the chart, and each copy of layers copies every layer three times.
    chart.title, chart.description, chart.config = title, f"{caption} {note}", palette.chart_config()
    return chart


def caption_of(chart: Any) -> str:
    """What the chart finds, in one or two sentences."""
    return " ".join(chart.title.text)


def note_of(chart: Any) -> str:
    """How the chart is to be read."""
    return " ".join(chart.title.subtitle)


def layer(*charts: Any, **options: Any) -> Any:
    """Lay charts over each other.

    Their marks and encodings go in as plain dictionaries: Altair copies each layer some ten times, and with such an object
    every option that it might have.
    """
    for chart in charts:
        if isinstance(chart, alt.Chart):
            # the chart that they go into is held against the schema as a whole, where it is
            if isinstance(chart.mark, alt.SchemaBase):
                chart.mark = chart.mark.to_dict(validate=False)
            if isinstance(chart.encoding, alt.SchemaBase):
                chart.encoding = alt.FacetedEncoding(**chart.encoding.to_dict(validate=False))
    return alt.layer(*charts, **options)


def values(rows: Iterable[Mapping[str, Any]]) -> Any:
    """Table of a chart (of Arrow, as logs are read: Altair neither copies nor validates its rows, and needs no pandas).

    Numbers to seven digits, readings of a strip to five: a screen shows four at most, and the page is lighter.
    """
    import pyarrow as pa

    given = list(rows)
    names = dict.fromkeys(name for row in given for name in row)
    return pa.table({name: _column(name, [row.get(name) for row in given]) for name in names})


def _column(name: str, cells: Sequence[Any]) -> Any:
    """Cells of one kind as a column; None, and what is not a finite number, is empty."""
    known = np.array([cell is not None for cell in cells])
    kinds = {type(cell) for cell in cells if cell is not None}
    if all(issubclass(kind, str) for kind in kinds):
        return arrow_types.words(["" if cell is None else cell for cell in cells], known)
    if kinds <= {bool, np.bool_}:
        return arrow_types.mask(np.array(cells, dtype=bool), known)
    number = np.array(cells, dtype=np.float64)
    if all(issubclass(kind, (int, np.integer)) for kind in kinds):
        return arrow_types.places(np.nan_to_num(number).astype(np.int64), known)
    return arrow_types.numbers(_rounded(number, 5 if name in READINGS else 7), np.isfinite(number))


def _rounded(number: Floats, digits: int) -> Floats:
    good = np.isfinite(number) & (number != 0.0)
    power = np.zeros(number.shape)
    power[good] = digits - 1.0 - np.floor(np.log10(np.abs(number[good])))
    up, down = 10.0 ** np.maximum(power, 0.0), 10.0 ** np.maximum(-power, 0.0)
    out = np.full(number.shape, np.nan)
    out[np.isfinite(number)] = (np.round(number * up / down) * down / up)[np.isfinite(number)]
    return out


def label(text: str) -> str:
    """Text as a chart may carry it: one line (Vega's expressions know no line separators), not endless."""
    line = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return line if len(line) <= 60 else f"{line[:57]}..."


def pick(assessment: Assessment, channel: str | None) -> ChannelAssessment:
    """Find the channel of that name, or the one in worst state where none is named.

    Raises
    ------
    ValueError
        If there is no channel of that name.
    """
    if channel is None:
        return min(assessment.channels, key=lambda item: (item.fitness != DO_NOT_CONNECT, ORDER.index(VerdictWord(item.verdict))))
    for item in assessment.channels:
        if item.channel == channel:
            return item
    known = ", ".join(item.channel for item in assessment.channels)
    raise ValueError(f"channel must be one of {known}, got {channel!r}")


def worst_channel(assessment: Assessment, channel: str | None = None) -> str:
    """Name of the channel in worst state, or ``channel`` where there is one of that name.

    Raises
    ------
    ValueError
        If there is no channel of that name.
    """
    return pick(assessment, channel).channel


def both_sides(comparison: Comparison, channel: str | None = None) -> tuple[tuple[Assessment, Assessment], str]:
    """Before and after, and the channel of a chart of both: the worst before, or the one named.

    Raises
    ------
    ValueError
        If there is no channel of that name on both sides.
    """
    sides = (comparison.before_assessment, comparison.after_assessment)
    name = worst_channel(sides[0], channel)
    if all(name != record.channel for record in sides[1].records):
        raise ValueError(f"channel must be on both sides, got {channel!r}")
    return sides, name


def record_of(assessment: Assessment, channel: str) -> ChannelRecord:
    """Record of the channel of that name."""
    return next(record for record in assessment.records if record.channel == channel)


def colour_of(assessment: Assessment, channel: str) -> str:
    """Colour of a channel: by its place, so that left is always the same."""
    place = [item.channel for item in assessment.channels].index(channel)
    return palette.SERIES[place % len(palette.SERIES)]


def chosen(assessment: Assessment, channel: str | None) -> tuple[ChannelAssessment, ChannelRecord, str]:
    """The channel of that name, or the one in worst state where none is named: its result, its record and its colour.

    Raises
    ------
    ValueError
        If there is no channel of that name.
    """
    item = pick(assessment, channel)
    return item, record_of(assessment, item.channel), colour_of(assessment, item.channel)


def scaled(rows: Sequence[dict[str, Any]], factor: float, *names: str) -> None:
    """Bring volts of rows into the unit of their axis."""
    for row in rows:
        row.update({name: row[name] * factor for name in names})


def time_unit(seconds: float) -> str:
    """Unit in which a time axis of that length reads well."""
    return "s" if seconds <= 600 else "min" if seconds <= 3 * HOUR else "h"


def hour_unit(hours: float) -> tuple[str, float]:
    """Unit in which an axis of observed hours reads well, and what hours are multiplied by."""
    unit = time_unit(HOUR * hours)
    return unit, HOUR / SECONDS[unit]


def volt_unit(volts: float) -> tuple[str, float]:
    """Unit in which a voltage axis up to that size reads well, and what volts are multiplied by."""
    return ("V", 1.0) if abs(volts) >= 1.0 else ("mV", 1e3)


@dataclass(frozen=True, slots=True)
class Strip:
    """The runs of a unit laid end to end like pieces of chart paper; ``offset_s`` is where each begins.

    A single run whose beginning the log tells lies on the clock: ``zero_s`` is then its beginning since midnight.
    """

    numbers: tuple[int, ...]
    offset_s: tuple[float, ...]
    length_s: tuple[float, ...]
    labels: tuple[str, ...]
    unit: str
    zero_s: float | None = None
    day: str = ""

    @property
    def end_s(self) -> float:
        """Where the strip ends."""
        return self.offset_s[-1] + self.length_s[-1]

    def x(self, place: int, time_s: Any) -> Any:
        """Place on the strip, in its unit, of a time of run ``place``."""
        return (self.offset_s[place] + (self.zero_s or 0.0) + np.asarray(time_s, dtype=np.float64)) / SECONDS[self.unit]

    @property
    def domain(self) -> list[float]:
        """Ends of the strip, in its unit."""
        return [float(self.x(0, 0.0)), float(self.x(-1, self.length_s[-1]))]

    def axis(self, **options: Any) -> Any:
        """Time axis: the clock where the strip lies on it, hours and minutes where it is long; seconds where they show."""
        if self.zero_s is not None:
            moment = f"round(datum.value * {SECONDS[self.unit]:.0f}) * 1000"
            said = f"utcFormat({moment}, {moment} % 60000 == 0 ? '%H:%M' : '%H:%M:%S')"
            return alt.Axis(labelExpr=said, **options)
        if self.unit != "h":
            return alt.Axis(**options)
        second = "round(datum.value * 3600)"
        said = f"floor({second} / 3600) + ':' + format(floor({second} % 3600 / 60), '02')"
        return alt.Axis(labelExpr=f"{said} + ({second} % 60 == 0 ? '' : ':' + format({second} % 60, '02'))", **options)

    @property
    def axis_title(self) -> str:
        """Title of the time axis."""
        if self.zero_s is not None:
            return f"clock, from {self.day} (h:min)"
        unit = "h:min" if self.unit == "h" else self.unit
        if len(self.numbers) == 1:
            return f"time since the first sample ({unit})"
        return f"time on the strip ({unit}); runs laid end to end"


def strip_of(record: ChannelRecord, *, clock: bool = False) -> Strip:
    """Lay the runs of a record end to end; a single dated run on the clock, where that is asked for."""
    lengths = [run.duration_s + run.sample_interval_s for run in record.runs]
    space = 0.012 * sum(lengths) if len(lengths) > 1 else 0.0
    offsets = np.concatenate(([0.0], np.cumsum(np.array(lengths) + space)[:-1]))
    before = "run " if len(lengths) <= 6 else ""
    labels = [f"{before}{number + 1}" for number in record.numbers]
    if 1 < len(lengths) <= 4:
        labels = [
            label if run.start is None else f"{label}, {day_and_clock(run.start)}"
            for label, run in zip(labels, record.runs, strict=True)
        ]
    unit = time_unit(float(offsets[-1] + lengths[-1]))
    strip = Strip(record.numbers, tuple(offsets.tolist()), tuple(lengths), tuple(labels), unit)
    first = record.runs[0].start
    if not clock or len(lengths) > 1 or first is None:
        return strip
    since = HOUR * first.hour + 60.0 * first.minute + first.second + 1e-6 * first.microsecond
    return replace(strip, zero_s=since, day=f"{day_and_month(first)} {first.year}")


def rows_of(parts: Sequence[Envelope], strip: Strip) -> list[dict[str, Any]]:
    """Least and largest readings of the runs of a strip; ``piece`` numbers the stretches between gaps, across which no line runs."""
    rows: list[dict[str, Any]] = []
    piece = 0
    for place, part in enumerate(parts):
        columns = (strip.x(place, part.time_s), part.low_V, part.high_V, part.piece + piece)
        rows += [{"x": x, "lo": low, "hi": high, "piece": int(number)} for x, low, high, number in zip(*columns, strict=True)]
        piece += int(part.piece[-1]) + 1 if part.piece.size else 1
    return rows


def thinned(count: int, most: int) -> Ints:
    """Places of so many items at most, evenly chosen from first to last."""
    return np.unique(np.linspace(0, max(count - 1, 0), min(count, most)).astype(np.int64))


def dashed(rows: Iterable[Mapping[str, Any]], **places: Any) -> Any:
    """Draw limits and other lines that were not measured: dashed, in one colour on all charts."""
    return alt.Chart(values(rows)).mark_rule(color=palette.THRESHOLD, strokeDash=[5, 4]).encode(**places)


def spread(knot_s: Floats, most: int) -> Ints:
    """Places of so many knots of a line at most, evenly chosen, and of both ends of each jump."""
    jumps = np.flatnonzero(np.diff(knot_s) < 1e-3)
    return np.unique(np.concatenate((thinned(knot_s.size, most), jumps, jumps + 1)))


def midnights(record: ChannelRecord, strip: Strip) -> list[dict[str, Any]]:
    """Places on the strip where a day begins, with its name; only of runs whose beginning the log tells."""
    return [
        {"x": float(strip.x(place, since)), "day": day_and_month(day)}
        for place, run in enumerate(record.runs)
        for day, since in (() if run.start is None else said.midnights(run.start, strip.length_s[place]))
    ]


def volt_span(assessments: Iterable[Assessment]) -> tuple[float, float]:
    """Least and largest volts that charts of these, on one scale, must hold: readings within range, and thresholds."""
    low, high = math.inf, -math.inf
    for assessment in assessments:
        for run in assessment.traces:
            for part in run.blocks.channels[: len(run.traces)]:
                for ends in (part.low, part.high):
                    good = ends[np.isfinite(ends)]
                    if good.size:
                        low, high = min(low, float(good.min())), max(high, float(good.max()))
        for item in assessment.channels:
            level, enter = item.baseline.level_V, item.thresholds["enter_V"]
            if level is not None:
                low, high = min(low, level - enter), max(high, level + enter)
    if not low < high:
        return -0.05, 0.05
    room = 0.04 * (high - low)
    return low - room, high + room


def unseen(run: Run, trace: Trace) -> list[tuple[float, float, str]]:
    """Stretches of a run that were not observed, with the reason where one was noted."""
    listed = [(gap.start_s, gap.end_s, gap.reason) for gap in (*run.gaps, *trace.unobserved)]
    whole = spans([(0.0, run.duration_s + run.sample_interval_s)])
    rest = without(without(whole, trace.observed), spans([(begin, end) for begin, end, _ in listed]))
    return [*listed, *((float(a), float(b), "not observed") for a, b in rest if b - a > 2.0 * run.sample_interval_s)]


def observed_hours(record: ChannelRecord) -> tuple[Floats, Floats]:
    """Own episodes on the clock of observed hours over all runs, and the hours when runs begin and the last ends."""
    begins = np.concatenate(([0.0], np.cumsum([trace.observed_s for trace in record.traces]))) / HOUR
    own = ~record.episodes.common
    return begins[record.episodes.run[own]] + record.episodes.clock_s[own] / HOUR, begins


def count_axis(most: float) -> Any:
    """Axis of a count up to ``most``: of a small one each number once, for the engine's own ticks lie between and are rounded."""
    axis = alt.Axis(format="d", tickMinStep=1)
    if most <= FEW_COUNTED:
        axis["values"] = list(range(math.ceil(most) + 1))
    return axis


def run_rules(begins: Floats, labels: Sequence[str]) -> Any:
    """Faint borders between runs."""
    rows = [{"x": float(x), "run": label} for x, label in zip(begins, labels, strict=True)]
    return (
        alt.Chart(values(rows))
        .mark_rule(color=palette.EDGE, strokeDash=[2, 3])
        .encode(x=alt.X("x:Q"), tooltip=[alt.Tooltip("run:N")])
    )


def log_scale(number: Floats) -> Any:
    """Logarithmic scale that reaches a little beyond the numbers, no farther."""
    low, high = float(np.min(number)), float(np.max(number))
    return alt.Scale(type="log", domain=[float(f"{low / 1.3:.3g}"), float(f"{high * 1.3:.3g}")], nice=False)
