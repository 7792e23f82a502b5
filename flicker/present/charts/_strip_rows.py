"""The rows that a strip is drawn from: envelope, baseline, swings, shades of what was not observed, the relay's threshold."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from flicker.base.formats import clock_text, volts_text
from flicker.evidence.assessment import Assessment
from flicker.evidence.channel import ChannelAssessment
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.logs.model import Log
from flicker.present.charts import _frame as frame
from flicker.present.charts._frame import Strip
from flicker.present.envelope import envelope, logs_of_runs
from flicker.present.said import APPROACHED
from flicker.signals.trace import RunTraces, of_channel

POINTERS = ["triangle-up", "triangle-down"]
MOST_MARKS = 400
MOST_LEVELS = 120  # places of the level line in all: it bends slowly
FOCUS_S = 20.0  # before and after a swing, in which it is drawn finely: a choice
LETTER = 5.5  # width of a letter of a run's name, pixels: of the charts' font at size 10


def own_span(rows: Sequence[dict[str, Any]], item: ChannelAssessment) -> tuple[float, float]:
    """Least and largest volts of the channel itself, its thresholds included."""
    seen = [row[key] for row in rows for key in ("lo", "hi") if math.isfinite(row[key])]
    level, enter = item.baseline.level_V or 0.0, item.thresholds["enter_V"]
    low, high = min([*seen, level - enter]), max([*seen, level + enter])
    room = 0.04 * (high - low)
    return low - room, high + room


def envelope_rows(
    runs: Sequence[tuple[RunTraces, int]], record: ChannelRecord, strip: Strip, most: int
) -> list[dict[str, Any]]:
    spent = sum(strip.length_s)
    parts = []
    for place, ((run, index), trace) in enumerate(zip(runs, record.traces, strict=True)):
        share = max(20, int((most - 20 * len(runs)) * strip.length_s[place] / spent))
        share = min(share, max(2, most // len(runs))) if len(runs) > 100 else min(share, most)
        found = trace.excursions
        focus = np.column_stack((found.start_s - FOCUS_S, found.end_s + FOCUS_S)) if found.count else None
        parts.append(envelope(run.blocks, index, rows=share, focus=focus))
    return frame.rows_of(parts, strip)[:most]


def shade_rows(
    assessment: Assessment, item: ChannelAssessment, record: ChannelRecord, strip: Strip, logs: Sequence[Log] | None
) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []

    def add(place: int, begin: float, end: float, kind: str, why: str) -> None:
        begin, end = max(begin, 0.0), min(end, strip.length_s[place])
        if end > begin:
            rows.append({"x": strip.x(place, begin), "x2": strip.x(place, end), "kind": kind, "why": why})

    for place, (run, trace) in enumerate(zip(record.runs, record.traces, strict=True)):
        if trace.warm_up_until_s > 0:
            begin = trace.start.end_s if trace.start is not None else 0.0
            add(place, begin, trace.warm_up_until_s, "warm-up", "observed, and counted as a phase of its own")
        for begin, end, why in frame.unseen(run, trace):
            add(place, begin, end, "start" if "surge" in why or "start" in why else "not observed", why)
    for place, begin, end in relay_spans(assessment, item, logs):
        add(place, begin, end, "relay open", "assumed relay, not measured on this unit")
    return rows


def change_rows(item: ChannelAssessment, strip: Strip) -> list[tuple[dict[str, Any], dict[str, Any]]]:
    """For each change of rate that is shown the stretch in which it began, and the moment itself."""
    out = []
    wide = 0.002 * (strip.domain[1] - strip.domain[0])  # a moment that was given has no width of its own
    for row in item.since.stretches[1:] if item.since is not None else ():
        moments = [(row.low_run, row.low_s), (row.run, row.at_s), (row.high_run, row.high_s)]
        places = [float(strip.x(strip.numbers.index(run), at)) for run, at in moments if run in strip.numbers and at is not None]
        if len(places) == len(moments):
            low, at, high = places
            why = item.since.reads if item.since is not None else ""
            stretch = {"x": min(low, at - wide), "x2": max(high, at + wide), "kind": "another rate from here", "why": why}
            out.append((stretch, {"x": at, "day": f"{row.answer} from here"}))
    return out


def relay_spans(
    assessment: Assessment, item: ChannelAssessment, logs: Sequence[Log] | None
) -> list[tuple[int, float, float]]:
    if not item.relay.trips or not logs:
        return []
    from flicker.signals.relay import scan_relay

    numbers = [run.number for run in assessment.traces]
    log_of = dict(zip(numbers, logs_of_runs([run.blocks for run in assessment.traces], logs), strict=True))
    out: list[tuple[int, float, float]] = []
    for place, (run, _) in enumerate(of_channel(assessment.traces, item.channel)):
        log = log_of[run.number]
        for part in () if log is None else scan_relay(log, run.blocks, assessment.limits):
            if part.channel == item.channel:
                out.extend((place, float(a), float(b)) for a, b in part.disconnected)
    return out


def first_look(item: ChannelAssessment, strip: Strip) -> list[float]:
    """Where the close-up begins: around the largest excursion, or the first part of the log."""
    total = strip.end_s
    wide = max(0.04 * total, min(120.0, total))
    centre = 0.5 * wide
    if item.excursions:
        worst = max(item.excursions, key=lambda row: abs(row.deviation_V))
        if worst.run in strip.numbers:
            wide = max(wide, 4.0 * min(worst.duration_s, 0.2 * total))
            centre = strip.offset_s[strip.numbers.index(worst.run)] + 0.5 * (worst.start_s + worst.end_s)
    begin = float(np.clip(centre - 0.5 * wide, 0.0, max(total - wide, 0.0)))
    return [float(strip.x(0, begin)), float(strip.x(0, min(begin + wide, total)))]


def run_rows(strip: Strip, end: float) -> list[dict[str, Any]]:
    """Name each run where it begins, on a strip up to ``end``: with its date, else without, else only those that have room."""
    begins = [float(strip.x(k, 0.0)) for k in range(len(strip.numbers))]
    per_letter = LETTER * (end - begins[0]) / frame.WIDTH
    room = [(after - begin) / per_letter for begin, after in itertools.pairwise([*begins, end])]
    short = [label.split(",")[0] for label in strip.labels]
    for labels in (strip.labels, short):
        if all(len(label) < letters for label, letters in zip(labels, room, strict=True)):
            return [{"x": begin, "run": label} for begin, label in zip(begins, labels, strict=True)]
    rows: list[dict[str, Any]] = []
    for begin, label in zip(begins, short, strict=True):
        if not rows or begin - rows[-1]["x"] > per_letter * (len(rows[-1]["run"]) + 1):
            rows.append({"x": begin, "run": label})
    return rows


def label_rows(shades: Sequence[dict[str, Any]], strip: Strip) -> list[dict[str, Any]]:
    """Name each kind of shade where it is wide enough to carry its name."""
    wide = 0.075 * strip.end_s / frame.SECONDS[strip.unit]
    out: dict[str, dict[str, Any]] = {}
    for row in shades:
        if row["kind"] not in out and row["x2"] - row["x"] >= wide:
            out[row["kind"]] = {"x": row["x"], "kind": row["kind"]}
    return list(out.values())


def line_rows(record: ChannelRecord, strip: Strip, factor: float) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    for place, trace in enumerate(record.traces):
        if trace.baseline is None or trace.observed.size == 0:
            continue
        begin, end = float(trace.observed[0, 0]), float(trace.observed[-1, 1])
        knots = trace.baseline.knot_s
        inner = knots[(knots > begin) & (knots < end)]
        inner = inner[frame.spread(inner, max(4, MOST_LEVELS // len(record.traces)))]
        # The fitted surge bends most at the start: follow it there.
        early = begin + np.geomspace(1.0, max(min(600.0, end - begin), 2.0), 12) - 1.0
        time = np.unique(np.concatenate(([begin], early[early < end], inner, [end])))
        level = trace.baseline.at(time)
        enter = trace.enter_V
        rows.extend(
            {"x": x, "level": v * factor, "upper": (v + enter) * factor, "lower": (v - enter) * factor, "run": place}
            for x, v in zip(strip.x(place, time), level, strict=True)
        )
    return rows


def mark_rows(item: ChannelAssessment, strip: Strip, factor: float) -> list[dict[str, Any]]:
    chosen = sorted(item.excursions, key=lambda row: -abs(row.deviation_V))[:MOST_MARKS]
    rows = []
    for row in sorted(chosen, key=lambda row: (row.run, row.start_s)):
        if row.run not in strip.numbers:
            continue
        place = strip.numbers.index(row.run)
        rows.append(
            {
                "x": strip.x(place, 0.5 * (row.start_s + row.end_s)),
                "v": row.peak_V * factor,
                "sign": POINTERS[row.deviation_V < 0],
                "lasts": row.duration_s,
                "when": f"run {row.run + 1}, {clock_text(row.start_s)}",
                "note": "at least (cut, or over range)" if row.at_least else row.phase,
            }
        )
    return rows


def relay_lines(assessment: Assessment, span: tuple[float, float], factor: float) -> list[dict[str, Any]]:
    """The relay's threshold on the side where any channel of this scale approached it."""
    threshold = assessment.limits.protection_V
    sides = [sign for sign, reach in ((-1, -span[0]), (1, span[1])) if reach >= APPROACHED * threshold]
    text = f"relay would open: {volts_text(threshold)} (assumed)"
    return [{"v": sign * threshold * factor, "text": text if k == 0 else ""} for k, sign in enumerate(sides)]
