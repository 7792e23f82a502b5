"""Error, power and coverage of claims over power-ups, through the product's own functions, on counts.

Power-ups differ by a gamma factor of mean 1 and coefficient of variation cv; m is the mean number of episodes of one.
Usage: python tests/studies/study_power_ups.py [draws [section ...]] > tests/studies/results/power_ups.md
"""

from __future__ import annotations

import math
import sys

import numpy as np

from flicker.stats import power_ups as pu

LEVEL = 0.025


def counts(rng, mean, cv):
    """Counts of power-ups with these means."""
    mean = np.asarray(mean, dtype=float)
    factor = rng.gamma(1 / cv**2, cv**2, mean.size) if cv else 1.0
    return rng.poisson(mean * factor)


def worse(n):
    if n.sum() < 5:
        return False
    found = pu.rate_growth(n, np.ones(n.size))
    return found.p_up <= LEVEL and found.factor >= 1.5


def changed(before, after):
    found = pu.rate_comparison(before, np.ones(before.size), after, np.ones(after.size))
    return found.p_down <= LEVEL, found.p_up <= LEVEL


def share(hits, draws):
    return f"{100 * hits / draws:.1f}"


def age(draws: int, rng: np.random.Generator) -> None:
    print("## Worse with age, no change, m 6\n\n| power-ups | cv 0 | .3 | .5 | .7 | 1 |\n|-|-|-|-|-|-|")
    told = {3: "0 .1 .5 1.5 2.2", 4: "0 .9 2.1 3.4 6.8", 5: ".3 1.0 2.6 3.2 5.3", 8: ".8 1.6 2.6 4.0 5.7"}
    for k, line in told.items():
        row = []
        for cv, page in zip((0, 0.3, 0.5, 0.7, 1.0), line.split(), strict=True):
            row.append(f"{share(sum(worse(counts(rng, [6.0] * k, cv)) for _ in range(draws)), draws)} ({page})")
        print(f"| {k} | " + " | ".join(row) + " |", flush=True)


def age_power(draws: int, rng: np.random.Generator) -> None:
    print(
        "\n## Worse with age, growth by a factor from first to last (geometric, 6 in the middle)\n\n| | cv 0 | cv .3 |\n|-|-|-|"
    )
    for k, factor, page in ((4, 8, ("83", "68")), (5, 8, ("91", "77")), (8, 4, ("73", "58")), (5, 4, ("47", "42"))):
        mean = 6.0 * factor ** np.linspace(-0.5, 0.5, k)
        row = [
            f"{share(sum(worse(counts(rng, mean, cv)) for _ in range(draws)), draws)} ({p})"
            for cv, p in zip((0, 0.3), page, strict=True)
        ]
        print(f"| {k} power-ups x{factor} | " + " | ".join(row) + " |", flush=True)
    hits = sum(worse(counts(rng, [2, 3, 5, 9, 15], 0)) for _ in range(draws))
    print(f"| means 2, 3, 5, 9, 15 | {share(hits, draws)} (86) | |", flush=True)


def compare(draws: int, rng: np.random.Generator) -> None:
    print(
        "\n## Before and after, no change, m 10: false improved / worse\n\n| before:after | cv 0 | .5 | .7 | 1 |\n|-|-|-|-|-|"
    )
    told2 = {
        (1, 1): "0/0 .3/.1 2.0/.4 3.3/3.5", (2, 1): "0/0 .7/.5 2.4/2.5 3.3/5.2", (1, 3): "0/0 1.5/1.8 2.8/3.0 6.0/2.2",
        (2, 2): ".3/.1 2.2/2.1 4.8/4.4 7.6/6.6", (3, 3): ".3/.3 3.1/3.1 4.6/4.1 4.1/5.5",
    }  # fmt: skip
    for (k0, k1), line in told2.items():
        row = []
        for cv, page in zip((0, 0.5, 0.7, 1.0), line.split(), strict=True):
            got = np.array([changed(counts(rng, [10.0] * k0, cv), counts(rng, [10.0] * k1, cv)) for _ in range(draws)])
            row.append(f"{share(got[:, 0].sum(), draws)}/{share(got[:, 1].sum(), draws)} ({page})")
        print(f"| {k0}:{k1} | " + " | ".join(row) + " |", flush=True)


def compare_power(draws: int, rng: np.random.Generator) -> None:
    print(
        "\n## Before and after, m 10 before, power at cv 0\n\n| before:after | ratio .1 | ratio 0 | ratio .3 |\n|-|-|-|-|"
    )
    told3 = {(1, 1): "16 41 -", (2, 1): "37 81 -", (1, 3): "73 100 -", (2, 2): "94 100 47", (3, 3): "100 100 75"}
    for (k0, k1), line in told3.items():
        row = []
        for ratio, page in zip((0.1, 0.0, 0.3), line.split(), strict=True):
            got = [changed(counts(rng, [10.0] * k0, 0), counts(rng, [10.0 * ratio] * k1, 0))[0] for _ in range(draws)]
            row.append(f"{share(sum(got), draws)} ({page})")
        print(f"| {k0}:{k1} | " + " | ".join(row) + " |", flush=True)


def rate(draws: int, rng: np.random.Generator) -> None:
    print("\n## Rate: coverage of the 95 % interval, m 10\n\n| power-ups | cv 0 | .3 | .5 | 1 |\n|-|-|-|-|-|")
    told4 = {2: "100 100 96 91", 3: "100 98 96 91", 5: "99 98 96 91", 8: "99 97 96 93"}
    for k, line in told4.items():
        row = []
        for cv, page in zip((0, 0.3, 0.5, 1.0), line.split(), strict=True):
            held = 0
            for _ in range(2 * draws):
                n = counts(rng, [10.0] * k, cv)
                found = pu.mean_rate(n, np.ones(k))
                held += found.low <= 10.0 <= found.high
            row.append(f"{share(held, 2 * draws)} ({page})")
        print(f"| {k} | " + " | ".join(row) + " |", flush=True)


def soak(draws: int, rng: np.random.Generator) -> None:
    print(
        "\n## Soak: promised 95 %, kept (logs without an episode plan nothing and are drawn again)\n\n| power-ups, m | cv 0 | .5 | 1 |\n|-|-|-|-|"
    )
    for k, m, page in ((1, 5, "98-100 97-100 93-95"), (3, 3, "98-100 97-100 93-95"), (5, 1, "98-100 97-100 93-95")):
        row = []
        for cv, p in zip((0, 0.5, 1.0), page.split(), strict=True):
            kept = []
            while len(kept) < 2 * draws:
                n = counts(rng, [float(m)] * k, cv)
                if n.sum() == 0:
                    continue
                plan = pu.power_ups_to_see(n, np.ones(k)).power_ups
                # chance that the planned power-ups show at least one episode, in closed form
                kept.append(1 - (math.exp(-m * plan) if not cv else (1 + cv**2 * m) ** (-plan / cv**2)))
            row.append(f"{100 * np.mean(kept):.1f} ({p})")
        print(f"| {k}, {m} | " + " | ".join(row) + " |", flush=True)


def visits(draws: int, rng: np.random.Generator) -> None:
    print(
        "\n## Visits: three of three power-ups, m 6; unit is the visit\n\n| cv of visits / of power-ups | false worse |\n|-|-|"
    )
    for cv_visit, cv_up, page in ((0, 0.5, ".2"), (0.3, 0.3, ".8"), (0.5, 0.5, "3.8"), (0.5, 1.0, "5.7")):
        wrong = 0
        for _ in range(draws):
            mood = rng.gamma(1 / cv_visit**2, cv_visit**2, 3) if cv_visit else np.ones(3)
            n = np.array([counts(rng, [6.0 * value] * 3, cv_up).sum() for value in mood])
            found = pu.rate_growth(n, np.ones(3), few=False)
            wrong += found.p_up <= LEVEL and found.factor >= 1.5
        print(f"| {cv_visit}/{cv_up} | {share(wrong, draws)} ({page}) |", flush=True)


def sizes(draws: int, rng: np.random.Generator) -> None:
    print(
        "\n## Sizes over power-ups, five each: false larger; power for threefold at sd .3\n\n| power-ups | sd of log .3 | .4 | .5 | .7 | x3 at .3 |\n|-|-|-|-|-|-|"
    )
    told5 = {3: ".4 1.1 2.4 5.6 24", 4: ".5 1.7 2.6 5.0 34", 5: "1.1 2.1 3.0 4.5 44", 8: "1.6 2.7 3.4 3.6 64"}
    for k, line in told5.items():
        row = []
        for sd, growth, page in zip((0.3, 0.4, 0.5, 0.7, 0.3), (1, 1, 1, 1, 3), line.split(), strict=True):
            hits = 0
            for _ in range(5 * draws):
                mood = rng.normal(0, sd, k) + math.log(growth) * np.linspace(0, 1, k)
                hits += pu.size_growth([np.exp(v + rng.normal(0, 0.4, 5)) for v in mood]).p_up <= LEVEL
            row.append(f"{share(hits, 5 * draws)} ({page})")
        print(f"| {k} | " + " | ".join(row) + " |", flush=True)


def warm_up(draws: int, rng: np.random.Generator) -> None:
    print("\n## Mostly while warming up: no pattern, bursts of mean 3, early share .2\n\n| power-ups | false |\n|-|-|")
    for k in (3, 5, 8):
        wrong = 0
        for _ in range(5 * draws):
            bursts = rng.poisson(3.0, k)
            sizes = [rng.geometric(1 / 3, b) for b in bursts]
            early = [int(s[rng.random(s.size) < 0.2].sum()) for s in sizes]
            whole = [int(s.sum()) for s in sizes]
            wrong += sum(whole) > 0 and pu.early_share_test(early, whole, 0.2).p_value <= LEVEL
        print(f"| {k} | {share(wrong, 5 * draws)} (at most 2.6) |", flush=True)


def provoked(draws: int, rng: np.random.Generator) -> None:
    print(
        "\n## Provoked: 12 taps, one a minute from the first minute on; rate decaying with a time constant\n\n| | false |\n|-|-|"
    )
    for tau in (200.0, 600.0):
        wrong = 0
        for _ in range(5 * draws):
            events = np.sort(rng.exponential(tau, rng.poisson(40)))
            wrong += pu.provoked_test(events[events < 3600], 60.0 + 60.0 * np.arange(12), 5.0, 3600.0).p_value <= LEVEL
        print(f"| {tau:.0f} s | {share(wrong, 5 * draws)} (at most 1.4) |", flush=True)


def pages(draws: int, rng: np.random.Generator) -> None:
    """Pages of 1, 2 and 8 channels through the product's own question and Holm's correction over the page."""
    from flicker import Limits
    from flicker.evidence.findings import holm
    from flicker.evidence.questions import worsening
    from flicker.evidence.record.power_up_counts import PowerUpCounts

    limits = Limits()

    def said(means, cv, channels):
        seen, sizes = [], []
        for _ in range(channels):
            n = counts(rng, means, cv)
            mood = rng.normal(0, 0.4, n.size)
            sizes.append(pu.size_growth([np.exp(m + rng.normal(0, 0.4, k)) for m, k in zip(mood, n, strict=True)]))
            even = np.full(n.size, n.sum() / n.size)
            seen.append(PowerUpCounts(n, np.full(n.size, 3600.0), n, even, False))
        found = [worsening._worse_with_age(k, seen, limits) for k in range(channels)]
        asked = [(f.p_value, f.holds) for f in found if f.p_value is not None]
        asked += [(s.p_up, s.factor >= worsening.SIZE_FACTOR) for s, c in zip(sizes, seen, strict=True) if c.episodes.sum() >= 5]
        adjusted = holm([p for p, _ in asked])
        return any(held and p <= 1.0 - limits.confidence for p, (_, held) in zip(adjusted, asked, strict=True))

    print("\n## Error per page: 'degrading' of any channel, two questions a channel, Holm at 5 %, m 6; sizes differ by .4\n")
    print("| power-ups, cv | 1 channel | 2 | 8 |\n|-|-|-|-|")
    for k, cv, page in ((5, 0.5, "3-6 2-4 1-5"), (8, 0.5, "3-6 2-4 1-5"), (5, 1.0, "5-7 4-6 2-6")):
        row = []
        for channels, told in zip((1, 2, 8), page.split(), strict=True):
            wrong = sum(said([6.0] * k, cv, channels) for _ in range(draws if channels < 8 else draws // 2))
            row.append(f"{share(wrong, draws if channels < 8 else draws // 2)} ({told})")
        print(f"| {k}, {cv} | " + " | ".join(row) + " |", flush=True)


def rare(draws: int, rng: np.random.Generator) -> None:
    """A fault that shows in some power-ups only, which no gamma factor describes; and what growth and falls are still found."""
    def told(claims):
        return share(sum(claims() for _ in range(draws)), draws)

    def bad(k, chance):
        return np.where(rng.random(k) < chance, rng.poisson(24, k), 0)

    def one_of_eight():
        n = np.zeros(8, dtype=int)
        n[rng.integers(8)] = rng.poisson(15)
        return worse(n)

    print("\n## One bad power-up: false claims, and power where power-ups differ by a gamma factor\n")
    print("| case | said |\n|-|-|")
    print(f"| worse with age: one of eight power-ups bad (mean 15), the others clean | {told(one_of_eight)} |")
    for before, after in ((6, 3), (3, 3), (5, 5)):
        print(f"| improved: a third of power-ups bad (mean 24), {before}:{after} | {told(lambda: changed(bad(before, 1 / 3), bad(after, 1 / 3))[0])} |", flush=True)  # noqa: B023
    for k, factor, cv in ((4, 8, 0.3), (5, 8, 0.3), (5, 8, 0.5), (3, 16, 0.0)):
        means = 6.0 * factor ** np.linspace(-0.5, 0.5, k)
        print(f"| worse with age: x{factor} over {k} power-ups, cv {cv} | {told(lambda: worse(counts(rng, means, cv)))} |", flush=True)  # noqa: B023
    for mean, k, cv in ((1, 2, 0.5), (1, 3, 0.5), (0, 3, 0.7)):
        print(f"| improved: {k}:{k}, mean 10 to {mean}, cv {cv} | {told(lambda: changed(counts(rng, [10] * k, cv), counts(rng, [mean] * k, cv))[0])} |", flush=True)  # noqa: B023


def forecast(draws: int, rng: np.random.Generator) -> None:
    """The next unit's count within the forecast range of 95 %, from the fifth visit (or power-up) on."""
    print("\n## The next unit: count within the range of 95 %; in brackets the middle upper end over the lower\n")
    print("| units seen, growth of each | cv 0 | .3 | .5 | 1 |\n|-|-|-|-|-|")
    for k, growth in ((3, 1.5), (5, 1.0), (5, 1.5), (8, 1.25)):
        row = []
        for cv in (0, 0.3, 0.5, 1.0):
            inside, wide, made = 0, [], 0
            while made < draws:
                n = counts(rng, 4.0 * growth ** np.arange(k + 1.0), cv)
                if n[:k].sum() < 5:
                    continue
                made += 1
                found = pu.growth_forecast(n[:k], np.ones(k), at=k, planned=1.0)
                inside += found.low <= n[k] <= found.high
                wide.append(found.high / max(found.low, 1))
            row.append(f"{share(inside, draws)} ({np.median(wide):.0f})")
        print(f"| {k}, {growth} | " + " | ".join(row) + " |", flush=True)


def clean(draws: int, rng: np.random.Generator) -> None:
    """A unit at just the rate of concern: how often so many clean power-ups come (5 % at most), the Poisson hours beside."""
    print("\n## A rate of concern of .1 per hour is not excluded: all planned power-ups clean, by the law; in brackets 30 h\n")
    print("| each | power-ups | cv 0 | .5 | 1 |\n|-|-|-|-|-|")
    for each in (1.0, 2.0, 4.0, 10.0, 30.0):
        m, row = 0.1 * each, []
        planned, hours = pu.clean_power_ups(m), math.ceil(-math.log(0.05) / m)
        for cv in (1e-6, 0.5, 1.0):
            kept = [100 * math.exp(-k * math.log1p(cv**2 * m) / cv**2) for k in (planned, hours)]
            row.append(f"{kept[0]:.1f} ({kept[1]:.1f})")
        print(f"| {each:g} h | {planned} ({hours}) | " + " | ".join(row) + " |", flush=True)


SECTIONS = (
    age, age_power, compare, compare_power, rate, soak, visits, sizes, warm_up, provoked, pages, rare, forecast, clean,
)  # fmt: skip


def main(draws: int, wanted: list[str]) -> None:
    print("# Claims over power-ups: error, power, coverage\n")
    print(
        f"Made by `python tests/studies/study_power_ups.py {draws}`; {draws} draws a cell (standard error up to "
        f"{100 * math.sqrt(0.03 * 0.97 / draws):.1f} points at 3 %, {100 * math.sqrt(0.25 / draws):.1f} at 50 %), one-sided at "
        "2.5 %, in %. In brackets: the figures of the project page on which the rules rest.\n"
    )
    for number, section in enumerate(SECTIONS):
        if not wanted or section.__name__ in wanted:
            section(draws, np.random.default_rng([20_261_126, number]))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000, sys.argv[2:])
