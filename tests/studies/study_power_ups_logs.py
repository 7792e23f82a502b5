"""Claims over power-ups through the whole program: simulated logs, detector, `assess`, `compare` and `over_visits`.

    python tests/studies/study_power_ups_logs.py run --first 0 --n 100 --out parts.jsonl [--only TEXT ...]
    python tests/studies/study_power_ups_logs.py table parts.jsonl [more.jsonl ...]

`run` draws the units FIRST to FIRST + N - 1 of every row whose name holds one of the texts, and appends one line of JSON
for each ten units of a row; parts with other seeds, also from processes side by side into files of their own, are added
by `table`. A unit follows from its row and number alone. Beside what the program says stands, where it is simple, what
the engine says of the very counts that were drawn. All data are invented.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import sys
import time
import zlib
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
import arrival_makers as am

from flicker import assess, compare, over_visits, plan_soak, read_log
from flicker.logs.model import Log
from flicker.stats import power_ups as pu

SEED = 20_261_127
EACH = 10  # units of one line


def log(rng, times, name, hours=1.0, sizes=None, step_s=0.5):
    """One power-up, by default at 2 readings a second, with swings of two readings at these times, a list for each channel."""
    when = np.arange(int(hours * 3600 / step_s)) * step_s
    start = 0.08 * np.exp(-when / 5.0) + 0.004
    volts = {}
    for k, places in enumerate(times):
        v = start + 0.0005 * rng.standard_normal(when.size)
        heights = rng.lognormal(-2.2, 0.2, len(places)) if sizes is None else sizes[k]
        first = np.ceil(np.asarray(places) / step_s).astype(int)
        for at, height in zip(first, heights, strict=True):
            v[at : at + 2] += height
        volts["left" if k == 0 else f"ch{k}"] = v
    return Log.from_arrays(when, volts, name=name)


def scatter(rng, cv, n):
    return rng.gamma(1 / cv**2, cv**2, n) if cv else np.ones(n)


def unit(rng, means, cv, stage="log", channels=1, step_s=0.5):
    """Power-ups of an hour whose counts have these means, and differ by themselves; and the counts."""
    factor = [scatter(rng, cv, len(means)) for _ in range(channels)]
    counts = [[int(rng.poisson(m * f[k])) for f in factor] for k, m in enumerate(means)]
    logs = [
        log(rng, [rng.uniform(60.0, 3580.0, n) for n in row], f"{stage} {k}", step_s=step_s) for k, row in enumerate(counts)
    ]
    return logs, np.array(counts).T


def degrading(rng, means, cv, channels=1, step_s=0.5):
    """Whether any channel of the page is called degrading, and by what; by counts: its first step of Holm's correction."""
    logs, counts = unit(rng, means, cv, channels=channels, step_s=step_s)
    found = [item for item in assess(logs).channels if item.verdict == "degrading"]
    said = " and ".join(sorted({str(item.tail_kind) for item in found})) or "other"
    level = 0.05 / (2 * channels)
    grown = [pu.rate_growth(n, np.ones(n.size)) for n in counts if n.sum() >= 5] if len(means) > 2 else []
    return said, "claim" if any(g.p_up <= level and g.factor >= 1.5 for g in grown) else "none"


def changed(rng, before, after, cv):
    """The outcome of a comparison of rates; by counts: the engine's at 2.5 % a direction."""
    one, n0 = unit(rng, before, cv, "before")
    two, n1 = unit(rng, after, cv, "after")
    got = compare(one, two).channels[0]
    found = pu.rate_comparison(n0[0], np.ones(len(before)), n1[0], np.ones(len(after))) if n0.sum() + n1.sum() else None
    counted = "no change shown"
    if found is not None and found.p_down <= 0.025:
        counted = "improved"
    elif found is not None and found.p_up <= 0.025:
        counted = "worse"
    said = str(got.outcome)
    return said if said == "no change shown" else f"{said} by {got.aspect}", counted


def visited(rng, means, power_ups, cv_visit, cv):
    """What is said of the rate over visits a quarter of a year apart; visits differ, and so do power-ups within them."""
    mood = scatter(rng, cv_visit, len(means))
    made = [
        (dt.date(2031, 1, 1) + dt.timedelta(days=91 * k), unit(rng, [m * f / power_ups] * power_ups, cv, f"visit {k}")[0])
        for k, (m, f) in enumerate(zip(means, mood, strict=True))
    ]
    return f"rate {over_visits(made).channels[0].rate.answer}", ""


def covered(rng, means, cv):
    logs, counts = unit(rng, means, cv)
    rate = assess(logs).channels[0].rate
    found = pu.mean_rate(counts[0], np.ones(len(means)))
    inside = [low <= means[0] <= high for low, high in ((rate.low_per_hour, rate.high_per_hour), (found.low, found.high))]
    return tuple("covered" if held else "missed" for held in inside)


def within(rng, name):
    """One power-up of four hours of a kind of `arrival_makers`; its verdict."""
    times, sizes = (am.NULLS | am.GROWING)[name](rng, 4.0)
    found = assess([log(rng, [times], name, 4.0, [sizes])]).channels[0]
    said = str(found.verdict)
    return f"{said}: {found.tail_kind}" if said == "degrading" else said, ""


def resized(rng, sd):
    """Sizes before and after, two evenings a side of ten swings, that differ between evenings by ``sd`` of log."""
    made = []
    for k in range(4):
        heights = rng.lognormal(-2.0, 0.2, 10) * rng.lognormal(0.0, sd)
        made.append(log(rng, [rng.uniform(60.0, 3580.0, 10)], f"evening {k}", sizes=[np.clip(heights, 0.06, 5.0)]))
    return f"size {compare(made[:2], made[2:]).channels[0].size_change.answer}", ""


def alike(rng):
    """One run of four hours with bursts of three to five swings of like size, 30 s apart: whether 'larger' is found."""
    times, heights = [], []
    for begin in np.sort(rng.uniform(60.0, 14_000.0, 10)):
        n = int(rng.integers(3, 6))
        times.append(begin + 30.0 * np.arange(n))
        heights.append(rng.lognormal(-2.0, 0.4) * rng.lognormal(0.0, 0.1, n))
    found = assess([log(rng, [np.concatenate(times)], "bursts", 4.0, [np.concatenate(heights)])]).channels[0]
    return f"larger {found.finding('larger').answer}", ""


def tapped(rng, tau_s):
    """Twelve taps, one a minute from the first minute on, which provoke nothing; the rate decays after switch-on."""
    when = np.arange(7200) * 0.5
    times = np.sort(rng.exponential(tau_s, rng.poisson(30)))
    volts = 0.004 + 0.0005 * rng.standard_normal(when.size) + 0.08 * np.exp(-when / 5.0)
    for at in times[(times > 10.0) & (times < 3580.0)]:
        volts[(when >= at) & (when < at + 1.0)] += rng.lognormal(-2.0, 0.2)
    mark = np.full(when.size, "", dtype=object)
    mark[[int(120 * k) for k in range(1, 13)]] = "stimulus: tap"
    stamps = np.datetime64("2031-03-03T09:00:00.000", "ms") + (1000 * when).astype("timedelta64[ms]")
    found = assess([read_log({"time": stamps, "left_V": np.round(volts, 5), "mark": mark})]).channels[0]
    return f"provoked {found.finding('provoked').answer}", ""


def kept(rng, power_ups, mean, cv):
    """Whether the soak planned from the logs at 95 % shows the fault again; logs without an episode are drawn again."""
    counts = np.zeros((1, power_ups))
    while counts.sum() == 0:
        logs, counts = unit(rng, [mean] * power_ups, cv)
    planned = plan_soak(logs=logs).power_ups_needed.power_ups
    seen = rng.poisson(mean * scatter(rng, cv, planned)).sum()
    return "kept" if seen else "missed", ""


def geometric(factor, k):
    return list(6.0 * factor ** np.linspace(-0.5, 0.5, k))


WITHIN = (
    "Poisson, 6 per h", "bursts of 3, gaps 4 s", "bursts of 3, gaps 45 s", "bursts of 5, gaps 15 s", "bursts of 8, gaps 45 s",
    "bursts of 8, gaps 120 s", "geometric bursts, mean 3, gaps 10 s", "self-exciting .6, 60 s", "self-exciting .7, 300 s",
    "renewal lognormal 1.5", "rate decays, 20 min", "rate x8, 40", "rate, power law 3", "size x3, 40",
)  # fmt: skip
Row = tuple[Callable[[np.random.Generator], tuple[str, str]], str]
ROWS: dict[str, Row] = {
    **{f"age: no change, {k} power-ups of mean 6, cv {cv}": (lambda r, k=k, cv=cv: degrading(r, [6] * k, cv), f"{p} %")
       for k, cv, p in ((3, 0.5, ".5"), (4, 0.5, "2.1"), (5, 0.5, "2.6"), (8, 0.5, "2.6"), (4, 0.7, "3.4"), (5, 0.7, "3.2"), (3, 1.0, "2.2"), (4, 1.0, "6.8"), (5, 1.0, "5.3"))},
    "age: means 2, 3, 5, 9, 15": (lambda r: degrading(r, [2, 3, 5, 9, 15], 0.0), "77 to 86 %"),
    "age: x8 over 5 power-ups, cv .3": (lambda r: degrading(r, geometric(8, 5), 0.3), "77 %"),
    "age: x8 over 8 power-ups, cv .3": (lambda r: degrading(r, geometric(8, 8), 0.3), "91 to 93 %"),
    **{f"compare: no change, {a}:{b} of mean 10, cv {cv}": (lambda r, a=a, b=b, cv=cv: changed(r, [10] * a, [10] * b, cv), f"{p} % in all")
       for a, b, cv, p in ((1, 1, 0.5, ".4"), (1, 1, 1.0, "6.8"), (2, 2, 0.5, "4.3"), (2, 2, 0.7, "9.2"), (3, 3, 0.5, "6.2"))},
    "compare: 2:2, mean 10 to 1, cv 0": (lambda r: changed(r, [10] * 2, [1] * 2, 0.0), "94 %"),
    "compare: 2:2, mean 10 to none, cv 0": (lambda r: changed(r, [10] * 2, [0] * 2, 0.0), "100 %"),
    "visits: no change, 2 of 2 power-ups of mean 6, cv of power-ups 1": (lambda r: visited(r, [12] * 2, 2, 0.0, 1.0), "was 28 %"),
    "visits: no change, 3 of 1 power-up of mean 6, cv .5": (lambda r: visited(r, [6] * 3, 1, 0.0, 0.5), ".5 % a direction"),
    "visits: no change, 3 of 3 power-ups of mean 6, cv .3/.3": (lambda r: visited(r, [18] * 3, 3, 0.3, 0.3), ".8 %"),
    "visits: no change, 3 of 3 power-ups of mean 6, cv .5/.5": (lambda r: visited(r, [18] * 3, 3, 0.5, 0.5), "3.8 %"),
    "visits: 5 of 1 power-up, means 2, 3, 5, 9, 15": (lambda r: visited(r, [2, 3, 5, 9, 15], 1, 0.0, 0.0), "77 to 86 % (was 23 to 35)"),
    "visits: x8 over 5 of 2 power-ups of mean 3, cv 0/.3": (lambda r: visited(r, geometric(8, 5), 2, 0.0, 0.3), "85 to 99 %"),
    **{f"page: {n} channel{'s' * (n > 1)}, no change, 5 power-ups of mean 6, cv {cv}": (lambda r, n=n, cv=cv: degrading(r, [6] * 5, cv, n, 2.0), p)
       for n, cv, p in ((1, 0.5, "3-6 %"), (2, 0.5, "2-4 %"), (8, 0.5, "1-5 %"), (1, 1.0, "5-7 %"), (2, 1.0, "4-6 %"), (8, 1.0, "2-6 %"))},
    "rate: 2 power-ups of mean 10, cv .5": (lambda r: covered(r, [10] * 2, 0.5), "96 %"),
    "rate: 3 power-ups of mean 10, cv .5": (lambda r: covered(r, [10] * 3, 0.5), "96 %"),
    "rate: 5 power-ups of mean 10, cv 1": (lambda r: covered(r, [10] * 5, 1.0), "91 %"),
    **{f"rate: 2 power-ups of mean 10, cv {cv}": (lambda r, cv=cv: covered(r, [10] * 2, cv), p) for cv, p in ((1.0, "91 %"),)},
    **{f"soak: promised 95 %, 3 power-ups of mean 3, cv {cv}": (lambda r, cv=cv: kept(r, 3, 3.0, cv), p) for cv, p in ((0.5, "97-100 %"), (1.0, "93-95 %"))},
    **{f"sizes: two evenings a side that differ by sd {sd} of log": (lambda r, sd=sd: resized(r, sd), f"was {p} %") for sd, p in ((0.3, 32), (0.5, 52))},
    "larger: one run of bursts of 3 to 5 alike swings": (alike, "was 15 %"),
    "provoked: nothing is, the rate decays in 600 s": (lambda r: tapped(r, 600.0), "was 16 %"),
    **{f"within: one power-up of 4 h, {name}": (lambda r, name=name: within(r, name), "") for name in WITHIN},
}  # fmt: skip


def run(first: int, n: int, out: Path, only: list[str], minutes: float) -> None:
    """Append the units of every row, ten at a time; all rows advance together, and stop when the minutes are over."""
    from flicker import __version__

    end = time.monotonic() + 60.0 * minutes
    rows = [name for name in ROWS if not only or any(text in name for text in only)]
    for begin in range(first, first + n, EACH):
        for name in rows:
            if time.monotonic() > end:
                return
            numbers = list(range(begin, min(begin + EACH, first + n)))
            got = [ROWS[name][0](np.random.default_rng([SEED, zlib.crc32(name.encode()), k])) for k in numbers]
            line = {"row": name, "units": numbers, "said": [a for a, _ in got], "counts": [b for _, b in got], "version": __version__}
            with out.open("a") as file:
                file.write(json.dumps(line) + "\n")


def table(paths: list[Path]) -> str:
    """Add the parts: each unit once."""
    seen: dict[str, dict[int, tuple[str, str]]] = {}
    for path in paths:
        for text in path.read_text().splitlines():
            line: dict[str, Any] = json.loads(text)
            rows = seen.setdefault(line["row"], {})
            rows.update(zip(line["units"], zip(line["said"], line["counts"], strict=True), strict=True))
    lines = ["| case | units | said | the engine on the counts drawn | expected on counts |", "|-|-|-|-|-|"]
    for name in ROWS:
        if name in seen:
            both = list(seen[name].values())
            cells = [_shares([pair[k] for pair in both]) for k in (0, 1)]
            lines.append(f"| {name} | {len(both)} | {cells[0]} | {cells[1]} | {ROWS[name][1]} |")
    return "\n".join(lines)


def _shares(words: list[str]) -> str:
    found = Counter(word for word in words if word)
    return ", ".join(f"{word} {n} ({100 * n / len(words):.1f} %)" for word, n in sorted(found.items()))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ways = parser.add_subparsers(dest="way", required=True)
    made = ways.add_parser("run")
    made.add_argument("--first", type=int, required=True)
    made.add_argument("--n", type=int, required=True)
    made.add_argument("--out", type=Path, required=True)
    made.add_argument("--only", nargs="*", default=[])
    made.add_argument("--minutes", type=float, default=600.0)
    added = ways.add_parser("table")
    added.add_argument("parts", type=Path, nargs="+")
    told = parser.parse_args()
    if told.way == "run":
        run(told.first, told.n, told.out, told.only, told.minutes)
    else:
        print(table(told.parts))


if __name__ == "__main__":
    main()
