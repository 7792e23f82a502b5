"""Logs of slow loggers: a reading every 1 to 10 minutes over weeks to months. Invented.

    python tests/studies/slow_logs.py [logs of a kind]      # writes tests/studies/results/slow_logs.md
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import noise_makers as makers
import numpy as np

from flicker import Log, assess

KINDS = {
    "steady": "inconclusive",  # a reading a minute never clears: what lies between is not seen
    "daily": "inconclusive",
    "line": "drifting",
    "two falls": "drifting",
    "step": "drifting",
    "walk": "drifting",
    "restless": "noisy",
    "swings": "noisy",
    "hours away": "noisy",
    "telegraph": "noisy",
}
DAY_S = 86_400.0


def wander(rng, n, exponent, sd_V):
    """Noise that wanders, sd ``sd_V``."""
    return sd_V * makers.spectral(rng, 1, n, exponent)[0]


def slow_log(kind, seed):
    """A log of two channels, the right one sound; returns it, its cadence in minutes and its days."""
    rng = np.random.default_rng([seed, sum(map(ord, kind))])
    every, days = float(rng.choice([1, 2, 5, 10])), int(rng.choice([14, 30, 79]))
    step = 60.0 * every
    n = int(days * DAY_S / step)
    time = np.arange(n) * step
    x = rng.choice([-1, 1]) * rng.uniform(0.006, 0.012) + 4e-4 * rng.standard_normal(n) + wander(rng, n, 1.0, 8e-4)
    if kind == "daily":
        x += 0.004 * np.sin(2 * np.pi * time / DAY_S + rng.uniform(0, 6))
    elif kind == "line":
        x += np.linspace(0, rng.choice([-1, 1]) * rng.uniform(0.04, 0.10), n)
    elif kind == "two falls":
        first, second = rng.uniform(0.1, 0.4), rng.uniform(0.55, 0.85)
        for share in (first, second):
            begin = int(share * n)
            x[begin : begin + int(rng.uniform(0.5, 1.5) * DAY_S / step)] -= rng.uniform(0.045, 0.085)
    elif kind == "step":
        x[int(rng.uniform(0.3, 0.7) * n) :] += rng.uniform(0.03, 0.06)
    elif kind == "walk":
        walk = np.cumsum(rng.standard_normal(n))
        x += 0.06 * walk / np.ptp(walk)
    elif kind == "restless":
        x += 0.006 * rng.standard_normal(n)  # wider about so small a level may be an open lead: no sign of life
    elif kind == "swings":
        for at in rng.integers(10, n - 10, int(rng.integers(8, 30))):
            x[at : at + int(rng.integers(1, 3))] += rng.choice([-1, 1]) * rng.uniform(0.1, 0.4)
    elif kind == "hours away":
        for at in rng.integers(10, n - 10, int(rng.integers(4, 9))):
            x[at : at + max(4, int(rng.uniform(1, 4) * 3600 / step))] += rng.uniform(0.1, 0.3)
    elif kind == "telegraph":
        at, up = 0, False
        while at < n:
            length = max(1, int(rng.exponential(3 * 3600 / step)))
            x[at : at + length] += 0.03 * up
            at, up = at + length, not up
    right = rng.choice([-1, 1]) * rng.uniform(0.004, 0.01) + 4e-4 * rng.standard_normal(n) + wander(rng, n, 1.0, 8e-4)
    return Log.from_arrays(time, {"left": np.round(x, 4), "right": np.round(right, 4)}), every, days


def main(logs):
    """Write the table."""
    lines = ["# Slow loggers", "", f"By slow_logs.py, {logs} logs a kind, a reading every 1 to 10 minutes over 14 to 79 days; invented.", "",
             "| kind | asked | words of the channel | moves told, of two falls or one step | sound channel beside: words; cleared |", "|---|---|---|---|---|"]  # fmt: skip
    for kind, asked in KINDS.items():
        words, beside, cleared, moves = Counter(), Counter(), 0, []
        for seed in range(logs):
            found = assess(slow_log(kind, seed)[0])
            left, right = found.channel("left"), found.channel("right")
            words[str(left.verdict)] += 1
            beside[str(right.verdict)] += 1
            cleared += str(right.fitness).startswith("within") + str(left.fitness).startswith("within")
            moves.append(len(left.moves))
        told = ", ".join(f"{word} {count}" for word, count in words.most_common())
        placed = f"{np.mean([m == (2 if kind == 'two falls' else 1) for m in moves]):.2f}" if kind in ("two falls", "step") else "-"
        lines.append(f"| {kind} | {asked} | {told} | {placed} | {', '.join(f'{w} {c}' for w, c in beside.most_common())}; {cleared} |")
        print(lines[-1], flush=True)
    (Path(__file__).parent / "results" / "slow_logs.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
