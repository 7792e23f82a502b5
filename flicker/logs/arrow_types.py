"""Moves columns between Arrow and numpy by their buffers; pyarrow's own way, and any literal of Python, would import pandas."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from flicker.base.arrays import Bools, Floats, Ints


def single(column: Any) -> Any:
    """Return a column as one array."""
    if not hasattr(column, "chunks"):
        return column
    return column.chunk(0) if column.num_chunks == 1 else column.combine_chunks()


def is_text(kind: Any) -> bool:
    """Whether an Arrow type holds words."""
    return bool(pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_string_view(kind))


def decoded(column: Any) -> Any:
    """Return a column as one array, its dictionary resolved."""
    array = single(column)
    return array.dictionary_decode() if pa.types.is_dictionary(array.type) else array


def _numbers(array: Any, dtype: Any) -> NDArray[Any]:
    if len(array) == 0:
        return np.empty(0, dtype=dtype)
    return np.frombuffer(array.buffers()[1], dtype=dtype)[array.offset : array.offset + len(array)]


def floats(column: Any) -> Floats:
    """Turn a column of numbers into float64, shape (rows,); missing becomes NaN."""
    array = single(column)
    if not pa.types.is_float64(array.type):
        array = array.cast(pa.float64(), safe=False)
    return _numbers(array.fill_null(numbers(np.array([np.nan]))[0]) if array.null_count else array, np.float64)


def whole(column: Any) -> Ints:
    """Turn a column of whole numbers (or times, in their unit) into int64; missing becomes 0."""
    array = single(column).cast(pa.int64())
    return _numbers(array.fill_null(places(np.zeros(1, dtype=np.int64))[0]) if array.null_count else array, np.int64)


def truths(column: Any) -> Bools:
    """Turn a column of booleans into an array of its own; missing becomes False."""
    array = single(column)
    array = array.fill_null(mask(np.zeros(1, dtype=bool))[0]) if array.null_count else array
    return _numbers(array.cast(pa.uint8()), np.uint8).astype(bool)


def valid(column: Any) -> Bools:
    """Say which rows hold something."""
    array = single(column)
    return truths(array.is_valid()) if array.null_count else np.ones(len(array), dtype=bool)


def mask(rows: Bools, known: Bools | None = None) -> Any:
    """Turn booleans into a column, empty where they are not ``known``."""
    return pa.Array.from_buffers(pa.bool_(), rows.size, [_bits(known), _bits(rows)])


def numbers(values: Floats, known: Bools | None = None) -> Any:
    """Turn numbers into a column, empty where they are not ``known``."""
    return pa.Array.from_buffers(pa.float64(), values.size, [_bits(known), pa.py_buffer(np.ascontiguousarray(values))])


def places(rows: Ints, known: Bools | None = None) -> Any:
    """Turn whole numbers into a column, empty where they are not ``known``."""
    whole_numbers = np.ascontiguousarray(rows, dtype=np.int64)
    return pa.Array.from_buffers(pa.int64(), rows.size, [_bits(known), pa.py_buffer(whole_numbers)])


def words(texts: Sequence[str], known: Bools | None = None) -> Any:
    """Turn texts into a column, empty where they are not ``known``."""
    raw = [text.encode() for text in texts]
    ends = np.cumsum([0, *map(len, raw)], dtype=np.int32)
    return pa.Array.from_buffers(pa.string(), len(raw), [_bits(known), pa.py_buffer(ends), pa.py_buffer(b"".join(raw))])


def _bits(truths: Bools | None) -> Any:
    """Truths as Arrow keeps them, eight in a byte."""
    return None if truths is None else pa.py_buffer(np.packbits(truths, bitorder="little"))


def texts(column: Any) -> Any:
    """Turn a column into one of words; missing becomes an empty one."""
    array = decoded(column).cast(pa.string())
    return array.fill_null(words(("",))[0]) if array.null_count else array


def bare_words(column: Any) -> Any:
    """Return the texts of a column without blanks and quotation marks around them; missing ones are empty."""
    import pyarrow.compute as pc  # late: a log of numbers does without it

    return pc.utf8_trim(pc.utf8_trim_whitespace(texts(column)), characters=' \t\r"')


def coded(column: Any) -> tuple[list[str], Ints]:
    """Return the different texts of a column without missing ones, and for each row which of them it is."""
    found = single(column).dictionary_encode()
    return found.dictionary.to_pylist(), whole(found.indices)
