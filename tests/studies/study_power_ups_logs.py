"""Claims over power-ups through the whole program: simulated logs, detector, `assess`, `compare` and `over_visits`.

Usage: python tests/studies/study_power_ups_logs.py UNITS MINUTES COMMIT OUT [GROUP ...]
Groups are those of `ROWS`. Rows are made in passes of ten units, each with its own seed, until UNITS a row or the
minutes are over; the table is written after each pass.
"""

from __future__ import annotations

import datetime as dt
import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
import arrival_makers as am

from flicker import assess, compare, over_visits
from flicker.logs.model import Log

SEED = 20_261_126


def log(rng, counts, name, hours=1.0):
    """One power-up of an hour at 2 readings a second, with so many swings of a second on each channel (invented)."""
    return drawn(rng, [rng.uniform(60.0, hours * 3600.0 - 20.0, count) for count in counts], name, hours)


def drawn(rng, times, name, hours, sizes=None):
    """One power-up with swings of a second at these times, a list for each channel."""
    when = np.arange(int(hours * 7200)) * 0.5
    volts = {}
    for k, places in enumerate(times):
        v = 0.004 + 0.0005 * rng.normal(size=when.size) + 0.08 * np.exp(-when / 5.0)
        heights = rng.lognormal(-2.2, 0.2, len(places)) if sizes is None else sizes[k]
        for at, height in zip(places, heights, strict=True):
            v[(when >= at) & (when < at + 1.0)] += height
        volts["left" if k == 0 else f"ch{k}"] = v
    return Log.from_arrays(when, volts, name=name)


def scatter(rng, cv, n):
    return rng.gamma(1 / cv**2, cv**2, n) if cv else np.ones(n)


def unit(rng, means, cv, stage="log", channels=1):
    factor = [scatter(rng, cv, len(means)) for _ in range(channels)]
    return [
        log(rng, [int(rng.poisson(m * f[k])) for f in factor], f"{stage} {k}") for k, m in enumerate(means)
    ]


def degrading(rng, means, cv, channels=1):
    """Whether any channel of the page is called degrading."""
    found = assess(unit(rng, means, cv, channels=channels)).channels
    return "degrading" if any(item.verdict == "degrading" for item in found) else "other"


def changed(rng, before, after, cv):
    return str(compare(unit(rng, before, cv, "before"), unit(rng, after, cv, "after")).channels[0].outcome)


def visited(rng, means, power_ups, cv_visit, cv):
    """What is said of the rate over visits a quarter of a year apart; visits differ, and so do power-ups within them."""
    mood = scatter(rng, cv_visit, len(means))
    made = [
        (dt.date(2031, 1, 1) + dt.timedelta(days=91 * k), unit(rng, [m * f / power_ups] * power_ups, cv, f"visit {k}"))
        for k, (m, f) in enumerate(zip(means, mood, strict=True))
    ]
    return f"rate {over_visits(made).channels[0].rate.answer}"


def covered(rng, means, cv):
    rate = assess(unit(rng, means, cv)).channels[0].rate
    return "covered" if rate.low_per_hour <= means[0] <= rate.high_per_hour else "missed"


def within(rng, name):
    """One power-up of four hours of a kind of `arrival_makers`; 'degrading' or not."""
    times, sizes = (am.NULLS | am.GROWING)[name](rng, 4.0)
    found = assess([drawn(rng, [times], name, 4.0, [sizes])]).channels[0]
    return str(found.verdict)


def geometric(factor, k):
    return list(6.0 * factor ** np.linspace(-0.5, 0.5, k))


WITHIN = (
    "Poisson, 6 per h", "bursts of 3, gaps 4 s", "bursts of 3, gaps 45 s", "bursts of 5, gaps 15 s", "bursts of 8, gaps 45 s",
    "geometric bursts, mean 3, gaps 10 s", "self-exciting .6, 60 s", "renewal lognormal 1.5", "rate decays, 20 min",
    "rate x8, 40", "rate, power law 3", "size x3, 40",
)  # fmt: skip
ROWS = {
    "age": [
        *((f"degrading, no change, {k} power-ups of mean 6, cv .5", lambda r, k=k: degrading(r, [6] * k, 0.5), f"{p} % on counts")
          for k, p in ((3, ".5"), (4, "2.1"), (5, "2.6"), (8, "2.6"))),
        ("degrading, no change, 3 power-ups of mean 6, cv 1", lambda r: degrading(r, [6] * 3, 1.0), "2.2 % on counts"),
        ("degrading, no change, 5 power-ups of mean 6, cv 1", lambda r: degrading(r, [6] * 5, 1.0), "5.3 % on counts"),
        ("degrading, means 2, 3, 5, 9, 15", lambda r: degrading(r, [2, 3, 5, 9, 15], 0.0), "77 to 86 %"),
        ("degrading, x8 over 5 power-ups, cv .3", lambda r: degrading(r, geometric(8, 5), 0.3), "77 %"),
        ("degrading, x8 over 8 power-ups, cv .3", lambda r: degrading(r, geometric(8, 8), 0.3), "91 to 93 %"),
    ],
    "compare": [
        *((f"compare, no change, {a}:{b} of mean 10, cv {cv}", lambda r, a=a, b=b, cv=cv: changed(r, [10] * a, [10] * b, cv), f"{p} % in all on counts")
          for a, b, cv, p in ((1, 1, 0.5, ".4"), (1, 1, 1.0, "6.8"), (2, 2, 0.5, "4.3"), (2, 2, 0.7, "9.2"), (3, 3, 0.5, "6.2"))),
        ("compare, 2:2, mean 10 to 1, cv 0", lambda r: changed(r, [10] * 2, [1] * 2, 0.0), "94 %"),
        ("compare, 2:2, mean 10 to none, cv 0", lambda r: changed(r, [10] * 2, [0] * 2, 0.0), "100 %"),
    ],
    "visits": [
        ("visits, no change, 2 of 2 power-ups of mean 6, cv of power-ups 1", lambda r: visited(r, [12] * 2, 2, 0.0, 1.0), "was 28 %"),
        ("visits, no change, 3 of 1 power-up of mean 6, cv .5", lambda r: visited(r, [6] * 3, 1, 0.0, 0.5), ".5 % a direction"),
        ("visits, no change, 3 of 3 power-ups of mean 6, cv .3/.3", lambda r: visited(r, [18] * 3, 3, 0.3, 0.3), ".8 %"),
        ("visits, no change, 3 of 3 power-ups of mean 6, cv .5/.5", lambda r: visited(r, [18] * 3, 3, 0.5, 0.5), "3.8 %"),
        ("visits of 1 power-up, means 2, 3, 5, 9, 15", lambda r: visited(r, [2, 3, 5, 9, 15], 1, 0.0, 0.0), "77 to 86 % (was 23 to 35)"),
        ("visits, x8 over 5 of 2 power-ups of mean 3, cv 0/.3", lambda r: visited(r, geometric(8, 5), 2, 0.0, 0.3), "85 to 99 %"),
    ],
    "page": [
        *((f"page of {n} channel{'s' * (n > 1)}, no change, 5 power-ups of mean 6, cv {cv}", lambda r, n=n, cv=cv: degrading(r, [6] * 5, cv, n), p)
          for n, cv, p in ((2, 0.5, "2-4 %"), (8, 0.5, "1-5 %"), (1, 1.0, "5-7 %"), (2, 1.0, "4-6 %"))),
    ],
    "rate": [
        ("rate, 2 power-ups of mean 10, cv .5", lambda r: covered(r, [10] * 2, 0.5), "96 %"),
        ("rate, 3 power-ups of mean 10, cv .5", lambda r: covered(r, [10] * 3, 0.5), "96 %"),
        ("rate, 5 power-ups of mean 10, cv 1", lambda r: covered(r, [10] * 5, 1.0), "91 %"),
    ],
    "within": [(f"one power-up of 4 h: {name}", lambda r, name=name: within(r, name), "") for name in WITHIN],
}  # fmt: skip


EACH = 10  # units of a row in one pass


def main(units: int, minutes: float, commit: str, out: Path, groups: list[str]) -> None:
    rows = [(group, number, row) for group in groups or list(ROWS) for number, row in enumerate(ROWS[group])]
    seen: list[Counter[str]] = [Counter() for _ in rows]
    end = time.monotonic() + 60.0 * minutes
    for turn in range(-(-units // EACH)):
        for (group, number, (name, draw, _)), found in zip(rows, seen, strict=True):
            if time.monotonic() > end:
                break
            rng = np.random.default_rng([SEED, list(ROWS).index(group), number, turn])
            found.update(draw(rng) for _ in range(2 if "8 channels" in name else EACH))
        lines = ["| case | units | outcomes | expected on counts |", "|-|-|-|-|"]
        for (_, _, (name, _, page)), found in zip(rows, seen, strict=True):
            total = max(found.total(), 1)
            told = ", ".join(f"{word} {n} ({100 * n / total:.1f} %)" for word, n in sorted(found.items()))
            lines.append(f"| {name} | {found.total()} | {told} | {page} |")
        out.write_text(f"Commit {commit}, seed {SEED}.\n\n" + "\n".join(lines) + "\n")


if __name__ == "__main__":
    main(int(sys.argv[1]), float(sys.argv[2]), sys.argv[3], Path(sys.argv[4]), sys.argv[5:])
