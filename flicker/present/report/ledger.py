"""The page of the shop's ledger: what each model showed, and its jobs stage by stage."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from flicker.base.formats import count_text, digits_text, hours_text
from flicker.evidence.among_like import same_model
from flicker.logs.writing import write_whole
from flicker.present.report.page import assembled
from flicker.present.report.parts import Child, Markup, mast, table, tag, text
from flicker.present.report.pictures import Pictures
from flicker.present.said import fitness_text
from flicker.survey_table import Row, rows_in

if TYPE_CHECKING:
    import pandas as pd

HEADS = ("job", "stage", "done before it", "channel", "verdict", "fitness", "seen", "cured")


def write_ledger_page(ledger: pd.DataFrame, path: str | os.PathLike[str]) -> Path:
    """Write the ledger as one page, whole or not at all.

    Raises
    ------
    LogError
        If the file cannot be written there.
    """
    rows = rows_in(ledger)
    good = [row for row in rows if not row["error"]]
    models: dict[str, list[Row]] = {}
    for row in good:
        models.setdefault(same_model(str(row["model"] or "model not recorded")), []).append(row)
    jobs = len({row["job"] for row in good})
    parts: list[Child] = [mast("The shop's ledger", f"{count_text(jobs, 'job')}, {count_text(len(models), 'model')}. Counts, no forecast and no verdict.")]
    for name in sorted(models):
        mine = models[name]
        told = [
            (
                f"{row['job']}" + (f" ({row['serial']})" if row["serial"] else ""),
                row["stage"], row["done"] or "", row["channel"], ", then ".join(dict.fromkeys(filter(None, (row["verdict_before"], row["verdict"])))), fitness_text(row["fitness"] or ""),
                _seen(row), row["cured"] or "",
            )
            for row in mine
        ]  # fmt: skip
        head = tag("h2", str(mine[0]["model"] or "Model not recorded"))
        parts.append(tag("section", head, table(HEADS, told, labels=True, caption=count_text(len({row['job'] for row in mine}), "job"))))
    bad = [(str(row["case"]), str(row["error"])) for row in rows if row["error"]]
    if bad:
        parts.append(tag("section", tag("h2", "Could not be judged"), table(("case", "why"), bad)))
    return write_whole(path, assembled("The shop's ledger", Markup(text(parts)), Pictures()), what="report")


def _seen(row: Row) -> str:
    hours = hours_text(float(row["observed_h"]))
    if not row["episodes"]:
        return f"none in {hours}"
    return f"{row['episodes']} in {hours} ({digits_text(row['low_per_hour'])} to {digits_text(row['high_per_hour'])} per hour)"
