"""Whole jobs, simulated: does a page ever say 'cured' though only the conditions changed, and does it where it is true?

Run by hand: python tests/studies/study_jobs.py [JOBS]. Writes results/jobs.md (2,000 jobs only). All benches are invented; jobs are drawn as
episodes on the clock since power-up, not as samples.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace

import numpy as np

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

from bench_sides import drawn, side  # noqa: E402

from flicker.evidence.compare.sides import Side  # noqa: E402
from flicker.evidence.compare.stages import credits_of, work_of  # noqa: E402
from flicker.evidence.compare.weighing import IMPROVED, cure, weigh  # noqa: E402
from flicker.stats.rates import share_interval  # noqa: E402

JOBS = int(sys.argv[1]) if len(sys.argv) > 1 and sys.argv[1].isdigit() else 2000
CONCERN = {"0.1 per hour (no rate recorded)": 0.1, "2/3 per hour (twice an evening)": 2.0 / 3.0}
Stages = dict[str, Side]


def cold(t):
    """A fault of the first quarter of an hour."""
    return np.where(t < 0.25, 1.0, 0.05)


def hot(t):
    """A fault that comes with two hours of heat."""
    return np.minimum(t / 2.0, 1.0)


def warm(made: Side) -> Side:
    """The same power-ups, after a short pause."""
    return replace(made, cycles=tuple(replace(cycle, start="warm") for cycle in made.cycles))


def evenings(rng, hours, rate, scatter):
    """Evenings that differ by themselves: the rate of each is drawn (lognormal), its mean over all as told."""
    runs = [drawn(rng, [length], rate * float(rng.lognormal(-0.5 * scatter**2, scatter))) for length in hours]
    return replace(runs[0], cycles=tuple(cycle for run in runs for cycle in run.cycles))


def judged(stages: Stages, concern: float):
    """Steps and the whole of a job with a faulty channel and a sound one beside it, as the case judges them."""
    names = list(stages)
    pairs = list(pairwise(names)) + ([(names[0], names[-1])] if len(names) > 2 else [])
    quiet = {name: side([(made.observed_s / 3600.0, [])]) for name, made in stages.items()}
    rows = [(stages[a], stages[b]) for a, b in pairs] + [(quiet[a], quiet[b]) for a, b in pairs]
    found = weigh(rows)[: len(pairs)]
    words = [cure(item, recurs=item.after.episodes >= 2, concern_per_h=concern, warm_up_s=900.0) for item in found]
    steps = [
        SimpleNamespace(before=a, after=b, channels=(SimpleNamespace(channel="left", outcome=item.outcome),))
        for (a, b), item in zip(pairs, found, strict=True)
    ]
    return steps[: len(names) - 1], steps[-1], found[-1], words[-1]


def unchanged() -> dict[str, Callable[[np.random.Generator], Stages]]:
    """Jobs in which nothing changed but the conditions."""
    first, last = "as received", "part replaced"
    return {
        "warm soak after cold starts: 6 cold half hours, then 4 warm starts of 8 h (fault of the cold start)": lambda r: {
            first: drawn(r, [0.5] * 6, 8.0, heat=cold),
            last: warm(drawn(r, [8.0] * 4, 8.0, heat=cold)),
        },
        "one long soak after cold starts: 6 cold half hours, then one run of 36 h": lambda r: {
            first: drawn(r, [0.5] * 6, 8.0, heat=cold),
            last: drawn(r, [36.0], 8.0, heat=cold),
        },
        "short runs after long ones: 2 of 4 h, then 8 of half an hour (fault of the heat)": lambda r: {
            first: drawn(r, [4.0] * 2, 6.0, heat=hot),
            last: drawn(r, [0.5] * 8, 6.0, heat=hot),
        },
        "fewer hours: 0.5 per hour, 12 h, then 3 h": lambda r: {
            first: drawn(r, [4.0] * 3, 0.5),
            last: drawn(r, [3.0], 0.5),
        },
        "one lucky evening: 0.7 per hour, ten evenings of 3 h, then one of 5 h": lambda r: {
            first: drawn(r, [3.0] * 10, 0.7),
            last: drawn(r, [5.0], 0.7),
        },
        "one lucky evening of a fault in bursts of 3: 8 h, then 3 h": lambda r: {
            first: drawn(r, [4.0] * 2, 0.9, burst=3.0, gap_s=30.0),
            last: drawn(r, [3.0], 0.9, burst=3.0, gap_s=30.0),
        },
        "evenings that differ by themselves (factor 2.7): 2 per hour, 3 evenings, then 2": lambda r: {
            first: evenings(r, [3.0] * 3, 2.0, 1.0),
            last: evenings(r, [3.0] * 2, 2.0, 1.0),
        },
        "a rare fault: 0.1 per hour, 30 h in three runs, then 33 h in one": lambda r: {
            first: drawn(r, [10.0] * 3, 0.1),
            last: drawn(r, [33.0], 0.1),
        },
        "four stages, nothing changed in any: 1 per hour, 3 h each": lambda r: {
            name: drawn(r, [1.5] * 2, 1.0) for name in (first, "reseated only", last, "soak")
        },
    }


def picked(rng: np.random.Generator) -> Stages:
    """Logs left out of the case: of three evenings only the quietest is named."""
    tried = [drawn(rng, [5.0], 0.7) for _ in range(3)]
    return {"as received": drawn(rng, [3.0] * 10, 0.7), "part replaced": min(tried, key=lambda made: made.episodes)}


TRUE = {
    "4 per hour over 6 h": (lambda r: drawn(r, [2.0] * 3, 4.0), 2.0),
    "1 per hour over 8 h": (lambda r: drawn(r, [4.0] * 2, 1.0), 2.0),
    "12 per hour over 3 h": (lambda r: drawn(r, [1.5] * 2, 12.0), 2.0),
    "bursts of 3, 6 swings per hour over 6 h": (lambda r: drawn(r, [2.0] * 3, 6.0, burst=3.0, gap_s=30.0), 2.0),
    "a fault of the cold start, 6 cold half hours": (lambda r: drawn(r, [0.5] * 6, 8.0, heat=cold), 0.5),
}


def true_cure(rng, make, run_h, concern, jobs):
    """Share of true cures shown within 1.3 times the hours (or cold starts) planned at the first clean run."""
    shown = known = 0
    while known < jobs:
        before = make(rng)
        if before.episodes < 2:
            continue  # nothing that would have been called intermittent
        known += 1
        plan = cure(weigh([(before, side([(run_h, [])]))])[0], recurs=False, concern_per_h=concern, warm_up_s=900.0)
        if plan.word == "shown":
            shown += 1
            continue
        runs = int(np.ceil(1.3 * ((plan.clean_hours_needed or 0.0) + run_h) / run_h))
        if plan.cold_starts_needed is not None:
            runs = min(runs, int(np.ceil(1.3 * (plan.cold_starts_needed + 1))))
        after = side([(run_h, [])] * runs)
        shown += cure(weigh([(before, after)])[0], recurs=False, concern_per_h=concern, warm_up_s=900.0).word == "shown"
    return shown


def false_cures(rng, make, jobs):
    """Numbers of false 'improved', and of false 'cured' at each rate of concern."""
    improved, cured = 0, dict.fromkeys(CONCERN, 0)
    for _ in range(jobs):
        stages = make(rng)
        steps, whole, item, word = judged(stages, 0.1)
        improved += any(c.outcome == IMPROVED for step in (*steps, whole) for c in step.channels)
        for name, rate in CONCERN.items():
            found = (
                word
                if rate == 0.1
                else cure(item, recurs=item.after.episodes >= 2, concern_per_h=rate, warm_up_s=900.0)
            )
            cured[name] += found.word == "shown"
    return improved, cured


def wrongly_credited(rng, jobs, after_reseating):
    """Jobs in which the reseating cured and the part did nothing: how often is the part credited, how often not?"""
    part = plugs = 0
    for _ in range(jobs):
        stages = {
            "as received": drawn(rng, [2.0] * 3, 4.0),
            "reseated only": drawn(rng, after_reseating, 0.0),
            "part replaced": side([(2.0, [])] * 8),
        }
        steps, whole, _, _ = judged(stages, 0.1)
        found = credits_of(steps, whole, work_of(list(stages), None))
        part += any(item.changed for item in found)
        plugs += any(item.changed is False for item in found)
    return part, plugs


def upper(hits, trials):
    return share_interval(hits, trials, sided="upper").high


def main() -> None:
    rng = np.random.default_rng(20_311_125)
    began = time.perf_counter()
    lines = [
        "# Jobs: false and true cures",
        "",
        f"Written by `tests/studies/study_jobs.py`, seed 20311125, {JOBS} jobs a row; all benches invented. A job has a faulty",
        "channel and a sound one; all steps and channels are corrected together, as `judge_case` does. 'Cured' is the word",
        "'shown' for the last stage against the first; upper limits are 95 % Clopper-Pearson.",
        "",
        "## Nothing changed but the conditions",
        "",
        "Asked: false 'cured' in at most 5 %. 'Improved' counts a job in which any step or the whole says so; evenings that",
        "differ by themselves by more than chance make it too frequent, as no spread between evenings is estimated.",
        "",
        "| job | false improved | " + " | ".join(f"false cured, concern {name}" for name in CONCERN) + " |",
        "|---|---|---|---|",
    ]
    rows = unchanged() | {
        "outside the promise: the quietest of three evenings of 5 h is named, the others are not": picked
    }
    for name, make in rows.items():
        improved, cured = false_cures(rng, make, JOBS)
        said = [f"{hits / JOBS:.2%} (upper {upper(hits, JOBS):.2%})" for hits in cured.values()]
        lines.append(f"| {name} | {improved / JOBS:.1%} | {' | '.join(said)} |")
        print(lines[-1], f"{time.perf_counter() - began:.0f} s", flush=True)
    lines += [
        "",
        "## A true cure",
        "",
        "Asked: shown within 1.3 times the clean hours (or cold starts) planned at the first clean run, in 80 %.",
        "",
    ]
    lines += ["| before | " + " | ".join(f"shown, concern {name}" for name in CONCERN) + " |", "|---|---|---|"]
    for name, (make, run_h) in TRUE.items():
        found = [true_cure(rng, make, run_h, rate, JOBS) / JOBS for rate in CONCERN.values()]
        lines.append(f"| {name} | " + " | ".join(f"{share:.1%}" for share in found) + " |")
        print(lines[-1], f"{time.perf_counter() - began:.0f} s", flush=True)
    lines += ["", "## A part that did nothing after a reseating that did", ""]
    lines += ["| logged after reseating | part credited | reseating credited | neither |", "|---|---|---|---|"]
    for name, hours in (("three runs of 2 h", [2.0] * 3), ("one run of half an hour", [0.5]), ("ten minutes", [1 / 6])):
        part, plugs = wrongly_credited(rng, JOBS, hours)
        rest = JOBS - part - plugs
        lines.append(f"| {name} | {part / JOBS:.1%} | {plugs / JOBS:.1%} | {rest / JOBS:.1%} |")
        print(lines[-1], f"{time.perf_counter() - began:.0f} s", flush=True)
    if JOBS < 2000:
        return  # a quick look writes nothing
    (HERE / "results" / "jobs.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
