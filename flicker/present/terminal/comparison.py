"""A comparison on the terminal: the two rates of each channel, and their ratio on a ladder around 'as before'."""

from __future__ import annotations

import math

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from flicker.base.formats import count_text, digits_text, lasting_text, millivolts_text
from flicker.base.values import Aspect
from flicker.evidence.compare.compared import ChannelComparison, RatioFigures, SideFigures
from flicker.evidence.compare.stages import Comparison, StageComparison
from flicker.evidence.compare.weighing import IMPROVED, NO_CHANGE, WORSE
from flicker.present.said import fitness_then, outcome_text, rate_text
from flicker.present.terminal.paper import facts, page, warn

LADDER = 48
DECADES = 2.0  # the ladder runs from a hundredth to a hundredfold
COLOURS = {IMPROVED: "bold white on dark_cyan", WORSE: "bold white on dark_orange3"}
CURES = {"shown": "cure shown", "not yet": "cure not yet shown", "no": "not cured"}


def show_comparison(result: Comparison, console: Console | None = None) -> None:
    """Print the page of a comparison."""
    with page(console) as out:
        out.print(Text(f"{result.before}  to  {result.after}", style="bold"))
        for item in result.channels:
            out.print()
            out.print(channel_block(item, out))
        out.print()
        out.print(Text(result.correction, style="dim"))
        warn(out, result.cautions)
        out.print()


def show_stages(result: StageComparison) -> None:
    """Print the page of each step and of the whole, and what the improvement is owed to."""
    for step in result.shown:
        show_comparison(step)
    for credit in result.credits:
        print(credit.reads)


def channel_block(item: ChannelComparison, console: Console) -> RenderableType:
    """All about one channel."""
    head = Text.assemble(
        (f" {item.channel} ", "bold reverse"),
        "  ",
        (f" {outcome_text(item.outcome, item.aspect)} ", COLOURS.get(item.outcome, "bold black on khaki3")),
    )
    if item.cured is not None:
        head.append(f"  {CURES[item.cured]}", style="bold")
    if item.untouched:
        head.append("  untouched", style="dim")
    changes = [change for change in (item.noise_ratio, item.level_shift_V, item.size_change) if change.answer != "not shown"]
    told = {change.quantity for change in changes if change is not item.size_change} | {str(item.aspect)}
    others = [found for found in item.aspects if found.outcome != NO_CHANGE and str(found.aspect) not in told]
    rows = [
        ("loudspeaker", Text(fitness_then(item.before.fitness, item.after.fitness), style="bold")),
        *(("against", Text("; ".join(item.after.against))) for _ in item.after.against[:1]),
        (item.before.stage, Text(_side(item.before))),
        (item.after.stage, Text(_side(item.after))),
        ("windows" if item.aspects[0].aspect == Aspect.OCCUPIED_WINDOWS else "rate", ladder(item.ratio)),
        *(
            (change.quantity, Text(f"{millivolts_text(change.before)} to {millivolts_text(change.after)} ({change.answer})"))
            for change in changes
            if change.before is not None and change.after is not None
        ),
        *((str(found.aspect), Text(found.outcome)) for found in others),
        *(("like with like", Text(note)) for note in item.comparable),
    ]
    return Group(
        head, Padding.indent(Text(item.reads), 1), Padding.indent(facts(rows, console, style="dim"), 1)
    )


def _side(side: SideFigures) -> str:
    rate = side.rate
    if rate.per_hour is None:
        return "nothing observed"
    many = f"{count_text(rate.episodes, 'episode')}"
    return f"{many} in {lasting_text(rate.observed_s)}; {rate_text(rate)}"


def ladder(ratio: RatioFigures) -> Text:
    """Draw the interval of a ratio between a hundredth and a hundredfold; '┃' is 'as before'."""
    if ratio.estimate is None:
        return Text("no episode at equal times since power-up on either side", style="dim")

    def place(value: float) -> int:
        decades = -DECADES if value <= 0 else DECADES if math.isinf(value) else math.log10(value)
        share = (min(max(decades, -DECADES), DECADES) + DECADES) / (2 * DECADES)
        return round(share * (LADDER - 1))

    low, high, best = place(ratio.low), place(ratio.high), place(ratio.estimate)
    marks = ["·"] * LADDER
    for k in range(low, high + 1):
        marks[k] = "━"
    marks[place(1.0)] = "┃"
    marks[best] = "●"
    estimate = (
        "none left" if ratio.estimate == 0 else "new" if math.isinf(ratio.estimate) else f"{digits_text(ratio.estimate)} x"
    )
    ends = f"{digits_text(ratio.low)} to {'no limit' if math.isinf(ratio.high) else f'{digits_text(ratio.high)}'}"
    return Text.assemble(("1/100 ", "dim"), ("".join(marks), "dark_cyan"), (" 100 x", "dim"), f"   {estimate} ({ends})")
