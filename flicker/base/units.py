"""Seconds in an hour: inside the house every time is in seconds."""

from __future__ import annotations

HOUR = 3600.0  # by definition
