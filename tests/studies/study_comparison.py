"""How often does a comparison claim a change that is none, does its interval hold, and what can it show?

Run by hand: python tests/studies/study_comparison.py. Writes results/comparison.md. All benches are invented.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

from bench_sides import drawn  # noqa: E402
from comparison_plan import comparison_power  # noqa: E402

from flicker.evidence.compare.weighing import IMPROVED, WORSE, weigh  # noqa: E402
from flicker.stats.rates import share_interval  # noqa: E402

NULL, POWER = 1000, 300
EXPOSURES = {"1:1": (4.0, 4.0), "5:1": (10.0, 2.0), "20:1": (40.0, 2.0), "1:20": (2.0, 40.0)}


def cell(rng, hours, rate, burst, gap_s, ratio, number):
    improved = worse = covered = tried = 0
    for _ in range(number):
        before = drawn(rng, [hours[0]], rate, burst=burst, gap_s=gap_s)
        after = drawn(rng, [hours[1]], rate * ratio, burst=burst, gap_s=gap_s)
        item = weigh([(unknown(before), unknown(after))])[0]
        improved += item.outcome == IMPROVED
        worse += item.outcome == WORSE
        if item.ratio.count + item.ratio.base_count > 0:
            tried += 1
            covered += item.ratio.low <= ratio <= item.ratio.high
        else:
            tried += 1
            covered += 1
    return improved, worse, covered, tried


def unknown(made):
    """The same counts without a clock since power-up, so that all hours are compared."""
    from dataclasses import replace

    return replace(made, cycles=tuple(replace(cycle, known=False) for cycle in made.cycles))


def upper(hits, trials):
    return share_interval(hits, trials, sided="upper").high


def main() -> None:
    rng = np.random.default_rng(20_260_305)
    lines = [
        "# Before and after: size, coverage, power",
        "",
        "Written by `tests/studies/study_comparison.py`, seed 20260305; all benches invented. Episodes after a dead time of",
        "10 s; bursts of geometric size with exponential gaps of 20 s on the mean, so that many bursts are counted as",
        "several episodes. 'upper' is the 95 % Clopper-Pearson upper limit of the share of false 'improved' (nominal 5 %,",
        f"one-sided). {NULL} pairs a row; Monte Carlo error 0.7 points at 5 %.",
        "",
        "| exposure before:after | bursts of | episodes before (mean) | false improved | upper | false worse | interval covers |",
        "|---|---|---|---|---|---|---|",
    ]
    for name, hours in EXPOSURES.items():
        for burst in (1.0, 3.0, 5.0):
            for mean in (4.0, 12.0, 40.0):
                rate = mean / max(hours[0], 1e-9) if hours[0] >= hours[1] else mean / hours[1]
                i, w, c, t = cell(rng, hours, rate, burst, 20.0, 1.0, NULL)
                lines.append(
                    f"| {name} | {burst:g} | {rate * hours[0]:.3g} | {i / NULL:.1%} | {upper(i, NULL):.1%} | {w / NULL:.1%} "
                    f"| {c / t:.1%} |"
                )
                print(lines[-1], flush=True)
    lines += [
        "",
        "## Power",
        "",
        f"Chance of 'improved' where the rate fell, singly counted episodes, {POWER} pairs a row, beside the exact test",
        "without widening and the randomised conditional optimum (exact sums).",
        "",
        "| hours before, after | episodes before (mean) | true ratio | improved | exact test | conditional optimum |",
        "|---|---|---|---|---|---|",
    ]
    for hours in ((4.0, 4.0), (4.0, 16.0), (10.0, 2.0)):
        for mean in (8.0, 20.0, 40.0):
            for ratio in (0.5, 0.1, 0.0):
                i, _, _, _ = cell(rng, hours, mean / hours[0], 1.0, 20.0, ratio, POWER)
                best = comparison_power(mean / hours[0], hours[0], hours[1], true_ratio=ratio)
                lines.append(
                    f"| {hours[0]:g}, {hours[1]:g} | {mean:g} | {ratio:g} | {i / POWER:.2f} | {best.power:.2f} "
                    f"| {best.best_power:.2f} |"
                )
                print(lines[-1], flush=True)
    lines += ["", "Whole jobs, with false and true cures: `jobs.md`."]
    (HERE / "results" / "comparison.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
