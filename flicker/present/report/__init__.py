"""The evidence as one page: a single HTML file that opens offline, prints, and reads on a phone.

`page` assembles it, `pictures` keeps its charts, `parts` holds what pages are made of; one module per kind of document.
"""

from __future__ import annotations

from flicker.present.report.page import report_html, write_report
from flicker.present.report.pictures import Pictures, inert_json

__all__ = [
    "Pictures",
    "inert_json",
    "report_html",
    "write_report",
]
