"""Measure level, variance and rate changes: false, found, coverage of places. Invented data, fixed seeds.

Run from the repository's root: python tests/studies/study_changepoints.py [logs per row, default 1000]
Results are recorded in results/changepoints.md.
"""

import pathlib
import sys

import numpy as np
from scipy import stats

sys.path.insert(0, str(pathlib.Path(__file__).parent))
import noise_makers as makers

from flicker.stats.changepoints import level_changes, rate_changes, variance_changes


def share(hits, trials):
    low, high = stats.binomtest(hits, trials).proportion_ci() if trials else (0, 1)
    return f"{hits / max(trials, 1):.3f} ({low:.3f} to {high:.3f})"


def false_changes(rng, count):
    print("## False changes in steady logs, nominal 5 % (share of logs, 95 % interval)\n")
    print("| noise | n | level | noise size |\n|---|---|---|---|")
    for name, make in makers.NULLS.items():
        for n in (12, 50, 200, 1000, 5000):
            logs = count if n <= 1000 else max(100, count // 4)
            level = size = 0
            for _ in range(logs):
                y = make(rng, 1, n)[0]
                level += bool(level_changes(y).changes)
                size += bool(variance_changes(y).changes)
            print(f"| {name} | {n} | {share(level, logs)} | {share(size, logs)} |", flush=True)


def found_changes(rng, count):
    print(
        "\n## Found changes: logs of 2,000 values; found = every true change and no other, each within 2 % of the log\n"
    )
    print("| noise | truth | step, sigma | any | found exactly | extra changes | places covered | steps covered |")
    print("|---|---|---|---|---|---|---|---|")
    n = 2000
    shapes = {
        "one in the middle": (0.5,),
        "one at a quarter": (0.25,),
        "one at a tenth": (0.1,),
        "up and back, 30 % long": (0.4, 0.7),
        "up and back, 10 % long": (0.4, 0.5),
        "three up and back": (0.2, 0.3, 0.4, 0.5, 0.8, 0.9),
    }
    for name in ("white", "AR .9", "AR .98", "1/f", "sum of AR"):
        for shape, places in shapes.items():
            for step in (2.0, 4.0, 8.0):
                true = np.array([int(p * n) for p in places])
                signs = np.where(np.arange(true.size) % 2, -step, step)
                base = (np.arange(n)[:, None] >= true) @ signs
                some = exact = extra = covered = right = sized = 0
                for y in makers.NULLS[name](rng, count, n):
                    changes = level_changes(y + base).changes
                    some += bool(changes)
                    near = [int(np.argmin(np.abs(true - c.index))) for c in changes]
                    good = [abs(true[j] - c.index) <= 0.02 * n for j, c in zip(near, changes, strict=True)]
                    exact += len(changes) == true.size and all(good)
                    extra += len(changes) > true.size
                    for j, c, fine in zip(near, changes, good, strict=True):
                        if fine:
                            right += 1
                            covered += c.index_low <= true[j] <= c.index_high
                            sized += c.step_low <= signs[j] <= c.step_high
                cells = f"{some / count:.3f} | {exact / count:.3f} | {extra / count:.3f}"
                print(
                    f"| {name} | {shape} | {step:g} | {cells} | {share(covered, right)} | {share(sized, right)} |",
                    flush=True,
                )


def found_noise(rng, count):
    print("\n## Changes of the noise's size, 2,000 values, in the middle\n")
    print("| noise | ratio | found | place covered | ratio covered |\n|---|---|---|---|---|")
    n = 2000
    for name in ("white", "AR .9", "1/f"):
        for ratio in (1.2, 1.5, 2.0):
            found = place = size = 0
            gain = np.where(np.arange(n) >= n // 2, ratio, 1.0)
            for y in makers.NULLS[name](rng, count, n):
                changes = variance_changes(y * gain).changes
                if len(changes) == 1:
                    found += 1
                    place += changes[0].index_low <= n // 2 <= changes[0].index_high
                    size += changes[0].ratio_low <= ratio <= changes[0].ratio_high
            print(
                f"| {name} | {ratio} | {found / count:.3f} | {share(place, found)} | {share(size, found)} |", flush=True
            )


def event_rates(rng, count):
    print("\n## Changes of event rate: Poisson; false (ratio 1) and found, change at 60 % of the time\n")
    print("| events | ratio | any | exactly one | place covered |\n|---|---|---|---|---|")
    for n in (5, 10, 20, 50, 200, 500):
        for ratio in (1.0, 4.0, 10.0):
            some = one = covered = 0
            for _ in range(count):
                early = 0.6 / (0.6 + 0.4 * ratio)
                m = rng.poisson(n)
                first = rng.binomial(m, early)
                t = np.sort(np.concatenate([rng.uniform(0, 0.6, first), rng.uniform(0.6, 1, m - first)]))
                changes = rate_changes(t, 1.0, simulations=999).changes
                some += bool(changes)
                if len(changes) == 1:
                    one += 1
                    covered += changes[0].low <= 0.6 <= changes[0].high
            cover = share(covered, one) if ratio > 1 else ""
            print(f"| {n} | {ratio:g} | {share(some, count)} | {one / count:.3f} | {cover} |", flush=True)


if __name__ == "__main__":
    logs = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    print("# Changepoints, measured\n")
    print(f"By study_changepoints.py, {logs} logs a row (long rows fewer), seed 20240514; data invented.\n")
    generator = np.random.default_rng(20240514)
    false_changes(generator, logs)
    found_changes(generator, max(50, logs // 5))
    found_noise(generator, max(50, logs // 5))
    event_rates(generator, logs)
