"""Do planned soaks catch what they promise? 10,000 simulated soaks a plan. Writes results/soak_plans.md.

Run by hand: python tests/studies/study_soak.py. All faults are invented.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

import flicker

N = 10_000
HERE = Path(__file__).parent


def main() -> None:
    rng = np.random.default_rng(20_260_306)
    rows = []

    def book(name: str, chance: float, caught: np.ndarray) -> None:
        error = np.sqrt(chance * (1 - chance) / N)
        keeps = "yes" if caught.mean() >= chance - 2 * error else "NO"
        rows.append(f"| {name} | {chance:.0%} | {caught.mean():.2%} | {error:.2%} | {keeps} |")
        print(rows[-1], flush=True)

    for chance in (0.80, 0.90, 0.95):
        for rate in (0.05, 1.0, 20.0):
            hours = flicker.plan_soak(rate_per_h=rate, confidence=chance).hours
            book(f"rate known, {rate:g} per hour", chance, rng.poisson(rate * hours, N) > 0)
        for count in (1, 2, 3, 5, 10):
            each = flicker.plan_soak(count=count, hours=1.0, confidence=chance).hours
            seen = rng.gamma(count, 1.0 / 0.4, N)
            book(f"rate from {count} episode(s), log ends with the last", chance, rng.poisson(0.4 * each * seen) > 0)
        for mean in (3.0, 8.0):
            number = rng.poisson(mean, 3 * N)
            number = number[number > 0][:N]
            hours = {k: flicker.plan_soak(count=int(k), hours=10.0, confidence=chance).hours for k in np.unique(number)}
            caught = rng.poisson(mean / 10.0 * np.array([hours[k] for k in number])) > 0
            book(f"rate from a log of 10 h that holds {mean:g} on the mean (if any)", chance, caught)
        for length, interval, aperture in ((0.2, 0.5, 0.0), (0.05, 1.0, 0.02), (0.3, 1.0, 0.2)):
            plan = flicker.plan_soak(
                rate_per_h=0.5,
                confidence=chance,
                glitch_length_s=length,
                sample_interval_s=interval,
                integration_s=aperture,
            )
            number = rng.poisson(0.5 * plan.hours, N)
            caught = np.array([np.any(seen_by_meter(rng, k, length, interval, aperture)) for k in number])
            book(f"glitches of {length:g} s, a reading every {interval:g} s over {aperture:g} s", chance, caught)
        for hits, trials in ((1, 4), (3, 6), (5, 5)):
            share = rng.beta(hits, trials - hits + 1, N)
            starts = flicker.plan_soak(starts=trials, starts_with_fault=hits, confidence=chance).power_ups.power_ups
            caught = rng.random(N) < 1.0 - (1.0 - share) ** starts
            book(f"cold starts, {hits} of {trials} showed it (share from its law given these)", chance, caught)
    text = [
        "# Planned soaks: what they promise and what they catch",
        "",
        f"Written by `tests/studies/study_soak.py`, seed 20260306; {N} simulated soaks a plan, all faults invented. A plan",
        "keeps its promise if the share caught is no more than two Monte Carlo errors below it.",
        "",
        "| plan | promised | caught | Monte Carlo error | kept |",
        "|---|---|---|---|---|",
        *rows,
        "",
        "The predictive plan is exact for logs that end with their last episode. For logs of fixed length it is judged over",
        "those that hold an episode: with three expected, a log that happens to hold many plans too short a soak.",
    ]
    (HERE / "results" / "soak_plans.md").write_text("\n".join(text) + "\n", encoding="utf-8")


def seen_by_meter(rng, number, length, interval, aperture):
    """Does a reading that averages over the aperture hold half of it or more of the glitch? Laid out in time."""
    begin = rng.uniform(0.0, interval, number)
    first = np.zeros(number, dtype=bool)
    for k in range(int(length / interval) + 2):
        low, high = k * interval, k * interval + aperture
        overlap = np.minimum(begin + length, high) - np.maximum(begin, low)
        first |= overlap >= 0.5 * aperture if aperture > 0 else (begin <= low) & (low < begin + length)
    return first


if __name__ == "__main__":
    main()
