"""Writing files whole or not at all; the one helper stands in `flicker.logs.writing`."""

from __future__ import annotations

from flicker.logs.writing import whole_file, write_together, write_whole

__all__ = ["whole_file", "write_together", "write_whole"]
