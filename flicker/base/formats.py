"""Numbers as people read them: one formatter for each kind. Sentences, pages and tables take theirs from here."""

from __future__ import annotations

import math
from collections.abc import Iterable

from flicker.base.units import HOUR

LEAST_V = 1e-6  # a choice: no meter at an output shows less, and what is reckoned below it is nought
P_LEAST = 1e-4  # common practice: below it a p-value's own digits say nothing a reader can use


def hours_text(hours: float) -> str:
    """A length of time as people say it."""
    if hours < 1.0 / 60.0:
        return _counted(f"{hours * HOUR:.0f}", "second")
    if hours < 0.995:
        return _counted(f"{hours * 60.0:.0f}", "minute")
    if hours < 100.0:
        return _counted(f"{hours:.1f}".rstrip("0").rstrip("."), "hour")
    return _counted(f"{hours / 24.0:.0f}", "day")


def lasting_text(seconds: float) -> str:
    """A length of time given in seconds, as people say it."""
    return hours_text(seconds / HOUR)


def clock_text(seconds: float) -> str:
    """A moment of a run, counted from its start: '1 h 02 min 03 s'."""
    whole = round(seconds)
    hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
    if hours:
        return f"{hours} h {minutes:02d} min {rest:02d} s"
    return f"{minutes} min {rest:02d} s" if minutes else f"{rest} s"


def brief_text(seconds: float) -> str:
    """A length of time in six letters and fewer: '45 s', '45 min', '1.9 h', '12 h', '5 d'."""
    if seconds < 120.0:
        return f"{digits_text(seconds)} s"
    if seconds < 5970.0:
        return f"{digits_text(seconds / 60.0)} min"
    return f"{digits_text(seconds / HOUR)} h" if seconds < 100.0 * HOUR else f"{seconds / 24.0 / HOUR:.0f} d"


def volts_text(volts: float) -> str:
    """A voltage as people say it."""
    size = abs(volts)
    if size < 0.9995:
        return f"{round(volts * 1e3)} mV"  # no sign before a nought
    return f"{volts:.2f} V" if size < 10 else f"{volts:.0f} V"


def once_text(per_hour: float) -> str:
    """A rate as people say it: 'once in 2 hours', 'once an hour', '4.2 times an hour'."""
    if per_hour <= 0.0:
        return "never"
    if per_hour < 0.9995:
        return f"once in {hours_text(1.0 / per_hour)}"
    often = digits_text(per_hour)
    return "once an hour" if often == "1" else f"{often} times an hour"


def digits_text(value: float, digits: int = 2) -> str:
    """A figure to so many digits, whole beyond them and never with an exponent: '0.61', '21', '179'."""
    if not math.isfinite(value):
        return "not known" if math.isnan(value) else "without end"
    size = abs(value)
    if size >= 10**digits - 0.5:
        return f"{value:.0f}"
    if size >= 1e-4 or size == 0.0:
        return f"{value + 0.0:.{digits}g}"
    return f"{value:.{digits - 1 - math.floor(math.log10(size))}f}".rstrip("0")


def times_text(count: int) -> str:
    """Once, twice, or a number of times."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def seen_text(count: int, seconds: float, none: str = "none") -> str:
    """How often something was seen, and in what time: '3 times in 2.5 hours', 'none in 1 hour'."""
    return f"{times_text(count) if count else none} in {lasting_text(seconds)}"


def count_text(number: int, word: str) -> str:
    """'1 episode', '2 episodes'."""
    return f"{number} {word}{'' if number == 1 else 's'}"


def power_ups_text(number: int, each_h: float) -> str:
    """'1 power-up of 2 hours', '5 power-ups of 1.5 hours'."""
    return f"{count_text(number, 'power-up')} of {hours_text(each_h)}"


def p_text(p_value: float | None) -> str:
    """A p-value without false precision: '0.031', 'below 0.0001'."""
    if p_value is None or not math.isfinite(p_value):
        return "none"
    return f"below {P_LEAST:.4f}" if p_value < P_LEAST else f"{p_value:.2g}"


def p_said(p_value: float | None) -> str:
    """The same with its sign, for a sentence: 'p = 0.031', 'p below 0.0001'."""
    said = p_text(p_value)
    return "no p-value" if said == "none" else f"p {said}" if said.startswith("below") else f"p = {said}"


def share_text(share: float) -> str:
    """A share in per cent: two digits, never a bare nought for what was seen, nor a hundred for what is less than all."""
    if 0.0 < share < 0.001:
        return "less than 0.1%"
    if 0.995 <= share < 1.0:
        return "more than 99.9%" if share > 0.9995 else f"{100.0 * share:.3g}%"
    return f"{digits_text(100.0 * share)}%"


def scatter_text(scatter: float) -> str:
    """By how much things of one kind differ: '73%', or 'any amount'."""
    return share_text(scatter) if math.isfinite(scatter) else "any amount"


def factor_text(factor: float | None) -> str:
    """A factor without false precision: '3.4 times'."""
    if factor is None or math.isnan(factor):
        return "not known"
    if factor > 100.0:
        return "more than 100 times"
    return "less than a hundredth" if factor < 0.01 else f"{digits_text(factor)} times"


def millivolts_text(volts: float | None) -> str:
    """A voltage to three digits, in millivolts below a volt: '5.94 mV', '58 V'."""
    if volts is None:
        return "unknown"
    if 0.0 < abs(volts) < LEAST_V:
        return "under 0.001 mV"
    return f"{digits_text(volts * 1e3, 3)} mV" if abs(volts) < 0.9995 else f"{digits_text(volts, 3)} V"


def moved_text(volts: float) -> str:
    """A step or a shift with its sign: '+5.94 mV', '−58 V'."""
    return f"{'+' if volts > 0 else ''}{millivolts_text(volts)}".replace("-", "\N{MINUS SIGN}")


def seconds_text(seconds: float) -> str:
    """A short time to three digits in seconds, a long one as people say it: '0.25 s', '1.4 hours'."""
    return f"{digits_text(seconds, 3)} s" if seconds < 120.0 else lasting_text(seconds)


def _counted(number: str, unit: str) -> str:
    return f"{number} {unit}" + ("" if number == "1" else "s")


def names_text(names: Iterable[str]) -> str:
    """Names one after another: 'left', 'left, right and centre'."""
    *others, last = names
    return f"{', '.join(others)} and {last}" if others else last


def channel_text(channel: str) -> str:
    """A channel's name at the beginning of a sentence: 'The left channel', 'Channel 2', 'Channel ch1'."""
    if "channel" in channel.lower():
        return channel[:1].upper() + channel[1:]
    return f"Channel {channel}" if channel.lower().startswith("ch") or len(channel) < 3 else f"The {channel} channel"
