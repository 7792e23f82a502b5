"""What the lead was looking at: protection relay, test leads, the meter's ranges and its sleep."""

from __future__ import annotations

import numpy as np

from flicker.base.arrays import Floats
from flicker.base.runs import true_runs
from flicker.simulate import _noise
from flicker.simulate._sheet import Sheet, kind

PROTECTION_V = 0.75  # all four: common practice, no source
RECONNECT_S = 4.0
TRIP_DELAY_S = 0.1
START_MUTE_S = 4.0


# --- protection relay -----------------------------------------------------------------------------------------------


def relay_open(time_s: Floats, volts: Floats) -> list[tuple[float, float]]:
    """Return when a protection relay is open: from each sample beyond `PROTECTION_V` on, after `TRIP_DELAY_S`.

    It closes `RECONNECT_S` after the first sample below; a new crossing before that restarts the wait.
    """
    beyond = np.abs(volts) >= PROTECTION_V
    rise, fall = true_runs(beyond)
    end = float(time_s[-1])
    out: list[tuple[float, float]] = []
    for first, after in zip(rise.tolist(), fall.tolist(), strict=True):
        back = float(time_s[after]) + RECONNECT_S if after < time_s.size else end
        if out and float(time_s[first]) <= out[-1][1]:
            out[-1] = (out[-1][0], max(back, out[-1][1]))
        else:
            out.append((float(time_s[first]) + TRIP_DELAY_S, back))
    return out


def _fault_sequence(sheet: Sheet) -> list[list[tuple[float, float]]]:
    """Draw a unit that is clean for four minutes and then swings further and further; return the relay's openings."""
    openings = []
    for run in range(sheet.setting.runs):
        voltage = np.zeros(sheet.time[run].size)
        for name in sheet.bad:
            rng = sheet.rng("sequence", run, name)
            at = 250.0 + rng.uniform(0.0, 10.0)
            steps = [
                (0.0, 2.0, 0.16, "swing"),
                (32.0, 1.5, -0.9, "rectangular"),
                (75.0, 1.5, 3.0, "rectangular"),
                (76.5, 1.5, -2.0, "rectangular"),
                (125.0, 3.0, 5.0, "rectangular"),
                (128.0, 5.0, 6.0, "rectangular"),
            ]
            for away, length, peak, shape in steps:
                size = peak * float(rng.uniform(0.97, 1.03))
                sheet.glitch(run, name, at + away, length, size, shape)
            trace = sheet.traces[run][name]
            assert trace.glitch is not None
            voltage = np.maximum(voltage, np.abs(trace.level + trace.glitch))
        openings.append(relay_open(sheet.time[run], voltage))
        sheet.relay_open[run] = openings[-1]
    return openings


@kind(
    "relay",
    "situation",
    "clean for four minutes, then swings of 0.16 V, -0.9 V, +3/-2 V and 5 to 6 V, seen before the relay",
    verdict="noisy",
    hours=0.2,
    rate_hz=4.0,
)
def relay(sheet: Sheet) -> None:
    """Draw the sequence on the amplifier side: the relay opens, the meter goes on seeing the output."""
    _fault_sequence(sheet)
    sheet.relay_side = ["amplifier side"] * sheet.setting.runs


def _pick_up(sheet: Sheet, run: int, name: str, first: int, last: int, size_V: float) -> Floats:
    """Floating input: aliased hum that beats, on a slow random level."""
    n = last - first
    rng = sheet.rng(f"pick-up {first}", run, name)
    time = sheet.time[run][first:last]
    beat = np.sin(2.0 * np.pi * time / float(rng.uniform(7.0, 60.0)) + float(rng.uniform(0.0, 6.28)))
    slow = _noise.ar1(rng, n, float(np.exp(-sheet.step_s / 60.0)))
    return size_V * (0.5 * beat + 0.5 * slow + 0.3 * _noise.white(rng, n))


def _unseen(sheet: Sheet, run: int, name: str, start_s: float, end_s: float, state: str, pick_up_V: float) -> None:
    """Show an open lead (``pick_up_V`` above 0) or a floor near zero instead of the output."""
    first, last = sheet.index(run, start_s), sheet.index(run, end_s)
    if pick_up_V > 0:
        volts = _pick_up(sheet, run, name, first, last, pick_up_V)
    else:
        volts = 0.00001 * sheet.rng(f"floor {first}", run, name).standard_normal(last - first)
    sheet.override(run, name, start_s, end_s, state, volts)


@kind(
    "relay-speaker-side",
    "situation",
    "the same swings seen behind the relay: open means zero or floating, and no signs of the fault",
    verdict="noisy",
    hours=0.2,
    rate_hz=4.0,
)
def relay_speaker_side(sheet: Sheet, *, floating: bool | None = None, thump_V: float = 0.015) -> None:
    """Hide what happens while the relay is open, on every channel; closing gives a small thump."""
    wet = bool(sheet.rng("relay").random() < 0.5) if floating is None else floating
    openings = _fault_sequence(sheet)
    for run, name, trace in sheet.each():
        start_mute = [(0.0, START_MUTE_S)] if sheet.setting.power_up else []
        for number, (start, end) in enumerate([*start_mute, *openings[run]]):
            starting = bool(start_mute) and number == 0
            _unseen(sheet, run, name, start, end, "muted" if starting else "disconnected", 0.004 if wet else 0.0)
            first = sheet.index(run, end)
            last = sheet.index(run, end + 3.0)
            trace.level[first:last] += thump_V * np.exp((end - sheet.time[run][first:last]) / 0.4)
        sheet.relay_side[run] = "speaker side"
        sheet.relay_open[run] = [*start_mute, *openings[run]]


@kind("relay-never-closes", "situation", "a speaker-side log in which the relay never closes", verdict="inconclusive")
def relay_never_closes(sheet: Sheet, *, floating: bool | None = None) -> None:
    """Show zero or floating pick-up on every channel from power-up to the end."""
    wet = bool(sheet.rng("relay").random() < 0.5) if floating is None else floating
    end = sheet.span_s
    for run, name, _ in sheet.each():
        _unseen(sheet, run, name, 0.0, end, "disconnected", 0.003 if wet else 0.0)
        sheet.relay_side[run] = "speaker side"
        sheet.relay_open[run] = [(0.0, sheet.span_s)]
    sheet.call("inconclusive", channels=sheet.channels)


# --- leads and meter ------------------------------------------------------------------------------------------------


def _lost(
    sheet: Sheet, run: int, name: str, at: float | None, away_s: float | None
) -> tuple[float, float]:
    """Draw when a connection is lost (a share of the run) and how long (to the end where ``away_s`` is None)."""
    share = float(sheet.rng("lost", run, name).uniform(0.25, 0.75)) if at is None else at
    start = share * sheet.span_s
    return start, sheet.span_s if away_s is None else min(start + away_s, sheet.span_s)


@kind("lead-off", "situation", "a test lead that falls off: the meter floats and picks up hum", verdict=None)
def lead_off(
    sheet: Sheet, *, at: float | None = None, away_s: float | None = None, pick_up_V: float | None = None
) -> None:
    """Let the lead fall at the share ``at`` of the run (drawn), for good or for ``away_s``.

    The pick-up is drawn from 2 to 40 mV where ``pick_up_V`` is None.
    """
    for run, name, _ in sheet.each_bad():
        size = sheet.rng("pick-up size", run, name).uniform(np.log(0.002), np.log(0.040))
        start, end = _lost(sheet, run, name, at, away_s)
        _unseen(sheet, run, name, start, end, "floating", float(np.exp(size)) if pick_up_V is None else pick_up_V)


@kind("lead-shorted", "situation", "test leads that touch each other: the meter's own floor", verdict=None)
def lead_shorted(sheet: Sheet, *, at: float | None = None, away_s: float | None = None) -> None:
    """Short the lead from the share ``at`` of the run (drawn), for good or for ``away_s``."""
    for run, name, _ in sheet.each_bad():
        _unseen(sheet, run, name, *_lost(sheet, run, name, at, away_s), "shorted", 0.0)


@kind(
    "lead-chassis",
    "situation",
    "a clip that slips onto the chassis: a fraction of a millivolt, almost no noise",
    verdict=None,
)
def lead_chassis(
    sheet: Sheet, *, at: float | None = None, away_s: float | None = None, level_V: float = 0.0003
) -> None:
    """Show ``level_V`` with a noise of 0.03 mV from the share ``at`` of the run (drawn)."""
    for run, name, _ in sheet.each_bad():
        start, end = _lost(sheet, run, name, at, away_s)
        n = sheet.index(run, end) - sheet.index(run, start)
        volts = level_V + 0.00003 * sheet.rng("chassis", run, name).standard_normal(n)
        sheet.override(run, name, start, end, "shorted", volts)


@kind("meter-repeats", "situation", "a meter that switches itself off; the logger repeats its last value", verdict=None)
def meter_repeats(sheet: Sheet, *, at: float | None = None, away_s: float | None = None) -> None:
    """Repeat the last reading from the share ``at`` of the run (drawn), for good or for ``away_s``."""
    for run, name, _ in sheet.each_bad():
        sheet.hold(run, name, *_lost(sheet, run, name, at, away_s))


@kind(
    "range-change",
    "situation",
    "a meter set to a coarser range in mid-log: the last digit goes from 0.01 mV to 1 mV",
    verdict="steady",
)
def range_change(
    sheet: Sheet, *, fine_V: float = 0.00001, coarse_V: float = 0.001, at: float | None = None, shift_V: float = 0.0006
) -> None:
    """Change the range once, at the share ``at`` (drawn); ranges differ by up to ``shift_V``."""
    for run, _, trace, rng in sheet.each_bad_stream("range"):
        share = float(rng.uniform(0.25, 0.75)) if at is None else at
        border, n = sheet.index(run, share * sheet.span_s), sheet.time[run].size
        trace.ranges = [(0, border, fine_V), (border, n, coarse_V)]
        trace.level[border:] += shift_V * float(rng.uniform(-1.0, 1.0))


@kind("auto-range", "situation", "recurring glitches on a meter that changes ranges by itself", verdict="noisy")
def auto_range(sheet: Sheet, *, rate_per_h: float = 6.0) -> None:
    """Put glitches at a constant rate; last digit 0.01 mV up to 50 mV, 0.1 up to 0.5 V, 1 up to 5 V, 10 beyond.

    The first reading after a step to a coarser range is over range.
    """
    for name in sheet.bad:
        sheet.draw(name, _noise.at_random(sheet.rng("place", 0, name), rate_per_h, sheet.total_s))
    for _, _, trace in sheet.each_bad():
        trace.auto_range = True
