"""How well are dead, disconnected and off stretches found, and what does it cost a sound channel? By hand.

Invented benches from `flicker.simulate`; `study_connection.py [benches] [PART ...]` prints a table;
the recorded one is results/connection.md. 'Right' means: taken out, with both borders within 30 s of the truth and
95 % of it covered. 'Lost' is the share of a sound channel's connected time that the
detectors take (power-up surge apart).
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from typing import Any

import numpy as np

from flicker.base.limits import Limits
from flicker.signals.trace import RunTraces, trace_log
from flicker.simulate import KINDS, Bench, simulate_log

SETTINGS = Limits()
HIDDEN = {"off", "disconnected", "floating", "shorted", "repeats"}
OTHER = {"power-up surge", "no reading", "over range", "no samples"}
METERS: dict[str, dict[str, float]] = {
    "1 mV": {"resolution_V": 0.001, "noise_V": 0.0004},
    "0.1 mV": {"resolution_V": 0.0001, "noise_V": 0.0004},
    "0.01 mV": {"resolution_V": 0.00001, "noise_V": 0.0003},
}
RATES = (1.0, 2.0, 5.0, 10.0)
FIRST_SEED = 0  # --seed N: the rules were tuned on seeds below 5000, so they are judged on others
DEAD = ("lead-off", "lead-shorted", "lead-chassis", "meter-repeats")


def taken(runs: list[RunTraces], channel: str) -> list[tuple[float, float, str]]:
    """What was taken out of a channel's time, on the log's clock."""
    out = []
    for run in runs:
        trace = next(item for item in run.traces if item.channel == channel)
        out += [
            (gap.start_s + run.run.offset_s, gap.end_s + run.run.offset_s, gap.reason)
            for gap in trace.unobserved
            if gap.reason not in OTHER
        ]
    if runs[0].run.offset_s > 0:
        out.append((0.0, runs[0].run.offset_s, "before the power-up"))
    return sorted(out)


def overlap(parts: list[tuple[float, float, str]], begin: float, end: float) -> float:
    """Seconds of a stretch that were taken out."""
    at, total = begin, 0.0
    for a, b, _ in parts:
        a, b = max(a, at), min(b, end)
        if b > a:
            total += b - a
            at = b
    return total


def found(runs: list[RunTraces], channel: str, begin: float, end: float, slack_s: float = 30.0) -> bool:
    """Was a stretch taken out with its borders right?"""
    parts = taken(runs, channel)
    if overlap(parts, begin, end) < (end - begin) - slack_s - 0.05 * (end - begin):
        return False
    near = [part for part in parts if part[1] > begin and part[0] < end]
    first, last = min(part[0] for part in near), max(part[1] for part in near)
    covered = overlap(parts, begin + slack_s, end - slack_s) >= 0.95 * (end - begin - 2 * slack_s)
    return covered and abs(first - begin) <= slack_s and abs(last - end) <= slack_s


def lost_share(runs: list[RunTraces], bench: Bench, channel: str, log: int = 0) -> float:
    """Share of a channel's connected time that was taken out."""
    truth = bench.truth.runs[log]
    end = float(truth.time_s[-1]) + truth.sample_interval_s
    hidden = [(s.start_s - 2.0, s.end_s + 2.0, s.state) for s in truth[channel].stretches]
    connected = end - overlap(sorted(hidden), 0.0, end)
    parts = taken(runs, channel)
    wrong = overlap(parts, 0.0, end) - sum(overlap(parts, max(a, 0.0), min(b, end)) for a, b, _ in hidden)
    return max(wrong, 0.0) / max(connected, 1.0)


def meters() -> Iterator[tuple[str, float, dict[str, Any]]]:
    """Every meter at every rate."""
    for name, meter in METERS.items():
        for rate in RATES:
            yield name, rate, {**meter, "rate_hz": rate}


def dead(benches: int) -> None:
    """Stretches of five minutes and more, for a while or to the end."""
    print("| kind | meter | stretches | right | 95 % low | time lost by the sound channel (worst, %) |")
    print("| --- | --- | --- | --- | --- | --- |")
    for kind in DEAD:
        for meter in METERS:
            right = total = 0
            worst = 0.0
            for number in range(benches):
                rate = RATES[number % len(RATES)]
                away = None if number % 3 == 0 else float(300.0 + 100.0 * (number % 7))
                bench = simulate_log(
                    kind, seed=FIRST_SEED + 1000 + number, hours=1.0, rate_hz=rate, away_s=away, **METERS[meter]
                )
                runs = trace_log(bench.logs[0], SETTINGS)
                for stretch in bench.truth.runs[0]["left"].stretches:
                    if stretch.end_s - stretch.start_s >= 300.0 - 1.0:
                        total += 1
                        good = found(runs, "left", stretch.start_s, stretch.end_s)
                        right += good
                        if not good and "-v" in sys.argv:
                            print(
                                "   missed",
                                kind,
                                meter,
                                FIRST_SEED + 1000 + number,
                                rate,
                                away,
                                stretch,
                                taken(runs, "left"),
                            )
                worst = max(worst, lost_share(runs, bench, "right"), lost_share(runs, bench, "left"))
            print(
                f"| {kind} | {meter} | {total} | {right / total:.3f} | {_low(right, total):.3f} | {100 * worst:.2f} |"
            )


def nights(benches: int) -> None:
    """Timer nights: off stretches, bumps and surges."""
    print(
        "| meter | off stretches | right | nights without a false excursion | power-ups found | time lost (worst, %) |"
    )
    print("| --- | --- | --- | --- | --- | --- |")
    for meter in METERS:
        right = total = clean = ups = due = 0
        worst = 0.0
        for number in range(benches):
            rate = RATES[number % len(RATES)]
            bench = simulate_log(
                "timer-nights",
                seed=FIRST_SEED + 2000 + number,
                hours=4.0,
                rate_hz=rate,
                on_h=0.6,
                off_h=0.6,
                **METERS[meter],
            )
            runs = trace_log(bench.logs[0], SETTINGS)
            ok = True
            for name in bench.channels:
                truth = bench.truth.runs[0][name]
                for stretch in truth.stretches:
                    if stretch.state == "off" and stretch.end_s - stretch.start_s >= 300.0:
                        total += 1
                        good = found(runs, name, stretch.start_s, stretch.end_s)
                        right += good
                        if not good and "-v" in sys.argv:
                            print(
                                "   missed", meter, FIRST_SEED + 2000 + number, rate, name, stretch, taken(runs, name)
                            )
                count = sum(t.excursions.count for run in runs for t in run.traces if t.channel == name)
                if count and "-v" in sys.argv:
                    print("   excursions", meter, FIRST_SEED + 2000 + number, rate, name, count)
                ok &= count == 0
                worst = max(worst, lost_share(runs, bench, name))
            clean += ok
            due += len(bench.truth.runs[0]["left"].power_ups) - 1
            ups += len(runs) - 1
        print(f"| {meter} | {total} | {right / total:.3f} | {clean}/{benches} | {ups}/{due} | {100 * worst:.2f} |")


def sound(benches: int) -> None:
    """Time that the detectors take from channels that were connected throughout, and other false alarms."""
    print("| kind | meter | logs | mean lost % | logs over 1 % | false power-ups | false ranges |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for kind in KINDS:
        for meter in METERS:
            own = {} if kind in ("steady-coarse", "steady-fine") else METERS[meter]
            if own == {} and meter != "1 mV":
                continue
            lost: list[float] = []
            ups = ranges = 0
            for number in range(benches):
                options: dict[str, Any] = {"rate_hz": RATES[number % len(RATES)], **own}
                options["hours"] = {"classic": 1 / 30, "steady-daily": 12.0}.get(kind, 1.0)
                try:
                    bench = simulate_log(kind, seed=FIRST_SEED + 3000 + number, **options)
                except ValueError:
                    continue
                for k, log in enumerate(bench.logs):
                    runs = trace_log(log, SETTINGS)
                    for name in bench.channels:
                        truth = bench.truth.runs[k][name]
                        if any(item.state in HIDDEN for item in truth.stretches):
                            continue
                        share = lost_share(runs, bench, name, k)
                        lost.append(share)
                        if share > 0.01 and "-v" in sys.argv:
                            print(
                                "   lost", kind, meter, FIRST_SEED + 3000 + number, options, k, name, taken(runs, name)
                            )
                        mine = [t for run in runs for t in run.traces if t.channel == name]
                        ranges += any(len(t.ranges.spans) > 1 for t in mine) and len(truth.ranges) < 2
                        if any(len(t.ranges.spans) > 1 for t in mine) and len(truth.ranges) < 2 and "-v" in sys.argv:
                            print("   ranges", kind, meter, FIRST_SEED + 3000 + number, name, [t.ranges for t in mine])
                    if not any(x.state in HIDDEN for t in bench.truth.runs[k].channels.values() for x in t.stretches):
                        ups += len(runs) - 1 - (1 if kind == "logger-pause" else 0)
            if lost:
                share = np.array(lost)
                print(
                    f"| {kind} | {meter if own else 'its own'} | {share.size} | {100 * share.mean():.3f} | "
                    f"{np.count_nonzero(share > 0.01)} | {ups} | {ranges} |"
                )


def _low(hits: int, trials: int) -> float:
    from scipy.special import betaincinv

    return float(betaincinv(hits, trials - hits + 1, 0.025)) if hits else 0.0


if __name__ == "__main__":
    words = [word for word in sys.argv[1:] if word != "-v"]
    if "--seed" in words:
        at = words.index("--seed")
        FIRST_SEED = int(words[at + 1])
        del words[at : at + 2]
    many = int(words[0]) if words else 200
    for part in words[1:] or ["dead", "nights", "sound"]:
        print(f"\n## {part}, {many} benches a row\n")
        {"dead": dead, "nights": nights, "sound": sound}[part](many)
