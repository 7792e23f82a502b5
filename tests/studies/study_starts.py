"""Are the starts of a unit inside a file found, and is an open lead told from volts that come at each start? All data are invented.

Starts: stories of other hands (`fresh_benches.py`) whose truth holds when the unit was on; power-ups counted by the guard and by the
runs beside it. Leads: as `open_starts.py` draws them, here of one size at each start of a log, the hardest case; a log is wrong
where three starts and more are called alike.

    python tests/studies/study_starts.py --seed 430 -n 8
    python tests/studies/study_starts.py --leads 400 --seed 434000
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from typing import Any

import fresh_bench_parts
import fresh_benches
import fresh_repairs
import numpy as np
from fresh_parts import table
from second_bench import ar1
from second_situations import hum

from flicker import assess, read_log

KINDS = ("cutout cycles", "cutout sound", "soak cut off", "latched till cycled", "joined backwards", "smart plug", "auto off twenty", "restarts itself")
LEADS = ("jumps", "hum", "wander", "floats", "mixed")
EVERY_S = (0.2, 0.5, 1.0, 2.0)


class Truth:
    """Counts how often the unit of a story is switched on, by what the story makes."""

    def __init__(self) -> None:
        self.starts = 0
        powered, evening = fresh_repairs.powered, fresh_bench_parts.Bench.evening

        def counted(b: Any, t: Any, spans: Sequence[tuple[float, float]], *more: Any) -> Any:
            self.starts += sum(begin < t[-1] for begin, _ in spans)
            return powered(b, t, spans, *more)

        def logged(b: Any, *args: Any, **options: Any) -> Any:
            self.starts += not options.get("warm")
            return evening(b, *args, **options)

        fresh_bench_parts.Bench.evening = logged  # type: ignore[method-assign]
        for module in list(sys.modules.values()):
            if getattr(module, "powered", None) is powered:
                module.powered = counted  # type: ignore[attr-defined]


def starts(seed: int, n: int) -> Iterator[tuple[Any, ...]]:
    """Per kind: stories, starts in truth, found by the guard and by the runs, stories with all of them, channels cleared."""
    truth = Truth()
    for kind in KINDS:
        row = np.zeros(6, dtype=int)
        for story in range(seed * 1000, seed * 1000 + n):
            truth.starts = 0
            step = fresh_benches.story(kind, story).steps[0]
            found = assess([read_log(log) for log in step.logs])
            by_guard = max(channel.guard.figures.power_ups for channel in found.channels)
            by_runs = max(record.cycles for record in found.records)
            cleared = sum(channel.fitness.startswith("within") for channel in found.channels)
            row += (truth.starts, by_guard, by_runs, by_guard == by_runs == truth.starts, cleared, len(found.channels))
        yield kind, n, *row


def lead(rng: np.random.Generator, kind: str, t: np.ndarray, size: float) -> np.ndarray:
    """Give what an open lead of some size reads."""
    if t.size == 1:
        return size * rng.uniform(-1, 1, 1)
    if kind == "jumps":
        return size * rng.uniform(-1, 1, t.size)
    if kind == "hum":
        return hum(rng, t, size)
    if kind == "wander":
        return np.clip(size * ar1(rng, t.size, float(np.exp(-t[1] / rng.uniform(0.3, 1.5)))), -1, 1)
    if kind == "floats":
        return np.clip(0.3 * size * rng.uniform(-1, 1) + 0.5 * size * rng.normal(size=t.size), -1, 1)
    return np.clip(size * (0.5 * hum(rng, t, 1.0) + 0.4 * rng.normal(size=t.size)), -1, 1)


def called_alike(rng: np.random.Generator, kind: str, every_s: float, power_ups: int) -> bool:
    """Draw a log of some power-ups, a lead in the air until the relay closes at each; are they called alike?"""
    t = np.arange(0.0, 900.0, every_s)
    size = float(np.exp(rng.uniform(np.log(0.2), np.log(0.9))))
    logs = []
    for k in range(power_ups):
        volts = 0.004 + 2e-4 * rng.standard_normal(t.size)
        volts += rng.choice([-1, 1]) * rng.uniform(0.01, 0.08) * np.exp(-t / 3.0)
        head = t < rng.uniform(2.0, 6.0)
        volts[head] = lead(rng, kind, t[head], size)
        stamps = np.datetime64("2031-03-03T09:00:00", "ms") + (86400e3 * k + np.round(1e3 * t)).astype("timedelta64[ms]")
        logs.append(read_log({"time": stamps, "left_V": volts}))
    return assess(logs).channels[0].guard.figures.alike_starts > 0


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("-n", type=int, default=0, help="stories of each kind")
    parser.add_argument("--leads", type=int, default=0, help="logs of each kind of lead and interval")
    parser.add_argument("--power-ups", type=int, nargs="*", default=[3])
    args = parser.parse_args()
    if args.n:
        print(table(("kind", "stories", "starts", "guard", "runs", "all found", "cleared", "channels"), list(starts(args.seed, args.n))))
    rng = np.random.default_rng(args.seed)
    rows = [
        (kind, power_ups, *(sum(called_alike(rng, kind, every_s, power_ups) for _ in range(args.leads)) for every_s in EVERY_S))
        for power_ups in args.power_ups
        for kind in LEADS
        if args.leads
    ]
    if rows:
        print(table(("lead", "power-ups", *(f"{every_s:g} s" for every_s in EVERY_S)), rows))


if __name__ == "__main__":
    main()
