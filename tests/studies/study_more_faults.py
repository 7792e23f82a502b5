"""Is a living fault left out as an open lead, and is a dead stretch found? `more_faults.py` through the whole program.

    python tests/studies/study_more_faults.py [logs per kind] [--seed N] [--kind NAME ...] [--record]

Taken are the stretches that the document lists as gaps of a channel. 'Lost': the mean share of the fault's time that is
taken, and the seeds where it is more than a tenth. 'Found': dead stretches of five minutes and more of which 95 % are taken; one as long as the log is found if the verdict is
'inconclusive' and the channel is not cleared.
'Hurt': the mean share taken of the time in which nothing is wrong, surge included. By hand; all logs are invented.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
import more_faults

RESULTS = Path(__file__).parent / "results" / "more_faults.md"


def taken(kind: str, seed: int) -> tuple[list[float], list[float], list[float]]:
    """Shares taken of each stretch of the truth, lengths of these in seconds, and shares taken of the rest per channel."""
    import flicker

    t, channels, truth = more_faults.make(kind, seed)
    found = flicker.assess(flicker.Log.from_arrays(t, channels)).to_dict()
    shares, lengths, rest = [], [], []
    for c in found["channels"]:
        out = np.zeros(t.size, bool)
        begins = 0.0
        for number, run in enumerate(found["runs"]):
            for gap in c["gaps"]:
                if gap["run"] == number:
                    out |= (t >= begins + gap["start_s"]) & (t <= begins + gap["end_s"])
            begins += run["duration_s"]
        wrong = np.zeros(t.size, bool)
        for name, a, b, _ in truth:
            if name == c["channel"]:
                inside = (t >= a) & (t <= b)
                wrong |= inside
                whole = inside.all() and c["verdict"] == "inconclusive" and not c["fitness"].startswith("within")
                shares.append(1.0 if whole else float(out[inside].mean()))
                lengths.append(b - a)
        if (~wrong).any():
            rest.append(float(out[~wrong].mean()))
    return shares, lengths, rest


def main() -> None:
    """Print one row a kind."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("logs", type=int, nargs="?", default=10)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--kind", nargs="*", default=list(more_faults.KINDS))
    parser.add_argument("--record", action="store_true")
    given = parser.parse_args()
    lines = ["| kind | logs | fault lost | dead found (5 min and more) | sound time hurt | seeds |", "|---|---|---|---|---|---|"]
    for kind in given.kind:
        lost, found, hurt, seeds = [], [], [], []
        for seed in range(given.seed, given.seed + given.logs):
            shares, lengths, rest = taken(kind, seed)
            hurt += rest
            if kind in more_faults.FAULTS:
                share = float(np.average(shares, weights=lengths))
                lost.append(share)
                seeds += [seed] if share > 0.1 else []
            else:
                right = [s >= 0.95 for s, long in zip(shares, lengths, strict=True) if long >= 300]
                found += right
                seeds += [seed] if not all(right) else []
        told = f"{np.mean(lost):.1%} | " if lost else f" | {sum(found)} of {len(found)}"
        away = f"{np.mean(hurt):.2%}" if hurt else ""
        lines.append(f"| {kind} | {given.logs} | {told} | {away} | {' '.join(map(str, seeds))} |")
    print("\n".join(lines))
    if given.record:
        head = f"# Living faults and dead stretches\n\n`study_more_faults.py {given.logs} --seed {given.seed}`\n\n"
        RESULTS.write_text(head + "\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
