"""Still pictures of strips: what is drawn here against what Vega's own engine (vl-convert) draws of the same specification. All logs are invented."""

from __future__ import annotations

import datetime
import re
from xml.etree import ElementTree

import numpy as np
import pytest
from scipy.spatial import cKDTree

from flicker import Log, assess, simulate_log
from flicker.present import charts, export, palette
from flicker.present.report.still import strip_svg

NUMBER = re.compile(r"-?\d*\.?\d+(?:e-?\d+)?")
LINES = {palette.PETROL, palette.THRESHOLD, palette.ALARM, palette.FAINT, palette.GRID, palette.EDGE, palette.WARM_UP, palette.UNSEEN, palette.RELAY}
NEAR = 1.5  # pixels
LOWER = 160.0  # where the lower strip is laid for the comparison, below the upper one


def corners(path: str) -> list[tuple[float, float]]:
    """Places that a path runs through (SVG 2, chapter 9: the commands that occur)."""
    x = y = 0.0
    out = []
    for command, told in re.findall(r"([MLhvlz])([^MLhvlz]*)", path.replace("Z", "z")):
        given = [float(number) for number in NUMBER.findall(told)]
        if command in "ML":
            x, y = given
        elif command in "hvl":
            across, down = {"h": (*given, 0.0), "v": (0.0, *given), "l": given}[command]
            x, y = x + across, y + down
        out.append((x, y))
    return out


def drawn(svg: str) -> tuple[list[tuple[str, float, float]], dict[str, np.ndarray]]:
    """Words with their places, and by colour the corners of all lines, from the upper left corner of the upper strip."""
    words: list[tuple[str, float, float]] = []
    lines: dict[str, list[tuple[float, float]]] = {}

    def walk(node, at):
        for turn, told in re.findall(r"(translate|rotate)\(([^)]*)\)", node.get("transform", "")):
            if turn == "translate":
                at = np.add(at, [float(number) for number in told.split(",")])
        name = node.tag.rpartition("}")[2]
        here = np.add(at, [float(node.get("x", 0)), float(node.get("y", 0))])
        places = []
        if name == "text" and node.text:
            words.append((node.text, *here))
        elif name == "path":
            places = corners(node.get("d", ""))
        elif name == "line":
            places = [(0.0, 0.0), (float(node.get("x2")), float(node.get("y2")))]
        elif name == "rect":
            wide, tall = float(node.get("width")), float(node.get("height"))
            places = [(0.0, 0.0), (wide, 0.0), (wide, tall), (0.0, tall)]
        for colour in {node.get("fill"), node.get("stroke")} & LINES:
            lines.setdefault(colour, []).extend(map(tuple, here + np.array(places).reshape(-1, 2)))
        for child in node:
            if child.tag.rpartition("}")[2] != "defs":
                walk(child, at)

    walk(ElementTree.fromstring(svg), np.zeros(2))
    edges = np.array(lines[palette.EDGE])
    border = np.add(edges.min(axis=0), [5.0, 0.0])  # ticks of volts stand out by five pixels
    above = border[1] + LOWER - 5.0
    shift = border[1] + LOWER - edges[edges[:, 1] > above, 1].min()  # how far apart the strips lie hangs on fonts

    def placed(places):
        places = np.array(places)
        places[places[:, 1] > above, 1] += shift
        return places - border

    names, *at = zip(*words, strict=True)
    return list(zip(names, *placed(np.transpose(at)).T, strict=True)), {colour: placed(told) for colour, told in lines.items() if told}


def odd_nights():
    """Two outputs over midnight: one swings by volts, with a gap; dated, so that it lies on the clock."""
    time_s = np.arange(0.0, 4 * 3600.0, 2.0)
    time_s = time_s[(time_s < 5000.0) | (time_s > 6000.0)]
    level = 2e-3 + 3e-4 * np.random.default_rng(3).standard_normal(time_s.size)
    level[1000:1004] += 2.5
    level[3000:3040] -= 1.2
    log = Log.from_arrays(time_s, {"left": level}, name="night", start=datetime.datetime(2031, 3, 9, 22, 30))
    return charts.overview(assess(log), logs=[log])


def short():
    """Five minutes and one swing, then readings over range and none at all: an axis of plain seconds."""
    time_s = np.arange(0.0, 300.0, 0.5)
    level = 2e-3 + 3e-4 * np.random.default_rng(4).standard_normal(time_s.size)
    level[200:206] += 0.2
    level[240:246], level[260:262] = np.inf, np.nan
    return charts.overview(assess(Log.from_arrays(time_s, {"left": level}, name="short")))


def evenings():
    """Several runs laid end to end, beside others on one scale."""
    first, second = (assess(list(simulate_log(kind, seed=2).logs)) for kind in ("noisy", "degrading-visits"))
    return charts.overview(second, "left", beside=[first], most_rows=1500)


@pytest.mark.parametrize("make", [odd_nights, short, evenings])
def test_a_strip_is_drawn_as_its_engine_draws_it(make):
    spec = make().to_dict()
    del spec["title"]  # stands beside the picture, in words
    (ours, our_lines), (theirs, their_lines) = drawn(str(strip_svg(spec))), drawn(export.svg_of(spec))
    assert sorted(said for said, *_ in ours) == sorted(said for said, *_ in theirs)
    for (said, x, y), (_, their_x, their_y) in zip(sorted(ours), sorted(theirs), strict=True):
        # The title of volts stands left of their numbers, whose width each guesses for itself.
        room = 12.0 if said.startswith("offset") else NEAR
        assert abs(x - their_x) <= room and abs(y - their_y) <= NEAR, (said, x, y, their_x, their_y)
    wide, high = spec["vconcat"][0]["width"], 400.0
    assert our_lines.keys() == their_lines.keys()
    for colour, places in our_lines.items():
        for found, others in ((places, their_lines[colour]), (their_lines[colour], places)):
            nearest, _ = cKDTree(others).query(found, p=np.inf)
            shown = ((found >= 0.0) & (found <= [wide, high])).all(axis=1)  # what lies beyond a frame is cut off
            if colour == palette.PETROL:  # readings within half a pixel are one stroke here, from the least to the largest
                shown &= outermost(found)
            assert nearest[shown].max() <= NEAR, (colour, found[shown & (nearest > NEAR)])


def outermost(places: np.ndarray) -> np.ndarray:
    """Whether no other corner of the same strip lies higher, or none lower, within a pixel to the left and right."""
    out = np.zeros(len(places), dtype=bool)
    for strip in (places[:, 1] < LOWER - 5.0, places[:, 1] >= LOWER - 5.0):
        x, y = places[strip].T
        order = np.argsort(x)
        first, last = (np.searchsorted(x[order], x + by, side) for by, side in ((-1.0, "left"), (1.0, "right")))
        beside = [y[order[begin:end]] for begin, end in zip(first, last, strict=True)]
        out[strip] = [value in (near.min(), near.max()) for value, near in zip(y, beside, strict=True)]
    return out
