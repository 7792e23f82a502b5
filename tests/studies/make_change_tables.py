"""Make the critical values of flicker.stats.changepoints by simulation: prints flicker/stats/_change_tables.py.

Run from the repository's root: python tests/studies/make_change_tables.py > flicker/stats/_change_tables.py
Null: the larger of the quantiles under noise ~ 1 / f ** 1.1 and under AR(1) .9 per block's tenth (see study_changepoints).
The statistic is computed by change_statistic (dynamic programming), not by the package. Fixed seeds.
"""

import pathlib
import sys

import numpy as np

sys.path.insert(0, str(pathlib.Path(__file__).parent))
import change_statistic
import noise_makers as makers

from flicker.stats._tails import TAILS

BLOCKS = (10, 14, 20, 30, 50)
SHORTEST = 2


def most(blocks):
    return min(8, max(1, blocks // 6))


def draw(rng, blocks, count, make):
    per = 1 if blocks < 50 else 10
    parts = []
    for _ in range(count // 500):
        means = make(rng, 500, blocks * per).reshape(500, blocks, per).mean(axis=2)
        parts.append(change_statistic.statistics(means, SHORTEST, most(blocks))[0])
    return np.concatenate(parts)


if __name__ == "__main__":
    rng = np.random.default_rng(20240512)
    print('"""Critical values of flicker.stats.changepoints, made by tests/studies/make_change_tables.py (not by hand)."""')
    weights, joint, single = {}, {}, {}
    for blocks in BLOCKS:
        t = draw(rng, blocks, 40_000, lambda r, c, n: makers.spectral(r, c, n, 1.1))
        weights[blocks] = np.quantile(t, 0.95, axis=0)
        joint[blocks] = np.quantile((t / weights[blocks]).max(axis=1), 1 - np.array(TAILS))
        single[blocks] = np.quantile(t[:, 0], 1 - np.array(TAILS))
    for name, table, what in (
        ("WEIGHTS", weights, "5 % point of T_K for K = 1, 2, ... changes, by number of blocks"),
        ("JOINT", joint, "tail points of the largest T_K / WEIGHTS_K, by number of blocks"),
        ("SINGLE", single, "tail points of T_1, by number of blocks"),
    ):
        print(f"\n# {what}")
        print(f"{name} = {{")
        for key, values in table.items():
            print(f"    {key}: ({', '.join(f'{v:.4g}' for v in values)},),")
        print("}")
