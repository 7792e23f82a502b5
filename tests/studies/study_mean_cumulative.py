"""Coverage of the bands of `mean_cumulative` and `count_by_age` over power-ups that differ; invented counts.

Run it as a script; it writes tests/studies/results/mean_cumulative.md.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from flicker.stats.power_ups import count_by_age, mean_cumulative

SEED, DRAWS = 20261126, 400
SCATTERS = (0.0, 0.3, 0.5, 1.0)


def power_ups(rng, many, mean, cv, lengths, early):
    """Times of each power-up's episodes on (0, length); a rate that decays with time since switch-on where ``early``."""
    factor = rng.gamma(1 / cv**2, cv**2, many) if cv else np.ones(many)
    ends = np.ones(many) if lengths == "equal" else np.linspace(0.4, 1.6, many)
    times = []
    for theta, end in zip(factor, ends, strict=True):
        whole = mean * 1.6  # on (0, 1.6), then thinned to the shape
        t = np.sort(rng.uniform(0.0, 1.6, rng.poisson(2.0 * whole * theta)))
        keep = rng.random(t.size) < 0.5 * shape(t, early)
        times.append(t[keep & (t <= end)])
    return times, ends


def shape(t, early):
    """Rate over its mean on (0, 1)."""
    return np.exp(-3.0 * t) * 3.0 / (1 - np.exp(-3.0)) * 0.63 if early else np.ones_like(t)


def truth(mean, until, early):
    """Mean number up to a time."""
    return mean * (0.63 * (1 - np.exp(-3.0 * until)) / (1 - np.exp(-3.0)) if early else until)


def main():
    """Write the tables."""
    rng = np.random.default_rng(SEED)
    lines = [
        "# Bands of the mean cumulative function",
        "",
        f"By study_mean_cumulative.py, {DRAWS} draws a cell, seed {SEED}; data invented; gamma factors of the stated cv. In %, "
        "pointwise, nominal 95: of the mean at half and at the whole of a length of 1 (the median ratio of the upper to the "
        "lower end), and of the count by age between power-ups that do not age.",
        "",
        "| power-ups | mean | lengths, rate | " + " | ".join(f"cv {cv:g}" for cv in SCATTERS) + " |",
        "|---|---|---|" + "---|" * len(SCATTERS),
    ]
    for many in (2, 3, 5, 8, 15):
        for mean in (1.0, 3.0, 10.0):
            for lengths, early in (("equal", False), ("unequal", True)):
                if lengths == "unequal" and mean == 3.0:
                    continue
                cells = []
                for cv in SCATTERS:
                    half, whole, age, ratio = [], [], [], []
                    for _ in range(DRAWS):
                        times, ends = power_ups(rng, many, mean, cv, lengths, early)
                        found = mean_cumulative(times, ends)
                        for until, hits in ((0.5, half), (1.0, whole)):
                            k = np.searchsorted(found.time, until, "right") - 1
                            hits.append(found.low[k] <= truth(mean, until, early) <= found.high[k])
                        ratio.append(found.high[k] / found.low[k] if found.low[k] > 0 else np.inf)
                        counts = [int((t <= ends.min()).sum()) for t in times]
                        path = count_by_age(counts, [1.0] * many)
                        inside = (path.count >= path.low - 1e-9) & (path.count <= path.high + 1e-9)
                        age.append(inside[1:-1].mean())
                    cells.append(f"{100 * np.mean(half):.0f}, {100 * np.mean(whole):.0f} ({np.median(ratio):.2g}); "
                                 f"{100 * np.mean(age):.0f}")
                lines.append(f"| {many} | {mean:g} | {lengths}, {'early' if early else 'even'} | " + " | ".join(cells) + " |")
                print(lines[-1], flush=True)
    out = Path(__file__).parent / "results" / "mean_cumulative.md"
    out.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
