"""Reads a log: a path in, a `Log` out, whatever the logger wrote; what had to be assumed stands in its notes."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from flicker.logs.errors import LogError, Question
from flicker.logs.model import Log
from flicker.logs.reading import files
from flicker.logs.reading.planning.columns import Wishes
from flicker.logs.reading.questions import all_of
from flicker.logs.reading.samples.spool import IN_MEMORY_BYTES
from flicker.logs.reading.samples.whole import FEWEST
from flicker.logs.roles import checked_roles
from flicker.logs.sampling import RUN_GAP_S
from flicker.logs.source import Source
from flicker.logs.used_columns import by_roles

# An array of this size, asked for and let go, tells the allocator (GNU's; others do not mind) to keep as much for the
# next: given back to the system, each page of it would be cleared anew. A choice, measured in tests/benchmarks.
KEPT_BYTES = 16 << 20


def read_log(
    path: Any,
    *,
    channels: Sequence[str] | None = None,
    unit: str | Mapping[str, str] | None = None,
    sample_interval_s: float | None = None,
    time_column: str | None = None,
    time_unit: str | None = None,
    day_first: bool | None = None,
    date_order: str | None = None,
    decimal: str | None = None,
    thousands: str | None = None,
    separator: str | None = None,
    channel_column: str | None = None,
    volts_per_count: float | None = None,
    zero_count: float = 0.0,
    missing_words: Sequence[str] = (),
    over_words: Sequence[str] = (),
    full_scale_V: float | None = None,
    run_gap_s: float = RUN_GAP_S,
    roles: Mapping[str, str] | None = None,
    marks_column: str | None = None,
    may_lack: bool = False,
    few: bool = False,
    differences: Mapping[str, tuple[str, str]] | None = None,
) -> Log:
    """Read a log of offset voltages.

    Text (CSV, TSV and their kin, also in gz or zip), Parquet, Arrow or Feather, and WAV; also a data frame (pandas, polars
    or another that speaks Arrow), a series with an index of times, or a dict of arrays, which are volts and seconds
    where nothing else is said. What the file does not say is decided on evidence in the file and told in the notes of
    its first run, or refused with the choices. The options are those of the command line.

    Parameters
    ----------
    path : str, path, data frame, series or mapping of str to array_like
        The file, or what it would hold.
    channels : sequence of str, optional
        Names of the columns to read, with or without their unit; by default all that look like voltages.
    unit : {'V', 'mV', 'µV', 'kV'} or mapping of column to unit, optional
        Unit of the readings where the file does not tell. Where it tells one for every channel, another is refused; of
        single columns, in a mapping, it overrules. There a unit may also be the name of the column that holds the unit of each reading.
    sample_interval_s : float, optional
        Seconds from sample to sample, where the file has no time (or a wrong one).
    time_column : str, optional
        The column that tells the time.
    time_unit : str, optional
        Unit of a time column of numbers: 's', 'ms', 'us', 'ns', 'min', 'h', 'd'.
    day_first : bool, optional
        Whether 03/04/2026 is the third of April.
    date_order : {'ymd', 'dmy', 'mdy'}, optional
        Order of year, month and day, as in 26-03-04.
    decimal : {'.', ','}, optional
        The decimal sign.
    thousands : {'sure', 'none'}, optional
        Of rows with a cell too many, where commas part cells and thousands alike: read those that can be put together in one
        way, the others are not observed; or, with 'none', that commas never part thousands, and none of them is observed.
    separator : str, optional
        What parts the cells of a text log: ';', ',', 'tab', '|' or 'space'.
    channel_column : str, optional
        The column that names the channel, where every reading has a row of its own.
    volts_per_count, zero_count : float, optional
        Scale of a converter's counts, and the count at 0 V.
    missing_words, over_words : sequence of str, optional
        Words, or numbers such as -999.9, that stand for no reading, and for a reading over range.
    full_scale_V : float, optional
        Volts at full scale of a WAV recording.
    run_gap_s : float
        A pause longer than this begins a new run.
    roles : mapping of str to str, optional
        Columns that are no outputs: 'rail', 'mains', 'temperature', 'shorted lead' or 'ignore'. They get no verdict and
        become the log's ``companions``. A column whose header says temperature is one without being told.
    marks_column : str, optional
        The column of words that holds marks; by default one called mark, event or note.
    may_lack : bool
        Whether columns named by ``roles`` and ``marks_column`` may be missing.
    few : bool
        Whether fewer than ten samples will do, as in the last of several files.
    differences : mapping of str to (str, str), optional
        Channels that are the first column less the second, as for a bridged output; the two are then not channels.

    Returns
    -------
    Log
        Channels in volts.

    Raises
    ------
    LogError
        With one sentence: the file, the place, what was found and what to do.
    """
    channels, differences = with_legs(channels, differences)
    wishes = wishes_of(
        channels=channels,
        unit=unit,
        sample_interval_s=sample_interval_s,
        time_column=time_column,
        time_unit=time_unit,
        day_first=day_first,
        date_order=date_order,
        decimal=decimal,
        thousands=thousands,
        separator=separator,
        channel_column=channel_column,
        volts_per_count=volts_per_count,
        zero_count=zero_count,
        missing_words=missing_words,
        over_words=over_words,
        full_scale_V=full_scale_V,
        roles=roles,
        marks_column=marks_column,
        may_lack=may_lack,
        few=few,
        differences=differences,
    )
    if not run_gap_s > 0:
        raise LogError(f"run_gap_s must be positive, got {run_gap_s!r} (seconds).")
    if not isinstance(path, (str, os.PathLike)):
        from flicker.logs.reading.columnar.frames import frame_source

        return by_roles(frame_source(path, wishes), run_gap_s=run_gap_s, reader=repr(wishes), differences=differences)
    return by_roles(
        open_source(path, wishes),
        run_gap_s=run_gap_s,
        path=Path(path),
        reader=repr(wishes),
        differences=differences,
    )


def with_legs(
    channels: Sequence[str] | None, differences: Mapping[str, tuple[str, str]] | None
) -> tuple[Sequence[str] | None, Mapping[str, tuple[str, str]] | None]:
    """The columns of which the channels asked for are made, and the differences among them; all where none of them is asked for."""
    asked = (channels,) if isinstance(channels, str) else channels or ()
    made = {name: pair for name, pair in (differences or {}).items() if name in asked}
    if not made:
        return channels, differences
    return list(dict.fromkeys(column for name in asked for column in made.get(name, (name,)))), made


def wishes_of(
    *,
    channels: Sequence[str] | None = None,
    roles: Mapping[str, str] | None = None,
    unit: str | Mapping[str, str] | None = None,
    missing_words: Sequence[str] = (),
    over_words: Sequence[str] = (),
    differences: Mapping[str, tuple[str, str]] | None = None,
    **others: Any,
) -> Wishes:
    """Arguments of `read_log` that say how a file is to be read, checked; ``others`` are as `Wishes` lists them."""
    if isinstance(channels, str):
        channels = (channels,)
    if channels is not None and not channels:
        raise LogError("channels must name one column or more, got none.")
    single = tuple(unit.items()) if isinstance(unit, Mapping) else ()
    wishes = Wishes(
        channels=None if channels is None else tuple(channels),
        roles=checked_roles(roles),
        unit=None if isinstance(unit, Mapping) else unit,
        units=single,
        missing_words=(missing_words,) if isinstance(missing_words, str) else tuple(missing_words),
        legs=tuple(column for pair in (differences or {}).values() for column in pair),
        over_words=(over_words,) if isinstance(over_words, str) else tuple(over_words),
        **others,
    )
    for argument in ("sample_interval_s", "full_scale_V", "volts_per_count"):
        given = getattr(wishes, argument)
        if given is not None and not 0 < given < float("inf"):
            raise LogError(f"{argument} must be positive, got {given!r}.")
    if wishes.date_order not in (None, "ymd", "dmy", "mdy"):
        raise LogError(f"date_order must be 'ymd', 'dmy' or 'mdy', got {wishes.date_order!r} (--date-order).")
    if wishes.thousands not in (None, "sure", "none"):
        raise LogError(f"thousands must be 'sure' or 'none', got {wishes.thousands!r} (--thousands sure|none).")
    return wishes


def open_source(path: str | os.PathLike[str], wishes: Wishes, *, in_memory: int = IN_MEMORY_BYTES) -> Source:
    """Open a file as a source of samples; text larger than ``in_memory`` bytes of samples goes to a temporary file.

    Raises
    ------
    LogError
        If it cannot be read; a `Question` names all that the file leaves open, not the first point alone.
    """
    np.empty(KEPT_BYTES, dtype=np.uint8)
    try:
        source = _opened(path, wishes, in_memory=in_memory)
    except Question as first:
        raise all_of(first, lambda more: _opened(path, more, in_memory=in_memory), wishes, Path(path).name) from None
    if source.rows is not None and source.rows < FEWEST:
        told = "one sample" if source.rows == 1 else f"{source.rows} samples"
        source.notes = (*source.notes, f"Only {told}: a swing in them counts, but they cover next to no time.")
    return source


def _opened(path: str | os.PathLike[str], wishes: Wishes, *, in_memory: int) -> Source:
    """Open a file by its kind."""
    file = files.LogFile(path)
    with file.open() as handle:
        kind, stream, packed = files.contents(file, handle)
        if kind == "text":
            from flicker.logs.reading.text import text_log

            return text_log.read_text(file, stream, wishes, packed=packed, in_memory=in_memory)
        inner = files.to_scratch(stream, file.name) if packed else None
    try:
        if kind == "wav":
            from flicker.logs.reading import wav

            return wav.WavSource(file, inner, wishes)
        from flicker.logs.reading.columnar import columnar_log

        return columnar_log.open_columnar(file, inner, kind, wishes, in_memory=in_memory)
    except LogError:
        if inner is not None:
            inner.close()
        raise
