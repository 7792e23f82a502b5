"""A soak plan on the terminal: the sentence, the hours as bars against confidence, the other ways, the cautions."""

from __future__ import annotations

import math

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from flicker.base.formats import digits_text, hours_text, share_text
from flicker.evidence.soaking.model import SoakPlan
from flicker.present.said import soak_steps
from flicker.present.terminal.paper import page, warn

BAR = 40


def show_soak(plan: SoakPlan, console: Console | None = None) -> None:
    """Print the page of a plan."""
    with page(console) as out:
        out.print(Text("a plan; nothing has been started", style="dim"))
        out.print()
        out.print(Text(plan.reads, style="bold"))
        if plan.table:
            out.print()
            steps = soak_steps((row.hours, row.confidence) for row in plan.table)
            most = max((math.log1p(hours) for hours, _ in steps), default=1.0) or 1.0
            grid = Table.grid(padding=(0, 2))
            grid.add_column(justify="right", style="dim")
            grid.add_column(no_wrap=True)
            grid.add_column(no_wrap=True)
            for hours, chance in steps:
                bar = "▬" * max(1, round(BAR * math.log1p(hours) / most))
                style = "bold dark_orange3" if hours == plan.hours else "dark_cyan"
                grid.add_row(share_text(chance), Text(bar, style=style), hours_text(hours))
            out.print(Padding.indent(grid, 2))
        others = Table.grid(padding=(0, 2))
        others.add_column(style="dim", no_wrap=True)
        others.add_column()
        if plan.power_ups is not None and plan.table:  # else it is the plan itself
            others.add_row("cold starts", plan.power_ups.reads)
        if plan.cycles is not None:
            others.add_row("power cycles", plan.cycles.reads)
        # One plan: what shows this fault gone, or in general a rate where nothing is known of the fault.
        for row in plan.demonstrate if plan.kind == "demonstrate" or not plan.comparison else ():
            allowed = int(row.allowed)
            what = "clean" if allowed == 0 else f"with {allowed} allowed"
            others.add_row(
                "to exclude",
                f"{digits_text(row.max_rate_per_h)} per hour: {hours_text(row.hours)} {what} ({share_text(plan.confidence)})",
            )
        for part in plan.comparison:
            others.add_row(f"to show it {part.fall}", part.reads)
        if others.row_count:
            out.print()
            out.print(Padding.indent(others, 2))
        out.print()
        warn(out, plan.cautions)
