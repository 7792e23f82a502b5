"""What happens on a repair bench over minutes, evenings and weeks, each story with its truth. All data are invented.

Leads that never saw an output, meters and loggers with habits of their own, sound and faulty units, and claims over pairs
and visits, by somebody who has not read how the program decides. The stories stand in `fresh_bench_leads`, `fresh_bench_units`, `fresh_bench_claims` and
`fresh_bench_traps`, those of a repairer's year in `fresh_repairs` (units), `fresh_repair_loggers` and
`fresh_repair_claims`, odd ones in `fresh_odd_units`, `fresh_odd_meters` and `fresh_odd_claims`, a third set in `fresh_late_units`,
`fresh_late_meters` and `fresh_late_claims`, a fourth in `fresh_last_units`, `fresh_last_meters`,
`fresh_last_claims` and `fresh_last_dangers`, those of far benches in `fresh_far_units`, `fresh_far_meters`, `fresh_far_loggers` and `fresh_far_claims`,
small rests awake and asleep in `fresh_asleep`, claims alone in `fresh_claims_compared` and `fresh_claims_in_time`, outputs that are cut off from the meter in `fresh_cut_offs`; `fresh_bench_parts` says what a statement is. 'Cleared' counts channels
called within limits or steady that must not be; 'claims' what else must never be said; 'refused' sound channels that
were not cleared; 'missed' what must be said and was not; 'rather not' what a page may say, and a careful one would not;
'unread' logs that the reader refused (exit code 2 of the command line).

    python tests/studies/fresh_benches.py --seed 1 -n 3
    python tests/studies/fresh_benches.py --only 'air hum' --story 1002
    python tests/studies/fresh_benches.py --of fresh_repair --seed 1 -n 3
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import fresh_asleep
import fresh_bench_claims
import fresh_bench_leads
import fresh_bench_traps
import fresh_bench_units
import fresh_claims_compared
import fresh_claims_in_time
import fresh_cut_offs
import fresh_far_claims
import fresh_far_loggers
import fresh_far_meters
import fresh_far_units
import fresh_last_claims
import fresh_last_dangers
import fresh_last_meters
import fresh_last_units
import fresh_late_claims
import fresh_late_meters
import fresh_late_units
import fresh_odd_claims
import fresh_odd_meters
import fresh_odd_units
import fresh_repair_claims
import fresh_repair_loggers
import fresh_repairs
import numpy as np
from fresh_bench_parts import Bench, holds, statements
from fresh_parts import table

KINDS = {**fresh_bench_leads.KINDS, **fresh_bench_units.KINDS, **fresh_bench_claims.KINDS, **fresh_bench_traps.KINDS,
         **fresh_repairs.KINDS, **fresh_repair_loggers.KINDS, **fresh_repair_claims.KINDS,
         **fresh_odd_units.KINDS, **fresh_odd_meters.KINDS, **fresh_odd_claims.KINDS,
         **fresh_late_units.KINDS, **fresh_late_meters.KINDS, **fresh_late_claims.KINDS,
         **fresh_last_units.KINDS, **fresh_last_meters.KINDS, **fresh_last_claims.KINDS, **fresh_last_dangers.KINDS,
         **fresh_far_units.KINDS, **fresh_far_meters.KINDS, **fresh_far_loggers.KINDS,
         **fresh_far_claims.KINDS, **fresh_asleep.KINDS,
         **fresh_claims_compared.KINDS, **fresh_claims_in_time.KINDS, **fresh_cut_offs.KINDS}  # fmt: skip
HARMS = ("cleared", "claims", "refused", "missed", "rather not", "unread")


@dataclass(frozen=True)
class Told:
    """What came of one story: counts of harms, lines to print, seconds."""

    kind: str
    harms: Counter[str]
    lines: tuple[str, ...]
    seconds: float


def story(kind: str, seed: int) -> Bench:
    """Make the story of a kind. Invented."""
    b = Bench(np.random.default_rng([seed, 17, sum(map(ord, kind))]))
    KINDS[kind](b)
    return b


def harm(pattern: str) -> str:
    """Name the harm of saying what a pattern forbids."""
    return "cleared" if "within" in pattern or pattern.endswith("steady") else "claims"


def tell(kind: str, seed: int) -> Told:
    """Put a story to the program and judge what it says."""
    begin = time.process_time()
    made = story(kind, seed)
    harms: Counter[str] = Counter()
    lines = []
    about = f"--only '{kind}' --story {seed} ({made.step_s:g} s, digit {made.digit:g} V, {', '.join((*made.names, *made.words))})"
    for step in made.steps:
        said = statements(step)
        found = [(harm(p), x) for p in step.never if (x := holds(p, said))]
        if said[0].startswith("refused:"):
            found.append(("unread", said[0]))
        else:
            found += [("refused" if "within" in p else "missed", p) for p in step.must if not holds(p, said)]
        found += [("rather not", x) for p in step.rather_not if (x := holds(p, said))]
        harms.update(x for x, _ in found)
        if found:
            heard = [x for x in said if x.startswith("(") or x.split()[1] in ("outcome", "cured", "rate", "size", "not", "within", "do")]
            lines.append(f"{'; '.join(f'{h.upper()} {x}' for h, x in found)}: {step.task} {about} {' '.join(heard[:9])}")
    return Told(kind, harms, tuple(lines), time.process_time() - begin)


def main() -> None:
    """Print, kind by kind, what was said that must never be, what was missed, and how to see each again."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", default="", help="only kinds whose name holds this")
    parser.add_argument("--of", default="", help="only kinds of the modules whose name holds this")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("-n", type=int, default=2, help="stories of each kind")
    parser.add_argument("--story", type=int, default=-1, help="this one story of the kinds, by its seed")
    parser.add_argument("--jobs", type=int, default=1)
    args = parser.parse_args()
    seeds = [args.story] if args.story >= 0 else [args.seed * 1000 + i for i in range(args.n)]
    todo = [(k, s) for k, made in KINDS.items() if args.only in k and args.of in made.__module__ for s in seeds]
    told: list[Told] = []
    with ProcessPoolExecutor(args.jobs) as pool:
        results: Iterable[Told] = pool.map(tell, *zip(*todo, strict=True)) if args.jobs > 1 else (tell(*x) for x in todo)
        for one in results:
            told.append(one)
            print(f"{len(told)} of {len(todo)} {one.kind}, {one.seconds:.1f} s", *one.lines, sep="\n  ", file=sys.stderr, flush=True)
    rows = []
    for kind in dict.fromkeys(x.kind for x in told):
        mine = [x for x in told if x.kind == kind]
        total = sum((x.harms for x in mine), Counter())
        rows.append((kind, len(mine), *(total[h] or "" for h in HARMS), f"{sum(x.seconds for x in mine) / len(mine):.1f}"))
    whole = sum((x.harms for x in told), Counter())
    rows.append(("all", len(told), *(whole[h] for h in HARMS), f"{sum(x.seconds for x in told) / len(told):.1f}"))
    print(table(("kind", "stories", *HARMS, "s each"), rows))
    print("\n".join(line for x in told for line in x.lines))


if __name__ == "__main__":
    main()
