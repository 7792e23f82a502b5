"""One row for each reading, with a column that names its channel: such rows in, one row for each time out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from flicker.base.arrays import Floats, Ints
from flicker.logs.errors import LogError
from flicker.logs.reading.planning import extra_columns
from flicker.logs.reading.planning.choice import MAX_CHANNELS
from flicker.logs.reading.planning.columns import Column
from flicker.logs.reading.samples.spool import Spool
from flicker.logs.reading.words import units

MOST_ROWS = 50_000_000  # of such a log, which is put together in memory; 2 GB


@dataclass(frozen=True, slots=True)
class Pivoted:
    """A log of one row for each time: shape (rows,) each, NaN where a channel has no reading; and what was done."""

    time_s: Floats
    names: tuple[str, ...]
    values: tuple[Floats, ...]
    notes: tuple[str, ...]


def pivot(
    time_s: Floats,
    value: Floats,
    code: Ints,
    keys: Sequence[str],
    name: str,
    interval_s: float | None = None,
) -> Pivoted:
    """Put readings of the same time into one row.

    Where no column tells the time, the readings of each channel are ``interval_s`` apart.

    Parameters
    ----------
    time_s, value, code : array, shape (readings,)
        Time, volts and number of the channel of each reading.
    keys : sequence of str
        Names of the channels, by number.

    Raises
    ------
    LogError
        If there are too many rows or channels, or none holds voltages.
    """
    if time_s.size > MOST_ROWS:
        raise LogError(
            f"{name}: {time_s.size} rows with one reading each are more than {MOST_ROWS}; write one column for each channel."
        )
    notes: list[str] = []
    kept: list[tuple[str, Floats, Floats]] = []
    left: list[str] = []
    for k, key in enumerate(keys):
        rows = code == k
        label = units.label(key)
        kind = extra_columns.kind_of(Column(label.name or key, k, "number", values=np.empty(0)))
        if not key:
            continue  # rows that could not be read
        if label.kind == "other" or kind is not None or not np.any(~np.isnan(value[rows])):
            left.append(key)
            continue
        if interval_s is not None:
            time_s = time_s.copy()
            time_s[rows] = interval_s * np.arange(int(rows.sum()))
        kept.append((label.name if label.kind == "volts" else key, time_s[rows], value[rows]))
    if left:
        notes.append("Not taken as channels: " + ", ".join(f'"{key[:40]}"' for key in left[:8]) + ".")
    if not kept:
        raise LogError(f"{name}: none of {', '.join(map(repr, keys[:8]))} holds voltages; name the column of channels with"
                       " channel_column (--channel-column NAME).")  # fmt: skip
    if len(kept) > MAX_CHANNELS:
        raise LogError(
            f"{name}: {len(kept)} channels in one column are more than {MAX_CHANNELS}; split the file by channel."
        )
    first = kept[0][1]
    if all(times.size == first.size and np.array_equal(times, first) for _, times, _ in kept):
        return Pivoted(first, tuple(n for n, _, _ in kept), tuple(v for _, _, v in kept), tuple(notes))
    return _by_scan(kept, notes, name)


def rows_of(spool: Spool, keys: Sequence[str], name: str, interval_s: float | None) -> tuple[Spool, Pivoted]:
    """Make one row of each time of a spool whose last column is the number of the channel; ``interval_s`` as for `pivot`."""
    time, value, code = (spool.read(k, 0, spool.rows) for k in (0, 1, spool.columns - 1))
    made = pivot(time, value, code.astype(np.int64), keys, name, interval_s)
    out = Spool(1 + len(made.names), name)
    out.append([made.time_s - made.time_s[0], *made.values])
    return out, made


def _by_scan(kept: list[tuple[str, Floats, Floats]], notes: list[str], name: str) -> Pivoted:
    """Channels read one after the other: the readings nearest to those of the fullest channel make a row."""
    lead = max(range(len(kept)), key=lambda k: kept[k][1].size)
    usual = [float(np.median(np.diff(times))) if times.size > 2 else np.inf for _, times, _ in kept]
    grid = kept[lead][1]
    apart = 0.0
    columns: list[Floats] = []
    for k, (_, times, values) in enumerate(kept):
        if k == lead:
            columns.append(values)
            continue
        place = np.clip(np.searchsorted(grid, times), 1, max(grid.size - 1, 1))
        near = place - (np.abs(times - grid[place - 1]) <= np.abs(times - grid[np.minimum(place, grid.size - 1)]))
        far = np.abs(times - grid[near])
        good = far <= 0.75 * min(usual[lead], usual[k])
        column = np.full(grid.size, np.nan)
        if not good.all() or np.unique(near[good]).size < int(good.sum()):
            return _union(kept, notes, name)
        column[near] = values
        apart = max(apart, float(far.max()))
        columns.append(column)
    if apart:
        notes.append(
            f"Channels were read one after the other, up to {apart:.3g} s apart; one row was made of each turn."
        )
    return Pivoted(grid, tuple(n for n, _, _ in kept), tuple(columns), tuple(notes))


def _union(kept: list[tuple[str, Floats, Floats]], notes: list[str], name: str) -> Pivoted:
    """All times of all channels; where a channel has no reading of a time, it has none.

    Raises
    ------
    LogError
        If a channel has several readings at one time, and others have not as many.
    """
    if any(np.unique(times).size < times.size for _, times, _ in kept):
        if len({times.size for _, times, _ in kept}) > 1:
            raise LogError(
                f"{name}: a channel has several readings at one time and others have fewer; which belong together is not told,"
                " so write one column for each channel."
            )
        notes.append("Readings of the channels were put together in the order in which they stand.")
        return Pivoted(kept[0][1], tuple(n for n, _, _ in kept), tuple(v for _, _, v in kept), tuple(notes))
    grid = np.unique(np.concatenate([times for _, times, _ in kept]))
    columns = []
    for _, times, values in kept:
        column = np.full(grid.size, np.nan)
        column[np.searchsorted(grid, times)] = values
        columns.append(column)
    notes.append("The channels have readings at times of their own; where one has none, it is not observed.")
    return Pivoted(grid, tuple(n for n, _, _ in kept), tuple(columns), tuple(notes))
