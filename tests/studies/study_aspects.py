"""How often does a comparison claim a change of movement, jumps, noise, level, power-up or protection where none is?

    python tests/studies/study_aspects.py [pairs per kind] [--seed N] [--record]

Two logs of one unit (same kind, same options, other draws) have nothing changed: each claim is false. The second table
has pairs in which something was mended. Two channels a log; all logs are invented. By hand; some two minutes.
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


def pair(one: tuple[str, dict[str, Any]], two: tuple[str, dict[str, Any]], seed: int) -> list[Any]:
    """Compare two logs of one unit, channel by channel."""
    import flicker
    from flicker.simulate import simulate_log

    sides = []
    for k, (kind, options) in enumerate((one, two)):
        used = {"hours": 2.0, "rate_hz": 0.5, **options}
        sides.append(flicker.assess(list(simulate_log(kind, seed=2 * seed + k, unit=seed, **used).logs)))
    return list(flicker.compare(*sides).channels)


def main() -> None:
    """Print both tables."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("pairs", type=int, nargs="?", default=30)
    asked.add_argument("--seed", type=int, default=71000)
    asked.add_argument("--record", action="store_true")
    given = asked.parse_args()
    seeds = range(given.seed, given.seed + given.pairs)
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
        head = f"# Claims of a comparison by every aspect\n\n`study_aspects.py {given.pairs} --seed {given.seed}`; logs of 2 h, two readings in 4 s.\n\n"
        RESULTS.write_text(head + "\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
