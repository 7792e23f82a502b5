"""What is large enough to matter on the bench: named limits, their defaults, and the TOML file that changes them.

Every default is common practice, no source. A name ends in its unit: ``_V`` volts, ``_s`` seconds, ``_per_h`` per hour.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from flicker.base import check
from flicker.base.result import Doc, Result


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits(Result):
    """Limits used in a verdict, in SI units.

    Attributes
    ----------
    settled_offset_V
        A settled level beyond this is a finding of its own.
    excursion_V
        Floor of the entering threshold, from the baseline; the noise may raise it, never lower it.
    drift_V
        Movement of the settled baseline over the observed time that matters.
    wander_V
        Movement that returns, or that all channels share, and still matters.
    noise_V
        Robust sigma of the settled signal that matters.
    episode_rate_per_h
        Rate of concern: 'steady' must have excluded it.
    nuisance_rate_per_h
        Episodes that a sound unit in a sound room may show (mains switching, a knocked lead).
    dead_time_s
        Longest gap inside one burst: excursions closer than this are one episode.
    long_episode_s, episode_share
        An episode longer than this, or that fills a larger share of the observed time, is evidence of its own.
    baseline_follow_s
        The baseline does not follow moves faster than this.
    surge_V, settle_s, settle_band_V
        A power-up beyond the first two is abnormal; settled means within the band of the settled level.
    warm_up_s
        Observed time after a power-up that is told apart as the phase 'warm-up'.
    cold_after_s
        Off for this long (``off_before_s`` as seen) before a power-up makes it a cold start, else it is a warm one.
    protection_V, trip_delay_s, release_V, reconnect_s
        The protection relay: assumed, not measured on this unit.
    power_up_scatter
        How much power-ups of one unit differ by themselves, as a share of their rate: the scale of what is allowed for
        where the logs hardly tell. 0.5 is common practice, no source.
    danger_V
        A settled level beyond this is dangerous to a loudspeaker whatever else is true.
    recover_s
        Readings this soon after over-range or a range change give no peak.
    confidence
        Of every interval and decision.
    """

    settled_offset_V: Annotated[float, Doc("Volts; a settled level beyond this is a finding of its own.", ge=0)] = 0.050
    excursion_V: Annotated[
        float,
        Doc("Volts from the baseline; floor of the entering threshold (noise may raise it, never lower it).", ge=0),
    ] = 0.040
    drift_V: Annotated[
        float, Doc("Volts; movement of the settled level over the observed time that matters.", ge=0)
    ] = 0.020
    wander_V: Annotated[
        float, Doc("Volts; movement that returns, or that all channels share, and still matters.", ge=0)
    ] = 0.030
    noise_V: Annotated[float, Doc("Volts; robust sigma of the settled signal that matters.", ge=0)] = 0.003
    episode_rate_per_h: Annotated[
        float, Doc("Episodes per observed hour; the rate of concern, which 'steady' must have excluded.", ge=0)
    ] = 1.0
    nuisance_rate_per_h: Annotated[
        float, Doc("Episodes per observed hour that a sound unit in a sound room may show.", ge=0)
    ] = 0.01
    dead_time_s: Annotated[float, Doc("Seconds; excursions closer than this are one episode.", ge=0)] = 10.0
    long_episode_s: Annotated[float, Doc("Seconds; a longer episode is evidence of its own.", ge=0)] = 120.0
    episode_share: Annotated[
        float, Doc("Share of the observed time; an episode that fills more is evidence of its own.", ge=0)
    ] = 0.02
    baseline_follow_s: Annotated[float, Doc("Seconds; the baseline does not follow faster moves.", ge=0)] = 1800.0
    surge_V: Annotated[float, Doc("Volts; a larger power-up surge is abnormal.", ge=0)] = 0.200
    settle_s: Annotated[float, Doc("Seconds; a power-up that takes longer to settle is abnormal.", ge=0)] = 120.0
    settle_band_V: Annotated[float, Doc("Volts around the settled level that count as settled.", ge=0)] = 0.010
    warm_up_s: Annotated[
        float, Doc("Observed seconds after a power-up that are told apart as the phase 'warm-up'.", ge=0)
    ] = 900.0
    cold_after_s: Annotated[float, Doc("Seconds off before a power-up that make it a cold start.", ge=0)] = 3600.0
    protection_V: Annotated[float, Doc("Volts at which the assumed protection relay opens.", ge=0)] = 0.75
    trip_delay_s: Annotated[float, Doc("Seconds beyond protection_V before the assumed relay opens.", ge=0)] = 0.1
    release_V: Annotated[float, Doc("Volts below which the assumed relay may close again.", ge=0)] = 0.75
    reconnect_s: Annotated[float, Doc("Seconds after which the assumed relay closes again.", ge=0)] = 4.0
    danger_V: Annotated[float, Doc("Volts; a settled level beyond this is dangerous to a loudspeaker.", ge=0)] = 2.0
    power_up_scatter: Annotated[
        float,
        Doc(
            "How much power-ups differ by themselves, as a share of their rate: the scale of what is allowed for where logs hardly tell.",
            gt=0,
            le=2,
        ),
    ] = 0.5
    recover_s: Annotated[
        float, Doc("Seconds after over-range or a range change in which a reading gives no peak.", ge=0)
    ] = 2.0
    confidence: Annotated[float, Doc("Confidence of the intervals, a share between 0 and 1.", gt=0, lt=1)] = 0.95

    def __post_init__(self) -> None:
        """Check every limit.

        Raises
        ------
        ValueError
            If a limit is not a finite number above 0 (from 0 on for the two delays), a share is outside (0, 1),
            ``power_up_scatter`` is above 2, or ``release_V`` is above ``protection_V``.
        """
        for field in dataclasses.fields(self):
            value = getattr(self, field.name)
            if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
                raise ValueError(f"limit {field.name} must be a finite number, got {value!r}")
            zero_allowed = field.name in {"dead_time_s", "trip_delay_s", "recover_s", "reconnect_s"}
            if value < 0 or (value == 0 and not zero_allowed):
                raise ValueError(
                    f"limit {field.name} must be {'0 or more' if zero_allowed else 'above 0'}, got {value}"
                )
            object.__setattr__(self, field.name, float(value))
        for name in ("episode_share", "confidence"):
            if not 0 < getattr(self, name) < 1:
                raise ValueError(f"limit {name} must lie between 0 and 1, got {getattr(self, name)}")
        if self.power_up_scatter > 2.0:
            raise ValueError(f"limit power_up_scatter must be at most 2, got {self.power_up_scatter}")
        if self.release_V > self.protection_V:
            raise ValueError(f"limit release_V ({self.release_V}) must not be above protection_V ({self.protection_V})")

    def replace(self, **changes: float) -> Limits:
        """Return these limits with some changed."""
        return from_mapping({**dataclasses.asdict(self), **changes}, "limits")


def names() -> tuple[str, ...]:
    """Names of all limits."""
    return tuple(field.name for field in dataclasses.fields(Limits))


def from_mapping(values: Mapping[str, Any], where: str) -> Limits:
    """Build limits from a mapping; an unknown name is an error that offers the nearest known one."""
    known = names()
    for name in values:
        if name not in known:
            raise ValueError(f"{where}: {name!r} is not a limit; {check.hint(name, known, listed='known limits:')}")
    try:
        return Limits(**values)
    except ValueError as problem:
        raise ValueError(f"{where}: {problem}") from None


def read_limits(path: str | Path) -> Limits:
    """Read limits from the ``[limits]`` table of a TOML file; what it does not name keeps its default.

    Raises
    ------
    ValueError
        If the file cannot be read, is not TOML, has no ``[limits]`` table, or holds an unknown or impossible limit.
    """
    import tomllib  # late: most commands bring no file of limits

    try:
        with open(path, "rb") as file:
            document = tomllib.load(file)
    except OSError as problem:
        raise ValueError(f"{path}: the limits cannot be read ({problem.strerror}).") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
        raise ValueError(f"{path}: not a TOML file ({problem}).") from None
    table = document.get("limits")
    if not isinstance(table, dict):
        raise ValueError(f"{path}: no [limits] table. Write [limits] on a line, then for example drift_V = 0.020.")
    return from_mapping(table, str(path))
