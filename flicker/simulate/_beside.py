"""What stands beside the outputs in a log: a temperature, a shorted lead, a rail; and long swings, a unit switched off."""

from __future__ import annotations

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.units import HOUR
from flicker.simulate import _noise
from flicker.simulate._sheet import Sheet, kind
from flicker.simulate._situations import switched_off


@kind(
    "follows-temperature",
    "situation",
    "a sound unit, one channel following the room's temperature some minutes late; the room was logged too",
    verdict="steady",
    hours=12.0,
)
def follows_temperature(
    sheet: Sheet, *, per_degree_V: float = 0.010, range_K: float = 3.0, lag_s: float = 1200.0, period_h: float = 7.0
) -> None:
    """Let the bad channels follow a room that moves by ``range_K`` with a time constant of ``lag_s``."""
    from scipy.signal import lfilter

    _room(sheet, range_K, period_h)
    for run, _, trace in sheet.each_bad():
        warm = sheet.beside["room"][run]
        keep = float(np.exp(-sheet.step_s / lag_s))
        late = lfilter([1.0 - keep], [1.0, -keep], warm, zi=[keep * warm[0]])[0]
        trace.level += per_degree_V * (late - late[0])


@kind(
    "drifts-beside-temperature",
    "situation",
    "one channel drifts steadily by 40 mV; the room's temperature moves and has nothing to do with it",
    verdict="drifting",
    hours=12.0,
)
def drifts_beside_temperature(
    sheet: Sheet, *, drift_V: float = 0.040, range_K: float = 3.0, period_h: float = 7.0
) -> None:
    """Add a steady drift of ``drift_V`` to the bad channels, and log a room that moves by itself."""
    _room(sheet, range_K, period_h)
    for run, _, trace in sheet.each_bad():
        trace.level += drift_V * sheet.time[run] / sheet.span_s


def _room(sheet: Sheet, range_K: float, period_h: float) -> None:
    """Log the temperature of a room that goes up and down."""
    sheet.roles["room"] = "temperature"
    parts: list[Floats] = []
    for run in range(sheet.setting.runs):
        rng = sheet.rng("room", run)
        time = sheet.time[run]
        turn = np.sin(2.0 * np.pi * (time / (period_h * HOUR) + float(rng.uniform())))
        walk = _noise.random_walk(rng, time.size)
        parts.append(np.round(22.0 + 0.5 * range_K * turn + 0.15 * range_K * (walk - walk.mean()), 2))
    sheet.beside["room"] = parts


@kind(
    "meter-glitches",
    "situation",
    "a meter that glitches by itself; a spare input with shorted leads glitches as often",
    verdict=None,
)
def meter_glitches(sheet: Sheet, *, rate_per_h: float = 5.0, together: float = 0.5) -> None:
    """Put events at ``rate_per_h`` into the bad channels and a shorted lead; the share ``together`` into both."""
    sheet.roles["spare"] = "shorted lead"
    parts: list[Floats] = []
    for run in range(sheet.setting.runs):
        rng = sheet.rng("spare", run)
        volts = 0.00002 * rng.standard_normal(sheet.time[run].size)
        both = _places(sheet, rng, together * rate_per_h)
        for name in sheet.bad:
            for place in (both, _places(sheet, rng, (1.0 - together) * rate_per_h)):
                size = rng.uniform(0.06, 0.2, place.size) * rng.choice([-1.0, 1.0], place.size)
                sheet.glitch(run, name, place, 1.0, size, "rectangular")
        for at in (*both.tolist(), *_places(sheet, rng, (1.0 - together) * rate_per_h).tolist()):
            first = sheet.index(run, at)
            last = max(first + 1, sheet.index(run, at + 1.0))
            volts[first:last] += float(rng.uniform(0.06, 0.2)) * float(rng.choice([-1.0, 1.0]))
        step = max(sheet.setting.resolution_V, 1e-5)
        parts.append(np.round(volts / step) * step)
    sheet.beside["spare"] = parts


@kind("rail-dips", "situation", "an output that jumps whenever the supply rail dips", verdict="noisy")
def rail_dips(sheet: Sheet, *, rate_per_h: float = 4.0, dip_V: float = 3.0, rail_V: float = 42.0) -> None:
    """Let a logged rail dip by some ``dip_V`` at ``rate_per_h``; the bad channels jump with it."""
    sheet.roles["rail"] = "rail"
    parts: list[Floats] = []
    for run in range(sheet.setting.runs):
        rng = sheet.rng("rail", run)
        volts = rail_V + 0.01 * rng.standard_normal(sheet.time[run].size)
        place = _places(sheet, rng, rate_per_h)
        size = rng.uniform(0.06, 0.25, place.size)
        for at, part in zip(place.tolist(), size.tolist(), strict=True):
            first, last = sheet.index(run, at), sheet.index(run, at + 2.0)
            volts[first : max(last, first + 1)] -= dip_V * part / 0.15
        for name in sheet.bad:
            sheet.glitch(run, name, place, 2.0, size, "rectangular")
        parts.append(np.round(volts, 2))
    sheet.beside["rail"] = parts


def _places(sheet: Sheet, rng: np.random.Generator, rate_per_h: float) -> Floats:
    count = int(rng.poisson(rate_per_h * sheet.usable_s / HOUR))
    return np.sort(sheet.lead_in_s + rng.uniform(0.0, 0.98 * sheet.usable_s, count))


@kind(
    "long-swings",
    "situation",
    "swings of 90 mV that last for three to ten minutes each",
    verdict="noisy",
    length_s=(180.0, 600.0),
    size_V=(0.08, 0.12),
    shape="rectangular",
)
def long_swings(sheet: Sheet, *, count: int = 4) -> None:
    """Put ``count`` long swings into the bad channels, evenly but for some scatter."""
    for name, rng in sheet.bad_streams("place"):
        share = (np.arange(count) + rng.uniform(0.1, 0.5, count)) / count
        sheet.draw(name, share * sheet.usable_s * sheet.setting.runs)


@kind(
    "switched-off", "situation", "a sound unit that is switched off for an hour, and for good at the end", verdict=None
)
def off_and_on(sheet: Sheet, *, at: float = 0.4, off_h: float = 1.0, last: float = 0.9) -> None:
    """Switch every channel off at the share ``at`` for ``off_h``, and from the share ``last`` on."""
    for run, name, _ in sheet.each():
        begin = round(at * sheet.span_s, 3)
        back = round(min(begin + off_h * HOUR, 0.8 * last * sheet.span_s), 3)
        switched_off(sheet, run, name, begin, back)
        sheet.power_up(run, name, back, start="warm", scale=0.7)
        switched_off(sheet, run, name, last * sheet.span_s, sheet.span_s)
