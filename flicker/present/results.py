"""How results show themselves in a notebook: verdict, strip and findings at a glance; and their charts by name."""

from __future__ import annotations

import base64
import functools
from typing import Any

from flicker.evidence.assessment import Assessment
from flicker.evidence.channel import ChannelAssessment
from flicker.evidence.findings import NO, NOT_SHOWN, YES
from flicker.evidence.verdict import DO_NOT_CONNECT
from flicker.present import palette
from flicker.present.report.parts import Child, Markup, tag, text
from flicker.present.said import finding_text, fitness_text, idle

_HEAD = "margin:12px 0 2px;font-size:1.05em"
_WORDS = "margin:0 0 4px;max-width:46em"
_STAMP = "border:2px solid currentColor;padding:1px 7px;font-weight:600;margin-right:8px"
_ALARM = f"background:{palette.ALARM};color:#fff;border:2px solid {palette.ALARM};padding:1px 7px;font-weight:600;margin-right:8px"


def html(result: Any) -> str | None:
    """HTML of a result for a notebook; None for a result that shows itself as a table of its own."""
    from flicker.evidence.assessment import Assessment
    from flicker.evidence.compare.stages import Comparison, StageComparison
    from flicker.evidence.job import JobResult
    from flicker.evidence.visits.visited import Visits

    if isinstance(result, Assessment):
        return _assessment(result)
    if isinstance(result, JobResult):
        return _assessment(result.last)
    if isinstance(result, Comparison):
        return text([_said(f"{item.channel}: {item.outcome}", item.reads) for item in result.channels])
    if isinstance(result, StageComparison):
        return text(
            [
                [tag("p", tag("strong", f"{step.before} to {step.after}"), style=_HEAD), Markup(html(step) or "")]
                for step in result.shown
            ]
        )
    if isinstance(result, Visits):
        return text([_said(item.channel, item.reads) for item in result.channels])
    return None


def _said(head: str, words: str) -> list[Child]:
    return [tag("p", tag("strong", head), style=_HEAD), tag("p", words, style=_WORDS)]


def _assessment(result: Assessment) -> str:
    from flicker.present.charts import glance
    from flicker.present.export import svg_of

    parts: list[Child] = []
    for item in result.channels:
        stamp = _ALARM if item.fitness == DO_NOT_CONNECT else _STAMP
        word = f"{item.verdict}: {item.tail}" if item.tail else item.verdict
        head = [tag("span", f"loudspeaker: {fitness_text(item.fitness)}", style=stamp), tag("strong", item.channel)]
        parts += [tag("p", head, f" {word}", style=_HEAD), tag("p", item.reads, style=_WORDS)]
    if result.records:
        chart = glance(result)
        still = base64.b64encode(svg_of(chart.to_dict()).encode("utf-8")).decode("ascii")
        parts.append(
            tag("img", src=f"data:image/svg+xml;base64,{still}", alt="The log at a glance", style="max-width:100%")
        )
    for item in result.channels:
        parts.append(tag("p", tag("strong", f"{item.channel}: "), _answers(item), style=_WORDS))
    return text(parts)


def _answers(item: ChannelAssessment) -> list[Child]:
    """What was found, in the sentences of the findings; what was not, by name."""
    shown = [finding_text(finding) for finding in item.findings if finding.answer == YES]
    within = [finding.question for finding in item.findings if finding.answer == NO]
    asked = [finding for finding in item.findings if finding.question not in idle(item.excursions_total)]
    open_ = [finding.question for finding in asked if finding.answer == NOT_SHOWN]
    told = (
        *shown,
        f"Within limits: {', '.join(within)}." if within else "",
        f"This log cannot tell: {', '.join(open_)}." if open_ else "",
    )
    return [" ".join(filter(None, told))]


# By kind of result: the name of each chart, the function of `flicker.present.charts` that draws it, and of which part of the
# result where it is not of all of it.
CHARTS: dict[str, dict[str, tuple[str, str]]] = {
    "Assessment": {
        "strip": ("overview", ""),
        "glance": ("glance", ""),
        "episodes": ("episodes", ""),
        "cumulative": ("cumulative", ""),
        "rates": ("rates", ""),
        "mean_cumulative": ("mean_cumulative", ""),
        "ahead": ("swings_ahead", ""),
        "sizes": ("sizes", ""),
        "gaps": ("gaps", ""),
        "power_ups": ("power_ups", ""),
        "settled": ("settled", ""),
        "allan": ("allan", ""),
        "coincidence": ("coincidence", ""),
        "warm_up": ("warm_up", ""),
        "unit_or_meter": ("unit_or_meter", ""),
        "stimuli": ("stimuli", ""),
        "thresholds": ("thresholds", ""),
    },
    "Comparison": {
        "rates": ("before_after", ""),
        "power_up_rates": ("power_up_rates_compared", ""),
        "mean_cumulative": ("mean_cumulative_compared", ""),
        "before": ("overview", "before_assessment"),
        "after": ("overview", "after_assessment"),
    },
    "StageComparison": {
        "rates": ("before_after", "whole"),
        "power_up_rates": ("power_up_rates_compared", "whole"),
        "mean_cumulative": ("mean_cumulative_compared", "whole"),
    },
    "Visits": {
        "rates": ("visit_rates", ""),
        "mean_cumulative": ("visit_mean_cumulative", ""),
        "levels": ("visit_levels", ""),
    },
    "SoakPlan": {"hours": ("soak", "")},
}


class Charts:
    """Charts of one result by name: each is the function of `CHARTS`, to be called with what it takes beside the result.

    A chart raises `flicker.present.charts.NothingToDraw` where the log holds nothing of the kind.
    """

    def __init__(self, result: Any) -> None:
        from flicker.present import charts as drawn

        self._of = type(result).__name__
        for name, (function, part) in CHARTS[self._of].items():
            setattr(self, name, functools.partial(getattr(drawn, function), getattr(result, part) if part else result))

    def __repr__(self) -> str:
        return f"charts of {self._of}: {', '.join(sorted(CHARTS[self._of]))}"


def charts(result: Any) -> Charts:
    """Charts of a result, by name."""
    if type(result).__name__ not in CHARTS:
        raise AttributeError(f"{type(result).__name__} has no charts")
    return Charts(result)
