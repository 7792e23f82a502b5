"""How benches fool a log: connection, meter, power, hands, room and outputs; and the faults that volts alone decide."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from flicker.simulate import _noise
from flicker.simulate._registry import kind
from flicker.simulate._sheet import Sheet
from flicker.simulate._truth import Mark

Floats = NDArray[np.float64]

PROTECTION_V = 0.75  # all four: common practice, no source
RECONNECT_S = 4.0
TRIP_DELAY_S = 0.1
START_MUTE_S = 4.0


# --- faults that volts decide ---------------------------------------------------------------------------------------


def _constant(sheet: Sheet, offset_V: float) -> None:
    for run, _, trace in sheet.each_bad():
        trace.level += offset_V - trace.settled_V
        trace.settled_V = offset_V
        # A range that holds the level shows fewer digits.
        last_digit = sheet.setting.resolution_V * max(1.0, 10.0 ** np.ceil(np.log10(abs(offset_V) / 0.6)))
        trace.ranges = [(0, sheet.time[run].size, float(last_digit))]


@kind("settled-offset", "situation", "a constant output that sits at 180 mV", verdict="steady")
def settled_offset(sheet: Sheet, *, offset_V: float = 0.180) -> None:
    """Hold the bad channels at ``offset_V``."""
    _constant(sheet, offset_V)


@kind(
    "stuck-high", "situation", "a constant output stuck at 40 V, as with a shorted output transistor", verdict="steady"
)
def stuck_high(sheet: Sheet, *, offset_V: float = 40.0) -> None:
    """Hold the bad channels at ``offset_V``."""
    _constant(sheet, offset_V)


@kind("stuck-low", "situation", "a constant output at 0.9 V, just beyond common protection", verdict="steady")
def stuck_low(sheet: Sheet, *, offset_V: float = 0.9) -> None:
    """Hold the bad channels at ``offset_V``."""
    _constant(sheet, offset_V)


@kind("single-swing", "situation", "one single swing to 6 V", verdict="one-off", length_s=(1.0, 5.0), size_V=6.0)
def single_swing(sheet: Sheet) -> None:
    """Put one large glitch anywhere."""
    for name in sheet.bad:
        sheet.draw(name, sheet.rng("place", 0, name).uniform(0.0, 0.95 * sheet.usable_s() * sheet.setting.runs, 1))


@kind(
    "classic",
    "situation",
    "two minutes: a surge, then four swings within a minute",
    verdict="noisy",
    hours=1.0 / 30.0,
    rate_hz=4.0,
    surge_V=0.067,
    surge_tau_s=11.0,
    settled_V=0.013,
)
def classic(sheet: Sheet) -> None:
    """Surge to 80 mV that falls to 13 mV; readings of -85, then +130/-50, -150/+100 and +95/-60 mV."""
    swings = [
        (63.0, 6.0, -0.085, 0.0),
        (79.0, 5.0, 0.130, -0.050),
        (93.0, 6.0, -0.150, 0.100),
        (108.0, 4.0, 0.095, -0.06),
    ]
    for run, name, trace in sheet.each_bad():
        rng = sheet.rng("classic", run, name)
        for start, length, first, second in swings:
            begin = start + float(rng.uniform(-0.5, 0.5))
            half = 0.5 * length if second else length
            sheet.glitch(run, name, begin, half, first - trace.settled_V, "rectangular")
            if second:
                sheet.glitch(run, name, begin + half, half, second - trace.settled_V, "rectangular")


# --- protection relay -----------------------------------------------------------------------------------------------


def relay_open(time_s: Floats, volts: Floats) -> list[tuple[float, float]]:
    """Return when a protection relay is open: from each sample beyond `PROTECTION_V` on, after `TRIP_DELAY_S`.

    It closes `RECONNECT_S` after the first sample below; a new crossing before that restarts the wait.
    """
    beyond = np.abs(volts) >= PROTECTION_V
    edges = np.diff(np.concatenate(([False], beyond, [False])).astype(np.int8))
    rise, fall = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
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
    for run in range(sheet.setting.runs):
        start_open = [(0.0, START_MUTE_S)] if sheet.setting.power_up else []
        sheet.relay_open[run] = [*start_open, *openings[run]]


@kind("relay-never-closes", "situation", "a speaker-side log in which the relay never closes", verdict="inconclusive")
def relay_never_closes(sheet: Sheet, *, floating: bool | None = None) -> None:
    """Show zero or floating pick-up on every channel from power-up to the end."""
    wet = bool(sheet.rng("relay").random() < 0.5) if floating is None else floating
    end = sheet.span_s + 1.0
    for run, name, _ in sheet.each():
        _unseen(sheet, run, name, 0.0, end, "disconnected", 0.003 if wet else 0.0)
        sheet.relay_side[run] = "speaker side"
        sheet.relay_open[run] = [(0.0, sheet.span_s)]
    sheet.call("inconclusive", channels=sheet.channels)


# --- leads and meter ------------------------------------------------------------------------------------------------


def _lost(
    sheet: Sheet, run: int, name: str, at: float | None, away_s: float | None, purpose: str = "lost"
) -> tuple[float, float]:
    """Draw when a connection is lost (a share of the run) and how long (to the end where ``away_s`` is None)."""
    share = float(sheet.rng(purpose, run, name).uniform(0.25, 0.75)) if at is None else at
    start = share * sheet.span_s
    return start, sheet.span_s + 1.0 if away_s is None else min(start + away_s, sheet.span_s + 1.0)


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
    for run, name, trace in sheet.each_bad():
        rng = sheet.rng("range", run, name)
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
        rng = sheet.rng("place", 0, name)
        total = sheet.usable_s() * sheet.setting.runs
        sheet.draw(name, np.sort(rng.uniform(0.0, total, int(rng.poisson(rate_per_h * total / 3600.0)))))
    for _, _, trace in sheet.each_bad():
        trace.auto_range = True


# --- power ----------------------------------------------------------------------------------------------------------


def _switched_off(sheet: Sheet, run: int, name: str, start_s: float, end_s: float, *, bump: bool = True) -> None:
    """Show the switch-off bump, its decay and the quiet of an output without power."""
    first, last = sheet.index(run, start_s), sheet.index(run, end_s)
    rng = sheet.rng(f"off {first}", run, name)
    time = sheet.time[run][first:last] - start_s
    volts = 0.00003 * rng.standard_normal(last - first)
    if bump:
        size = float(rng.uniform(0.08, 0.5)) * float(rng.choice([-1.0, 1.0]))
        volts += size * np.exp(-time / float(rng.uniform(0.5, 3.0)))
        volts += sheet.traces[run][name].settled_V * np.exp(-time / 8.0)
    sheet.override(run, name, start_s, end_s, "off", volts)


def _timer(sheet: Sheet, on_h: float, off_h: float, muted_s: float) -> list[list[tuple[float, float]]]:
    """Switch every channel on and off; return the stretches that are on, of each run."""
    out: list[list[tuple[float, float]]] = []
    for run in range(sheet.setting.runs):
        rng = sheet.rng("timer", run)
        on: list[tuple[float, float]] = []
        at = 0.0
        while at < sheet.span_s:
            off = at + 3600.0 * on_h * float(rng.uniform(0.95, 1.05))
            on.append((at, min(off, sheet.span_s)))
            back = off + 3600.0 * off_h * float(rng.uniform(0.95, 1.05))
            for name in sheet.channels:
                if at > 0.0:
                    sheet.power_up(run, name, at, start="cold" if off_h >= 2.0 else "warm")
                if muted_s > 0.0 and (at > 0.0 or sheet.setting.power_up):
                    sheet.override(run, name, at, at + muted_s, "muted", 0.0)
                if off < sheet.span_s:
                    _switched_off(sheet, run, name, off, min(back, sheet.span_s + 1.0))
            at = back
        out.append(on)
    return out


@kind(
    "timer-nights",
    "situation",
    "a sound unit on a timer: on for two hours, off for two, bumps and surges",
    verdict="steady",
    hours=14.0,
)
def timer_nights(sheet: Sheet, *, on_h: float = 2.0, off_h: float = 2.0, muted_s: float = 0.0) -> None:
    """Switch on and off; with ``muted_s`` the output is silent for so long after each power-up."""
    _timer(sheet, on_h, off_h, muted_s)


@kind("timer-nights-noisy", "situation", "a unit on a timer that glitches while it is on", verdict="noisy", hours=14.0)
def timer_nights_noisy(sheet: Sheet, *, on_h: float = 2.0, off_h: float = 2.0, rate_per_h: float = 3.0) -> None:
    """Switch on and off; put glitches at ``rate_per_h`` of the time on (Poisson)."""
    for run, stretches in enumerate(_timer(sheet, on_h, off_h, 0.0)):
        for name in sheet.bad:
            for number, (start, end) in enumerate(stretches):
                rng = sheet.rng(f"place {number}", run, name)
                room = max(end - start - sheet.lead_in_s - sheet.setting.length_s[1], 0.0)
                place = start + np.sort(rng.uniform(0.0, room, int(rng.poisson(rate_per_h * room / 3600.0))))
                sheet.draw(name, place, run=run, purpose=f"timer {number}")


@kind("mains-dropouts", "situation", "a sound unit whose mains drops out three times for seconds", verdict="steady")
def mains_dropouts(sheet: Sheet, *, dropouts: int = 3, muted_s: float = START_MUTE_S) -> None:
    """Let the mains drop out for 0.3 to 8 s: off, silent for ``muted_s``, then a warm start with a smaller surge."""
    for run in range(sheet.setting.runs):
        rng = sheet.rng("dropouts", run)
        share = (np.arange(dropouts) + rng.uniform(0.2, 0.8, dropouts)) / max(dropouts, 1)
        for at in (sheet.lead_in_s + share * sheet.usable_s()).tolist():
            back = at + float(np.exp(rng.uniform(np.log(0.3), np.log(8.0))))
            for name in sheet.channels:
                _switched_off(sheet, run, name, at, back)
                if muted_s > 0:
                    sheet.override(run, name, back, back + muted_s, "muted", 0.0)
                scale = float(sheet.rng(f"dropout {at:.3f}", run, name).uniform(0.3, 0.8))
                sheet.power_up(run, name, back, start="warm", scale=scale)


# --- hands ----------------------------------------------------------------------------------------------------------


def _trim(sheet: Sheet, trim_V: float, at: float | None, *, marked: bool) -> None:
    for name in sheet.bad:
        rng = sheet.rng("trim", 0, name)
        run = (sheet.setting.runs - 1) // 2
        start = (float(rng.uniform(0.25, 0.75)) if at is None else at) * sheet.span_s
        size = trim_V * float(rng.choice([-1.0, 1.0]))
        turns = int(rng.integers(3, 7))
        when = start + np.cumsum(rng.uniform(2.0, 5.0, turns))
        parts = rng.uniform(0.5, 1.5, turns)
        parts[-1] = -0.15 * parts[:-1].sum()  # a little too far, and back
        parts *= size / parts.sum()
        for moment, part in zip(when.tolist(), parts.tolist(), strict=True):
            sheet.step(run, name, moment, part)
        if marked:
            end = float(when[-1]) + 2.0
            sheet.marks.append(Mark(run, start - 2.0, "adjusted", "trimmed the offset", name, end))


@kind("trimmed", "situation", "a trimmer turned by 30 mV in mid-log, with a mark", verdict="steady")
def trimmed(sheet: Sheet, *, trim_V: float = 0.030, at: float | None = None) -> None:
    """Move the level by ``trim_V`` in some turns of the hand; a mark tells it."""
    _trim(sheet, trim_V, at, marked=True)


@kind(
    "trimmed-unmarked",
    "situation",
    "a trimmer turned by 30 mV in mid-log, and nobody wrote it down",
    verdict="drifting",
)
def trimmed_unmarked(sheet: Sheet, *, trim_V: float = 0.030, at: float | None = None) -> None:
    """Move the level by ``trim_V`` in some turns of the hand."""
    _trim(sheet, trim_V, at, marked=False)


@kind("taps", "situation", "silent by itself, but jumps on nine of ten marked taps", verdict=None, length_s=(0.5, 4.0))
def taps(sheet: Sheet, *, count: int = 10, answered: int = 9, every_s: float = 40.0, at: float = 0.5) -> None:
    """Tap ``count`` times from the share ``at`` of the first run on; ``answered`` of them give a glitch."""
    for name in sheet.bad:
        rng = sheet.rng("taps", 0, name)
        first = min(at * sheet.span_s, max(sheet.span_s - (count + 1) * every_s, 0.0))
        when = np.round(first + (np.arange(count) + rng.uniform(0.0, 0.3, count)) * every_s, 3)
        reacts = np.zeros(count, dtype=bool)
        reacts[rng.permutation(count)[:answered]] = True
        delay = rng.uniform(0.05, 0.8, count)
        sheet.draw(name, (when + delay)[reacts] - sheet.lead_in_s, run=0, purpose="answers")
        for number, (moment, yes) in enumerate(zip(when.tolist(), reacts.tolist(), strict=True), start=1):
            text = f"tap {number} of {count} with an insulated stick"
            sheet.marks.append(Mark(0, moment, "stimulus", text, name, answered=yes))


# --- room and outputs -----------------------------------------------------------------------------------------------


@kind("mains-common", "situation", "sound channels that all see the same mains clicks", verdict="steady")
def mains_common(sheet: Sheet, *, rate_per_h: float = 2.0) -> None:
    """Put events of one sample to half a second into all channels at once, at ``rate_per_h``."""
    for run in range(sheet.setting.runs):
        rng = sheet.rng("mains", run)
        count = int(rng.poisson(rate_per_h * sheet.usable_s() / 3600.0))
        place = sheet.lead_in_s + np.sort(rng.uniform(0.0, sheet.usable_s(), count))
        length = rng.uniform(sheet.step_s, max(0.5, sheet.step_s), count)
        size = rng.uniform(0.07, 0.18, count) * rng.choice([-1.0, 1.0], count)
        for name in sheet.channels:
            share = sheet.rng("mains share", run, name).uniform(0.85, 1.15, count)
            sheet.glitch(run, name, place, length, size * share, "rectangular")


@kind(
    "servo",
    "situation",
    "an output with a servo: inner level jumps show as spikes that decay",
    verdict="noisy",
    settled_V=0.0005,
)
def servo(sheet: Sheet, *, rate_per_h: float = 6.0, tau_s: float | None = None) -> None:
    """Jump to and fro at ``rate_per_h``; each jump decays with ``tau_s`` (drawn: 1 to 6 s)."""
    for run, name, _ in sheet.each_bad():
        tau = float(sheet.rng("servo unit", 0, name).uniform(1.0, 6.0)) if tau_s is None else tau_s
        rng = sheet.rng("place", run, name)
        count = int(rng.poisson(rate_per_h * sheet.usable_s() / 3600.0))
        place = sheet.lead_in_s + np.sort(rng.uniform(0.0, sheet.usable_s(), count))
        low, high = sheet.setting.size_V
        size = np.exp(rng.uniform(np.log(low), np.log(high), count)) * (-1.0) ** np.arange(count)
        sheet.glitch(run, name, place, 3.0 * tau, size, "decay")


@kind(
    "capacitor",
    "situation",
    "behind an output capacitor a lasting 6 V fault is one spike, then nothing",
    verdict="one-off",
    settled_V=0.0002,
    surge_V=0.3,
    surge_tau_s=3.0,
)
def capacitor(sheet: Sheet, *, fault_V: float = 6.0, tau_s: float = 2.0) -> None:
    """Step to ``fault_V`` before the capacitor once; at the terminals it decays with ``tau_s``."""
    for name in sheet.bad:
        rng = sheet.rng("place", 0, name)
        place = sheet.lead_in_s + float(rng.uniform(0.0, 0.9)) * sheet.usable_s()
        sheet.glitch((sheet.setting.runs - 1) // 2, name, place, 3.0 * tau_s, fault_V, "decay")
