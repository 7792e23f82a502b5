"""Calibration of flicker.stats at a nominal 5 %: sizes, coverage, power beside the best possible, speed.

Run ``python tests/studies/study_calibration.py SECTION ...``; each section writes ``results/calibration_SECTION.md``
beside this file. Where the law is discrete and known the figures are exact sums; simulations state their number. All
data are invented. Permutation tests use 199 permutations here: their size does not depend on the number.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import noise_makers as makers
import numpy as np
from comparison_plan import comparison_power
from scipy import special, stats

from flicker.stats import arrivals, changepoints, extremes, rates, trends
from flicker.stats.arrivals import permutations, trend_tests

RESULTS = Path(__file__).parent / "results"


def table(head, rows):
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    return "\n".join(lines + ["| " + " | ".join(str(x) for x in row) + " |" for row in rows]) + "\n"


def share(hits, n):
    """Per cent with its 95 % Clopper-Pearson limits."""
    got = rates.share_interval(int(hits), int(n))
    return f"{100 * got.share:.1f} ({100 * got.low:.1f}-{100 * got.high:.1f})"


def few_permutations(number=199):
    for module in (trend_tests, permutations):
        module.PERMUTATIONS = number


# --- arrivals -------------------------------------------------------------------------------------------------------


def section_arrivals():
    """Laplace and MIL-HDBK-189 under Poisson arrivals, 5 to 500 events."""
    counts = (5, 10, 20, 50, 200, 500)
    rows = []
    rng = np.random.default_rng(1)
    wide = 200_000
    cells = {"Laplace": [], "Laplace, event": [], "MIL-HDBK-189": [], "MIL-HDBK-189, event": []}
    for c in counts:
        hits = dict.fromkeys(cells, 0)
        for _ in range(10):
            u = rng.random((wide // 10, c))  # given the count, times are uniform; event-terminated: all but the last
            for name, m in (("", c), (", event", c - 1)):
                v = u[:, :m]
                z = (v.sum(axis=1) - m / 2) / np.sqrt(m / 12)
                hits[f"Laplace{name}"] += np.count_nonzero(2 * special.ndtr(-abs(z)) <= 0.05)
                chi2 = -2 * np.log(v).sum(axis=1)
                tails = np.minimum(special.chdtr(2 * m, chi2), special.chdtrc(2 * m, chi2))
                hits[f"MIL-HDBK-189{name}"] += np.count_nonzero(2 * tails <= 0.05)
        for name in cells:
            cells[name].append(share(hits[name], wide))
    rows += [[name, *values] for name, values in cells.items()]
    out = f"# Size of the Poisson trend tests, nominal 5 %, two-sided, in per cent\n\n{wide:,} logs a cell.\n\n"
    return out + table(["test", *(f"{c} events" for c in counts)], rows)


def section_renewal(n=4000):
    """Tests with a law of their own under Poisson arrivals; each is exact by construction, so 5 % is a ceiling."""
    few_permutations()
    counts, rows = (5, 10, 20, 50, 200, 500), []
    tests = {
        "Lewis-Robinson": lambda t: arrivals.lewis_robinson_test(t, 1.0).p_value,
        "Lewis-Robinson, event": lambda t: arrivals.lewis_robinson_test(t, ended_by="event").p_value,
        "Anderson-Darling": lambda t: arrivals.anderson_darling_trend_test(t, 1.0).p_value,
        "Anderson-Darling, event": lambda t: arrivals.anderson_darling_trend_test(t, ended_by="event").p_value,
        "rate_trend_test (one-sided)": lambda t: arrivals.rate_trend_test(t, 1.0).p_value,
        "gaps exponential": lambda t: arrivals.exponential_gaps_test(np.diff(t)).p_value,
        "rate_changes": lambda t: arrivals_change(t),
    }
    for name, test in tests.items():
        row = []
        for c in counts:
            number = n if c < 200 or name not in SLOW else n // 4
            rng = np.random.default_rng(100 + c)
            hits = sum(test(np.sort(rng.random(c))) <= 0.05 for _ in range(number))
            row.append(share(hits, number))
        rows.append([name, *row])
        print(name, row, flush=True)
    out = "# Size of the other arrival tests under Poisson arrivals, nominal 5 %, in per cent\n\n"
    out += f"{n:,} logs a cell (a quarter from 200 events on for those that permute); in brackets 95 % limits. Permutation\n"
    out += "and Monte Carlo p-values hold their level by construction; the table shows what is left of it.\n\n"
    return out + table(["test", *(f"{c} events" for c in counts)], rows)


SLOW = ("Lewis-Robinson", "Lewis-Robinson, event", "Anderson-Darling", "Anderson-Darling, event",
        "rate_trend_test (one-sided)", "rate_changes")  # fmt: skip


def arrivals_change(t):
    return changepoints.rate_changes(t, 1.0, simulations=499).p_value


def bursts(rng, count, kind, size, gap):
    starts = rng.random(rng.poisson(count))
    if kind == "geometric":
        m = rng.geometric(1 / size, starts.size)
    elif kind == "fixed":
        m = np.full(starts.size, int(size))
    else:
        m = 1 + rng.poisson(size - 1, starts.size)
    steps = rng.exponential(gap, int(m.sum()))
    first = np.cumsum(m) - m
    steps[first] = 0.0
    walk = np.cumsum(steps)
    t = np.repeat(starts, m) + walk - np.repeat(walk[first], m)
    return np.sort(t[t < 1.0])


def section_clusters(n=3000):
    """Bursts of finite variance, no trend: Lewis-Robinson and the Anderson-Darling type test."""
    few_permutations(99)
    rows = []
    plan = [("geometric", 0.3, (10, 30, 100, 200)), ("geometric", 0.1, (10, 30, 100)), ("geometric", 0.6, (30, 100))]
    for kind, filled, many in [*plan, ("poisson", 0.3, (10, 30)), ("fixed", 0.3, (30,))]:
        for size in (2, 3, 5, 10):
            for events in many:
                number = n
                count = events / size
                gap = filled / count / max(size - 1, 1)  # so that a burst lasts that share of the time between bursts
                rng = np.random.default_rng(7)
                hits = np.zeros(6)
                for _ in range(number):
                    t = bursts(rng, count, kind, size, gap)
                    if t.size < 5:
                        continue
                    one, two = arrivals.lewis_robinson_test(t, 1.0), arrivals.anderson_darling_trend_test(t, 1.0)
                    laplace = 2 * special.ndtr(-abs((t.sum() - t.size / 2) / np.sqrt(t.size / 12)))
                    p = [laplace, one.p_gaps, one.p_value, two.p_poisson, two.p_gaps, two.p_value]
                    hits += np.array(p) <= 0.05
                shown = [f"{100 * h / number:.1f}" for h in hits]
                shown[2], shown[5] = share(hits[2], number), share(hits[5], number)
                rows.append([kind, filled, size, events, *shown])
                print(rows[-1], flush=True)
    out = "# False trends when nothing changes but events come in bursts, nominal 5 %, two-sided, in per cent\n\n"
    out += f"{n:,} logs a cell, 99 permutations. `filled`: a burst lasts that share of the mean time between bursts.\n"
    out += "Lewis-Robinson and Anderson-Darling as they stand (`LR`, `AD`), and from single gaps alone.\n\n"
    head = [
        "bursts",
        "filled",
        "mean size",
        "events",
        "Laplace",
        "LR, gaps only",
        "LR",
        "AD, Poisson",
        "AD, gaps only",
        "AD",
    ]
    return out + table(head, rows)


# --- changes and trends of values -----------------------------------------------------------------------------------


def section_kendall():
    rows = []
    for n in range(3, 61):
        law = np.ones(1)
        for k in range(2, n + 1):
            law = np.convolve(law, np.full(k, 1 / k))
        s = np.arange(law.size) * 2 - (law.size - 1)
        p_exact = np.minimum(1.0, 2 * np.minimum(np.cumsum(law), np.cumsum(law[::-1])[::-1]))
        z = (s - np.sign(s)) / np.sqrt(n * (n - 1) * (2 * n + 5) / 18)
        p_normal = 2 * special.ndtr(-np.abs(z))
        if n in (3, 4, 5, 6, 7, 8, 10, 15, 20, 30, 40, 60):
            sizes = (law[p_exact <= 0.05].sum(), law[p_normal <= 0.05].sum())
            rows.append([n, *(f"{100 * v:.2f}" for v in sizes)])
            if n <= 8:
                y = np.random.default_rng(n).permutation(n)
                assert abs(trends.mann_kendall(y).p_value - p_exact[list(s).index(trends.mann_kendall(y).s)]) < 1e-12
    out = "# Mann-Kendall at a nominal 5 %, two-sided, independent values, exact sums, in per cent\n\n"
    return out + table(["values", "exact", "normal form"], rows)


# --- rates ----------------------------------------------------------------------------------------------------------


def ratio_size(mean, exposure, method):
    """Two-sided size at 5 % by exact sums; the p-value is monotone in the count to either side of its expectation."""
    side, top = mean * exposure, int(mean * (1 + exposure) + 9 * np.sqrt(mean * (1 + exposure)) + 25)
    a, b = stats.poisson.pmf(np.arange(top + 1), side), stats.poisson.pmf(np.arange(top + 1), mean)
    total = 0.0
    for n in range(top + 1):
        middle = int(n * exposure / (1 + exposure))

        def rejects(i, n=n):
            return rates.rate_ratio(i, exposure, n - i, 1.0, method=method).p_value <= 0.05

        low, high = -1, middle + 1
        while high - low > 1:
            half = (low + high) // 2
            low, high = (half, high) if rejects(half) else (low, half)
        left, right = middle, n + 1
        while right - left > 1:
            half = (left + right) // 2
            left, right = (left, half) if rejects(half) else (half, right)
        i = np.r_[0 : low + 1, right : n + 1].astype(int)
        total += float((a[i] * b[n - i]).sum())
    return 100 * total


def section_ratio():
    methods = ("exact", "mid-p")
    rows = []
    for exposure in (1.0, 0.05, 20.0):
        for mean in (0.5, 2.0, 5.0, 20.0, 100.0):
            if mean * exposure > 300:
                continue
            rows.append([f"{exposure:g} : 1", mean, *(f"{ratio_size(mean, exposure, m):.2f}" for m in methods)])
            print(rows[-1], flush=True)
    out = "# Two-sided size of the tests of a rate ratio at a nominal 5 %, exact sums, in per cent\n\n"
    out += "Ratio 1. `exact` never passes 5; 100 less `exact` is the coverage of the 95 % interval.\n\n"
    return out + table(["exposure", "mean of the base", *methods], rows)


def negative_binomial(rng, mean, phi, shape):
    return rng.negative_binomial(mean / (phi - 1), 1 / phi, shape) if phi > 1 else rng.poisson(mean, shape)


def section_overdispersed(n=1000):
    rows = []
    for runs in (2, 3, 5, 10):
        for mean in (0.5, 2.0, 5.0, 20.0, 100.0):
            for phi in (1.0, 3.0, 8.0):
                x = negative_binomial(np.random.default_rng(9), mean, phi, (n, runs))
                e = np.ones(runs)
                hits, wide = np.zeros(2), []
                for row in x:
                    one = rates.rate_interval(int(row.sum()), float(runs))
                    two = rates.overdispersed_rate(row, e)
                    hits += [one.low <= mean <= one.high, two.low <= mean <= two.high]
                    wide.append((two.high - two.low) / (one.high - one.low))
                rows.append([runs, mean, phi, f"{100 * hits[0] / n:.1f}", share(hits[1], n), f"{np.median(wide):.2f}"])
        print(rows[-15:], flush=True)
    out = "# Rates over runs that differ: coverage of the 95 % interval, in per cent\n\n"
    out += f"Negative binomial counts, variance = mean x dispersion, runs of equal length; {n:,} logs a cell.\n\n"
    head = ["runs", "mean per run", "dispersion", "Garwood", "overdispersed_rate", "width over Garwood (median)"]
    return out + table(head, rows)


# --- power ----------------------------------------------------------------------------------------------------------


def section_power(n=100_000):
    rows = []
    for before in (5.0, 10.0, 20.0, 50.0, 200.0):
        for ratio in (0.5, 0.2, 0.1):
            got = comparison_power(before, 1.0, 1.0, true_ratio=ratio)
            rows.append([f"{before:g}", ratio, f"{ump(before, ratio, False):.4f}", f"{got.power:.4f}",
                         f"{got.power / ump(before, ratio, False):.4f}", f"{got.best_power:.4f}",
                         f"{got.best_power - got.power:.4f}"])  # fmt: skip
    out = "# Power beside the best possible, one-sided 5 %\n\n## Rate ratio 'less', equal exposure, exact sums\n\n"
    out += (
        "`best fixed`: the conditional most powerful test without randomising, summed in separate code; `randomised`:\n"
    )
    out += "the conditional uniformly most powerful unbiased test, which no fixed test reaches.\n\n"
    head = ["expected before", "true ratio", "best fixed", "ours", "ours / best fixed", "randomised", "distance"]
    out += table(head, rows)
    rng, rows = np.random.default_rng(5), []
    for c in (5, 10, 20, 50):
        null, growth = rng.random((n, c)), np.log(6)
        u = np.log1p(rng.random((n, c)) * np.expm1(growth)) / growth
        best = np.mean(u.sum(axis=1) > np.quantile(null.sum(axis=1), 0.95))
        ours = np.mean(special.ndtr(-(u.sum(axis=1) - c / 2) / np.sqrt(c / 12)) <= 0.05)
        rows.append(["log-linear, times 6", c, "Laplace", f"{100 * ours:.1f}", f"{100 * best:.1f}"])
        v = -2 * np.log(rng.random((n, c)) ** 0.5).sum(axis=1)
        best = np.mean(v < np.quantile(-2 * np.log(null).sum(axis=1), 0.05))
        rows.append(["power law, exponent 2", c, "MIL-HDBK-189", f"{100 * np.mean(special.chdtr(2 * c, v) <= 0.05):.1f}",
                     f"{100 * best:.1f}"])  # fmt: skip
    out += f"\n## Trend of arrivals at the alternatives they are made for, {n:,} logs a cell (error 0.2 points)\n\n"
    return out + table(["alternative", "events", "test", "power, %", "best possible, %"], rows)


def ump(before, ratio, randomised):
    """Power of the conditional most powerful one-sided test of 'ratio below 1' at 5 %, equal exposure."""
    top = int(2 * before + 12 * np.sqrt(2 * before) + 30)
    power = 0.0
    for total in range(top):
        k = np.arange(total + 1)
        null, true = stats.binom.pmf(k, total, 0.5), stats.binom.pmf(k, total, ratio / (1 + ratio))
        size = np.cumsum(null)
        inside = int(np.count_nonzero(size <= 0.05 * (1 + 1e-12)))
        part = true[:inside].sum()
        if randomised and inside <= total:
            left = 0.05 - (size[inside - 1] if inside else 0.0)
            part += left / null[inside] * true[inside]
        power += stats.poisson.pmf(total, before * (1 + ratio)) * part
    return float(power)


# --- tails ----------------------------------------------------------------------------------------------------------


def section_tails(n=300):
    rows = []
    for mean in (8, 15, 18):
        for shape in (-0.3, 0.0, 0.3, 0.6, 0.9):
            rng, hits, used, high = np.random.default_rng(11), 0, 0, []
            level = 5.0 if shape >= 0 else 2.5
            truth = mean * float(stats.genpareto.sf(level, shape))
            for _ in range(n):
                y = stats.genpareto.rvs(shape, size=rng.poisson(mean), random_state=rng)
                if not 5 <= y.size < extremes_few():
                    continue
                used += 1
                got = extremes.fit_tail(y, 0.0, exposure=1.0).chance_above(level, 0.2)
                high.append(got.high)
                hits += got.high >= -np.expm1(-truth * 0.2) - 1e-12
            rows.append(
                [
                    mean,
                    shape,
                    level,
                    f"{-np.expm1(-truth * 0.2):.3f}",
                    used,
                    share(hits, used),
                    f"{np.median(high):.2f}",
                ]
            )
            print(rows[-1], flush=True)
    out = "# One-sided 95 % bound of the chance above a level, 5 to 19 peaks: how often it holds, in per cent\n\n"
    out += f"{n} logs a cell, shape range -0.5 to 1, a fifth of the time behind ahead.\n\n"
    return out + table(
        ["mean peaks", "shape", "level, scales", "true chance", "logs", "bound holds", "median bound"], rows
    )


def extremes_few():
    from flicker.stats.extremes.peaks import FEW_PEAKS

    return FEW_PEAKS


# --- speed ----------------------------------------------------------------------------------------------------------


def best_of(call, times=3):
    took = []
    for _ in range(times):
        begun = time.process_time()
        call()
        took.append(time.process_time() - begun)
    return min(took)


def section_speed():
    rng = np.random.default_rng(0)
    runs, ends = [np.sort(rng.random(10_000)) for _ in range(100)], [1.0] * 100
    cases = [(k, 1.0 + k, 3 * k + 1, 2.0) for k in range(200)] + [(10**7, 1e6, 10**6, 1e5)] * 20
    rows = [
        [
            "exact interval of a ratio, 0 to 1e7 events",
            "1 ms",
            best_of(lambda: [rates.rate_ratio(*c) for c in cases]) / len(cases),
        ]
    ]
    for test in (
        arrivals.laplace_test,
        arrivals.power_law_test,
        arrivals.lewis_robinson_test,
        arrivals.anderson_darling_trend_test,
        arrivals.rate_trend_test,
    ):
        rows.append([f"{test.__name__}, 1e6 events in 100 runs", "1 s", best_of(lambda f=test: f(runs, ends))])
    y = makers.spectral(rng, 1, 100_000)[0] + 4.0 * (np.arange(100_000) >= 30_000)
    rows.append(["level_changes, 1e5 points", "2 s", best_of(lambda: changepoints.level_changes(y))])
    rows.append(["variance_changes, 1e5 points", "2 s", best_of(lambda: changepoints.variance_changes(y))])
    t = np.sort(rng.random(100_000))
    seeds = iter(range(9))  # a new null law each time: none is kept from the call before
    rows.append(
        ["rate_changes, 1e5 events", "2 s", best_of(lambda: changepoints.rate_changes(t, 1.0, seed=next(seeds)))]
    )
    rows.append(["mann_kendall, 1e5 values", "", best_of(lambda: trends.mann_kendall(y))])
    rows.append(["theil_sen, 1e5 values", "", best_of(lambda: trends.theil_sen(y), 1)])
    shown = [[name, asked, f"{1e3 * took:.3g} ms" if took < 1 else f"{took:.2f} s"] for name, asked, took in rows]
    return "# Processor time, best of three, two shared cores\n\n" + table(["what", "asked", "taken"], shown)


def main():
    for name in sys.argv[1:]:
        begun = time.perf_counter()
        text = globals()[f"section_{name}"]()
        (RESULTS / f"calibration_{name}.md").write_text(text, encoding="utf-8")
        print(name, f"{time.perf_counter() - begun:.0f} s", flush=True)


if __name__ == "__main__":
    main()
