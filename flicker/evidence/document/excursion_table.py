"""Excursions of a channel as a table: all of them in columns, the weightiest of them as rows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Protocol

import numpy as np
from numpy.typing import NDArray

from flicker.base.limits import Limits
from flicker.base.result import Doc, Result
from flicker.evidence.record.channel_record import ChannelRecord

Columns = dict[str, NDArray[Any]]

EXCURSIONS_LISTED = 10_000  # rows of a document: a choice
AT_ONCE = 1 << 14  # a choice: bounds memory


@dataclass(frozen=True, slots=True)
class ExcursionRow(Result):
    """One excursion as the contract names it."""

    run: Annotated[int, Doc("Number of the run, from 0.", ge=0)]
    episode: Annotated[
        int, Doc("Number of the episode in this channel, from 0; excursions of one burst share it.", ge=0)
    ]
    start_s: Annotated[float, Doc("Begin, seconds since the run's first sample.")]
    end_s: Annotated[float, Doc("End, seconds since the run's first sample.")]
    duration_s: Annotated[float, Doc("Length in seconds.", ge=0)]
    peak_V: Annotated[
        float,
        Doc("Reading farthest from the baseline, volts as measured; null where the meter was over range.", open=True),
    ]
    deviation_V: Annotated[float, Doc("Its distance from the baseline, volts with sign.", open=True)]
    cut: Annotated[bool, Doc("True where a gap or an end of the log cuts it; then length and size are lower limits.")]
    phase: Annotated[str, Doc("Part of the time since power-up.", values=("warm-up", "settled"))]
    at_least: Annotated[bool, Doc("True where peak and deviation are lower limits.")]


def columns_of(record: ChannelRecord) -> Columns:
    """All excursions of a channel in time order, as arrays named like the fields of `ExcursionRow`."""
    parts = list(portions(record))
    return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}


def portions(record: ChannelRecord, most: int | None = None) -> Iterator[Columns]:
    """Yield the same run by run, at most so many excursions at a time; ``warm_up`` stands for the phase."""
    episode = 0
    for number, trace in zip(record.numbers, record.traces, strict=True):
        found = trace.excursions
        for at in range(0, max(found.count, 1), most or max(found.count, 1)):
            here = slice(at, found.count if most is None else at + most)
            start, end = found.start_s[here], found.end_s[here]
            yield {
                "run": np.full(start.size, number, dtype=np.int64),
                "episode": episode + trace.episode[here],
                "start_s": start,
                "end_s": end,
                "duration_s": end - start,
                "peak_V": found.peak_V[here],
                "deviation_V": found.deviation_V[here],
                "cut": found.cut[here],
                "warm_up": start < trace.warm_up_until_s,
                "at_least": found.cut[here] | found.over_range[here],
            }
        episode += int(trace.episode[-1]) + 1 if trace.episode.size else 0


def listed(record: ChannelRecord, limits: Limits, most: int) -> tuple[tuple[ExcursionRow, ...], int]:
    """Rows in time order, and how many there were; of more than ``most``, those that trip the relay and then the largest."""
    table = columns_of(record)
    size = np.abs(table["deviation_V"])
    if size.size > most:
        trips = (np.abs(table["peak_V"]) > limits.protection_V) & (table["duration_s"] >= limits.trip_delay_s)
        chosen = np.sort(np.lexsort((-size, ~trips))[:most])
        table = {name: column[chosen] for name, column in table.items()}
    table["phase"] = np.where(table.pop("warm_up"), "warm-up", "settled")
    rows = zip(*(column.tolist() for column in table.values()), strict=True)
    return tuple(ExcursionRow(**dict(zip(table, row, strict=True))) for row in rows), int(size.size)


class _Judged(Protocol):
    """An `Assessment`, of which only the records are needed."""

    @property
    def records(self) -> Sequence[ChannelRecord]: ...


def write_excursions(assessment: _Judged, path: str | Path) -> int:
    """Write all excursions of all channels as a table, whole or not at all; return how many there are.

    A name that ends in .csv makes text (CSV), any other Parquet. Columns: ``channel`` and those of `ExcursionRow`.

    Raises
    ------
    LogError
        If the file cannot be written there.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq
    from pyarrow import csv

    from flicker.logs import arrow_types
    from flicker.logs.writing import whole_file

    numbers = ("start_s", "end_s", "duration_s", "peak_V", "deviation_V")
    fields: Sequence[tuple[str, Any]] = [
        ("channel", pa.string()),
        ("run", pa.int64()),
        ("episode", pa.int64()),
        *((name, pa.float64()) for name in numbers),
        ("cut", pa.bool_()),
        ("phase", pa.string()),
        ("at_least", pa.bool_()),
    ]
    total = 0
    schema = pa.schema(fields)
    maker: Any = csv.CSVWriter if Path(path).suffix.lower() == ".csv" else pq.ParquetWriter
    with whole_file(path, what="table of excursions") as draft, maker(draft, schema) as writer:
        for record in assessment.records:
            for part in portions(record, AT_ONCE):
                count = part["run"].size
                phases = pa.DictionaryArray.from_arrays(
                    arrow_types.places(part["warm_up"].astype(np.int64)), arrow_types.words(("settled", "warm-up"))
                )
                columns = {
                    "channel": pa.repeat(record.channel, count),
                    "phase": phases.dictionary_decode(),
                    **{name: arrow_types.places(part[name]) for name in ("run", "episode")},
                    **{name: arrow_types.numbers(part[name]) for name in numbers},
                    **{name: arrow_types.mask(part[name]) for name in ("cut", "at_least")},
                }
                writer.write_table(pa.table([columns[name] for name, _ in fields], schema=schema))
                total += count
    return total
