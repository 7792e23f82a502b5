"""The detectors against the second generator (`second_situations.py`), which the rules were not made with. By hand.

python tests/studies/study_connection_second.py [benches] [--seed N] [--meters NAME ...] [KIND ...]; results stand in
results/connection.md. A stretch counts as right where it was taken out with both borders within 30 s and 95 % covered;
a sound channel (and the sound time of a faulty one) as hurt where more than 1 % of its time was taken.
"""

from __future__ import annotations

import argparse

import numpy as np
import second_situations as situations
from study_connection import SETTINGS, found, overlap, taken

from flicker.signals.trace import trace_log


def upper(hits: int, trials: int) -> float:
    """One-sided 95 % upper limit of a share (Clopper and Pearson)."""
    from scipy.special import betaincinv

    return 1.0 if hits >= trials else float(betaincinv(hits + 1, trials - hits, 0.95))


def judge(kind: str, meter: str, seed: int) -> tuple[int, int, dict[str, int], int, list[float], int]:
    """Stretches right and all, hurt channels by reason, channels, shares lost, power-ups wrong."""
    rate = situations.RATES[seed % len(situations.RATES)]
    case = situations.make(kind, seed, meter=meter, rate_hz=rate)
    runs = trace_log(case.log, SETTINGS)
    end = float(case.time_s[-1])
    right = total = 0
    lost: list[float] = []
    hurt: dict[str, int] = {}
    for name, hidden in case.hidden.items():
        parts = taken(runs, name)
        for begin, until in hidden:
            if until - begin >= 299.0:
                total += 1
                right += any(part[1] > begin and part[0] < until for part in parts) and found(runs, name, begin, until)
        padded = sorted((begin - 2.0, until + 2.0, "") for begin, until in hidden)
        away = sum(overlap(parts, max(a, 0.0), min(b, end)) for a, b, _ in padded)
        share = max(overlap(parts, 0.0, end) - away, 0.0) / max(end - overlap(padded, 0.0, end), 1.0)
        lost.append(share)
        if share > 0.01:
            for reason in {part[2] for part in parts if not any(a <= part[0] and part[1] <= b for a, b, _ in padded)}:
                hurt[reason] = hurt.get(reason, 0) + 1
    ups = sum(run.traces[0].power_up_seen for run in runs[1:])
    return right, total, hurt, len(lost), lost, abs(ups - len(case.ups))


def main() -> None:
    """Print one row a kind and meter."""
    parser = argparse.ArgumentParser()
    parser.add_argument("benches", type=int, nargs="?", default=200)
    parser.add_argument("kinds", nargs="*")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--meters", nargs="*", default=list(situations.METERS), help="after the kinds")
    given = parser.parse_args()
    kinds = given.kinds or situations.DEAD + situations.SOUND
    print("| kind | meter | stretches | right | channels hurt | 95 % upper | by | mean lost % | power-ups wrong |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    for kind in kinds:
        for meter in given.meters:
            right = total = channels = ups = 0
            shares: list[float] = []
            by: dict[str, int] = {}
            for seed in range(given.seed, given.seed + given.benches):
                good, of, hurt, many, lost, wrong = judge(kind, meter, seed)
                right, total, channels, ups = right + good, total + of, channels + many, ups + wrong
                shares += lost
                for reason, count in hurt.items():
                    by[reason] = by.get(reason, 0) + count
            bad = int(np.count_nonzero(np.array(shares) > 0.01))
            share = f"{right / total:.3f}" if total else "-"
            words = "; ".join(f"{reason} {count}" for reason, count in sorted(by.items())) or "-"
            print(
                f"| {kind} | {meter} | {total} | {share} | {bad}/{channels} | {100 * upper(bad, channels):.1f} % | {words} | "
                f"{100 * float(np.mean(shares)):.3f} | {ups} |",
                flush=True,
            )


if __name__ == "__main__":
    main()
