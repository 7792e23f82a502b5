"""The watch on the terminal: the rule, what happens line by line, and how far each channel is towards a decision."""

from __future__ import annotations

import math
import sys

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.table import Table
from rich.text import Text

from flicker.base.formats import hours_text, volts_text
from flicker.evidence.assessment import SAFETY
from flicker.evidence.watch.watcher import Watcher
from flicker.evidence.watch.watching import CLEAN, RECURS, ChannelState, Design, Event, WatchSummary
from flicker.present.said import fitness_text
from flicker.present.terminal.paper import warn

TRACK = 20
MARKS = {"alarm": ("!!", "bold white on dark_orange3"), "episode": ("╷ ", "dark_orange3"), "decision": ("= ", "bold")}
WORDS = {CLEAN: "dark_cyan", RECURS: "dark_orange3"}


class Screen:
    """Prints events as lines; on a terminal the state of the channels stays below them."""

    def __init__(self, console: Console | None = None) -> None:
        self.console = console or Console(highlight=False, soft_wrap=True)
        self.live: Live | None = None
        self.pause_s = 1.0 if self.console.is_terminal else 60.0

    def begin(self, watcher: Watcher) -> None:
        """Print the rule before anything is decided."""
        self.console.print(Text(watcher.design.reads, style="bold"))
        self.console.print(Text("Ctrl-C ends the watch and leaves a summary.", style="dim"))
        warn(self.console, [SAFETY])
        if self.console.is_terminal:
            self.live = Live(console=self.console, refresh_per_second=2, transient=True)
            self.live.start()

    def status(self, watcher: Watcher) -> None:
        """Show how far each channel is."""
        if self.live is not None:
            self.live.update(board(watcher.states(), watcher.design))
        else:
            for state in watcher.states():
                self.console.print(Text(state.reads, style="dim"))

    def event(self, event: Event) -> None:
        """Print one line."""
        mark, style = MARKS.get(event.event, ("  ", "dim"))
        self.console.print(Text.assemble((mark, style), " ", (event.text, style if event.event != "episode" else "")))
        if not self.console.is_terminal:
            sys.stdout.flush()

    def close(self) -> None:
        """Take the board away."""
        if self.live is not None:
            self.live.stop()
            self.live = None

    def summary(self, summary: WatchSummary) -> None:
        """Print what the watch has shown, and the offline verdict beside it."""
        out = self.console
        out.print()
        for alarm in worst_first(summary.alarms):
            out.print(Text.assemble(("!! ", "bold white on dark_orange3"), (alarm.text, "bold")))
        out.print(Text(f"Watch over: {summary.ended}", style="bold"))
        out.print(board(summary.channels, summary.design))
        for state in summary.channels:
            out.print(Text(state.reads))
        for row in summary.offline:
            # whether a loudspeaker may be connected comes first
            said = f"{row.channel}: loudspeaker: {fitness_text(row.fitness)}; {row.verdict}: {row.tail}"
            out.print(Text.assemble(("whole log  ", "dim"), said))
        warn(out, summary.cautions)


ALARMS_TOLD = 3


def worst_first(alarms: tuple[Event, ...]) -> list[Event]:
    """The alarms that a summary leads with: one of each kind and channel, the first of its kind, in order of time."""
    seen: dict[tuple[object, ...], Event] = {}
    for alarm in alarms:
        seen.setdefault((alarm.channel, alarm.text.split(":")[0]), alarm)
    return list(seen.values())[:ALARMS_TOLD]


def board(states: tuple[ChannelState, ...], design: Design) -> RenderableType:
    """Each channel on a track between 'recurs' and 'clean enough'."""
    grid = Table.grid(padding=(0, 2))
    for state in states:
        grid.add_row(
            Text(f" {state.channel} ", style="bold reverse"),
            track(state, design),
            Text(state.decided, style=WORDS.get(state.decision, "")),
        )
        grid.add_row("", Text(_figures(state), style="dim"))
    return Group(grid)


def track(state: ChannelState, design: Design) -> Text:
    """Draw where the evidence stands; the ends are the two decisions."""
    step = math.log(design.bad_rate_per_h / design.good_rate_per_h)
    value = (
        state.episodes * step - (design.bad_rate_per_h - design.good_rate_per_h) * state.observed_h
    ) / state.dispersion
    reach = -math.log(design.error_per_channel)
    ends = {RECURS: 0.0, CLEAN: 1.0}  # after 'clean enough' the test begins anew, and the hours before say nothing
    share = ends.get(state.decision, min(max(0.5 - 0.5 * value / reach, 0.0), 1.0))
    marks = ["─"] * TRACK
    marks[round(share * (TRACK - 1))] = "◆"
    return Text.assemble(("recurs ", "dark_orange3"), "".join(marks), (" clean", "dark_cyan"))


def _figures(state: ChannelState) -> str:
    rests = "" if state.level_V is None else f", rests at {volts_text(state.level_V)}"
    reads = "" if state.last_V is None else f", reads {volts_text(state.last_V)}"
    return f"{state.episodes} in {hours_text(state.observed_h)}{rests}{reads}, {state.state}"
