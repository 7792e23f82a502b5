"""The page on the terminal: per channel a drawn strip of the log, fitness first, the verdict, and what stands behind it."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np
from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from flicker.base.formats import (
    brief_text,
    count_text,
    hours_text,
    lasting_text,
    millivolts_text,
    p_text,
    times_text,
    volts_text,
)
from flicker.base.units import HOUR
from flicker.evidence.assessment import Assessment
from flicker.evidence.channel import ChannelAssessment
from flicker.evidence.findings import NO, NOT_SHOWN, YES, Finding
from flicker.evidence.located.moves import moves_text
from flicker.evidence.record.channel_record import ChannelRecord
from flicker.evidence.verdict import DO_NOT_CONNECT, WITHIN_LIMITS
from flicker.evidence.worth_looking import SOURCE, looking_lines
from flicker.present.said import against_text, files_text, fitness_text, idle, rate_text, together_text
from flicker.present.terminal.paper import ENDLESS, WIDEST, facts, page, warn

PIPED = 64
COLOURS = {"do": "bold white on dark_orange3", "not": "bold black on khaki3", "within": "bold white on dark_cyan"}


def show_assessment(
    result: Assessment, console: Console | None = None, keep: Callable[[str], object] | None = None
) -> None:
    """Print the page of an assessment: the answer first, then each channel, what to do next, the limits, the cautions.

    ``keep`` is handed what was printed.
    """
    with page(console, keep) as out:
        hours = sum(run.observed_s for run in result.runs) / HOUR
        runs = f"{len(result.runs)} run{'s' if len(result.runs) != 1 else ''}"
        out.print(Text(f"{runs}, {hours_text(hours)} logged, {count_text(len(result.channels), 'channel')}", style="dim"))
        out.print()
        out.print(Text("May a loudspeaker be connected?", style="bold"))
        out.print(facts([(f" {item.channel}", answer(item)) for item in result.channels], out))
        for item, record in zip(result.channels, result.records, strict=True):
            out.print()
            out.print(channel_block(item, record, out))
        out.print(Padding.indent(Text(LEGEND, style="dim"), 1))
        for line in (*shared_lines(result), *ledger_lines(result)):
            out.print()
            out.print(Text(line))
        out.print()
        out.print(Text("NEXT  ", style="bold") + Text(result.next.reads))
        for note in notes(result):
            out.print(Text("read  ", style="dim") + Text(note, style="dim"))
        limits = result.limits
        out.print(
            Text(
                f"limits: swings from {volts_text(limits.excursion_V)}, movement {volts_text(limits.drift_V)}, rest within "
                f"{volts_text(limits.settled_offset_V)}, noise {limits.noise_V * 1e3:g} mV, "
                f"{limits.episode_rate_per_h:g} per hour; protection at {limits.protection_V:g} V assumed, not measured on this unit",
                style="dim",
            )
        )
        warn(out, result.cautions)


LEGEND = "strip: \\ start, ─ at rest, ╷ │ ┃ swings by size (┃ from 0.75 V), · not observed"


def answer(item: ChannelAssessment) -> Text:
    """Yes, no or not yet, volts first, and why."""
    swings = [abs(row.deviation_V) for row in item.excursions]
    seen = lasting_text(item.observed_s)
    raw, level = item.guard.figures, item.baseline.level_V
    if item.fitness == DO_NOT_CONNECT:
        peak = max([*swings, abs(item.relay.peak_V or 0.0), abs(level or 0.0), raw.peak_V, raw.largest_V])
        return Text.assemble(("no", "bold dark_orange3"), f": up to {volts_text(peak)} on this output")
    moved = raw.moved_V > item.guard.limits.move_V
    told_moved = moved and raw.last_V is not None
    often = times_text(item.rate.episodes) if item.rate.episodes else "in all channels at once"
    small = not swings and raw.swings > 0 and not moved  # smaller than what counts as an excursion, or where nothing was observed
    calm = not (swings or small)
    told = (
        (told_moved, f"the level moved {volts_text(raw.moved_V)}, at last {volts_text(raw.last_V or 0.0)}"),
        (swings, f"swings up to {volts_text(max(swings, default=0.0))} from rest, {often} in {seen}"),
        (not told_moved and level is not None, f"rests at {volts_text(level or 0.0)}"),
        (small, f"swings up to {volts_text(raw.largest_swing_V)} as read, {times_text(raw.swings)}"),
        (calm and item.observed_s > 0, f"no swing in {seen}"),
        (calm and not item.observed_s > 0, "nothing was observed"),
    )
    said = ", ".join(text for holds, text in told if holds)
    if item.fitness == WITHIN_LIMITS:
        return Text.assemble(("yes", "bold dark_cyan"), f", for the {seen} observed: {said}")
    why = item.tail if item.verdict == "inconclusive" or not (swings or moved) else ""
    if item.verdict == "steady":
        why = item.against[0] if item.against else ""
    why = f" ({why})" if why else ""
    return Text.assemble(("not yet shown to be safe", "bold"), f": {said}{why}")


def shared_lines(result: Assessment) -> list[str]:
    """What concerns all channels: what they share, and what the sampling shows; only what says something."""
    lines = []
    shared = result.coincidence
    if shared is not None and any(pair.answer != NOT_SHOWN for pair in shared.pairs):
        lines.append(together_text(result.coincidence))
    lines.extend(item.reads for item in result.companions)
    eyes = [item.visibility for item in result.channels if item.visibility is not None]
    if eyes:
        worst = min(eyes, key=lambda eye: eye.seen)
        if worst.seen < worst.advised_share:
            lines.append(worst.reads)
    return lines


def ledger_lines(result: Assessment) -> list[str]:
    """How each channel lies among its like."""
    return [f"{item.channel}, by the ledger: {item.reads}" for item in result.ledger]


def bench_lines(item: ChannelAssessment) -> list[tuple[str, str]]:
    """Name and sentence of what stands beside the findings; only where there is something to say."""
    relay, stimulus, control = item.relay, item.stimulus, item.control
    told = stimulus.best if stimulus is not None and stimulus.provoked == YES else ""  # it stands in the finding
    looking = looking_lines(item.worth_looking)
    lines: list[tuple[str, object]] = [
        ("moved", item.moves and moves_text(item.moves)),
        ("when", item.since and item.since.told),
        ("per power-up", item.mean_count and item.mean_count.reads),
        *(("stimulus", kind.reads) for kind in (stimulus.kinds if stimulus is not None else ()) if kind.kind != told),
        ("control", control is not None and control.count + control.control_count > 0 and control.reads),
        ("loudspeaker", relay.seconds_above_threshold > 0 and relay.reads),
        ("thresholds", relay.what_if_reads),
        ("ahead", item.swings_ahead and item.swings_ahead.reads),
        ("outlook", relay.forecast and relay.forecast.reads),
        ("warm-up", item.warm_up is not None and item.warm_up.answer != NOT_SHOWN and item.warm_up.reads),
        ("power-ups", item.power_up_history is not None and item.power_up_history.stands_out and item.power_up_history.reads),
        ("worth looking", looking and f"({SOURCE}; no verdict) {looking[0]}"),
        *(("", said) for said in looking[1:]),
    ]
    return [(name, str(said)) for name, said in lines if said]


def notes(result: Assessment) -> Iterable[str]:
    """What was assumed while reading, each once, with the files that it holds of."""
    files: dict[str, dict[str, None]] = {}
    for run in result.runs:
        for note in run.notes:
            files.setdefault(note, {})[run.source] = None
    return [f"{files_text(tuple(names))}: {note}" for note, names in files.items()]


def channel_block(item: ChannelAssessment, record: ChannelRecord, console: Console) -> RenderableType:
    """All about one channel."""
    style = COLOURS["do" if item.fitness == DO_NOT_CONNECT else "within" if item.fitness == WITHIN_LIMITS else "not"]
    head = Text.assemble(
        (f" {item.channel} ", "bold reverse"),
        "  ",
        (f" loudspeaker: {fitness_text(item.fitness)} ", style),
    )
    verdict = Text.assemble((item.verdict, "bold"), f": {item.tail}" if item.tail else "")
    # One line where it fits; a verdict that is broken over two lines would start again at the margin.
    fits = head.cell_len + 2 + verdict.cell_len <= console.width
    titles = [Text.assemble(head, "  ", verdict)] if fits else [head, Padding.indent(verdict, 1)]
    shown = [finding for finding in item.findings if finding.answer == YES]
    within = [_short(finding) for finding in item.findings if finding.answer == NO]
    open_ = [
        finding.question
        for finding in item.findings
        if finding.answer not in {YES, NO} and finding.question not in idle(item.excursions_total)
    ]
    chances = ["" if finding.p_adjusted is None else f" [p {p_text(finding.p_adjusted)}]" for finding in shown]
    rows = [
        *((finding.question, Text(finding.reads + chance)) for finding, chance in zip(shown, chances, strict=True)),
        ("within limits", Text(", ".join(within))),
        ("not shown", Text(", ".join(open_), style="dim")),
        ("against", Text(against_text(item.against, item.reads))),
        ("raw volts", Text(item.guard.reads)),
        ("left open", Text(item.not_excluded)),
        *((name, Text(sentence)) for name, sentence in bench_lines(item)),
    ]
    rate = item.rate
    numbers = (
        f"{count_text(rate.episodes, 'episode')}, {count_text(item.excursions_total, 'excursion')}, "
        f"observed {lasting_text(item.observed_s)}"
    )
    said = rate_text(rate, power_ups_differ=item.mean_count is not None)
    if said is not None:
        numbers += f"; {said}"
    room = (console.width if console.width < ENDLESS else PIPED) - 2
    return Group(
        *titles,
        *(Padding.indent(line, 1) for line in (strip(record, min(room, WIDEST)), axis(record, min(room, WIDEST)))),
        Padding.indent(Text(item.reads), 1),
        Padding.indent(Text(numbers, style="dim"), 1),
        Padding.indent(facts([row for row in rows if row[1]], console), 1),
    )


def _short(finding: Finding) -> str:
    """A question with its measured effect, in a few letters."""
    if finding.effect is None or finding.unit != "V":
        said = {
            "intermittent": "no recurring swings",
            "jumps": "no jumps",
            "power-up": "power-up but for its first seconds",  # taken for an open lead: no surge was judged
        }
        return said.get(finding.question, finding.question)
    return f"{finding.question} {millivolts_text(finding.effect)}"


def _widths(record: ChannelRecord, room: int) -> list[int]:
    """Characters of each run, with one between them."""
    total = sum(run.duration_s for run in record.runs) or 1.0
    usable = max(room - len(record.runs) + 1, 6)
    return [max(6, int(usable * run.duration_s / total)) for run in record.runs]


def axis(record: ChannelRecord, room: int) -> Text:
    """When each run begins, and how long it is: below the strip."""
    parts = []
    for run, width in zip(record.runs, _widths(record, room), strict=True):
        begins = "0" if run.start is None else f"{run.start:%H:%M}"
        ends = lasting_text(run.duration_s)
        said = begins + ends.rjust(width - len(begins)) if len(begins) + len(ends) < width else ends
        parts.append((said if len(said) <= width else brief_text(run.duration_s)).ljust(width))
    return Text(" ".join(parts).rstrip(), style="dim")


def strip(record: ChannelRecord, room: int = PIPED) -> Text:
    """Draw the runs as one strip: a line at rest, strokes for swings by size, a slope for the surge, dots unobserved."""
    out = Text()
    widths = _widths(record, room)
    for place, (run, trace, width) in enumerate(zip(record.runs, record.traces, widths, strict=True)):
        edges = np.linspace(0.0, max(run.duration_s, 1e-9), width + 1)
        hidden = np.diff(trace.observed_clock(edges)) < 0.3 * np.diff(edges)
        marks = ["·" if one else "─" for one in hidden]
        if trace.start is not None:
            marks[0] = "\\"
        size = np.abs(trace.excursions.deviation_V)
        for k in range(width):
            here = (trace.excursions.start_s < edges[k + 1]) & (trace.excursions.end_s > edges[k])
            if here.any():
                peak = float(size[here].max())
                marks[k] = "╷" if peak < 2.0 * trace.enter_V else "│" if peak < 0.75 else "┃"
        for mark in marks:
            style = {"─": "dark_cyan", "·": "dim", "\\": "khaki3"}.get(mark, "bold dark_orange3")
            out.append(mark, style=style)
        if place + 1 < len(record.runs):
            out.append(" ")
    return out
