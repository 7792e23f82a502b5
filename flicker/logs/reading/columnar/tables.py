"""Opens Parquet and Arrow files and hands out record batches from any row, and says what kind of column a field is; a damaged file gets one sentence."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import IO, Any, Protocol

import numpy as np
import pyarrow as pa
from pyarrow import ipc

from flicker.logs import arrow_types
from flicker.logs.errors import LogError
from flicker.logs.reading import files
from flicker.logs.reading.planning import sampled
from flicker.logs.reading.planning.columns import Column, Found, Wishes
from flicker.logs.reading.samples.spool import BATCH_ROWS
from flicker.logs.reading.words import clock, units
from flicker.logs.reading.words.numerals import Numerals

FEW_COLUMNS = 4  # come in batches twice as long, at the same memory: a twentieth of the processor time; a choice for speed


class Watched(Protocol):
    """What stands behind a table: a file, or nothing but a name."""

    name: str

    def check(self, *, may_grow: bool = False) -> bool:
        """Raise LogError if the content is no longer the one opened at first; return whether it has grown."""
        ...

    def digest(self) -> str | None:
        """Return the SHA-256 of the content, None where there is no file."""
        ...


class Table(Protocol):
    """Record batches of columns, from any row."""

    schema: Any
    rows: int | None
    form: str

    def batches(self, names: Sequence[str], first: int, last: int) -> Iterator[tuple[int, Any]]:
        """Yield (number of the first row, record batch) for rows ``first`` to ``last``."""
        ...


class MemoryTable:
    """An Arrow table in memory, which is its own file: what is in memory is the caller's, and not watched."""

    def __init__(self, table: Any, name: str, form: str = "a table in memory") -> None:
        self.name = name
        self.form = form
        self._table = table.combine_chunks()
        self.schema = table.schema
        self.rows: int | None = table.num_rows

    def check(self, *, may_grow: bool = False) -> bool:
        """Return that it has not grown."""
        return False

    def digest(self) -> str | None:
        """Return None."""
        return None

    def batches(self, names: Sequence[str], first: int, last: int) -> Iterator[tuple[int, Any]]:
        """Yield (number of the first row, record batch) for rows ``first`` to ``last``."""
        columns = self._table.select(list(dict.fromkeys(names)))
        at = first
        for batch in columns.slice(first, max(0, min(last, self.rows or 0) - first)).to_batches(
            max_chunksize=BATCH_ROWS
        ):
            yield at, batch
            at += batch.num_rows


class ParquetTable:
    """Record batches of a Parquet file. A look further on in the same row group goes on where the last one stopped."""

    form = "Parquet"

    def __init__(self, source: Any) -> None:
        from pyarrow import parquet

        self._file = parquet.ParquetFile(source, pre_buffer=False, buffer_size=1 << 20)
        self.schema = self._file.schema_arrow
        meta = self._file.metadata
        self.rows: int | None = meta.num_rows
        sizes = [meta.row_group(k).num_rows for k in range(meta.num_row_groups)]
        self._starts = np.concatenate(([0], np.cumsum(sizes))).astype(np.int64)
        self._parked: tuple[tuple[str, ...], int, Iterator[Any], Any] | None = None

    def batches(self, names: Sequence[str], first: int, last: int) -> Iterator[tuple[int, Any]]:
        """Yield (number of the first row, record batch) for rows ``first`` to ``last``."""
        key = tuple(names)
        if first >= last:
            return
        group = int(np.searchsorted(self._starts, first, side="right")) - 1
        at, stream, batch = int(self._starts[group]), None, None
        parked, self._parked = self._parked, None
        if parked is not None and parked[0] == key and at <= parked[1] <= first:
            _, at, stream, batch = parked
        if stream is None:
            groups = range(group, self._starts.size - 1)
            size = BATCH_ROWS * (2 if len(key) <= FEW_COLUMNS else 1)
            stream = self._file.iter_batches(batch_size=size, row_groups=groups, columns=list(key))
        while at < last:
            if batch is None:
                batch = next(stream, None)
                if batch is None:
                    return
            end = at + batch.num_rows
            if end > first:
                lo = max(first - at, 0)
                yield at + lo, batch.slice(lo, min(last, end) - at - lo)
            if end > last:
                break
            at, batch = end, None
        self._parked = (key, at, stream, batch)


class ArrowTable:
    """Record batches of an Arrow (Feather version 2) file."""

    form = "Arrow"

    def __init__(self, source: Any) -> None:
        self._source = source
        self._file = ipc.open_file(source)
        self.schema = self._file.schema
        self.rows: int | None = None
        self._starts = [0]
        self._readers: dict[tuple[str, ...], Any] = {}
        self._kept: tuple[tuple[str, ...], int, Any] | None = None

    def _batch(self, names: tuple[str, ...], number: int) -> Any:
        """One record batch with these columns, checked; the last one is kept, for it is often asked for again."""
        if self._kept is not None and self._kept[:2] == (names, number):
            return self._kept[2]
        self._kept = None
        if names not in self._readers:
            fields = sorted(self.schema.get_field_index(name) for name in names)
            options = ipc.IpcReadOptions(included_fields=fields)
            self._readers[names] = ipc.open_file(self._source, options=options)
        batch = self._readers[names].get_batch(number)
        batch.validate()
        for column in batch.columns:
            if arrow_types.is_text(column.type) or pa.types.is_dictionary(column.type):
                column.validate(full=True)
        if number == len(self._starts) - 1:
            self._starts.append(self._starts[-1] + batch.num_rows)
            if number == self._file.num_record_batches - 1:
                self.rows = self._starts[-1]
        self._kept = (names, number, batch)
        return batch

    def batches(self, names: Sequence[str], first: int, last: int) -> Iterator[tuple[int, Any]]:
        """Yield (number of the first row, record batch) for rows ``first`` to ``last``."""
        key = tuple(names)
        number = max(0, int(np.searchsorted(self._starts, first, side="right")) - 1)
        while number < self._file.num_record_batches:
            if number < len(self._starts) and self._starts[number] >= last:
                return
            batch = self._batch(key, number)
            begin, end = self._starts[number], self._starts[number + 1]
            for lo in range(max(first, begin), min(last, end), BATCH_ROWS):
                yield lo, batch.slice(lo - begin, min(BATCH_ROWS, min(last, end) - lo))
            number += 1


def open_table(file: files.LogFile, inner: IO[bytes] | None, kind: str) -> Table:
    """Open a file (or its decompressed copy) of a kind that `files.kind_of` told."""
    try:
        source = pa.OSFile(str(file.path)) if inner is None else pa.PythonFile(inner, mode="r")
        if kind == "json":
            from pyarrow import json  # late: few logs are of its kind

            whole = json.ReadOptions(use_threads=False, block_size=1 << 30)  # in one block, so that types are told by all rows
            return MemoryTable(json.read_json(source, read_options=whole).flatten(), file.name, "JSON lines")
        table = ParquetTable(source) if kind == "parquet" else ArrowTable(source)
        table.schema.names  # noqa: B018  a damaged name is found here
        return table
    except (pa.ArrowException, OSError, ValueError, KeyError, MemoryError) as error:
        raise LogError(
            f"{file.name} is damaged or incomplete and cannot be opened ({_brief(error)}); copy it again."
        ) from None


def guarded(stream: Iterator[tuple[int, Any]], name: str) -> Iterator[tuple[int, Any]]:
    """Turn the errors of a damaged file into one sentence."""
    try:
        yield from stream
    except (pa.ArrowException, OSError, ValueError, KeyError, MemoryError) as error:
        raise LogError(f"{name} is damaged: its rows cannot be read ({_brief(error)}); copy it again.") from None


def _brief(error: Exception) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0][:120].rstrip(".")


_STAMPS = 200  # looked at, enough to tell whether two columns of times go together: a choice


def usable(kind: Any) -> bool:
    """Whether a column of a kind can be part of a log."""
    kind, types = plain_type(kind), pa.types
    numbers = types.is_floating(kind) or types.is_integer(kind) or types.is_decimal(kind)
    return bool(
        numbers or arrow_types.is_text(kind) or types.is_temporal(kind) or types.is_boolean(kind) or types.is_null(kind)
    )


def plain_type(kind: Any) -> Any:
    """The type of the values of a column, of those in its dictionary where it has one."""
    return kind.value_type if pa.types.is_dictionary(kind) else kind


def words_in(head: Sequence[Any], name: str) -> list[str]:
    """Words of a column in the first batches; missing ones are empty."""
    return ["" if v is None else str(v) for batch in head for v in arrow_types.decoded(batch.column(name)).to_pylist()]


def _told(field: Any) -> dict[str, str]:
    """The metadata of a field."""
    return {k.decode("utf-8", "replace").lower(): v.decode("utf-8", "replace") for k, v in (field.metadata or {}).items()}


def told_of_field(field: Any) -> list[str]:
    """What the metadata of a field tell, as lines above a table do, its unit apart."""
    return [f"{key}: {value[:200]}" for key, value in _told(field).items() if key not in ("unit", "units")]


def column_of_field(
    field: Any, position: int, head: Sequence[Any], words: list[str] | None, how: Numerals, wishes: Wishes
) -> Column:
    """Make a column of a field and the first batches."""
    kind = plain_type(field.type)
    meta = _told(field)
    unit = meta.get("unit", meta.get("units", ""))
    if not usable(field.type) or pa.types.is_boolean(kind) or pa.types.is_null(kind):
        return Column(field.name, position, "empty" if pa.types.is_null(kind) else "text", unit=unit)
    if words is not None:
        told = (*wishes.missing_words, *wishes.over_words)
        column = sampled.column_of(field.name, position, [(None, word) for word in words], [], how, unit, told)
        column.unit_from = Found.METADATA
        return column
    parts = [arrow_types.decoded(batch.column(field.name)) for batch in head]
    if pa.types.is_duration(kind):
        values = np.concatenate([arrow_types.whole(part).astype(np.float64) for part in parts])
        return Column(field.name, position, "number", values=values, unit=kind.unit, unit_from=Found.METADATA)
    if pa.types.is_temporal(kind):
        name = "ymd clock" if pa.types.is_timestamp(kind) else "clock" if pa.types.is_time(kind) else "ymd"
        form = clock.Form(name, zoned=bool(getattr(kind, "tz", None)))
        cells = arrow_types.texts(parts[0][:_STAMPS]).to_pylist()
        return Column(field.name, position, "stamp", cells=cells, form=form, unit=unit)
    values = np.concatenate([arrow_types.floats(part) for part in parts])
    digits = units.decimals_of(values)
    return Column(field.name, position, "number", values=values, decimals=digits, unit=unit, unit_from=Found.METADATA)
