"""Measure noise colour, robust sigma and lag-1 correlation under coarse digits. Invented data, fixed seed.

Run from the repository's root: python tests/studies/study_noise.py [logs per row, default 1000]
Results are recorded in results/noise.md.
"""

import pathlib
import sys

import numpy as np

sys.path.insert(0, str(pathlib.Path(__file__).parent))
import noise_makers as makers

from flicker.stats.noise import noise_colour, noise_sigma, resolution_of

COLOURS = {
    "white": ("white", makers.white),
    "1/f (spectral)": ("flicker", makers.spectral),
    "1/f (sum of AR)": ("flicker", makers.sum_of_ar1),
    "1/f ** 0.8": ("flicker", lambda r, c, n: makers.spectral(r, c, n, 0.8)),
    "1/f ** 1.2": ("flicker", lambda r, c, n: makers.spectral(r, c, n, 1.2)),
    "random walk": ("random walk", makers.random_walk),
}


def colours(rng, count):
    print(
        "## Colour decided rightly\n\n"
        "| noise | n | right | mean exponent | spread | interval covers the mean |\n|---|---|---|---|---|---|"
    )
    for name, (truth, make) in COLOURS.items():
        for n in (64, 128, 256, 1000, 10_000):
            found = [noise_colour(y) for y in make(rng, count, n)]
            exponent = np.array([f.exponent for f in found])
            right = np.mean([f.colour == truth for f in found])
            cover = np.mean([f.low <= exponent.mean() <= f.high for f in found])
            print(
                f"| {name} | {n} | {right:.3f} | {exponent.mean():.2f} | {exponent.std():.3f} | {cover:.3f} |",
                flush=True,
            )


def digits(rng, count):
    print("\n## Coarse digits, 3,000 values: estimate over truth (mean, spread), level anywhere between two digits\n")
    print("| sigma in last digits | correlation | sigma | spread | MAD is 0 in |")
    print("|---|---|---|---|---|")
    for size in (0.1, 0.2, 0.3, 0.5, 1.0, 3.0, 30.0):
        for rho in (0.0, 0.9):
            sigma, zero = [], []
            for y in makers.ar1(rng, count, 3000, rho):
                q = np.round(size * y + rng.uniform(-0.5, 0.5)) * 1e-3
                sigma.append(noise_sigma(q) / size * 1e3)
                zero.append(np.median(np.abs(q - np.median(q))) == 0)
            print(
                f"| {size} | {rho} | {np.mean(sigma):.3f} | {np.std(sigma):.3f} | {np.mean(zero):.2f} |",
                flush=True,
            )


def steps(rng, count):
    print(
        "\n## Last digit found: share of 1,000-value logs in which it is right to 1e-6\n\n"
        "| step | in V after mV * 1e-3 | single precision |\n|---|---|---|"
    )
    for step in (0.1, 0.5, 1.0, 2.0, 0.125, 10.0, 0.30517578125):
        right = np.zeros(2)
        for _ in range(count):
            mv = np.round(rng.normal(rng.uniform(-50, 50), 3 * step, 1000) / step) * step
            right += [
                abs(resolution_of(mv * 1e-3) / (step * 1e-3) - 1) < 1e-6,
                abs(resolution_of((mv * 1e-3).astype(np.float32)) / (step * 1e-3) - 1) < 1e-4,
            ]
        print(f"| {step} mV | {right[0] / count:.3f} | {right[1] / count:.3f} |", flush=True)


if __name__ == "__main__":
    logs = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    print(f"# Noise, measured\n\nBy study_noise.py, {logs} logs a row, seed 20240516; data invented.\n")
    generator = np.random.default_rng(20240516)
    colours(generator, logs)
    digits(generator, max(50, logs // 5))
    steps(generator, max(50, logs // 5))
