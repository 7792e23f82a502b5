"""Moves columns between Arrow and numpy by their buffers; pyarrow's own way would import pandas."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flicker.base.arrays import Bools, Floats, Ints


def single(column: Any) -> Any:
    """Return a column as one array."""
    return column.combine_chunks() if hasattr(column, "chunks") else column


def _numbers(array: Any, dtype: Any) -> NDArray[Any]:
    if len(array) == 0:
        return np.empty(0, dtype=dtype)
    return np.frombuffer(array.buffers()[1], dtype=dtype)[array.offset : array.offset + len(array)]


def floats(column: Any) -> Floats:
    """Turn a column of numbers into float64, shape (rows,); missing becomes NaN."""
    import pyarrow as pa

    parts = []
    for chunk in column.chunks if hasattr(column, "chunks") else [column]:
        if not pa.types.is_float64(chunk.type):
            chunk = chunk.cast(pa.float64(), safe=False)
        if chunk.null_count:
            import pyarrow.compute as pc  # 20 ms, and only here needed

            chunk = pc.fill_null(chunk, float("nan"))
        parts.append(_numbers(chunk, np.float64))
    return parts[0] if len(parts) == 1 else np.concatenate(parts) if parts else np.empty(0)


def whole(column: Any) -> Ints:
    """Turn a column of whole numbers (or times, in their unit) into int64; missing becomes 0."""
    import pyarrow as pa
    import pyarrow.compute as pc

    array = single(column).cast(pa.int64())
    return _numbers(pc.fill_null(array, 0) if array.null_count else array, np.int64)


def truths(column: Any) -> Bools:
    """Turn a column of booleans into an array of its own; missing becomes False."""
    import pyarrow as pa
    import pyarrow.compute as pc

    array = pc.cast(pc.fill_null(single(column), False), pa.uint8())
    return _numbers(array, np.uint8).astype(bool)


def valid(column: Any) -> Bools:
    """Say which rows hold something."""
    import pyarrow.compute as pc

    return truths(pc.is_valid(single(column)))


def mask(rows: Bools) -> Any:
    """Turn booleans into a column."""
    import pyarrow as pa
    import pyarrow.compute as pc

    raw = pa.Array.from_buffers(pa.uint8(), rows.size, [None, pa.py_buffer(rows.astype(np.uint8))])
    return pc.cast(raw, pa.bool_())


def numbers(values: Floats) -> Any:
    """Turn numbers into a column."""
    import pyarrow as pa

    return pa.Array.from_buffers(pa.float64(), values.size, [None, pa.py_buffer(np.ascontiguousarray(values))])


def places(rows: Ints) -> Any:
    """Turn row numbers into a column."""
    import pyarrow as pa

    return pa.Array.from_buffers(
        pa.int64(), rows.size, [None, pa.py_buffer(np.ascontiguousarray(rows, dtype=np.int64))]
    )


def words(texts: Sequence[str]) -> Any:
    """Turn texts into a column."""
    import pyarrow as pa

    raw = [text.encode() for text in texts]
    ends = np.cumsum([0, *map(len, raw)], dtype=np.int32)
    return pa.Array.from_buffers(pa.string(), len(raw), [None, pa.py_buffer(ends), pa.py_buffer(b"".join(raw))])
