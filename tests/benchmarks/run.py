"""Measures what `flicker` costs against what it cannot do without, in turns, and prints a table. Run by hand:

python tests/benchmarks/run.py [FOLDER] [--turns 5] [--pandas2 PYTHON] [--week] [--record FILE] [--against LAST]

FOLDER takes the invented logs (some 3 GB; 5 GB more with --week); without one they lie in the system's temporary folder. Floor and ours run in turn, each in a process of its
own; the table gives medians, and of each ratio the least and the largest of its turns. Memory is the kernel's
high-water mark of the process (VmHWM). All data invented.

``--record`` keeps the figures as JSON; ``--against`` compares them with a record of before, says every ratio that got
more than 15 % larger, and ends with code 1 if there is one. Ratios of one machine tell; seconds do not.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from statistics import median

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from invented_logs import write_csv, write_parquet

ROOT = Path(__file__).parents[2]
COMPILED = str(Path(tempfile.gettempdir()) / "flicker-benchmark-compiled")
WEEK_ROWS = 7 * 86400 * 1000
END = (
    "\nimport json, resource, sys\n"
    "peak = [int(x.split()[1]) / 1024 for x in open('/proc/self/status') if x.startswith('VmHWM')][0]\n"
    "own, others = (sum(resource.getrusage(of)[:2]) for of in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))\n"
    "print(json.dumps({'inside': inside, 'cpu': own + others, 'own': own, 'peak': peak}), file=sys.stderr)\n"
)
OURS = (
    "import sys, time; t = time.perf_counter()\n"
    "from flicker.cli import alone, leave\n"
    "assert alone() == 0\n"
    "inside = time.perf_counter() - t\n"
)
PASS = (
    "import sys, time; t = time.perf_counter()\n"
    "import os; os.environ.setdefault('OPENBLAS_NUM_THREADS', '1')\n"
    "from flicker.base.limits import Limits\n"
    "from flicker.logs.reading import read_log\n"
    "from flicker.signals.trace import trace_log\n"
    "trace_log(read_log(sys.argv[1]), Limits())\n"
    "inside = time.perf_counter() - t\n"
)
PARQUET = (
    "import sys, time\nimport pyarrow.parquet as pq\nt = time.perf_counter()\n"
    "file = pq.ParquetFile(sys.argv[1], pre_buffer=False, buffer_size=1 << 20)\n"
    "for batch in file.iter_batches(batch_size=1 << 17, columns=['time_s', 'left_V', 'right_V']): pass\n"
    "inside = time.perf_counter() - t\n"
)
BARE = "inside = 0.0\n"
LIBRARIES = "import numpy, pyarrow.csv\ninside = 0.0\n"
PANDAS = (
    "import sys, time; t = time.perf_counter()\nimport pandas\n"
    "if len(sys.argv) > 1: pandas.read_csv(sys.argv[1])\n"
    "inside = time.perf_counter() - t\n"
)


def child(code: str, *arguments: str, python: str = sys.executable) -> dict[str, float]:
    """Run code in a process of its own; return seconds on the wall, of the processors, inside, and MiB at the peak."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONPYCACHEPREFIX": COMPILED}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)  # an installed program is not compiled anew at each start
    left = "leave(0)\n" if code is OURS else ""  # as the program ends its process
    began = time.perf_counter()
    done = subprocess.run(
        [python, "-c", code + END + left, *arguments],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        env=environment,
    )
    wall = time.perf_counter() - began
    if done.returncode:
        raise SystemExit(done.stderr)
    return {"wall": wall, **json.loads(done.stderr.splitlines()[-1])}


def spread(ratios: list[float]) -> str:
    return f"{median(ratios):.2f} ({min(ratios):.2f} to {max(ratios):.2f})"


WORSE = 1.15  # times the ratio of before that counts as a regression, by the issue that asked for this command


class Table:
    """Lines of the result, printed as they come; the ratios kept for a comparison."""

    def __init__(self) -> None:
        self.ratios: dict[str, list[float]] = {}
        print("| what | floor | ours | ratio (spread) | asked |\n|---|---|---|---|---|")

    def add(self, what: str, floor: str, ours: str, ratios: list[float], asked: str) -> None:
        if ratios:
            self.ratios[what] = ratios
        print(f"| {what} | {floor} | {ours} | {spread(ratios) if ratios else ''} | {asked} |", flush=True)


def regressions(now: dict[str, list[float]], before: dict[str, list[float]]) -> list[str]:
    """Say each ratio whose median is more than 15 % above the one of before, and each that is missing now."""
    told = []
    for what, old in before.items():
        if what not in now:
            told.append(f"not measured now: {what}")
        elif median(now[what]) > WORSE * median(old):
            told.append(f"{what}: {spread(now[what])}, was {spread(old)}")
    return told


def make(path: Path, rows: int, write: Callable[..., None], **how: float) -> str:
    if not path.exists():
        write(path.with_suffix(".part"), rows, **how)
        path.with_suffix(".part").rename(path)
    return str(path)


def reading(table: Table, path: str, rows: str, turns: int) -> None:
    floors, ours = [], []
    for _ in range(turns):
        floors.append(child(PARQUET, path))
        ours.append(child(OURS, "assess", path, "--json"))
    walls = [b["wall"] / a["inside"] for a, b in zip(floors, ours, strict=True)]
    table.add(
        f"assess, {rows}, whole command against reading alone, wall",
        f"{median(x['inside'] for x in floors):.2f} s",
        f"{median(x['wall'] for x in ours):.2f} s",
        walls,
        "1.5",
    )
    table.add(
        "the same, processor time, both processes whole",
        f"{median(x['cpu'] for x in floors):.2f} s",
        f"{median(x['cpu'] for x in ours):.2f} s",
        [b["cpu"] / a["cpu"] for a, b in zip(floors, ours, strict=True)],
        "",
    )
    table.add(
        "the same, peak memory",
        f"{max(x['peak'] for x in floors):.0f} MiB",
        f"{max(x['peak'] for x in ours):.0f} MiB",
        [],
        "400 MiB",
    )


def text(table: Table, long: str, short: str, turns: int, python: str, asked: str, what: str) -> None:
    version = subprocess.run(
        [python, "-c", "import pandas; print(pandas.__version__)"], capture_output=True, text=True, check=True
    ).stdout.strip()
    floors, ours = [], []
    for _ in range(turns):
        bare, read = child(PANDAS, python=python), child(PANDAS, long, python=python)
        few, many = child(OURS, "assess", short, "--json"), child(OURS, "assess", long, "--json")
        floors.append(read["wall"] - bare["wall"])
        ours.append(many["wall"] - few["wall"])
    table.add(
        f"assess, CSV of 5 M rows at {what}, marginal cost against pandas {version}",
        f"{median(floors):.2f} s",
        f"{median(ours):.2f} s",
        [b / a for a, b in zip(floors, ours, strict=True)],
        asked,
    )


def scan(table: Table, turns: int) -> None:
    """Blocks and exact edges of samples in memory, 2 % of the blocks hot, against minimum and maximum of each block."""
    from flicker.logs.model import ArraySource, Log
    from flicker.signals.blocks import reduce_log
    from flicker.signals.excursions import Scanner
    from flicker.signals.read_again import scan_run
    from flicker.signals.reduction import reduce_blocks

    rng = np.random.default_rng(1)
    rows, size = 20_000_000, 1000
    time_s = np.arange(rows) * 0.001
    volts = rng.standard_normal(rows) * 8e-4
    for at in rng.choice(rows // size, rows // size // 50, replace=False) * size + 300:
        volts[at : at + 200] += 0.1
    log = Log(ArraySource("samples", time_s, {"left": volts}))
    (blocks,) = reduce_log(log)

    def floor() -> None:
        for at in range(0, rows, 64 * size):
            part = volts[at : at + 64 * size].reshape(-1, size)
            part.min(axis=1)
            part.max(axis=1)

    def ours() -> int:
        reduce_blocks(volts.reshape(-1, size))
        scanner = Scanner(lambda t: np.zeros(t.size), 0.04, 0.03, 0.001)
        return scan_run(log, blocks, [scanner])[0].count

    times: list[tuple[float, float]] = []
    for _ in range(3 * turns):
        a = time.perf_counter()
        floor()
        b = time.perf_counter()
        assert ours() == rows // size // 50
        times.append((b - a, time.perf_counter() - b))
    table.add(
        "scan alone, 20 M samples in memory, 2 % of blocks hot",
        f"{rows / median(a for a, _ in times) / 1e9:.2f} G/s",
        f"{rows / median(b for _, b in times) / 1e9:.2f} G/s",
        [b / a for a, b in times],
        "2",
    )


def lengths(table: Table, paths: dict[int, str], turns: int) -> None:
    """Cost of one more row between lengths, processor time, all lengths in turn: the pass alone, and the command."""
    known = sorted(paths)
    steps = list(pairwise(known))
    peaks = []
    for what, code, command in (("the pass: reading, blocks, scan", PASS, ()), ("assess", OURS, ("assess",))):
        spent: dict[int, list[float]] = {rows: [] for rows in paths}
        for _ in range(turns):
            for rows, path in paths.items():
                seen = child(code, *command, path, *(("--json",) if command else ()))
                spent[rows].append(seen["cpu"])
                peaks.append(seen["peak"])
        costs = [(median(spent[b]) - median(spent[a])) / (b - a) * 1e9 for a, b in steps]
        told = ", ".join(f"{a:.0e} to {b:.0e}: {cost:.0f}" for (a, b), cost in zip(steps, costs, strict=True))
        asked = "1.2" if code is PASS else ""
        table.add(
            f"cost of one more row (2 channels), ns of processor time, {what}",
            "",
            told,
            [max(costs) / min(costs)],
            asked,
        )
    table.add(f"peak memory, {known[0]:.0e} to {known[-1]:.0e} rows", "", f"{max(peaks):.0f} MiB", [], "400 MiB")


def once(table: Table, what: str, asked: str, *arguments: str, turns: int = 1) -> None:
    """A command as a whole: seconds beyond a bare interpreter, and the processors' time against numpy's and pyarrow's start."""
    bare, floors, seen = [], [], []
    for _ in range(turns):
        bare.append(child(BARE)["wall"])
        floors.append(child(LIBRARIES)["cpu"])
        seen.append(child(OURS, *arguments))
    wall = median(x["wall"] for x in seen)
    table.add(
        what,
        f"{median(floors):.2f} s",
        f"{wall:.2f} s, {wall - median(bare):.2f} s of them beyond a bare interpreter "
        f"({median(x['cpu'] for x in seen):.2f} s of the processors), {max(x['peak'] for x in seen):.0f} MiB",
        [x["cpu"] / floor for x, floor in zip(seen, floors, strict=True)],
        asked,
    )


def main() -> None:
    options = argparse.ArgumentParser(description="Measure flicker against its floors.")
    options.add_argument("folder", type=Path, nargs="?", default=Path(tempfile.gettempdir()) / "flicker-benchmark")
    options.add_argument("--turns", type=int, default=5)
    options.add_argument("--pandas2", metavar="PYTHON", help="an interpreter with pandas 2")
    options.add_argument("--week", action="store_true", help="also a whole week at 1 kHz (605 M rows)")
    options.add_argument("--record", type=Path, metavar="FILE", help="keep the ratios as JSON")
    options.add_argument("--against", type=Path, metavar="LAST", help="a record of before: say what got worse")
    told = options.parse_args()
    folder: Path = told.folder
    folder.mkdir(parents=True, exist_ok=True)
    processor = [line for line in Path("/proc/cpuinfo").read_text().splitlines() if line.startswith("model name")]
    model = processor[0].split(":")[1].strip() if processor else platform.machine()
    versions = {name: __import__(name).__version__ for name in ("numpy", "pyarrow", "scipy", "pandas")}
    print(
        f"{model}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}; Python {platform.python_version()}, ", end=""
    )
    print(", ".join(f"{k} {v}" for k, v in versions.items()) + f"; {told.turns} turns.\n")

    fifty = make(folder / "m50.parquet", 50_000_000, write_parquet)
    logs = {
        1_000_000: make(folder / "m1.parquet", 1_000_000, write_parquet),
        10_000_000: make(folder / "m10.parquet", 10_000_000, write_parquet),
        100_000_000: make(folder / "m100.parquet", 100_000_000, write_parquet),
    }
    week = {}
    if told.week:
        week = {WEEK_ROWS: make(folder / "week.parquet", WEEK_ROWS, write_parquet)}
    table = Table()
    reading(table, fifty, "Parquet of 50 M rows, 2 channels", told.turns)
    short = make(folder / "ten_rows.csv", 10, write_csv)
    for name, step_s, per_h, what, asked in (
        ("khz.csv", 0.001, 20.0, "1 kHz", "1.5"),
        ("100hz.csv", 0.01, 20.0, "100 Hz (14 h, 280 glitches a channel)", "2"),
        ("10hz.csv", 0.1, 2.0, "10 Hz (6 days, as many)", "2"),
    ):
        long = make(folder / name, 5_000_000, write_csv, step_s=step_s, glitches_per_h=per_h)
        text(table, long, short, told.turns, sys.executable, asked, what)
        if told.pandas2:
            text(table, long, short, told.turns, told.pandas2, "1.5", what)
    scan(table, told.turns)
    lengths(table, logs | week, min(told.turns, 3) if week else told.turns)
    minutes = make(folder / "ten_minutes.csv", 6000, write_csv, step_s=0.1)
    once(table, "flicker --help", "0.3 s", "--help", turns=told.turns)
    once(table, "assess, ten minutes at 10 Hz", "0.35 s beyond a bare interpreter", "assess", minutes, turns=told.turns)
    tenth = make(folder / "tenth.parquet", WEEK_ROWS // 10, write_parquet)
    once(table, "a tenth of a week at 1 kHz, 2 channels", "400 MiB", "assess", tenth, "--json")
    kept = f"--cache={folder / 'kept'}"
    child(OURS, "assess", tenth, "--json", kept)
    once(table, "the same, second look with --cache", "0.5 s", "assess", tenth, "--json", kept, turns=told.turns)
    glitchy = make(folder / "glitchy.parquet", WEEK_ROWS // 10, write_parquet, glitches_per_h=3600.0)
    every = ("--json", "--excursions", str(folder / "glitches.parquet"))
    once(table, "the same with a glitch a second in both channels", "400 MiB", "assess", glitchy, *every)
    how = {"glitches_per_h": 3600.0, "step_s": 0.01}
    glitchy = make(folder / "glitchy_week.parquet", WEEK_ROWS // 10, write_parquet, **how)
    once(table, "a whole week at 100 Hz, a glitch a second in both channels", "400 MiB", "assess", glitchy, *every)
    for path in week.values():
        once(table, "a whole week at 1 kHz, 2 channels", "400 MiB", "assess", path, "--json")
    if told.record:
        told.record.write_text(json.dumps(table.ratios, indent=1))
    if told.against:
        worse = regressions(table.ratios, json.loads(told.against.read_text()))
        print(
            "\n" + ("\n".join(f"worse: {line}" for line in worse) or "No ratio is more than 15 % larger than before.")
        )
        sys.exit(1 if worse else 0)


if __name__ == "__main__":
    main()
