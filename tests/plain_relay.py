"""A protection relay fed with a whole array at once: what the scan over blocks must come to."""

from __future__ import annotations

import numpy as np

from flicker.base import check
from flicker.signals.relay.machine import GAP_STEPS, RelayMachine
from flicker.signals.relay.records import Relay, RelayRecord


def relay_sequence(
    time_s,
    values,
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
    time = check.finite_array("time_s", time_s)
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


def _stands(time, step):
    """Intervals for which readings stand."""
    if time.size == 0:
        return np.empty((0, 2))
    breaks = np.flatnonzero(np.diff(time) > GAP_STEPS * step * (1 + 1e-6)) + 1
    first = np.concatenate(([0], breaks))
    last = np.concatenate((breaks, [time.size])) - 1
    return np.column_stack((time[first], time[last] + step))
