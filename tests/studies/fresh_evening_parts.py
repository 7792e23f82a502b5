"""What whole jobs of a bench are made of: a unit that is logged evening by evening, its faults, and what a command states.

All data are invented; `fresh_evenings.py` tells the stories. A step is a command line with patterns of statements that
are never allowed and patterns of which each must come; a statement is a short sentence made of the JSON document.
"""

from __future__ import annotations

import contextlib
import csv
import gzip
import io
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path

import numpy as np
from fresh_parts import EPOCH, Floats, room, slow_noise

HOUR = 3600.0
Watched = tuple[Floats, dict[str, Floats]]  # instants, and volts by channel


@dataclass(frozen=True)
class Step:
    """A command line, the statements never allowed in its document, and those of which each must come."""

    line: tuple[str, ...]
    never: tuple[str, ...] = ()
    must: tuple[str, ...] = ()


@dataclass
class Unit:
    """A unit with its meter: names, rest, noise and settling of each channel, rate of readings, digit, how it is written."""

    rng: np.random.Generator
    folder: Path
    per_s: float = 1.0
    names: tuple[str, ...] = ()
    files: int = 0
    rows: Watched | None = None
    steps: list[Step] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Draw what stays the same from evening to evening."""
        rng = self.rng
        self.names = ("left", "right", "rear left", "sub")[: int(rng.choice([1, 2, 2, 3, 4]))]
        self.digit = float(rng.choice([1e-5, 1e-4, 1e-4, 5e-4]))
        self.rest = {n: float(rng.choice([-1, 1]) * rng.uniform(2.2e-3, 9e-3)) for n in self.names}
        self.white = {n: float(rng.uniform(1e-4, 5e-4)) for n in self.names}
        self.speaker_side, self.form = bool(rng.random() < 0.5), int(rng.integers(4))
        self.per_K = float(rng.uniform(2e-5, 1e-4))

    def two(self) -> None:
        """Make sure of a right channel."""
        if len(self.names) < 2:
            self.names, self.rest["right"], self.white["right"] = ("left", "right"), 4e-3, 3e-4

    def evening(self, day: float, hours: float, faults: dict[str, Callable[[Floats], Floats]] | None = None, *,
                warm: bool = False, kelvin: float = 0.0, extra: float = 0.0, sign: int = 1, per_s: float = 0.0) -> str:  # fmt: skip
        """Log one power-up into a file and give its name."""
        rng = self.rng
        t = np.arange(0.0, hours * HOUR, 1 / (per_s or self.per_s))
        heat = self.per_K * (room(rng, t) + kelvin)
        out = {}
        for n in self.names:
            v = self.rest[n] + rng.normal(0, 1.5e-4) + heat + slow_noise(rng, t, 1e-4)
            v += np.hypot(self.white[n], extra) * rng.standard_normal(t.size)
            if not warm:
                v += rng.normal(0, 3e-3) * np.exp(-t / rng.uniform(60, 300))
            if faults and n in faults:
                v += faults[n](t)
            if not warm:
                close = rng.uniform(2, 5) if self.speaker_side else 0.0
                v += np.clip(rng.normal(0, 0.04), -0.08, 0.08) * np.exp(-np.maximum(t - close, 0) / rng.uniform(0.3, 1.5))
                before = rng.uniform(1e-3, 2e-2) * np.sin(2 * np.pi * 50.02 * t) + 2e-4 * rng.standard_normal(t.size)
                v = np.where(t < close, before, v)
            out[n] = sign * np.round(v / self.digit) * self.digit
        return self.write(EPOCH + np.timedelta64(round(day * 86400 + rng.uniform(0, 7000)), "s"), t, out)

    def write(self, start: np.datetime64, t: Floats, volts: dict[str, Floats]) -> str:
        """Write a file as one of four loggers does: plain volts, millivolts, decimal commas, or packed."""
        stamps = start + np.round(t * 1000).astype("timedelta64[ms]")
        sep, unit, gain = (";", "V", 1.0) if self.form == 2 else (",", "mV", 1000.0) if self.form == 1 else (",", "V", 1.0)
        cells = [[f"{x * gain:.6f}".rstrip("0").rstrip(".") for x in v.tolist()] for v in volts.values()]
        if self.form == 2:
            cells = [[c.replace(".", ",") for c in column] for column in cells]
        when = np.datetime_as_string(stamps, unit="ms").tolist()
        text = "\n".join([sep.join(["time", *(f"{n} [{unit}]" for n in volts)]), *map(sep.join, zip(when, *cells, strict=True)), ""])
        self.files, self.rows = self.files + 1, (t, volts)
        path = self.folder / f"evening_{self.files:02d}.csv{'.gz' if self.form == 3 else ''}"
        path.write_bytes(gzip.compress(text.encode(), 1) if self.form == 3 else text.encode())
        return str(path)

    def step(self, *line: str, never: Sequence[str] = (), must: Sequence[str] = ()) -> None:
        """Note a command of the evening."""
        self.steps.append(Step(line, tuple(never), tuple(must)))


def crackle(rng: np.random.Generator, per_h: float, size: float = 0.0, length_s: float = 0.0, until_s: float = np.inf) -> Callable[[Floats], Floats]:
    """Give swings that come at random, from three quarters to one and a half times one size, seconds long."""
    size, length_s = size or rng.uniform(0.12, 0.4), length_s or rng.uniform(1.5, 6)

    def volts(t: Floats) -> Floats:
        out = np.zeros(t.size)
        step = float(t[1] - t[0])
        for at in rng.uniform(0, t[-1], rng.poisson(per_h * t[-1] / HOUR)):
            if at < until_s:
                i, j = np.searchsorted(t, at), np.searchsorted(t, at + max(length_s * rng.uniform(0.7, 1.5), 1.2 * step))
                out[i:j] = size * rng.choice([-1, 1]) * rng.uniform(0.75, 1.5)
        return out

    return volts


def stands(size: float, from_share: float = 0.0) -> Callable[[Floats], Floats]:
    """Give a level away from rest, from a moment on."""
    return lambda t: np.where(t >= from_share * t[-1], size, 0.0)


def watch_rows(rows: Watched, per_s: float, danger_s: float) -> list[str]:
    """Feed the watch in handfuls of one to seven rows; give what it said, by the clock of the last row it had."""
    from flicker import Limits
    from flicker.evidence.watch.watcher import Watcher
    from flicker.logs.growing import Fresh

    t, volts = rows
    rng = np.random.default_rng(t.size)
    watcher = Watcher(tuple(volts), cadence_s=1 / per_s, limits=Limits())
    said, i = [], 0
    while i < t.size:
        j = min(i + int(rng.integers(1, 8)), t.size)
        for event in watcher.feed(Fresh(0, t[i:j], tuple(v[i:j] for v in volts.values()), i == 0)):
            if event.event == "alarm":
                said.append(f"alarm at {t[j - 1]:.1f}")
                said += ["alarm early"] * bool(t[j - 1] < danger_s)
            if event.event == "decision":
                said.append(f"{event.channel} {event.kind}{' late' * bool(t[j - 1] > danger_s + 60)}")
        i = j
    return said


def command(line: Sequence[str]) -> tuple[int, str, str]:
    """Run a command line in this process; give its exit code and what it printed."""
    from flicker.cli import main as flicker

    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = flicker([*line] if line[0] == "survey" else [*line, "--json"])
    return code, out.getvalue(), err.getvalue()


def statements(step: Step, rows: Watched | None) -> list[str]:
    """Run a step and give what it states, one short statement each."""
    if step.line[0] == "watch" and rows is not None:
        return watch_rows(rows, float(step.line[2]), float(step.line[3]))
    code, text, error = command(step.line)
    said = [f"exit {code}"]
    if code or (step.line[0] != "survey" and not text):
        return [*said, f"refused: {error.strip()[:160]}"]
    if step.line[0] == "survey":
        with open(step.line[3], encoding="utf-8") as file:
            for row in csv.DictReader(file):
                at = Path(row["source"]).name
                said += [f"{at} error" if row["error"] else f"{at} {row['channel']} {row['fitness']}", f"{at} {row['verdict']}"]
                if row["channel"] == "left":
                    said.append(f"{at} {row['fitness']}")
        return said
    document = json.loads(text)
    if step.line[0] == "soak":
        return [*said, f"hours {document['hours']}"]
    for c in document["channels"]:
        n = c["channel"]
        if step.line[0] == "assess":
            said += [f"{n} {c['fitness']}", f"{n} {c['verdict']}", *(f"{n} {f['question']} {f['answer']}" for f in c["findings"])]
        elif step.line[0] == "compare":
            said += [f"{n} outcome {c['outcome']}", f"{n} cured {c['cured']}", f"({n}: {c['aspect']})"]
            said += [f"{n} {side} {c[side][what]}" for side in ("before", "after") for what in ("fitness", "verdict")]
        else:
            said += [f"{n} {what} {c[what]['answer']}" for what in ("rate", "size")]
            said += [f"{n} {q['quantity']} {q['answer']}" for q in c["levels"]] + [f"{n} last {c['visits'][-1]['fitness']}"]
    return said


def holds(pattern: str, said: Sequence[str]) -> str:
    """Give the statement that a pattern meets, or nothing; times and hours are compared as numbers."""
    words = pattern.split()
    if words[0] == "alarm" and words[1] == "by":
        return next((x for x in said if x.startswith("alarm at") and float(x.split()[2]) <= float(words[2])), "")
    if words[0] == "hours":
        under = words[1] == "under"
        return next((x for x in said if x.startswith("hours ") and (float(x.split()[1]) < float(words[2])) == under), "")
    return next((x for x in said if fnmatchcase(x, pattern)), "")
