"""Results as tables of pandas, and as charts: what a notebook asks of an assessment, a comparison, visits or a plan.

Each class below lends its methods to the result of its name. Times are seconds of a run beside the moment itself where
the log tells it; volts are volts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from flicker.base.views import view

if TYPE_CHECKING:
    import pandas as pd

FINDING = (
    "question",
    "answer",
    "statistic",
    "p_value",
    "p_adjusted",
    "sided",
    "effect",
    "low",
    "high",
    "unit",
    "limit",
)


class _Drawn:
    """A result with charts."""

    __slots__ = ()

    @property
    def chart(self) -> Any:
        """Charts of this result, by name, as Altair objects that can be changed: ``found.chart.strip("left")``."""
        return view("charts", self)


class AssessmentTables(_Drawn):
    """Tables of an assessment."""

    __slots__ = ()
    _more = "more: channels_frame(), findings_frame(), episodes_frame(), runs_frame(), chart.strip(), to_dict()"

    @property
    def _brief(self: Any) -> str:
        runs = f"{len(self.runs)} run{'' if len(self.runs) == 1 else 's'}"
        return f"{runs}; " + "; ".join(f"{item.channel}: {item.verdict}, {item.fitness}" for item in self.channels)

    def channels_frame(self: Any) -> pd.DataFrame:
        """One row per channel: fitness, verdict, episodes with their rate, level and noise, the sentence."""
        return _frame(
            {
                "channel": item.channel,
                "fitness": item.fitness,
                "verdict": item.verdict,
                "tail": item.tail,
                "episodes": item.rate.episodes,
                "observed_s": item.observed_s,
                "per_hour": item.rate.per_hour,
                "low_per_hour": item.rate.low_per_hour,
                "high_per_hour": item.rate.high_per_hour,
                "level_V": item.baseline.level_V,
                "sigma_V": item.noise.sigma_V,
                "reads": item.reads,
            }
            for item in self.channels
        )

    def runs_frame(self: Any) -> pd.DataFrame:
        """One row per run (power-up): file, beginning, length, observed time, cadence, gaps, what was assumed."""
        return _frame(
            {
                "run": trace.number,
                "source": trace.run.source,
                "start": trace.run.start,
                "duration_s": trace.run.duration_s,
                "observed_s": trace.run.observed_s,
                "sample_interval_s": trace.run.sample_interval_s,
                "gaps": len(trace.run.gaps),
                "notes": "; ".join(trace.run.notes),
            }
            for trace in self.traces
        )

    def findings_frame(self: Any) -> pd.DataFrame:
        """One row per channel and question: answer, p-value as found and corrected, effect with interval, sentence."""
        return _frame(
            {
                "channel": item.channel,
                **{name: getattr(finding, name) for name in FINDING},
                "method": finding.method,
                "reads": finding.reads,
            }
            for item in self.channels
            for finding in item.findings
        )

    def episodes_frame(self: Any) -> pd.DataFrame:
        """One row per episode: run, seconds since its start, size in volts, whether all channels had it at once."""
        starts = {trace.number: trace.run.start for trace in self.traces}
        rows = []
        for record in self.records:
            found = record.episodes
            for k in range(found.count):
                run = record.numbers[int(found.run[k])]
                rows.append(
                    {
                        "channel": record.channel,
                        "run": run,
                        "start": _moment(starts[run], float(found.start_s[k])),
                        "start_s": float(found.start_s[k]),
                        "end_s": float(found.end_s[k]),
                        "duration_s": float(found.end_s[k] - found.start_s[k]),
                        "observed_before_s": float(found.clock_s[k]),
                        "size_V": float(found.size_V[k]),
                        "in_all_channels": bool(found.common[k]),
                        "shared": bool(found.shared[k]),
                    }
                )
        columns = "channel run start start_s end_s duration_s observed_before_s size_V in_all_channels shared"
        return _frame(rows, columns.split())

    def excursions_frame(self: Any) -> pd.DataFrame:
        """One row per excursion, all of them: run, episode, seconds since the run's start, peak and deviation in volts."""
        import pandas as pd

        from flicker.evidence.document.excursion_table import columns_of

        starts = {trace.number: trace.run.start for trace in self.traces}
        parts = []
        for record in self.records:
            table = columns_of(record)
            warm = table.pop("warm_up")
            part = pd.DataFrame({"channel": [record.channel] * warm.size, **table})
            part["phase"] = ["warm-up" if early else "settled" for early in warm]
            moments = [_moment(starts[run], at) for run, at in zip(part["run"], part["start_s"], strict=True)]
            part.insert(3, "start", pd.Series(moments, dtype="object", index=part.index))
            parts.append(part)
        return _dated(pd.concat(parts, ignore_index=True) if parts else pd.DataFrame())


class ComparisonTables(_Drawn):
    """Tables of a comparison of two stages."""

    __slots__ = ()
    _more = "more: channels_frame(), changes_frame(), chart.rates(), before_assessment, after_assessment, to_dict()"

    @property
    def _brief(self: Any) -> str:
        return f"{self.before} to {self.after}; " + "; ".join(
            f"{item.channel}: {item.outcome}" for item in self.channels
        )

    def channels_frame(self: Any) -> pd.DataFrame:
        """One row per channel: outcome, whether cured, both sides' counts, the ratio of rates with interval and p."""
        return _frame(_compared(self))

    def changes_frame(self: Any) -> pd.DataFrame:
        """One row per channel and quantity (noise, level, size of the swings): before, after, answer, and why."""
        return _frame(
            {
                "channel": item.channel,
                "quantity": change.quantity,
                "before": change.before,
                "after": change.after,
                "answer": change.answer,
                "note": change.note,
            }
            for item in self.channels
            for change in (item.noise_ratio, item.level_shift_V, item.size_change)
        )


class StagesTables(_Drawn):
    """Tables of stages in order."""

    __slots__ = ()

    def channels_frame(self: Any) -> pd.DataFrame:
        """One row per step and channel, then the last stage against the first (only where there are several steps)."""
        return _frame({"from": step.before, "to": step.after, **row} for step in self.shown for row in _compared(step))


class VisitsTables(_Drawn):
    """Tables of one unit over visits."""

    __slots__ = ()

    def visits_frame(self: Any) -> pd.DataFrame:
        """One row per channel and visit: date, verdict of the day, episodes with their rate, level, noise, surge."""
        dates = {visit.number: (visit.date, visit.day, ", ".join(visit.stages)) for visit in self.visits}
        return _frame(
            {
                "channel": item.channel,
                "visit": row.visit,
                **dict(zip(("date", "day", "stages"), dates[row.visit], strict=True)),
                **{name: getattr(row, name) for name in row.__slots__ if name != "visit"},
            }
            for item in self.channels
            for row in item.visits
        )

    def findings_frame(self: Any) -> pd.DataFrame:
        """One row per channel and question: more often, larger, and each quantity at rest."""
        rows = []
        for item in self.channels:
            asked = [("more often", item.rate), ("larger", item.size), *((one.quantity, one) for one in item.levels)]
            for question, found in asked:
                p_adjusted = getattr(found, "p_adjusted", None)
                rows.append(
                    {
                        "channel": item.channel,
                        "question": question,
                        "answer": found.answer,
                        "p_value": found.p_value,
                        "p_adjusted": p_adjusted,
                        "method": found.method,
                        "reads": found.reads,
                    }
                )
        return _frame(rows)


class SoakTables(_Drawn):
    """Tables of a soak plan."""

    __slots__ = ()

    def plan_frame(self: Any) -> pd.DataFrame:
        """Hours against confidence."""
        return _frame((row.to_dict() for row in self.table), ("confidence", "hours"))


class JobTables:
    """Tables of a job: those of its last stage, as the unit would leave, and of all its stages."""

    __slots__ = ()

    @property
    def chart(self: Any) -> Any:
        """Charts of the last stage, by name."""
        return self.last.chart

    def channels_frame(self: Any) -> pd.DataFrame:
        """One row per stage and channel."""
        import pandas as pd

        parts = []
        for stage, made in zip(self.stages, self.assessments, strict=True):
            part = made.channels_frame()
            part.insert(0, "stage", stage)
            parts.append(part)
        return pd.concat(parts, ignore_index=True)


def _compared(comparison: Any) -> list[dict[str, Any]]:
    return [
        {
            "channel": item.channel,
            "outcome": item.outcome,
            "cured": item.cured,
            "before_episodes": item.before.rate.episodes,
            "before_observed_s": item.before.rate.observed_s,
            "after_episodes": item.after.rate.episodes,
            "after_observed_s": item.after.rate.observed_s,
            "ratio": item.ratio.estimate,
            "low": item.ratio.low,
            "high": item.ratio.high,
            "p_value": item.ratio.p_value,
            "clean_hours_needed": item.clean_hours_needed,
            "reads": item.reads,
        }
        for item in comparison.channels
    ]


def _moment(start: datetime | None, seconds: float) -> datetime | None:
    return None if start is None else start + timedelta(seconds=seconds)


def _dated(table: pd.DataFrame) -> pd.DataFrame:
    """The table with its moments as datetime64, the time zone kept where all have the same; objects where they differ."""
    import pandas as pd

    if "start" in table:
        with suppress(ValueError, TypeError):
            table["start"] = pd.to_datetime(table["start"])
    return table


def _frame(rows: Iterable[Mapping[str, Any]], columns: Iterable[str] | None = None) -> pd.DataFrame:
    import pandas as pd

    return _dated(pd.DataFrame(list(rows), columns=None if columns is None else list(columns)))
