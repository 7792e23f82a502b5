"""Measures what one more run, episode, gap, channel or file costs, and prints a table. Run by hand:

python tests/benchmarks/scaling.py FOLDER [--turns 3] [--only runs episodes ... page] [--long]

Each step is the processor time of `flicker assess` (of `flicker survey` for files) over a log with so many of a thing;
the cost is the difference between two steps over the difference in number. Where the log has to grow with the number
(a run or a glitch takes rows), the rows are part of the cost. ``--long`` adds the last step of each. Beside them: a
survey by two processes against one, and the page of a case of ten logs against judging it. All data invented.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from statistics import median

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from run import OURS, child

Arrays = dict[str, np.ndarray]


def _noise(rng: np.random.Generator, rows: int) -> np.ndarray:
    return np.round(0.005 + 8e-4 * rng.standard_normal(rows), 5)


def runs(count: int) -> Arrays:
    """Power-ups of five minutes, a reading a second, eight hours apart, each with a surge; a glitch in every third."""
    rng = np.random.default_rng(count)
    rows = 300
    time_s = (np.arange(count)[:, None] * 30_000.0 + np.arange(rows)).ravel()
    columns = {"time_s": time_s}
    for name in ("left_V", "right_V"):
        volts = _noise(rng, count * rows).reshape(count, rows)
        volts += 0.12 * np.exp(-np.arange(rows) / 5.0)
        volts[::3, 200:203] += 0.15
        columns[name] = volts.ravel()
    return columns


def episodes(count: int) -> Arrays:
    """Glitches of two seconds every minute in one channel, a reading a second."""
    rng = np.random.default_rng(count)
    rows = count * 60
    left, right = _noise(rng, rows), _noise(rng, rows)
    at = np.arange(count) * 60 + rng.integers(5, 50, count)
    left[at] += 0.2
    left[at + 1] += 0.2
    return {"time_s": np.arange(float(rows)), "left_V": left, "right_V": right}


def gaps(count: int) -> Arrays:
    """A minute of readings, then half a minute without; one day of readings more, so that the log is a log."""
    rng = np.random.default_rng(count)
    time_s = np.arange(86_400.0 + count * 90)
    time_s = time_s[(time_s < 86_400) | ((time_s - 86_400) % 90 < 60)]
    return {"time_s": time_s, "left_V": _noise(rng, time_s.size), "right_V": _noise(rng, time_s.size)}


def channels(count: int) -> Arrays:
    """Half a day, a reading a second, a glitch an hour in every channel, each at its own time."""
    rng = np.random.default_rng(count)
    rows = 43_200
    columns = {"time_s": np.arange(float(rows))}
    for k in range(count):
        volts = _noise(rng, rows)
        volts[rng.integers(0, rows, 12)] += 0.2
        columns[f"out{k + 1}_V"] = volts
    return columns


STEPS: dict[str, tuple[Callable[[int], Arrays], tuple[int, ...]]] = {
    "runs": (runs, (250, 1_000, 4_000)),
    "episodes": (episodes, (1_000, 10_000, 100_000)),
    "gaps": (gaps, (100, 1_000, 10_000, 100_000)),
    "channels": (channels, (2, 8, 32, 64)),
}
FILES = (10, 100, 1_000, 3_000)


def _write(path: Path, columns: Arrays) -> str:
    import pyarrow as pa
    import pyarrow.parquet as pq

    if not path.exists():
        pq.write_table(pa.table(columns), path)
    return str(path)


def _files(folder: Path, count: int) -> str:
    """Write so many logs of half an hour, a reading a second."""
    here = folder / f"files-{count}"
    here.mkdir(exist_ok=True)
    for k in range(count):
        rng = np.random.default_rng(k)
        _write(here / f"unit_{k:04d}.parquet", {"time_s": np.arange(1800.0), "left_V": _noise(rng, 1800)})
    return str(here)


def _survey(shelf: str, table: Path, *more: str) -> dict[str, float]:
    table.unlink(missing_ok=True)
    return child(OURS, "survey", shelf, "--out", str(table), *more)


def cores(folder: Path, turns: int) -> None:
    """A survey by one process and by two, in a pool of its own and on Dask's local cluster, in turn."""
    from distributed import LocalCluster

    shelf, table = _files(folder, 1_000), folder / "table.csv"
    for place in ("a pool", "Dask's local cluster"):
        told: dict[int, list[dict[str, float]]] = {1: [], 2: []}
        for _ in range(turns):
            for workers, seen in told.items():
                if place == "a pool":
                    seen.append(_survey(shelf, table, f"--workers={workers}"))
                else:
                    with LocalCluster(n_workers=workers, threads_per_worker=1, dashboard_address=None) as cluster:
                        _survey(_files(folder, 10), table, f"--scheduler={cluster.scheduler_address}")  # loads the workers
                        seen.append(_survey(shelf, table, f"--scheduler={cluster.scheduler_address}"))
        one, two = (min(item["wall"] for item in told[workers]) for workers in told)
        said = f"{one:.2f} s and {two:.2f} s on the wall"
        if place == "a pool":  # what a busy machine hides less: how much of the work one process does alone
            cpu, own = (min(item[key] for item in told[1]) for key in ("cpu", "own"))
            said += f"; {cpu:.2f} s of the processors, {own:.2f} s of them where rows are gathered"
        print(
            f"| survey of 1,000 files on {place}, one process and two (load {os.getloadavg()[0]:.1f}) "
            f"| {said} | | {one / two:.2f} times as fast |",
            flush=True,
        )


def page(folder: Path, turns: int) -> None:
    """The page of a case of ten logs against judging it, in turn."""
    case, out = str(Path(__file__).parents[2] / "demo_data" / "r60_case.toml"), str(folder / "page.html")
    judged, drawn = [], []
    for _ in range(turns):
        judged.append(child(OURS, "report", "--case", case, "--json")["cpu"])
        drawn.append(child(OURS, "report", "--case", case, out)["cpu"])
    print(
        f"| page of a case of ten logs against judging it | {min(judged):.2f} s and {min(drawn):.2f} s | "
        f"| {median(b / a for a, b in zip(judged, drawn, strict=True)):.2f} times |",
        flush=True,
    )


WHOLE = {"cores": cores, "page": page}


def main() -> None:
    """Print a line for each thing."""
    options = argparse.ArgumentParser(description="Cost of one more of each thing.")
    options.add_argument("folder", type=Path)
    options.add_argument("--turns", type=int, default=3)
    options.add_argument("--only", nargs="+", choices=[*STEPS, "files", *WHOLE])
    options.add_argument("--long", action="store_true")
    told = options.parse_args()
    told.folder.mkdir(parents=True, exist_ok=True)
    print("| of | processor time | cost of one more | last against the one before |\n|---|---|---|---|")
    for what in told.only or [*STEPS, "files", *WHOLE]:
        if what in WHOLE:
            WHOLE[what](told.folder, told.turns)
            continue
        numbers = FILES if what == "files" else STEPS[what][1]
        numbers = numbers if told.long or len(numbers) < 3 else numbers[:-1]
        spent = []
        for n in numbers:
            turns = range(told.turns if n < 10_000 else 1)
            if what == "files":
                spent.append(min(_survey(_files(told.folder, n), told.folder / "table.csv")["cpu"] for _ in turns))
                continue
            columns = STEPS[what][0](n)
            command = ["assess", _write(told.folder / f"{what}-{n}.parquet", columns), "--json"]
            if what == "channels":  # more than 16 columns have to be named
                command += ["--channels", ",".join(name.removesuffix("_V") for name in columns if name != "time_s")]
            spent.append(min(child(OURS, *command)["cpu"] for _ in turns))
        costs = [(b - a) / (m - k) for (k, m), (a, b) in zip(pairwise(numbers), pairwise(spent), strict=True)]
        print(
            f"| {what} | {', '.join(f'{n:,}: {s:.2f} s' for n, s in zip(numbers, spent, strict=True))} "
            f"| {', '.join(f'{c * 1e3:.3g} ms' for c in costs)} "
            f"| {f'{costs[-1] / costs[-2]:.2f}' if len(costs) > 1 else ''} |",
            flush=True,
        )


if __name__ == "__main__":
    main()
