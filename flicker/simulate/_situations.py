"""Faults that volts alone decide, power that comes and goes, hands, the room, and outputs that hide their faults."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from flicker.base.units import HOUR
from flicker.simulate._connection import START_MUTE_S
from flicker.simulate._kinds import noisy, one_off
from flicker.simulate._noise import at_random
from flicker.simulate._sheet import Draw, Sheet, kind, nothing
from flicker.simulate._truth import Mark, PowerUp

# --- faults that volts decide ---------------------------------------------------------------------------------------


def _constant(told_V: float) -> Draw:
    """What draws an output that sits at a level."""

    def constant(sheet: Sheet, *, offset_V: float = told_V) -> None:
        """Hold the bad channels at ``offset_V``."""
        for run, _, trace in sheet.each_bad():
            trace.level += offset_V - trace.settled_V
            trace.settled_V = offset_V
            trace.power_ups[:] = [replace(item, settled_V=offset_V) for item in trace.power_ups]
            # A range that holds the level shows fewer digits.
            last_digit = sheet.setting.resolution_V * max(1.0, 10.0 ** np.ceil(np.log10(abs(offset_V) / 0.6)))
            trace.ranges = [(0, sheet.time[run].size, float(last_digit))]

    return constant


for _name, _text, _told_V in (
    ("settled-offset", "a constant output that sits at 180 mV", 0.180),
    ("stuck-high", "a constant output stuck at 40 V, as with a shorted output transistor", 40.0),
    ("stuck-low", "a constant output at 0.9 V, just beyond common protection", 0.9),
):
    kind(_name, "situation", _text, verdict="steady")(_constant(_told_V))


kind("single-swing", "situation", "one single swing to 6 V", verdict="one-off", length_s=(1.0, 5.0), size_V=6.0)(one_off)


@kind(
    "classic",
    "situation",
    "two minutes: a surge, then four swings within a minute",
    verdict="noisy",
    hours=1.0 / 30.0,
    rate_hz=4.0,
)
def classic(sheet: Sheet) -> None:
    """Surge to 80 mV that falls to 13 mV; readings of -85, then +130/-50, -150/+100 and +95/-60 mV."""
    swings = [
        (63.0, 6.0, -0.085, 0.0),
        (79.0, 5.0, 0.130, -0.050),
        (93.0, 6.0, -0.150, 0.100),
        (108.0, 4.0, 0.095, -0.06),
    ]
    for run, name, trace, rng in sheet.each_bad_stream("classic"):
        trace.settled_V = 0.013
        trace.level[:] = 0.013 + 0.067 * np.exp(-sheet.time[run] / 11.0)
        trace.power_ups[:] = [PowerUp(0.0, 0.067, 11.0, 0.013, "cold")]
        for start, length, first, second in swings:
            begin = start + float(rng.uniform(-0.5, 0.5))
            half = 0.5 * length if second else length
            sheet.glitch(run, name, begin, half, first - trace.settled_V, "rectangular")
            if second:
                sheet.glitch(run, name, begin + half, half, second - trace.settled_V, "rectangular")


# --- power ----------------------------------------------------------------------------------------------------------


def switched_off(sheet: Sheet, run: int, name: str, start_s: float, end_s: float) -> None:
    """Show the switch-off bump, its decay and the quiet of an output without power."""
    first, last = sheet.index(run, start_s), sheet.index(run, end_s)
    rng = sheet.rng(f"off {first}", run, name)
    time = sheet.time[run][first:last] - start_s
    volts = 0.00003 * rng.standard_normal(last - first)
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
            off = at + HOUR * on_h * float(rng.uniform(0.95, 1.05))
            on.append((at, min(off, sheet.span_s)))
            back = off + HOUR * off_h * float(rng.uniform(0.95, 1.05))
            for name in sheet.channels:
                if at > 0.0:
                    sheet.power_up(run, name, at, start="cold" if off_h >= 2.0 else "warm")
                if muted_s > 0.0 and (at > 0.0 or sheet.setting.power_up):
                    sheet.override(run, name, at, at + muted_s, "muted", 0.0)
                if off < sheet.span_s:
                    switched_off(sheet, run, name, off, min(back, sheet.span_s))
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
                sheet.draw(name, start + at_random(rng, rate_per_h, room), run=run, purpose=f"timer {number}")


@kind("mains-dropouts", "situation", "a sound unit whose mains drops out three times for seconds", verdict="steady")
def mains_dropouts(sheet: Sheet, *, dropouts: int = 3, muted_s: float = START_MUTE_S) -> None:
    """Let the mains drop out for 0.3 to 8 s: off, silent for ``muted_s``, then a warm start with a smaller surge."""
    for run in range(sheet.setting.runs):
        rng = sheet.rng("dropouts", run)
        share = (np.arange(dropouts) + rng.uniform(0.2, 0.8, dropouts)) / max(dropouts, 1)
        for at in (sheet.lead_in_s + share * sheet.usable_s).tolist():
            back = at + float(np.exp(rng.uniform(np.log(0.3), np.log(8.0))))
            for name in sheet.channels:
                switched_off(sheet, run, name, at, back)
                if muted_s > 0:
                    sheet.override(run, name, back, back + muted_s, "muted", 0.0)
                scale = float(sheet.rng(f"dropout {at:.3f}", run, name).uniform(0.3, 0.8))
                sheet.power_up(run, name, back, start="warm", scale=scale)


kind(
    "logger-pause",
    "situation",
    "a logger that pauses for twenty minutes while a sound unit stays on",
    verdict="steady",
    pause_s=1200.0,
)(nothing)


# --- hands ----------------------------------------------------------------------------------------------------------


def _trim(sheet: Sheet, trim_V: float, at: float | None, *, marked: bool) -> None:
    """Turn a trimmer in steps, a little too far and back."""
    for name, rng in sheet.bad_streams("trim"):
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
            sheet.marks.append(
                Mark(run=run, time_s=start - 2.0, kind="adjusted", text="trimmed the offset", channel=name, until_s=end)
            )


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
    for name, rng in sheet.bad_streams("taps"):
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
        place = sheet.lead_in_s + at_random(rng, rate_per_h, sheet.usable_s)
        count = place.size
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
        tau = float(sheet.unit_rng("servo", name).uniform(1.0, 6.0)) if tau_s is None else tau_s
        rng = sheet.rng("place", run, name)
        place = sheet.lead_in_s + at_random(rng, rate_per_h, sheet.usable_s)
        low, high = sheet.setting.size_V
        size = np.exp(rng.uniform(np.log(low), np.log(high), place.size)) * (-1.0) ** np.arange(place.size)
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
    for name, rng in sheet.bad_streams("place"):
        place = sheet.lead_in_s + float(rng.uniform(0.0, 0.9)) * sheet.usable_s
        sheet.glitch((sheet.setting.runs - 1) // 2, name, place, 3.0 * tau_s, fault_V, "decay")


@kind("bridged", "situation", "two legs of a bridged output, both near 12 V; one of them glitches", verdict=None)
def bridged(sheet: Sheet, *, common_V: float = 12.0, wander_V: float = 0.050, rate_per_h: float = 6.0) -> None:
    """Put every channel on a common level that wanders; put glitches at ``rate_per_h`` into the bad one.

    Judged leg by leg the wander is drift; the difference of two legs is what a loudspeaker sees.
    """
    for run, _, trace in sheet.each():
        trace.level += common_V + wander_V * np.sin(2.0 * np.pi * sheet.time[run] / 5400.0)
        trace.settled_V += common_V
        trace.power_ups[:] = [replace(item, settled_V=trace.settled_V) for item in trace.power_ups]
    noisy(sheet, rate_per_h=rate_per_h)
