"""Compare what two commits say: every JSON document, terminal page, report's text and exit code, side by side.

    python tests/tools/compare_documents.py main HEAD             # all demo logs, cases and 60 simulated logs
    python tests/tools/compare_documents.py main . --quick        # ten logs; '.' is the working tree as it stands
    python tests/tools/compare_documents.py main . --no-sentences # sentences, pages and reports may differ

Each commit is checked out into a temporary folder and walks the same files through its command line, in one process
of its own (the first writes the simulated logs for both). Nothing is stored. Exit code 0: no difference.
"""

from __future__ import annotations

import argparse
import contextlib
import html
import io
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
HOURS = {"drifting-daily": 6.0, "steady-daily": 6.0, "classic": None, "relay": None, "ageing": 1.0, "single-swing": 1.0}
SENTENCES = {"reads", "method", "tail", "cautions", "notes", "words", "text", "reason", "line", "what_to_do", "advice"}
SEED = 7001  # invented


def jobs(folder: Path, simulated: Sequence[str], *, quick: bool) -> list[list[str]]:
    """Command lines to compare; OUT stands for a report whose text is compared."""
    demo = folder / "demo"
    logs = sorted(str(path.relative_to(folder)) for path in demo.iterdir() if re.search(r"\.csv(\.gz)?$", path.name))
    logs = [log for log in logs if ".marks." not in log]
    logs = logs[::5] if quick else logs
    out: list[list[str]] = []
    for log in [*logs, *simulated]:
        out += [["assess", log, "--json"], ["assess", log]]
    for log in (*logs[:3], *simulated[:: max(len(simulated) // 6, 1)]):
        out.append(["assess", log, "--report", "OUT"])
    a45 = [f"demo/a45_{name}.csv" for name in ("1_as_received_1", "1_as_received_2", "1_as_received_3")]
    cured = [f"demo/a45_3_part_replaced_{n}.csv" for n in (1, 2, 3)]
    visits = [f"demo/m22_visit_{n}.csv" for n in (1, 2, 3)]
    pair = ["--before", *a45, "--after", *cured]
    dated = [part for date, log in zip(("2031-03-04", "2031-06-10", "2031-09-16"), visits, strict=True) for part in ("--visit", date, log)]
    twice: list[list[str]] = [
        ["assess", *a45],
        ["assess", visits[2], "--control", "demo/m22_shorted.csv"],
        ["compare", *pair],
        ["compare", "--before", a45[0], "--after", cured[0]],
        ["visits", *dated],
        ["soak", "--from", *a45],
        ["soak", "--count", "3", "--hours", "5"],
        ["soak", "--max-rate", "0.5"],
        ["soak", "--rate", "0.5", "--glitch-length", "0.3", "--sample-interval", "1"],
        ["case", "check", "demo/r60_case.toml"],
        ["watch", "demo/degrading.csv", "--until", "stopped", "--idle", "0.01"],
        ["watch", "demo/two_minutes.csv", "--until", "stopped", "--idle", "0.01"],
    ]
    if not quick:
        twice += [
            ["compare", "--before", *cured, "--after", *a45],
            ["compare", "--stage", "first", *a45, "--stage", "second", "demo/a45_2_reseated_1.csv", "demo/a45_2_reseated_2.csv", "--stage", "third", *cured],
            ["compare", "--case", "demo/a45_case.toml"],
            ["visits", "--case", "demo/m22_case.toml"],
            ["soak", "--case", "demo/r60_case.toml"],
            ["soak", "--from", "demo/a45_3_part_replaced_1.csv"],
            ["case", "check", "demo/a45_case.toml"],
            ["assess", "--case", "demo/r60_case.toml"],
        ]
        half = len(simulated) // 2
        for before, after in zip(simulated[:half:4], simulated[half::4], strict=False):
            twice.append(["compare", "--before", before, "--after", after])
        for log in simulated[::6]:
            twice += [["watch", log, "--until", "stopped", "--idle", "0.01"], ["soak", "--from", log]]
        out.append(["report", "--case", "demo/r60_case.toml", "--json"])
        out.append(["report", "--case", "demo/r60_case.toml", "OUT"])
        out.append(["visits", "--case", "demo/m22_case.toml", "--report", "OUT"])
        out.append(["compare", "--case", "demo/a45_case.toml", "--report", "OUT"])
        out.append(["survey", "demo"])
        out.append(["notebook", "no-such-notebook", a45[0]])
    out += [[*job, *extra] for job in twice for extra in (["--json"], [])]
    out.append(["compare", *pair, "--report", "OUT"])
    out += [["assess", "missing.csv"], ["assess", "broken.csv"], ["soak"], ["soak", "--count", "-1", "--hours", "2"]]
    out += [["assess", a45[0], "--channels", "middle"], ["compare", "--before", a45[0]], ["case", "check", "broken.csv"], ["--help"]]
    return out


def text_of(page: str) -> str:
    """What a reader sees of an HTML page: no scripts, styles or drawings, one line a block."""
    page = re.sub(r"<(script|style|svg)\b.*?</\1>", "", page, flags=re.S)
    page = re.sub(r"</?(p|h\d|tr|table|div|section|li|ul|details|summary|figure|figcaption|header|footer|br)\b[^>]*>", "\n", page)
    page = html.unescape(re.sub(r"<[^>]+>", " ", page))
    lines = (" ".join(line.split()) for line in page.splitlines())
    return "\n".join(line for line in lines if line)


def walk(folder: Path, out: Path, *, quick: bool) -> None:
    """Run every job with the flicker that this process imports, and keep what it said."""
    os.chdir(folder)
    os.environ["COLUMNS"] = "100"
    from flicker.cli import main

    simulated = json.loads((folder / "simulated.json").read_text())
    kept = {}
    page = out.with_suffix(".html")
    for job in jobs(folder, simulated, quick=quick):
        words, wrong = io.StringIO(), io.StringIO()
        page.unlink(missing_ok=True)
        with contextlib.redirect_stdout(words), contextlib.redirect_stderr(wrong):
            try:
                code: Any = main([str(page) if part == "OUT" else part for part in job])
            except Exception as problem:  # what a user would see as a traceback is a difference too
                code = f"{type(problem).__name__}: {problem}"
        said = [text.getvalue().replace(str(page), "OUT") for text in (words, wrong)]
        text = text_of(page.read_text(encoding="utf-8")) if page.exists() else ""
        kept[" ".join(job)] = {"code": code, "out": said[0], "error": said[1], "page": text}
    out.write_text(json.dumps(kept))


def simulate_all(folder: Path, *, quick: bool) -> None:
    """Write the simulated logs: one of every kind, short."""
    from flicker.simulate import KINDS, simulate_log

    kinds = [kind if isinstance(kind, str) else kind[0] for kind in KINDS]
    names: list[str] = []
    for place, kind in enumerate(kinds[:: len(kinds) // 6] if quick else kinds):
        hours = HOURS.get(kind, 3.5 if kind.startswith("steady") and place % 2 else 1.2)
        bench = simulate_log(kind, seed=SEED + place, **({} if hours is None else {"hours": hours}))
        names.append(bench.write(folder / f"{place:02d}_{kind}.csv")[0].name)
    (folder / "simulated.json").write_text(json.dumps(names))


def leaves(value: Any, at: str = "", *, plain: bool = True) -> Iterator[tuple[str, Any]]:
    """Yield each value of a document with its place; places in lists are numbered."""
    if isinstance(value, dict):
        for key, item in value.items():
            if plain or key not in SENTENCES:
                yield from leaves(item, f"{at}.{key}", plain=plain)
    elif isinstance(value, list):
        for number, item in enumerate(value):
            yield from leaves(item, f"{at}[{number}]", plain=plain)
    else:
        yield at, value


def differences(old: dict[str, Any], new: dict[str, Any], *, plain: bool) -> dict[str, list[str]]:
    """What differs, by key; a place in a list is written [] there and in full in the examples."""
    out: dict[str, list[str]] = defaultdict(list)
    for job in [*old, *(name for name in new if name not in old)]:
        if job not in old or job not in new:
            out["job is in one only"].append(job)
            continue
        a, b = old[job], new[job]
        if a["code"] != b["code"]:
            out["exit code"].append(f"{job}: {a['code']} -> {b['code']}")
        if plain and a["error"] != b["error"]:
            out["standard error"].append(f"{job}: {_first(a['error'], b['error'])}")
        if "--json" in job.split():
            documents = [[json.loads(text) for text in _documents(side["out"])] for side in (a, b)]
            ours, theirs = (dict(leaves(side, plain=plain)) for side in documents)
            for key in [*ours, *(key for key in theirs if key not in ours)]:
                if not _same(ours.get(key, "(no key)"), theirs.get(key, "(no key)")):
                    group = re.sub(r"\[\d+\]", "[]", key)
                    out[f"document {group}"].append(f"{job} {key}: {ours.get(key, '(no key)')!r} -> {theirs.get(key, '(no key)')!r}")
        elif plain and a["out"] != b["out"]:
            out["terminal page"].append(f"{job}: {_first(a['out'], b['out'])}")
        if plain and a["page"] != b["page"]:
            out["text of a report"].append(f"{job}: {_first(a['page'], b['page'])}")
    return out


def _same(a: Any, b: Any) -> bool:
    return type(a) is type(b) and a == b


def _documents(text: str) -> list[str]:
    """One document, or one a line (watch)."""
    try:
        json.loads(text or "null")
    except ValueError:
        return [line for line in text.splitlines() if line.strip()]
    return [text or "null"]


def _first(a: str, b: str) -> str:
    """The first line that differs."""
    ours, theirs = a.splitlines(), b.splitlines()
    for x, y in zip(ours, theirs, strict=False):
        if x != y:
            return f"{x.strip()!r} -> {y.strip()!r}"
    return f"{len(ours)} lines -> {len(theirs)} lines"


def _tree(commit: str, place: Path) -> tuple[Path, bool]:
    if commit == ".":
        return ROOT, False
    subprocess.run(["git", "-C", str(ROOT), "worktree", "add", "-q", "--detach", str(place), commit], check=True)
    return place, True


def _child(tree: Path, folder: Path, out: Path, *, quick: bool) -> subprocess.Popen[bytes]:
    command = [sys.executable, __file__, "--walk", str(folder), "--out", str(out), *(["--quick"] if quick else [])]
    told = os.environ | {"PYTHONPATH": str(tree), "OPENBLAS_NUM_THREADS": "1", "PYTHONDONTWRITEBYTECODE": "1"}
    return subprocess.Popen(command, env=told)


def main() -> int:
    """Compare two commits, or (in a child) walk one."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("commits", nargs="*", metavar="COMMIT", help="two of them; '.' is the working tree")
    parser.add_argument("--quick", action="store_true", help="ten logs")
    parser.add_argument("--no-sentences", action="store_true", help="compare values, keys and exit codes only")
    parser.add_argument("--examples", type=int, default=3, help="how many differences of a kind are printed")
    parser.add_argument("--walk", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--out", type=Path, help=argparse.SUPPRESS)
    known = parser.parse_args()
    if known.walk:
        walk(known.walk, known.out, quick=known.quick)
        return 0
    if len(known.commits) != 2:
        parser.error("name two commits")
    with tempfile.TemporaryDirectory(prefix="flicker-documents-") as name:
        place = Path(name)
        trees: list[tuple[Path, bool]] = []
        try:
            for number, commit in enumerate(known.commits):
                trees.append(_tree(commit, place / f"tree{number}"))
            folder = place / "logs"
            folder.mkdir()
            shutil.copytree(trees[0][0] / "demo_data", folder / "demo")
            (folder / "broken.csv").write_text("time_s,left_mV\n0,1\n1,banana\n2,3\n")
            told = os.environ | {"PYTHONPATH": str(trees[0][0])}
            code = f"import sys; sys.path.insert(0, {str(Path(__file__).parent)!r}); import compare_documents as c; from pathlib import Path; c.simulate_all(Path({str(folder)!r}), quick={known.quick})"
            subprocess.run([sys.executable, "-c", code], env=told, check=True)
            outs = [place / f"out{number}.json" for number in (0, 1)]
            children = [_child(tree, folder, out, quick=known.quick) for (tree, _), out in zip(trees, outs, strict=True)]
            if any(child.wait() for child in children):
                return 2
            old, new = (json.loads(out.read_text()) for out in outs)
        finally:
            for tree, made in trees:
                if made:
                    subprocess.run(["git", "-C", str(ROOT), "worktree", "remove", "--force", str(tree)], check=False)
    found = differences(old, new, plain=not known.no_sentences)
    for group, items in sorted(found.items()):
        print(f"{group}: {len(items)}")
        for item in items[: known.examples]:
            print(f"    {item[:400]}")
    print(f"{len(old)} command lines, {sum(map(len, found.values()))} differences of {len(found)} kinds")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
