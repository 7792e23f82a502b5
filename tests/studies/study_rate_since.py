"""False changes of rate and coverage of their places: `rate_since` in a run, `rate_since_unit` over power-ups and visits.

Processes of fresh_growth.py, made without a look at the tests, and a regular renewal process. Run it as a script; it
writes tests/studies/results/rate_since.md.
"""

from __future__ import annotations

import itertools
import sys
from pathlib import Path

import fresh_growth as growth
import numpy as np

from flicker.stats.changepoints import rate_since, rate_since_unit

SEED, DRAWS, UNIT_DRAWS = 20261127, 60, 800
LEVEL = 0.00625  # each way, as the evidence asks for: 1.25 % in all
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


def stepped(rng, length_s, per_h, factor, place, draw):
    """Rate times the factor from a share of the length on."""
    before, after = draw(rng, length_s * place, per_h), draw(rng, length_s * (1 - place), per_h * factor)
    return np.concatenate((before, length_s * place + after))


def in_run(lines, rng):
    """Tables of a run."""
    draws = {**growth.PROCESSES, "regular": regular, "decaying": growth.decaying, "warming": growth.warming,
             "daily rhythm": growth.daily, "working day": working_day, "nested bursts": nested, "telegraph": telegraph}  # fmt: skip
    sizes = ((8, 4.0), (24, 2.0), (96, 1.0), (96, 6.0))
    lines += ["## In a run: changes claimed where nothing changes, in %: more often / less often", "",
              f"{DRAWS} draws a cell; rises are looked for in the whole run, falls from two hours after switch-on on.", "",
              "| process | " + " | ".join(f"{h} h, {r:g} per h" for h, r in sizes) + " |", "|---|" + "---|" * len(sizes)]  # fmt: skip
    for name, draw in draws.items():
        cells = []
        for hours, rate in sizes:
            length, up, down = 3600.0 * hours, 0, 0
            for _ in range(DRAWS):
                t = draw(rng, length, rate)
                up += rate_since(t, length, dead_time=DEAD_S).p_up <= LEVEL
                down += rate_since(t, length, start=LATE_S, dead_time=DEAD_S).p_down <= LEVEL
            cells.append(f"{100 * up / DRAWS:.1f} / {100 * down / DRAWS:.1f}")
        lines.append(f"| {name} | " + " | ".join(cells) + " |")
        print(lines[-1], flush=True)
    lines += ["", "## In a run, the moment given: changes claimed where nothing changes, in %: more often / less often", "",
              f"A place between 0.2 and 0.8 of the run at random, {100 * GIVEN:g} % each way.", "",
              "| process | " + " | ".join(f"{h} h, {r:g} per h" for h, r in sizes) + " |", "|---|" + "---|" * len(sizes)]  # fmt: skip
    for name, draw in draws.items():
        cells = []
        for hours, rate in sizes:
            length, up, down = 3600.0 * hours, 0, 0
            for _ in range(DRAWS):
                at = length * rng.uniform(0.2, 0.8)
                got = rate_since(draw(rng, length, rate), length, at=at, dead_time=DEAD_S)
                up, down = up + (got.p_up <= GIVEN), down + (got.p_down <= GIVEN)
            cells.append(f"{100 * up / DRAWS:.1f} / {100 * down / DRAWS:.1f}")
        lines.append(f"| {name} | " + " | ".join(cells) + " |")
        print(lines[-1], flush=True)
    lines += ["", "## In a run: steps found, in % (place covered, ratio covered, median width in % of the run)", "",
              "| process | factor, place | " + " | ".join(f"{h} h, {r:g} per h" for h, r in sizes) + " |",
              "|---|---|" + "---|" * len(sizes)]  # fmt: skip
    for name in ("poisson", "bursts", "self_exciting"):
        for factor, place in ((4.0, 0.5), (8.0, 0.8), (0.15, 0.5)):
            cells = []
            for hours, rate in sizes:
                length, found = 3600.0 * hours, []
                base = rate / (place + factor * (1 - place))
                for _ in range(40):
                    t = stepped(rng, length, base, factor, place, growth.PROCESSES[name])
                    got = rate_since(t, length, dead_time=DEAD_S)
                    if (got.p_up if factor > 1 else got.p_down) <= LEVEL:
                        found.append((got.low <= place * length <= got.high, got.ratio_low <= factor <= got.ratio_high,
                                      (got.high - got.low) / length))  # fmt: skip
                if found:
                    a, b, w = np.array(found, dtype=float).T
                    cells.append(f"{100 * len(found) / 40:.0f} ({100 * a.mean():.0f}, {100 * b.mean():.0f}, {100 * np.median(w):.0f})")
                else:
                    cells.append("0")
            lines.append(f"| {name} | {factor:g} at {place:g} | " + " | ".join(cells) + " |")
            print(lines[-1], flush=True)


def over_units(lines, rng):
    """Tables over power-ups."""
    scatters = (0.0, 0.3, 0.5, 0.7, 1.0)
    lines += ["", "## Over power-ups or visits: false, in %: more / less", "", f"{UNIT_DRAWS} draws a cell.", "",
              "| units | mean | exposures | " + " | ".join(f"cv {c:g}" for c in scatters) + " |", "|---|---|---|" + "---|" * 5]  # fmt: skip
    for units in (3, 4, 5, 8, 15):
        for mean in (3.0, 10.0):
            for law in ("equal", "1 to 5"):
                cells = []
                for cv in scatters:
                    up = down = 0
                    for _ in range(UNIT_DRAWS):
                        e = np.ones(units) if law == "equal" else rng.permutation(np.linspace(1.0, 5.0, units)) / 3.0
                        n = rng.poisson(mean * e * growth.scatter(rng, "gamma", cv, units))
                        if n.sum() < 5:
                            continue
                        got = rate_since_unit(n, e)
                        up, down = up + (got.p_up <= LEVEL), down + (got.p_down <= LEVEL)
                    cells.append(f"{100 * up / UNIT_DRAWS:.1f} / {100 * down / UNIT_DRAWS:.1f}")
                lines.append(f"| {units} | {mean:g} | {law} | " + " | ".join(cells) + " |")
                print(lines[-1], flush=True)
    lines += ["", "## Over power-ups or visits: steps found, in % (unit covered, ratio covered)", "", "| units | step | cv 0 | cv 0.3 | cv 0.5 |", "|---|---|---|---|---|"]
    for units, border in ((4, 2), (5, 3), (8, 4), (8, 6), (15, 8)):
        for factor in (4.0, 10.0, 0.1):
            cells = []
            for cv in (0.0, 0.3, 0.5):
                found = []
                for _ in range(200):
                    mean = 6.0 * np.where(np.arange(units) >= border, factor, 1.0) * (1 if factor > 1 else 2)
                    got = rate_since_unit(rng.poisson(mean * growth.scatter(rng, "gamma", cv, units)), np.ones(units))
                    if (got.p_up if factor > 1 else got.p_down) <= LEVEL:
                        found.append((got.low <= border <= got.high, got.ratio_low <= factor <= got.ratio_high))
                a, b = np.array(found, dtype=float).reshape(-1, 2).T
                cells.append(f"{len(found) / 2:.0f} ({100 * a.mean():.0f}, {100 * b.mean():.0f})" if found else "0")
            lines.append(f"| {units} | {factor:g} from unit {border + 1} | " + " | ".join(cells) + " |")
            print(lines[-1], flush=True)


def main():
    """Write the tables."""
    rng = np.random.default_rng(SEED)
    lines = ["# Since when has the rate been another", "",
             f"By study_rate_since.py, seed {SEED}; data invented; a claim at {100 * LEVEL:g} % each way.", ""]  # fmt: skip
    target = Path(__file__).parent / "results" / "rate_since.md"
    in_run(lines, rng)
    if "run" in sys.argv[1:]:  # only within a run; what was found over units stays
        lines += ["", target.read_text(encoding="utf-8").split("\n## Over", 1)[1].join(("## Over", "")).rstrip()]
    else:
        over_units(lines, rng)
    target.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
