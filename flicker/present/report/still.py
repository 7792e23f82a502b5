"""A strip as a still picture, drawn from its chart's own specification: the engine that draws any chart takes longer to start than all else of a page.

What `charts.overview` lays over each other is known here and nothing else. `tests/test_still.py` holds it against the
engine's own drawing: the same words at the same places, the same lines.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any, NamedTuple, TypeAlias

from flicker.base.units import HOUR
from flicker.present import palette
from flicker.present.report.parts import Child, Markup, tag

Row: TypeAlias = Mapping[str, Any]

TICKS = 6  # asked for, of an axis; it gets as many as round steps give
SIZE = 11  # letters of an axis, pixels
LETTER = 7  # width of one, about: which fonts a reader has is not known
ABOVE, BESIDE, BELOW = 21, 34, 35  # room for names of runs, for the title of volts, for times and their title
APART = 14  # between the two strips
RIGHT = 17  # for the half of the last time that stands beyond its tick
DOWN = {"top": 0.79, "middle": 0.3, "bottom": -0.21}  # of the size of letters, from where they hang to the line that they stand on
COLUMN = 0.5  # pixels: readings as near as this become one stroke from the least to the largest
POINTER = (3.2, 5.6)  # half the width and the height of a triangle of 42 square pixels, as Vega draws it


class Frame(NamedTuple):
    """One of the two strips: its stretch of time, its volts, its size in pixels."""

    begin: float
    end: float
    low: float
    high: float
    wide: float
    tall: float

    def x(self, value: float) -> float:
        """Pixels from the left."""
        return (value - self.begin) / (self.end - self.begin) * self.wide

    def y(self, value: float) -> float:
        """Pixels from the top."""
        return (self.high - value) / (self.high - self.low) * self.tall

    def shows(self, row: Row) -> bool:
        """Whether a moment, or any part of a stretch, falls within."""
        return bool(self.begin <= row.get("x2", row["x"]) and row["x"] <= self.end)


def strip_svg(spec: Mapping[str, Any]) -> Markup:
    """Draw a strip, the whole log above its close-up, as SVG."""
    told, (above, below) = spec["usermeta"]["strip"], spec["vconcat"]
    look = next(param["value"]["x"] for param in spec["params"] if param["name"] == "stretch")
    wide, (low, high) = above["width"], told["volts"]
    whole, close = (
        Frame(begin=begin, end=end, low=low, high=high, wide=wide, tall=part["height"])
        for (begin, end), part in ((told["whole"], above), (look, below))
    )
    left = BESIDE + LETTER * max(len(said) for _, said in _numbers(low, high))
    second = ABOVE + whole.tall + BELOW + APART
    size = {"width": str(left + wide + RIGHT), "height": str(second + close.tall + BELOW)}
    brush = tag("rect", x=_px(whole.x(look[0])), width=_px(whole.x(look[1]) - whole.x(look[0])), height=str(whole.tall), fill_opacity="0.125")
    return tag(
        "svg",
        tag("rect", **size, fill=palette.SHEET),
        _strip(whole, above, spec["datasets"], told, (left, ABOVE), brush),
        _strip(close, below, spec["datasets"], told, (left, second), None),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {size['width']} {size['height']}",
        font_family=palette.SANS,
        font_size=str(SIZE),
        **size,
    )


def _strip(frame: Frame, part: Mapping[str, Any], tables: Mapping[str, Sequence[Row]], told: Row, at: tuple[float, float], brush: Child) -> Markup:
    inside: list[Child] = [brush]
    names: list[Child] = []  # of runs, above the frame
    for layer in part["layer"]:
        rows = tables[layer["data"]["name"]]
        clips = layer["mark"].get("clip", False)
        (inside if clips else names).append(DRAWN[layer["mark"]["type"]](frame, layer["mark"], layer["encoding"], rows))
    titles = [next(layer["encoding"][axis]["title"] for layer in part["layer"] if "title" in layer["encoding"].get(axis, {})) for axis in "xy"]
    # Within an svg element of its own nothing is drawn beyond the frame.
    framed = tag("svg", inside, width=str(frame.wide), height=str(frame.tall))
    return tag("g", _axes(frame, told, titles), framed, names, transform=f"translate({at[0]},{at[1]})")


def _axes(frame: Frame, told: Row, titles: Sequence[str]) -> Child:
    wide, tall = str(frame.wide), str(frame.tall)
    times = [(frame.x(value), _moment(value, said, told)) for value, said in _numbers(frame.begin, frame.end)]
    volts = [(frame.y(value), said) for value, said in _numbers(frame.low, frame.high)]
    grid = "".join(f"M{x:.0f},0v{tall}" for x, _ in times) + "".join(f"M0,{y:.0f}h{wide}" for y, _ in volts)
    ticks = "".join(f"M{x:.0f},{tall}v5" for x, _ in times) + "".join(f"M-5,{y:.0f}h5" for y, _ in volts)
    out: list[Child] = [
        tag("path", d=grid, stroke=palette.GRID, stroke_opacity="0.8", transform="translate(0.5,0.5)"),
        tag("path", d=f"M0,0h{wide}v{tall}h-{wide}z{ticks}", stroke=palette.EDGE, fill="none", transform="translate(0.5,0.5)"),
    ]
    for x, said in times:
        anchor = "start" if x < 1.0 else "middle" if x < frame.wide - 1.0 else "end"
        out.append(tag("text", said, x=_px(x), y=str(frame.tall + 16), text_anchor=anchor, fill=palette.INK))
    out += [tag("text", said, x="-7", y=_px(y + DOWN["middle"] * SIZE), text_anchor="end", fill=palette.INK) for y, said in volts]
    beside = -(BESIDE - 20 + LETTER * max(len(said) for _, said in volts))
    turned = f"translate({beside},{_px(frame.tall / 2)}) rotate(-90)"
    for title, place in zip(titles, (f"translate({_px(frame.wide / 2)},{frame.tall + 31})", turned), strict=True):
        out.append(tag("text", title, transform=place, text_anchor="middle", fill=palette.FAINT))
    return out


def _numbers(low: float, high: float) -> list[tuple[float, str]]:
    """Round numbers within an axis, 1, 2 or 5 times a power of ten apart, as near to `TICKS` as they come."""
    rough = (high - low) / TICKS
    power = math.floor(math.log10(rough))
    share = rough / 10.0**power
    # borders between steps: their geometric means, as usual (Heckbert, Nice numbers for graph labels, Graphics Gems 1990)
    step = 10.0**power * (10 if share >= math.sqrt(50) else 5 if share >= math.sqrt(10) else 2 if share >= math.sqrt(2) else 1)
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    places = range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)
    return [(place * step, f"{place * step:,.{digits}f}".replace("-", "\u2212")) for place in places]


def _moment(value: float, said: str, told: Row) -> str:
    """A time as `Strip.axis` says it: the clock, hours and minutes, or the number itself; seconds where there are any."""
    if not told["clock"] and told["seconds"] < HOUR:
        return said
    minutes, seconds = divmod(round(value * told["seconds"]), 60)
    hours, minutes = divmod(minutes, 60)
    hour = f"{hours % 24:02d}" if told["clock"] else str(hours)
    return f"{hour}:{minutes:02d}" + (f":{seconds:02d}" if seconds else "")


def _rects(frame: Frame, mark: Row, told: Row, rows: Sequence[Row]) -> Child:
    colours = dict(zip(told["color"]["scale"]["domain"], told["color"]["scale"]["range"], strict=True))
    ends = [(row["kind"], frame.x(row["x"]), frame.x(row["x2"])) for row in rows if frame.shows(row)]
    return [tag("rect", x=_px(begin), width=_px(end - begin), height=str(frame.tall), fill=colours[kind]) for kind, begin, end in ends]


def _area(frame: Frame, mark: Row, told: Row, rows: Sequence[Row]) -> Child:
    drawn = []
    for part in _pieces(frame, rows, "piece", "lo"):
        columns: dict[float, tuple[float, float, float]] = {}
        for row in part:
            x, low, high = frame.x(row["x"]), row["lo"], row["hi"]
            column = round(x / COLUMN)
            x, least, largest = columns.get(column, (x, low, high))
            columns[column] = (x, min(least, low), max(largest, high))
        lower = [(x, frame.y(low)) for x, low, _ in columns.values()]
        upper = [(x, frame.y(high)) for x, _, high in columns.values()]
        drawn.append(_line([*lower, *reversed(upper)]) + "z")
    return tag("path", d="".join(drawn), fill=mark["color"], fill_opacity=str(mark["fillOpacity"]), stroke=mark["stroke"], stroke_width=str(mark["strokeWidth"]))


def _lines(frame: Frame, mark: Row, told: Row, rows: Sequence[Row]) -> Child:
    name = told["y"]["field"]
    drawn = "".join(_line([(frame.x(row["x"]), frame.y(row[name])) for row in part]) for part in _pieces(frame, rows, "run", name))
    return _stroked(drawn, mark)


def _rules(frame: Frame, mark: Row, told: Row, rows: Sequence[Row]) -> Child:
    if "x" in told:
        return _stroked("".join(f"M{_px(frame.x(row['x']))},0v{frame.tall}" for row in rows if frame.shows(row)), mark)
    return _stroked("".join(f"M0,{_px(frame.y(row['v']))}h{frame.wide}" for row in rows), mark)


def _stroked(path: str, mark: Row) -> Markup:
    dashes = " ".join(map(str, mark["strokeDash"]))
    return tag("path", d=path, fill="none", stroke=mark["color"], stroke_dasharray=None if dashes == "1 0" else dashes)


def _texts(frame: Frame, mark: Row, told: Row, rows: Sequence[Row]) -> Child:
    anchor = {"left": "start", "right": "end"}[mark["align"]]
    down = mark.get("dy", 0) + DOWN[mark["baseline"]] * mark["fontSize"]
    out = []
    for row in rows:
        x = frame.wide if "value" in told["x"] else frame.x(row["x"])
        y = told["y"]["value"] if "value" in told["y"] else frame.y(row["v"])
        if 0.0 <= x <= frame.wide:
            out.append(
                tag("text", row[told["text"]["field"]], x=_px(x + mark.get("dx", 0)), y=_px(y + down), text_anchor=anchor, font_size=str(mark["fontSize"]), fill=mark["color"])
            )
    return out


def _points(frame: Frame, mark: Row, told: Row, rows: Sequence[Row]) -> Child:
    half, tall = POINTER
    drawn = []
    for row in rows:
        if row["v"] is not None and frame.shows(row):
            way = 1 if row["sign"] == "triangle-up" else -1
            drawn.append(f"M{_px(frame.x(row['x']))},{_px(frame.y(row['v']) - way * tall / 2)}l{half},{way * tall}h{-2 * half}z")
    return tag("path", d="".join(drawn), fill=mark["color"], opacity=str(mark["opacity"]))


DRAWN = {"rect": _rects, "area": _area, "line": _lines, "rule": _rules, "text": _texts, "point": _points}


def _pieces(frame: Frame, rows: Iterable[Row], name: str, needed: str) -> Iterator[list[Row]]:
    """Rows that one line runs through, with the last before and the first behind the frame; an empty cell ends a line."""
    for (_, empty), group in groupby(rows, key=lambda row: (row[name], row[needed] is None)):
        part = list(group)
        times = [row["x"] for row in part]
        first, last = bisect_left(times, frame.begin), bisect_right(times, frame.end)
        if not empty and first < len(part) and last > 0:
            yield part[max(first - 1, 0) : last + 1]


def _line(points: Iterable[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{x:.1f},{y:.1f}" for x, y in points)


def _px(value: float) -> str:
    return f"{value:.1f}"
