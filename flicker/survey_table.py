"""A shelf of logs: judge many files side by side and gather one table. Jobs are paths and limits, results are rows.

Any `concurrent.futures` executor will do; by default a pool of processes of our own, which outlives the death of a
worker. One bad file is one row with its error, never the end of the survey, and an interrupted survey resumes.
"""

from __future__ import annotations

import contextlib
import dataclasses
import hashlib
import json
import multiprocessing
import os
import signal
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flicker._version import __version__

if TYPE_CHECKING:
    import pandas as pd

    from flicker.base.limits import Limits
    from flicker.case.case_file import Case

SUFFIXES = (".csv", ".tsv", ".txt", ".gz", ".zip", ".parquet", ".arrow", ".feather", ".wav", ".xlsx")

# Name and kind of each column of the table, in order; documented in DEVELOPERS.md and tested.
COLUMNS: dict[str, str] = {
    "source": "string",  # path as given
    "channel": "string",
    "verdict": "string",
    "tail": "string",
    "fitness": "string",
    "runs": "Int64",
    "observed_s": "Float64",
    "episodes": "Int64",
    "excursions": "Int64",
    "per_hour": "Float64",
    "low_per_hour": "Float64",
    "high_per_hour": "Float64",
    "in_excursion_s": "Float64",
    "level_V": "Float64",
    "sigma_V": "Float64",
    "largest_V": "Float64",
    "trips": "Int64",
    "reads": "string",
    "error": "string",  # one sentence where the file could not be judged; everything else is then missing
    "version": "string",
    "key": "string",  # size, time, place and ends of the file, reader arguments, limits and version, hashed
}

Row = dict[str, Any]
# Of what is handed to a given executor at once: so many parts at least keep some tens of workers busy to the end, and a
# part of so many bytes takes about a second; both choices.
PARTS, PART_BYTES = 64, 1 << 20
DIED = "the worker died while judging this file"


def judge_file(
    path: str, limits: Mapping[str, float], options: Mapping[str, Any], key: str, case: Case | None = None
) -> list[Row]:
    """Judge one file; whatever is wrong with it becomes a row. Runs in a worker."""
    from flicker.base.limits import Limits
    from flicker.evidence.assessment import assess
    from flicker.logs.reading import read_log

    try:
        log = read_log(path, **options) if case is None else case.read(path, **options)
        result = assess(log, Limits(**limits), case=case)
    except Exception as problem:  # a worker must hand back a row, whatever happened
        text = " ".join(str(problem).split()) or type(problem).__name__
        return [new_row(COLUMNS, source=path, error=text, key=key)]
    rows = []
    for item in result.channels:
        sizes = [abs(row.deviation_V) for row in item.excursions]
        rows.append(
            new_row(
                COLUMNS,
                source=path,
                channel=item.channel,
                verdict=item.verdict,
                tail=item.tail,
                fitness=item.fitness,
                runs=len(result.runs),
                observed_s=item.observed_s,
                episodes=item.rate.episodes,
                excursions=item.excursions_total,
                per_hour=item.rate.per_hour,
                low_per_hour=item.rate.low_per_hour,
                high_per_hour=item.rate.high_per_hour,
                in_excursion_s=item.in_excursion_s,
                level_V=item.baseline.level_V,
                sigma_V=item.noise.sigma_V,
                largest_V=max(sizes) if sizes else None,
                trips=item.relay.trips,
                reads=item.reads,
                key=key,
            )
        )
    return rows


def new_row(columns: Iterable[str], **values: Any) -> Row:
    """A row of a table: what is not given is empty."""
    return {**dict.fromkeys(columns), "version": __version__, **values}


def row_key(path: str, limits: Mapping[str, float], options: Mapping[str, Any]) -> str:
    """Identify a file and the way it is judged without reading all of it (see `flicker.logs.beside.file_key`)."""
    from flicker.logs.beside import file_key
    from flicker.signals.guard.figures import RULES

    try:
        file = file_key(path) if os.path.isfile(path) or not os.path.exists(path) else f"no file {path!r}"
    except OSError as problem:
        file = f"{problem.errno} {path!r}"  # by its name: two that cannot be read are two
    told = json.dumps([dict(limits), {k: str(v) for k, v in options.items()}, __version__, RULES], sort_keys=True)
    return hashlib.sha256(f"{file} {told}".encode()).hexdigest()


def find_logs(folder: str | Path) -> list[str]:
    """Files under a folder that may be logs, by their suffix, in order."""
    if not os.path.isdir(folder):
        raise ValueError(f"{folder}: not a folder; name the folder that holds the logs.")
    found = sorted(str(path) for path in Path(folder).rglob("*") if path.suffix.lower() in SUFFIXES)
    return [path for path in found if ".marks." not in os.path.basename(path) and os.path.isfile(path)]


def survey(
    paths: Iterable[str | Path],
    executor: Executor | None = None,
    *,
    limits: Limits | None = None,
    options: Mapping[str, Any] | None = None,
    done: Iterable[Row] = (),
    on_rows: Callable[[list[Row]], None] | None = None,
    workers: int | None = None,
    case: Case | None = None,
) -> pd.DataFrame:
    """Judge many logs, each on its own, and return one table.

    Parameters
    ----------
    paths : iterable of path
        One log each. The order of the table is that of the paths, however the work was spread.
    executor : Executor, optional
        Any `concurrent.futures` executor (for several machines: `distributed.Client.get_executor()`); by default a pool
        of processes of our own.
    limits, options : optional
        Limits of every verdict, and arguments for `read_log`.
    done : iterable of rows
        Rows of an earlier survey; files whose key stands there are not judged again.
    on_rows : callable, optional
        Called with the rows of each finished file, in the order in which files finish.
    workers : int, optional
        Processes of our own pool; all cores by default.
    case : Case, optional
        What the columns of every log are (roles, factor, polarity, zero), and the kind of output; its limits where none
        are given. Logs, stages and parts of the case are not used.

    Returns
    -------
    pandas.DataFrame
        Columns and kinds as in `COLUMNS`: a row per channel, or one row with ``error``.
    """
    from flicker.base.limits import Limits

    names = [str(path) for path in paths]
    values = dataclasses.asdict(limits or (case.limits if case else Limits()))
    told = dict(options or {})
    known: dict[str, Any] = dict(told)
    if case is not None:
        known["case"] = [case.output, case.channels, case.complaint, case.meter, case.marks_column, case.options]
        known["logs"] = {log.file: log.reading for log in case.logs if log.reading}
    keys = {name: row_key(name, values, known) for name in names}
    rows: dict[str, list[Row]] = {}
    for row in done:
        rows.setdefault(str(row.get("key")), []).append(row)
    open_names = [name for name in dict.fromkeys(names) if keys[name] not in rows]
    jobs = {name: (name, values, told, keys[name], case) for name in open_names}
    for name, found in _run(jobs, executor, workers):
        rows[keys[name]] = found
        if on_rows:
            on_rows(found)
    return as_table([row | {"source": name} for name in names for row in rows[keys[name]]])


def _run(
    jobs: Mapping[str, tuple[Any, ...]], executor: Executor | None, workers: int | None
) -> Iterator[tuple[str, list[Row]]]:
    if executor is not None:
        yield from _given(jobs, executor)
        return
    waiting = dict(jobs)
    while waiting:
        broke = False
        with _pool(workers) as pool:
            for name, found in _drain(waiting, pool):
                if found is None:
                    broke = True
                else:
                    del waiting[name]
                    yield name, found
        if broke:
            # Some file kills its worker: one at a time until the culprit is known, then on in parallel.
            for name, job in list(waiting.items()):
                with _pool(1) as lone:
                    ((_, found),) = _drain({name: job}, lone)
                del waiting[name]
                yield name, [new_row(COLUMNS, source=name, error=DIED, key=job[3])] if found is None else found
                if found is None:
                    break


def _pool(workers: int | None) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(
        workers or os.cpu_count(), mp_context=multiprocessing.get_context("spawn"), initializer=_end_in_silence
    )


def _end_in_silence() -> None:
    """Let a worker end without a word where the program is stopped by hand; the program itself says so."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})


@contextlib.contextmanager
def _held_back() -> Iterator[None]:
    """Hold an interrupt back while workers begin: they inherit that, and cannot be struck before they are silent."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _drain(waiting: Mapping[str, tuple[Any, ...]], pool: ProcessPoolExecutor) -> Iterator[tuple[str, list[Row] | None]]:
    running: dict[Future[list[Row]], str] = {}
    rest = iter(list(waiting.items()))
    ahead = 2 * (os.cpu_count() or 1) + 2
    try:
        while True:
            while len(running) < ahead and (job := next(rest, None)) is not None:
                with _held_back():
                    running[pool.submit(judge_file, *job[1])] = job[0]
            if not running:
                return
            finished, _ = wait(running, return_when=FIRST_COMPLETED)
            for future in finished:
                name = running.pop(future)
                yield name, future.result()
    except BrokenProcessPool:
        yield "", None


def judge_files(jobs: Sequence[tuple[Any, ...]]) -> list[list[Row]]:
    """Judge some files, one after the other. Runs in a worker."""
    return [judge_file(*job) for job in jobs]


def _given(jobs: Mapping[str, tuple[Any, ...]], executor: Executor) -> Iterator[tuple[str, list[Row]]]:
    running = [(part, executor.submit(judge_files, [jobs[name] for name in part])) for part in _parts(list(jobs))]
    for part, future in running:
        try:
            found = future.result()
        except Exception:  # the executor's own failure, for example a job that killed its worker: which file was it?
            found = [_by_itself(jobs[name], executor) for name in part]
        yield from zip(part, found, strict=True)


def _by_itself(job: tuple[Any, ...], executor: Executor) -> list[Row]:
    """Judge a file that was with one that killed its worker, or did so itself: then it is told."""
    try:
        return executor.submit(judge_file, *job).result()
    except Exception as problem:
        return [new_row(COLUMNS, source=job[0], error=f"{DIED} ({type(problem).__name__})", key=job[3])]


def _parts(names: Sequence[str]) -> Iterator[list[str]]:
    """Files that go to a worker together: small ones, of which a cluster needs a fifth of the time only to hand each over."""
    part: list[str] = []
    size = 0
    for name in names:
        size += os.path.getsize(name) if os.path.isfile(name) else 0
        part.append(name)
        if size >= PART_BYTES or len(part) >= max(1, len(names) // PARTS):
            yield part
            part, size = [], 0
    if part:
        yield part


def as_table(rows: Sequence[Row], columns: Mapping[str, str] | None = None) -> pd.DataFrame:
    """Rows as a table of the documented kinds; text that a spreadsheet would take for a formula is disarmed."""
    import pandas as pd

    columns = COLUMNS if columns is None else columns
    written = [{name: _written(value) for name, value in row.items()} for row in rows]
    table = pd.DataFrame(written, columns=list(columns))
    for name, kind in columns.items():
        if kind == "string":
            table[name] = pd.Series([disarmed(value) for value in table[name]], dtype="string", index=table.index)
        else:
            table[name] = table[name].astype(pd.api.types.pandas_dtype(kind))
    return table


def _written(value: Any) -> Any:
    """Text as it can be written: bytes of a name that are no text are spelt out."""
    return value.encode("utf-8", "backslashreplace").decode() if isinstance(value, str) else value


def disarmed(value: Any) -> Any:
    """Put an apostrophe before text that begins like a formula."""
    if isinstance(value, str) and value[:1] in {"=", "+", "-", "@", "\t", "\r"}:
        return "'" + value
    return value if isinstance(value, str) else None


def journal_rows(path: Path) -> list[Row]:
    """Rows of an interrupted survey: whole lines of its journal only."""
    rows: list[Row] = []
    if path.exists():
        for line in path.read_bytes().split(b"\n")[:-1]:
            with contextlib.suppress(json.JSONDecodeError, UnicodeDecodeError):
                rows.extend(json.loads(line))
    return rows


def earlier_rows(out: Path) -> list[Row]:
    """Rows of a finished table, to be taken over where the key still fits."""
    if not out.exists():
        return []
    import pandas as pd

    table = pd.read_parquet(out) if out.suffix == ".parquet" else pd.read_csv(out)
    if "key" not in table.columns:
        raise ValueError(f"{out}: not a table of a survey; choose another name for --out.")
    return rows_in(table)


def rows_in(table: pd.DataFrame) -> list[Row]:
    """Rows of a table as plain values, None where a cell is empty."""
    told = table.astype(object).where(table.notna(), None)
    return [
        {str(name): value[1:] if isinstance(value, str) and value[:1] == "'" else value for name, value in row.items()}
        for row in told.to_dict("records")
    ]
