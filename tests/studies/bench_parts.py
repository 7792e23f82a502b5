"""Error rates, power and coverage of the bench parts over many simulated benches; all invented. Run by hand:

python tests/studies/bench_parts.py [BENCHES], from the project's root; results stand in results/bench_parts.md.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

import test_coincidence
import test_control
import test_stimulus
import test_warmup

from flicker.base.limits import Limits
from flicker.evidence.located.power_up_history import check_power_ups
from flicker.evidence.located.warmup import warmup_rate
from flicker.evidence.outlook.protection import trip_forecast
from flicker.evidence.questions.control import against_control
from flicker.evidence.questions.stimulus import judge_stimuli


def bursts(rng, per_h, hours, size, gap):
    begin = rng.uniform(0, hours * 3600, rng.poisson(per_h * hours / size))
    members = rng.geometric(1 / size, begin.size)
    times = np.repeat(begin, members) + np.concatenate([np.cumsum(rng.exponential(gap, m)) for m in members] or [[]])
    return np.sort(times % (hours * 3600))


def coincidence(burst):
    def one(rng):
        left, right = (test_coincidence.events(n, bursts(rng, 25, 1, burst, 3.0), span=3600) for n in "ab")
        return test_coincidence.coincide(left, right).p_value <= 0.05

    return one


def shared(rng):
    common = rng.uniform(0, 14_400, 6)
    left, right = (np.sort(np.append(common + rng.normal(0, 0.2, 6), rng.uniform(0, 14_400, 10))) for _ in range(2))
    keep = [x[(x > 0) & (x < 14_400)] for x in (left, right)]
    return test_coincidence.coincide(*(test_coincidence.events(n, x) for n, x in zip("ab", keep, strict=True))).p_value <= 0.05


def stimulus(burst, answered, taps=12):
    def one(rng):
        tap = 5000.0 + 45.0 * np.arange(taps) + rng.uniform(0, 5, taps)
        events = np.concatenate((bursts(rng, 12, 3, burst, 4.0), (tap + 0.5)[rng.random(taps) < answered]))
        report = judge_stimuli([test_stimulus.run(np.sort(events), {"tap": tap}, span=10_800.0)])
        return report.provoked == "yes"

    return one


def control(burst, ratio=1.0):
    def one(rng):
        unit, base = test_control.benches(rng, 6 * ratio, 6, burst), test_control.benches(rng, 6, 3, burst)
        return against_control([unit], [21_600.0], [base], [10_800.0]).answer == "yes"

    return one


def trip(count, shape):
    def one(rng):
        n = rng.poisson(count)
        excess = rng.exponential(0.15, n) if shape == 0 else 0.15 * (rng.random(n) ** -shape - 1) / shape
        survival = math.exp(-0.65 / 0.15) if shape == 0 else (1 + shape * 0.65 / 0.15) ** (-1 / shape)
        true = -math.expm1(-count / 10 * survival * 5)
        found = trip_forecast(0.1 + excess, 10.0, trip_V=0.75, threshold_V=0.1, hours=5.0)
        return found.high < true, found.low > true

    return one


def warm(burst, hours):
    return lambda rng: warmup_rate(test_warmup.bench(rng, 4, hours, 12.0, burst=burst)).answer != "not shown"


def fades(rng):
    return warmup_rate(test_warmup.bench(rng, 4, 1.0, 4.0, initial=40.0, tau=480.0)).answer == "fades"


def missed(rng):
    found = warmup_rate(test_warmup.bench(rng, 10, 1.5, 4.0, initial=40.0, tau=480.0))
    return (
        not found.initial_low_per_h <= 40 <= found.initial_high_per_h,
        not found.late_low_per_h <= 4 <= found.late_high_per_h,
        not found.tau_low_s <= 480 <= found.tau_high_s,
    )


def abnormal(rng):
    return any(check.abnormal for check in check_power_ups(*test_warmup.power_ups(rng, 12), Limits()))


def rows() -> Iterator[tuple[str, str, float, Callable[[np.random.Generator], Any]]]:
    """Bench, what is counted (parted by semicolons), share of the benches asked for, the trial."""
    for burst in (1, 3):
        yield f"two independent channels, 25 per hour, bursts of {burst}", "together (5 %)", 1, coincidence(burst)
    yield "6 of 16 episodes shared, 4 h", "together (power)", 1, shared
    for burst in (1, 3):
        yield f"taps that do nothing, 12 per hour, bursts of {burst}", "provoked (5 %)", 1, stimulus(burst, 0.0)
    for share in (0.25, 0.5):
        yield f"12 taps answered in {share:.0%}, 12 per hour besides", "provoked (power)", 1, stimulus(1, share)
    for burst in (1, 3):
        yield f"unit and control alike, 6 per hour, bursts of {burst}", "the unit (5 %)", 1, control(burst)
    yield "unit at 3 times the control", "the unit (power)", 1, control(1, 3.0)
    yield "12 power-ups that scatter alike", "any abnormal (5 %)", 1, abnormal
    for burst, hours in ((1, 1.0), (1, [0.5, 1.0, 2.0, 4.0]), (3, 2.0), (5, 2.0)):
        yield (
            f"constant rate, 4 runs of {hours} h, bursts of {burst}",
            "depends on warm-up (5 %)",
            0.3,
            warm(burst, hours),
        )
    yield "40 falling to 4 per hour, 4 runs of 1 h", "fades (power)", 0.3, fades
    ends = "initial rate; late rate; time constant outside its interval (5 %)"
    yield "40 falling to 4 per hour with 480 s, 10 runs of 1.5 h", ends, 0.3, missed
    for count, shape in ((12, 0.0), (12, 0.4), (150, 0.0), (150, 0.3)):  # 20 to 99: see the study of tails
        ends = "truth above the upper end; below the lower end (5 % together)"
        yield f"trip within 5 h, {count} peaks, tail shape {shape:g}", ends, 0.1, trip(count, shape)


def main() -> None:
    benches = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    lines = [
        "# Bench parts: error rates, power, coverage",
        "",
        "Made by tests/studies/bench_parts.py; all benches are invented. After each share its standard error.",
        "",
        "| bench | counted | shares | benches |",
        "| --- | --- | --- | --- |",
    ]
    for seed, (bench, counted, part, trial) in enumerate(rows()):
        rng = np.random.default_rng(5000 + seed)
        n = int(benches * part)
        shares = np.array([np.atleast_1d(trial(rng)) for _ in range(n)], dtype=float).mean(axis=0)
        cells = "; ".join(f"{share:.1%} ({math.sqrt(share * (1 - share) / n):.1%})" for share in shares.tolist())
        lines.append(f"| {bench} | {counted} | {cells} | {n} |")
        print(lines[-1], flush=True)
        (Path(__file__).parent / "results" / "bench_parts.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
