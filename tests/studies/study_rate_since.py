"""False changes of rate and coverage of their places: `rate_steps` in a run, `rate_steps_unit` over power-ups and visits.

Processes of fresh_growth.py, made without a look at the tests, and a regular renewal process.

    python tests/studies/study_rate_since.py SECTION DRAWS [SEED]

prints one section of tests/studies/results/rate_since.md: null, given, found, units_null, units_found.
"""

from __future__ import annotations

import itertools
import sys

import fresh_growth as growth
import numpy as np

from flicker.stats.changepoints import rate_since, rate_steps, rate_steps_unit

SEED = 20261128
LEVEL = 0.0125  # both ways together, as the evidence asks for
SIZES = ((8, 4.0), (24, 2.0), (96, 1.0), (96, 6.0))  # hours, episodes per hour
GIVEN = 0.025  # each way, where the moment is given
DEAD_S, LATE_S = 10.0, 7200.0


def regular(rng, length_s, per_h):
    """Gaps of gamma law, shape 4, from long before the begin on."""
    gaps = rng.gamma(4.0, 900.0 / per_h, int(3 * length_s * per_h / 3600) + 50)
    t = np.cumsum(gaps) - 5 * 3600.0 / per_h
    return t[(t >= 0) & (t < length_s)]


def nested(rng, length_s, per_h):
    """Bursts of bursts: some four flurries within half an hour, and some four such in six hours."""
    parents = growth.poisson(rng, length_s + 6 * 3600, per_h / 16) - 6 * 3600
    middle = np.concatenate([a + rng.uniform(0, 6 * 3600, rng.poisson(4)) for a in parents] or [np.empty(0)])
    t = np.concatenate([a + rng.uniform(0, 1800, rng.poisson(4)) for a in middle] or [np.empty(0)])
    return np.sort(t[(t >= 0) & (t < length_s)])


def telegraph(rng, length_s, per_h):
    """Two rates, one eight times the other, that change places at random, some six times in the log."""
    edges = np.cumsum(rng.exponential(length_s / 6, 60))
    edges = np.concatenate(([0.0], edges[edges < length_s], [length_s]))
    low = per_h / 4.5
    state = rng.integers(0, 2)
    parts = []
    for k, (a, b) in enumerate(itertools.pairwise(edges)):
        parts.append(a + growth.poisson(rng, b - a, low * (8.0 if (k + state) % 2 else 1.0)))
    return np.concatenate(parts)


def working_day(rng, length_s, per_h):
    """Eight hours of each day bring nine tenths, from a random hour on."""
    begin = rng.uniform(0, 24)
    def rate(t):
        return per_h * np.where((t / 3600 - begin) % 24 < 8, 2.7, 0.15)
    return growth.thinned(rng, length_s, rate, 2.7 * per_h)


def searched(t, length):
    """Changes that the evidence would claim, but for its size (1.5) and the correction over channels."""
    day = 86400.0 if length >= 2 * 86400.0 else 0.0
    return rate_steps(t, length, falls_from=LATE_S, dead_time=DEAD_S, shortest=day).shown(LEVEL)


def share(count, of):
    return f"{100 * count / of:.1f}"


def row(*cells):
    print("| " + " | ".join(cells) + " |", flush=True)


def heading(*cells):
    row(*cells)
    print("|" + "---|" * len(cells))


NULLS = {**growth.PROCESSES, "regular": regular, "decaying": growth.decaying, "warming": growth.warming,
         "daily rhythm": growth.daily, "working day": working_day, "nested bursts": nested, "telegraph": telegraph}  # fmt: skip
COLUMNS = [f"{h} h, {r:g} per h" for h, r in SIZES]


def null(draws, rng):
    """Nothing changes: one change claimed, several claimed."""
    heading("process", *COLUMNS)
    for name, draw in NULLS.items():
        cells = []
        for hours, rate in SIZES:
            found = [len(searched(draw(rng, 3600.0 * hours, rate), 3600.0 * hours)) for _ in range(draws)]
            cells.append(f"{share(found.count(1), draws)} / {share(sum(n > 1 for n in found), draws)}")
        row(name, *cells)


def given(draws, rng):
    """A moment given where nothing changes: more often, less often."""
    heading("process", *COLUMNS)
    for name, draw in NULLS.items():
        cells = []
        for hours, rate in SIZES:
            length = 3600.0 * hours
            got = [rate_since(draw(rng, length, rate), length, at=length * rng.uniform(0.2, 0.8), dead_time=DEAD_S) for _ in range(draws)]
            cells.append(f"{share(sum(g.p_up <= GIVEN for g in got), draws)} / {share(sum(g.p_down <= GIVEN for g in got), draws)}")
        row(name, *cells)


def piecewise(rng, length, rates, places, draw):
    """Stretches of these rates between these shares of the length."""
    edges = length * np.array([0.0, *places, 1.0])
    return np.concatenate([a + draw(rng, b - a, r) for (a, b), r in zip(itertools.pairwise(edges), rates, strict=True)])


def judged(found, places, factors, scale):
    """Whether that many changes were claimed, and of these whether all places and ratios are covered; the number of others."""
    if len(found) != len(places):
        return None, len(found)
    where = all(f.low <= p * scale <= f.high for f, p in zip(found, places, strict=True))
    return (where, all(f.ratio_low <= x <= f.ratio_high for f, x in zip(found, factors, strict=True))), len(found)


def told(got, draws):
    right = [one for one, _ in got if one is not None]
    more = sum(one is None and n > 0 for one, n in got)
    said = share(len(right), draws)
    if right:
        a, b = np.array(right, dtype=float).T
        said += f" ({100 * a.mean():.0f}, {100 * b.mean():.0f})"
    return said + (f"; {share(more, draws)}" if more else "")


STORIES = {
    "fourfold at 0.5": ((0.5,), (1, 4)), "eightfold at 0.8": ((0.8,), (1, 8)), "to 0.15 at 0.5": ((0.5,), (1, 0.15)),
    "eightfold from 0.35 to 0.65": ((0.35, 0.65), (1, 8, 1)), "fourfold from 0.3 to 0.7": ((0.3, 0.7), (1, 4, 1)),
    "none from 0.35 to 0.65": ((0.35, 0.65), (1, 0, 1)), "up twice, fourfold each": ((0.4, 0.75), (1, 4, 16)),
    "eightfold, twice": ((0.25, 0.5, 0.75), (1, 8, 1, 8)),
}  # fmt: skip


def found(draws, rng):
    """Changes put in: the right number claimed (places, ratios covered); another number claimed, if any."""
    heading("process", "rate", *COLUMNS)
    for name in ("poisson", "bursts", "self_exciting"):
        for story, (places, levels) in STORIES.items():
            cells = []
            mean = float(np.diff([0.0, *places, 1.0]) @ np.array(levels))
            factors = [b / a if a else np.inf for a, b in itertools.pairwise(levels)]
            for hours, rate in SIZES:
                length = 3600.0 * hours
                rates = [rate * level / mean for level in levels]
                got = [judged(searched(piecewise(rng, length, rates, places, growth.PROCESSES[name]), length), places, factors, length)
                       for _ in range(draws)]  # fmt: skip
                cells.append(told(got, draws))
            row(name, story, *cells)


SCATTERS = (0.0, 0.3, 0.5, 0.7, 1.0)


def units_null(draws, rng):
    """Nothing changes from unit to unit: one change claimed, several claimed."""
    heading("units", "mean", "exposures", *(f"cv {c:g}" for c in SCATTERS))
    for units in (3, 5, 8, 15, 30):
        for mean in (3.0, 10.0):
            for law in ("equal", "1 to 5"):
                cells = []
                for cv in SCATTERS:
                    got = []
                    for _ in range(draws):
                        e = np.ones(units) if law == "equal" else rng.permutation(np.linspace(1.0, 5.0, units)) / 3.0
                        n = rng.poisson(mean * e * growth.scatter(rng, "gamma", cv, units))
                        got.append(len(rate_steps_unit(n, e).shown(LEVEL)) if n.sum() >= 5 else 0)
                    cells.append(f"{share(got.count(1), draws)} / {share(sum(n > 1 for n in got), draws)}")
                row(str(units), f"{mean:g}", law, *cells)


def units_found(draws, rng):
    """Changes put in, from the mean of 6 on: the right number claimed (units, ratios covered); another number, if any."""
    heading("units", "means", *(f"cv {c:g}" for c in SCATTERS[:3]))
    for blocks in (((2, 6), (2, 60)), ((3, 6), (2, 60)), ((4, 6), (4, 24)), ((4, 6), (4, 60)), ((8, 6), (7, 24)), ((3, 6), (3, 60), (3, 6)),
                   ((4, 6), (4, 60), (4, 6)), ((3, 30), (3, 2), (3, 30)), ((5, 6), (5, 36), (5, 6)), ((4, 4), (4, 16), (4, 64))):  # fmt: skip
        means = np.concatenate([np.full(n, float(m)) for n, m in blocks])
        borders = np.cumsum([n for n, _ in blocks])[:-1]
        factors = [b / a for (_, a), (_, b) in itertools.pairwise(blocks)]
        cells = []
        for cv in SCATTERS[:3]:
            got = [judged(rate_steps_unit(rng.poisson(means * growth.scatter(rng, "gamma", cv, means.size)), np.ones(means.size)).shown(LEVEL),
                          borders, factors, 1) for _ in range(draws)]  # fmt: skip
            cells.append(told(got, draws))
        row(str(means.size), ", then ".join(f"{n} of {m}" for n, m in blocks), *cells)


if __name__ == "__main__":
    seed = int(sys.argv[3]) if len(sys.argv) > 3 else SEED
    globals()[sys.argv[1]](int(sys.argv[2]), np.random.default_rng(seed))
