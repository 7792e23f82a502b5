"""Makes the files in demo_data/ again, byte for byte: python tests/studies/make_demo_data.py [FOLDER].

All of it is invented: the maker Quillmoor, its integrated amplifiers A-45 and M-22, the workshop in Tallow Street, and
every sample, which comes from `flicker.simulate_log` with the seeds below.
"""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path
from typing import Any

from flicker.simulate import Bench, simulate_log

UNIT = 45  # seed of the invented A-45: its settled levels and surges, alike in every stage
BENCH: dict[str, Any] = {"unit": UNIT, "rate_hz": 4.0, "noise": "flicker", "noise_V": 0.0005, "exponent": 1.0}
FAULT: dict[str, Any] = {"size_V": (0.07, 0.45), "length_s": (0.4, 6.0)}

VISIT: dict[str, Any] = {
    "unit": 22, "hours": 0.5, "runs": 2, "rate_hz": 0.5, "size_V": (0.08, 0.4), "length_s": (2.5, 6.0),
}  # fmt: skip

# file: kind, options
FILES: dict[str, tuple[str, dict[str, Any]]] = {
    "a45_1_as_received_1.csv": (
        "noisy-bursts",
        {"hours": 2.0, "seed": 101, "bursts_per_h": 7.0, "burst_size": 1.6, "gap_s": 6.0, **BENCH, **FAULT},
    ),
    "a45_1_as_received_2.csv": ("one-off", {"hours": 1.5, "seed": 102, **BENCH, **FAULT}),
    "a45_1_as_received_3.csv": (
        "noisy-bursts",
        {"hours": 1.5, "seed": 103, "bursts_per_h": 8.0, "burst_size": 1.6, "gap_s": 6.0, **BENCH, **FAULT},
    ),
    "a45_2_reseated_1.csv": ("noisy", {"hours": 1.0, "seed": 104, "rate_per_h": 8.0, **BENCH, **FAULT}),
    "a45_2_reseated_2.csv": ("noisy", {"hours": 1.0, "seed": 105, "rate_per_h": 8.0, **BENCH, **FAULT}),
    "a45_3_part_replaced_1.csv": ("steady", {"hours": 2.0, "seed": 106, **BENCH}),
    "a45_3_part_replaced_2.csv": ("steady", {"hours": 2.0, "seed": 107, **BENCH}),
    "a45_3_part_replaced_3.csv": ("steady", {"hours": 2.0, "seed": 108, **BENCH}),
    "two_minutes.csv": ("classic", {"seed": 201}),
    "relay.csv": ("relay", {"seed": 202}),
    "degrading.csv": ("degrading", {"seed": 203, "episodes": 32}),
    "m22_visit_1.csv": ("noisy", {"seed": 321, "rate_per_h": 4.0, **VISIT}),
    "m22_visit_2.csv": ("noisy", {"seed": 322, "rate_per_h": 10.0, **VISIT}),
    "m22_visit_3.csv": ("noisy", {"seed": 323, "rate_per_h": 26.0, **VISIT}),
    "m22_taps.csv": (
        "taps",
        {"seed": 325, "unit": 22, "hours": 0.25, "rate_hz": 1.0, "size_V": (0.08, 0.4), "length_s": (1.0, 4.0)},
    ),
    "m22_shorted.csv": ("lead-shorted", {"seed": 324, "at": 0.0, "away_s": 3600.0, "hours": 1.0, "rate_hz": 0.5}),
}
STARTS = {
    "a45_1_as_received_1.csv": datetime(2031, 3, 3, 18, 30),
    "a45_1_as_received_2.csv": datetime(2031, 3, 4, 17, 55),
    "a45_1_as_received_3.csv": datetime(2031, 3, 5, 18, 10),
    "a45_2_reseated_1.csv": datetime(2031, 3, 6, 18, 5),
    "a45_2_reseated_2.csv": datetime(2031, 3, 7, 9, 20),
    "a45_3_part_replaced_1.csv": datetime(2031, 3, 10, 18, 0),
    "a45_3_part_replaced_2.csv": datetime(2031, 3, 11, 18, 15),
    "a45_3_part_replaced_3.csv": datetime(2031, 3, 12, 9, 0),
    "m22_visit_1.csv": datetime(2031, 3, 4, 10, 0),
    "m22_visit_2.csv": datetime(2031, 6, 10, 10, 0),
    "m22_visit_3.csv": datetime(2031, 9, 16, 10, 0),
}


def bench(name: str) -> Bench:
    """Simulate the bench of one file."""
    kind, options = FILES[name]
    return simulate_log(kind, start=STARTS.get(name), **options)


def make(name: str, folder: Path) -> Path:
    """Write one file, its marks beside it, and return its path; the short logs carry clock times, the long seconds."""
    times = "iso" if name in ("two_minutes.csv", "relay.csv") else "seconds"
    return bench(name).write(folder / name, time=times)[0]


def main() -> None:
    """Write every file and print what each holds."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parents[2] / "demo_data"
    for name in FILES:
        path = make(name, folder)
        made = bench(name)
        counts = {channel: len(made.truth.excursions(channel)) for channel in made.channels}
        print(f"{name:28s} {path.stat().st_size:8d} bytes, glitches put in: {counts}")


if __name__ == "__main__":
    main()
