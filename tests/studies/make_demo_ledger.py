"""The demo's ledger: forty jobs of an invented workshop, drawn from one seed; no unit, customer or fault is real.

    python tests/studies/make_demo_ledger.py     # writes demo_data/ledger.csv again, byte for byte (a test checks it)
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np

from flicker.evidence.among_like import COLUMNS
from flicker.stats.power_ups import mean_rate
from flicker.survey_table import as_table

SEED, JOBS = 20310101, 40
OUT = Path(__file__).resolve().parents[2] / "demo_data" / "ledger.csv"
MODELS = {"Quillmoor A-45": (0.004, 0.012), "Quillmoor M-22": (0.001, 0.006), "Quillmoor R-60": (0.010, 0.028)}
FAULTS = {
    "noisy": ("a thump from one side now and then", ("input connectors reseated", "first-stage transistor pair replaced", "output relay replaced")),
    "drifting": ("protection opens after an hour", ("offset adjusted", "bias diode replaced")),
    "degrading": ("thumps, more each week", ("first-stage transistor pair replaced", "supply capacitors replaced")),
}  # fmt: skip
CURES = {"input connectors reseated": 0.3, "offset adjusted": 0.4}  # chance that it helps; else 0.85


def figures(rng, hours, per_hour):
    """Counts of three power-ups, and the rate with its limits."""
    counts = rng.poisson(per_hour * hours / 3 * rng.gamma(11, 1 / 11, 3))
    told = mean_rate(counts, [hours / 3] * 3)
    return {"observed_h": round(hours, 2), "episodes": int(counts.sum()), "per_hour": round(told.rate, 3),
            "low_per_hour": round(told.low, 3), "high_per_hour": round(told.high, 3)}  # fmt: skip


def rows(rng):
    """Rows of all jobs."""
    out = []
    for k in range(JOBS):
        model = str(rng.choice(list(MODELS), p=(0.5, 0.3, 0.2)))
        fault = str(rng.choice(list(FAULTS), p=(0.6, 0.25, 0.15)))
        text, work = FAULTS[fault]
        done = str(rng.choice(work))
        cured = rng.random() < CURES.get(done, 0.85)
        job = {"job": f"TS-{1001 + k}", "model": model, "serial": f"{model.split()[1].replace('-', '')}-{rng.integers(1, 2000):04d}",
               "complaint": text, "case": f"{dt.date(2030, 1, 7) + dt.timedelta(days=9 * k)}/case.toml", "version": "invented"}  # fmt: skip
        bad = int(rng.integers(0, 2))
        before: dict[str, str] = {}
        for stage in ("as received", "after repair"):
            after = stage == "after repair"
            for side, channel in enumerate(("left", "right")):
                sick = side == bad and not (after and cured)
                verdict = fault if sick else "steady"
                hours = float(rng.uniform(3, 9))
                swings = float(rng.gamma(2, 4)) if sick and fault != "drifting" else 0.0
                level = float(rng.uniform(*MODELS[model])) * (rng.uniform(2, 5) if sick else 1.0) * rng.choice((-1, 1))
                fitness = "not yet shown" if sick else "within limits for the time observed"
                out.append(
                    {**dict.fromkeys(COLUMNS), **job, **figures(rng, hours, swings), "stage": stage, "channel": channel,
                     "done": done if after else None, "changed": "replaced" in done if after else None,
                     "verdict": verdict, "verdict_before": before.get(channel), "fitness": fitness,
                     "fitness_before": (before.get(channel) and ("within limits for the time observed" if before[channel] == "steady" else "not yet shown")) or None,
                     "outcome": None if not after else "improved" if before[channel] != verdict else "no change shown",
                     "cured": None if not after or before[channel] in ("steady", "drifting") else "shown" if not sick else "not yet",
                     "level_V": round(level, 5), "sigma_V": round(float(rng.uniform(2e-4, 9e-4)), 6)}
                )  # fmt: skip
                before[channel] = verdict
    return out


def table():
    """The ledger."""
    return as_table(rows(np.random.default_rng(SEED)), COLUMNS)


if __name__ == "__main__":
    table().to_csv(OUT, index=False)
