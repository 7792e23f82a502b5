"""Sound logs and dangers through the whole program: what is cleared wrongly, and which sound unit is refused? By hand.

    python tests/studies/study_danger.py --sound 60 --danger 120 --seed 1 [--jobs 2] [--form NAME ...] [--kind NAME ...]
    python tests/studies/study_danger.py --ladder 2 --seed 1           sizes from small to largest, form by form
    python tests/studies/study_danger.py --replay FORM-or-KIND SEED [--out DIR]     one log again, with the sentences
    python tests/studies/study_danger.py --through compare,watch,survey,report,case --seed 1

``--files`` writes each log as CSV and reads it back; ``--record`` adds the table to results/danger.md. A miss is a dangerous
channel called 'within limits'; a channel called 'steady' is counted beside. Only dangers beyond doubt count; those below
the size of doubt stand in a column of their own. Makers: `danger_bench.py`; all logs are invented.
"""

from __future__ import annotations

import argparse
import csv
import io
import json
import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))
import danger_bench
from danger_bench import FORMS, SOUND, UNSCORED, Bench

CLEARED = "within limits for the time observed"
RESULTS = Path(__file__).parent / "results" / "danger.md"
Job = tuple[str, str, int, float, bool]  # 'sound' or 'danger' or 'ladder', kind or form, seed, size, through files


def drawn(job: Job) -> Bench:
    """The bench of a job."""
    sort, name, seed, size, _ = job
    if sort == "sound":
        return danger_bench.sound_log(name, seed)
    if sort == "danger":
        return danger_bench.draw_danger(name, seed)
    made = FORMS[name]
    kind = list(SOUND)[seed % len(SOUND)] if not made.several else "ups_in_files"
    channels = "all" if made.together else "one"
    return danger_bench.add_danger(danger_bench.sound_log(kind, seed), name, size, made.places[0], channels, seed)


def document(bench: Bench, files: bool) -> dict[str, Any]:
    """The whole program's document on a bench, in memory or by way of CSV files."""
    import flicker

    if not files:
        return flicker.assess(bench.logs()).to_dict()
    with tempfile.TemporaryDirectory() as folder:
        return flicker.assess([flicker.read_log(path) for path in bench.to_files(folder)]).to_dict()


def judged(job: Job) -> tuple[Job, bool, dict[str, tuple[str, str]], tuple[str, ...], str]:
    """One job: whether it counts, fitness and verdict of each channel, the dangerous ones, and a failure in words."""
    bench = drawn(job)
    counts = bench.truth.unambiguous if bench.truth.dangers else bench.scored
    try:
        channels = document(bench, job[4])["channels"]
    except Exception as problem:
        return job, counts, {}, bench.truth.dangerous, f"{type(problem).__name__}: {problem}"
    words = {c["channel"].split(" ")[0] if c["channel"] not in bench.names else c["channel"]: (c["fitness"], c["verdict"]) for c in channels}
    return job, counts, words, bench.truth.dangerous, ""


def run(jobs: list[Job], workers: int) -> Iterator[tuple[Job, bool, dict[str, tuple[str, str]], tuple[str, ...], str]]:
    """Judge all jobs, in order."""
    if workers <= 1:
        yield from map(judged, jobs)
        return
    with ProcessPoolExecutor(workers) as pool:
        yield from pool.map(judged, jobs, chunksize=4)


def of_sound(rows: list[Any]) -> list[str]:
    """Table of sound kinds: channels cleared, and the seeds of the others."""
    table: dict[str, list[Any]] = defaultdict(list)
    for row in rows:
        table[row[0][1]].append(row)
    out = ["| sound kind | logs | channels | within limits | steady | not cleared: seeds |", "|---|---|---|---|---|---|"]
    all_channels = all_cleared = 0
    for name, here in table.items():
        words = [word for row in here for word in row[2].values()]
        cleared = sum(word[0] == CLEARED for word in words)
        if here[0][1]:
            all_channels, all_cleared = all_channels + len(words), all_cleared + cleared
        missed = [str(row[0][2]) for row in here if row[4] or any(word[0] != CLEARED for word in row[2].values())]
        share = f"{cleared / max(len(words), 1):.0%}" + ("" if here[0][1] else " (not in the score)")
        out.append(
            f"| {name} | {len(here)} | {len(words)} | {share} | {sum(w[1] == 'steady' for w in words)} | {' '.join(missed)} |"
        )
    out.append(f"| all in the score | | {all_channels} | {all_cleared / max(all_channels, 1):.1%} | | |")
    return out + failures(rows)


def of_danger(rows: list[Any]) -> list[str]:
    """Table of forms: dangerous channels cleared and called steady, beyond doubt and below it, with seeds."""
    table: dict[str, list[Any]] = defaultdict(list)
    for row in rows:
        table[row[0][1]].append(row)
    head = "| form | beyond doubt: logs | cleared | 'steady' | below: logs | cleared | cleared, beyond doubt: seeds | 'steady' only: seeds |"
    out = [head, "|---|---|---|---|---|---|---|---|"]
    sums = [0, 0, 0, 0, 0]
    for name, here in table.items():
        cleared = {id(r): any(word[0] == CLEARED for c, word in r[2].items() if c in r[3]) for r in here}
        steady = {id(r): any(word[1] == "steady" for c, word in r[2].items() if c in r[3]) for r in here}
        sure, below = [r for r in here if r[1]], [r for r in here if not r[1]]
        misses = " ".join(str(r[0][2]) for r in sure if cleared[id(r)])
        calm = " ".join(str(r[0][2]) for r in sure if steady[id(r)] and not cleared[id(r)])
        cells = [len(sure), *(sum(d[id(r)] for r in sure) for d in (cleared, steady)), len(below), sum(cleared[id(r)] for r in below)]
        sums = [a + b for a, b in zip(sums, cells, strict=True)]
        out.append(f"| {name} | {' | '.join(map(str, cells))} | {misses} | {calm} |")
    return [*out, f"| all | {' | '.join(map(str, sums))} | | |", *failures(rows)]


def of_ladder(rows: list[Any]) -> list[str]:
    """One line a form: per size, how many dangerous channels were cleared of how many."""
    table: dict[str, dict[float, list[int]]] = defaultdict(lambda: defaultdict(lambda: [0, 0]))
    for job, _, words, dangerous, _ in rows:
        cell = table[job[1]][job[3]]
        cell[0] += sum(word[0] == CLEARED for c, word in words.items() if c in dangerous)
        cell[1] += len(dangerous)
    out = ["| form | beyond doubt from | cleared of channels, by size |", "|---|---|---|"]
    for name, cells in table.items():
        text = ", ".join(f"{size:.3g} V {a}/{b}" for size, (a, b) in cells.items())
        out.append(f"| {name} | {FORMS[name].sure_V:g} V | {text} |")
    return out + failures(rows)


def failures(rows: list[Any]) -> list[str]:
    """Logs that the program could not judge at all."""
    return [f"\nNot judged: {row[0][1]} seed {row[0][2]}: {row[4]}" for row in rows if row[4]]


def replay(name: str, seed: int, out: str | None, files: bool) -> None:
    """One log again: what was done, and what the program says."""
    bench = drawn(("danger" if name in FORMS else "sound", name, seed, 0.0, False))
    print(f"{bench.kind} seed {bench.seed}: {bench.truth.says}; {len(bench.power_ups)} power-ups, digit {bench.digit_V:g} V, {bench.style}")
    for danger in bench.truth.dangers:
        print(danger)
    if out:
        print("written:", *bench.to_files(out))
    found = document(bench, files)
    for c in found["channels"]:
        print(f"{c['channel']}: {c['fitness']}; {c['verdict']}; {c['tail']}\n    {c['reads']}")
    print("\n".join(f"! {caution}" for caution in found["cautions"]))


# ------------------------------------------------------------------------- the same log through the other commands


def command(*words: str | Path) -> tuple[int, str, str]:
    """Run the command line in this process."""
    from flicker.cli import main

    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        try:
            code = main([str(word) for word in words])
        except SystemExit as ended:
            code = int(ended.code or 0)
        except Exception as problem:  # a crash is a finding of its own; the walk goes on
            code = 70
            err.write(f"crash, {type(problem).__name__}: {problem}")
    return code, out.getvalue(), err.getvalue()


def fitness_of(channels: list[dict[str, Any]]) -> dict[str, str]:
    return {c["channel"]: c["fitness"] for c in channels}


def case_file(folder: Path, stages: dict[str, list[Path]], names: tuple[str, ...]) -> Path:
    """A case of the two stages, with nothing in it but the logs."""
    lines = ['unit = "Brandis QX-3"', 'serial = "0412"', 'job = "DX-77"']
    for stage, paths in stages.items():
        for path in paths:
            lines += ["", "[[logs]]", f'file = "{path.relative_to(folder).as_posix()}"', f'stage = "{stage}"']
    path = folder / "job.toml"
    path.write_text("\n".join(lines) + "\n")
    return path


def through(form: str, seed: int, wanted: list[str]) -> list[str]:
    """Walk one danger beyond doubt and its sound twin through the commands; lines that say what does not agree."""
    bench = next(b for s in range(seed, seed + 1000) if (b := danger_bench.draw_danger(form, s)).truth.unambiguous)
    twin = danger_bench.sound_log(bench.kind, bench.seed)
    bad: list[str] = []
    with tempfile.TemporaryDirectory() as text:
        folder = Path(text)
        paths = {"sound": twin.to_files(folder / "sound"), "danger": bench.to_files(folder / "danger")}
        alone: dict[str, dict[str, str]] = {}
        for which, files in paths.items():
            code, out, err = command("assess", *files, "--json")
            if code:
                return [f"assess {which}: exit {code}: {err.strip()}"]
            alone[which] = fitness_of(json.loads(out)["channels"])
        dangerous = [c for c in alone["danger"] if c in bench.truth.dangerous]
        bad += [f"assess clears {c}" for c in dangerous if alone["danger"][c] == CLEARED]

        def agree(where: str, which: str, found: dict[str, str]) -> None:
            for name, word in found.items():
                if word != alone[which].get(name):
                    bad.append(f"{where}: {which} {name} is '{word}', assess says '{alone[which].get(name)}'")

        if "compare" in wanted:
            code, out, err = command("compare", "--before", *paths["sound"], "--after", *paths["danger"], "--json")
            if code:
                bad.append(f"compare: exit {code}: {err.strip()}")
            else:
                channels = json.loads(out)["channels"]
                for side, which in (("before", "sound"), ("after", "danger")):
                    agree(f"compare {side}", which, {c["channel"]: c[side]["fitness"] for c in channels})
                bad += [f"compare calls {c['channel']} cured: {c['cured']}" for c in channels if c["channel"] in dangerous and c["cured"] == "shown"]
        if "watch" in wanted:
            clean: dict[str, list[bool]] = defaultdict(list)
            for path in paths["danger"]:
                code, out, err = command("watch", path, "--until", "stopped", "--idle", "0.1", "--json")
                if code:
                    bad.append(f"watch: exit {code}: {err.strip()}")
                    continue
                summary = json.loads(out.strip().splitlines()[-1])
                for c in summary["channels"]:
                    clean[c["channel"]].append(c["decision"] == "clean enough" and not c["alarms"])
            bad += [f"watch calls {c} clean enough, without an alarm" for c in dangerous if clean[c] and all(clean[c])]
        if "survey" in wanted:
            for which, files in paths.items():
                code, _, err = command("survey", folder / which, "--out", folder / f"{which}.csv", "--workers", "1")
                if code:
                    bad.append(f"survey: exit {code}: {err.strip()}")
                    continue
                with open(folder / f"{which}.csv", encoding="utf-8") as table:
                    rows = list(csv.DictReader(table))
                for path in files:
                    one = json.loads(command("assess", path, "--json")[1])["channels"]
                    found = {r["channel"]: r["fitness"] for r in rows if Path(r["source"]).name == path.name}
                    for name, word in fitness_of(one).items():
                        if found.get(name) != word:
                            bad.append(f"survey: {which} {path.name} {name} is '{found.get(name)}', assess says '{word}'")
        case = case_file(folder, {"a sound": paths["sound"], "b danger": paths["danger"]}, bench.names)
        if "case" in wanted:
            code, _, err = command("case", "check", case, "--json")
            if code:
                bad.append(f"case check: exit {code}: {err.strip()}")
        if "report" in wanted:
            code, out, err = command("report", folder / "page.html", "--case", case, "--json")
            if code:
                bad.append(f"report: exit {code}: {err.strip()}")
            else:
                for which, stage in zip(("sound", "danger"), json.loads(out)["stages"], strict=False):
                    agree(f"report --case, stage {stage.get('stage')}", which, fitness_of(stage["assessment"]["channels"]))
    danger = bench.truth.dangers[0]
    return [f"{form} ({danger.size_V:.3g} V, {danger.place}, {bench.kind}): {line}" for line in bad]


def main() -> None:
    """Draw, judge, print; record where told."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--sound", type=int, default=0)
    parser.add_argument("--danger", type=int, default=0)
    parser.add_argument("--ladder", type=int, default=0, help="logs per form and size")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--form", nargs="*", default=list(FORMS))
    parser.add_argument("--kind", nargs="*", default=[*SOUND, *UNSCORED])
    parser.add_argument("--through", default="")
    parser.add_argument("--replay", nargs=2, metavar=("NAME", "SEED"))
    parser.add_argument("--out", help="folder for the files of --replay")
    parser.add_argument("--files", action="store_true", help="by way of CSV files")
    parser.add_argument("--record", action="store_true")
    parser.add_argument("--note", default="", help="a sentence above the recorded table: the state of the rules")
    given = parser.parse_args()
    if given.replay:
        replay(given.replay[0], int(given.replay[1]), given.out, given.files)
        return
    pages: list[str] = []
    base = given.seed * 100_000
    if given.sound:
        jobs: list[Job] = [("sound", given.kind[k % len(given.kind)], base + k, 0.0, given.files) for k in range(given.sound)]
        pages += ["", *of_sound(list(run(jobs, given.jobs)))]
    if given.danger:
        jobs = [("danger", given.form[k % len(given.form)], base + k, 0.0, given.files) for k in range(given.danger)]
        pages += ["", *of_danger(list(run(jobs, given.jobs)))]
    if given.ladder:
        jobs = [("ladder", f, base + k, s, given.files) for f in given.form for s in danger_bench.ladder(f) for k in range(given.ladder)]
        pages += ["", *of_ladder(list(run(jobs, given.jobs)))]
    if given.through:
        found = []
        for form in given.form:
            lines = through(form, base, given.through.split(","))
            print(form, "agrees" if not lines else f"{len(lines)} lines", file=sys.stderr, flush=True)
            found += lines
        pages += ["", f"Through {given.through}, {len(given.form)} forms: {len(found)} lines do not agree.", "", *(f"- {x}" for x in found)]
    print("\n".join(pages).strip())
    if given.record:
        import flicker

        before = RESULTS.read_text(encoding="utf-8") if RESULTS.exists() else "# Sound logs and dangers through the whole program\n"
        told = " ".join(word for word in sys.argv[1:] if word not in ("--record", "--note", given.note))
        head = f"{before}\n## `study_danger.py {told}`, version {flicker.__version__}\n\n{given.note}\n"
        RESULTS.write_text(head + "\n".join(pages) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
