"""A protection relay described, and what it did: the results of `flicker.signals.relay`."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from flicker.base import check
from flicker.base.arrays import Floats
from flicker.base.formats import digits_text, seconds_text, times_text
from flicker.base.limits import Limits
from flicker.base.result import Result

LOAD_OHM = 8.0  # common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Relay(Result):
    """Description of a protection relay: assumed, not measured on this unit (defaults: common practice, no source).

    Raises
    ------
    ValueError
        If a value is out of range or ``release_V`` is above ``trip_V``.
    """

    trip_V: float = 0.75
    trip_delay_s: float = 0.1
    release_V: float = 0.75
    reconnect_s: float = 4.0
    load_ohm: float = LOAD_OHM

    def __post_init__(self) -> None:
        """Check every value."""
        for name in ("trip_V", "release_V", "load_ohm"):
            check.positive(name, getattr(self, name))
        for name in ("trip_delay_s", "reconnect_s"):
            check.positive(name, getattr(self, name), what="seconds", zero=True)
        if self.release_V > self.trip_V:
            raise ValueError(f"release_V must be at most trip_V ({self.trip_V}), got {self.release_V}")

    @classmethod
    def from_limits(cls, limits: Limits, *, load_ohm: float = LOAD_OHM) -> Relay:
        """Take the relay that the limits assume."""
        return cls(
            trip_V=limits.protection_V,
            trip_delay_s=limits.trip_delay_s,
            release_V=limits.release_V,
            reconnect_s=limits.reconnect_s,
            load_ohm=load_ohm,
        )

    def at(self, trip_V: float) -> Relay:
        """Return the same relay with another trip threshold; the release threshold keeps its share of it."""
        return replace(self, trip_V=trip_V, release_V=trip_V * (self.release_V / self.trip_V))

    @property
    def reads(self) -> str:
        """The description in words."""
        return (
            f"Assumed, not measured on this unit: opens after {self.trip_delay_s:g} s above {self.trip_V:g} V, closes "
            f"after {self.reconnect_s:g} s at or below {self.release_V:g} V."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RelayOutcome(Result):
    """What the relay did with one channel: over one run (`RelayRecord`) or several (`RelayTotal`).

    Attributes
    ----------
    trips, disconnected_s, seconds_above_threshold, longest_exposure_s, peak_V
        Names of the JSON contract. ``seconds_above_threshold`` counts all readings above ``relay.trip_V``,
        ``longest_exposure_s`` the longest stretch of them with the loudspeaker still connected. ``peak_V`` is the
        reading farthest from zero, signed (NaN without any reading; the lower limit where ``at_least``).
    exposed_s, exposed_volt_s, exposed_energy_J, exposed_peak_V
        What reached the loudspeaker: time, volt-seconds and energy into ``relay.load_ohm`` while above the trip
        threshold and connected, and the reading farthest from zero among these (0 where none).
    at_least : bool
        A reading was over range: peaks, volt-seconds and energy are lower limits.
    """

    channel: str
    trips: int
    disconnected_s: float
    seconds_above_threshold: float
    longest_exposure_s: float
    peak_V: float
    exposed_s: float
    exposed_volt_s: float
    exposed_energy_J: float
    exposed_peak_V: float
    at_least: bool
    relay: Relay

    @property
    def reads(self) -> str:
        """What happened, for the owner of the unit."""
        return _reads(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class RelayRecord(RelayOutcome):
    """What the relay did with one channel in one run; times in seconds since the run's first sample.

    Attributes
    ----------
    trip_s, reconnect_s : array, shape (trips,), (reconnections,)
        When the relay opened and closed.
    connected, disconnected : array, shape (n, 2)
        Intervals, gaps left out.
    """

    trip_s: Floats
    reconnect_s: Floats
    connected: Floats
    disconnected: Floats
    method: str = "state of a relay with the given thresholds and delays, reading by reading"


@dataclass(frozen=True, slots=True, kw_only=True)
class RelayTotal(RelayOutcome):
    """The records of one channel over several runs, added up."""

    runs: int
    method: str = "sum over runs"


def _reads(record: RelayOutcome) -> str:
    relay, above_s, energy_J = record.relay, record.seconds_above_threshold, record.exposed_energy_J
    if above_s == 0:
        return f"Never above {relay.trip_V:g} V: a relay set there would have stayed closed."
    at = "at least " if record.at_least else ""
    if record.trips == 0:
        what = f"never for the {relay.trip_delay_s:g} s that open the relay"
    else:
        what = f"the relay would have opened {times_text(record.trips)}, for {seconds_text(record.disconnected_s)} in all"
    above = f"The output stood above {relay.trip_V:g} V for {seconds_text(above_s)}; {what}"
    if record.exposed_peak_V == 0.0:
        return f"{above}, and nothing of it would have reached the loudspeaker."
    return (
        f"{above}, and the loudspeaker would have seen "
        f"{at}{digits_text(abs(record.exposed_peak_V), 3)} V for up to {seconds_text(record.longest_exposure_s)} at a time "
        f"({at}{digits_text(energy_J, 3)} J into {relay.load_ohm:g} ohm)."
    )


def add_up(records: Sequence[RelayRecord]) -> RelayTotal:
    """Add up the records of one channel over its runs.

    Raises
    ------
    ValueError
        If there is no record, or the records are of different channels or relays.
    """
    if not records:
        raise ValueError("records must hold at least one record, got none")
    head = records[0]
    if any(record.channel != head.channel or record.relay != head.relay for record in records):
        raise ValueError("records must be of one channel and one relay, got several")
    known = [record.peak_V for record in records if not math.isnan(record.peak_V)]
    return RelayTotal(
        channel=head.channel,
        runs=len(records),
        trips=sum(record.trips for record in records),
        disconnected_s=math.fsum(record.disconnected_s for record in records),
        seconds_above_threshold=math.fsum(record.seconds_above_threshold for record in records),
        longest_exposure_s=max(record.longest_exposure_s for record in records),
        peak_V=max(known, key=abs) if known else math.nan,
        exposed_s=math.fsum(record.exposed_s for record in records),
        exposed_volt_s=math.fsum(record.exposed_volt_s for record in records),
        exposed_energy_J=math.fsum(record.exposed_energy_J for record in records),
        exposed_peak_V=max((record.exposed_peak_V for record in records), key=abs),
        at_least=any(record.at_least for record in records),
        relay=head.relay,
    )
