"""What the stories of `fresh_benches` are made of: a unit, its logger, swings as a meter sees them, and what is stated.

All data are invented, by somebody who has not read how the program decides. A statement is a short sentence made of a
result, as in ``left since more often``; a pattern may name several, parted by ``|``, of which one will do.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from typing import Any

import numpy as np
from fresh_parts import EPOCH, Floats, room, slow_noise

HOUR = 3600.0
Shape = Callable[[Floats], Floats]  # volts added to an output, by the seconds since the log began
Table = dict[str, Any]  # a log as the program takes it: instants and columns
HIDING = {"switched off", "muted", "disconnected", "floating pick-up: lead or clip off", "no signs of life",
          "no signs of life: the same reading repeated"}  # fmt: skip


@dataclass(frozen=True)
class Step:
    """A question to the program, what it must never say, what it must say, and what it had rather not say."""

    task: str  # 'assess', 'compare', 'visits', 'soak' or 'watch'
    logs: Sequence[Any]
    never: tuple[str, ...]
    must: tuple[str, ...]
    rather_not: tuple[str, ...]
    options: Mapping[str, Any] = field(default_factory=dict)


@dataclass
class Bench:
    """A unit with its logger: names, rests and noise of the channels, seconds a reading, digit, mean or instant."""

    rng: np.random.Generator
    names: tuple[str, ...] = ()
    steps: list[Step] = field(default_factory=list)
    words: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Draw what stays from evening to evening; the left channel is always there."""
        rng = self.rng
        self.names = self.names or ("left", "right", "sub")[: int(rng.choice([1, 2, 2, 3]))]
        self.step_s = float(rng.choice([0.5, 1.0, 1.0, 2.0]))
        self.digit = float(rng.choice([1e-5, 1e-4, 1e-4, 5e-4]))
        self.mean_s = float(rng.choice([0.0, 0.3 * self.step_s]))
        self.rest = {n: float(rng.choice([-1, 1]) * rng.uniform(2.6e-3, 9e-3)) for n in self.names}
        self.white = {n: float(rng.uniform(1e-4, 5e-4)) for n in self.names}
        self.per_K = float(rng.uniform(2e-5, 1.2e-4))
        self.relay = bool(rng.random() < 0.4)

    def fact(self, **figures: float | str) -> None:
        """Note figures that are printed with a failure."""
        self.words += [f"{k} {v:.3g}" if isinstance(v, float) else f"{k} {v}" for k, v in figures.items()]

    def instants(self, hours: float, step_s: float = 0.0) -> Floats:
        """Give the moments of the readings."""
        return np.arange(0.0, hours * HOUR, step_s or self.step_s)

    def output(self, t: Floats, name: str, *, warm: bool = False) -> Floats:
        """Give a sound output from switch-on (or, warm, from any moment on): rest, settling, room, slow and white noise."""
        rng = self.rng
        v = self.rest[name] + slow_noise(rng, t, 1e-4) + self.white[name] * rng.standard_normal(t.size)
        v += self.per_K * room(rng, t)
        if not warm:
            close = rng.uniform(2, 5) if self.relay else 0.0
            v += rng.normal(0, 2.5e-3) * np.exp(-t / rng.uniform(60, 300)) + rng.normal(0, 1.5e-4)
            v += np.clip(rng.normal(0, 0.04), -0.08, 0.08) * np.exp(-np.maximum(t - close, 0) / rng.uniform(0.3, 1.3))
            v = np.where(t < close, 1e-4 * rng.standard_normal(t.size), v)
        return v

    def table(self, day: float, t: Floats, volts: Mapping[str, Floats], *, beside: Mapping[str, Any] | None = None, digit: float = 0.0) -> Table:
        """Give the log as the logger keeps it: stamps in milliseconds, volts to the digit, other columns beside."""
        stamps = EPOCH + np.round((day * 86400 + t) * 1000).astype("timedelta64[ms]")
        d = digit or self.digit
        return {"time": stamps, **{f"{n}_V": np.round(v / d) * d for n, v in volts.items()}, **(beside or {})}

    def evening(self, day: float, hours: float, faults: Mapping[str, Shape] | None = None, *, warm: bool = False, step_s: float = 0.0,
                extra: float = 0.0, digit: float = 0.0, beside: Mapping[str, Any] | None = None) -> Table:  # fmt: skip
        """Log one power-up; ``extra`` is white noise of the room on all channels, not the same in each."""
        t = self.instants(hours, step_s)
        volts = {n: self.output(t, n, warm=warm) + extra * self.rng.standard_normal(t.size) for n in self.names}
        for n, f in (faults or {}).items():
            volts[n] = volts[n] + f(t)
        return self.table(day + float(self.rng.uniform(0, 0.04)), t, volts, beside=beside, digit=digit)

    def step(self, task: str, logs: Sequence[Any], *, never: Sequence[str] = (), must: Sequence[str] = (), rather_not: Sequence[str] = (),
             sound: Sequence[str] = (), **options: Any) -> None:  # fmt: skip
        """Ask; the channels named as sound must be cleared, and nothing may be shown of them."""
        if task == "assess":
            never = [*never, *(x for n in sound for x in nothing_shown(n))]
            must = [*must, *(f"{n} within*" for n in sound)]
        elif task == "compare":
            never = [*never, *(f"{n} outcome {w}" for n in sound for w in ("improved", "worse"))]
        else:
            never = [*never, *(f"{n} {q} {w}" for n in sound for q in ("rate", "size") for w in ("worse", "better"))]
            never = [*never, *(f"{n} since *" for n in sound)]
        self.steps.append(Step(task, logs, tuple(never), tuple(must), tuple(rather_not), options))

    @property
    def others(self) -> tuple[str, ...]:
        """All channels but the left one."""
        return tuple(n for n in self.names if n != "left")


def one_faulty(b: Bench, hours: float, shape: Shape, *, must: tuple[str, ...] = (), never: Sequence[str] = (), step_s: float = 0.0) -> None:
    """Log one power-up with this on the left output; the others are sound."""
    b.step("assess", [b.evening(0, hours, {"left": shape}, step_s=step_s)], never=[*uncleared("left"), "left hidden *", *never], must=must, sound=b.others)


def all_sound(b: Bench, hours: float, shape: Shape | None = None) -> None:
    """Log one power-up of a sound unit, all of whose channels carry the shape."""
    b.step("assess", [b.evening(0, hours, {n: shape for n in b.names} if shape else None)], sound=b.names)


def nothing_shown(n: str) -> list[str]:
    """Patterns of what may never be said of a sound channel."""
    return [f"{n} {w}" for w in ("noisy", "degrading", "drifting", "one-off", "do not connect", "since *", "intermittent yes")]


def uncleared(n: str) -> list[str]:
    """Patterns of what may never be said of a channel with a fault, or that was not seen."""
    return [f"{n} within*", f"{n} steady"]


def no_growth(n: str) -> list[str]:
    """Patterns of claims that something grows or has changed for good."""
    return [f"{n} degrading", *(f"{n} {q} yes" for q in ("more often", "larger", "worse with age", "larger with age")), f"{n} since *"]


def between(rng: np.random.Generator, low: float, high: float) -> float:
    """Draw log-uniformly."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def swings(t: Floats, at: Floats, length_s: Floats | float, size_V: Floats | float, mean_s: float = 0.0) -> Floats:
    """Give rectangular swings as the meter sees them: the instant, or the mean of the time before each reading."""
    out = np.zeros(t.size)
    for a, w, s in zip(at, np.broadcast_to(length_s, at.shape), np.broadcast_to(size_V, at.shape), strict=True):
        i, j = np.searchsorted(t, (a, a + w + mean_s + 1e-9))
        seen = 1.0 if not mean_s else np.clip(np.minimum(t[i:j], a + w) - np.maximum(t[i:j] - mean_s, a), 0, None) / mean_s
        out[i:j] = np.where(np.abs(s * seen) > np.abs(out[i:j]), s * seen, out[i:j])
    return out


def arrivals(rng: np.random.Generator, length_s: float, per_h: Callable[[Floats], Floats] | float, most: float = 0.0) -> Floats:
    """Draw moments by thinning; ``per_h`` may depend on the time (Lewis and Shedler 1979)."""
    top = per_h if isinstance(per_h, float) else most
    at = np.sort(rng.uniform(0, length_s, rng.poisson(top * length_s / HOUR)))
    return at if isinstance(per_h, float) else at[rng.uniform(0, top, at.size) < per_h(at)]


def crackle(b: Bench, per_h: Callable[[Floats], Floats] | float, *, most: float = 0.0, size: float = 0.25, length_s: float = 3.0,
            grows: Callable[[Floats], Floats] | None = None, mean_s: float | None = None) -> Shape:  # fmt: skip
    """Give swings at random, a third larger or smaller by themselves; ``grows`` multiplies the size by the moment."""

    def volts(t: Floats) -> Floats:
        at = arrivals(b.rng, float(t[-1]), per_h, most)
        sizes = size * b.rng.choice([-1, 1]) * b.rng.lognormal(0, 0.25, at.size) * (1.0 if grows is None else grows(at))
        lengths = np.maximum(length_s * b.rng.uniform(0.7, 1.5, at.size), 0.0 if mean_s is not None else 1.1 * float(t[1] - t[0]))
        return swings(t, at, lengths, sizes, mean_s or 0.0)

    return volts


# ------------------------------------------------------------ what is stated


def of_assessment(document: Mapping[str, Any]) -> list[str]:
    """State what an assessment says."""
    said = []
    whole = sum(r["duration_s"] for r in document["runs"]) or 1.0
    for c in document["channels"]:
        n = c["channel"]
        said += [f"{n} {c['fitness']}", f"{n} {c['verdict']}", *(f"{n} {f['question']} {f['answer']}" for f in c["findings"])]
        if c["since"] and c["since"]["answer"] != "not shown":
            said.append(f"{n} since {c['since']['answer']}")
        hidden = sum(g["end_s"] - g["start_s"] for g in c["gaps"] if g["reason"] in HIDING and g.get("channel") in (None, "", n))
        if hidden > 0.05 * whole and hidden > 120:
            said.append(f"{n} hidden {hidden / whole:.0%}")
        for kind in (c["stimulus"] or {}).get("kinds", ()):
            said.append(f"{n} provoked by {kind['kind']} {kind['answer']}")
        said.append(f"{n} hours {c['observed_s'] / HOUR:.3f}")
        said.append(f"({n}: {c['tail']}; guard {', '.join(c['guard']['reasons'])})")
    return said


def of_comparison(document: Mapping[str, Any]) -> list[str]:
    """State what a comparison says."""
    said = []
    for c in document["channels"]:
        n = c["channel"]
        said += [f"{n} outcome {c['outcome']}", f"{n} cured {c['cured']}", f"({n}: {c['aspect']}; {'; '.join(c['not_comparable'])})"]
        said += [f"{n} {side} {c[side][what]}" for side in ("before", "after") for what in ("fitness", "verdict")]
        said += [f"{n} aspect {a['aspect']} {a['outcome']}" for a in c["aspects"]]
    return said


def of_visits(document: Mapping[str, Any]) -> list[str]:
    """State what a comparison of visits says."""
    said = []
    for c in document["channels"]:
        n = c["channel"]
        said += [f"{n} {what} {c[what]['answer']}" for what in ("rate", "size")]
        said += [f"{n} {q['quantity']} {q['answer']}" for q in c["levels"]] + [f"{n} last {c['visits'][-1]['fitness']}"]
        if c["since"] and c["since"]["answer"] != "not shown":
            said.append(f"{n} since {c['since']['answer']}")
    return said


def of_watch(tables: Sequence[Table]) -> list[str]:
    """State what a watch says, row by row: alarms with their second (that nothing moves is no alarm of volts), and decisions."""
    from flicker import Limits
    from flicker.evidence.watch.watcher import Watcher
    from flicker.logs.growing import Fresh

    said = []
    for table in tables:
        t = (table["time"] - table["time"][0]) / np.timedelta64(1, "s")
        volts = {k.removesuffix("_V"): v for k, v in table.items() if k != "time"}
        watcher = Watcher(tuple(volts), cadence_s=float(np.median(np.diff(t))), limits=Limits())
        for i in range(0, t.size, 5):
            j = min(i + 5, t.size)
            for event in watcher.feed(Fresh(0, t[i:j], tuple(v[i:j] for v in volts.values()), i == 0)):
                if event.event == "alarm":
                    said.append(f"{event.channel} {'silent' if event.kind == 'lost signs of life' else 'alarm'} {t[j - 1]:.1f}")
                elif event.event == "decision":
                    said.append(f"{event.channel} {event.kind} {t[j - 1]:.1f}")
    return said or ["nothing"]


def statements(step: Step) -> list[str]:
    """Put a step to the program and give what it states."""
    from flicker import assess, compare, over_visits, plan_soak, read_log

    options = dict(step.options)
    reading = options.pop("reading", {})

    def read(x: Table) -> Any:
        return read_log(x, **reading)

    try:
        if step.task == "watch":
            return of_watch(step.logs)
        if step.task == "soak":
            plan = plan_soak(logs=[read(x) for x in step.logs], **options).to_dict()
            return [f"plan hours {plan['hours']}", f"plan power-ups {(plan['power_ups_needed'] or {'power_ups': 0})['power_ups']}"]
        if step.task == "assess":
            control = {"control": read(options.pop("control"))} if "control" in options else {}
            return of_assessment(assess([read(x) for x in step.logs], **control, **options).to_dict())
        if step.task == "compare":
            return of_comparison(compare(*([read(x) for x in side] for side in step.logs), **options).to_dict())
        visits = [(dt.date.fromisoformat(str(v[0]["time"][0])[:10]), [read(x) for x in v]) for v in step.logs]
        return of_visits(over_visits(visits, **options).to_dict())
    except ValueError as error:
        return [f"refused: {str(error)[:200]}"]


def holds(pattern: str, said: Sequence[str]) -> str:
    """Give the first statement that meets one of a pattern's alternatives, or nothing; `over` and `under` compare figures."""
    return next((x for p in pattern.split("|") for x in said if _meets(p.split(), x)), "")


def _meets(words: Sequence[str], statement: str) -> bool:
    if len(words) < 3 or words[-2] not in ("over", "under"):
        return fnmatchcase(statement, " ".join(words))
    *name, figure = statement.split()
    if name != [*words[:-2]]:
        return False
    return float(figure) > float(words[-1]) if words[-2] == "over" else float(figure) < float(words[-1])
