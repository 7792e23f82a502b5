"""The sheet on which a kind is drawn: settings in, samples and truth out, glitches by their waveforms; and the list of kinds."""

from __future__ import annotations

import inspect
import zlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from flicker.base.arrays import Floats
from flicker.base.units import HOUR
from flicker.simulate import _noise
from flicker.simulate._meter import Meter, Trace, frozen, read
from flicker.simulate._truth import BenchTruth, ChannelTruth, LevelChange, Mark, PowerUp, RunTruth, Stretch

Wave = Callable[[Floats, NDArray[Any], np.random.Generator], Floats]  # place within the glitch, first sample?, draws

# With u = 0..1 through the glitch: rectangular 1; decay exp(-3 u); swing 1 in the first half, -0.7 in the second; ramp u/0.8,
# then back; crackle a value of either sign between 0.3 and 1 at each sample, full at the first.
_WAVES: Mapping[str, Wave] = {
    "decay": lambda u, first, rng: np.exp(-3.0 * u),
    "swing": lambda u, first, rng: np.where(u < 0.5, 1.0, -0.7),
    "ramp": lambda u, first, rng: np.where(u < 0.8, (u + 0.05) / 0.85, 1.0 - (u - 0.8) / 0.25),
    "crackle": lambda u, first, rng: np.where(first, 1.0, rng.uniform(0.3, 1.0, u.size) * rng.choice([-1.0, 1.0], u.size)),
}
SHAPES = ("rectangular", *_WAVES)


LEAD_IN_S = 90.0  # glitches are drawn after this much of a run (a tenth of shorter runs), clear of the surge
BETWEEN_RUNS_S = 20 * HOUR  # off between two runs: begins cold (common practice, no source)


@dataclass(frozen=True, slots=True)
class Setting:
    """Common options of a bench, as used; see `flicker.simulate_log`."""

    hours: float
    rate_hz: float
    runs: int
    seed: int
    unit: int
    channels: tuple[str, ...]
    bad: tuple[str, ...]
    noise: str
    noise_V: float
    exponent: float | None
    resolution_V: float
    jitter: float
    gaps: int
    pause_s: float
    power_up: bool
    surge_V: float | None
    surge_tau_s: float | None
    settled_V: float | None
    shape: str
    size_V: tuple[float, float]
    length_s: tuple[float, float]
    full_scale_V: float
    start: datetime


class Sheet:
    """Runs and channels of a bench while it is being drawn.

    Every random number comes from ``rng``: one stream per run, channel and purpose, so that (for instance) the noise
    of a channel stays the same when glitches are added to it.
    """

    def __init__(self, setting: Setting) -> None:
        self.setting = setting
        self.channels = setting.channels
        self.bad = setting.bad
        self.span_s = setting.hours * HOUR
        self.step_s = 1.0 / setting.rate_hz
        self.lead_in_s = min(LEAD_IN_S, 0.1 * self.span_s) if setting.power_up else 0.0
        self.usable_s = self.span_s - self.lead_in_s - 2.0  # of one run in which glitches are drawn
        self.total_s = self.usable_s * setting.runs
        self.meter = Meter(self.step_s, setting.resolution_V, setting.full_scale_V, setting.jitter > 0)
        self.marks: list[Mark] = []
        self.roles: dict[str, str] = {}  # of columns beside the channels, and their readings, one array a run
        self.beside: dict[str, list[Floats]] = {}
        self.start = [
            setting.start + timedelta(seconds=run * (self.span_s + BETWEEN_RUNS_S)) for run in range(setting.runs)
        ]
        self.relay_side = ["no relay"] * setting.runs
        self.relay_open: list[list[tuple[float, float]]] = [[] for _ in range(setting.runs)]
        self.time = [self._axis(run) for run in range(setting.runs)]
        self.traces = [{name: self._trace(run, name) for name in self.channels} for run in range(setting.runs)]
        if setting.power_up:
            for run, name, _ in self.each():
                self.power_up(run, name, 0.0)

    def rng(self, purpose: str, run: int = 0, channel: str = "") -> np.random.Generator:
        """Return the random stream of a purpose."""
        return self._stream(self.setting.seed, purpose, run, channel)

    def unit_rng(self, purpose: str, channel: str = "") -> np.random.Generator:
        """Return the random stream of what belongs to the unit: the same on every bench it stands on."""
        return self._stream(self.setting.unit, f"unit {purpose}", 0, channel)

    @staticmethod
    def _stream(seed: int, purpose: str, run: int, channel: str) -> np.random.Generator:
        key = (zlib.crc32(purpose.encode()), run, zlib.crc32(channel.encode()))
        return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=key))

    # --- time -------------------------------------------------------------------------------------------------------

    def _axis(self, run: int) -> Floats:
        """Sample times of a run, with its scatter, pauses and gaps."""
        setting = self.setting
        n = max(round(self.span_s * setting.rate_hz), 10)
        time = np.arange(n) * self.step_s
        if setting.jitter == 0 and setting.gaps == 0 and setting.pause_s == 0:
            return np.round(time, 3)
        rng = self.rng("time", run)
        if setting.jitter:
            shift = rng.uniform(-0.5 * setting.jitter, 0.5 * setting.jitter, n) * self.step_s
            shift[0] = 0.0
            time = time + shift
        if setting.pause_s:
            at = float(rng.uniform(0.4, 0.6)) * (self.span_s - setting.pause_s)
            time = time[(time < at) | (time >= at + setting.pause_s)]
        if setting.gaps:
            keep = np.ones(time.size, dtype=bool)
            room = 0.05 * self.span_s
            begin = rng.uniform(room, self.span_s - room, setting.gaps)
            length = np.exp(rng.uniform(np.log(5.0), np.log(min(180.0, 0.5 * room + 5.0)), setting.gaps))
            for lo, hi in zip(begin, begin + length, strict=True):
                keep[np.searchsorted(time, lo) : np.searchsorted(time, hi)] = False
            time = time[keep]
        return np.round(time, 3)

    def index(self, run: int, time_s: float) -> int:
        """Return the number of the first sample at or after a time."""
        return int(np.searchsorted(self.time[run], time_s - 1e-9))

    def age(self, run: int) -> Floats:
        """Return the operating time at each sample of a run, counted over all runs so far."""
        return self.time[run] + run * self.span_s

    # --- base -------------------------------------------------------------------------------------------------------

    def _trace(self, run: int, name: str) -> Trace:
        """A channel at rest: its settled level and its noise."""
        setting = self.setting
        n = self.time[run].size
        unit = self.unit_rng("level", name)
        settled = float(np.clip(unit.normal(0.0, 0.005), -0.012, 0.012))
        exponent = float(unit.uniform(0.8, 1.2)) if setting.exponent is None else setting.exponent
        if setting.settled_V is not None:
            settled = setting.settled_V
        rng = self.rng("noise", run, name)
        if run or setting.unit != setting.seed:  # no two power-ups settle quite alike
            settled += float(rng.normal(0.0, 0.0003))
        noise = setting.noise_V * _noise.COLOURS[setting.noise](rng, n, exponent)
        return Trace(level=np.full(n, settled), noise=noise, settled_V=settled)

    def power_up(self, run: int, name: str, time_s: float, *, start: str = "cold", scale: float = 1.0) -> None:
        """Put a power-up surge at a time: an exponential fall from ``surge_V`` above the settled level."""
        setting = self.setting
        trace = self.traces[run][name]
        unit = self.unit_rng("surge", name)
        surge = float(unit.uniform(0.04, 0.12) * (1.0 if unit.random() < 0.8 else -1.0))
        tau = float(np.exp(unit.uniform(np.log(5.0), np.log(18.0))))
        surge = surge if setting.surge_V is None else setting.surge_V
        tau = tau if setting.surge_tau_s is None else setting.surge_tau_s
        vary = self.rng("surge", run, name)
        surge *= scale if setting.surge_V is not None and time_s == 0.0 else scale * float(vary.uniform(0.9, 1.1))
        first = self.index(run, time_s)
        last = min(self.index(run, time_s + 40.0 * tau), trace.level.size)  # beyond, the rest is under 1e-17
        trace.level[first:last] += surge * np.exp((time_s - self.time[run][first:last]) / tau)
        trace.power_ups.append(PowerUp(time_s, surge, tau, trace.settled_V, start))

    # --- what kinds draw with ---------------------------------------------------------------------------------------

    def each_bad(self) -> list[tuple[int, str, Trace]]:
        """Return every (run, channel, trace) of the bad channels."""
        return [(run, name, self.traces[run][name]) for run in range(self.setting.runs) for name in self.bad]

    def bad_streams(self, purpose: str) -> list[tuple[str, np.random.Generator]]:
        """Return every bad channel with its random stream of a purpose, one for all runs."""
        return [(name, self.rng(purpose, 0, name)) for name in self.bad]

    def each_bad_stream(self, purpose: str) -> list[tuple[int, str, Trace, np.random.Generator]]:
        """Return every (run, channel, trace) of the bad channels with its random stream of a purpose."""
        return [(run, name, trace, self.rng(purpose, run, name)) for run, name, trace in self.each_bad()]

    def each(self) -> list[tuple[int, str, Trace]]:
        """Return every (run, channel, trace)."""
        return [(run, name, self.traces[run][name]) for run in range(self.setting.runs) for name in self.channels]

    def call(self, verdict: str | None, *, channels: Sequence[str] | None = None) -> None:
        """Set the verdict that the definitions give to the bad (or the named) channels."""
        for run in self.traces:
            for name in self.bad if channels is None else channels:
                run[name].verdict = verdict

    def glitch(
        self,
        run: int,
        name: str,
        start_s: ArrayLike,
        length_s: ArrayLike,
        peak_V: ArrayLike,
        shape: str | None = None,
    ) -> None:
        """Add glitches of given place, length and signed peak (arrays of one length) to a channel."""
        start = np.atleast_1d(np.asarray(start_s, dtype=np.float64))
        if start.size == 0:
            return
        length = np.broadcast_to(np.asarray(length_s, dtype=np.float64), start.shape)
        peak = np.broadcast_to(np.asarray(peak_V, dtype=np.float64), start.shape)
        trace = self.traces[run][name]
        if trace.glitch is None:
            trace.glitch = np.zeros(trace.level.size)
        wanted = self.setting.shape if shape is None else shape
        rng = self.rng("shape", run, f"{name}/{len(trace.starts)}")
        if wanted == "any":
            which = rng.integers(0, len(SHAPES), start.size)
        else:
            which = np.full(start.size, SHAPES.index(wanted))
        first = np.searchsorted(self.time[run], start - 1e-9)
        count = np.searchsorted(self.time[run], start + length - 1e-9) - first
        owner = np.repeat(np.arange(count.size), count)  # the glitch of each sample that it covers
        offset = np.arange(owner.size) - np.repeat(np.cumsum(count) - count, count)
        place = first[owner] + offset
        u = (self.time[run][place] - start[owner]) / length[owner]
        wave = np.ones(owner.size)
        for number, drawn in enumerate(_WAVES.values(), start=1):
            mine = which[owner] == number
            if mine.any():
                wave[mine] = drawn(u[mine], offset[mine] == 0, rng)
        np.add.at(trace.glitch, place, wave * peak[owner])
        trace.starts.append(start)
        trace.ends.append(start + length)
        trace.peaks.append(peak.copy())

    def draw(
        self, name: str, place: ArrayLike, *, scale: ArrayLike = 1.0, purpose: str = "glitches", run: int | None = None
    ) -> None:
        """Add glitches of drawn length, size, polarity and shape.

        ``place`` holds seconds of usable time (what remains of each run after its lead-in), counted over all runs, or
        within one ``run``; ``scale`` multiplies the drawn sizes.
        """
        setting = self.setting
        place = np.atleast_1d(np.asarray(place, dtype=np.float64))
        rng = self.rng(purpose, 0 if run is None else run, name)
        low, high = setting.length_s
        length = np.exp(rng.uniform(np.log(low), np.log(high), place.size))
        # A length of one sample interval or more is always caught: waveforms are half open, as samples are.
        low, high = setting.size_V
        peak = np.exp(rng.uniform(np.log(low), np.log(high), place.size)) * rng.choice([-1.0, 1.0], place.size)
        peak = peak * scale
        home = np.floor_divide(place, self.usable_s).astype(int) if run is None else np.full(place.size, run)
        inside = place - home * self.usable_s if run is None else place
        for number in range(setting.runs):
            mine = home == number
            if mine.any():
                self.glitch(number, name, self.lead_in_s + inside[mine], length[mine], peak[mine])

    def override(self, run: int, name: str, start_s: float, end_s: float, state: str, volts: Floats | float) -> None:
        """Replace what the meter sees between two times: the output is not seen there."""
        first, last = self.index(run, start_s), self.index(run, end_s)
        trace = self.traces[run][name]
        trace.overrides.append((first, last, np.broadcast_to(np.asarray(volts, dtype=np.float64), (last - first,))))
        trace.stretches.append(Stretch(start_s, end_s, state))

    def hold(self, run: int, name: str, start_s: float, end_s: float) -> None:
        """Let the logger repeat the last reading between two times."""
        trace = self.traces[run][name]
        trace.holds.append((self.index(run, start_s), self.index(run, end_s)))
        trace.stretches.append(Stretch(start_s, end_s, "repeats"))

    def step(self, run: int, name: str, time_s: float, step_V: float) -> None:
        """Move the level from a time on, in this run and all later ones."""
        self.traces[run][name].level[self.index(run, time_s) :] += step_V
        self.traces[run][name].changes.append(LevelChange(time_s, step_V))
        for later in range(run + 1, self.setting.runs):
            self.traces[later][name].level += step_V

    def settle(self, run: int, name: str, moved_V: float) -> None:
        """Let a whole run settle elsewhere."""
        trace = self.traces[run][name]
        trace.level += moved_V
        trace.settled_V += moved_V
        trace.power_ups[:] = [replace(item, settled_V=trace.settled_V) for item in trace.power_ups]

    def finest_V(self) -> float:
        """Return the smallest last digit that the meter used; 0 where it has none."""
        return min(trace.finest_V(self.meter) for run in self.traces for trace in run.values())

    # --- the meter --------------------------------------------------------------------------------------------------

    def finish(self, kind: str, family: str, options: Mapping[str, Any]) -> tuple[list[dict[str, Floats]], BenchTruth]:
        """Read everything through the meter: return volts per run and channel, and the truth."""
        values: list[dict[str, Floats]] = []
        runs: list[RunTruth] = []
        for run, traces in enumerate(self.traces):
            columns: dict[str, Floats] = {}
            truths: dict[str, ChannelTruth] = {}
            for name, trace in traces.items():
                columns[name], truths[name] = read(self.time[run], trace, name, name in self.bad, self.meter)
            values.append(columns | {name: frozen(parts[run]) for name, parts in self.beside.items()})
            runs.append(
                RunTruth(
                    start=self.start[run],
                    time_s=frozen(self.time[run]),
                    sample_interval_s=self.step_s,
                    channels=truths,
                    relay_side=self.relay_side[run],
                    relay_open_s=tuple(self.relay_open[run]),
                )
            )
        marks = tuple(sorted(self.marks, key=lambda mark: (mark.run, mark.time_s)))
        return values, BenchTruth(
            kind=kind, family=family, seed=self.setting.seed, options=dict(options), runs=tuple(runs), marks=marks
        )


Draw = Callable[..., None]

REGISTRY: dict[str, Kind] = {}


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of bench. ``bench`` overrides common options; ``draw`` has the kind's own options as keywords."""

    name: str
    family: str
    text: str
    verdict: str | None
    draw: Draw
    bench: Mapping[str, Any]

    def options(self) -> dict[str, Any]:
        """Return the kind's own options with their defaults."""
        return {
            name: item.default
            for name, item in inspect.signature(self.draw).parameters.items()
            if item.kind is inspect.Parameter.KEYWORD_ONLY
        }


def kind(name: str, family: str, text: str, *, verdict: str | None, **bench: Any) -> Callable[[Draw], Draw]:
    """Enter a drawing function under a name; it may be entered under several."""

    def enter(draw: Draw) -> Draw:
        REGISTRY[name] = Kind(name=name, family=family, text=text, verdict=verdict, draw=draw, bench=bench)
        return draw

    return enter


def nothing(sheet: Sheet) -> None:
    """Draw nothing beside the noise and the power-up."""
