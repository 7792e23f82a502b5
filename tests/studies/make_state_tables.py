"""Make the table of the second opinion on stretches that the rules would leave out. By hand; needs scikit-learn.

python tests/studies/make_state_tables.py [--first SEED] writes flicker/signals/connection/second_opinion.json. It
learns from proposals of the rules on five invented benches: real faults (`fault_makers.py`), states without kinds
(`moving_states.py`), hidden stretches and sound
channels of the second generator, and of `flicker.simulate`. A wrong 'not live' weighs three times a wrong 'live'.
Figures that physics bounds may only raise or only lower the odds.
"""

from __future__ import annotations

import argparse
import json
import zlib
from collections.abc import Callable, Iterator

import fault_makers
import moving_states
import numpy as np
import second_situations
from study_connection import METERS, SETTINGS

from flicker import Log
from flicker.signals.blocks import reduce_log
from flicker.signals.connection.disconnection import find_lapses
from flicker.signals.connection.second_opinion import FIGURES, TABLE, proposals
from flicker.signals.connection.states import find_power_ups
from flicker.signals.draft import ranges_of
from flicker.simulate import simulate_log
from flicker.stats.noise import resolution_of

Hidden = Callable[[str], list[tuple[float, float]]]
WEIGHT = 3.0
TREES, LEAVES, RATE, FEWEST = 60, 6, 0.15, 8
NO_LIFE = {"off", "disconnected", "floating", "shorted", "repeats", "muted"}
SIMULATED = ("lead-off", "lead-shorted", "lead-chassis", "meter-repeats", "timer-nights", "relay-speaker-side")
RAISES = (
    "sureness of the shift",
    "shift in swings of the stretch",
    "level beside",
    "silence",
    "repeat against the longest elsewhere",
    "trip before",
    "length",
    "contrast at the begin",
    "contrast at the end",
    "others: at zero",
)
LOWERS = ("share with volts", "as quiet elsewhere", "level inside over beside")


def benches(first: int, scale: float) -> Iterator[tuple[str, Log, Hidden]]:
    """Name, log and what is hidden in each channel."""
    for kind in fault_makers.KINDS:
        for seed in range(first, first + int(250 * scale)):
            yield f"{kind}-{seed}", fault_makers.make(kind, seed)[0], lambda name: []
    for seed in range(first, first + int(4000 * scale)):
        log, away = moving_states.make(seed)
        yield f"moving-{seed}", log, {"left": away, "right": []}.__getitem__
    for kind in (*second_situations.DEAD, *second_situations.SOUND):
        many = 160 if kind in ("lead-off", "relay-floating") else 40 if kind in second_situations.DEAD else 8
        for seed in range(first, first + int(many * scale)):
            meter = list(second_situations.METERS)[seed % 3]
            rate = second_situations.RATES[seed // 3 % 4]
            case = second_situations.make(kind, seed, meter=meter, rate_hz=rate)
            yield f"{kind}-{seed}", case.log, case.hidden.__getitem__
    for kind in SIMULATED:
        for seed in range(first, first + int((90 if kind == "lead-off" else 24) * scale)):
            away = None if seed % 3 == 0 else 300.0 + 100.0 * (seed % 7)
            options = {"away_s": away} if kind in SIMULATED[:4] else {}
            meter_of = METERS[list(METERS)[seed % 3]]
            bench = simulate_log(
                kind, seed=seed, hours=1.2, rate_hz=(1.0, 2.0, 5.0, 10.0)[seed // 3 % 4], **meter_of, **options
            )
            truth = bench.truth.runs[0]
            hidden = {
                name: [(s.start_s, s.end_s) for s in truth[name].stretches if s.state in NO_LIFE]
                for name in bench.channels
            }
            yield f"{kind}-{seed}", bench.logs[0], hidden.__getitem__


def rows_of(log: Log, hidden: Hidden) -> Iterator[tuple[float, float, np.ndarray]]:
    """Share of each proposal that is hidden, its length, and its figures, with and without the other channels."""
    for blocks in reduce_log(log):
        digits = [resolution_of(part.sample_V[np.isfinite(part.sample_V)]) for part in blocks.channels]
        every = [
            find_lapses(
                blocks,
                k,
                ranges=ranges_of(blocks, k, digit, ()),
                protection_V=SETTINGS.protection_V,
                band_V=SETTINGS.settle_band_V,
            )
            for k, digit in enumerate(digits)
        ]
        ups, lapses = find_power_ups(blocks, every, band_V=SETTINGS.settle_band_V, resolutions_V=digits)
        for channel, lapse, rows in proposals(blocks, lapses, [item.block for item in ups], digits):
            length = lapse.end_s - lapse.begin_s
            inside = sum(
                max(0.0, min(lapse.end_s, end) - max(lapse.begin_s, begin))
                for begin, end in hidden(log.channels[channel])
            )
            for row in rows:
                yield inside / length, length, row
            alone = rows[0].copy()
            alone[FIGURES.index("others: movement some seconds apart") : FIGURES.index("restless")] = 0.0, 0.0, 0.5
            yield inside / length, length, alone


def main() -> None:
    """Gather, fit, report by five folds of logs, and write the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--first", type=int, default=900_000)
    parser.add_argument("--scale", type=float, default=1.0, help="share of the benches, for a trial")
    parser.add_argument("--threshold", type=float, default=-1.0)
    given = parser.parse_args()
    from sklearn.ensemble import HistGradientBoostingClassifier

    rows, hidden, fold, length = [], [], [], []
    for name, log, truth in benches(given.first, given.scale):
        for share, seconds, row in rows_of(log, truth):
            if not 0.2 < share < 0.8:
                rows.append(row)
                hidden.append(share > 0.5)
                fold.append(zlib.crc32(name.encode()) % 5)
                length.append(seconds)
    x, y, part, seconds = np.array(rows), np.array(hidden), np.array(fold), np.array(length)
    signs = [int(name in RAISES) - int(name in LOWERS) for name in FIGURES]

    def fitted(chosen: np.ndarray) -> HistGradientBoostingClassifier:
        model = HistGradientBoostingClassifier(
            max_iter=TREES,
            max_leaf_nodes=LEAVES,
            learning_rate=RATE,
            min_samples_leaf=FEWEST * 4,  # four rows a proposal
            l2_regularization=1.0,
            monotonic_cst=signs,
            early_stopping=False,
            random_state=0,
        )
        return model.fit(x[chosen], y[chosen], sample_weight=np.where(y[chosen], 1.0, WEIGHT))

    score = np.zeros(y.size)
    for number in range(5):
        score[part == number] = fitted(part != number).decision_function(x[part == number])
    restless = x[:, -1] > 0
    print(f"{y.size} rows, {np.count_nonzero(y)} of them hidden")
    for limit in (-3.0, -2.5, -2.0, -1.5, -1.0, -0.5, 0.0):
        parts = [
            f"{name}: hidden lost {np.mean(score[own & y] < limit):.3f}, live left out {np.mean(score[own & ~y] >= limit):.3f}"
            for name, own in (("restless", restless), ("still", ~restless))
        ]
        time = np.sum(seconds[~y & (score >= limit)]) / np.sum(seconds[~y])
        print(f"{limit:5.1f} {'; '.join(parts)}; of live time {time:.3f}")
    model = fitted(np.ones(y.size, dtype=bool))
    trees = []
    for (predictor,) in model._predictors:
        nodes = predictor.nodes
        trees.append(
            [
                [-1 if node["is_leaf"] else int(node["feature_idx"]) for node in nodes],
                [0.0 if node["is_leaf"] else float(node["num_threshold"]) for node in nodes],
                [int(node["left"]) for node in nodes],
                [int(node["right"]) for node in nodes],
                [float(f"{node['value']:.5g}") if node["is_leaf"] else 0.0 for node in nodes],
            ]
        )
    count = sum(len(tree[0]) for tree in trees)
    table = {
        "origin": f"make_state_tables.py --first {given.first} --scale {given.scale} --threshold {given.threshold}",
        "rows": int(y.size),
        "nodes": count,
        "figures": list(FIGURES),
        "threshold": given.threshold,
        "base": float(np.ravel(model._baseline_prediction)[0]),
        "trees": trees,
    }
    table = {"$comment": "generated by tests/studies/make_state_tables.py", **table}
    TABLE.write_text(json.dumps(table, separators=(",", ":")) + "\n", encoding="utf-8")
    from flicker.signals.connection.second_opinion import _table, log_odds

    _table.cache_clear()
    worst = max(
        abs(log_odds(row) - value) for row, value in zip(x[:300], model.decision_function(x[:300]), strict=True)
    )
    print(f"{count} nodes, {TABLE.stat().st_size} bytes; the written table differs by at most {worst:.1e}")


if __name__ == "__main__":
    main()
