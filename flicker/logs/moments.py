"""Times in memory: seconds, moments or durations in, seconds since the first and its date out."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flicker.base.arrays import Floats
from flicker.base.formats import digits_text
from flicker.logs.errors import LogError

_SECOND = np.timedelta64(1, "s")
LARGEST_S = 1e11  # a number of seconds beyond it is of the year 5138 or later, and so of another unit
LARGEST_STEP_S = 1e7  # nor does a logger wait 115 days between two samples; common practice, no source


def seconds_of(time: Any, name: str) -> tuple[Floats, datetime | None]:
    """Turn times into seconds.

    Parameters
    ----------
    time : array_like, shape (n,)
        Seconds, moments (``datetime64`` or `datetime`, with or without a zone) or durations (``timedelta64`` or
        `timedelta`); a series or an index of these.
    name : str
        Of the log, for sentences.

    Returns
    -------
    seconds : array, shape (n,)
        Since the first moment, or as given.
    start : datetime or None
        The first moment, in universal time where a zone is told.

    Raises
    ------
    LogError
        If numbers cannot be seconds.
    """
    zoned = getattr(getattr(time, "dtype", None), "tz", None) is not None
    if zoned:  # a series or an index of moments with a zone
        if hasattr(time, "dt"):
            time = time.dt.tz_convert("UTC").dt.tz_localize(None)
        else:
            time = time.tz_convert("UTC").tz_localize(None)
    array = np.asarray(time)
    if array.dtype == object and array.size and isinstance(array.flat[0], (datetime, date, timedelta)):
        return _of_objects(array, name)
    if array.dtype.kind == "M":
        return _of_moments(array, zoned=zoned)
    if array.dtype.kind == "m":
        return array / _SECOND, None
    seconds = np.array(array, dtype=np.float64)
    _check(seconds, name)
    return seconds, None


def _of_moments(array: NDArray[Any], *, zoned: bool) -> tuple[Floats, datetime | None]:
    """Moments of numpy as seconds since the first that is one."""
    known = np.flatnonzero(~np.isnat(array))
    if not known.size:
        return np.full(array.size, np.nan), None
    first = array[known[0]]
    start = first.astype("datetime64[us]").item()
    return (array - first) / _SECOND, start.replace(tzinfo=UTC) if zoned else start


def _of_objects(array: NDArray[Any], name: str) -> tuple[Floats, datetime | None]:
    """Moments or durations of Python as seconds."""
    if isinstance(array.flat[0], timedelta):
        return np.array([item.total_seconds() for item in array.flat]), None
    moments = [item if isinstance(item, datetime) else datetime(item.year, item.month, item.day) for item in array.flat]
    start = moments[0]
    try:
        since = np.array([(moment - start).total_seconds() for moment in moments])
    except TypeError:
        raise LogError(f"{name}: some times have a zone and others none; give all of them one, or none.") from None
    start = datetime.fromisoformat(start.isoformat())  # a subclass becomes a plain one
    return since, start.astimezone(UTC) if start.tzinfo is not None else start


def _check(seconds: Floats, name: str) -> None:
    """Refuse numbers that are too large to be seconds."""
    known = seconds[np.isfinite(seconds)]
    if not known.size:
        return
    largest = float(np.abs(known).max())
    usual = float(np.median(np.abs(np.diff(known)))) if known.size > 1 else 0.0
    if largest > LARGEST_S or usual > LARGEST_STEP_S:
        what = f"{digits_text(largest, 6)}" if largest > LARGEST_S else f"steps of {digits_text(usual, 6)}"
        raise LogError(
            f"{name}: time_s is in seconds, and {what} cannot be seconds; divide nanoseconds by 1e9 (milliseconds by 1e3),"
            " or hand over moments as datetime64."
        )
