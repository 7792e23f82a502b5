"""What every result has in common: frozen, plain to serialise, readable in a notebook; and what a key of a document means.

A field of a document is annotated with its meaning (`Doc`), from which the JSON Schemas are made.
"""

from __future__ import annotations

import dataclasses
import json
import math
from dataclasses import dataclass
from datetime import date, time
from enum import StrEnum
from typing import Any

import numpy as np

from flicker.base.views import view


@dataclass(frozen=True, slots=True)
class Doc:
    """Meaning of a field, for ``Annotated[float | None, Doc("Volts ...", ge=0)]``.

    ``ge``, ``gt``, ``le``, ``lt`` bound a number; ``values`` are all that a text may be; ``least`` is how many items a list
    holds at least; ``open`` says that a number may have no bound, which documents write as null with
    ``"<name>_unbounded": true`` beside it (see `flicker.base.result.plain`);
    ``null`` that it is null where it could not be computed.
    """

    text: str
    ge: float | None = None
    gt: float | None = None
    le: float | None = None
    lt: float | None = None
    values: tuple[str, ...] = ()
    least: int | None = None
    open: bool = False
    null: bool = False


ACROSS = 110  # characters of a line of `repr`


_PLAIN = frozenset({str, bool, int, type(None)})
_FIELDS: dict[type[Any], list[dataclasses.Field[Any]]] = {}  # of each class, found once


def plain(value: Any) -> Any:
    """Turn a value into what JSON can hold: numbers finite or None, arrays as lists, results as dicts, dates in ISO 8601.

    In a dict an infinite number is None with ``"<name>_unbounded": True`` beside it.
    """
    if type(value) is float:  # by far the most, in long lists of excursions
        return value if math.isfinite(value) else None
    if type(value) in _PLAIN:
        return value
    if isinstance(value, StrEnum):
        return str(value)
    if isinstance(value, (np.generic, np.ndarray)):
        return plain(value.tolist())
    if isinstance(value, dict):
        out: dict[str, Any] = {}
        for key, item in value.items():
            if type(item) in _PLAIN:
                out[str(key)] = item
                continue
            out[str(key)] = plain(item)
            if isinstance(item, (float, np.floating)) and np.isinf(item):
                out[f"{key}_unbounded"] = True
        return out
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if hasattr(value, "to_dict"):
        return value.to_dict()
    return value.isoformat() if isinstance(value, (date, time)) else str(value)


class Result:
    """Mixin of the frozen result classes.

    A result lists its fields in ``to_dict``; an end that has no bound (``high`` infinite) is null there, with
    ``"high_unbounded": true`` beside it, so that a reader never mistakes 'no limit' for 'not computed'.
    """

    __slots__ = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the result as plain Python values that JSON can hold."""
        out: dict[str, Any] = plain({field.name: getattr(self, field.name) for field in _own_first(type(self))})
        reads = getattr(self, "reads", None)
        if isinstance(reads, str):
            out["reads"] = reads
        return out

    def to_json(self, *, indent: int | None = 2) -> str:
        """Return the result as one JSON document."""
        return json.dumps(self.to_dict(), indent=indent, allow_nan=False, ensure_ascii=False)

    def __init_subclass__(cls, **options: Any) -> None:
        super().__init_subclass__(**options)
        if "__repr__" not in cls.__dict__:
            cls.__repr__ = Result.__repr__  # type: ignore[method-assign]  # a dataclass would write its own, of any length

    def __repr__(self) -> str:
        """At most three lines: what it is with its plain fields, what it says, where the rest is."""
        fields = [item for item in _own_first(type(self)) if item.repr]
        told = ", ".join(f"{item.name}={_short(getattr(self, item.name))}" for item in fields if item.name != "reads")
        lines = [_cut(f"{type(self).__name__}({getattr(self, '_brief', told)})")]
        reads = getattr(self, "reads", None)
        if isinstance(reads, str) and reads:
            lines.append(_cut(reads))
        if hasattr(self, "_more"):
            lines.append(self._more)
        elif lines[0].endswith("..."):
            lines.append("to_dict() holds everything")
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        drawn = view("html", self)
        if isinstance(drawn, str):
            return drawn
        import html  # late: a command shows nothing in a notebook

        rows = "".join(
            f"<tr><th style='text-align:left;font-weight:500;padding-right:1.5em'>{html.escape(str(key))}</th>"
            f"<td style='text-align:left'>{html.escape(_short(item))}</td></tr>"
            for key, item in self.to_dict().items()
            if key != "reads" and not isinstance(item, (list, dict))
        )
        reads = getattr(self, "reads", None)
        sentence = f"<p style='max-width:44em'>{html.escape(reads)}</p>" if isinstance(reads, str) else ""
        return f"{sentence}<table style='border-left:3px solid #2f6f6b;margin-left:0'>{rows}</table>"


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval(Result):
    """Base of an estimate with limits: ``low`` and ``high`` at a ``confidence``, found by ``method``."""

    low: float
    high: float
    confidence: float
    method: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Tested(Result):
    """Base of the results of a test: what it says follows the confidence asked for, never a fixed 5 %."""

    p_value: float
    method: str
    confidence: float = 0.95

    @property
    def shown(self) -> bool:
        """Whether the p-value is below one minus the confidence; `reads` claims nothing else."""
        return self.p_value < round(1.0 - self.confidence, 12)  # 1 - 0.95 is a little more than 0.05


def _own_first(kind: type[Any]) -> list[dataclasses.Field[Any]]:
    """Fields of a class of results, those of its own before those of its base."""
    if kind not in _FIELDS:
        own = kind.__annotations__
        _FIELDS[kind] = sorted(dataclasses.fields(kind), key=lambda field: field.name not in own)
    return _FIELDS[kind]


def _short(item: Any) -> str:
    """A value in a few letters: a number to five digits, of many things how many."""
    if isinstance(item, float):
        return f"{item:.5g}"
    if isinstance(item, str):
        return item if len(item) <= 40 else f"{item[:37]}..."
    if isinstance(item, np.ndarray):
        return f"<{item.size} values>"
    if isinstance(item, (tuple, list, dict)):
        return f"<{len(item)}>" if item else "<none>"
    if isinstance(item, Result):
        return type(item).__name__
    return "none" if item is None else str(item)


def _cut(line: str) -> str:
    return line if len(line) <= ACROSS else f"{line[: ACROSS - 3]}..."
