"""Long DC-offset logs of audio amplifiers, turned into evidence.

The public names load what they need when first used, so that importing the package and asking the command line for help
stay quick. The statistics are public under `flicker.stats`.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

_HOMES = {
    "survey": "flicker.shelf",
    "ChannelVisits": "flicker.evidence.visits",
    "Visits": "flicker.evidence.visits",
    "over_visits": "flicker.evidence.visits",
    "visits_of_case": "flicker.evidence.visits",
    "JobResult": "flicker.evidence.job",
    "judge_case": "flicker.evidence.job",
    "read_case": "flicker.evidence.case",
    "Case": "flicker.evidence.case",
    "Assessment": "flicker.evidence.assessment",
    "Comparison": "flicker.evidence.comparison",
    "Finding": "flicker.evidence.findings",
    "Limits": "flicker.evidence.limits",
    "Log": "flicker.logs.model",
    "LogError": "flicker.logs.model",
    "SoakPlan": "flicker.evidence.soaking",
    "StageComparison": "flicker.evidence.comparison",
    "assess": "flicker.evidence.assessment",
    "compare": "flicker.evidence.comparison",
    "compare_stages": "flicker.evidence.comparison",
    "plan_soak": "flicker.evidence.soaking",
    "read_limits": "flicker.evidence.limits",
    "read_log": "flicker.logs.reading",
    "simulate_log": "flicker.simulate",
}

if TYPE_CHECKING:
    from flicker.evidence.assessment import Assessment, assess
    from flicker.evidence.case import Case, read_case
    from flicker.evidence.comparison import Comparison, StageComparison, compare, compare_stages
    from flicker.evidence.findings import Finding
    from flicker.evidence.job import JobResult, judge_case
    from flicker.evidence.limits import Limits, read_limits
    from flicker.evidence.soaking import SoakPlan, plan_soak
    from flicker.evidence.visits import ChannelVisits, Visits, over_visits, visits_of_case
    from flicker.logs.model import Log, LogError
    from flicker.logs.reading import read_log
    from flicker.shelf import survey
    from flicker.simulate import simulate_log

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
