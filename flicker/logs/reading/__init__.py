"""Reads a log: a path in, a `Log` out, whatever the logger wrote.

`reader` opens `files` and data in memory, `look` shows the plan before it is believed; `words/` knows what a cell says,
`planning/` what each column is, `text/` and `columnar/` read the two forms, `wav` recordings, `samples/` keeps what was read.
Names resolve when first used.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from flicker.base.late import late

if TYPE_CHECKING:
    from flicker.logs.reading.reader import open_source, read_log, wishes_of, with_legs

__all__ = ["open_source", "read_log", "wishes_of", "with_legs"]


__getattr__ = late(__name__, {"reader": "open_source read_log wishes_of with_legs"})
