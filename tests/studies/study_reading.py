"""Reads many random logger files whose truth is known, and prints what became of them.

    python tests/studies/study_reading.py 2000               the table by outcome and by dimension
    python tests/studies/study_reading.py 2000 --write       and results/reading.md
    python tests/studies/study_reading.py 2000 --families    and every file read wrongly in silence, shrunk to its cause
    python tests/studies/study_reading.py --show SEED        a file, its spec, its truth, what was read
    python tests/studies/study_reading.py --shrink SEED      the plainest file that goes wrong in the same way

Seeds 0 to 199 run in CI (`tests/test_logger_files.py`); the study begins at 1,000.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from logger_files import DIMENSIONS, PLAIN, Spec, Truth, draw, settle, write
from logger_judge import Outcome, Read, Verdict, judge_file

RESULTS = Path(__file__).parent / "results" / "reading.md"
FIRST = 1_000


def one(spec: Spec, *, command_line: bool = True) -> tuple[Verdict, Truth, Read | None]:
    """Write, read and judge one file."""
    with tempfile.TemporaryDirectory() as folder:
        path, truth = write(spec, Path(folder))
        verdict, read = judge_file(path, truth, command_line=command_line, again=_rewriter(spec, folder))
    return verdict, truth, read


def _rewriter(spec: Spec, folder: str) -> Callable[[str], Path]:
    """What writes a file once more with another separator."""
    return lambda separator: write(replace(spec, separator=separator), Path(folder))[0]


def shrink(spec: Spec, judged: Callable[[Spec], Verdict] = lambda spec: one(spec)[0]) -> tuple[Spec, Verdict]:
    """Set one dimension after the other to plain as long as the same goes wrong."""
    sought = judged(spec)
    again = True
    while again:
        again = False
        for name in spec.unusual():
            plainer = settle(replace(spec, **{name: PLAIN[name]}))
            if len(plainer.unusual()) >= len(spec.unusual()):
                continue
            verdict = judged(plainer)
            if (verdict.outcome, verdict.kind) == (sought.outcome, sought.kind):
                spec, sought, again = plainer, verdict, True
                break
    return spec, sought


def families(specs: list[Spec], verdicts: list[Verdict]) -> str:
    """Shrink every file read wrongly in silence, and list what is left of its spec, the commonest first."""
    bad = (Outcome.WRONG, Outcome.LOST, Outcome.CRASHED)
    found: dict[tuple[str, str, str], list[int]] = defaultdict(list)
    for spec, verdict in zip(specs, verdicts, strict=True):
        if verdict.outcome in bad:
            small, _ = shrink(spec, lambda s: one(s, command_line=False)[0])
            left = ", ".join(f"{k}: {v}" for k, v in small.unusual().items()) or "plain"
            found[verdict.outcome, verdict.kind, left].append(spec.seed)
    out = ["| outcome | kind | what makes it so | files | a seed |", "|---|---|---|---|---|"]
    order = sorted(found.items(), key=lambda item: (bad.index(Outcome(item[0][0])), -len(item[1])))
    for (outcome, kind, left), seeds in order:
        out.append(f"| {outcome} | {kind} | {left.replace('|', chr(92) + '|')} | {len(seeds)} | {seeds[0]} |")
    return "\n".join(out)


def show(spec: Spec) -> None:
    """Print a file, its spec, its truth, and what was read."""
    with tempfile.TemporaryDirectory() as folder:
        path, truth = write(spec, Path(folder))
        verdict, read = judge_file(path, truth, again=_rewriter(spec, folder))
        print(f"seed {spec.seed}: {path.name}")
        for name, value in spec.unusual().items():
            print(f"    {name}: {value}")
        if path.suffix == ".csv" or path.suffix == ".tsv":
            text = path.read_bytes().decode({"utf-8 with mark": "utf-8-sig"}.get(spec.encoding, spec.encoding))
            lines = text.splitlines()
            peak = int(np.nanargmax(np.abs(truth.channels[0].values_V)))
            head = len(lines) - len(truth.time_s)
            print("\n".join(["", *lines[:12], "...", *lines[peak + head // 2 : peak + head // 2 + 4], "...", *lines[-4:], ""]))
    print("truth:")
    for c in truth.channels:
        print(f"    {c.name} ({c.header!r}, {c.unit}): {np.array2string(c.values_V[:4], precision=7)}, "
              f"largest {np.nanmax(np.abs(c.values_V)):.6g} V")  # fmt: skip
    print(f"    {len(truth.time_s)} rows, step {truth.time_s[1]:g} s, start {truth.start}, lacks {list(truth.lacks)}")
    if read is not None:
        print("read:")
        for name, values in read.channels.items():
            print(f"    {name}: {np.array2string(values[:4], precision=7)}, largest {np.nanmax(np.abs(values)):.6g} V")
        print(f"    {len(read.time_s)} rows, last at {read.time_s[-1]:.6g} s, start {read.start}")
        for note in read.notes:
            print(f"    note: {note}")
    print(f"{verdict.outcome}: {verdict.kind} {verdict.detail}")
    if verdict.sentence:
        print(f"    sentence: {verdict.sentence}")
    for step in verdict.tried:
        print(f"    tried {step}")


def tables(specs: list[Spec], verdicts: list[Verdict], truths: list[Truth]) -> str:
    """Write the tables as Markdown."""
    n = len(specs)
    out = [f"| outcome | of {n} files | share |", "|---|---|---|"]
    count = Counter(v.outcome for v in verdicts)
    out += [f"| {o} | {count[o]} | {100 * count[o] / n:.1f} % |" for o in Outcome]
    tell = [v for v, t in zip(verdicts, truths, strict=True) if t.tells]
    right = sum(v.outcome is Outcome.RIGHT for v in tell)
    out += ["", f"Of {len(tell)} files that tell everything {right} ({100 * right / max(1, len(tell)):.1f} %) were read right "
            "without asking.", ""]  # fmt: skip
    kinds: dict[tuple[str, str], list[int]] = defaultdict(list)
    for spec, v in zip(specs, verdicts, strict=True):
        if v.outcome in (Outcome.WRONG, Outcome.LOST, Outcome.REMEDY_FAILS, Outcome.CRASHED, Outcome.TOLD):
            kinds[v.outcome, v.kind].append(spec.seed)
    out += ["| outcome | kind | files | seeds |", "|---|---|---|---|"]
    for (outcome, kind), seeds in sorted(kinds.items(), key=lambda item: (item[0][0], -len(item[1]))):
        out.append(f"| {outcome} | {kind} | {len(seeds)} | {', '.join(map(str, seeds[:6]))} |")
    short = {Outcome.RIGHT: "right", Outcome.ASKED: "asked", Outcome.ASKED_RIGHTLY: "rightly asked", Outcome.TOLD: "told",
             Outcome.WRONG: "wrong", Outcome.LOST: "lost", Outcome.REMEDY_FAILS: "remedy", Outcome.CRASHED: "crash"}  # fmt: skip
    out += ["", "By dimension, in % of the files with that value:", ""]
    out += ["| dimension | value | files | " + " | ".join(short[o] for o in Outcome) + " |", "|---|---|---" * 1 + "|---" * len(Outcome) + "|"]
    for name, values in DIMENSIONS.items():
        for value in values:
            mine = [v.outcome for s, v in zip(specs, verdicts, strict=True) if getattr(s, name) == value]
            if mine:
                c = Counter(mine)
                shares = " | ".join(f"{100 * c[o] / len(mine):.0f}" if c[o] else "" for o in Outcome)
                cell = value.replace("|", "\\|")
                out.append(f"| {name} | {cell} | {len(mine)} | {shares} |")
    return "\n".join(out)


def program() -> None:
    """Run the study, or show or shrink one file."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", nargs="?", type=int, default=2000)
    parser.add_argument("--first", type=int, default=FIRST)
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--families", action="store_true")
    parser.add_argument("--show", type=int)
    parser.add_argument("--shrink", type=int)
    known = parser.parse_args()
    if known.show is not None:
        show(draw(known.show))
        return
    if known.shrink is not None:
        spec, _ = shrink(draw(known.shrink))
        show(spec)
        return
    began = time.perf_counter()
    specs = [draw(seed) for seed in range(known.first, known.first + known.count)]
    verdicts, truths = [], []
    for spec in specs:
        verdict, truth, _ = one(spec)
        verdicts.append(verdict)
        truths.append(replace(truth, channels=(), time_s=truth.time_s[:2]))
    text = tables(specs, verdicts, truths)
    print(text)
    if known.families:
        more = families(specs, verdicts)
        print("\n" + more)
        text += "\n\nBad files shrunk, dimension by dimension, to what makes them go wrong:\n\n" + more
    print(f"\n{time.perf_counter() - began:.0f} s")
    if known.write:
        import flicker

        head = (f"# Reading random logger files\n\n`study_reading.py {known.count} --first {known.first}`, flicker "
                f"{flicker.__version__}. What each outcome means stands in `logger_judge.py`.\n\n")  # fmt: skip
        RESULTS.write_text(head + text + "\n", encoding="utf-8")


if __name__ == "__main__":
    program()
