"""Simulated benches with known truth, for demo data, calibration and planning. The benches and units are invented.

`simulate_log` draws a bench of one of the `KINDS`; the `Bench` it returns holds the logs, the samples, the truth, and
writes CSV files. Nothing here is measured on a real amplifier; amplitudes and times are common practice, no source.
"""

from __future__ import annotations

from flicker.simulate._bench import FAMILIES, KINDS, Bench, simulate_log
from flicker.simulate._sheet import SHAPES
from flicker.simulate._truth import (
    BenchTruth,
    ChannelTruth,
    Excursion,
    LevelChange,
    Mark,
    PowerUp,
    RangeSegment,
    RunTruth,
    Stretch,
)

__all__ = [
    "FAMILIES",
    "KINDS",
    "SHAPES",
    "Bench",
    "BenchTruth",
    "ChannelTruth",
    "Excursion",
    "LevelChange",
    "Mark",
    "PowerUp",
    "RangeSegment",
    "RunTruth",
    "Stretch",
    "simulate_log",
]
