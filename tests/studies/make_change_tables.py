"""Make the critical values of flicker.stats.changepoints by simulation: prints flicker/stats/levels/change_tables.py.

Run from the repository's root: python tests/studies/make_change_tables.py > flicker/stats/levels/change_tables.py
Nulls are named beside each table.
The statistic is computed by change_statistic (dynamic programming), not by the package. Fixed seeds.
"""

import pathlib
import sys

import numpy as np

sys.path.insert(0, str(pathlib.Path(__file__).parent))
import change_statistic
import noise_makers as makers

from flicker.stats.levels import change_search as search
from flicker.stats.levels.table_tails import TAILS

BLOCKS = (10, 14, 20, 30, 50)
SHORTEST = 2


SIZES = (10, 16, 25, 50, 100, 200, 500, 2000)


def most(blocks):
    return min(8, max(1, blocks // 6))


def draw(rng, blocks, count, make):
    per = 1 if blocks < 50 else 10
    parts = []
    for _ in range(count // 500):
        means = make(rng, 500, blocks * per).reshape(500, blocks, per).mean(axis=2)
        parts.append(change_statistic.statistics(means, SHORTEST, most(blocks))[0])
    return np.concatenate(parts)


def jump_at_best(y):
    """Abruptness at the best place of a series without change: what chance alone finds."""
    means, starts = search.blocks_of(y, min(search.MOST, y.size))
    return search.abruptness(y, search.locate(y, int(starts[search.best_single(means)]))[0])


def show(name, table, what):
    print(f"\n# {what}")
    print(f"{name} = {{")
    for key, values in table.items():
        print(f"    {key}: ({', '.join(f'{v:.4g}' for v in values)},),")
    print("}")


if __name__ == "__main__":
    rng = np.random.default_rng(20240512)
    print('"""Critical values of flicker.stats.changepoints, by tests/studies/make_change_tables.py (not by hand)."""')
    nulls = {
        "": ("noise ~ 1 / f ** 1.1", lambda r, c, n: makers.spectral(r, c, n, 1.1)),
        "_WHITE": ("white noise", makers.white),
    }
    tails = 1 - np.array(TAILS)
    for name, (words, make) in nulls.items():
        weights, joint, single = {}, {}, {}
        for blocks in BLOCKS:
            t = draw(rng, blocks, 40_000, make)
            weights[blocks] = np.quantile(t, 0.95, axis=0)
            joint[blocks] = np.quantile((t / weights[blocks]).max(axis=1), tails)
            single[blocks] = np.quantile(t[:, 0], tails)
        show("WEIGHTS" + name, weights, f"5 % point of T_K for K = 1, 2, ... changes, by number of blocks; {words}")
        show("JOINT" + name, joint, f"tail points of the largest T_K / WEIGHTS_K, by number of blocks; {words}")
        show("SINGLE" + name, single, f"tail points of T_1, by number of blocks; {words}")
    steep = (makers.random_walk, makers.spectral, lambda r, c, n: makers.spectral(r, c, n, 1.5))
    abrupt = {}
    for size in SIZES:
        rows = [[jump_at_best(y) for y in make(rng, 5000, size)] for make in steep]
        abrupt[size] = np.quantile(rows, tails, axis=1).max(axis=1)
    show(
        "ABRUPT",
        abrupt,
        "tail points of abruptness at the best place, by number of values: largest of walk, 1/f, 1/f ** 1.5",
    )
