"""What was the lead looking at? Dead stretches right, live time left out, sound time lost, open starts. By hand.

    python tests/studies/study_lead.py [--seed N] [--share S] [PART ...]     parts: the benches of lead_bench, starts, first

Results stand in results/lead.md. Lost: mean share of the live time of a channel with a fault that is left out, its surge
apart; 'right' and 'hurt' as in `lead_bench`. A relay that never closes is no stretch of a log: what counts is that no life
is claimed. `make_state_tables.py` learns from faults, second, simulated and moving, on seeds from 900000.
"""

from __future__ import annotations

import argparse
from collections import Counter

import lead_bench
import open_starts
import second_situations
from study_connection import SETTINGS, taken

from flicker.signals.trace import trace_log

PARTS = (*lead_bench.KINDS, "starts", "first")
# Logs of each kind in a full run; of leads that fall off, the commonest case, three times as many.
MANY = {"faults": 75, "second": 24, "simulated": 12, "more": 8, "rare": 8, "fresh": 6, "moving": 10}


def states(bench: str, seed: int, share: float) -> None:
    """Dead stretches found, live time lost and sound channels hurt, through the whole product."""
    print(f"\n| {bench} | logs | {lead_bench.HEAD} by | relay: life claimed |\n|" + " --- |" * 11)
    whole, logs = lead_bench.Score(), 0
    for kind in lead_bench.KINDS[bench]:
        row, by, alive = lead_bench.Score(), Counter[str](), [0, 0]
        many = MANY[bench] if kind not in second_situations.SOUND else MANY[bench] // 4
        many = max(round(many * share * (20 if kind == "any" else 3 if kind == "lead-off" else 1)), 1)
        for number in range(seed, seed + many):
            made = lead_bench.case(bench, kind, number)
            runs = trace_log(made.log, SETTINGS)
            parts = {name: taken(runs, name) for name in made.log.channels}
            end = runs[-1].run.offset_s + runs[-1].run.duration_s
            if kind in ("never-closes", "relay_never_closes"):
                found = [t.life == "seen" for run in runs for t in run.traces if made.hidden.get(t.channel)]
                alive = [alive[0] + sum(found), alive[1] + len(found)]
                continue
            doubts: dict[str, lead_bench.Spans] = {name: [] for name in parts}
            for run in runs:
                for trace in run.traces:
                    doubts[trace.channel] += [tuple(row) for row in (trace.doubted + run.run.offset_s).tolist()]
            out = {name: [part[:2] for part in own] for name, own in parts.items()}
            one = lead_bench.score(made.hidden, made.faulty, end, out, doubts)
            row.add(one)
            if any(part > 0.01 for part in (*one.lost, *one.sound)):
                by.update({str(part[2]) for own in parts.values() for part in own})
        whole.add(row)
        logs += many
        words = "; ".join(f"{reason} {count}" for reason, count in sorted(by.items())) or "-"
        claimed = f"{alive[0]} of {alive[1]}" if alive[1] else "-"
        print(f"| {kind} | {many} | {row.row()} | {words} | {claimed} |", flush=True)
    print(f"| all | {logs} | {whole.row()} | | |")


def starts(seed: int, many: int) -> None:
    """When the output relay closed that was open at first, and false borders of other starts."""
    print("\n| start | logs | border within 1.5 s, or none where none is |\n| --- | --- | --- |")
    for kind in (*open_starts.OPEN, *open_starts.CLOSED):
        right = 0
        for number in range(seed, seed + many):
            log, truth = open_starts.make(kind, number)
            closed = trace_log(log, SETTINGS)[0].traces[0].relay_closed_s or 0.0
            right += abs(closed - truth) <= 1.5 if truth else closed == 0.0
        print(f"| {kind} | {many} | {right} |", flush=True)


def first(seed: int, many: int) -> None:
    """Logs with an excursion in their first minute, all told; of swings that are there, how many are excused."""
    from flicker import assess

    print("\n| start | logs | with an excursion in the first minute |\n| --- | --- | --- |")
    for kind in (*open_starts.OPEN, *open_starts.CLOSED):
        told = 0
        for number in range(seed, seed + many):
            channel = assess(open_starts.make(kind, number)[0]).to_dict()["channels"][0]
            told += any(swing["start_s"] < 60.0 for swing in channel["excursions"])
        print(f"| {kind} | {many} | {told} |", flush=True)


def main() -> None:
    """Print the parts asked for."""
    parser = argparse.ArgumentParser()
    parser.add_argument("parts", nargs="*", default=list(PARTS))
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--share", type=float, default=1.0, help="of the full number of logs")
    given = parser.parse_args()
    for part in given.parts:
        if part == "starts":
            starts(given.seed, round(40 * given.share))
        elif part == "first":
            first(given.seed, round(22 * given.share))
        else:
            states(part, given.seed, given.share)


if __name__ == "__main__":
    main()
