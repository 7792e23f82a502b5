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
from itertools import chain, compress

import numpy as np

from flicker.base.arrays import Bools, Floats
from flicker.base.limits import Limits
from flicker.logs.model import Log
from flicker.logs.spans import spans
from flicker.signals.blocks import ChannelBlocks, RunBlocks
from flicker.signals.read_again import rows_again, stretches
from flicker.signals.relay.machine import RelayMachine
from flicker.signals.relay.records import LOAD_OHM, Relay, RelayRecord, RelayTotal, add_up

__all__ = [
    "LOAD_OHM", "Relay", "RelayMachine", "RelayRecord", "RelayTotal", "add_up", "scan_relay", "scan_relays",
]  # fmt: skip


FEED_ROWS = 1 << 15  # a choice: speed against memory


def scan_relay(log: Log, blocks: RunBlocks, limits: Limits) -> list[RelayRecord]:
    """Follow the relay of the limits through one run, for every channel.

    Only blocks with a reading above the release threshold (in any channel), and those after them until every relay is
    closed again, are read a second time.

    Returns
    -------
    list of RelayRecord
        One per channel.
    """
    return scan_relays(log, blocks, [Relay.from_limits(limits)])[0]


def scan_relays(
    log: Log,
    blocks: RunBlocks,
    relays: Sequence[Relay],
    *,
    connected: bool = True,
    not_before_s: Sequence[float] | None = None,
) -> list[list[RelayRecord]]:
    """Follow several relays through one run in one reading; one list (a record per channel) per relay.

    ``not_before_s`` tells, per channel, where its readings begin to count: before, the relay is held as it is.
    """
    begins = [0.0] * len(blocks.channels) if not_before_s is None else list(not_before_s)
    step = blocks.run.sample_interval_s
    if not relays:
        return []
    machines = [[RelayMachine(relay, step, connected=connected) for _ in blocks.channels] for relay in relays]
    every = [machine for row in machines for machine in row]
    loud = np.array([
        [_above(part, relay.release_V) & (blocks.end_s >= at) for part, at in zip(blocks.channels, begins, strict=True)]
        for relay in relays
    ])
    hot: Bools = np.any(loud, axis=(0, 1))
    if not connected:
        hot[:1] = True
    hot = _with_tail(hot, blocks, max(relay.reconnect_s for relay in relays))
    done = 0
    for lo, hi in stretches(hot, np.zeros_like(hot)):
        lo = max(lo, done)
        while lo < hi:
            # A relay that is closed takes no notice of readings that are all at or below its release threshold.
            pending = np.array([[not machine.connected or not machine.idle for machine in row] for row in machines])
            awake = (pending | loud[:, :, lo:hi].any(axis=2)).tolist()
            for machine, busy in zip(every, chain.from_iterable(awake), strict=True):
                if not busy:
                    machine.pause()
            _read(log, blocks, machines, awake, lo, hi, begins)
            done = hi
            # A gap starts the timers anew, so a relay may still be open after the planned blocks: read on.
            lo, hi = hi, (hi if all(machine.idle for machine in every) else min(hi + 4, blocks.row.size))
        for machine in every:
            machine.pause()
    names = log.channels
    covered = [_channel_covered(blocks, index, step) for index in range(len(blocks.channels))]
    peaks = [_peak(blocks, index, begins[index]) for index in range(len(blocks.channels))]
    out = []
    for row in machines:
        records = []
        for index, machine in enumerate(row):
            # Over range hides the true peak; where only that was read, the threshold is all that is known.
            peak = machine.peak if machine.over_range and not abs(peaks[index]) >= abs(machine.peak) else peaks[index]
            records.append(machine.record(names[index], covered[index], peak))
        out.append(records)
    return out


def _with_tail(hot: Bools, blocks: RunBlocks, tail_s: float) -> Bools:
    """Mark also the blocks that begin within ``tail_s`` after a hot one, and the next one in any case."""
    index = np.flatnonzero(hot)
    if index.size == 0:
        return hot
    last = np.maximum.accumulate(np.where(hot, np.arange(hot.size), -1))
    since = blocks.begin_s - blocks.end_s[np.maximum(last, 0)]
    near = (last >= 0) & ((since <= tail_s + 2 * blocks.run.sample_interval_s) | (np.arange(hot.size) - last <= 1))
    return hot | near


def _above(part: ChannelBlocks, level_V: float) -> Bools:
    """Blocks with a reading farther from zero than a level, or over range."""
    with np.errstate(invalid="ignore"):
        far = (part.high > level_V) | (part.low < -level_V)
    return np.asarray(far | (part.over_low > 0) | (part.over_high > 0))


def _read(
    log: Log,
    blocks: RunBlocks,
    machines: list[list[RelayMachine]],
    awake: list[list[bool]],
    lo: int,
    hi: int,
    begins: Sequence[float],
) -> None:
    first, last = int(blocks.row[lo]), int(blocks.row[hi - 1] + blocks.rows[hi - 1])
    for piece in rows_again(log, blocks, first, last):
        time_s = piece.time_s - blocks.offset_s
        for at in range(0, time_s.size, FEED_ROWS):  # a machine takes a dozen copies of what it is fed
            here = slice(at, at + FEED_ROWS)
            for row, busy in zip(machines, awake, strict=True):
                for machine, values, at_s in compress(zip(row, piece.values, begins, strict=True), busy):
                    volts = np.asarray(values[here], dtype=np.float64)
                    if at_s > time_s[here][0]:
                        volts = np.where(time_s[here] < at_s, np.nan, volts)
                    machine.feed(time_s[here], volts)


def _channel_covered(blocks: RunBlocks, index: int, step: float) -> Floats:
    """Intervals with readings, to the block: a channel that reads nothing for a whole block was not seen there."""
    part = blocks.channels[index]
    seen = (part.finite > 0) | (part.over_low > 0) | (part.over_high > 0)
    joined = stretches(seen, blocks.after_gap)
    first, last = np.array(joined, dtype=np.int64).reshape(-1, 2).T
    return spans(np.column_stack((blocks.begin_s[first], blocks.end_s[last - 1] + step)))


def _peak(blocks: RunBlocks, index: int, begin_s: float) -> float:
    part, counts = blocks.channels[index], blocks.begin_s >= begin_s
    ends = np.concatenate((part.low[counts], part.high[counts]))
    ends = ends[np.isfinite(ends)]
    return float(ends[np.argmax(np.abs(ends))]) if ends.size else math.nan
