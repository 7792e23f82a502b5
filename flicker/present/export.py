"""Charts as files: PNG for a letter, SVG for print, drawn on this machine without a network."""

from __future__ import annotations

import json
import re
from typing import Any

PLACES = re.compile(r'(?<= (?:d|x|y)=")[^"]*|(?<= (?:x1|y1|x2|y2)=")[^"]*|(?<= transform=")[^"]*')
LONG_DECIMALS = re.compile(r"(\.\d)\d+")  # a tenth of a point is a dot at 720 per inch
NUMBERED = re.compile(r"\b(clip|gradient_)(\d+)\b")


def svg_of(spec: dict[str, Any]) -> str:
    """Draw a Vega-Lite specification as SVG."""
    import vl_convert as vlc

    drawn = str(vlc.vegalite_to_svg(json.dumps(spec), allowed_base_urls=[]))
    # The renderer numbers its marks on through its whole life; here each picture begins at 0: same logs, same page.
    order = {name: f"{name[0]}{place}" for place, name in enumerate(dict.fromkeys(NUMBERED.findall(drawn)))}
    drawn = NUMBERED.sub(lambda found: order[found.group(1), found.group(2)], drawn)
    return PLACES.sub(lambda found: LONG_DECIMALS.sub(r"\1", found.group()), drawn)


def png_of(compiled: dict[str, Any], *, scale: float) -> bytes:
    """Draw what `vega_of` compiled as PNG, ``scale`` pixels per point."""
    import vl_convert as vlc

    return bytes(vlc.vega_to_png(json.dumps(compiled), scale=scale, allowed_base_urls=[]))


def vega_of(spec: dict[str, Any]) -> dict[str, Any]:
    """Compile a Vega-Lite specification to Vega, named as version 5: what it uses has been there since."""
    import vl_convert as vlc

    compiled: dict[str, Any] = vlc.vegalite_to_vega(json.dumps(spec))
    compiled["$schema"] = "https://vega.github.io/schema/vega/v5.json"
    # The compiler moves colours of titles into named styles, over which a viewer's dark theme wins: white on paper.
    told = spec.get("config", {}).get("title", {})
    settings = compiled.setdefault("config", {})
    kept = {key: told[key] for key in ("color", "subtitleColor") if key in told}
    settings["title"] = {**settings.get("title", {}), **kept}
    return compiled
