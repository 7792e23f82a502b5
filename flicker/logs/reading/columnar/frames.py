"""Data frames, series and dicts of arrays as logs: whatever speaks Arrow in, a source out. Volts and seconds by default."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pyarrow as pa

from flicker.logs.errors import LogError
from flicker.logs.reading.planning.columns import Wishes
from flicker.logs.reading.samples.spool import IN_MEMORY_BYTES
from flicker.logs.source import Source

NAME = "data in memory"
TAKEN = "a file, a data frame, a series with an index of times, or a dict of arrays"


def frame_source(data: Any, wishes: Wishes) -> Source:
    """Make a source of a data frame (pandas, polars, Arrow), a series or a dict of arrays.

    An index of times becomes the time column; one of whole numbers without a name counts rows (a filter leaves such), and is
    the time only where ``time_column="index"`` says so. Where the data say nothing else, readings are volts and numbers of a time
    column are seconds; moments and durations are converted by what they are.

    Raises
    ------
    LogError
        If it is none of these, or holds no log.
    """
    from flicker.logs.reading.columnar.columnar_log import read_table
    from flicker.logs.reading.columnar.tables import MemoryTable

    table = _arrow_table(data)
    if table.num_rows == 0:
        raise LogError(f"{NAME}: no readings.")
    told = replace(wishes, plain_volts=True)
    memory = MemoryTable(table, NAME)
    return read_table(memory, memory, told, in_memory=IN_MEMORY_BYTES)


def _arrow_table(data: Any) -> Any:
    """The data as an Arrow table, whatever they are."""
    if isinstance(data, Mapping):
        return _of_arrays(data)
    root = type(data).__module__.partition(".")[0]
    if root == "pandas":
        return _of_pandas(data)
    if hasattr(data, "to_frame") and not hasattr(data, "columns"):
        data = data.to_frame()
    try:
        if hasattr(data, "__arrow_c_stream__") or hasattr(data, "__arrow_c_array__"):
            return pa.table(data)
        if hasattr(data, "__dataframe__"):
            from pyarrow.interchange import from_dataframe

            return from_dataframe(data)
    except (pa.ArrowException, TypeError, ValueError) as error:
        raise LogError(f"{NAME}: this {type(data).__name__} cannot be taken over ({error}).") from None
    raise LogError(f"read_log takes {TAKEN}, got {type(data).__name__}.")


def _of_arrays(data: Mapping[Any, Any]) -> Any:
    """A table of named arrays of one length."""
    columns = {str(key): _array(key, value) for key, value in data.items()}
    sizes = {key: len(value) for key, value in columns.items()}
    if len(set(sizes.values())) > 1:
        shapes = ", ".join(f"{key} {size}" for key, size in sizes.items())
        raise LogError(f"{NAME}: arrays must be of one length, got {shapes}.")
    return pa.table(columns)


def _array(key: Any, value: Any) -> Any:
    """One array as an Arrow column."""
    if isinstance(value, (pa.Array, pa.ChunkedArray)):
        return value
    found = np.asarray(value)
    if found.ndim != 1:
        raise LogError(f"{NAME}: {key!r} must be an array of one dimension, got shape {found.shape}.")
    if found.dtype.kind in "mM":
        unit = np.datetime_data(found.dtype)[0]  # days and hours as seconds: Arrow knows moments from seconds down
        return pa.array(found if unit in ("s", "ms", "us", "ns") else found.astype(f"{found.dtype.kind}8[s]"))
    try:
        return pa.array(found)
    except (pa.ArrowException, TypeError) as error:
        raise LogError(f"{NAME}: {key!r} cannot be read as readings or times ({error}).") from None


def _of_pandas(data: Any) -> Any:
    """A table of a series or data frame of pandas; an index that tells something becomes a column."""
    import pandas as pd
    if isinstance(data, pd.Series):
        data = data.to_frame(data.name if data.name is not None else "ch1")
    if isinstance(data.columns, pd.MultiIndex):
        data = data.set_axis(["_".join(map(str, parts)) for parts in data.columns], axis=1)
    index = data.index
    timed = isinstance(index, (pd.DatetimeIndex, pd.TimedeltaIndex))
    named = index.name is not None
    plain = isinstance(index, pd.RangeIndex) and not named
    if isinstance(index, pd.MultiIndex):
        data = data.reset_index()
    elif timed or not plain:
        title = str(index.name) if named else "index" if index.inferred_type == "integer" else "time"
        while title in map(str, data.columns):
            title += " (index)"
        data = data.reset_index(names=title) if timed or named or index.inferred_type != "string" else data
    data = data.set_axis([str(name) for name in data.columns], axis=1)
    if data.columns.duplicated().any():
        double = data.columns[data.columns.duplicated()][0]
        raise LogError(f'{NAME} has two columns named "{double}"; rename one.')
    try:
        return pa.Table.from_pandas(data, preserve_index=False)
    except (pa.ArrowException, TypeError, ValueError) as error:
        raise LogError(
            f"{NAME}: the data frame holds a column that is neither numbers, times nor words ({error})."
        ) from None
