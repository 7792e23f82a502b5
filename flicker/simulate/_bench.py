"""From a kind and its options to a bench: logs, samples, truth, and the files they are written to."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import date, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

from flicker.base.arrays import Floats
from flicker.base.check import finite, one_of, positive, whole
from flicker.base.units import HOUR
from flicker.logs.marks import Mark as BenchMark
from flicker.logs.model import Log
from flicker.simulate import _beside, _connection, _kinds, _situations, _write
from flicker.simulate._noise import COLOURS
from flicker.simulate._sheet import REGISTRY, SHAPES, Setting, Sheet
from flicker.simulate._truth import BenchTruth

assert _beside and _connection and _kinds and _situations  # imported for what they enter into the registry


_ORDER = ("steady", "one-off", "noisy", "drifting", "degrading", "situation")
_KINDS = sorted(REGISTRY.values(), key=lambda item: _ORDER.index(item.family))
KINDS: Mapping[str, str] = {item.name: item.text for item in _KINDS}
FAMILIES: Mapping[str, str] = {item.name: item.family for item in _KINDS}

_START = datetime(2031, 3, 3, 18, 30)  # an invented evening; no time zone, as loggers write it
SHORTEST_S = 30.0
APART = timedelta(days=7)  # runs farther apart belong to different visits
MOST_SAMPLES = 2e8  # held in memory several times over
_DEFAULTS: dict[str, Any] = {
    "hours": 4.0,
    "rate_hz": 2.0,
    "runs": 1,
    "noise": "white",
    "noise_V": 0.0004,
    "exponent": None,
    "resolution_V": 0.0001,
    "jitter": 0.0,
    "gaps": 0,
    "pause_s": 0.0,
    "power_up": True,
    "surge_V": None,
    "surge_tau_s": None,
    "settled_V": None,
    "shape": "any",
    "size_V": (0.06, 1.0),
    "length_s": (0.5, 20.0),
    "full_scale_V": 60.0,
}


@dataclass(frozen=True, slots=True)
class Bench:
    """A simulated bench.

    Attributes
    ----------
    kind : str
        One of `KINDS`.
    logs : tuple of Log
        One log per run.
    truth : BenchTruth
        What was put in.
    roles : mapping
        Columns beside the channels and their roles; their readings are returned by ``values`` too.
    """

    kind: str
    logs: tuple[Log, ...]
    truth: BenchTruth
    _values: tuple[Mapping[str, Floats], ...]
    _resolution_V: float
    roles: Mapping[str, str] = field(default_factory=dict)

    @property
    def channels(self) -> tuple[str, ...]:
        """Names of the channels."""
        return self.logs[0].channels

    def time_s(self, run: int = 0) -> Floats:
        """Return the sample times of a run, seconds since its first sample, shape (n,)."""
        return self.truth.runs[run].time_s

    def values(self, channel: str, run: int = 0) -> Floats:
        """Return what the meter showed, volts, shape (n,); +/-inf is over range."""
        return self._values[run][channel]

    def marks(self, run: int = 0) -> tuple[BenchMark, ...]:
        """Return the marks of a run as `flicker.assess` takes them."""
        return tuple(
            BenchMark(mark.time_s, mark.kind, mark.channel, mark.until_s, mark.text)
            for mark in self.truth.marks
            if mark.run == run
        )

    def visits(self) -> tuple[tuple[date, Bench], ...]:
        """Return the bench visit by visit: the date of each, and its runs as a bench of their own."""
        starts = [run.start for run in self.truth.runs]
        first = [k for k in range(len(starts)) if k == 0 or starts[k] - starts[k - 1] > APART]
        out = []
        for low, high in zip(first, [*first[1:], len(starts)], strict=True):
            marks = tuple(replace(mark, run=mark.run - low) for mark in self.truth.marks if low <= mark.run < high)
            truth = replace(self.truth, runs=self.truth.runs[low:high], marks=marks)
            part = Bench(
                kind=self.kind,
                logs=self.logs[low:high],
                truth=truth,
                _values=self._values[low:high],
                _resolution_V=self._resolution_V,
                roles=self.roles,
            )
            out.append((starts[low].date(), part))
        return tuple(out)

    def write(
        self, path: str | os.PathLike[str], *, time: str = "seconds", split: bool = False, marks: bool = True
    ) -> tuple[Path, ...]:
        """Write the bench to CSV: all files, or none.

        Parameters
        ----------
        path : path
            File to write. Several runs go into one file with a ``run`` column, or with ``split`` into one file each,
            ``NAME-1.csv``, ``NAME-2.csv`` ...
        time : {'seconds', 'iso'}
            ``time_s`` in seconds since the first run's first sample (with ``split``: since each file's), or ``time`` as
            ISO 8601 without zone.
        split : bool
            One file per run.
        marks : bool
            Write the marks, where there are any, to ``NAME.marks.csv`` beside it.

        Returns
        -------
        tuple of Path
            The files, marks last.

        Raises
        ------
        ValueError
            If ``time`` is neither.
        OSError
            If a file cannot be written; none is left half written.
        """
        one_of("time", time, ("seconds", "iso"))
        columns = _write.Columns(self._values, self._resolution_V, self.roles)
        return _write.write(Path(path), self.truth, columns, time, split=split, marks=marks)


def simulate_log(
    kind: str = "steady",
    *,
    hours: float | None = None,
    rate_hz: float | None = None,
    runs: int | None = None,
    seed: int = 1,
    unit: int | None = None,
    channels: Sequence[str] = ("left", "right"),
    bad: Sequence[str] | None = None,
    noise: str | None = None,
    noise_V: float | None = None,
    exponent: float | None = None,
    resolution_V: float | None = None,
    jitter: float | None = None,
    gaps: int | None = None,
    pause_s: float | None = None,
    power_up: bool | None = None,
    surge_V: float | None = None,
    surge_tau_s: float | None = None,
    settled_V: float | None = None,
    shape: str | None = None,
    size_V: float | tuple[float, float] | None = None,
    length_s: float | tuple[float, float] | None = None,
    full_scale_V: float | None = None,
    start: datetime | None = None,
    **options: Any,
) -> Bench:
    """Simulate the log of a bench, with known truth.

    An option left at None takes the kind's own value, else the common default named here.

    Parameters
    ----------
    kind : str
        One of `flicker.simulate.KINDS`.
    hours : float
        Length of each run; 4 unless the kind says otherwise.
    rate_hz : float
        Samples per second, 2.
    runs : int
        Power-ups, 1; each begins cold, 20 h after the one before ended.
    seed : int
        0 or more. Equal arguments give equal benches. Every part (noise of a channel, place of its glitches ...) has
        a random stream of its own (numpy ``SeedSequence``), so a changed option changes only what it names.
    unit : int
        Seed of what belongs to the unit itself (settled levels, surges), ``seed`` unless given: benches of one unit and
        different seeds are its visits or its stages of repair.
    channels, bad : sequence of str
        Names of the channels, and of those that get the fault (the first only). The others stay sound, except for
        what the room or the unit as a whole does.
    noise : {'white', 'ar1', 'flicker', 'flicker-relaxations'}
        Colour of the noise; ``noise_V`` (0.4 mV) its sigma; ``exponent`` of 1/f noise (drawn from 0.8 to 1.2).
    resolution_V : float
        Last digit of the meter, 0.1 mV; 0 for none.
    jitter : float
        Width of the uniform scatter of sample times, as a share of the sample interval, 0 to 0.9.
    gaps : int
        Pauses of the logger of 5 to 180 s in each run.
    pause_s : float
        One long pause of the logger near the middle of each run; nothing is switched meanwhile.
    power_up : bool
        Whether a run begins with a power-up surge of ``surge_V`` (drawn: 40 to 120 mV) above the settled level, which
        falls with ``surge_tau_s`` (drawn: 5 to 18 s) to ``settled_V`` (drawn: within 12 mV of zero).
    shape : {'any', 'rectangular', 'decay', 'swing', 'ramp', 'crackle'}
        Waveform of the glitches; 'any' draws one for each.
    size_V, length_s : float or (low, high)
        Peak (60 mV to 1 V) and length (0.5 to 20 s) of glitches, drawn evenly on a logarithmic scale. A glitch
        shorter than the sample interval may fall between two samples.
    full_scale_V : float
        The meter is over range beyond this, 60 V.
    start : datetime
        Time of the first sample, an invented evening by default.
    **options
        Options of the kind: the keywords of its function.

    Returns
    -------
    Bench
        Logs, samples and truth. All data are invented.

    Raises
    ------
    ValueError
        If an argument is not allowed; the sentence names it, its value and what is allowed.

    Examples
    --------
    >>> bench = simulate_log("one-off", seed=7)
    >>> len(bench.truth.excursions("left")), len(bench.truth.excursions("right"))
    (1, 0)
    """
    entry = REGISTRY[one_of("kind", kind, tuple(KINDS))]
    own = entry.options()
    for name in options:
        if name not in own:
            allowed = ", ".join(own) if own else "none beside the common ones"
            raise ValueError(f"{name} is no option of the kind {kind!r}; its options: {allowed}")
        if options[name] is not None:
            (finite if name.endswith("_V") else partial(positive, zero=True))(name, options[name])
    given = {
        "hours": hours,
        "rate_hz": rate_hz,
        "runs": runs,
        "noise": noise,
        "noise_V": noise_V,
        "exponent": exponent,
        "resolution_V": resolution_V,
        "jitter": jitter,
        "gaps": gaps,
        "pause_s": pause_s,
        "power_up": power_up,
        "surge_V": surge_V,
        "surge_tau_s": surge_tau_s,
        "settled_V": settled_V,
        "shape": shape,
        "size_V": size_V,
        "length_s": length_s,
        "full_scale_V": full_scale_V,
    }
    used = {**_DEFAULTS, **entry.bench, **{name: value for name, value in given.items() if value is not None}}
    if pause_s is None:  # the kind's own pause gives way to a short run
        used["pause_s"] = min(used["pause_s"], 900.0 * positive("hours", used["hours"], what="hours"))
    setting = _setting(used, seed, seed if unit is None else unit, channels, bad, _START if start is None else start)
    sheet = Sheet(setting)
    sheet.call(entry.verdict)
    entry.draw(sheet, **options)
    values, truth = sheet.finish(kind, entry.family, _as_used(setting) | own | options)
    logs = tuple(
        Log.from_arrays(
            run.time_s,
            columns,
            start=run.start,
            name=f"{kind}, seed {seed}, run {number} (simulated)",
            roles=sheet.roles,
        )
        for number, (run, columns) in enumerate(zip(truth.runs, values, strict=True), start=1)
    )
    return Bench(
        kind=kind, logs=logs, truth=truth, _values=tuple(values), _resolution_V=sheet.finest_V(), roles=sheet.roles
    )


def _setting(
    used: Mapping[str, Any],
    seed: int,
    unit: int,
    channels: Sequence[str],
    bad: Sequence[str] | None,
    start: datetime,
) -> Setting:
    """The common options, checked."""
    names = tuple(str(name) for name in channels)
    if not names or len(set(names)) != len(names):
        raise ValueError(f"channels must be one or more different names, got {list(channels)!r}")
    wrong = names[:1] if bad is None else tuple(bad)
    for name in wrong:
        one_of("bad", name, names)
    jitter = positive("jitter", used["jitter"], what="a share of the sample interval", zero=True)
    if jitter > 0.9:
        raise ValueError(f"jitter must be a share of the sample interval from 0 to 0.9, got {jitter}")
    rate_hz = positive("rate_hz", used["rate_hz"], what="samples per second")
    if rate_hz > 500:
        raise ValueError(f"rate_hz must be 500 or less (times are kept to a millisecond), got {rate_hz}")
    hours = positive("hours", used["hours"], what="hours")
    if hours * HOUR < SHORTEST_S:
        raise ValueError(
            f"hours must be {SHORTEST_S:g} seconds or more (a shorter run shows little but the power-up), got {hours}"
        )
    runs = whole("runs", used["runs"], least=1, what="a number of power-ups")
    if hours * HOUR * rate_hz * runs * len(names) > MOST_SAMPLES:
        raise ValueError(
            f"hours times rate_hz times runs must stay under {MOST_SAMPLES:g} samples, all channels together"
        )
    pause_s = positive("pause_s", used["pause_s"], what="seconds", zero=True)
    if pause_s > 1800.0 * hours:
        raise ValueError(f"pause_s must be at most half of a run, got {pause_s} of {3600.0 * hours:g} s")
    return Setting(
        hours=hours,
        rate_hz=rate_hz,
        runs=runs,
        seed=whole("seed", seed, what="a seed"),
        unit=whole("unit", unit, what="a seed"),
        channels=names,
        bad=wrong,
        noise=one_of("noise", used["noise"], tuple(COLOURS)),
        noise_V=positive("noise_V", used["noise_V"], what="volts", zero=True),
        exponent=None if used["exponent"] is None else positive("exponent", used["exponent"]),
        resolution_V=positive("resolution_V", used["resolution_V"], what="volts", zero=True),
        jitter=jitter,
        gaps=whole("gaps", used["gaps"], what="a number of pauses"),
        pause_s=pause_s,
        power_up=bool(used["power_up"]),
        surge_V=None if used["surge_V"] is None else finite("surge_V", used["surge_V"]),
        surge_tau_s=None
        if used["surge_tau_s"] is None
        else positive("surge_tau_s", used["surge_tau_s"], what="seconds"),
        settled_V=None if used["settled_V"] is None else finite("settled_V", used["settled_V"]),
        shape=one_of("shape", used["shape"], ("any", *SHAPES)),
        size_V=_span("size_V", used["size_V"]),
        length_s=_span("length_s", used["length_s"]),
        full_scale_V=positive("full_scale_V", used["full_scale_V"], what="volts"),
        start=start,
    )


def _span(name: str, value: Any) -> tuple[float, float]:
    """A number, or a range from low to high."""
    low, high = value if isinstance(value, (tuple, list)) else (value, value)
    low, high = positive(name, low), positive(name, high)
    if low > high:
        raise ValueError(f"{name} must be a number or (low, high) with low up to high, got {value!r}")
    return low, high


def _as_used(setting: Setting) -> dict[str, Any]:
    return {
        field.name: getattr(setting, field.name) for field in fields(setting) if field.name not in ("seed", "start")
    } | {"start": setting.start.isoformat()}
