"""The evidence as one page: a single HTML file that opens offline, prints, and reads on a phone.

An assessment, a comparison or a soak plan in, a file out. Charts are drawn twice: as a still picture for print and for
readers without scripts, and live by the script inside the page, which may neither reach a network nor make code from
text (Content-Security-Policy; Vega's expression interpreter).
"""

from __future__ import annotations

import base64
import hashlib
import os
import re
from collections.abc import Sequence
from importlib import import_module
from importlib.resources import files
from pathlib import Path
from typing import Any

from flicker._version import __version__
from flicker.logs.model import Log
from flicker.logs.writing import write_whole
from flicker.present.report.packed import chart_script
from flicker.present.report.parts import TURNS, Markup, document_of
from flicker.present.report.pictures import Pictures

# module and function of the page of each kind of document
PAGES = {
    "assessment": "assessment assessment_page",
    "job": "job job_page",
    "comparison": "plans comparison_page",
    "stages": "plans comparison_page",
    "soak": "plans soak_page",
    "visits": "visits visits_page",
}


def write_report(result: Any, path: str | os.PathLike[str], *, logs: Sequence[Log] | None = None) -> Path:
    """Write the evidence page of an assessment, a comparison, a soak plan or a job.

    Parameters
    ----------
    result : Assessment, Comparison, StageComparison, SoakPlan, JobResult or Visits
        What `flicker.assess`, `flicker.compare`, `flicker.compare_stages`, `flicker.plan_soak`, `flicker.judge_case` or
        `flicker.over_visits` returned. The page of a job is the owner's page, judged by its last stage.
    path : str or path
        Where the HTML file shall stand; written whole or not at all.
    logs : sequence of Log, optional
        The logs judged; with them the page carries the SHA-256 of each file, exact close-ups and the state of the
        assumed relay. A job brings its own.

    Returns
    -------
    Path

    Raises
    ------
    LogError
        If the file cannot be written there.
    ValueError
        If ``result`` is none of these.
    """
    return write_whole(path, report_html(result, logs=logs), what="report")


def report_html(result: Any, *, logs: Sequence[Log] | None = None) -> str:
    """Return the evidence page as text; see `write_report`."""
    told = document_of(result)
    schema = told.get("schema", "") if isinstance(told, dict) else ""
    kind = str(schema).removeprefix("flicker/").split("/")[0]
    if kind not in PAGES:
        raise ValueError(
            f"result must be an assessment, visits, a comparison, a soak plan or a job, got {type(result).__name__}"
        )
    module, name = PAGES[kind].split()
    pictures = Pictures()
    title, body = getattr(import_module(f"flicker.present.report.{module}"), name)(result, pictures, list(logs or ()))
    return assembled(title, body, pictures)


def assembled(title: str, body: Markup, pictures: Pictures) -> str:
    """A page as text: policy, style, contents, body and scripts in one file."""
    from flicker.present.report.parts import render

    body, contents = _with_ids(Markup(pictures.drawn(body).translate(TURNS)))
    bundle, starter = chart_script() if pictures.specs else "", _asset("page.js")
    allowed = " ".join(f"'sha256-{_hash(script)}'" for script in (bundle, starter))
    policy = (
        f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )
    return render(
        "page.html",
        policy=policy,
        version=__version__,
        title=title.translate(TURNS),
        style=Markup(_asset("page.css")),
        contents=contents,
        body=body,
        specs=Markup(pictures.scripts()),
        bundle=Markup(bundle),
        starter=Markup(starter),
    )


HEADING = re.compile(r"<h([23])>(.*?)</h\1>", re.S)
TAGS = re.compile(r"<[^>]*>")


def _with_ids(body: Markup) -> tuple[Markup, list[tuple[str, Markup]]]:
    """Give each heading a name to link to; the chapters (h2) make the contents."""
    taken: dict[str, int] = {}
    contents: list[tuple[str, Markup]] = []

    def named(found: re.Match[str]) -> str:
        level, inner = found.groups()
        words = " ".join(TAGS.sub("", inner).split())
        slug = "-".join(re.findall(r"[a-z0-9]+", words.lower()))[:60].strip("-") or "part"
        taken[slug] = taken.get(slug, 0) + 1
        name = slug if taken[slug] == 1 else f"{slug}-{taken[slug]}"
        if level == "2":
            contents.append((name, Markup(words)))
        return f'<h{level} id="{name}">{inner}</h{level}>'

    return Markup(HEADING.sub(named, body)), contents


def _hash(script: str) -> str:
    return base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode("ascii")


def _asset(name: str) -> str:
    return files("flicker.present").joinpath("_page", name).read_text(encoding="utf-8")

