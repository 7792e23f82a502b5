"""Growth within one power-up: error over many kinds without growth, power where there is some, as a page asks it.

Times and sizes go through the program's own dead time (10 s) and the two questions {more often, larger}; the page's
correction is that of the product. Kinds from `arrival_makers` (written before the test was changed) and from
`fresh_growth` (by someone who had not read the test).
Usage: python tests/studies/study_growth_within.py [draws [seed]] > tests/studies/results/growth_within.md
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
import arrival_makers as am
import fresh_growth as fg

from flicker import Limits
from flicker.evidence.findings import holm
from flicker.evidence.questions.worsening import FEWEST_WITHIN, PART_WITHIN, RATE_FACTOR, SIZE_FACTOR
from flicker.stats.arrivals import rate_trend_test
from flicker.stats.power_ups import size_growth_within

LIMITS = Limits()
HOURS = 4.0


def episodes(times, sizes):
    """Swings closer than the dead time (and a half second that one lasts) are one episode, as large as its largest."""
    if times.size == 0:
        return times, sizes
    group = np.concatenate(([0], np.cumsum(np.diff(times) > LIMITS.dead_time_s + 0.5)))
    first = np.searchsorted(group, np.arange(group[-1] + 1))
    return times[first], np.maximum.reduceat(sizes, first)


def said(times, sizes, end):
    """Whether a page of one channel says 'more often' and 'larger'; what it said with all of the error; how many episodes."""
    t, v = episodes(times, sizes)
    if t.size < FEWEST_WITHIN:
        return False, False, False, t.size
    rate = rate_trend_test([t], [end], dead_time=LIMITS.dead_time_s)
    size = size_growth_within([v], [t], dead_time=LIMITS.dead_time_s)
    p = np.array([rate.p_value, size.p_up])
    large = np.array([rate.rate_factor >= RATE_FACTOR, size.factor >= SIZE_FACTOR])
    shown = large & (np.array(holm(list(p / PART_WITHIN))) <= 1.0 - LIMITS.confidence)
    return bool(shown[0]), bool(shown[1]), bool((large & (np.array(holm(list(p))) <= 1.0 - LIMITS.confidence)).any()), t.size


def fresh(process):
    def make(rng, hours):
        per_h = float(np.exp(rng.uniform(np.log(3), np.log(15))))
        at = process(rng, hours * 3600.0, per_h)
        level = rng.normal(0, 0.25, int(hours * 6) + 2)[(at / 600.0).astype(int)]
        return at, 0.25 * np.exp(level + rng.normal(0, 0.25, at.size))

    return make


def table(title, kinds, draws, seed):
    print(f"\n## {title}\n\n| kind | episodes, middle | more often | larger | degrading | with all of the error |\n|-|-|-|-|-|-|")
    all_of = []
    for number, (name, make) in enumerate(kinds.items()):
        rng = np.random.default_rng([seed, number])
        got = np.array([said(*make(rng, HOURS), HOURS * 3600.0) for _ in range(draws)], dtype=float)
        page = (got[:, 0] + got[:, 1] > 0).mean()
        all_of.append(page)
        print(
            f"| {name} | {np.median(got[:, 3]):.0f} | {100 * got[:, 0].mean():.1f} | {100 * got[:, 1].mean():.1f} | "
            f"{100 * page:.1f} | {100 * got[:, 2].mean():.1f} |",
            flush=True,
        )
    print(f"| all | | | | {100 * np.mean(all_of):.1f} | |", flush=True)


def main() -> None:
    draws = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 20_261_126
    print(
        f"# Growth within one power-up\n\n`python tests/studies/study_growth_within.py {draws} {seed}`: {draws} power-ups of "
        f"{HOURS:.0f} h a kind, in %. Standard error at 2.5 %: {100 * (0.025 * 0.975 / draws) ** 0.5:.1f} points.\n"
        "'With all of the error': what the page would say if the two questions shared 5 % and not 2.5 %."
    )
    table("Nothing grows", am.NULLS, draws, seed)
    table("Nothing grows, kinds by someone else", {k: fresh(v) for k, v in (*fg.PROCESSES.items(), ("decaying", fg.decaying))}, draws, seed + 1)
    table("The rate wanders slowly: not asked to hold", am.WANDERING, draws, seed + 2)
    table("Something grows", am.GROWING, draws, seed + 3)


if __name__ == "__main__":
    main()
