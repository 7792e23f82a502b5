"""Charts in a notebook: live where the viewer knows the format, else the still picture; never from a network."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import altair as alt

from flicker.present.charts._frame import NothingToDraw
from flicker.present.tables import Words


def use_in_notebooks() -> None:
    """Show charts of this session as the live chart with a still picture beside it, both made on this machine.

    Altair's own default loads its scripts from a network; a bench often has none.
    """
    alt.renderers.register("flicker", _both)
    alt.renderers.enable("flicker")


def _both(spec: dict[str, Any], **_: Any) -> dict[str, Any]:
    from flicker.present.export import svg_of

    major = alt.SCHEMA_VERSION.lstrip("v").split(".")[0]
    return {
        f"application/vnd.vegalite.v{major}+json": spec,
        "image/svg+xml": svg_of(spec),
        "text/plain": str(spec.get("description", "chart")),
    }


def if_any(make: Callable[..., Any], *args: Any, **options: Any) -> Any:
    """Draw a chart, or say in words why there is nothing to draw."""
    try:
        return make(*args, **options)
    except NothingToDraw as reason:
        return Words(f"No picture: {reason}.")
