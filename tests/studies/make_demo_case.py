"""Write the second demo case: four stages of an invented unit, left cured, right still glitching when cold.

Every sample is invented. The left channel of each run comes from one simulated bench, the right from another.
"""

from __future__ import annotations

import datetime as dt
import gzip
import io
import sys
from pathlib import Path

import numpy as np

from flicker import simulate_log

HOME = Path(__file__).resolve().parents[2] / "demo_data"
START = dt.datetime(2031, 9, 1, 18, 0)
# stage, file, hours, left kind, right kind ('cold' glitches in the first quarter of an hour after a cold start)
RUNS = [
    ("as received", 1.2, "noisy", "cold"),
    ("as received", 1.2, "noisy", "cold"),
    ("as received", 1.2, "noisy", "cold"),
    ("reseated only", 1.2, "noisy", "cold"),
    ("reseated only", 1.2, "noisy", "cold"),
    ("part replaced", 1.5, "steady", "cold"),
    ("part replaced", 1.5, "steady", "cold"),
    ("part replaced", 1.5, "steady", "cold"),
    ("soak", 3.0, "steady", "cold"),
    ("soak", 3.0, "steady", "cold"),
]


def channel(kind: str, hours: float, seed: int) -> np.ndarray:
    """Samples of one channel in volts."""
    options = {"size_V": (0.06, 0.4), "length_s": (0.5, 4.0)}
    if kind == "cold":
        bench = simulate_log("warm-up", hours=hours, runs=1, seed=seed, unit=41, **options)
    elif kind == "noisy":
        bench = simulate_log("noisy", hours=hours, seed=seed, unit=40, rate_per_h=9.0, **options)
    else:
        bench = simulate_log("steady", hours=hours, seed=seed, unit=40)
    return np.asarray(bench.values("left", 0))


def main(home: Path = HOME) -> None:
    """Write the ten logs."""
    for number, (stage, hours, left, right) in enumerate(RUNS):
        columns = channel(left, hours, 500 + number), channel(right, hours, 600 + number)
        text = io.StringIO()
        text.write("time_s,left_mV,right_mV\n")
        for k, (a, b) in enumerate(zip(*columns, strict=True)):
            text.write(f"{k / 2:.1f},{a * 1e3:.1f},{b * 1e3:.1f}\n")
        name = f"r60_{number + 1:02d}_{stage.replace(' ', '_')}.csv.gz"
        with open(home / name, "wb") as file, gzip.GzipFile("", "wb", mtime=0, fileobj=file) as packed:
            packed.write(text.getvalue().encode())
    lines = [
        "# A job of the invented workshop in Tallow Street; unit, complaint and every sample are invented.",
        'unit = "Quillmoor R-60"', 'serial = "R60-1188"', 'job = "TS-1207"', "",
        "[complaint]", 'text = "cuts out now and then on the left; the right crackles for the first minutes"',
        "times = 2", 'per = "evening"', 'when = "any"', "hours_per_day = 3", "",
        "[channels.left]", 'column = "left_mV"', 'measured_at = "amplifier side"', "",
        "[channels.right]", 'column = "right_mV"', 'measured_at = "amplifier side"', "",
        "[meter]", 'name = "bench logger, two inputs"', "resolution_V = 0.0001", "accuracy_V = 0.0005",
        "accuracy_percent = 0.1", "integration_s = 0.02",
    ]  # fmt: skip
    for number, (stage, *_) in enumerate(RUNS):
        lines += [
            "", "[[logs]]", f'file = "r60_{number + 1:02d}_{stage.replace(" ", "_")}.csv.gz"',
            f"date = {(START + dt.timedelta(days=number)).isoformat()}", f'stage = "{stage}"', 'by = "M. Oduya"',
            'conditions = { load = "none", source = "shorted", lid = "closed" }',
        ]  # fmt: skip
    lines += [
        "", "[[parts]]", 'what = "left channel: board plugs and input sockets reseated, nothing changed"',
        'stage = "reseated only"', "date = 2031-09-04", "", "[[parts]]",
        'what = "left channel: output bias transistor replaced"', 'stage = "part replaced"', "date = 2031-09-06",
    ]  # fmt: skip
    (home / "r60_case.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HOME)
