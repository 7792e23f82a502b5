"""Which named numbers of `flicker/signals/connection` carry weight? Each a third down and up, on logs drawn once. By hand.

    python tests/studies/study_constants.py [--seed N] [--many N] [--only NAME ...]

A number is changed in the source, and the modules are loaded anew beside the product's; the blocks stay as they are. Starts
are judged by the first minute alone (`open_starts.py`). The recorded table stands in results/connection.md.
"""

from __future__ import annotations

import argparse
import ast
import sys
import time
from collections.abc import Iterator
from importlib.machinery import SourceFileLoader
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from types import SimpleNamespace

import lead_bench
import numpy as np
import open_starts

import flicker.signals.connection as connection
from flicker.signals.blocks import RunBlocks, reduce_log
from flicker.signals.connection.open_start import first_readings
from flicker.stats.noise import resolution_of

ROOM = "flicker.signals.connection"
# In the order in which they import each other.
MODULES = [
    "movement",
    "stillness",
    "pickup",
    "disconnection",
    "together",
    "states",
    "open_start",
    "second_opinion",
]
FOLDER = Path(connection.__file__).parent


def numbers() -> Iterator[tuple[str, str, int, int, float]]:
    """Module, name, line, end column and value of each named number."""
    for module in MODULES:
        path = FOLDER / f"{module}.py"
        if not path.exists():
            continue
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
                name, value = node.targets[0].id, node.value
                if name.isupper() and isinstance(value, ast.Constant) and isinstance(value.value, (int, float)):
                    yield module, name, node.lineno, value.col_offset, value.value


class _Changed(SourceFileLoader):
    """Loads a module with one line changed; nothing is cached."""

    def __init__(self, name: str, path: str, line: int, text: str) -> None:
        super().__init__(name, path)
        self.line, self.text = line, text

    def get_code(self, fullname: str) -> object:  # type: ignore[override]
        rows = Path(self.path).read_text(encoding="utf-8").split("\n")
        if self.line:
            rows[self.line - 1] = self.text
        return compile("\n".join(rows), self.path, "exec")


def product(module: str = "", line: int = 0, text: str = "") -> SimpleNamespace:
    """The room loaded anew, with one line of one module changed; what the house had loaded is put back."""
    names = [name for name in MODULES if (FOLDER / f"{name}.py").exists()]
    kept = {name: sys.modules.pop(f"{ROOM}.{name}", None) for name in names}
    out = {}
    try:
        for name in names:
            path = str(FOLDER / f"{name}.py")
            loader = _Changed(f"{ROOM}.{name}", path, line if name == module else 0, text)
            spec = spec_from_file_location(f"{ROOM}.{name}", path, loader=loader)
            assert spec is not None
            made = module_from_spec(spec)
            sys.modules[f"{ROOM}.{name}"] = made
            loader.exec_module(made)
            out[name] = made
    finally:
        for name, was in kept.items():
            if was is not None:
                sys.modules[f"{ROOM}.{name}"] = was
                setattr(connection, name, was)
    return SimpleNamespace(
        find_lapses=out["disconnection"].find_lapses,
        find_power_ups=out["states"].find_power_ups,
        second_opinion=out["second_opinion"].second_opinion,
        relay_closed_at=out["open_start"].relay_closed_at,
    )


def wanted(seed: int, many: int) -> list[lead_bench.Drawn]:
    """Logs in which the rules propose or leave out something, or in which something is hidden."""
    out = []
    for bench, kind, number in lead_bench.jobs(("faults", "second", "simulated", "more", "rare"), seed, many):
        if kind == "never-closes" or kind == "relay_never_closes":
            continue
        drawn = lead_bench.draw(bench, kind, number)
        hides = bool(any(drawn.hidden.values()))
        asked = hides or any(
            any(part) for blocks in drawn.runs for part in lead_bench.proposed(blocks, lead_bench.lead_modules())[1]
        )
        if asked and sum(blocks.row.size for blocks in drawn.runs) < 60_000:
            out.append(drawn)
    return out


def starts(seed: int, many: int) -> list[tuple[list[np.ndarray], float, float]]:
    """First minutes: readings, last digit and when the relay closed."""
    out = []
    for kind in (*open_starts.OPEN, *open_starts.CLOSED):
        for number in range(seed, seed + many):
            log, truth = open_starts.make(kind, number, minutes=2.0)
            blocks: RunBlocks = next(iter(reduce_log(log)))
            digit = resolution_of(blocks.channels[0].sample_V)
            out.append((list(first_readings(log, blocks)[0]), digit, truth))
    return out


def judged(drawn: list[lead_bench.Drawn], begun: list, made: SimpleNamespace, heads: bool, rest: bool) -> np.ndarray:
    """Dead right, seconds right, live channels hurt, their time lost in parts of a thousand, sound hurt, starts right."""
    total = lead_bench.Score()
    if rest:
        for one in lead_bench.scores(drawn, made).values():
            total.add(one)
    right = 0
    for (time_s, volts), digit, truth in begun if heads else []:
        closed = made.relay_closed_at(
            time_s, volts, resolution_V=digit, zero_V=max(0.001, 2 * digit), step_V=lead_bench.SETTINGS.settle_band_V
        )
        right += abs((closed or 0.0) - truth) <= 1.5 if truth else closed is None
    lost, sound = np.array(total.lost or [0.0]), np.array(total.sound or [0.0])
    return np.array(
        [total.right, total.short_right, (lost > 0.01).sum(), 1000 * lost.mean(), (sound > 0.01).sum(), right]
    )


def main() -> None:
    """Print a row for each number: what a third down and up changes."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--many", type=int, default=2, help="logs a kind")
    parser.add_argument("--only", nargs="*", default=[])
    given = parser.parse_args()
    began = time.time()
    drawn, begun = wanted(given.seed, given.many), starts(given.seed, 6 * given.many)
    base = judged(drawn, begun, product(), True, True)
    print(f"{len(drawn)} logs and {len(begun)} starts drawn in {time.time() - began:.0f} s")
    print(
        "| number | of | is | factor | dead right | of seconds right | hurt | live time lost, per mille | sound hurt | starts right |"
    )
    print("|" + " --- |" * 10)
    print(f"| - | | | | {' | '.join(f'{value:.4g}' for value in base)} |", flush=True)
    silent = []
    for module, name, line, column, value in numbers():
        if given.only and name not in given.only and module not in given.only:
            continue
        row = (FOLDER / f"{module}.py").read_text(encoding="utf-8").split("\n")[line - 1]
        moved = False
        for factor in (2 / 3, 4 / 3):
            new = value * factor if isinstance(value, float) else max(round(value * factor), 1) if value > 1 else value
            if name.endswith("SHARE") or name == "OFTEN":
                new = min(new, 0.99)
            text = row[:column] + repr(new) + "  #" + row[column:]
            heads = module == "open_start"
            change = judged(drawn, begun, product(module, line, text), heads, not heads) - base
            change[5 if not heads else slice(0, 5)] = 0.0
            if np.any(np.abs(change) > 1e-9):
                moved = True
                print(
                    f"| {name} | {module} | {value} | {factor:.2f} | {' | '.join(f'{v:+.3g}' if v else '' for v in change)} |",
                    flush=True,
                )
        silent += [] if moved else [f"{module}.{name}"]
    print(f"\nNothing changes by: {', '.join(silent)}. {time.time() - began:.0f} s.")


if __name__ == "__main__":
    main()
