"""What the fresh benches share: meters, sound outputs, and the log with its truth. All data are invented.

Nothing here knows how the program judges. A log is what a meter wrote of an output: volts at the instants of the
readings, ``nan`` for a blank cell, ``inf`` where the meter says over range.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

Floats = NDArray[np.float64]
EPOCH = np.datetime64("2031-03-03T09:00:00.000", "ms")


@dataclass(frozen=True)
class Truth:
    """What the maker put in: the fault of which channels, from when to when, and how far it went."""

    kind: str
    sound: bool
    beyond_doubt: bool
    channels: tuple[str, ...]
    from_s: float
    to_s: float
    size_V: float
    words: str = ""


@dataclass(frozen=True)
class BenchLog:
    """One log: seconds from its start, volts by channel, the truth, and where its files end."""

    time_s: Floats
    readings_V: dict[str, Floats]
    truth: Truth
    meter: str
    unclipped_V: dict[str, Floats] = field(default_factory=dict)
    file_ends: tuple[int, ...] = ()
    beside: dict[str, Floats] = field(default_factory=dict)  # columns that are no outputs, by their whole name

    def files(self) -> list[dict[str, object]]:
        """Give the log as the program takes it: a mapping for each file."""
        ends = (*self.file_ends, self.time_s.size)
        stamps = EPOCH + np.round(self.time_s * 1000).astype("timedelta64[ms]")
        out: list[dict[str, object]] = []
        first = 0
        for last in ends:
            part: dict[str, object] = {"time": stamps[first:last]}
            part.update({f"{name}_V": v[first:last] for name, v in self.readings_V.items()})
            part.update({name: v[first:last] for name, v in self.beside.items()})
            out.append(part)
            first = last
        return out


@dataclass(frozen=True)
class Meter:
    """A meter: digits, noise, what it does with the time between readings, and the end of its ranges."""

    name: str
    ranges_V: tuple[float, ...]
    counts: int
    noise_V: float
    averages: bool
    cadences_s: tuple[float, ...]
    over: str = "over"  # 'over' writes inf, 'blank' writes nan, 'clip' writes the end of the range


METERS = (
    Meter("pocket meter, 4000 counts, auto range", (0.4, 4.0, 40.0, 400.0), 4000, 5e-5, True, (0.5, 1.0, 2.0)),
    Meter("pocket meter, 6000 counts, held in the 600 mV range", (0.6,), 6000, 5e-5, True, (0.4, 1.0, 3.0)),
    Meter("bench meter, 6 digits", (0.1, 1.0, 10.0, 100.0), 1_000_000, 2e-6, True, (0.05, 0.2, 1.0, 10.0)),
    Meter("12-bit converter, 10 V", (10.0,), 2048, 1.2e-3, False, (0.05, 0.1, 0.5, 1.0), "clip"),
    Meter("16-bit converter, 5 V", (5.0,), 32768, 1.5e-4, False, (0.05, 0.25, 1.0, 5.0), "clip"),
    Meter("24-bit converter, 2.5 V, behind a divider by 30", (75.0,), 8_000_000, 3e-5, False, (0.1, 0.5, 2.0), "clip"),
    Meter("panel logger of means, 1 mV", (20.0,), 20_000, 2e-4, True, (5.0, 10.0, 30.0), "blank"),
    Meter("data logger, 0.1 mV, 2 V", (2.0,), 20_000, 5e-5, True, (1.0, 5.0, 15.0, 30.0), "blank"),
)


def write_down(true_V: Floats, meter: Meter, rng: np.random.Generator) -> Floats:
    """Read the volts with the meter: noise, smallest range that holds them, digits, and the end of the last range."""
    seen = true_V + meter.noise_V * rng.standard_normal(true_V.size)
    out = np.empty(seen.size)
    step = np.full(seen.size, meter.ranges_V[-1] / meter.counts)
    for full in reversed(meter.ranges_V):
        step[np.abs(seen) < full] = full / meter.counts
    out = np.round(seen / step) * step
    end = meter.ranges_V[-1]
    beyond = np.abs(seen) >= end
    out[beyond] = {"over": np.inf, "blank": np.nan, "clip": 0.0}[meter.over]
    if meter.over == "clip":
        out[beyond] = np.sign(seen[beyond]) * end
    return out


def sampled(f: Callable[[Floats], Floats], time_s: Floats, cadence_s: float, meter: Meter) -> Floats:
    """Sample a waveform: the instant, or the mean of eight points of the integration before it (at most 0.3 s, or all
    of the cadence for a logger of means)."""
    if not meter.averages:
        return f(time_s)
    window = cadence_s * 0.9 if "means" in meter.name else min(0.3, cadence_s * 0.6)
    total = np.zeros(time_s.size)
    for k in range(8):
        total += f(time_s - window * (k + 0.5) / 8)
    return total / 8


def slow_noise(rng: np.random.Generator, time_s: Floats, sigma_V: float) -> Floats:
    """Give flicker-like noise: a sum of relaxations with times from 10 s to 3 h, equal variance each."""
    out = np.zeros(time_s.size)
    for tau in (10.0, 100.0, 1000.0, 10_000.0):
        step = max(tau / 5, 1e-9)
        n = int((time_s[-1] - time_s[0]) / step) + 3
        a = np.exp(-step / tau)
        kicks = rng.standard_normal(n) * np.sqrt(1 - a * a)
        first = rng.standard_normal()
        x = np.append(first, lfilter([1.0], [1.0, -a], kicks[1:], zi=[a * first])[0])
        out += np.interp(time_s - time_s[0], np.arange(n) * step, x)
    return sigma_V * out / 2


def room(rng: np.random.Generator, time_s: Floats) -> Floats:
    """Give kelvin of a room: heating that switches every 15 to 40 min and a day of 24 h."""
    period, phase = rng.uniform(900, 2400), rng.uniform(0, 2 * np.pi)
    saw = ((time_s / period + phase) % 1.0 - 0.5) * rng.uniform(0.3, 1.2)
    return saw + rng.uniform(0.5, 2.5) * np.sin(2 * np.pi * time_s / 86400 + phase)


def settling(rng: np.random.Generator, age_s: Floats, fast_V: float, slow_V: float) -> Floats:
    """Give the warm-up of an output: two exponentials, chips within two minutes and heatsink within half an hour."""
    fast, slow = rng.uniform(15, 100), rng.uniform(200, 600)
    x = np.maximum(age_s, 0.0)
    return fast_V * np.exp(-x / fast) + slow_V * np.exp(-x / slow)


def telegraph(rng: np.random.Generator, time_s: Floats, on_s: float, off_s: float) -> NDArray[np.bool_]:
    """Tell when a two-state process with exponential dwells is on."""
    span = time_s[-1] - time_s[0]
    n = int(4 * span / (on_s + off_s)) + 20
    dwells = np.empty(2 * n)
    dwells[0::2], dwells[1::2] = rng.exponential(off_s, n), rng.exponential(on_s, n)
    edges = np.cumsum(dwells) + time_s[0]
    return np.asarray(np.searchsorted(edges, time_s, side="right") % 2 == 1)


def times(rng: np.random.Generator, length_s: float, cadence_s: float) -> Floats:
    """Give instants of readings: even, or with a scheduler's jitter of a few per cent."""
    t = np.arange(0.0, length_s, cadence_s)
    if rng.random() < 0.4:
        t = t + np.abs(rng.normal(0, 0.02 * cadence_s, t.size)).clip(0, 0.3 * cadence_s)
    return np.round(t, 3)


def runner(what: str, add: Sequence[tuple[str, int]] = ()) -> argparse.Namespace:
    """Read the command line of a bench."""
    parser = argparse.ArgumentParser(description=what)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=2, help="logs of each kind")
    parser.add_argument("--only", default="", help="only kinds whose name holds this")
    for name, default in add:
        parser.add_argument(f"--{name}", type=int, default=default)
    return parser.parse_args()


def table(head: Sequence[str], rows: Sequence[Sequence[object]]) -> str:
    """Lay rows out as a table in Markdown."""
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    lines += ["| " + " | ".join(str(c) for c in row) + " |" for row in rows]
    return "\n".join(lines)
