"""Coverage of the places and heights that `level_segments` describes: invented steps in noise of several colours.

Run it as a script; it writes tests/studies/results/segments.md.
"""

from __future__ import annotations

from pathlib import Path

import noise_makers as makers
import numpy as np

from flicker.stats.levels.segments import level_segments

SEED = 20261126
LOGS = 100
NOISE = {
    "white": lambda rng, n: makers.white(rng, 1, n)[0],
    "AR .9": lambda rng, n: makers.ar1(rng, 1, n, 0.9)[0],
    "AR .98": lambda rng, n: makers.ar1(rng, 1, n, 0.98)[0],
    "1/f": lambda rng, n: makers.spectral(rng, 1, n, 1.0)[0],
    "1/f^1.2": lambda rng, n: makers.spectral(rng, 1, n, 1.2)[0],
}
SIZES_V = (0.030, 0.060)


def one(rng, noise, size_V, readings, ramp):
    """A log with one stretch away from the rest, of a twentieth to a quarter of it; sd of the noise 4 mV."""
    length = int(rng.uniform(0.05, 0.25) * readings)
    first = int(rng.uniform(0.1, 0.9 - length / readings) * readings)
    shape = np.zeros(readings)
    shape[first : first + length] = 1.0
    if ramp:  # an edge that takes a tenth of the stretch, its middle at the border
        wide = max(1, length // 10)
        shape = np.convolve(np.pad(shape, wide, mode="edge"), np.ones(wide) / wide, mode="same")[wide:-wide]
    levels = 0.004 * noise(rng, readings) + size_V * shape
    return levels, float(first), float(first + length), size_V


def measure(rng, noise, size_V, readings=1500, ramp=False):
    """Shares: the stretch found as one; both places covered; the step covered; median width of a place, in stretches."""
    found, place, step, wide = 0, 0, 0, []
    for _ in range(LOGS):
        levels, begin, end, size = one(rng, noise, size_V, readings, ramp)
        away = level_segments(levels, smallest_step=0.020, shortest=readings / 100).away
        if len(away) != 1:
            continue
        (item,) = away
        found += 1
        place += (item.begin_low <= begin <= item.begin_high) + (item.end_low <= end <= item.end_high)
        step += item.step_low <= size <= item.step_high
        wide.append((item.begin_high - item.begin_low) / (end - begin))
    return found, place, step, float(np.median(wide)) if wide else float("nan")


def main():
    """Write the table."""
    rng = np.random.default_rng(SEED)
    lines = [
        "# Where a level lay: coverage of places and heights",
        "",
        f"By study_segments.py, {LOGS} logs a row of 1,500 readings, seed {SEED}; noise of 4 mV, data invented. One stretch "
        "away from the rest, a twentieth to a quarter of the log; smallest step 20 mV. Places and steps of the logs in which "
        "exactly one stretch was found; both intervals are nominal 95 %. An edge of a tenth of the stretch at 60 mV is often "
        "told as two steps, which is no error.",
        "",
        "| noise | step, mV | edge | one stretch found | places covered | steps covered | width of a place, in stretches |",
        "|---|---|---|---|---|---|---|",
    ]
    for name, noise in NOISE.items():
        for size_V in SIZES_V:
            for ramp in (False, True):
                found, place, step, wide = measure(rng, noise, size_V, ramp=ramp)
                shown = max(found, 1)
                lines.append(
                    f"| {name} | {size_V * 1e3:g} | {'a tenth' if ramp else 'sharp'} | {found / LOGS:.3f} | "
                    f"{place / shown / 2:.3f} | {step / shown:.3f} | {wide:.3f} |"
                )
                print(lines[-1], flush=True)
    out = Path(__file__).parent / "results" / "segments.md"
    out.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
