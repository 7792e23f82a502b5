"""Does the settled level move? Slope, step and wander alike, against thermal settling, the room, and 1/f noise.

What all channels share, and what returns with the day, is the room's and has a limit of its own.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from flicker import stats
from flicker.base.formats import digits_text, millivolts_text, volts_text
from flicker.base.limits import Limits
from flicker.base.units import HOUR
from flicker.evidence.findings import NO, NOT_SHOWN, Finding
from flicker.evidence.guard import Guard, Reason
from flicker.evidence.located.moves import moment_text
from flicker.evidence.questions.cell_levels import Levels, calm_cells
from flicker.evidence.questions.movement import RawMovement
from flicker.evidence.questions.registry import question
from flicker.evidence.record.accuracy import BELOW, REVERSED, SAME_SIZE
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.logs.spans import holds
from flicker.signals.guard.figures import STARTS_S

if TYPE_CHECKING:
    from flicker.evidence.document.rows import LevelChangeRow

FEWEST_BETWEEN = 5  # power-ups that show a movement from one to the next: the exact rank test of four ends at 1 in 12; by definition
SMALL_SHARE = 0.25  # of the drift limit: a level that stays within this is not searched for steps (choice)


@question(
    "drift",
    asks="Does the resting level move?",
    place=70,
    meaning="Does the settled level move by more than 20 mV, by slope, step or wander?",
    chart="settled",
)
def drift(record: ChannelRecord, levels: Sequence[Levels], limits: Limits) -> Finding:
    """Does the settled level move by more than the limit, by slope, step or wander?"""
    method = "range of five-minute levels against what 1/f noise explains"
    tested = [part for part in levels if part.time_s.size >= 4]
    results = [
        stats.trends.movement_test(
            part.level_V,
            part.time_s,
            limit=limits.drift_V,
            sigma=part.sigma_V,
            samples_per_cell=part.samples_per_cell,
            resolution=part.resolution_V,
        )
        for part in tested
    ]
    if not results:
        return Finding(
            "drift",
            NOT_SHOWN,
            method,
            "Too short to tell movement of the level from noise: twenty minutes and more are needed.",
            limit=limits.drift_V,
            unit="V",
        )
    worst = min(range(len(results)), key=lambda k: (results[k].p_value, -results[k].range))
    result, part = results[worst], tested[worst]
    p_value = min(1.0, result.p_value * len(results))
    kind = stats.trends.movement_kind(part.level_V, part.time_s)
    words = {
        "slope": "moves steadily",
        "step": "changes once",
        "wander": "wanders",
        "none": "does not move",
    }[kind.kind]
    past = result.range > limits.drift_V
    # What comes back is wander, and wander has a limit of its own.
    if kind.kind == "wander" and kind.returns:
        past = result.range > limits.wander_V
        words = "wanders and comes back"
    within = result.high <= limits.drift_V
    span_h = float(part.time_s[-1] - part.time_s[0]) / HOUR
    text = f"The level at rest moved less than {_rounded_up(1e3 * result.range):g} mV in {digits_text(span_h)} h."
    if past:
        text = f"The level at rest {words}: {millivolts_text(result.range)} in {digits_text(span_h)} h."
    moved = float(np.ptp(part.room_V))
    if part.warmth is not None:
        text += f" A further {part.warmth.reads}: that is the room, not drift"
        beyond = part.warmth.range_V > limits.wander_V
        text += f"; beyond the {limits.wander_V * 1e3:g} mV that wander may have." if beyond else "."
    elif moved > limits.drift_V:
        text = (
            f"{millivolts_text(moved)} are shared by the channels or follow the time of day. Apart from that: "
            f"{text[0].lower()}{text[1:]}"
        )
    return Finding(
        "drift",
        NO if within else NOT_SHOWN,
        method,
        text,
        statistic=result.critical_range,
        p_value=p_value,
        sided="one",
        effect=result.range,
        low=result.low,
        high=result.high if np.isfinite(result.high) else None,
        unit="V",
        limit=limits.drift_V,
        holds=past and result.low > 0,
    )


def by_volts(found: Finding, raw: RawMovement, guard: Guard, limits: Limits) -> Finding:
    """Weigh the movement as read: its range decides 'no', the test in noise of unknown colour adds a 'yes'.

    What explains movement (settling, the room, the temperature) stays in the sentence and changes no answer 'no'.
    """
    largest = raw.largest
    judged = Reason.SHORT not in guard.reasons
    if Reason.GAPS in guard.reasons and not judged:  # rows mostly while it swings: where it rests was not seen
        return replace(found, answer=NOT_SHOWN, holds=False)
    if largest is not None and largest.beyond and not (found.holds and (found.p_value or 1.0) <= largest.p_value):
        # a line through a step is longer than the step: never more than the readings moved
        moved = max(min(abs(largest.moved), guard.figures.moved_V), largest.low)
        calm = found.effect is not None and abs(found.effect) <= limits.drift_V  # the rest of the log, with nothing to explain
        return replace(
            found,
            answer=NOT_SHOWN,
            method=f"{largest.method}; as read, from minute 20 on",
            reads=f"The settled level moves: {volts_text(moved)} as read, at least {volts_text(largest.low)} of it more than noise explains.{'' if calm else f' {found.reads}'}",
            statistic=largest.half_width,
            p_value=min(1.0, largest.p_value * raw.tested),
            effect=math.copysign(moved, largest.moved),
            low=largest.low,
            high=largest.high,
            holds=True,
        )
    within = judged and guard.figures.moved_V <= guard.limits.move_V and not (found.holds and found.sided == "two")
    text = found.reads
    if judged:
        as_read = f"moved {millivolts_text(guard.figures.moved_V)} over all power-ups, from minute 20 on."
        past = found.effect is not None and found.effect > limits.drift_V
        if guard.figures.moved_V > guard.limits.move_V and not past:  # most of it lies where the level was not calm
            text = f"As read the level {as_read} Tested where it was calm: {text[0].lower()}{text[1:]}"
        else:
            text = f"{text} As read it {as_read}"
    return replace(found, answer=NO if within else NOT_SHOWN, reads=text, holds=found.holds and not within)


def beside_volts(found: Finding, guard: Guard) -> Finding:
    """A level change that is not shown, beside what the raw readings moved: without a step that stays, it is no calm level."""
    if found.effect is not None or Reason.MOVE not in guard.reasons:
        return found
    moved = millivolts_text(guard.figures.moved_V)
    return replace(found, reads=f"No step that stays is shown; as read the level moved {moved} from minute 20 on.")


def run_to_run(record: ChannelRecord, limits: Limits, off_by_V: float = 0.0) -> Finding | None:
    """Does the level settle further away at each power-up? Rank correlation over power-ups, exact; None below five.

    A movement below ``off_by_V`` (how far two readings may be off together) beyond the limit, or a sign that just turned
    while the size stayed, is the meter's or the leads' and never holds.
    """
    levels, cycles = [], []
    for runs in record.power_ups:
        seen = [level for place in runs if (level := record.traces[place].level_V) is not None]
        if seen:
            levels.append(float(np.median(seen)))
            cycles.append(record.cycle[runs[0]])
    if len(levels) < FEWEST_BETWEEN:
        return None
    from flicker.stats.trends import mann_kendall, theil_sen

    result = mann_kendall(levels, cycles)
    slope = theil_sen(levels, cycles, confidence=limits.confidence)
    moved = slope.slope * (cycles[-1] - cycles[0])
    sizes = np.abs(levels)
    turned = min(levels) < 0.0 < max(levels) and float(sizes.min()) >= SAME_SIZE * float(sizes.max())
    said = f"From the first to the last power-up the settled level moves by {millivolts_text(moved)}, a little at each."
    if turned or limits.drift_V < abs(moved) <= limits.drift_V + off_by_V:
        said = f"{said[:-1]}; {REVERSED if turned else BELOW}."
    return Finding(
        "drift",
        NOT_SHOWN,
        f"rank correlation of the settled level over {len(levels)} power-ups",
        said,
        statistic=float(result.tau),
        p_value=float(result.p_value),
        sided="two",
        effect=moved,
        low=slope.low * (cycles[-1] - cycles[0]),
        high=slope.high * (cycles[-1] - cycles[0]),
        unit="V",
        limit=limits.drift_V,
        holds=abs(moved) - off_by_V > limits.drift_V and not turned,
    )


def strongest(within: Finding, between: Finding | None) -> Finding:
    """One answer from the two ways a level can drift; the smaller p-value counts twice."""
    if between is None or between.p_value is None:
        return within
    if within.p_value is None:
        return between
    first, _ = sorted((within, between), key=lambda item: (not item.holds, item.p_value))
    return replace(
        first, p_value=min(1.0, 2.0 * (first.p_value or 0.0)), answer=NOT_SHOWN if between.holds else within.answer
    )


@question(
    "level change",
    asks="Did the level jump and stay?",
    place=80,
    meaning="Did it jump, where, and by how much?",
    chart="settled",
)
def level_change(
    record: ChannelRecord, levels: Sequence[Levels], limits: Limits
) -> tuple[tuple[LevelChangeRow, ...], Finding]:
    """Changes of the settled level, each with its place and size; 'yes' where one is beyond the drift limit for sure."""
    method = "stepwise search for changes against 1/f noise, simultaneous interval of each step"
    rows: list[LevelChangeRow] = []
    p_values: list[float] = []
    by_cycle = dict(zip(sorted(set(record.cycle)), levels, strict=False)) if len(levels) == record.cycles else {}
    for place, (number, trace, cycle) in enumerate(zip(record.numbers, record.traces, record.cycle, strict=True)):
        base = trace.baseline
        if base is None:
            continue
        keep = holds(trace.observed, base.cell_s) & calm_cells(trace)
        if place == record.cycle.index(cycle):  # the first two minutes of a power-up are its start, as the guard has it
            keep &= base.cell_s >= STARTS_S[1]
        time, value = base.cell_s[keep], base.cell_V[keep]
        if value.size < 20 or trace.excursions.duration_s.sum() > 0.3 * trace.observed_s:
            continue
        part = by_cycle.get(cycle)
        if part is not None and record.cycle.count(cycle) == 1:
            value = value - np.interp(time, part.time_s, part.room_V + part.settling_V)
        edges = [-np.inf, *trace.hands.breaks_s, np.inf]
        for low, high in pairwise(edges):
            inside = (time >= low) & (time < high)
            if np.count_nonzero(inside) < 20:
                continue
            if np.ptp(value[inside]) < SMALL_SHARE * limits.drift_V:  # no step that could matter fits in there
                p_values.append(1.0)
                continue
            found = stats.changepoints.level_changes(
                value[inside], time[inside], confidence=limits.confidence, resolution=trace.resolution_V
            )
            p_values.append(float(found.p_value))
            rows += [
                {
                    "run": number,
                    "time_s": float(change.at),
                    "low_s": float(change.low),
                    "high_s": float(change.high),
                    "step_V": float(change.step),
                    "step_low_V": float(change.step_low),
                    "step_high_V": float(change.step_high),
                    "p_value": float(change.p_value),
                }
                for change in found.changes
            ]
    if not p_values:
        return (), Finding(
            "level change", NOT_SHOWN, method, "Too short to look for changes of level.", unit="V", limit=limits.drift_V
        )
    sure = [
        row
        for row in rows
        if min(abs(row["step_low_V"]), abs(row["step_high_V"])) > limits.drift_V
        and row["step_low_V"] * row["step_high_V"] > 0
    ]
    if not rows:
        text = "No change of level beyond what noise explains."
    else:
        largest = max(sure or rows, key=lambda row: abs(row["step_V"]))
        run = record.runs[record.numbers.index(largest["run"])]
        when = moment_text(run, largest["time_s"], largest["run"], len(record.runs) > 1)
        text = f"The level changed by {millivolts_text(largest['step_V'])} at {when}"
        text += "; was something adjusted here?" if sure else ", less than matters."
    best = max(sure or rows, key=lambda row: abs(row["step_V"])) if rows else None
    return tuple(rows), Finding(
        "level change",
        NOT_SHOWN,
        method,
        text,
        statistic=float(len(rows)),
        p_value=min(1.0, len(p_values) * (min((row["p_value"] for row in sure), default=min(p_values)))),
        sided="two",
        effect=best["step_V"] if best else None,
        low=best["step_low_V"] if best else None,
        high=best["step_high_V"] if best else None,
        unit="V",
        limit=limits.drift_V,
        holds=bool(sure),
    )


def slope(levels: Sequence[Levels], confidence: float) -> tuple[float | None, float | None, float | None]:
    """Slope in volts per hour with its interval, of the power-up observed longest."""
    if not levels:
        return None, None, None
    part = max(levels, key=lambda item: item.time_s.size)
    if part.time_s.size < 12:
        return None, None, None
    result = stats.trends.robust_slope(part.level_V + part.room_V, part.time_s / HOUR, confidence=confidence)
    return float(result.slope), float(result.low), float(result.high)


def _rounded_up(millivolts: float) -> float:
    """The next larger figure of one digit after the point, of none from 10 on: what was measured lies below it."""
    step = 0.1 if millivolts < 10.0 else 1.0
    return round((math.floor(millivolts / step) + 1.0) * step, 1)
