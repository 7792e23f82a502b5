"""Reads damaged logs by the thousand: ``python tests/fuzz/run.py COUNT [SEED]`` from the repository's root.

Every file must read as a log that keeps its promises, or give one sentence. Prints a table; files that break the rule
are written to ``fuzz_found/``.
"""

from __future__ import annotations

import argparse
import resource
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from fuzz.mutate import mutate

from flicker.logs.model import LogError
from flicker.logs.reading import read_log

LIMIT_S = 10


def corpus(folder: Path) -> list[tuple[str, bytes]]:
    """Return undamaged logs of every form: those of the tests, and columnar and recorded ones."""
    import pyarrow as pa
    import test_reading as forms
    from pyarrow import feather, parquet

    found = [(name, text.encode()) for name, text in forms.FORMS.items()]
    n = 500
    data = pa.table(
        {
            "time_s": 0.5 * np.arange(n),
            "left_mV": np.arange(n) * 0.1,
            "right_mV": np.arange(n) * -0.1,
            "status": ["ok"] * n,
        }
    )
    parquet.write_table(data, folder / "a")
    found += [("parquet", (folder / "a").read_bytes())] * 5
    feather.write_feather(data, folder / "a")
    found += [("feather", (folder / "a").read_bytes())] * 5
    head = b"RIFF\xff\xff\0\0WAVEfmt \x10\0\0\0\1\0\2\0\x64\0\0\0\x90\1\0\0\4\0\x10\0data"
    found += [("wav", head + (400).to_bytes(4, "little") + bytes(range(200)) * 2)] * 3
    return found


def check(path: Path) -> str:
    """Read one file; return what came of it, or raise what must not happen."""
    try:
        log = read_log(path, full_scale_V=10.0)
        rows = 0
        for piece in log.sweep():
            assert np.all(np.isfinite(piece.time_s)), "a time is not finite"
            assert np.all(np.diff(piece.time_s) >= 0), "time falls"
            assert all(column.size == piece.time_s.size for column in piece.values), "columns differ in length"
            assert piece.first == rows, "rows are missing"
            rows += piece.time_s.size
        assert rows >= 10, "a log of fewer than ten rows"
        assert sum(run.samples for run in log.runs) == rows, "runs do not add up"
        assert all(
            np.isfinite(run.observed_s) and run.observed_s <= run.duration_s + run.sample_interval_s for run in log.runs
        )
        assert all("\n" not in note and len(note) < 1000 for run in log.runs for note in run.notes), (
            f"a note is no sentence: {[n for r in log.runs for n in r.notes]}"
        )
    except LogError as error:
        said = str(error)
        assert "\n" not in said and 10 < len(said) < 2000 and said.rstrip().endswith((".", "?", ")")), (
            f"no sentence: {said!r}"
        )
        assert path.name in said, f"the file is not named: {said!r}"
        return "refused: " + _kind(said, path.name)
    return "read"


def _kind(said: str, name: str) -> str:
    import re

    return re.sub(r"[\d.]+", "n", re.sub(r"['\"].*?['\"]", "x", said.replace(name, "F")))[:60]


def main() -> int:
    """Run the fuzzer; the exit code says whether anything was found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int)
    parser.add_argument("seed", type=int, nargs="?", default=1)
    args = parser.parse_args()
    warnings.simplefilter("error")
    tally: Counter[str] = Counter()
    worst = 0.0
    found = 0

    def late(*_: object) -> None:
        raise TimeoutError(f"over {LIMIT_S} s")

    signal.signal(signal.SIGALRM, late)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        logs = corpus(folder)
        for k in range(args.count):
            rng = np.random.default_rng([args.seed, k])
            form, data = logs[int(rng.integers(len(logs)))]
            path = folder / "fuzzed.csv"
            path.write_bytes(mutate(data, rng))
            began = time.perf_counter()
            signal.alarm(LIMIT_S)
            try:
                tally[check(path)] += 1
            except Exception as error:
                found += 1
                tally[f"FOUND {type(error).__name__}: {str(error)[:80]}"] += 1
                keep = Path("fuzz_found")
                keep.mkdir(exist_ok=True)
                (keep / f"{args.seed}-{k}.csv").write_bytes(path.read_bytes())
                last = traceback.extract_tb(error.__traceback__)[-1]
                place = f"{Path(last.filename).name}:{last.lineno}"
                print(f"{args.seed}-{k} {form}: {type(error).__name__} {str(error)[:160]} at {place}")
            finally:
                signal.alarm(0)
            worst = max(worst, time.perf_counter() - began)
    for what, count in tally.most_common(60):
        print(f"{count:7d}  {what}")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{args.count} files, seed {args.seed}: {found} found; slowest {worst:.2f} s, peak memory {peak:.0f} MB")
    return 1 if found else 0


if __name__ == "__main__":
    raise SystemExit(main())
