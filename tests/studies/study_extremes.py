"""Coverage study of the tail limits: chance of a peak above a level.

Run: python tests/studies/study_extremes.py [simulations]; writes results/extremes.md beside this file. All data are
simulated: counts Poisson, excesses generalised Pareto. The level is passed on average 0.3 times in the time ahead.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

from flicker.stats import extremes
from flicker.stats.extremes import peaks

HERE = Path(__file__).parent


def excesses(rng: np.random.Generator, n: int, shape: float) -> np.ndarray:
    """Generalised Pareto excesses of scale 1."""
    e = rng.standard_exponential(n)
    return np.expm1(shape * e) / shape if shape else e


def main() -> None:
    n = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    lines = [f"# Extremes: coverage\n\n{n} simulations a cell; levels 95 %; shape range -0.5 to 1.\n"]
    lines += [
        "`high` is a one-sided 95 % bound below 20 peaks; from 20 on `low`, `high` form a 95 % interval. Time ahead:",
        "three times the time behind. One seed per row of peaks, so rows of one count share their luck.\n",
        "| mean peaks | shape | ahead | chance covered, % | chance below high, % | median high |",
        "|---|---|---|---|---|---|",
    ]
    begun = time.perf_counter()
    for count in (8, 15, 25, 50, 100):
        for shape in (-0.3, 0.0, 0.2, 0.5):
            for ahead in (3.0,):
                rng = np.random.default_rng(count * 7 + 1)
                survival = 0.3 / (count * ahead)
                level = float((survival**-shape - 1) / shape if shape else -np.log(survival))
                truth = -np.expm1(-0.3)
                inside = below = made = 0
                highs = []
                for i in range(n):
                    k = rng.poisson(count)
                    y = excesses(rng, k, shape)
                    if k < peaks.LEAST_PEAKS:
                        continue
                    made += 1
                    fit = extremes.fit_tail(y, 0.0, exposure=1.0, seed=i)
                    chance = fit.chance_above(level, ahead)
                    inside += chance.low <= truth <= chance.high
                    below += truth <= chance.high
                    highs.append(chance.high)
                cells = " | ".join(f"{100 * v / made:.1f}" for v in (inside, below))
                lines.append(f"| {count} | {shape} | {ahead:g} | {cells} | {np.median(highs):.2f} |")
                (HERE / "results" / "extremes.md").write_text("\n".join([*lines, ""]))
    print(f"{time.perf_counter() - begun:.0f} s")
    (HERE / "results" / "extremes.md").write_text("\n".join([*lines, ""]))


if __name__ == "__main__":
    main()
