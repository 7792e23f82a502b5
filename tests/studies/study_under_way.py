"""Claims of a comparison that hang on something else than the repair: a fall under way before it, one bad power-up, chance starts.

    python tests/studies/study_under_way.py [draws] [seed]

Writes results/under_way.md. Counts of power-ups by a gamma factor (coefficient of variation cv) and Poisson; all invented.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from fresh_parts import table

from flicker.stats.power_ups import fall_under_way, growth, rate_comparison
from flicker.stats.rates import absent_test

LEVEL = 0.025  # of a comparison, one direction
SCATTERS = (0.0, 0.5, 1.0)
FALLS = {  # means before and after: a fall by itself, or a step at the repair
    "a fall by .66 from one to the next, 72 at first, 3:3": (72 * 0.66 ** np.arange(3), 72 * 0.66 ** np.arange(3, 6)),
    "a fall by .5, 20 at first, 3:3": (20 * 0.5 ** np.arange(3), 20 * 0.5 ** np.arange(3, 6)),
    "a fall by .6, 40 at first, 4:4": (40 * 0.6 ** np.arange(4), 40 * 0.6 ** np.arange(4, 8)),
    "a fall by .6, 40 at first, 2:4": (40 * 0.6 ** np.arange(2), 40 * 0.6 ** np.arange(2, 6)),
    "repaired: 10 to 1, 2:2": ([10] * 2, [1] * 2),
    "repaired: 10 to 0, 2:2": ([10] * 2, [0] * 2),
    "repaired: 10 to 1, 3:3": ([10] * 3, [1] * 3),
    "repaired: 10 to 3, 3:3": ([10] * 3, [3] * 3),
    "repaired: 10 to 0, 3:3": ([10] * 3, [0] * 3),
    "repaired: 10 to 3, 5:5": ([10] * 5, [3] * 5),
}
WORST = {
    "nothing changed: one of six after has 60, the others 4": ([4] * 6, [4, 4, 4, 60, 4, 4]),
    "nothing changed: one of six before has 60, the others 4": ([4, 4, 4, 60, 4, 4], [4] * 6),
    "nothing changed: one of three before has 60, the others 4, 3:4": ([4, 60, 4], [4] * 4),
    "nothing changed: 10 each, 3:3": ([10] * 3, [10] * 3),
    "nothing changed: 10 each, 5:5": ([10] * 5, [10] * 5),
    "10 to 1, 3:3": ([10] * 3, [1] * 3),
    "10 to 3, 3:3": ([10] * 3, [3] * 3),
    "10 to 3, 5:5": ([10] * 5, [3] * 5),
    "10 to 30, 3:3": ([10] * 3, [30] * 3),
    "none to 8, 4:4": ([0] * 4, [8] * 4),
}


def drawn(rng, means, cv):
    means = np.asarray(means, dtype=float)
    factor = rng.gamma(1 / cv**2, cv**2, means.size) if cv else np.ones(means.size)
    return rng.poisson(means * factor)


def sides(rng, cases, draws):
    """Each case with each scatter, and its draws of counts before and after with something in them."""
    for name, (before, after) in cases.items():
        for cv in SCATTERS:
            some = ((drawn(rng, before, cv), drawn(rng, after, cv)) for _ in range(draws))
            yield name, cv, [(a, b, np.ones(a.size), np.ones(b.size)) for a, b in some if a.sum() + b.sum()]


def falls(rng, draws):
    """'Improved' by the rates alone, and where no fall was under way."""
    for name, cv, pairs in sides(rng, FALLS, draws):
        improved = [(a, ea, b, eb) for a, b, ea, eb in pairs if rate_comparison(a, ea, b, eb).p_down <= LEVEL]
        kept = sum(not fall_under_way(*one).likely for one in improved)
        yield name, f"{cv:g}", f"{100 * len(improved) / draws:.1f}", f"{100 * kept / draws:.1f}"


def worst(rng, draws):
    """'Improved' and 'worse' with and without the rule that a claim must stand without the worst power-up."""
    for name, cv, pairs in sides(rng, WORST, draws):
        row = [name, f"{cv:g}"]
        for fewest in (10**6, growth.FEWEST_LEFT):
            kept, growth.FEWEST_LEFT = growth.FEWEST_LEFT, fewest
            found = [rate_comparison(a, ea, b, eb) for a, b, ea, eb in pairs]
            growth.FEWEST_LEFT = kept
            row += [f"{100 * sum(x.p_down <= LEVEL for x in found) / draws:.1f}, {100 * sum(x.p_up <= LEVEL for x in found) / draws:.1f}"]
        yield tuple(row)


def starts():
    """Largest chance, over all shares, that a claim of trips in power-ups is made where both sides are alike; exact sums."""
    from scipy.stats import binom

    shares = np.linspace(0.0, 1.0, 501)
    for before, after in ((1, 1), (2, 2), (3, 3), (3, 5), (5, 5), (2, 12)):
        claimed = [k for k in range(1, after + 1) if absent_test(before, k, after).p_value <= LEVEL]
        wrong = sum(binom.pmf(k, after, shares) for k in claimed) * (1 - shares) ** before
        yield f"{before}:{after}", f"{min(claimed)} of {after}" if claimed else "never", f"{100 * np.max(wrong):.2f}"


def main() -> None:
    draws, seed = (int(x) for x in (*sys.argv[1:], *("200", "425000")[len(sys.argv) - 1 :]))
    rng = np.random.default_rng(seed)
    lines = [
        "# What else could have made a change", "",
        f"Made by `python tests/studies/study_under_way.py {draws} {seed}`; one-sided at 2.5 %, in %; {draws} draws a row, counts",
        "by a gamma factor of that scatter (cv) and Poisson. All invented.", "",
        "## A fall that was under way before the repair", "",
        "'Improved' by the rates alone, and with `fall_under_way`: not where the rate fell before with a chance of 80 % and a trend",
        "through all power-ups explains the counts better than a step.", "",
        table(("means of power-ups", "cv", "by the rates alone", "with it"), list(falls(rng, draws))), "",
        "## Without the worst", "",
        "'Improved', 'worse' without and with the rule that a claim stands without the power-up that has most, at four times the level.",
        "", table(("means of power-ups", "cv", "without it", "with it"), list(worst(rng, draws))), "",
        "## Trips or bad starts in power-ups of one side alone", "",
        "From how many on `absent_test` makes a claim, none having been seen before, and the largest chance of it where nothing changed",
        "(exact sums over all shares).", "",
        table(("power-ups before:after", "claimed from", "wrong at most"), list(starts())), "",
    ]  # fmt: skip
    file = Path(__file__).parent / "results" / "under_way.md"
    told = file.read_text(encoding="utf-8").partition("## Stories")[1:] if file.exists() else ("", "")
    file.write_text("\n".join(lines) + "\n" + "".join(told), encoding="utf-8")


if __name__ == "__main__":
    main()
