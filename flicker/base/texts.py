"""Numbers, times and names as people say them."""

from __future__ import annotations


def hours_text(hours: float) -> str:
    """A length of time as people say it."""
    if hours < 1.0 / 60.0:
        return _counted(f"{hours * 3600.0:.0f}", "second")
    if hours < 0.995:
        return _counted(f"{hours * 60.0:.0f}", "minute")
    if hours < 100.0:
        return _counted(f"{hours:.1f}".rstrip("0").rstrip("."), "hour")
    return _counted(f"{hours / 24.0:.0f}", "day")


def clock_text(seconds: float) -> str:
    """A moment of a run, counted from its start: '1 h 02 min 03 s'."""
    whole = round(seconds)
    hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
    if hours:
        return f"{hours} h {minutes:02d} min {rest:02d} s"
    return f"{minutes} min {rest:02d} s" if minutes else f"{rest} s"


def _counted(number: str, unit: str) -> str:
    return f"{number} {unit}" + ("" if number == "1" else "s")


def channel_text(channel: str) -> str:
    """A channel's name at the beginning of a sentence: 'The left channel', 'Channel 2', 'Channel ch1'."""
    if channel.lower().startswith("channel"):
        return channel[:1].upper() + channel[1:]
    return f"Channel {channel}" if channel.lower().startswith("ch") or len(channel) < 3 else f"The {channel} channel"


def volts_text(volts: float) -> str:
    """A voltage as people say it."""
    size = abs(volts)
    if size < 0.9995:
        return f"{volts * 1e3:.0f} mV"
    return f"{volts:.2f} V" if size < 10 else f"{volts:.0f} V"


def times_text(count: int) -> str:
    """Once, twice, or a number of times."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")
