"""Error, power and coverage of claims over power-ups, through the product's own functions, on counts.

Power-ups differ by a gamma factor of mean 1 and coefficient of variation cv; m is the mean number of episodes of one.
One-sided at 2.5 %, in %; in brackets the figure of the project's page on which the rules rest, with a star where both lie
apart by more than three standard errors.

    python tests/studies/study_power_ups.py DRAWS SEED [section ...]
"""

from __future__ import annotations

import math
import sys

import numpy as np

from flicker.stats import power_ups as pu

LEVEL = 0.025
PAGE_DRAWS = 1000  # of a cell of the page on which the rules rest, about


def counts(rng, mean, cv, form="gamma"):
    """Counts of power-ups with these means, whose factors are gamma or lognormal."""
    mean = np.asarray(mean, dtype=float)
    if not cv:
        return rng.poisson(mean)
    if form == "lognormal":
        sd = math.sqrt(math.log1p(cv**2))
        return rng.poisson(mean * rng.lognormal(-0.5 * sd**2, sd, mean.size))
    return rng.poisson(mean * rng.gamma(1 / cv**2, cv**2, mean.size))


def worse(n, e=None, beside=()):
    if n.sum() < 5:
        return False
    found = pu.rate_growth(n, np.ones(n.size) if e is None else e, beside=beside)
    return found.p_up <= LEVEL and found.factor >= 1.5


def changed(before, after, e0=None, e1=None):
    """Improved, worse, and whether the interval holds 1."""
    if before.sum() + after.sum() == 0:
        return False, False, True
    found = pu.rate_comparison(
        before, np.ones(before.size) if e0 is None else e0, after, np.ones(after.size) if e1 is None else e1
    )
    return found.p_down <= LEVEL, found.p_up <= LEVEL, found.low <= 1.0 <= found.high


def share(hits, draws):
    return f"{100 * hits / draws:.1f}"


def cell(hits, draws, page):
    """Share in %, the page's figure, and a star where both lie apart by more than three standard errors (beyond it, where the page says 'at most')."""
    told = page.removeprefix("<")
    p, q = hits / draws, float(told) / 100
    error = math.sqrt(sum(max(x * (1 - x), 0.5 / n) / n for x, n in ((p, draws), (q, PAGE_DRAWS))))
    apart = p - q if page.startswith("<") else abs(p - q)
    return f"{share(hits, draws)}{'*' if apart > 3 * error else ''} ({'at most ' if page.startswith('<') else ''}{told})"


def heading(title, columns):
    print(f"\n## {title}\n\n| {' | '.join(columns)} |\n{'|-' * len(columns)}|")


def row(name, cells):
    print(f"| {name} | " + " | ".join(cells) + " |", flush=True)


def geometric(factor, k):
    return 6.0 * factor ** np.linspace(-0.5, 0.5, k)


def age(draws: int, rng: np.random.Generator) -> None:
    heading("Worse with age, no change, m 6", ("power-ups", "cv 0", ".3", ".5", ".7", "1"))
    told = {3: "0 .1 .5 1.5 2.2", 4: "0 .9 2.1 3.4 6.8", 5: ".3 1.0 2.6 3.2 5.3", 8: ".8 1.6 2.6 4.0 5.7", 15: ".9 - 3.0 - 3.5"}
    for k, line in told.items():
        cells = [
            "" if page == "-" else cell(sum(worse(counts(rng, [6.0] * k, cv)) for _ in range(draws)), draws, page)
            for cv, page in zip((0, 0.3, 0.5, 0.7, 1.0), line.split(), strict=True)
        ]
        row(k, cells)
    heading("Elsewhere, five power-ups without a change", ("", "cv .5", ".7", "1"))
    lengths = 10.0 ** np.linspace(-0.5, 0.5, 5)
    for name, mean, form, e in (
        ("m 3", 3.0, "gamma", np.ones(5)), ("m 30", 30.0, "gamma", np.ones(5)), ("m 6, lognormal", 6.0, "lognormal", np.ones(5)),
        ("m 6, lengths growing 1:10", 6.0, "gamma", lengths),
    ):  # fmt: skip
        row(name, [cell(sum(worse(counts(rng, mean * e, cv, form), e) for _ in range(draws)), draws, page)
                   for cv, page in ((0.5, "<3.4"), (0.7, "<4.8"), (1.0, "<7.8"))])  # fmt: skip


def age_power(draws: int, rng: np.random.Generator) -> None:
    heading("Worse with age, growth by a factor from first to last (geometric, 6 in the middle)", ("", "cv 0", "cv .3"))
    told = ((3, 8, "28 32"), (3, 16, "70 63"), (4, 4, "35 33"), (4, 8, "83 68"), (5, 4, "47 42"), (5, 8, "91 77"), (8, 4, "73 58"), (8, 8, "99 93"))
    for k, factor, line in told:
        row(f"{k} power-ups x{factor}", [cell(sum(worse(counts(rng, geometric(factor, k), cv)) for _ in range(draws)), draws, p)
                                         for cv, p in zip((0, 0.3), line.split(), strict=True)])  # fmt: skip
    row("means 2, 3, 5, 9, 15", [cell(sum(worse(counts(rng, [2, 3, 5, 9, 15], cv)) for _ in range(draws)), draws, p) for cv, p in ((0, "86"), (0.3, "74"))])
    row("the same at cv .5", ["", cell(sum(worse(counts(rng, [2, 3, 5, 9, 15], 0.5)) for _ in range(draws)), draws, "59")])
    heading("A second channel of the same power-ups helps to tell how they differ; x4, cv 0", ("power-ups", "alone", "beside a channel of mean 6"))
    for k, alone, two in ((4, "37", "46"), (5, "48", "58")):
        got = []
        for _ in range(draws):
            n, other = counts(rng, geometric(4, k), 0), counts(rng, [6.0] * k, 0)
            got.append((worse(n), worse(n, beside=[(other, np.ones(k), None)])))
        row(k, [cell(sum(part), draws, p) for part, p in zip(zip(*got, strict=True), (alone, two), strict=True)])


def compare(draws: int, rng: np.random.Generator) -> None:
    told2 = {
        (1, 1): "0/0 .3/.1 2.0/.4 3.3/3.5", (2, 1): "0/0 .7/.5 2.4/2.5 3.3/5.2", (1, 3): "0/0 1.5/1.8 2.8/3.0 6.0/2.2",
        (2, 2): ".3/.1 2.2/2.1 4.8/4.4 7.6/6.6", (3, 3): ".3/.3 3.1/3.1 4.6/4.1 4.1/5.5", (5, 5): ".3/.3 1.9/3.3 2.8/2.4 4.1/4.0",
    }  # fmt: skip
    heading("Before and after, no change, m 10: false improved, worse; how often the interval of the ratio holds 1",
            ("before:after", "cv 0", ".5", ".7", "1", "holds 1 at cv 0, .5, 1"))  # fmt: skip
    for (k0, k1), line in told2.items():
        cells, held = [], []
        for cv, page in zip((0, 0.5, 0.7, 1.0), line.split(), strict=True):
            got = np.array([changed(counts(rng, [10.0] * k0, cv), counts(rng, [10.0] * k1, cv)) for _ in range(draws)])
            cells.append(", ".join(cell(got[:, i].sum(), draws, p) for i, p in enumerate(page.split("/"))))
            held.append(share(got[:, 2].sum(), draws))
        row(f"{k0}:{k1}", [*cells, f"{held[0]}, {held[1]}, {held[3]} (97-100, 93-98, 85-97)"])
    for name, e in (("2:2, lengths 1:10", np.array([1.0, 10.0])), ("3:3, lengths 1:10", np.array([1.0, 3.0, 10.0]))):
        cells = [""]
        for cv, most in ((0.5, "<3.3"), (0.7, ""), (1.0, "<8.9")):
            got = np.array([changed(counts(rng, 10.0 * e / e.mean(), cv), counts(rng, 10.0 * e / e.mean(), cv), e, e) for _ in range(draws)])
            cells.append(", ".join(cell(got[:, i].sum(), draws, most) if most else share(got[:, i].sum(), draws) for i in (0, 1)))
        row(name, [*cells, ""])


def compare_power(draws: int, rng: np.random.Generator) -> None:
    heading("Before and after, m 10 before, power at cv 0", ("before:after", "ratio .1", "ratio 0", "ratio .3"))
    told3 = {(1, 1): "16 41 -", (2, 1): "37 81 -", (1, 3): "73 100 -", (2, 2): "94 100 47", (3, 3): "100 100 75", (5, 5): "100 100 96"}
    for (k0, k1), line in told3.items():
        cells = []
        for ratio, page in zip((0.1, 0.0, 0.3), line.split(), strict=True):
            hits = sum(changed(counts(rng, [10.0] * k0, 0), counts(rng, [10.0 * ratio] * k1, 0))[0] for _ in range(draws))
            cells.append(share(hits, draws) if page == "-" else cell(hits, draws, page))
        row(f"{k0}:{k1}", cells)


def rate(draws: int, rng: np.random.Generator) -> None:
    heading("Rate: coverage of the 95 % interval, m 10; after it the middle upper over the lower limit", ("power-ups", "cv 0", ".3", ".5", "1"))
    told4 = {2: "100 100 96 91", 3: "100 98 96 91", 5: "99 98 96 91", 8: "99 97 96 93", 15: "99 97 95 94"}
    wide = {2: "12 13 17 46", 3: "4.0 4.7 6.2 15", 5: "2.3 2.6 3.5 7.2", 8: "1.8 2.0 2.6 4.9", 15: "1.5 1.6 1.9 3.1"}
    for k, line in told4.items():
        cells = []
        for cv, page, span in zip((0, 0.3, 0.5, 1.0), line.split(), wide[k].split(), strict=True):
            found = [pu.mean_rate(counts(rng, [10.0] * k, cv), np.ones(k)) for _ in range(2 * draws)]
            middle = np.median([f.high / f.low if f.low else math.inf for f in found])
            cells.append(f"{cell(sum(f.low <= 10.0 <= f.high for f in found), 2 * draws, page)}; {middle:.3g} ({span})")
        row(k, cells)


def soak(draws: int, rng: np.random.Generator) -> None:
    print(
        "\n## Soak: promised 95 %, kept (logs without an episode plan nothing and are drawn again)\n\n| power-ups, m | cv 0 | .5 | 1 | 1.4 |\n|-|-|-|-|-|"
    )
    for k, m, page in ((1, 5, "98-100 97-100 93-95 86-92"), (3, 3, "98-100 97-100 93-95 86-92"), (5, 1, "98-100 97-100 93-95 86-92")):
        cells = []
        for cv, p in zip((0, 0.5, 1.0, 1.4), page.split(), strict=True):
            kept = []
            while len(kept) < 2 * draws:
                n = counts(rng, [float(m)] * k, cv)
                if n.sum() == 0:
                    continue
                plan = pu.power_ups_to_see(n, np.ones(k)).power_ups
                # chance that the planned power-ups show at least one episode, in closed form
                kept.append(1 - (math.exp(-m * plan) if not cv else (1 + cv**2 * m) ** (-plan / cv**2)))
            cells.append(f"{100 * np.mean(kept):.1f} ({p})")
        row(f"{k}, {m}", cells)


def visits(draws: int, rng: np.random.Generator) -> None:
    def said(means, cv_visit, cv):
        mood = scattered(rng, cv_visit, len(means))
        n = np.array([counts(rng, [mean * value] * 3, cv).sum() for mean, value in zip(means, mood, strict=True)])
        found = pu.rate_growth(n, np.ones(n.size), few=False)
        return found.p_up <= LEVEL and found.factor >= 1.5

    heading("Visits of three power-ups, m 6; unit is the visit", ("cv of visits / of power-ups", "false worse"))
    for cv_visit, cv, page in ((0, 0.5, ".2"), (0.3, 0.3, ".8"), (0.5, 0.5, "3.8"), (0.5, 1.0, "5.7")):
        row(f"{cv_visit}/{cv}", [cell(sum(said([6.0] * 3, cv_visit, cv) for _ in range(draws)), draws, page)])
    heading("Visits that grow from first to last", ("", "x4", "x8"))
    for k, line in ((3, "45 88"), (5, "79 99")):
        for cvs in ((0, 0.3), (0.3, 0.3)):
            cells = [share(sum(said(geometric(f, k), *cvs) for _ in range(draws)), draws) for f in (4, 8)]
            row(f"{k} visits, {cvs[0]}/{cvs[1]}", [f"{a} ({p})" for a, p in zip(cells, line.split(), strict=True)])


def scattered(rng, cv, k):
    return rng.gamma(1 / cv**2, cv**2, k) if cv else np.ones(k)


def sizes(draws: int, rng: np.random.Generator) -> None:
    heading("Sizes over power-ups, five each: false larger; power for threefold at sd .3", ("power-ups", "sd of log .3", ".4", ".5", ".7", "x3 at .3"))
    told5 = {3: ".4 1.1 2.4 5.6 24", 4: ".5 1.7 2.6 5.0 34", 5: "1.1 2.1 3.0 4.5 44", 8: "1.6 2.7 3.4 3.6 64"}
    for k, line in told5.items():
        cells = []
        for sd, growth, page in zip((0.3, 0.4, 0.5, 0.7, 0.3), (1, 1, 1, 1, 3), line.split(), strict=True):
            hits = 0
            for _ in range(2 * draws):
                mood = rng.normal(0, sd, k) + math.log(growth) * np.linspace(0, 1, k)
                hits += pu.size_growth([np.exp(v + rng.normal(0, 0.4, 5)) for v in mood]).p_up <= LEVEL
            cells.append(cell(hits, 2 * draws, page))
        row(k, cells)


def warm_up(draws: int, rng: np.random.Generator) -> None:
    def said(k, early, burst):
        """Fifteen episodes a power-up, in bursts of that mean length; each burst early with this chance, the time's share is .2 or .5."""
        chance, time_share = early
        lengths = [rng.geometric(1 / burst, rng.poisson(15.0 / burst)) for _ in range(k)]
        hit = [int(s[rng.random(s.size) < chance].sum()) for s in lengths]
        whole = [int(s.sum()) for s in lengths]
        return sum(whole) > 0 and pu.early_share_test(hit, whole, time_share).p_value <= LEVEL

    heading("Mostly while warming up: no pattern (early share .2), and fourfold rate early (early share .2, .5)",
            ("power-ups, bursts of", "false", "share .2", "share .5"))  # fmt: skip
    for k, burst, line in ((3, 1, "42 65"), (3, 3, "17 28"), (5, 1, "98 100"), (5, 3, "47 63"), (8, 1, "100 100"), (8, 3, "82 91")):
        false = cell(sum(said(k, (0.2, 0.2), burst) for _ in range(2 * draws)), 2 * draws, "<2.6")
        power = [f"{share(sum(said(k, (4 * p / (1 + 3 * p), p), burst) for _ in range(draws)), draws)} ({page})" for p, page in zip((0.2, 0.5), line.split(), strict=True)]
        row(f"{k}, {burst}", [false, *power])


def provoked(draws: int, rng: np.random.Generator) -> None:
    taps = 60.0 + 60.0 * np.arange(12)

    def said(tau, answered):
        events = rng.exponential(tau, rng.poisson(40)) if tau else rng.uniform(0, 3600, rng.poisson(20))
        events = np.concatenate((events, (taps + rng.uniform(0.2, 2.0, 12))[rng.random(12) < answered]))
        return pu.provoked_test(np.sort(events[events < 3600]), taps, 5.0, 3600.0).p_value <= LEVEL

    heading("Provoked: 12 taps, one a minute from the first minute on", ("rate", "nothing is provoked", "half are answered", ".3 are"))
    for name, tau, most, half, third in (("steady, 20 per hour", 0, "<1.4", "80", "44"), ("decaying, 200 s", 200.0, "<1.4", "45-95", "19-70"), ("decaying, 600 s", 600.0, "<1.4", "45-95", "19-70")):
        false = cell(sum(said(tau, 0) for _ in range(2 * draws)), 2 * draws, most)
        row(name, [false, *(f"{share(sum(said(tau, a) for _ in range(draws)), draws)} ({p})" for a, p in ((0.5, half), (0.3, third)))])


def pages(draws: int, rng: np.random.Generator) -> None:
    """Pages of 1, 2 and 8 channels through the product's own question and Holm's correction over the page."""
    from flicker import Limits
    from flicker.evidence.findings import holm
    from flicker.evidence.questions import worsening
    from flicker.evidence.record.power_up_counts import PowerUpCounts

    limits = Limits()

    def said(means, cv, channels, first=None):
        seen, sizes = [], []
        for place in range(channels):
            n = counts(rng, means if first is None or place else first, cv)
            mood = rng.normal(0, 0.4, n.size)
            sizes.append(pu.size_growth([np.exp(m + rng.normal(0, 0.4, k)) for m, k in zip(mood, n, strict=True)]))
            even = np.full(n.size, n.sum() / n.size)
            seen.append(PowerUpCounts(n, np.full(n.size, 3600.0), n, even, False))
        found = [worsening.worse_with_age(k, seen, limits) for k in range(channels)]
        asked = [(f.p_value, f.holds) for f in found if f.p_value is not None]
        asked += [(s.p_up, s.factor >= worsening.SIZE_FACTOR) for s, c in zip(sizes, seen, strict=True) if c.episodes.sum() >= 5]
        adjusted = holm([p for p, _ in asked])
        claims = [held and p <= 1.0 - limits.confidence for p, (_, held) in zip(adjusted, asked, strict=True)]
        return any(claims) if first is None else claims[0]

    heading("Error per page: 'degrading' of any channel, two questions a channel, Holm at 5 %, m 6; sizes differ by .4", ("power-ups, cv", "1 channel", "2", "8"))
    for k, cv, line in ((5, 0.5, "3-6 2-4 1-5"), (8, 0.5, "3-6 2-4 1-5"), (5, 1.0, "5-7 4-6 2-6"), (8, 1.0, "5-7 4-6 2-6")):
        row(f"{k}, {cv}", [f"{share(sum(said([6.0] * k, cv, n) for _ in range(draws)), draws)} ({page})"
                           for n, page in zip((1, 2, 8), line.split(), strict=True)])  # fmt: skip
    heading("Power of a page: the first channel grows x8, cv .3", ("power-ups", "1 channel", "2", "8"))
    for k, line in ((5, "78 58 24"), (8, "91 80 56")):
        row(k, [cell(sum(said([6.0] * k, 0.3, n, geometric(8, k)) for _ in range(draws)), draws, page)
                for n, page in zip((1, 2, 8), line.split(), strict=True)])  # fmt: skip


def rare(draws: int, rng: np.random.Generator) -> None:
    """A fault that shows in some power-ups only, which no gamma factor describes; and what growth and falls are still found."""
    def bad(k, chance):
        return np.where(rng.random(k) < chance, rng.poisson(24, k), 0)

    def one_of_eight():
        n = np.zeros(8, dtype=int)
        n[rng.integers(8)] = rng.poisson(15)
        return worse(n)

    def told(name, claims):
        row(name, [share(sum(claims() for _ in range(draws)), draws)])

    heading("One bad power-up: false claims, and power where power-ups differ by a gamma factor", ("case", "said"))
    told("worse with age: one of eight power-ups bad (mean 15), the others clean", one_of_eight)
    for k0, k1 in ((6, 3), (3, 3), (5, 5)):
        told(f"improved: a third of power-ups bad (mean 24), {k0}:{k1}", lambda k0=k0, k1=k1: changed(bad(k0, 1 / 3), bad(k1, 1 / 3))[0])
    for k, factor, cv in ((4, 8, 0.3), (5, 8, 0.3), (5, 8, 0.5), (3, 16, 0.0)):
        told(f"worse with age: x{factor} over {k} power-ups, cv {cv}", lambda k=k, f=factor, cv=cv: worse(counts(rng, geometric(f, k), cv)))
    for mean, k, cv in ((1, 2, 0.5), (0, 2, 0.7), (1, 3, 0.5), (0, 3, 0.7), (0, 5, 1.0)):
        told(f"improved: {k}:{k}, mean 10 to {mean}, cv {cv}",
             lambda mean=mean, k=k, cv=cv: changed(counts(rng, [10] * k, cv), counts(rng, [mean] * k, cv))[0])  # fmt: skip


def forecast(draws: int, rng: np.random.Generator) -> None:
    """The next unit's count within the forecast range of 95 %, from the fifth visit (or power-up) on."""
    heading("The next unit: count within the range of 95 %; in brackets the middle upper end over the lower", ("units seen, growth of each", "cv 0", ".3", ".5", "1"))
    for k, growth in ((3, 1.5), (5, 1.0), (5, 1.5), (8, 1.25)):
        cells = []
        for cv in (0, 0.3, 0.5, 1.0):
            inside, wide = 0, []
            while len(wide) < draws:
                n = counts(rng, 4.0 * growth ** np.arange(k + 1.0), cv)
                if n[:k].sum() < 5:
                    continue
                found = pu.growth_forecast(n[:k], np.ones(k), at=k, planned=1.0)
                inside += found.low <= n[k] <= found.high
                wide.append(found.high / max(found.low, 1))
            cells.append(f"{share(inside, draws)} ({np.median(wide):.0f})")
        row(f"{k}, {growth}", cells)


def clean(draws: int, rng: np.random.Generator) -> None:
    """A unit at just the rate of concern: how often so many clean power-ups come (5 % at most), the Poisson hours beside."""
    heading("A rate of concern of .1 per hour is not excluded: all planned power-ups clean, by the law; in brackets 30 h", ("each", "power-ups", "cv 0", ".5", "1"))
    for each in (1.0, 2.0, 4.0, 10.0, 30.0):
        m = 0.1 * each
        planned, hours = pu.clean_power_ups(m), math.ceil(-math.log(0.05) / m)
        cells = []
        for cv in (1e-6, 0.5, 1.0):
            kept = [100 * math.exp(-k * math.log1p(cv**2 * m) / cv**2) for k in (planned, hours)]
            cells.append(f"{kept[0]:.1f} ({kept[1]:.1f})")
        row(f"{each:g} h", [f"{planned} ({hours})", *cells])
    heading("Clean power-ups that exclude a mean of m each, at 95 %", ("c", "m .3", "1", "3", "10"))
    for c, page in ((0.0, "10 3 1 1"), (0.5, "11 4 2 1"), (1.0, "12 5 3 2")):
        row(c, [f"{pu.clean_power_ups(m, scatter=c)} ({p})" for m, p in zip((0.3, 1.0, 3.0, 10.0), page.split(), strict=True)])


SECTIONS = (
    age, age_power, compare, compare_power, rate, soak, visits, sizes, warm_up, provoked, pages, rare, forecast, clean,
)  # fmt: skip


def main(draws: int, seed: int, wanted: list[str]) -> None:
    error = [100 * math.sqrt(p * (1 - p) / draws) for p in (0.03, 0.5)]
    print(f"{draws} draws a cell, seed {seed} (standard error {error[0]:.1f} points at 3 %, {error[1]:.1f} at 50 %)")
    for number, section in enumerate(SECTIONS):
        if not wanted or section.__name__ in wanted:
            section(draws, np.random.default_rng([seed, number]))


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]), sys.argv[3:])
