"""`flicker watch LOG`: follow a log that a logger is still writing."""

from __future__ import annotations

import argparse
import json
import shlex
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from flicker._version import __version__
from flicker.base.units import HOUR
from flicker.commands._options import Options, add_log_options, add_options, need
from flicker.commands._shared import case_from, channels_from, file_options, limits_from, outputs_from, used_logs

if TYPE_CHECKING:
    from types import FrameType

    from flicker.case.case_file import Case
    from flicker.evidence.watch.watcher import Watcher
    from flicker.evidence.watch.watching import Event, WatchSummary
    from flicker.logs.growing import Fresh, GrowingLog
    from flicker.logs.mapped import ColumnUse
    from flicker.present.terminal.watch import Screen

STATUS_S = 60.0
POLL_LEAST_S, POLL_MOST_S = 0.05, 1.0


OPTIONS: Options = {
    "log": {"metavar": "LOG", "help": "the file that a logger is writing (CSV and its kin)"},
    "--until": {
        "choices": ("decided", "stopped"), "default": "decided", "help": "when to end (default decided)"
    },
    "--idle": {"type": float, "metavar": "S", "help": "end when no new line came for so many seconds"},
    "--good": {"type": float, "metavar": "R", "help": "episodes per hour that should pass (default 0.01)"},
    "--bad": {"type": float, "metavar": "R", "help": "episodes per hour that should be caught (default 1)"},
    "--bursts": {
        "type": float,
        "default": 1.0,
        "metavar": "K",
        "help": "how much more counts scatter than single ones (default 1)",
    },
    "--on-alarm": {
        "metavar": "COMMAND",
        "help": "run this at each alarm, without a shell; the sentence is its last argument",
    },
    "--case": {
        "metavar": "CASE.toml",
        "help": "the case file: columns, limits, and the complaint's rate as the one to catch",
    },
    "--json": {"action": "store_true", "help": "print one JSON object a line; the last is the summary"},
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    add_options(parser, OPTIONS)
    add_log_options(parser)


class Lines:
    """The watch as JSON, one object a line: what `Screen` is for a person at a terminal."""

    pause_s = STATUS_S

    def line(self, document: dict[str, Any]) -> None:
        """Print one object at once."""
        sys.stdout.write(json.dumps(document, allow_nan=False, ensure_ascii=False) + "\n")
        sys.stdout.flush()

    def begin(self, watcher: Watcher) -> None:
        """Print the rule before anything is decided."""
        self.line({"schema": "flicker/watch/1", "event": "design", "version": __version__, **watcher.design.to_dict()})

    def status(self, watcher: Watcher) -> None:
        """Print how far each channel is."""
        states = [state.to_dict() for state in watcher.states()]
        self.line({"event": "status", "samples": watcher.samples, "channels": states})

    def event(self, event: Event) -> None:
        """Print what happened."""
        self.line(event.to_dict())

    def summary(self, summary: WatchSummary) -> None:
        """Print what the watch has shown."""
        self.line(summary.to_dict())

    def close(self) -> None:
        """Nothing stands below the lines that would have to go."""


def run(arguments: argparse.Namespace) -> int:
    """Follow until decided or stopped; Ctrl-C leaves a summary."""
    from flicker.evidence.watch.watching import design
    from flicker.logs.errors import LogError
    from flicker.logs.growing import GrowingLog
    from flicker.logs.reading import wishes_of

    case = case_from(arguments)
    if case is not None and arguments.bad is None:
        arguments.bad = case.complaint.per_hour
    limits = limits_from(arguments, case)
    design(
        ("any",), limits, arguments.good, arguments.bad, arguments.bursts
    )  # bad rates are told before anything is waited for
    for option, seconds in (("--idle", arguments.idle), ("--sample-interval", arguments.sample_interval_s)):
        need(seconds is None or seconds > 0, f"{option} must be above 0 seconds, got {seconds or 0.0:g}")
    command = _command(arguments.on_alarm)
    told = file_options(arguments.log, arguments, case)
    del told["differences"]
    wishes = wishes_of(channels=channels_from(arguments, case), **told)
    growing = GrowingLog(arguments.log, wishes, run_gap_s=arguments.run_gap)
    from flicker.present.terminal.watch import Screen

    screen: Screen | Lines = Lines() if arguments.json else Screen()
    state: dict[str, Any] = {"watcher": None, "ended": "stopped by hand", "interrupted": False}
    code = 0
    try:
        with _interrupts_noted(state):
            for event in _follow(growing, arguments, case, state, screen):
                screen.event(event)
                if event.event == "alarm":
                    _alarm(event, command)
    except KeyboardInterrupt:
        code = 130
    except LogError as problem:  # what was watched until then is told
        if state["watcher"] is None:
            raise
        state["ended"], code = str(problem), 2
        event = state["watcher"].blind(f"the watch ends, nothing more can be judged: {problem}", "blind")
        screen.event(event)
        _alarm(event, command)
    finally:
        growing.close()
        screen.close()
    _finish(state, growing, arguments, case, screen)
    if code == 2:
        print(f"flicker watch: {state['ended']}", file=sys.stderr)
    return code


@contextmanager
def _interrupts_noted(state: dict[str, Any]) -> Iterator[None]:
    """Note Ctrl-C before it is raised: a library that is loading may swallow it, and then the next look at the log ends."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def note(number: int, frame: FrameType | None) -> None:
        state["interrupted"] = True
        signal.default_int_handler(number, frame)

    before = signal.signal(signal.SIGINT, note)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _uses(growing: GrowingLog, arguments: argparse.Namespace, case: Case | None) -> list[ColumnUse] | None:
    """How the channels are made of the columns, where the case tells it."""
    if case is None or not case.channels:
        return None
    uses = case.uses(growing.channels, growing.name)
    wanted = outputs_from(arguments, [use.channel for use in uses])
    return [use for use in uses if use.channel in wanted]


def _used(part: Fresh, columns: Sequence[str], uses: Sequence[ColumnUse] | None) -> Fresh:
    if uses is None:
        return part
    values = dict(zip(columns, part.values, strict=True))
    made = (use.make(values[use.column], values[use.minus] if use.minus is not None else None) for use in uses)
    return replace(part, values=tuple(made))


def _follow(
    growing: GrowingLog,
    arguments: argparse.Namespace,
    case: Case | None,
    state: dict[str, Any],
    screen: Screen | Lines,
) -> Iterator[Event]:
    from flicker.evidence.watch.watcher import SILENT_S, Watcher
    from flicker.evidence.watch.watching import Event

    limits = limits_from(arguments, case)
    uses: list[ColumnUse] | None = None
    watcher: Watcher | None = None
    told = held = 0
    waits = False
    last_line = last_reading = last_status = time.monotonic()
    while True:
        if state["interrupted"]:
            raise KeyboardInterrupt
        fresh = growing.poll()
        now = time.monotonic()
        for note in growing.notes[told:]:
            yield Event(event="note", channel=None, run=0, time_s=0.0, text=note, kind="reading")
        told = len(growing.notes)
        if watcher is None and not waits and now - last_line >= SILENT_S:
            waits = True
            text = f"{growing.name}: too few lines of readings so far to watch anything; waiting for more"
            yield Event(event="note", channel=None, run=0, time_s=0.0, text=text, kind="reading")
        if watcher is not None and growing.held >= 2 > held:
            yield watcher.blind(f"{growing.notes[-1]} Until lines can be read again nothing is seen", "not read")
        held = growing.held
        if fresh:
            last_line = now
            if any((values == values).any() for part in fresh for values in part.values):  # NaN is no reading
                last_reading = now
            if watcher is None:
                uses = _uses(growing, arguments, case)
                watcher = state["watcher"] = Watcher(
                    growing.channels if uses is None else [use.channel for use in uses],
                    cadence_s=growing.cadence_s or 1.0,
                    limits=limits,
                    good_rate_per_h=arguments.good,
                    bad_rate_per_h=arguments.bad,
                    bursts=arguments.bursts,
                )
                screen.begin(watcher)
            for part in fresh:
                yield from watcher.feed(_used(part, growing.channels, uses))
            if watcher.decided and arguments.until == "decided":
                state["ended"] = "decided"
                return
        if watcher is not None:
            event = watcher.silent(now - last_reading)
            if event is not None:
                yield event
            if now - last_status >= screen.pause_s:
                last_status = now
                screen.status(watcher)
        if arguments.idle is not None and now - last_line >= arguments.idle:
            state["ended"] = f"no new line for {arguments.idle:g} s"
            if watcher is not None:
                for part in growing.poll(last=True):  # lines that waited for others
                    yield from watcher.feed(_used(part, growing.channels, uses))
            for note in growing.notes[told:]:
                yield Event(event="note", channel=None, run=0, time_s=0.0, text=note, kind="reading")
            return
        if not fresh:
            time.sleep(min(POLL_MOST_S, max(POLL_LEAST_S, 0.5 * (growing.cadence_s or 1.0))))


def _command(text: str | None) -> list[str] | None:
    """Split the command of --on-alarm; it is run without a shell, so quotes group words and nothing else is special."""
    if text is None:
        return None
    try:
        words = shlex.split(text)
    except ValueError:
        raise ValueError(f"--on-alarm: a quotation mark is not closed in {text!r}") from None
    found = bool(words) and shutil.which(words[0]) is not None
    need(found, f"--on-alarm: there is no command {words[0] if words else text!r}")
    return words


def _alarm(event: Event, command: list[str] | None) -> None:
    if sys.stderr.isatty():
        sys.stderr.write("\a")
        sys.stderr.flush()
    if command is not None:
        try:
            subprocess.Popen(
                [*command, event.text],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                start_new_session=True,
            )
        except OSError as problem:
            print(f"flicker watch: the alarm's command failed: {problem.strerror}.", file=sys.stderr)


def _finish(
    state: dict[str, Any],
    growing: GrowingLog,
    arguments: argparse.Namespace,
    case: Case | None,
    screen: Screen | Lines,
) -> None:
    watcher: Watcher | None = state["watcher"]
    if watcher is None:
        raise ValueError(f"{growing.name}: too few lines of readings came to watch anything")
    for event in watcher.finish():
        screen.event(event)
    screen.summary(watcher.summary(state["ended"], notes=growing.notes, offline=_offline(arguments, case, growing)))


def _offline(arguments: argparse.Namespace, case: Case | None, growing: GrowingLog) -> list[dict[str, Any]]:
    """Judge the whole log as it now stands, to be printed beside what the watch saw."""
    from flicker.evidence.assessment import assess

    try:
        result = assess(used_logs([arguments.log], arguments, case), limits_from(arguments, case), case=case)
    except (ValueError, OSError, MemoryError) as problem:
        growing.notes.append(f"The whole log could not be judged at the end: {problem}")
        return []
    return [
        {
            "channel": item.channel,
            "verdict": item.verdict,
            "tail": item.tail,
            "fitness": item.fitness,
            "episodes": item.rate.episodes,
            "observed_h": item.observed_s / HOUR,
            "reads": item.reads,
        }
        for item in result.channels
    ]
