"""The guard's reasons and figures in words: what is open, in volts and hours."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

from flicker.base.formats import clock_text, digits_text, hours_text, once_text, seconds_text, times_text, volts_text
from flicker.evidence.guard.at_zero import NOTHING_V
from flicker.evidence.guard.awake import HELD_DIGITS, RANGE_V
from flicker.evidence.guard.model import Asleep, Guard, Reason
from flicker.signals.guard.figures import GRACE_S


def reason_text(reason: Reason, guard: Guard) -> str:
    """One reason against a clearance, with its figure."""
    found, limits = guard.figures, guard.limits
    largest = f", the largest {volts_text(found.largest_swing_V)}"
    texts = {
        Reason.OPEN: _forgiven(guard),
        Reason.PEAK: f"readings up to {volts_text(found.peak_V)} after the first seconds",
        Reason.OVER: f"over range {times_text(found.over_range)}",
        Reason.REST: f"rested at up to {volts_text(found.largest_V)}",
        Reason.BEYOND: f"beyond {volts_text(limits.rest_V)} for {hours_text(found.beyond_s / 3600.0)} in all",
        Reason.MOVE: f"moved {volts_text(found.moved_V)}",
        Reason.SPREAD: f"restless by {volts_text(found.spread_V)} within five minutes",
        Reason.SWINGS: f"swung {times_text(found.swings)} by {volts_text(limits.swing_V)} or more{largest}",
        Reason.RATE: f"more than {limits.rate_per_h:g} swing per hour is not excluded yet",
        Reason.BLANK: f"{_blanks(guard)}, as an overload leaves",
        Reason.SHORT: f"{hours_text(found.judged_h) if found.judged_h > 0 else 'nothing'} judged after the first 20 minutes, where {hours_text(limits.judged_h)} is needed",
        Reason.GAPS: f"{hours_text(found.unseen_s / 3600.0)} without a reading",
        Reason.SELDOM: _seldom(guard),
        Reason.DEAD: _dead(guard),
        Reason.SAME: "repeats the readings of another channel, to the last digit or a fixed part of each",
        Reason.UNIT: "level and noise became a thousandth, or a thousand times, at once, as from millivolts to volts",
        Reason.SIGN: "went from its rest to exactly zero again and again, and never reads below: a swing below zero would not be seen",
        Reason.FALLS: f"fell from its rest to zero and came back {times_text(found.falls)}, for up to {seconds_text(found.longest_hidden_s)}: nothing shows what stood there",
        Reason.HELD: f"repeats one reading to the last digit {times_text(found.held)}, for up to {seconds_text(found.longest_hidden_s)}, while it moves else",
        Reason.AVERAGED: "averages were read, or one extreme alone: what is short, or swings the other way, does not show; the extremes tell",
        Reason.UNDATED: "a log without a date that does not show its start",
    }
    return texts[reason]


def _dead(guard: Guard) -> str:
    found = guard.figures
    hours = hours_text(found.observed_h + found.asleep_h)
    if _digit_hides(guard):
        return f"no sign of life: reads within one last digit ({_millivolts(found.digit_V)}) of zero, where at rest and asleep look alike; {hours} do not count"
    return f"no sign of life: within {_millivolts(max(found.largest_V, found.digit_V))} of zero for {hours}, as a dead input reads, and no start of an output in the log"


def _digit_hides(guard: Guard) -> bool:
    """Whether the last digit is too coarse for a quiet output to show."""
    found = guard.figures
    rests_V = max(abs(found.last_V or 0.0), NOTHING_V)
    near = rests_V <= 1.01 * found.digit_V
    return near or HELD_DIGITS * found.digit_V > RANGE_V


def _millivolts(volts: float) -> str:
    return f"{digits_text(volts * 1e3)} mV"


def _forgiven(guard: Guard) -> str:
    found = guard.figures
    if found.alike_starts:
        return f"up to {volts_text(found.open_peak_V)} in the first {GRACE_S:g} s of {found.alike_starts} starts, alike as no open lead is"
    return f"{volts_text(found.open_peak_V)} in the first {GRACE_S:g} s, as an open lead or a large surge gives"


def _seldom(guard: Guard) -> str:
    found = guard.figures
    if found.renewed_s > found.seldom_s:
        row = "second" if abs(found.seldom_s - 1.0) < 0.05 else _seconds(found.seldom_s)
        return (
            f"the value is renewed only every {float(f'{found.renewed_s:.2g}'):g} s, though a row is written each {row}: a "
            "glitch shorter than that cannot be seen"
        )
    return f"one reading in {hours_text(found.seldom_s / 3600.0)}, where {guard.limits.seldom_s:g} s is needed"


def _blanks(guard: Guard) -> str:
    found = guard.figures
    counted = ((found.blanks, "in this channel alone"), (found.shared_blanks, "in all channels at once"))
    long = [f"{times_text(number)} {where}" for number, where in counted if number]
    if long:
        return f"no reading for {guard.limits.blank_s:g} s and more, {' and '.join(long)}"
    return f"{found.short_blanks} missing readings in this channel alone"


# What a reader should hear first (danger, then size, then what is merely missing), and what to do about each. None: log on.
ADVICE: dict[Reason, str | None] = {
    Reason.OVER: "log again on a larger range, for what was over range is not known",
    Reason.REST: "look at the input pair, its bias and feedback; repeat from cold",
    Reason.PEAK: "find what made the peak; repeat from cold",
    Reason.OPEN: "say where the leads sit ('measured_at' in the case file), or measure before the output relay, and log the "
    "start again. An output capacitor's thump reads so too: say 'output' in the case file",
    Reason.BEYOND: "find what takes it there; repeat from cold",
    Reason.MOVE: "look at what warms up, at supply and bias, at trimmers and joints; repeat from cold, and log on once it is warm",
    Reason.SPREAD: "find what makes it restless: the output stage, its supply, or the leads",
    Reason.SWINGS: "find what makes it swing; then log again",
    Reason.BLANK: "log again on a larger range, and see why readings are missing",
    Reason.DEAD: "check the lead and the range (direct volts), begin a log with the unit off, and switch it on while logging, "
    "no loudspeaker connected. Behind an output transformer or capacitor no direct voltage shows, whatever the amplifier "
    "does: say 'output' in the case file, and leave what lies before it to those trained for its voltages",
    Reason.SAME: "two leads on one output, one column written twice, or an input left open? Put each lead on its own output, and log again",
    Reason.UNIT: "did the unit change within the file? Split it there, and say the unit of each part",
    Reason.SIGN: "log with a meter and a range that read volts of both signs, and write no zero where there is no reading",
    Reason.FALLS: "does an output relay open, a contact or the lead? Find which, and measure before the relay; mark what was touched",
    Reason.HELD: "does the meter hold a reading when it is overloaded, or the logger fill what is missing? Log again on a larger range, without filling",
    Reason.AVERAGED: "read the columns of minima and maxima as well (--channels NAME,NAME)",
    Reason.UNDATED: "say when each log was made, or log the start of each",
    Reason.SELDOM: "log again with a new reading of the meter at least every 30 s",
    Reason.GAPS: "log again without gaps: too much of the time was not seen",
    Reason.SHORT: None,
    Reason.RATE: None,
}


def advice_text(reason: Reason, guard: Guard) -> str | None:
    """What to do about a reason; where no life shows, what the meter must do for it to show."""
    advice, found = ADVICE[reason], guard.figures
    if reason != Reason.DEAD:
        return advice
    if _digit_hides(guard):
        return f"the last digit of {_millivolts(found.digit_V)} hides a quiet output: log again on a range with a finer one. Then {advice}"
    if found.seldom_s > GRACE_S:
        return f"at one reading in {_seconds(found.seldom_s)} a start is missed: log a start with one each second. Then {advice}"
    return advice


def first_reason(guard: Guard) -> Reason | None:
    """The weightiest reason."""
    return next((reason for reason in ADVICE if reason in guard.reasons), None)


def reasons_text(guard: Guard) -> str:
    """All reasons, the weightiest first."""
    return "; ".join(reason_text(reason, guard) for reason in ADVICE if reason in guard.reasons)


def not_excluded(
    guard: Guard, movement_V: float | None, cadence_s: float, steady_upper_per_h: float | None = None
) -> str:
    """What the log leaves open, in volts: said of a cleared channel too.

    ``movement_V`` is how large movement may still be by the test in noise of unknown colour, None where it cannot tell.
    ``steady_upper_per_h`` is the limit of a log without an episode, None where there was one: where the guard saw no
    swing either, it is the one that is told, so that a clean log has one limit.
    """
    found, limits = guard.figures, guard.limits
    if found.judged_h <= 0:
        move = "movement of any size"
    else:
        most = max(found.moved_V, 0.001, limits.move_V if movement_V is None else min(movement_V, 10.0))
        move = f"movement up to {volts_text(most)}"
    swing = f"swings under {volts_text(limits.swing_V)} or shorter than {_seconds(cadence_s)}"
    if found.swings or steady_upper_per_h is None:  # of a channel that swings, nobody asks how rarely it might
        hidden = f" {worst_case(guard)}" if found.blanks + found.shared_blanks + found.short_blanks else ""
        return f"Not excluded: {move}; {swing}.{hidden}"
    rare = f"swings rarer than {once_text(steady_upper_per_h)}" if math.isfinite(steady_upper_per_h) else "swings, however often"
    return f"Not excluded: {move}; {swing}; {rare}. {worst_case(guard)}"


def asleep_text(channel: str, guard: Guard, begun: datetime | None) -> str:
    """What does not count, with its volts: ``begun`` is when the run of the first such time began."""
    rows = guard.asleep
    first = rows[0]
    when = f"from {_moment(first.begin_s, first, begun)} to {_moment(first.end_s, first, begun)}"
    if begun is not None and len({row.run for row in rows}) > 1:  # a time of day alone does not say of which evening
        when = f"on {begun + timedelta(seconds=first.begin_s):%Y-%m-%d} {when}"
    if len(rows) > 1:
        others = times_text(len(rows) - 1)
        when += f" and {others} more, {hours_text(sum(row.end_s - row.begin_s for row in rows) / 3600.0)} in all"
    if abs(first.level_V) > guard.limits.rest_V:  # no dead input reads such volts
        what = "a fault, or another range?"
    else:
        what = "a lead in the air?" if first.width_V > guard.limits.spread_V else "asleep, lead off, or another range?"
    reads = f"{first.level_V:.2f} V" if abs(first.level_V) >= 1.0 else f"{first.level_V * 1e3:.1f} mV ± {first.width_V * 500:.1f}"
    return (
        f"{channel} reads {reads} {when}, unlike the rest: {what} "
        "These hours do not count as clean; they are searched for volts all the same. If somebody set it so, mark that moment "
        "as adjusted; a start logged as it is now tells for certain."
    )


def do_not_count(guard: Guard) -> str:
    """Hours that do not count, as the end of a sentence; nothing where all do."""
    lost = hours_text(guard.figures.asleep_h)
    return f"; {lost} more do not count: asleep, or lead off?" if guard.figures.asleep_h > 0.0 else ""


def _moment(seconds: float, row: Asleep, begun: datetime | None) -> str:
    if begun is not None:
        return (begun + timedelta(seconds=seconds)).strftime("%H:%M")
    return clock_text(seconds) if row.run == 0 else f"{clock_text(seconds)} of run {row.run + 1}"


def worst_case(guard: Guard) -> str:
    """Hours that are needed if every blank hides a swing, said also where there is none."""
    found = guard.figures
    blanks = found.blanks + found.shared_blanks + found.short_blanks
    per_hour = f"{guard.limits.rate_per_h:g} per hour"
    needed, seen = hours_text(found.worst_case_h), hours_text(found.observed_h)
    if not blanks:
        return f"{needed} without a swing exclude {per_hour}; {seen} were logged, and no blank in them could hide one."
    hidden = "the one blank" if blanks == 1 else f"each of {blanks} blanks"
    return f"If {hidden} hid a swing, it takes {needed} without one to exclude {per_hour}; {seen} were logged."


def _seconds(seconds: float) -> str:
    return f"{digits_text(seconds, 3)} s" if seconds >= 0.0995 else f"{digits_text(seconds * 1e3, 3)} ms"
