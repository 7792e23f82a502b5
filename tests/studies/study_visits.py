"""Coverage and size of the growth over visits, and coverage of its forecast: python tests/studies/study_visits.py [DRAWS].

Writes results/visits.md; with `hiss [DRAWS]` it prints how often noise at rest is called changed instead. Second generator than the tests': visits of equal and of unequal length, runs that differ
(gamma), bursts, heat (rate proportional to time since power-up), few episodes.
"""

from __future__ import annotations

import math
import sys
import time
from itertools import product
from pathlib import Path

import numpy as np

from flicker.base.limits import Limits
from flicker.evidence.visits.levels import noise_that_matters, quantity_trend
from flicker.stats.arrivals import age_forecast
from flicker.stats.power_ups import expected_counts, rate_growth

SEED = 20_310_302
EACH = 4  # a forecast costs ten fits: each fourth draw has one
# name: visits, runs per visit, hours per run (per visit in turn), rate at the first visit per hour, growth per visit,
# mean burst, variance of the factor of a run, heat
CASES = {
    "2 visits of 1 run, few": (2, 1, (2.0,), 3.0, 0.5, 1, 0.0, False),
    "3 visits of 1 run": (3, 1, (2.0,), 4.0, 0.4, 1, 0.0, False),
    "4 visits of 2 runs": (4, 2, (2.0,), 3.0, 0.4, 1, 0.0, False),
    "4 visits of 2 runs, few": (4, 2, (1.0,), 0.7, 0.4, 1, 0.0, False),
    "4 visits of 2 runs, bursts of 3": (4, 2, (2.0,), 6.0, 0.4, 3, 0.0, False),
    "3 visits of 1 run, bursts of 3": (3, 1, (2.0,), 8.0, 0.4, 3, 0.0, False),
    "3 visits of 1 run, bursts of 5": (3, 1, (2.0,), 12.0, 0.4, 5, 0.0, False),
    "2 visits of 1 run, bursts of 5": (2, 1, (2.0,), 12.0, 0.8, 5, 0.0, False),
    "3 visits of 1 run, heat, unequal": (3, 1, (1.0, 2.0, 3.0), 4.0, 0.4, 1, 0.0, True),
    "4 visits of 3 runs that differ (0.3)": (4, 3, (2.0,), 4.0, 0.4, 1, 0.3, False),
    "6 visits of 1 run that differ (0.2)": (6, 1, (2.0,), 6.0, 0.3, 1, 0.2, False),
    "4 visits of 2 runs, heat, unequal": (4, 2, (1.0, 2.0, 1.5, 3.0), 2.0, 0.4, 1, 0.0, True),
}


def draw(rng: np.random.Generator, case: tuple, growth: float, visits: int) -> tuple[list, list, list]:
    """Draw runs of all visits: times, ends, ages."""
    _, runs, hours, rate, _, burst, spread, heat = case
    times, ends, ages = [], [], []
    for visit in range(visits):
        end = hours[visit % len(hours)]
        for _ in range(runs):
            factor = rng.gamma(1 / spread, spread) if spread else 1.0
            mean = rate * math.exp(growth * visit) * factor * (end * end / 2 if heat else end)
            begin = rng.random(rng.poisson(mean / burst))
            begin = end * (np.sqrt(begin) if heat else begin)
            parts = [
                b + np.cumsum(rng.exponential(0.006, n))
                for b, n in zip(begin, rng.geometric(1 / burst, begin.size), strict=True)
            ]
            t = np.sort(np.concatenate(parts)) if parts else np.empty(0)
            times.append(t[t < end])
            ends.append(end)
            ages.append(float(visit))
    return times, ends, ages


def grown(times: list, ends: list, ages: list):
    """Growth over visits as the product asks it: counts and expectations by risk sets, summed over each visit."""
    held, visit = expected_counts(times, ends), np.asarray(ages)
    of = np.unique(visit)
    sums = [np.array([part[visit == v].sum() for v in of]) for part in (held.counts, held.expected)]
    return rate_growth(sums[0], sums[1], few=bool(of.size == visit.size == 3))


def study(name: str, draws: int) -> str:
    """Return a row of the table."""
    case = CASES[name]
    visits, runs = case[0], case[1]
    rng = np.random.default_rng([SEED, *name.encode()])
    inside = ahead = wrong = worse = used = tried = told = foretold = 0
    for number in range(draws):
        times, ends, ages = draw(rng, case, case[4], visits + 1)
        n = visits * runs
        seen = sum(t.size for t in times[:n])
        if seen >= 5:
            used += 1
            fit = grown(times[:n], ends[:n], ages[:n])
            inside += fit.low <= math.exp(case[4] * (visits - 1)) <= fit.high
            planned = [min(end, max(ends[:n])) for end in ends[n:]]
            if number % EACH == 0:
                foretold += 1
                forecast = age_forecast(times[:n], ends[:n], ages[:n], at=float(visits), planned_ends=planned)
                count = sum(int(np.count_nonzero(t <= end)) for t, end in zip(times[n:], planned, strict=True))
                ahead += forecast.low <= count <= forecast.high
            told += visits > 2 and fit.p_up <= 0.025
        times, ends, ages = draw(rng, case, 0.0, visits)
        if sum(t.size for t in times) >= 5:
            tried += 1
            fit = grown(times, ends, ages)
            wrong += visits > 2 and min(fit.p_up, fit.p_down) <= 0.025
            worse += visits > 2 and fit.p_up <= 0.025
    return (
        f"| {name} | {inside / used:.1%} | {ahead / foretold:.1%} | {wrong / tried:.1%} | {worse / tried:.1%} "
        f"| {told / used:.0%} | {math.exp(case[4]):.2f} |"
    )


def hiss(draws: int) -> None:
    """Print how often noise is called changed: sigmas of power-ups and visits that differ by a log-normal factor."""
    limits, rng = Limits(), np.random.default_rng(SEED)
    print("| visits x power-ups, sigma | unchanged, scatter .1 / .1 | .3 / .2 | .3 / .4 | .5 / .5 | six times, .2 / .2 | ten times |")
    print("|-|-|-|-|-|-|-|")
    for visits, ups, size_V in product((2, 3, 5), (1, 3), (3e-4, 1e-3)):
        shares = []
        for of_ups, of_visits, growth in ((0.1, 0.1, 1), (0.3, 0.2, 1), (0.3, 0.4, 1), (0.5, 0.5, 1), (0.2, 0.2, 6), (0.2, 0.2, 10)):
            told = 0
            for _ in range(draws):
                level_V = size_V * growth ** np.linspace(0.0, 1.0, visits) * np.exp(of_visits * rng.standard_normal(visits))
                sigmas_V = [value * np.exp(of_ups * rng.standard_normal(ups)) for value in level_V]
                found = quantity_trend("noise", sigmas_V, noise_that_matters(sigmas_V, limits), None, 1e-5, 1.0 - limits.confidence)
                told += found.answer == "yes"
            shares.append(f"{100 * told / draws:.1f}")
        print(f"| {visits} x {ups}, {1000 * size_V:.1f} mV | {' | '.join(shares)} |", flush=True)


def main() -> None:
    """Run every case and write the table."""
    draws = int(sys.argv[1]) if len(sys.argv) > 1 else 2_000
    begin = time.perf_counter()
    rows = [study(name, draws) for name in CASES]
    text = (
        f"""# Growth over visits: coverage, forecast, size, power
`python tests/studies/study_visits.py {draws}`: {draws} draws a row (Monte Carlo error {100 * math.sqrt(0.0475 / draws):.1f} points at 5 %,
of the forecasts, made for each fourth draw, {100 * math.sqrt(0.0475 * EACH / draws):.1f}), draws with
fewer than five episodes left out, seed {SEED}; {time.perf_counter() - begin:.0f} s. Nominal 95 % and 5 %; claims at no growth: of any
change (2.5 % each way), and of 'worse'; two visits claim nothing.

| case | interval covers | forecast of the count covers | false claim | false 'worse' | shown when true | true factor a visit |
| --- | --- | --- | --- | --- | --- | --- |
"""
        + "\n".join(rows)
        + "\n"
    )
    (Path(__file__).parent / "results" / "visits.md").write_text(text)
    print(text)


if __name__ == "__main__":
    if sys.argv[1:2] == ["hiss"]:
        hiss(int(sys.argv[2]) if len(sys.argv) > 2 else 1_000)
    else:
        main()
