"""Are planned comparisons true? Chances against the tables of an independent program, and plans that are then carried out.

Run it as a script; it writes tests/studies/results/planned_comparison.md. All data are invented.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from flicker.stats.power_ups import comparison_needs, comparison_power, rate_comparison

SEED, DRAWS, PLANS, LIVES = 20261127, 600, 30, 20
TABLE = ((1, 0.0, 41), (1, 0.1, 16), (2, 0.1, 94), (2, 0.3, 47), (3, 0.3, 75), (5, 0.3, 96))


def counts(rng, mean, cv, size):
    """Counts of power-ups that differ by a gamma factor."""
    factor = np.ones(size) if cv == 0 else rng.gamma(1 / cv**2, cv**2, size)
    return rng.poisson(mean * factor)


def carried_out(rng, cv, ratio):
    """Plan from two power-ups seen, then carry the plan out: share that shows the fall, mean promise, mean power-ups."""
    kept, promised, number, none = [], [], [], 0
    for seed in range(PLANS):
        seen = counts(rng, 10.0, cv, 2)
        plan = comparison_needs(ratio, counts=seen, exposures=[1.0, 1.0], draws=100, seed=seed) if seen.sum() else None
        if plan is None or plan.after is None:
            none += 1
            continue
        promised.append(plan.power)
        number.append(plan.more_before + plan.after)
        for _ in range(LIVES):
            before = np.concatenate((seen, counts(rng, 10.0, cv, plan.more_before)))
            after = counts(rng, 10.0 * ratio, cv, plan.after)
            got = rate_comparison(before, np.ones(before.size), after, np.ones(after.size))
            kept.append(got.p_down <= 0.025)
    return f"{100 * np.mean(kept):.0f} of {100 * np.mean(promised):.0f}, {np.mean(number):.1f}, {none}"


def main():
    """Write the tables."""
    lines = ["# Planned comparisons", "", f"By study_planned_comparison.py, seed {SEED}; data invented.", "",
             "## Chance of showing a fall, in %: ours, and the table of the page on rates over power-ups (its own program)", "",
             f"Mean 10 per power-up, no scatter, {DRAWS} drawn units.", "", "| a side | ratio | ours | table |", "|---|---|---|---|"]  # fmt: skip
    for side, ratio, want in TABLE:
        got = comparison_power(side, side, ratio, rate=10.0, length=1.0, cv=0.0, draws=DRAWS, seed=1)
        lines.append(f"| {side} | {ratio:g} | {100 * got:.1f} | {want} |")
        print(lines[-1], flush=True)
    lines += ["", "## Plans carried out", "",
              f"Two power-ups of mean 10 seen, {PLANS} plans a cell for a chance of 80 %, each carried out {LIVES} times: shown of promised in %, "
              "power-ups planned in the mean, plans that said 'not enough'.", "",
              "| scatter | down to a tenth | gone |", "|---|---|---|"]  # fmt: skip
    rng = np.random.default_rng(SEED)
    for cv in (0.0, 0.3, 0.5, 1.0):
        lines.append(f"| {cv:g} | " + " | ".join(carried_out(rng, cv, ratio) for ratio in (0.1, 0.0)) + " |")
        print(lines[-1], flush=True)
    (Path(__file__).parent / "results" / "planned_comparison.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
