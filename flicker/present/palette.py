"""Colours and type of every chart and page: ink on strip-chart paper, with brass. Safe for colour-blind readers.

The colours of one picture stay apart under red-, green- and blue-blindness, and text keeps a contrast of 4.5 on paper;
`tests/test_charts.py` computes both. No meaning hangs on colour alone: lines are labelled, marks differ in shape.
"""

from __future__ import annotations

from typing import Any

PAPER = "#f6f1e4"
SHEET = "#fffdf6"
INK = "#22292b"
FAINT = "#67624f"
GRID = "#e4dcc6"
EDGE = "#c9bd9c"

PETROL = "#0f5e6b"
BRASS = "#b07a1c"
PLUM = "#4b2a6b"
SLATE = "#7d8891"
SERIES = (PETROL, BRASS, PLUM, SLATE)

ALARM = "#a3201c"
THRESHOLD = "#8a5f12"

WARM_UP = "#f8ecca"
UNSEEN = "#cdcac0"
RELAY = "#efc4b8"
BAND = "#dfe7e2"

SANS = "Candara, 'Gill Sans', 'Gill Sans MT', Calibri, 'Noto Sans', 'DejaVu Sans', sans-serif"
SERIF = "'Iowan Old Style', 'Palatino Linotype', Palatino, 'Book Antiqua', 'URW Palladio L', Georgia, serif"


def chart_config() -> dict[str, Any]:
    """Settings of every chart, as Vega-Lite's ``config``."""
    return {
        "background": SHEET,
        "font": SANS,
        "padding": {"left": 8, "right": 12, "top": 8, "bottom": 8},
        "axis": {
            "domainColor": EDGE,
            "gridColor": GRID,
            "labelColor": INK,
            "labelFontSize": 11,
            "labelOverlap": True,
            "tickColor": EDGE,
            "tickCount": 6,
            "titleColor": FAINT,
            "titleFontSize": 11,
            "titleFontWeight": "normal",
        },
        "axisQuantitative": {"gridOpacity": 0.8},
        "legend": {"labelColor": INK, "titleColor": FAINT, "titleFontWeight": "normal"},
        "header": {"labelColor": INK, "labelFontSize": 11, "titleColor": FAINT},
        "title": {
            "anchor": "start",
            "color": INK,
            "font": SERIF,
            "fontSize": 14,
            "fontWeight": 600,
            "frame": "group",
            "offset": 10,
            "subtitleColor": FAINT,
            "subtitleFont": SANS,
            "subtitleFontSize": 11,
        },
        "view": {"stroke": EDGE, "strokeWidth": 1},
    }
