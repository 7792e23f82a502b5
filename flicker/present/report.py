"""The evidence as one page: a single HTML file that opens offline, prints, and reads on a phone.

An assessment, a comparison or a soak plan in, a file out. Charts are drawn twice: as a still picture for print and for
readers without scripts, and live by the script inside the page, which may neither reach a network nor make code from
text (Content-Security-Policy; Vega's expression interpreter).
"""

from __future__ import annotations

import base64
import hashlib
import json
import os
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from string import Template
from typing import Any

from flicker import __version__
from flicker.logs.model import Log
from flicker.present._markup import Markup, tag
from flicker.present.writing import write_whole


@dataclass(slots=True)
class Pictures:
    """Charts of a page in the making; `figure` returns the markup and keeps the specification."""

    specs: list[dict[str, Any]] = field(default_factory=list)

    def figure(self, make: Callable[..., Any], *args: Any, **options: Any) -> Markup | None:
        """Draw a chart, or return nothing where the results hold nothing to draw."""
        from flicker.present.charts import NothingToDraw, caption_of, note_of
        from flicker.present.export import svg_of

        try:
            chart = make(*args, **options)
        except NothingToDraw:
            return None
        spec = _named_in_order(chart.to_dict())
        spec.pop("title", None)
        number = f"chart-{len(self.specs) + 1}"
        self.specs.append(spec)
        still = base64.b64encode(svg_of(spec).encode("utf-8")).decode("ascii")
        caption, note = caption_of(chart), note_of(chart)
        return tag(
            "figure",
            tag("figcaption", tag("strong", caption), tag("span", note)),
            tag("div", class_="live"),
            tag("img", src=f"data:image/svg+xml;base64,{still}", alt=f"Chart. {caption} {note}"),
            data_chart=number,
        )

    def scripts(self) -> str:
        """Specifications as data inside the page; nothing in them can end the element that holds them."""
        return "".join(
            f'<script type="application/json" id="chart-{number}">{inert_json(spec)}</script>\n'
            for number, spec in enumerate(self.specs, 1)
        )


def _named_in_order(spec: dict[str, Any]) -> dict[str, Any]:
    """Replace the names that Altair draws at random, so that the same logs give the same page."""
    told = json.dumps(spec)
    for place, name in enumerate(dict.fromkeys(re.findall(r'"(view_[0-9a-f]{6,}[_0-9]*)"', told))):
        told = told.replace(f'"{name}"', f'"view_{place}"')
    named: dict[str, Any] = json.loads(told)
    return named


def inert_json(value: Any) -> str:
    """JSON that holds none of the characters which mean something to HTML or end a line of script."""
    text = json.dumps(value, allow_nan=False, ensure_ascii=False, separators=(",", ":"))
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return text


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
    told = result.to_dict() if hasattr(result, "to_dict") else result
    schema = told.get("schema", "") if isinstance(told, dict) else ""
    kind = str(schema).removeprefix("flicker/").split("/")[0]
    pictures = Pictures()
    if kind == "assessment":
        from flicker.present._report_assessment import assessment_page

        title, body = assessment_page(result, pictures, list(logs or ()))
    elif kind == "job":
        from flicker.present._report_job import job_page

        title, body = job_page(result, pictures)
    elif kind in ("comparison", "stages"):
        from flicker.present._report_plans import comparison_page

        title, body = comparison_page(told, result, pictures, list(logs or ()))
    elif kind == "soak":
        from flicker.present._report_plans import soak_page

        title, body = soak_page(told, pictures)
    elif kind == "visits":
        from flicker.present._report_visits import visits_page

        title, body = visits_page(result, pictures)
    else:
        raise ValueError(
            f"result must be an assessment, visits, a comparison, a soak plan or a job, got {type(result).__name__}"
        )
    return _assemble(title, body, pictures)


def _assemble(title: str, body: Markup, pictures: Pictures) -> str:
    from flicker.present._markup import text

    bundle, starter = (_bundle(), _asset("page.js")) if pictures.specs else ("", "")
    allowed = " ".join(f"'sha256-{_hash(script)}'" for script in (bundle, starter))
    policy = (
        f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )
    return Template(_asset("page.html")).substitute(
        policy=policy,
        version=__version__,
        title=text(title),
        style=_asset("page.css"),
        body=body,
        specs=pictures.scripts(),
        bundle=bundle,
        starter=starter,
    )


def _hash(script: str) -> str:
    return base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode("ascii")


def _asset(name: str) -> str:
    return files("flicker.present").joinpath("_page", name).read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def _bundle() -> str:
    """The script that draws charts, once for the whole page; its text cannot end the script element."""
    import vl_convert as vlc

    script = str(vlc.javascript_bundle())  # type: ignore[call-arg]
    script = script.replace("\r\n", "\n").replace("\r", "\n")
    return script.replace("</script", "<\\/script").replace("<!--", "<\\!--")
