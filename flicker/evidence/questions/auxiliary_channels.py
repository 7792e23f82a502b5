"""Columns beside the outputs: a shorted lead (unit or meter?), rail and mains (do they jump together?), temperatures.

They are traced as an output is, get no verdict, and are brought to the clocks of the outputs' runs.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Annotated, NamedTuple

import numpy as np

from flicker.base.arrays import Bools, Floats
from flicker.base.formats import digits_text, millivolts_text
from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.base.values import Basis
from flicker.evidence.findings import NO, YES, Finding
from flicker.evidence.record.channel_record import ChannelRecord, records
from flicker.logs.model import Log, LogError
from flicker.logs.spans import within
from flicker.signals.excursions import near_s
from flicker.signals.trace import PICK_UP_V, RunTraces, Trace, trace_log

if TYPE_CHECKING:
    from flicker.evidence.questions.warmth import Series
    from flicker.signals.coincidence import ChannelEvents

LIKE_FLOOR = 1.5  # times the shorted lead's noise: no more than its floor; both common practice, no source
ABOVE_FLOOR = 3.0  # times the shorted lead's noise: a live output; both common practice, no source
LEAST_V = 5e-5  # a level nearer than this to the shorted lead's own is no other; chosen, not measured


@dataclass(frozen=True, slots=True)
class CompanionResult(Result):
    """A column that is no output: what was seen of it. Volts for voltages, degrees for a temperature."""

    name: Annotated[str, Doc("Name.")]
    role: Annotated[str, Doc("What the column is.", values=("rail", "mains", "temperature", "shorted lead"))]
    observed_s: Annotated[float, Doc("Seconds in which something could have been seen of it.")]
    episodes: Annotated[int, Doc("Episodes of a voltage; 0 for a temperature.")]
    level: Annotated[float | None, Doc("Settled level in volts, or the middle temperature in degrees.")]
    sigma: Annotated[float | None, Doc("Noise of a voltage, robust sigma in volts.")]
    low: Annotated[float | None, Doc("Lowest reading, volts or degrees.")]
    high: Annotated[float | None, Doc("Highest reading, volts or degrees.")]
    reads: Annotated[str, Doc("All of it in one sentence.")]


class Line(NamedTuple):
    """A voltage beside the outputs in one log, traced; its runs are on that log's clock."""

    name: str
    role: str
    log: int
    runs: tuple[RunTraces, ...]


@dataclass(frozen=True, slots=True)
class Beside:
    """All that was logged beside the outputs; ``log_of_run`` tells which log a run of the outputs is of."""

    lines: tuple[Line, ...] = ()
    temperatures: tuple[Series, ...] = ()
    log_of_run: Mapping[int, int] = field(default_factory=dict)
    cautions: tuple[str, ...] = ()

    @property
    def lead(self) -> str | None:
        """Name of the shorted lead that is used; the first where there are several."""
        return next((line.name for line in self.lines if line.role == "shorted lead"), None)

    def lines_of(self, name: str) -> list[Line]:
        """One column over all logs."""
        return [line for line in self.lines if line.name == name]


def last_digit_of(outputs: Sequence[RunTraces]) -> float:
    """Last digit of the outputs: that of shorted leads too, whatever their few readings off zero suggest; infinite without one."""
    return min((trace.resolution_V for run in outputs for trace in run.traces if trace.resolution_V > 0), default=math.inf)


def look_beside(
    log: Log, place: int, limits: Limits, outputs: Sequence[RunTraces]
) -> tuple[list[Line], list[Series], list[str]]:
    """Trace the voltages beside the outputs of a log, and take its temperatures."""
    lines: list[Line] = []
    series: list[Series] = []
    cautions: list[str] = []
    for item in log.companions:
        if item.role == "temperature":
            from flicker.evidence.questions.warmth import series_of  # late: few logs have one

            found = series_of(item, log, place)
            if found is None:
                cautions.append(f"{item.name} (temperature) holds no reading.")
            else:
                series.append(found)
            continue
        digit = last_digit_of(outputs) if item.role == "shorted lead" else None
        try:
            runs = trace_log(log.beside(item), limits, shorted_digit_V=digit)
            lines.append(Line(item.name, item.role, place, tuple(runs)))
        except LogError:
            cautions.append(f"{item.name} ({item.role}) holds no reading.")
    return lines, series, cautions


# ---------------------------------------------------------------- on the clock of the outputs


def events_of(lines: Sequence[Line], record: ChannelRecord, log_of_run: Mapping[int, int]) -> list[ChannelEvents]:
    """Episodes of a line on the clock of each run of a record, as `signals.coincidence` takes them."""
    from flicker.signals.coincidence import ChannelEvents

    out = []
    for run, number in zip(record.runs, record.numbers, strict=True):
        length = run.duration_s + run.sample_interval_s
        starts, sizes, seen = [np.empty(0)], [np.empty(0)], [np.empty((0, 2))]
        for line in lines:
            if line.log != log_of_run.get(number, 0):
                continue
            for part in line.runs:
                shift = part.run.offset_s - run.offset_s
                begin, _, deviation = part.traces[0].episode_table()
                inside = (begin + shift >= 0.0) & (begin + shift < length)
                starts.append(begin[inside] + shift)
                sizes.append(deviation[inside])
                seen.append(within(part.traces[0].observed + shift, 0.0, length))
        observed = np.concatenate(seen)
        order = np.argsort(observed[:, 0], kind="stable")
        out.append(
            ChannelEvents(
                lines[0].name, np.concatenate(starts), np.concatenate(sizes), observed[order], run.sample_interval_s
            )
        )
    return out


def with_lead(record: ChannelRecord, lead: Sequence[ChannelEvents]) -> Bools:
    """Which episodes of a record the shorted lead saw at the same time."""
    hit = np.zeros(record.episodes.count, dtype=bool)
    for place, (run, events) in enumerate(zip(record.runs, lead, strict=True)):
        mine = np.flatnonzero(record.episodes.run == place)
        near = near_s(run.sample_interval_s)
        hit[mine] = _near(record.episodes.start_s[mine], np.sort(events.start_s), near)
    return hit


def _near(times: Floats, others: Floats, lag: float) -> Bools:
    return np.asarray(np.searchsorted(others, times - lag) < np.searchsorted(others, times + lag, side="right"))


# ---------------------------------------------------------------- the shorted lead


def floor_of(lines: Sequence[Line]) -> tuple[float, float] | None:
    """Noise and level of a shorted lead, volts; None where nothing of it was observed."""
    seen = [part.traces[0] for line in lines for part in line.runs if part.traces[0].level_V is not None]
    if not seen:
        return None
    longest = max(seen, key=lambda trace: trace.observed_s)
    return longest.sigma_V, float(longest.level_V or 0.0)


def with_floor(runs: Sequence[RunTraces], lines: Sequence[Line]) -> tuple[list[RunTraces], str]:
    """Signs of life once the shorted lead's floor is known; the runs, and what it says in words."""
    floor = floor_of(lines)
    if floor is None:
        return list(runs), ""
    out, above, like = [], [], []
    for run in runs:
        traces = []
        for trace in run.traces:
            life = _life(trace, *floor)
            if life == "seen":
                above.append(trace.channel)
            elif life == "not shown":
                like.append(trace.channel)
            traces.append(_told(trace, life, lines[0].name, floor[0]))
        out.append(replace(run, traces=tuple(traces)))
    words = []
    alike = list(dict.fromkeys(like))
    if above:
        live = [name for name in dict.fromkeys(above) if name not in alike]
        words += [f"{_many(live, 'stands', 'stand')} above it: a live output was measured"] if live else []
    if alike:
        words.append(f"{_many(alike, 'reads', 'read')} like it: nothing shows that a live output was measured")
    return out, "; ".join(words)


def _many(names: Sequence[str], one: str, more: str) -> str:
    return f"{' and '.join(names)} {one if len(names) == 1 else more}"


def _life(trace: Trace, sigma_V: float, level_V: float) -> str | None:
    """'seen' or 'not shown' where the floor decides, else None."""
    if trace.level_V is None:
        return None
    least = max(LEAST_V, 2.0 * trace.resolution_V)
    away = abs(trace.level_V - level_V)
    if trace.power_up_seen or trace.excursions.count:
        return "seen"
    if trace.sigma_V <= LIKE_FLOOR * sigma_V + 1e-12 and away <= max(least, 3.0 * sigma_V):
        return "not shown"
    if max(ABOVE_FLOOR * sigma_V, trace.resolution_V / 5.0) < trace.sigma_V <= PICK_UP_V:
        return "seen"
    return None


def _told(trace: Trace, life: str | None, lead: str, sigma_V: float) -> Trace:
    if life == "seen":
        return replace(trace, life="seen")
    if life == "not shown":
        text = (
            f"{trace.channel}: reads like the shorted lead beside it ({lead}: noise {digits_text(sigma_V * 1e3)} mV, here "
            f"{digits_text(trace.sigma_V * 1e3)} mV)."
        )
        return replace(trace, life="not shown", cautions=(*trace.cautions, text))
    return trace


def by_lead(finding: Finding, record: ChannelRecord, lead: ChannelRecord, limits: Limits, hit: int) -> Finding:
    """The answer 'intermittent' with the shorted lead in place of the assumed nuisance rate.

    Episodes that both saw at once are on neither side. Where the lead saw others of its own, the exact comparison of
    both (as with a control log) takes the place of the assumed rate; where it saw none, that rate stands, and it is
    said over how long. Time beyond the threshold needs neither.
    """
    from flicker.evidence.questions.control import against_control, by_run

    mine, theirs = by_run(record, _alone(record, None)), by_run(lead, _alone(lead, record))
    hours = lead.observed_s / 3600.0
    count = sum(part.size for part in theirs[0])
    share = f" {hit} more came with the shorted lead at once and do not count." if hit else ""
    if not mine[1] or not theirs[1] or finding.effect in (None, 0.0):
        return replace(finding, reads=finding.reads + share) if share else finding
    if count == 0:
        text = f" The shorted lead saw none of its own in {digits_text(hours, 3)} h."
        return replace(finding, reads=finding.reads + text + share)
    if finding.basis == Basis.FILLED_TIME:
        return replace(finding, reads=f"{finding.reads} The shorted lead saw {count} in {digits_text(hours, 3)} h.{share}")
    answer = against_control(*mine, *theirs, limits)
    return replace(
        finding,
        answer=finding.answer if finding.answer == NO else "not shown",
        method=f"against the shorted lead of the same log, which replaces the assumed nuisance rate: {answer.method}",
        reads=f"{answer.reads} The shorted lead replaces the assumed nuisance rate.{share}",
        statistic=answer.z,
        p_value=answer.p_value,
        sided="one",
        holds=answer.answer == YES,
        basis=Basis.SHORTED_LEAD,
    )


def _alone(record: ChannelRecord, other: ChannelRecord | None) -> Bools:
    """Own episodes of a record, without those that also came in another one at once."""
    chosen = ~record.episodes.common
    if other is not None:
        offsets_s = np.array([run.offset_s for run in other.runs])
        others = np.sort(other.episodes.start_s + offsets_s[other.episodes.run])
        for place, run in enumerate(record.runs):
            mine = record.episodes.run == place
            near = near_s(run.sample_interval_s)
            chosen[mine] &= ~_near(record.episodes.start_s[mine] + run.offset_s, others, near)
    return chosen


def lead_record(beside: Beside, limits: Limits) -> ChannelRecord | None:
    """The shorted lead over all logs as a record of its own."""
    if beside.lead is None:
        return None
    runs = [part for line in beside.lines_of(beside.lead) for part in line.runs]
    numbered = [replace(part, number=number) for number, part in enumerate(runs)]
    return records(numbered, dead_time_s=limits.dead_time_s)[0]


# ---------------------------------------------------------------- in words


def results(beside: Beside, floor_words: str = "") -> tuple[CompanionResult, ...]:
    """What was seen of each column beside the outputs."""
    out = []
    for name in dict.fromkeys(line.name for line in beside.lines):
        lines = beside.lines_of(name)
        traces = [part.traces[0] for line in lines for part in line.runs]
        seen_s = sum(trace.observed_s for trace in traces)
        count = sum(int(trace.episode_table()[0].size) for trace in traces)
        floor = floor_of(lines)
        blocks = [part.blocks.channels[0] for line in lines for part in line.runs]
        lows, highs = _finite([part.low for part in blocks]), _finite([part.high for part in blocks])
        low, high = (float(lows.min()), float(highs.max())) if lows.size else (None, None)
        text = f"{name} ({lines[0].role}): {count} episode{'' if count == 1 else 's'} in {digits_text(seen_s / 3600, 3)} h"
        if floor is not None:
            sigma_V, level_V = floor
            # noise in the unit in which the level stands: of the mains in volts
            noise = f"{digits_text(sigma_V)} V" if abs(level_V) >= 1.0 <= 10.0 * sigma_V else millivolts_text(sigma_V)
            text += f", level {digits_text(round(level_V, 6) + 0.0, 4)} V, noise {noise}"
        if lines[0].role == "shorted lead" and name == beside.lead:
            text += (
                "; it replaces the assumed nuisance rate" if count else "; none, as the assumed nuisance rate has it"
            )
            text += f"; {floor_words}" if floor_words else ""
        level, sigma = (None, None) if floor is None else (floor[1], floor[0])
        out.append(
            CompanionResult(
                name=name,
                role=lines[0].role,
                observed_s=seen_s,
                episodes=count,
                level=level,
                sigma=sigma,
                low=low,
                high=high,
                reads=f"{text}.",
            )
        )
    for name in dict.fromkeys(item.name for item in beside.temperatures):
        parts = [item for item in beside.temperatures if item.name == name]
        value = np.concatenate([item.value for item in parts])
        span = 60.0 * value.size
        least, most = float(value.min()), float(value.max())
        text = f"{name} (temperature): {digits_text(least, 4)} to {digits_text(most, 4)} degrees in {digits_text(span / 3600, 3)} h."
        out.append(
            CompanionResult(
                name=name,
                role="temperature",
                observed_s=span,
                episodes=0,
                level=float(np.median(value)),
                sigma=None,
                low=least,
                high=most,
                reads=text,
            )
        )
    return tuple(out)


def _finite(parts: Sequence[Floats]) -> Floats:
    known: Floats = np.concatenate(parts)
    return np.asarray(known[np.isfinite(known)], dtype=np.float64)
