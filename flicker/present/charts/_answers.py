"""Which picture shows the answer to a question."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from flicker.evidence.assessment import Assessment
from flicker.evidence.questions.registry import questions
from flicker.present.charts._bench import stimuli, thresholds
from flicker.present.charts._events import cumulative, gaps, sizes
from flicker.present.charts._level import power_ups, settled
from flicker.present.charts._rates import rates

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
