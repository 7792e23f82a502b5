"""Visits on the terminal: per channel a rate per visit drawn with its interval, then what is shown and what lies ahead."""

from __future__ import annotations

import math

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from flicker.base.formats import count_text, digits_text, lasting_text, millivolts_text
from flicker.base.values import BY_METER, NotTold
from flicker.evidence.findings import NO, NOT_SHOWN
from flicker.evidence.located.rate_changed import since_text
from flicker.evidence.visits.visited import ChannelVisits, Visits
from flicker.present.said import fitness_then
from flicker.present.terminal.paper import facts, is_narrow, page, warn

WIDTH = 22


def show_visits(result: Visits, console: Console | None = None) -> None:
    """Print the page of a unit over visits."""
    with page(console) as out:
        count = len(result.visits)
        out.print(Text(f"{result.unit or 'unit not named'}: {count_text(count, 'visit')}", style="dim"))
        for item in result.channels:
            out.print()
            out.print(Text(f" {item.channel} ", style="bold reverse"))
            out.print(Padding.indent(_rates(result, item, out), 1))
            out.print(Padding.indent(Text(item.reads), 1))
            first, last = item.visits[0], item.visits[-1]
            same = [
                f"{t.quantity} {digits_text(t.first_V * 1e3, 3)} to {millivolts_text(t.last_V)}"
                for t in item.levels
                if t.answer == NO and t.first_V is not None and t.last_V is not None
            ]
            told = BY_METER | {NotTold.ABOUT_THE_LIMIT}
            unsure = [trend for trend in item.levels if trend.answer == NOT_SHOWN and trend.reason in told]
            rows = [
                ("loudspeaker", Text(fitness_then(first.fitness, last.fitness), style="bold")),
                ("against", Text("; ".join(last.against))),
                ("no change", Text(", ".join(same))),
                *((trend.quantity, Text(trend.reads)) for trend in unsure),
                ("when", Text(since_text(item.since))),
                ("next visit", Text(item.forecast_reads)),
                ("rate of concern", Text(item.concern.reads if item.concern else "")),
                ("level ahead", Text(item.level_reads)),
                ("a year ahead", Text(item.year_reads)),
                *(("", Text(caution, style="dim")) for caution in item.rate.cautions),
            ]
            out.print(Padding.indent(facts([row for row in rows if row[1]], out), 1))
        out.print()
        warn(out, result.cautions)


def _rates(result: Visits, item: ChannelVisits, console: Console) -> RenderableType:
    """A row per visit: date, hours, count, and the rate as a point on its interval (root scale)."""
    grid = Table.grid(padding=(0, 2))
    for style in ("dim", "dim", "", "bold", "dim"):
        grid.add_column(style=style, no_wrap=True)
    stacked: list[RenderableType] = []
    most = max((row.high_per_hour or 0.0 for row in item.visits), default=0.0) or 1.0
    for row in item.visits:
        visit = result.visits[row.visit]
        name = (
            str(visit.date)[:10] if visit.date is not None else ", ".join(visit.stages) or f"visit {visit.number + 1}"
        )
        bar = Text("nothing observed", style="dim")
        per_hour = between = ""
        if row.per_hour is not None and row.low_per_hour is not None and row.high_per_hour is not None:
            low, at, high = (
                round(math.sqrt(value / most) * (WIDTH - 1))
                for value in (row.low_per_hour, row.per_hour, row.high_per_hour)
            )
            marks = [" "] * WIDTH
            marks[low : high + 1] = ["╌"] * (high + 1 - low)
            marks[at] = "◆"
            bar = Text("".join(marks), style="dark_cyan")
            per_hour = f"{digits_text(row.per_hour, 3)}/h"
            between = f"{digits_text(row.low_per_hour, 3)} to" if row.episodes else "below"
            between += f" {digits_text(row.high_per_hour, 3)}"
        count = f"{row.episodes} in {lasting_text(row.observed_s)}"
        if is_narrow(console):
            stacked.append(Text(f"{name}: {count}; {per_hour} ({between})" if per_hour else f"{name}: {count}"))
            stacked.append(bar)
        grid.add_row(name, count, bar, per_hour, between)
    return Group(*stacked) if stacked else grid
