"""Long DC-offset logs of audio amplifiers, turned into evidence.

The public names load what they need when first used, so that importing the package and asking the command line for help
stay quick. The statistics are public under `flicker.stats`.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from flicker._version import __version__ as __version__
from flicker.base import views

views.register(html="flicker.present.results", charts="flicker.present.results")

_HOMES = {
    "among_like": "flicker.ledger",
    "survey": "flicker.survey_table",
    "survey_cases": "flicker.ledger",
    "ChannelVisits": "flicker.evidence.visits.visited",
    "Visits": "flicker.evidence.visits.visited",
    "over_visits": "flicker.evidence.visits.over_visits",
    "visits_of_case": "flicker.evidence.visits.visited",
    "JobResult": "flicker.evidence.job",
    "judge_case": "flicker.evidence.job",
    "read_case": "flicker.case.case_file",
    "Case": "flicker.case.case_file",
    "Assessment": "flicker.evidence.assessment",
    "Comparison": "flicker.evidence.compare.stages",
    "Finding": "flicker.evidence.findings",
    "Limits": "flicker.base.limits",
    "Log": "flicker.logs.model",
    "LogError": "flicker.logs.model",
    "SoakPlan": "flicker.evidence.soaking.model",
    "StageComparison": "flicker.evidence.compare.stages",
    "assess": "flicker.evidence.assessment",
    "compare": "flicker.evidence.compare.comparison",
    "compare_stages": "flicker.evidence.compare.comparison",
    "plan_soak": "flicker.evidence.soaking.plan",
    "read_limits": "flicker.base.limits",
    "read_log": "flicker.logs.reading",
    "simulate_log": "flicker.simulate",
}

if TYPE_CHECKING:
    from flicker.base.limits import Limits, read_limits
    from flicker.case.case_file import Case, read_case
    from flicker.evidence.assessment import Assessment, assess
    from flicker.evidence.compare.comparison import compare, compare_stages
    from flicker.evidence.compare.stages import Comparison, StageComparison
    from flicker.evidence.findings import Finding
    from flicker.evidence.job import JobResult, judge_case
    from flicker.evidence.soaking.model import SoakPlan
    from flicker.evidence.soaking.plan import plan_soak
    from flicker.evidence.visits.over_visits import over_visits
    from flicker.evidence.visits.visited import ChannelVisits, Visits, visits_of_case
    from flicker.ledger import among_like, survey_cases
    from flicker.logs.model import Log, LogError
    from flicker.logs.reading import read_log
    from flicker.simulate import simulate_log
    from flicker.survey_table import survey

__all__ = [
    "Assessment",
    "Case",
    "ChannelVisits",
    "Comparison",
    "Finding",
    "JobResult",
    "Limits",
    "Log",
    "LogError",
    "SoakPlan",
    "StageComparison",
    "Visits",
    "among_like",
    "assess",
    "compare",
    "compare_stages",
    "judge_case",
    "over_visits",
    "plan_soak",
    "read_case",
    "read_limits",
    "read_log",
    "simulate_log",
    "survey",
    "survey_cases",
    "visits_of_case",
]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(importlib.import_module(_HOMES[name]), name)
    if name == "stats":
        return importlib.import_module("flicker.stats")
    raise AttributeError(f"module 'flicker' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
