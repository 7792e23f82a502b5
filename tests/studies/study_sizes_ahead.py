"""How often does a swing reach the threshold before the earliest moment that `sizes_ahead` tells? Invented growths.

Run it as a script; it writes tests/studies/results/sizes_ahead.md.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from flicker.stats.power_ups import sizes_ahead

SEED, DRAWS = 20261127, 400
SHAPES = {
    "constant factor": lambda u, g: g**u,
    "line": lambda u, g: 1 + (g - 1) * u,
    "square": lambda u, g: 1 + (g - 1) * u**2,
    "faster and faster": lambda u, g: g ** (u**1.5),
    "stops growing": lambda u, g: g ** np.minimum(u, 1.0),
    "does not grow": lambda u, g: np.ones_like(u),
}


def main():
    """Write the table."""
    rng = np.random.default_rng(SEED)
    lines = ["# Growing swings: the first beyond the threshold", "",
             f"By study_sizes_ahead.py, {DRAWS} logs a cell, seed {SEED}; invented. Watched for a time of 1 and looked at for one more; "
             "sizes of 60 mV grow by a factor of 2 to 5, lognormal about that (0.4), neighbours correlated by 0 or 0.6; "
             "threshold 0.75 V, none beyond it so far. In %: before 'earliest' (2.5 nominal where the factor is constant); "
             "before 'middle' of those that have one (50 nominal where the factor is constant).", "",
             "| growth | bursts | correlation | before earliest | a middle is told | before middle |", "|---|---|---|---|---|---|"]  # fmt: skip
    for name, shape in SHAPES.items():
        for many in (15, 40, 120):
            for alike in (0.0, 0.6):
                told = soon = with_middle = passed = 0
                for _ in range(DRAWS):
                    t = np.sort(rng.uniform(0, 2, rng.poisson(2 * many)))
                    e = rng.standard_normal(t.size)
                    for i in range(1, t.size):
                        e[i] = alike * e[i - 1] + np.sqrt(1 - alike**2) * e[i]
                    x = 0.06 * shape(t, rng.uniform(2, 5)) * np.exp(0.4 * e)
                    seen = t <= 1
                    if seen.sum() < 10 or x[seen].max() >= 0.75:
                        continue
                    found = sizes_ahead(x[seen], t[seen], 1.0, 0.75)
                    beyond = t[~seen & (x >= 0.75)]
                    first = beyond[0] - 1 if beyond.size else np.inf
                    told += 1
                    soon += first < min(found.earliest, found.horizon)
                    if np.isfinite(found.middle):
                        with_middle += 1
                        passed += first < found.middle
                middle = f"{100 * passed / with_middle:.0f}" if with_middle else "-"
                lines.append(f"| {name} | {many} | {alike:g} | {100 * soon / told:.1f} | {100 * with_middle / told:.0f} | {middle} |")
                print(lines[-1], flush=True)
    (Path(__file__).parent / "results" / "sizes_ahead.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
