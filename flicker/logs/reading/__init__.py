"""Reads a log: a path in, a `Log` out, whatever the logger wrote.

`reader` opens, `sniff` looks at the first bytes, `plan` decides how to read, `csv_parser` and `text` read text, `columnar`
and `wav` the rest; `units`, `clock` and `cells` know units, times and odd cells. Names resolve when first used.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from flicker.logs.reading.reader import open_source, read_log, wishes_of

__all__ = ["open_source", "read_log", "wishes_of"]


def __getattr__(name: str) -> Any:
    if name in __all__:
        return getattr(importlib.import_module("flicker.logs.reading.reader"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
