"""The verdict over lengths, sampling rates, numbers of runs and severities; results in results/verdict_grid.json.

python tests/studies/study_verdict_grid.py [logs per cell] [axis ...]

One thing is changed at a time from 4 h at 2 samples per second and one run. The other channel of each log is sound.
Below three observed hours nothing can be steady or one-off (statistics of `Limits.episode_rate_per_h`), and few
episodes cannot show a trend: the truth is then named beside the words that a careful reader may say instead.
"""

from __future__ import annotations

import collections
import json
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))
import second_bench
from study_verdict import FIRST as TRUTHS

from flicker import assess, simulate_log

RESULTS = Path(__file__).parent / "results" / "verdict_grid.json"

FIRST = {
    kind: TRUTHS[kind]
    for kind in (
        "steady", "steady-ar1", "steady-flicker", "steady-coarse", "steady-gappy", "steady-warming", "steady-ripple",
        "one-off", "one-off-burst", "noisy", "noisy-bursts", "noisy-heavy", "drifting", "drifting-step",
        "drifting-walk", "degrading", "degrading-size",
    )
}  # fmt: skip
SMALL, LARGE = (0.06, 0.08), (0.8, 5.0)


@dataclass(frozen=True)
class Cell:
    """What is put in, and what is changed."""

    axis: str
    value: str
    generator: str
    kind: str
    truth: str
    hours: float = 4.0
    rate_hz: float = 2.0
    runs: int = 1
    options: dict[str, Any] = field(default_factory=dict)


def cells() -> Iterator[Cell]:
    """All cells of the study."""
    kinds = [("first", kind, truth) for kind, truth in FIRST.items()]
    both = kinds + [("second", kind, truth) for kind, truth in second_bench.KINDS.items()]
    for hours in (0.5, 2.0, 8.0, 48.0):
        for generator, kind, truth in both:
            yield Cell("length", f"{hours:g} h", generator, kind, truth, hours=hours)
    for rate in (1.0, 10.0):
        for generator, kind, truth in both:
            yield Cell("sampling", f"{rate:g} per s", generator, kind, truth, rate_hz=rate)
    for runs in (2, 4, 8):
        for generator, kind, truth in kinds:
            yield Cell("runs", f"{runs} of 2 h", generator, kind, truth, hours=2.0, runs=runs)
    for text, options in (("60 to 80 mV", {"size_V": SMALL}), ("0.8 to 5 V", {"size_V": LARGE}),
                          ("0.1 s", {"length_s": 0.1}), ("a minute", {"length_s": 60.0})):  # fmt: skip
        for kind in ("one-off", "noisy", "degrading"):
            yield Cell("glitch", text, "first", kind, FIRST[kind], options=options)
    for rate in (2.0, 20.0, 60.0):
        yield Cell("severity", f"{rate:g} per hour", "first", "noisy", "noisy", options={"rate_per_h": rate})
    for floor in (0.005, 0.02):
        yield Cell("severity", f"floor of {floor * 1e3:g} mV", "first", "noisy-floor", "noisy",
                   options={"floor_V": floor})  # fmt: skip
    for volts in (0.010, 0.050, 0.200):
        truth = "drifting" if volts > 0.02 else "steady"
        yield Cell("severity", f"{volts * 1e3:g} mV", "first", "drifting", truth, options={"drift_V": volts})
        yield Cell("severity", f"{volts * 1e3:g} mV", "first", "drifting-step", truth, options={"step_V": volts})
    for power in (2.0, 5.0):
        yield Cell("severity", f"power {power:g}", "first", "degrading", "degrading",
                   options={"exponent_of_growth": power})  # fmt: skip
    for growth in (3.0, 27.0):
        yield Cell("severity", f"{growth:g} times", "first", "degrading-size", "degrading", options={"growth": growth})


def one(job: tuple[Cell, int]) -> tuple[str, str]:
    """Judge one log; return the words for both channels."""
    cell, seed = job
    if cell.generator == "second":
        logs = [second_bench.make(cell.kind, seed, hours=cell.hours, rate_hz=cell.rate_hz)]
    else:
        how: dict[str, Any] = {"hours": cell.hours, "rate_hz": cell.rate_hz, "runs": cell.runs, **cell.options}
        logs = list(simulate_log(cell.kind, seed=seed, **how).logs)
    result = assess(logs)
    return result.channels[0].verdict, result.channels[1].verdict


def main() -> None:
    """Run the study and print a table."""
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 25
    only = set(sys.argv[2:])
    chosen = [cell for cell in cells() if not only or cell.axis in only]
    jobs = [(cell, 5000 + k) for cell in chosen for k in range(number)]
    rows = []
    with ProcessPoolExecutor(2) as pool:
        words = pool.map(one, jobs, chunksize=5)
        for cell in chosen:
            left: collections.Counter[str] = collections.Counter()
            right: collections.Counter[str] = collections.Counter()
            for _ in range(number):
                a, b = next(words)
                left[a] += 1
                right[b] += 1
            told = f"{cell.axis:9s}{cell.value:14s}{cell.generator:7s}{cell.kind:16s}{cell.truth:10s}"
            print(f"{told} {dict(left)}  other: {dict(right)}", flush=True)
            rows.append({**asdict(cell), "logs": number, "left": dict(left), "other_channel": dict(right)})
    if not only:
        RESULTS.write_text(json.dumps({"rows": rows}, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
