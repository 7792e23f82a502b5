"""How often is the verdict right? Two generators, fixed seeds; run by hand, results in results/verdict.json.

python tests/studies/study_verdict.py [logs per kind] [kind ...]

Kinds that are named replace their rows of the results.
"""

from __future__ import annotations

import collections
import json
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
import second_bench

from flicker import assess, simulate_log

RESULTS = Path(__file__).parent / "results" / "verdict.json"

FIRST = {
    "steady": "steady", "steady-ar1": "steady", "steady-flicker": "steady", "steady-relaxations": "steady",
    "steady-coarse": "steady", "steady-gappy": "steady", "steady-jitter": "steady", "steady-warming": "steady",
    "steady-ripple": "steady", "one-off": "one-off", "one-off-burst": "one-off", "noisy": "noisy",
    "noisy-bursts": "noisy", "noisy-heavy": "noisy", "noisy-floor": "noisy", "noisy-popcorn": "noisy",
    "noisy-saturated": "noisy", "drifting": "drifting", "drifting-step": "drifting", "drifting-walk": "drifting",
    "degrading": "degrading", "degrading-size": "degrading", "heat": "noisy", "warm-up": "noisy",
}  # fmt: skip


def one(job: tuple[str, str, int]) -> tuple[str, str, str, str]:
    """Judge one log; return generator, kind and the verdicts of both channels."""
    source, kind, seed = job
    logs = [second_bench.make(kind, seed)] if source == "second" else list(simulate_log(kind, seed=seed).logs)
    result = assess(logs)
    return source, kind, result.channels[0].verdict, result.channels[1].verdict


def main() -> None:
    """Run the study and print a table."""
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    only = set(sys.argv[2:])
    jobs = [("first", kind, seed) for kind in FIRST for seed in range(1000, 1000 + number)]
    jobs += [("second", kind, seed) for kind in second_bench.KINDS for seed in range(number)]
    jobs = [job for job in jobs if not only or job[1] in only]
    table: dict[tuple[str, str], list[collections.Counter[str]]] = {}
    with ProcessPoolExecutor(2) as pool:
        for source, kind, left, right in pool.map(one, jobs, chunksize=10):
            row = table.setdefault((source, kind), [collections.Counter(), collections.Counter()])
            row[0][left] += 1
            row[1][right] += 1
    out = []
    for (source, kind), (left, right) in table.items():
        wanted = (FIRST if source == "first" else second_bench.KINDS)[kind]
        share = left[wanted] / sum(left.values())
        print(f"{source:7s}{kind:20s} {wanted:10s} {share:6.1%}  {dict(left)}  right: {dict(right)}")
        out.append({"generator": source, "kind": kind, "truth": wanted, "right": share, "left": dict(left),
                    "other_channel": dict(right), "logs": sum(left.values())})  # fmt: skip
    if only:  # the other rows stay as they are
        new = {(row["generator"], row["kind"]): row for row in out}
        kept = json.loads(RESULTS.read_text())["rows"]
        out = [new.get((row["generator"], row["kind"]), row) for row in kept]
    RESULTS.write_text(json.dumps({"hours": 4, "rate_hz": 2, "rows": out}, indent=1) + "\n")


if __name__ == "__main__":
    main()
