"""Writes long invented logs, piece by piece: two channels of noise on a level that moves a little, with glitches."""

from __future__ import annotations

from pathlib import Path

import numpy as np

PIECE_ROWS = 1 << 20
STEP_S = 0.001


def piece(
    first: int, rows: int, *, glitches_per_h: float, step_s: float = STEP_S, seed: int = 7
) -> dict[str, np.ndarray]:
    """Rows from ``first`` on (a whole number of pieces lies before them): time in seconds, two channels in volts."""
    rng = np.random.default_rng((seed, first // PIECE_ROWS))
    time_s = (first + np.arange(rows)) * step_s
    columns = {"time_s": time_s}
    for number, name in enumerate(("left_V", "right_V")):
        volts = rng.standard_normal(rows, dtype=np.float32).astype(np.float64) * 8e-4
        volts += 0.006 + 0.001 * np.sin(time_s / 4000.0 + number)
        for at in rng.integers(0, rows, rng.poisson(glitches_per_h * rows * step_s / 3600.0)):
            length = max(1, round(rng.uniform(0.1, 0.8) / step_s))
            volts[at : at + length] += rng.choice((-1.0, 1.0)) * rng.uniform(0.08, 0.4)
        columns[name] = np.round(volts, 6)
    return columns


def write_parquet(
    path: Path, rows: int, *, glitches_per_h: float = 20.0, row_group: int = PIECE_ROWS, step_s: float = STEP_S
) -> None:
    """Write a log of ``rows`` rows with row groups of one piece, or of ``row_group`` rows if that is more."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    kept: list[pa.Table] = []
    have = 0
    schema = pa.schema([(name, pa.float64()) for name in ("time_s", "left_V", "right_V")])
    with pq.ParquetWriter(path, schema, compression="snappy") as writer:
        for first in range(0, rows, PIECE_ROWS):
            kept.append(
                pa.table(
                    piece(first, min(PIECE_ROWS, rows - first), glitches_per_h=glitches_per_h, step_s=step_s),
                    schema=schema,
                )
            )
            have += kept[-1].num_rows
            if have >= row_group or first + PIECE_ROWS >= rows:
                writer.write_table(pa.concat_tables(kept), row_group_size=max(row_group, PIECE_ROWS))
                kept, have = [], 0


def write_csv(path: Path, rows: int, *, glitches_per_h: float = 20.0, step_s: float = STEP_S) -> None:
    """Write a log as text, time to the millisecond and volts to the tenth of a millivolt."""
    import pyarrow as pa
    from pyarrow import csv

    with open(path, "wb") as file:
        for first in range(0, rows, PIECE_ROWS):
            columns = piece(first, min(PIECE_ROWS, rows - first), glitches_per_h=glitches_per_h, step_s=step_s)
            table = pa.table({name: np.round(values, 3 if name == "time_s" else 4) for name, values in columns.items()})
            csv.write_csv(table, file, csv.WriteOptions(include_header=first == 0))
