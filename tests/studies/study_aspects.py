"""How often does a comparison claim a change of movement, jumps, noise, level, power-up or protection where none is?

    python tests/studies/study_aspects.py [pairs per kind] [--seed N] [--record]

Two logs of one unit (same kind, same options, other draws) have nothing changed: each claim is false. The second table
has pairs in which something was mended, the third pairs in which what changed is no channel's own: a dimmer, a heater or a
meter's zero on every output, leads that changed places; and beside them a channel that was mended. Two or three channels
a log; all logs are invented. By hand; some two minutes (`--shared` makes the third alone).
"""

from __future__ import annotations

import argparse
from collections import Counter
from pathlib import Path
from typing import Any

RESULTS = Path(__file__).parent / "results" / "aspects.md"
UNCHANGED: tuple[tuple[str, dict[str, Any]], ...] = (
    ("steady", {}),
    ("steady-flicker", {}),
    ("steady", {"noise_V": 0.003}),
    ("steady", {"surge_V": 0.2, "runs": 5, "hours": 1.0}),
    ("noisy", {"rate_per_h": 20.0}),
    ("noisy-popcorn", {}),
    ("noisy-popcorn", {"runs": 4, "hours": 1.0}),
    ("noisy-floor", {}),
    ("drifting", {"drift_V": 0.022}),
    ("drifting-walk", {}),
    ("drifting-power-ups", {}),
    ("settled-offset", {"offset_V": 0.05}),
)
MENDED: tuple[tuple[str, dict[str, Any], dict[str, Any], str], ...] = (
    ("drifting", {"drift_V": 0.078}, {}, "movement"),
    ("drifting", {"drift_V": 0.04}, {}, "movement"),
    ("noisy-popcorn", {}, {}, "jumps"),
    ("noisy-floor", {}, {}, "noise floor"),
    ("settled-offset", {}, {}, "settled level"),
    ("steady", {"surge_V": 0.6, "surge_tau_s": 65.0, "runs": 4, "hours": 1.0}, {"runs": 4, "hours": 1.0}, "power-up"),
    ("steady", {"surge_V": 0.6, "surge_tau_s": 65.0, "runs": 2, "hours": 1.0}, {"runs": 2, "hours": 1.0}, "power-up"),
)
RATE = {"episodes", "occupied windows"}
# what lies on each output before and after: volts of noise, of a slow sine, of rest; outputs that are mended by themselves
SHARED: tuple[tuple[str, tuple[tuple[float, float, float], ...], tuple[tuple[float, float, float], ...], tuple[int, ...]], ...] = (
    ("a dimmer off: 5 mV of noise gone from both", ((5e-3, 0, 4e-3), (5e-3, 0, -6e-3)), ((3e-4, 0, 4e-3), (3e-4, 0, -6e-3)), ()),
    ("the same, three outputs", ((5e-3, 0, 4e-3), (4e-3, 0, -6e-3), (6e-3, 0, 3e-3)), ((3e-4, 0, 4e-3), (3e-4, 0, -6e-3), (3e-4, 0, 3e-3)), ()),
    ("a heater off: 40 mV of movement gone from both", ((3e-4, 0.02, 4e-3), (3e-4, 0.02, -6e-3)), ((3e-4, 0, 4e-3), (3e-4, 0, -6e-3)), ()),
    ("the meter's zero: both rest 80 mV lower", ((3e-4, 0, 0.084), (3e-4, 0, 0.074)), ((3e-4, 0, 4e-3), (3e-4, 0, -6e-3)), ()),
    ("leads changed places, one output rests at 80 mV", ((3e-4, 0, 0.08), (3e-4, 0, -6e-3)), ((3e-4, 0, -6e-3), (3e-4, 0, 0.08)), ()),
    ("left mended: 5 mV of noise", ((5e-3, 0, 4e-3), (4e-4, 0, -6e-3)), ((3e-4, 0, 4e-3), (4e-4, 0, -6e-3)), (0,)),
    ("a dimmer off, and left mended besides: 10 and 4 mV", ((1e-2, 0, 4e-3), (4e-3, 0, -6e-3)), ((3e-4, 0, 4e-3), (3e-4, 0, -6e-3)), (0,)),
    ("left mended: 50 mV of movement", ((3e-4, 0.025, 4e-3), (3e-4, 1e-3, -6e-3)), ((3e-4, 0, 4e-3), (3e-4, 0, -6e-3)), (0,)),
    ("left mended: rests 80 mV lower", ((3e-4, 0, 0.084), (3e-4, 0, -6e-3)), ((3e-4, 0, 4e-3), (3e-4, 0, -6e-3)), (0,)),
)  # fmt: skip


def pair(one: tuple[str, dict[str, Any]], two: tuple[str, dict[str, Any]], seed: int) -> list[Any]:
    """Compare two logs of one unit, channel by channel."""
    import flicker
    from flicker.simulate import simulate_log

    sides = []
    for k, (kind, options) in enumerate((one, two)):
        used = {"hours": 2.0, "rate_hz": 0.5, **options}
        sides.append(flicker.assess(list(simulate_log(kind, seed=2 * seed + k, unit=seed, **used).logs)))
    return list(flicker.compare(*sides).channels)


def shared_pair(before: Any, after: Any, seed: int) -> list[str]:
    """Outcomes of the channels of two logs of two hours, three of each side."""
    import numpy as np

    import flicker

    rng = np.random.default_rng([seed, 71])
    when = np.arange(0.0, 7200.0, 4.0)
    sides = []
    for side in (before, after):
        logs = []
        for number in range(3):
            phase = rng.uniform(0, 6.28)
            volts = {
                name: rest + 0.08 * np.exp(-when / 5.0) + sine * np.sin(when / 500.0 + phase) + rng.normal(0.0, noise, when.size)
                for name, (noise, sine, rest) in zip(("left", "right", "sub"), side, strict=False)
            }
            logs.append(flicker.Log.from_arrays(when, volts, name=f"log {number}"))
        sides.append(logs)
    return [str(found.outcome) for found in flicker.compare(*sides).channels]


def shared_table(seeds: range) -> list[str]:
    """Channels called improved or worse that nobody mended, and mended ones called improved."""
    lines = ["| what changed | outputs not mended | improved, worse | mended | improved |", "|---|---|---|---|---|"]
    for name, before, after, mended in SHARED:
        said = [shared_pair(before, after, seed) for seed in seeds]
        others = [outcome for row in said for k, outcome in enumerate(row) if k not in mended]
        own = [row[k] for row in said for k in mended]
        lines.append(
            f"| {name} | {len(others)} | {others.count('improved')}, {others.count('worse')} | {len(own)} | {own.count('improved')} |"
        )
    return lines


def main() -> None:
    """Print the tables."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("pairs", type=int, nargs="?", default=30)
    asked.add_argument("--seed", type=int, default=71000)
    asked.add_argument("--record", action="store_true")
    asked.add_argument("--shared", action="store_true")
    given = asked.parse_args()
    seeds = range(given.seed, given.seed + given.pairs)
    if given.shared:
        print("\n".join(shared_table(seeds)))
        return
    lines = ["| unchanged | channels compared | false claims |", "|---|---|---|"]
    for kind, options in UNCHANGED:
        false: Counter[str] = Counter()
        number = 0
        for seed in seeds:
            for found in pair((kind, options), (kind, options), seed):
                number += 1
                claims = (a for a in found.aspects if a.aspect not in RATE and a.outcome != "no change shown")
                false.update(f"{a.aspect} {a.outcome}" for a in claims)
        told = ", ".join(f"{count} {name}" for name, count in sorted(false.items())) or "none"
        lines.append(f"| {kind} {options or ''} | {number} | {told} |")
    lines += ["", "| mended | aspect | 'improved' in the left channel |", "|---|---|---|"]
    for kind, before, after, aspect in MENDED:
        shown = 0
        for seed in seeds:
            found = pair((kind, before), ("steady", after), seed)[0]
            shown += any(a.aspect == aspect and a.outcome == "improved" for a in found.aspects)
        lines.append(f"| {kind} {before or ''} | {aspect} | {shown} of {given.pairs} |")
    print("\n".join(lines))
    if given.record:
        lines += ["", *shared_table(seeds)]
        head = f"# Claims of a comparison by every aspect\n\n`study_aspects.py {given.pairs} --seed {given.seed}`; logs of 2 h, two readings in 4 s.\n\n"
        RESULTS.write_text(head + "\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
