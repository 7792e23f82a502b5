"""Charts of a page in the making: each figure keeps a still picture and its specification as inert data.

A page is written with a place for each chart; then all are drawn, and how many are left is known.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import quote

from flicker.base.progress import each
from flicker.present.report.parts import TURNS, Markup, tag, text

NO_SCRIPT = "This picture is drawn by the page's own script; nothing is fetched from anywhere."
TAGS = re.compile(r"<[a-z][^<>]*>")
PLACE = re.compile(r"<!--chart (\d+)-->")  # text from outside never holds one: it is escaped
SILENT = re.compile(r' (?:aria-[a-z]+|role|class|pointer-events)="[^"]*"')  # of no use within a picture: it has its alt
HARMLESS = " ,;:/=()+-.!*@$"  # in the address of a picture that is written out


@dataclass(slots=True)
class Pictures:
    """Charts of a page in the making: `figure` returns a place for one, `drawn` draws them and keeps the specifications."""

    specs: list[dict[str, Any]] = field(default_factory=list)
    asked: list[Callable[[], Markup | None]] = field(default_factory=list)

    def figure(
        self,
        make: Callable[..., Any],
        *args: Any,
        still: bool = False,
        attributes: Mapping[str, str] | None = None,
        **options: Any,
    ) -> Markup:
        """Return the place of a chart; it stays empty where the results hold nothing to draw.

        A ``still`` picture stands beside the live one, for readers without scripts; ``attributes`` go to the figure.
        """
        self.asked.append(lambda: self._draw(make, args, options, still=still, attributes=attributes or {}))
        return Markup(f"<!--chart {len(self.asked)}-->")

    def drawn(self, body: Markup) -> Markup:
        """Draw every chart of a page into its place."""
        made = [text(draw()) for draw in each(self.asked, len(self.asked))]
        return Markup(PLACE.sub(lambda found: made[int(found.group(1)) - 1], body))

    def _draw(
        self,
        make: Callable[..., Any],
        args: tuple[Any, ...],
        options: Mapping[str, Any],
        *,
        still: bool,
        attributes: Mapping[str, str],
    ) -> Markup | None:
        import altair  # late
        from altair.utils.schemapi import debug_mode

        from flicker.present.charts import NothingToDraw, caption_of, note_of

        # Nothing is checked against the schema of charts here: tests do. A notebook's paper has no part in a page.
        with debug_mode(False), altair.theme.enable("default"):
            try:
                chart = make(*args, **options)
            except NothingToDraw:
                return None
            spec = _named_in_order(chart.to_dict(validate=False))
        spec.pop("title", None)
        number = f"chart-{len(self.specs) + 1}"
        self.specs.append(spec)
        caption, note = caption_of(chart), note_of(chart)
        alt = f"Chart. {caption} {note}"
        return tag(
            "figure",
            tag("figcaption", tag("strong", caption), tag("span", note)),
            tag("div", class_="live", role="img", aria_label=alt),
            tag("img", src=_still(spec), alt=alt) if still else tag("noscript", tag("p", NO_SCRIPT, class_="sub")),
            data_chart=number,
            data_tall="strips" if "vconcat" in spec else "grid" if "facet" in spec else None,
            tabindex="-1",
            **attributes,
        )

    def scripts(self) -> str:
        """Specifications as data inside the page; nothing in them can end the element that holds them."""
        return "".join(
            f'<script type="application/json" id="chart-{number}">{inert_json(by_columns(spec))}</script>\n'
            for number, spec in enumerate(self.specs, 1)
        )


def _still(spec: dict[str, Any]) -> str:
    """The chart as a picture inside the page: a strip is drawn here, what is not one by the engine that draws any chart."""
    if "strip" in spec.get("usermeta", {}):
        from flicker.present.report.still import strip_svg

        drawn = str(strip_svg(spec))
    else:
        from flicker.present.export import svg_of

        drawn = TAGS.sub(lambda found: SILENT.sub("", found.group()), svg_of(spec))
    return f"data:image/svg+xml,{quote(drawn, safe=HARMLESS)}"


def by_columns(spec: Mapping[str, Any]) -> dict[str, Any]:
    """Write each table of a specification by columns, so that a name stands in it once; `page.js` makes rows again."""
    tables = {
        name: {"columns": {key: [row[key] for row in rows] for key in rows[0]}}
        if rows and all(row.keys() == rows[0].keys() for row in rows)
        else rows
        for name, rows in spec.get("datasets", {}).items()
    }
    return {**spec, "datasets": tables} if tables else dict(spec)


def _named_in_order(spec: dict[str, Any]) -> dict[str, Any]:
    """Replace the names that Altair draws at random, so that the same logs give the same page."""
    told = json.dumps(spec)
    for place, name in enumerate(dict.fromkeys(re.findall(r'"(view_[0-9a-f]{6,}[_0-9]*)"', told))):
        told = told.replace(f'"{name}"', f'"view_{place}"')
    named: dict[str, Any] = json.loads(told)
    return named


def inert_json(value: Any) -> str:
    """JSON that holds none of the characters which mean something to HTML or end a line of script."""
    told = json.dumps(value, allow_nan=False, ensure_ascii=False, separators=(",", ":")).translate(TURNS)
    for character in "<>&\u2028\u2029":
        told = told.replace(character, f"\\u{ord(character):04x}")
    return told
