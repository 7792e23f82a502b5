"""A standing bench of sound logs, and of the same logs with a danger put in: `sound_log`, `add_danger`, `draw_danger`.

From the trade's point of view: what real amplifiers, meters and rooms do. Written without having read the detectors that
it judges. Every figure is common practice, no source; every log is invented. Sound kinds stand in `danger_sound.py`, the
makers of dangers in `danger_forms.py`; here is what may be drawn of them, and from which size a form is beyond doubt.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import danger_forms as make
import numpy as np
from danger_core import Bench, Danger, Floats, PowerUp, Truth, smooth
from danger_forms import Spot, Whole
from danger_sound import SOUND, UNSCORED, sound_log

__all__ = ["FORMS", "SOUND", "UNSCORED", "Bench", "Truth", "add_danger", "draw_danger", "ladder", "sound_log"]


@dataclass(frozen=True)
class Form:
    """A form of danger: its maker, the size from which it is beyond doubt, the largest drawn, where it may stand.

    Beyond doubt is what any technician would refuse: well beyond 50 mV at rest, 20 mV of movement, 3 mV rms of noise, or
    swings of 40 mV that recur (common practice, no source).
    """

    maker: Callable[..., Any]
    sure_V: float
    most_V: float
    places: tuple[str, ...]
    least: int = 3  # readings it must touch
    whole_run: bool = False
    several: bool = False  # several power-ups
    together: bool = False  # always all channels
    single: bool = False  # one channel only is beyond doubt
    recurs: bool = False  # beyond doubt only if it came three times, or stood for five minutes


_PART = ("whole", "first", "middle", "last", "one power-up")
_ALL = ("whole", "one power-up")
FORMS: dict[str, Form] = {
    "constant": Form(make.constant, 0.080, 60.0, _ALL, 100),
    "step": Form(make.step, 0.040, 60.0, _PART, 60),
    "stairs": Form(make.stairs, 0.050, 20.0, _PART, 60),
    "ramp": Form(make.ramp, 0.040, 60.0, _PART, 60),
    "day_wave": Form(make.day_wave, 0.060, 5.0, _ALL, 60),
    "wander": Form(make.wander, 0.060, 5.0, _ALL, 60),
    "growth": Form(make.growth, 0.060, 60.0, _PART, 10),
    "runaway": Form(make.runaway, 0.100, 60.0, ("whole", "last", "one power-up"), 4),
    "follows_temperature": Form(make.follows_temperature, 0.080, 5.0, _ALL, 60),
    "settles_from_far": Form(make.settles_from_far, 0.100, 30.0, _ALL, 10),
    "settles_away": Form(make.settles_away, 0.090, 30.0, _ALL, 60),
    "levels_by_power_up": Form(make.levels_by_power_up, 0.080, 20.0, ("whole",), 100, several=True),
    "telegraph": Form(make.telegraph, 0.050, 20.0, _PART, 6, recurs=True),
    "popcorn": Form(make.popcorn, 0.060, 2.0, _PART, 20, recurs=True),
    "hunting": Form(make.hunting, 0.015, 20.0, _PART, 30),
    "hunting_spells": Form(make.hunting_spells, 0.060, 20.0, _PART, 8, recurs=True),
    "noise_bursts": Form(make.noise_bursts, 0.030, 10.0, _PART, 20, recurs=True),
    "white_too_loud": Form(make.white_too_loud, 0.006, 2.0, _PART, 100),
    "one_over_f_too_loud": Form(make.one_over_f_too_loud, 0.008, 2.0, _PART, 100),
    "glitch": Form(make.glitch, 0.200, 60.0, _PART, 3),
    "glitches": Form(make.glitches, 0.080, 60.0, _PART, 5, recurs=True),
    "crackle_at_start": Form(make.crackle_at_start, 0.100, 20.0, _ALL, 4, recurs=True),
    "pulse_after_on": Form(make.pulse_after_on, 0.500, 40.0, _ALL, 2),
    "together": Form(make.together, 0.080, 20.0, _ALL, 60, together=True),
    "dies": Form(make.dies, 0.500, 60.0, ("last",), 2, whole_run=True),
    "blanks": Form(make.blanks, 0.100, 60.0, _PART, 15, whole_run=True, single=True),
    "over_range": Form(make.over_range, 0.100, 60.0, _PART, 3, whole_run=True),
    "gap_step": Form(make.gap_step, 0.060, 60.0, _PART, 60, whole_run=True),
    "gap_edges": Form(make.gap_edges, 0.300, 60.0, _PART, 4, whole_run=True),
    "clock_back": Form(make.clock_back, 0.200, 60.0, ("whole", "first", "middle"), 3, whole_run=True),
}


def ladder(form: str, rungs: int = 8) -> list[float]:
    """Sizes from an eighth of what is beyond doubt up to the largest, evenly in the logarithm."""
    return [float(x) for x in np.geomspace(FORMS[form].sure_V / 8, FORMS[form].most_V, rungs)]


def _where(rng: np.random.Generator, bench: Bench, place: str) -> list[tuple[int, float, float]]:
    """Power-ups touched, each with its part in seconds since switch-on."""
    long_s = [bench.runs[u.run]["time_s"][u.end - 1] - bench.runs[u.run]["time_s"][u.begin] for u in bench.power_ups]
    if place == "whole":
        return [(k, 60.0, s) for k, s in enumerate(long_s)]
    if place == "one power-up":
        k = int(rng.integers(len(long_s)))
        return [(k, 60.0, long_s[k])]
    edges = np.concatenate([[0.0], np.cumsum(long_s)])
    third = {"first": 0, "middle": 1, "last": 2}[place]
    low, high = edges[-1] * third / 3, edges[-1] * (third + 1) / 3
    k = int(np.clip(np.searchsorted(edges, (low + high) / 2) - 1, 0, len(long_s) - 1))
    return [(k, max(low - edges[k], 60.0), min(high - edges[k], long_s[k]))]


def add_danger(bench: Bench, form: str, size_V: float, place: str, channels: Any, seed: int) -> Bench:
    """A copy of the bench with a danger put in.

    Parameters
    ----------
    form : str
        One of `FORMS`.
    size_V : float
        Size in volts, above 0; the sign is drawn.
    place : {'whole', 'first', 'middle', 'last', 'one power-up'}
        Where it stands: every power-up, a third of the time switched on, or one power-up drawn from all.
    channels : str or sequence of str
        'one' (drawn), 'all', a name, or names.
    seed : int
        Of all that is drawn.

    Raises
    ------
    ValueError
        If the form needs several power-ups and the bench has one, or if the place is none of the form's.
    """
    made = FORMS[form]
    if made.several and len(bench.power_ups) < 2:
        raise ValueError(f"{form} needs a bench with several power-ups, {bench.kind} has one")
    if place not in made.places:
        raise ValueError(f"{form} stands at {', '.join(made.places)}, not {place}")
    rng = np.random.default_rng([seed, 9, *form.encode()])
    out = bench.copy()
    if channels == "one":
        channels = str(rng.choice(bench.names))
    names = bench.names if channels == "all" or made.together else (channels,) if isinstance(channels, str) else tuple(channels)
    signed = float(rng.choice([-1, 1])) * size_V
    seeds = [int(rng.integers(1 << 31))] * len(names) if rng.random() < 0.5 else rng.integers(1 << 31, size=len(names))
    common = int(rng.integers(1 << 31))
    touched = events = 0
    longest_s = 0.0
    for k, a, b in reversed(_where(rng, bench, place)):
        up = out.power_ups[k]
        run = out.runs[up.run]
        since = run["time_s"][up.live : up.end] - run["time_s"][up.begin]
        dt = float(np.median(np.diff(since)))
        if made.whole_run:  # once in a log: the last power-up that the place names
            inside = np.flatnonzero((since >= a) & (since <= b)) + up.live
            first, last = int(inside[0]) + 10, int(inside[-1]) - int(700 / dt) - 10
            before = run["time_s"].size
            touched = made.maker(Whole(rng, run, names, up, first, last, dt, signed, out.style))
            _shift(out, k, before - run["time_s"].size)
            break
        warmth = _warmth(run, up, common) if form == "follows_temperature" else np.zeros(0)
        for name, own in zip(names, seeds, strict=True):
            generators = np.random.default_rng([int(own), k]), np.random.default_rng([common, k])
            b = max(b, a + 120)
            added = made.maker(Spot(generators[0], since, dt, a, b, signed, bench.rest[name], k, generators[1], warmth))
            run["raw"][name][up.live : up.end] += added
            away = np.abs(added) >= 0.4 * size_V
            touched += int(away.sum())
            events += int(np.sum(away[1:] & ~away[:-1]))
            longest_s = max(longest_s, _longest(away) * dt)
    out.show()
    sure = size_V >= made.sure_V and touched >= made.least * (1 if made.whole_run else len(names))
    if made.recurs:
        sure = sure and (events >= 3 * len(names) or longest_s >= 300)
    if made.single:
        sure = sure and len(names) == 1
    if form == "glitch":  # a single reading, or all channels at once, may be the house; nobody shrugs at 2 V
        sure = (sure and (len(names) == 1 or size_V >= 0.5)) or (touched > 0 and size_V >= 2.0)
    what = (made.maker.__doc__ or "").strip().splitlines()[0]
    out.truth.dangers.append(Danger(form, size_V, place, tuple(names), seed, bool(sure), touched, what))
    return out


def _longest(away: Floats) -> int:
    """The longest unbroken stretch of a mask."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], away, [False]]).astype(int)))
    return int((edges[1::2] - edges[::2]).max()) if edges.size else 0


def _shift(bench: Bench, number: int, removed: int) -> None:
    """Borders of power-ups after readings were taken out of one."""
    here = bench.power_ups[number]
    here.end -= removed
    for later in bench.power_ups[number + 1 :]:
        if later.run == here.run:
            later.begin, later.live, later.end = later.begin - removed, later.live - removed, later.end - removed


def _warmth(run: dict[str, Any], up: PowerUp, common: int) -> Floats:
    """The temperature of a power-up less its first value, over its range; the column is made where there is none."""
    if "temperature_C" not in run:
        rng = np.random.default_rng([common, 3])
        kelvin = smooth(rng, run["time_s"], rng.uniform(1, 3) * 3600) * rng.uniform(2, 6)
        run["temperature_C"] = 20.0 + kelvin + 0.03 * rng.standard_normal(kelvin.size)
    part = run["temperature_C"][up.live : up.end]
    return (part - part[0]) / max(float(np.ptp(part)), 1e-9)


def draw_danger(form: str, seed: int) -> Bench:
    """A sound log with one danger, all drawn from the seed: three of four unambiguous in size, the rest down the ladder."""
    rng = np.random.default_rng([seed, 77, *form.encode()])
    made = FORMS[form]
    kinds = [kind for kind in SOUND if kind.startswith("ups_")] if made.several else list(SOUND)
    bench = sound_log(str(rng.choice(kinds)), int(rng.integers(1 << 31)))
    low, high = (made.sure_V, made.most_V) if rng.random() < 0.75 else (made.sure_V / 8, made.sure_V)
    size = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    place = str(rng.choice(made.places))
    if place == "one power-up" and len(bench.power_ups) < 2:
        place = made.places[0]
    channels = "all" if made.together or (rng.random() < 0.25 and not made.single) else str(rng.choice(bench.names))
    return add_danger(bench, form, size, place, channels, int(rng.integers(1 << 31)))
