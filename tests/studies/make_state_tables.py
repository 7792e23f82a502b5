"""Make the table of the second opinion on stretches that the rules would leave out. By hand; needs scikit-learn.

python tests/studies/make_state_tables.py [--first SEED] writes flicker/signals/connection/second_opinion.json. It
learns from proposals of the rules on six invented benches: real faults (`fault_makers.py`), states without kinds
(`moving_states.py`), hidden stretches and sound channels of the second generator, of `flicker.simulate`, and fast hum of
`rare_states.py`. A wrong 'not live' weighs three times a wrong 'live'. Some 5 minutes: a log takes 0.04 s.
Figures that physics bounds may only raise or only lower the odds.
"""

from __future__ import annotations

import argparse
import json
import zlib
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor

import lead_bench
import numpy as np
import second_situations

from flicker.signals.connection.second_opinion import TABLE, proposals

# In the order of `second_opinion.figures`; the last tells the reason that the rules gave.
FIGURES = (
    "shift in own scatters",
    "shift in swings of the stretch",
    "level inside over beside",
    "contrast at the softer border",
    "level in swings of the stretch",
    "share at zero",
    "share unmoved",
    "share with volts",
    "length",
    "crossings",
    "noise in volts",
    "noise against beside",
    "floor beside, in last digits",
    "swing in volts",
    "swing over elsewhere",
    "share of one line beside",
    "tail",
    "share near the middle",
    "swings of cells differ",
    "noise of the fourth over the first difference",
    "share of one line, short",
    "share of one line, longer",
    "share of white noise",
    "restless",
)

WEIGHT = 3.0  # of a wrong 'not live'
LEAD = 6.0  # of a lead that fell off
TREES, LEAVES, RATE, FEWEST = 63, 6, 0.2, 8
RAISES = ("shift in swings of the stretch", "length")
LOWERS = ("share with volts", "level inside over beside")
# Bench, kinds and logs of each: faults that the rules leave out most, and leads that fall off, the commonest case.
DRAWN: tuple[tuple[str, tuple[str, ...], int], ...] = (
    ("moving", ("any",), 2800),
    ("faults", ("spell", "quietens", "wander"), 350),
    ("faults", ("hunt", "rtn"), 150),
    ("faults", ("through_zero", "steps_zero"), 80),
    ("second", ("lead-off",), 900),
    ("rare", ("fast-hum",), 200),
    ("second", ("relay-floating", "chassis", "ac-range", "off"), 200),
    ("second", ("relay-zero", "asleep", "timer"), 60),
    ("second", second_situations.SOUND, 2),
    ("simulated", ("lead-off",), 150),
    ("simulated", ("lead-shorted", "lead-chassis", "meter-repeats", "timer-nights"), 120),
)


def rows_of(drawn: lead_bench.Drawn) -> Iterator[tuple[float, float, np.ndarray]]:
    """Share of each proposal that is hidden, its length, and its figures."""
    for blocks in drawn.runs:
        ups, lapses, digits = lead_bench.proposed(blocks, lead_bench.lead_modules())
        for channel, lapse, rows in proposals(blocks, lapses, [item.block for item in ups], digits):
            begin, end = lapse.begin_s + blocks.offset_s, lapse.end_s + blocks.offset_s
            inside = sum(
                max(0.0, min(end, b) - max(begin, a)) for a, b in drawn.hidden.get(drawn.channels[channel], ())
            )
            for row in rows:
                yield inside / (end - begin), end - begin, row


def _rows(job: tuple[str, str, int]) -> list[tuple[float, float, np.ndarray]]:
    return list(rows_of(lead_bench.draw(*job)))


def main() -> None:
    """Gather, fit, report by five folds of logs, and write the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--first", type=int, default=930_000)
    parser.add_argument("--scale", type=float, default=0.5, help="share of the benches")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--threshold", type=float, default=0.0)
    parser.add_argument("--doubt", type=float, default=-4.0, help="log-odds below which no doubt is told")
    given = parser.parse_args()
    from sklearn.ensemble import HistGradientBoostingClassifier

    rows, hidden, fold, length, weight = [], [], [], [], []
    every = [
        (b, kind, given.first + n) for b, kinds, many in DRAWN for kind in kinds for n in range(int(many * given.scale))
    ]
    with ProcessPoolExecutor(given.jobs) as pool:
        for (bench, kind, number), found in zip(every, pool.map(_rows, every, chunksize=20), strict=True):
            for share, seconds, row in found:
                if not 0.2 < share < 0.8:
                    rows.append(row)
                    hidden.append(share > 0.5)
                    weight.append(LEAD if kind in ("lead-off", "fast-hum") else 1.0)
                    fold.append(zlib.crc32(f"{bench}-{kind}-{number}".encode()) % 5)
                    length.append(seconds)
    x, y, part, seconds = np.array(rows), np.array(hidden), np.array(fold), np.array(length)
    weights = np.where(y, weight, WEIGHT)
    signs = [int(name in RAISES) - int(name in LOWERS) for name in FIGURES]

    def fitted(chosen: np.ndarray) -> HistGradientBoostingClassifier:
        model = HistGradientBoostingClassifier(
            max_iter=TREES,
            max_leaf_nodes=LEAVES,
            learning_rate=RATE,
            min_samples_leaf=FEWEST * 4,  # some rows a proposal
            l2_regularization=1.0,
            monotonic_cst=signs,
            early_stopping=False,
            random_state=0,
        )
        return model.fit(x[chosen], y[chosen], sample_weight=weights[chosen])

    score = np.zeros(y.size)
    for number in range(5):
        score[part == number] = fitted(part != number).decision_function(x[part == number])
    restless = x[:, -1] > 0
    print(f"{y.size} rows, {np.count_nonzero(y)} of them hidden")
    for limit in (-5.0, -4.0, -3.0, -2.0, -1.5, -1.0, -0.5, 0.0):
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
        "origin": f"make_state_tables.py --first {given.first} --scale {given.scale} --threshold {given.threshold} --doubt {given.doubt}",
        "rows": int(y.size),
        "nodes": count,
        "figures": list(FIGURES),
        "threshold": given.threshold,
        "doubt": given.doubt,
        "base": float(np.ravel(model._baseline_prediction)[0]),
        "trees": trees,
    }
    table = {"$comment": "generated by tests/studies/make_state_tables.py", **table}
    TABLE.write_text(json.dumps(table, separators=(",", ":")) + "\n", encoding="utf-8")
    from flicker.signals.connection.second_opinion import learnt_table, log_odds

    learnt_table.cache_clear()
    worst = max(
        abs(log_odds(row) - value) for row, value in zip(x[:300], model.decision_function(x[:300]), strict=True)
    )
    print(f"{count} nodes, {TABLE.stat().st_size} bytes; the written table differs by at most {worst:.1e}")


if __name__ == "__main__":
    main()
