"""Calibration study of the arrival tests: sizes, false 'worse' under bursts, power, coverage of the fits.

Run: python tests/studies/study_arrivals.py [simulations]; writes results/arrivals.md beside this file. Each row names
its null. Permutation tests use 399 permutations here (their size does not depend on it). All data are simulated.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy import special

from flicker.stats import arrivals
from flicker.stats.arrivals import permutations, trend_tests

SPAN = 4 * 3600.0
HERE = Path(__file__).parent
Rng = np.random.Generator


def poisson_given(rng: Rng, n: int) -> np.ndarray:
    """n events of an even rate in the span."""
    return np.sort(rng.random(n)) * SPAN


def power_law(rng: Rng, n: int, beta: float) -> np.ndarray:
    """n events whose rate grows as time to the power beta - 1."""
    return np.sort(rng.random(n) ** (1 / beta)) * SPAN


def log_linear(rng: Rng, n: int, growth: float) -> np.ndarray:
    """n events whose rate grows by exp(growth) over the span."""
    u = rng.random(n)
    return np.sort(np.log1p(u * np.expm1(growth)) / growth if growth else u) * SPAN


def gamma_renewal(rng: Rng, n: float, shape: float) -> np.ndarray:
    """A stationary renewal process with gamma gaps, n events on average (the first stretch is thrown away)."""
    gaps = rng.gamma(shape, SPAN / n / shape, int(6 * n) + 60)
    t = np.cumsum(gaps) - 2 * SPAN
    return t[(t >= 0) & (t < SPAN)]


def bursts(rng: Rng, mean_bursts: float, kind: str, size: float, gap: float) -> np.ndarray:
    """Bursts at an even rate; exponential gaps of mean ``gap`` inside a burst."""
    out = []
    for start in rng.random(rng.poisson(mean_bursts)) * SPAN:
        if kind == "geometric":
            m = int(rng.geometric(1 / size))
        elif kind == "fixed":
            m = int(size)
        elif kind == "poisson":
            m = 1 + int(rng.poisson(size - 1))
        else:  # infinite variance
            m = min(200, int(np.ceil((rng.pareto(1.5) + 1) * size / 3)))
        out.append(start + np.concatenate(([0.0], np.cumsum(rng.exponential(gap, m - 1)))))
    t = np.sort(np.concatenate(out)) if out else np.zeros(0)
    return t[t < SPAN]


def limits(hits: int, n: int) -> tuple[float, float]:
    """Clopper-Pearson 95 % limits of a share, in per cent."""
    low = float(special.betaincinv(hits, n - hits + 1, 0.025)) if hits else 0.0
    high = float(special.betaincinv(hits + 1, n - hits, 0.975)) if hits < n else 1.0
    return 100 * low, 100 * high


def shares(p: np.ndarray) -> str:
    """Per cent of p-values at or below 5 and 2.5 %, as two cells."""
    return f"{100 * np.mean(p <= 0.05):.1f} | {100 * np.mean(p <= 0.025):.1f}"


TESTS: dict[str, Callable[[np.ndarray], float]] = {
    "Laplace": lambda t: arrivals.laplace_test(t, SPAN).p_value,
    "Laplace, event": lambda t: arrivals.laplace_test(t, ended_by="event").p_value,
    "MIL-HDBK-189": lambda t: arrivals.power_law_test(t, SPAN).p_value,
    "MIL-HDBK-189, event": lambda t: arrivals.power_law_test(t, ended_by="event").p_value,
    "Lewis-Robinson": lambda t: arrivals.lewis_robinson_test(t, SPAN).p_value,
    "Lewis-Robinson, normal": lambda t: arrivals.lewis_robinson_test(t, SPAN).p_normal,
    "Anderson-Darling": lambda t: arrivals.anderson_darling_trend_test(t, SPAN).p_value,
    "Anderson-Darling, Poisson": lambda t: arrivals.anderson_darling_trend_test(t, SPAN).p_poisson,
    "rate_trend_test (more often)": lambda t: arrivals.rate_trend_test(t, SPAN).p_value,
    "gaps exponential": lambda t: arrivals.exponential_gaps_test(np.diff(t)).p_value,
}


def rejections(test: Callable[[np.ndarray], float], make: Callable[[Rng], np.ndarray], n: int, seed: int) -> str:
    """Share of p-values at or below 5 % with its limits; logs with fewer than five events count as not rejected."""
    rng = np.random.default_rng(seed)
    hits = 0
    for _ in range(n):
        t = make(rng)
        hits += t.size >= 5 and test(t) <= 0.05
    low, high = limits(hits, n)
    return f"{100 * hits / n:.1f} ({low:.1f}-{high:.1f})"


def size_under_poisson(n: int) -> list[str]:
    counts = (5, 10, 20, 50, 200, 500)
    rows = [f"| test | {' | '.join(map(str, counts))} |", "|---|" + "---|" * len(counts)]
    for name, test in TESTS.items():
        cells = [rejections(test, lambda r, c=c: poisson_given(r, c), n, 1000 + c) for c in counts]
        rows.append(f"| {name} | {' | '.join(cells)} |")
    return rows


def size_under_bursts(n: int) -> list[str]:
    names = ("Laplace", "Lewis-Robinson", "Anderson-Darling", "Anderson-Darling, Poisson")
    makers: dict[str, Callable[[Rng], np.ndarray]] = {}
    for kind in ("geometric", "fixed", "poisson", "heavy"):
        for size, gap in ((3, 20), (3, 60), (5, 30)):
            for count in (6, 14):
                label = f"{count} bursts of {size}, {kind}, gaps {gap} s"
                makers[label] = lambda r, a=(count, kind, size, gap): bursts(r, *a)
    for shape in (0.4, 3.0):
        makers[f"renewal, gamma gaps of shape {shape}, 25 events"] = lambda r, s=shape: gamma_renewal(r, 25, s)
    both = "rate_trend_test (more often), dead time 10 s"
    rows = [f"| null | {' | '.join((*names, both))} |", "|---|" + "---|" * (len(names) + 1)]
    for label, make in makers.items():
        cells = [rejections(TESTS[name], make, n, 7) for name in names]
        cells.append(rejections(lambda t: arrivals.rate_trend_test(t, SPAN, dead_time=10).p_value, make, n, 7))
        rows.append(f"| {label} | {' | '.join(cells)} |")
    return rows


def power(n: int) -> list[str]:
    rows = ["| alternative | test | at 5 % | at 2.5 % |", "|---|---|---|---|"]
    one_sided = {
        "Laplace": lambda t: arrivals.laplace_test(t, SPAN, alternative="increasing").p_value,
        "MIL-HDBK-189": lambda t: arrivals.power_law_test(t, SPAN, alternative="increasing").p_value,
        "Lewis-Robinson": lambda t: arrivals.lewis_robinson_test(t, SPAN, alternative="increasing").p_value,
        "rate_trend_test, dead time 10 s": lambda t: arrivals.rate_trend_test(t, SPAN, dead_time=10).p_value,
    }
    cases = {f"power law, exponent 3, {c} events": (lambda r, c=c: power_law(r, c, 3.0)) for c in (12, 18, 25, 40)}
    cases |= {f"power law, exponent 2, {c} events": (lambda r, c=c: power_law(r, c, 2.0)) for c in (18, 40)}
    cases |= {f"log-linear, rate times 6, {c} events": (lambda r, c=c: log_linear(r, c, np.log(6))) for c in (18, 40)}
    for label, make in cases.items():
        rng = np.random.default_rng(11)
        logs = [make(rng) for _ in range(n)]
        for name, test in one_sided.items():
            p = np.array([test(t) for t in logs])
            rows.append(f"| {label} | {name} | {shares(p)} |")
    for runs, each in ((2, 6), (2, 12), (6, 3)):
        rng = np.random.default_rng(12)
        logs = [[power_law(rng, each, 3.0) for _ in range(runs)] for _ in range(n)]
        p = np.array([arrivals.rate_trend_test(t, [SPAN] * runs, dead_time=10).p_value for t in logs])
        label = f"power law, exponent 3, {runs} runs of {each} | rate_trend_test, dead time 10 s"
        rows.append(f"| {label} | {shares(p)} |")
    return rows


def best_power(n: int) -> list[str]:
    """Laplace and MIL-HDBK-189 beside the most powerful test of the same counts (cut by simulation)."""
    rng = np.random.default_rng(5)
    rows = ["| alternative | events | test | power at 5 % | best possible |", "|---|---|---|---|---|"]
    for count in (5, 10, 20, 50):
        null, growth = rng.random((200_000, count)), np.log(6)
        tilted = np.log1p(rng.random((20 * n, count)) * np.expm1(growth)) / growth
        cut = np.quantile(null.sum(axis=1), 0.95)
        best = np.mean(tilted.sum(axis=1) > cut)
        z = (tilted.sum(axis=1) - count / 2) / np.sqrt(count / 12)
        ours = np.mean(special.ndtr(-z) <= 0.05)
        rows.append(f"| log-linear, times 6 | {count} | Laplace | {100 * ours:.1f} | {100 * best:.1f} |")
        powered = rng.random((20 * n, count)) ** (1 / 2)
        best = np.mean(-2 * np.log(powered).sum(axis=1) < np.quantile(-2 * np.log(null).sum(axis=1), 0.05))
        ours = np.mean(special.chdtr(2 * count, -2 * np.log(powered).sum(axis=1)) <= 0.05)
        rows.append(f"| power law, exponent 2 | {count} | MIL-HDBK-189 | {100 * ours:.1f} | {100 * best:.1f} |")
    return rows


def coverage(n: int) -> list[str]:
    rows = ["| interval | events | truth | covered, % |", "|---|---|---|---|"]
    for count in (5, 10, 20, 100):
        for beta in (0.5, 2.0):
            rng, hits = np.random.default_rng(count), 0
            for _ in range(n):
                fit = arrivals.power_law_fit(power_law(rng, count, beta), SPAN)
                hits += fit.beta_low <= beta <= fit.beta_high
            rows.append(f"| power-law exponent | {count} | {beta} | {100 * hits / n:.1f} |")
    return rows


def main() -> None:
    n = int(sys.argv[1]) if len(sys.argv) > 1 else 3000
    for module in (trend_tests, permutations):
        module.PERMUTATIONS = 399
    parts = (
        ("Size under Poisson arrivals, nominal 5 %, by number of events", size_under_poisson, n),
        ("False trends when nothing changes but episodes come in bursts (4 h, nominal 5 %)", size_under_bursts, n),
        ("Power, one-sided", power, n),
        ("Beside the best possible", best_power, n),
        ("Coverage of 95 % intervals", coverage, n),
    )
    lines = [f"# Arrivals: calibration\n\n{n} simulations a cell; in brackets 95 % limits.\n"]
    for title, part, count in parts:
        begun = time.perf_counter()
        lines += [f"## {title}\n", *part(count), ""]
        print(f"{title}: {time.perf_counter() - begun:.0f} s", flush=True)
        (HERE / "results" / "arrivals.md").write_text("\n".join(lines))


if __name__ == "__main__":
    main()
