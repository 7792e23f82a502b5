"""The public names, so that a change of them is a decision; the layers of DEVELOPERS.md, read from the source."""

from __future__ import annotations

import ast
import importlib
import inspect
from functools import cache
from pathlib import Path

import pytest

import flicker

ROOT = Path(flicker.__file__).parent
PUBLIC = """
    Assessment Case ChannelVisits Comparison Finding JobResult Limits Log LogError SoakPlan StageComparison Visits
    among_like assess compare compare_stages judge_case over_visits plan_soak read_case read_limits read_log simulate_log
    survey survey_cases visits_of_case
"""
STATS = {
    "arrivals": """
        AgeForecast AgeTrend AndersonDarlingTrend Clusters ExtremalIndex GapTest PowerLawFit
        PowerLawTest RateTrend RenewalTrendTest TrendTest age_forecast age_trend
        anderson_darling_trend_test decluster exponential_gaps_test extremal_index laplace_test lewis_robinson_test
        power_law_fit power_law_test rate_trend_test
    """,
    "association": """
        Coincidence StimulusTest coincidence holm stimulus_test
    """,
    "changepoints": """
        LevelChange LevelChanges LevelSegment LevelSegments RateChange RateChanges RateSince RateSteps VarianceChange
        VarianceChanges dispersed_limits level_changes level_segments rate_changes rate_since rate_since_unit rate_steps
        rate_steps_unit variance_changes
    """,
    "extremes": """
        SHAPE_RANGE TailChance TailFit fit_tail
    """,
    "jumps": """
        reading_sigma
    """,
    "moving": """
        Movement moved_in_noise
    """,
    "noise": """
        AllanDeviation NoiseColour allan_deviation noise_colour noise_sigma resolution_of
    """,
    "power_ups": """
        ComparisonNeeds CountByAge EarlyShare ExpectedCounts FallUnderWay FreeScatterTest GrowthForecast MeanCumulative
        MeanRate PowerUpSoak ProvokedTest RateComparison RateGrowth ReachForecast SizeGrowth SizesAhead clean_chance
        clean_power_ups comparison_needs comparison_power count_by_age early_share_test expected_counts
        fall_under_way growth_forecast growth_however_much growth_reaches mean_cumulative mean_rate power_ups_to_see provoked_test rate_comparison
        rate_growth size_growth size_growth_within sizes_ahead
    """,
    "rates": """
        AbsentTest DispersedRatio DispersionTest OnOff OverdispersedRate RateDifference RateInterval RateRatio
        Recurrence ShareInterval absent_test dispersion_test on_off_significance overdispersed_rate rate_difference rate_interval
        rate_ratio rate_ratio_dispersed recurrence share_interval window_counts
    """,
    "sequential": """
        RateBounds RateDecision likelihood_ratio_pair rate_bounds rate_decision
    """,
    "soak": """
        CatchPlan CleanPlan PowerUpPlan SeenShare clean_exposure
        detectable_share hours_to_catch power_ups_to_catch
    """,
    "trends": """
        MannKendall Movement MovementKind RobustSlope TheilSen mann_kendall movement_kind movement_test robust_slope
        theil_sen
    """,
}
# Each room may import itself and the rooms named (DEVELOPERS.md).
MAY = {
    "_version": set(),
    "base": set(),
    "stats": {"base"},
    "logs": {"base", "stats"},
    "signals": {"base", "stats", "logs", "_version"},
    "simulate": {"base", "stats", "logs"},
    "case": {"base", "logs", "_version"},
    "evidence": {"base", "stats", "logs", "signals", "case", "_version"},
    "survey_table": {"base", "stats", "logs", "signals", "case", "evidence", "_version"},
    "ledger": {"base", "stats", "logs", "signals", "case", "evidence", "survey_table", "_version"},
    "present": {"base", "stats", "logs", "signals", "case", "evidence", "survey_table", "ledger", "simulate", "_version"},
    "commands": {
        "base",
        "stats",
        "logs",
        "signals",
        "case",
        "evidence",
        "ledger",
        "survey_table",
        "simulate",
        "present",
        "_version",
    },
    "cli": {"commands", "_version"},
    "__main__": {"cli"},
}
# Slow to load: only inside functions, or in modules that are loaded for nothing else.
HEAVY = {
    "pandas": (),
    # what reads files may; it is loaded with the first file itself
    "pyarrow": ("logs.arrow_types", "logs.reading.columnar", "logs.reading.samples", "logs.reading.text"),
    "statsmodels": (),
    "ruptures": (),
    "scipy.stats": (),
    "distributed": (),
    "dask": (),
    "altair": ("present.charts",),
    "vl_convert": (),
    "nbclient": (),
    "nbformat": (),
    "jinja2": (),
    "rich": ("present.terminal",),
}


def modules():
    for path in sorted(ROOT.rglob("*.py")):
        parts = path.relative_to(ROOT).with_suffix("").parts
        yield ".".join(parts[:-1] if parts[-1] == "__init__" and len(parts) > 1 else parts), path


NAMES = [name for name, _ in modules()]


@cache
def imports(path):
    """Every import as (name, whether it runs when the module is loaded)."""
    found = []

    def names(node):
        if isinstance(node, ast.Import):
            return [alias.name for alias in node.names]
        assert node.level == 0, f"{path}: relative import"
        return [f"{node.module}.{alias.name}" for alias in node.names]

    def walk(node, at_load):
        for child in ast.iter_child_nodes(node):
            if isinstance(child, (ast.Import, ast.ImportFrom)):
                found.extend((name, at_load) for name in names(child))
                continue
            later = isinstance(child, (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda))
            typing = isinstance(child, ast.If) and "TYPE_CHECKING" in ast.dump(child.test)
            walk(child, at_load and not later and not typing)

    walk(ast.parse(path.read_text(encoding="utf-8")), True)
    return found


def own(name):
    """Module of ours that a dotted name lies in, without the leading 'flicker.'; None for other libraries."""
    if name.split(".")[0] != "flicker":
        return None
    rest = name.removeprefix("flicker.")
    if rest == "__version__":
        return None
    if rest in flicker.__all__:
        return getattr(flicker, rest).__module__.removeprefix("flicker.")
    while rest not in NAMES:
        assert "." in rest, f"no module holds {name}"
        rest = rest.rpartition(".")[0]
    return rest


def test_the_public_names_of_the_package():
    assert sorted(flicker.__all__) == PUBLIC.split()
    assert all(getattr(flicker, name) is not None for name in flicker.__all__)


def test_the_statistics_are_listed():
    assert sorted(flicker.stats.__all__) == sorted(STATS)


@pytest.mark.parametrize("room", STATS)
def test_the_public_names_of_the_statistics(room):
    module = importlib.import_module(f"flicker.stats.{room}")
    assert sorted(module.__all__) == STATS[room].split()
    for name in module.__all__:
        assert inspect.getdoc(getattr(module, name)) or name.isupper(), f"{room}.{name} has no docstring"


def test_imports_go_one_way():
    """Circles, late imports among them, are looked for in `test_house.py`."""
    upwards = [
        f"{name} imports {target}"
        for name, path in modules()
        if name != "__init__"
        for other, _ in imports(path)
        if (target := own(other)) is not None and target.split(".")[0] not in {name.split(".")[0], *MAY[name.split(".")[0]]}
    ]
    assert upwards == []


@pytest.mark.parametrize("library", HEAVY)
def test_slow_libraries_are_loaded_when_used(library):
    for name, path in modules():
        for other, at_load in imports(path):
            if at_load and (other == library or other.startswith(f"{library}.")):
                assert name.startswith(HEAVY[library] or "\0"), f"{name} loads {library} with itself"


def test_there_is_no_drawer_for_odds_and_ends():
    assert not [
        name for name in NAMES if name.rpartition(".")[2].strip("_") in {"utils", "util", "helpers", "misc", "common"}
    ]
