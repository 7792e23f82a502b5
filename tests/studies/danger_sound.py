"""Sound units on sound meters in sound rooms, for the danger study: `sound_log`.

From the trade's point of view; every figure is common practice, no source; every log is invented. Written without having
read the detectors it judges.

A sound log has at least 3.5 h past switch-on and a reading at least every 30 s; its channels rest within 35 mV, move by
less than 20 mV once the surge has gone, and have a noise of at most 1 mV.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from danger_core import STYLES, Bench, Floats, PowerUp, coloured, mains_hum, smooth

NAMES = (("left", "right"), ("left", "right", "center"), ("front L", "front R", "rear L", "rear R"))


def _usual(rng: np.random.Generator) -> dict[str, Any]:
    """A usual evening at the bench; each kind changes what it is about."""
    return {
        "cadence_s": float(rng.choice([0.5, 0.5, 1.0, 1.0, 2.0, 5.0])),
        "hours": rng.uniform(4.0, 6.0),
        "names": NAMES[0],
        "digit_V": float(rng.choice([1e-4, 1e-4, 1e-5])),
        "rest_V": lambda: rng.normal() * 0.004,
        "white_V": lambda: rng.uniform(0.05e-3, 0.3e-3),
        "pink_V": lambda: rng.uniform(0.0, 0.3e-3),
        "ripple_V": lambda: 0.0,
        "settling_V": lambda: rng.normal() * 0.002,
        "settling_s": lambda: rng.uniform(120.0, 900.0),
        "surge_V": lambda: rng.choice([-1, 1]) * rng.uniform(0.0, 0.05),
        "surge_s": lambda: rng.uniform(2.0, 10.0),
        "room_V_per_K": lambda: rng.normal() * 0.0001,
        "temperature": rng.random() < 0.3,
        "style": "seconds",
        "ups": 1,
        "between": "files",
        "open_lead": False,
        "lost": False,
        "jitter": 0.0,
        "clicks": False,
        "crosstalk_V": 0.0,
    }


def quiet(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """A good direct-coupled amplifier on a good meter: a few millivolts, next to no noise, a switch-on just seen."""
    thump = lambda: rng.choice([-1, 1]) * rng.uniform(0.005, 0.02)  # noqa: E731
    u.update(white_V=lambda: rng.uniform(0.02e-3, 0.1e-3), pink_V=lambda: 0.0, surge_V=thump)


def one_over_f(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """Old low-noise transistors and carbon resistors: the level breathes slowly by up to 0.8 mV rms."""
    u.update(pink_V=lambda: rng.uniform(0.3e-3, 0.8e-3), exponent=rng.uniform(0.8, 1.2))


def white(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """A high-gain unit or a noisy meter: 0.3 to 1 mV sigma, no memory."""
    u.update(white_V=lambda: rng.uniform(0.3e-3, 1e-3))


def coarse_digit(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """A hand meter with a last digit of 1 mV (or 0.1 mV): it repeats for minutes or dithers between two digits."""
    u.update(digit_V=float(rng.choice([1e-3, 1e-3, 1e-4])), white_V=lambda: rng.uniform(0.05e-3, 0.6e-3))


def ripple(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """Supply ripple of up to 1.5 mV at the output, folded by the cadence into a slow beat or a fuzz."""
    u.update(ripple_V=lambda: rng.uniform(0.4e-3, 1.5e-3))


def settling(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """Heat sinks warm up: the offset settles by 5 to 15 mV over 5 to 30 minutes, either way."""
    u.update(
        settling_V=lambda: rng.choice([-1, 1]) * rng.uniform(0.005, 0.015),
        settling_s=lambda: rng.uniform(300.0, 1800.0) / 2,  # gone to within 14 % in that time
    )


def room(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """A workshop that warms by some kelvin; the offset follows by 0.3 to 1.3 mV/K, and a temperature column says so."""
    u.update(room_V_per_K=lambda: rng.choice([-1, 1]) * rng.uniform(0.3e-3, 1.3e-3), temperature=True, hours=rng.uniform(5, 10))


def surge(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """The usual thump at switch-on: 30 to 70 mV, gone in 10 to 60 s."""
    u.update(surge_V=lambda: rng.choice([-1, 1]) * rng.uniform(0.03, 0.07), surge_s=lambda: rng.uniform(10, 60) / 4)


def ups_in_files(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """Two to four evenings, a file each, at least 3.5 h long; the settled levels lie 1 to 3 mV apart."""
    u.update(ups=int(rng.integers(2, 5)), hours=rng.uniform(3.6, 4.5), apart_V=rng.uniform(0.001, 0.003))
    surge(rng, u)


def ups_paused(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """Several power-ups in one file, the logger paused while the unit cooled: a gap of half an hour and more."""
    ups_in_files(rng, u)
    u.update(between="paused")


def ups_off(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """A timer switches the unit off and on while the logger goes on: near zero without life, then the thump again."""
    ups_in_files(rng, u)
    u.update(between="off")


def open_lead(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """Speaker side: for the first 2 to 6 s the output relay is open and the lead reads hum, floats or moves slowly."""
    u.update(open_lead=True, cadence_s=float(rng.choice([0.2, 0.5, 1.0, 1.0, 2.0])))


def more_channels(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """A receiver: three or four channels on one logger."""
    u.update(names=NAMES[int(rng.integers(1, 3))])


def slow_cadence(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """A logger set to one reading every 10 to 30 s, left overnight."""
    u.update(cadence_s=float(rng.choice([10.0, 15.0, 20.0, 30.0])), hours=rng.uniform(5, 12))


def fast_cadence(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """Ten readings a second."""
    u.update(cadence_s=0.1, hours=rng.uniform(4.0, 5.0))


def long_night(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """Ten to twelve hours: the room goes through a part of its day."""
    u.update(hours=rng.uniform(10, 12), room_V_per_K=lambda: rng.normal() * 0.3e-3)


def rest_level(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """A unit without trimmer: a constant offset of up to 35 mV of either sign, and well within usual practice."""
    u.update(rest_V=lambda: rng.choice([-1, 1]) * rng.uniform(0.0, 0.035), pink_V=lambda: rng.uniform(0, 0.2e-3))


def servo(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """A DC servo holds all outputs within tenths of a millivolt of zero: only the switch-on shows that they live."""
    thump = lambda: rng.choice([-1, 1]) * rng.uniform(0.02, 0.07)  # noqa: E731
    u.update(rest_V=lambda: rng.normal() * 1e-4, white_V=lambda: rng.uniform(0.03e-3, 0.2e-3), surge_V=thump)
    u.update(pink_V=lambda: 0.0, settling_V=lambda: rng.normal() * 2e-4, room_V_per_K=lambda: 0.0, cadence_s=float(rng.choice([0.5, 1.0, 2.0])))


def lost_readings(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """The logger loses a reading of all channels now and then: an empty line, a few times in a night."""
    u.update(lost=True)


def dated(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """Other exports: absolute dates, volts, semicolons and decimal commas, a cadence that jitters by some per cent."""
    u.update(style=str(rng.choice(STYLES[1:])), jitter=0.03)


def crosstalk(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """Not in the score: a sound channel beside one that swings, with 15 to 30 mV of it through the common ground."""
    u.update(crosstalk_V=rng.uniform(0.015, 0.03))


def shared_clicks(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """Not in the score: the refrigerator next door, one reading of 50 to 200 mV in all channels, a few times in a night."""
    u.update(clicks=True)


def short_ups(rng: np.random.Generator, u: dict[str, Any]) -> None:
    """Not in the score: three to five power-ups of 1 to 2 hours, a file each."""
    ups_in_files(rng, u)
    u.update(ups=int(rng.integers(3, 6)), hours=rng.uniform(1.0, 2.0))


Kind = Callable[[np.random.Generator, dict[str, Any]], None]
_KINDS: tuple[Kind, ...] = (
    quiet, one_over_f, white, coarse_digit, ripple, settling, room, surge, ups_in_files, ups_paused, ups_off,
    open_lead, more_channels, slow_cadence, fast_cadence, long_night, rest_level, servo, lost_readings, dated,
)  # fmt: skip
SOUND: dict[str, Kind] = {maker.__name__: maker for maker in _KINDS}
UNSCORED: dict[str, Kind] = {maker.__name__: maker for maker in (crosstalk, shared_clicks, short_ups)}


def sound_log(kind: str, seed: int) -> Bench:
    """Draw a sound unit on a sound bench; ``kind`` is one of `SOUND` or (not in the score) `UNSCORED`."""
    maker = {**SOUND, **UNSCORED}[kind]
    rng = np.random.default_rng([seed, *kind.encode()])
    u = _usual(rng)
    maker(rng, u)
    runs: list[dict[str, Any]] = []
    power_ups: list[PowerUp] = []
    same = {name: _unit(rng, u) for name in u["names"]}
    evening = 0.0
    for number in range(u["ups"]):
        levels = {name: c["rest"] + u.get("apart_V", 0.0) * rng.uniform(-0.5, 0.5) for name, c in same.items()}
        run, live = _power_up(rng, u, same, levels)
        size = run["time_s"].size
        if number and u["between"] != "files":
            pause = rng.uniform(1800, 7200)
            runs[0], begin = _join(rng, u, runs[0], run, pause)
            power_ups.append(PowerUp(0, begin, begin + live, begin + size))
        else:
            if u["style"] in ("dated", "semicolon"):
                run["start"] = f"2031-{3 + number:02d}-{1 + seed % 27:02d}T{17 + seed % 5}:{seed % 60:02d}:{int(evening) % 60:02d}"
            runs.append(run)
            power_ups.append(PowerUp(len(runs) - 1, 0, live, size))
        evening += size
    bench = Bench(kind, seed, runs, power_ups, {n: c["rest"] for n, c in same.items()}, u["digit_V"], u["style"], kind in SOUND)
    _beside(rng, u, bench)
    bench.show()
    return bench


def _unit(rng: np.random.Generator, u: dict[str, Any]) -> dict[str, float]:
    """What stays the same of a channel from power-up to power-up."""
    keys = ("white_V", "pink_V", "ripple_V", "settling_V", "settling_s", "surge_V", "surge_s", "room_V_per_K")
    return {"rest": float(u["rest_V"]()), **{key: float(u[key]()) for key in keys}}


def _power_up(
    rng: np.random.Generator, u: dict[str, Any], unit: dict[str, dict[str, float]], levels: dict[str, float]
) -> tuple[dict[str, Any], int]:
    """One power-up from switch-on; returns the run and the first reading that sees the output."""
    dt = u["cadence_s"]
    n = int(u["hours"] * 3600 / dt) + 1
    t = np.arange(n) * dt
    if u["jitter"]:
        t = np.round(t + np.r_[0.0, rng.uniform(-u["jitter"], u["jitter"], n - 1) * dt], 3)
    kelvin = smooth(rng, t, rng.uniform(1, 3) * 3600) * rng.uniform(2.0, 6.0)
    closes = rng.uniform(2.0, 6.0) if u["open_lead"] else 0.0
    live = int(np.searchsorted(t, closes))
    raw: dict[str, Floats] = {}
    for name, c in unit.items():
        v = levels[name] + c["white_V"] * rng.standard_normal(n)
        v += c["surge_V"] * np.exp(-t / c["surge_s"]) + c["settling_V"] * np.exp(-t / c["settling_s"])
        v += c["room_V_per_K"] * (kelvin - kelvin[-1])
        if c["pink_V"]:
            v += c["pink_V"] * coloured(rng, n, dt, u.get("exponent", 1.0))
        if c["ripple_V"]:
            v += c["ripple_V"] * mains_hum(rng, t)
        if live:
            v[:live] = _open(rng, t[:live])
        raw[name] = v
    run: dict[str, Any] = {"time_s": t, "raw": raw, "channels": {}, "start": None}
    if u["temperature"]:
        run["temperature_C"] = 20.0 + kelvin + 0.03 * rng.standard_normal(n)
    return run, live


def _open(rng: np.random.Generator, t: Floats) -> Floats:
    """A lead on an open relay: hum, a floating level, a slow movement of up to a few hundred millivolts, or zero."""
    what = rng.integers(4)
    size = float(np.exp(rng.uniform(np.log(0.02), np.log(0.3))))
    if what == 0:
        return size * np.sin(2 * np.pi * rng.random(t.size))
    if what == 1:
        return rng.choice([-1, 1]) * size * (1 + 0.1 * rng.standard_normal(t.size))
    if what == 2:
        return rng.choice([-1, 1]) * size * np.exp(-t / rng.uniform(1, 10)) + 1e-3 * rng.standard_normal(t.size)
    return 1e-4 * rng.standard_normal(t.size)


def _join(
    rng: np.random.Generator, u: dict[str, Any], run: dict[str, Any], more: dict[str, Any], pause: float
) -> tuple[dict[str, Any], int]:
    """A further power-up in the same file, after a pause of the logger or hours switched off."""
    t, dt = run["time_s"], u["cadence_s"]
    again = t[-1] + pause + more["time_s"]
    off = np.arange(t[-1] + dt, again[0] - dt / 2, dt) if u["between"] == "off" else np.zeros(0)
    floor = rng.uniform(2e-5, 1e-4)
    out = {"time_s": np.concatenate([t, off, again]), "channels": {}, "start": run["start"]}
    out["raw"] = {
        name: np.concatenate([v, floor * rng.standard_normal(off.size), more["raw"][name]]) for name, v in run["raw"].items()
    }
    if "temperature_C" in run:
        a, b = run["temperature_C"], more["temperature_C"]
        between = np.linspace(a[-1], b[0], off.size)
        out["temperature_C"] = np.concatenate([a, between, b])
    return out, t.size + off.size


def _beside(rng: np.random.Generator, u: dict[str, Any], bench: Bench) -> None:
    """What concerns all channels at once: lost readings, clicks of the house, the neighbour's swings."""
    for run in bench.runs:
        n = run["time_s"].size
        if u["lost"]:
            at = rng.choice(np.arange(50, n - 50), int(rng.integers(1, 7)), replace=False)
            for v in run["raw"].values():
                v[at] = np.nan
        if u["clicks"]:
            at = rng.choice(np.arange(50, n - 50), int(rng.integers(2, 6)), replace=False)
            size = rng.choice([-1, 1], at.size) * rng.uniform(0.05, 0.2, at.size)
            for v in run["raw"].values():
                v[at] += size * rng.uniform(0.7, 1.0)
        if u["crosstalk_V"]:
            one, other = list(run["raw"].values())[:2]
            for at in rng.uniform(0.1, 0.9, 12) * run["time_s"][-1]:
                shape = np.exp(-0.5 * ((run["time_s"] - at) / rng.uniform(5, 30)) ** 2)
                one += 0.3 * shape
                other += u["crosstalk_V"] * shape
