"""Seconds in an hour and a day: inside the house every time is in seconds."""

from __future__ import annotations

HOUR = 3600.0  # by definition
DAY = 24.0 * HOUR
