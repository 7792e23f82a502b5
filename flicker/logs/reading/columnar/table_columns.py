"""What kind of column is this field of a table? Fields and their first batches in, columns out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyarrow as pa

from flicker.logs import arrow_types
from flicker.logs.reading.planning import sampled
from flicker.logs.reading.planning.columns import Column, Found, Wishes
from flicker.logs.reading.words import clock, units
from flicker.logs.reading.words.numerals import Numerals

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


def column_of_field(
    field: Any, position: int, head: Sequence[Any], words: list[str] | None, how: Numerals, wishes: Wishes
) -> Column:
    """Make a column of a field and the first batches."""
    kind = plain_type(field.type)
    meta = {
        k.decode("utf-8", "replace").lower(): v.decode("utf-8", "replace") for k, v in (field.metadata or {}).items()
    }
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
