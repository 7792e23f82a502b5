"""How results show themselves in a notebook: verdict, strip and findings at a glance; and their charts by name."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from flicker.evidence.findings import NO, NOT_SHOWN, YES
from flicker.evidence.verdict import DO_NOT_CONNECT
from flicker.present import palette
from flicker.present.report.markup import Child, Markup, tag, text
from flicker.present.said import finding_text, fitness_text, idle

if TYPE_CHECKING:
    from flicker.evidence.assessment import Assessment
    from flicker.evidence.channel import ChannelAssessment
    from flicker.logs.model import Log

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
        steps = result.steps if len(result.steps) == 1 else (*result.steps, result.whole)
        return text(
            [
                [tag("p", tag("strong", f"{step.before} to {step.after}"), style=_HEAD), Markup(html(step) or "")]
                for step in steps
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
    said = [" ".join(shown)] if shown else []
    if within:
        said.append(f"Within limits: {', '.join(within)}.")
    if open_:
        said.append(f"This log cannot tell: {', '.join(open_)}.")
    return [" ".join(said)]


def charts(result: Any) -> Any:
    """Charts of a result, by name."""
    from flicker.evidence.assessment import Assessment
    from flicker.evidence.compare.stages import Comparison, StageComparison
    from flicker.evidence.soaking.plan import SoakPlan
    from flicker.evidence.visits.visited import Visits

    kinds: list[tuple[type, type]] = [
        (Assessment, AssessmentCharts),
        (Comparison, ComparisonCharts),
        (StageComparison, StagesCharts),
        (Visits, VisitsCharts),
        (SoakPlan, SoakCharts),
    ]
    for kind, made in kinds:
        if isinstance(result, kind):
            return made(result)
    raise AttributeError(f"{type(result).__name__} has no charts")


class _Charts:
    """Charts of one result; each method returns an Altair object."""

    def __init__(self, result: Any) -> None:
        self._result = result

    def __repr__(self) -> str:
        names = [name for name in dir(self) if not name.startswith("_")]
        return f"charts of {type(self._result).__name__}: {', '.join(names)}"

    def _draw(self, name: str, *args: Any, **options: Any) -> Any:
        from flicker.present import charts as drawn

        return getattr(drawn, name)(self._result, *args, **options)


class AssessmentCharts(_Charts):
    """Charts of an assessment; ``channel`` is the one in worst state where left out.

    Each raises `flicker.present.charts.NothingToDraw` where the log holds nothing of the kind.
    """

    def strip(self, channel: str | None = None, *, logs: Sequence[Log] | None = None) -> Any:
        """Draw the whole log of a channel, with a close-up that follows the brush."""
        return self._draw("overview", channel, logs=logs)

    def glance(self) -> Any:
        """Draw all channels, a small strip each."""
        return self._draw("glance")

    def episodes(self, channel: str | None = None, *, logs: Sequence[Log] | None = None) -> Any:
        """Draw every episode in a frame of its own, all on one scale."""
        return self._draw("episodes", channel, logs=logs)

    def cumulative(self, channel: str | None = None) -> Any:
        """Draw episodes so far against observed time."""
        return self._draw("cumulative", channel)

    def rates(self, channel: str | None = None) -> Any:
        """Draw the rate of each power-up with its interval, the growth through them, and the scatter allowed."""
        return self._draw("rates", channel)

    def mean_cumulative(self, channel: str | None = None) -> Any:
        """Draw the mean number of episodes of a power-up against time since switch-on, and the count over power-ups."""
        return self._draw("mean_cumulative", channel)

    def ahead(self, channel: str | None = None) -> Any:
        """Draw growing swings, the line through them, and when it meets the relay's threshold."""
        return self._draw("swings_ahead", channel)

    def sizes(self, channel: str | None = None) -> Any:
        """Draw the size of each episode against observed time."""
        return self._draw("sizes", channel)

    def gaps(self, channel: str | None = None) -> Any:
        """Draw the pauses between episodes against those of chance."""
        return self._draw("gaps", channel)

    def power_ups(self, channel: str | None = None) -> Any:
        """Draw the start of each power-up."""
        return self._draw("power_ups", channel)

    def settled(self, channel: str | None = None) -> Any:
        """Draw the level at rest within its limits."""
        return self._draw("settled", channel)

    def allan(self, channel: str | None = None) -> Any:
        """Draw the Allan deviation: does averaging help?"""
        return self._draw("allan", channel)

    def coincidence(self) -> Any:
        """Draw which channels swing together."""
        return self._draw("coincidence")

    def warm_up(self, channel: str | None = None) -> Any:
        """Draw the rate against the time since power-up."""
        return self._draw("warm_up", channel)

    def unit_or_meter(self, channel: str | None = None) -> Any:
        """Draw the unit beside the control log."""
        return self._draw("unit_or_meter", channel)

    def stimuli(self, channel: str | None = None) -> Any:
        """Draw what followed each tap."""
        return self._draw("stimuli", channel)

    def thresholds(self, channel: str | None = None) -> Any:
        """Draw what the loudspeaker would have got with other thresholds of the relay."""
        return self._draw("thresholds", channel)


class ComparisonCharts(_Charts):
    """Charts of a comparison."""

    def rates(self) -> Any:
        """Draw the rate before and after, with intervals."""
        return self._draw("before_after")

    def power_up_rates(self, channel: str | None = None) -> Any:
        """Draw the rate of each power-up before and after, and the scatter that the change allows."""
        return self._draw("power_up_rates_compared", channel)

    def mean_cumulative(self, channel: str | None = None) -> Any:
        """Draw the mean number of episodes of a power-up before and after on one chart."""
        return self._draw("mean_cumulative_compared", channel)

    def before(self, channel: str | None = None) -> Any:
        """Draw the log before."""
        return AssessmentCharts(self._result.before_assessment).strip(channel)

    def after(self, channel: str | None = None) -> Any:
        """Draw the log after."""
        return AssessmentCharts(self._result.after_assessment).strip(channel)


class StagesCharts(_Charts):
    """Charts of stages in order."""

    def rates(self) -> Any:
        """Draw the first and the last stage."""
        return ComparisonCharts(self._result.whole).rates()

    def power_up_rates(self, channel: str | None = None) -> Any:
        """Draw the rate of each power-up at the first and the last stage."""
        return ComparisonCharts(self._result.whole).power_up_rates(channel)

    def mean_cumulative(self, channel: str | None = None) -> Any:
        """Draw the mean number of episodes of a power-up at the first and the last stage."""
        return ComparisonCharts(self._result.whole).mean_cumulative(channel)


class VisitsCharts(_Charts):
    """Charts of a unit over visits."""

    def rates(self, channel: str | None = None) -> Any:
        """Draw the rate of each visit, the growth through them, the scatter allowed, and where the next will lie."""
        return self._draw("visit_rates", channel)

    def mean_cumulative(self, channel: str | None = None) -> Any:
        """Draw the mean number of episodes of a power-up at the first and last visit, and the count over visits."""
        return self._draw("visit_mean_cumulative", channel)

    def levels(self, channel: str | None = None) -> Any:
        """Draw the level at rest of each power-up and visit."""
        return self._draw("visit_levels", channel)


class SoakCharts(_Charts):
    """Chart of a soak plan."""

    def hours(self) -> Any:
        """Draw hours against confidence."""
        return self._draw("soak")
