"""Small tables for notebooks: the verdict per channel, the findings, or any rows, in a look of our own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from flicker.base.formats import digits_text, p_text
from flicker.evidence.assessment import Assessment
from flicker.present import palette
from flicker.present.report.parts import tag, text

_RULE = f"2px solid {palette.BRASS}"
_CELL = f"text-align:left;vertical-align:top;padding:5px 14px 5px 0;border-bottom:1px solid {palette.BRASS}55;max-width:46em"
# The viewer's own ink: a notebook may be light or dark.
_HEAD = f"text-align:left;font-weight:400;color:inherit;padding:5px 14px 5px 0;border-bottom:{_RULE}"


@dataclass(frozen=True, slots=True, repr=False)
class Sheet:
    """A table of text that shows itself in a notebook."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    def _repr_html_(self) -> str:
        head = tag("tr", [tag("th", name, style=_HEAD) for name in self.heads])
        body = [
            tag("tr", [tag("td", cell, style=_CELL) for cell in row], style="background:transparent")
            for row in self.rows
        ]
        return text(
            tag("table", tag("thead", head), tag("tbody", body), style="border-collapse:collapse;margin-left:0")
        )

    def __str__(self) -> str:
        return "\n".join(" | ".join(row) for row in (self.heads, *self.rows))

    __repr__ = __str__  # what a viewer without HTML shows


@dataclass(frozen=True, slots=True, repr=False)
class Words:
    """A paragraph that shows itself in a notebook."""

    said: str

    def _repr_html_(self) -> str:
        style = f"max-width:44em;border-left:4px solid {palette.BRASS};padding:2px 0 2px 14px;margin-left:0"
        return text([tag("p", part, style=style) for part in self.said.split("\n\n")])

    def __str__(self) -> str:
        return self.said

    __repr__ = __str__


def sheet(heads: Sequence[str], rows: Sequence[Sequence[Any]]) -> Sheet:
    """Make a table of anything; numbers are shown to three digits."""
    return Sheet(tuple(heads), tuple(tuple(_shown(cell) for cell in row) for row in rows))


def _shown(cell: Any) -> str:
    if cell is None:
        return "none"
    return f"{digits_text(cell, 3)}" if isinstance(cell, float) else str(cell)


def verdicts(assessment: Assessment, channel: str | None = None) -> Sheet:
    """Fitness, verdict and the two sentences of each channel, or of the one named."""
    rows = [
        (item.channel, item.fitness, f"{item.verdict}: {item.tail}" if item.tail else item.verdict, item.reads)
        for item in (assessment.channels if channel is None else [assessment.channel(channel)])
    ]
    return sheet(("channel", "loudspeaker", "verdict", "in words"), rows)


def findings(assessment: Assessment, channel: str) -> Sheet:
    """Every question with its answer and the sentence behind it."""
    rows = [
        (item.question, item.answer, item.reads, p_text(item.p_adjusted))
        for item in assessment.channel(channel).findings
    ]
    return sheet(("question", "answer", "what the log says", "p, corrected"), rows)
