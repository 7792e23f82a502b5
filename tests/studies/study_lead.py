"""What was the lead looking at? Fault time left out, dead stretches right, sound time lost, open starts. By hand.

    python tests/studies/study_lead.py [--seed N] [--share S] [PART ...]      parts: faults dead simulated sound starts first

Results stand in results/lead.md. 'Lost': mean share of a faulty channel's time that is left out, its surge apart.
'Hurt': more than 1 % of it. 'Right': a dead stretch of five minutes and more left out with both borders within 30 s and
95 % covered. Seeds are never those of `make_state_tables.py`. Faults and states of others: `study_more_faults.py`.
"""

from __future__ import annotations

import argparse
from collections import Counter

import fault_makers
import numpy as np
import open_starts
import second_situations
from study_connection import METERS, SETTINGS, found, lost_share, overlap, taken
from study_connection_second import judge

from flicker.signals.trace import trace_log
from flicker.simulate import simulate_log

SIMULATED = ("lead-off", "lead-shorted", "lead-chassis", "meter-repeats", "timer-nights")


def faults(seed: int, many: int) -> None:
    """Real faults that change how a live channel moves."""
    print("\n| fault | channels | lost % | hurt | by |\n| --- | --- | --- | --- | --- |")
    every: list[float] = []
    for kind in fault_makers.KINDS:
        lost, by = [], Counter[str]()
        for number in range(seed, seed + many):
            log, end = fault_makers.make(kind, number)
            parts = taken(trace_log(log, SETTINGS), "left")
            lost.append(overlap(parts, 0.0, end) / end)
            if lost[-1] > 0.01:
                by.update({str(part[2]) for part in parts})
        every += lost
        _row(kind, lost, by)
    _row("all", every, Counter())


def _row(name: str, lost: list[float], by: Counter[str]) -> None:
    share = np.array(lost)
    words = "; ".join(f"{reason} {count}" for reason, count in sorted(by.items())) or "-"
    print(
        f"| {name} | {share.size} | {100 * share.mean():.2f} | {np.count_nonzero(share > 0.01)} | {words} |", flush=True
    )


def second(kinds: tuple[str, ...], seed: int, many: int) -> None:
    """Dead stretches and sound channels of the second generator."""
    print(
        "\n| situation | stretches | right | sound channels hurt | by | power-ups wrong |\n| --- | --- | --- | --- | --- | --- |"
    )
    sums = np.zeros(5, dtype=int)
    for kind in kinds:
        row, by = np.zeros(5, dtype=int), Counter[str]()
        for number in range(seed, seed + many):
            right, total, hurt, channels, lost, ups = judge(kind, list(second_situations.METERS)[number % 3], number)
            row += [total, right, sum(share > 0.01 for share in lost), channels, ups]
            by.update(hurt)
        sums += row
        words = "; ".join(f"{reason} {count}" for reason, count in sorted(by.items())) or "-"
        print(f"| {kind} | {row[0]} | {row[1]} | {row[2]} of {row[3]} | {words} | {row[4]} |", flush=True)
    print(f"| all | {sums[0]} | {sums[1]} | {sums[2]} of {sums[3]} | | {sums[4]} |")


def simulated(seed: int, many: int) -> None:
    """Dead stretches of `flicker.simulate`."""
    print("\n| simulated | stretches | right | sound channels hurt |\n| --- | --- | --- | --- |")
    sums = np.zeros(4, dtype=int)
    for kind in SIMULATED:
        row = np.zeros(4, dtype=int)
        for number in range(seed, seed + many):
            options = {"away_s": None if number % 3 == 0 else 300.0 + 100.0 * (number % 7)}
            options = {"on_h": 0.6, "off_h": 0.6} if kind == "timer-nights" else options
            meter = METERS[list(METERS)[number % 3]]
            rate = (1.0, 2.0, 5.0, 10.0)[number // 3 % 4]
            hours = 2.4 if kind == "timer-nights" else 1.0
            bench = simulate_log(kind, seed=number, hours=hours, rate_hz=rate, **meter, **options)
            runs = trace_log(bench.logs[0], SETTINGS)
            for name in bench.channels:
                for stretch in bench.truth.runs[0][name].stretches:
                    if stretch.end_s - stretch.start_s >= 299.0:
                        row += [1, found(runs, name, stretch.start_s, stretch.end_s), 0, 0]
                row += [0, 0, lost_share(runs, bench, name) > 0.01, 1]
        sums += row
        print(f"| {kind} | {row[0]} | {row[1]} | {row[2]} of {row[3]} |", flush=True)
    print(f"| all | {sums[0]} | {sums[1]} | {sums[2]} of {sums[3]} |")


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
    parser.add_argument("parts", nargs="*", default=["faults", "dead", "simulated", "sound", "starts", "first"])
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--share", type=float, default=1.0, help="of the full number of logs")
    given = parser.parse_args()
    for part in given.parts or ["faults", "dead", "simulated", "sound", "starts", "first"]:
        if part == "faults":
            faults(given.seed, round(75 * given.share))
        elif part == "dead":
            second(second_situations.DEAD, given.seed, round(24 * given.share))
        elif part == "sound":
            second(second_situations.SOUND, given.seed, round(12 * given.share))
        elif part == "simulated":
            simulated(given.seed, round(12 * given.share))
        elif part == "starts":
            starts(given.seed, round(40 * given.share))
        else:
            first(given.seed, round(22 * given.share))


if __name__ == "__main__":
    main()
