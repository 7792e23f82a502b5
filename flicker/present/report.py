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
from flicker.logs.model import Log, LogError
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


def write_report(
    result: Any,
    path: str | os.PathLike[str],
    *,
    logs: Sequence[Log] | None = None,
    case: Any = None,
    stages: Any = None,
) -> Path:
    """Write the evidence page of an assessment, a comparison or a soak plan.

    Parameters
    ----------
    result : Assessment, Comparison or SoakPlan
        What `flicker.assess`, `flicker.compare` or `flicker.plan_soak` returned.
    path : str or path
        Where the HTML file shall stand; written whole or not at all.
    logs : sequence of Log, optional
        The logs judged; with them the page carries the SHA-256 of each file, exact close-ups and the state of the
        assumed relay.
    case : Case, optional
        The job; then the page of an assessment (of the last stage) is the owner's page.
    stages : StageComparison or Comparison, optional
        What `flicker.compare_stages` returned, shown stage by stage beside a case.

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
    return write_whole(path, report_html(result, logs=logs, case=case, stages=stages), what="report")


def write_case_report(
    case: Any, path: str | os.PathLike[str], *, progress: Callable[[str], None] | None = None
) -> Path:
    """Judge a job from its case file's logs and write the owner's page, whole or not at all.

    Parameters
    ----------
    case : Case
        What `flicker.evidence.case.read_case` returned.
    path : str or path
        Where the HTML file shall stand.
    progress : callable, optional
        Called with a few words before each longer step.

    Raises
    ------
    LogError
        If a log cannot be read, the case names none, or the file cannot be written there.
    """
    from flicker.evidence.assessment import assess
    from flicker.evidence.comparison import compare_stages

    if not case.logs:
        raise LogError(f"{Path(case.path).name}: the case names no log; add one under [[logs]].")
    logs: list[Log] = []
    judged = {}
    for stage in case.stages:
        if progress:
            progress(f"judging the stage {stage}")
        part = case.read_logs(stage)
        logs.extend(part)
        judged[stage] = assess(part, case.limits)
    stages = compare_stages(judged, case.limits, concern_per_h=case.complaint.per_hour) if len(judged) > 1 else None
    if progress:
        progress("drawing the page")
    return write_report(judged[case.stages[-1]], path, logs=logs, case=case, stages=stages)


def report_html(result: Any, *, logs: Sequence[Log] | None = None, case: Any = None, stages: Any = None) -> str:
    """Return the evidence page as text; see `write_report`."""
    told = result.to_dict() if hasattr(result, "to_dict") else result
    schema = told.get("schema", "") if isinstance(told, dict) else ""
    pictures = Pictures()
    if schema.startswith("flicker/assessment/"):
        from flicker.present._report_assessment import assessment_page

        title, body = assessment_page(result, pictures, list(logs or ()), case=case, stages=stages)
    elif schema.startswith(("flicker/comparison/", "flicker/stages/")):
        from flicker.present._report_plans import comparison_page

        title, body = comparison_page(told, result, pictures, list(logs or ()))
    elif schema.startswith("flicker/soak/"):
        from flicker.present._report_plans import soak_page

        title, body = soak_page(told, pictures)
    else:
        raise ValueError(f"result must be an assessment, a comparison or a soak plan, got {type(result).__name__}")
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
