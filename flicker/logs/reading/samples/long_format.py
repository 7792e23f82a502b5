"""One row for each reading, with a column that names its channel: such rows in, one row for each time out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from flicker.base.arrays import Floats
from flicker.logs.errors import LogError
from flicker.logs.reading.planning import sampled
from flicker.logs.reading.planning.choice import MAX_CHANNELS
from flicker.logs.reading.planning.columns import Column, Kind
from flicker.logs.reading.samples.spool import Spool
from flicker.logs.reading.words import units

MOST_ROWS = 50_000_000  # of such a log, which is put together in memory; 2 GB


class Readings(NamedTuple):
    """The readings of one channel, shape (readings,) each."""

    name: str
    time_s: Floats
    values: Floats


def rows_of(
    spool: Spool, keys: Sequence[str], name: str, interval_s: float | None
) -> tuple[Spool, tuple[str, ...], list[str]]:
    """Make one row of each time of a spool whose last column is the number of the channel.

    Parameters
    ----------
    spool : Spool
        Time, volts and number of the channel of each reading.
    keys : sequence of str
        Names of the channels, by number.
    name : str
        Of the file.
    interval_s : float or None
        Seconds from reading to reading of each channel, where no column tells the time.

    Returns
    -------
    spool, names, notes
        One row for each time, NaN where a channel has no reading; the channels; and what was done.

    Raises
    ------
    LogError
        If there are too many rows or channels, or none holds voltages.
    """
    if spool.rows > MOST_ROWS:
        raise LogError(
            f"{name}: {spool.rows} rows with one reading each are more than {MOST_ROWS}; write one column for each channel."
        )
    time, value, code = (spool.read(k, 0, spool.rows) for k in (0, 1, spool.columns - 1))
    kept: list[Readings] = []
    left: list[str] = []
    named: dict[str, list[int]] = {}  # the numbers of a channel: left (mV) and left (V) are one
    for k, key in enumerate(keys):
        if not key:
            continue  # rows that could not be read
        label = units.label(key)
        kind = sampled.kind_of(Column(label.name or key, k, "number", values=np.empty(0)))
        if ((label.kind == "other" or kind is not None) and kind is not Kind.COUNTS) or np.isnan(value[code == k]).all():
            left.append(key)
        else:
            named.setdefault(label.name if label.kind == "volts" else key, []).append(k)
    for title, numbers in named.items():
        rows = np.isin(code, numbers)
        times = time[rows] if interval_s is None else interval_s * np.arange(np.count_nonzero(rows), dtype=np.float64)
        if len(numbers) > 1 and np.unique(times).size < times.size:
            raise LogError(f"{name}: {title!r} has readings in two units at one time; leave the rows of one of the units out.")
        kept.append(Readings(title, times, value[rows]))
    notes = ["Not taken as channels: " + ", ".join(f'"{key[:40]}"' for key in left[:8]) + "."] if left else []
    if not kept:
        raise LogError(f"{name}: none of {', '.join(map(repr, keys[:8]))} holds voltages; name the column of channels with"
                       " channel_column (--channel-column NAME).")  # fmt: skip
    if len(kept) > MAX_CHANNELS:
        raise LogError(
            f"{name}: {len(kept)} channels in one column are more than {MAX_CHANNELS}; split the file by channel."
        )
    grid, columns, note = _together(kept) or _by_turn(kept) or _by_order(kept, name) or _union(kept)
    out = Spool(1 + len(columns), name)
    out.append([grid - grid[0], *columns])
    return out, tuple(channel.name for channel in kept), [*notes, note] if note else notes


Table = tuple[Floats, list[Floats], str]  # times, the values of each channel, and a note on what was done


def _together(kept: list[Readings]) -> Table | None:
    """Channels that are read at the same times."""
    grid = kept[0].time_s
    alike = all(np.array_equal(channel.time_s, grid) for channel in kept)
    return (grid, [channel.values for channel in kept], "") if alike else None


def _by_turn(kept: list[Readings]) -> Table | None:
    """Channels read one after the other: the readings nearest to those of the fullest channel make a row."""
    lead = max(kept, key=lambda channel: channel.time_s.size)
    grid, apart = lead.time_s, 0.0
    columns: list[Floats] = []
    for channel in kept:
        times = channel.time_s
        place = np.clip(np.searchsorted(grid, times), 1, max(grid.size - 1, 1))
        near = place - (np.abs(times - grid[place - 1]) <= np.abs(times - grid[np.minimum(place, grid.size - 1)]))
        near = np.arange(grid.size) if channel is lead else near
        far = np.abs(times - grid[near])
        if far.max() > 0.75 * min(_usual(lead), _usual(channel)) or np.unique(near).size < near.size:
            return None
        column = np.full(grid.size, np.nan)
        column[near] = channel.values
        columns.append(column)
        apart = max(apart, float(far.max()))
    note = f"Channels were read one after the other, up to {apart:.3g} s apart; one row was made of each turn."
    return grid, columns, note if apart else ""


def _usual(channel: Readings) -> float:
    """The usual step from reading to reading."""
    return float(np.median(np.diff(channel.time_s))) if channel.time_s.size > 2 else np.inf


def _by_order(kept: list[Readings], name: str) -> Table | None:
    """Channels with several readings at one time, as many of each: put together in their order.

    Raises
    ------
    LogError
        If others have not as many.
    """
    if all(np.unique(channel.time_s).size == channel.time_s.size for channel in kept):
        return None
    if len({channel.time_s.size for channel in kept}) > 1:
        raise LogError(
            f"{name}: a channel has several readings at one time and others have fewer; which belong together is not told,"
            " so write one column for each channel."
        )
    note = "Readings of the channels were put together in the order in which they stand."
    return kept[0].time_s, [channel.values for channel in kept], note


def _union(kept: list[Readings]) -> Table:
    """All times of all channels; where a channel has no reading of a time, it has none."""
    grid = np.unique(np.concatenate([channel.time_s for channel in kept]))
    columns = []
    for channel in kept:
        column = np.full(grid.size, np.nan)
        column[np.searchsorted(grid, channel.time_s)] = channel.values
        columns.append(column)
    return grid, columns, "The channels have readings at times of their own; where one has none, it is not observed."
