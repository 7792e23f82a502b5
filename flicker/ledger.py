"""The shop's ledger: a folder of cases in, one row per job, stage and channel out; it stays on this machine."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from flicker.base.units import HOUR
from flicker.evidence.among_like import COLUMNS, AmongLike
from flicker.evidence.among_like import among_like as _among_like
from flicker.survey_table import Row, as_table, new_row, rows_in

if TYPE_CHECKING:
    import pandas as pd

    from flicker.evidence.assessment import Assessment
    from flicker.evidence.job import JobResult


def find_cases(folder: str | Path) -> list[str]:
    """Case files under a folder: TOML files that list logs, in order.

    Raises
    ------
    ValueError
        If there is no such folder.
    """
    if not os.path.isdir(folder):
        raise ValueError(f"{folder}: not a folder; name the folder that holds the cases.")
    return [str(path) for path in sorted(Path(folder).rglob("*.toml")) if _lists_logs(path)]


def _lists_logs(path: Path) -> bool:
    try:
        return bool(tomllib.loads(path.read_text(encoding="utf-8")).get("logs"))
    except (OSError, UnicodeDecodeError):
        return False
    except tomllib.TOMLDecodeError:
        return "case" in path.name.lower()  # a case that cannot be read becomes a row that says so


def survey_cases(paths: Iterable[str | Path], *, progress: Callable[[str], None] | None = None) -> pd.DataFrame:
    """Judge cases and return the ledger.

    Parameters
    ----------
    paths : iterable of path
        Case files.
    progress : callable, optional
        Called with a few words before each case.

    Returns
    -------
    pandas.DataFrame
        Columns and kinds as in `flicker.evidence.among_like.COLUMNS`. A case that cannot be judged is one row with its error.
    """
    from flicker.case.case_file import read_case
    from flicker.evidence.job import judge_case

    rows: list[Row] = []
    for path in paths:
        if progress:
            progress(f"judging {path}")
        try:
            rows.extend(rows_of(judge_case(read_case(path))))
        except (ValueError, OSError) as problem:  # one bad case is one row
            rows.append(new_row(COLUMNS, case=str(path), error=" ".join(str(problem).split())))
    return as_table(rows, COLUMNS)


def rows_of(job: JobResult) -> list[Row]:
    """Rows of one judged case: each stage and channel, with what was done before and what became of it."""
    from flicker.evidence.compare.stages import work_of

    case = job.case
    work = work_of(job.stages, case)
    steps = job.comparison.steps if job.comparison is not None else ()
    rows = []
    for k, (stage, found) in enumerate(zip(job.stages, job.assessments, strict=True)):
        before = {item.channel: item for item in job.assessments[k - 1].channels} if k else {}
        step = {item.channel: item for item in steps[k - 1].channels} if k and len(steps) == len(job.stages) - 1 else {}
        done = work[stage]
        told = k > 0 and (done.what != stage or done.changed is not None)  # else no work is recorded before it
        for item in found.channels:
            earlier, compared = before.get(item.channel), step.get(item.channel)
            rows.append(
                new_row(
                    COLUMNS,
                    job=case.job or Path(case.path).name,
                    model=case.unit,
                    serial=case.serial,
                    complaint=case.complaint.text,
                    stage=stage,
                    done=done.what if told else None,
                    changed=done.changed if told else None,
                    channel=item.channel,
                    verdict_before=None if earlier is None else str(earlier.verdict),
                    verdict=str(item.verdict),
                    fitness_before=None if earlier is None else str(earlier.fitness),
                    fitness=str(item.fitness),
                    outcome=None if compared is None else compared.outcome,
                    cured=None if compared is None else compared.cured,
                    observed_h=item.observed_s / HOUR,
                    episodes=item.rate.episodes,
                    per_hour=item.rate.per_hour,
                    low_per_hour=item.rate.low_per_hour,
                    high_per_hour=item.rate.high_per_hour,
                    level_V=item.baseline.level_V,
                    sigma_V=item.noise.sigma_V,
                    case=str(case.path),
                )
            )
    return rows


def read_ledger(path: str | Path) -> list[Row]:
    """Rows of a ledger that was written.

    Raises
    ------
    ValueError
        If the file is no ledger.
    """
    import pandas as pd

    try:
        table = pd.read_parquet(path) if str(path).endswith(".parquet") else pd.read_csv(path)
    except (OSError, ValueError) as problem:
        raise ValueError(f"{path}: the ledger cannot be read ({' '.join(str(problem).split())[:120]}).") from None
    lacking = [name for name in COLUMNS if name not in table.columns]
    if lacking:
        raise ValueError(
            f"{path}: not a ledger, the column {lacking[0]} is missing; flicker survey --cases DIR --out LEDGER.csv writes one."
        )
    return rows_in(table)


def among_like(
    result: Assessment, told: str | Path | pd.DataFrame, model: str, *, job: str | None = None
) -> tuple[AmongLike, ...]:
    """Set each channel of an assessment among the channels of its model in a ledger.

    Parameters
    ----------
    result : Assessment
        What `flicker.assess` returned.
    told : path or DataFrame
        The ledger.
    model : str
        Maker and model, as the ledger has it.
    job : str, optional
        The job itself, which is left out.

    Raises
    ------
    ValueError
        If the file is no ledger.
    """
    rows = read_ledger(told) if isinstance(told, (str, Path)) else rows_in(told)
    return _among_like(result.channels, rows, model, job)
