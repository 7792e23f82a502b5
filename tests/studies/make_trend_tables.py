"""Make the critical values of flicker.stats.trends by simulation: prints flicker/stats/levels/trend_tables.py.

Run from the repository's root: python -m tests.studies.make_trend_tables > flicker/stats/levels/trend_tables.py
The null is Gaussian noise with power ~ 1 / f ** 1.1 cut from a series four times as long: a little steeper than 1/f,
so that exponents up to 1.2 stay under 7 % (study_trends measures it). Fixed seeds; takes some minutes.
"""

import pathlib
import sys

import numpy as np

sys.path.insert(0, str(pathlib.Path(__file__).parent))
import noise_makers as makers

from flicker.stats.levels.table_tails import TAILS

EXPONENT = 1.1
TAILS = np.array(TAILS)


def slope_t(y, q):
    blocks = y.reshape(len(y), q, -1).mean(axis=2)
    x = np.arange(q) - (q - 1) / 2
    sxx = x @ x
    slope = blocks @ x / sxx
    rest = blocks - blocks.mean(axis=1, keepdims=True) - slope[:, None] * x
    return np.abs(slope) / np.sqrt((rest**2).sum(axis=1) / (q - 2) / sxx)


def move_scale(levels):
    steps = np.diff(levels, axis=1)
    off = np.sort(np.abs(steps - np.median(steps, axis=1, keepdims=True)), axis=1)
    keep = max(1, int(0.75 * steps.shape[1]))
    return np.sqrt((off[:, :keep] ** 2).mean(axis=1))


def many(make, count, batch):
    return np.concatenate([make(min(batch, count - at)) for at in range(0, count, batch)])


def rows(name, keys, table, what):
    print(f"\n# {what}")
    print(f"{name} = {{")
    for key, values in zip(keys, table, strict=True):
        print(f"    {key}: ({', '.join(f'{v:.4g}' for v in values)}),")
    print("}")


if __name__ == "__main__":
    print('"""Critical values of flicker.stats.trends, made by tests/studies/make_trend_tables.py (not by hand)."""')
    rng = np.random.default_rng(20240511)
    qs = range(3, 13)
    table = []
    for q in qs:
        t = many(lambda c, q=q: slope_t(makers.spectral(rng, c, q * 50, EXPONENT), q), 200_000, 4000)
        table.append(np.quantile(t, 1 - TAILS))
    rows("SLOPE_T", qs, table, "|t| of the regression of q block means on time, by q")

    ks = (3, 4, 5, 6, 8, 12, 16, 24, 36, 48, 96, 192, 384, 768, 2016)
    by_steps = []
    for k in ks:
        count = 100_000 if k < 50 else 20_000 if k < 400 else 5_000

        def ratio(c, k=k):
            levels = makers.spectral(rng, c, k * 32, EXPONENT).reshape(c, k, 32).mean(axis=2)
            return np.ptp(levels, axis=1) / move_scale(levels)

        by_steps.append(np.quantile(many(ratio, count, max(20, 200_000 // k)), 1 - TAILS))
    rows("RANGE_BY_STEPS", ks, by_steps, "range of k levels over the scale of their steps")
    for m in (8, 128):
        by_sigma = []
        for k in ks:
            count = 20_000 if k < 50 else 4_000 if k < 400 else 1_000

            def ratio(c, k=k, m=m):
                y = makers.spectral(rng, c, k * m, EXPONENT).reshape(c, k, m)
                levels = y.mean(axis=2)
                within = np.median(np.abs(y - levels[:, :, None]), axis=(1, 2)) * 1.4826
                return np.ptp(levels, axis=1) / within

            by_sigma.append(np.quantile(many(ratio, count, max(5, 1_000_000 // (k * m))), 1 - TAILS))
        rows(
            f"RANGE_BY_SIGMA_{m}", ks, by_sigma, f"range of k levels over the robust sigma within cells of {m} samples"
        )
