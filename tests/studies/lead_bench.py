"""The standing bench of 'what was the lead looking at': logs of every maker, with one truth and one score.

A case is a log, what is hidden in each channel, and which channels carry a fault of a live output. `left_out` asks the
rules alone (blocks in, stretches out: some 15 ms a log), so that one drawing serves many tables and numbers.

Right: a dead stretch left out with both borders within 30 s and 95 % covered (of one under a minute, 5 s and 60 %).
Hurt: more than 1 % of the live time of a channel left out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

import fault_makers
import fresh_live
import fresh_states
import more_faults
import moving_states
import numpy as np
import rare_states
import second_situations
from study_connection import METERS, SETTINGS, overlap

from flicker import Log
from flicker.signals.blocks import RunBlocks, reduce_log
from flicker.simulate import simulate_log

KINDS: dict[str, tuple[str, ...]] = {
    "faults": fault_makers.KINDS,
    "second": (*second_situations.DEAD, *second_situations.SOUND),
    "simulated": ("lead-off", "lead-shorted", "lead-chassis", "meter-repeats", "timer-nights"),
    "more": more_faults.KINDS,
    "rare": (*rare_states.DEAD, *rare_states.LIVE),
    "fresh": (*fresh_states.DEAD, *fresh_states.LIVE),
    "live": (*fresh_live.NOT_LIVE, *fresh_live.LOOK_ALIKE, *fresh_live.FAULTS),
    "moving": ("any",),
}
UNSEEN = {"off", "disconnected", "floating", "shorted", "repeats", "muted"}
Spans = list[tuple[float, float]]


@dataclass
class Case:
    """One log and its truth; ``hidden`` and the spans left out are seconds on the log's clock."""

    log: Log
    hidden: dict[str, Spans]
    faulty: tuple[str, ...] = ()


def case(bench: str, kind: str, seed: int) -> Case:
    """Make one case."""
    if bench == "faults":
        return Case(fault_makers.make(kind, seed)[0], {}, ("left",))
    if bench == "moving":
        log, away = moving_states.make(seed)
        return Case(log, {"left": away}, () if away else ("left",))
    if bench == "second":
        meter, rate = list(second_situations.METERS)[seed % 3], second_situations.RATES[seed // 3 % 4]
        made = second_situations.make(kind, seed, meter=meter, rate_hz=rate)
        return Case(made.log, made.hidden)
    if bench == "simulated":
        return _simulated(kind, seed)
    if bench == "rare":
        log, hidden = rare_states.make(kind, seed)
        both = kind == "swings-of-both"
        return Case(log, hidden, () if kind in rare_states.DEAD else ("left", "right") if both else ("left",))
    if bench == "more":
        t, volts, truth = more_faults.make(kind, seed)
        hidden = {name: [(a, b) for who, a, b, sort in truth if who == name and sort == "dead"] for name in volts}
        return Case(Log.from_arrays(t, volts, name=kind), hidden, tuple({x[0] for x in truth if x[3] == "fault"}))
    if bench == "live":
        state, _ = fresh_live.live_log(kind, seed)
        hidden = {name: [(s.from_s, s.to_s) for s in part] for name, part in state.stretches.items()}
        log = Log.from_arrays(state.log.time_s, state.log.readings_V, name=kind)
        return Case(log, hidden, state.log.truth.channels if kind in fresh_live.FAULTS else ())
    state = fresh_states.state_log(kind, seed)
    hidden = {name: [(s.from_s, s.to_s) for s in part if not s.live] for name, part in state.stretches.items()}
    log = Log.from_arrays(state.log.time_s, state.log.readings_V, name=kind)
    return Case(log, hidden, tuple(name for name, part in state.stretches.items() if any(s.live for s in part)))


def _simulated(kind: str, seed: int) -> Case:
    options: dict[str, Any] = {"away_s": None if seed % 3 == 0 else 300.0 + 100.0 * (seed % 7)}
    if kind == "timer-nights":
        options = {"on_h": 0.6, "off_h": 0.6}
    meter, rate = METERS[list(METERS)[seed % 3]], (1.0, 2.0, 5.0, 10.0)[seed // 3 % 4]
    hours = 2.4 if kind == "timer-nights" else 1.0
    bench = simulate_log(kind, seed=seed, hours=hours, rate_hz=rate, **meter, **options)
    truth = bench.truth.runs[0]
    hidden = {n: [(s.start_s, s.end_s) for s in truth[n].stretches if s.state in UNSEEN] for n in bench.channels}
    return Case(bench.logs[0], hidden)


def lead_modules() -> SimpleNamespace:
    """The functions of the product that a bench asks; a study that changes a number hands in others."""
    from flicker.signals.connection import disconnection, second_opinion, states

    return SimpleNamespace(
        find_lapses=disconnection.find_lapses,
        find_power_ups=states.find_power_ups,
        second_opinion=second_opinion.second_opinion,
    )


def proposed(blocks: RunBlocks, product: SimpleNamespace) -> tuple[list[Any], list[list[Any]], list[float]]:
    """Power-ups, stretches of each channel that the rules would leave out, and the last digits."""
    from flicker.signals.draft import ranges_of
    from flicker.signals.trace import as_guarded
    from flicker.stats.noise import resolution_of

    digits = [resolution_of(part.sample_V[np.isfinite(part.sample_V)]) for part in blocks.channels]
    volts = {"protection_V": SETTINGS.protection_V, "band_V": SETTINGS.settle_band_V}
    every = [
        product.find_lapses(blocks, k, ranges=ranges_of(blocks, k, digit, ()), **volts)
        for k, digit in enumerate(digits)
    ]
    ups, lapses = product.find_power_ups(blocks, every, band_V=SETTINGS.settle_band_V, resolutions_V=digits)
    ups, lapses = as_guarded(blocks, ups, lapses, SETTINGS.settle_band_V)
    return ups, lapses, digits


@dataclass
class Drawn:
    """A case taken to blocks once."""

    bench: str
    kind: str
    seed: int
    channels: tuple[str, ...]
    hidden: dict[str, Spans]
    faulty: tuple[str, ...]
    runs: list[RunBlocks]


def draw(bench: str, kind: str, seed: int) -> Drawn:
    """Make a case and reduce it to blocks."""
    made = case(bench, kind, seed)
    return Drawn(bench, kind, seed, tuple(made.log.channels), made.hidden, made.faulty, list(reduce_log(made.log)))


def left_out(drawn: Drawn, product: SimpleNamespace | None = None) -> tuple[dict[str, Spans], dict[str, Spans]]:
    """What the rules and the second opinion leave out of each channel, and what they tell as a doubt."""
    product = product or lead_modules()
    out: tuple[dict[str, Spans], dict[str, Spans]] = ({}, {})
    for blocks in drawn.runs:
        ups, lapses, digits = proposed(blocks, product)
        found = product.second_opinion(blocks, lapses, [item.block for item in ups], digits)
        for into, parts in zip(out, found, strict=True):
            for name, part in zip(drawn.channels, parts, strict=True):
                spans = [(x.begin_s + blocks.offset_s, x.end_s + blocks.offset_s) for x in part]
                into[name] = sorted([*into.get(name, []), *spans])
    return out


@dataclass
class Score:
    """Counts of one kind, or of a bench: dead stretches, channels with a live fault, sound channels."""

    dead: int = 0
    right: int = 0
    short: int = 0
    short_right: int = 0
    told: int = 0
    lost: list[float] = field(default_factory=list)
    sound: list[float] = field(default_factory=list)
    sound_told: int = 0

    def add(self, other: Score) -> None:
        """Add the counts of another."""
        self.dead, self.right = self.dead + other.dead, self.right + other.right
        self.short, self.short_right = self.short + other.short, self.short_right + other.short_right
        self.told, self.sound_told = self.told + other.told, self.sound_told + other.sound_told
        self.lost += other.lost
        self.sound += other.sound

    def row(self) -> str:
        """Cells of a table, as `HEAD` names them."""
        hurt = sum(share > 0.01 for share in self.lost)
        lost = f"{100 * np.mean(self.lost):.2f} | {hurt} of {len(self.lost)}" if self.lost else "- | -"
        dead = f"{self.right} of {self.dead}" if self.dead else "-"
        short = f"{self.short_right} of {self.short}" if self.short else "-"
        sound = f"{sum(share > 0.01 for share in self.sound)} of {len(self.sound)}"
        return f"{dead} | {self.told} | {short} | {lost} | {sound} | {self.sound_told}"


HEAD = "dead right | told as a doubt | of seconds right | live time lost % | hurt | sound hurt | sound channels with a doubt |"


def right(parts: Spans, begin: float, end: float) -> bool:
    """Was a stretch left out with its borders right?"""
    short = end - begin < 60.0
    slack, share = (5.0, 0.6) if short else (30.0, 0.95)
    spans = [(a, b, "") for a, b in parts]
    near = [part for part in parts if part[1] > begin and part[0] < end]
    if not near:
        return False
    ends = abs(near[0][0] - begin) <= slack and abs(max(b for _, b in near) - end) <= slack
    inner = (begin, end) if short else (begin + slack, end - slack)
    return ends and overlap(spans, *inner) >= share * (inner[1] - inner[0])


def score(
    truth: dict[str, Spans], faulty: Sequence[str], end: float, parts: dict[str, Spans], doubts: dict[str, Spans]
) -> Score:
    """Compare what was left out, and what was told as a doubt, with the truth; ``end`` is the last reading."""
    out = Score()
    for name, own in parts.items():
        hidden = sorted(truth.get(name, []))
        for a, b in hidden:
            good = right(own, a, min(b, end))
            if b - a >= 299.0:
                out.dead, out.right = out.dead + 1, out.right + good
                away = overlap([(x, y, "") for x, y in doubts[name]], a, min(b, end))
                out.told += not good and away > 0.5 * (min(b, end) - a)
            elif b - a < 60.0:
                out.short, out.short_right = out.short + 1, out.short_right + good
        wide = [(a - 2.0, b + 2.0, "") for a, b in hidden]
        spans = [(a, b, "") for a, b in own]
        away = sum(overlap(spans, max(a, 0.0), min(b, end)) for a, b, _ in wide)
        live = end - overlap(wide, 0.0, end)
        if live > 60.0:
            share = max(overlap(spans, 0.0, end) - away, 0.0) / live
            (out.lost if name in faulty else out.sound).append(share)
            out.sound_told += bool(doubts[name]) and not hidden and name not in faulty
    return out


def scores(drawn: Iterable[Drawn], product: SimpleNamespace | None = None) -> dict[tuple[str, str], Score]:
    """Scores by bench and kind."""
    out: dict[tuple[str, str], Score] = defaultdict(Score)
    for item in drawn:
        end = max(blocks.offset_s + float(blocks.end_s[-1]) for blocks in item.runs)
        out[item.bench, item.kind].add(score(item.hidden, item.faulty, end, *left_out(item, product)))
    return dict(out)


def jobs(benches: Sequence[str], seed: int, many: int) -> Iterator[tuple[str, str, int]]:
    """Bench, kind and seed of ``many`` logs of every kind."""
    for bench in benches:
        for kind in KINDS[bench]:
            for number in range(seed, seed + (many if bench != "moving" else 20 * many)):
                yield bench, kind, number
