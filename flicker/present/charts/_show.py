"""Charts in a notebook: live where the viewer knows the format, else the still picture, never from a network; and which picture
shows the answer to a question.
"""

from __future__ import annotations

import base64
from collections.abc import Callable
from typing import Any

import altair as alt

from flicker.evidence.assessment import Assessment
from flicker.evidence.questions.registry import questions
from flicker.present import palette
from flicker.present.charts._bench import stimuli, thresholds
from flicker.present.charts._events import cumulative, gaps, sizes
from flicker.present.charts._frame import NothingToDraw
from flicker.present.charts._level import power_ups, settled
from flicker.present.charts._rates import rates
from flicker.present.tables import Words

LIVE = "application/vnd.vega.v5+json"
PIXELS_PER_POINT = 2.0  # common practice, no source: sharp on screens of double density


def use_in_notebooks() -> None:
    """Show charts of this session as the live chart with a still picture beside it, both made on this machine.

    Altair's own default loads its scripts from a network; a bench often has none.
    """
    alt.renderers.register("flicker", _both)
    alt.renderers.enable("flicker")
    # A chart made in a cell lies on paper of its own as well, whatever the viewer's theme.
    alt.theme.register("flicker", enable=True)(_theme)


def _theme() -> Any:
    return {"config": palette.chart_config()}


def _both(spec: dict[str, Any], **_: Any) -> tuple[dict[str, Any], dict[str, Any]]:
    """One output, two pictures: live Vega 5, which viewers carry with them, and a PNG wherever that is not known.

    Vega-Lite 6 is not known to the viewers of today, so the specification is compiled here: a property that only
    version 6 knows would be passed over in silence by an older one. A PNG and no SVG: JupyterLab does not draw an SVG
    in a notebook that nobody has trusted.
    """
    from flicker.present.export import png_of, vega_of

    live = vega_of(spec)
    picture = png_of(live, scale=PIXELS_PER_POINT)
    width, height = (int.from_bytes(picture[at : at + 4], "big") for at in (16, 20))  # PNG, IHDR (ISO/IEC 15948)
    size = {"width": round(width / PIXELS_PER_POINT), "height": round(height / PIXELS_PER_POINT)}
    shown = {
        LIVE: live,
        "image/png": base64.b64encode(picture).decode("ascii"),
        "text/plain": str(spec.get("description", "chart")),
    }
    return shown, {"image/png": size}


def if_any(make: Callable[..., Any], *args: Any, **options: Any) -> Any:
    """Draw a chart, or say in words why there is nothing to draw."""
    try:
        return make(*args, **options)
    except NothingToDraw as reason:
        return Words(f"No picture: {reason}.")


_DRAWN: dict[str, Callable[[Assessment, str | None], Any]] = {
    chart.__name__: chart for chart in (cumulative, gaps, power_ups, rates, settled, sizes, stimuli, thresholds)
}


def answer_to(question: str, assessment: Assessment, channel: str | None = None) -> Any:
    """Draw the picture that shows the answer to a question, by the question's name in documents.

    Raises
    ------
    ValueError
        If there is no such question, or no picture for it.
    NothingToDraw
        If the logs hold nothing to show.
    """
    drawn = {name: item.chart for name, item in questions().items() if item.chart is not None}
    if question not in drawn:
        raise ValueError(f"question must be one of {', '.join(map(repr, drawn))}, got {question!r}")
    return _DRAWN[drawn[question]](assessment, channel)
