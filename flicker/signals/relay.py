"""What would a protection relay have done? Readings and a relay's description in; clicks, intervals and exposure out.

The relay sees absolute volts as measured, not the distance from a baseline. It opens once the reading has been above
the trip threshold for the trip delay, and closes once the reading has stayed at or below the release threshold for the
reconnect delay; a reading above the release threshold starts that timer anew. A reading stands until the next one (for
one sample interval at a gap and at the end); a missing reading is no reading; one over range is above every threshold.
A gap keeps the relay as it was, starts both timers anew and counts as neither connected nor disconnected.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import compress

import numpy as np
from numpy.typing import ArrayLike, NDArray

from flicker.logs.model import Log
from flicker.logs.spans import spans, total, without
from flicker.signals.blocks import ChannelBlocks, RunBlocks
from flicker.signals.excursions import stretches
from flicker.signals.settings import Settings
from flicker.signals.stash import rows_again
from flicker.stats import _check
from flicker.stats._result import Result

Floats = NDArray[np.float64]

LOAD_OHM = 8.0  # common practice, no source
FEED_ROWS = 1 << 15
GAP_STEPS = 3.0  # a longer step is a gap, as in `flicker.logs.sampling`
_CALM, _BETWEEN, _ABOVE = 0, 1, 2


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
            _check.positive(name, getattr(self, name))
        for name in ("trip_delay_s", "reconnect_s"):
            _check.positive(name, getattr(self, name), what="seconds", zero=True)
        if self.release_V > self.trip_V:
            raise ValueError(f"release_V must be at most trip_V ({self.trip_V}), got {self.release_V}")

    @classmethod
    def from_settings(cls, settings: Settings, *, load_ohm: float = LOAD_OHM) -> Relay:
        """Take the relay from the settings of the signal stage."""
        return cls(
            trip_V=settings.protection_V,
            trip_delay_s=settings.trip_delay_s,
            release_V=settings.release_V,
            reconnect_s=settings.reconnect_s,
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


@dataclass(frozen=True, slots=True)
class RelayRecord(Result):
    """What the relay did with one channel in one run; times in seconds since the run's first sample.

    Attributes
    ----------
    trips, disconnected_s, seconds_above_threshold, longest_exposure_s, peak_V
        Names of the JSON contract. ``seconds_above_threshold`` counts all readings above ``relay.trip_V``,
        ``longest_exposure_s`` the longest stretch of them with the loudspeaker still connected. ``peak_V`` is the
        reading farthest from zero, signed (NaN without any reading; the lower limit where ``at_least``).
    exposed_s, exposed_volt_s, exposed_energy_J, exposed_peak_V
        What reached the loudspeaker: time, volt-seconds and energy into ``relay.load_ohm`` while above the trip
        threshold and connected, and the reading farthest from zero among these (0 where none).
    trip_s, reconnect_s : array, shape (trips,), (reconnections,)
        When the relay opened and closed.
    connected, disconnected : array, shape (n, 2)
        Intervals, gaps left out.
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
    trip_s: Floats
    reconnect_s: Floats
    connected: Floats
    disconnected: Floats
    relay: Relay
    method: str = "state of a relay with the given thresholds and delays, reading by reading"

    @property
    def reads(self) -> str:
        """What happened, for the owner of the unit."""
        return _reads(
            self.trips,
            self.disconnected_s,
            self.seconds_above_threshold,
            self.longest_exposure_s,
            self.exposed_peak_V,
            self.exposed_energy_J,
            self.at_least,
            self.relay,
        )


@dataclass(frozen=True, slots=True)
class RelayTotal(Result):
    """The records of one channel over several runs, added up (names as in `RelayRecord`)."""

    channel: str
    runs: int
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
    method: str = "sum over runs"

    @property
    def reads(self) -> str:
        """What happened, for the owner of the unit."""
        return _reads(
            self.trips,
            self.disconnected_s,
            self.seconds_above_threshold,
            self.longest_exposure_s,
            self.exposed_peak_V,
            self.exposed_energy_J,
            self.at_least,
            self.relay,
        )


def _reads(
    trips: int,
    away_s: float,
    above_s: float,
    longest_s: float,
    peak_V: float,
    energy_J: float,
    least: bool,
    relay: Relay,
) -> str:
    if above_s == 0:
        return f"Never above {relay.trip_V:g} V: a relay set there would have stayed closed."
    at = "at least " if least else ""
    if trips == 0:
        what = f"never for the {relay.trip_delay_s:g} s that open the relay"
    else:
        times = "once" if trips == 1 else f"{trips} times"
        what = f"the relay would have opened {times}, for {away_s:.3g} s in all"
    above = f"The output stood above {relay.trip_V:g} V for {above_s:.3g} s; {what}"
    if peak_V == 0.0:
        return f"{above}, and nothing of it would have reached the loudspeaker."
    return (
        f"{above}, and the loudspeaker would have seen {at}{abs(peak_V):.3g} V for up to {longest_s:.3g} s at a time ({at}{energy_J:.3g} J into "
        f"{relay.load_ohm:g} ohm)."
    )


class RelayMachine:
    """The relay of one channel, fed with readings in order; how they are cut into pieces does not show.

    Only whole stretches of one kind (above, between, calm) count: one above the trip threshold for the trip delay opens
    the relay, a calm one of the reconnect delay closes it, whatever its state before. So state follows from the last
    such stretch, and no loop over readings is needed.
    """

    def __init__(self, relay: Relay, sample_interval_s: float, *, connected: bool = True) -> None:
        self.relay = relay
        self.step = _check.positive("sample_interval_s", sample_interval_s, what="seconds")
        self.slack = 1e-6 * self.step  # so that a stretch of exactly the delay counts in spite of rounding
        self.connected = connected
        self._begins_connected = connected
        self._time = np.empty(0)  # the last reading, whose end is not known yet
        self._volts = np.empty(0)
        self._kind = -1  # of the open stretch; -1 none
        self._since = 0.0
        self._until = 0.0
        self._held = [0.0, 0.0, 0.0]  # open stretch: volt-seconds and joules so far (up to the trip), peak
        self._trips: list[Floats] = []
        self._closes: list[Floats] = []
        self.above_s = self.exposed_s = self.volt_s = self.energy_J = self.longest_s = 0.0
        self.exposed_peak = 0.0
        self.peak = math.nan
        self.over_range = False

    @property
    def idle(self) -> bool:
        """Calm readings may follow unseen: the relay is closed and nothing is pending."""
        if self._volts.size and abs(float(self._volts[0])) > self.relay.trip_V:
            return False
        calm = self._kind == _CALM and self._until - self._since >= self.relay.reconnect_s - self.slack
        opens = self._kind == _ABOVE and self._until - self._since >= self.relay.trip_delay_s - self.slack
        return calm or (self.connected and not opens)

    def feed(self, time_s: Floats, values: Floats) -> None:
        """Take the next readings."""
        there = ~np.isnan(values)
        time = np.concatenate((self._time, time_s[there]))
        volts = np.concatenate((self._volts, values[there]))
        if time.size:
            self._take(time[:-1], volts[:-1], time[1:])
            self._time, self._volts = time[-1:], volts[-1:]

    def pause(self) -> None:
        """End what is open: a stretch without readings of interest follows, or the run is over."""
        if self._time.size:
            time, volts = self._time, self._volts
            self._time, self._volts = np.empty(0), np.empty(0)
            self._take(time, volts, time + self.step)
        self._close()

    def _take(self, begin: Floats, volts: Floats, until: Floats) -> None:
        if begin.size == 0:
            return
        gap = until - begin > GAP_STEPS * self.step + self.slack
        end = np.where(gap, begin + self.step, until)
        size = np.abs(volts)
        over = np.isinf(size)
        if over.any():
            self.over_range = True
            size = np.where(over, self.relay.trip_V, size)
            volts = np.where(over, np.copysign(self.relay.trip_V, volts), volts)
        top = int(np.argmax(size))
        if not abs(self.peak) >= size[top]:
            self.peak = float(volts[top])
        kind = np.where(
            over | (size > self.relay.trip_V), _ABOVE, np.where(size > self.relay.release_V, _BETWEEN, _CALM)
        )
        fresh = np.concatenate(([kind[0] != self._kind], (kind[1:] != kind[:-1]) | gap[:-1]))
        if fresh[0]:
            self._close()
        first = np.flatnonzero(np.concatenate(([True], fresh[1:])))
        last = np.concatenate((first[1:], [kind.size])) - 1
        since = begin[first].copy()
        if not fresh[0]:
            since[0] = self._since
        kinds = kind[first]
        # Of each reading only the part before the relay opens can reach the loudspeaker.
        opens = np.repeat(since + self.relay.trip_delay_s, last - first + 1)
        part = np.clip(np.minimum(end, opens) - begin, 0.0, None)
        volt_s = np.add.reduceat(size * part, first)
        energy = np.add.reduceat(size * size * part, first) / self.relay.load_ohm
        reached = np.where(part > 0, size, 0.0)
        peak = np.maximum.reduceat(reached, first)
        if not fresh[0]:
            volt_s[0] += self._held[0]
            energy[0] += self._held[1]
            peak[0] = max(float(peak[0]), abs(self._held[2]))
        signed = self._signed(first, last, reached, volts, peak)
        if not fresh[0] and abs(self._held[2]) >= peak[0]:
            signed[0] = self._held[2]
        done = kinds.size if gap[-1] else kinds.size - 1
        self._book(kinds[:done], since[:done], end[last[:done]], volt_s[:done], energy[:done], signed[:done])
        if gap[-1]:
            self._kind, self._held = -1, [0.0, 0.0, 0.0]
        else:
            self._kind, self._since, self._until = int(kinds[-1]), float(since[-1]), float(end[-1])
            self._held = [float(volt_s[-1]), float(energy[-1]), float(signed[-1])]

    @staticmethod
    def _signed(
        first: NDArray[np.intp], last: NDArray[np.intp], reached: Floats, volts: Floats, peak: Floats
    ) -> Floats:
        lowest = np.minimum.reduceat(np.where(reached > 0, volts, 0.0), first)
        return np.where(-lowest >= peak, -peak, peak)

    def _close(self) -> None:
        if self._kind >= 0:
            held = [np.array([value]) for value in self._held]
            self._book(np.array([self._kind]), np.array([self._since]), np.array([self._until]), *held)
        self._kind, self._held = -1, [0.0, 0.0, 0.0]

    def _book(
        self, kind: NDArray[np.int_], since: Floats, end: Floats, volt_s: Floats, energy: Floats, peak: Floats
    ) -> None:
        """Count finished stretches, in order."""
        if kind.size == 0:
            return
        length = end - since
        above = kind == _ABOVE
        opens = above & (length >= self.relay.trip_delay_s - self.slack)
        closes = (kind == _CALM) & (length >= self.relay.reconnect_s - self.slack)
        place = np.maximum.accumulate(np.where(opens | closes, np.arange(kind.size), -1))
        after = np.where(place >= 0, closes[np.maximum(place, 0)], self.connected)
        before = np.concatenate(([self.connected], after[:-1]))
        self._trips.append(np.minimum(since + self.relay.trip_delay_s, end)[opens & before])
        self._closes.append(np.minimum(since + self.relay.reconnect_s, end)[closes & ~before])
        self.connected = bool(after[-1])
        self.above_s += float(length[above].sum())
        seen = above & before
        if seen.any():
            exposed = np.minimum(length[seen], self.relay.trip_delay_s)
            self.exposed_s += float(exposed.sum())
            self.longest_s = max(self.longest_s, float(exposed.max()))
            self.volt_s += float(volt_s[seen].sum())
            self.energy_J += float(energy[seen].sum())
            best = float(peak[seen][np.argmax(np.abs(peak[seen]))])
            if abs(best) > abs(self.exposed_peak):
                self.exposed_peak = best

    def record(self, channel: str, covered: Floats, peak_V: float | None = None) -> RelayRecord:
        """Return what was found; ``covered`` are the intervals with samples, shape (n, 2)."""
        self.pause()
        trip = np.concatenate(self._trips) if self._trips else np.empty(0)
        close = np.concatenate(self._closes) if self._closes else np.empty(0)
        end = float(covered[-1, 1]) if covered.size else 0.0
        begin = float(covered[0, 0]) if covered.size else 0.0
        opened = trip if self._begins_connected else np.concatenate(([begin], trip))
        closed = close if close.size == opened.size else np.append(close, end)
        open_spans = spans(np.column_stack((opened, closed)))
        connected = without(covered, open_spans)
        disconnected = without(covered, connected)
        peak = self.peak if peak_V is None else peak_V
        return RelayRecord(
            channel=channel,
            trips=int(trip.size),
            disconnected_s=total(disconnected),
            seconds_above_threshold=self.above_s,
            longest_exposure_s=self.longest_s,
            peak_V=peak,
            exposed_s=self.exposed_s,
            exposed_volt_s=self.volt_s,
            exposed_energy_J=self.energy_J,
            exposed_peak_V=self.exposed_peak,
            at_least=self.over_range,
            trip_s=trip,
            reconnect_s=close,
            connected=connected,
            disconnected=disconnected,
            relay=self.relay,
        )


def relay_sequence(
    time_s: ArrayLike,
    values: ArrayLike,
    relay: Relay | None = None,
    *,
    sample_interval_s: float | None = None,
    connected: bool = True,
    channel: str = "channel",
) -> RelayRecord:
    """Follow a relay through an array of readings.

    Parameters
    ----------
    time_s, values : array_like, shape (n,)
        Seconds, rising, and volts; NaN is missing, +/-inf over range.
    relay : Relay, optional
        Thresholds and delays; the defaults of `Relay` where not given.
    sample_interval_s : float, optional
        What the last reading before a gap and at the end stands for; the median step where not given.
    connected : bool
        State of the relay before the first reading.

    Raises
    ------
    ValueError
        If the arrays differ in length, are empty, or time does not rise.
    """
    time = _check.finite_array("time_s", time_s)
    volts = np.asarray(values, dtype=np.float64)
    if volts.shape != time.shape:
        raise ValueError(f"values must have one reading per time ({time.size}), got shape {volts.shape}")
    step = np.diff(time)
    if np.any(step <= 0):
        at = int(np.argmax(step <= 0)) + 1
        raise ValueError(f"time_s must rise, got {time[at]} after {time[at - 1]} at index {at}")
    if sample_interval_s is None:
        if time.size < 2:
            raise ValueError("sample_interval_s must be given for a single reading, got None")
        sample_interval_s = float(np.median(step))
    machine = RelayMachine(relay or Relay(), sample_interval_s, connected=connected)
    machine.feed(time, volts)
    seen = time[~np.isnan(volts)]
    return machine.record(channel, _stands(seen, sample_interval_s))


def _stands(time: Floats, step: float) -> Floats:
    """Intervals for which readings stand."""
    if time.size == 0:
        return np.empty((0, 2))
    breaks = np.flatnonzero(np.diff(time) > GAP_STEPS * step * (1 + 1e-6)) + 1
    first = np.concatenate(([0], breaks))
    last = np.concatenate((breaks, [time.size])) - 1
    return np.column_stack((time[first], time[last] + step))


def scan_relay(
    log: Log, blocks: RunBlocks, settings: Settings, *, load_ohm: float = LOAD_OHM, connected: bool = True
) -> list[RelayRecord]:
    """Follow the relay of the settings through one run, for every channel.

    Only blocks with a reading above the release threshold (in any channel), and those after them until every relay is
    closed again, are read a second time.

    Returns
    -------
    list of RelayRecord
        One per channel.
    """
    return scan_relays(log, blocks, [Relay.from_settings(settings, load_ohm=load_ohm)], connected=connected)[0]


def what_if(
    log: Log, blocks: RunBlocks, settings: Settings, thresholds_V: Sequence[float], *, load_ohm: float = LOAD_OHM
) -> list[list[RelayRecord]]:
    """Say what other trip thresholds would have done: one list of records (one per channel) for each threshold.

    The release threshold keeps its share of the trip threshold; delays stay. The log is read once for all of them.
    """
    relay = Relay.from_settings(settings, load_ohm=load_ohm)
    return scan_relays(log, blocks, [relay.at(_check.positive("thresholds_V", v, what="volts")) for v in thresholds_V])


def scan_relays(
    log: Log, blocks: RunBlocks, relays: Sequence[Relay], *, connected: bool = True
) -> list[list[RelayRecord]]:
    """Follow several relays through one run in one reading; one list (a record per channel) per relay."""
    step = blocks.run.sample_interval_s
    if not relays:
        return []
    machines = [[RelayMachine(relay, step, connected=connected) for _ in blocks.channels] for relay in relays]
    every = [machine for row in machines for machine in row]
    loud = [[_above(part, relay.release_V) for part in blocks.channels] for relay in relays]
    hot = np.logical_or.reduce([mask for row in loud for mask in row])
    if not connected:
        hot[:1] = True
    hot = _with_tail(hot, blocks, max(relay.reconnect_s for relay in relays))
    done = 0
    for lo, hi in stretches(hot, np.zeros_like(hot)):
        lo = max(lo, done)
        while lo < hi:
            # A relay that is closed takes no notice of readings that are all at or below its release threshold.
            awake = [
                [not machine.connected or not machine.idle or bool(mask[lo:hi].any()) for machine, mask in both]
                for both in (zip(*pair, strict=True) for pair in zip(machines, loud, strict=True))
            ]
            for machine, busy in zip(every, (busy for row in awake for busy in row), strict=True):
                if not busy:
                    machine.pause()
            _read(log, blocks, machines, awake, lo, hi)
            done = hi
            # A gap starts the timers anew, so a relay may still be open after the planned blocks: read on.
            lo, hi = hi, (hi if all(machine.idle for machine in every) else min(hi + 4, blocks.row.size))
        for machine in every:
            machine.pause()
    names = log.channels
    covered = [_channel_covered(blocks, index, step) for index in range(len(blocks.channels))]
    peaks = [_peak(blocks, index) for index in range(len(blocks.channels))]
    out = []
    for row in machines:
        records = []
        for index, machine in enumerate(row):
            # Over range hides the true peak; where only that was read, the threshold is all that is known.
            peak = machine.peak if machine.over_range and not abs(peaks[index]) >= abs(machine.peak) else peaks[index]
            records.append(machine.record(names[index], covered[index], peak))
        out.append(records)
    return out


def _with_tail(hot: NDArray[np.bool_], blocks: RunBlocks, tail_s: float) -> NDArray[np.bool_]:
    """Mark also the blocks that begin within ``tail_s`` after a hot one, and the next one in any case."""
    index = np.flatnonzero(hot)
    if index.size == 0:
        return hot
    last = np.maximum.accumulate(np.where(hot, np.arange(hot.size), -1))
    since = blocks.begin_s - blocks.end_s[np.maximum(last, 0)]
    near = (last >= 0) & ((since <= tail_s + 2 * blocks.run.sample_interval_s) | (np.arange(hot.size) - last <= 1))
    return hot | near


def _above(part: ChannelBlocks, level_V: float) -> NDArray[np.bool_]:
    """Blocks with a reading farther from zero than a level, or over range."""
    with np.errstate(invalid="ignore"):
        far = (part.high > level_V) | (part.low < -level_V)
    return np.asarray(far | (part.over_low > 0) | (part.over_high > 0))


def _read(
    log: Log, blocks: RunBlocks, machines: list[list[RelayMachine]], awake: list[list[bool]], lo: int, hi: int
) -> None:
    first, last = int(blocks.row[lo]), int(blocks.row[hi - 1] + blocks.rows[hi - 1])
    for piece in rows_again(log, blocks, first, last):
        time_s = piece.time_s - blocks.offset_s
        for at in range(0, time_s.size, FEED_ROWS):  # a machine takes a dozen copies of what it is fed
            here = slice(at, at + FEED_ROWS)
            for row, busy in zip(machines, awake, strict=True):
                for machine, values in compress(zip(row, piece.values, strict=True), busy):
                    machine.feed(time_s[here], np.asarray(values[here], dtype=np.float64))


def _channel_covered(blocks: RunBlocks, index: int, step: float) -> Floats:
    """Intervals with readings, to the block: a channel that reads nothing for a whole block was not seen there."""
    part = blocks.channels[index]
    seen = (part.finite > 0) | (part.over_low > 0) | (part.over_high > 0)
    joined = stretches(seen, blocks.after_gap)
    first, last = np.array(joined, dtype=np.int64).reshape(-1, 2).T
    return spans(np.column_stack((blocks.begin_s[first], blocks.end_s[last - 1] + step)))


def _peak(blocks: RunBlocks, index: int) -> float:
    part = blocks.channels[index]
    ends = np.concatenate((part.low, part.high))
    ends = ends[np.isfinite(ends)]
    return float(ends[np.argmax(np.abs(ends))]) if ends.size else math.nan


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
