"""The pages on the terminal, one module per kind of document."""

from __future__ import annotations

from flicker.present.terminal.assessment import show_assessment

__all__ = [
    "show_assessment",
]
