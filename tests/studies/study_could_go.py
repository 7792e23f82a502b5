"""Numbers that moved no recorded study: what hangs on each? Drawn units, put to the tests of the product itself.

    python tests/studies/study_could_go.py fit|phase|pace [SEED] [UNITS]

The answers stand in `results/constants.md`, 'Went, and could go'.
"""

from __future__ import annotations

import math
import sys
from collections import Counter, defaultdict

import numpy as np

from flicker.base.limits import Limits
from flicker.evidence.located.warmup import WarmupRun, fit_decay, risk_clock
from flicker.stats import power_ups
from flicker.stats.rates.dispersion import pearson_dispersion

LEVEL = 0.025
WARM_H = 1.0 / 3.0


def fit(rng: np.random.Generator, units: int) -> None:
    """Coverage of the 95 % intervals of the fitted warm-up, by how many episodes there were."""
    length_s, seen = 5400.0, defaultdict(list)
    for first, late, tau_s, runs in ((2, 0.2, 1200, 3), (1, 0.1, 1200, 5), (3, 0.3, 1200, 3), (0.5, 0.5, 1200, 5), (2, 0.2, 600, 4), (4, 0.4, 1200, 6)):
        for _ in range(units):
            times = []
            for _ in range(runs):
                t = rng.uniform(0.0, length_s, rng.poisson(max(first, late) * length_s / 3600.0))
                fall = np.exp(-t / tau_s)
                times.append(np.sort(t[rng.uniform(size=t.size) * max(first, late) < first * fall + late * (1.0 - fall)]))
            pooled = np.sort(np.concatenate(times))
            if pooled.size:
                clock = risk_clock([WarmupRun(t, np.array([[0.0, length_s]])) for t in times])
                found = fit_decay(pooled, *clock, 0.95)
                holds = [low <= true <= high for true, (_, low, high) in zip((first, late, tau_s), found, strict=True)]
                seen["under 10" if pooled.size < 10 else "10 and more"].append(holds)
    for name, rows in seen.items():
        print(f"{name} episodes, {len(rows)} units: first, late, time constant held in {np.round(100.0 * np.mean(rows, axis=0), 1)} %")


def phase(rng: np.random.Generator, units: int) -> None:
    """False 'mostly early', 'while it warms up', 'once it is warm', by the least factor, where nothing hangs on the time since power-up."""
    for kind in ("bursts", "differing power-ups", "three times in warm-up"):
        for runs, hours, per_h in ((2, 4, 8), (8, 2, 8), (20, 4, 8), (8, 8, 2)):
            found, found_singly = {factor: Counter[str]() for factor in (2.0, 3.0, 4.0)}, Counter[str]()
            for _ in range(units):
                warm, counts, stretches = [], [], []
                for _ in range(runs):
                    rate = per_h * (rng.gamma(2.0) / 2.0 if kind.startswith("differing") else 1.0)
                    if kind == "bursts":
                        first = rng.uniform(0.0, hours, rng.poisson(rate * hours / 3.0))
                        t = np.repeat(first, rng.poisson(2.0, first.size) + 1)
                        t = t + rng.exponential(1.0 / 30.0, t.size)
                    else:
                        t = rng.uniform(0.0, hours, rng.poisson(rate * hours))
                        if kind.startswith("three"):
                            t = np.concatenate((t, rng.uniform(0.0, WARM_H, rng.poisson(2.0 * rate * WARM_H))))
                    counts.append(int((t < hours).sum()))
                    warm.append(int((t < WARM_H).sum()))
                    number = int((hours - WARM_H) / WARM_H)
                    seen = np.histogram(t[t >= WARM_H], bins=number, range=(WARM_H, WARM_H * (1 + number)))[0]
                    stretches.append((seen.astype(np.int64), np.full(number, WARM_H)))
                bursts = max(1.0, pearson_dispersion(stretches)[0])
                for factor, told in found.items():
                    told[_phase(warm, counts, WARM_H / hours, factor, bursts)] += 1
                found_singly[_phase(warm, counts, WARM_H / hours, 3.0, 1.0)] += 1
            all_found = found | {"3, episodes taken as single": found_singly}
            said = {factor: {name: round(100.0 * n / units, 1) for name, n in told.items() if name} for factor, told in all_found.items()}
            print(f"{kind}, {runs} power-ups of {hours} h, {per_h} per hour: {said} %")


def _phase(warm: list[int], counts: list[int], share: float, factor: float, bursts: float) -> str:
    """As `recurrence.phase_of` decides."""
    early, late = sum(warm), sum(counts) - sum(warm)
    if early + late < 3:
        return ""
    ratio = (early / share) / (late / (1.0 - share)) if late else math.inf
    found = power_ups.early_share_test(warm, counts, share, dispersion=bursts)
    if ratio >= factor and not found.pattern and len(counts) < 3 and found.p_exact <= LEVEL:
        return "early"
    if ratio >= factor and found.p_value <= LEVEL:
        return "cold"
    after = [n - k for n, k in zip(counts, warm, strict=True)]
    return "hot" if ratio <= 1.0 / factor and power_ups.early_share_test(after, counts, 1.0 - share, dispersion=bursts).p_value <= LEVEL else ""


def pace(rng: np.random.Generator, units: int) -> None:
    """False falls where nothing changed but the pace, 0.25 s before and 1 s after: by a share of short swings, and by the bound of what is seen."""
    scatter = Limits().power_up_scatter
    for runs, each in ((3, 10), (3, 60), (8, 20), (20, 40)):
        for part, short_s in ((0.2, 0.1), (0.3, 0.1), (0.5, 0.1), (0.2, 0.6), (0.3, 0.6), (0.5, 0.6)):
            found = Counter[str]()
            for _ in range(units):
                before, lasts = _seen(rng, runs, each, part, short_s, 0.25)
                after, _ = _seen(rng, runs, each, part, short_s, 1.0)
                hours = np.full(runs, 4.0)
                if power_ups.rate_comparison(before, hours, after, hours, scatter=scatter, level=LEVEL).p_down > LEVEL:
                    continue
                seen, large = float(np.mean(lasts >= 1.0)), sum(after) * 1.5 <= sum(before)
                beyond = seen > 0 and power_ups.rate_comparison(before, hours, after, seen * hours, scatter=scatter, level=LEVEL).p_down <= LEVEL
                rows = {"any": True, "a quarter short bars": seen > 0.75, "beyond what is seen": beyond, "1.5-fold, a quarter bars": large and seen > 0.75, "1.5-fold, a third bars": large and seen > 2 / 3}
                found.update(name for name, holds in rows.items() if holds)
            said = {name: round(100.0 * n / units, 1) for name, n in found.items()}
            print(f"{runs} power-ups of {each} swings, {part:g} of them {short_s} s: {said} %")


def _seen(rng: np.random.Generator, runs: int, each: int, part: float, short_s: float, interval_s: float) -> tuple[list[int], np.ndarray]:
    counts, lasts = [], []
    for _ in range(runs):
        long_s = np.where(rng.uniform(size=rng.poisson(each)) < part, short_s, 2.5)
        long_s = long_s[rng.uniform(size=long_s.size) < long_s / interval_s]
        counts.append(long_s.size)
        lasts.append(np.maximum(long_s, interval_s))
    return counts, np.concatenate(lasts)


if __name__ == "__main__":
    seed, number = (int(word) for word in [*sys.argv[2:], *("1", "200")[len(sys.argv) - 2 :]])
    {"fit": fit, "phase": phase, "pace": pace}[sys.argv[1]](np.random.default_rng(seed), number)
