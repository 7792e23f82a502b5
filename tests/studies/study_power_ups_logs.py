"""Claims over power-ups through the whole program: simulated logs, detector, `assess` and `compare`.

Usage: python tests/studies/study_power_ups_logs.py MINUTES > tests/studies/results/power_ups_logs.md
Each row takes an equal share of the minutes; how many units it came to stands beside it.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from flicker import assess, compare
from flicker.logs.model import Log


def log(rng, count, name, hours=1.0):
    """One power-up of an hour at 2 readings a second, with so many swings of a second (invented)."""
    when = np.arange(int(hours * 7200)) * 0.5
    volts = 0.004 + 0.0005 * rng.normal(size=when.size) + 0.08 * np.exp(-when / 5.0)
    for at in rng.uniform(60.0, hours * 3600.0 - 20.0, count):
        volts[(when >= at) & (when < at + 1.0)] += rng.lognormal(-2.2, 0.2)
    return Log.from_arrays(when, {"left": volts}, name=name)


def unit(rng, means, cv, stage="log"):
    factor = rng.gamma(1 / cv**2, cv**2, len(means)) if cv else np.ones(len(means))
    return [log(rng, int(rng.poisson(m * f)), f"{stage} {k}") for k, (m, f) in enumerate(zip(means, factor, strict=True))]


def degrading(rng, means, cv):
    return "degrading" if assess(unit(rng, means, cv)).channels[0].verdict == "degrading" else "other"


def changed(rng, before, after, cv):
    return str(compare(unit(rng, before, cv, "before"), unit(rng, after, cv, "after")).channels[0].outcome)


ROWS = [
    ("degrading, no change, 5 power-ups of mean 6, cv .5", lambda r: degrading(r, [6] * 5, 0.5), "2.6 (counts)"),
    ("degrading, no change, 5 power-ups of mean 6, cv 1", lambda r: degrading(r, [6] * 5, 1.0), "5.3 (counts)"),
    ("degrading, means 2, 3, 5, 9, 15", lambda r: degrading(r, [2, 3, 5, 9, 15], 0.0), "77 to 86"),
    ("compare, no change, 1:1 of mean 10, cv .5", lambda r: changed(r, [10], [10], 0.5), "2 in all"),
    ("compare, no change, 2:2 of mean 10, cv .5", lambda r: changed(r, [10] * 2, [10] * 2, 0.5), "5 in all"),
    ("compare, 2:2, mean 10 to none, cv 0", lambda r: changed(r, [10] * 2, [0] * 2, 0.0), "100"),
]


def main(minutes: float) -> None:
    print("# Claims over power-ups through whole logs\n\n| case | units | outcomes | page |\n|-|-|-|-|")
    for number, (name, draw, page) in enumerate(ROWS):
        rng = np.random.default_rng([20_261_126, number])
        seen: dict[str, int] = {}
        end = time.process_time() + 60.0 * minutes / len(ROWS)
        while time.process_time() < end:
            word = draw(rng)
            seen[word] = seen.get(word, 0) + 1
        total = sum(seen.values())
        told = ", ".join(f"{word} {count} ({100 * count / total:.0f} %)" for word, count in sorted(seen.items()))
        print(f"| {name} | {total} | {told} | {page} |", flush=True)


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 6.0)
