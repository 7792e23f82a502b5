"""What the signal stage needs to know, and no more: thresholds and times, in SI units."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Settings of the signal stage; `flicker.base.limits.Limits` fills them."""

    excursion_V: float
    long_episode_s: float
    baseline_follow_s: float
    settle_band_V: float
    warm_up_s: float
    dead_time_s: float
    protection_V: float
    release_V: float
    trip_delay_s: float
    reconnect_s: float
    recover_s: float = 2.0
    cold_after_s: float = 3600.0  # off this long is a cold start; common practice, no source
    digit_V: float | None = None  # last digit at most, where it is known from another input of the same meter
