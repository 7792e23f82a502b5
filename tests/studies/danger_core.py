"""A bench as the danger study draws it: runs of arrays, what is true of them, and the same as CSV files or logs.

Written without having read the detectors it judges. Numpy only; everything is invented.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

Floats = np.ndarray
TEMPERATURE = "ambient_temp_C"  # the header by which a reader can know the column


def coloured(rng: np.random.Generator, n: int, dt: float, exponent: float = 1.0, corner_s: float = np.inf) -> Floats:
    """Gaussian noise of unit rms, power as f ** -exponent above 1 / corner_s; cut from a series twice as long."""
    long = 1 << int(np.ceil(np.log2(2 * n)))
    f = np.fft.rfftfreq(long, dt)
    f[0] = f[1]
    f = np.hypot(f, 0.0 if np.isinf(corner_s) else 1.0 / corner_s)
    z = (rng.standard_normal(f.size) + 1j * rng.standard_normal(f.size)) * f ** (-exponent / 2)
    z[0] = 0.0
    y = np.fft.irfft(z, n=long)
    return y[:n] / y.std()


def smooth(rng: np.random.Generator, t: Floats, turns_s: float) -> Floats:
    """A slow random movement, 0 to 1 from lowest to highest, which turns about every ``turns_s`` seconds."""
    knots = np.arange(t[0], t[-1] + 2 * turns_s, turns_s)
    fine = np.arange(t[0], t[-1] + turns_s / 8, turns_s / 8)
    y = np.interp(fine, knots, rng.normal(size=knots.size).cumsum())
    y = np.convolve(np.pad(y, 4, mode="edge"), np.ones(9) / 9, mode="valid")
    y = np.interp(t, fine, y)
    return (y - y.min()) / max(np.ptp(y), 1e-12)


def mains_hum(rng: np.random.Generator, t: Floats) -> Floats:
    """Mains as samples show it: 50 or 60 Hz that wander by hundredths of a hertz, folded to whatever the cadence makes."""
    mains = float(rng.choice([50.0, 60.0])) + 0.015 * rng.normal()
    phase = 2 * np.pi * mains * t + 2 * np.pi * 0.02 * 60 * smooth(rng, t, 60.0) + rng.uniform(0, 6.28)
    return np.sin(phase) + rng.uniform(0, 0.3) * np.sin(3 * phase)


@dataclass
class Danger:
    """What was done to a bench. ``unambiguous``: any technician would refuse it; only those count in the score."""

    form: str
    size_V: float
    place: str
    channels: tuple[str, ...]
    seed: int
    unambiguous: bool
    touched: int
    what: str


@dataclass
class Truth:
    """``says`` is the technician's word; ``dangerous`` the channels that must not be cleared."""

    dangers: list[Danger] = field(default_factory=list)

    @property
    def dangerous(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(name for danger in self.dangers for name in danger.channels))

    @property
    def says(self) -> str:
        return "unsound" if self.dangers else "sound"

    @property
    def unambiguous(self) -> bool:
        return any(danger.unambiguous for danger in self.dangers)


@dataclass
class PowerUp:
    """From switch-on (``begin``) to before ``end``, as indices into a run; readings before ``live`` see no output."""

    run: int
    begin: int
    live: int
    end: int


@dataclass
class Bench:
    """One unit's logs.

    A run is a dict: ``time_s``, ``channels`` (name to volts as the meter shows them; NaN blank, inf over range),
    ``start`` (ISO text or None), ``raw`` (volts before the last digit) and, where there is one, ``temperature_C``.
    """

    kind: str
    seed: int
    runs: list[dict[str, Any]]
    power_ups: list[PowerUp]
    rest: dict[str, float]
    digit_V: float
    style: str = "seconds"
    scored: bool = True
    truth: Truth = field(default_factory=Truth)

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(self.rest)

    def copy(self) -> Bench:
        return copy.deepcopy(self)

    def show(self) -> None:
        """What the meter shows: raw volts rounded to its last digit."""
        for run in self.runs:
            run["channels"] = {name: np.round(v / self.digit_V) * self.digit_V for name, v in run["raw"].items()}

    def logs(self) -> list[Any]:
        """The runs as flicker's logs in memory."""
        from flicker import Log

        out = []
        for number, run in enumerate(self.runs):
            columns = dict(run["channels"])
            roles = None
            if "temperature_C" in run:
                columns[TEMPERATURE] = np.round(run["temperature_C"], 2)
                roles = {TEMPERATURE: "temperature"}
            start = None if run["start"] is None else datetime.fromisoformat(run["start"])
            out.append(Log.from_arrays(run["time_s"], columns, start=start, roles=roles, name=f"run {number + 1}"))
        return out

    def to_files(self, folder: str | Path) -> list[Path]:
        """Write one CSV a run, in the bench's own style of header, time and decimal sign."""
        folder = Path(folder)
        folder.mkdir(parents=True, exist_ok=True)
        return [_write(self, run, folder / f"log_{number + 1}.csv") for number, run in enumerate(self.runs)]


STYLES = ("seconds", "volts", "dated", "semicolon")


def _write(bench: Bench, run: dict[str, Any], path: Path) -> Path:
    """One run as CSV; blank cells where NaN, OL (with its sign) where over range."""
    style = bench.style
    milli = style != "volts"
    separator = ";" if style == "semicolon" else ","
    places = max(0, round(-np.log10(bench.digit_V)) - (3 if milli else 0))
    t = run["time_s"]
    if style in ("dated", "semicolon"):
        start = datetime.fromisoformat(run["start"] or "2031-02-11T18:00:00")
        first = [
            (start + timedelta(seconds=float(x))).isoformat(sep="T" if style == "dated" else " ", timespec="milliseconds")
            for x in t - t[0]
        ]
    else:
        first = [f"{x:.3f}" for x in t]
    columns = [first]
    for values in run["channels"].values():
        text = [f"{x:.{places}f}" for x in (values * 1000 if milli else values).tolist()]
        for i in np.flatnonzero(~np.isfinite(values)):
            text[i] = "" if np.isnan(values[i]) else ("OL" if values[i] > 0 else "-OL")
        columns.append([x.replace(".", ",") for x in text] if style == "semicolon" else text)
    if "temperature_C" in run:
        text = [f"{x:.2f}" for x in run["temperature_C"].tolist()]
        columns.append([x.replace(".", ",") for x in text] if style == "semicolon" else text)
    heads = {
        "seconds": ("time_s", "{}_mV"),
        "volts": ("Time (s)", "{} (V)"),
        "dated": ("timestamp", "{} [mV]"),
        "semicolon": ("Zeit", "{} [mV]"),
    }[style]
    header = [heads[0], *(heads[1].format(name) for name in run["channels"])]
    header += [TEMPERATURE] if "temperature_C" in run else []
    rows = (separator.join(cells) for cells in zip(*columns, strict=True))
    path.write_text("\n".join([separator.join(header), *rows]) + "\n", encoding="utf-8")
    return path
