"""The state of one protection relay, fed with readings in order; rules as in `flicker.signals.relay`."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from flicker.base import check
from flicker.base.arrays import Bools, Floats
from flicker.logs.spans import spans, total, without
from flicker.signals.relay.records import Relay, RelayRecord

GAP_STEPS = 3.0  # a longer step is a gap, as in `flicker.logs.sampling`
_CALM, _BETWEEN, _ABOVE = 0, 1, 2  # by definition


class RelayMachine:
    """The relay of one channel, fed with readings in order; how they are cut into pieces does not show.

    Only whole stretches of one kind (above, between, calm) count: one above the trip threshold for the trip delay opens
    the relay, a calm one of the reconnect delay closes it, whatever its state before. So state follows from the last
    such stretch, and no loop over readings is needed.
    """

    def __init__(self, relay: Relay, sample_interval_s: float, *, connected: bool = True) -> None:
        self.relay = relay
        self.step = check.positive("sample_interval_s", sample_interval_s, what="seconds")
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
        size = np.abs(volts)
        top = int(np.argmax(size))
        gap = until - begin > GAP_STEPS * self.step + self.slack
        idle = self.connected and self._kind != _ABOVE and size[top] <= self.relay.trip_V  # nothing can open or close it
        if idle or (self._kind == _CALM and size[top] <= self.relay.release_V and not gap.any()):  # or calm goes on
            self._kind, self._until = -1 if idle else _CALM, float(until[-1])
            if not abs(self.peak) >= size[top]:
                self.peak = float(volts[top])
            return
        end = np.where(gap, begin + self.step, until)
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
        volt_s, energy, peak = self._exposure(kind == _ABOVE, first, since, begin, end, size, volts)
        if not fresh[0]:
            volt_s[0] += self._held[0]
            energy[0] += self._held[1]
            if abs(self._held[2]) >= abs(peak[0]):
                peak[0] = self._held[2]
        done = kinds.size if gap[-1] else kinds.size - 1
        self._book(kinds[:done], since[:done], end[last[:done]], volt_s[:done], energy[:done], peak[:done])
        if gap[-1]:
            self._kind, self._held = -1, [0.0, 0.0, 0.0]
        else:
            self._kind, self._since, self._until = int(kinds[-1]), float(since[-1]), float(end[-1])
            self._held = [float(volt_s[-1]), float(energy[-1]), float(peak[-1])]

    def _exposure(
        self, above: Bools, first: NDArray[np.intp], since: Floats, begin: Floats, end: Floats, size: Floats, volts: Floats
    ) -> tuple[Floats, Floats, Floats]:
        """Volt-seconds, joules and signed peak of each stretch above the trip threshold, 0 of others: nobody asks for theirs.

        Of each reading only the part before the relay opens can reach the loudspeaker.
        """
        loud = above[first]
        out = np.zeros((3, loud.size))
        if loud.any():
            count = np.diff(np.append(first, above.size))[loud]
            first = np.cumsum(count) - count
            begin, end, size, volts = begin[above], end[above], size[above], volts[above]
            opens = np.repeat(since[loud] + self.relay.trip_delay_s, count)
            part = np.clip(np.minimum(end, opens) - begin, 0.0, None)
            peak = np.maximum.reduceat(np.where(part > 0, size, 0.0), first)
            lowest = np.minimum.reduceat(np.where(part > 0, volts, 0.0), first)
            out[0, loud] = np.add.reduceat(size * part, first)
            out[1, loud] = np.add.reduceat(size * size * part, first) / self.relay.load_ohm
            out[2, loud] = np.where(-lowest >= peak, -peak, peak)
        return out[0], out[1], out[2]

    def _close(self) -> None:
        length = self._until - self._since
        if self._kind == _ABOVE:
            held = [np.array([value]) for value in self._held]
            self._book(np.array([self._kind]), np.array([self._since]), np.array([self._until]), *held)
        elif self._kind == _CALM and not self.connected and length >= self.relay.reconnect_s - self.slack:
            self._closes.append(np.array([min(self._since + self.relay.reconnect_s, self._until)]))
            self.connected = True
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
