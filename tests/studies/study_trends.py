"""Measure slope inference, movement test and trend tests under noise of every colour. Invented data, fixed seeds.

Run from the repository's root: python tests/studies/study_trends.py [logs per row, default 2000]
Results are recorded in results/trends.md.
"""

import pathlib
import sys

import numpy as np
from scipy import stats

sys.path.insert(0, str(pathlib.Path(__file__).parent))
import noise_makers as makers

from flicker.stats.trends import mann_kendall, movement_kind, movement_test, robust_slope, theil_sen


def share(hits, trials):
    low, high = stats.binomtest(hits, trials).proportion_ci()
    return f"{hits / trials:.4f} ({low:.3f} to {high:.3f})"


def slope_size(rng, count):
    print("## Slopes without a slope, nominal 5 %\n")
    print(
        "| noise | n | robust_slope | with a gap of a third | Mann-Kendall | its Hamed-Rao form |\n"
        "|---|---|---|---|---|---|"
    )
    for name, make in makers.NULLS.items():
        for n in (5, 12, 50, 500, 3000):
            y = make(rng, count, n)
            x = np.arange(n) + np.where(np.arange(n) >= n // 2, n // 2, 0)
            robust = sum(robust_slope(v).p_value <= 0.05 for v in y)
            gap = sum(robust_slope(v, x).p_value <= 0.05 for v in y)
            few = y[: min(count, 500 if n <= 500 else 60)]
            plain = sum(mann_kendall(v).p_value <= 0.05 for v in few)
            rao = sum(mann_kendall(v, autocorrelation="hamed-rao").p_value <= 0.05 for v in few)
            cells = f"{share(robust, count)} | {gap / count:.4f} | {plain / len(few):.3f} | {rao / len(few):.3f}"
            print(f"| {name} | {n} | {cells} |", flush=True)


def slope_power(rng, count):
    print("\n## Slope seen: total rise over 3,000 values, in sigma; and coverage of the 95 % interval there\n")
    print("| noise | rise | seen | covered | Theil-Sen's interval covers |\n|---|---|---|---|---|")
    n = 3000
    for name, rise in (("white", 0.25), ("AR .9", 1.0), ("AR .98", 2.0), ("1/f", 4.0), ("sum of AR", 4.0)):
        seen = covered = sen = 0
        ramp = rise * np.arange(n) / n
        for i, v in enumerate(makers.NULLS[name](rng, count, n)):
            r = robust_slope(v + ramp)
            seen += r.p_value <= 0.05
            covered += r.low <= rise / n <= r.high
            if i < 100:
                t = theil_sen(v[::3] + ramp[::3], np.arange(0, n, 3))
                sen += t.low <= rise / n <= t.high
        print(
            f"| {name} | {rise} | {seen / count:.3f} | {share(covered, count)} | {sen / min(count, 100):.2f} |",
            flush=True,
        )


def cells_of(y, per):
    parts = y.reshape(len(y), -1, per)
    levels = np.median(parts, axis=2)
    sigma = 1.4826 * np.median(np.abs(parts - levels[:, :, None]), axis=(1, 2))
    return levels, sigma


def movement_size(rng, count):
    print(
        "\n## Movement without movement: share shown at 5 % and at 1 % (cells of 300 samples, medians; "
        "AR .98 then has a memory of a sixth of a cell)\n"
    )
    print(
        "| noise | cells | 5 %, levels only | 5 %, with sigma | 1 %, levels only | 1 %, with sigma |\n"
        "|---|---|---|---|---|---|"
    )
    for name, make in makers.NULLS.items():
        for cells in (4, 6, 12, 48, 288):
            logs = count if cells <= 12 else max(200, count // 4) if cells <= 48 else 100
            hits = np.zeros(4, dtype=int)
            for _ in range(logs // 50):
                y = make(rng, 50, cells * 300)
                for level, sigma in zip(*cells_of(y, 300), strict=True):
                    alone = movement_test(level).p_value
                    helped = movement_test(level, sigma=sigma, samples_per_cell=300).p_value
                    hits += [alone <= 0.05, helped <= 0.05, alone <= 0.01, helped <= 0.01]
            row = " | ".join(f"{h / (logs // 50 * 50):.3f}" for h in hits)
            print(f"| {name} | {cells} | {row} |", flush=True)


def movement_power(rng, count):
    print("\n## Movement of 60 mV against a limit of 20 mV, noise 3 mV (sigma), cells of 300 samples, 1 %\n")
    print("| noise | cells | shape | levels only | with sigma | named as | returns |\n|---|---|---|---|---|---|---|")
    for name in ("white", "AR .98", "1/f", "sum of AR"):
        for cells in (6, 12, 48):
            t = np.arange(cells * 300) / (cells * 300)
            shapes = {"slope": 60 * t, "step": 60.0 * (t > 0.6), "wander": None, "sine": 30 * np.sin(4 * np.pi * t)}
            for shape, move in shapes.items():
                y = 3 * makers.NULLS[name](rng, count, cells * 300)
                if move is None:
                    walk = makers.random_walk(rng, count, cells * 300)
                    move = 60 * walk / np.ptp(walk, axis=1, keepdims=True)
                kinds, hits, back = [], np.zeros(2, dtype=int), 0
                for level, sigma in zip(*cells_of(y + move, 300), strict=True):
                    hits[0] += movement_test(level, limit=20).p_value <= 0.01
                    hits[1] += movement_test(level, limit=20, sigma=sigma, samples_per_cell=300).p_value <= 0.01
                    kind = movement_kind(level)
                    kinds.append(kind.kind)
                    back += kind.returns
                names = ", ".join(f"{k} {kinds.count(k) / count:.2f}" for k in sorted(set(kinds)))
                print(
                    f"| {name} | {cells} | {shape} | {hits[0] / count:.2f} | {hits[1] / count:.2f} | {names} "
                    f"| {back / count:.2f} |",
                    flush=True,
                )


if __name__ == "__main__":
    logs = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    print("# Trends and movement, measured\n")
    print(f"By study_trends.py, {logs} logs a row (long rows fewer), seed 20240515; data invented.\n")
    generator = np.random.default_rng(20240515)
    slope_size(generator, logs)
    slope_power(generator, min(logs, 1000))
    movement_size(generator, logs)
    movement_power(generator, max(50, min(logs // 10, 200)))
