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
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from flicker._version import __version__
from flicker.base.units import HOUR
from flicker.commands._shared import (
    Options,
    add_log_options,
    add_options,
    case_from,
    channels_from,
    file_options,
    limits_from,
    need,
    outputs_from,
    used_logs,
)

if TYPE_CHECKING:
    from types import FrameType

    from flicker.base.limits import Limits
    from flicker.case.case_file import Case
    from flicker.evidence.watch.watcher import Watcher
    from flicker.evidence.watch.watching import Event, OfflineVerdict, WatchSummary
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

    watch = _Watch(growing, arguments, case, limits, Lines() if arguments.json else Screen())
    code = 0
    try:
        with watch.interrupts_noted():
            for event in watch.events():
                watch.tell(event, command)
    except KeyboardInterrupt:
        code = 130
    except LogError as problem:  # what was watched until then is told
        if watch.watcher is None:
            raise
        watch.ended, code = str(problem), 2
        said = f"the watch ends, nothing more can be judged: {problem}"
        watch.tell(watch.watcher.blind(said, "blind"), command)
    finally:
        growing.close()
        watch.screen.close()
    watch.finish()
    if code == 2:
        print(f"flicker watch: {watch.ended}", file=sys.stderr)
    return code


class _Watch:
    """A log that is followed: its readings go to a watcher, what happens to a screen; ``ended`` says why it ended."""

    def __init__(
        self,
        growing: GrowingLog,
        arguments: argparse.Namespace,
        case: Case | None,
        limits: Limits,
        screen: Screen | Lines,
    ) -> None:
        self.growing, self.arguments, self.case, self.limits, self.screen = growing, arguments, case, limits, screen
        self.watcher: Watcher | None = None  # none until readings came
        self.uses: list[ColumnUse] | None = None
        self.ended = "stopped by hand"
        self.interrupted = False
        self.noted = 0  # of the notes on reading, how many were told

    @contextmanager
    def interrupts_noted(self) -> Iterator[None]:
        """Note Ctrl-C before it is raised: a library that is loading may swallow it, and then the next look at the log ends."""
        if threading.current_thread() is not threading.main_thread():
            yield
            return

        def note(number: int, frame: FrameType | None) -> None:
            self.interrupted = True
            signal.default_int_handler(number, frame)

        before = signal.signal(signal.SIGINT, note)
        try:
            yield
        finally:
            signal.signal(signal.SIGINT, before)

    def events(self) -> Iterator[Event]:
        """All that happens, as it happens, until it is decided or no line comes any more."""
        from flicker.evidence.watch.watcher import SILENT_S

        growing, idle_s = self.growing, self.arguments.idle
        held, waits = 0, False
        last_line = last_reading = last_status = time.monotonic()
        while not self.interrupted:
            fresh = growing.poll()
            now = time.monotonic()
            yield from self._notes()
            if self.watcher is None and not waits and now - last_line >= SILENT_S:
                waits = True
                yield _note(f"{growing.name}: too few lines of readings so far to watch anything; waiting for more")
            if self.watcher is not None and growing.held >= 2 > held:
                said = f"{growing.notes[-1]} Until lines can be read again nothing is seen"
                yield self.watcher.blind(said, "not read")
            held = growing.held
            if fresh:
                last_line = now
                if any((values == values).any() for part in fresh for values in part.values):  # NaN is no reading
                    last_reading = now
                if self.watcher is None:
                    self.watcher = self._begun()
                yield from self._fed(self.watcher, fresh)
                if self.watcher.decided and self.arguments.until == "decided":
                    self.ended = "decided"
                    return
            if self.watcher is not None:
                event = self.watcher.silent(now - last_reading)
                if event is not None:
                    yield event
                if now - last_status >= self.screen.pause_s:
                    last_status = now
                    self.screen.status(self.watcher)
            if idle_s is not None and now - last_line >= idle_s:
                self.ended = f"no new line for {idle_s:g} s"
                if self.watcher is not None:
                    yield from self._fed(self.watcher, growing.poll(last=True))  # lines that waited for others
                yield from self._notes()
                return
            if not fresh:
                time.sleep(min(POLL_MOST_S, max(POLL_LEAST_S, 0.5 * (growing.cadence_s or 1.0))))
        raise KeyboardInterrupt

    def _notes(self) -> Iterator[Event]:
        """What the reading of the log remarked since the last look."""
        new, self.noted = self.growing.notes[self.noted :], len(self.growing.notes)
        yield from map(_note, new)

    def _begun(self) -> Watcher:
        """The watcher of the channels that the log turned out to have; where a case tells how, made of the columns."""
        from flicker.evidence.watch.watcher import Watcher

        growing, case = self.growing, self.case
        names: Sequence[str] = growing.channels
        if case is not None and case.channels:
            uses = case.uses(growing.channels, growing.name)
            names = outputs_from(self.arguments, [use.channel for use in uses])
            self.uses = [use for use in uses if use.channel in names]
            names = [use.channel for use in self.uses]
        watcher = Watcher(
            names,
            cadence_s=growing.cadence_s or 1.0,
            limits=self.limits,
            good_rate_per_h=self.arguments.good,
            bad_rate_per_h=self.arguments.bad,
            bursts=self.arguments.bursts,
        )
        self.screen.begin(watcher)
        return watcher

    def _fed(self, watcher: Watcher, fresh: Iterable[Fresh]) -> Iterator[Event]:
        """What the watcher makes of new readings."""
        for part in fresh:
            if self.uses is not None:
                column = dict(zip(self.growing.channels, part.values, strict=True))
                made = (
                    use.make(column[use.column], None if use.minus is None else column[use.minus]) for use in self.uses
                )
                part = replace(part, values=tuple(made))
            yield from watcher.feed(part)

    def tell(self, event: Event, command: list[str] | None) -> None:
        """Show what happened; an alarm is heard too."""
        self.screen.event(event)
        if event.event == "alarm":
            _alarm(event, command)

    def finish(self) -> None:
        """Show what the watch has shown, with the whole log, as it now stands, judged beside it."""
        if self.watcher is None:
            raise ValueError(f"{self.growing.name}: too few lines of readings came to watch anything")
        for event in self.watcher.finish():
            self.screen.event(event)
        offline = self._offline()
        self.screen.summary(self.watcher.summary(self.ended, notes=self.growing.notes, offline=offline))

    def _offline(self) -> list[OfflineVerdict]:
        from flicker.evidence.assessment import assess
        from flicker.evidence.watch.watching import OfflineVerdict

        try:
            logs = used_logs([self.arguments.log], self.arguments, self.case)
            result = assess(logs, self.limits, case=self.case)
        except (ValueError, OSError, MemoryError) as problem:
            self.growing.notes.append(f"The whole log could not be judged at the end: {problem}")
            return []
        return [
            OfflineVerdict(
                channel=item.channel,
                verdict=item.verdict,
                tail=item.tail,
                fitness=item.fitness,
                episodes=item.rate.episodes,
                observed_h=item.observed_s / HOUR,
                reads=item.reads,
            )
            for item in result.channels
        ]


def _note(text: str) -> Event:
    """A remark on the reading of the log."""
    from flicker.evidence.watch.watching import Event

    return Event(event="note", channel=None, run=0, time_s=0.0, text=text, kind="reading")


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
