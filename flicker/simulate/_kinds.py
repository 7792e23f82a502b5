"""Behaviours of an output: steady, one-off, noisy, drifting, degrading, each in several forms; and what changes from visit to visit."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np

from flicker.base.check import positive, whole
from flicker.base.units import HOUR
from flicker.simulate import _noise
from flicker.simulate._noise import at_random
from flicker.simulate._sheet import Sheet, kind, nothing

# --- steady ---------------------------------------------------------------------------------------------------------

_STEADY: dict[str, tuple[str, dict[str, Any]]] = {
    "steady": ("a sound unit, white noise", {}),
    "steady-ar1": ("a sound unit, noise with correlation 0.97 between samples", {"noise": "ar1", "noise_V": 0.001}),
    "steady-flicker": (
        "a sound unit, 1/f noise, exponent drawn from 0.8 to 1.2",
        {"noise": "flicker", "noise_V": 0.001},
    ),
    "steady-relaxations": (
        "a sound unit, 1/f noise made another way (a sum of many relaxations)",
        {"noise": "flicker-relaxations", "noise_V": 0.001},
    ),
    "steady-coarse": ("a sound unit on a meter whose last digit is 1 mV", {"noise_V": 0.0003, "resolution_V": 0.001}),
    "steady-fine": ("a sound unit on a meter whose last digit is 0.01 mV", {"resolution_V": 0.00001}),
    "steady-gappy": ("a sound unit, a logger that pauses twelve times", {"gaps": 12}),
    "steady-jitter": ("a sound unit, a logger whose samples come up to 40 % early or late", {"jitter": 0.8}),
}
for _name, (_text, _bench) in _STEADY.items():
    kind(_name, "steady", _text, verdict="steady", **_bench)(nothing)


@kind("steady-warming", "steady", "a sound unit that warms up by some millivolts over half an hour", verdict="steady")
def warming(sheet: Sheet, *, warm_V: float | None = None, warm_tau_s: float | None = None) -> None:
    """Settle thermally by ``warm_V`` (drawn: 3 to 10 mV) with ``warm_tau_s`` (drawn: 8 to 25 min), every channel."""
    for run, name, trace in sheet.each():
        unit = sheet.unit_rng("warming", name)
        size = float(unit.uniform(0.003, 0.010) * unit.choice([-1.0, 1.0])) if warm_V is None else warm_V
        tau = float(unit.uniform(480.0, 1500.0)) if warm_tau_s is None else warm_tau_s
        trace.level += size * np.exp(-sheet.time[run] / tau)


@kind("steady-ripple", "steady", "a sound unit with a slow ripple (aliased hum) of a few millivolts", verdict="steady")
def ripple(sheet: Sheet, *, ripple_V: float | None = None, period_s: float | None = None) -> None:
    """Add a sine of ``ripple_V`` amplitude (drawn: 1 to 3 mV) and ``period_s`` (drawn: 1 to 20 min), every channel."""
    shared = sheet.rng("ripple")
    period = float(np.exp(shared.uniform(np.log(60.0), np.log(1200.0)))) if period_s is None else period_s
    for run, name, trace in sheet.each():
        rng = sheet.rng("ripple", run, name)
        size = float(rng.uniform(0.001, 0.003)) if ripple_V is None else ripple_V
        trace.level += size * np.sin(2.0 * np.pi * (sheet.time[run] / period + rng.random()))


@kind(
    "steady-daily",
    "steady",
    "a sound unit, both channels following the room by 15 mV a day",
    verdict="steady",
    hours=48.0,
)
def daily(sheet: Sheet, *, daily_V: float = 0.015, mismatch: float = 0.1) -> None:
    """Add a daily cycle of ``daily_V`` from lowest to highest, common to all channels but for ``mismatch``."""
    start = sheet.setting.start
    clock = start.hour * HOUR + start.minute * 60.0 + start.second
    for run, name, trace in sheet.each():
        share = 1.0 + mismatch * float(sheet.rng("daily", 0, name).uniform(-1.0, 1.0))
        hour = (sheet.time[run] + clock) / HOUR
        day = np.sin(2.0 * np.pi * (hour - 9.0) / 24.0) + 0.15 * np.sin(4.0 * np.pi * (hour - 7.0) / 24.0)
        trace.level += 0.5 * daily_V * share * day


@kind("steady-nuisance", "steady", "a sound unit in a room with rare mains clicks on single channels", verdict=None)
def nuisance(sheet: Sheet, *, rate_per_h: float = 0.01) -> None:
    """Add single-sample events at ``rate_per_h`` to every channel, each on its own."""
    for name in sheet.channels:
        count = int(sheet.rng("nuisance count", 0, name).poisson(rate_per_h * sheet.total_s / HOUR))
        place = np.sort(sheet.rng("nuisance", 0, name).uniform(0.0, sheet.total_s, count))
        for number in range(sheet.setting.runs):
            inside = place[np.floor_divide(place, sheet.usable_s) == number] % sheet.usable_s
            size = sheet.rng("nuisance size", number, name).uniform(0.06, 0.15, inside.size)
            sheet.glitch(number, name, sheet.lead_in_s + inside, sheet.step_s, size, "rectangular")


# --- one-off --------------------------------------------------------------------------------------------------------


@kind("one-off", "one-off", "a single glitch", verdict="one-off")
def one_off(sheet: Sheet) -> None:
    """Put one glitch anywhere in the log."""
    for name in sheet.bad:
        sheet.draw(name, sheet.rng("place", 0, name).uniform(0.0, 0.95 * sheet.usable_s * sheet.setting.runs, 1))


@kind(
    "one-off-burst", "one-off", "a single burst of glitches within some seconds", verdict="one-off", length_s=(0.5, 2.0)
)
def one_off_burst(sheet: Sheet, *, glitches: int = 4, span_s: float = 12.0) -> None:
    """Put ``glitches`` glitches within ``span_s``."""
    for name, rng in sheet.bad_streams("place"):
        run = int(rng.integers(sheet.setting.runs))
        at = rng.uniform(0.0, max(0.95 * sheet.usable_s - span_s, 0.0))
        sheet.draw(name, at + np.sort(rng.uniform(0.0, span_s, glitches)), run=run)


# --- noisy ----------------------------------------------------------------------------------------------------------


@kind("noisy", "noisy", "glitches that recur at random, singly and independently", verdict="noisy")
def noisy(sheet: Sheet, *, rate_per_h: float = 6.0, episodes: int | None = None) -> None:
    """Put glitches at a constant rate (Poisson), or exactly ``episodes`` of them."""
    for name, rng in sheet.bad_streams("place"):
        asked = None if episodes is None else np.sort(rng.uniform(0.0, sheet.total_s, episodes))
        sheet.draw(name, _noise.at_random(rng, rate_per_h, sheet.total_s) if asked is None else asked)


@kind("noisy-bursts", "noisy", "glitches that recur in bursts", verdict="noisy", length_s=(0.5, 4.0))
def bursts(
    sheet: Sheet,
    *,
    bursts_per_h: float = 4.0,
    burst_size: float = 3.0,
    gap_s: float | None = None,
    tail: float | None = None,
) -> None:
    """Put bursts at a constant rate; sizes geometric with mean ``burst_size``, gaps inside exponential.

    ``gap_s`` is the mean gap inside a burst (drawn: 3 to 20 s). With ``tail``, sizes have a Pareto tail of that index
    instead (2 and less: no finite variance, but for a cap of 500).
    """
    for name, rng in sheet.bad_streams("place"):
        mean_gap = float(np.exp(rng.uniform(np.log(3.0), np.log(20.0)))) if gap_s is None else gap_s
        begin = _noise.at_random(rng, bursts_per_h, sheet.total_s)
        size = rng.geometric(1.0 / burst_size, begin.size)
        if tail is not None:
            size = np.minimum(1.0 + rng.pareto(tail, begin.size), 500.0).astype(int)
        owner = np.repeat(np.arange(begin.size), size)
        walk = np.cumsum(rng.standard_exponential(owner.size) * mean_gap)
        heads = np.cumsum(size) - size
        place = begin[owner] + walk - walk[heads][owner] if owner.size else np.empty(0)
        sheet.draw(name, np.sort(place[place < sheet.total_s]))


@kind("noisy-saturated", "noisy", "a glitch every second, without end", verdict="noisy", length_s=(0.5, 0.5))
def saturated(sheet: Sheet, *, every_s: float = 1.0) -> None:
    """Put a glitch every ``every_s`` on average, from the lead-in to the end."""
    for run, name, _, rng in sheet.each_bad_stream("place"):
        count = int(sheet.usable_s / every_s)
        sheet.draw(name, (np.arange(count) + rng.uniform(0.0, 0.4, count)) * every_s, run=run, purpose="saturated")


@kind("noisy-heavy", "noisy", "a broad noise floor with heavy tails", verdict="noisy")
def heavy_floor(sheet: Sheet, *, floor_V: float = 0.008, freedom: float = 3.0) -> None:
    """Add Student-t noise with a robust sigma of ``floor_V``."""
    for _, _, trace, rng in sheet.each_bad_stream("floor"):
        trace.noise = trace.noise + floor_V * _noise.heavy(rng, trace.noise.size, freedom)


@kind("noisy-floor", "noisy", "a noise floor above its limit, without glitches", verdict="noisy")
def high_floor(sheet: Sheet, *, floor_V: float = 0.006) -> None:
    """Add white noise of sigma ``floor_V``."""
    for _, _, trace, rng in sheet.each_bad_stream("floor"):
        trace.noise = trace.noise + floor_V * _noise.white(rng, trace.noise.size)


@kind(
    "noisy-popcorn",
    "noisy",
    "a level that switches between two values at random, by less than a glitch",
    verdict="noisy",
)
def popcorn(
    sheet: Sheet, *, jump_V: float | None = None, dwell_low_s: float | None = None, dwell_high_s: float | None = None
) -> None:
    """Switch by ``jump_V`` (drawn: 12 to 30 mV) with exponential dwell times (means drawn: 20 to 300 s)."""
    for run, name, trace in sheet.each_bad():
        unit = sheet.unit_rng("popcorn", name)
        sign = float(unit.choice([-1.0, 1.0]))
        drawn = [float(np.exp(unit.uniform(np.log(20.0), np.log(300.0)))) for _ in range(2)]
        size = sign * float(unit.uniform(0.012, 0.030)) if jump_V is None else jump_V
        low = drawn[0] if dwell_low_s is None else dwell_low_s
        high = drawn[1] if dwell_high_s is None else dwell_high_s
        trace.level += size * _noise.telegraph(sheet.rng("popcorn", run, name), sheet.time[run], low, high)


# --- drifting -------------------------------------------------------------------------------------------------------


@kind("drifting", "drifting", "a settled level that moves in a line, 30 mV over the log", verdict="drifting")
def line(sheet: Sheet, *, drift_V: float = 0.030) -> None:
    """Move the level by ``drift_V`` from the first sample to the last, over all runs."""
    total = sheet.span_s * sheet.setting.runs
    for run, name, trace in sheet.each_bad():
        sign = float(sheet.rng("drift", 0, name).choice([-1.0, 1.0]))
        trace.level += sign * drift_V * sheet.age(run) / total


@kind("drifting-step", "drifting", "a settled level that steps by 25 mV once and stays", verdict="drifting")
def step(sheet: Sheet, *, step_V: float = 0.025, at: float | None = None) -> None:
    """Step once at the share ``at`` of the first run but one half (drawn: between 0.15 and 0.85 of a run)."""
    for name, rng in sheet.bad_streams("drift"):
        share = float(rng.uniform(0.15, 0.85)) if at is None else at
        sheet.step((sheet.setting.runs - 1) // 2, name, share * sheet.span_s, step_V * float(rng.choice([-1.0, 1.0])))


@kind(
    "drifting-daily",
    "drifting",
    "two days: both channels follow the room by 15 mV, one moves 25 mV and stays",
    verdict="drifting",
    hours=48.0,
)
def step_in_daily_cycle(sheet: Sheet, *, step_V: float = 0.025, daily_V: float = 0.015) -> None:
    """Add the daily cycle to every channel and one lasting step to the bad ones."""
    daily(sheet, daily_V=daily_V)
    step(sheet, step_V=step_V)


@kind("drifting-walk", "drifting", "a settled level that wanders at random over 60 mV", verdict="drifting")
def walk(sheet: Sheet, *, range_V: float = 0.060) -> None:
    """Add a random walk of exactly ``range_V`` from lowest to highest, continued over the runs."""
    for name in sheet.bad:
        lengths = [time.size for time in sheet.time]
        path = range_V * _noise.random_walk(sheet.rng("drift", 0, name), int(sum(lengths)))
        for run, part in enumerate(np.split(path, np.cumsum(lengths)[:-1])):
            sheet.traces[run][name].level += part


@kind(
    "drifting-power-ups",
    "drifting",
    "a level that settles 8 mV further at each power-up",
    verdict="drifting",
    hours=1.0,
    runs=6,
)
def power_up_drift(sheet: Sheet, *, step_V: float = 0.008) -> None:
    """Shift the level of each run by ``step_V`` more; no single run shows it."""
    for run, name, trace in sheet.each_bad():
        trace.level += float(sheet.rng("drift", 0, name).choice([-1.0, 1.0])) * step_V * run


# --- degrading ------------------------------------------------------------------------------------------------------


def _episodes(sheet: Sheet, name: str, episodes: int | None) -> int:
    return int(sheet.rng("episodes", 0, name).integers(18, 41)) if episodes is None else episodes


@kind(
    "degrading",
    "degrading",
    "glitches that come more and more often (power law)",
    verdict="degrading",
    length_s=(0.5, 6.0),
)
def degrading(sheet: Sheet, *, exponent_of_growth: float = 3.0, episodes: int | None = None) -> None:
    """Put ``episodes`` glitches (drawn: 18 to 40) whose expected number grows with age to ``exponent_of_growth``."""
    for name in sheet.bad:
        count = _episodes(sheet, name, episodes)
        share = np.sort(sheet.rng("place", 0, name).random(count)) ** (1.0 / exponent_of_growth)
        sheet.draw(name, share * sheet.total_s * (1.0 - 1e-9))


@kind(
    "degrading-size",
    "degrading",
    "glitches that come no more often, but grow ninefold",
    verdict="degrading",
    length_s=(0.5, 6.0),
    size_V=(0.06, 0.09),
)
def degrading_size(sheet: Sheet, *, growth: float = 9.0, episodes: int | None = None) -> None:
    """Put ``episodes`` glitches (drawn: 18 to 40) at a constant rate; sizes grow by ``growth`` from first to last."""
    for name in sheet.bad:
        count = _episodes(sheet, name, episodes)
        share = np.sort(sheet.rng("place", 0, name).random(count))
        sheet.draw(name, share * sheet.total_s * (1.0 - 1e-9), scale=growth**share)


@kind(
    "degrading-visits",
    "degrading",
    "glitches that come more often at each power-up, evenly within each",
    verdict="degrading",
    hours=2.0,
    runs=5,
    length_s=(0.5, 6.0),
)
def ageing(sheet: Sheet, *, first_per_h: float = 2.0, growth: float = 1.8) -> None:
    """Put glitches at ``first_per_h`` in the first run and ``growth`` times more in each later one (Poisson)."""
    for run, name, _, rng in sheet.each_bad_stream("place"):
        sheet.draw(name, _noise.at_random(rng, first_per_h * growth**run, sheet.usable_s), run=run)


# --- time since power-up --------------------------------------------------------------------------------------------


@kind(
    "warm-up",
    "noisy",
    "glitches in the first minutes after each power-up only",
    verdict="noisy",
    runs=4,
    hours=1.0,
    length_s=(0.5, 4.0),
)
def warm_up(sheet: Sheet, *, per_run: float = 8.0, tau_s: float = 240.0) -> None:
    """Put ``per_run`` glitches (Poisson) into each run, at exponential times of mean ``tau_s`` from the lead-in."""
    for run, name, _, rng in sheet.each_bad_stream("place"):
        place = np.sort(rng.standard_exponential(int(rng.poisson(per_run))) * tau_s)
        sheet.draw(name, place[place < sheet.usable_s], run=run)


@kind(
    "heat",
    "noisy",
    "glitches that come more often the longer the unit is on, alike in each run",
    verdict="noisy",
    runs=4,
    hours=2.0,
    length_s=(0.5, 4.0),
)
def heat(sheet: Sheet, *, per_run: float = 12.0, power: float = 2.0) -> None:
    """Put some ``per_run`` glitches into each run (Poisson); the expected number grows with time on to ``power``."""
    for run, name, _, rng in sheet.each_bad_stream("place"):
        share = np.sort(rng.random(int(rng.poisson(per_run)))) ** (1.0 / power)
        sheet.draw(name, share * sheet.usable_s * (1.0 - 1e-9), run=run)


DAYS_APART = 98.0  # invented: three months or so, on the same weekday


@kind(
    "ageing",
    "degrading",
    "visits months apart: glitches come more often at each visit, evenly within each",
    verdict="degrading",
    hours=1.0,
    runs=6,
    length_s=(0.5, 4.0),
)
def over_visits(
    sheet: Sheet,
    *,
    power_ups: int = 2,
    days: float = DAYS_APART,
    first_per_h: float = 4.0,
    growth: float = 2.2,
    level_V: float = 0.0,
    scatter_V: float = 0.0,
) -> None:
    """Put the runs into visits of ``power_ups`` each, ``days`` apart.

    Glitches of the bad channels come at ``first_per_h`` at the first visit and ``growth`` times more at each later one
    (Poisson, evenly within a visit); their level moves by ``level_V`` from visit to visit, and by a normal scatter of
    ``scatter_V`` at each.
    """
    each = whole("power_ups", power_ups, least=1, what="a number of power-ups")
    evenly = list(sheet.start)
    sheet.start = [
        evenly[run % each] + timedelta(days=positive("days", days, what="days") * (run // each))
        for run in range(sheet.setting.runs)
    ]
    for run, name, _ in sheet.each_bad():
        visit = run // each
        rng = sheet.rng("place", run, name)
        sheet.draw(name, at_random(rng, first_per_h * growth**visit, sheet.usable_s), run=run)
        moved = level_V * visit + scatter_V * float(sheet.rng("visit level", visit, name).standard_normal())
        sheet.settle(run, name, moved)
